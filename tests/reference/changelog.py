#!/usr/bin/env python3
"""Random pairs of trees, each a history of random edits in git: the changelog between them must be whole, tell each difference
once, and name its causes. The sets of profiles come from the reference resolver; a cause is tested by leaving edits out.
Case N is the pair of seed N, so `--first N --cases 1` repeats one."""
import itertools
import json
import re
import traceback
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from checks import Checks, Program, arguments, document, keep, scratch
from mutate import PairMaker
from resolver import KINDS, TIERS
from self_test import as_written
from sources import WORDS, Side, Unsound, archive_of, commit_all, published

VIEWS = ("supporter", "free")


# One pair

class Pair:
    """A pair of trees and the program's answers; `problems` gathers what is wrong, `counts` what was checked."""

    def __init__(self, binary, seed):
        self.seed, self.problems, self.counts, self.known = seed, [], Counter(), {}
        self.binary, self.useful, self.clean = binary, False, True
        with scratch() as folder:
            self.folder, self.aside, self.program = folder / "tree", folder / "aside", Program(binary, folder / "tree")
            self.folder.mkdir()
            self.make()
            try:
                self.examine(folder)
            except (KeyError, TypeError) as lacking:
                self.wrong(f"the JSON is not as it should be: {lacking!r}, {traceback.format_exc().splitlines()[-3:]}")
            if self.problems:
                self.problems.append(f"[seed {seed}, kept in {keep(folder, f'changelog-{seed}')}]")

    def make(self):
        for again in itertools.count():
            maker = PairMaker(f"{self.seed}.{again}")
            self.first = maker.sources()
            side = self.first and self.side_of(self.first)
            if side and 2 <= len(side.profiles) <= 50:
                break
        count, reverted = maker.pick([1, 1, 2, 3, 3, 4, 5, 6]), maker.chance(0.3)
        self.steps, self.last = maker.steps(self.first, count + reverted, self.side_of)
        self.reverted = [self.steps.pop()] if reverted and self.steps else []
        self.last = self.first.after(self.steps)

    def side_of(self, sources):
        try:
            return Side(sources, self.aside)
        except Unsound:
            return None

    def after(self, numbers):
        try:
            return self.first.after([self.steps[n] for n in sorted(numbers)])
        except LookupError:
            return None

    def side(self, numbers):
        """The first tree with some of the steps alone, or None if it is not sound."""
        key = tuple(sorted(numbers))
        if key not in self.known:
            sources = self.after(key)
            self.known[key] = sources and self.side_of(sources)
        return self.known[key]

    def wrong(self, text):
        self.problems.append(text)

    def same(self, name, got, expected):
        if got != expected:
            self.wrong(f"{name}: got {_short(got, expected)}, expected {_short(expected, got)}")

    def json(self, *words):
        done = self.program.run("changelog", *words, "--format", "json")
        found = None if done.returncode else document(done.stdout)
        if not found:
            self.wrong(f"changelog {' '.join(map(str, words))}: exit code {done.returncode}: {done.stderr[:400]}")
        return found

    # The run

    def examine(self, folder):
        self.old, self.new = self.side(()), self.side(range(len(self.steps)))
        self.mapping = {old: new for step in self.steps for old, new in step.renames.items()}
        self.hidden_names = self.hidden()
        authors = [self.author(number) for number in range(len(self.steps))]
        history = [(self.first, "A. Contributor")]
        history += [(self.first.after(self.steps[:number + 1]), author) for number, author in enumerate(authors)]
        history += [(self.first.after(self.steps + self.reverted), "Reverted Contributor"), (self.last, "Reverted Contributor")]
        self.commits = commit_all(self.folder, history)[1:-2]
        self.first.write(self.aside)
        if any(program.run("validate").returncode for program in (self.program, Program(self.binary, self.aside))):
            return
        self.useful = True
        self.archives(folder)
        self.docs = {tier: self.json("1.0.0", "1.1.0", "--tier", tier) for tier in VIEWS}
        if not all(self.docs.values()):
            return
        for tier in VIEWS:
            self.whole(tier)
        self.once()
        self.named()
        self.free_of_secrets()
        self.sufficient()
        self.idle()
        self.necessary()
        self.level()
        self.other_sides(folder)

    def archives(self, folder):
        """The archives of both releases hold what the reference resolves."""
        for version, side in (("1.0.0", self.old), ("1.1.0", self.new)):
            done = self.program.run("build", "--at", version, "--version", version, "--any-version", "--out", folder / "out")
            if done.returncode:
                self.wrong(f"build --at {version}: {done.stderr[:400]}")
                continue
            for tier in VIEWS:
                archive = archive_of(folder / "out", version, tier)
                got = {name: {"scripts": {}, **profile} for name, profile in published(archive).items()}
                for word in WORDS:
                    self.same(f"{word} of the {tier} archive of {version}", {name: profile[word] for name, profile in got.items()},
                              {name: profile[word] for name, profile in side.view(tier).items()})

    # 1 and 2: completeness, and each difference once

    def moved_to(self, name):
        units = [f"{kind}/{part}" for kind, part in zip(KINDS, name.split("/"))]
        return "/".join(self.mapping.get(unit, unit).partition("/")[2] for unit in units)

    def whole(self, tier):
        """The JSON applied to the old sets gives the new ones."""
        doc, old, new = self.docs[tier], self.old.view(tier), self.new.view(tier)
        self.same(f"{tier}: from, to, tier", (doc["from"], doc["to"], doc["tier"]), ("1.0.0", "1.1.0", tier))
        told, to = doc["profiles"], {name: self.moved_to(name) for name in old}
        self.same(f"{tier}: added", sorted(told["added"]), sorted(set(new) - set(to.values())))
        self.same(f"{tier}: removed", sorted(told["removed"]), sorted(name for name in old if to[name] not in new))
        self.same(f"{tier}: renamed", sorted((each["from"], each["to"]) for each in told["renamed"]),
                  sorted(pair for pair in to.items() if pair[0] != pair[1] and pair[1] in new))
        self.same(f"{tier}: contents", sorted(told["contents"]), sorted(told["added"]))
        names = {each["from"]: each["to"] for each in told["renamed"]}
        found = {names.get(name, name): json.loads(json.dumps(profile)) for name, profile in old.items() if name not in told["removed"]}
        before = json.loads(json.dumps(found))
        for each in told["moved"]:
            for word in {"tier", "status"} & set(each):
                profile = found.get(each["profile"], {})
                self.step(f"{tier}: {word} of {each['profile']}", profile, word, each[word]["before"], each[word]["after"])
        for each in (effect for change in doc["changes"] for effect in change["effects"]):
            unit = each.get("unit")
            values = as_written(each["before"], each.get("unit_before") or unit), as_written(each["after"], unit)
            self.step(f"{tier}: {each['profile']}", found.get(each["profile"], {}).get("settings", {}), each["setting"], *values)
            self.counts[f"effects, {tier}"] += 1
        for each in (effect for change in doc["scripts"] for effect in change["effects"]):
            scripts = found.get(each["profile"], {}).get("scripts", {})
            self.step(f"{tier}: script of {each['profile']}", scripts, each["script"], each["before"], each["after"])
            self.counts[f"scripts, {tier}"] += 1
        for name, content in told["contents"].items():
            settings = {key: as_written(each["value"], each.get("unit")) for key, each in content["settings"].items()}
            found[name] = {**content, "settings": settings}
        for word in WORDS:
            self.same(f"{tier}: {word} of the new sets", {name: profile[word] for name, profile in found.items()},
                      {name: profile[word] for name, profile in new.items()})
        self.caps(tier, {name for name in before if name in new}, names)

    def step(self, what, data, key, before, after):
        if before == after:
            self.wrong(f"{what} {key}: {before!r} is told as a change to itself")
        self.same(f"{what} {key} before", data.get(key), before)
        if after is None:
            data.pop(key, None)
        else:
            data[key] = after

    def caps(self, tier, both, names):
        """The values that a limit holds back on one side alone are told as such."""
        back, shared = {new: old for old, new in names.items()}, set(self.old.tree.dictionary) & set(self.new.tree.dictionary)
        expected = set()
        for name in both:
            capped = [set(self.old.profiles[back.get(name, name)]["capped"]), set(self.new.profiles[name]["capped"])]
            expected |= {(name, key, key in capped[1]) for key in (capped[0] ^ capped[1]) & shared}
        told = [(each["profile"], each["setting"], each["after"] is not None) for change in self.docs[tier]["caps"]
                for each in change["effects"] if (each["before"] is None) != (each["after"] is None)]
        self.same(f"{tier}: values newly capped or no longer", sorted(told), sorted(expected))
        self.counts["caps"] += len(expected)

    def once(self):
        for tier, doc in self.docs.items():
            for part, word in (("changes", "setting"), ("caps", "setting"), ("scripts", "script")):
                pairs = Counter((each["profile"], each[word]) for change in doc[part] for each in change["effects"])
                self.same(f"{tier}: {part} told twice", [pair for pair, number in pairs.items() if number > 1], [])
            groups_of = {"profiles": doc["profiles"]["causes"], **{part: doc[part] for part in ("changes", "caps", "scripts")}}
            for part, groups in groups_of.items():
                keys = Counter(json.dumps(sorted(json.dumps(cause, sort_keys=True) for cause in group["causes"])) for group in groups)
                self.same(f"{tier}: {part}: sets of causes that stand twice", [key for key, number in keys.items() if number > 1], [])
                self.same(f"{tier}: {part} without a cause", [group for group in groups if not group["causes"]], [])
            for word in ("added", "removed", "moved"):
                names = [each if isinstance(each, str) else each["profile"] for each in doc["profiles"][word]]
                by_cause = [name for group in doc["profiles"]["causes"] for name in group[word]]
                self.same(f"{tier}: {word} by cause", sorted(by_cause), sorted(names))

    # 3: the causes

    def causes(self, *parts):
        doc = self.docs["supporter"]
        groups = {"profiles": doc["profiles"]["causes"], **{part: doc[part] for part in ("changes", "caps", "scripts")}}
        for part in parts:
            yield from (cause for group in groups[part] for cause in group["causes"]) if part in groups else doc[part]

    def steps_of(self, cause):
        return [number for number, step in enumerate(self.steps) if step.matches(cause)]

    def named(self):
        """Each cause is one of the edits; each edit that says something is told, with its commit."""
        everything = list(self.causes("profiles", "changes", "caps", "scripts", "dictionary", "compatibility", "no_effect"))
        told = set()
        for cause in everything:
            found = self.steps_of(cause)
            told.update(found)
            if not found:
                self.wrong(f"a cause that is none of the edits {self.names_of(range(len(self.steps)))}: {cause}")
            self.clean = self.clean and len(found) == 1
            if len(found) == 1 and not any(self.commits[found[0]].startswith(commit) for commit in cause["commits"]):
                self.wrong(f"{cause} has not the commit {self.commits[found[0]]}")
        renamed = self.docs["supporter"]["profiles"]["renamed"]          # tells of a rename without a cause
        for number, step in enumerate(self.steps):
            if not (step.layout or step.words or number in told or (step.renames and renamed)):
                self.wrong(f"nowhere told: {step.name}")
        self.counts["edits told"] += len(told)
        notes = [step for step in self.steps if step.words]
        for tier, doc in self.docs.items():
            wanted = [note for note in self.last.notes.values() if tier == "supporter" or note.get("tier") == "free"]
            self.same(f"{tier}: notes", sorted(each["text"] for each in doc["notes"]), sorted(note["text"] for note in wanted))
        self.counts["notes"] += len(notes)

    def hidden(self):
        """Names that the free audience may not read: of fragments, titles and profiles that were free on no side."""
        sides = [self.old, self.new]
        known = {fragment.id for side in sides for fragment in side.tree.every() if fragment.id not in side.hidden}
        self.hidden_units = set.union(*(side.hidden for side in sides)) - known
        units = {unit.partition("/")[2] for unit in self.hidden_units} - {unit.partition("/")[2] for unit in known}
        everything = [pair for sources in (self.first, self.last) for pair in sources.units().items()]
        titles = {data["title"] for unit, data in everything if unit in self.hidden_units}
        profiles = {name for side in sides for name in side.profiles} - {name for side in sides for name in side.view("free")}
        return sorted(units | titles | profiles)

    def author(self, number):
        """Who makes an edit; one of supporter fragments alone is made by somebody whom the free audience may not know."""
        units = {mark.unit for mark in self.steps[number].marks}
        return f"{'Hidden' if units and units <= self.hidden_units else 'Open'} Contributor {number}"

    def free_of_secrets(self):
        texts = {"JSON": json.dumps(self.docs["free"], ensure_ascii=False)}
        for words in ([], ["--list"]):
            done = self.program.run("changelog", "1.0.0", "1.1.0", "--tier", "free", *words)
            texts[" ".join(["Markdown", *words])] = done.stdout
            if done.returncode or not done.stdout.startswith("## "):
                self.wrong(f"Markdown: exit code {done.returncode}, {done.stdout[:80]!r} {done.stderr[:200]!r}")
        for name, text in texts.items():
            found = [each for each in [*self.hidden_names, "Hidden Contributor", "Word of supporter"]
                     if each in text and re.search(rf"(?<![\w-]){re.escape(each)}(?![\w-])", text)]
            self.same(f"supporter names in the free {name}", found, [])
        self.counts["hidden names"] += len(self.hidden_names)

    def same_dictionary(self):
        return self.first.dictionary == self.last.dictionary and not any(step.renamed for step in self.steps)

    def sufficient(self):
        """The causes alone lead from the old sets to the new ones."""
        if not (self.same_dictionary() and self.clean):
            return
        named = {number for cause in self.causes("profiles", "changes", "scripts") for number in self.steps_of(cause)}
        side = self.side(named)
        if side is None:
            self.counts["sufficiency: unsound with the causes alone"] += 1
            return
        self.counts["sufficiency checked"] += 1
        self.counts["edits left out for sufficiency"] += len(self.steps) - len(named)
        others = set(range(len(self.steps))) - named
        self.same(f"with the causes alone ({self.names_of(named)}; left out: {self.names_of(others)})", *self.unlike(side, WORDS))

    def idle(self):
        """Edits that are said to change nothing can be left out."""
        if any(step.renamed for step in self.steps) or not self.clean:
            return
        active = {number for cause in self.causes("profiles", "changes", "caps", "scripts") for number in self.steps_of(cause)}
        idle = {number for cause in self.causes("no_effect") for number in self.steps_of(cause)} - active
        if not idle:
            return
        side = self.side(set(range(len(self.steps))) - idle)
        if side is None:
            self.counts["no effect: unsound without them"] += 1
            return
        self.counts["edits without effect"] += len(idle)
        self.same(f"without what changes nothing ({self.names_of(idle)})", *self.unlike(side, (*WORDS, "capped")))

    def unlike(self, side, words):
        """Where the sets of a side are not the new ones, and what stands there in both. Two things have no causes, and are counted
        and left out: a value that is equal on both sides, though one edit may hold another off from it; and the values of a profile
        that was added, though an edit may change them."""
        got, new, old = _places(side.profiles), _places(self.new.profiles), _places(self.old.profiles)
        found = {at for at in {*got, *new} if got.get(at) != new.get(at) and at[1] in words}
        held_off = {at for at in found if old.get(at) == new.get(at)}
        added = {at for at in found if at[0] not in self.old.profiles and at[1] not in ("tier", "status")}
        self.counts["pairs with an edit that holds off another"] += bool(held_off)
        self.counts["pairs with an edit that changes an added profile alone"] += bool(added - held_off)
        return [{at: values.get(at) for at in found - held_off - added} for values in (got, new)]

    def names_of(self, numbers):
        return "; ".join(self.steps[number].name[:120] for number in sorted(numbers)) or "none"

    def necessary(self):
        """A cause is needed: without that edit, the difference is another. Where it is not, two edits are enough each by itself."""
        if len(self.steps) > 4 or any(step.renamed for step in self.steps) or not self.clean:
            return
        for what, causes, is_as_new in self.differences():
            group = {self.steps_of(cause)[0] for cause in causes}
            for number in group:
                self.needed(what, number, group, is_as_new)

    def differences(self):
        """Each difference that is told: its name, its causes, and whether it is in another side as in the new one."""
        doc, new = self.docs["supporter"], self.new.profiles
        for part, word, inside in (("changes", "setting", "settings"), ("scripts", "script", "scripts")):
            for group in doc[part]:
                for each in group["effects"]:
                    name, key = each["profile"], each[word]
                    yield f"{part} {key} in {name}", group["causes"], lambda side: (
                        name in side.profiles and side.profiles[name][inside].get(key) == new[name][inside].get(key))
        for group in doc["profiles"]["causes"]:
            for name in [*group["added"], *group["removed"]]:
                yield f"place of {name}", group["causes"], lambda side: (name in side.profiles) == (name in new)
            for name in group["moved"]:
                yield f"move of {name}", group["causes"], lambda side: name in side.profiles and all(
                    side.profiles[name][word] == new[name][word] for word in ("tier", "status"))

    def needed(self, what, number, group, is_as_new):
        without = self.side(set(range(len(self.steps))) - {number})
        if without is None:
            self.counts["necessity: unsound without it"] += 1
            return
        self.counts[f"necessity checked, {'one cause' if len(group) == 1 else 'several causes'}"] += 1
        if not is_as_new(without):
            return
        other = self.side(group if len(group) == 1 else group - {number})
        if other and is_as_new(other) == (len(group) == 1):
            self.counts["necessity: each of two edits is enough"] += 1
        elif other or len(group) == 1:
            self.wrong(f"{what} is the same without the cause {self.steps[number].name}; causes {self.names_of(group)}; "
                       f"edits {self.names_of(range(len(self.steps)))}")

    # 4 and 5: the level, and other sides

    def level(self):
        doc = self.docs["supporter"]
        done = self.program.run("next-version", "1.0.0")
        lines = done.stdout.splitlines()
        wanted = self.expected_levels()
        if done.returncode or len(lines) != 2:
            return self.wrong(f"next-version: exit code {done.returncode}, {done.stdout!r} {done.stderr[:300]!r}")
        level = lines[1].partition(":")[0]
        if level not in wanted:
            self.wrong(f"next-version says {lines}, expected {wanted}; edits: {self.names_of(range(len(self.steps)))}")
        versions = {"major": "2.0.0", "minor": "1.1.0", "patch": "1.0.1", "none": "1.0.0"}
        self.same(f"the version for {level}", lines[0], versions.get(level))
        self.same("suggested and reason", [doc["suggested"], doc["reason"]], lines)
        self.counts[f"level {level}"] += 1

    def expected_levels(self):
        old, new = self.old.profiles, self.new.profiles
        to = {name: self.moved_to(name) for name in old}
        if any(to[name] not in new or TIERS.index(new[to[name]]["tier"]) > TIERS.index(old[name]["tier"]) for name in old):
            return ["major"]
        if set(new) - set(to.values()) or any(old[name][word] != new[to[name]][word] for name in old for word in WORDS):
            return ["minor"]
        if any(name != to[name] for name in old):
            return ["minor", "patch"]                # a rename with `replaces`: nobody loses a profile
        return ["none"] if all(step.layout for step in self.steps) else ["patch"]

    def other_sides(self, folder):
        here = self.json("1.0.0")
        if here:
            self.same("against the working tree", _alike(here), _alike(self.docs["supporter"]))
            self.same("the working tree's name", here["to"], "working tree")
        for tier in VIEWS:
            archive = archive_of(folder / "out", "1.0.0", tier)
            if archive and (found := self.json(archive, "1.1.0", "--tier", tier)):
                self.same(f"{tier}: against the archive", _told(found), _told(self.docs[tier]))
                self.counts["archives compared"] += 1


def _short(value, other):
    """The part of a value in which it differs from the other one, cut short."""
    if isinstance(value, dict) and isinstance(other, dict):
        keys = [key for key in sorted({*value, *other}, key=str) if value.get(key) != other.get(key) or (key in value) != (key in other)]
        inner = [f"{key!r}: {_short(value.get(key), other.get(key))}" for key in keys[:4]]
        text = "{" + ", ".join(inner + ["..."] * (len(keys) > 4)) + "}"
    elif isinstance(value, list) and isinstance(other, list):
        text = repr([each for each in value if each not in other]) + ("" if len(value) == len(other) else f" of {len(value)}")
    else:
        text = repr(value)
    return text if len(text) < 600 else text[:600] + "..."


def _places(profiles):
    """{(profile, word, key): what stands there}"""
    found = {}
    for name, profile in profiles.items():
        for word, value in profile.items():
            inner = value if isinstance(value, dict) else dict.fromkeys(value, True) if word == "capped" else {"": value}
            found |= {(name, word, key): each for key, each in inner.items()}
    return found


def _alike(doc):
    """The document without name and date of its sides, and without commits."""
    def without(data):
        if isinstance(data, dict):
            return {key: without(value) for key, value in data.items() if key != "commits"}
        return [without(each) for each in data] if isinstance(data, list) else data
    return {key: without(value) for key, value in doc.items() if key not in ("from", "to", "date")}


def _told(doc):
    """What a document tells of profiles, values and scripts, without the causes."""
    effects = {part: sorted(json.dumps(each, sort_keys=True) for change in doc[part] for each in change["effects"])
               for part in ("changes", "scripts")}
    return {**{key: value for key, value in doc["profiles"].items() if key != "causes"}, **effects}


def run(binary, seed):
    pair = Pair(binary, seed)
    profiles = f"{len(pair.old.profiles)} and {len(pair.new.profiles)} profiles, {len(pair.steps)} edits"
    return f"pair {seed}: {profiles}{'' if pair.useful else ', skipped'}", pair.problems, pair.counts, pair.useful


def main():
    arg, checks = arguments(__doc__, cases=50, first=1), Checks()
    counts, useful = Counter(), 0
    with ProcessPoolExecutor(2) as workers:
        for name, problems, found, used in workers.map(partial(run, arg.binary), range(arg.first, arg.first + arg.cases)):
            counts, useful = counts + found, useful + used
            checks.that(name, not problems, "\n      ".join(problems[:6] + problems[6:][-1:]))
    for name, number in sorted(counts.items()):
        print(f"      {name}: {number}")
    checks.that(f"{useful} of {arg.cases} pairs were useful", 2 * useful >= arg.cases)
    if arg.cases >= 50:
        for name in ("effects, supporter", "effects, free", "scripts, supporter", "scripts, free", "caps", "notes", "edits told",
                     "hidden names", "sufficiency checked", "edits left out for sufficiency", "edits without effect",
                     "necessity checked, one cause", "necessity checked, several causes", "archives compared",
                     "level major", "level minor", "level patch", "level none"):
            checks.that(f"{name}: {counts[name]}", counts[name] > 0)
    checks.finish()


if __name__ == "__main__":
    main()
