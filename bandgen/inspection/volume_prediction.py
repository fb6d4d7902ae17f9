"""The band's metal by quadrature on the layout's own numbers: no kernel, no facet and no builder has a hand in it.

Stone frame of the station before a seam: y up the stone's axis from the ring's centre, x towards the seam, z along the
ring's axis. Every line parallel to y meets each part of the quarter x >= 0, z >= 0, as far as the seam plane, in one
interval that has a closed form; their union less recess and bore is integrated over a polar grid about the axis.

Measured on some 400 random bands: the grid is off by 2.8e-4 at most; a mesh, as polygons of equal area err only in the
segments that an edge cuts short, by 0.012 of its deviation times its area.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.inspection.findings import Finding, Severity
from bandgen.inspection.topology import Topology
from bandgen.layout.numbers import Layout, PlugNumbers, ProngNumbers
from bandgen.layout.seatwork import SeatNumbers
from bandgen.units import SHORTEST_EDGE_MM

QUADRATURE = "quadrature on the layout's numbers, no kernel"
GRID = 96
"""Lines across the outer two of five rings about the stone's axis, and round all of them: some 15 000 lines, 3.5 ms."""

GRID_ERROR = 3e-4
"""Relative error that two grids may share, which their difference does not show."""

FACET_SHARE = 0.03
"""Of deviation times area: over twice the most that facets were seen to add or take."""

Interval = tuple[Floats, Floats]
"""Lower and upper end (k,) on each line; empty where the upper is not greater."""


def inspect_volume(layout: Layout, topology: Topology) -> Finding:
    """Finding "volume" on a mesh of an even band."""
    predicted, error = predict_volume(layout)
    simplified = SHORTEST_EDGE_MM / 4.0  # joining corners a micron apart was seen to take 0.15 micron of skin
    room = error + topology.area * (FACET_SHARE * layout.spec.mesh.deviation_mm + simplified)
    severity: Severity = "ok" if abs(topology.volume - predicted) <= room else "error"
    return Finding("volume", severity, topology.volume, predicted, f"mm3 of metal, within {room:.4f}", QUADRATURE)


def predict_volume(layout: Layout, grid: int = GRID) -> tuple[float, float]:
    """Volume of an even band in mm3 and the bound on its error, from a grid half as fine."""
    count = len(layout.stations)
    fine, coarse = quadrature(layout, grid), quadrature(layout, grid // 2)
    return count * fine, count * (abs(fine - coarse) + GRID_ERROR * fine)


def quadrature(layout: Layout, grid: int) -> float:
    """Volume of the cell about the first seam in mm3, by the midpoint rule."""
    seat, seam = layout.stations[0].seat, layout.seams[0]
    half = math.radians(seam.before_deg)
    x, z, weight = _lines(seat, seam.prong, half, grid)
    radius = np.hypot(x, z)
    parts = (_cup(seat, radius), _plug(seam.plug, seam.prong, half, x, z), _prong(seam.prong, half, x, z))
    floor = np.maximum(np.sqrt(seat.bore_radius_mm**2 - np.minimum(x, seat.bore_radius_mm) ** 2), x / math.tan(half))
    bottom = np.maximum(_recess(seat, radius), floor)
    metal = _covered(parts, floor, 2.0 * seam.prong.axis.crossing_mm)
    cut = _covered(parts, bottom, seat.rim_mm)
    return 4.0 * float(np.sum(weight * (metal - cut)))


def _lines(seat: SeatNumbers, prong: ProngNumbers, half: float, grid: int) -> tuple[Floats, Floats, Floats]:
    """Lines along y that may meet metal, as x (k,), z (k,) and the area (k,) that each stands for, in rings none of
    which straddles an edge of the seat's section."""
    curve = seat.column_radius_mm + seat.fillet_mm * (1.0 - math.sin(math.radians(seat.bearing_deg)))
    across = (prong.axis.crossing_mm + prong.tip_mm) * math.tan(half)
    along = prong.axis.spread_mm + prong.tip_mm * math.sin(prong.axis.lean) + prong.diameter_mm / 2.0
    outer = max(math.hypot(across, along), seat.rim_radius_mm)
    edges = np.array((0.0, seat.column_radius_mm, curve, seat.mouth_radius_mm, seat.rim_radius_mm, outer))
    counts = np.array((grid // 8, grid // 8, grid // 4, grid, grid))
    width = np.repeat(np.diff(edges) / counts, counts)
    radius, step = np.cumsum(width) - width / 2.0, math.pi / 2.0 / grid
    angle = step * (np.arange(grid) + 0.5)
    x, z = np.outer(radius, np.cos(angle)), np.outer(radius, np.sin(angle))
    met = (x < across) & (z < max(along, seat.rim_radius_mm))
    return x[met], z[met], np.broadcast_to((width * radius * step)[:, None], x.shape)[met]


def _cup(seat: SeatNumbers, radius: Floats) -> Interval:
    """From the side's cone to the rim."""
    slope = max(math.tan(math.radians(seat.draft_deg)), 1e-12)
    low = seat.rim_mm - (seat.rim_radius_mm - radius) / slope
    return low, np.where(radius < seat.rim_radius_mm, seat.rim_mm, -np.inf)


def _recess(seat: SeatNumbers, radius: Floats) -> Floats:
    """Height (k,) of the recess's bottom: floor, fillet, bearing cone; infinite outside the mouth."""
    slope, round_ = math.tan(math.radians(seat.bearing_deg)), seat.fillet_mm
    column, mouth = seat.column_radius_mm, seat.mouth_radius_mm
    centre = seat.rim_mm - (mouth - column) * slope - round_ * math.tan(math.radians(90.0 - seat.bearing_deg) / 2.0)
    curve = column + round_ * (1.0 - math.sin(math.radians(seat.bearing_deg)))
    across = radius - column - round_
    fillet = centre + np.sqrt(np.maximum(round_**2 - across**2, 0.0))
    cone = seat.rim_mm - (mouth - radius) * slope
    floor = -np.inf if seat.through else seat.floor_mm
    return np.select(
        (radius < column, radius < curve, radius < mouth), (np.full_like(radius, floor), fillet, cone), np.inf
    )


def _plug(plug: PlugNumbers, prong: ProngNumbers, half: float, x: Floats, z: Floats) -> Interval:
    """Half the block across the seam, as long as its prongs' axes stand apart."""
    sine, cosine = math.sin(half), math.cos(half)
    axis, slope = prong.axis, max(math.tan(prong.axis.lean), 1e-12)
    least = np.maximum(plug.foot_mm, axis.crossing_mm + (z - axis.spread_mm) / slope)
    high = np.minimum((plug.top_mm - x * sine) / cosine, (x * cosine + plug.half_width_mm) / sine)
    return (least - x * sine) / cosine, high


def _prong(prong: ProngNumbers, half: float, x: Floats, z: Floats) -> Interval:
    """The shaft from anywhere under the bore to its shoulder or flat, with the dome."""
    axis, radius = prong.axis, prong.diameter_mm / 2.0
    rise, out = math.cos(axis.lean), math.sin(axis.lean)
    along = (rise * math.sin(half), rise * math.cos(half), out)
    apart = (x - axis.crossing_mm * math.sin(half), -axis.crossing_mm * math.cos(half), z - axis.spread_mm)
    reach = apart[0] * along[0] + apart[1] * along[1] + apart[2] * along[2]
    steep = 1.0 - along[1] ** 2
    middle = (reach * along[1] - apart[1]) / steep
    depth = radius**2 - (apart[0] ** 2 + apart[1] ** 2 + apart[2] ** 2 - reach**2)
    spread = np.sqrt(np.maximum(depth / steep + middle**2, 0.0))
    top = prong.tip_mm - (radius if prong.tip == "dome" else 0.0)
    low, high = middle - spread, np.minimum(middle + spread, (top - reach) / along[1])
    if prong.tip == "dome":
        ball = radius**2 - (apart[0] - top * along[0]) ** 2 - (apart[2] - top * along[2]) ** 2
        centre, tall = top * along[1] - apart[1], np.sqrt(np.maximum(ball, 0.0))
        shaft = np.where(low < high, low, np.inf)
        low = np.where(ball > 0.0, np.minimum(shaft, centre - tall), shaft)
        high = np.where(ball > 0.0, np.maximum(high, centre + tall), high)
    return low, high


def _covered(parts: Sequence[Interval], floor: Floats, ceiling: float) -> Floats:
    """Length (k,) that the union of the intervals covers between floor and ceiling: singles less pairs, and so on."""
    total = np.zeros_like(floor)
    for count in range(1, len(parts) + 1):
        for some in combinations(parts, count):
            low, high = floor, np.full_like(floor, ceiling)
            for start, end in some:
                low, high = np.maximum(low, start), np.minimum(high, end)
            total += (1.0 if count % 2 else -1.0) * np.maximum(high - low, 0.0)
    return total
