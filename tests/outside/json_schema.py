#!/usr/bin/env python3
"""`schema --format json-schema` through npm `ajv`, a JSON Schema validator of others (draft-07, as at
https://json-schema.org/draft-07): it must take every fragment of the demo tree, and refuse broken ones."""
import copy
import json
import re
import sys
from pathlib import Path

import yaml

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "reference"))
from checks import Checks, Program, arguments, document  # noqa: E402
import node  # noqa: E402

PACKAGE = "ajv@8"
SCRIPT = """
const Ajv = require('ajv');
const ajv = new Ajv({strict: false, allErrors: false});
const check = ajv.compile(input.schema);
answer(input.documents.map(each => check(each) ? null : ajv.errorsText(check.errors)));
"""
META = """
const Ajv = require('ajv');
const ajv = new Ajv({strict: false});
answer([ajv.validateSchema(input), ajv.errorsText(ajv.errors)]);
"""


class Core(yaml.SafeLoader):
    """YAML 1.2's core schema as the language has it: booleans are `true` and `false` alone, no dates."""


Core.yaml_implicit_resolvers = {}
for tag, pattern, first in [("bool", r"true|false", "tf"), ("int", r"[-+]?[0-9]+", "-+0123456789"), ("null", r"~|null|", "~n\0"),
                            ("float", r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", "-+.0123456789")]:
    Core.add_implicit_resolver(f"tag:yaml.org,2002:{tag}", re.compile(f"(?:{pattern})$"), list(first))
Core.add_constructor("tag:yaml.org,2002:int", lambda loader, item: int(loader.construct_scalar(item)))
Core.add_constructor("tag:yaml.org,2002:float", lambda loader, item: float(loader.construct_scalar(item)))


def first(settings, holds):
    return next(key for key, entry in settings.items() if holds(entry))


def good_and_broken(settings):
    """[(name, fragment)] that must be taken, and the same for those that must be refused; made from the dictionary."""
    speed = first(settings, lambda e: e.get("unit") == "mm/s" and not e.get("list"))
    degrees = first(settings, lambda e: e.get("unit") == "degC" and not e.get("fact") and "machine" in e["kinds"] + e.get("adjustable_by", []))
    share = first(settings, lambda e: e.get("unit") == "%" and not e.get("list"))
    flag = first(settings, lambda e: e.get("type") == "flag")
    count = first(settings, lambda e: e.get("type") == "count" and not e.get("list"))
    choice, entry = next((k, e) for k, e in settings.items() if e.get("type") == "choice" and not e.get("list"))

    def of(**values):
        return {"title": "A fragment", **values}

    def sets(key, value):
        return of(settings={key: value})

    good = [
        ("no more than a title", of()), ("a speed", sets(speed, "150 mm/s")), ("an addition", sets(speed, {"add": "-5 mm/s"})),
        ("a formula", sets(speed, {"calc": "inherited * 2"})), ("unset", sets(speed, {"unset": True})), ("a scaling", sets(speed, {"scale": "90 %"})),
        ("a temperature", sets(degrees, "215 degC")), ("a difference", sets(degrees, {"add": "5 K"})), ("a flag", sets(flag, True)),
        ("a count", sets(count, 3)), ("a choice", sets(choice, entry["choices"][0])), ("one parent", of(extends="base")),
        ("several parents", of(extends=["one", "two+0.4"])), ("a limit", of(limits={"*.speed": {"at_most": "300 mm/s", "else": "refuse"}})),
        ("no limit", of(limits={"*.speed": "none"})), ("a fitting", of(fittings={"0.4": {"settings": {speed: "100 mm/s"}}})),
        ("a condition", of(when=[{"if": {"material": ["pla-*", "!pla-x"], "where": "1 < 2"}, "settings": {speed: "90 mm/s"}}])),
        ("an adjustment", of(adjust={degrees: {"add": "5 K"}})), ("a lock", of(locked=[speed])),
        ("scripts", of(scripts={"start": "G28\n", "end": {"after": "M84"}, "layer": "none"})), ("a fit", of(fits={"process": ["fine"]})),
    ]
    broken = [
        ("an unknown header", of(colour="red")), ("a header in the plural", of(setting={speed: "150 mm/s"})),
        ("an unknown setting", sets("wall.outter.sped", "150 mm/s")), ("an unknown setting in a condition's block",
            of(when=[{"if": {"material": ["x"]}, "settings": {"wall.outter.sped": "1 mm/s"}}])),
        ("two operations in one mapping", sets(speed, {"add": "5 mm/s", "scale": "90 %"})),
        ("an unknown operation", sets(speed, {"multiply": "90 %"})), ("a formula that is a number", sets(speed, {"calc": 5})),
        ("unset that is false", sets(speed, {"unset": False})), ("an unknown tier", of(tier="gold")), ("an unknown status", of(status="ready")),
        ("a number where a flag stands", sets(flag, 1)), ("a word where a flag stands", sets(flag, "yes")),
        ("a word where a count stands", sets(count, "three")), ("a mapping where a choice stands", sets(choice, {"add": 1})),
        ("an unknown choice", sets(choice, "no-such-choice")), ("a bare number where a speed stands", sets(speed, 150)),
        ("a bare number where a temperature stands", sets(degrees, 215)), ("a list where a speed stands", sets(speed, ["150 mm/s"])),
        ("a flag where a share stands", sets(share, True)), ("a literal under adjust", of(adjust={degrees: "215 degC"})),
        ("a parent that is a mapping", of(extends={"base": 1})), ("a limit of an unknown bound", of(limits={"*.speed": {"under": "300 mm/s"}})),
        ("an unknown cure over a limit", of(limits={"*.speed": {"at_most": "300 mm/s", "else": "warn"}})),
        ("abstract that is a word", of(abstract="maybe")), ("a title that is a list", of(title=["A"])), ("a fragment that is a list", [of()]),
        ("a fragment that is a text", "title"), ("a script that is a number", of(scripts={"start": 5})),
        ("an unknown script operation", of(scripts={"start": {"instead": "G28"}})), ("a fitting of a fitting",
            of(fittings={"0.4": {"fittings": {"0.6": {}}}})), ("an unknown axis in a fit", of(fits={"nozzle": ["x"]})),
        ("a condition without `if`", of(when=[{"settings": {speed: "90 mm/s"}}])), ("authors that are a mapping", of(authors={"a": 1})),
        ("a lock that is a mapping", of(locked={speed: True})),
    ]
    return good, broken


def main():
    arg, checks = arguments(__doc__), Checks()
    program = Program(arg.binary, arg.root)
    done = program.run("schema", "--format", "json-schema")
    schema = document(done.stdout)
    checks.that("the schema is printed as one JSON document", done.returncode == 0 and schema, done.stderr[:500])
    if not schema:
        checks.finish()
    checks.that("it is a draft-07 schema", "draft-07" in schema.get("$schema", ""), schema.get("$schema"))
    names = re.findall(r'"(unevaluatedProperties|prefixItems|unevaluatedItems|dependentRequired)"', json.dumps(schema))
    checks.same("it uses no keyword of a later draft", names, [])
    valid, why = node.run(META, schema, PACKAGE)
    if not checks.that("ajv takes it as a schema", valid, why):
        checks.finish()

    dictionary = {}
    for path in sorted((arg.root / "schema").glob("*.yaml")):
        dictionary.update(yaml.load(path.read_text(encoding="utf-8"), Core).get("settings") or {})
    paths = [p for kind in ("machine", "material", "process") for p in sorted((arg.root / "profiles-src" / kind).rglob("*.yaml"))]
    documents = [yaml.load(path.read_text(encoding="utf-8"), Core) for path in paths]
    good, broken = good_and_broken(dictionary)
    everything = documents + [each for _, each in good + broken]
    answers = node.run(SCRIPT, {"schema": schema, "documents": copy.deepcopy(everything)}, PACKAGE)
    for path, found in zip(paths, answers):
        checks.that(f"{path.relative_to(arg.root)} is taken", found is None, found)
    checks.that("the demo tree has fragments", paths)
    for (name, each), found in zip(good, answers[len(paths):]):
        checks.that(f"taken: {name}", found is None, f"{found}: {json.dumps(each)}")
    for (name, each), found in zip(broken, answers[len(paths) + len(good):]):
        checks.that(f"refused: {name}", found is not None, json.dumps(each))
    checks.finish()


if __name__ == "__main__":
    main()
