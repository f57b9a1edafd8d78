#!/usr/bin/env python3
"""Writes an invented tree of any size: `generate.py FOLDER --fragments 10000 --seed 1`.

Of 10,000 fragments (fittings counted) 600 are machines, 200 families with two fittings each; 300 are materials to print
with, some 100 are for others to extend, and the rest are processes that each fit one machine and two materials, a few
three, so that 19,000 profiles come out. The same seed and size give the same bytes, and the same commits."""
import argparse
import json
import os
import pathlib
import random
import re
import subprocess

from dictionary import schema_files
from fragments import (AFTER, BEFORE, ROOT_PROCESS, family, machine_bases, material, material_bases, partners, process,
                       process_bases)

# --- YAML ---

def scalar(value):
    if isinstance(value, str):
        plain = re.fullmatch(r"[A-Za-z-][\w ./+^-]*|-?[\d.]+ [\w%/^]+", value) and value not in ("true", "false")
        return value if plain else json.dumps(value)
    return json.dumps(value)


def flow(value):
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{scalar(key)}: {flow(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(flow, value)) + "]"
    return scalar(value)


def block(value, margin=""):
    """A mapping in block style; operations, lists and conditions within it stand on one line."""
    lines = []
    for key, each in value.items():
        if isinstance(each, dict) and not {"calc", "add", "scale", "append", "unset", "at_most", "where", "after", "before"} & each.keys():
            lines += [f"{margin}{scalar(key)}:", block(each, margin + "  ")]
        elif key == "when":
            lines.append(f"{margin}when:")
            for item in each:
                first, *rest = block(item, margin + "    ").split("\n")
                lines += [f"{margin}  - {first.strip()}", *rest]
        elif isinstance(each, str) and "\n" in each:
            lines += [f"{margin}{scalar(key)}: |", *(f"{margin}  {line}" for line in each.splitlines())]
        else:
            lines.append(f"{margin}{scalar(key)}: {flow(each)}")
    return "\n".join(lines)


# --- The tree ---

def tree_files(count, seed):
    """Yields the path and the text of each file of the tree."""
    sources = [*machine_bases(), *material_bases(), *process_bases()]
    families = [family(number, seed) for number in range(count // 50)]
    stocks = [material(number, seed) for number in range(count * 3 // 100)]
    sources += [each[:2] for each in families + stocks]
    machines = [machine for each in families for machine in each[2]]
    choices = {machine["name"]: partners(machine, [each[2] for each in stocks]) for machine in machines}
    left = count - len(sources) - len(machines)
    # Processes with a third material make up for the fragments that are no process.
    thirds = count * 19 // 10 - 2 * left
    for number in range(left):
        draw = random.Random(f"{seed} fits {number}")
        machine = draw.choice(machines)["name"]
        names = draw.sample(choices[machine], 3 if number < thirds else 2)
        sources.append(process(number, seed, machine, names))
    for path, fragment in sources:
        yield f"profiles-src/{path}.yaml", "# Invented for measuring.\n" + block(fragment) + "\n"
    for path, text in schema_files().items():
        yield f"schema/{path}", text
    yield from publisher_files([each[0].split("/")[-1] for each in families])


def publisher_files(families):
    yield "profiles-src/bindery.yaml", "publisher: Invented Profiles\nlicence: Invented profile licence\ndefault_tier: free\n"
    some = [f"{name}+0.4" for name in families[:max(1, len(families) // 4)]]
    rest = {"material": ["*"], "process": ["*"]}
    yield "release/plan.yaml", block({"name": "invented-profiles", "sets": {
        "starter": {"title": "Starter set", "tier": "free", "take": [{"machine": some, **rest}]},
        "complete": {"title": "Complete set", "tier": "supporter", "take": [{"machine": ["*"], **rest}]}}}) + "\n"
    yield "release/notes/first.yaml", "section: Added\ntier: free\nversion: 1.0.0\ntext: The first release of an invented collection.\n"


def write(root, files):
    for path, text in files:
        target = root / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")


def edit(root):
    """Edits the one base value, in the root of all processes."""
    target = root / f"profiles-src/{ROOT_PROCESS}.yaml"
    text = target.read_text(encoding="utf-8")
    assert text.count(BEFORE) == 1
    target.write_text(text.replace(BEFORE, AFTER), encoding="utf-8")


def git(root, *words, date):
    """Runs git without this machine's or its user's settings, so that the same tree gives the same commit."""
    who = {f"GIT_{role}_{key}": value for role in ("AUTHOR", "COMMITTER")
           for key, value in (("NAME", "A. Contributor"), ("EMAIL", "a.contributor@example.invalid"), ("DATE", date))}
    environment = os.environ | who | {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1"}
    # Left to itself git packs in the background, against the packing below.
    subprocess.run(["git", "-C", root, "-c", "gc.auto=0", *words], check=True, env=environment)


def tag(root, version, date):
    git(root, "add", "-A", date=date)
    git(root, "commit", "-q", "-m", f"Version {version}", date=date)
    git(root, "tag", version, date=date)


def history(root):
    """Makes the tree at `root` a packed repository: as it is, tagged 1.0.0; with the edit, tagged 1.1.0."""
    first, second = "2026-01-10T12:00:00Z", "2026-02-10T12:00:00Z"
    git(root, "init", "-q", "-b", "main", date=first)
    tag(root, "1.0.0", first)
    edit(root)
    tag(root, "1.1.0", second)
    git(root, "gc", "-q", date=second)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=pathlib.Path, help="where the tree is written; new or empty")
    parser.add_argument("--fragments", type=int, default=10000, help="how many, 1000 or more (10000)")
    parser.add_argument("--seed", type=int, default=1)
    either = parser.add_mutually_exclusive_group()
    either.add_argument("--edit", action="store_true", help="with the base value edited")
    either.add_argument("--history", action="store_true", help="as a repository: the tree tagged 1.0.0, with the edit tagged 1.1.0")
    arg = parser.parse_args()
    if arg.fragments < 1000:
        parser.error("--fragments takes 1000 or more")
    if arg.folder.exists() and any(arg.folder.iterdir()):
        parser.error(f"{arg.folder} is not empty")
    write(arg.folder, tree_files(arg.fragments, arg.seed))
    if arg.history:
        history(arg.folder)
    elif arg.edit:
        edit(arg.folder)


if __name__ == "__main__":
    main()
