#!/usr/bin/env python3
"""The repository's own tree: every profile in the archives must hold the values that the reference resolver works out,
and a few are compared in `show` too, with tier, status, `how` and caps. The rules that are broken must be the same, in
the same number of profiles."""
import random
from collections import Counter

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
    broken = Counter(rule for triple in tree.selected(drafts=True) for rule in tree.profile(triple).broken())
    severe = [rule for rule in broken if tree.rules[rule]["severity"] == "error"]
    checks.same(f"the reference finds none of the {len(tree.rules)} rules broken that is an error", severe, [])
    said = Counter()
    for each in program.diagnostics()[1]:
        if "rule" in each:
            said[each["rule"]] += each["profiles"]
    checks.same("the same rules are broken, in as many profiles", dict(said), dict(broken))
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
