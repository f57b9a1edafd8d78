"""The table, for people to read."""
WALL_BASES = {"floor": "floor", "script": "script", "build": "build, cold", "validate": "validate, cold"}
CPU_BASES = {"floor": "floor", "validate": "validate, cold"}


def number(value, form, width=9):
    return f"{'-' if value is None else format(value, form):>{width}}"


def spread(row):
    """How far apart the runs were, in per cent of their median: what else the machine did, mostly."""
    return 100 * (max(row.wall) - min(row.wall)) / row.median("wall")


def line(row, columns):
    wall, cpu, peak = map(row.median, ("wall", "cpu", "peak"))
    ratios = "".join(number(row.median(what) / base.median(what), ".3g") for what, _, base in columns)
    return f"{row.name:30}{number(wall, '.4f')}{number(cpu, '.4f')}{number(peak, '.1f')}{number(spread(row), '.0f', 7)}{ratios}"


def print_table(rows):
    by_name = {row.name: row for row in rows}
    columns = [(what, name, by_name[base]) for what, bases in (("wall", WALL_BASES), ("cpu", CPU_BASES))
               for name, base in bases.items() if base in by_name]
    if columns:
        print(" " * 64 + f"{'wall time as a multiple of':>36}{'CPU time':>18}")
    print(f"{'':30}{'wall s':>9}{'CPU s':>9}{'peak MB':>9}{'range%':>7}" + "".join(f"{name:>9}" for _, name, _ in columns))
    for row in rows:
        for each in [row, *getattr(row, "stages", [])]:
            print(line(each, columns))
