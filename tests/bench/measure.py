#!/usr/bin/env python3
"""Generates a tree with two versions, times the program on it, and says whether the bounds hold (exit 1 if one does not)."""
import argparse
import hashlib
import json
import os
import pathlib
import shutil
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass, field

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parents[1]
FOLDER = ROOT / "build" / "bench"
TREE, OUTPUT, CACHE = FOLDER / "tree", FOLDER / "output", FOLDER / "tree" / ".bindery"
COLD_RATIO, WARM_SECONDS, PEAK_MB = 1.5, 0.3, 300


@dataclass
class Row:
    """A command, and what each of its runs took."""
    name: str
    words: list
    says: str = ""                 # rows that share this word must print the same
    clears: bool = False           # the cache is removed before each run
    wall: list = field(default_factory=list)
    cpu: list = field(default_factory=list)
    peak: list = field(default_factory=list)

    @property
    def output(self):
        return OUTPUT / (self.name.replace(" ", "-").replace(",", "") + ".txt")

    def median(self, what):
        return statistics.median(getattr(self, what))


def rows_of(program):
    bindery, changes = [program, "-C", TREE], ["changelog", "1.0.0", "1.1.0"]
    as_json = ["--format", "json"]
    return [
        Row("validate", [*bindery, "validate"]),
        Row("changelog, cold", [*bindery, *changes, "--no-cache"], "markdown"),
        Row("changelog, filling", [*bindery, *changes], "markdown", clears=True),
        Row("changelog, warm", [*bindery, *changes], "markdown"),
        Row("changelog json, cold", [*bindery, *changes, *as_json, "--no-cache"], "json"),
        Row("changelog json, warm", [*bindery, *changes, *as_json], "json"),
        Row("git diff --stat", ["git", "-C", TREE, "--no-pager", "diff", "--stat", "1.0.0", "1.1.0"]),
    ]


def run(row):
    """Runs the row's command; gives back wall time and CPU time in s, and peak memory in MB."""
    if row.clears:
        shutil.rmtree(CACHE, ignore_errors=True)
    errors = row.output.with_suffix(".errors")
    with open(row.output, "wb") as out, open(errors, "wb") as err:
        start = time.monotonic()
        child = subprocess.Popen(row.words, stdin=subprocess.DEVNULL, stdout=out, stderr=err)
        _, status, used = os.wait4(child.pid, 0)
        wall = time.monotonic() - start
    child.returncode = os.waitstatus_to_exitcode(status)
    # A run that fails is soon done: its time must not count.
    if child.returncode != 0:
        sys.exit(f"{' '.join(map(str, row.words))}\nexits with {child.returncode}: {errors.read_text(errors='replace')}")
    return wall, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024 / 1e6


def measure(rows, runs):
    """Runs all rows in turn, again and again, so that what else the machine does meets all alike."""
    for round_ in range(runs + 1):
        for row in rows:
            found = run(row)
            if round_ > 0:        # the first round only brings the files into memory
                for values, value in zip((row.wall, row.cpu, row.peak), found):
                    values.append(value)


def generate(fragments):
    shutil.rmtree(FOLDER, ignore_errors=True)
    OUTPUT.mkdir(parents=True)
    start = time.monotonic()
    subprocess.run([sys.executable, HERE / "generate.py", TREE, "--fragments", str(fragments), "--history"], check=True)
    return time.monotonic() - start


def machine():
    models = [line.split(":", 1)[1].strip() for line in pathlib.Path("/proc/cpuinfo").read_text().splitlines()
              if line.startswith("model name")]
    return f"{len(os.sched_getaffinity(0))} cores, {models[0] if models else 'model unknown'}"


def print_table(rows):
    base = rows[0]
    print(f"{'':22}{'wall s':>9}{'CPU s':>9}{'peak MB':>9}{'wall':>9}{'CPU':>9}   x validate")
    for row in rows:
        ratios = [row.median(what) / base.median(what) for what in ("wall", "cpu")]
        print(f"{row.name:22}{row.median('wall'):9.3f}{row.median('cpu'):9.3f}{row.median('peak'):9.1f}{ratios[0]:9.2f}{ratios[1]:9.2f}")


def bounds(rows):
    """What must hold, as (sentence, value found, whether it holds)."""
    row = {each.name: each for each in rows}
    ratio = row["changelog, cold"].median("wall") / row["validate"].median("wall")
    warm = row["changelog, warm"].median("wall")
    peak = max(max(each.peak) for each in rows)
    yield f"changelog, cold: wall time at most {COLD_RATIO} x validate", f"{ratio:.2f} x", ratio <= COLD_RATIO
    yield f"changelog, warm: wall time at most {WARM_SECONDS} s", f"{warm:.3f} s", warm <= WARM_SECONDS
    yield f"all rows: peak memory of each run under {PEAK_MB} MB", f"{peak:.1f} MB", peak < PEAK_MB
    for kind in ("markdown", "json"):
        texts = {hashlib.sha256(each.output.read_bytes()).digest() for each in rows if each.says == kind}
        yield f"changelog as {kind}: one text, cold and warm", f"{len(texts)} found", len(texts) == 1
    effects = [each for change in json.loads(row["changelog json, cold"].output.read_bytes())["changes"] for each in change["effects"]]
    profiles = len({each["profile"] for each in effects})
    yield "the edit changes profiles at all", f"{profiles} profiles, {len(effects)} values", profiles > 0


def main():
    parser = argparse.ArgumentParser(prog="run", description=__doc__)
    parser.add_argument("--program", type=pathlib.Path, default=ROOT / "build" / "release" / "bindery")
    parser.add_argument("--fragments", type=int, default=10000)
    parser.add_argument("--runs", type=int, default=5)
    arg = parser.parse_args()
    if arg.runs < 1:
        parser.error("--runs takes 1 or more")
    if not os.access(arg.program, os.X_OK):
        parser.error(f"{arg.program} is not there: build it first, or name it with --program")
    print(f"{machine()}\ngenerating {arg.fragments} fragments", flush=True)
    print(f"generated in {generate(arg.fragments):.1f} s; {arg.runs} runs of each row, in turn; medians\n", flush=True)
    rows = rows_of(arg.program.resolve())
    measure(rows, arg.runs)
    print_table(rows)
    print(f"\ngit diff --stat 1.0.0 1.1.0\n{rows[-1].output.read_text()}")
    found = list(bounds(rows))
    for sentence, value, holds in found:
        print(f"{'holds ' if holds else 'BROKEN'}  {sentence}: {value}")
    sys.exit(0 if all(holds for *_, holds in found) else 1)


if __name__ == "__main__":
    main()
