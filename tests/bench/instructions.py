#!/usr/bin/env python3
"""Counts the instructions of some commands on a small tree, which hardly depends on what else the machine does.

Compares them with instructions.json, or writes them there with --record. It needs valgrind."""
import argparse
import json
import pathlib
import re
import subprocess
import sys
import tempfile

from rows import cold
from trees import HERE, ROOT, write_plain

RECORDED = HERE / "instructions.json"
FRAGMENTS = 1000


def commands(program, tree, out):
    """On one core: what threads wait for would be counted as well."""
    line = [program, "-j", "1", "-C", tree]
    return {
        "validate": [*line, "validate", *cold(program, "validate")],
        "build": [*line, "build", *cold(program, "build"), "--out", out],
    }


def count(words, folder):
    """The instructions of one run, in all its threads and libraries, its start included."""
    found = subprocess.run(["valgrind", "--tool=callgrind", f"--callgrind-out-file={folder / 'callgrind.out'}", *words],
                           stdin=subprocess.DEVNULL, capture_output=True, text=True)
    counted = re.search(r"Collected : (\d+)", found.stderr)
    if found.returncode != 0 or not counted:
        sys.exit(f"{' '.join(map(str, words))}\nexits with {found.returncode} under valgrind: {found.stderr}")
    return int(counted[1])


def compiler_of(program):
    """As compilers note it in what they make."""
    notes = subprocess.run(["readelf", "-p", ".comment", program], capture_output=True, text=True).stdout
    return "; ".join(sorted(set(re.findall(r"\]\s+(\S.*)", notes)))) or "unknown"


def compare(found, recorded):
    if found["compiler"] != recorded["compiler"]:
        print(f"note: recorded of a program by {recorded['compiler']}, this one is by {found['compiler']}")
    print(f"{'':12}{'instructions':>16}{'recorded':>16}{'ratio':>9}")
    for name, number in found["instructions"].items():
        before = recorded["instructions"].get(name)
        print(f"{name:12}{number:16,}" + (f"{before:16,}{number / before:9.4f}" if before else f"{'-':>16}{'-':>9}"))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", type=pathlib.Path, default=ROOT / "build" / "release" / "bindery")
    parser.add_argument("--record", type=pathlib.Path, nargs="?", const=RECORDED, metavar="FILE",
                        help=f"write the counts to FILE ({RECORDED.name} here if it is not named)")
    arg = parser.parse_args()
    program = arg.program.resolve()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        write_plain(folder / "tree", FRAGMENTS)
        counts = {what: count(words, folder) for what, words in commands(program, folder / "tree", folder / "out").items()}
    found = {"fragments": FRAGMENTS, "compiler": compiler_of(program), "instructions": counts}
    nothing = found | {"instructions": {}}
    compare(found, json.loads(RECORDED.read_text(encoding="utf-8")) if RECORDED.exists() else nothing)
    if arg.record:
        arg.record.write_text(json.dumps(found, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
