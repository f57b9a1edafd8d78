#!/usr/bin/env python3
"""Random contributions to random trees, each judged as a branch, as a folder and as a zip: the three verdicts agree; what is
brought and what stood before are together what plain `validate` says of the new tree; and what passes can be built.
Case N is the contribution of seed N, so `--first N --cases 1` repeats one."""
import itertools
import json
import os
import re
import shutil
import subprocess
import traceback
import zipfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from checks import Checks, Program, arguments, document, keep, scratch
from mutate import EDITS, PairMaker, Step
from random_trees import WORDS

# Additions and replacements alone: an overlay cannot delete.
LEAVE_OUT = {PairMaker.rename, PairMaker.remove_fragment, PairMaker.edit_layout, PairMaker.twin}
SIGNED = "\n\nSigned-off-by: A. Contributor <someone@example.org>"
# Texts that replace one of the files that are sent.
BROKEN = [b"", b"# Nothing\n", b"title: \xff\xfe\n", b"title: &a One\nabout: *a\n", "title: Turned \u202e round\n".encode(), b"\ttitle: One\n",
          b"title: One\ntitle: Two\n", b"- one\n- two\n", b"title: One\n---\ntitle: Two\n"]
EXTRA = ["README.md", "profiles-src/process/stray.yml", "profiles-src/remarks.txt", "schema/more.yaml", "release/notes/Odd Name.yaml"]


class OfferMaker(PairMaker):
    """Makes up a tree, then what somebody sends for it, sound or not."""

    def sources(self):
        found = super().sources()
        if found is None:
            return None
        if self.chance(0.4):        # the scripts of these trees are made of these
            found.dictionary["codes"] = {
                "G28": self.code("ordinary"), "G1": self.code("ordinary", F={}), "M42": self.code("refused", P={}),
                "M104": self.code("checked", S={"at_most": self.random.choice([150, 500, 10 ** 6])})}
        if self.chance(0.5):
            found.about["policy"] = self.policy(found)
        return found

    def code(self, trust, **words):
        return {"title": "A code", "trust": trust, "reason": "made up for this tree", "words": words}

    def policy(self, found):
        keys = [key.name for key in self.keys]
        return {
            "paths": self.pick([["*"], ["profiles-src/*"], ["profiles-src/*", "!profiles-src/machine/*"],
                                ["profiles-src/process/*", "release/notes/*"]]),
            "at_most": self.pick([{"files": 2, "fragments": 2}, {"file_bytes": 700, "bytes": 1500},
                                  {"profiles": 4, "script_lines": 1}, {"files": 99}]),
            "headers": self.pick([["title"], ["title", "about"], ["authors"]]),
            "sign_off": self.chance(0.5),
            "may_not_write": self.some(keys, 0, 2) + self.some(sorted({f"{key.partition('.')[0]}.*" for key in keys}), 0, 1),
            "tiers": self.pick([["free"], ["free", "supporter"]]),
            "evidence": self.pick([[], ["stable"]]),
        }

    def offer(self, first, count, spoil):
        """The names of `count` edits in a row, and the tree after them; each edit spoils something with the chance `spoil`."""
        self.first, found, now = first, [], first
        self.focus = {key.name for key in self.some([key for key in self.keys if not key.several], 1, 3)} if self.chance(0.5) else set()
        edits = [(edit, weight) for edit, weight in EDITS if edit not in LEAVE_OUT]
        for _ in range(30 * count):
            if len(found) == count:
                break
            self.now, self.units = now, now.units()
            step = self.spoil() if self.chance(spoil) else self.random.choices(*zip(*edits))[0](self)
            if step is None:
                continue
            after = now.after([step])
            if after.meaning() != now.meaning():
                found, now = [*found, step.name], after
        return found, now

    def spoil(self):
        """An edit that most often is an error."""
        unit = self.a_unit()
        kind = unit.partition("/")[0]
        key = self.pick(self.keys)
        strange = [k for k in self.keys if kind not in k.entry["kinds"]]

        def into(part, name, value):
            return self.piece(unit, None, part, name, value)

        def script():
            text = self.pick(["M42 P1\n", "M999\n", "M104 S100000\n", "G1 W3\n", "${nowhere.v}\n", "by hand\n"])
            return into("scripts", self.pick(["start", "layer"]), self.pick([text, {"after": text}]))

        def rule():
            rules = self.now.dictionary.get("rules", {})
            severity, numbers = self.pick(["error", "warning", "note"]), [k for k in self.keys if k.type == "count" and not k.several]
            if not numbers:
                return None
            made = {"assert": f"{self.pick(numbers).name} < {self.random.randint(1, 9)}", "severity": severity, "say": "that is too many",
                    "source": "invented"}

            def apply(sources):
                sources.dictionary.setdefault("rules", {})[f"rule-{len(rules)}"] = dict(made)
            return Step(f"rule {made}", apply, [("schema", "rules")])

        def take():
            name = self.pick(self.now.plan["sets"])

            def apply(sources):
                sources.plan["sets"][name]["take"].append({"machine": ["nobody-*"]})
            return Step(f"set {name} takes nobody", apply, [("plan", name)])

        def rewritten_policy():
            def apply(sources):
                sources.about["policy"] = {"paths": ["*"]}
            return Step("another policy", apply, [("policy",)])

        return self.pick([
            lambda: into("settings", f"{self.pick(WORDS)}.nowhere", "3 mm"),
            lambda: into("settings", key.name, self.pick(["12 parsecs", "3", "seven", -10 ** 9, "5 degC", "1000000000 mm"])),
            lambda: into("settings", self.pick(strange).name, 3) if strange else None,
            lambda: into("limits", key.name, {"at_most": self.literal(key), "else": "refuse"}),
            lambda: into("limits", f"{self.pick(WORDS)}x.*", {"at_most": "3 mm"}),
            script, script, script, script, script, script,
            lambda: self.header(unit, "colour", "green"),
            lambda: self.header(unit, "extends", [self.pick([unit.partition("/")[2], "nobody-at-all"])]),
            lambda: self.header(unit, "tier", "supporter"),
            lambda: self.header(unit, "status", "stable"),
            lambda: self.header(unit, "replaces", [self.pick(self.names[kind]).partition("+")[0]]) if "+" not in unit else None,
            lambda: self.header(unit, "locked", [key.name]),
            lambda: self.entry(key.name, "range", [0, 0.001]) if "range" in key.entry and key.name in self.now.dictionary["settings"] else None,
            rule, take, rewritten_policy])()


def files_of(sources, folder):
    """{path: bytes} of a tree."""
    folder.mkdir()
    sources.write(folder)
    found = {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    shutil.rmtree(folder)
    return found


def lay(files, folder):
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def key_of(item, files):
    """What a diagnostic is, wherever the lines around it have gone. A refused code weighs more in a contribution."""
    place, message = item.get("file") or "", item["message"]
    weight = "" if item["code"] == "script-refused" else item["severity"]
    if files is None:
        return item["code"], weight, place, re.sub(r"\d+(\.\d+)?", "N", message)
    lines = files.get(place, b"").decode("utf-8", "replace").splitlines()
    text = lines[item["line"] - 1] if item.get("line") and item["line"] <= len(lines) else ""
    return item["code"], weight, place, re.sub(r"(?<=\bline )\d+(?= of\b)", "N", message), text


def counted(items, files=None):
    """With `files` the text of its line counts too. Without them not even the numbers in a message do: it tells the first profile's,
    and which is the first depends on the reach."""
    return Counter(key_of(item, files) for item in items if not item["code"].startswith("policy-"))


class Case:
    """One contribution and the program's answers; `problems` gathers what is wrong, `counts` what was checked."""

    def __init__(self, binary, seed):
        self.seed, self.problems, self.counts = seed, [], Counter()
        with scratch() as folder:
            self.folder, self.tree = folder, folder / "tree"
            self.program = Program(binary, self.tree)
            self.make()
            try:
                self.judge()
            except (KeyError, TypeError, AttributeError) as lacking:
                self.wrong(f"the JSON is not as it should be: {lacking!r}, {traceback.format_exc().splitlines()[-3:]}")
            if self.problems:
                self.problems.append(f"[edits: {'; '.join(self.names)[:600]}]")
                self.problems.append(f"[seed {seed}, kept in {keep(folder, f'contribution-{seed}')}]")

    def make(self):
        for again in itertools.count():
            maker = OfferMaker(f"offer {self.seed}.{again}")
            base = maker.sources()
            if base is not None and len(base.units()) <= 20:
                break
        if maker.chance(0.4):                                  # trouble that was there before
            base = maker.offer(base, maker.random.randint(1, 2), 0.8)[1]
        spoil = maker.pick([0, 0, 0.4, 0.8])
        self.names, new = maker.offer(base, maker.pick([1, 1, 2, 3, 5]), spoil)
        self.sign_off = base.about.get("policy", {}).get("sign_off", False)
        self.signed = maker.chance(0.7)
        self.base = files_of(base, self.folder / "aside")
        new = files_of(new, self.folder / "aside")
        for name in maker.some(EXTRA, 1, 1) if maker.chance(0.15) else []:
            new[name] = maker.pick([b"One more file\n", b"title: One more file\n"])
            self.names.append(f"also {name}")
        self.sent = {name: data for name, data in new.items() if self.base.get(name) != data}
        if self.sent and maker.chance(0.1 if spoil else 0):
            name = maker.pick(sorted(self.sent))
            self.sent[name] = maker.pick(BROKEN)
            self.names.append(f"{name} is {self.sent[name]!r}")
        self.sent = {name: data for name, data in self.sent.items() if self.base.get(name) != data}

    def wrong(self, text):
        self.problems.append(text)

    def git(self, *words, text=""):
        person = {f"GIT_{role}_{what}": value for role in ("AUTHOR", "COMMITTER")
                  for what, value in (("NAME", "A. Contributor"), ("EMAIL", "someone@example.org"), ("DATE", "2001-02-03T04:05:06Z"))}
        done = subprocess.run(["git", *words], cwd=self.tree, env=os.environ | person, input=text, check=True, capture_output=True, text=True)
        return done.stdout.strip()

    def validate(self, *words):
        """The exit code and the document."""
        done = self.program.run("validate", *words, "--format", "json")
        found = document(done.stdout)
        if found is None or done.returncode not in (0, 1):
            self.wrong(f"validate {' '.join(map(str, words))}: exit code {done.returncode}: {(done.stderr or done.stdout)[:400]}")
            return done.returncode, None
        return done.returncode, found

    def profiles(self):
        """The names of the profiles that are in sets, or None where the tree has errors."""
        done = self.program.run("list", "profiles", "--format", "json")
        return None if done.returncode else {each["id"] for each in document(done.stdout)}

    # The runs

    def judge(self):
        lay(self.base, self.tree)
        lay(self.sent, self.folder / "overlay")
        with zipfile.ZipFile(self.folder / "offer.zip", "w", zipfile.ZIP_DEFLATED) as archive:
            for name, data in sorted(self.sent.items(), key=lambda pair: pair[0], reverse=bool(self.seed % 2)):
                archive.writestr(("offer/" if self.seed % 3 == 0 else "") + name, data)
        for words in (["init", "-q", "-b", "main", "--template="], ["add", "--all"], ["commit", "-q", "-m", "The base"]):
            self.git(*words)
        self.commit = self.git("rev-parse", "HEAD")
        before = self.validate()
        old = self.profiles()
        answers = {"folder": self.validate("--overlay", self.folder / "overlay"), "zip": self.validate("--overlay", self.folder / "offer.zip")}
        if not self.seed % 4 and (changed := self.git("status", "--porcelain")):
            self.wrong(f"the overlay was laid into the tree: {changed}")
        lay(self.sent, self.tree)
        self.git("add", "--all")
        if self.seed % 5:                                      # else the working tree alone holds it
            self.git("commit", "-q", "--allow-empty", "--file", "-", text="Offer it" + (SIGNED if self.signed else ""))
        answers["branch"] = self.validate("--since", self.commit)
        after = self.validate()
        if not all(document for _, document in [before, after, *answers.values()]):
            return
        self.agree(answers)
        self.whole(answers["folder"][1], before[1], after[1])
        code, found = answers["folder"]
        self.impact(found, old)
        if not code and before[1]["profiles"] and not any(item["severity"] == "error" for item in before[1]["diagnostics"]):
            self.counts["built"] += 1
            built = self.program.run("build", "--out", self.folder / "out")
            if built.returncode:
                self.wrong(f"it passes, and build ends with {built.returncode}: {built.stderr[:400]}")
        self.count(code, found)

    # 1. The three verdicts agree

    def agree(self, answers):
        unsigned = [item for item in answers["branch"][1]["diagnostics"] if item["code"] == "policy-signoff"]
        expected = bool(self.sign_off and self.seed % 5 and not self.signed)
        if bool(unsigned) != expected:
            self.wrong(f"the policy asks for a sign-off: {self.sign_off}, signed: {self.signed}, reported {len(unsigned)} times")
        self.counts["commits without their sign-off"] += bool(unsigned)
        for form, (code, found) in answers.items():
            plain = {**found, "diagnostics": [item for item in found["diagnostics"] if item["code"] != "policy-signoff"]}
            verdict = int(any(item["severity"] == "error" for item in found["diagnostics"]))
            if code != verdict:
                self.wrong(f"{form}: exit code {code}, and the diagnostics ask for {verdict}")
            for word in ("diagnostics", "standing", "fragments", "profiles", "files", "reached", "impact"):
                first = answers["folder"][1][word]
                if plain[word] != first:
                    self.wrong(f"{word}: {form} says {_short(plain[word], first)}, folder says {_short(first, plain[word])}")
            if sorted(plain["files"]) != sorted(self.sent):
                self.wrong(f"{form}: files {plain['files']}, expected {sorted(self.sent)}")
            base = self.commit if form == "branch" else ""
            if found["base"] != base:
                self.wrong(f"{form}: base {found['base']!r}, expected {base!r}")

    # 2. What is brought and what stood are what plain validate says of the new tree

    def whole(self, found, before, after):
        old, new = counted(before["diagnostics"]), counted(after["diagnostics"])
        # That nothing is left to publish, `build` would say, and not plain `validate`.
        told = [item for item in found["diagnostics"] if item["code"] != "nothing-taken"]
        brought, standing = counted(told), counted(found["standing"])
        for name, got, expected in (("not among what plain validate says of the new tree", brought + standing, new),
                                    ("standing, and not there before", standing, old)):
            if extra := got - expected:
                self.wrong(f"{name}: {_list(extra)}")
        if extra := (new - old) - brought:
            self.wrong(f"new, and not told as brought: {_list(extra)}")
        self.counts["diagnostics brought"] += sum(brought.values())
        self.counts["diagnostics standing"] += sum(standing.values())
        self.counts["diagnostics out of reach"] += sum((new - brought - standing).values())
        sent = self.base | self.sent
        brought, new, old = counted(found["diagnostics"], sent), counted(after["diagnostics"], sent), counted(before["diagnostics"], self.base)
        if extra := (brought - (new - old)) & old:
            self.wrong(f"told as brought, and there before: {_list(extra)}")

    # 3. The impact names the profiles that come and go

    def impact(self, found, old):
        new = self.profiles()
        if old is None or new is None:
            return
        told = found["impact"]["profiles"]
        for word, expected in (("added", new - old), ("removed", old - new)):
            if sorted(told[word]) != sorted(expected):
                self.wrong(f"impact: {word} {sorted(told[word])}, expected {sorted(expected)}")
            self.counts[f"profiles {word}"] += len(expected)
        self.counts["profiles changed"] += told["changed"] if isinstance(told["changed"], int) else len(told["changed"])

    def count(self, code, found):
        self.counts["refused" if code else "passed"] += 1
        self.counts["policy breached"] += any(item["code"].startswith("policy-") for item in found["diagnostics"])
        self.counts["with trouble from before"] += bool(found["standing"])
        self.counts["files sent"] += len(self.sent)
        self.counts["files added"] += len(set(self.sent) - set(self.base))
        self.counts["scripts judged"] += any(item["code"].startswith("script-") for item in found["diagnostics"])


def _short(value, other):
    if isinstance(value, list) and isinstance(other, list):
        value = [each for each in value if each not in other] or f"{len(value)} items"
    elif isinstance(value, dict) and isinstance(other, dict):
        value = {key: each for key, each in value.items() if other.get(key) != each}
    return json.dumps(value)[:400]


def _list(extra):
    return "; ".join(f"{number} x {' '.join(key)}" for key, number in sorted(extra.items()))[:600]


def run(binary, seed):
    case = Case(binary, seed)
    return f"contribution {seed}: {len(case.sent)} files", case.problems, case.counts


def main():
    arg, checks, counts = arguments(__doc__, cases=120, first=1), Checks(), Counter()
    with ProcessPoolExecutor(2) as workers:
        for name, problems, found in workers.map(partial(run, arg.binary), range(arg.first, arg.first + arg.cases)):
            counts += found
            checks.that(name, not problems, "\n      ".join(problems[:6] + problems[6:][-2:]))
    for name, number in sorted(counts.items()):
        print(f"      {name}: {number}")
    if arg.cases >= 100:
        for name in ("passed", "refused", "built", "policy breached", "with trouble from before", "files added", "diagnostics brought",
                     "diagnostics standing", "commits without their sign-off", "scripts judged", "profiles added", "profiles removed",
                     "profiles changed"):
            checks.that(f"{name}: {counts[name]}", counts[name] > 0)
    checks.finish()


if __name__ == "__main__":
    main()
