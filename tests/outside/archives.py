#!/usr/bin/env python3
"""The archives of the repository's own tree, seen by programs that know nothing of Bindery: Info-ZIP's `unzip` and
`zipinfo`, Python's zipfile and json, PyYAML, coreutils' `sha256sum`. Then `verify` on sound and on damaged releases.
The layout of a ZIP file is that of PKWARE's APPNOTE.TXT, 4.3 and 4.4."""
import hashlib
import io
import json
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import yaml

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "reference"))
from checks import Checks, Program, arguments, scratch  # noqa: E402

EPOCH, EPOCH_TIME = "1700000001", (2023, 11, 14, 22, 13, 20)       # 2023-11-14T22:13:21Z; ZIP counts in two seconds
HEX = re.compile(r"[0-9a-f]{64}")
LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
ALWAYS = {"READ-ME-FIRST.txt", "LICENSE.txt", "CHANGELOG.md", "contents.json", "settings.json", "SHA256SUMS"}


def digest(data):
    return hashlib.sha256(data).hexdigest()


def sums(text):
    """{name: digest} of a SHA256SUMS file."""
    return {line[66:]: line[:64] for line in text.splitlines()}


def rows(data):
    """The objects in a JSON document that have a path, wherever they stand."""
    if isinstance(data, dict):
        return ([data] if "path" in data else []) + [row for each in data.values() for row in rows(each)]
    return [row for each in data for row in rows(each)] if isinstance(data, list) else []


def row_digest(row):
    return next((v for v in row.values() if isinstance(v, str) and HEX.fullmatch(v)), None)


def command(*words, **more):
    return subprocess.run(list(map(str, words)), capture_output=True, text=True, **more)


def container(checks, tier, path, time):
    """What the ZIP tools say of one archive."""
    done = command("unzip", "-t", path)
    checks.that(f"{tier}: unzip -t finds no error", done.returncode == 0 and "No errors detected" in done.stdout, done.stdout[-300:])
    long = command("zipinfo", "-v", path).stdout
    checks.that(f"{tier}: zipinfo -v reads every entry as a plain file of mode 0644",
                long.count("Unix file attributes (100644 octal)") == long.count("Central directory entry #"), long[:2000])
    checks.that(f"{tier}: zipinfo -v sees no extra field, no comment and no descriptor",
                not re.search(r"length of (extra field|file comment): +[1-9]", long)
                and not re.search(r"extended local header: +yes", long) and long, long[:2000])
    with zipfile.ZipFile(path) as opened:
        infos = opened.infolist()
        names = [info.filename for info in infos]
        checks.that(f"{tier}: Python's zipfile finds every checksum right", opened.testzip() is None)
        checks.that(f"{tier}: {len(names)} entries, sorted by bytes", names == sorted(names, key=str.encode) and names)
        checks.same(f"{tier}: no entry twice, not even in another case", len({n.lower() for n in names}), len(names))
        checks.that(f"{tier}: names are relative, plain and without folders of their own",
                    all(re.fullmatch(r"[A-Za-z0-9.+_-]+(/[A-Za-z0-9.+_-]+)*", n) and ".." not in n.split("/") for n in names), str(names[:9]))
        checks.that(f"{tier}: what every archive holds is there", ALWAYS <= set(names), f"missing {ALWAYS - set(names)}")
        checks.same(f"{tier}: one time, of SOURCE_DATE_EPOCH in UTC", {info.date_time for info in infos}, {time})
        checks.same(f"{tier}: mode 0100644, made on Unix", {(i.external_attr >> 16, i.create_system) for i in infos}, {(0o100644, 3)})
        checks.same(f"{tier}: no extra fields, comments or volumes", {(i.extra, i.comment, i.volume) for i in infos}, {(b"", b"", 0)})
        checks.that(f"{tier}: flags, method and version are those of a plain entry (no descriptor, no encryption)",
                    all(i.flag_bits & ~0x806 == 0 and i.compress_type in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
                        and i.extract_version <= 20 for i in infos), str({(i.flag_bits, i.compress_type, i.extract_version) for i in infos}))
        checks.same(f"{tier}: no comment of the archive", opened.comment, b"")
        local = [local_header(path, info) for info in infos]
        checks.that(f"{tier}: each local header repeats the central directory", all(local), "")


def local_header(path, info):
    """Whether the local header of an entry agrees with the directory in time, sizes, checksum, and has no extra field."""
    with open(path, "rb") as file:
        file.seek(info.header_offset)
        head = file.read(30 + len(info.filename.encode()))
    number = lambda at, size: int.from_bytes(head[at:at + size], "little")  # noqa: E731
    year, month, day, hour, minute, second = info.date_time
    stamp = (second // 2 | minute << 5 | hour << 11, day | month << 5 | (year - 1980) << 9)
    return (head[:4] == b"PK\3\4" and (number(10, 2), number(12, 2)) == stamp and number(14, 4) == info.CRC and number(28, 2) == 0
            and number(18, 4) == info.compress_size and number(22, 4) == info.file_size and head[30:] == info.filename.encode())


def contents(checks, tier, path, folder, order):
    """What stands in one archive, unpacked into `folder`. Gives back {name: bytes}."""
    with zipfile.ZipFile(path) as opened:
        files = {name: opened.read(name) for name in opened.namelist()}
        opened.extractall(folder)
    done = command("sha256sum", "--strict", "-c", "SHA256SUMS", cwd=folder)
    checks.that(f"{tier}: sha256sum -c agrees inside the archive", done.returncode == 0, done.stderr + done.stdout[-300:])
    checks.same(f"{tier}: SHA256SUMS inside lists all the other entries", sorted(sums(files["SHA256SUMS"].decode())),
                sorted(set(files) - {"SHA256SUMS"}))
    listed = {row["path"]: row for row in rows(json.loads(files["contents.json"]))}
    profiles = {name: data for name, data in files.items() if name.startswith("profiles/")}
    checks.same(f"{tier}: contents.json lists the {len(profiles)} profiles", sorted(listed), sorted(profiles))
    checks.that(f"{tier}: there is a profile at all", profiles)
    wrong = [name for name, row in listed.items() if row_digest(row) != digest(files.get(name, b""))]
    checks.that(f"{tier}: the digests of contents.json are those of the files", not wrong, str(wrong[:3]))
    wrong = [name for name, row in listed.items() if row.get("status") not in ("draft", "beta", "stable")]
    checks.that(f"{tier}: every profile has a status", not wrong, str(wrong[:3]))
    different, disorder, odd = [], [], []
    for name, data in profiles.items():
        by_json, by_yaml = json.loads(data), yaml.load(data, LOADER)
        values = by_json.get("settings", by_json)
        if by_json != by_yaml:
            different.append(name)
        keys = [key for key in values if key in order]
        if keys != sorted(keys, key=order.get) or len(keys) < 10:
            disorder.append(name)
        odd += [f"{name}: {key}: {value!r}" for key, value in values.items() if key in order and not plain(value)]
    checks.that(f"{tier}: every profile says the same to json and to PyYAML", not different, str(different[:3]))
    checks.that(f"{tier}: every profile keeps the dictionary's order", not disorder, str(disorder[:3]))
    checks.that(f"{tier}: counts and flags are bare; no number has an exponent, a -0 or over six decimals", not odd, str(odd[:3]))
    checks.that(f"{tier}: settings.json holds the dictionary", set(order) <= set(re.findall(r'"([a-z0-9_.]+)"', files["settings.json"].decode())))
    return files


def plain(value):
    if isinstance(value, list):
        return all(plain(each) for each in value)
    if isinstance(value, (bool, int, float)):
        return isinstance(value, (bool, int)) or "e" not in repr(value)
    number = re.match(r"[-+]?[0-9][0-9.eE+-]*(?= )", value) if isinstance(value, str) else None
    if number and re.fullmatch(r"\S+ [a-zA-Z%/^0-9.]+", value):
        return bool(re.fullmatch(r"(?!-0$)-?(0|[1-9][0-9]*)(\.[0-9]{0,5}[1-9])?", number[0]))
    return isinstance(value, str)


def release(checks, tier, folder):
    """The files beside the archive."""
    done = command("sha256sum", "--strict", "-c", "SHA256SUMS", cwd=folder)
    checks.that(f"{tier}: sha256sum -c agrees beside the archive", done.returncode == 0, done.stderr + done.stdout)
    names = sorted(p.name for p in folder.iterdir())
    checks.same(f"{tier}: SHA256SUMS beside the archive lists all the other files", sorted(sums((folder / "SHA256SUMS").read_text())),
                [n for n in names if n != "SHA256SUMS"])
    archive = next(folder.glob("*.zip"))
    checks.that(f"{tier}: the archive's name holds version and tier", archive.name.endswith(f"-{folder.parent.name}-{tier}.zip"), archive.name)
    checks.that(f"{tier}: release.json holds the archive's digest", digest(archive.read_bytes()) in (folder / "release.json").read_text())
    checks.that(f"{tier}: release.json is JSON and tells the version", folder.parent.name in json.dumps(json.loads((folder / "release.json").read_text())))
    with zipfile.ZipFile(archive) as opened:
        checks.that(f"{tier}: the changelog is the same inside and outside", opened.read("CHANGELOG.md") == (folder / "CHANGELOG.md").read_bytes())
    return archive


# Damage

def rewrite(path, change, reseal=False):
    """Writes the archive again with its entries changed by `change(entries)`, a dict of name to bytes; with `reseal`
    the digests beside the archive follow, so that only what stands inside can give it away."""
    old = digest(path.read_bytes())
    with zipfile.ZipFile(path) as opened:
        infos = {info.filename: info for info in opened.infolist()}
        entries = {name: opened.read(name) for name in infos}
    change(entries)
    packed = io.BytesIO()
    sample = next(iter(infos.values()))
    with zipfile.ZipFile(packed, "w") as opened:
        for name in sorted(entries, key=str.encode):
            info = zipfile.ZipInfo(name, sample.date_time)
            info.external_attr, info.create_system, info.compress_type = sample.external_attr, 3, zipfile.ZIP_DEFLATED
            opened.writestr(info, entries[name])
    path.write_bytes(packed.getvalue())
    if reseal:
        seal(path.parent, {old: digest(packed.getvalue())})


def seal(folder, changed):
    """Replaces digests in release.json and SHA256SUMS, the latter also for release.json itself."""
    for name in ("release.json", "SHA256SUMS"):
        file = folder / name
        before = digest(file.read_bytes())
        text = file.read_text()
        for old, new in changed.items():
            text = text.replace(old, new)
        file.write_text(text)
        changed = {**changed, before: digest(file.read_bytes())}


def edit(path, change):
    path.write_bytes(change(path.read_bytes()))


def first_profile(entries):
    return next(name for name in sorted(entries) if name.startswith("profiles/"))


def flip(data, at=None):
    at = len(data) // 2 if at is None else at
    return data[:at] + bytes([data[at] ^ 1]) + data[at + 1:]


def change_value(entries):
    name = first_profile(entries)
    entries[name] = flip(entries[name])


def inner(entries, name, data):
    """Puts `data` under `name` and makes the archive's own SHA256SUMS true again."""
    entries["SHA256SUMS"] = entries["SHA256SUMS"].replace(digest(entries[name]).encode(), digest(data).encode())
    entries[name] = data


def change_contents(entries):
    text = entries["contents.json"].decode()
    old = row_digest(rows(json.loads(text))[0])
    inner(entries, "contents.json", text.replace(old, digest(b"something else")).encode())


def drop_line(data):
    return b"".join(data.splitlines(keepends=True)[1:])


def rename(entries):
    name = first_profile(entries)
    entries[name.replace(".json", "-x.json")] = entries.pop(name)


def drop_profile(entries):
    """Takes a profile out of the archive and out of its SHA256SUMS, but leaves it in contents.json."""
    name = first_profile(entries)
    line = f"{digest(entries.pop(name))}  {name}\n".encode()
    entries["SHA256SUMS"] = entries["SHA256SUMS"].replace(line, b"")


def doubled(path):
    with zipfile.ZipFile(path, "a") as opened:
        name = first_profile(opened.namelist())
        import warnings
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            opened.writestr(name, b"{}")


SEALED = True
DAMAGE = {
    "a byte of the archive flipped": lambda p: edit(p, flip),
    "its last byte cut off": lambda p: edit(p, lambda d: d[:-1]),
    "half of it cut off": lambda p: edit(p, lambda d: d[:len(d) // 2]),
    "an empty file in its place": lambda p: p.write_bytes(b""),
    "no archive": lambda p: p.unlink(),
    "a byte after its end": lambda p: edit(p, lambda d: d + b"x"),
    "a value changed, an entry's checksum right": lambda p: rewrite(p, change_value),
    "a value changed, the digests beside it adapted": lambda p: rewrite(p, change_value, SEALED),
    "an entry added, the digests beside it adapted": lambda p: rewrite(p, lambda e: e.update({"profiles/extra.json": b"{}"}), SEALED),
    "an entry removed, the digests beside it adapted": lambda p: rewrite(p, lambda e: e.pop(first_profile(e)), SEALED),
    "a profile removed but for contents.json, all digests adapted": lambda p: rewrite(p, drop_profile, SEALED),
    "an entry renamed, the digests beside it adapted": lambda p: rewrite(p, rename, SEALED),
    "an entry twice": doubled,
    "a line of the inner SHA256SUMS removed, the digests beside it adapted":
        lambda p: rewrite(p, lambda e: e.update(SHA256SUMS=drop_line(e["SHA256SUMS"])), SEALED),
    "no inner SHA256SUMS, the digests beside it adapted": lambda p: rewrite(p, lambda e: e.pop("SHA256SUMS"), SEALED),
    "no contents.json, the digests beside it adapted": lambda p: rewrite(p, lambda e: e.pop("contents.json"), SEALED),
    "a digest of contents.json changed, all others adapted": lambda p: rewrite(p, change_contents, SEALED),
    "a line of SHA256SUMS removed": lambda p: edit(p.parent / "SHA256SUMS", drop_line),
    "an empty SHA256SUMS": lambda p: (p.parent / "SHA256SUMS").write_bytes(b""),
    "no SHA256SUMS": lambda p: (p.parent / "SHA256SUMS").unlink(),
    "release.json changed": lambda p: edit(p.parent / "release.json", lambda d: d.replace(b"1", b"2", 1)),
    "no release.json": lambda p: (p.parent / "release.json").unlink(),
    "a byte of the changelog flipped": lambda p: edit(p.parent / "CHANGELOG.md", flip),
    "a file added beside the archive": lambda p: (p.parent / "extra.txt").write_text("x"),
}


def damage(checks, program, tier, folder, work):
    """`verify` on a sound copy of a tier's folder, and on one for each kind of damage."""
    done = program.run("verify", folder)
    checks.that(f"{tier}: verify finds the release sound", done.returncode == 0, f"exit code {done.returncode}: {done.stderr}")
    for name, change in DAMAGE.items():
        copy = work / "damaged" / tier
        shutil.rmtree(copy, ignore_errors=True)
        shutil.copytree(folder, copy)
        change(next(copy.glob("*.zip")))
        done = program.run("verify", copy)
        checks.that(f"{tier}: verify refuses {name}", done.returncode == 1, f"exit code {done.returncode}: {done.stderr[:300]}")
        checks.that(f"{tier}: it says why ({name})", done.stderr.strip() or done.stdout.strip())


def main():
    arg, checks = arguments(__doc__), Checks()
    program = Program(arg.binary, arg.root)
    listed = json.loads(program.run("list", "settings", "--format", "json").stdout or "[]")
    order = {entry["key"]: place for place, entry in enumerate(listed)}
    checks.that("the dictionary is listed", order)
    with scratch() as work:
        done = program.run("build", "--out", work / "out", env={"SOURCE_DATE_EPOCH": EPOCH})
        checks.that("the repository's own tree builds", done.returncode == 0, done.stderr[:1000])
        files, names = {}, {}
        for tier in ("free", "supporter"):
            folders = list((work / "out").glob(f"*/{tier}"))
            if not checks.same(f"{tier}: one release", len(folders), 1):
                continue
            archive = release(checks, tier, folders[0])
            container(checks, tier, archive, EPOCH_TIME)
            files[tier] = contents(checks, tier, archive, work / "unpacked" / tier, order)
            names[tier] = {n for n in files[tier] if n.startswith("profiles/")}
            damage(checks, program, tier, folders[0], work)
        if len(files) == 2:
            free, full = files["free"], files["supporter"]
            checks.that(f"the supporter archive holds the {len(names['free'])} free profiles, byte for byte, and more",
                        names["free"] < names["supporter"] and all(free[n] == full[n] for n in names["free"]))
        done = program.run("build", "--out", work / "bad", env={"SOURCE_DATE_EPOCH": "yesterday"})
        checks.that("a malformed SOURCE_DATE_EPOCH is an error and nothing is written",
                    done.returncode != 0 and not list((work / "bad").glob("*/*")), f"exit code {done.returncode}")
        checks.that("verify of what does not exist fails", program.run("verify", work / "nowhere").returncode in (1, 2, 3))
    checks.finish()


if __name__ == "__main__":
    main()
