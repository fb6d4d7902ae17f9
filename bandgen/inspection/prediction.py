"""Does the mesh come out as the layout predicts? Genus, volume, extents, bore: numbers that no kernel had a hand in."""

from __future__ import annotations

import math

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.inspection.findings import Finding, equal
from bandgen.inspection.topology import Topology
from bandgen.layout.numbers import Layout, ProngNumbers, Seam, Station

LAYOUT = "closed form of the layout"
FLOAT32_MM = 4e-6
"""Rounding of a coordinate up to 64 mm to float32 (half a unit in the last place is 1.9e-6)."""


def inspect_prediction(layout: Layout, vertices: Floats, topology: Topology) -> list[Finding]:
    """Findings on a band's mesh against its layout."""
    slack = layout.spec.mesh.deviation_mm + FLOAT32_MM
    low, high = layout.volume_bounds_mm3
    room = topology.area * slack
    radial = np.hypot(vertices[:, 0], vertices[:, 1])
    width, outer = extents(layout)
    return [
        _equal("genus", topology.genus if topology.genus is not None else "open", layout.genus, "openings and handles"),
        _between("volume-bounds", topology.volume, low - room, high + room, "mm3 of metal"),
        _near("band-width", 2.0 * float(np.abs(vertices[:, 2]).max()), 2.0 * width, 2.0 * slack, "mm over the band"),
        _near("outer-diameter", 2.0 * float(radial.max()), 2.0 * outer, 2.0 * slack, "mm over the prongs' tips"),
        _near("bore-diameter", 2.0 * float(radial.min()), 2.0 * layout.bore_radius_mm, 2.0 * slack, "mm of bore"),
    ]


def extents(layout: Layout) -> tuple[float, float]:
    """Half the width of the band's widest cup, prong or addition, and the radius of its highest, in mm."""
    owners: list[Station | Seam] = [*layout.stations, *layout.seams]
    width = max(
        layout.outer_row_mm + max(_widest(prong) for seam in layout.seams for prong in seam.prongs),
        layout.outer_row_mm + max(station.seat.rim_radius_mm for station in layout.stations),
        max((extra.half_width_mm for owner in owners for extra in owner.extras), default=0.0),
    )
    outer = max(
        max(_highest(prong) for seam in layout.seams for prong in seam.prongs),
        max(math.hypot(station.seat.rim_mm, station.seat.rim_radius_mm) for station in layout.stations),
        max((extra.reach_mm for seam in layout.seams for extra in seam.extras), default=0.0),
    )
    return width, outer


def _widest(prong: ProngNumbers) -> float:
    """z of the prong's outer side at its shoulder."""
    level = 1.0 if prong.tip == "dome" else math.hypot(*prong.axis.along[:2])
    return prong.shoulder[2] + prong.diameter_mm / 2.0 * level


def _highest(prong: ProngNumbers) -> float:
    """Distance from the ring's axis to the prong's farthest point."""
    radius, (x, y, _) = prong.diameter_mm / 2.0, prong.shoulder
    if prong.tip == "dome":
        return math.hypot(x, y) + radius
    # Its farthest point lies on the rim of the tip's disc, spanned by a level direction and one across it.
    a, b, c = prong.axis.along
    level, angles = math.hypot(a, b), np.linspace(0.0, 2.0 * math.pi, 1441)
    cosine, sine = radius * np.cos(angles), radius * np.sin(angles)
    return float(np.hypot(x + (cosine * b - sine * a * c) / level, y - (cosine * a + sine * b * c) / level).max())


def _equal(code: str, measured: int | str, limit: int, text: str) -> Finding:
    return equal(code, measured == limit, measured, limit, text, LAYOUT)


def _between(code: str, measured: float, low: float, high: float, text: str) -> Finding:
    limit = low if measured < low else high
    return equal(code, low <= measured <= high, measured, limit, f"{text}, within {low:.4f} to {high:.4f}", LAYOUT)


def _near(code: str, measured: float, limit: float, slack: float, text: str) -> Finding:
    return equal(code, abs(measured - limit) <= slack, measured, limit, f"{text}, within {slack:.4f}", LAYOUT)
