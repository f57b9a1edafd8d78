#!/usr/bin/env python3
"""Runs the examples of README.md: each `$ bindery ...` or `$ sed ...` of a console block, in their order, in a copy of the
tree that is committed and tagged 1.0.0; what they print is compared line by line.
A line `...` stands for any number of lines, `...` at a line's end for the rest of it."""
import os
import pathlib
import re
import shlex
import shutil
import subprocess
import sys
import tempfile

program, root = sys.argv[1], pathlib.Path(sys.argv[2])


def tagged_copy(folder):
    for part in ("profiles-src", "schema", "release"):
        shutil.copytree(root / part, folder / part)
    (folder / "release/ledger.yaml").unlink(missing_ok=True)
    who = ["-c", "user.name=Nobody", "-c", "user.email=nobody@example.org"]
    for words in (["init", "-q"], ["add", "-A"], [*who, "commit", "-q", "-m", "All of it"], ["tag", "1.0.0"]):
        subprocess.run(["git", "-C", folder, *words], check=True, env={**os.environ, "GIT_CONFIG_GLOBAL": "/dev/null"})
    return folder


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


def run_examples(folder):
    """How many of them hold, and how many do not."""
    passed = failed = 0
    for block in re.findall(r"```console\n(.*?)```", (root / "README.md").read_text(), re.S):
        for example in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, _, output = example.partition("\n")
            words = shlex.split(command)
            assert words[0] in ("bindery", "sed"), command
            run = subprocess.run([{"bindery": program}.get(words[0], words[0]), *words[1:]], cwd=folder, capture_output=True, text=True)
            if run.returncode == 0 and matches(output.rstrip("\n").split("\n"), run.stdout.rstrip("\n").split("\n")):
                passed += 1
                continue
            failed += 1
            print(f"README.md: `{command}` exits with {run.returncode} and prints\n{run.stdout}{run.stderr}")
    return passed, failed


program = str(pathlib.Path(program).resolve())
with tempfile.TemporaryDirectory() as scratch:
    passed, failed = run_examples(tagged_copy(pathlib.Path(scratch)))
print(f"{passed} passed, {failed} failed")
sys.exit(1 if failed or not passed else 0)
