#!/usr/bin/env python3
"""Runs the examples of README.md: each `$ bindery ...` of a console block, its output compared line by line.
A line `...` stands for any number of lines, `...` at a line's end for the rest of it."""
import pathlib
import re
import shlex
import subprocess
import sys

program, root = sys.argv[1], pathlib.Path(sys.argv[2])


def matches(expected, got):
    if not expected:
        return not got
    if expected[0] == "...":
        return any(matches(expected[1:], got[i:]) for i in range(len(got) + 1))
    if not got:
        return False
    want = expected[0]
    same = got[0].startswith(want[:-3]) if want.endswith("...") else got[0] == want
    return same and matches(expected[1:], got[1:])


passed = failed = 0
text = (root / "README.md").read_text()
for block in re.findall(r"```console\n(.*?)```", text, re.S):
    for example in re.split(r"^\$ ", block, flags=re.M)[1:]:
        command, _, output = example.partition("\n")
        words = shlex.split(command)
        assert words[0] == "bindery", command
        run = subprocess.run([program, *words[1:]], cwd=root, capture_output=True, text=True)
        if run.returncode == 0 and matches(output.rstrip("\n").split("\n"), run.stdout.rstrip("\n").split("\n")):
            passed += 1
            continue
        failed += 1
        print(f"README.md: `{command}` exits with {run.returncode} and prints\n{run.stdout}{run.stderr}")
print(f"{passed} passed, {failed} failed")
sys.exit(1 if failed or not passed else 0)
