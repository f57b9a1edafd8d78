#!/usr/bin/env python3
"""The repository's own tree: every profile in the archives must hold the values that the reference resolver works out,
and a few are compared in `show` too, with tier, status, `how` and caps."""
import random

from checks import Checks, Program, arguments, scratch
from random_trees import compare_shown, differences, values_of
from resolver import Tree, resolved


def main():
    arg, checks = arguments(__doc__, shown=12), Checks()
    tree, program = Tree(arg.root), Program(arg.binary, arg.root)
    taken = tree.selected()
    results = {"/".join(triple): resolved(tree, triple, taken) for triple in taken}
    wrong = {name: found["message"] for name, found in results.items() if "error" in found}
    checks.that(f"the reference resolves all {len(results)} profiles", results and not wrong, str(list(wrong.items())[:3]))
    with scratch() as folder:
        done = program.run("build", "--out", folder / "out")
        checks.that("the tree builds", done.returncode == 0, done.stderr[:1000])
        for tier in ("free", "supporter"):
            archives = list(folder.glob(f"out/*/{tier}/*.zip"))
            got = values_of(archives[0]) if archives else {}
            wanted = {name for name, found in results.items() if tier == "supporter" or found.get("tier") == "free"}
            checks.same(f"{tier}: the same {len(wanted)} profiles", sorted(set(got) ^ wanted), [])
            apart = {name: found for name in sorted(wanted & set(got)) if (found := differences(results[name]["settings"], got[name]))}
            checks.that(f"{tier}: the same values", got and not apart, str(list(apart.items())[:3]))
    for name in random.Random(2).sample(sorted(results), min(arg.shown, len(results))):
        found = compare_shown(program, name, results[name])
        checks.that(f"show {name}", not found, found)
    checks.finish()


if __name__ == "__main__":
    main()
