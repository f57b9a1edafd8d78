"""A tree as data, for changelog.py: written to a folder, resolved by the reference, and as the history of a repository."""
import copy
import itertools
import json
import re
import subprocess
import zipfile

from checks import write_yaml
from formula import evaluate, parse
from quantities import Problem, number_in, written_number
from resolver import KINDS, Tree, as_list, flat, glob, is_limit, is_operation, resolved

ABOUT = {"publisher": "An invented publisher", "licence": "CC0-1.0"}
GONE = object()                                        # what a removed piece is replaced by
WORDS = ("tier", "status", "settings", "scripts")      # what a profile is, to those who read it
SLOTS = ["start", "end", "layer", "pause"]
STOPS = {"settings": is_operation, "adjust": is_operation, "limits": is_limit, "scripts": lambda value: True}


def items(data, part):
    """The pieces of a part, by dotted key."""
    return dict(flat(data.get(part), STOPS[part]))


def put(data, part, key, value):
    found = items(data, part)
    found.pop(key, None) if value is GONE else found.update({key: copy.deepcopy(value)})
    if found or part == "settings":
        data[part] = found
    else:
        data.pop(part, None)


def write_again(path, data):
    """Writes the file as write_yaml does, which is slow, and remembers its text."""
    key = repr(data)
    if key in _texts:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(_texts[key], encoding="utf-8")
    else:
        write_yaml(path, data)
        _texts[key] = path.read_text(encoding="utf-8")


_texts = {}


def files_of(folder):
    return sorted(path for part in ("profiles-src", "schema", "release") for path in (folder / part).rglob("*.yaml"))


class Sources:
    """A tree as data. A unit is a fragment's id, fittings included: `machine/amber-7+0.4`."""

    def __init__(self, dictionary, fragments, plan, about):
        self.dictionary, self.fragments, self.plan, self.about = dictionary, fragments, plan, about
        self.notes, self.layout = {}, {}

    def path(self, unit):
        kind, stem = unit.partition("+")[0].split("/")
        for path in self.fragments:
            if path.startswith(f"{kind}/") and path.rpartition("/")[2] == stem:
                return path
        raise LookupError(unit)

    def unit(self, unit):
        data, fitting = self.fragments[self.path(unit)], unit.partition("+")[2]
        return data["fittings"][fitting] if fitting else data

    def units(self):
        """{unit: its data}"""
        found = {}
        for path, data in self.fragments.items():
            unit = f"{path.partition('/')[0]}/{path.rpartition('/')[2]}"
            found |= {unit: data, **{f"{unit}+{name}": inner for name, inner in data.get("fittings", {}).items()}}
        return found

    def after(self, steps):
        """A copy to which the steps have been applied."""
        found = copy.deepcopy(self)
        for step in steps:
            step.apply(found)
        return found

    def meaning(self):
        """All that it says, whatever its layout."""
        def plain(data):
            parts = {part: items(data, part) for part in STOPS if data.get(part)}
            if "limits" in parts:                                  # a limit caps unless it refuses
                parts["limits"] = {key: {at: bound for at, bound in limit.items() if bound != "cap"} if limit != "none" else limit
                                   for key, limit in parts["limits"].items()}
            conditions = {word: {k: as_list(v) for k, v in data[word].items()} for word in ("fits", "if") if word in data}
            blocks = [plain(block) for block in data.get("when", [])]
            inner = {"extends": as_list(data.get("extends")), "when": [block for block in blocks if len(block) > 1],
                     "fittings": {name: plain(fitting) for name, fitting in data.get("fittings", {}).items()}}
            return {k: v for k, v in {**data, **inner, **parts, **conditions}.items() if v}
        fragments = {unit: plain(data) for unit, data in self.units().items() if "+" not in unit}
        settings = {key: {**entry, "kinds": sorted(entry["kinds"])} for key, entry in self.dictionary["settings"].items()}
        return fragments, {**self.dictionary, "settings": settings}, self.plan, self.about, self.notes

    def write(self, folder):
        for path in files_of(folder):
            path.unlink()
        files = {"schema/dictionary": self.dictionary, "release/plan": self.plan, "profiles-src/bindery": {**ABOUT, **self.about},
                 **{f"profiles-src/{name}": data for name, data in self.fragments.items()},
                 **{f"release/notes/{name}": note for name, note in self.notes.items()}}
        for name, data in files.items():
            write_again(folder / f"{name}.yaml", data)
        others = {"schema": "schema/dictionary.yaml", "plan": "release/plan.yaml", "bindery": "profiles-src/bindery.yaml"}
        for what, how in self.layout.items():
            path = folder / (others.get(what) or f"profiles-src/{self.path(what)}.yaml")
            text = path.read_text(encoding="utf-8")
            if how == "comment":
                text = f"# A remark that says nothing\n{text}\n# and another\n"
            path.write_bytes(text.replace("\n", "\r\n" if how == "crlf" else "\n").encode())
            if how == "mode":
                path.chmod(0o755)


# The resolved sets of a tree

class Unsound(Exception):
    """The tree has an error."""


class Side:
    """The resolved sets of a tree, written to `folder` for it: `profiles` holds {id: {tier, status, settings, scripts, capped}}."""

    def __init__(self, sources, folder):
        try:
            sources.write(folder)
            self.tree = Tree(folder)
            self.hidden = {f.id for f in self.tree.every() if self.is_supporter(f)}
            self.profiles = self.resolve(sources)
        except (Problem, LookupError) as problem:
            raise Unsound(str(problem)) from problem
        if not self.profiles:
            raise Unsound("no profile")

    def is_supporter(self, fragment):
        supporter = any(each.tier for each in self.tree.order(fragment.kind, fragment.name))
        if fragment.problem or (supporter and fragment.says_free):
            raise fragment.problem or Problem("tier", fragment.id)
        return supporter

    def resolve(self, sources):
        for entry in sources.plan["sets"].values():
            for take, kind in itertools.product(entry["take"], KINDS):
                for pattern in as_list(take.get(kind, "*")):
                    if not any(glob(pattern.removeprefix("!"), name) for name in self.tree.fragments[kind]):
                        raise Problem("plan", pattern)
        taken, units = self.tree.selected(), sources.units()
        for triple in self.tree.selected(drafts=True):
            if "error" in (found := resolved(self.tree, triple, taken)):
                raise Problem(found["error"], found["message"])
        found = {"/".join(triple): {**resolved(self.tree, triple, taken), "scripts": self.scripts(triple, units)} for triple in taken}
        return {name: {word: profile[word] for word in (*WORDS, "capped")} for name, profile in found.items()}

    def scripts(self, triple, units):
        """The scripts of a profile: a text replaces what lies below, `before` and `after` add to it, `none` drops it."""
        profile, found = self.tree.profile(triple), {}
        for fragment in profile.fragments:
            data = units[fragment.id]
            for layer, block in zip(fragment.layers, [data, *data.get("when", [])]):
                if layer.condition is not None and not profile.condition(layer.condition):
                    continue
                for slot, script in block.get("scripts", {}).items():
                    if script == "none":
                        found.pop(slot, None)
                    elif isinstance(script, str):
                        found[slot] = script
                    else:
                        found[slot] = script.get("before", "") + found.get(slot, "") + script.get("after", "")
        return {slot: re.sub(r"\$\{([^}]*)\}", lambda place: self.filled(profile, place[1]), text) for slot, text in found.items()}

    def filled(self, profile, text):
        node = parse(text)
        value = evaluate(node, profile.read, profile.has)
        if isinstance(value, (bool, str)):
            return str(value).lower() if isinstance(value, bool) else value
        return written_number(number_in(value, self.tree.dictionary[node[1]].unit if node[0] == "key" else None))

    def view(self, tier):
        return {name: profile for name, profile in self.profiles.items() if tier == "supporter" or profile["tier"] == "free"}


# The history in git, and releases

def snapshot(sources, folder):
    """Writes the tree; gives back what a stream for `git fast-import` says of its files."""
    sources.write(folder)
    lines = [b"deleteall\n"]
    for path in files_of(folder):
        mode = "100755" if path.stat().st_mode & 0o100 else "100644"
        data = path.read_bytes()
        lines.append(f"M {mode} inline {path.relative_to(folder)}\ndata {len(data)}\n".encode() + data + b"\n")
    return b"".join(lines)


def commit_all(folder, history):
    """Makes a repository of [(sources, author)], whose first commit is tagged 1.0.0 and whose last 1.1.0; gives back the ids."""
    stream = []
    for number, (sources, author) in enumerate(history, 1):
        stream.append(f"commit refs/heads/main\nmark :{number}\n".encode())
        for role in ("author", "committer"):
            stream.append(f"{role} {author} <someone@example.org> {1700000000 + number * 100} +0000\n".encode())
        stream += [b"data 4\nEdit\n", snapshot(sources, folder), b"\n"]
    tagger = b"tagger A. Contributor <someone@example.org> 1700100000 +0000\ndata 4\nTag\n\n"
    stream += [b"reset refs/tags/1.0.0\nfrom :1\n\n", f"tag 1.1.0\nfrom :{len(history)}\n".encode(), tagger]     # light; annotated
    for words, given in ((["init", "-q", "-b", "main"], b""), (["fast-import", "--quiet", "--export-marks=.git/marks"], b"".join(stream)),
                         (["reset", "-q"], b"")):
        subprocess.run(["git", *words], cwd=folder, input=given, check=True, capture_output=True)
    marks = dict(line.split() for line in (folder / ".git" / "marks").read_text().splitlines())
    return [marks[f":{number}"] for number in range(1, len(history) + 1)]


def archive_of(folder, version, tier):
    """The archive of a release, or None: there is none without a profile."""
    return next((folder / version / tier).glob("*.zip"), None)


def published(archive):
    """{id: {tier, status, settings, scripts}} of a release archive."""
    if archive is None:
        return {}
    with zipfile.ZipFile(archive) as opened:
        return {each["id"]: json.loads(opened.read(each["path"])) for each in json.loads(opened.read("contents.json"))["profiles"]}
