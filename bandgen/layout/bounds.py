"""Closed-form bounds of the band's volume, from below and above, in mm3.

Above: the parts of every pitch side by side, as if none overlapped. Below: of each cup what no neighbour can share,
and of each prong what stands over everything else.
"""

from __future__ import annotations

import math

from bandgen.layout.numbers import ProngNumbers, Seam
from bandgen.layout.seatwork import SeatNumbers, recess_profile
from bandgen.parts import Revolved, volume
from bandgen.units import tand


def volume_bounds(seat: SeatNumbers, seam: Seam, count: int) -> tuple[float, float]:
    """Least and greatest volume of an even band."""
    recess_low, recess_high = _recess(seat, seat.bore_radius_mm), _recess(seat, seat.column_bottom_mm)
    low = _own_cup(seat, math.radians(seam.before_deg)) - recess_high + 2.0 * _free_prong(seat, seam)
    high = _cup(seat) - recess_low + 2.0 * _prong(seam.prong) + _plug(seat, seam)
    return count * low, count * high


def frustum(height: float, radius_low: float, radius_high: float) -> float:
    """Volume of a cone's slice."""
    return math.pi * height * (radius_low**2 + radius_low * radius_high + radius_high**2) / 3.0


def _cup(seat: SeatNumbers) -> float:
    foot = math.sqrt(seat.bore_radius_mm**2 - seat.radius_at(seat.bore_radius_mm) ** 2)
    return frustum(seat.rim_mm - foot, seat.radius_at(foot), seat.rim_radius_mm)


def _own_cup(seat: SeatNumbers, half: float) -> float:
    """The cup over the bore's highest line, where needed narrowed to the cone that two seam planes leave."""
    low, high, slope = seat.bore_radius_mm, seat.rim_mm, math.tan(half)
    taper = tand(seat.draft_deg)
    part = (seat.rim_radius_mm - seat.rim_mm * taper) / (slope - taper) if slope - taper > 1e-9 else low
    part = min(max(part, low), high)
    narrow = frustum(part - low, low * slope, part * slope) if part > low else 0.0
    return narrow + frustum(high - part, seat.radius_at(part), seat.rim_radius_mm)


def _recess(seat: SeatNumbers, column_bottom: float) -> float:
    bottom = column_bottom if seat.through else seat.column_bottom_mm
    return volume(Revolved(recess_profile(seat, bottom)))


def _prong(prong: ProngNumbers) -> float:
    radius = prong.diameter_mm / 2.0
    foot = (prong.axis.crossing_mm - math.sqrt(prong.bore_radius_mm**2 - radius**2)) / math.cos(prong.axis.lean)
    return math.pi * radius**2 * (foot + prong.tip_mm)


def _free_prong(seat: SeatNumbers, seam: Seam) -> float:
    """The prong's shaft over the highest point of both rims."""
    prong, half = seam.prong, math.radians(seam.before_deg)
    radius, lean = prong.diameter_mm / 2.0, prong.axis.lean
    top = seat.rim_mm * math.cos(half) + seat.rim_radius_mm * math.sin(half)
    start = (top - prong.axis.crossing_mm) / math.cos(lean) + radius * abs(math.tan(lean))
    end = prong.tip_mm - (radius if prong.tip == "dome" else 0.0)
    return math.pi * radius**2 * max(end - start, 0.0)


def _plug(seat: SeatNumbers, seam: Seam) -> float:
    plug = seam.plug
    foot = max(plug.foot_mm, math.sqrt(seat.bore_radius_mm**2 - plug.half_width_mm**2))
    length = 2.0 * seam.prong.axis.z_at(plug.top_mm)
    return 2.0 * plug.half_width_mm * length * (plug.top_mm - foot)
