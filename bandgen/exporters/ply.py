"""Coloured triangles as binary PLY, for the eye: every triangle in one colour, with any number of values of its own.

The format is Greg Turk's of 1994: a text header, then little-endian records of vertices and of faces.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def encode_ply(corners: Floats, colours: NDArray[np.uint8], values: Mapping[str, Floats], comment: str) -> bytes:
    """Bytes of triangles ``corners`` (n, 3, 3) in mm, ``colours`` (n, 3) of 0 to 255, and named ``values`` (n,) each;
    every triangle has corners of its own, which carry its colour and values."""
    named = [(name, "<f4") for name in ("x", "y", "z", *values)]
    vertices = np.empty((len(corners), 3), [*named, *((name, "u1") for name in ("red", "green", "blue"))])
    for axis, name in enumerate("xyz"):
        vertices[name] = corners[:, :, axis]
    for name, value in values.items():
        vertices[name] = value[:, None]
    for channel, name in enumerate(("red", "green", "blue")):
        vertices[name] = colours[:, None, channel]
    faces = np.empty(len(corners), [("count", "u1"), ("corners", "<i4", 3)])
    faces["count"], faces["corners"] = 3, np.arange(3 * len(corners)).reshape(-1, 3)
    return _header(vertices, len(faces), comment).encode("ascii") + vertices.tobytes() + faces.tobytes()


def _header(vertices: NDArray[np.void], faces: int, comment: str) -> str:
    kinds = {"<f4": "float", "|u1": "uchar"}
    lines = [
        "ply",
        "format binary_little_endian 1.0",
        f"comment {comment.encode('ascii', 'replace').decode()}",
        f"element vertex {vertices.size}",
        *(f"property {kinds[vertices.dtype[name].str]} {name}" for name in vertices.dtype.names or ()),
        f"element face {faces}",
        "property list uchar int vertex_indices",
        "end_header",
    ]
    return "\n".join(lines) + "\n"
