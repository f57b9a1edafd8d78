"""Runs a few lines of JavaScript with packages of the npm registry: from the folder that the environment variable
BINDERY_NODE names if they stand there, else installed there (or into a temporary folder)."""
import atexit
import json
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

_folders = []


def folder_with(*packages):
    """A folder whose node_modules holds the packages, given as `name@major`."""
    if not _folders:
        named = os.environ.get("BINDERY_NODE")
        folder = Path(named or tempfile.mkdtemp(prefix="bindery-node-"))
        folder.mkdir(parents=True, exist_ok=True)
        if not named:
            atexit.register(shutil.rmtree, folder, ignore_errors=True)
        _folders.append(folder)
    folder = _folders[0]
    if not all((folder / "node_modules" / name.rpartition("@")[0]).is_dir() for name in packages):
        subprocess.run(["npm", "install", "--no-save", "--no-audit", "--no-fund", "--silent", *packages], cwd=folder, check=True,
                       stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    return folder


def run(script, data, *packages):
    """Runs `script`, in which `input` is `data` and `answer(x)` gives the result back."""
    folder = folder_with(*packages)
    whole = ("const input = JSON.parse(require('fs').readFileSync(0, 'utf8'));"
             "const answer = x => process.stdout.write(JSON.stringify(x));" + script)
    done = subprocess.run(["node", "-e", whole], cwd=folder, input=json.dumps(data), capture_output=True, text=True)
    if done.returncode:
        raise RuntimeError(done.stderr)
    return json.loads(done.stdout)
