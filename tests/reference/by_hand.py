#!/usr/bin/env python3
"""Small trees whose answers are worked out by hand from the definition of the language: scripts, rules, sets, statuses,
tiers, and numbers that cannot be computed. They stand beside the random trees, which leave these out."""
from checks import Checks, Program, arguments, document, scratch, write_tree


def setting(unit, default, kinds=("machine", "material", "process"), **more):
    kind = {"type": unit} if unit in ("count", "flag", "text", "choice") else {"unit": unit}
    found = {"title": "Made up", "about": "Of this test alone.", "kinds": list(kinds), **kind, "default": default, "source": "invented"}
    return {**found, **({"range": [-1000000, 1000000]} if unit not in ("flag", "text", "choice") else {}), **more}


PLAIN = {"machine/m": {"title": "m"}, "material/m": {"title": "m"}, "process/p": {"title": "p"}}
SETTINGS = {"heat.first": setting("degC", "215 degC"), "move.fast": setting("mm/s", "150 mm/s"), "wall.count": setting("count", 3),
            "fan.share": setting("%", "35 %"), "lid.open": setting("flag", True), "note.word": setting("text", "plain"),
            "rest.empty": setting("mm", "none"), "size.bore": setting("mm", "0.4 mm", ["machine"], fact=True)}


def lines(text):
    return (text or "").rstrip("\n").split("\n")


def scripts(checks, binary):
    fragments = {
        "machine/base": {"title": "b", "abstract": True, "scripts": {
            "start": "G28\nM104 S${heat.first}\n", "end": "M104 S0\nM84\n", "layer": "; layer @{layer.number}\n", "pause": "M0\n"}},
        "machine/m": {"title": "m", "extends": "base", "scripts": {"start": {"after": "G1 F${move.fast in mm/min}"}, "end": {"before": "G91"}}},
        "material/m": {"title": "m", "scripts": {"start": {"before": "; ${fan.share} ${wall.count} ${lid.open} ${note.word}"}, "pause": "none"}},
        "process/p": {"title": "p", "settings": {"heat.first": {"add": "5.5 K"}}, "when": [
            {"if": {"material": ["m"]}, "scripts": {"end": {"after": "; ${round(heat.first, 5 K) in degC} ${size.bore}"}}},
            {"if": {"material": ["x"]}, "scripts": {"end": "nothing"}}]},
        "process/bare": {"title": "bare", "scripts": {"start": "G90\n", "layer": "none", "end": {"before": "M107", "after": "M117"}}},
    }
    expected = {
        "p": {"start": ["; 35 3 true plain", "G28", "M104 S220.5", "G1 F9000"], "end": ["G91", "M104 S0", "M84", "; 220 0.4"],
              "layer": ["; layer @{layer.number}"]},
        "bare": {"start": ["G90"], "end": ["M107", "G91", "M104 S0", "M84", "M117"]},
    }
    with scratch() as folder:
        write_tree(folder, {"settings": SETTINGS, "job": ["layer.number", "layer.z"]}, fragments)
        program = Program(binary, folder)
        for process, wanted in expected.items():
            code, shown = program.show(f"m/m/{process}")
            found = {name: lines(text) for name, text in (shown or {}).get("scripts", {}).items() if text}
            checks.same(f"scripts of {process}", (code, found), (0, wanted))
    for name, script in (("an unknown key", "G1 F${move.fats}"), ("a value with a unit", "G1 F${move.fast * 2}"), ("an unset key", "G1 X${rest.empty}"),
                         ("an unknown name of the job", "; @{layer.nought}"), ("an open placeholder", "G1 F${move.fast")):
        with scratch() as folder:
            write_tree(folder, {"settings": SETTINGS, "job": ["layer.number"]}, {**PLAIN, "machine/m": {"title": "m", "scripts": {"start": script}}})
            checks.same(f"a script with {name} is an error", Program(binary, folder).diagnostics()[0], 1)


def rules(checks, binary):
    cases = [           # assert, severity, exit codes of validate and of validate --strict
        ("move.fast <= 150 mm/s", "error", 0, 0), ("move.fast < 150 mm/s", "error", 1, 1), ("move.fast < 150 mm/s", "warning", 0, 1),
        ("move.fast < 150 mm/s", "note", 0, 0), ("rest.empty > 5 mm", "error", 0, 0), ("set(rest.empty)", "error", 1, 1),
        ("not set(rest.empty) or rest.empty > 5 mm", "error", 0, 0), ("lid.open and note.word == 'plain'", "error", 0, 0),
    ]
    for text, severity, plain, strict in cases:
        rule = {"assert": text, "severity": severity, "say": "it is ${move.fast}", "source": "invented"}
        with scratch() as folder:
            write_tree(folder, {"settings": SETTINGS, "rules": {"a-rule": rule}}, PLAIN)
            program = Program(binary, folder)
            found = program.diagnostics()
            codes = found[0], program.run("validate", "--strict").returncode
            checks.same(f"rule {text} ({severity}): exit codes", codes, (plain, strict))
            broken = text in ("move.fast < 150 mm/s", "set(rest.empty)")
            said = [(d["severity"], "150 mm/s" in d["message"]) for d in found[1]]
            checks.same(f"rule {text} ({severity}): what is said", said, [(severity, True)] if broken else [])
            checks.same(f"rule {text} ({severity}): a build", program.build(folder / "out").returncode, plain)


def named(**headers):
    return {"title": "x", **headers}


def sets(checks, binary):
    fragments = {
        "machine/a": named(), "machine/b": named(status="draft"), "machine/c": named(status="retired"), "machine/d": named(tier="supporter", status="stable"),
        "machine/e": named(abstract=True), "machine/f": named(extends="d", fits={"material": ["soft"]}),
        "machine/g": named(fittings={"0.4": {}, "0.6": {"tier": "supporter"}}, status="stable"),
        "material/hard": named(status="stable"), "material/soft": named(), "process/p": named(status="stable"),
    }

    def tree(take, **more):
        return {"name": "hand", "sets": {"one": {"title": "One", "tier": "free", "take": take, **more},
                                         "two": {"title": "Two", "tier": "supporter", "take": [{"machine": ["d", "f", "a"], "material": ["*"], "process": ["p"]}]}}}

    def entry(machine, material="*"):
        return {"machine": machine, "material": material, "process": "p"}

    two = {"a/hard/p", "a/soft/p", "d/hard/p", "d/soft/p", "f/soft/p"}
    good = [        # what the free set takes, and the profiles that it adds to those of the other set
        ("a glob", tree([entry("*")]), {"g+0.4/hard/p", "g+0.4/soft/p"}),
        ("a draft's name", tree([entry("b", "hard"), entry(["b", "a"], "soft")]), {"b/hard/p", "b/soft/p"}),
        ("a glob that a draft matches", tree([entry(["b*", "a*"])]), set()),
        ("leave", tree([entry("*")], leave=[{"material": "soft"}]), {"g+0.4/hard/p"}),
        ("leave of two keys", tree([entry("*")], leave=[{"material": "soft", "machine": "a"}]), {"g+0.4/hard/p", "g+0.4/soft/p"}),
        ("an exclusion", tree([entry(["*", "!g+*"])]), set()),
        ("a glob over a supporter fitting", tree([entry("g+0.*", "hard")]), {"g+0.4/hard/p"}),
        ("a name in leave that matches nothing", tree([entry("a")], leave=[{"material": "nought"}]), set()),
    ]
    for name, plan, added in good:
        with scratch() as folder:
            write_tree(folder, {"settings": SETTINGS}, fragments, plan)
            program = Program(binary, folder)
            listed = document(program.run("list", "profiles", "--format", "json").stdout) or []
            checks.same(f"a set with {name}: validate", program.diagnostics()[0], 0)
            checks.same(f"a set with {name}: profiles", {each["id"] for each in listed}, two | added)
            if name == "a glob":
                tiers = {each: (program.show(each)[1] or {}) for each in ("a/hard/p", "d/hard/p", "g+0.4/soft/p", "f/soft/p")}
                checks.same("tiers and statuses", {k: (v.get("tier"), v.get("status")) for k, v in tiers.items()}, {
                    "a/hard/p": ("free", "beta"), "d/hard/p": ("supporter", "stable"), "g+0.4/soft/p": ("free", "beta"), "f/soft/p": ("supporter", "beta")})
    bad = [
        ("a supporter triple spelled out in a free set", tree([entry("d", "hard")]), "d"), ("a name that no fragment has", tree([entry("nought")]), "nought"),
        ("a glob that matches nothing", tree([entry("z*")]), "z*"), ("a triple spelled out that does not fit", {"name": "x", "sets": {
            "two": {"title": "Two", "tier": "supporter", "take": [entry("f", "hard")]}}}, "f"),
        ("a supporter fitting spelled out in a free set", tree([entry("g+0.6", "hard")]), "g+0.6"), ("an unknown tier", tree([entry("a")], tier="gold"), "gold"),
        ("an unknown key", tree([entry("a")], taking=[]), "taking"),
    ]
    for name, plan, word in bad:
        with scratch() as folder:
            write_tree(folder, {"settings": SETTINGS}, fragments, plan)
            code, found = Program(binary, folder).diagnostics()
            errors = [d["message"] for d in found if d["severity"] == "error"]
            checks.that(f"{name} is one error that names it", code == 1 and len(errors) == 1 and word in errors[0], f"exit code {code}, {errors}")
    with scratch() as folder:
        write_tree(folder, {"settings": SETTINGS}, {**PLAIN, "machine/s": named(tier="supporter"), "machine/m": named(tier="free", extends="s")})
        code, found = Program(binary, folder).diagnostics()
        errors = [d for d in found if d["severity"] == "error"]
        checks.that("a fragment that says free and extends a supporter one is an error in its file", code == 1 and len(errors) == 1
                    and errors[0]["file"].endswith("machine/m.yaml") and "s" in errors[0]["message"], str(errors))


def no_number(checks, binary):
    """Formulas that are sound in form but have no value: an error of the profile, never an infinity."""
    for text in ("1 mm / 0", "1 mm / (wall.count - 3)", "1 mm * sqrt(0 - 1)", "1 mm * 10 ^ 400", "1 mm * (0 - 1) ^ 0.5", "1 mm / 0 * 0",
                 "rest.empty + 1 mm", "if(move.fast > 1 mm/s, rest.empty, 1 mm)", "max(rest.empty, 1 mm)"):
        with scratch() as folder:
            write_tree(folder, {"settings": {**SETTINGS, "is.it": setting("mm", "1 mm")}},
                       {**PLAIN, "process/q": {"title": "q", "settings": {"is.it": {"calc": text}}}})
            program = Program(binary, folder)
            code, found = program.diagnostics()
            checks.same(f"{text} has no value: validate, and errors", (code, [d["severity"] for d in found]), (1, ["error"]))
            checks.same(f"{text} has no value: show of that profile and of another", (program.show("m/m/q")[0], program.show("m/m/p")[0]), (1, 0))


def bounds(checks, binary):
    """Crossing and refusing bounds."""
    cases = [           # limits of the machine, of the process; the expected speed of a 150 mm/s, or None for an error
        ({"at_most": "100 mm/s"}, {"at_least": "120 mm/s"}, None), ({"at_most": "100 mm/s"}, {"at_least": "100 mm/s"}, 100),
        ({"at_most": "100 mm/s"}, {"at_most": "none"}, 100), ({"at_most": "140 mm/s"}, {"at_most": "120 mm/s"}, 120),
        ({"at_most": "140 mm/s", "else": "refuse"}, {}, None), ({"at_most": "150 mm/s", "else": "refuse"}, {}, 150),
        ({"at_most": "150 mm/s", "else": "refuse"}, {"at_most": "120 mm/s"}, 120),
        ({"at_most": "140 mm/s", "else": "refuse"}, {"at_most": "120 mm/s"}, None),        # refusing bounds see the uncapped value
        ({"at_least": "200 mm/s"}, {}, 200), ({"at_most": {"calc": "size.bore * 300 / 1 s"}}, {}, 120), ("none", {"at_most": "9 cm/s"}, 90),
    ]
    for machine, process, speed in cases:
        with scratch() as folder:
            fragments = {**PLAIN, "machine/m": {"title": "m", "limits": {"move.fast": machine}}}
            if process:
                fragments["process/p"] = {"title": "p", "limits": {"move.*": process}}
            write_tree(folder, {"settings": {**SETTINGS, "move.fast": setting("mm/s", "150 mm/s", over_limit="cap")}}, fragments)
            code, shown = Program(binary, folder).show("m/m/p")
            got = shown["settings"].get("move.fast", {}).get("value") if shown and not code else None
            checks.same(f"150 mm/s under {machine} and {process}: exit code and value", (code, got), (0 if speed else 1, speed))


def locks(checks, binary):
    """What is locked is written, adjusted, limited and freed by nobody after; the sisters of who tries are untouched."""
    tries = {
        "a value": {"settings": {"move": {"fast": "9 mm/s"}}}, "unset": {"settings": {"move.fast": {"unset": True}}},
        "an adjustment": {"adjust": {"move.fast": {"scale": "90 %"}}}, "a limit": {"limits": {"move.fast": {"at_most": "50 mm/s"}}},
        "no limit": {"limits": {"move.fast": "none"}}, "no upper limit": {"limits": {"move.fast": {"at_most": "none"}}},
        "a condition": {"when": [{"if": {"material": ["m"]}, "settings": {"move.fast": "9 mm/s"}}]},
    }
    settings = {"settings": {**SETTINGS, "move.fast": setting("mm/s", "150 mm/s", over_limit="cap")}}
    locked = {"title": "Locked", "locked": ["move.fast"], "limits": {"move.fast": {"at_most": "90 mm/s"}}}
    for name, what in tries.items():
        for place, fragments in (
                ("a descendant", {"process/a": locked, "process/p": {"title": "p", "extends": "a", "fittings": {"x": what, "y": {}}}}),
                ("a later axis", {"machine/m": locked, "process/p": {"title": "p", "fittings": {"x": what, "y": {}}}})):
            with scratch() as folder:
                write_tree(folder, settings, {**PLAIN, **fragments})
                program = Program(binary, folder)
                code, found = program.diagnostics()
                # what frees a bound in a later axis frees nothing: each axis has its own bounds
                wrong = not (place == "a later axis" and name.startswith("no "))
                if wrong:
                    checks.same(f"{name} in {place} of a lock: validate, and errors",
                                (code, [d["code"] for d in found if d["severity"] == "error"]), (1, ["locked-write"]))
                    checks.same(f"{name} in {place} of a lock: show exits", program.show("m/m/p+x")[0], 1)
                code, shown = program.show("m/m/p+y")
                checks.same(f"{name} in {place} of a lock: its sister", (code, shown and shown["settings"]["move.fast"]["value"]), (0, 90))


def main():
    arg, checks = arguments(__doc__), Checks()
    for part in (scripts, rules, sets, no_number, bounds, locks):
        part(checks, arg.binary)
    checks.finish()


if __name__ == "__main__":
    main()
