"""STL: a band as bytes, and anybody's STL as a mesh.

Binary layout: 80 bytes of header (not starting with "solid"), a uint32 count n, then n times 50 bytes: normal
and three corners as float32, and a uint16 attribute; little-endian, so 84 + 50 n bytes. The format carries no
unit; bandgen means mm. Source: shared/trade-facts.md section 6 (three agreeing descriptions).
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bandgen.errors import ExportError, FileFault

Mesh = tuple[NDArray[np.float64], NDArray[np.int64]]

HEADER_BYTES = 80
COUNT_END = 84
TRIANGLE_BYTES = 50

TRIANGLE = np.dtype([("normal", "<f4", (3,)), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
"""One triangle of the file; 50 bytes, unaligned."""

_MULTIPLIERS = tuple(np.uint64(odd) for odd in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9))
"""Three large odd numbers whose products scatter the bits of x, y and z (any such would do)."""

_WORD = rb"\s+([^\s]+)"
_FACET = re.compile(
    rb"\bfacet\s+normal\s+[^\s]+\s+[^\s]+\s+[^\s]+\s+outer\s+loop"
    + (rb"\s+vertex" + 3 * _WORD) * 3
    + rb"\s+endloop\s+endfacet\b",
    re.IGNORECASE,
)


def encode(vertices: ArrayLike, faces: ArrayLike, title: str) -> bytes:
    """Binary STL of a mesh: ``vertices (n, 3) float`` in mm, ``faces (m, 3) int``.

    ``title`` goes into the header: characters outside ASCII become "?", and it is cut at 80 bytes. Normals are
    those of the corners as written, computed in double precision; a triangle without area gets (0, 0, 0).

    Raises :class:`ExportError` when the arrays are no mesh (see :func:`single_precision`).
    """
    points, triangles = single_precision(vertices, faces)
    records = np.zeros(len(triangles), TRIANGLE)
    records["corners"] = points[triangles]
    records["normal"] = _normals(points, triangles)
    return _header(title) + len(triangles).to_bytes(4, "little") + records.tobytes()


def decode(data: bytes) -> Mesh:
    """The mesh in a binary or ASCII STL, as ``vertices (n, 3) float`` and ``faces (m, 3) int``.

    Corners equal in every bit of single precision (-0 counting as 0) become one vertex, numbered in order of
    appearance; triangles stay as they are, in their order, degenerate ones included. Normals and attributes
    are ignored. A file whose length obeys the binary law is binary, whatever its header starts with.

    Raises :class:`FileFault` when the data is neither.
    """
    if has_lawful_length(data):
        corners = np.frombuffer(data, TRIANGLE, offset=COUNT_END)["corners"].reshape(-1, 3)
    elif _looks_like_text(data):
        corners = _text_corners(data)
    else:
        raise FileFault(_length_fault(data))
    if not len(corners):
        raise FileFault("the STL holds no triangle")
    return weld(corners)


def has_lawful_length(data: bytes) -> bool:
    """Whether the length is that of a binary STL with the count it states; next to nothing else fits."""
    return len(data) >= COUNT_END and len(data) == _lawful_length(data)


def weld(corners: NDArray[np.float32]) -> Mesh:
    """Join equal rows of ``corners (3 m, 3) float32``; three rows running are a triangle.

    Raises :class:`FileFault` when a coordinate is not finite.
    """
    if not np.isfinite(corners).all():
        bad = int(np.flatnonzero(~np.isfinite(corners).all(axis=1))[0]) // 3
        raise FileFault(f"triangle {bad} of the STL has a coordinate that is not a finite number")
    points = np.ascontiguousarray(corners, np.float32) + np.float32(0.0)  # -0 + 0 = 0
    first = _first_equal(points.view(np.uint32))
    fresh = first == np.arange(len(first))
    numbers = np.cumsum(fresh) - 1
    return points[fresh].astype(np.float64), numbers[first].reshape(-1, 3).astype(np.int64)


def single_precision(vertices: ArrayLike, faces: ArrayLike) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """The mesh as files hold it: float32 with -0 as 0. The input is left unchanged.

    Raises :class:`ExportError` on wrong shapes, no triangle, a corner that is no vertex, or a coordinate that
    is not finite in single precision: such a file would be useless to whoever gets it.
    """
    points, triangles = np.asarray(vertices), np.asarray(faces)
    if points.ndim != 2 or points.shape[1] != 3 or triangles.ndim != 2 or triangles.shape[1] != 3:
        raise ExportError(f"no mesh: vertices {points.shape} and faces {triangles.shape}, not (n, 3) and (m, 3)")
    if not len(triangles):
        raise ExportError("the mesh has no triangle to write")
    if triangles.min() < 0 or triangles.max() >= len(points):
        raise ExportError(f"the mesh has corners outside its {len(points)} vertices")
    with np.errstate(over="ignore"):
        rounded = points.astype(np.float32) + np.float32(0.0)
    if not np.isfinite(rounded).all():
        raise ExportError("the mesh has a coordinate that is not a finite number")
    return rounded, triangles.astype(np.int64)


def _normals(points: NDArray[np.float32], triangles: NDArray[np.int64]) -> NDArray[np.float64]:
    """Unit normals ``(m, 3)``; columns apart, which is several times quicker than ``np.cross``."""
    x, y, z = points.astype(np.float64).T
    a, b, c = triangles.T
    ux, uy, uz = x[b] - x[a], y[b] - y[a], z[b] - z[a]
    vx, vy, vz = x[c] - x[a], y[c] - y[a], z[c] - z[a]
    normals = np.column_stack((uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx))
    lengths = np.sqrt(np.einsum("ij,ij->i", normals, normals))
    return normals / np.where(lengths > 0.0, lengths, 1.0)[:, None]


def _header(title: str) -> bytes:
    """80 bytes; a title that starts with "solid" would pass for ASCII, so it does not come first."""
    plain = "".join(letter if letter.isprintable() else " " for letter in title).strip()
    plain = f"title: {plain}" if plain.lower().startswith("solid") else plain
    return plain.encode("ascii", "replace")[:HEADER_BYTES].ljust(HEADER_BYTES, b" ")


def _lawful_length(data: bytes) -> int:
    return COUNT_END + TRIANGLE_BYTES * int.from_bytes(data[HEADER_BYTES:COUNT_END], "little")


def _looks_like_text(data: bytes) -> bool:
    return data[:256].lstrip()[:5].lower() == b"solid" and b"\0" not in data[:1024]


def _length_fault(data: bytes) -> str:
    if len(data) < COUNT_END:
        return f"{len(data)} bytes are too few for a binary STL (at least {COUNT_END}), and it is no ASCII STL"
    count = (_lawful_length(data) - COUNT_END) // TRIANGLE_BYTES
    state = "truncated" if len(data) < _lawful_length(data) else "too long"
    return (
        f"not an STL, or {state}: as a binary STL of {count} triangles it would have "
        f"{_lawful_length(data)} bytes, but it has {len(data)}"
    )


def _text_corners(data: bytes) -> NDArray[np.float32]:
    """Corners ``(3 m, 3)`` of an ASCII STL, which must close every facet and the solid."""
    facets = _FACET.findall(data)
    for word in (rb"\bfacet\s+normal\b", rb"\bendfacet\b"):
        found = len(re.findall(word, data, re.IGNORECASE))
        if found != len(facets):
            raise FileFault(f"ASCII STL: of {found} facets only {len(facets)} are whole triangles")
    if not re.search(rb"(?:^|\s)endsolid\b[^\n]*\s*\Z", data, re.IGNORECASE):
        raise FileFault("ASCII STL without its closing endsolid: truncated, or no STL")
    return _numbers(facets).reshape(-1, 3)


def _numbers(facets: list[Any]) -> NDArray[np.float32]:
    try:
        values = [float(word) for facet in facets for word in facet]
    except ValueError as fault:
        raise FileFault(f"ASCII STL: a coordinate is no number ({fault})") from fault
    with np.errstate(over="ignore"):
        return np.array(values, np.float64).astype(np.float32)


def _first_equal(keys: NDArray[np.uint32]) -> NDArray[np.int64]:
    """For every row of ``keys (k, 3)`` the index of the first row equal to it. Exact, in linear time.

    Each round drops the rows still open into a table by a hash of their bits, last row first so that the first
    stays. Rows equal to the one that stayed are done; others had the same hash by accident and go on. Equal
    rows share their hash, so they are settled together, and each round settles at least one row per slot used.
    """
    bits = max(8, int(2 * len(keys)).bit_length())
    table = np.empty(1 << bits, np.int64)
    columns = [np.ascontiguousarray(keys[:, axis]) for axis in range(3)]
    first = np.empty(len(keys), np.int64)
    left = np.arange(len(keys))
    while len(left):
        hashes = sum((columns[axis][left] * _MULTIPLIERS[axis] for axis in range(3)), np.uint64(0))
        slots = np.asarray(hashes >> np.uint64(64 - bits)).astype(np.int64)
        table[slots[::-1]] = left[::-1]
        stayed = table[slots]
        same = np.ones(len(left), bool)
        for column in columns:
            same &= column[left] == column[stayed]
        first[left[same]] = stayed[same]
        left = left[~same]
    return first
