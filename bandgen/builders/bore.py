"""The bore: the finger's opening, cut last; straight or, for comfort, convex towards the finger."""

from __future__ import annotations

import math

from bandgen.layout.numbers import BoreNumbers, ProngNumbers, Seam
from bandgen.parts import Extruded, Frame, Part, Point, Profile, Revolved
from bandgen.units import sincosd

BEYOND_DEG = 30.0
"""How far the sector reaches past the cell's planes at most."""

RING_AXIS = Frame(u=(0.0, -1.0, 0.0), v=(0.0, 0.0, 1.0), w=(-1.0, 0.0, 0.0))
"""The ring's axis; revolutions start on -Y, opposite the seam and out of every cell."""


def build_bore(seam: Seam, bore: BoreNumbers, half_width_mm: float) -> Part:
    """The bore's tool for the cell of a seam; ``half_width_mm`` is half the band's width, generously."""
    if bore.crown_mm > 0.0:
        return Part("bore", -1, Revolved(comfort_profile(bore), cell_stops(seam)), RING_AXIS)
    return Part("bore", -1, _sector(seam, bore, half_width_mm))


def cell_stops(seam: Seam) -> tuple[float, ...]:
    """Where a revolution about the ring's axis (``RING_AXIS``) meets the cell's planes and the seam plane between."""
    return (180.0 - seam.before_deg, 180.0, 180.0 + seam.after_deg)


def comfort_profile(bore: BoreNumbers) -> Profile:
    """The tool of a comfort bore in (radius, z): solid from the ring's axis to one arc, in two halves so that its
    narrowest point is a corner."""
    reach = bore.reach_mm
    edge, bulge = bore.radius_at(reach), -math.tan(math.asin(reach / bore.curve_mm) / 4.0)
    arc = (Point(edge, -reach, bulge), Point(bore.radius_mm, 0.0, bulge), Point(edge, reach))
    return Profile((Point(0.0, -reach), *arc, Point(0.0, reach)))


def _sector(seam: Seam, bore: BoreNumbers, half_width_mm: float) -> Extruded:
    """A sector of a flat bore that reaches past both planes of the cell; corners on these and on the seam plane."""
    before, after = (degrees + min(degrees, BEYOND_DEG) for degrees in (seam.before_deg, seam.after_deg))
    angles = (-before, -seam.before_deg, 0.0, seam.after_deg, after)
    corners = []
    for angle, following in zip(angles, (*angles[1:], angles[-1]), strict=True):
        sine, cosine = sincosd(angle)
        bulge = math.tan(math.radians(following - angle) / 4.0)
        corners.append(Point(-sine * bore.radius_mm, cosine * bore.radius_mm, bulge))
    outline = Profile((Point(0.0, 0.0), *corners))
    return Extruded(outline, 2.0 * (half_width_mm + 1.0))


def half_width(widest_mm: float, prong: ProngNumbers) -> float:
    """Half the band's width along the ring's axis, generously; ``widest_mm`` is half the widest part but the prongs."""
    top = prong.axis.spread_mm + prong.tip_mm * math.sin(prong.axis.lean) + prong.diameter_mm / 2.0
    return max(widest_mm, top)
