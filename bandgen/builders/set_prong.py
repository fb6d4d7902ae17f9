"""The prongs of a seam after setting: shafts that end in a cap of a sphere."""

from __future__ import annotations

import math
from typing import Any

from bandgen.layout.numbers import Seam
from bandgen.layout.set_dome import SetProng, point_on
from bandgen.layout.set_numbers import across_axis
from bandgen.parts import Frame, Part, Point, Profile, Revolved


def build_set_prongs(seam: Seam) -> tuple[Part, ...]:
    """Pair by pair, that of the station before first; of each first the one at positive z."""
    prongs: tuple[Any, ...] = seam.prongs
    return tuple(
        Part("prong", 1, Revolved(set_prong_profile(prong)), _frame(prong, side))
        for prong in prongs
        for side in (1, -1)
    )


def set_prong_profile(prong: SetProng) -> Profile:
    """Half the prong's length section; v = 0 where the axis crosses the girdle planes."""
    radius, shoulder = prong.diameter_mm / 2.0, prong.shoulder_mm
    bulge = math.tan(math.asin(radius / prong.dome_mm) / 4.0)
    foot = -prong.foot_mm
    return Profile((Point(0.0, foot), Point(radius, foot), Point(radius, shoulder, bulge), Point(0.0, prong.tip_mm)))


def _frame(prong: SetProng, side: int) -> Frame:
    """The revolution starts on the outer side, in the plane of the axis and Z."""
    (x, y, z), (u, w) = prong.axis.along, across_axis(prong.axis)
    origin = point_on(prong.axis, 0.0)
    return Frame(
        (origin[0], origin[1], origin[2] * side),
        (u[0], u[1], u[2] * side),
        (x, y, z * side),
        (w[0] * side, w[1] * side, 0.0),
    )
