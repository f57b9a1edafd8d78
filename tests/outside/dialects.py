#!/usr/bin/env python3
"""What a release holds below for/, seen by readers that know nothing of Bindery: Python's configparser, json, csv and
xml.etree, PyYAML, and a plain reading of lines. The repository's own dialects and two invented ones, for yaml and for
csv, are built, and each value is looked for where the dialect's rows say that it stands.

Only what PyYAML finds in the dialects is taken from them. Values come from the archive's own profiles/, and for a
sample (--shown N) from `show`; units are converted by the factors below, written from their definitions (1 min = 60 s,
1 inch = 25.4 mm, degF = degC * 9/5 + 32)."""
import collections
import configparser
import csv
import io
import json
import random
import re
import shutil
import sys
import xml.etree.ElementTree as xml
import zipfile
from pathlib import Path

import yaml

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "reference"))
from checks import Checks, Program, arguments, document, scratch  # noqa: E402
import hashlib  # noqa: E402

VERSION = "9.8.7"
LOADER = getattr(yaml, "CBaseLoader", yaml.BaseLoader)  # every scalar as it is written
TYPED = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

# From the unit of the setting to that of the row: a factor, and what is added then.
FACTORS = {("mm/s", "mm/min"): (60, 0), ("%", "1"): (0.01, 0), ("mm", "um"): (1000, 0), ("s", "min"): (1 / 60, 0), ("mm", "inch"): (1 / 25.4, 0),
           ("mm/s^2", "m/s^2"): (0.001, 0), ("degC", "degF"): (9 / 5, 32), ("mm^3/s", "mm^3/min"): (60, 0), ("mm", "m"): (0.001, 0)}

# Two dialects of families that the repository's own leave out; their keys are invented.
EXTRA = {
    "folio": """\
title: Folio
tier: supporter
without: ["*"]
files:
  folio:
    family: yaml
    path: "@{machine}.folio"
    each: "@{id}"
    comment: "all of @{version}"
    rows:
      - { key: seal, tell: digest }
      - { key: "caption: of it", tell: title }
      - section: warmth
        rows:
          - { key: spout, from: nozzle.temperature, in: degF, decimals: 4 }
          - { key: board, from: bed.temperature.print }
      - { key: slab, from: layer.height, in: um, decimals: 3 }
      - { key: rush, from: wall.outer.speed, in: mm/min }
      - { key: jolt, from: motion.acceleration, in: m/s^2, decimals: 9 }
      - { key: order, from: layer.order }
      - { key: spread, from: infill.share, in: "1", decimals: 8 }
      - { key: notes, from: operator.steps }
      - { key: twisted, from: spiral.wall }
      - { key: shape, from: infill.shape }
      - { key: puff, from: fan.part.most, bare: false, suffix: "%" }
      - { key: opening, script: start }
""",
    "abacus": """\
title: Abacus
tier: free
without: ["*"]
files:
  abacus:
    family: csv
    layout: { delimiter: ";" }
    path: abacus.csv
    each: "@{id}"
    rows:
      - { key: "the profile", tell: id }
      - { key: "its; seal", tell: digest }
      - { key: spout, from: nozzle.temperature, suffix: " C" }
      - { key: slab, from: layer.height, point: ",", decimals: 4, pad: true }
      - { key: bore, from: nozzle.diameter, in: inch, decimals: 9, plus: true }
      - { key: soak, from: bed.soak, in: min, decimals: 9 }
      - { key: order, from: layer.order, join: " | " }
      - { key: notes, from: operator.steps, join: "\\n" }
      - { key: twisted, from: spiral.wall, yes: "aye", no: "nay" }
      - { key: lowest, from: material.nozzle.least, unset: "-" }
      - { key: closing, script: end }
""",
}


# Dialects and profiles

def rows_of(dialect, items, section=()):
    """The rows of a file laid out flat: (section, key, row)."""
    for item in items:
        inside = section + words(item.get("section"))
        if "use" in item or "rows" in item:
            yield from rows_of(dialect, item.get("rows", []), inside)
            for name in words(item.get("use")):
                yield from rows_of(dialect, dialect["groups"][name], inside)
        else:
            yield inside, item["key"], item


def words(value):
    return () if value is None else tuple(value) if isinstance(value, list) else (value,)


def quantity(value):
    """A value of a profile as a number and its unit; the unit is None where it is no quantity."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value), ""
    found = re.fullmatch(r"(-?[0-9.]+) (\S+)", value) if isinstance(value, str) else None
    return (float(found[1]), found[2]) if found else (value, None)


def converted(value, unit):
    """The number that a row in `unit` (None: the setting's own) has for a value; other values as they are."""
    number, own = quantity(value)
    if own is None:
        return value
    if unit in (None, own):
        return number
    factor, offset = FACTORS[(own, unit)]
    return number * factor + offset


def text_agrees(row, text, value, numeric):
    """Does `text` tell `value` as the row says: number, flag or word? Profiles tell six decimals of the setting's unit."""
    spelled = row.get("words", {})
    if isinstance(value, bool):
        return text == spelled.get(str(value).lower(), row.get("yes", "true") if value else row.get("no", "false"))
    if not numeric:
        return text == spelled.get(value, value)
    suffix, decimals, rounds = row.get("suffix", ""), int(row.get("decimals", 6)), row.get("rounds") == "true"
    if not text.endswith(suffix):
        return False
    digits = text[:len(text) - len(suffix)]
    if row.get("plus") == "true" and value >= 0:
        if digits[:1] != "+":
            return False
        digits = digits[1:]
    whole, point, fraction = digits.partition(row.get("point", "."))
    if not re.fullmatch(r"-?(0|[1-9][0-9]*)", whole) or not re.fullmatch(r"[0-9]*", fraction) or bool(point) != bool(fraction):
        return False
    padded = row.get("pad") == "true"
    if padded and len(fraction) != decimals or not padded and (fraction.endswith("0") or len(fraction) > decimals):
        return False
    return abs(float(whole + "." + (fraction or "0")) - value) <= (0.5 * 10 ** -decimals if rounds else 0) + 1e-6 * (60 if "in" in row else 1) + 1e-8 * abs(value)


def agrees(row, found, value):
    """Does what stands in a file (a text, or a list of them; None: nothing) tell the value of the row's setting?"""
    if value is None:
        return found == row.get("unset") if "unset" in row else found is None
    if value == []:
        return found in (None, "", [])
    if found is None:
        return False
    items = value if isinstance(value, list) else [value]
    numeric = [quantity(each)[1] is not None and not isinstance(each, bool) and "words" not in row for each in items]
    wanted = [converted(each, row.get("in")) for each in items]
    if "repeat" in row:
        wanted, numeric = wanted * int(row["repeat"]), numeric * int(row["repeat"])
    texts = [found] if isinstance(found, str) else found
    if "join" in row:
        texts = texts[0].split(row["join"]) if len(texts) == 1 else []
    return len(texts) == len(wanted) and all(map(lambda text, each, is_number: text_agrees(row, text, each, is_number), texts, wanted, numeric))


# Readers: the text of one file to {(section, ..., key): text or list of texts}

def by_ini(text, layout):
    sign = layout.get("separator", " = ").strip()
    reader = configparser.RawConfigParser(delimiters=(sign,), comment_prefixes=(layout.get("comment", "#"),), strict=True, interpolation=None,
                                          empty_lines_in_values=False, default_section="never")
    reader.optionxform = str
    reader.read_string("[ ]\n" + text)
    return {((() if name == " " else (name,)) + (key,)): value.replace("\\n", "\n").replace("\\\\", "\\")
            for name in reader.sections() for key, value in reader.items(name)}


def flat(data, within=()):
    """A mapping of mappings laid out flat, with every scalar as the program would write it."""
    if isinstance(data, dict):
        return {place: value for key, each in data.items() for place, value in flat(each, within + (str(key),)).items()}
    if isinstance(data, list):
        return {within: [scalar(each) for each in data]}
    return {within: scalar(data)}


def scalar(value):
    return str(value).lower() if isinstance(value, bool) else plain_number(value) if isinstance(value, (int, float)) else value


def plain_number(value):
    text = f"{value:.10f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
    return text


def by_json(text, _):
    return flat(json.loads(text))


def by_yaml(text, _):
    return flat(yaml.load(text, TYPED))


def by_xml(text, layout):
    root = xml.fromstring(text.encode())
    if root.tag != layout.get("root", "profile"):
        raise ValueError(f"the root is <{root.tag}>")
    found = {}

    def read(node, within):
        for child in node:
            name = child.get(layout.get("key_in", "name")) if child.tag in (layout.get("item"), layout.get("section")) else child.tag
            if child.tag == layout.get("section") or (len(child) and "item" not in layout):
                read(child, within + (name,))
                continue
            value = child.get(layout["value_in"]) if "value_in" in layout else child.text or ""
            found.setdefault(within + (name,), []).append(value)
    read(root, ())
    return {place: values if len(values) > 1 else values[0] for place, values in found.items()}


READERS = {"ini": by_ini, "json": by_json, "yaml": by_yaml, "xml": by_xml}


def sheet_parts(text, template):
    """A text sheet after its template: {name of the part: {(key,): text}}; a part begins with the line of its name."""
    lines = template.split("\n")
    head, body = lines[:lines.index("@{each}")], lines[lines.index("@{each}") + 1:lines.index("@{end}")]
    patterns = [re.compile("".join(f"(?P<{piece[2:-1].replace('-', '_')}>.*?)" if piece.startswith("@{") else re.escape(piece)
                                   for piece in re.split(r"(@\{[^}]*\})", line)) + "$") for line in body]
    foot = [line for line in lines[lines.index("@{end}") + 1:] if line]
    rest = text.split("\n")
    if rest[:len(head)] != head or [line for line in rest if line][-len(foot):] != foot:
        raise ValueError("the head or the foot is another")
    parts, part = {}, None
    blocks = "\n".join(rest[len(head):]).strip("\n").removesuffix("\n".join(foot)).strip("\n").split("\n\n")
    for block in blocks:
        part, at = {}, 0
        for line in block.split("\n"):
            while not (found := patterns[at].fullmatch(line)):
                at += 1  # a line whose values are all unset is left out
            part.update({(key.replace("_", "-"),): value for key, value in found.groupdict().items()})
            at += 1
        parts[part[("name",)]] = part
    return parts


# The checks

class Archive:
    def __init__(self, path):
        with zipfile.ZipFile(path) as opened:
            self.files = {name: opened.read(name) for name in opened.namelist()}
        self.profiles = {name[len("profiles/"):-len(".json")]: data for name, data in self.files.items() if name.startswith("profiles/")}
        self.values = {name: json.loads(data) for name, data in self.profiles.items()}

    def programs(self):
        """{dialect: {path: text}}"""
        found = collections.defaultdict(dict)
        for name, data in self.files.items():
            if name.startswith("for/"):
                _, dialect, path = name.split("/", 2)
                found[dialect][path] = data.decode("utf-8")
        return found


def filled(pattern, name, profile, digest):
    machine, material, process = name.split("/")
    told = {"id": name, "title": profile["title"], "machine": machine, "material": material, "process": process, "tier": profile["tier"],
            "status": profile["status"], "version": VERSION, "digest": digest}
    return re.sub(r"@\{([a-z]+)\}", lambda m: told[m[1]], pattern)


class Look:
    """Compares the rows of one dialect with the files of one archive."""

    def __init__(self, name, dialect, archive):
        self.name, self.dialect, self.archive = name, dialect, archive
        self.values, self.scripts, self.told, self.wrong, self.seals = 0, 0, 0, [], 0
        self.used, self.carried = set(), set()

    def run(self):
        texts = self.archive.programs()[self.name]
        read = {}
        for file in self.dialect["files"].values():
            rows = list(rows_of(self.dialect, file["rows"]))
            self.carried |= {row["from"] for _, _, row in rows if alone(row)}
            for name, profile in self.archive.values.items():
                digest = hashlib.sha256(self.archive.profiles[name]).hexdigest()
                path = filled(file["path"], name, profile, digest)
                self.used.add(path)
                try:
                    if path not in read:
                        read[path] = self.read(file, texts[path])
                    content = self.part(file, read[path], name)
                except (KeyError, ValueError, configparser.Error, yaml.YAMLError, xml.ParseError) as wrong:
                    self.wrong.append(f"{path}: {type(wrong).__name__}: {wrong}")
                    continue
                self.comment(file, texts[path], name, profile, digest, path)
                self.compare(file, rows, content, name, profile, digest, path)
        return self

    def read(self, file, text):
        layout = file.get("layout", {})
        if file["family"] == "text":
            return sheet_parts(text, file["template"])
        if file["family"] == "csv":
            records = list(csv.reader(io.StringIO(text, newline=""), delimiter=layout.get("delimiter", ","), strict=True))
            if any(len(each) != len(records[0]) for each in records):
                raise ValueError("records of several lengths")
            return {record[0]: {(key,): value for key, value in zip(records[0], record)} for record in records[1:]}
        return READERS[file["family"]](text, layout)

    @staticmethod
    def part(file, content, name):
        if "each" not in file:
            return content
        if file["family"] in ("text", "csv"):
            return content[name]
        own = tuple(name.split("/"))
        return {place[len(own):]: value for place, value in content.items() if place[:len(own)] == own}

    def comment(self, file, text, name, profile, digest, path):
        if "comment" not in file or "each" in file:
            return
        wanted = filled(file["comment"], name, profile, digest)
        line = next(line for line in text.split("\n") if not line.startswith("<?xml"))
        shown = line.removeprefix("<!-- ").removesuffix(" -->") if file["family"] == "xml" else line[2:]
        self.seals += digest in line
        if shown != wanted:
            self.wrong.append(f"{path}: the comment is {shown!r}")

    def compare(self, file, rows, content, name, profile, digest, path):
        parent = {}
        if "parent" in file:
            place = words(file["parent"].get("section")) + (file["parent"]["key"],)
            parent = next(flat(each["holds"]) for each in file["parent"]["of"] if each["name"] == content.get(place))
            same = [place for place, held in parent.items() if content.get(place) == held]
            if same:
                self.wrong.append(f"{path}: {same[0]} stands there though the parent has it")
        for section, key, row in rows:
            place = section + (key,)
            found = content.get(place, parent.get(place))
            if found == "" and file["family"] == "csv":
                found = None
            if alone(row) and "when" not in row:
                self.values += 1
                holds = agrees(row, found, profile["settings"].get(row["from"]))
            elif "tell" in row:
                self.told += 1
                self.seals += row["tell"] == "digest"
                holds = found == filled(f"@{{{row['tell']}}}", name, profile, digest)
            elif "file" in row:
                linked = filled(self.dialect["files"][row["file"]]["path"], name, profile, digest)
                holds = found == (Path(linked).stem if row.get("stem") == "true" else linked)
            elif "script" in row:
                self.scripts += 1
                text = profile["scripts"].get(row["script"])
                for job, spelling in self.dialect.get("scripts", {}).get("job", {}).items():
                    text = text.replace(f"@{{{job}}}", spelling) if text else text
                holds = found == text
            elif "text" in row:
                holds = found == row["text"]
            else:
                continue
            if not holds:
                self.wrong.append(f"{path}: {'/'.join(place)} of {name} is {found!r}, the profile says {profile['settings'].get(row.get('from'))!r}")


def alone(row):
    """Is the row fed by a setting alone?"""
    return bool(re.fullmatch(r"[a-z0-9]+(\.[a-z0-9]+)*", row.get("from", "")))


def build(checks, program, out, label, *words):
    done = program.run(*words, "build", f"--version={VERSION}", "--out", out, env={"SOURCE_DATE_EPOCH": "1700000001", "GIT_CEILING_DIRECTORIES": str(out.parent)}, timeout=600)
    checks.that(f"{label}: builds", done.returncode == 0, done.stderr[:1500])
    return {tier: Path(next((out / VERSION / tier).glob("*.zip"), "")) for tier in ("free", "supporter")}


def main():
    arg, checks = arguments(__doc__, shown=8), Checks()
    with scratch() as work:
        tree = work / "tree"
        for part in ("profiles-src", "schema", "release"):
            shutil.copytree(arg.root / part, tree / part, symlinks=True)
        shutil.rmtree(tree / "release" / "ledger.yaml", ignore_errors=True)
        for name, text in EXTRA.items():
            (tree / "profiles-src" / "dialect" / f"{name}.yaml").write_text(text, encoding="utf-8")
        dialects = {path.stem: yaml.load(path.read_text(encoding="utf-8"), LOADER) for path in sorted((tree / "profiles-src" / "dialect").glob("*.yaml"))}
        families = {file["family"] for each in dialects.values() for file in each["files"].values()}
        checks.same("the dialects are of every family", sorted(families), ["csv", "ini", "json", "text", "xml", "yaml"])
        program = Program(arg.binary, tree)
        done = program.run("dialect", "check", "--format", "json", timeout=300)
        found = document(done.stdout) or {"dialects": [], "diagnostics": []}
        checks.that("dialect check finds no error", done.returncode == 0, str([d["message"] for d in found["diagnostics"]][:3]))
        paths = build(checks, program, work / "out", "first", "-j", "1")
        archives = {tier: Archive(path) for tier, path in paths.items()}
        again = build(checks, program, work / "again", "once more", "-j", "3")
        for tier in archives:
            checks.that(f"{tier}: two builds give the same bytes", paths[tier].read_bytes() == again[tier].read_bytes())
        tiers(checks, dialects, archives)
        for tier, archive in archives.items():
            for name, dialect in dialects.items():
                if tier == "supporter" or dialect["tier"] == "free":
                    values(checks, tier, Look(name, dialect, archive).run(), found)
        shown(checks, program, archives["supporter"], arg.shown)
    checks.finish()


def tiers(checks, dialects, archives):
    held = {tier: archive.programs() for tier, archive in archives.items()}
    free = {name for name, each in dialects.items() if each["tier"] == "free"}
    checks.that("there are dialects of both tiers", free and free != set(dialects))
    checks.same("the free archive holds the free dialects alone", set(held["free"]), free)
    checks.same("the supporter archive holds all dialects", set(held["supporter"]), set(dialects))
    secret = sorted(set(archives["supporter"].profiles) - set(archives["free"].profiles))
    checks.that(f"{len(secret)} profiles are for supporters alone", secret and archives["free"].profiles)
    leaked = [(dialect, path, name) for dialect, files in held["free"].items() for path, text in files.items() for name in secret
              if name in text or path.startswith(name + ".")]
    checks.same("no file of the free archive names a supporter profile", leaked[:3], [])
    listed = {line[66:]: line[:64] for line in archives["supporter"].files["SHA256SUMS"].decode().splitlines()}
    wrong = [name for name, data in archives["supporter"].files.items() if name.startswith("for/") and listed.get(name) != hashlib.sha256(data).hexdigest()]
    checks.that("SHA256SUMS tells the digest of each file below for/", not wrong, str(wrong[:3]))


def values(checks, tier, look, found):
    label = f"{tier}, {look.name}"
    checks.that(f"{label}: {look.values} values, {look.scripts} scripts and {look.told} names and digests stand where the rows say", not look.wrong and look.values,
                f"{len(look.wrong)} wrong, such as {look.wrong[:3]}")
    checks.same(f"{label}: every file is one of a profile in the archive", sorted(set(look.archive.programs()[look.name]) ^ look.used)[:3], [])
    if tier == "supporter":
        told = next((each for each in found["dialects"] if each["id"] == look.name), {})
        checks.same(f"{label}: `dialect check` counts as many files and settings", (told.get("files"), told.get("carried")), (len(look.used), len(look.carried)))
    if look.seals:
        checks.that(f"{label}: {look.seals} digests are the SHA-256 of the profile's file", look.seals >= len(look.archive.profiles))


def shown(checks, program, archive, count):
    """The profiles of the archive are those that `show` tells."""
    for name in random.Random(5).sample(sorted(archive.values), min(count, len(archive.values))):
        _, told = program.show(name)
        own = archive.values[name]["settings"]
        wrong = []
        for key, each in (told or {"settings": {}})["settings"].items():
            def as_written(value):
                number, unit = quantity(value)
                return number if unit is not None else value
            mine = own.get(key)
            mine = [as_written(v) for v in mine] if isinstance(mine, list) else as_written(mine)
            if mine != each["value"]:
                wrong.append((key, mine, each["value"]))
        checks.that(f"show {name} tells what its files were compared with", told and not wrong, str(wrong[:3]))


if __name__ == "__main__":
    main()
