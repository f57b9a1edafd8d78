#!/usr/bin/env python3
"""What the program remembers changes no answer: random trees, edited number by number, are validated and built with and
without the memory of the run before; and `show` says of a profile the same whether it reads the whole tree or only what
it needs.
Case N is the tree of seed N, so `--first N --cases 1` repeats one."""
import hashlib
import itertools
import os
import random
import re
import shutil
import subprocess
import traceback
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from checks import Checks, Program, arguments, keep, scratch
from random_trees import Maker
from sources import Tree

NUMBER = re.compile(r"(?<![\w.+-])-?\d+(?:\.\d+)?(?![\w.])")
STAGES = re.compile(r"^stage .*\n(?:.*\n)*?all .*\n", re.M)       # what --timings adds
EDITS = 8


class Case:
    def __init__(self, binary, seed):
        self.problems, self.counts, self.random = [], Counter(), random.Random(f"remembered {seed}")
        with scratch() as folder:
            try:
                self.program = Program(binary, folder)
                self.make(folder, seed)
                self.shows(folder)
                self.edits(folder)
            except Exception:
                self.problems.append(traceback.format_exc())
            if self.problems:
                self.problems.append(f"tree kept in {keep(folder, f'remembered-{seed}')}")

    def make(self, folder, seed):
        """A tree without an error, for only such a one is remembered; the edits see to errors."""
        for again in itertools.count():
            if Maker(f"{seed}.{again}").tree(folder) and Tree(folder).selected():
                if self.program.run("validate", "--no-cache").returncode == 0:
                    return self.add_texts(folder)
            shutil.rmtree(folder, ignore_errors=True)

    def add_texts(self, folder):
        """What an archive holds besides profiles, in the publisher's words."""
        for path in ("release/texts/read-me-first.txt", "release/texts/licence.txt", "release/notes/first.yaml"):
            if self.random.random() < 0.5:
                (folder / path).parent.mkdir(parents=True, exist_ok=True)
                note = "section: Added\ntext: An invented collection.\n"
                (folder / path).write_text(note if path.endswith(".yaml") else f"Invented words {self.random.random()}.\n", encoding="utf-8")

    def same(self, what, got, expected):
        if got != expected:
            self.problems.append(f"{what}: {got!r}, expected {expected!r}")

    def validated(self, *words):
        done = self.program.run("validate", "--timings", *words)
        if done.returncode not in (0, 1):
            self.problems.append(f"validate {words}: exit {done.returncode}: {done.stderr}")
        return "parsing " in done.stderr, (done.returncode, done.stdout, STAGES.sub("", done.stderr))

    def agree(self, what):
        """Validates with and without the memory; counts how the first came about."""
        whole, remembered = self.validated()
        _, anew = self.validated("--no-cache")
        self.same(what, remembered, anew)
        self.counts["read whole" if whole else "recalled"] += 1
        self.counts["with errors" if anew[0] else "with warnings" if anew[2] else "sound"] += 1
        self.counts["recalled with warnings"] += not whole and bool(anew[2])
        return anew[0] == 0

    def edits(self, folder):
        self.agree("first")
        self.agree("again")
        self.build_alike(folder, "first")
        files = sorted(path for kind in ("machine", "material", "process") for path in (folder / "profiles-src" / kind).rglob("*.yaml"))
        for number in range(EDITS):
            path = self.random.choice(files)
            before = path.read_text(encoding="utf-8")
            places = list(NUMBER.finditer(before))
            if not places:
                continue
            place = self.random.choice(places)
            value = self.random.choice([float(place.group()) * self.random.choice([0.5, 0.9, 1.1, 2, 40]), self.random.randrange(100)])
            self.overwrite(path, before[:place.start()] + f"{value:.6g}" + before[place.end():])
            what = f"edit {number}, {path.relative_to(folder)}, {place.group()} -> {value:.6g}"
            if number % 4 == 1:          # before the tree is validated
                self.build_alike(folder, what)
            sound = self.agree(what)
            if number % 2 == 0:
                self.build_alike(folder, what)
            self.counts["edits"] += 1
            if not sound or self.random.random() < 0.3:
                self.overwrite(path, before)
                self.agree(f"edit {number} taken back")
        for path in self.random.sample(files, min(2, len(files))):
            self.edit_head(path)
            self.build_alike(folder, f"head of {path.relative_to(folder)}")

    def edit_head(self, path):
        """Another title, status or tier: what reaches names and places, and values only through them."""
        line = self.random.choice(["title: Another one", "status: beta", "status: stable", "status: draft", "tier: supporter", "tier: free"])
        rest = [each for each in path.read_text(encoding="utf-8").splitlines() if not each.startswith(line.split(":")[0] + ":")]
        self.overwrite(path, "\n".join([line, *rest]) + "\n")

    def build_alike(self, folder, what):
        """Builds with and without what the last build packed: the same is said, and written to the byte."""
        built = [self.built(folder, *words) for words in ([], ["--no-cache"])]
        whole = built[0].pop()
        self.same(f"build, {what}", built[0], built[1][:-1])
        self.counts["not built" if built[0][0] != 0 else "built of the whole tree" if whole else "built of what is remembered"] += 1

    def built(self, folder, *words):
        out = folder.parent / f"{folder.name}.out"
        done = self.program.run("build", "--timings", "--out", out, *words)
        files = {path.relative_to(out).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in out.rglob("*") if path.is_file()}
        shutil.rmtree(out, ignore_errors=True)
        return [done.returncode, done.stdout, STAGES.sub("", done.stderr), files, "parsing " in done.stderr]

    def overwrite(self, path, text):
        """In place, beside it with a rename, or with the times of the file before: editors and tools do all of these."""
        how, times = self.random.randrange(3), path.stat()
        if how == 1:
            beside = path.with_suffix(".new")
            beside.write_text(text, encoding="utf-8")
            beside.replace(path)
        else:
            path.write_text(text, encoding="utf-8")
        if how == 2:
            os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))

    def shows(self, folder):
        names = [line.split("  ")[0] for line in self.program.run("list", "profiles").stdout.splitlines()]
        some = self.random.sample(names, min(3, len(names))) + ["none/of/these"]
        alone = {name: self.shown(name) for name in some}
        stray = folder / "profiles-src" / "process" / "stray.yml"     # a reader must be told of it, so all is read
        stray.parent.mkdir(parents=True, exist_ok=True)
        stray.write_text("title: Stray\n", encoding="utf-8")
        for name in some:
            self.same(f"show {name}", alone[name], self.shown(name))
            self.counts["shown"] += 1
        stray.unlink()

    def shown(self, name):
        done = self.program.run("show", name)
        return done.returncode, done.stdout, done.stderr


def other_libraries(checks, binary):
    """What was remembered is not believed with another file of a library, be it a copy: its bytes could be others now."""
    with scratch() as folder:
        tree, libraries = folder / "tree", folder / "libraries"
        Maker("libraries").tree(tree)
        program = Program(binary, tree)
        linked = subprocess.run(["ldd", binary], capture_output=True, text=True, check=True).stdout
        libraries.mkdir()
        shutil.copy(re.search(r"=> (/\S*/libdeflate\.so\S*)", linked)[1], libraries)
        other = {"LD_LIBRARY_PATH": str(libraries)}
        read = []
        for env in (None, None, other, other, None):
            done = program.run("validate", "--timings", env=env)
            read.append("parsing " in done.stderr if done.returncode == 0 else done.stderr[:200])
        checks.same("read whole at first, and with other files of libraries", read, [True, False, True, False, True])


def run(binary, seed):
    case = Case(binary, seed)
    return f"tree {seed}: {dict(case.counts)}", case.problems, case.counts


def main():
    arg, checks, counts = arguments(__doc__, cases=20, first=1), Checks(), Counter()
    with ProcessPoolExecutor(2) as workers:
        for name, problems, found in workers.map(partial(run, arg.binary), range(arg.first, arg.first + arg.cases)):
            counts += found
            checks.that(name, not problems, "\n      ".join(problems[:6] + problems[6:][-1:]))
    for name, number in sorted(counts.items()):
        print(f"      {name}: {number}")
    other_libraries(checks, arg.binary)
    if arg.cases >= 20:
        for name in ("recalled", "recalled with warnings", "read whole", "sound", "with errors", "edits", "shown", "built of the whole tree",
                     "built of what is remembered"):
            checks.that(f"{name}: {counts[name]}", counts[name] > 10)
    checks.finish()


if __name__ == "__main__":
    main()
