#!/usr/bin/env python3
"""Property tests of `dialect write` and `import`, on the repository's own tree and dialects.

Unchanged: what is written of a profile is imported, and no value differs. The sample holds each machine, material and
process at least once.

Changed: one value is changed in the written files, by json, xml.etree or the lines of the file, and imported with
--write into a copy of the tree. Exactly that setting must be told as changed, with the value that was put in; the
profile must have it then, and all else that the files hold as before; a second import must find no difference. Where
the tree refuses the value, the exit code is 1, the reason is one of ranges, limits, locks and checks, and the tree is
as it was. Every setting that a dialect carries alone is tried with --all, else --trials of them; the seed is fixed."""
import collections
import concurrent.futures
import hashlib
import json
import os
import queue
import random
import re
import shutil
import sys
import time
import xml.etree.ElementTree as xml
from pathlib import Path

import yaml

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "outside"))
from checks import Checks, Program, arguments, document, scratch  # noqa: E402
from dialects import FACTORS, LOADER, alone, quantity, rows_of, words  # noqa: E402

# Why a tree may refuse a value, as its reports say it.
REASONS = {
    "range": r"outside its range|is not among|is none of the words",
    "limit": r"admits at (most|least)|a limit of \S+ holds it|the flow limit holds it",
    "lock": r"has locked",
    "whole": r"is no whole number",
    "needed": r"which every profile needs",
    "check": r"would bring (an error|\d+ errors)",  # a rule or a check of scripts, here or in another profile
}


class Written:
    """One profile as a dialect writes it, and the places of its settings."""

    def __init__(self, program, name, dialect, profile, folder):
        self.name, self.profile, self.dialect, self.folder = name, profile, dialect, folder
        done = program.run("-j", "1", "dialect", "write", name, profile, "--out", folder)
        if done.returncode != 0:
            raise RuntimeError(done.stderr[:500])
        self.paths = [folder / line[len(str(folder)) + 1:] for line in done.stdout.splitlines()]
        self.texts = [path.read_text(encoding="utf-8") for path in self.paths]

    def files(self):
        return list(self.dialect["files"].values())

    def changed(self, setting, value, into):
        """Writes the files below `into` with another value of the setting. Gives back their paths, None if no place is found."""
        paths, places = [], 0
        for index, (file, path, text) in enumerate(zip(self.files(), self.paths, self.texts)):
            for section, key, row in rows_of(self.dialect, file["rows"]):
                if row.get("from") != setting or "when" in row:
                    continue
                text, found = EDITS[file["family"]](text, file, section, key, texts_of(row, value))
                places += found
            target = into / f"{index}-{path.name}"
            target.write_text(text, encoding="utf-8")
            paths.append(target)
        return paths if places else None


def carried(dialect):
    """The settings that rows carry alone, without conditions, in their order."""
    found = {}
    for file in dialect["files"].values():
        for _, _, row in rows_of(dialect, file["rows"]):
            if alone(row) and "when" not in row:
                found.setdefault(row["from"], []).append(row)
    return found


# Values as rows write them

def texts_of(row, value):
    """The texts that stand for a value of a profile: one, or a list."""
    items = value if isinstance(value, list) else [value]
    texts = [text_of(row, each) for each in items] * int(row.get("repeat", "1"))
    if "join" in row:
        return row["join"].join(texts)
    return texts if isinstance(value, list) or "repeat" in row else texts[0]


def text_of(row, value):
    spelled = row.get("words", {})
    if isinstance(value, bool):
        return spelled.get(str(value).lower(), row.get("yes", "true") if value else row.get("no", "false"))
    number, unit = quantity(value)
    if unit is None or "words" in row:
        return spelled.get(value, value)
    if row.get("in", unit) != unit:
        factor, offset = FACTORS[(unit, row["in"])]
        number = number * factor + offset
    decimals = int(row.get("decimals", "6"))
    text = f"{number:.{decimals}f}"
    if row.get("pad") != "true" and "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.replace(".", row.get("point", ".")) + row.get("suffix", "")


# Edits of a written file: the new text, and how many places were found

def edit_ini(text, file, section, key, value):
    assert not section and isinstance(value, str)
    line = key + file.get("layout", {}).get("separator", " = ") + value.replace("\\", "\\\\").replace("\n", "\\n")
    lines = text.split("\n")
    at = [i for i, each in enumerate(lines) if each.split(" ")[0] == key]
    if at:
        lines[at[0]] = line
    else:
        lines.insert(1, line)  # the profile has no value there, so the file has none
    return "\n".join(lines), 1


def edit_json(text, file, section, key, value):
    data = json.loads(text)
    inner = data
    for name in section:
        inner = inner.setdefault(name, {})
    inner[key] = value
    return json.dumps(data, indent=1, ensure_ascii=False), 1


def edit_xml(text, file, section, key, value):
    layout = file["layout"]
    root = xml.fromstring(text.encode())
    inner = root
    for name in section:
        found = [each for each in inner if each.tag == layout["section"] and each.get(layout["key_in"]) == name]
        inner = found[0] if found else xml.SubElement(inner, layout["section"], {layout["key_in"]: name})
    for each in [each for each in inner if each.get(layout["key_in"]) == key]:
        inner.remove(each)
    for each in value if isinstance(value, list) else [value]:
        xml.SubElement(inner, layout["item"], {layout["key_in"]: key, layout["value_in"]: each})
    return xml.tostring(root, encoding="unicode"), 1


def edit_text(text, file, section, key, value):
    """Replaces the value in the line of the template that has its place; a line that is left out cannot be edited."""
    line = next(each for each in file["template"].split("\n") if f"@{{{key}}}" in each)
    pattern = "".join("(.*?)" if piece.startswith("@{") else re.escape(piece) for piece in re.split(r"(@\{[^}]*\})", line))
    keys = re.findall(r"@\{([^}]*)\}", line)
    if all(piece.startswith("@{") or not piece for piece in re.split(r"(@\{[^}]*\})", line)):
        return text, 0
    lines = text.split("\n")
    for i, each in enumerate(lines):
        if found := re.fullmatch(pattern, each):
            begin, end = found.span(keys.index(key) + 1)
            lines[i] = each[:begin] + value + each[end:]
            return "\n".join(lines), 1
    return text, 0


EDITS = {"ini": edit_ini, "json": edit_json, "xml": edit_xml, "text": edit_text}


# Other values

def others(setting, value, rows, rng):
    """Values near `value`, of the setting's own sort, that all its rows can tell; the likeliest first."""
    kind, choices, is_list = setting["type"], setting["choices"], setting["list"]
    if is_list:
        items = list(value or [])
        found = [items[::-1], items[1:] or items + [choices[0] if choices else "Keep the door closed"], items[:-1]]
        return [each for each in found if each != items and (each or items)]
    if kind == "flag":
        return [not value] if value is not None else [True, False]
    if kind == "choice":
        rest = [each for each in choices if each != value]
        rng.shuffle(rest)
        return rest
    if kind == "text":
        spelled = [list(row["words"]) for row in rows if "words" in row]
        return [each for each in spelled[0] if each != value][:3] if spelled else [f"{value or ''} of another kind".strip()]
    low, high = setting["range"] or [0, 100]
    unit = f" {setting['unit']}" if setting["unit"] else ""
    number = quantity(value)[0] if value is not None else (low + high) / 2
    wide = high - low
    step = 1 if kind == "count" or abs(number) >= 20 else 0.1 if abs(number) >= 2 else 0.01
    decimals = 0 if kind == "count" else 4
    for row in rows:  # no finer than its rows tell
        if row.get("in", setting["unit"]) == setting["unit"] and "decimals" in row:
            step, decimals = max(step, 10 ** -int(row["decimals"])), min(decimals, int(row["decimals"]))
    near = [number - step, number + step, number - 5 * step, number + 5 * step, low + 0.6 * wide]
    near = [round(each, decimals) for each in near]
    near = [int(each) if kind == "count" else each for each in near if low <= each <= high and each != number]
    return [each if kind == "count" else plain(each) + unit if unit else each for each in dict.fromkeys(near)]


def plain(number):
    return f"{number:.6f}".rstrip("0").rstrip(".") if number % 1 else str(int(number))


def same(told, value):
    """Does the JSON of `show` tell this value?"""
    if isinstance(value, list):
        return isinstance(told, list) and len(told) == len(value) and all(map(same, told, value))
    number, unit = quantity(value)
    if unit is None or isinstance(value, bool):
        return told == value
    return isinstance(told, (int, float)) and abs(told - number) < 1e-6


# The properties

def covering(names, count, rng):
    """A sample that has each machine, material and process."""
    names, chosen, missing = rng.sample(names, len(names)), [], {(i, part) for each in names for i, part in enumerate(each.split("/"))}
    while missing:
        best = max(names, key=lambda each: len(missing & set(enumerate(each.split("/")))))
        chosen.append(best)
        missing -= set(enumerate(best.split("/")))
    return chosen + [each for each in names if each not in chosen][:max(0, count - len(chosen))]


def unchanged(checks, program, dialects, names, work, pool):
    def trial(name, profile):
        folder = work / name / profile.replace("/", "_")
        try:
            written = Written(program, name, dialects[name], profile, folder)
        except RuntimeError as wrong:
            return f"{profile}: write: {wrong}"
        done = program.run("-j", "1", "import", *written.paths, "--dialect", name, "--like", profile, "--format", "json")
        told = document(done.stdout) or {}
        # Files of a draft or without a release tell another version and digest, which is no value.
        holds = done.returncode == 0 and told.get("changes") == [] and told.get("rest") == [] and len(told["read"]) == len(written.paths)
        return "" if holds else f"{profile}: exit {done.returncode} {done.stderr[:200]} {told.get('changes')} {told.get('rest')}"
    for name in sorted(dialects):
        wrong = [each for each in pool.map(lambda profile: trial(name, profile), names) if each]
        checks.that(f"{name}: of {len(names)} profiles that were written and imported no value differs", not wrong, f"{len(wrong)} do: {wrong[:3]}")


class Bench:
    """A copy of the tree that imports may change."""

    def __init__(self, arg, folder):
        self.folder = folder
        for part in ("profiles-src", "schema", "release"):
            shutil.copytree(arg.root / part, folder / part, symlinks=True)
        self.pristine = self.state()
        self.program = Program(arg.binary, folder)

    def state(self):
        return {path.relative_to(self.folder): path.read_bytes() for path in sorted(self.folder.rglob("*")) if path.is_file() and ".bindery" not in path.parts}

    def restore(self):
        now = self.state()
        for path in now.keys() - self.pristine.keys():
            (self.folder / path).unlink()
        for path, data in self.pristine.items():
            if now.get(path) != data:
                (self.folder / path).write_bytes(data)


def changed(written, setting, value, before, bench, into):
    """One trial: what came of it ('back', or why it was refused), and what is wrong with it."""
    paths = written.changed(setting, value, into)
    if paths is None:
        return "no place", ""
    words_of = ["import", *paths, "--dialect", written.name, "--like", written.profile, "--format", "json"]
    done = bench.program.run("-j", "1", *words_of, "--write")
    told = document(done.stdout)
    if done.returncode == 1:
        kept = bench.state() == bench.pristine
        reason = next((each for each, pattern in REASONS.items() if re.search(pattern, done.stderr)), None)
        if reason is None or not kept:
            return "refused", f"{'' if kept else 'THE TREE HAS CHANGED; '}refused for: {done.stderr[:300]}"
        return reason, ""
    if done.returncode != 0 or told is None:
        return "failed", f"exit {done.returncode}: {done.stderr[:300]}"
    asked = [each for each in told["changes"] if not each["held"]]
    if [each["setting"] for each in asked] != [setting]:
        return "wrong", f"told as changed: {[each['setting'] for each in asked]}"
    if not told["written"] or bench.state() == bench.pristine:
        return "wrong", "nothing was written"
    _, after = bench.program.show(written.profile)
    after = after["settings"] if after else {}
    if not same(after.get(setting, {}).get("value"), value):
        return "wrong", f"the profile has {after.get(setting, {}).get('value')!r} then"
    moved = [key for key in carried(written.dialect) if key != setting and (after.get(key) or {}).get("value") != (before.get(key) or {}).get("value")]
    if moved and "rounds" not in str(written.dialect):
        return "wrong", f"the files have {moved[:5]} as before, and the profile has not"
    done = bench.program.run("-j", "1", *words_of)
    again = document(done.stdout)
    if done.returncode != 0 or again is None or again["changes"]:
        return "wrong", f"a second import tells {done.stderr[:200]} {again and [each['setting'] for each in again['changes']]}"
    return "back", ""


def main():
    arg, checks, began = arguments(__doc__, profiles=60, trials=48, seed=11, all=False), Checks(), time.time()
    rng = random.Random(arg.seed)
    program = Program(arg.binary, arg.root)
    names = [each["id"] for each in json.loads(program.run("list", "profiles", "--format", "json").stdout)]
    settings = {each["key"]: each for each in json.loads(program.run("list", "settings", "--format", "json").stdout)}
    dialects = {path.stem: yaml.load(path.read_text(encoding="utf-8"), LOADER) for path in sorted((arg.root / "profiles-src/dialect").glob("*.yaml"))}
    checks.that(f"{len(dialects)} dialects and {len(names)} profiles", len(dialects) >= 4 and len(names) > 100)
    workers = max(1, os.cpu_count() or 1)
    with scratch() as work, concurrent.futures.ThreadPoolExecutor(workers) as pool:
        sample = covering(names, arg.profiles, rng)
        unchanged(checks, program, dialects, sample, work / "unchanged", pool)
        benches = queue.Queue()
        for i in range(workers):
            benches.put(Bench(arg, work / f"tree-{i}"))
        few = sample[:8]
        shown = dict(zip(few, pool.map(lambda each: program.show(each)[1]["settings"], few)))
        written = {}
        for name in dialects:
            for profile in few:
                written[name, profile] = Written(program, name, dialects[name], profile, work / "changed" / name / profile.replace("/", "_"))
        tasks = [(name, key, rows) for name, dialect in dialects.items() for key, rows in carried(dialect).items()]
        if not arg.all:
            tasks = rng.sample(tasks, min(arg.trials, len(tasks)))
        tasks = [(name, key, rows, rng.choice(few), random.Random(rng.random())) for name, key, rows in tasks]

        def trial(task):
            name, key, rows, profile, own = task
            before = shown[profile].get(key) or {}
            unit = settings[key]["unit"]
            value = before.get("value")
            if isinstance(value, (int, float)) and not isinstance(value, bool) and settings[key]["type"] != "count":
                value = f"{value} {unit}" if unit else value
            elif isinstance(value, list) and unit:
                value = [f"{each} {unit}" for each in value]
            outcome, first = ("no other value", ""), None
            bench = benches.get()
            folder = work / "edited" / hashlib.sha256(f"{name} {key}".encode()).hexdigest()[:12]
            folder.mkdir(parents=True)
            try:
                for other in others(settings[key], value, rows, own):
                    outcome = changed(written[name, profile], key, other, shown[profile], bench, folder)
                    bench.restore()
                    first = first or (outcome[0] if outcome[0] != "back" else None)
                    if outcome[1] or outcome[0] == "back":
                        detail = f"{name}, {profile}: {key} {value!r} -> {other!r}: {outcome[1]}" if outcome[1] else ""
                        return name, key, outcome[0], detail
                return name, key, outcome[0], ""
            finally:
                benches.put(bench)
        results = list(pool.map(trial, tasks))
    for name in sorted(dialects):
        own = [each for each in results if each[0] == name]
        counts = collections.Counter(each[2] for each in own)
        wrong = [each[3] for each in own if each[3]]
        if own:
            told = ", ".join(f"{count} {what}" for what, count in sorted(counts.items(), key=lambda each: (each[0] != "back", each[0])))
            checks.that(f"{name}: {len(own)} of {len(carried(dialects[name]))} settings changed: {told}", not wrong, "\n      " + "\n      ".join(wrong[:40]))
            for what in sorted(counts.keys() - {"back"}):
                print(f"      {what}: {', '.join(each[1] for each in own if each[2] == what)}")
    back = sum(each[2] == "back" for each in results)
    checks.that(f"{back} of {len(results)} came back as one change, the others were refused", 2 * back >= len(results))
    print(f"{time.time() - began:.0f} s")
    checks.finish()


if __name__ == "__main__":
    main()
