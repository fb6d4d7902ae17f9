"""Does the mesh come out as the layout predicts? Genus, volume, extents, bore: numbers that no kernel had a hand in."""

from __future__ import annotations

import math

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.inspection.findings import Finding, Place, Severity
from bandgen.inspection.topology import Topology
from bandgen.layout.numbers import Layout, ProngNumbers

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
    """Half the band's width and its outer radius, in mm: of the widest cup or prong, and of the highest tip or rim."""
    width = max(
        max(_widest(seam.prong) for seam in layout.seams),
        max(station.seat.rim_radius_mm for station in layout.stations),
    )
    outer = max(
        max(_highest(seam.prong) for seam in layout.seams),
        max(math.hypot(station.seat.rim_mm, station.seat.rim_radius_mm) for station in layout.stations),
    )
    return width, outer


def _widest(prong: ProngNumbers) -> float:
    """z of the prong's outer side at its shoulder."""
    radius, lean = prong.diameter_mm / 2.0, prong.axis.lean
    if prong.tip == "dome":
        return prong.axis.spread_mm + (prong.tip_mm - radius) * math.sin(lean) + radius
    return prong.axis.spread_mm + prong.tip_mm * math.sin(lean) + radius * math.cos(lean)


def _highest(prong: ProngNumbers) -> float:
    """Distance from the ring's axis to the prong's farthest point."""
    radius, lean = prong.diameter_mm / 2.0, prong.axis.lean
    if prong.tip == "dome":
        return prong.axis.crossing_mm + (prong.tip_mm - radius) * math.cos(lean) + radius
    middle = prong.axis.crossing_mm + prong.tip_mm * math.cos(lean)
    # The tip's disc leans by the lean only: its farthest point lies across, along, or between on its rim.
    angles = np.linspace(0.0, math.pi, 721)
    return float(np.hypot(middle + radius * np.cos(angles) * math.sin(lean), radius * np.sin(angles)).max())


def _equal(code: str, measured: int | str, limit: int, text: str) -> Finding:
    return Finding(code, "ok" if measured == limit else "error", measured, limit, text, LAYOUT, Place())


def _between(code: str, measured: float, low: float, high: float, text: str) -> Finding:
    severity: Severity = "ok" if low <= measured <= high else "error"
    limit = low if measured < low else high
    return Finding(code, severity, measured, limit, f"{text}, within {low:.4f} to {high:.4f}", LAYOUT, Place())


def _near(code: str, measured: float, limit: float, slack: float, text: str) -> Finding:
    severity: Severity = "ok" if abs(measured - limit) <= slack else "error"
    return Finding(code, severity, measured, limit, f"{text}, within {slack:.4f}", LAYOUT, Place())
