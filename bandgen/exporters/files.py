"""Files in a folder: all of a band's files, whole and verified, or none.

A file is first written beside its place under ``.NAME.part-PID``, pushed to the disk, read back and verified.
Only when all are good do they take their names. A run that is killed leaves such part files at worst, and
:func:`clear_leftovers` removes them.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
import time
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from bandgen.errors import ExportError, FileFault, Problem, SpecError

LONGEST_NAME = 100
"""Characters of :func:`safe_name`: file systems allow 255 bytes, and suffixes and ``.part-PID`` come on top."""

DAY_S = 86_400.0

_STARTED = time.time()
_LEFTOVER = re.compile(r"\..+\.(?:part|kept)-(\d{1,10})")
_FRACTIONS = {"1/2": "half", "1/4": "quarter", "3/4": "three-quarters"}
_SIGNS = {"½": "1/2", "¼": "1/4", "¾": "3/4"}
_RESERVED = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\.|$)", re.IGNORECASE)
"""Names of devices on Windows, with or without a suffix (from memory: Microsoft's "Naming Files")."""


# --------------------------------------------------------------------------------------------------- names


def safe_name(text: str) -> str:
    """A file name of letters, digits, dots and hyphens that every common system takes.

    "Band one" gives "Band-one", "L 1/2" and "L½" give "L-half". Accents are dropped, everything else unknown
    becomes a hyphen. Never empty, never starting or ending with a dot or hyphen, at most about
    :data:`LONGEST_NAME` long. Different texts can give the same name. A safe name is left as it is.
    """
    for sign, fraction in _SIGNS.items():
        text = text.replace(sign, f" {fraction} ")
    for fraction, word in _FRACTIONS.items():
        text = re.sub(rf"(?<![\d/]){fraction}(?![\d/])", f" {word} ", text)
    plain = unicodedata.normalize("NFKD", text)
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    plain = re.sub(r"[^A-Za-z0-9.]+", "-", plain)
    plain = re.sub(r"\.\.+", ".", plain)[:LONGEST_NAME].strip("-.")
    return f"band-{plain}".rstrip("-") if not plain or _RESERVED.match(plain) else plain


def sha256(data: bytes) -> str:
    """The SHA-256 of bytes in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def entry(name: str, data: bytes) -> dict[str, str | int]:
    """What the record says of a file: its name, its length in bytes and its SHA-256."""
    return {"name": name, "bytes": len(data), "sha256": sha256(data)}


# ------------------------------------------------------------------------------------------------- folders


def open_folder(path: Path) -> Path:
    """The folder, made if missing, and tried by writing to it.

    Raises :class:`SpecError` when a file stands in its place (or in that of a folder above it), and
    :class:`ExportError` when it cannot be made or written to.
    """
    for place in (path, *path.parents):
        if os.path.lexists(place):
            if not place.is_dir():
                raise SpecError([Problem("--out", f"{place} is in the way", str(path), "name a folder")], "options")
            break
    probe = _beside(path, "probe", "part")
    try:
        path.mkdir(parents=True, exist_ok=True)
        _write(probe, b"")
    except OSError as fault:
        raise _failed("cannot be made or written to", path, fault) from fault
    finally:
        with contextlib.suppress(OSError):
            probe.unlink(missing_ok=True)
    return path


def clear_leftovers(folder: Path) -> list[Path]:
    """Remove the part files of runs that were killed, and say which.

    A file stays while a process of its number lives, for that may be writing it; a number reused by this very
    process shows by a file older than the process. On Windows, where asking would end the process, files stay
    for a day. Not for folders that several machines write to: a process elsewhere looks dead from here.
    Raises :class:`ExportError` when the folder cannot be read or cleared.
    """
    removed = []
    try:
        for place in sorted(folder.iterdir()):
            match = _LEFTOVER.fullmatch(place.name)
            if match and place.is_file() and not place.is_symlink() and _is_left(place, int(match[1])):
                place.unlink(missing_ok=True)
                removed.append(place)
    except OSError as fault:
        raise _failed("cannot be cleared of part files", folder, fault) from fault
    return removed


def _is_left(place: Path, process: int) -> bool:
    written = place.stat().st_mtime
    if process == os.getpid():
        return written < _STARTED - 1.0
    if os.name == "nt":
        return written < time.time() - DAY_S
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return True
    except PermissionError:
        return False
    return False


# ------------------------------------------------------------------------------------------------- writing


def write_all(folder: Path, contents: Mapping[str, bytes], verify: Callable[[str, bytes], None] | None = None) -> None:
    """Write every file of ``contents`` (name to bytes) into ``folder``, or leave the folder as it was.

    ``verify`` gets each name and the bytes read back from the disk, and raises what it likes to refuse them.
    Should a rename fail half-way, the files already renamed are put back.

    Raises :class:`ExportError` when a file cannot be written, reads back differently, or is refused by a
    :class:`FileFault`; other errors of ``verify`` pass through. ``ValueError`` for a name that is no plain one.
    """
    for name in contents:
        if not name or Path(name).name != name or name.startswith(".") or "\\" in name:
            raise ValueError(f"{name!r} is no plain file name")
        if os.path.isdir(folder / name):
            raise ExportError(f"{folder / name}: cannot be written: a folder has that name")
    try:
        for name, data in contents.items():
            _write_beside(folder, name, data, verify)
        _rename_all(folder, list(contents))
    finally:
        for name in contents:
            for kind in ("part", "kept"):
                with contextlib.suppress(OSError):
                    _beside(folder, name, kind).unlink(missing_ok=True)


def _write_beside(folder: Path, name: str, data: bytes, verify: Callable[[str, bytes], None] | None) -> None:
    part = _beside(folder, name, "part")
    try:
        _write(part, data)
        found = part.read_bytes()
    except OSError as fault:
        raise _failed("cannot be written", folder / name, fault) from fault
    if found != data:
        raise ExportError(f"{folder / name}: read back as something else than was written")
    if verify is not None:
        try:
            verify(name, found)
        except FileFault as fault:
            raise ExportError(f"{folder / name}: was written, but does not read back: {fault}") from fault


def _write(place: Path, data: bytes) -> None:
    """Write and push to the disk; whatever was left there under the name goes first."""
    place.unlink(missing_ok=True)
    with os.fdopen(
        os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666), "wb"
    ) as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _rename_all(folder: Path, names: list[str]) -> None:
    """Give the part files their names; if one fails, give the others' names back to what had them before."""
    done: list[str] = []
    try:
        for name in names:
            _keep(folder, name)
        for name in names:
            os.replace(_beside(folder, name, "part"), folder / name)
            done.append(name)
        _sync_folder(folder)
    except OSError as fault:
        lost = _put_back(folder, done)
        more = f"; and {', '.join(lost)} could not be put back" if lost else ""
        raise _failed("cannot be given its name", folder / name, fault, more) from fault


def _keep(folder: Path, name: str) -> None:
    """A second name for the file that is to be replaced, or a copy where the file system has no links."""
    final, kept = folder / name, _beside(folder, name, "kept")
    if not os.path.lexists(final):
        return
    kept.unlink(missing_ok=True)
    try:
        os.link(final, kept, follow_symlinks=False)
    except OSError:
        shutil.copy2(final, kept, follow_symlinks=False)


def _put_back(folder: Path, names: Iterable[str]) -> list[str]:
    lost = []
    for name in names:
        kept = _beside(folder, name, "kept")
        try:
            if os.path.lexists(kept):
                os.replace(kept, folder / name)
            else:
                (folder / name).unlink()
        except OSError:
            lost.append(name)
    return lost


def _sync_folder(folder: Path) -> None:
    """Push the new names to the disk where the system can; the files are whole either way."""
    if os.name == "nt":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _beside(folder: Path, name: str, kind: str) -> Path:
    return folder / f".{name}.{kind}-{os.getpid()}"


def _failed(what: str, place: Path, fault: OSError, more: str = "") -> ExportError:
    return ExportError(f"{place}: {what}: {fault.strerror or fault}{more}")


def superseded(folder: Path, stem: str, kept: Iterable[str]) -> list[Path]:
    """Files that earlier makes of the same band left and that ``kept`` does not replace: named by an earlier record
    beside them, sound or rejected, and unchanged since. What anyone touched stays."""
    found: list[Path] = []
    for record in (folder / f"{stem}.json", folder / f"{stem}.rejected.json"):
        try:
            entries = json.loads(record.read_bytes())["files"].values()
            named = [(folder / entry["name"], entry["sha256"]) for entry in entries if "/" not in entry["name"]]
            found += [path for path, digest in named if path.is_file() and sha256(path.read_bytes()) == digest]
            found.append(record)
        except (OSError, ValueError, LookupError, TypeError, AttributeError):
            continue  # no record of ours
    return [path for path in found if path.name not in kept]
