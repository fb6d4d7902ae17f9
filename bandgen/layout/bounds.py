"""Closed-form bounds of the band's volume, from below and above, in mm3.

Above: the parts of every pitch side by side, as if none overlapped. Below: of each cup what no neighbour can share,
and of each prong what stands over everything else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from bandgen.layout.numbers import ProngNumbers, Seam, Side
from bandgen.layout.seatwork import SeatNumbers, recess_profile
from bandgen.parts import Revolved, volume
from bandgen.units import tand


def volume_bounds(sides: Sequence[Side]) -> tuple[float, float]:
    """Least and greatest volume of what stands between the mid-planes of a seam's one or two stations."""
    seam = sides[0].seam
    low = sum((_own_cup(side) - _recess(side.station.seat, side.station.seat.column_bottom_mm)) / 2.0 for side in sides)
    high = sum(
        (_cup(side.station.seat) - _recess(side.station.seat, side.station.seat.bore_radius_mm)) / 2.0 for side in sides
    )
    low += 2.0 * min(_free_prong(side) for side in sides)
    high += 2.0 * sum(map(_prong, seam.prongs)) + _plug(seam)
    return low, high


def frustum(height: float, radius_low: float, radius_high: float) -> float:
    """Volume of a cone's slice."""
    return math.pi * height * (radius_low**2 + radius_low * radius_high + radius_high**2) / 3.0


def _cup(seat: SeatNumbers) -> float:
    foot = math.sqrt(seat.bore_radius_mm**2 - seat.radius_at(seat.bore_radius_mm) ** 2)
    return frustum(seat.rim_mm - foot, seat.radius_at(foot), seat.rim_radius_mm)


def _own_cup(side: Side) -> float:
    """The cup over the bore's highest line, where needed narrowed to the cone that two seam planes leave."""
    seat = side.station.seat
    low, high, slope = seat.bore_radius_mm, seat.rim_mm, math.tan(side.half)
    taper = tand(seat.draft_deg)
    part = (seat.rim_radius_mm - seat.rim_mm * taper) / (slope - taper) if slope - taper > 1e-9 else low
    part = min(max(part, low), high)
    narrow = frustum(part - low, low * slope, part * slope) if part > low else 0.0
    return narrow + frustum(high - part, seat.radius_at(part), seat.rim_radius_mm)


def _recess(seat: SeatNumbers, column_bottom: float) -> float:
    bottom = column_bottom if seat.through else seat.column_bottom_mm
    return volume(Revolved(recess_profile(seat, bottom)))


def _prong(prong: ProngNumbers) -> float:
    radius, axis = prong.diameter_mm / 2.0, prong.axis
    off = max(abs(axis.across_mm), abs(axis.x_at(prong.bore_radius_mm))) + radius
    foot = (axis.crossing_mm - math.sqrt(prong.bore_radius_mm**2 - off**2)) / axis.along[1]
    return math.pi * radius**2 * (foot + prong.tip_mm)


def _free_prong(side: Side) -> float:
    """The prong's shaft over the highest point of the rim."""
    seat, prong, half = side.station.seat, side.prong, side.half
    radius, (x, y, z) = prong.diameter_mm / 2.0, prong.axis.along
    top = seat.rim_mm * math.cos(half) + seat.rim_radius_mm * math.sin(half)
    start = (top - prong.axis.crossing_mm) / y + radius * math.hypot(x, z) / y
    return math.pi * radius**2 * max(prong.shoulder_mm - start, 0.0)


def _plug(seam: Seam) -> float:
    plug, bore = seam.plug, seam.prong.bore_radius_mm
    if plug is None:
        return 0.0
    foot = max(plug.foot_mm, math.sqrt(bore**2 - max(plug.before_mm, plug.after_mm) ** 2))
    return plug.width_mm * 2.0 * max(prong.axis.z_at(plug.top_mm) for prong in seam.prongs) * (plug.top_mm - foot)
