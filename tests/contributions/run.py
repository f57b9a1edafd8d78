#!/usr/bin/env python3
"""Sends contributions to the tree in base/, as folder, zip and branch, and compares the verdict of `validate` with the file's.

run.py PROGRAM [FILE.contribution...]        README.md tells how a contribution is written.
"""
import argparse
import hashlib
import json
import os
import pathlib
import re
import shlex
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import threading
import time
import warnings
import zipfile
from collections import Counter
from dataclasses import dataclass

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "cases"))
from run import generated, numbered, unescape  # noqa: E402  (the cases' own way to write what text cannot say)

FORMS = ("folder", "zip", "branch")
FORMATS = ("text", "json", "sarif", "markdown")
SECRET = "this-stands-outside-the-tree"            # no answer may hold it
MARK = re.compile(r"[ \t]*<- ((?:(?:warning|note):)?[a-z-]+(?: (?:(?:warning|note):)?[a-z-]+)*)[ \t]*$", re.M)
PLACE = re.compile(r"^(?:(?P<file>[^\n]*?):(?P<line>\d+):\d+: |(?P<other>[^\n ][^\n]*?): )?(?P<severity>error|warning|note)\[(?P<code>[a-z-]+)\]: ")
HIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
DATE = (2001, 2, 3, 4, 5, 6)


class Malformed(Exception):
    """The contribution's file itself is wrong."""


# --- what a file says ---

@dataclass
class Expected:
    """A diagnostic that must be reported; `-` for a file or line leaves it open, `many` takes one or more."""
    severity: str
    code: str
    file: str = "-"
    line: str = "-"
    many: bool = False

    def takes(self, got):
        severity, code, file, line = got
        return (self.severity, self.code) == (severity, code) and self.file in ("-", file) and self.line in ("-", str(line))

    def open(self):
        return (self.many, self.file == "-", self.line == "-")

    def __str__(self):
        return f"{self.severity}:{self.code} {self.file} {self.line}{' many' if self.many else ''}"


def expected_of(line):
    words = line.split()
    severity, _, code = words[0].rpartition(":")
    many = words[-1] == "many"
    file, place = (words[1:-1] if many else words[1:]) + ["-"] * max(0, 3 - len(words) + many)
    return Expected(severity or "error", code, file, place, many)


class Contribution:
    """A file of this folder: what stands in the base, what is sent, and what `validate` says of it."""

    def __init__(self, path):
        self.path, self.name = path, path.stem
        lines = path.read_text(encoding="utf-8").split("\n")
        if not lines[0].startswith("# ") or len(lines[0]) < 12:
            raise Malformed("the first line is a comment that says in a sentence what is wrong")
        self.sentence, self.sections = lines[0][2:], []
        for number, line in enumerate(lines, 1):
            if line.startswith("== "):
                self.sections.append((shlex.split(line[3:]), []))
            elif self.sections:
                self.sections[-1][1].append(line)
            elif line and not line.startswith("#"):
                raise Malformed(f"line {number} stands in no section")
        for _, body in self.sections:
            while body and not body[-1].strip():
                body.pop()
        self.forms, self.options, self.brought, self.standing, self.code = list(FORMS), [], [], [], None
        for words, body in self.sections:
            if words[0] == "as":
                self.forms = words[1:]
            elif words[0] == "options":
                self.options = words[1:]
            elif words[0] == "expect":
                self.code = int(words[1])
                self.brought = [expected_of(line) for line in body if line.strip() and not line.startswith("#")]
            elif words[0] == "standing":
                self.standing = [expected_of(line) for line in body if line.strip() and not line.startswith("#")]
        if self.code is None or not set(self.forms) <= set(FORMS) or not self.forms:
            raise Malformed("it says no `== expect CODE`, or comes in a form that there is not")

    def steps(self, of_base):
        for words, body in self.sections:
            if words[0] in ("as", "options", "expect", "standing"):
                continue
            if (words[0] == "base") == of_base:
                yield (words[1:] if of_base else words), body


# --- files below a folder ---

class Files:
    """Writes what sections say below `folder`; a file to be edited that is not there is taken from `below`."""

    def __init__(self, folder, below=None):
        self.folder, self.below = folder, below
        self.marks = []            # of all lines that are marked `<- code`

    def place(self, path):
        target = self.folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        if self.below and not target.exists() and not target.is_symlink() and (self.below / path).is_file():
            shutil.copyfile(self.below / path, target)
        return target

    def write(self, path, text):
        """Writes it without its marks, and remembers what they say."""
        for number, line in enumerate(text.split("\n"), 1):
            if found := MARK.search(line):
                self.marks += [expected_of(f"{code} {path} {number}") for code in found[1].split()]
        self.place(path).write_text(MARK.sub("", text), encoding="utf-8", newline="")

    def step(self, words, body):
        """False where it is none of its sections."""
        name, rest = words[0], words[1:]
        if ("/" in name or "." in name) and not rest:
            self.write(name, "".join(line + "\n" for line in body))
        elif name == "edit":
            self.edit(rest[0], body)
        elif name == "append":
            self.write(rest[0], self.place(rest[0]).read_text(encoding="utf-8") + "".join(line + "\n" for line in body))
        elif name == "bytes":
            self.place(rest[0]).write_bytes(b"".join(unescape(line) for line in body))
        elif name == "generate":
            if len(rest) == 1:
                self.place(rest[0]).write_bytes(generated(body))
            else:
                for i in range(int(rest[1])):
                    self.place(numbered(rest[0], i)).write_bytes(generated([numbered(line, i) for line in body]))
        elif name == "remove":
            self.place(rest[0]).unlink()
        elif name == "link":
            self.place(rest[0]).symlink_to(rest[2])
        elif name == "fifo":
            os.mkfifo(self.place(rest[0]))
        elif name == "name":        # a file whose name holds escapes
            target = os.fsencode(self.folder) + b"/" + unescape(rest[0])
            os.makedirs(os.path.dirname(target), exist_ok=True)
            with open(target, "wb") as opened:
                opened.write("".join(line + "\n" for line in body).encode())
        else:
            return False
        return True

    def edit(self, path, body):
        """Pairs of lines: `- old text`, which stands once, and `+ new text`, with escapes."""
        text = self.place(path).read_text(encoding="utf-8")
        for old, new in zip(body[::2], body[1::2], strict=True):
            mark = MARK.search(new)
            wanted, given = unescape(old[2:]).decode(), unescape(MARK.sub("", new)[2:]).decode() + (mark[0] if mark else "")
            if not (old.startswith("- ") and new.startswith("+ ")) or text.count(wanted) != 1:
                raise Malformed(f"'{old}' stands {text.count(wanted)} times in {path}")
            text = text.replace(wanted, given)
        self.write(path, text)


# --- zips, hostile ones too ---

class Entry(zipfile.ZipInfo):
    """An entry with the name as bytes, and with flags that `zipfile` would not write."""

    def __init__(self, name, mode=0o100644, flags=0, system=3):
        super().__init__("x", DATE)
        self.raw, self.more = name, flags
        self.filename = name.decode("utf-8", "surrogateescape")
        self.external_attr, self.create_system = mode << 16, system
        self.compress_type = zipfile.ZIP_DEFLATED

    def _encodeFilenameFlags(self):
        return self.raw, self.flag_bits | self.more | (0 if self.raw.isascii() else 0x800)


def bytes_of(body):
    return "".join(line + "\n" for line in body).encode()


class Zip:
    """Lays a folder and the entries of sections into an archive."""

    def __init__(self):
        self.entries, self.cut, self.top = [], None, ""

    def step(self, words, body):
        name, rest = words[0], words[1:]
        if name == "entry":         # entry NAME [mode=0120777] [flags=1]: one more, written after the folder's files
            options = dict(word.split("=") for word in rest[1:])
            data = bytes_of(body)
            if stat.S_ISLNK(mode := int(options.get("mode", "0100644"), 8)):
                data = data.rstrip(b"\n")
            self.entries.append((unescape(rest[0]), data, mode, int(options.get("flags", "0"))))
        elif name == "bomb":        # bomb NAME BYTES [COUNT]: blanks that shrink to a thousandth
            for i in range(int(rest[2]) if len(rest) > 2 else 1):
                self.entries.append((numbered(rest[0], i).encode(), int(rest[1]), 0o100644, 0))
        elif name == "nested":      # nested NAME FILE: an entry that is a zip of one file
            with tempfile.TemporaryFile() as opened:
                with zipfile.ZipFile(opened, "w") as inner:
                    inner.writestr(Entry(rest[1].encode()), bytes_of(body))
                opened.seek(0)
                self.entries.append((rest[0].encode(), opened.read(), 0o100644, 0))
        elif name == "cut":         # cut BYTES: what the archive loses at its end
            self.cut = int(rest[0])
        elif name == "wrapped":     # wrapped NAME: all stands in one folder
            self.top = rest[0] + "/"
        else:
            return False
        return True

    def write(self, folder, target):
        warnings.simplefilter("ignore")                        # of a name that stands twice, which is meant
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted(folder.rglob("*")):
                name = os.fsencode(self.top + str(path.relative_to(folder)))
                mode = path.lstat().st_mode
                if stat.S_ISLNK(mode):
                    archive.writestr(Entry(name, stat.S_IFLNK | 0o777), os.readlink(path))
                elif stat.S_ISFIFO(mode):
                    archive.writestr(Entry(name, mode), b"")
                elif stat.S_ISREG(mode):
                    archive.writestr(Entry(name, stat.S_IFREG | 0o644), path.read_bytes())
            for name, data, mode, flags in self.entries:
                entry = Entry(self.top.encode() + name, mode, flags)
                if isinstance(data, int):
                    with archive.open(entry, "w") as opened:
                        for at in range(0, data, 1 << 20):
                            opened.write(b" " * min(1 << 20, data - at))
                else:
                    archive.writestr(entry, data)
        if self.cut:
            target.write_bytes(target.read_bytes()[:-self.cut] or b"This is no archive.\n")


# --- git ---

class Branch:
    """A repository whose branch `main` is the base, and a branch for what is sent."""

    def __init__(self, tree, env):
        self.tree, self.env, self.given = tree, env, False
        self.git("init", "--quiet", "--initial-branch=main")
        self.commit("A. Publisher", ["The base"])
        self.base = self.git("rev-parse", "HEAD").strip()
        self.git("checkout", "--quiet", "-b", "offer")

    def git(self, *words, text="", **env):
        return subprocess.run(["git", "-C", str(self.tree), *words], env=self.env | env, input=text, check=True, capture_output=True, text=True,
                              timeout=60).stdout

    def commit(self, who, message):
        email = re.sub("[^a-z]+", ".", who.lower()).strip(".") + "@example.org"
        person = {f"GIT_{role}_{what}": text for role in ("AUTHOR", "COMMITTER")
                  for what, text in (("NAME", who), ("EMAIL", email), ("DATE", "2001-02-03T04:05:06Z"))}
        self.git("add", "--all")
        self.git("commit", "--quiet", "--allow-empty", "--file", "-", text="\n".join(message), **person)

    def step(self, words, body):
        """`commit WHO`: what stands there by now, with the lines as its message."""
        if words[0] != "commit":
            return False
        self.given = True
        self.commit(words[1], body)
        return True

    def close(self):
        if not self.given:
            self.commit("A. Contributor", ["Offer it", "", "Signed-off-by: A. Contributor <a.contributor@example.org>"])


# --- the runs ---

class Trial:
    """One contribution in one form; `problems` gathers what is wrong."""

    def __init__(self, program, contribution, form, limits):
        self.program, self.contribution, self.form, self.limits = program, contribution, form, limits
        self.problems, self.most_seconds, self.most_memory = [], 0.0, 0

    def run(self):
        with tempfile.TemporaryDirectory(prefix="bindery-contribution-") as folder:
            self.work = pathlib.Path(folder).resolve()
            self.tree = self.work / "tree"
            for each in ("home", "tmp", "outside"):
                (self.work / each).mkdir()
            (self.work / "outside" / "secret.yaml").write_text(f"title: {SECRET}\nabout: {SECRET}\nauthors: [{SECRET}]\n")
            self.env = {"PATH": os.environ.get("PATH", ""), "HOME": str(self.work / "home"), "TMPDIR": str(self.work / "tmp"), "LC_ALL": "C.UTF-8",
                        "TZ": "UTC", "GIT_CONFIG_NOSYSTEM": "1", "ASAN_OPTIONS": "exitcode=99", "UBSAN_OPTIONS": "halt_on_error=1:exitcode=99",
                        "LSAN_OPTIONS": f"suppressions={HERE.parent / 'leaks.txt'}:print_suppressions=0"}
            self.compare(self.prepare())
        return self.problems

    def prepare(self):
        """Makes base and contribution; gives back the words of the command."""
        shutil.copytree(HERE / "base", self.tree)
        base = Files(self.tree)
        for words, body in self.contribution.steps(True):
            if not base.step(words, body):
                raise Malformed(f"unknown section '{' '.join(words)}'")
        branch = Branch(self.tree, self.env) if self.form == "branch" else None
        files = Files(self.tree) if branch else Files(self.work / "overlay", self.tree)
        files.folder.mkdir(exist_ok=True)
        archive = Zip()
        for words, body in self.contribution.steps(False):
            other = branch.step(words, body) if branch else words[0] == "commit" or archive.step(words, body)
            if not other and not files.step(words, body):
                raise Malformed(f"unknown section '{' '.join(words)}'")
        self.brought, self.standing = self.contribution.brought + files.marks, self.contribution.standing + base.marks
        self.commit = branch.base if branch else ""
        if branch:
            branch.close()
            return ["--since", "main"]
        if self.form == "folder":
            return ["--overlay", str(self.work / "overlay")]
        archive.write(self.work / "overlay", self.work / "offer.zip")
        shutil.rmtree(self.work / "overlay")
        return ["--overlay", str(self.work / "offer.zip")]

    def wrong(self, text, where=""):
        self.problems.append((text, f"{self.form} {where}".strip()))

    def compare(self, words):
        before = self.state()
        for form in FORMATS:
            code, out, err = self.execute("validate", *words, *self.contribution.options, "--format", form)
            if code != self.contribution.code:
                self.wrong(f"exit code {code}, expected {self.contribution.code}" + (f": {(err or out)[:300]!r}" if code not in (0, 1) else ""), form)
            if form == "json":
                self.judge_json(out)
            elif form == "text":
                self.same("brought", self.told(out + "\n" + err), self.brought, form)
            for stream in (out, err):
                if SECRET in stream:
                    self.wrong("it tells what stands outside the tree", form)
                if found := HIDDEN.search(stream):
                    self.wrong(f"it prints the hidden character U+{ord(found[0]):04X}", form)
            if (after := self.state()) != before:
                changed = sorted(path for path in {*before, *after} if before.get(path) != after.get(path))
                self.wrong(f"it has written {changed[:5]}", form)
                before = after

    def execute(self, *words):
        """Exit code, output and errors of the program, which must be quick and small."""
        command = [str(self.program), "-C", str(self.tree), *words]
        with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
            begin = time.monotonic()
            process = subprocess.Popen(command, cwd=self.work, env=self.env, stdin=subprocess.DEVNULL, stdout=out, stderr=err)
            timer = threading.Timer(6 * self.limits.seconds, process.kill)
            timer.start()
            _, status, usage = os.wait4(process.pid, 0)
            timer.cancel()
            took, memory = time.monotonic() - begin, usage.ru_maxrss // 1024
            code = process.returncode = os.waitstatus_to_exitcode(status)
            texts = []
            for stream in (out, err):
                stream.seek(0)
                texts.append(stream.read().decode("utf-8", "backslashreplace"))
        self.most_seconds, self.most_memory = max(self.most_seconds, took), max(self.most_memory, memory)
        what = f"{words[0]} {' '.join(words[3:])}"
        if took > self.limits.seconds:
            self.wrong(f"{what} takes {took:.1f} s")
        if memory > self.limits.megabytes:
            self.wrong(f"{what} takes {memory} MB")
        if code < 0:
            self.wrong(f"{what} ends by {signal.Signals(-code).name}")
        elif code not in (0, 1, 2, 3):
            self.wrong(f"{what} ends with exit code {code}, which the program does not have; {texts[1][:500]!r}")
        return code, *texts

    def judge_json(self, out):
        try:
            found = json.loads(out)
        except ValueError:
            return self.wrong(f"no JSON: {out[:200]!r}", "json")
        for word, expected, name in (("diagnostics", self.brought, "brought"), ("standing", self.standing, "standing")):
            if not isinstance(found.get(word), list):
                self.wrong(f"the JSON has no list '{word}'", "json")
                continue
            self.same(name, [(each["severity"], each["code"], each.get("file") or "-", each.get("line") or "-")
                             for each in found[word]], expected, "json")
        if found.get("base") != self.commit:
            self.wrong(f"the JSON has the base {found.get('base')!r}, expected {self.commit!r}", "json")
        return None

    def told(self, text):
        """The diagnostics of a text."""
        found = (PLACE.match(line) for line in text.split("\n"))
        return [(each["severity"], each["code"], each["file"] or each["other"] or "-", each["line"] or "-") for each in found if each]

    def same(self, what, got, expected, where):
        """Each that is expected once, and nothing else."""
        left, lacking = list(got), []
        for each in sorted(expected, key=Expected.open):
            taken = [one for one in left if each.takes(one)][:None if each.many else 1]
            for one in taken:
                left.remove(one)
            if not taken:
                lacking.append(each)
        if lacking or left:
            lines = [f"not reported: {each}" for each in lacking]
            lines += [f"reported, and not expected: {severity}:{code} {file} {line}" + (f" ({number} times)" if number > 1 else "")
                      for (severity, code, file, line), number in sorted(Counter(left).items(), key=str)]
            self.wrong("\n      ".join([what, *lines[:12], *([f"and {len(lines) - 12} more"] if len(lines) > 12 else [])]), where)

    def state(self):
        """Every path of the work folder with its mode and digest, git's and what is remembered between runs too."""
        found = {}
        for folder, names, files in os.walk(os.fsencode(self.work)):
            for name in [*names, *files]:
                path = os.path.join(folder, name)
                about = os.lstat(path)
                data = b""
                if stat.S_ISREG(about.st_mode):
                    with open(path, "rb") as opened:
                        data = opened.read()
                found[os.path.relpath(path, os.fsencode(self.work))] = (about.st_mode, hashlib.sha256(data).hexdigest())
        return found


def check(program, path, limits):
    """True if the contribution gets its verdict in all of its forms."""
    try:
        contribution = Contribution(path)
        trials = [Trial(program, contribution, form, limits) for form in contribution.forms]
        problems = [problem for trial in trials for problem in trial.run()]
    except Malformed as wrong:
        print(f"FAIL  {path.name}: malformed: {wrong}")
        return False
    took, memory = max(trial.most_seconds for trial in trials), max(trial.most_memory for trial in trials)
    about = f"({', '.join(contribution.forms)}; {took:.2f} s, {memory} MB): {contribution.sentence}"
    print(f"{'FAIL ' if problems else 'ok   '} {contribution.name} {about}")
    for text in dict.fromkeys(text for text, _ in problems):
        print(f"    {', '.join(where for each, where in problems if each == text)}: {text}")
    return not problems


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program", type=pathlib.Path)
    parser.add_argument("files", nargs="*", type=pathlib.Path, help="all of this folder if none is named")
    parser.add_argument("--seconds", type=float, default=10, help="that a run may take")
    parser.add_argument("--megabytes", type=int, default=500, help="that a run may take; sanitizers need more")
    arguments = parser.parse_args()
    program = arguments.program.resolve()
    if not program.is_file():
        parser.error(f"there is no program {program}")
    files = arguments.files or sorted(HERE.glob("*.contribution"))
    results = [check(program, path.resolve(), arguments) for path in files]
    print(f"{results.count(True)} passed, {results.count(False)} failed")
    return 0 if results and all(results) else 1


if __name__ == "__main__":
    sys.exit(main())
