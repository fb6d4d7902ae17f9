"""The bore: the finger's cylinder, cut last."""

from __future__ import annotations

import math

from bandgen.layout.numbers import ProngNumbers, Seam
from bandgen.parts import Extruded, Part, Point, Profile
from bandgen.units import sincosd


def build_bore(seam: Seam, bore_radius_mm: float, half_width_mm: float) -> Part:
    """A sector of the bore that reaches half a pitch past both stations; corners on seam and station planes."""
    angles = (-2.0 * seam.before_deg, -seam.before_deg, 0.0, seam.after_deg, 2.0 * seam.after_deg)
    corners = []
    for angle, following in zip(angles, (*angles[1:], angles[-1]), strict=True):
        sine, cosine = sincosd(angle)
        bulge = math.tan(math.radians(following - angle) / 4.0)
        corners.append(Point(-sine * bore_radius_mm, cosine * bore_radius_mm, bulge))
    outline = Profile((Point(0.0, 0.0), *corners))
    return Part("bore", -1, Extruded(outline, 2.0 * (half_width_mm + 1.0)))


def half_width(rim_radius_mm: float, prong: ProngNumbers) -> float:
    """Half the band's width along the ring's axis, generously."""
    top = prong.axis.spread_mm + prong.tip_mm * math.sin(prong.axis.lean) + prong.diameter_mm / 2.0
    return max(rim_radius_mm, top)
