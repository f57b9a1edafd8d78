"""The dictionary of the generated tree: some 150 settings, roles and rules, all invented for measuring."""

# key | unit or type | range or choices | default (= a formula, - none) | further words
# `[name: kinds]` opens a file and says which kinds of fragment may write what follows.
SETTINGS = """
[machine: machine]
space.x                | mm     | 50 1000   | 220 mm  | fact
space.y                | mm     | 50 1000   | 220 mm  | fact
space.z                | mm     | 50 1000   | 240 mm  | fact
nozzle.bore            | mm     | 0.1 2     | -       | fact required
nozzle.hard            | flag   |           | false   | fact
nozzle.land            | mm     | 0.05 20   | = 1.5 * nozzle.bore |
heater.ceiling         | degC   | 150 500   | -       | fact required
heater.offset          | K      | -20 20    | 0 K     |
heater.output          | W      | 5 300     | 40 W    |
melt.rate              | mm^3/s | 1 100     | 12 mm^3/s | fact
feed.place             | choice | head frame | head   | fact
feed.fastest           | mm/s   | 5 200     | 60 mm/s | fact
feed.tube              | mm     | 0 2000    | = if(feed.place == 'head', 40 mm, 400 mm) |
feed.lead              | s      | 0 2       | = if(feed.place == 'head', 0.04 s, 0.4 s) |
feed.pull              | mm     | 0 10      | = if(feed.place == 'head', 0.8 mm, 4 mm) |
feed.ratio             | %      | 80 120    | 100 %   |
plate.ceiling          | degC   | 15 300    | 100 degC | fact
plate.skin             | choice | film grained glass | grained | fact
plate.offset           | K      | -20 40    | = if(plate.skin == 'glass', 5 K, 0 K) |
plate.soaking          | s      | 0 7200    | 0 s     |
housing.shut           | flag   |           | false   | fact
housing.heated         | flag   |           | false   | fact
housing.ceiling        | degC   | 15 200    | 40 degC | fact
housing.airing         | s      | 0 7200    | = if(housing.shut, 600 s, 0 s) |
gantry.layout          | choice | moving-plate crossed-belts three-arm | moving-plate | fact
gantry.fastest         | mm/s   | 20 1000   | 200 mm/s | fact
gantry.push            | mm/s^2 | 100 50000 | 3000 mm/s^2 | fact
gantry.rise            | mm/s   | 0.5 100   | 10 mm/s | fact
ringing.x              | Hz     | 5 200     | 40 Hz   | fact
ringing.y              | Hz     | 5 200     | 40 Hz   | fact
controller.arcs        | flag   |           | false   | fact
controller.lookahead   | count  | 1 10000   | 16      | fact
probing.points         | count  | 2 50      | 5       |
resting.x              | mm     | 0 1000    | = 0.05 * space.x |
resting.y              | mm     | 0 1000    | = space.y - 10 mm |
resting.rise           | mm     | 0 100     | 10 mm   |
running.price          | 1      | 0 1000    | 0.2     |
clear.radius           | mm     | 1 200     | 45 mm   |
clear.beam             | mm     | 1 200     | 25 mm   |
[material: material]
stock.family           | text   |           | pla     |
stock.thread           | mm     | 1 4       | 1.75 mm |
stock.density          | g/cm^3 | 0.5 5     | 1.24 g/cm^3 |
stock.softening        | degC   | -100 300  | 55 degC |
stock.grit             | flag   |           | false   |
stock.melt.base        | degC   | 150 400   | -       | required
stock.melt.low         | degC   | 150 400   | = stock.melt.base - 20 K |
stock.melt.high        | degC   | 150 400   | = stock.melt.base + 30 K |
stock.melt.first       | K      | -20 20    | 5 K     |
stock.plate.base       | degC   | 15 200    | 55 degC |
stock.air.want         | degC   | 15 120    | 25 degC |
stock.rate.share       | %      | 10 200    | 100 %   |
stock.rate.most        | mm^3/s | 0.5 100   | -       |
stock.pull.share       | %      | 0 300     | 100 %   |
stock.shrinkage        | %      | 0 5       | 0.3 %   |
stock.drying.heat      | degC   | 20 150    | 50 degC |
stock.drying.time      | h      | 0 48      | 5 h     |
stock.price            | 1      | 0 1000    | 20      |
stock.mass             | g      | 10 10000  | 1000 g  |
stock.ratio            | %      | 80 120    | 100 %   |
[cooling: material process]
blower.part.least      | %      | 0 100     | = 0.6 * blower.part.most | cap
blower.part.most       | %      | 0 100     | 100 %   | cap
blower.part.skip       | count  | 0 50      | 1       |
blower.side.share      | %      | 0 100     | 0 %     | cap
cool.time              | s      | 0 300     | 8 s     |
cool.slowest           | mm/s   | 1 200     | 12 mm/s | cap
heat.nozzle            | degC   | 0 450     | = stock.melt.base + heater.offset + shift.nozzle | refuse
heat.first.nozzle      | degC   | 0 450     | = heat.nozzle + stock.melt.first | refuse
heat.plate             | degC   | 0 300     | = stock.plate.base + plate.offset + shift.plate | refuse
heat.first.plate       | degC   | 0 300     | = heat.plate | refuse
heat.air               | degC   | 0 150     | = if(housing.heated, min(stock.air.want, housing.ceiling), 25 degC) | refuse
[sums: machine material process]
rate.limit             | mm^3/s | 0.1 200   | = min(melt.rate * stock.rate.share, if(set(stock.rate.most), stock.rate.most, 500 mm^3/s)) |
rate.ratio             | %      | 50 150    | = stock.ratio * feed.ratio * shift.flow |
pull.length            | mm     | 0 15      | = feed.pull * stock.pull.share | cap
pull.speed             | mm/s   | 1 200     | = min(35 mm/s, feed.fastest) | cap
pull.return            | mm/s   | 1 200     | = min(30 mm/s, feed.fastest) | cap
pull.wipe              | mm     | 0 20      | 1 mm    |
pull.rise              | mm     | 0 5       | 0 mm    |
size.outline           | mm     | -2 2      | 0 mm    |
size.hole              | mm     | -2 2      | 0 mm    |
size.foot              | mm     | 0 2       | 0.1 mm  |
size.stretch           | %      | 90 115    | = 1 / (1 - stock.shrinkage) |
steps.before           | text   |           | []      | list
[process: process]
layer.thickness        | mm     | 0.02 2    | = round(0.5 * nozzle.bore, 0.01 mm) | cap
layer.first            | mm     | 0.02 2    | = clamp(0.5 * nozzle.bore, 0.12 mm, 0.4 mm) | cap
shell.lines            | count  | 1 50      | 3       |
shell.order            | choice | outside inside filling | [inside, outside, filling] | list
shell.seam             | choice | corner back scattered | corner |
shell.overlap          | %      | 0 50      | 8 %     |
shell.thin             | flag   |           | true    |
filling.share          | %      | 0 100     | 15 %    |
filling.pattern        | choice | lines grid waves cubes | waves |
filling.angle          | degree | 0 180     | 45 degree |
filling.overlap        | %      | 0 60      | 12 %    |
lid.thickness          | mm     | 0 20      | 0.8 mm  |
lid.layers             | count  | 0 300     | = max(3, ceil(lid.thickness / layer.thickness)) |
floor.thickness        | mm     | 0 20      | 0.6 mm  |
floor.layers           | count  | 0 300     | = max(2, ceil(floor.thickness / layer.thickness)) |
prop.wanted            | flag   |           | false   |
prop.style             | choice | columns branches | columns |
prop.slope             | degree | 0 90      | 45 degree |
prop.gap               | mm     | 0 5       | = max(layer.thickness, 0.16 mm) |
transit.speed          | mm/s   | 5 1500    | 150 mm/s | cap
transit.push           | mm/s^2 | 50 50000  | = gantry.push | cap
transit.detour         | mm     | 0 1000    | 20 mm   |
transit.rise           | mm/s   | 0.5 500   | = min(gantry.rise, 10 mm/s) | cap
edge.style             | choice | bare skirt brim | skirt |
edge.breadth           | mm     | 0 50      | 5 mm    |
edge.lines             | count  | 0 50      | = ceil(edge.breadth / line.foot.width) |
shift.nozzle           | K      | -40 40    | 0 K     |
shift.plate            | K      | -40 40    | 0 K     |
shift.flow             | %      | 80 120    | 100 %   |
ramp.push              | mm/s^2 | 50 50000  | = round(0.6 * gantry.push, 100 mm/s^2) | cap
vase.wanted            | flag   |           | false   |
"""

# What a line is drawn for: its speed, its width in bores, its share of the acceleration, its share of the fan.
# The speeds of `solid`, `prop` and `roof` follow that of `filling`, the last over two steps.
LINES = {
    "outside": ("90 mm/s", 1.05, 0.5, 1), "inside": ("= 1.4 * line.outside.speed", 1.12, 0.8, 1),
    "top": ("= line.outside.speed", 1.05, 0.5, 1), "bottom": ("= 1.2 * line.outside.speed", 1.1, 0.6, 0.5),
    "filling": ("120 mm/s", 1.1, 1, 0.8), "solid": ("= 0.85 * line.filling.speed", 1.1, 0.9, 0.8),
    "bridge": ("35 mm/s", 1, 0.4, 1), "prop": ("= 0.8 * line.filling.speed", 1, 0.8, 0.7),
    "roof": ("= 0.7 * line.prop.speed", 1, 0.6, 1), "foot": ("25 mm/s", 1.2, 0.3, 0),
}
LINE = """
line.{0}.speed         | mm/s   | 1 1000    | {1} | cap extrudes
line.{0}.width         | mm     | 0.05 5    | = round({2} * nozzle.bore, 0.01 mm) | cap
line.{0}.push          | mm/s^2 | 20 50000  | = {3} * ramp.push | cap
line.{0}.blower        | %      | 0 100     | = {4} * blower.part.most | cap
"""

ROLES = """\
roles:
  nozzle: nozzle.bore
  flow_limit: rate.limit
  flow_ratio: rate.ratio
  build_x: space.x
  build_y: space.y
  build_z: space.z
  nozzle_temperature: heat.nozzle
  bed_temperature: heat.plate
  chamber_temperature: heat.air
job: [layer.number, layer.z]
"""

# name | severity | what must hold | what to say
RULES = """
layer-in-bore  | error   | layer.thickness <= nozzle.bore              | a layer of ${layer.thickness} misses the one below
layer-thin     | warning | layer.thickness <= 0.8 * nozzle.bore        | a layer of ${layer.thickness} is thick for ${nozzle.bore}
layer-thick    | warning | layer.thickness >= 0.2 * nozzle.bore        | a layer of ${layer.thickness} flows unevenly
heater-bears   | error   | heat.first.nozzle <= heater.ceiling         | ${heat.first.nozzle} is more than the heater bears
plate-bears    | error   | heat.first.plate <= plate.ceiling           | ${heat.first.plate} is more than the plate bears
melt-enough    | warning | heat.nozzle >= stock.melt.low               | ${heat.nozzle} melts this stock badly
melt-gently    | warning | heat.nozzle <= stock.melt.high              | ${heat.nozzle} scorches this stock
grit-is-hard   | warning | not stock.grit or nozzle.hard               | this stock grinds a soft nozzle
pull-is-short  | warning | feed.place == 'frame' or pull.length <= 3 mm | pulling ${pull.length} back may jam
rests-inside   | error   | resting.x <= space.x and resting.y <= space.y | the head rests outside its space
blower-in-turn | warning | blower.part.least <= blower.part.most       | the least fan is above the most
line-of-bore   | warning | line.outside.width <= 2 * nozzle.bore       | a line of ${line.outside.width} is ragged
"""


def cells(row):
    return [cell.strip() for cell in row.split("|")]


def entry(row, kinds):
    """A setting's entry in the dictionary, as text."""
    key, kind, span, default, more = cells(row)
    more = more.split()
    name = key.replace(".", " ").capitalize()
    lines = [f"  {key}:", f"    title: {name}",
             f"    about: What {name.lower()} does to a print, said in a sentence that is about as long as people write.",
             f"    kinds: [{', '.join(kinds)}]"]
    if kinds == ["process"]:
        lines.append("    adjustable_by: [machine, material]")
    if kind in ("choice", "count", "flag", "text"):
        lines.append(f"    type: {kind}")
    else:
        lines.append(f'    unit: "{kind}"')
    if span:
        lines.append(f"    {'choices' if kind == 'choice' else 'range'}: [{', '.join(span.split())}]")
    if default == "-":
        lines += ["    default: none", "    reason: It differs from one to the next."]
    elif default.startswith("= "):
        lines.append(f'    default: {{ calc: "{default[2:]}" }}')
    else:
        lines.append(f"    default: {default}")
    lines += [f"    {word}: true" for word in ("fact", "required", "list") if word in more]
    lines += [f"    over_limit: {word}" for word in ("cap", "refuse") if word in more]
    if "extrudes" in more:
        lines.append(f"    extrudes: {{ width: {key.replace('speed', 'width')}, height: layer.thickness }}")
    return "\n".join([*lines, "    source: invented", ""])


def rule(row):
    name, severity, holds, say = cells(row)
    return f'  {name}:\n    assert: "{holds}"\n    severity: {severity}\n    say: "{say}"\n    source: invented\n'


def schema_files():
    """{file name: text} of the folder schema/."""
    files, name, kinds = {}, "", []
    drawn = [LINE.format(region, *numbers).strip() for region, numbers in LINES.items()]
    for row in [*SETTINGS.strip().splitlines(), "[lines: process]", *"\n".join(drawn).splitlines()]:
        if row.startswith("["):
            name, kinds = row.strip("[]").split(": ")
            kinds = kinds.split()
            files[f"{name}.yaml"] = "# Invented for measuring.\nsettings:\n"
        else:
            files[f"{name}.yaml"] += entry(row, kinds)
    files["roles.yaml"] = ROLES
    files["rules.yaml"] = "rules:\n" + "".join(rule(row) for row in RULES.strip().splitlines())
    return files
