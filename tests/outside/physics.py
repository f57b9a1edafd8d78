#!/usr/bin/env python3
"""The worked examples of bead area, flow, feed and mass, as formulas of a small tree; and the highest speed that a flow
limit allows, as the program's own cap. Each expected number is computed by hand from the formula named beside it."""
import sys
from math import pi
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "reference"))
from checks import Checks, Program, arguments, scratch, write_tree  # noqa: E402

BEADS = [               # width mm, height mm, speed mm/s: the three worked examples
    (0.4, 0.2, 50), (0.45, 0.2, 60), (0.6, 0.3, 80)]
EXAMPLES = {            # name: unit, formula, the three results as printed in the worked examples
    "rectangle w h": ("mm^2", "size.width * size.height", ["0.08", "0.09", "0.18"]),
    "bead with round ends (w - h) h + pi h^2 / 4": (
        "mm^2", "(size.width - size.height) * size.height + pi * size.height ^ 2 / 4", ["0.071416", "0.081416", "0.160686"]),
    "flow of the rectangle A v": ("mm^3/s", "size.width * size.height * size.speed", ["4.0", "5.4", "14.4"]),
    "flow of the bead A v": ("mm^3/s", "area.bead * size.speed", ["3.5708", "4.8850", "12.8549"]),
    "feed of 1.75 mm filament 4 Q / (pi d^2)": ("mm/s", "4 * area.bead * size.speed / (pi * (1.75 mm) ^ 2)", ["1.4846", "2.0309", "5.3444"]),
    "feed of 2.85 mm filament 4 Q / (pi d^2)": ("mm/s", "4 * area.bead * size.speed / (pi * (2.85 mm) ^ 2)", ["0.5597", "0.7657", "2.0151"]),
}
MASSES = [              # diameter, length, density, grams: rho L pi d^2 / 4
    ("1.75 mm", "1 m", "1.24 g/cm^3", "2.9825"), ("1.75 mm", "10 m", "1.27 g/cm^3", "30.547"), ("2.85 mm", "1 m", "1.04 g/cm^3", "6.6346")]
CAPS = [                # flow limit, width, height (mm), flow ratio %, highest speed Qmax / A, computed with the formula above
    (10, 0.45, 0.2, 100, "122.83"), (24, 0.45, 0.2, 100, "294.78"), (10, 0.6, 0.3, 100, "62.23"),
    (10, 0.2, 0.45, 100, "122.83"),                                  # width and height exchanged: the same bead
    (10, 0.4, 0.4, 100, f"{10 / (pi * 0.16 / 4):.2f}"),              # w = h: a round thread, 0.12566 mm2
    (10, 0.45, 0.2, 95, f"{10 / 0.95 / (0.05 + pi * 0.01):.2f}"),    # the flow ratio counts
]


def near(got, printed):
    """Whether `got`, rounded to as many decimals as `printed`, is what is printed there."""
    return got is not None and abs(got - float(printed)) <= 0.5001 * 10 ** -len(printed.partition(".")[2])


def setting(unit, default="none", **more):
    return {"title": "Made up", "about": "Of this test alone.", "kinds": ["machine", "process"], "unit": unit,
            "range": [0, 1000000], "default": default, "source": "invented", **more}


def dictionary():
    settings = {"size.width": setting("mm"), "size.height": setting("mm"), "size.speed": setting("mm/s"),
                "area.bead": setting("mm^2", {"calc": EXAMPLES["bead with round ends (w - h) h + pi h^2 / 4"][1]}),
                "area.thread": setting("mm^2", {"calc": "pi * size.width ^ 2 / 4"}),
                "most.flow": setting("mm^3/s", "100 mm^3/s"), "most.share": setting("%", "100 %"),
                "fast.line": setting("mm/s", "900 mm/s", over_limit="cap", extrudes={"width": "size.width", "height": "size.height"}),
                "fast.thread": setting("mm/s", "900 mm/s", over_limit="cap", extrudes={"area": "area.thread"}),
                "fast.free": setting("mm/s", "900 mm/s", over_limit="cap")}
    for number, (unit, formula, _) in enumerate(EXAMPLES.values()):
        settings[f"example.n{number}"] = setting(unit, {"calc": formula})
    for number, (diameter, length, density, _) in enumerate(MASSES):
        settings[f"mass.n{number}"] = setting("g", {"calc": f"{density} * {length} * pi * ({diameter}) ^ 2 / 4"})
    return {"settings": settings, "roles": {"flow_limit": "most.flow", "flow_ratio": "most.share"}}


def main():
    arg, checks = arguments(__doc__), Checks()
    processes = {f"process/bead-{n}": {"title": "Bead", "settings": {"size": {
        "width": f"{w} mm", "height": f"{h} mm", "speed": f"{v} mm/s"}}} for n, (w, h, v) in enumerate(BEADS)}
    processes |= {f"process/cap-{n}": {"title": "Cap", "settings": {
        "size.width": f"{w} mm", "size.height": f"{h} mm", "size.speed": "50 mm/s", "most.flow": f"{flow} mm^3/s",
        "most.share": f"{share} %"}} for n, (flow, w, h, share, _) in enumerate(CAPS)}
    processes["process/crossed"] = {"title": "Crossed", "limits": {"fast.line": {"at_least": "123 mm/s"}}, "settings": {
        "size.width": "0.45 mm", "size.height": "0.2 mm", "most.flow": "10 mm^3/s"}}
    with scratch() as folder:
        write_tree(folder, dictionary(), {"machine/m": {"title": "m"}, "material/m": {"title": "m"}, **processes})
        program = Program(arg.binary, folder)

        def shown(process):
            code, found = program.show(f"m/m/{process}")
            checks.that(f"{process} resolves", code == 0, program.run("show", f"m/m/{process}").stderr[:1000])
            return found["settings"] if found else {}

        for number, (w, h, v) in enumerate(BEADS):
            values = shown(f"bead-{number}")
            for place, (name, (unit, _, printed)) in enumerate(EXAMPLES.items()):
                got = values.get(f"example.n{place}", {}).get("value")
                checks.that(f"{w} x {h} mm at {v} mm/s: {name} is {printed[number]} {unit}", near(got, printed[number]), f"got {got}")
        for number, (diameter, length, density, grams) in enumerate(MASSES):
            got = values.get(f"mass.n{number}", {}).get("value")
            checks.that(f"{length} of {diameter} filament at {density} weighs {grams} g", near(got, grams), f"got {got}")
        for number, (flow, w, h, share, printed) in enumerate(CAPS):
            values = shown(f"cap-{number}")
            line, thread, free = (values.get(f"fast.{name}", {}) for name in ("line", "thread", "free"))
            checks.that(f"{flow} mm3/s through {w} x {h} mm at {share} %: {printed} mm/s at most",
                        near(line.get("value"), printed) and line.get("capped_by"), f"got {line}")
            most = f"{flow / (share / 100) / (pi * w * w / 4):.2f}"
            expected = most if float(most) < 900 else "900"
            checks.that(f"{flow} mm3/s through a thread of {w} mm at {share} %: {expected} mm/s at most",
                        near(thread.get("value"), expected) and bool(thread.get("capped_by")) == (float(most) < 900), f"got {thread}")
            checks.that("a speed that extrudes nothing is not capped", free.get("value") == 900 and not free.get("capped_by", True), f"got {free}")
        checks.same("a lower bound above what the flow limit allows (122.83 mm/s) is an error", program.show("m/m/crossed")[0], 1)
    checks.finish()


if __name__ == "__main__":
    main()
