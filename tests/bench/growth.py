"""How time and memory grow from a tree to one of four times the fragments."""
from bounds import bounds_of_growth
from rows import Row, cold, measure
from table import print_table
from trees import Places, write_plain

TIMES = 4


def growth_rows(program, places, fragments):
    line = [program, "-C", places.plain]
    return [
        Row(f"build, cold, {fragments}", [*line, "build", "--no-cache"], places.output, builds=True),
        Row(f"validate, cold, {fragments}", [*line, "validate", *cold(program, "validate")], places.output),
    ]


def measure_growth(program, folder, fragments, runs):
    """Measures both trees in turn, prints the table and gives back the bounds."""
    sizes = [fragments, TIMES * fragments]
    found = []
    for size in sizes:
        places = Places(folder / f"growth-{size}")
        places.clear()
        write_plain(places.plain, size)
        found.append(growth_rows(program, places, size))
    rows = [row for pair in zip(*found) for row in pair]
    measure(rows, runs)
    print_table(rows)
    return bounds_of_growth(*found)
