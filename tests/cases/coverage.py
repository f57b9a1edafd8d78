#!/usr/bin/env python3
"""Fails unless each diagnostic code of the program stands in an expected file, and each case and expected file is one of a pair.

coverage.py --program BINARY FOLDER
"""
import argparse
import json
import pathlib
import re
import subprocess
import sys


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--program", required=True)
    parser.add_argument("folder", type=pathlib.Path)
    arguments = parser.parse_args()
    listed = subprocess.run([arguments.program, "list", "diagnostics", "--format", "json"], check=True, capture_output=True, timeout=20).stdout
    codes = [entry["id"] for entry in json.loads(listed)]
    cases = {path.stem for path in arguments.folder.glob("*.case")}
    expected = {path.stem: path.read_text() for path in arguments.folder.glob("*.expected")}

    # A diagnostic line: an optional place, the severity, the code in brackets, a rule's name behind it.
    line = re.compile(r"^(?:\S+:\d+:\d+: )?(?:error|warning|note)\[([a-z-]+)(?:: [^\]]*)?\]: ", re.MULTILINE)
    found = {code for text in expected.values() for code in line.findall(text)}
    # What strangers send is a case too: `code FILE LINE` below `== expect`, or the mark of a line, `<- code`.
    verdict = re.compile(r"(?:^|<- )(?:error:|warning:|note:)?([a-z]+(?:-[a-z0-9]+)+)(?: |$)", re.MULTILINE)
    for path in (arguments.folder.parent / "contributions").glob("*.contribution"):
        found |= set(verdict.findall(path.read_text(errors="replace"))) & set(codes)
    missing = [f"no case shows the code {code}" for code in codes if code not in found]
    # A wording that the program lost would stay in a stale file.
    missing += [f"the code {code} stands in an expected file, and the program has none such" for code in sorted(found - set(codes))]
    missing += [f"{stem}.expected has no {stem}.case" for stem in sorted(expected.keys() - cases)]
    missing += [f"{stem}.case has no {stem}.expected" for stem in sorted(cases - expected.keys())]
    if not codes or not cases:
        missing.append("there are no codes or no cases, so nothing was checked")
    print("\n".join(missing), end="\n" if missing else "")
    print(f"{len(codes) - sum(m.startswith('no case') for m in missing)} passed, {len(missing)} failed")
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
