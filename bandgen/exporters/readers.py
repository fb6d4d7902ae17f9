"""A mesh from a file: by its suffix, and only if the content agrees.

STEP files are no meshes; the exact engine reads them.
"""

from __future__ import annotations

from pathlib import Path

from bandgen.errors import FileFault
from bandgen.exporters import stl, threemf
from bandgen.exporters.stl import Mesh

DECODERS = {".stl": stl.decode, ".3mf": threemf.decode}
"""Reading by suffix; a further mesh format is one more line."""

LIMIT_BYTES = 2_000_000_000
"""Larger files are refused: as a binary STL that is 40 million triangles."""


def read_mesh(path: Path) -> Mesh:
    """The mesh in an STL or 3MF file: ``vertices (n, 3) float`` in mm (STL has no unit: taken as mm),
    ``faces (m, 3) int``.

    Raises :class:`FileFault`, its message starting with the path, when the file is missing, empty, no regular
    file, of another suffix, too large, or not what its suffix says.
    """
    suffix = path.suffix.lower()
    try:
        data = _content(path)
        if suffix not in DECODERS:
            raise FileFault(f"no mesh format by its suffix {suffix!r}; meshes are read from {', '.join(DECODERS)}")
        if suffix == ".stl" and data.startswith(b"PK\x03\x04") and not stl.has_lawful_length(data):
            raise FileFault("named .stl, but the content is a zip package, such as a 3MF")
        if suffix == ".3mf" and not data.startswith(b"PK"):
            raise FileFault("named .3mf, but the content is no zip package" + _guess(data))
        return DECODERS[suffix](data)
    except FileFault as fault:
        raise FileFault(f"{path}: {fault}") from fault


def _content(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise FileFault("a folder, not a file")
        if path.exists() and not path.is_file():
            raise FileFault("no regular file")
        size = path.stat().st_size
        if size > LIMIT_BYTES:
            raise FileFault(f"{size} bytes are more than the {LIMIT_BYTES} that are read")
        data = path.read_bytes()
    except (OSError, ValueError) as fault:  # ValueError: a path with a null character
        reason = getattr(fault, "strerror", None) or str(fault)
        raise FileFault(f"cannot be read: {reason}") from fault
    if not data:
        raise FileFault("the file is empty")
    return data


def _guess(data: bytes) -> str:
    return ": it seems to be an STL" if stl.has_lawful_length(data) or data[:5].lower() == b"solid" else ""
