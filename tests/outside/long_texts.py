#!/usr/bin/env python3
"""The archives of a large tree, whose lists are deflated in sections: read by Info-ZIP's `unzip`, Python's zipfile (zlib)
and coreutils' `sha256sum`; and with the same bytes whether they are built anew or out of the last release."""
import hashlib
import json
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS / "reference"), str(TESTS / "bench")]
from checks import Checks, Program, arguments, scratch  # noqa: E402

LONG = 1 << 20                                                     # from there on a text has sections


def archives(folder):
    return {path.parent.name: path.read_bytes() for path in sorted(folder.glob("*/*/*.zip"))}


def built(program, folder, *words):
    shutil.rmtree(folder, ignore_errors=True)
    done = program.run("build", "--snapshot", "--out", folder, *words)
    return archives(folder) if done.returncode == 0 else {"failed": done.stderr[:300]}


def sound(checks, step, folder):
    archive = next(folder.glob("*/supporter/*.zip"))
    done = subprocess.run(["unzip", "-tq", archive], capture_output=True, text=True)
    checks.that(f"{step}: unzip -t finds no error", done.returncode == 0, done.stdout[-300:])
    with zipfile.ZipFile(archive) as opened:
        checks.that(f"{step}: Python's zipfile finds every checksum right", opened.testzip() is None)
        listed = opened.read("contents.json")
        checks.that(f"{step}: contents.json is long enough to have sections", len(listed) > LONG, str(len(listed)))
        digests = {row["path"]: row["sha256"] for row in json.loads(listed)["profiles"]}
        wrong = [path for path, digest in digests.items() if hashlib.sha256(opened.read(path)).hexdigest() != digest]
        checks.that(f"{step}: contents.json tells the digest of each profile", digests and not wrong, str(wrong[:3]))
        unpacked = folder / "unpacked"
        opened.extractall(unpacked)
    done = subprocess.run(["sha256sum", "--strict", "--quiet", "-c", "SHA256SUMS"], cwd=unpacked, capture_output=True, text=True)
    checks.that(f"{step}: sha256sum -c agrees inside", done.returncode == 0, done.stderr + done.stdout[-300:])
    return len(digests)


def main():
    checks = Checks()
    arg = arguments(__doc__)
    with scratch() as folder:
        tree, out = folder / "tree", folder / "out"
        subprocess.run([sys.executable, TESTS / "bench/generate.py", tree, "--fragments", "1400", "--seed", "5"], check=True, capture_output=True)
        program = Program(arg.binary, tree)
        processes = sorted((tree / "profiles-src/process").glob("*/*/*.yaml"))
        some = processes[len(processes) // 3]
        steps = {
            "built at first": lambda: None,
            "a process edited": lambda: some.write_text(re.sub(r"share: (\d+) %", lambda m: f"share: {int(m[1]) % 60 + 7} %", some.read_text(), count=1)),
            "a process added": lambda: shutil.copy(some, some.with_name("an-invented-one.yaml")),
            "a process removed": lambda: processes[len(processes) // 2].unlink(),
        }
        seen, counts = [], []
        for step, edit in steps.items():
            edit()
            known, anew = built(program, out), built(program, folder / "anew", "--no-cache")
            checks.same(f"{step}: both tiers are built", sorted(anew), ["free", "supporter"])
            checks.that(f"{step}: the same bytes out of what is remembered", known == anew)
            counts.append(sound(checks, step, out))
            seen.append(anew)
        checks.same("bytes differ where something was edited", [a == b for a, b in zip(seen, seen[1:])], [False, False, False])
        checks.that("profiles came and went", counts[0] == counts[1] < counts[2] and counts[3] < counts[2], str(counts))
    checks.finish()


if __name__ == "__main__":
    main()
