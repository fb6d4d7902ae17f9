"""The band's metal by quadrature on the layout's own numbers: no kernel, no facet and no builder has a hand in it.

Stone frame of the station before a seam: y up the stone's axis from the ring's centre, x towards the seam, z along the
ring's axis. Every line parallel to y meets each part of the quarter x >= 0, z >= 0, as far as the seam plane, in one
interval that has a closed form; their union less recess and bore is integrated over a polar grid about the axis.

Measured on 187 random bands: the grid is off by 2.3e-4 at most; a mesh by 0.006 of its deviation times its area, since
polygons of equal area err only in the segments that an edge cuts short.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.inspection.findings import Finding, Place
from bandgen.inspection.topology import Topology
from bandgen.layout.numbers import Layout, PlugNumbers, ProngNumbers
from bandgen.layout.seatwork import SeatNumbers
from bandgen.units import SHORTEST_EDGE_MM

QUADRATURE = "quadrature on the layout's numbers, no kernel"
GRID = 96
"""Lines across the outer two of five rings about the stone's axis, and round all of them: 23 000 lines, 4 ms."""

GRID_ERROR = 3e-4
"""Relative error that two grids may share, which their difference does not show."""

FACET_SHARE = 0.02
"""Of deviation times area: three times the most that facets were seen to add or take."""

OVER_RIM_MM = 0.01
"""How far the recess reaches over the rim (``builders.seat``); nothing stands there while the layout holds."""

Interval = tuple[Floats, Floats]
"""Lower and upper end (k,) on each line; empty where the upper is not greater."""


def inspect_volume(layout: Layout, topology: Topology) -> Finding:
    """Finding "volume" on a mesh of an even band."""
    predicted, error = predict_volume(layout)
    simplified = SHORTEST_EDGE_MM / 4.0  # joining corners a micron apart was seen to take 0.15 micron of skin
    room = error + topology.area * (FACET_SHARE * layout.spec.mesh.deviation_mm + simplified)
    severity = "ok" if abs(topology.volume - predicted) <= room else "error"
    text = f"mm3 of metal, within {room:.4f}"
    return Finding("volume", severity, topology.volume, predicted, text, QUADRATURE, Place())


def predict_volume(layout: Layout, grid: int = GRID) -> tuple[float, float]:
    """Volume of an even band in mm3 and the bound on its error, from a grid 2/3 as fine."""
    count = len(layout.stations)
    fine, coarse = quadrature(layout, grid), quadrature(layout, 2 * grid // 3)
    return count * fine, count * (abs(fine - coarse) + GRID_ERROR * fine)


def quadrature(layout: Layout, grid: int) -> float:
    """Volume of the cell about the first seam in mm3, by the midpoint rule."""
    seat, seam = layout.stations[0].seat, layout.seams[0]
    half = math.radians(seam.before_deg)
    radius, angle, weight = _lines(seat, seam.prong, half, grid)
    x, z = radius * np.cos(angle), radius * np.sin(angle)
    parts = (_cup(seat, radius), _plug(seam.plug, seam.prong, half, x, z), _prong(seam.prong, half, x, z))
    floor = np.maximum(np.sqrt(seat.bore_radius_mm**2 - np.minimum(x, seat.bore_radius_mm) ** 2), x / math.tan(half))
    bottom = np.maximum(_recess(seat, radius), floor)
    metal = _covered(parts, floor, 2.0 * seam.prong.axis.crossing_mm)
    cut = _covered(parts, bottom, seat.rim_mm + OVER_RIM_MM)
    return 4.0 * float(weight @ (metal - cut))


def _lines(seat: SeatNumbers, prong: ProngNumbers, half: float, grid: int) -> tuple[Floats, Floats, Floats]:
    """Lines along y, as radius (k,), azimuth from x (k,) and the area (k,) that each stands for; no ring straddles an
    edge of the seat's section."""
    curve = seat.column_radius_mm + seat.fillet_mm * (1.0 - math.sin(math.radians(seat.bearing_deg)))
    widest = prong.axis.spread_mm + prong.tip_mm * math.sin(prong.axis.lean) + prong.diameter_mm
    highest = prong.axis.crossing_mm + prong.tip_mm
    outer = max(math.hypot(widest, highest * math.sin(half)), seat.rim_radius_mm)
    edges = (0.0, seat.column_radius_mm, curve, seat.mouth_radius_mm, seat.rim_radius_mm, outer)
    counts = (grid // 8, grid // 8, grid // 4, grid, grid)
    radii, widths = [], []
    for low, high, count in zip(edges[:-1], edges[1:], counts, strict=True):
        width = (high - low) / count
        radii.append(low + width * (np.arange(count) + 0.5))
        widths.append(np.full(count, width))
    radius, step = np.concatenate(radii), math.pi / 2.0 / grid
    angle = step * (np.arange(grid) + 0.5)
    area = np.concatenate(widths) * radius * step
    return np.repeat(radius, grid), np.tile(angle, len(radius)), np.repeat(area, grid)


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
    """Length (k,) that the union of the intervals covers between floor and ceiling."""
    low = np.clip(np.stack([part[0] for part in parts]), np.minimum(floor, ceiling), ceiling)
    high = np.clip(np.stack([part[1] for part in parts]), low, ceiling)
    order = np.argsort(low, axis=0)
    low, high = np.take_along_axis(low, order, axis=0), np.take_along_axis(high, order, axis=0)
    total, reached = high[0] - low[0], high[0]
    for start, end in zip(low[1:], high[1:], strict=True):
        total += np.maximum(end - np.maximum(start, reached), 0.0)
        reached = np.maximum(reached, end)
    return total
