#!/usr/bin/env python3
"""Checks the reference resolver itself against values worked out by hand from the definition of the language;
the program must show the same values for the same tree. So a slip that both would share cannot hide here."""
from checks import Checks, Program, arguments, scratch, write_tree
from formula import evaluate, parse
from quantities import Problem, Quantity, number_in, written_number
from resolver import Tree, merge, resolved

FORMULAS = [                                     # formula, unit of the answer, the answer by hand
    ("1 + 2 * 3", None, "7"), ("-2 ^ 2", None, "-4"), ("2 ^ 3 ^ 2", None, "512"), ("6 / 2 / 3", None, "1"),
    ("2.5 inch in mm * 2", None, "127"), ("1 inch + 4 mm", "mm", "29.4"), ("-3 cm in mm", None, "-30"),
    ("215 degC + 5 K", "degC", "220"), ("215 degC - 200 degC", "K", "15"), ("392 degF", "degC", "200"),
    ("15 % * 2", "%", "30"), ("15 % + 5 %", "%", "20"), ("round(12.5 mm, 5 mm)", "mm", "15"),
    ("round(-2.5, 1)", None, "-3"), ("round(213 degC, 5 K)", "degC", "215"), ("ceil(2.1) + floor(-2.1)", None, "0"),
    ("sqrt(2 mm * 8 mm)", "mm", "4"), ("clamp(12 s, 3 s, 10 s)", "s", "10"), ("min(3 mm, 1 cm, 2 mm)", "mm", "2"),
    ("if(not 1 < 2 or 3 > 2, 1 s, 1 / 0 * 1 s)", "s", "1"), ("abs(3 mm - 5 mm)", "mm", "2"),
    ("60 mm/s * 2 s", "mm", "120"), ("10 mm^3/s / (0.4 mm * 0.5 mm)", "mm/s", "50"), ("90 degree / 2", "degree", "45"),
    ("if('a' == 'a' and 'a' != 'b', 1, 0)", None, "1"), ("max(1 min, 50 s) in s", None, "60"),
]
WRONG = [                                        # formula, unit of the setting that it stands in; all else is in order
    ("1 mm + 1 s", "mm"), ("215 degC * 2", "degC"), ("215 degC + 5 degC", "degC"), ("1 K + 1 degree", "K"), ("5 degree + 5 %", "degree"),
    ("if(1 < 2 < 3, 1, 2)", None), ("(1", None), ("1)", None), ("round(1 mm)", "mm"), ("fog(1)", None), ("1 mm ^ 0.5", "mm"), ("2 ^ (1 mm)", None),
    ("if('a' < 'b', 1, 2)", None), ("if(1, 2, 3)", None), ("1 +", None), ("", None), ("1 2", None), ("not 1", None), ("5 mm in s", None),
    ("if(true and 1, 1, 2)", None), ("min()", None), ("clamp(1, 2)", None), ("'a", None), ("a b", None), ("1 mm == 1 s", None), ("pi(1)", None),
]
WRITTEN = [("0.1 + 0.2", "0.3"), ("0.0000001", "0"), ("-0.0000001", "0"), ("2.0000005", "2.000001"), ("-2.0000005", "-2.000001"),
           ("1200", "1200"), ("10 ^ 15", "1000000000000000"), ("0.0000015", "0.000002"), ("1 / 3", "0.333333"), ("0 * -1", "0")]

DICTIONARY = {"settings": {
    key: {"title": key, "about": "Of this test alone.", "source": "invented", **entry} for key, entry in {
        "bore.size": dict(kinds=["machine"], unit="mm", range=[0, 9], default="0.4 mm", fact=True),
        "bore.hard": dict(kinds=["machine"], type="flag", default=False, fact=True),
        "melt.limit": dict(kinds=["machine"], unit="mm^3/s", range=[0, 99], default="10 mm^3/s"),
        "layer.high": dict(kinds=["process"], unit="mm", range=[0, 9], default={"calc": "bore.size / 2"}),
        "line.wide": dict(kinds=["process"], unit="mm", range=[0, 9], default="0.45 mm"),
        "line.fast": dict(kinds=["process"], adjustable_by=["machine", "material"], unit="mm/s", range=[0, 999],
                          default="50 mm/s", over_limit="cap", extrudes=dict(width="line.wide", height="layer.high")),
        "line.slow": dict(kinds=["process"], adjustable_by=["machine"], unit="mm/s", range=[0, 999],
                          default={"calc": "line.fast / 2"}, over_limit="cap"),
        "heat.base": dict(kinds=["material"], adjustable_by=["machine", "process"], unit="degC", range=[0, 400],
                          default="none", over_limit="refuse"),
        "fan.share": dict(kinds=["material", "process"], unit="%", range=[0, 100], default="15 %"),
        "wall.count": dict(kinds=["process"], type="count", range=[0, 99], default=2),
        "wall.order": dict(kinds=["process"], type="choice", choices=["in", "out"], default="in"),
        "note.lines": dict(kinds=["process", "material"], type="text", list=True, default=["one"]),
    }.items()}, "roles": {"nozzle": "bore.size", "flow_limit": "melt.limit"}}

FRAGMENTS = {
    "machine/frame": {"abstract": True, "limits": {"line.*": {"at_most": "100 mm/s"}, "heat.base": {"at_most": "260 degC"}},
                      "adjust": {"heat.base": {"add": "9 K"}}},
    "machine/group/box": {
        "extends": "frame", "adjust": {"heat.base": {"add": "5 K"}}, "locked": ["bore.hard"],
        "when": [{"if": {"material": ["soft-*"], "where": "bore.size >= 0.6 mm"}, "adjust": {"line.fast": {"scale": "50 %"}}}],
        "fittings": {"0.4": {"status": "stable"}, "0.6": {"settings": {"bore": {"size": "0.6 mm"}, "melt.limit": "2 cm^3/min"}}}},
    "material/plain": {"status": "stable", "settings": {"heat.base": "410 degF", "note.lines": {"append": ["two"]}}},
    "material/soft-a": {"extends": ["plain"], "tier": "supporter", "settings": {"fan.share": {"add": "5 %"}}},
    "process/base": {"abstract": True, "settings": {"line.fast": "300 mm/s", "wall.count": {"add": 1}}},
    "process/left": {"abstract": True, "extends": "base", "settings": {"fan.share": {"scale": 2}, "line.fast": {"add": "-60 mm/s"}}},
    "process/right": {"abstract": True, "extends": "base", "settings": {"wall.count": {"calc": "inherited * 2"}, "wall.order": "out"}},
    "process/even": {"status": "stable", "extends": ["left", "right"],
                     "settings": {"wall.order": {"unset": True}, "note.lines": {"remove": ["one"]}}},
    "process/slow": {"extends": "base", "fits": {"machine": ["*+0.4"]}, "settings": {"line.fast": "40 mm/s"}},
}
PLAN = {"name": "hand", "sets": {
    "some": {"title": "Some", "tier": "free", "take": [{"machine": "*", "material": "*", "process": ["*", "!slow"]}]},
    "all": {"title": "All", "tier": "supporter", "take": [{"machine": ["*"]}], "leave": [{"machine": "box+0.4", "process": "slow", "material": "soft-a"}]}}}

# By hand. The bead of 0.45 x 0.2 mm has 0.25 * 0.2 + pi * 0.01 = 0.081416 mm2, so 10 mm3/s allow 122.826268 mm/s:
# the 100 mm/s of the limit are tighter. The bead of 0.45 x 0.3 mm has 0.045 + pi * 0.0225 = 0.115686 mm2, and
# 2 cm3/min are 33.333333 mm3/s, which allow 288.136...: the 240 mm/s, halved by the machine for a soft material,
# are 120 and capped to 100.
EXPECTED = {
    "box+0.4/plain/even": ("free", "stable", {
        "bore.size": "0.4 mm", "bore.hard": False, "melt.limit": "10 mm^3/s", "layer.high": "0.2 mm", "line.wide": "0.45 mm",
        "line.fast": "100 mm/s", "line.slow": "50 mm/s", "heat.base": "215 degC", "fan.share": "30 %", "wall.count": 6,
        "wall.order": "in", "note.lines": ["two"]}, ["line.fast"]),
    "box+0.6/soft-a/even": ("supporter", "beta", {
        "bore.size": "0.6 mm", "bore.hard": False, "melt.limit": "33.333333 mm^3/s", "layer.high": "0.3 mm",
        "line.wide": "0.45 mm", "line.fast": "100 mm/s", "line.slow": "50 mm/s", "heat.base": "215 degC",
        "fan.share": "40 %", "wall.count": 6, "wall.order": "in", "note.lines": ["two"]}, ["line.fast"]),
    "box+0.4/plain/slow": ("supporter", "beta", {
        "bore.size": "0.4 mm", "bore.hard": False, "melt.limit": "10 mm^3/s", "layer.high": "0.2 mm", "line.wide": "0.45 mm",
        "line.fast": "40 mm/s", "line.slow": "20 mm/s", "heat.base": "215 degC", "fan.share": "15 %", "wall.count": 3,
        "wall.order": "in", "note.lines": ["one", "two"]}, []),
}
TAKEN = {"box+0.4/plain/even": 0, "box+0.6/plain/even": 0, "box+0.4/soft-a/even": 1, "box+0.6/soft-a/even": 1,
         "box+0.4/plain/slow": 1}


def main():
    arg, checks = arguments(__doc__), Checks()
    for text, unit, answer in FORMULAS:
        checks.same(f"formula {text}", written_number(number_in(evaluate(parse(text), None, None), unit)), answer)
    for text, unit in WRONG:
        try:
            checks.that(f"formula {text} is refused", False, written_number(number_in(evaluate(parse(text), None, None), unit)))
        except Problem:
            checks.that(f"formula {text} is refused", True)
    formulas = FORMULAS + [(f"({text}) * 1 mm", "mm", number) for text, number in WRITTEN]
    for text, unit, answer in formulas[len(FORMULAS):]:
        checks.same(f"formula {text}", written_number(number_in(evaluate(parse(text), None, None), unit)), answer)
    by_program(checks, arg.binary, formulas)
    checks.same("C3 of a diamond", merge([["b", "a"], ["c", "a"], ["b", "c"]]), ["b", "c", "a"])
    checks.same("C3 refuses X(A, B), Y(B, A), Z(X, Y)",
                merge([["x", "a", "b"], ["y", "b", "a"], ["x", "y"]]), None)

    with scratch() as folder:
        write_tree(folder, DICTIONARY, FRAGMENTS, PLAN)
        tree, program = Tree(folder), Program(arg.binary, folder)
        taken = tree.selected()
        checks.same("the plan's profiles", {"/".join(k): v for k, v in taken.items()}, TAKEN)
        for name, (tier, status, settings, capped) in EXPECTED.items():
            found = resolved(tree, tuple(name.split("/")), taken)
            checks.same(f"{name}: values of the reference", found.get("settings", found), settings)
            checks.same(f"{name}: tier, status, caps of the reference",
                        (found.get("tier"), found.get("status"), found.get("capped")), (tier, status, capped))
            code, shown = program.show(name)
            shown = shown or {"settings": {}}
            got = {key: as_written(each["value"], each.get("unit")) for key, each in shown["settings"].items()}
            checks.same(f"{name}: values of the program", got, settings)
            checks.same(f"{name}: exit code, tier, status, caps of the program",
                        (code, shown.get("tier"), shown.get("status"),
                         sorted(k for k, v in shown["settings"].items() if v["capped_by"])), (0, tier, status, capped))
    checks.finish()


def by_program(checks, binary, formulas):
    """The same formulas as defaults of a dictionary, through the program; then each wrong one in a file of its own."""
    names = [f"n{number}" for number in range(len(formulas))]
    common = {"title": "Made up", "about": "Of this test alone.", "kinds": ["machine"], "source": "invented", "range": [-(10 ** 16), 10 ** 16]}
    settings = {f"is.{n}": {**common, **({"unit": unit} if unit else {"type": "count"}), "default": {"calc": text}}
                for n, (text, unit, _) in zip(names, formulas)}
    rest = {"material/m": {"title": "m"}, "process/p": {"title": "p"}}
    with scratch() as folder:
        write_tree(folder, {"settings": settings}, {"machine/m": {"title": "m"}, **rest})
        program = Program(binary, folder)
        code, shown = program.show("m/m/p")
        checks.that("the program resolves the formulas", code == 0, program.run("validate").stderr[:1500])
        for name, (text, unit, answer) in zip(names, formulas):
            got = shown["settings"].get(f"is.{name}", {}).get("value") if shown else None
            checks.same(f"the program: {text} is {answer} {unit or ''}", got if got is None else written_number(got), answer)
    with scratch() as folder:
        settings = {f"is.w{n}": {**common, **({"unit": unit} if unit else {"type": "count"}), "default": "none"} for n, (_, unit) in enumerate(WRONG)}
        machines = {f"machine/w{n}": {"title": "m", "settings": {f"is.w{n}": {"calc": text}}} for n, (text, _) in enumerate(WRONG)}
        write_tree(folder, {"settings": settings}, {**machines, **rest})
        _, diagnostics = Program(binary, folder).diagnostics()
        wrong = [d["file"].rpartition("/")[2] for d in diagnostics if d["severity"] == "error"]
        for number, (text, _) in enumerate(WRONG):
            checks.same(f"the program refuses {text}, once", wrong.count(f"w{number}.yaml"), 1)


def as_written(value, unit):
    """A value of `show` as a profile's file would hold it."""
    if isinstance(value, list):
        return [as_written(each, unit) for each in value]
    if unit and isinstance(value, (int, float)) and not isinstance(value, bool):
        return f"{written_number(value)} {unit}"
    return value


if __name__ == "__main__":
    main()
