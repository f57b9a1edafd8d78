#!/usr/bin/env python3
"""Versions against the specification (https://semver.org/spec/v2.0.0.html) and npm `semver` as a peer.

Which strings are versions: by the specification's grammar, written here as a regular expression of our own, and by npm
semver where it is strict; the program must refuse the others with exit code 2. Which of two versions is lower: the pairs
of semver_precedence.txt, which the program's unit tests read; `--regenerate` writes that file anew."""
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "reference"))
from checks import Checks, Program, arguments, scratch, write_tree  # noqa: E402
import node  # noqa: E402

PACKAGE = "semver@7"
PAIRS = Path(__file__).resolve().parent / "semver_precedence.txt"
NUMBER = r"(?:0|[1-9][0-9]*)"
PRE = rf"(?:{NUMBER}|[0-9]*[A-Za-z-][0-9A-Za-z-]*)"
GRAMMAR = re.compile(rf"{NUMBER}\.{NUMBER}\.{NUMBER}(?:-{PRE}(?:\.{PRE})*)?(?:\+[0-9A-Za-z-]+(?:\.[0-9A-Za-z-]+)*)?")

STRINGS = [             # the specification's examples first, then its grammar's corners
    "1.0.0", "1.9.0", "1.10.0", "0.0.0", "0.0.4", "10.20.30", "1.0.0-alpha", "1.0.0-alpha.1", "1.0.0-0.3.7", "1.0.0-x.7.z.92",
    "1.0.0-x-y-z.--", "1.0.0-alpha+001", "1.0.0+20130313144700", "1.0.0-beta+exp.sha.5114f85", "1.0.0+21AF26D3----117B344092BD",
    "1.0.0-alpha.beta", "1.0.0-beta.11", "1.0.0-rc.1", "2.1.1", "1.1.2-early+data", "1.1.2+data-2", "1.0.0-alpha0.b",
    "1.0.0-alpha.0b", "1.2.3----A-B.12.9.1--.12+7", "1.2.3----A-B.12.9.1--.12", "1.0.0+0.b.1-c.10000aaa-dd-0.1",
    "1.0.0-0A.b.c", "1.0.0-0", "1.0.0--", "1.0.0+-", "9007199254740991.0.0",
    "99999999999999999999999.99999999999999999.9999999999999999",
    "", "1", "1.2", "1.2.3.4", "01.1.1", "1.01.1", "1.1.01", "1.2.3-0123", "1.2.3-0123.0123", "1.1.2+.123", "+a", "-a",
    "alpha", "1.0.0-alpha_beta", "1.0.0-alpha..1", "1.0.0-alpha.", "1.0.0-.1", "1.0.0-", "1.0.0+", "1.0.0+a+b", "1.2.3-beta!", "v1.2.3",
    "=1.2.3", " 1.2.3", "1.2.3 ", "1.2.-3", "1.2.x", "1..3", "1.2.3-a b", "1.2.3-\u00e9", "../1.2.3", "1.2.3/4", "1,2,3", "1.2.3-+b",
]
# npm semver takes a leading `v` and outer blanks, and no number above 2^53 - 1: there the grammar alone is the judge.
PEER_DIFFERS = {"v1.2.3", " 1.2.3", "1.2.3 ", "99999999999999999999999.99999999999999999.9999999999999999"}

SPECIFIED = ["1.0.0-alpha", "1.0.0-alpha.1", "1.0.0-alpha.beta", "1.0.0-beta", "1.0.0-beta.2", "1.0.0-beta.11", "1.0.0-rc.1",
             "1.0.0", "2.0.0", "2.1.0", "2.1.1"]                       # section 11, lowest first
MORE = ["0.0.0-0", "0.0.0", "0.0.1-1", "0.0.1-2", "0.0.1-10", "0.0.1-1a", "0.0.1--", "0.0.1-A", "0.0.1-a", "0.0.1", "0.1.0", "0.9.0",
        "0.10.0", "1.0.0-0", "1.0.0-0.0", "1.0.0-0.a", "1.0.0-1.0.0", "1.0.0-alpha-1", "1.0.0-alpha.1.0", "1.0.0-alpha.10",
        "1.0.0-alpha.1a", "1.0.0-alpha1", "1.0.0-alpha10", "1.0.0-alpha9", "1.0.0-RC.1", "1.0.0-rc.1.1", "1.0.0-rc.10", "1.0.0-x-y",
        "1.0.0-x.y", "1.0.1-snapshot", "1.0.1", "1.2.3-beta.9007199254740990", "1.2.3-beta.9007199254740991", "9.9.9", "10.0.0-a", "10.0.0"]
SORT = "answer(input.sort(require('semver').compare))"
COMPARE = "answer(input.map(([a, b]) => require('semver').compare(a, b)))"
VALID = "answer(input.map(s => require('semver').valid(s, {loose: false}) !== null))"
HEADER = """\
# Pairs of versions, the lower one first, by SemVer 2.0.0 section 11 (https://semver.org/spec/v2.0.0.html#spec-item-11).
# Made by `semver.py --regenerate`: the examples of that section and some corner cases, put in order by npm semver 7;
# the first pairs are the section's own chain, the others take neighbours and distant versions of the sorted list.
"""


def pairs():
    """Sixty pairs: the specification's chain, then neighbours in npm's order, then a few that lie far apart."""
    order = node.run(SORT, sorted({*SPECIFIED, *MORE}), PACKAGE)
    found = list(zip(SPECIFIED, SPECIFIED[1:]))
    found += [pair for pair in zip(order, order[1:]) if pair not in found]
    found += [(order[i], order[-1 - i]) for i in range(len(order) // 2)]
    return list(dict.fromkeys(found))[:60]


def precedence(checks):
    lines = [line for line in PAIRS.read_text().splitlines() if line and not line.startswith("#")]
    stored = [tuple(line.split(" < ")) for line in lines]
    checks.that(f"{PAIRS.name} holds sixty pairs", len(stored) == 60 and all(len(pair) == 2 for pair in stored), f"got {len(stored)}")
    checks.that("the specification's own chain is among them", set(zip(SPECIFIED, SPECIFIED[1:])) <= set(stored))
    for pair, order in zip(stored, node.run(COMPARE, stored, PACKAGE)):
        checks.same(f"npm semver agrees that {pair[0]} < {pair[1]}", order, -1)


def validity(checks, binary):
    peer = dict(zip(STRINGS, node.run(VALID, STRINGS, PACKAGE)))
    settings = {"one.thing": {"title": "One", "about": "Of this test alone.", "kinds": ["machine"], "type": "count", "range": [0, 9],
                              "default": 1, "source": "invented"}}
    with scratch() as folder:
        write_tree(folder, {"settings": settings}, {f"{kind}/x": {"title": "x"} for kind in ("machine", "material", "process")})
        program = Program(binary, folder)
        for text in STRINGS:
            valid = GRAMMAR.fullmatch(text) is not None
            if text not in PEER_DIFFERS:
                checks.same(f"npm semver and the grammar agree on {text!r}", peer[text], valid)
            done = program.build(folder / "out", text)
            checks.that(f"{text!r} is {'a' if valid else 'no'} version", done.returncode == (0 if valid else 2),
                        f"exit code {done.returncode}: {done.stderr[:200]}")
            if valid:
                checks.that(f"{text!r} names its folder", (folder / "out" / text / "free").is_dir())
        extra = sorted(p.name for p in folder.glob("out/*") if p.is_dir() and not GRAMMAR.fullmatch(p.name))
        checks.same("no folder of another name was made", extra, [])


def main():
    arg, checks = arguments(__doc__, regenerate=False), Checks()
    if arg.regenerate:
        PAIRS.write_text(HEADER + "".join(f"{a} < {b}\n" for a, b in pairs()))
    precedence(checks)
    validity(checks, arg.binary)
    checks.finish()


if __name__ == "__main__":
    main()
