"""Random pairs of trees for changelog.py: a tree, and edits that lead from it to the next. Each edit is a step that can be
left out, and knows by which causes a changelog may name it."""
import copy
import math
from dataclasses import dataclass, field

from checks import scratch
from quantities import Problem, parse_literal, quantity
from random_trees import UNITS, WORDS, Maker
from resolver import KINDS, Tree, as_list
from sources import GONE, SLOTS, Sources, items, put


@dataclass
class Mark:
    """Causes by which an edit may be named; None stands for any."""
    unit: str                      # or schema, plan
    part: str = None
    setting: str = None
    in_block: bool = None

    def matches(self, cause):
        return (self.unit in (cause["fragment"], cause["fragment"].partition("+")[0] if self.part in (None, "fragment") else None)
                and self.part in (None, cause["part"]) and self.setting in (None, cause["setting"])
                and (self.in_block is None or self.in_block == (cause["condition"] is not None or cause["part"] == "when")))


@dataclass
class Step:
    """One edit. Two steps of a pair touch nothing in common: no place of one begins a place of the other."""
    name: str
    apply: object                  # acts on Sources
    places: list
    marks: list = field(default_factory=list)
    layout: bool = False           # says the same in another form
    words: bool = False            # says something, but no cause: a note
    renames: dict = field(default_factory=dict)      # {old unit: new unit}, by `replaces`
    renamed: bool = False

    def matches(self, cause):
        return any(mark.matches(cause) for mark in self.marks)

    def clashes(self, other):
        return any(a[:len(b)] == b[:len(a)] for a in self.places for b in other.places)


def place(unit, *rest):
    stem, _, fitting = unit.partition("+")
    return stem, fitting, *rest


class PairMaker(Maker):
    """Makes up a tree, then edits of it."""

    def __init__(self, seed):
        super().__init__(f"pair {seed}")
        self.risky = False

    def new_item(self, key):                            # no word of a list looks like a fragment's name
        key.items.append(f"item{len(key.items)} {self.pick(WORDS)}")
        return key.items[-1]

    # The first tree

    def sources(self):
        """The tree, or None if no triple of it fits."""
        found = Sources({**self.dictionary(), "job": ["layer.number"]}, self.fragments(), {"name": "trial"},
                        {"default_tier": self.default_tier})
        for unit, data in found.units().items():
            data["title"] = self.title(unit)
            if self.chance(0.12):
                data["fits"] = self.fits(unit.partition("/")[0])
            for each in [data, *data.get("when", [])]:
                if self.chance(0.35):
                    each["scripts"] = {slot: self.script() for slot in self.some(SLOTS, 1, 2)}
        self.published = self.names
        with scratch() as folder:
            found.write(folder)
            try:
                read = Tree(folder)
                self.published = {kind: [n for n in self.names[kind] if read.publishable(kind, n)] for kind in KINDS}
                found.plan = self.plan(read)
                found.write(folder)
                members = [(kind, name) for triple in Tree(folder).selected() for kind, name in zip(KINDS, triple)]
            except (IndexError, Problem):                # nothing fits, or an impossible tier
                return None
            self.used = sorted({f.id for member in members for f in read.order(*member)})
        return found

    def title(self, unit):
        return "Titled" + "".join(c if c.isalnum() else "X" for c in unit)

    def fits(self, kind):
        other = self.pick([k for k in KINDS if k != kind])
        found = {other: self.patterns(self.names[other])} if self.chance(0.6) else {}
        if not found or self.chance(0.4):
            found["where"] = self.condition(len([k for k in self.keys if k.fact]), True, where=True)
        return found

    def script(self):
        def text():
            keys = [k for k in self.keys if not k.several and k.type not in ("text", "mm^2") and not k.may_be_unset]
            lines = []
            for _ in range(self.random.randint(1, 3)):
                key = self.pick(keys)
                found = ["G28", f"; {self.pick(WORDS)}", "; @{layer.number}", f"G1 F${{{key.name}}}"]
                if key.type in UNITS:
                    other = self.pick(UNITS[key.type][0])
                    found += [f"M104 S${{{key.name} in {other}}}", f"; ${{max({key.name}, {self.constant(key.type)}) in {other}}}"]
                lines.append(self.pick(found))
            return "\n".join(lines) + "\n"
        return self.pick([text, text, lambda: {"before": text()}, lambda: {"after": text()}, lambda: "none",
                          lambda: {"before": text(), "after": text()}])()

    # The edits

    def steps(self, first, count, is_sound):
        """`count` steps, one after the other, that leave the tree sound; and the tree after them."""
        self.first, found, now = first, [], first
        self.focus = {k.name for k in self.some([k for k in self.keys if not k.several], 1, 3)} if self.chance(0.6) else set()
        edits = [(PairMaker.edit_layout, 1)] if self.chance(0.05) else EDITS
        for _ in range(40 * count):
            if len(found) == count:
                break
            edit = self.random.choices(*zip(*edits))[0]
            self.now, self.units = now, now.units()
            step = edit(self)
            if step is None or any(step.clashes(other) for other in found):
                continue
            after = now.after([step])
            if (after.meaning() == now.meaning()) != step.layout:
                continue
            if is_sound(after):
                found, now = [*found, step], after
        return found, now

    def a_unit(self):
        """A unit of both the first tree and this one; mostly one that profiles are made of."""
        known = self.first.units()
        used = [unit for unit in self.used if unit in self.units]
        return self.pick(used if used and self.chance(0.85) else [u for u in self.units if u in known])

    def piece(self, unit, block, part, key, value):
        """The step that writes one piece of a unit, or of its `when` block number `block`."""
        def apply(sources):
            data = sources.unit(unit)
            put(data if block is None else data["when"][block], part, key, value)
        where = "" if block is None else f" of block {block}"
        places = [place(unit, part, key) if block is None else place(unit, "when")]
        return Step(f"{unit} {part} {key}{where}: {'removed' if value is GONE else value}", apply, places,
                    [Mark(unit, part, key, block is not None)])

    def write(self, part, unit=None):
        unit = unit or self.a_unit()
        kind, blocks = unit.partition("/")[0], self.units[unit].get("when", [])
        block = self.random.randrange(len(blocks)) if blocks and self.chance(0.4) else None
        have = items(self.units[unit] if block is None else blocks[block], part)
        if have and self.chance(0.25):
            return self.piece(unit, block, part, self.pick(have), GONE)
        new = self.near({"settings": lambda: self.values(kind, have, block is None), "adjust": lambda: self.adjust(kind),
                         "limits": lambda: self.limits(block is None), "scripts": lambda: {self.pick(SLOTS): self.script()}}[part])
        if not new:
            return None
        key = self.pick([k for k in new if k in have] or new)
        return self.piece(unit, block, part, key, new[key])

    def near(self, make):
        """Pieces, where it can be of the few settings that this pair's edits are about, so that edits meet."""
        found = [make() for _ in range(12 if self.focus else 1)]
        return next(({k: v for k, v in new.items() if k in self.focus} for new in found if self.focus & set(new)), found[0])

    def values(self, kind, have, facts):
        found = [(i, k) for i, k in self.writable(kind) if facts or not k.fact]
        known = [(i, k) for i, k in found if k.name in have]
        if not found:
            return {}
        number, key = self.pick(known if known and self.chance(0.6) else found)
        return {key.name: self.value(number, key)}

    def rewritten(self, text):
        """The literal in another unit, or None."""
        try:
            number, unit = parse_literal(text)
        except Problem:
            return None
        others = {other: factor for each, _ in UNITS.values() if unit in each for other, factor in each.items() if other != unit}
        if not others or unit in ("degC", "degF"):
            return None
        other = self.pick(others)
        new = f"{quantity(number, unit).number / quantity(1, other).number:.12g}"
        if "e" in new or not math.isclose(quantity(float(new), other).number, quantity(number, unit).number, rel_tol=1e-14):
            return None
        return f"{new} {other}"

    def rewrite(self):
        unit = self.a_unit()
        found = [(key, new) for key, value in items(self.units[unit], "settings").items()
                 if isinstance(value, str) and (new := self.rewritten(value))]
        return self.piece(unit, None, "settings", *self.pick(found)) if found else None

    def edit_when(self):
        unit = self.a_unit()
        kind, blocks = unit.partition("/")[0], self.units[unit].get("when", [])
        at = self.random.randrange(len(blocks)) if blocks and self.chance(0.7) else None
        condition = self.when(kind, self.names)["if"]
        block = self.when(kind, self.names) if at is None else None
        if block and len(block) < 2:
            return None
        how = "add" if block else self.pick(["remove", "change", "change"])

        def apply(sources):
            found = sources.unit(unit).setdefault("when", [])
            if how == "add":
                found.insert(0, copy.deepcopy(block))
            elif how == "remove":
                del found[at]
            else:
                found[at]["if"] = copy.deepcopy(condition)
        return Step(f"{unit} when: {how} {at} {block or condition}", apply, [place(unit, "when")], [Mark(unit, in_block=True)])

    def header(self, unit, word, value, part=None):
        def apply(sources):
            data = sources.unit(unit)
            data.pop(word, None)
            if value is not GONE:
                data[word] = copy.deepcopy(value)
        return Step(f"{unit} {word}: {'removed' if value is GONE else value}", apply, [place(unit, word)], [Mark(unit, part or word)])

    def edit_header(self):
        unit = self.a_unit()
        data, kind = self.units[unit], unit.partition("/")[0]
        word = self.pick(["tier", "tier", "status", "status", "fits", "fits", "abstract", "locked", "title", "about"])
        if word == "title" or (word == "abstract" and "fittings" in data) or (word == "locked" and word not in data):
            return self.header(unit, "about", f"Of a {self.pick(WORDS)} {self.random.randint(1, 99)}", "words")
        statuses = ["draft", "beta", "stable", "stable", "retired"]
        new = {"tier": lambda: self.pick(["free", "supporter"]), "status": lambda: self.pick(statuses),
               "fits": lambda: self.fits(kind), "abstract": lambda: not data.get("abstract"), "locked": lambda: GONE,
               "about": lambda: "Another matter"}[word]()
        return self.header(unit, word, GONE if word in data and self.chance(0.3) else new, "words" if word == "about" else None)

    def edit_extends(self):
        unit = self.a_unit()
        kind, name = unit.split("/")
        parents = as_list(self.units[unit].get("extends"))
        how = self.pick(["add", "remove", "swap"])
        if how == "add":
            others = [n for n in self.names[kind] if n.partition("+")[0] != name.partition("+")[0] and n not in parents]
            if not others:
                return None
            new = [*parents]
            new.insert(self.random.randint(0, len(parents)), self.pick(others))
        elif how == "remove":
            new = [p for p in parents if p != self.pick(parents)] if len(parents) > 1 else []
        else:
            new = [*parents[1:], *parents[:1]]
        return self.header(unit, "extends", new or GONE)

    def twin(self):
        """Another parent that says the same."""
        unit = self.a_unit()
        kind, parents = unit.partition("/")[0], as_list(self.units[unit].get("extends"))
        if not parents:
            return None
        at = self.random.randrange(len(parents))
        parent, new = parents[at], f"twin-{self.random.randint(1, 999)}"
        known = self.first.units().get(f"{kind}/{parent}")
        if "+" in parent or known is None or known != self.units.get(f"{kind}/{parent}"):
            return None
        data = {**known, "abstract": True, "title": self.title(f"{kind}/{new}")}
        data.pop("fittings", None)

        def apply(sources):
            sources.fragments[f"{kind}/{new}"] = copy.deepcopy(data)
            sources.unit(unit)["extends"] = [*parents[:at], new, *parents[at + 1:]]
        return Step(f"{unit} extends {new}, the twin of {parent}", apply, [place(unit, "extends"), (f"{kind}/{new}",)],
                    [Mark(unit, "extends"), Mark(f"{kind}/{new}", "fragment")])

    def rename(self):
        unit = self.a_unit().partition("+")[0]
        kind, old = unit.split("/")
        new, known = f"{old}-new", self.pick([True, True, False])

        def name(text):
            bare = text.removeprefix("!")
            return text.replace(old, new, 1) if bare == old or bare.startswith(f"{old}+") else text

        def names(value):
            return name(value) if isinstance(value, str) else [name(each) for each in value]

        def apply(sources):
            path = sources.path(unit)
            sources.fragments = {p[:-len(old)] + new if p == path else p: data for p, data in sources.fragments.items()}
            if unit in sources.layout:
                sources.layout[f"{kind}/{new}"] = sources.layout.pop(unit)
            for each, data in sources.units().items():
                if each.startswith(f"{kind}/") and "extends" in data:
                    data["extends"] = names(data["extends"])
                for condition in [data.get("fits", {}), *(block["if"] for block in data.get("when", []))]:
                    condition.update({k: names(v) for k, v in condition.items() if k == kind})
            for entry in sources.plan["sets"].values():
                for condition in [*entry["take"], *entry.get("leave", [])]:
                    condition.update({k: names(v) for k, v in condition.items() if k == kind})
            if known:
                sources.unit(f"{kind}/{new}")["replaces"] = [old]

        after = self.now.after([Step("", apply, [])])
        changed = [u for u, data in {**self.units, **after.units()}.items() if self.units.get(u) != after.units().get(u)]
        stems = {u.partition("+")[0] for u in changed} | {unit}
        plan = [("plan",)] if after.plan != self.now.plan else []
        own = [u for u in self.units if u == unit or u.startswith(f"{unit}+")]
        return Step(f"{unit} renamed to {new} {'with' if known else 'without'} replaces", apply, [(s,) for s in sorted(stems)] + plan,
                    [Mark(s) for s in sorted(stems)] + [Mark("plan", "set")] * bool(plan), renamed=True,
                    renames={u: u.replace(old, new, 1) for u in own} if known else {})

    def add_fragment(self):
        kind = self.pick(KINDS)
        base = self.pick([u for u in self.units if u.startswith(kind) and "+" not in u])
        fitting = "fittings" in self.units[base] and self.chance(0.5)
        unit = f"{base}+{self.pick(['0.8', 'slim'])}" if fitting else f"{kind}/{self.pick(WORDS)}-{self.random.randint(100, 199)}"
        parents = [] if fitting else self.some(self.names[kind], 0, 2)
        data = {**self.fragment(kind, self.names, parents, True), "title": self.title(unit)}
        if fitting:
            data.pop("abstract", None)
        if self.chance(0.4):
            data["scripts"] = {self.pick(SLOTS): self.script()}

        def apply(sources):
            if fitting:
                sources.unit(base)["fittings"][unit.partition("+")[2]] = copy.deepcopy(data)
            else:
                sources.fragments[unit] = copy.deepcopy(data)
        return Step(f"{unit} added", apply, [place(unit)], [Mark(unit, "fragment")]) if unit not in self.units else None

    def remove_fragment(self):
        unit = self.a_unit()
        if "+" not in unit or len(self.units[unit.partition("+")[0]]["fittings"]) < 2:
            unit = unit.partition("+")[0]
        own = {u.partition("/")[2] for u in self.units if u == unit or u.startswith(f"{unit}+")}
        if any(own & set(as_list(data.get("extends"))) for u, data in self.units.items() if u.partition("/")[2] not in own):
            return None

        def apply(sources):
            if "+" in unit:
                del sources.unit(unit.partition("+")[0])["fittings"][unit.partition("+")[2]]
            else:
                del sources.fragments[sources.path(unit)]
                sources.layout.pop(unit, None)
        return Step(f"{unit} removed", apply, [place(unit) if "+" in unit else (unit,)], [Mark(unit, "fragment")])

    # The dictionary, the plan, words and layout

    def entry(self, key, word, value, part=None):
        def apply(sources):
            sources.dictionary["settings"][key][word] = copy.deepcopy(value)
        return Step(f"schema {key} {word}: {value}", apply, [("schema", key, word)], [Mark("schema", part or word, key)])

    def edit_dictionary(self):
        settings = self.now.dictionary["settings"]
        near = [(i, k) for i, k in enumerate(self.keys) if k.name in self.focus]
        number, key = self.pick(near if near and self.chance(0.6) else list(enumerate(self.keys)))
        if key.name not in settings or key.type == "mm^2":
            return None
        entry, name = settings[key.name], key.name
        how = self.pick(["default", "default", "default", "unit", "range", "words", "over_limit", "kinds", "choices", "add", "remove"])
        if how == "default":
            same = self.rewritten(entry["default"]) if isinstance(entry["default"], str) and self.chance(0.3) else None
            formula = not key.several and key.type not in ("text", "choice") and not name.startswith("bead.") and self.chance(0.4)
            return self.entry(name, how, same or ({"calc": self.formula(key.type, number, key.fact)} if formula else self.literal(key)))
        if how == "unit" and len(UNITS.get(key.type, [[]])[0]) > 1:
            step = self.entry(name, how, self.pick([u for u in UNITS[key.type][0] if u != entry["unit"]]))
            step.places, step.marks = [("schema", name)], [*step.marks, Mark("schema", "range", name)]      # it is in that unit
            return step
        if how == "range" and "range" in entry:
            return self.entry(name, how, [entry["range"][0], entry["range"][1] / 2])
        if how == "over_limit" and how in entry:
            return self.entry(name, how, {"cap": "refuse", "refuse": "cap"}[entry[how]])
        if how == "kinds":
            return self.entry(name, how, [k for k in KINDS if k in entry["kinds"]] + [k for k in KINDS if k not in entry["kinds"]][:1])
        if how == "choices" and how in entry:
            return self.entry(name, how, [*entry[how], "another"])
        if how == "remove":
            used = str([self.now.fragments, {k: v for k, v in settings.items() if k != name}, self.now.dictionary["roles"]])
            if name.rpartition(".")[2] in used:
                return None

            def remove(sources):
                del sources.dictionary["settings"][name]
            return Step(f"schema {name} removed", remove, [("schema", name)], [Mark("schema", "setting", name)])
        if how == "add":
            new = f"{self.pick(WORDS[:4])}.w{self.random.randint(1, 999)}"
            made = {**entry, "title": "New"}
            made.pop("extrudes", None)

            def add(sources):
                sources.dictionary["settings"][new] = copy.deepcopy(made)
            return Step(f"schema {new} added", add, [("schema", new)], [Mark("schema", "setting", new)])
        return self.entry(name, "about", f"Made up of {self.pick(WORDS)}.", "words")

    def edit_plan(self):
        name = self.pick(self.now.plan["sets"])
        if self.chance(0.15):
            tier = {"free": "supporter", "supporter": "free"}[self.now.about["default_tier"]]
            return Step(f"default tier {tier}", lambda sources: sources.about.update(default_tier=tier), [("default_tier",)],
                        [Mark("plan", "default_tier")])
        how, take = self.pick(["tier", "take", "leave"]), self.globs()
        leave = {k: self.patterns(self.names[k]) for k in self.some(KINDS, 1, 3)}

        def apply(sources):
            entry = sources.plan["sets"][name]
            if how == "tier":
                entry["tier"] = {"free": "supporter", "supporter": "free"}[entry["tier"]]
            else:
                entry[how] = [*entry.get(how, []), copy.deepcopy(take if how == "take" else leave)]
        return Step(f"set {name}: {how}", apply, [("plan", name)], [Mark("plan", "set", name)])

    def edit_layout(self):
        what = self.pick([u for u in self.units if "+" not in u] + ["schema", "plan", "bindery"])
        how = self.pick(["comment", "crlf", "mode"] + ["move", "order"] * ("/" in what))

        def apply(sources):
            if how == "move":
                path = sources.path(what)
                sources.fragments[f"{what.replace('/', '/moved/')}"] = sources.fragments.pop(path)
            elif how == "order":
                path = sources.path(what)
                data = {k: v for k, v in reversed(sources.fragments[path].items())}
                sources.fragments[path] = data | {"settings": dict(reversed(items(data, "settings").items()))}
            else:
                sources.layout[what] = how
        return Step(f"{what}: {how}", apply, [("layout", what)], layout=True)

    def edit_notes(self):
        name, tier = f"note-{self.random.randint(1, 999)}", self.pick(["free", "supporter"])
        note = {"section": self.pick(["Added", "Changed", "Fixed", "Removed", "Safety"]), "text": f"Word of {tier} {name}."}
        if tier == "free" or self.chance(0.5):
            note["tier"] = tier

        def apply(sources):
            sources.notes[name] = dict(note)
        return Step(f"{tier} note {name}", apply, [("notes", name)], words=True)


EDITS = [(lambda m: m.write("settings"), 9), (lambda m: m.write("adjust"), 2), (lambda m: m.write("limits"), 2.5),
         (lambda m: m.write("scripts"), 2), (PairMaker.edit_when, 2.5), (PairMaker.rewrite, 1), (PairMaker.edit_header, 4),
         (PairMaker.edit_extends, 2), (PairMaker.twin, 1.5), (PairMaker.rename, 1.3), (PairMaker.add_fragment, 1.2),
         (PairMaker.remove_fragment, 1.2), (PairMaker.edit_dictionary, 3), (PairMaker.edit_plan, 1), (PairMaker.edit_layout, 2),
         (PairMaker.edit_notes, 1)]
