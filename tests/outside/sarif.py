#!/usr/bin/env python3
"""`validate --format sarif` through npm `@microsoft/sarif-multitool`, a public validator of SARIF 2.1.0 (OASIS): the logs of
the demo tree, of contributions and of cases pass its rules for any log (its kind Sarif) and for forges (Ghas) with no error and
no warning. Its other kinds ask for what a log of this program cannot have, such as the numbers of one vendor's build service.
Then, here: levels, rules, and that each region holds the text that it is about."""
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path
from urllib.parse import unquote

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent / "reference"), str(HERE.parent / "cases")]
from checks import Checks, Program, arguments, document, scratch  # noqa: E402
from run import Case, sections_of  # noqa: E402  (tests/cases)
import node  # noqa: E402

PACKAGE = "@microsoft/sarif-multitool@5"
NO_PLACE = "profiles-src/bindery.yaml"          # where a log tells what has no place
ALONE = 5                                       # so many logs are validated as they are
RELATIVE_URI = re.compile(r"(?:[A-Za-z0-9._~!$&'()*+,;=:@/-]|%[0-9A-F]{2})+")      # RFC 3986, appendix A

# A branch from tests/contributions/base. Letters of two, three and four bytes stand before what is wrong.
TWICE, HOT, BIRCH, ASH = (f"profiles-src/{name}.yaml" for name in ("material/twice", "material/hot", "machine/birch-200", "machine/ash-200"))
THICK, PLUS, SIGNS = (f"profiles-src/process/{name}.yaml" for name in ("thick", "extra+0.4", "Größe 1 %+#"))
PLAN, REMARK = "release/plan.yaml", "release/remark.yaml"
SENT = {
    TWICE: """\
title: Twice
settings: { material.family: "Größe Ø 中文 𝄞", nozzle.temperature: 205 degC, "nozzle.temperature": 210 degC }
""",
    HOT: """\
title: Hot
about: Ø
authors: [A. Contributor]
tier: supporter
settings: { material.family: "𝄞𝄞", nozzle.temperature: 300 degC }
adjust: { "𝄞": 3 K }
""",
    THICK: """\
title: Thick
about: Ungewöhnlich
status: stable
settings: { wall.cont: 3, layer.height: 0.55 mm, wall.count: 1, travel.speed: 90 mm/s }
""",
    BIRCH: """\
title: Birch 200
about: Ø
authors: [A. Contributor]
extends: any-machine
settings: { nozzle.diameter: 0.4 mm, hotend.heater.max: 255 degC }
""",
    ASH: """\
title: Ash 200
about: Ø
authors: [A. Contributor]
extends: any-machine
settings: { nozzle.diameter: 0.4 mm }
scripts:
  layer: |
    ; Höhe 𝄞
    M42 P3 S1
    G1 X900 F6000
    G91
  end: { after: "M84\n" }
""",
    PLUS: "title: Extra\nabout: x\nauthors: [x]\n",
    SIGNS: "title: Extra\nabout: x\nauthors: [x]\n",
    REMARK: "x: 1\n",
}
NEW_TAKE = ('take: [ { machine: ["*"]', 'take: [ { machine: ["*", "no-such-𝄞*"]')
# What the log must say: rule, level, place, related place. A place is a file and its words, with the region between bars;
# the first sign of a file where none are given; the whole log's place where there is no file.
POLICY = ("profiles-src/bindery.yaml", "|policy|:")
TOLD = [
    ("key-duplicate", "error", (TWICE, '|"nozzle.temperature"|'), (TWICE, "|nozzle.temperature|: 205")),
    ("limit-refused", "error", (HOT, "|300 degC|"), ("profiles-src/machine/base/any-machine.yaml", "calc: |hotend.heater.max|")),
    ("setting-unknown", "error", (HOT, '|"𝄞"|'), None),
    ("policy-tier", "error", (HOT, "|tier|"), POLICY),
    ("setting-unknown", "error", (THICK, "|wall.cont|:"), None),
    ("rule-broken", "warning", (THICK, "|0.55 mm|"), ("schema/roles.yaml", "|layer-fits-nozzle|")),
    ("rule-broken", "note", (THICK, "wall.count: |1|"), ("schema/roles.yaml", "|one-wall|")),
    ("locked-write", "error", (THICK, "|travel.speed|"), ("profiles-src/machine/rowan-150.yaml", "|travel.speed|")),
    ("policy-evidence", "error", (THICK, "|status|"), POLICY),
    ("policy-header", "error", (THICK, None), POLICY),
    ("locked-write", "error", (BIRCH, "|hotend.heater.max|"), ("profiles-src/machine/base/any-machine.yaml", "locked: [|hotend.heater.max|]")),
    ("policy-setting", "error", (BIRCH, "|hotend.heater.max|"), POLICY),
    ("script-refused", "error", (ASH, "|M42 P3 S1|"), None),
    ("script-outside", "error", (ASH, "|G1 X900 F6000|"), None),
    ("script-mode", "error", (ASH, "|G91|"), None),
    ("name-invalid", "error", (PLUS, None), None),
    ("name-invalid", "error", (SIGNS, None), None),
    ("take-unmatched", "error", (PLAN, '|"no-such-𝄞*"|'), None),
    ("policy-path", "error", (PLAN, None), POLICY),
    ("policy-path", "error", (REMARK, None), POLICY),
    ("policy-size", "error", (NO_PLACE, None), POLICY),          # too many files
    ("policy-size", "error", (NO_PLACE, None), POLICY),          # too many profiles
    ("policy-signoff", "error", (NO_PLACE, None), POLICY),
]


# --- the program's logs ---

class Log:
    """What one run printed, as SARIF and as JSON, and the texts that it was about."""

    def __init__(self, name, sarif, told, texts):
        self.name, self.text, self.sarif, self.texts = name, sarif, document(sarif), texts
        self.told = (document(told) or {}).get("diagnostics")

    @property
    def run(self):
        return self.sarif["runs"][0]


def texts_of(*trees):
    """Path to bytes of what stands in a tree and what is laid over it."""
    found = {}
    for tree in trees:
        for part in ("profiles-src", "schema", "release"):
            for path in sorted((tree / part).rglob("*")):
                if path.is_file() and not path.is_symlink():
                    found[path.relative_to(tree).as_posix()] = path.read_bytes()
    return found


def log_of(name, program, words, texts):
    both = [program.run("validate", *words, "--format", form).stdout for form in ("sarif", "json")]
    return Log(name, *both, texts)


class Logged(Case):
    """A case, of whose commands the logs are kept."""

    def command(self, line):
        words = shlex.split(self.with_commits(line))[1:]
        program = Program(self.program, self.tree)
        logs = [program.run("validate", *words, "--format", form, env=self.settings, cwd=self.work).stdout for form in ("sarif", "json")]
        self.logs = [*getattr(self, "logs", []), Log(self.name, *logs, texts_of(self.tree))]


def logs_of_cases(binary, folder):
    """Of cases that do nothing but `validate`: each that shows a code which none before it has shown."""
    seen = set()
    for path in sorted(folder.glob("*.case")):
        lines = [line for words, body in sections_of(path.read_text())[1] if words == ["run"] for line in body if line.strip() and line[0] != "#"]
        if not all(line.split()[0] == "validate" and "--format" not in line and "-C" not in line for line in lines):
            continue
        codes = set(re.findall(r"(?:error|warning|note)\[([a-z-]+)[\]:]", path.with_suffix(".expected").read_text()))
        if "== nobody" in path.read_text() or codes <= seen:
            continue
        seen |= codes
        case = Logged(binary, path)
        case.name = f"case {path.stem}"
        case.run()
        yield from getattr(case, "logs", [])


def branch(root, folder):
    """The tree of the contributions, and on a branch of it what SENT holds, in one commit without a sign-off."""
    shutil.copytree(root / "tests/contributions/base", folder)

    def git(*words):
        who = {f"GIT_{role}_{what}": text for role in ("AUTHOR", "COMMITTER") for what, text in (("NAME", "Ä. Contributor"), ("EMAIL", "nobody@example.org"))}
        subprocess.run(["git", "-C", folder, *words], check=True, env={**os.environ, **who, "GIT_CONFIG_GLOBAL": "/dev/null"}, stdout=subprocess.DEVNULL)
    git("init", "-q", "-b", "main")
    git("add", "-A")
    git("commit", "-q", "-m", "The base")
    git("checkout", "-q", "-b", "sent")
    for path, text in SENT.items():
        (folder / path).write_text(text, encoding="utf-8")
    (folder / PLAN).write_text((folder / PLAN).read_text().replace(*NEW_TAKE), encoding="utf-8")
    git("add", "-A")
    git("commit", "-q", "-m", "Möre")
    return folder


# --- checks ---

def region_text(text, region):
    """The text of a region; None where it does not lie in the text. Columns count code points from 1, the end is behind the last."""
    lines = text.split("\n")
    first, last = region["startLine"], region["endLine"]
    begin, end = region["startColumn"], region["endColumn"]
    if not (1 <= first <= last <= len(lines) and begin >= 1 and (first, begin) < (last, end)):
        return None
    if begin > len(lines[first - 1]) + 1 or end > max(len(lines[last - 1]), 1) + 1 + (begin == len(lines[first - 1]) + 1):
        return None
    if first == last:
        return lines[first - 1][begin - 1:end - 1]
    return "\n".join([lines[first - 1][begin - 1:], *lines[first:last - 1], lines[last - 1][:end - 1]])


def place_of(location):
    """Path, region and its text's numbers of a location."""
    physical = location["physicalLocation"]
    return unquote(physical["artifactLocation"]["uri"], errors="strict"), physical["region"]


def faults_of(log, catalogue):
    """What is wrong with a log, in words."""
    if log.sarif is None or log.told is None:
        yield "it is no JSON document"
        return
    if (log.sarif["version"], len(log.sarif["runs"]), log.run["columnKind"]) != ("2.1.0", 1, "unicodeCodePoints"):
        yield "it is not one run of 2.1.0 that counts code points"
    rules = log.run["tool"]["driver"]["rules"]
    ids = [rule["id"] for rule in rules]
    if len(set(ids)) != len(ids) or set(ids) != {result["ruleId"] for result in log.run["results"]}:
        yield f"its rules are not those of its results, each once: {ids}"
    for rule in rules:
        entry = catalogue.get(rule["id"])
        if entry is None:
            yield f"no diagnostic has the code {rule['id']}"
        elif (rule["defaultConfiguration"]["level"], rule["shortDescription"]["text"].lower()) != (entry["severity"], entry["title"].lower() + "."):
            yield f"the rule {rule['id']} is not as `list diagnostics` has it"
    if len(log.run["results"]) != len(log.told):
        yield f"{len(log.run['results'])} results, and {len(log.told)} diagnostics in JSON"
    for result, told in zip(log.run["results"], log.told):
        words = f"{result['ruleId']}: {result['message']['text'][:80]}"
        if not 0 <= result["ruleIndex"] < len(ids) or ids[result["ruleIndex"]] != result["ruleId"]:
            yield f"the index of its rule is wrong: {words}"
        if (result["ruleId"], result["level"]) != (told["code"], told["severity"]):
            yield f"another code or level than in JSON: {words}"
        if len(result["locations"]) != 1:
            yield f"it has {len(result['locations'])} places: {words}"
        for location in [*result["locations"], *result.get("relatedLocations", [])]:
            yield from (f"{fault}: {words}" for fault in place_faults(log, location))
        path, region = place_of(result["locations"][0])
        here = (path, region["startLine"], region["startColumn"])
        there = (told["file"], told["line"], told["column"]) if told.get("file") else (NO_PLACE, 1, 1)
        if here != there:
            yield f"it stands at {here}, in JSON at {there}: {words}"


def place_faults(log, location):
    uri = location["physicalLocation"]["artifactLocation"]["uri"]
    if not RELATIVE_URI.fullmatch(uri) or uri.startswith("/") or ".." in uri.split("/"):
        yield f"'{uri}' is no relative URI"
    path, region = place_of(location)
    if path not in log.texts:
        if path != NO_PLACE and (region["startLine"], region["startColumn"]) != (1, 1):
            yield f"there is no {path}"
        return
    try:
        text = log.texts[path].decode("utf-8")
    except UnicodeDecodeError:
        return                      # columns count letters, and this file has no letters
    if region_text(text, region) is None:
        yield f"{path} has no region {region}"


def marked(texts, place):
    """A place of TOLD as path, first line and column, last line and column."""
    path, words = place
    text = texts[path].decode()
    if words is None:
        return path, 1, 1, 1, 2
    before, inside, behind = words.split("|")
    assert text.count(before + inside + behind) == 1, f"'{words}' stands {text.count(before + inside + behind)} times in {path}"
    begin = text.index(before + inside + behind) + len(before)

    def position(offset):
        return text.count("\n", 0, offset) + 1, offset - text.rfind("\n", 0, offset)
    return path, *position(begin), *position(begin + len(inside))


def check_exact(checks, log):
    """The branch's log, result by result, against TOLD."""
    def placed(location):
        path, region = place_of(location)
        return path, region["startLine"], region["startColumn"], region["endLine"], region["endColumn"]
    got = Counter((result["ruleId"], result["level"], *map(placed, result["locations"]), *map(placed, result.get("relatedLocations", [])))
                  for result in log.run["results"])
    for rule, level, place, related in TOLD:
        wanted = (rule, level, *(marked(log.texts, each) for each in (place, related) if each))
        near = [each for each in got if each[:1] == (rule,)]
        checks.that(f"{log.name}: {rule} at {place[1] or 'the top'} of {place[0]}", got[wanted] > 0, f"no {wanted}, but {near}")
        got[wanted] -= 1
    checks.same(f"{log.name}: nothing else is told", sorted((+got).keys()), [])


def validated(folder, logs):
    """[(number of the log, level, rule, message)] of the validator on all logs, one document each but for the last ones: a
    forge takes up to twenty runs in one, and each document costs time."""
    binary = node.folder_with(PACKAGE) / "node_modules/@microsoft/sarif-multitool-linux/Sarif.Multitool"
    batches = [[number] for number in range(min(ALONE, len(logs)))]
    batches += [list(range(first, min(first + 20, len(logs)))) for first in range(ALONE, len(logs), 20)]
    for number, batch in enumerate(batches):
        whole = {**logs[batch[0]], "runs": [run for each in batch for run in logs[each]["runs"]]}
        (folder / f"{number:04}.sarif").write_text(json.dumps(whole, ensure_ascii=False), encoding="utf-8")
    # It ends with 0 whatever it finds; its own log tells.
    out = folder / "answer.json"
    done = subprocess.run([binary, "validate", folder / "*.sarif", "--rule-kind", "Sarif;Ghas", "--level", "Error;Warning", "--output", out],
                          capture_output=True, text=True, env={**os.environ, "DOTNET_SYSTEM_GLOBALIZATION_INVARIANT": "1"}, timeout=300)
    if not out.exists() or f"{len(batches)} files scanned" not in done.stdout:
        raise RuntimeError(f"the validator has not read all: {done.stdout[-500:]}{done.stderr[-500:]}")
    found = []
    for run in json.loads(out.read_text(encoding="utf-8-sig"))["runs"]:
        for result in run.get("results", []):
            message = json.dumps(result["message"])
            uri = result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
            batch = batches[int(re.search(r"(\d{4})\.sarif$", uri)[1])]
            run_of = re.search(r"runs\[(\d+)\]", message)
            # What is wrong with a document as a whole is wrong with each of its runs.
            for number in [batch[int(run_of[1])]] if run_of else batch:
                found.append((number, result.get("level", "warning"), result["ruleId"], message[:300]))
    return found


def check_validator(checks, folder, logs):
    """The validator's answer on all logs, and on two that are spoilt on purpose."""
    spoilt = [json.loads(logs[0].text) for _ in range(2)]
    spoilt[0]["runs"][0]["results"][0]["ruleIndex"] = 999
    spoilt[1]["runs"][0]["tool"]["driver"].pop("informationUri", None)
    found = validated(folder, [*spoilt, *(log.sarif for log in logs)])
    for number, level, rule in ((0, "error", "SARIF1009"), (1, "warning", "SARIF2005")):
        checks.that(f"the validator tells {level} {rule} where there is one", any(each[:3] == (number, level, rule) for each in found))
    for number, log in enumerate(logs, 2):
        own = [" ".join(each[1:]) for each in found if each[0] == number]
        checks.that(f"{log.name}: the validator has neither error nor warning", not own, "; ".join(own[:3]))


def main():
    arg, checks = arguments(__doc__), Checks()
    listed = document(Program(arg.binary, arg.root).run("list", "diagnostics", "--format", "json").stdout)
    catalogue = {entry["id"]: entry for entry in listed}
    with scratch() as folder:
        sent = branch(arg.root, folder / "branch")
        many = log_of("many sorts", Program(arg.binary, sent), ["--since", "main"], texts_of(sent))
        demo, bad = Program(arg.binary, arg.root), arg.root / "tests/contributions/demo/bad"
        logs = [log_of("the demo tree", demo, [], texts_of(arg.root)),
                log_of("the bad demo contribution", demo, ["--overlay", bad], texts_of(arg.root, bad)), many]
        logs += logs_of_cases(arg.binary, arg.root / "tests/cases")
        for log in logs:
            faults = list(faults_of(log, catalogue))
            checks.that(f"{log.name}: levels, rules and regions", not faults, "; ".join(faults[:5]))
        check_exact(checks, many)
        codes = {result["ruleId"] for log in logs for result in log.run["results"]}
        checks.that("the logs hold many sorts of diagnostics", len(codes) > 70, f"got {len(codes)}")
        checks.that("the demo tree's log has no error", all(result["level"] != "error" for result in logs[0].run["results"]))
        checks.that("the bad contribution's log has an error", any(result["level"] == "error" for result in logs[1].run["results"]))
        answers = folder / "logs"
        answers.mkdir()
        check_validator(checks, answers, logs)
    checks.finish()


if __name__ == "__main__":
    main()
