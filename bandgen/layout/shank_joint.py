"""Where a shank leaves the last cup of an open row: beside the prong that stands there, or inside it; and whether
between the last prongs there is room for one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, NoReturn

from bandgen.defaults import clamp
from bandgen.errors import Problem, SpecError
from bandgen.layout.numbers import Layout, Seam, Side
from bandgen.units import KEEP_AWAY_MM

BURIED_MM = 0.03
"""How deep in the cup the shank's end face stays."""
LEAST_HALF_ARC_MM = 0.1
"""Least room between a prong's outer side and the middle of the shank: claws stand 0.2 apart (Morris & Watson)."""
HEIGHTS = 8


def row_ends(layout: Layout) -> list[Side]:
    """The two end seams of an open row, as their stations see them; none in a closed one."""
    return [layout.sides(seam)[0] for seam in layout.seams if seam.before is None or seam.after is None]


def plain_deg(seam: Seam) -> float:
    """From an end seam to the middle of the shank."""
    return seam.after_deg if seam.after is None else seam.before_deg


def refuse_short(layout: Layout, ends: Sequence[Side]) -> None:
    """The end prongs stand clear of the middle of the shank, and so of one another."""
    for side in ends:
        plain = plain_deg(side.seam)
        room = layout.bore_radius_mm * math.sin(math.radians(min(plain, 90.0))) - prong_radius(side)
        if room < LEAST_HALF_ARC_MM:
            _refuse(layout, room)


def _refuse(layout: Layout, room_mm: float) -> NoReturn:
    arrangement = layout.spec.arrangement
    key: str
    value: object
    if arrangement.coverage == "count":
        key, value = "stones.count", len(layout.stations)
    elif arrangement.coverage_deg is not None:
        key, value = "arrangement.coverage_deg", arrangement.coverage_deg
    else:
        key, value = "arrangement.coverage", arrangement.coverage
    rule = f"leaves {max(2.0 * room_mm, 0.0):.3f} mm at the bore between the end prongs, too little for a shank"
    raise SpecError([Problem(key, rule, value, 'fewer or smaller stones, or arrangement.coverage = "full"')])


def end_half(side: Side) -> float:
    """Half the width at an end: outside of where prong and cup touch, inside the cup and the prong's outer side; where
    there is no room between, inside prong and cup."""
    prong, foot = side.prong, foot_radius(side)
    heights = heights_to(side, side.station.seat.rim_mm)
    least = max(contact_top(side, height) for height in heights) + KEEP_AWAY_MM
    outer = min(prong_side(side, height, 1) for height in heights)
    most = min(outer, foot - BURIED_MM) - KEEP_AWAY_MM
    if least < most:
        spare = min((most - least) / 2.0, KEEP_AWAY_MM)
        half = clamp(0.85 * foot, least + spare, most - spare)
    else:
        half = min(prong.axis.z_at(sum(heights) / len(heights)), foot - BURIED_MM - 1.5 * KEEP_AWAY_MM)
    return clamp(half, 0.4, 5.0)


def wall_distance(side: Side, half_mm: float) -> float:
    """Midway between the station's plane and the nearest that the end face may stand: its edges are buried in the cup,
    and it is clear of the prong."""
    buried = math.sqrt(max((foot_radius(side) - BURIED_MM) ** 2 - half_mm**2, 0.0))
    return min(buried, side.station.seat.bore_radius_mm * math.sin(side.half) - prong_radius(side)) / 2.0


def foot_radius(side: Side) -> float:
    """The cup's least radius over the bore."""
    seat = side.station.seat
    return seat.radius_at(math.sqrt(seat.bore_radius_mm**2 - seat.rim_radius_mm**2))


def prong_radius(side: Side) -> float:
    """Of the prong beside the shank (mm)."""
    return side.prong.diameter_mm / 2.0


def heights_to(side: Side, top_mm: float) -> list[float]:
    """Radial heights from the bore to the shank's top."""
    low = side.station.seat.bore_radius_mm
    return [low + (top_mm - low) * step / HEIGHTS for step in range(HEIGHTS + 1)]


def prong_side(side: Side, radial_mm: float, sign: Literal[1, -1]) -> float:
    """z of the prong's outer (+1) or inner side in its seam plane."""
    axis = side.prong.axis
    return axis.z_at(radial_mm) + sign * prong_radius(side) / math.cos(axis.lean)


def contact_top(side: Side, radial_mm: float) -> float:
    """The greatest z that prong and cup share at a radial height: where the prong's outline, from its point nearest to
    the cup's axis round to its outer side, leaves the cup."""
    radius, middle = prong_radius(side), side.prong.axis.z_at(radial_mm)
    high = radius / math.cos(side.prong.axis.lean)
    low_angle, high_angle = math.atan2(-middle, radial_mm * math.tan(side.half)), math.pi / 2.0
    for _ in range(40):
        angle = (low_angle + high_angle) / 2.0
        inside = _in_cup(side, radial_mm, radius * math.cos(angle), middle + high * math.sin(angle)) > 0.0
        low_angle, high_angle = (angle, high_angle) if inside else (low_angle, angle)
    return middle + high * math.sin(high_angle)


def seal(side: Side, radial_mm: float, half_mm: float) -> float:
    """How deep in the prong the shank's side leaves the cup (mm, negative: outside it)."""
    seat, sine, cosine = side.station.seat, math.sin(side.half), math.cos(side.half)
    x = 0.0
    for _ in range(4):
        radius = seat.radius_at(min(radial_mm * cosine + x * sine, seat.rim_mm))
        if half_mm >= radius:
            return -1.0
        x = (radial_mm * sine - math.sqrt(radius**2 - half_mm**2)) / cosine
    apart = (half_mm - side.prong.axis.z_at(radial_mm)) * math.cos(side.prong.axis.lean)
    return prong_radius(side) - math.hypot(x, apart)


def cup_off_seam(side: Side, height_mm: float) -> float:
    """How far the cup's side stays off the seam plane at a height on its axis (mm)."""
    seat = side.station.seat
    return height_mm * math.sin(side.half) - seat.radius_at(height_mm) * math.cos(side.half)


def _in_cup(side: Side, radial_mm: float, x: float, z: float) -> float:
    """Depth in the cup of a point at a radial height, ``x`` off the seam plane towards the station (mm)."""
    seat, sine, cosine = side.station.seat, math.sin(side.half), math.cos(side.half)
    height = min(radial_mm * cosine + x * sine, seat.rim_mm)
    return seat.radius_at(height) - math.hypot(radial_mm * sine - x * cosine, z)
