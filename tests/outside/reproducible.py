#!/usr/bin/env python3
"""The same bytes on every machine, and nothing of the supporters' in the free release.

Two git clones of a copy of the repository's tree, in folders of other names, built with another time zone, umask, locale
and number of threads, must give the same bytes (as https://reproducible-builds.org/docs/definition/
has it: all but the sources may vary). Then, outside git, what only supporter-tier sources say is changed and at last removed: the free release
must stay the same, byte for byte."""
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import yaml

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "reference"))
from checks import Checks, Program, arguments, scratch  # noqa: E402

PARTS = ("profiles-src", "schema", "release")
LOADER = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
VARIED = [              # place, environment, umask, threads
    ("one/tree", {"TZ": "UTC", "LC_ALL": "C", "HOME": "/nonexistent"}, 0o022, 1),
    ("quite another/place of a longer name/t", {"TZ": "Pacific/Chatham", "LC_ALL": "C.UTF-8", "LANG": "de_DE.UTF-8"}, 0o077, 4),
    ("third", {"TZ": "America/St_Johns", "LC_ALL": "tr_TR.UTF-8", "LC_NUMERIC": "de_DE.UTF-8"}, 0o002, 2),
]


def copy_tree(root, folder):
    for part in PARTS:
        if (root / part).is_dir():
            shutil.copytree(root / part, folder / part, symlinks=True)
    return folder


def git(folder, *words):
    fixed = {"GIT_AUTHOR_DATE": "2024-02-29T12:34:57+05:45", "GIT_COMMITTER_DATE": "2024-02-29T12:34:57+05:45",
             "GIT_CONFIG_GLOBAL": "/dev/null", "GIT_CONFIG_SYSTEM": "/dev/null"}
    name = ["-c", "user.name=Nobody", "-c", "user.email=nobody@example.org", "-c", "init.defaultBranch=main"]
    return subprocess.run(["git", "-C", str(folder), *name, *map(str, words)], check=True, capture_output=True, text=True,
                          env={**os.environ, **fixed}).stdout


def built(folder):
    """{path below the folder: bytes} of all that was built (but for the file that makes git ignore it)."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file() and p.name != ".gitignore"}


def apart(a, b):
    """The names of what differs."""
    return sorted(name for name in {*a, *b} if a.get(name) != b.get(name))


def clones(checks, arg, work):
    origin = copy_tree(arg.root, work / "origin")
    git(origin, "init", "-q")
    git(origin, "add", "-A")
    git(origin, "commit", "-q", "-m", "All of it")
    for version in (None, "7.8.9-rc.1"):
        results = []
        for place, environment, mask, threads in VARIED:
            here = work / place
            if not here.exists():
                here.parent.mkdir(parents=True, exist_ok=True)
                before = os.umask(mask)
                git(work, "clone", "-q", origin, here)
                os.umask(before)
            clean = {k: v for k, v in os.environ.items() if not k.startswith(("LC_", "LANG", "TZ", "SOURCE_DATE"))}
            out = here / "out"
            shutil.rmtree(out, ignore_errors=True)
            done = subprocess.run([arg.binary, "-C", here, "-j", str(threads), "build", *([f"--version={version}"] if version else [])],
                                  env={**clean, **environment}, umask=mask, capture_output=True, text=True, stdin=subprocess.DEVNULL)
            label = f"{version or 'snapshot'}, {environment['TZ']}, umask {mask:03o}, {environment['LC_ALL']}, -j {threads}"
            checks.that(f"{label}: builds", done.returncode == 0, done.stderr[:1000])
            results.append(built(out))
            checks.that(f"{label}: writes both tiers", len([n for n in results[-1] if n.endswith(".zip")]) == 2, str(list(results[-1])))
            if len(results) > 1:
                checks.same(f"{label}: the same bytes as the first", apart(results[0], results[-1]), [])
            secret = [n for n, data in results[-1].items() if str(work).encode() in data]
            checks.same(f"{label}: no path of the machine in what was written", secret, [])
        head = git(origin, "rev-parse", "HEAD").strip()
        release = [data.decode() for name, data in results[0].items() if name.endswith("release.json")]
        checks.that("release.json names the commit", release and all(head in text for text in release))


# Tiers

class Sources:
    """A copy of the tree, outside git, and what in it is for supporters only."""

    def __init__(self, folder):
        self.folder = folder
        default = self.load(folder / "profiles-src" / "bindery.yaml").get("default_tier", "free")
        self.files, self.fittings, names = [], [], set()
        fragments = {path: self.load(path) for path in sorted(self.sources())}

        def above(path, data):
            """Whether it extends something that is for supporters."""
            parents = data.get("extends") or []
            return any((path.relative_to(folder).parts[1], p) in names for p in (parents if isinstance(parents, list) else [parents]))

        found = -1
        while found != len(names):                                  # what builds on a supporter fragment is for supporters too
            found = len(names)
            for path, data in fragments.items():
                kind, tier, fittings = path.relative_to(folder).parts[1], data.get("tier", default), data.get("fittings") or {}
                whole = path in self.files or tier == "supporter" or above(path, data)
                if whole and path not in self.files:
                    self.files.append(path)
                    names |= {(kind, path.stem)}
                for name, fitting in fittings.items():
                    if whole or (fitting or {}).get("tier") == "supporter" or above(path, fitting or {}):
                        if not whole and (path, name) not in self.fittings:
                            self.fittings.append((path, name))
                        names.add((kind, f"{path.stem}+{name}"))
        self.notes = [p for p in sorted((folder / "release" / "notes").rglob("*.yaml")) if self.load(p).get("tier") != "free"]
        self.plan = folder / "release" / "plan.yaml"
        self.sets = [n for n, s in self.load(self.plan).get("sets", {}).items() if s.get("tier") == "supporter"]

    @staticmethod
    def load(path):
        return yaml.load(path.read_text(encoding="utf-8"), LOADER) or {}

    def sources(self):
        for kind in ("machine", "material", "process"):
            yield from (self.folder / "profiles-src" / kind).rglob("*.yaml")

    def cut(self, path, *keys):
        """Takes one entry of a nested mapping out of a file, as an editor would: by its lines."""
        text = path.read_text(encoding="utf-8")
        node = yaml.compose(text, yaml.SafeLoader)
        for key in keys:
            first, node = next((k, v) for k, v in node.value if k.value == key)
        lines = text.splitlines(keepends=True)
        last = node.end_mark.line if node.end_mark.column == 0 else node.end_mark.line + 1
        while last > first.start_mark.line + 1 and re.match(r"\s*(#.*)?$", lines[last - 1]):
            last -= 1
        path.write_text("".join(lines[:first.start_mark.line] + lines[last:]), encoding="utf-8")


def change_values(sources, program):
    """Changes numbers that stand in supporter fragments, one at a time; keeps those with which the tree is still sound."""
    kept = 0
    for path in sources.files:
        text = path.read_text(encoding="utf-8")
        for found in re.finditer(r"(?<=[:\s])(\d+(?:\.\d+)?)(?= (mm|mm/s|mm/s\^2|K|%|s)\b|(?= %))", text):
            if kept >= 6:
                return kept
            number = float(found[1])
            other = f"{number * 0.96:.4f}".rstrip("0").rstrip(".")
            changed = text[:found.start()] + other + text[found.end():]
            path.write_text(changed, encoding="utf-8")
            if program.run("validate").returncode == 0:
                kept += 1
                break
            path.write_text(text, encoding="utf-8")
    return kept


def reword(sources):
    """Other titles in the supporter fragments."""
    for path in sources.files:
        text = path.read_text(encoding="utf-8")
        path.write_text(re.sub(r"^title: .*$", "title: Something else altogether", text, count=1, flags=re.M), encoding="utf-8")
    return len(sources.files)


def add_fragments(sources):
    """New supporter fragments on free ones, of each kind."""
    made = 0
    for kind in ("machine", "material", "process"):
        for path in sorted((sources.folder / "profiles-src" / kind).rglob("*.yaml")):
            data = sources.load(path)
            if path not in sources.files and data.get("abstract") != "true" and "fittings" not in data:
                (path.parent / f"zz-extra-{kind}.yaml").write_text(
                    f"title: An extra {kind}\ntier: supporter\nextends: {path.stem}\n", encoding="utf-8")
                made += 1
                break
    return made


def add_notes(sources):
    folder = sources.folder / "release" / "notes"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "zz-quiet.yaml").write_text("section: Added\ntext: A note that says no tier, so it is for supporters.\n", encoding="utf-8")
    (folder / "zz-said.yaml").write_text("section: Changed\ntier: supporter\ntext: A note for supporters.\n", encoding="utf-8")
    return 2


def remove_all(sources):
    """Takes out every supporter fragment, fitting, note and set."""
    for path in sources.files + sources.notes:
        path.unlink()
    for path, name in sources.fittings:
        if len(sources.load(path)["fittings"]) > 1:
            sources.cut(path, "fittings", name)
        else:                                                       # without a fitting it would be no longer abstract
            sources.cut(path, "fittings")
            path.write_text("abstract: true\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    for name in sources.sets:
        sources.cut(sources.plan, "sets", name)
    return len(sources.files) + len(sources.fittings) + len(sources.notes) + len(sources.sets)


def tiers(checks, arg, work):
    tree = copy_tree(arg.root, work / "plain")
    program = Program(arg.binary, tree)
    environment = {"GIT_CEILING_DIRECTORIES": str(work)}

    def release(label):
        out = work / "released"
        shutil.rmtree(out, ignore_errors=True)
        done = program.run("build", "--version=3.2.1", "--out", out, env=environment)
        checks.that(f"{label}: builds", done.returncode == 0, done.stderr[:1500])
        found = built(out)
        return ({n: d for n, d in found.items() if "/free/" in n}, {n: d for n, d in found.items() if "/supporter/" in n})

    release("before an edit")
    old = work / "old.zip"
    shutil.copy(next((work / "released").glob("3.2.1/free/*.zip")), old)
    everyday = tree / "profiles-src/process/everyday.yaml"
    everyday.write_text(everyday.read_text(encoding="utf-8").replace("150 mm/s", "155 mm/s"), encoding="utf-8")

    def told(label):
        """What the free audience is told of the edit, for readers and for programs."""
        runs = [program.run("changelog", old, "--tier=free", f"--format={form}", env=environment) for form in ("markdown", "json")]
        checks.that(f"{label}: the free changelog is told", all(r.returncode == 0 and "155" in r.stdout for r in runs), runs[0].stderr[:800])
        return [r.stdout for r in runs]

    news = told("as it stands")
    free, full = release("as it stands")
    checks.that("as it stands: a free and a supporter release", free and full)
    sources = Sources(tree)
    checks.that(f"the tree has {len(sources.files)} supporter fragments and {len(sources.sets)} supporter sets", sources.files and sources.sets)
    steps = [("supporter values changed", lambda: change_values(sources, program)), ("supporter titles changed", lambda: reword(sources)),
             ("supporter fragments added", lambda: add_fragments(sources)), ("supporter notes added", lambda: add_notes(sources))]
    for label, step in steps:
        count = step()
        checks.that(f"{label}: {count} of them", count)
        now, then = release(label)
        checks.same(f"{label}: the free release is the same", apart(free, now), [])
        checks.same(f"{label}: the free changelog is the same", told(label), news)
        if "titles" not in label:
            checks.that(f"{label}: the supporter release is another", apart(full, then))
        full = then
    sources = Sources(tree)
    checks.that("supporter sources removed", remove_all(sources))
    now, _ = release("supporter sources removed")
    checks.same("supporter sources removed: the free release is the same", apart(free, now), [])
    checks.same("supporter sources removed: the free changelog is the same", told("supporter sources removed"), news)


def main():
    arg, checks = arguments(__doc__), Checks()
    with scratch() as work:
        clones(checks, arg, work)
    with scratch() as work:
        tiers(checks, arg, work)
    checks.finish()


if __name__ == "__main__":
    main()
