#!/usr/bin/env python3
"""Runs one case: lays a tree over base/, runs commands on it, and compares all they print with the file beside it.

run.py --program BINARY [--update] FILE.case...        README.md tells how a case is written.
"""
import argparse
import difflib
import hashlib
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
import zipfile

HERE = pathlib.Path(__file__).resolve().parent
TIMEOUT = 20  # seconds; whatever takes longer hangs
NOBODY = 65534


class CaseError(Exception):
    """The case file itself is wrong."""


def sections_of(text):
    """The first comment's sentence, and the sections: (header words, body) in their order."""
    lines = text.split("\n")
    if not lines[0].startswith("# ") or len(lines[0]) < 12:
        raise CaseError("the first line is a comment that says the behaviour in a sentence")
    found = []
    for number, line in enumerate(lines, 1):
        if line.startswith("== "):
            found.append((shlex.split(line[3:]), []))
        elif found:
            found[-1][1].append(line)
        elif line and not line.startswith("#"):
            raise CaseError(f"line {number} stands in no section")
    # Blank lines before the next section only part the two.
    for _, body in found:
        while body and not body[-1].strip():
            body.pop()
    return lines[0][2:], found


def unescape(text):
    """`\\xNN`, `\\n`, `\\r`, `\\t`, `\\0` and `\\\\` to bytes."""
    simple = {"n": b"\n", "r": b"\r", "t": b"\t", "0": b"\0", "\\": b"\\"}
    out = b""
    at = 0
    while at < len(text):
        if text[at] != "\\":
            out += text[at].encode()
            at += 1
        elif text[at + 1] == "x":
            out += bytes([int(text[at + 2:at + 4], 16)])
            at += 4
        else:
            out += simple[text[at + 1]]
            at += 2
    return out


def numbered(text, index):
    """`{n}`, `{n+1}` and `{n-1}` to numbers."""
    return re.sub(r"\{n([+-]\d+)?\}", lambda m: str(index + int(m[1] or 0)), text)


def generated(body):
    """Lines as they stand, and `@repeat N TEXT`, which writes TEXT (with escapes) N times, without a line break of its own."""
    out = b""
    for line in body:
        if line.startswith("@repeat "):
            _, count, text = line.split(" ", 2)
            out += b"".join(unescape(numbered(text, i)) for i in range(int(count)))
        else:
            out += line.encode() + b"\n"
    return out


class Case:
    def __init__(self, program, path):
        self.program = program
        self.text = path.read_text()
        self.problems = []  # of the run, whatever the expected file says
        self.out = []
        self.may_write = False
        self.as_nobody = False
        self.commits = []  # ids, in the order in which the case made them

    def run(self):
        """The whole story of the case as text."""
        self.sentence, sections = sections_of(self.text)
        if not any(words[0] == "run" for words, _ in sections):
            raise CaseError("no section `== run`")
        with tempfile.TemporaryDirectory(prefix="bindery-case-") as folder:
            self.work = pathlib.Path(folder).resolve()
            self.tree = self.work / "tree"
            shutil.copytree(HERE / "base", self.tree)
            # What the program may do must not depend on where it runs.
            self.settings = {"PATH": os.environ.get("PATH", ""), "HOME": folder, "LC_ALL": "C.UTF-8", "TZ": "UTC", "GIT_CONFIG_NOSYSTEM": "1",
                             # A sanitizer's report must not pass for an exit code of the program.
                             "ASAN_OPTIONS": "exitcode=99", "UBSAN_OPTIONS": "halt_on_error=1:exitcode=99",
                             "LSAN_OPTIONS": f"suppressions={HERE.parent / 'leaks.txt'}:print_suppressions=0"}
            try:
                for words, body in sections:
                    self.step(words, body)
            finally:
                self.open_up()
        return "\n".join(self.out) + "\n"

    # --- directives ---
    def step(self, words, body):
        name, arguments = words[0], words[1:]
        act = getattr(self, f"do_{name.replace('-', '_')}", None)
        if act is None:
            if arguments or "/" not in name:
                raise CaseError(f"unknown section '{' '.join(words)}'")
            self.write(name, "".join(self.with_commits(line) + "\n" for line in body).encode())
            return
        act(arguments, body)

    def with_commits(self, text):
        """`COMMIT-2` to the id of the second commit."""
        return re.sub(r"\bCOMMIT-(\d+)\b", lambda m: self.commits[int(m[1]) - 1], text)

    def place(self, path):
        """A path of the tree, or of the folder it stands in after `OUT/`."""
        return self.work / path if path.startswith("OUT/") else self.tree / path

    def write(self, path, data):
        target = self.place(path)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)

    def do_edit(self, arguments, body):
        """Pairs of lines: `- old text`, which stands once in the file, and `+ new text` (none: the text is removed), with escapes."""
        target = self.place(arguments[0])
        text = target.read_text()
        at = 0
        while at < len(body):
            old = body[at]
            new = body[at + 1] if at + 1 < len(body) and body[at + 1].startswith("+") else None
            wanted = unescape(old[2:]).decode()
            if not old.startswith("- ") or text.count(wanted) != 1:
                raise CaseError(f"'{old}' stands {text.count(wanted)} times in {arguments[0]}")
            text = text.replace(wanted, unescape(new[2:]).decode() if new else "")
            at += 2 if new is not None else 1
        target.write_text(text)

    def do_append(self, arguments, body):
        target = self.place(arguments[0])
        self.write(arguments[0], target.read_bytes() + "".join(line + "\n" for line in body).encode())

    def do_bytes(self, arguments, body):
        """The lines joined without line breaks; `\\n`, `\\xNN` and so on are escapes."""
        self.write(arguments[0], b"".join(unescape(line) for line in body))

    def do_generate(self, arguments, body):
        """`generate PATH [N]`: with N that many files, `{n}` in path and text being 0, 1, ..."""
        if len(arguments) == 1:
            self.write(arguments[0], generated(body))
            return
        for i in range(int(arguments[1])):
            self.write(numbered(arguments[0], i), generated([numbered(line, i) for line in body]))

    def do_remove(self, arguments, body):
        for path in arguments:
            target = self.place(path)
            shutil.rmtree(target) if target.is_dir() and not target.is_symlink() else target.unlink()

    def do_directory(self, arguments, body):
        for path in arguments:
            self.place(path).mkdir(parents=True)

    def do_link(self, arguments, body):
        path, arrow, goal = arguments
        self.place(path).parent.mkdir(parents=True, exist_ok=True)
        self.place(path).symlink_to(goal)

    def do_fifo(self, arguments, body):
        os.mkfifo(self.place(arguments[0]))

    def do_mode(self, arguments, body):
        self.place(arguments[1]).chmod(int(arguments[0], 8))

    def do_flip(self, arguments, body):
        """`flip PATH OFFSET`: inverts one byte; a negative offset counts from the end."""
        target = self.place(arguments[0])
        data = bytearray(target.read_bytes())
        data[int(arguments[1])] ^= 0xff
        target.write_bytes(bytes(data))

    def do_cut(self, arguments, body):
        """`cut PATH LENGTH`: keeps the first bytes."""
        target = self.place(arguments[0])
        target.write_bytes(target.read_bytes()[:int(arguments[1])])

    def do_zip(self, arguments, body):
        """Rewrites an archive: a line `remove NAME`, `add NAME TEXT` or `change NAME TEXT` each."""
        target = self.place(arguments[0])
        with zipfile.ZipFile(target) as archive:
            entries = {name: archive.read(name) for name in archive.namelist()}
        for line in body:
            act, name, *text = line.split(" ", 2)
            if (act == "add") == (name in entries):
                raise CaseError(f"'{line}' does not suit the archive")
            if act == "remove":
                del entries[name]
            else:
                entries[name] = unescape(text[0])
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, data in entries.items():
                archive.writestr(name, data)

    def do_unzip(self, arguments, body):
        """`unzip ARCHIVE FOLDER`"""
        with zipfile.ZipFile(self.place(arguments[0])) as archive:
            archive.extractall(self.place(arguments[1]))

    def do_print(self, arguments, body):
        """`print FILE [ENTRY]`: puts the text of a file, or of an archive's entry, into the output."""
        target = self.place(arguments[0])
        if len(arguments) > 1:
            with zipfile.ZipFile(target) as archive:
                data = archive.read(arguments[1])
        else:
            data = target.read_bytes()
        self.stream(" ".join(arguments), data)
        self.out.append("")

    def do_git(self, arguments, body):
        """`git init`, `git commit [ARGUMENTS]` (the lines are its message), `git clone [ARGUMENTS]` (a clone takes the tree's place), and
        any other command of git: with fixed names and times."""
        person = {f"GIT_{who}_{what}": text for who in ("AUTHOR", "COMMITTER")
                  for what, text in (("NAME", "A. Contributor"), ("EMAIL", "contributor@example.org"), ("DATE", "2001-02-03T04:05:06Z"))}

        def git(*words, check=True, text=b""):
            return subprocess.run(["git", "-C", str(self.tree), *words], env=self.settings | person, input=text, check=check, capture_output=True,
                                  timeout=TIMEOUT)
        if arguments[0] == "init":
            git("init", "--quiet", "--initial-branch=main")
        elif arguments[0] == "commit":
            git("add", "--all")
            git("commit", "--quiet", "--file", "-", *arguments[1:], text=unescape("\n".join(body) or "A change"))
        elif arguments[0] == "clone":
            self.tree.rename(self.work / "origin")
            self.tree.mkdir()
            git("clone", "--quiet", *arguments[1:], f"file://{self.work}/origin", ".")
        else:
            git(*arguments)
        head = git("rev-parse", "--verify", "HEAD", check=False).stdout.decode().strip()
        if head and head not in self.commits:
            self.commits.append(head)

    def do_env(self, arguments, body):
        for pair in arguments:
            name, value = pair.split("=", 1)
            self.settings[name] = value

    def do_nobody(self, arguments, body):
        """From here on the commands run without the rights of root, so that mode bits count."""
        self.as_nobody = True

    def do_writes(self, arguments, body):
        """The case writes on purpose: skip the check that a failed command writes nothing."""
        self.may_write = True

    # --- commands ---
    def do_run(self, arguments, body):
        for line in body:
            if line.strip() and not line.startswith("#"):
                self.command(line)

    def command(self, line):
        words = shlex.split(self.with_commits(line))
        program = str(self.program)
        options = {}
        if self.as_nobody and os.geteuid() == 0:
            copy = self.work / "program"
            if not copy.exists():
                shutil.copy(self.program, copy)
                copy.chmod(0o755)
            self.work.chmod(0o755)
            program = str(copy)
            options = {"user": NOBODY, "group": NOBODY, "extra_groups": []}
        before = self.state()
        where = [] if "-C" in words or words[:2] == ["list", "diagnostics"] else ["-C", "tree"]
        try:
            done = subprocess.run([program, *where, *words], cwd=self.work, env=self.settings, stdin=subprocess.DEVNULL, capture_output=True, timeout=TIMEOUT, **options)
            code, out, err = done.returncode, done.stdout, done.stderr
        except subprocess.TimeoutExpired as late:
            code, out, err = None, late.stdout or b"", late.stderr or b""
        if code is None:
            self.problems.append(f"`{line}` hangs: not done after {TIMEOUT} s")
        elif code < 0:
            self.problems.append(f"`{line}` ends by {signal.Signals(-code).name}")
        elif code not in (0, 1, 2, 3):
            self.problems.append(f"`{line}` ends with exit code {code}, which the program does not have")
        if not self.may_write and (words[0] != "build" or code != 0) and self.state() != before:
            self.problems.append(f"`{line}` has changed or written files")
        self.out.append(f"$ {line}")
        self.stream("out", out)
        self.stream("err", err)
        self.out.append(f"exit {code}\n")

    def stream(self, name, data):
        if not data:
            return
        text = data.decode("utf-8", "backslashreplace").replace(str(self.work), "WORK")
        text = re.sub(r"\b\d+(\.\d)? (kB|MB)\b", "SIZE", text)  # compressors differ
        text = re.sub(r"\bg[0-9a-f]{10}\b", "gCOMMIT", text)
        text = re.sub(r"\b(archive|contents): [0-9a-f]{64}\b", r"\1: DIGEST", text)  # of a ledger
        for number, commit in enumerate(self.commits, 1):
            text = text.replace(commit, f"COMMIT-{number}").replace(commit[:10], f"COMMIT-{number}")
        end = "" if text.endswith("\n") else "\n(no line break at the end)"
        self.out.append(f"-- {name}\n{text.removesuffix(chr(10))}{end}\n--")

    def state(self):
        """Every path below the work folder with its mode and digest; what is remembered between runs does not count."""
        found = {}
        for folder, names, files in os.walk(self.work):
            names[:] = [name for name in names if name not in (".bindery", ".git")]
            for name in [*names, *files]:
                path = os.path.join(folder, name)
                mode = os.lstat(path).st_mode
                data = b""
                if stat.S_ISREG(mode):
                    try:
                        data = pathlib.Path(path).read_bytes()
                    except PermissionError:
                        pass
                found[path] = (mode, hashlib.sha256(data).hexdigest())
        return found

    def open_up(self):
        """Gives back the right to remove everything."""
        for folder, names, files in os.walk(self.work):
            for name in names:
                path = os.path.join(folder, name)
                if not os.path.islink(path):
                    os.chmod(path, 0o755)


def check(program, path, update):
    """True if the case passes."""
    expected_path = path.with_suffix(".expected")
    case = Case(program, path)
    try:
        got = case.run()
    except CaseError as wrong:
        print(f"{path.name}: malformed case: {wrong}")
        return False
    for problem in case.problems:
        print(f"{path.name}: {problem}")
    expected = expected_path.read_text() if expected_path.exists() else ""
    if got == expected:
        return not case.problems
    print(f"{path.name}: {case.sentence}")
    sys.stdout.writelines(difflib.unified_diff(expected.splitlines(True), got.splitlines(True), f"{expected_path.name} (expected)", "what the program does"))
    if update:
        expected_path.write_text(got)
        print(f"wrote {expected_path.name}: read the difference above against the contract before you commit it")
        return not case.problems
    return False


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--program", required=True, type=pathlib.Path)
    parser.add_argument("--update", action="store_true", help="write the expected files anew")
    parser.add_argument("cases", nargs="+", type=pathlib.Path)
    arguments = parser.parse_args()
    program = arguments.program.resolve()
    if not program.is_file():
        parser.error(f"there is no program {program}")
    results = [check(program, path.resolve(), arguments.update) for path in arguments.cases]
    print(f"{results.count(True)} passed, {results.count(False)} failed")
    return 0 if all(results) else 1


if __name__ == "__main__":
    sys.exit(main())
