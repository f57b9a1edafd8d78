"""What every script in tests/reference and tests/outside shares: the command line, the running of the
program, the writing of a small tree, and the counting of checks."""
import argparse
import contextlib
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

import yaml


def arguments(about, **options):
    """Reads `BINARY ROOT`, and each of `options` (a name and its default, a number) as `--name N`."""
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("binary", type=pathlib.Path, help="the program, bindery")
    parser.add_argument("root", type=pathlib.Path, help="the root of the repository")
    for name, default in options.items():
        flag = "--" + name.replace("_", "-")
        if default is False:
            parser.add_argument(flag, action="store_true")
        else:
            parser.add_argument(flag, type=type(default), default=default)
    found = parser.parse_args()
    found.binary, found.root = found.binary.resolve(), found.root.resolve()
    return found


class Checks:
    """Counts checks and prints one line for each."""

    def __init__(self):
        self.passed = self.failed = 0

    def that(self, name, holds, detail=""):
        """Counts the check `name`; prints `detail` too if it does not hold. Gives back whether it holds."""
        if holds:
            self.passed += 1
            print(f"ok    {name}")
        else:
            self.failed += 1
            print(f"FAIL  {name}" + (f": {detail}" if detail else ""))
        return bool(holds)

    def same(self, name, got, expected):
        """Counts the check that `got` equals `expected`."""
        return self.that(name, got == expected, f"got {got!r}, expected {expected!r}")

    def finish(self):
        """Prints the closing line and ends the script: 0 only if something was checked and all of it held."""
        print(f"{self.passed} passed, {self.failed} failed")
        sys.exit(0 if self.passed and not self.failed else 1)


class Program:
    """The program under test, run on the tree in one folder."""

    def __init__(self, binary, tree):
        self.binary, self.tree = str(binary), str(tree)

    def run(self, *words, env=None, cwd=None, timeout=60):
        """Runs `bindery -C TREE WORDS` and gives back the finished process, its output as text."""
        environment = dict(os.environ)
        environment.pop("SOURCE_DATE_EPOCH", None)
        environment.update(env or {})
        return subprocess.run([self.binary, "-C", self.tree, *map(str, words)], stdin=subprocess.DEVNULL,
                              capture_output=True, text=True, env=environment, cwd=cwd, timeout=timeout)

    def show(self, profile):
        """The exit code of `show PROFILE --format json`, and its document (None if it printed none)."""
        done = self.run("show", profile, "--format", "json")
        return done.returncode, document(done.stdout)

    def diagnostics(self):
        """The exit code of `validate`, and its list of diagnostics."""
        done = self.run("validate", "--format", "json")
        found = document(done.stdout)
        return done.returncode, found["diagnostics"] if found else []

    def build(self, out, version="1.0.0", env=None):
        return self.run("build", f"--version={version}", "--out", out, env=env)


def document(text):
    """The JSON document that `text` is, or None."""
    with contextlib.suppress(ValueError):
        return json.loads(text)
    return None


class _Plain(getattr(yaml, "CSafeDumper", yaml.SafeDumper)):
    def ignore_aliases(self, data):
        return True


def write_yaml(path, data):
    """Writes `data` in block style, without aliases; makes the folders above."""
    path.parent.mkdir(parents=True, exist_ok=True)
    text = yaml.dump(data, Dumper=_Plain, sort_keys=False, width=10**6, allow_unicode=True)
    path.write_text(text, encoding="utf-8")


def write_tree(folder, dictionary, fragments, plan=None, settings_file=None):
    """Writes a tree: `dictionary` as schema/, `fragments` as {'kind/any/folder/stem': {...}}, `plan`, and
    `settings_file` as bindery.yaml. A set that takes everything is the default plan."""
    folder = pathlib.Path(folder)
    write_yaml(folder / "schema" / "dictionary.yaml", dictionary)
    for name, data in fragments.items():
        write_yaml(folder / "profiles-src" / f"{name}.yaml", data)
    everything = {"machine": ["*"], "material": ["*"], "process": ["*"]}
    plan = plan or {"name": "trial", "sets": {"all": {"title": "All", "tier": "free", "take": [everything]}}}
    write_yaml(folder / "release" / "plan.yaml", plan)
    about = {"publisher": "An invented publisher", "licence": "CC0-1.0", **(settings_file or {})}
    write_yaml(folder / "profiles-src" / "bindery.yaml", about)
    return folder


@contextlib.contextmanager
def scratch(keep_if=None):
    """A temporary folder that is removed at the end, unless `keep_if()` is true then."""
    folder = pathlib.Path(tempfile.mkdtemp(prefix="bindery-test-"))
    try:
        yield folder
    finally:
        if not (keep_if and keep_if()):
            shutil.rmtree(folder, ignore_errors=True)


def keep(folder, label):
    """Copies a failing tree to a folder that stays, and gives back its name."""
    kept = tempfile.mkdtemp(prefix=f"bindery-failing-{label}-")
    shutil.copytree(folder, kept, dirs_exist_ok=True, symlinks=True)
    return kept
