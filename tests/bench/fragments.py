"""The fragments of the generated tree: machines, materials and processes, as (path, mapping)."""
import random

PLACES = ["moor", "fen", "dale", "heath", "cove", "brook", "ridge", "marsh", "glade", "hollow", "knoll", "shore", "weir", "copse",
          "tarn", "bank", "ford", "lea", "spit", "combe"]
LOOKS = ["amber", "ashen", "barley", "chalk", "clover", "copper", "dusky", "fallow", "frosty", "grey", "hazel", "mossy", "pale", "quiet",
         "russet", "sandy", "silver", "tawny", "umber", "windy"]
# The base value that is edited between the two versions; formulas of the dictionary read it over one and two steps.
EDITED, BEFORE, AFTER = "line.filling.speed", "120 mm/s", "110 mm/s"
ROOT_PROCESS = "process/base/every-print"


def invented(number):
    """A name of two words and a number; no two numbers share one."""
    return f"{LOOKS[number * 7 % 20]}-{PLACES[(number * 3 + number // 20) % 20]}-{number + 1}"


def nested(settings):
    """Dotted keys as mappings in mappings, as people mostly write them."""
    found = {}
    for key, value in settings.items():
        *above, last = key.split(".")
        inner = found
        for word in above:
            inner = inner.setdefault(word, {})
        inner[last] = value
    return found


# --- Machines ---

def machine_bases():
    """Fragments for machines to extend, three steps deep."""
    yield "machine/base/any-machine", {
        "title": "Any machine", "about": "Bounds that follow from the facts, and scripts that others add to.", "abstract": True,
        "settings": {"running.price": 0.25, "resting.rise": "12 mm"},
        "limits": {
            "line.*.speed": {"at_most": {"calc": "gantry.fastest"}}, "line.*.push": {"at_most": {"calc": "gantry.push"}},
            "ramp.push": {"at_most": {"calc": "0.9 * gantry.push"}},
            "transit.speed": {"at_most": {"calc": "gantry.fastest"}}, "pull.*": {"at_most": {"calc": "feed.fastest"}},
            "heat.*": {"at_most": {"calc": "heater.ceiling"}, "else": "refuse"}},
        "scripts": {
            "start": "G21\nG90\nM83\nM140 S${heat.first.plate}\nG28\nM190 S${heat.first.plate}\nM109 S${heat.first.nozzle}\n"
                     "G1 Z${resting.rise} F${transit.rise in mm/min}\n",
            "layer": "; layer @{layer.number}, z @{layer.z}\n",
            "end": "G1 E-${pull.length} F${pull.speed in mm/min}\nM104 S0\nM140 S0\nM107\nG1 X${resting.x} Y${resting.y}\n"}}
    parts = {
        "moving-plate": {"settings": {"gantry.layout": "moving-plate", "gantry.push": "3000 mm/s^2"},
                         "limits": {"line.outside.speed": {"at_most": "120 mm/s"}}},
        "crossed-belts": {"settings": {"gantry.layout": "crossed-belts", "gantry.push": "8000 mm/s^2", "controller.lookahead": 256}},
        "three-arm": {"settings": {"gantry.layout": "three-arm", "gantry.push": "5000 mm/s^2", "gantry.rise": "100 mm/s"},
                      "scripts": {"end": {"after": "G28"}}},
        "head-feed": {"settings": {"feed.place": "head", "feed.fastest": "70 mm/s"}},
        "frame-feed": {"settings": {"feed.place": "frame", "feed.fastest": "90 mm/s"}, "fits": {"material": ["*", "!tpu-*"]},
                       "adjust": {"line.outside.push": {"scale": "90 %"}}},
        "shut": {"settings": {"housing.shut": True, "housing.ceiling": "60 degC"}, "scripts": {"end": {"after": "M106 S64"}}},
        "hard-nozzle": {"settings": {"nozzle.hard": True, "heater.offset": "3 K"}},
    }
    for name, more in parts.items():
        yield f"machine/base/{name}", {"title": name.replace("-", " ").capitalize(), "extends": "any-machine", "abstract": True, **more}
    for number in range(6):
        layout = list(parts)[number % 3]
        yield f"machine/series/series-{number + 1}", {
            "title": f"Series {number + 1}", "extends": [layout, "frame-feed" if number == 5 else "head-feed"], "abstract": True,
            "settings": nested({"ringing.x": f"{40 + 4 * number} Hz", "ringing.y": f"{36 + 3 * number} Hz", "controller.arcs": number > 2}),
            "when": [{"if": {"material": ["tpu-*"]}, "settings": {"feed.lead": "0.02 s"}},
                     {"if": {"where": "plate.skin == 'film'"}, "settings": {"plate.soaking": "60 s"}}]}


def family(number, seed):
    """A machine with two nozzles, and what decides which materials fit each of the two."""
    draw = random.Random(f"{seed} machine {number}")
    series, shut = draw.randrange(6), draw.random() < 0.6
    name, push = invented(number), draw.randrange(3000, 12001, 500)
    fragment = {
        "title": f"Machine {name}", "about": "An invented machine with two nozzles.",
        "extends": [f"series-{series + 1}", *(["shut"] if shut else [])], "status": draw.choice(["stable", "beta"]),
        "settings": nested({
            "space.x": f"{draw.randrange(180, 401, 10)} mm", "space.y": f"{draw.randrange(180, 401, 10)} mm",
            "space.z": f"{draw.randrange(180, 401, 10)} mm", "heater.ceiling": f"{draw.choice([300, 320])} degC",
            "heater.offset": f"{draw.randrange(-2, 4)} K", "melt.rate": f"{draw.randrange(16, 45, 2)} mm^3/s",
            "plate.ceiling": f"{draw.choice([120, 130])} degC", "plate.skin": draw.choice(["film", "grained", "glass"]),
            "gantry.fastest": f"{draw.randrange(250, 601, 50)} mm/s", "gantry.push": f"{push} mm/s^2",
            "probing.points": draw.randrange(3, 9), "clear.radius": f"{draw.randrange(30, 61)} mm"}),
        "adjust": {"ramp.push": {"calc": f"min(inherited, {round(push * 0.5)} mm/s^2)"}},
        "locked": ["heater.ceiling", "plate.ceiling"],
        "fittings": {
            "0.4": {"settings": {"nozzle.bore": "0.4 mm", "resting.x": "12 mm"}},
            "0.6": {"title": f"Machine {name} with a hard 0.6 mm nozzle", "extends": "hard-nozzle",
                    "settings": {"nozzle.bore": "0.6 mm", "melt.rate": {"scale": "115 %"}, "feed.pull": {"add": "0.2 mm"}},
                    "limits": {"line.outside.speed": {"at_most": f"{draw.randrange(80, 200, 10)} mm/s"}}}}}
    return f"machine/{series + 1}/{name}", fragment, [
        {"name": f"{name}+{bore}", "shut": shut, "hard": bore == "0.6", "framed": series == 5} for bore in ("0.4", "0.6")]


# --- Materials ---

# class: nozzle, plate, share of the melt rate, needs a shut housing, traits
CLASSES = {
    "pla": (210, 55, 100, False, []), "petg": (235, 72, 80, False, []), "pp": (230, 80, 60, False, []),
    "tpu": (225, 45, 40, False, ["damp"]), "abs": (245, 100, 85, True, ["warm-air"]), "asa": (250, 100, 85, True, ["warm-air"]),
    "pa": (255, 90, 80, True, ["warm-air", "damp"]), "pc": (270, 105, 65, True, ["warm-air", "damp"]),
}
GRADES = {"plain": {}, "quick": {"stock.rate.share": {"scale": "125 %"}, "stock.melt.base": {"add": "5 K"}},
          "filled": {"stock.grit": True, "stock.shrinkage": {"scale": "50 %"}}}


def material_bases():
    """Fragments for materials to extend: a root, two traits, classes that extend those, and grades of each class."""
    yield "material/base/any-stock", {"title": "Any material", "abstract": True,
                                          "settings": {"stock.mass": "1000 g", "stock.ratio": "98 %"}}
    yield "material/base/damp", {
        "title": "Drinks water", "extends": "any-stock", "abstract": True,
        "settings": {"stock.drying.time": "8 h", "steps.before": {"append": ["Dry the spool first."]}}}
    yield "material/base/warm-air", {
        "title": "Wants warm air", "extends": "any-stock", "abstract": True,
        "fits": {"where": "housing.shut and heater.ceiling >= 290 degC"},
        "settings": {"stock.air.want": "50 degC", "blower.part.most": "30 %"},
        "when": [{"if": {"where": "not housing.heated"}, "settings": {"steps.before": {"append": ["Let the plate warm the air."]}}}]}
    for name, (nozzle, plate, share, _, traits) in CLASSES.items():
        yield f"material/{name}/{name}-class", {
            "title": name.upper(), "extends": traits or "any-stock", "abstract": True,
            "settings": nested({
                "stock.family": name, "stock.melt.base": f"{nozzle} degC", "stock.plate.base": f"{plate} degC",
                "stock.rate.share": f"{share} %", "cool.time": f"{6 + share // 20} s"}),
            "adjust": {"line.bridge.speed": {"calc": f"min(inherited, {30 + share // 10} mm/s)"}}}
        for grade, settings in GRADES.items():
            yield f"material/{name}/{name}-{grade}", {
                "title": f"{name.upper()}, {grade}", "extends": f"{name}-class", "abstract": True,
                "settings": {"stock.price": 20 + 6 * len(settings), **settings},
                **({"fits": {"where": "nozzle.hard"}} if grade == "filled" else {})}


def material(number, seed):
    """A material, and what decides which machines it fits."""
    draw = random.Random(f"{seed} material {number}")
    kind, grade = list(CLASSES)[number % len(CLASSES)], draw.choice([*GRADES, "plain"])
    name = f"{kind}-{invented(number)}"
    settings = {
        "stock.density": f"{draw.randrange(900, 1400) / 1000} g/cm^3", "stock.softening": f"{draw.randrange(50, 120)} degC",
        "stock.melt.base": {"add": f"{draw.randrange(-5, 6)} K"}, "stock.shrinkage": f"{draw.randrange(1, 12) / 10} %",
        "stock.drying.heat": f"{draw.randrange(45, 90)} degC", "stock.price": draw.randrange(15, 60),
        "stock.pull.share": f"{draw.randrange(60, 131)} %", "blower.part.most": {"scale": f"{draw.randrange(70, 101)} %"},
        "cool.time": f"{draw.randrange(5, 16)} s"}
    if draw.random() < 0.3:
        settings["stock.rate.most"] = f"{draw.randrange(8, 20)} mm^3/s"
    fragment = {
        "title": f"Material {name}", "about": "An invented material.", "extends": f"{kind}-{grade}",
        "tier": "supporter" if draw.random() < 0.1 else "free", "status": draw.choice(["stable", "beta"]),
        "settings": nested(settings)}
    if draw.random() < 0.3:
        fragment["limits"] = {"line.outside.speed": {"at_most": f"{draw.randrange(60, 200, 10)} mm/s"}}
    if draw.random() < 0.4:
        fragment["when"] = [{"if": {"where": "plate.skin == 'glass'"}, "settings": {"heat.plate": {"add": "3 K"}}}]
    if draw.random() < 0.3:
        fragment["adjust"] = {"line.top.speed": {"scale": f"{draw.randrange(80, 100)} %"}}
    return f"material/{kind}/{name}", fragment, {
        "name": name, "warm": CLASSES[kind][3], "filled": grade == "filled", "soft": kind == "tpu"}


def partners(machine, materials):
    """The names of the materials whose `fits`, and the machine's, hold for the two."""
    return [each["name"] for each in materials
            if (machine["shut"] or not each["warm"]) and (machine["hard"] or not each["filled"])
            and not (machine["framed"] and each["soft"])]


# --- Processes ---

# style: share of the bore a layer is thick, outer speed, share of filling
STYLES = {"fine": (0.3, 60, 15), "everyday": (0.5, 100, 15), "sturdy": (0.5, 80, 40), "draft": (0.7, 130, 10), "quick": (0.55, 160, 12),
          "even": (0.4, 70, 20)}


def process_bases():
    """The root of all processes, styles that extend it, and variants that extend those."""
    yield ROOT_PROCESS, {
        "title": "Every print", "about": "What all processes share.", "abstract": True,
        "settings": nested({EDITED: BEFORE, "transit.speed": "250 mm/s", "shell.lines": 3, "filling.pattern": "waves",
                            "edge.style": "skirt"})}
    for style, (share, speed, filling) in STYLES.items():
        yield f"process/{style}/{style}-style", {
            "title": style.capitalize(), "extends": "every-print", "abstract": True,
            "settings": nested({
                "layer.thickness": {"calc": f"round({share} * nozzle.bore, 0.01 mm)"}, "line.outside.speed": f"{speed} mm/s",
                "filling.share": f"{filling} %", "lid.thickness": {"calc": "max(0.8 mm, 4 * layer.thickness)"}})}
        for number in range(5):
            yield variant(style, number)


def variant(style, number):
    return f"process/{style}/{style}-{number + 1}", {
        "title": f"{style.capitalize()}, variant {number + 1}", "extends": f"{style}-style", "abstract": True,
        "settings": nested({
            "shell.lines": {"add": number % 3}, "line.outside.speed": {"scale": f"{90 + 5 * number} %"},
            "line.inside.speed": {"calc": f"min(1.{number + 2} * line.outside.speed, 250 mm/s)"}, "filling.angle": f"{15 * number} degree"}),
        "limits": {"line.bottom.speed": {"at_most": {"calc": "0.4 * gantry.fastest"}}},
        "scripts": {"layer": {"after": f"M117 {style} {number + 1}"}}}


def process(number, seed, machine, names):
    """A process that fits `machine` and the materials `names`."""
    draw = random.Random(f"{seed} process {number}")
    style = draw.choice(list(STYLES))
    name = f"{style}-{invented(number)}"
    fragment = {
        "title": f"Process {name}", "about": f"Invented: {style} prints on one machine.", "extends": f"{style}-{draw.randrange(5) + 1}",
        "tier": "supporter" if draw.random() < 0.5 else "free", "status": draw.choice(["stable", "stable", "beta"]),
        "fits": {"machine": [machine], "material": names}, "settings": process_settings(draw)}
    if draw.random() < 0.4:
        fragment["when"] = [{
            "if": draw.choice([{"material": names[:1]}, {"where": "gantry.push >= 5000 mm/s^2"}, {"where": "plate.skin == 'film'"}]),
            "settings": {"line.top.speed": {"scale": f"{draw.randrange(60, 100)} %"}, "cool.time": {"add": "2 s"}}}]
    if draw.random() < 0.25:
        fragment["limits"] = {f"line.{draw.choice(['top', 'prop', 'solid'])}.speed": {"at_most": f"{draw.randrange(50, 151, 10)} mm/s"}}
    if draw.random() < 0.1:
        fragment["adjust"] = {"line.roof.speed": {"calc": "min(inherited, 40 mm/s)"}}
    if draw.random() < 0.15:
        fragment["scripts"] = {"start": {"after": f"G1 X{draw.randrange(5, 60)} F${{transit.speed in mm/min}}"}}
    return f"process/{style}/{number // 500:03}/{name}", fragment


def process_settings(draw):
    """What a process writes: a third scales the edited value, a few in a hundred hide it; half write dotted keys, half nested ones."""
    settings = {
        "line.outside.speed": {"scale": f"{draw.randrange(70, 121)} %"}, "line.bridge.speed": f"{draw.randrange(20, 50)} mm/s",
        "filling.share": f"{draw.randrange(5, 50)} %", "filling.pattern": draw.choice(["lines", "grid", "waves", "cubes"]),
        "lid.thickness": f"{draw.randrange(6, 20) / 10} mm", "shift.nozzle": f"{draw.randrange(-5, 9)} K",
        "shell.seam": draw.choice(["corner", "back", "scattered"]), "edge.breadth": f"{draw.randrange(2, 9)} mm",
        "size.hole": f"{draw.randrange(0, 20) / 100} mm", "prop.wanted": draw.random() < 0.3,
        "line.foot.width": {"calc": f"round({draw.randrange(110, 131) / 100} * nozzle.bore, 0.01 mm)"}}
    if draw.random() < 0.3:
        settings[EDITED] = {"scale": f"{draw.randrange(80, 121)} %"}
    elif draw.random() < 0.05:
        settings[EDITED] = f"{draw.randrange(60, 160, 10)} mm/s"
    if draw.random() < 0.3:
        settings["ramp.push"] = {"scale": f"{draw.randrange(50, 100)} %"}
    return nested(settings) if draw.random() < 0.5 else settings
