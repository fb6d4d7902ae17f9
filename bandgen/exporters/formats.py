"""The registry of formats: how a band is written, and how what was written is read back and compared.

A new format is a module with an encoder and one line in ``FORMATS``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bandgen.errors import ExportError
from bandgen.exporters import stl, threemf
from bandgen.exporters.stl import Mesh as ReadMesh

if TYPE_CHECKING:
    from bandgen.pipeline import Band

STEP_SKIN_MM = 1e-6
"""How far the skin may move on its way through STEP: the tolerance to which the kernel knows an edge
(`engines.exact_join.SEAM_MM`), as faces are trimmed anew from their edges. Times the area it bounds the volume's
change; 1.9e-7 mm seen."""


@dataclass(frozen=True)
class Format:
    """A file format: bytes of a band, and a check of these bytes that raises ExportError."""

    encode: Callable[[Band], bytes]
    verify: Callable[[Band, bytes], None]


def _encode_stl(band: Band) -> bytes:
    return stl.encode(band.mesh.vertices, band.mesh.faces, _title(band))


def _encode_3mf(band: Band) -> bytes:
    title = _title(band)
    return threemf.encode(band.mesh.vertices, band.mesh.faces, title, {"Title": title, "Application": "bandgen"})


def _encode_step(band: Band) -> bytes:
    from bandgen.engines.step import encode_step

    return encode_step(band.solid, _title(band))


def _title(band: Band) -> str:
    """The band's name, and by how much its files are larger than its design where they make up for shrinkage."""
    factor = band.layout.spec.casting.factor
    return band.layout.spec.name if factor == 1.0 else f"{band.layout.spec.name} (compensated x {factor:.6g})"


def _same_mesh(band: Band, read: ReadMesh, form: str) -> None:
    """The triangles that were meant, in order, to the last bit, on as many distinct vertices."""
    vertices, faces = read
    meant = band.mesh
    same = len(vertices) == len(meant.vertices) and faces.shape == meant.faces.shape
    if not same or not np.array_equal(vertices[faces], meant.vertices[meant.faces]):
        raise ExportError(f"{form}: what was written does not read back as the mesh that was meant")


def _verify_stl(band: Band, data: bytes) -> None:
    _same_mesh(band, stl.decode(data), "stl")


def _verify_3mf(band: Band, data: bytes) -> None:
    _same_mesh(band, threemf.decode(data), "3mf")


def _verify_step(band: Band, data: bytes) -> None:
    from bandgen.engines.step import read_step

    solid = read_step(data, "step")
    meant = band.solid
    for what, read, was in (
        ("bodies", solid.solid_count, meant.solid_count),
        ("faces", solid.face_count, meant.face_count),
        ("edges", solid.edge_count, meant.edge_count),
        ("corners", len(solid.corners), len(meant.corners)),
        ("validity", solid.is_valid(), meant.is_valid()),
    ):
        if read != was:
            raise ExportError(f"step: {what} reads back as {read}, not {was}")
    moved = float(np.abs(solid.corners - meant.corners).max())
    if moved > STEP_SKIN_MM:
        raise ExportError(f"step: a corner reads back {moved:.2e} mm off, at most {STEP_SKIN_MM:.2e} is allowed")
    leak = max(solid.leak_mm3, meant.leak_mm3)
    change, room = abs(solid.volume - meant.volume), STEP_SKIN_MM * band.topology.area + leak
    if change > room:
        raise ExportError(f"step: the volume reads back off by {change:.2e} mm3, at most {room:.2e} is allowed")


FORMATS: Mapping[str, Format] = {
    "stl": Format(_encode_stl, _verify_stl),
    "3mf": Format(_encode_3mf, _verify_3mf),
    "step": Format(_encode_step, _verify_step),
}
