"""What a command gives with its cache must be what it gives without, after edits too."""
from rows import WHY, Row, knows, run
from trees import some_profile


def pairs(program, places):
    """Each command that has a cache, with it and without."""
    profile = some_profile(places.plain)
    for command, words in (("build", []), ("validate", []), ("show", [profile]), ("why", [profile, WHY])):
        if knows(program, command, "--no-cache"):
            line = [program, "-C", places.plain, command, *words]
            yield command, [Row(f"{command}, {name}", [*line, *more], places.output, builds=command == "build", may_fail=True)
                            for name, more in (("edited", []), ("edited, no cache", ["--no-cache"]))]


def told(row):
    """How it ended, what it reported, and what it wrote or else printed."""
    run(row)
    return row.status, row.errors.read_text(encoding="utf-8"), row.built[-1] if row.builds else row.text()


def agreements(program, places, edits):
    all_pairs = list(pairs(program, places))
    for _, pair in all_pairs:
        run(pair[0])
    for name, edit in (("one process edited", edits.process), ("base edited", edits.base), ("a mistake made", edits.mistake),
                       ("the mistake mended", edits.process)):
        edit()
        for command, (warm, cold) in all_pairs:
            same = told(warm) == told(cold)
            yield f"{command}, {name}: the same with its cache and without", "the same" if same else "not the same", same
