"""The prongs of a seam: a pair that its two stones share, or a pair for each."""

from __future__ import annotations

import math

from bandgen.layout.numbers import ProngNumbers, Seam
from bandgen.parts import Frame, Part, Point, Profile, Revolved

QUARTER_BULGE = math.tan(math.pi / 8.0)


def build_prongs(seam: Seam) -> tuple[Part, ...]:
    """Pair by pair, that of the station before first; of each first the one at positive z."""
    return tuple(
        Part("prong", 1, Revolved(prong_profile(prong)), _frame(prong, side))
        for prong in seam.prongs
        for side in (1, -1)
    )


def prong_profile(prong: ProngNumbers) -> Profile:
    """Half the prong's length section; v = 0 where the axis crosses the girdle planes."""
    radius, foot, tip = prong.diameter_mm / 2.0, -prong.foot_mm, prong.tip_mm
    if prong.tip == "flat":
        return Profile((Point(0.0, foot), Point(radius, foot), Point(radius, tip), Point(0.0, tip)))
    shoulder = Point(radius, tip - radius, QUARTER_BULGE)
    return Profile((Point(0.0, foot), Point(radius, foot), shoulder, Point(0.0, tip)))


def _frame(prong: ProngNumbers, side: int) -> Frame:
    """The axis leans outwards; the revolution starts on its outer side, in the plane of the axis and Z."""
    axis, (x, y, z) = prong.axis, prong.axis.along
    level = math.hypot(x, y)
    u, w = (-x * z / level, -y * z / level, level * side), (-y / level * side, x / level * side, 0.0)
    return Frame((axis.across_mm, axis.crossing_mm, axis.spread_mm * side), u, v=(x, y, z * side), w=w)
