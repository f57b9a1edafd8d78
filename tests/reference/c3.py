#!/usr/bin/env python3
"""The order of inheritance against Python's own: 1,000 random hierarchies of machine fragments, and the same as Python
classes, whose method resolution order is C3 (https://docs.python.org/3/howto/mro.html). Each fragment appends its own
name to one list setting, so that the resolved list is the order from the root down. Where Python raises TypeError,
the program must report `extends-order` in that fragment's file, and nothing more for the fragments that build on it."""
import itertools
import json
import pathlib
import random
import zipfile

from checks import Checks, Program, arguments, keep, scratch, write_tree

DICTIONARY = {"settings": {"trace.path": {
    "title": "Path", "about": "The names of the fragments, from the root down.", "kinds": ["machine"], "type": "text",
    "list": True, "default": ["root"], "source": "invented"}}}
KNOWN = [                                   # the textbook cases come first
    {"a": [], "b": [], "x": ["a", "b"], "y": ["b", "a"], "z": ["x", "y"]},                # impossible
    {"o": [], "a": ["o"], "b": ["o"], "c": ["o"], "d": ["o"], "e": ["o"], "k1": ["a", "b", "c"], "k2": ["d", "b", "e"],
     "k3": ["d", "a"], "z": ["k1", "k2", "k3"]},                                          # the example of the C3 paper's tutorials
    {"a": [], "b": ["a"], "c": ["a", "b"]},                                               # impossible: a before its descendant
    {"a": [], "b": ["a"], "c": ["a"], "d": ["b", "c"]},
]


def hierarchy(seed):
    """{name: parents} of a random hierarchy, parents before children."""
    choose = random.Random(f"hierarchy {seed}")
    names = [f"f{i}" for i in range(choose.randint(3, 9))]
    return {name: choose.sample(names[:i], min(i, choose.choice([0, 1, 1, 1, 2, 2, 3]))) for i, name in enumerate(names)}


def python_orders(parents):
    """{name: its ancestors' names from the root down, itself last; None if Python refuses the class}. A class whose bases were refused is left out."""
    classes, orders = {}, {}
    for name, bases in parents.items():
        if not all(base in classes for base in bases):
            continue
        try:
            classes[name] = type(name, tuple(classes[base] for base in bases), {})
            orders[name] = [c.__name__ for c in reversed(classes[name].__mro__[:-1])]
        except TypeError:
            orders[name] = None
    return orders


def write(folder, cases):
    """One tree with the fragments of all `cases`, {number: parents}."""
    fragments = {"material/m": {"title": "m"}, "process/p": {"title": "p"}}
    for number, parents in cases.items():
        for name, bases in parents.items():
            full = f"h{number}-{name}"
            fragments[f"machine/h{number}/{full}"] = {
                "title": full, "extends": [f"h{number}-{base}" for base in bases],
                "settings": {"trace.path": {"append": [name]}}}
            if not bases:
                del fragments[f"machine/h{number}/{full}"]["extends"]
    write_tree(folder, DICTIONARY, fragments)


def saved(folder, memory=[]):
    """Words that name where the first failing tree is kept."""
    if not memory:
        memory.append(keep(folder, "c3"))
    return f" [the first such tree is saved in {memory[0]}]"


def sound(checks, binary, cases):
    """Hierarchies that Python accepts: built in one go, and every fragment's list compared."""
    with scratch() as folder:
        write(folder, cases)
        done = Program(binary, folder).build(folder / "out")
        found = {}
        for archive in folder.glob("out/1.0.0/free/*.zip"):
            with zipfile.ZipFile(archive) as opened:
                for name in opened.namelist():
                    if name.startswith("profiles/"):
                        data = json.loads(opened.read(name))
                        found[name.split("/")[1]] = data.get("settings", data)["trace.path"][1:]
        for number, parents in cases.items():
            wrong = [f"{name} extends {parents[name]}: got {found.get(f'h{number}-{name}')}, Python says {order}"
                     for name, order in python_orders(parents).items() if found.get(f"h{number}-{name}") != order]
            where = f"{saved(folder)} {done.stderr[:300]}" if wrong else ""
            checks.that(f"hierarchy {number}: {len(parents)} fragments in Python's order", not wrong, str(wrong) + where)


def impossible(checks, binary, cases):
    """Hierarchies with a class that Python refuses: the same fragments, and no others, are reported."""
    with scratch() as folder:
        write(folder, cases)
        program = Program(binary, folder)
        code, diagnostics = program.diagnostics()
        errors = [(pathlib.PurePosixPath(d["file"]).stem, d["code"]) for d in diagnostics if d["severity"] == "error"]
        for number, parents in cases.items():
            orders = python_orders(parents)
            expected = sorted((f"h{number}-{name}", "extends-order") for name, order in orders.items() if order is None)
            got = sorted(each for each in errors if each[0].startswith(f"h{number}-"))
            holds = code == 1 and got == expected
            where = "" if holds else saved(folder)
            checks.that(f"hierarchy {number}: impossible for the same {len(expected)} fragments", holds,
                        f"exit {code}, got {got}, expected {expected}{where}")
        survivors = [(number, name, order) for number, parents in cases.items()
                     for name, order in python_orders(parents).items() if order]
        for number, name, order in random.Random(1).sample(survivors, min(3, len(survivors))):
            code, shown = program.show(f"h{number}-{name}/m/p")
            got = shown["settings"]["trace.path"]["value"][1:] if shown else None
            checks.same(f"hierarchy {number}: {name} still answers", (code, got), (0, order))


def main():
    arg, checks = arguments(__doc__, cases=1000, batch=100), Checks()
    good, bad = {}, {}
    for number in range(arg.cases):
        parents = KNOWN[number] if number < len(KNOWN) else hierarchy(number)
        (bad if None in python_orders(parents).values() else good)[number] = parents
    for compare, cases in ((sound, good), (impossible, bad)):
        numbers = iter(cases)
        while batch := list(itertools.islice(numbers, arg.batch)):
            compare(checks, arg.binary, {number: cases[number] for number in batch})
    checks.that(f"{len(good)} hierarchies possible, {len(bad)} impossible", good and bad)
    checks.finish()


if __name__ == "__main__":
    main()
