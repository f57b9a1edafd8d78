#!/usr/bin/env python3
"""What a publisher would write instead of using the program: `script.py TREE OUT`. One process, dictionaries, no checks.

It reads all fragments, merges each with what it extends (the first in the list wins, as for the program), finds the triples
that the sets take and that names admit, lays process over material over machine, and writes a zip for each tier.

It does less than the program: `where`, `when`, `adjust`, limits, scripts and the dictionary's defaults are left out, no
formula is computed, and an operation (add, scale, calc and so on) stands for the value as it is written."""
import argparse
import json
import pathlib
import re
import zipfile
from dataclasses import dataclass, field

import yaml

KINDS = ("machine", "material", "process")
OPERATIONS = {"add", "scale", "calc", "unset", "append", "remove"}
LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
ENCODER = json.JSONEncoder(separators=(",", ":"))


def load(path):
    return yaml.load(path.read_bytes(), LOADER)


def as_list(value):
    return value if isinstance(value, list) else [] if value is None else [value]


def flat(settings, above=""):
    """Nested keys joined with dots; a mapping that holds an operation is a value."""
    found = {}
    for key, value in settings.items():
        if isinstance(value, dict) and not OPERATIONS & value.keys():
            found |= flat(value, f"{above}{key}.")
        else:
            found[above + key] = value
    return found


# --- Fragments ---

@dataclass
class Merged:
    """A fragment with all that it extends."""
    name: str
    title: str
    abstract: bool
    for_all: bool                                  # the whole chain is in the free tier
    settings: dict = field(default_factory=dict)
    fits: list = field(default_factory=list)       # the conditions of the whole chain
    admits: dict = field(default_factory=dict)     # names by kind, where a condition lists some


class Fragments:
    """The fragments of one kind by name, each merged once."""

    def __init__(self, folder, default_tier):
        self.default_tier, self.raw, self.merged = default_tier, {}, {}
        for path in folder.rglob("*.yaml"):
            fragment = load(path)
            fittings = fragment.pop("fittings", {})
            self.raw[path.stem] = {"abstract": bool(fittings)} | fragment
            for name, fitting in fittings.items():
                taken = {key: fragment[key] for key in ("title", "tier") if key in fragment}
                self.raw[f"{path.stem}+{name}"] = taken | fitting | {"extends": [*as_list(fitting.get("extends")), path.stem]}

    def merge(self, name):
        if name not in self.merged:
            raw = self.raw[name]
            tier = raw.get("tier", self.default_tier)
            self.merged[name] = out = Merged(name, raw.get("title", name), raw.get("abstract", False), tier == "free")
            for parent in map(self.merge, reversed(as_list(raw.get("extends")))):
                out.settings |= parent.settings
                out.fits += parent.fits
                out.for_all &= parent.for_all
            out.settings |= flat(raw.get("settings", {}))
            out.fits += as_list(raw.get("fits"))
        return self.merged[name]

    def concrete(self):
        return {name: self.merge(name) for name in sorted(self.raw) if not self.merge(name).abstract}


# --- Triples ---

class Names:
    """Which names of one kind a list of patterns admits; equal lists are looked at once."""

    def __init__(self, names):
        self.all, self.known = set(names), {}

    def admitted(self, patterns):
        key = tuple(as_list(patterns))
        if key not in self.known:
            wanted = [each for each in key if not each.startswith("!")]
            refused = [each[1:] for each in key if each.startswith("!")]
            found = self.matching(wanted) if wanted else self.all
            self.known[key] = found - self.matching(refused)
        return self.known[key]

    def matching(self, globs):
        literal = {each for each in globs if "*" not in each}
        forms = [re.compile(".*".join(map(re.escape, each.split("*")))) for each in globs if "*" in each]
        return self.all & literal | {name for name in self.all if any(form.fullmatch(name) for form in forms)}


def admit(parts):
    """Fills in what the conditions of each fragment admit, by names alone."""
    names = {kind: Names(parts[kind]) for kind in KINDS}
    for kind in KINDS:
        for part in parts[kind].values():
            for condition in part.fits:
                for other in KINDS:
                    if other in condition:
                        found = names[other].admitted(condition[other])
                        part.admits[other] = part.admits.get(other, found) & found
    return names


def triples(parts, names):
    """All that fit, sorted; from the process, which admits the fewest, to the machine, to the material."""
    found = []
    everything = {kind: names[kind].all for kind in KINDS}
    for process in parts["process"].values():
        for name in process.admits.get("machine", everything["machine"]):
            machine = parts["machine"][name]
            if process.name not in machine.admits.get("process", everything["process"]):
                continue
            both = process.admits.get("material", everything["material"]) & machine.admits.get("material", everything["material"])
            for material in map(parts["material"].get, both):
                if (process.name in material.admits.get("process", everything["process"])
                        and name in material.admits.get("machine", everything["machine"])):
                    found.append((machine, material, process))
    return sorted(found, key=lambda triple: [each.name for each in triple])


def taken(plan, names):
    """What the sets take, as (tier, names by kind)."""
    return [(each["tier"], [names[kind].admitted(entry.get(kind)) for kind in KINDS])
            for each in plan["sets"].values() for entry in each["take"]]


def tier_of(triple, sets):
    """The lowest tier of the sets that take the triple, unless a part of it is for supporters; None where none takes it."""
    tiers = {tier for tier, admitted in sets if all(part.name in some for part, some in zip(triple, admitted))}
    if not tiers:
        return None
    return "free" if "free" in tiers and all(part.for_all for part in triple) else "supporter"


# --- Archives ---

def profile(triple, tier):
    machine, material, process = triple
    return ENCODER.encode({"title": " / ".join(part.title for part in triple), "tier": tier,
                           "settings": machine.settings | material.settings | process.settings})


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("tree", type=pathlib.Path)
    parser.add_argument("out", type=pathlib.Path, help="a folder for the archives; made if it is not there")
    arg = parser.parse_args()
    sources = arg.tree / "profiles-src"
    default_tier = load(sources / "bindery.yaml").get("default_tier", "free")
    fragments = {kind: Fragments(sources / kind, default_tier) for kind in KINDS}
    parts = {kind: fragments[kind].concrete() for kind in KINDS}
    names = admit(parts)
    sets = taken(load(arg.tree / "release" / "plan.yaml"), names)
    arg.out.mkdir(parents=True, exist_ok=True)
    counts = {"free": 0, "supporter": 0}
    archives = {tier: zipfile.ZipFile(arg.out / f"profiles-{tier}.zip", "w", zipfile.ZIP_DEFLATED) for tier in counts}
    for triple in triples(parts, names):
        tier = tier_of(triple, sets)
        if tier is None:
            continue
        text = profile(triple, tier)
        entry = f"profiles/{'/'.join(part.name for part in triple)}.json"
        for each in ("free", "supporter") if tier == "free" else ("supporter",):
            archives[each].writestr(zipfile.ZipInfo(entry), text, zipfile.ZIP_DEFLATED)
            counts[each] += 1
    for archive in archives.values():
        archive.close()
    count = sum(len(each.raw) for each in fragments.values())
    print(f"{count} fragments, {counts['supporter']} profiles, {counts['free']} of them free")


if __name__ == "__main__":
    main()
