"""The two prongs of a seam, each shared by its two stones."""

from __future__ import annotations

import math

from bandgen.layout.numbers import ProngNumbers, Seam
from bandgen.parts import Frame, Part, Point, Profile, Revolved

QUARTER_BULGE = math.tan(math.pi / 8.0)


def build_prongs(seam: Seam) -> tuple[Part, ...]:
    """The pair, first the one at positive z."""
    shape = Revolved(prong_profile(seam.prong))
    return tuple(Part("prong", 1, shape, _frame(seam.prong, side)) for side in (1, -1))


def prong_profile(prong: ProngNumbers) -> Profile:
    """Half the prong's length section; v = 0 where the axis crosses the girdle planes."""
    radius, foot, tip = prong.diameter_mm / 2.0, -prong.foot_mm, prong.tip_mm
    if prong.tip == "flat":
        return Profile((Point(0.0, foot), Point(radius, foot), Point(radius, tip), Point(0.0, tip)))
    shoulder = Point(radius, tip - radius, QUARTER_BULGE)
    return Profile((Point(0.0, foot), Point(radius, foot), shoulder, Point(0.0, tip)))


def _frame(prong: ProngNumbers, side: int) -> Frame:
    """The axis leans outwards in the seam's plane; the revolution starts on the outer side of that plane."""
    out, up = math.sin(prong.axis.lean) * side, math.cos(prong.axis.lean)
    origin = (0.0, prong.axis.crossing_mm, prong.axis.spread_mm * side)
    return Frame(origin, u=(0.0, -out * side, up * side), v=(0.0, up, out), w=(-float(side), 0.0, 0.0))
