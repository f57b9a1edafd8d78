"""The trees that are measured, and the edits that are made in them while measuring."""
import os
import pathlib
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass

import generate
from fragments import AFTER, ROOT_PROCESS

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parents[1]


@dataclass
class Places:
    """Where everything stands that is written for measuring."""
    folder: pathlib.Path

    def __post_init__(self):
        self.plain = self.folder / "plain"        # one commit, no tag: nothing to tell changes from
        self.tagged = self.folder / "tree"        # the same files, with the tags 1.0.0 and 1.1.0
        self.output = self.folder / "output"      # what commands print and build

    def clear(self):
        for each in (self.plain, self.tagged, self.output):
            shutil.rmtree(each, ignore_errors=True)
        self.output.mkdir(parents=True)
        os.environ["TMPDIR"] = str(self.output)   # all that is measured writes to one disk


def write_tree(folder, fragments, *options):
    """In a process of its own: the memory that it takes would count as that of each process started from here."""
    subprocess.run([sys.executable, HERE / "generate.py", folder, "--fragments", str(fragments), *options], check=True)


def write_plain(folder, fragments):
    date = "2026-02-10T12:00:00Z"
    write_tree(folder, fragments, "--edit")
    generate.git(folder, "init", "-q", "-b", "main", date=date)
    generate.git(folder, "add", "-A", date=date)
    generate.git(folder, "commit", "-q", "-m", "All of it", date=date)
    generate.git(folder, "gc", "-q", date=date)


def write_trees(places, fragments):
    places.clear()
    write_tree(places.tagged, fragments, "--history")
    write_plain(places.plain, fragments)


class Edit:
    """One value in a file of a tree. Each call gives it another value, so that every run meets a real edit."""

    def __init__(self, path, line, lowest):
        self.path, self.lowest, self.count = path, lowest, 0
        self.before, self.after = re.split(line, path.read_text(encoding="utf-8"), maxsplit=1)

    def __call__(self):
        self.count += 1
        self.write(self.lowest + self.count / 100)

    def write(self, value):
        self.path.write_text(f"{self.before}{value:.2f}{self.after}", encoding="utf-8")


class Edits:
    """Those of one tree, shared by all rows, so that none writes what another one has written."""

    def __init__(self, tree):
        # All processes inherit it, and three more speeds follow it.
        self.base = Edit(tree / f"profiles-src/{ROOT_PROCESS}.yaml", rf"(?<=speed: ){AFTER.split()[0]}(?= mm/s)", 100)
        # Of a process that fits one machine: two or three profiles have it.
        self.process = Edit(some_process(tree), r"(?<=breadth: )\d+(?= mm)", 2)

    def mistake(self):
        """A brim that is broader than the dictionary has it; the next edit of the process mends it."""
        self.process.write(99)


def some_process(tree):
    """The first that says what it fits."""
    paths = sorted((tree / "profiles-src/process").rglob("*.yaml"))
    return next(path for path in paths if "\nfits:" in path.read_text(encoding="utf-8"))


def some_profile(tree):
    """One that this process makes."""
    path = some_process(tree)
    text = path.read_text(encoding="utf-8")
    machine, material = (re.search(rf"\n  {kind}: \[([^],]+)", text)[1] for kind in ("machine", "material"))
    return f"{machine}/{material}/{path.stem}"
