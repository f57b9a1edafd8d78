"""What must hold, each as (sentence, value found, whether it holds)."""
import json
import re

BUILD_MB, OTHERS_MB = 250, 300
GROWTH = 4.4             # for four times the fragments
ANSWER_SECONDS = 0.06    # what nobody waits for
BUILDS = ("build, cold", "build, filling", "build, nothing edited", "build, one process edited")
WITHOUT_BOUND = ("empty program", "floor", "script", "build, with changelog", "git diff --stat", *BUILDS)


def ratio(row, other, most, what="wall"):
    found = row.median(what) / other.median(what)
    word = "peak memory" if what == "peak" else "wall time"
    return f"{row.name}: {word} at most {most:.4g} x {other.name}", f"{found:.3g} x", found <= most


def seconds(row, most):
    found = row.median("wall")
    return f"{row.name}: wall time at most {1000 * most:.0f} ms", f"{1000 * found:.1f} ms", found <= most


def peak(name, rows, most):
    found = max(max(row.peak) for row in rows)
    return f"{name}: peak memory of each run under {most} MB", f"{found:.1f} MB", found < most


def bounds_of_time(row):
    parse = row["floor"].stages[0]
    yield ratio(row["--version"], row["empty program"], 1.5)
    yield seconds(row["list machines, demo tree"], 0.025)
    yield ratio(row["build, cold"], row["floor"], 1.25)
    yield ratio(row["build, cold"], row["script"], 1 / 4)
    yield ratio(row["build, one process edited"], row["build, cold"], 0.15)
    yield ratio(row["build, one process edited"], row["script"], 1 / 25)
    yield ratio(row["validate, cold"], parse, 1.15)
    for name in ("validate, one process edited", "show", "why"):
        yield ratio(row[name], row["validate, cold"], 0.1)
        yield seconds(row[name], ANSWER_SECONDS)
    yield ratio(row["changelog, cold"], row["validate, cold"], 2.5)     # two trees, read, linked and compared
    yield ratio(row["changelog, warm"], row["validate, cold"], 0.3)
    yield seconds(row["changelog, warm"], 0.3)


def bounds_of_memory(row):
    yield peak("build, but for that with changelog", [row[name] for name in BUILDS], BUILD_MB)
    yield peak("all other commands", [each for name, each in row.items() if name not in WITHOUT_BOUND], OTHERS_MB)


def profiles_in(row):
    return int(re.search(r"(\d+) profiles", row.text())[1])


def signs_of_life(row):
    """Without these the times would say nothing."""
    for word in sorted({each.says for each in row.values()} - {""}):
        texts = {each.text() for each in row.values() if each.says == word}
        yield f"{word}: one text, cold and warm", f"{len(texts)} found", len(texts) == 1
    rounds = list(zip(*(row[name].built for name in BUILDS)))
    same = sum(len(set(digests[:3])) == 1 for digests in rounds)
    yield "build: the same bytes cold, filling and with nothing edited", f"in {same} of {len(rounds)} rounds", same == len(rounds)
    other = sum(digests[3] != digests[2] for digests in rounds)
    yield "build: other bytes with a process edited", f"in {other} of {len(rounds)} rounds", other == len(rounds)
    script, program = profiles_in(row["script"]), profiles_in(row["build, cold"])
    yield "script: as many profiles as the program, to 2 %", f"{script} and {program}", abs(script - program) <= 0.02 * program
    changes = json.loads(row["changelog json, cold"].text())["changes"]
    effects = [each["profile"] for change in changes for each in change["effects"]]
    yield "changelog: the edit changes profiles at all", f"{len(set(effects))} profiles, {len(effects)} values", bool(effects)


def all_bounds(rows):
    row = {each.name: each for each in rows}
    yield from bounds_of_time(row)
    yield from bounds_of_memory(row)
    yield from signs_of_life(row)


def bounds_of_growth(small, large):
    for less, more in zip(small, large):
        for what in ("wall", "peak"):
            yield ratio(more, less, GROWTH, what)


def print_bounds(found):
    """Prints them; gives back whether all hold."""
    found = list(found)
    for sentence, value, holds in found:
        print(f"{'holds ' if holds else 'BROKEN'}  {sentence}: {value}")
    return all(holds for *_, holds in found)
