"""Where the lines run on which a half-cell's volume is summed: all that depends on a seat and how far one looks.

Lines are parallel to the stone's axis, in its frame (``inspection.lines``): x towards the seam, z along the ring's
axis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.layout.seatwork import SeatNumbers

Lines = tuple[Floats, Floats, Floats, Floats]
"""x (k,), z (k,), distance from the stone's axis (k,) and the area (k,) that each line stands for, outwards from that
axis: first those through the recess, then those through the land, then those beside the cup."""

GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


def lines_round(seat: SeatNumbers, grid: int, across: float, along: float) -> Lines:
    """Lines as far as ``across`` in x and ``along`` in z, in rings none of which straddles an edge of the seat's
    section."""
    rim = seat.rim_radius_mm
    outer = max(math.hypot(across, along), rim)
    finer = max(math.ceil((outer - rim) / (2.0 * rim)), 1)  # a hoop may reach far beyond a small stone's prongs
    rings = [*_seat_rings(seat, grid), (outer, finer * grid)]
    x, z, radius, width, step = _ringed(rings, grid)
    met = (x < across) & (z < max(along, rim))
    near = np.broadcast_to(radius[:, None], x.shape)[met]
    return x[met], z[met], near, np.broadcast_to((width * radius * step)[:, None], x.shape)[met]


def lines_before(seat: SeatNumbers, grid: int, across: float, limit: float, kinks: Sequence[float]) -> Lines:
    """Lines before a plane z = ``limit`` that cuts through metal, and perhaps through the cup: in rings under the rim,
    beside it in rows along z, so that no step of the sum lies along the plane; the rows crowd at ``kinks`` in x."""
    x, z, radius, width, step = _ringed(_seat_rings(seat, grid), grid)
    inner, met = (radius - width / 2.0)[:, None], x < across
    reach = limit * radius[:, None] / np.maximum(z, 1e-12)
    depth = np.clip(reach - inner, 0.0, width[:, None])
    near = inner + depth / 2.0
    met &= depth > 0.0
    x, z, area = (each[met] for each in (x * near / radius[:, None], z * near / radius[:, None], depth * near * step))
    beside = _rows_beside(seat.rim_radius_mm, grid, across, limit, kinks)
    x, z, near, area = (np.concatenate(pair) for pair in zip((x, z, near[met], area), beside, strict=True))
    return x, z, near, area


def _rows_beside(rim: float, grid: int, across: float, limit: float, kinks: Sequence[float]) -> Lines:
    """Between a circle and z = ``limit``. Each row begins further on than the last by the golden section of a step."""
    first, count = math.sqrt(max(rim**2 - limit**2, 0.0)), 2 * grid // 3
    places, width = crowded(sorted({first, across, *(kink for kink in (*kinks, rim) if first < kink < across)}), count)
    start = np.sqrt(np.maximum(rim**2 - places**2, 0.0))[:, None]
    step = (limit - start) / count
    z = start + step * (np.arange(count) + (np.arange(len(places)) * GOLDEN % 1.0)[:, None])
    x, area = np.broadcast_to(places[:, None], z.shape), np.broadcast_to(width[:, None] * step, z.shape)
    return x.ravel(), z.ravel(), np.hypot(x, z).ravel(), area.ravel()


def _ringed(rings: Sequence[tuple[float, int]], grid: int) -> tuple[Floats, Floats, Floats, Floats, float]:
    """x and z (rings, turns) of lines in rings up to each edge, so many to each; every ring's radius and width, and the
    step of the turn. Each ring is turned on from the last by the golden section of a step, so that no edge of a part
    meets many lines at once."""
    edges, counts = np.array((0.0, *(edge for edge, _ in rings))), [count for _, count in rings]
    width = np.repeat(np.diff(edges) / counts, counts)
    radius, step = np.cumsum(width) - width / 2.0, math.pi / 2.0 / grid
    angle, turned = step * np.arange(grid), step * (np.arange(len(radius)) * GOLDEN % 1.0)
    u, v, cosine, sine = radius * np.cos(turned), radius * np.sin(turned), np.cos(angle), np.sin(angle)
    x, z = np.outer(u, cosine) - np.outer(v, sine), np.outer(u, sine) + np.outer(v, cosine)
    return x, z, radius, width, step


def _seat_rings(seat: SeatNumbers, grid: int) -> list[tuple[float, int]]:
    """Edges of a seat's section outwards, each with how many rings end there: column, fillet, mouth; where the side
    comes out of the bore, unless that lies under the recess; rim."""
    curve = seat.column_radius_mm + seat.fillet_mm * (1.0 - math.sin(math.radians(seat.bearing_deg)))
    inner = [(seat.column_radius_mm, grid // 8), (curve, grid // 8), (seat.mouth_radius_mm, grid // 4)]
    foot = seat.radius_at(seat.bore_radius_mm)
    if not seat.mouth_radius_mm < foot < seat.rim_radius_mm:
        return [*inner, (seat.rim_radius_mm, grid)]
    return [*inner, (foot, grid - grid // 3), (seat.rim_radius_mm, grid // 3)]


def crowded(edges: Sequence[float], count: int) -> tuple[Floats, Floats]:
    """Places (n,) and the widths (n,) that they stand for, ``count`` between each two edges and most near these: there
    the sides of a shank run along the turn."""
    start, span = np.array(edges[:-1])[:, None], np.diff(edges)[:, None]
    middles, ends = (np.pi * (np.arange(n) + at) / count for n, at in ((count, 0.5), (count + 1, 0.0)))
    places = start + span * (1.0 - np.cos(middles)) / 2.0
    return places.ravel(), (span * np.diff(-np.cos(ends)) / 2.0).ravel()
