"""A band: its layout, its mesh, and its exact solid on first use.

Both engines read the same cells. Cells that are alike are evaluated once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from bandgen.cell import MIRROR_Z, quarter_cell, whole_cell
from bandgen.engines import mesh, ring
from bandgen.engines.facets import Floats, Ints
from bandgen.layout.numbers import Layout, Seam, Station

if TYPE_CHECKING:
    from bandgen.engines.exact import Solid


@dataclass(frozen=True, eq=False)
class Mesh:
    """A closed mesh in the band's frame, mm: ``vertices`` (n, 3) float64 that hold float32 values, as files do;
    ``faces`` (m, 3) int, outward; ``cell_faces`` how many faces each cell has, in order round the ring."""

    vertices: Floats
    faces: Ints
    cell_faces: tuple[int, ...]


CellKey = tuple[Station, Station, Seam]


def build_mesh(layout: Layout) -> Mesh:
    """The band's mesh: each distinct cell once, mirrored, arrayed and joined by index."""
    which: dict[CellKey, int] = {}
    strips: list[ring.Strip] = []
    order: list[tuple[int, float]] = []
    for seam in layout.seams:
        key = _cell_key(layout, seam)
        if key not in which:
            which[key] = len(strips)
            strips.append(_strip(layout, seam))
        order.append((which[key], seam.angle_deg))
    closed = ring.close_ring(strips, order)
    vertices = closed.vertices.astype(np.float32).astype(np.float64)
    vertices.flags.writeable = closed.faces.flags.writeable = False
    return Mesh(vertices, closed.faces, closed.cell_faces)


def build_solid(layout: Layout) -> Solid:
    """The band's exact solid: each distinct cell once, whole between two stones' mid-planes, then joined.

    Raises:
        EngineError: when the kernel fails; never papered over.
    """
    from bandgen.engines import exact, exact_join

    which: dict[CellKey, exact.Patch] = {}
    placed = []
    for seam in layout.seams:
        key = _cell_key(layout, seam)
        if key not in which:
            cell = whole_cell(layout, seam)
            which[key] = exact.evaluate(cell.parts, (cell.before, cell.after))
        placed.append((which[key], seam.angle_deg))
    return exact_join.join(placed)


def _strip(layout: Layout, seam: Seam) -> ring.Strip:
    deviation = layout.spec.mesh.deviation_mm
    if _is_even(layout, seam):
        cell = quarter_cell(layout, seam)
        return ring.strip_of_quarter(mesh.evaluate(cell.parts, (cell.before, cell.after, *cell.mirrors), deviation))
    cell = whole_cell(layout, seam)
    return ring.strip_of_whole(mesh.evaluate(cell.parts, (cell.before, cell.after, MIRROR_Z), deviation))


def _is_even(layout: Layout, seam: Seam) -> bool:
    before, after = layout.around(seam)
    return before.seat == after.seat and seam.before_deg == seam.after_deg


def _cell_key(layout: Layout, seam: Seam) -> CellKey:
    """What decides a cell, without where it stands."""
    before, after = layout.around(seam)
    return (
        replace(before, index=0, angle_deg=0.0),
        replace(after, index=0, angle_deg=0.0),
        replace(seam, index=0, angle_deg=0.0),
    )
