"""Where a hallmark could stand: the largest plain patch of the finished band, on the bore or on a shank's outside.

On the bore a strip is plain all round as far from the band's middle as cups, plugs, prongs and shank cover the finger
everywhere; beyond it the notches beside the prongs begin. Openings leave the strips beside them, or the pieces between.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from bandgen.layout.events import plug_end
from bandgen.layout.hoop import hoop_of
from bandgen.layout.numbers import Layout, Side
from bandgen.layout.shank import shank_of
from bandgen.layout.shank_joint import cup_off_seam, plain_deg, prong_radius, row_ends

STEPS = 200
"""Turns between a station and its seam plane that are looked at."""


@dataclass(frozen=True)
class PlainPatch:
    """A plain patch: its width along the finger and its length round it, both in mm; ``domed`` where it is bent along
    the finger as well (a comfort bore, a half-round shank)."""

    where: Literal["bore", "shank"]
    width_mm: float
    length_mm: float
    domed: bool

    @property
    def area_mm2(self) -> float:
        """Width times length."""
        return self.width_mm * self.length_mm


def hallmark_patch(layout: Layout) -> PlainPatch | None:
    """The largest plain patch by area; None where there is none, as where feet stand apart on every side."""
    found = [patch for patch in (*_on_bore(layout), *_on_shank(layout)) if min(patch.width_mm, patch.length_mm) > 0.0]
    return max(found, key=lambda patch: patch.area_mm2, default=None)


def covered_half_mm(layout: Layout) -> float:
    """How far from the band's mid-plane the finger is covered all round (mm); 0 where a slot goes through."""
    hoops = [hoop.half_width_mm for seam in layout.seams if (hoop := hoop_of(seam)) is not None]
    if hoops:
        return min(hoops)
    shanks = [min(own.end_half_mm, own.base_half_mm) for seam in layout.seams if (own := shank_of(seam)) is not None]
    pairs = [layout.sides(seam) for seam in layout.seams]
    seams = [min(_cover(layout, side) for side in sides) for sides in pairs if len(sides) == 2]
    between = min(seams, default=math.inf)
    if between == 0.0:
        return 0.0
    return min(layout.outer_row_mm + between, *shanks, math.inf)


def _cover(layout: Layout, side: Side) -> float:
    """z from the row's middle up to which the finger is covered without a gap between a station and its seam plane: by
    the cup's foot, a flush plug and the prong, at the worst of many turns."""
    return min(_top(layout, side, side.half * step / STEPS) for step in range(STEPS + 1))


def _top(layout: Layout, side: Side, turn: float) -> float:
    """The same at one angle (radians) from the seam plane."""
    seat, bore, plug, prong = side.station.seat, layout.bore.finished_mm, side.seam.plug, side.prong
    x = bore * math.sin(turn)
    top = _chord(seat.radius_at(bore * math.cos(side.half - turn)), bore * math.sin(side.half - turn))
    if plug is not None and plug.foot_mm <= bore and x <= side.plug_mm:
        top = max(top, plug_end(side.seam.prongs, bore))
    reach = _chord(prong.diameter_mm / 2.0, x - side.sign * prong.axis.x_at(bore)) / math.cos(prong.axis.lean)
    middle = prong.axis.z_at(bore)
    return max(top, middle + reach) if reach > 0.0 and middle - reach <= top else top


def _chord(radius: float, across: float) -> float:
    return math.sqrt(max(radius**2 - across**2, 0.0))


def _on_bore(layout: Layout) -> Iterator[PlainPatch]:
    half, bore, domed = covered_half_mm(layout), layout.bore.finished_mm, layout.bore.crown_mm > 0.0
    around = 2.0 * math.pi * bore
    holes = max((each.seat.column_radius_mm for each in layout.stations if each.seat.through), default=0.0)
    if holes == 0.0:
        yield PlainPatch("bore", 2.0 * half, around, domed)
        return
    yield PlainPatch("bore", half - layout.outer_row_mm - holes, around, domed)
    if len(layout.rows) == 1:
        yield from (PlainPatch("bore", 2.0 * half, length, domed) for length in _between_holes(layout))


def _between_holes(layout: Layout) -> Iterator[float]:
    """Lengths along the bore from one opening to the next."""
    bore = layout.bore.finished_mm
    turns = [math.radians(each.angle_deg) for each in layout.stations]
    first, second = zip(*pairwise([*layout.stations, layout.stations[0]]), strict=True)
    for one, other, here, there in zip(first, second, turns, [*turns[1:], turns[0] + math.tau], strict=True):
        taken = sum(math.asin(each.seat.column_radius_mm / bore) for each in (one, other))
        yield bore * (there - here - taken)


def _on_shank(layout: Layout) -> Iterator[PlainPatch]:
    """The outside from cup to cup, as wide as where it is narrowest."""
    ends = [(side, own) for side in row_ends(layout) if (own := shank_of(side.seam)) is not None]
    if not ends:
        return
    width = 2.0 * min(min(own.end_half_mm, own.base_half_mm) for _, own in ends)
    least = min(min(own.end_reach_mm, own.base_reach_mm) for _, own in ends)
    turn = sum(math.radians(plain_deg(side.seam)) - _taken(side) for side, _ in ends)
    yield PlainPatch("shank", width, least * turn, any(own.crown_mm > 0.0 for _, own in ends))


def _taken(side: Side) -> float:
    """Angle in radians past the seam that prong and cup take at the finger, where it is the most."""
    seat = side.station.seat
    cup = max(-cup_off_seam(side, height) for height in (seat.bore_radius_mm, seat.rim_mm))
    return math.asin(min(max(prong_radius(side), cup) / seat.bore_radius_mm, 1.0))
