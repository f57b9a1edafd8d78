#!/usr/bin/env python3
"""An independent resolver: reads a tree and works out its profiles, slowly and plainly.

    resolver.py TREE [PROFILE...]     prints {profile: {tier, status, settings, ...} or {error}} as JSON

It is written from the language's definition alone and shares no code with the program; tests compare the two.
It leaves out scripts, rules and what only makes a message."""
import json
import pathlib
import sys
from functools import cached_property
from itertools import product
from math import pi

import yaml

from formula import evaluate, keys_of, parse
from quantities import (DIFFERENCE, PLAIN, POINT, Problem, Quantity, dims_of, glob, number_in, parse_literal,
                        quantity, rounded, written_number)

LOADER = getattr(yaml, "CBaseLoader", yaml.BaseLoader)     # every scalar is a text; the dictionary says what it means
KINDS = ("machine", "material", "process")
TIERS = ("free", "supporter")
STATUSES = ("draft", "beta", "stable")
OPERATIONS = ("calc", "add", "scale", "unset", "append", "remove")


def flat(tree, stop, prefix=""):
    """(dotted key, value) pairs of a nested mapping; a value for which `stop` holds is not entered."""
    for key, value in (tree or {}).items():
        if isinstance(value, dict) and not stop(value):
            yield from flat(value, stop, f"{prefix}{key}.")
        else:
            yield prefix + key, value


def as_list(value):
    return [] if value is None else value if isinstance(value, list) else [value]


# The dictionary

class Setting:
    """One entry of the dictionary; it knows how literals of it are read and how values are written."""

    def __init__(self, key, data):
        self.key = key
        self.kinds = as_list(data.get("kinds"))
        self.adjusters = self.kinds + as_list(data.get("adjustable_by"))
        self.type = data.get("type", "quantity")
        self.unit = None if data.get("unit") == "1" else data.get("unit")      # a bare number
        self.is_list = data.get("list") == "true"
        self.choices = data.get("choices", [])
        self.range = [float(n) for n in data["range"]] if "range" in data else None
        self.required = data.get("required") == "true"
        self.fact = data.get("fact") == "true"
        self.refuses = data.get("over_limit") == "refuse"
        self.extrudes = data.get("extrudes")
        self.default = None if data["default"] == "none" else self.operation(data["default"])

    def operation(self, data):
        """A value as a fragment writes it: (how, payload)."""
        if not isinstance(data, dict):
            return "set", self.literal(data)
        if len(data) != 1 or (how := next(iter(data))) not in OPERATIONS:
            raise Problem("operation", f"{self.key}: {data}")
        text = data[how]
        if how == "calc":
            return how, parse(text)
        if how == "unset":
            return how, None
        if how in ("append", "remove"):
            if not self.is_list:
                raise Problem("operation", f"{self.key} is no list")
            return how, tuple(self.one(each) for each in text)
        if self.is_list or self.type not in ("quantity", "count"):
            raise Problem("operation", f"{self.key} takes no {how}")
        if how == "scale":
            if self.dims == POINT:
                raise Problem("dimension", f"{self.key} is scaled")
            return how, number_in(quantity(*parse_literal(text)), None)
        change = self.with_unit(text) if self.dims != POINT else quantity(*parse_literal(text))
        if change.dims != (DIFFERENCE if self.dims == POINT else self.dims):
            raise Problem("dimension", f"{self.key}: add {text}")
        return how, change.number

    def literal(self, data):
        if self.is_list:
            if not isinstance(data, list):
                raise Problem("literal", f"{self.key} takes a list")
            return tuple(self.one(each) for each in data)
        return self.one(data)

    def one(self, data):
        if isinstance(data, (list, dict)):
            raise Problem("literal", f"{self.key}: {data}")
        if self.type in ("quantity", "count"):
            return self.with_unit(data)
        if self.type == "flag":
            if data not in ("true", "false"):
                raise Problem("literal", f"{self.key}: {data}")
            return data == "true"
        return data

    def with_unit(self, text):
        number, unit = parse_literal(text)
        if (unit is None) != (self.unit is None) or dims_of(unit) != self.dims:
            raise Problem("dimension", f"{self.key}: {text}")
        return quantity(number, unit)

    @cached_property
    def dims(self):
        """The dimensions of its values; None for what is no number."""
        return {"quantity": lambda: dims_of(self.unit), "count": lambda: PLAIN}.get(self.type, lambda: None)()

    def checked(self, value):
        """`value`, if it is of this setting's type."""
        for one in value if self.is_list else [value]:
            if self.dims is not None:
                if not isinstance(one, Quantity) or one.dims != self.dims:
                    raise Problem("dimension", f"{self.key}: {one}")
                if self.type == "count" and rounded(one.number) % 1:
                    raise Problem("count", f"{self.key}: {one.number} is not whole")
            elif isinstance(one, bool) != (self.type == "flag") or isinstance(one, Quantity):
                raise Problem("dimension", f"{self.key}: {one}")
            if self.type == "choice" and one not in self.choices:
                raise Problem("choice", f"{self.key}: {one}")
        return value

    def shown(self, value):
        """`value` in the setting's unit, as a number that is rounded as it is written."""
        return rounded(number_in(value, self.unit))

    def in_range(self, value):
        low, high = self.range
        for one in value if self.is_list else [value]:
            if not rounded(low) <= self.shown(one) <= rounded(high):
                raise Problem("range", f"{self.key}: {self.shown(one)}")

    def written(self, value):
        """The value as a profile's file holds it: text with the unit; counts and flags bare; a list of these."""
        if self.is_list:
            return [self.written_one(one) for one in value]
        return self.written_one(value)

    def written_one(self, one):
        if not isinstance(one, Quantity):
            return one
        text = written_number(number_in(one, self.unit))
        return f"{text} {self.unit}" if self.unit else int(text) if text.lstrip("-").isdigit() else float(text)


# Fragments

def is_operation(data):
    return any(word in data for word in OPERATIONS)


def is_limit(data):
    return any(word in data for word in ("at_most", "at_least", "among", "else"))


class Layer:
    """What a fragment, or one of its `when` blocks, writes."""

    def __init__(self, fragment, data, condition, dictionary):
        self.condition = condition
        self.settings = self.read(fragment, data.get("settings"), dictionary, "kinds", condition is not None)
        self.adjust = self.read(fragment, data.get("adjust"), dictionary, "adjusters", True)
        for key, (how, payload) in self.adjust.items():
            if how not in ("add", "scale") and not (how == "calc" and "inherited" in keys_of(payload)):
                raise Problem("adjust", f"{key}: {how}")
        self.limits = dict(flat(data.get("limits"), is_limit))

    def keys(self):
        return {*self.settings, *self.adjust, *self.limits}

    def read(self, fragment, data, dictionary, who, no_fact):
        found = {}
        for key, value in flat(data, is_operation):
            if key not in dictionary:
                raise Problem("unknown", key)
            setting = dictionary[key]
            if fragment.kind not in getattr(setting, who) or (no_fact and setting.fact):
                raise Problem("misplaced", f"{key} in {fragment.id}")
            found[key] = setting.operation(value)
        return found


class Fragment:
    def __init__(self, kind, name, data, base, dictionary, default_tier):
        self.kind, self.name, self.id = kind, name, f"{kind}/{name}"
        self.parents = as_list(data.get("extends")) + ([base.name] if base else [])
        self.abstract = data.get("abstract", "true" if data.get("fittings") else "false") == "true"
        self.says_free = data.get("tier") == "free"
        self.tier = TIERS.index(data.get("tier", TIERS[base.tier] if base else default_tier))
        self.status = data.get("status", base.status if base else "beta")
        self.fits, self.locked = data.get("fits"), as_list(data.get("locked"))
        self.layers, self.problem = [], None
        try:
            self.layers = [Layer(self, data, None, dictionary)]
            self.layers += [Layer(self, block, block["if"], dictionary) for block in as_list(data.get("when"))]
        except Problem as problem:
            self.problem = problem


def merge(lists):
    """The merge of C3: repeatedly the first head that stands in no tail. None if the order is impossible."""
    lists, order = [list(one) for one in lists if one], []
    while lists:
        head = next((one[0] for one in lists if not any(one[0] in other[1:] for other in lists)), None)
        if head is None:
            return None
        order.append(head)
        lists = [rest for one in lists if (rest := one[1:] if one[0] == head else one)]
    return order


class Tree:
    """A whole tree, read and linearised; `profile(id)` resolves one triple."""

    def __init__(self, root):
        root = pathlib.Path(root)

        def load(path):
            return yaml.load(path.read_text(encoding="utf-8"), LOADER) or {}

        self.dictionary, self.roles, self.rules = {}, {}, {}
        for path in sorted((root / "schema").glob("*.yaml")):
            data = load(path)
            self.dictionary.update((key, Setting(key, entry)) for key, entry in data.get("settings", {}).items())
            self.roles.update(data.get("roles", {}))
            self.rules.update(data.get("rules", {}))
        sources = root / "profiles-src"
        about = load(sources / "bindery.yaml")
        plan = root / "release" / "plan.yaml"
        self.plan = load(plan) if plan.exists() else {}
        self.fragments = {kind: {} for kind in KINDS}
        for kind in KINDS:
            for path in sorted((sources / kind).rglob("*.yaml")):
                self.add(kind, path.name[:-5], load(path), about.get("default_tier", "free"))
        self.orders, self.found = {}, {}
        for fragment in self.every():
            self.check_locks(fragment)

    def add(self, kind, name, data, default_tier):
        base = Fragment(kind, name, data, None, self.dictionary, default_tier)
        self.fragments[kind][name] = base
        for suffix, fitting in (data.get("fittings") or {}).items():
            full = f"{name}+{suffix}"
            self.fragments[kind][full] = Fragment(kind, full, fitting or {}, base, self.dictionary, default_tier)

    def every(self):
        return [fragment for kind in KINDS for fragment in self.fragments[kind].values()]

    def check_locks(self, fragment):
        """A fragment leaves alone what one above it has locked."""
        try:
            above = self.order(fragment.kind, fragment.name)[1:]
        except Problem:
            return
        locked = {key for each in above for key in each.locked}
        if found := locked & {key for layer in fragment.layers for key in layer.keys()}:
            fragment.problem = Problem("locked", f"{found} in {fragment.id}")

    def order(self, kind, name, path=()):
        """The fragments of a linearisation, itself first."""
        if name in path:
            raise Problem("cycle", " > ".join(path))
        if name not in self.fragments[kind]:
            raise Problem("unknown", f"{kind}/{name}")
        if (kind, name) not in self.orders:
            parents = self.fragments[kind][name].parents
            above = [[f.name for f in self.order(kind, each, (*path, name))] for each in parents]
            order = merge([*above, parents])
            if order is None:
                raise Problem("order", f"{kind}/{name}")
            self.orders[kind, name] = [self.fragments[kind][each] for each in (name, *order)]
        return self.orders[kind, name]

    def profile(self, triple):
        """The resolved profile of a triple of names (a fresh one is worked out once)."""
        if triple not in self.found:
            self.found[triple] = Profile(self, triple)
        return self.found[triple]

    def fragment_tier(self, triple):
        tier = 0
        for kind, name in zip(KINDS, triple):
            for fragment in self.order(kind, name):
                if fragment.says_free and any(f.tier for f in self.order(kind, fragment.name)):
                    raise Problem("tier", fragment.id)
                tier = max(tier, fragment.tier)
        return tier

    # The plan

    def publishable(self, kind, name, drafts=False):
        fragment = self.fragments[kind][name]
        return not fragment.abstract and fragment.status != "retired" and (drafts or fragment.status != "draft")

    def selected(self, drafts=False):
        """{triple: the lowest tier of a set that takes it}; with `drafts`, globs take drafts too."""
        taken = {}
        for entry in self.plan.get("sets", {}).values():
            tier = TIERS.index(entry["tier"])
            for take in as_list(entry.get("take")):
                names, literal = [], True
                for kind in KINDS:
                    patterns = as_list(take.get(kind, "*"))
                    literal = literal and not any("*" in each or each.startswith("!") for each in patterns)
                    names.append([name for name in self.fragments[kind] if matches(patterns, name) and (
                        self.publishable(kind, name, drafts or name in patterns))])
                for triple in product(*names):
                    leave = any(self.holds({k: v for k, v in one.items() if k in KINDS}, triple)
                                for one in as_list(entry.get("leave")))
                    if leave or not self.profile(triple).fits:
                        continue
                    if tier == 0 and self.fragment_tier(triple) == 1:
                        if literal:
                            raise Problem("tier", f"{triple} in a free set")
                        continue
                    taken[triple] = min(tier, taken.get(triple, 1))
        return taken

    def holds(self, condition, triple):
        """Whether the names of a condition match the triple's."""
        return all(matches(as_list(condition[kind]), name) for kind, name in zip(KINDS, triple) if kind in condition)


def matches(patterns, name):
    """Whether some pattern matches and none excludes; exclusions alone leave all the others in."""
    out = [each[1:] for each in patterns if each.startswith("!")]
    within = [each for each in patterns if not each.startswith("!")]
    return (not within or any(glob(p, name) for p in within)) and not any(glob(p, name) for p in out)


# A profile

class Profile:
    """One triple, evaluated lazily: `final(key)` is the value after limits, or None if it is unset."""

    def __init__(self, tree, triple):
        self.tree, self.triple = tree, triple
        self.axes = [list(reversed(tree.order(kind, name))) for kind, name in zip(KINDS, triple)]
        self.fragments = [fragment for axis in self.axes for fragment in axis]
        self.memo, self.open, self.capped = {}, [], set()

    @cached_property
    def fits(self):
        """Whether the triple is a profile: nothing abstract, and every `fits` holds."""
        own = [axis[-1] for axis in self.axes]
        return not any(f.abstract for f in own) and all(self.condition(f.fits or {}) for f in self.fragments)

    def condition(self, data):
        """Whether a condition holds; one that reads an unset fact does not."""
        if not self.tree.holds(data, self.triple):
            return False
        if "where" not in data:
            return True
        try:
            return evaluate(parse(data["where"]), self.fact, self.has)
        except Problem as problem:
            if problem.kind == "unset":
                return False
            raise

    # What is written, by axis

    @cached_property
    def matching(self):
        """The layers that apply, lowest first, in a list for each axis."""
        return [[layer for fragment in axis for layer in fragment.layers
                 if layer.condition is None or self.condition(layer.condition)] for axis in self.axes]

    @cached_property
    def plain(self):
        """The same without `when` blocks: all that writes or limits facts."""
        return [[layer for fragment in axis for layer in fragment.layers if layer.condition is None]
                for axis in self.axes]

    def layers(self, setting):
        return self.plain if setting.fact else self.matching

    def chain(self, setting):
        """The operations on a setting, lowest first, from the last one that hides what is below."""
        chain = [("default", setting.default)]
        for layer in (layer for axis in self.layers(setting) for layer in axis):
            if setting.key not in layer.settings:
                continue
            how, payload = layer.settings[setting.key]
            if how == "unset":
                chain = [("default", setting.default)]
            elif how == "set" or (how == "calc" and "inherited" not in keys_of(payload)):
                chain = [(how, payload)]
            else:
                chain.append((how, payload))
        for axis in self.layers(setting):
            written = [layer.adjust[setting.key] for layer in axis if setting.key in layer.adjust]
            chain += written[-1:]
        return chain

    def bounds(self, setting):
        """The bounds of a setting from all axes: (`at_most` or `at_least` or `among`, payload, refuses)."""
        for axis in self.layers(setting):
            table = {}
            for layer in axis:
                for pattern, limit in layer.limits.items():
                    if not glob(pattern, setting.key):
                        continue
                    if limit == "none":
                        table = {at: bound for at, bound in table.items() if at[0] != pattern}
                        continue
                    for name in ("at_most", "at_least", "among"):
                        if limit.get(name) == "none":
                            table.pop((pattern, name), None)
                        elif name in limit:
                            table[pattern, name] = (limit[name], setting.refuses or limit.get("else") == "refuse")
            for (_, name), (payload, refuses) in table.items():
                if name == "among":
                    yield name, payload, True
                elif setting.dims is not None:
                    value = self.bound(setting, payload)
                    if value is not None:
                        yield name, value, refuses

    def bound(self, setting, payload):
        """The value of a bound, or None if it is of another dimension and so binds other settings."""
        if isinstance(payload, dict):
            value = evaluate(parse(payload["calc"]), self.fact, self.has)
        else:
            number, unit = parse_literal(payload)
            if (unit is None) != (setting.unit is None):
                return None
            value = quantity(number, unit)
        return value if value.dims == setting.dims else None

    # Evaluation

    def has(self, key):
        return self.final(key) is not None

    def read(self, key):
        value = self.final(key)
        if value is None:
            raise Problem("unset", key)
        return value

    def fact(self, key):
        if not self.tree.dictionary[key].fact:
            raise Problem("fact", f"{key} is no fact")
        return self.read(key)

    def final(self, key):
        if key in self.memo:
            return self.memo[key]
        if key in self.open:
            raise Problem("cycle", " > ".join([*self.open, key]))
        self.open.append(key)
        try:
            setting = self.tree.dictionary[key]
            self.memo[key] = self.limited(setting, self.uncapped(setting))
        finally:
            self.open.pop()
        return self.memo[key]

    def uncapped(self, setting):
        value = None
        for how, payload in self.chain(setting):
            if how == "default":
                if payload is None:
                    continue
                how, payload = payload
            elif value is None and how in ("add", "scale", "append", "remove"):
                raise Problem("unset", f"{how} on {setting.key}")
            if how == "set":
                value = payload
            elif how == "calc":
                value = self.calculated(setting, payload, value)
            elif how == "add":
                value = value._replace(number=value.number + payload)
            elif how == "scale":
                value = value._replace(number=value.number * payload)
            elif how == "append":
                value = value + payload
            else:
                value = tuple(each for each in value if each not in payload)
        return value if value is None else setting.checked(value)

    def calculated(self, setting, node, below):
        read = self.fact if setting.fact else self.read

        def value_of(key):
            if key != "inherited":
                return read(key)
            if below is None:
                raise Problem("unset", f"inherited of {setting.key}")
            return below

        return evaluate(node, value_of, self.has)

    def limited(self, setting, value):
        """The value after limits, flow limit and range; a cap is noted in `capped`."""
        if value is None:
            if setting.required:
                raise Problem("required", setting.key)
            return None
        most, least = [], []
        for name, bound, refuses in self.bounds(setting):
            if name == "among":
                if value not in bound:
                    raise Problem("limit", f"{setting.key}: {value} is not among {bound}")
                continue
            (most if name == "at_most" else least).append(bound)
            over = setting.shown(value) - setting.shown(bound)
            if refuses and (over > 0 if name == "at_most" else over < 0):
                raise Problem("limit", f"{setting.key}: {value.number} against {name} {bound.number}")
        most += self.flow_bound(setting)
        if most and least and setting.shown(max(least)) > setting.shown(min(most)):
            raise Problem("limit", f"{setting.key}: the bounds cross")
        if most and setting.shown(value) > setting.shown(min(most)):
            self.capped.add(setting.key)
            value = min(most)
        elif least and setting.shown(value) < setting.shown(max(least)):
            self.capped.add(setting.key)
            value = max(least)
        if setting.range:
            setting.in_range(value)
        return value

    def flow_bound(self, setting):
        """The highest speed that the flow limit allows, in a list; none if there is no such limit."""
        role, bead = self.tree.roles.get("flow_limit"), setting.extrudes
        if not (role and bead and self.has(role)):
            return []
        if "area" in bead:
            area = self.read(bead["area"]).number
        else:
            low, high = sorted(self.read(bead[side]).number for side in ("width", "height"))
            area = (high - low) * low + pi * low ** 2 / 4
        ratio = self.read(self.tree.roles["flow_ratio"]).number if "flow_ratio" in self.tree.roles else 1.0
        if area * ratio == 0:
            return []
        return [Quantity(self.read(role).number / (area * ratio), setting.dims)]

    # The whole of it

    def check_locks(self):
        """The later axes leave alone what an earlier one has locked."""
        locked = set()
        for axis, layers in zip(self.axes, self.matching):
            if found := locked & {key for layer in layers for key in layer.keys()}:
                raise Problem("locked", f"{found} in {axis[-1].id}")
            locked |= {key for fragment in axis for key in fragment.locked}

    def broken(self):
        """The names of the rules that do not hold; a rule that reads an unset setting does not apply."""
        found = []
        for name, rule in self.tree.rules.items():
            try:
                if not evaluate(parse(rule["assert"]), self.read, self.has):
                    found.append(name)
            except Problem as problem:
                if problem.kind != "unset":
                    raise
        return found

    def resolve(self):
        """{tier, status, settings, how, capped} of the profile; raises Problem if it is in error."""
        for fragment in self.fragments:
            if fragment.problem:
                raise fragment.problem
        self.check_locks()
        settings, how = {}, {}
        for key, setting in self.tree.dictionary.items():
            value = self.final(key)
            if value is not None:
                settings[key], how[key] = setting.written(value), self.chain(setting)[-1][0]
        statuses = [axis[-1].status for axis in self.axes]
        return {"tier": TIERS[self.tree.fragment_tier(self.triple)], "settings": settings, "how": how,
                "status": "retired" if "retired" in statuses else min(statuses, key=STATUSES.index),
                "capped": sorted(self.capped)}


def resolved(tree, triple, taken):
    """The profile as `resolve` gives it, its tier raised to that of the sets that take it; or {"error": kind}."""
    try:
        found = tree.profile(triple).resolve()
        found["tier"] = TIERS[max(TIERS.index(found["tier"]), taken.get(triple, 0))]
        return found
    except Problem as problem:
        return {"error": problem.kind, "message": str(problem)}


def main(root, wanted):
    tree = Tree(root)
    taken = tree.selected()
    triples = [tuple(each.split("/")) for each in wanted] or sorted(taken)
    print(json.dumps({"/".join(triple): resolved(tree, triple, taken) for triple in triples}, indent=1))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
