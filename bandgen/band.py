"""A band: its layout, its mesh, and its exact solid on first use.

Both engines read the same cells. Cells that are alike are evaluated once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from bandgen.cell import quarter_cell, upper_cell, whole_cell
from bandgen.engines import mesh, ring
from bandgen.engines.border import tidied
from bandgen.engines.facets import Floats, Ints
from bandgen.layout.kinds import Kind
from bandgen.layout.numbers import Layout, Seam

if TYPE_CHECKING:
    from bandgen.engines.exact import Solid


@dataclass(frozen=True, eq=False)
class Mesh:
    """A closed mesh in the band's frame, mm: ``vertices`` (n, 3) float64 that hold float32 values, as files do;
    ``faces`` (m, 3) int, outward; ``cell_faces`` how many faces each cell has, in order round the ring."""

    vertices: Floats
    faces: Ints
    cell_faces: tuple[int, ...]


def build_mesh(layout: Layout) -> Mesh:
    """The band's mesh: each distinct cell once, mirrored, arrayed and joined by index."""
    kinds = layout.kinds
    strips = {Kind(seam, False): _strip(layout, layout.seams[seam]) for seam in sorted({kind.seam for kind in kinds})}
    strips |= {kind: ring.flipped(strips[replace(kind, flipped=False)]) for kind in set(kinds) if kind.flipped}
    placed = [(strips[kind], seam.angle_deg) for kind, seam in zip(kinds, layout.seams, strict=True)]
    closed = ring.close_ring(placed)
    vertices = closed.vertices.astype(np.float32).astype(np.float64)
    vertices.flags.writeable = closed.faces.flags.writeable = False
    return Mesh(vertices, closed.faces, closed.cell_faces)


def scaled(mesh: Mesh, factor: float) -> Mesh:
    """The mesh ``factor`` times as large about the ring's centre; again of float32 values."""
    vertices = (mesh.vertices * factor).astype(np.float32).astype(np.float64)
    vertices.flags.writeable = False
    return replace(mesh, vertices=vertices)


def build_solid(layout: Layout) -> Solid:
    """The band's exact solid: each distinct cell once, whole between two stones' mid-planes, then joined.

    Raises:
        EngineError: when the kernel fails; never papered over.
    """
    from bandgen.engines.exact_many import evaluate_many

    kinds = layout.kinds
    plain = list(dict.fromkeys(replace(kind, flipped=False) for kind in kinds))
    cells = [whole_cell(layout, layout.seams[kind.seam]) for kind in plain]
    patches = dict(zip(plain, evaluate_many([(c.parts, (c.before, c.after)) for c in cells]), strict=True))
    from bandgen.engines import exact, exact_join  # late: loads while the helpers of evaluate_many load theirs

    patches |= {k: exact.mirrored(patches[replace(k, flipped=False)]) for k in set(kinds) if k.flipped}
    return exact_join.join([(patches[kind], seam.angle_deg) for kind, seam in zip(kinds, layout.seams, strict=True)])


def _strip(layout: Layout, seam: Seam) -> ring.Strip:
    deviation = layout.spec.mesh.deviation_mm
    if _is_even(layout, seam):
        cell = quarter_cell(layout, seam)
        patch = mesh.evaluate(cell.parts, (cell.before, cell.after, *cell.mirrors), deviation)
        return ring.strip_of_quarter(tidied(patch, (0,)))
    cell = upper_cell(layout, seam)
    patch = mesh.evaluate(cell.parts, (cell.before, cell.after, *cell.mirrors), deviation)
    return ring.strip_of_whole(tidied(patch, (0, 1)))


def _is_even(layout: Layout, seam: Seam) -> bool:
    """Whether a cell is its own mirror image in the seam plane."""
    before, after = layout.around(seam)
    if before is None or after is None or (before.seat, before.extras) != (after.seat, after.extras):
        return False
    return seam == seam.flipped
