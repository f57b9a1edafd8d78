#!/usr/bin/env python3
"""Times the program, and what it is held against, on generated trees; says whether the bounds hold (exit 1 if one does not)."""
import argparse
import os
import pathlib
import sys
import time

from agreement import agreements
from bounds import all_bounds, print_bounds
from growth import measure_growth
from rows import build_rows, changelog_rows, cold, measure, start_rows, validate_rows
from table import print_table
from trees import ROOT, Edits, Places, write_trees

FOLDER = ROOT / "build" / "bench"


def machine():
    models = [line.split(":", 1)[1].strip() for line in pathlib.Path("/proc/cpuinfo").read_text().splitlines()
              if line.startswith("model name")]
    return (f"{len(os.sched_getaffinity(0))} cores, {models[0] if models else 'model unknown'}; "
            f"load before: {os.getloadavg()[0]:.2f}")


def measure_all(program, arg):
    """Measures the standard table, prints it and gives back the bounds."""
    places = Places(arg.folder)
    start = time.monotonic()
    write_trees(places, arg.fragments)
    print(f"generated in {time.monotonic() - start:.1f} s; {arg.runs} runs of each row, {arg.script_runs} of the script, "
          "in turn; medians\n", flush=True)
    edits = Edits(places.plain)
    rows = [*start_rows(program, places, arg.tools), *build_rows(program, places, arg.tools, edits, arg.script_runs),
            *validate_rows(program, places, edits), *changelog_rows(program, places)]
    measure(rows, arg.runs)
    print_table(rows)
    if not cold(program, "validate"):
        print("\nnote: this program's `validate` has no --no-cache; its rows are all without a cache")
    print(f"\ngit diff --stat 1.0.0 1.1.0\n{rows[-1].text()}")
    yield from all_bounds(rows)
    yield from agreements(program, places, edits)


def options():
    parser = argparse.ArgumentParser(prog="run", description=__doc__)
    parser.add_argument("--program", type=pathlib.Path, default=ROOT / "build" / "release" / "bindery")
    parser.add_argument("--tools", type=pathlib.Path, default=ROOT / "build" / "bench-tools" / "tests" / "bench",
                        help="the folder with bindery_floor and bindery_empty")
    parser.add_argument("--folder", type=pathlib.Path, default=FOLDER, help="where to write; new or empty, but for build/bench")
    parser.add_argument("--fragments", type=int, default=10000)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--script-runs", type=int, default=2)
    parser.add_argument("--growth", action="store_true",
                        help="instead of the table: how time and memory grow with four times the fragments")
    arg = parser.parse_args()
    if arg.runs < 1 or arg.script_runs < 1:
        parser.error("--runs and --script-runs take 1 or more")
    for path in (arg.program, arg.tools / "bindery_floor", arg.tools / "bindery_empty"):
        if not os.access(path, os.X_OK):
            parser.error(f"{path} is not there: build it first, or name another place (--program, --tools)")
    arg.folder = arg.folder.resolve()
    if arg.folder != FOLDER and arg.folder.exists() and any(arg.folder.iterdir()):
        parser.error(f"{arg.folder} is not empty")
    return arg


def main():
    arg = options()
    print(f"{machine()}\ngenerating {arg.fragments} fragments", flush=True)
    program = arg.program.resolve()
    if arg.growth:
        found = measure_growth(program, arg.folder, arg.fragments, arg.runs)
    else:
        found = measure_all(program, arg)
    sys.exit(0 if print_bounds(found) else 1)


if __name__ == "__main__":
    main()
