"""The rows of the table: what each runs, what must be done before, and what its runs took."""
import hashlib
import json
import os
import pathlib
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from trees import HERE, ROOT, some_profile

WHY = "line.filling.speed"
BRIEF = 5        # so often in each round runs what takes a few milliseconds


@dataclass
class Row:
    """A command, and what each of its runs took."""
    name: str
    words: list | Callable            # a callable where they depend on what an earlier row wrote
    output: pathlib.Path
    before: Callable = lambda: None
    builds: bool = False              # into a folder of its own, which is removed first and looked at afterwards
    says: str = ""                    # rows that share this word must print the same
    runs: int | None = None           # at most so many, of what is slow
    repeat: int = 1                   # in each round
    may_fail: bool = False            # for mistakes in the tree
    status: int = 0                   # how the last run ended
    wall: list = field(default_factory=list)
    cpu: list = field(default_factory=list)
    peak: list = field(default_factory=list)
    built: list = field(default_factory=list)      # a digest of what each run wrote

    @property
    def file(self):
        return self.output / (self.name.replace(" ", "-").replace(",", "") + ".txt")

    @property
    def errors(self):
        return self.file.with_suffix(".errors")

    @property
    def target(self):
        return self.file.with_suffix(".out")

    def text(self):
        return self.file.read_text(encoding="utf-8")

    def command(self):
        words = self.words() if callable(self.words) else self.words
        return [*words, "--out", self.target] if self.builds else words

    def median(self, what):
        values = getattr(self, what)
        return statistics.median(values) if values else None

    def take(self, wall, cpu, peak):
        self.wall.append(wall)
        self.cpu.append(cpu)
        self.peak.append(peak)


@dataclass
class Floor(Row):
    """The row of bindery_floor, which times its stages itself: each is a row, and the whole is their sum."""
    stages: list = field(default_factory=list)

    def __post_init__(self):
        self.stages = [Row(f"floor, {stage}", [], self.output) for stage in ("parse", "compress", "write")]

    def take(self, wall, cpu, peak):
        told = {each["stage"]: each for each in map(json.loads, self.text().splitlines()) if "stage" in each}
        for stage in self.stages:
            found = told[stage.name.removeprefix("floor, ")]
            stage.wall.append(found["wall"])
            stage.cpu.append(found["cpu"])
        super().take(*(sum(each[what] for each in told.values()) for what in ("wall", "cpu")), peak)


def knows(program, command, option):
    """Does the command take the option?"""
    return option in subprocess.run([program, command, "--help"], capture_output=True, text=True).stdout.split()


def cold(program, command):
    """The option that keeps a command from its cache; nothing where it has none."""
    return ["--no-cache"] if knows(program, command, "--no-cache") else []


def archives(folder):
    return sorted(folder.rglob("*.zip"))


def clear_cache(tree):
    shutil.rmtree(tree / ".bindery", ignore_errors=True)


def start_rows(program, places, tools):
    return [
        Row("empty program", [tools / "bindery_empty"], places.output, repeat=BRIEF),
        Row("--version", [program, "--version"], places.output, repeat=BRIEF),
        Row("list machines, demo tree", [program, "-C", ROOT, "list", "machines"], places.output, repeat=BRIEF),
    ]


def build_rows(program, places, tools, edits, script_runs):
    def row(name, *words, tree=places.plain, **more):
        return Row(name, [program, "-C", tree, "build", *words], places.output, builds=True, **more)

    first = row("build, cold", "--no-cache")
    script = Row("script", [sys.executable, HERE / "script.py", places.plain, places.output / "script.out"], places.output,
                 runs=script_runs)
    floor = Floor("floor", lambda: [tools / "bindery_floor", places.plain, *archives(first.target)], places.output)
    return [
        first,
        floor,
        row("build, filling", before=lambda: clear_cache(places.plain)),
        row("build, nothing edited"),
        row("build, one process edited", before=edits.process),
        row("build, with changelog", "--no-cache", tree=places.tagged),
        script,
    ]


def validate_rows(program, places, edits):
    def row(name, *words, **more):
        return Row(name, [program, "-C", places.plain, *words], places.output, **more)

    profile = some_profile(places.plain)
    return [
        row("validate, cold", "validate", *cold(program, "validate"), says="validate"),
        row("validate, filling", "validate", before=lambda: clear_cache(places.plain), says="validate"),
        row("validate, nothing edited", "validate", says="validate"),
        row("validate, one process edited", "validate", before=edits.process),
        row("validate, base edited", "validate", before=edits.base),
        row("show", "show", profile),
        row("why", "why", profile, WHY),
    ]


def changelog_rows(program, places):
    def row(name, *words, **more):
        return Row(name, [program, "-C", places.tagged, "changelog", "1.0.0", "1.1.0", *words], places.output, **more)

    as_json = ["--format", "json"]
    return [
        row("changelog, cold", "--no-cache", says="changelog"),
        row("changelog, filling", before=lambda: clear_cache(places.tagged), says="changelog"),
        row("changelog, warm", says="changelog"),
        row("changelog json, cold", *as_json, "--no-cache", says="changelog as JSON"),
        row("changelog json, warm", *as_json, says="changelog as JSON"),
        Row("git diff --stat", ["git", "-C", places.tagged, "--no-pager", "diff", "--stat", "1.0.0", "1.1.0"], places.output),
    ]


def digest_of(folder):
    """One digest of the names and the bytes of all files below a folder."""
    found = hashlib.sha256()
    for path in sorted(each for each in folder.rglob("*") if each.is_file()):
        with open(path, "rb") as file:        # in parts: the memory of this process counts as its children's
            found.update(f"{path.relative_to(folder)} {hashlib.file_digest(file, 'sha256').hexdigest()}\n".encode())
    return found.hexdigest()


def run(row):
    """Runs the row's command; gives back wall time and CPU time in s, and peak memory in MB."""
    row.before()
    if row.builds:
        shutil.rmtree(row.target, ignore_errors=True)
    words = row.command()
    with open(row.file, "wb") as out, open(row.errors, "wb") as err:
        start = time.monotonic()
        child = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=out, stderr=err)
        _, status, used = os.wait4(child.pid, 0)
        wall = time.monotonic() - start
    row.status = child.returncode = os.waitstatus_to_exitcode(status)
    # A run that fails is soon done: its time must not count.
    if row.status != 0 and not (row.may_fail and row.status == 1):
        sys.exit(f"{' '.join(map(str, words))}\nexits with {row.status}: {row.errors.read_text(errors='replace')}")
    if row.builds:
        row.built.append(digest_of(row.target))
    return wall, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024 / 1e6


def measure(rows, runs):
    """Runs all rows in turn, again and again, so that what else the machine does meets all alike."""
    for round_ in range(runs + 1):
        for row in rows:
            if row.runs is not None and not 0 < round_ <= row.runs:
                continue
            for _ in range(row.repeat):
                found = run(row)
                if round_ > 0:        # the first round only brings the files into memory
                    row.take(*found)
