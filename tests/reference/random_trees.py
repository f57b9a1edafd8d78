#!/usr/bin/env python3
"""Random trees: the program and the reference resolver must agree on every value, tier, status, `how` and cap of every
profile, and on which profiles are in error. Case N is the tree of seed N, so `--first N --cases 1` repeats one."""
import itertools
import json
import random
import shutil
import zipfile
from dataclasses import dataclass, field

from checks import Checks, Program, arguments, keep, scratch, write_tree
from formula import parse
from resolver import KINDS, Tree, as_list, merge, resolved
from self_test import as_written

# Unit of the dictionary; other units a literal may have, with the factor; size of ordinary values
UNITS = {
    "mm": ({"mm": 1, "cm": 10, "m": 1000, "inch": 25.4, "um": 0.001}, 5),
    "mm/s": ({"mm/s": 1, "cm/s": 10, "mm/min": 1 / 60, "m/s": 1000}, 100),
    "mm/s^2": ({"mm/s^2": 1, "m/s^2": 1000, "mm/s2": 1}, 2000),
    "mm^3/s": ({"mm^3/s": 1, "cm^3/min": 1000 / 60, "mm3/s": 1}, 12),
    "s": ({"s": 1, "ms": 0.001, "min": 60, "h": 3600}, 30),
    "K": ({"K": 1}, 8), "degC": ({"degC": 1, "degF": 1}, 200), "%": ({"%": 1}, 40), "degree": ({"degree": 1}, 45),
    "g": ({"g": 1, "kg": 1000, "mg": 0.001, "lb": 453.59237}, 20), "g/cm^3": ({"g/cm^3": 1, "kg/m^3": 0.001}, 1.2),
}
LEVELS = {"or": 0, "and": 0, "not": 0, "+": 1, "-": 1, "*": 2, "/": 2, "negative": 3, "^": 4, "in": 5} | dict.fromkeys(
    ("<", "<=", ">", ">=", "==", "!="), 0)
WORDS = ["amber", "birch", "cedar", "delta", "ember", "fjord", "grove", "heath", "inlet", "knoll"]


@dataclass
class Key:
    """A setting of the tree that is being made up."""
    name: str
    type: str                    # a unit, or count, choice, flag, text
    entry: dict
    several: bool = False        # a list of them
    items: list = field(default_factory=list)

    @property
    def fact(self):
        return self.entry.get("fact", False)

    @property
    def may_be_unset(self):
        return self.entry["default"] == "none" and not self.entry.get("required")

    @property
    def group(self):
        return self.name.rpartition(".")[0]


class Maker:
    """Makes up one tree. In a risky one, formulas read what may be unset or lead in a circle, and bounds are tight."""

    def __init__(self, seed):
        self.random = random.Random(f"tree {seed}")
        self.risky = self.chance(0.3)
        self.default_tier = self.pick(["free", "free", "free", "supporter"])
        self.keys, self.loose, self.flow_place = [], False, None

    def chance(self, share):
        return self.random.random() < share

    def pick(self, values):
        return self.random.choice(list(values))

    def some(self, values, least, most):
        values = list(values)
        return self.random.sample(values, min(len(values), self.random.randint(least, most)))

    # Values and formulas

    def number(self, size):
        return round(size * self.random.uniform(0.2, 1.8), self.pick([0, 1, 2, 3]) if size > 3 else 3)

    def literal_of(self, unit, positive=True, size=None):
        others, usual = UNITS[unit]
        other = self.pick(others) if self.chance(0.3) else unit
        number = self.number(size or usual)
        if unit == "degC":
            number = round(number * 9 / 5 + 32, 1) if other == "degF" else number
        else:
            number = round(number / others[other], 5) or 1
        text = f"{number:.6f}".rstrip("0").rstrip(".") if number != int(number) else str(int(number))
        return ("" if positive else "-") + f"{text} {other}"

    def literal(self, key):
        if key.several:
            if key.type == "text":
                return [self.new_item(key) for _ in range(self.random.randint(0, 3))]
            if key.type == "choice":
                return self.some(key.entry["choices"], 1, 3)
            return [self.literal_of(key.type) for _ in range(self.random.randint(1, 3))]
        if key.type == "count":
            return self.random.randint(1, 9)
        if key.type == "flag":
            return self.chance(0.5)
        if key.type == "choice":
            return self.pick(key.entry["choices"])
        if key.type == "text":
            return self.pick(WORDS) + " " + self.pick(WORDS)
        return self.literal_of(key.type)

    def new_item(self, key):
        key.items.append(f"{self.pick(WORDS)}-{len(key.items)}")
        return key.items[-1]

    def readable(self, kind, before, facts):
        """Keys of the type `kind` that a formula may read."""
        within = self.keys if self.loose else self.keys[:before]
        return [k for k in within if k.type == kind and not k.several and (k.fact or not facts)]

    def formula(self, kind, before, facts, depth=0, inherited=False):
        """A formula that gives a `kind` and reads keys that stand before the place `before`."""
        if not depth:
            self.loose = self.risky and self.chance(0.15)

        def of(other, tight=0):
            """A formula inside this one, in brackets if its loosest operation is looser than `tight`."""
            text = self.formula(other, before, facts, depth + 1, inherited and other == kind)
            return f"({text})" if LEVELS.get(parse(text)[0], 9) < tight or self.chance(0.1) else text

        def positive(unit):
            return f"max({of(unit)}, {self.literal_of(unit)})"

        def choose(other):
            return f"if({self.condition(before, facts, depth + 1)}, {of(other)}, {of(other)})"

        keys = self.readable(kind, before, facts) if kind != "choice" else []     # another one's choices differ
        if depth > 2 or self.chance(0.25):
            if inherited and self.chance(0.5):
                return "inherited"
            if keys and self.chance(0.7):
                return self.guarded(self.pick(keys))
            return self.constant(kind)
        if kind == "flag":
            return self.condition(before, facts, depth + 1)
        if kind in ("choice", "text"):
            return choose(kind)
        if kind == "count":
            return self.pick([
                lambda: f"{of('count')} + {of('count')}", lambda: f"max({of('count')}, {of('count')}, 2)",
                lambda: f"ceil({of('mm', 2)} / {self.literal_of('mm')})", lambda: f"floor({of('s', 5)} in min) + 1",
                lambda: f"round({of('mm/s', 5)} in cm/s, 2)", lambda: f"abs({of('count')} - {of('count', 2)})",
                lambda: choose(kind)])()
        if kind == "degC":
            return self.pick([
                lambda: f"{of('degC')} + {of('K', 2)}", lambda: f"{of('degC')} - {of('K', 2)}",
                lambda: f"min({of('degC')}, {of('degC')})", lambda: f"max({of('degC')}, {of('degC')})",
                lambda: f"round({of('degC')}, 5 K)", lambda: f"clamp({of('degC')}, 20 degC, 300 degC)",
                lambda: choose(kind)])()
        usual = UNITS[kind][1]
        special = {
            "mm": [lambda: f"{of('mm/s', 2)} * {of('s', 3)}", lambda: f"sqrt({positive('mm')} * {positive('mm')})",
                   lambda: f"{of('mm/s', 5)} ^ 2 / {positive('mm/s^2')}"],
            "mm/s": [lambda: f"{of('mm', 2)} / {positive('s')}", lambda: f"sqrt({positive('mm/s^2')} * {positive('mm')})",
                     lambda: f"{of('mm^3/s', 2)} / ({positive('mm')} * {positive('mm')})"],
            "mm/s^2": [lambda: f"{of('mm/s', 2)} / {positive('s')}"],
            "mm^3/s": [lambda: f"{of('mm', 5)} ^ 2 * {of('mm/s', 3)}",
                       lambda: f"{of('g', 2)} / {positive('g/cm^3')} / {positive('s')}"],
            "s": [lambda: f"{of('mm', 2)} / {positive('mm/s')}", lambda: f"{of('mm/s', 2)} / {positive('mm/s^2')}"],
            "K": [lambda: f"{of('degC')} - ({of('degC')})"],
            "%": [lambda: f"{of('mm', 2)} / {positive('mm')}", lambda: f"{of('count', 2)} / 10"],
            "g": [lambda: f"{of('mm', 5)} ^ 3 * {of('g/cm^3', 3)}"], "degree": [], "g/cm^3": [],
        }[kind]
        return self.pick(special + [
            lambda: f"{of(kind)} + {of(kind)}", lambda: f"{of(kind)} - {of(kind, 2)} * 0.5",
            lambda: f"{of(kind, 2)} * {of('%', 3)}", lambda: f"{self.number(1)} * {of(kind, 3)}",
            lambda: f"min({of(kind)}, {of(kind)})", lambda: f"{of(kind, 2)} / {self.pick([2, 3, 4, 8])}",
            lambda: f"clamp({of(kind)}, {self.literal_of(kind, size=usual / 4)}, {self.literal_of(kind, size=usual * 3)})",
            lambda: f"round({of(kind)}, {self.constant(kind)})", lambda: self.tie(kind), lambda: f"abs({of(kind)} - {of(kind, 2)})",
            lambda: f"-{of(kind, 4)} + {of(kind)}", lambda: choose(kind)])()

    def tie(self, kind):
        """A number half-way between two steps, of either sign; all of it exact in binary."""
        step = self.pick([0.5, 1, 2, 4, 0.25])
        return f"round({self.pick(['', '-'])}{(self.random.randint(0, 9) + 0.5) * step} {kind}, {step} {kind})"

    def constant(self, kind):
        if kind == "count":
            return str(self.random.randint(1, 6))
        if kind == "flag":
            return self.pick(["true", "false"])
        if kind in ("choice", "text"):
            return "'one'"                                        # every choice setting of a tree has it
        return self.literal_of(kind)

    def guarded(self, key):
        if key.may_be_unset and not (self.risky and self.chance(0.3)):
            return f"if(set({key.name}), {key.name}, {self.constant(key.type)})"
        return key.name

    def condition(self, before, facts, depth=0, where=False):
        """Something that is true or false. Only a `where` may read what is perhaps unset: it is false then."""
        if depth < 3 and self.chance(0.25):
            first, second = (self.condition(before, facts, depth + 1, where) for _ in "ab")
            return self.pick([f"({first} and {second})", f"({first} or {second})", f"not ({first})", f"{first} and {second}",
                              f"{first} or {second}", f"not {first}"])
        kinds = [k for k in {key.type for key in self.keys} if k not in ("text", "mm^2") and self.readable(k, before, facts)]
        if not kinds:
            return self.pick(["true", "1 < 2", "3 mm >= 1 cm"])
        kind = self.pick(sorted(kinds))
        key = self.pick(self.readable(kind, before, facts))
        if key.may_be_unset and self.chance(0.3):
            test = self.comparison(kind, key, key.name)
            return self.pick([f"(set({key.name}) and {test})", f"(not set({key.name}) or {test})", f"not set({key.name})"])
        return self.comparison(kind, key, key.name if where and self.chance(0.6) else self.guarded(key))

    def comparison(self, kind, key, text):
        if kind == "flag":
            return text
        if kind == "choice":
            return f"{text} {self.pick(['==', '!='])} '{self.pick(key.entry['choices'])}'"
        return f"{text} {self.pick(['<', '<=', '>', '>=', '!='])} {self.constant(kind)}"

    # The dictionary

    def dictionary(self):
        names = itertools.count(1)
        types = self.some(UNITS, 5, 9) + ["count", "flag", "choice"]
        for fact in [True] * self.random.randint(2, 5) + [False] * self.random.randint(8, 18):
            self.new_key(next(names), self.pick(types), fact)
        if self.chance(0.6):
            self.flow(next(names))
        for kind in ("text", "choice", "mm/s", "%"):
            if self.chance(0.7 if kind == "text" else 0.35):
                self.new_key(next(names), kind, False, several=True)
        if self.chance(0.3):
            self.new_key(next(names), "text", False)
        roles = {"nozzle": "bead.height", "flow_limit": "bead.flow"} if self.flow_place else {}
        if roles and any(k.name == "bead.ratio" for k in self.keys):
            roles["flow_ratio"] = "bead.ratio"
        roles.pop("nozzle", None)
        return {"settings": {k.name: k.entry for k in self.keys}, "roles": roles}

    def new_key(self, number, kind, fact, several=False, name=None, **more):
        group = "list" if several else self.pick(WORDS[:4])
        entry = {"title": f"Setting {number}", "about": "Made up for this tree.",
                 "kinds": self.some(KINDS, 1, 1 if self.chance(0.5) else 3)}
        if self.chance(0.5) and not fact:
            entry["adjustable_by"] = self.some(KINDS, 1, 3)
        entry |= {"type": kind} if kind in ("count", "choice", "flag", "text") else {"unit": kind}
        if kind == "choice":
            entry["choices"] = ["one", *self.some(WORDS, 2, 4)]
        if kind in UNITS or kind == "count":
            entry["range"] = [-1000000, 1000000]
            entry["over_limit"] = "refuse" if self.risky and self.chance(0.1) else "cap"
        if several:
            entry["list"] = True
        if fact:
            entry["fact"] = True
        entry["source"] = "invented"
        entry |= more
        middle = "." + self.pick(WORDS[4:]) if not several and self.chance(0.3) else ""
        key = Key(name or f"{group}{middle}.v{number}", kind, entry, several)
        place = len(self.keys)
        self.keys.append(key)
        if "default" not in entry:
            entry["default"] = "none"
            if not self.chance(0.2):
                entry["default"] = self.literal(key)
                if not several and kind != "text" and self.chance(0.4):
                    entry["default"] = {"calc": self.formula(kind, place, fact)}
        return key

    def flow(self, number):
        """Settings for the flow limit, and two speeds that it caps."""
        for name, unit, default in (("width", "mm", "0.45 mm"), ("height", "mm", "0.2 mm"), ("flow", "mm^3/s", "8 mm^3/s"),
                                    ("ratio", "%", "95 %"))[:3 + self.chance(0.5)]:
            self.new_key(number, unit, False, name=f"bead.{name}", default=default, range=[0.001, 1000000])
        self.flow_place = len(self.keys)
        self.new_key(number, "mm/s", False, name="bead.fast", default="90 mm/s", over_limit="cap",
                     extrudes={"width": "bead.width", "height": "bead.height"})
        if self.chance(0.5):
            area = {"calc": "bead.width ^ 2 * pi / 4"}
            self.keys.append(Key("bead.area", "mm^2", {"title": "Area", "about": "Made up.", "kinds": ["process"], "unit": "mm^2",
                                                       "range": [0, 1000000], "default": area, "source": "invented"}))
            self.new_key(number, "mm/s", False, name="bead.round", default="90 mm/s", over_limit="cap", extrudes={"area": "bead.area"})

    # Fragments

    def writable(self, kind, who="kinds"):
        found = [(i, k) for i, k in enumerate(self.keys) if kind in k.entry["kinds"] or (
            who == "adjustable_by" and kind in k.entry.get(who, []))]
        return [pair for pair in found if pair[1].type != "mm^2"]

    def value(self, place, key):
        """A value with some operation, for `settings`."""
        if key.name.startswith("bead.") and key.type != "mm/s":
            return self.literal_of(key.type, size=0.5 if key.type == "mm" else None)
        operations = ["set"] * 4 + ["unset"] * (not key.entry.get("required"))
        steady = not key.may_be_unset or (self.risky and self.chance(0.3))
        if key.several:
            operations += ["append", "append", "remove"] * 2 * steady if key.type == "text" else []
        elif key.type in UNITS or key.type == "count":
            operations += ["calc"] * 2 + ["add", "inherited"] * steady
            operations += ["scale"] * (steady and key.type not in ("degC", "count"))
        elif key.type in ("choice", "flag"):
            operations += ["calc"]
        how = self.pick(operations)
        return self.literal(key) if how == "set" else self.operation(how, place, key)

    def operation(self, how, place, key):
        if how == "unset":
            return {"unset": True}
        if how == "add":
            if key.type == "count":
                return {"add": self.random.randint(1, 3)}
            return {"add": self.literal_of("K" if key.type == "degC" else key.type, self.chance(0.7), size=2 if key.type in "K%" else None)}
        if how == "scale":
            return {"scale": self.pick([f"{self.random.randint(50, 150)} %", round(self.random.uniform(0.5, 1.5), 2)])}
        if how == "append":
            return {"append": [self.new_item(key) for _ in range(self.random.randint(1, 2))]}
        if how == "remove":
            return {"remove": self.some(key.items, 1, 2) or [self.new_item(key)]}
        formula = self.formula(key.type, place, key.fact, 0, how == "inherited")
        if how == "inherited" and "inherited" not in formula:
            formula = f"max(inherited, {formula})"
        return {"calc": formula}

    def settings(self, kind, most, facts=True):
        found = [(i, k) for i, k in self.writable(kind) if facts or not k.fact]
        return self.nested({k.name: self.value(i, k) for i, k in self.some(found, 0, most)})

    def nested(self, values):
        """The same mapping with some of its keys nested instead of dotted."""
        if not self.chance(0.5):
            return values
        tree = {}
        for name, value in values.items():
            *groups, last = name.split(".")
            inner = tree
            for group in groups:
                inner = inner.setdefault(group, {})
            inner[last] = value
        return tree

    def adjust(self, kind):
        found = [(i, k) for i, k in self.writable(kind, "adjustable_by") if not k.fact and not k.several
                 and (k.type in UNITS or k.type == "count") and (not k.may_be_unset or (self.risky and self.chance(0.2)))
                 and not (k.name.startswith("bead.") and k.type != "mm/s")]
        return {k.name: self.operation(self.pick(["add", "inherited"] + ["scale"] * (k.type not in ("degC", "count"))), i, k)
                for i, k in self.some(found, 0, 2)}

    def limits(self, facts=True):
        """Bounds by exact key, or by a glob that binds the settings of one unit."""
        found = {}
        for i, key in [(i, k) for i, k in enumerate(self.keys) if (facts or not k.fact) and not k.several]:
            if key.name.startswith("bead."):
                if key.type == "mm/s" and self.chance(0.2):
                    found[key.name] = {self.pick(["at_most"] * 3 + ["at_least"]): self.literal_of("mm/s", size=80)}
                continue
            if not self.chance(0.35 if i % 4 == 0 else 0.06):         # the same keys again and again, so that bounds meet
                continue
            if key.type == "choice" and self.risky and self.chance(0.4):
                found[key.name] = {"among": self.some(key.entry["choices"], 2, 9)}
            if key.type not in UNITS and key.type != "count":
                continue
            limit = {}
            if self.chance(0.75):
                limit["at_most"] = self.bound(key, 1.3 if self.risky else 2.5, i)
            if self.chance(0.1 if self.risky else 0.3) or not limit:
                limit["at_least"] = self.bound(key, 0.9 if self.risky else 0.1, i)
            if self.chance(0.2):
                limit["at_most"] = "none"
            if self.risky and self.chance(0.1):
                limit["else"] = "refuse"
            elif key.entry["over_limit"] == "cap" and self.chance(0.2):
                limit["else"] = "cap"
            found[key.name] = "none" if self.chance(0.1) else limit
        if facts and self.chance(0.2):
            unit = self.pick([k.type for k in self.keys if k.type in UNITS and not k.several and not k.name.startswith("bead.")
                              and k.type not in ("%", "degC", "K")] or ["mm"])
            bound = [k for k in self.keys if k.type == unit and not k.several and not k.name.startswith("bead.")]
            if bound:
                group = self.pick(bound).name.split(".")[0]
                found[f"{group}.*"] = {"at_most": self.literal_of(unit, size=2 * UNITS[unit][1])}
        return found

    def bound(self, key, share, place):
        if self.chance(0.2) and key.type != "count" and share > 0.5:
            facts = len([k for k in self.keys if k.fact])
            formula = self.formula(key.type, min(place, facts), True)
            return {"calc": formula if self.risky else f"max({formula}, {self.literal_of(key.type)})"}
        return round(9 * share) if key.type == "count" else self.literal_of(key.type, size=UNITS[key.type][1] * share)

    def when(self, kind, names):
        """A `when` block; it writes no fact."""
        condition = {k: self.patterns(names[k]) for k in self.some(KINDS, 0, 2)}
        if self.chance(0.5) or not condition:
            condition["where"] = self.condition(len([k for k in self.keys if k.fact]), True, where=True)
        block = {"if": condition, "settings": self.settings(kind, 3, facts=False), "adjust": self.adjust(kind), "limits": self.limits(False)}
        return {k: v for k, v in block.items() if v} if any(list(block.values())[1:]) else {**block, "adjust": {}, "limits": {}}

    def patterns(self, names):
        """Names and globs of which each matches something."""
        one = self.pick(names)
        found = [self.pick([one, "*", one[:2] + "*", "*" + one[-2:], one[:1] + "*" + one[-1:], "*" + one[1:3] + "*"])]
        if self.chance(0.3):
            found.append(self.pick(names))
        if self.chance(0.25):
            found.append("!" + self.pick(names))
        if len(found) == 1 and self.chance(0.1):
            found = ["!" + self.pick(names)]
        return found[0] if len(found) == 1 and self.chance(0.4) else found

    def fragments(self):
        shapes, names = {}, {}
        for kind in KINDS:
            stems = [f"{word}-{self.random.randint(1, 99)}" for word in self.some(WORDS, 2, 4)]
            shapes[kind] = [(stem, self.fittings_of(stem, kind)) for stem in stems]
            names[kind] = [full for stem, fittings in shapes[kind] for full in [stem, *(f"{stem}+{f}" for f in fittings)]]
        self.names, self.orders, written = names, {}, {}
        for kind in KINDS:
            orders, supporter = self.orders.setdefault(kind, {}), set()
            for stem, fittings in shapes[kind]:
                parents = self.parents(stem, orders)
                data = self.fragment(kind, names, parents, any(p in supporter for p in parents))
                if data.get("tier", self.default_tier) == "supporter" or any(p in supporter for p in parents):
                    supporter.add(stem)
                if fittings:
                    data["fittings"] = {}
                    for each in fittings:
                        own = [p for p in (self.parents(stem, orders) if self.chance(0.5) else []) if p not in orders[stem]]
                        if merge([orders[stem], *[orders[p] for p in own], [*own, stem]]) is None or any(p in supporter for p in own):
                            own = []
                        inner = self.fragment(kind, names, own, stem in supporter)
                        inner.pop("abstract", None)
                        data["fittings"][each] = inner
                        if stem in supporter or inner.get("tier") == "supporter":
                            supporter.add(f"{stem}+{each}")
                        orders[f"{stem}+{each}"] = [f"{stem}+{each}", *merge([*[orders[p] for p in own], orders[stem], [*own, stem]])]
                folder = self.pick(["", "", "group/", "group/deep/"])
                written[f"{kind}/{folder}{stem}"] = data
        self.lock(written)
        return written

    def fittings_of(self, stem, kind):
        return self.some(["0.4", "0.6", "wide", "x.y"], 1, 2) if self.chance(0.35 if kind == "machine" else 0.12) else []

    def parents(self, stem, orders):
        """Parents among the fragments so far, in an order that C3 accepts."""
        for _ in range(4):
            parents = self.some([n for n in orders if n != stem], 0, 3)
            order = merge([*[orders[p] for p in parents], parents])
            if order is not None:
                orders.setdefault(stem, [stem, *order])
                return parents
        orders.setdefault(stem, [stem])
        return []

    def fragment(self, kind, names, parents, on_supporter):
        data = {"title": "Made up"}
        if parents:
            data["extends"] = parents[0] if len(parents) == 1 and self.chance(0.5) else parents
        if self.chance(0.15):
            data["abstract"] = True
        if self.chance(0.15):
            data["tier"] = "supporter"
        elif not on_supporter and self.chance(0.1 if self.default_tier == "free" else 0.5):
            data["tier"] = "free"
        if self.chance(0.5):
            data["status"] = self.pick(["beta", "stable", "stable", "stable", "draft", "retired"])
        if self.chance(0.12):
            other = self.pick([k for k in KINDS if k != kind])
            data["fits"] = {other: self.patterns(names[other])}
            if self.chance(0.3) and not self.risky:
                data["fits"]["where"] = self.condition(len([k for k in self.keys if k.fact]), True, where=True)
        data["settings"] = self.settings(kind, 6)
        data["adjust"], data["limits"] = self.adjust(kind), self.limits()
        data["when"] = [self.when(kind, names) for _ in range(self.pick([0, 0, 1, 2]))]
        data["when"] = [block for block in data["when"] if len(block) > 1]
        return {k: v for k, v in data.items() if v or k == "settings"}

    def lock(self, written):
        """Locks a key that one kind alone writes, in one fragment. Sometimes a descendant writes it all the same; what is
        neither above nor below the locking fragment, and other kinds, leave it alone."""
        kind = self.pick(KINDS)
        name = self.pick(n for n in written if n.startswith(kind))
        stem = name.rpartition("/")[2]
        below = {n for n in written if n.startswith(kind) and all(
            stem in order for full, order in self.orders[kind].items() if full.partition("+")[0] == n.rpartition("/")[2])}
        above = {n for n in written if n.rpartition("/")[2] in [f.partition("+")[0] for f in self.orders[kind][stem]]}
        others = str([data for n, data in written.items() if n not in above | below])
        keys = [k.name for _, k in self.writable(kind) if set(k.entry["kinds"]) == {kind} and not k.entry.get("adjustable_by")]
        keys = [k for k in keys if not k.startswith("bead") and f"{k.rpartition('.')[2]}'" not in others
                and f"{k.split('.')[0]}.*" not in str(written)]
        quiet = [k for k in keys if f"{k.rpartition('.')[2]}'" not in str([data for n, data in written.items() if n in below])]
        if quiet and self.chance(0.5):
            written[name]["locked"] = [self.pick(quiet)]
        elif keys and self.chance(0.3):
            written[name]["locked"] = [self.pick(keys)]

    def plan(self, tree):
        sets = {}
        fitting = sorted(t for t in itertools.product(*self.published.values()) if tree.profile(t).fits)
        for name, tier in (("little", "free"), ("more", "free"), ("whole", "supporter"))[:self.random.randint(1, 3)]:
            take = [self.globs() for _ in range(self.random.randint(1, 2))]
            spelled = self.pick(fitting)
            if self.chance(0.4) and (tier == "supporter" or not tree.fragment_tier(spelled)):
                take.append(dict(zip(KINDS, spelled)))
            sets[name] = {"title": name, "tier": tier, "take": take}
            if self.chance(0.3):
                sets[name]["leave"] = [{k: self.patterns(self.names[k]) for k in self.some(KINDS, 1, 3)}]
        if self.chance(0.7):
            sets["rest"] = {"title": "Rest", "tier": "supporter", "take": [{kind: ["*"] for kind in self.some(KINDS, 2, 3)}]}
        return {"name": "trial", "sets": sets}

    def globs(self):
        """An entry of `take` whose names all exist and that spells no triple out."""
        take = {kind: self.patterns(self.published[kind]) if self.chance(0.6) else "*" for kind in KINDS}
        if all(any("*" not in one for one in as_list(patterns)) for patterns in take.values()):
            take[self.pick(KINDS)] = "*"
        return take

    def tree(self, folder):
        dictionary = self.dictionary()
        fragments = self.fragments()
        self.published = self.names
        about = {"default_tier": self.default_tier}
        write_tree(folder, dictionary, fragments, {"name": "trial"}, about)
        read = Tree(folder)
        self.published = {kind: [n for n in self.names[kind] if read.publishable(kind, n)] for kind in KINDS}
        if not any(read.profile(t).fits for t in itertools.product(*self.published.values())):
            return False
        write_tree(folder, dictionary, fragments, self.plan(read), about)
        return True


# The comparison

def values_of(archive):
    """{profile: its file's values} of an archive."""
    with zipfile.ZipFile(archive) as opened:
        found = {}
        for name in opened.namelist():
            if name.startswith("profiles/"):
                data = json.loads(opened.read(name))
                found[name[len("profiles/"):-len(".json")]] = data.get("settings", data)
        return found


def differences(expected, got):
    """What differs between two mappings of values, as one line; empty if nothing does."""
    return "; ".join(f"{key}: expected {expected.get(key)!r}, got {got.get(key)!r}"
                     for key in sorted({*expected, *got}) if expected.get(key) != got.get(key))


def compare_shown(program, profile, expected):
    """What differs between `show` of one profile and the reference."""
    code, shown = program.show(profile)
    if "error" in expected:
        return "" if code == 1 else f"{profile}: {expected['message']} expected, exit code {code}"
    if code or not shown:
        return f"{profile}: exit code {code}, though the reference resolves it: {program.run('show', profile).stderr[:500]}"
    got = {"tier": shown["tier"], "status": shown["status"]}
    wanted = {"tier": expected["tier"], "status": expected["status"]}
    for key, value in expected["settings"].items():
        wanted[key] = value, expected["how"][key], key in expected["capped"]
    for key, each in shown["settings"].items():
        got[key] = as_written(each["value"], each.get("unit")), each["how"], bool(each["capped_by"])
    found = differences(wanted, got)
    return f"{profile}: {found}" if found else ""


def compare(program, folder, tree, choose, sample):
    """A line that says where program and reference differ on the tree (empty: nowhere), and what kind of tree it was."""
    taken, checked = tree.selected(), tree.selected(drafts=True)
    results = {triple: resolved(tree, triple, taken) for triple in checked}
    wrong = {triple for triple, found in results.items() if "error" in found}
    profiles = {"/".join(t): r for t, r in results.items() if t in taken}
    for name in choose.sample(sorted(profiles), min(sample, len(profiles))) + sorted("/".join(t) for t in wrong)[:sample]:
        if found := compare_shown(program, name, results[tuple(name.split("/"))]):
            return found, "shown"
    done = program.build(folder / "out")
    if wrong or any(fragment.problem for fragment in tree.every()):
        broken = program.diagnostics()[0]
        if (done.returncode, broken) != (1, 1):
            return f"{len(wrong)} profiles or some fragment in error, build exits {done.returncode}, validate {broken}", "wrong"
        return ("build wrote something" if list(folder.glob("out/1.0.0/*")) else ""), "wrong"
    if done.returncode:
        return f"no profile in error, but build exits {done.returncode}: {done.stderr[:1500]}", "built"
    return compare_archives(folder, profiles), "built"


def compare_archives(folder, profiles):
    """What differs between the two archives and the reference."""
    for tier in ("supporter", "free"):
        wanted = {name: p for name, p in profiles.items() if tier == "supporter" or p["tier"] == "free"}
        archives = list((folder / "out" / "1.0.0" / tier).glob("*.zip"))
        got = values_of(archives[0]) if archives else {}
        if sorted(got) != sorted(wanted):
            return f"{tier} archive: profiles {sorted(set(got) ^ set(wanted))[:5]} differ"
        for name, profile in wanted.items():
            if found := differences(profile["settings"], got[name]):
                return f"{tier} archive, {name}: {found}"
            if list(profile["settings"]) != [k for k in got[name] if k in profile["settings"]]:
                return f"{tier} archive, {name}: not in the dictionary's order"
    return ""


def main():
    arg, checks = arguments(__doc__, cases=100, first=1, sample=5), Checks()
    kinds = {"built": 0, "wrong": 0}
    for seed in range(arg.first, arg.first + arg.cases):
        with scratch() as folder:
            for again in itertools.count():
                maker = Maker(f"{seed}.{again}")
                if maker.tree(folder) and (tree := Tree(folder)).selected():
                    break
                shutil.rmtree(folder)
            found, kind = compare(Program(arg.binary, folder), folder, tree, random.Random(seed), arg.sample)
            if kind in kinds:
                kinds[kind] += 1
            if found:
                found += f" [seed {seed}, tree saved in {keep(folder, f'seed-{seed}')}]"
            checks.that(f"random tree {seed}: {len(tree.dictionary)} settings, {len(tree.selected())} profiles, {kind}", not found, found)
    if arg.cases >= 100:
        checks.that(f"{kinds['built']} trees were sound, {kinds['wrong']} had profiles in error", min(kinds.values()) >= 10)
    checks.finish()


if __name__ == "__main__":
    main()
