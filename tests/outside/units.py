#!/usr/bin/env python3
"""Conversions of units against NIST SP 811 and the `udunits2` program (package udunits-bin), and what must be refused."""
import re
import shutil
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "reference"))
from checks import Checks, Program, arguments, scratch, write_tree  # noqa: E402

SP811 = "NIST SP 811, appendix B.8"
MEMORY = "from memory"
PUBLISHED = [           # literal, setting's unit, published value (its last digit is the tolerance), source
    ("1 inch", "mm", "25.4", SP811), ("1 in^3/min", "mm^3/s", "273.11773", SP811), ("1 lb", "g", "453.59237", SP811),
    ("1 avoirdupois_ounce", "g", "28.34952", SP811), ("1 psi", "Pa", "6894.757", SP811),
    ("392 degF", "degC", "200", SP811), ("464 degF", "degC", "240", SP811), ("572 degF", "degC", "300", SP811),
    ("-40 degF", "degC", "-40", SP811), ("68 degF", "degC", "20", SP811),
    ("1 foot", "mm", "304.8", MEMORY), ("1 yard", "mm", "914.4", MEMORY), ("1 mile", "m", "1609.344", MEMORY),
    ("1 gravity", "mm/s^2", "9806.65", MEMORY), ("1 atm", "Pa", "101325", MEMORY), ("1 bar", "Pa", "100000", MEMORY),
    ("1 h", "s", "3600", MEMORY), ("1 day", "h", "24", MEMORY), ("1 min", "ms", "60000", MEMORY),
    ("1 rad", "degree", "57.29578", MEMORY), ("1 turn", "degree", "360", MEMORY), ("60 mm/min", "mm/s", "1", MEMORY),
    ("1 g/cm^3", "kg/m^3", "1000", MEMORY), ("1 m/s^2", "mm/s^2", "1000", MEMORY), ("1 L", "mm^3", "1000000", MEMORY),
    ("1 kW*h", "J", "3600000", MEMORY), ("1 kgf", "N", "9.80665", MEMORY), ("1 cm^3/min", "mm^3/s", "16.666667", MEMORY),
]
CALCULATED = [          # formula, setting's unit, value, source
    ("212 degF - 203 degF", "K", "5", SP811 + ", an interval of 9 degF"), ("20 degC + 5 K", "degC", "25", MEMORY), ("-40 degF + 5 K", "degC", "-35", SP811),
    ("(392 degF in degC) * 1 mm", "mm", "200", SP811), ("floor(1 inch in mm)", "count", "25", SP811),
    ("180 degree / 1 rad * 1 mm", "mm", "3.141593", MEMORY), ("15 %", "%", "15", MEMORY), ("50 % * 30 %", "%", "15", MEMORY),
    ("1 inch ^ 3 / 1 min", "mm^3/s", "273.11773", SP811), ("1 N * 1 s / 1 kg", "m/s", "1", MEMORY),
    ("1 W * 1 s", "J", "1", MEMORY), ("10 mm^3/s / (2 mm * 1 mm)", "mm/s", "5", MEMORY),
]
PEERS = [               # compared with the udunits2 program, to the six digits that it prints
    ("3.7 inch", "mm"), ("0.123 foot", "cm"), ("250 um", "mm"), ("12.5 mil", "mm"), ("1.75 cm", "inch"), ("0.003 km", "mm"),
    ("90 mm/min", "mm/s"), ("12 foot/min", "mm/s"), ("3 m/h", "mm/s"), ("0.5 gravity", "m/s^2"), ("7 inch/s^2", "mm/s^2"),
    ("2.5 mL/min", "mm^3/s"), ("0.02 L/h", "mm3/s"), ("0.045 lb/inch^3", "g/cm^3"), ("1240 kg/m^3", "g/cm3"), ("2.2 lb", "kg"),
    ("3.3 grain", "mg"), ("95 min", "h"), ("1.5 day", "min"), ("350 ms", "s"), ("0.7 rad", "degree"), ("12 arc_minute", "degree"),
    ("3 bar", "MPa"), ("14.7 psi", "kPa"), ("2 horsepower", "W"), ("1.5 kV", "V"), ("12 kcal", "J"), ("0.4 lbf", "N"),
    ("30 kHz", "Hz"), ("1.6 W/cm^2", "W/m^2"), ("77 degF", "degC"),
    ("451.5 degF", "degC"), ("21.3 degC", "degF"), ("-12 degF", "degC"), ("5 MPa", "N/mm^2"), ("3 N*m", "mJ"), ("40 nm", "um"),
]
REFUSED = [             # setting's unit or type, and a value that it must not take
    ("mm/s", "20 s/mm"), ("mm/s", "20 mm"), ("mm/s", "20"), ("mm/s", "20 %"), ("mm/s", "20 mm/s^2"), ("mm/s", "20 mm/s.s"),
    ("mm/s", "20 mm/s2.5"), ("mm/s", "20 mm / s"), ("mm/s", "20 mm/"), ("mm/s", "20 mm//s"), ("mm/s", "20 quick"),
    ("mm/s", "20 degree/s"), ("mm/s", "20 mm/s mm"), ("s", "20 Hz"), ("s", "5 mins"), ("s", "1/s"), ("mm/s^2", "20 mm/s"),
    ("mm^3/s", "20 mm^2/s"), ("g/cm^3", "1.2 cm^3/g"), ("g/cm^3", "1.2 g"),
    ("degC", "215 K"), ("degC", "215"), ("degC", "215 degree"), ("degC", "215 deg"), ("degC", "215 %"), ("degC", "215 C"),
    ("degC", {"add": "5 degC"}), ("degC", {"add": "9 degF"}), ("degC", {"add": 5}), ("degC", {"scale": 2}), ("degC", {"scale": "110 %"}),
    ("K", "5 degC"), ("K", "9 degF"), ("K", 5), ("K", "5 %"), ("K", {"add": "5 degC"}),
    ("degree", "45 %"), ("degree", 45), ("degree", "45 deg"), ("degree", "45 degC"), ("degree", "45 K"), ("degree", {"add": "5 %"}),
    ("%", 0.15), ("%", 15), ("%", "15 degree"), ("%", "15 rad"), ("%", "15 mm"), ("%", {"add": "5 degree"}), ("%", {"add": "5 K"}),
    ("count", "3 %"), ("count", "3 mm"), ("count", 3.5), ("count", "3 degree"), ("count", {"add": "1 mm"}), ("count", "three"),
    ("mm", 0.4), ("mm", "0.4 %"), ("mm", "0.4 mm^2"), ("mm", "0.4 1/mm"), ("mm", "NaN mm"), ("mm", "inf mm"), ("mm", "1e999 mm"),
    ("mm", "0,4 mm"), ("mm", "0.4.1 mm"), ("mm", "0.4 0.4 mm"), ("mm", "mm"), ("mm", ""), ("mm", "0x1p3 mm"), ("mm", ["0.4 mm"]),
    ("mm", {"scale": "2 mm"}), ("mm", {"add": "2 s"}), ("mm", True),
    ("mm", {"calc": "1 mm + 1 s"}), ("mm/s", {"calc": "1 s / 1 mm"}), ("%", {"calc": "45 degree"}), ("degC", {"calc": "200 degC * 2"}),
    ("degC", {"calc": "200 degC + 5 degC"}), ("degC", {"calc": "200 degC + 5 degree"}), ("K", {"calc": "200 degC"}),
    ("degC", {"calc": "300 K"}), ("degC", {"calc": "2 * (200 degC)"}), ("degC", {"calc": "200 degC / 2"}), ("count", {"calc": "1 mm"}), ("degree", {"calc": "15 %"}),
    ("degC", {"calc": "abs(200 degC)"}), ("mm", {"calc": "sqrt(4 mm)"}), ("mm", {"calc": "min(1 mm, 1 s)"}), ("mm", {"calc": "1 mm ^ 2"}),
    ("mm", {"calc": "if(1 mm < 1 s, 1 mm, 2 mm)"}), ("mm", {"calc": "if(true, 1 mm, 2 s)"}), ("count", {"calc": "3 mm in s"}),
    ("degree", {"calc": "1 degree + 1"}), ("mm", {"calc": "round(1 mm, 1)"}), ("degC", {"calc": "round(200 degC, 5 degC)"}),
    ("mm", {"calc": "2 ^ 1 mm"}), ("count", {"calc": "floor(1 mm)"}), ("mm/s", {"calc": "5 mm/s^2"}), ("mm", {"calc": "1 mm * 'a'"}),
]


def entry(key, unit):
    """A wide setting of the dictionary in a unit (or a count)."""
    kind = {"type": "count"} if unit == "count" else {"unit": unit}
    return {"title": key, "about": "Of this test alone.", "kinds": ["machine"], **kind, "range": [-10000000, 10000000],
            "default": "none", "source": "invented"}


def tree(folder, cases, one_file):
    """A tree with a setting for each (unit, value): all in the one machine `all`, or each in a machine of its own."""
    keys = [f"case.n{number}" for number in range(len(cases))]
    settings = {key: entry(key, unit) for key, (unit, _) in zip(keys, cases)}
    values = {key: value for key, (_, value) in zip(keys, cases)}
    machines = {"machine/all": {"title": "All", "settings": values}} if one_file else {
        f"machine/{key[5:]}": {"title": key, "settings": {key: value}} for key, value in values.items()}
    write_tree(folder, {"settings": settings}, {**machines, "material/m": {"title": "m"}, "process/p": {"title": "p"}})
    return keys


def peer(literal, unit):
    """What the udunits2 program makes of it, as a number."""
    done = subprocess.run(["udunits2", "-U", "-H", literal, "-W", unit], capture_output=True, text=True)
    found = re.search(rf"= (\S+) {re.escape(unit)}$", done.stdout.splitlines()[0]) if done.stdout else None
    return float(found[1]) if found else None


def conversions(checks, binary):
    cases = [(unit, literal) for literal, unit, _, _ in PUBLISHED]
    cases += [(unit, {"calc": formula}) for formula, unit, _, _ in CALCULATED] + [(unit, literal) for literal, unit in PEERS]
    with scratch() as folder:
        keys = tree(folder, cases, one_file=True)
        code, shown = Program(binary, folder).show("all/m/p")
        checks.that("the tree of conversions resolves", code == 0, Program(binary, folder).run("validate").stderr[:2000])
        got = {key: each["value"] for key, each in shown["settings"].items()} if shown else {}
    for key, (literal, unit, value, source) in zip(keys, PUBLISHED + CALCULATED):
        digits = len(value.partition(".")[2])
        close = key in got and abs(got[key] - float(value)) <= (0.51 * 10 ** -digits if digits else 1e-6)
        checks.that(f"{literal} is {value} {unit} ({source})", close, f"got {got.get(key)}")
    if not checks.that("the udunits2 program is installed (package udunits-bin)", shutil.which("udunits2")):
        return
    for key, (literal, unit) in zip(keys[len(PUBLISHED + CALCULATED):], PEERS):
        expected = peer(literal, unit)
        close = key in got and expected is not None and abs(got[key] - expected) <= max(6e-6 * abs(expected), 1e-6)
        checks.that(f"{literal} in {unit} as udunits2 says", close, f"got {got.get(key)}, udunits2 says {expected}")


def refusals(checks, binary):
    """One error in the file of each value, and none elsewhere."""
    sound = [("mm/s", "20 mm/s"), ("degC", "215 degC"), ("%", "15 %"), ("count", 3), ("degree", "45 degree")]
    with scratch() as folder:
        tree(folder, REFUSED + sound, one_file=False)
        code, diagnostics = Program(binary, folder).diagnostics()
    checks.same("a tree with wrong units: validate's exit code", code, 1)
    found = {}
    for each in diagnostics:
        if each["severity"] == "error":
            found.setdefault(Path(each["file"]).stem, []).append(each["message"])
    for number, (unit, value) in enumerate(REFUSED):
        errors = found.get(f"n{number}", [])
        checks.that(f"a setting in {unit} refuses {value!r}, once", len(errors) == 1, f"got {errors}")
    for number, (unit, value) in enumerate(sound, len(REFUSED)):
        checks.same(f"a setting in {unit} takes {value!r}", found.pop(f"n{number}", []), [])
    checks.same("no error in other files", sorted(set(found) - {f"n{i}" for i in range(len(REFUSED))}), [])


def main():
    arg, checks = arguments(__doc__), Checks()
    conversions(checks, arg.binary)
    refusals(checks, arg.binary)
    checks.finish()


if __name__ == "__main__":
    main()
