"""The hoop: a thin inner ring under the cups, for strength; under each stone closed, or open where the seats are.

It fills the lower ends of the notches beside the prongs. These stay open to the band's sides, and between two prongs
plug and feet already close everything, so a hoop adds no handle and traps nothing; where the plug stops over the
finger, the hoop must reach up to it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from bandgen.errors import Problem, SpecError
from bandgen.layout.events import nearest_of_each, parting_height
from bandgen.layout.numbers import Event, Layout, Move, ProngNumbers, Seam, Side, Station
from bandgen.layout.shank import ShankNumbers, shank_of
from bandgen.units import KEEP_AWAY_MM

UNDER_BORE_MM = 0.37
"""How far the hoop's blank runs under the bore: past the plugs' feet, so that no two of their faces lie close."""
WIDTH_STEP_MM = 0.01
MOST_WIDTH_MM = 12.0
"""The widest that a spec may ask for, and so the widest that is filled in."""
FEET_APART_MM = 0.001
"""Twice the least distance from hoop's top to where two cups part: a point inside the plug that nobody sees, but at
1e-8 mm from it the exact kernel lost most of a cell; from 1e-7 on it did not."""
STRAIGHT = math.radians(0.04)
"""A prong that leans by less stands along a hoop's side (cups are straight, or taper by 0.05 degrees at least)."""


@dataclass(frozen=True)
class HoopNumbers:
    """A ring about the finger, the same in every seam."""

    bore_radius_mm: float
    thickness_mm: float
    width_mm: float

    @property
    def half_width_mm(self) -> float:
        """How far it reaches along the finger."""
        return self.width_mm / 2.0

    @property
    def bottom_mm(self) -> float:
        """Radius of the blank's inside, under the bore."""
        return self.bore_radius_mm - UNDER_BORE_MM

    @property
    def reach_mm(self) -> float:
        """How far it reaches from the ring's axis."""
        return self.top_mm

    @property
    def top_mm(self) -> float:
        """Radius of its outside."""
        return self.bore_radius_mm + self.thickness_mm


def add_hoop(layout: Layout) -> Layout:
    """The layout with its hoop, where the spec asks for one. Seats that go through end on a hoop without openings.

    Raises:
        SpecError: when openings are asked for under seats that have a floor.
    """
    asked = layout.spec.hoop
    if not asked.thickness_mm:
        return layout
    _refuse_openings_under_floors(layout)
    layout = _off_the_parting(layout)
    width = default_width(layout) if asked.width_mm is None else asked.width_mm
    layout = filled(layout, "hoop", width_mm=width)
    hoop = HoopNumbers(layout.bore_radius_mm, layout.spec.hoop.thickness_mm, width)
    low, high = layout.volume_bounds_mm3
    high += math.pi * (hoop.top_mm**2 - hoop.bore_radius_mm**2) * hoop.width_mm
    if not asked.openings:
        columns = sum(math.pi * each.seat.column_radius_mm**2 for each in layout.stations) * len(layout.rows)
        high += columns * hoop.thickness_mm
        layout = _closed(layout, hoop)
    seams = tuple(replace(seam, extras=(*seam.extras, hoop)) for seam in layout.seams)
    events = (*layout.events, *_events(layout, hoop))
    return replace(layout, seams=seams, events=events, volume_bounds_mm3=(low, high))


def hoop_of(seam: Seam) -> HoopNumbers | None:
    """The hoop's numbers in a seam, where there is one."""
    return next((extra for extra in seam.extras if isinstance(extra, HoopNumbers)), None)


def filled(layout: Layout, table: str, **values: Any) -> Layout:
    """The layout whose specs hold these values, as filled in."""

    def put(spec: Any) -> Any:
        return spec.model_copy(update={table: getattr(spec, table).model_copy(update=values)})

    specs = tuple(tuple(put(own) for own in each) for each in layout.specs)
    return replace(layout, spec=put(layout.spec), specs=specs)


def _refuse_openings_under_floors(layout: Layout) -> None:
    if layout.spec.hoop.openings and not all(station.seat.through for station in layout.stations):
        rule = "needs seats that go through: under a seat with a floor an opening would let in no light"
        raise SpecError([Problem("hoop.openings", rule, True, 'seat.opening = "through", or no openings')])


def _off_the_parting(layout: Layout) -> Layout:
    """A hoop moved by a hair whose top passes just where the sides of two cups part, inside the plug."""
    given = layout.spec.hoop.thickness_mm
    pairs = [sides for _, sides in distinct_seams(layout) if len(sides) == 2]
    partings = [parting_height([(side.station.seat, side.half) for side in pair]) for pair in pairs]
    steps = (FEET_APART_MM * step * sign for step in range(2 * len(pairs) + 2) for sign in (-1.0, 1.0))
    used = next(t for t in (given + step for step in steps) if all(abs(t - p) >= FEET_APART_MM / 2.0 for p in partings))
    if used == given:
        return layout
    move = Move("hoop.thickness_mm", given, used, "its top would pass just where the feet of two cups part")
    return replace(filled(layout, "hoop", thickness_mm=used), moves=(*layout.moves, move))


def default_width(layout: Layout) -> float:
    """As wide as lets the narrowest foot of a cup of the outer rows, or the shank, hide its sides at the finger, less
    what keeps these clear of cups and prongs (mm)."""
    halves = [station.seat.radius_at(layout.bore_radius_mm) for station in layout.stations]
    halves += [half for seam in layout.seams if (shank := shank_of(seam)) for half in _halves(shank)]
    row = layout.outer_row_mm
    widest = min(row + min(halves) - 2.0 * KEEP_AWAY_MM, MOST_WIDTH_MM / 2.0)
    grazed = [graze.z_mm for graze in _grazes(layout, layout.bore_radius_mm + layout.spec.hoop.thickness_mm)]
    steps = max(int((widest - row - 0.25) / WIDTH_STEP_MM), 0)
    for half in (widest - step * WIDTH_STEP_MM for step in range(steps)):
        if all(abs(half - z) >= KEEP_AWAY_MM for z in grazed):
            return 2.0 * half
    return max(2.0 * widest, 0.5)


def _row_events(layout: Layout, side: Side, hoop: HoopNumbers) -> list[Event]:
    """Of rows side by side it spans all, and stays under the web between them, which is lowest on a stone's axis."""
    if layout.web is None:
        return []
    side_mm = hoop.half_width_mm - layout.outer_row_mm
    top = side.station.seat.rim_mm - layout.web.below_rim_mm - hoop.top_mm
    return [
        Event("hoop-rows", side_mm, "limit", "hoop.width_mm", "the hoop does not reach under the outer rows"),
        Event("hoop-web", top, "limit", "hoop.thickness_mm", "the hoop reaches the top of the web between the rows"),
    ]


def _closed(layout: Layout, hoop: HoopNumbers) -> Layout:
    """Seats that go through end on the hoop."""

    def close(station: Station) -> Station:
        if not station.seat.through:
            return station
        return replace(station, seat=replace(station.seat, through=False, floor_mm=hoop.top_mm))

    openings = tuple(opening for opening in layout.openings if opening.kind != "through-opening")
    return replace(layout, stations=tuple(map(close, layout.stations)), openings=openings)


def distinct_seams(layout: Layout) -> Iterator[tuple[Seam, tuple[Side, ...]]]:
    """The first seam of each kind with its sides: what decides it are its prongs, its plug and its seats."""
    seen: set[Any] = set()
    for seam in layout.seams:
        sides = layout.sides(seam)
        key = (seam.before_deg, seam.after_deg, seam.prongs, seam.plug, *(side.station.seat for side in sides))
        if key not in seen:
            seen.add(key)
            yield seam, sides


def _events(layout: Layout, hoop: HoopNumbers) -> list[Event]:
    """Of each kind of event the nearest, with its seam."""
    found = [graze.event(hoop) for graze in _grazes(layout, hoop.top_mm)]
    for seam, sides in distinct_seams(layout):
        events = [event for side in sides for event in (*_height_events(side, hoop), *_floor_events(side, layout))]
        events += [event for side in sides for event in _pockets(side, hoop, hoop.half_width_mm - layout.outer_row_mm)]
        events += [event for side in sides for event in _row_events(layout, side, hoop)]
        found += [replace(event, seam=seam.index) for event in events]
    found += [event for seam in layout.seams for event in _shank_events(seam, hoop)]
    return nearest_of_each(found)


def _halves(shank: ShankNumbers) -> tuple[float, float]:
    return shank.end_half_mm, shank.base_half_mm


def shank_outside(shank: ShankNumbers, half_mm: float) -> float:
    """Least distance of the shank's outside from the ring's axis, ``half_mm`` off the middle of its width: at the end
    or at the base, as it changes steadily between."""
    return min(shank.end_reach_mm, shank.base_reach_mm) - shank.drop_at(half_mm)


def _shank_events(seam: Seam, hoop: HoopNumbers) -> list[Event]:
    """The shank hides the hoop."""
    shank = shank_of(seam)
    if shank is None:
        return []
    side = min(_halves(shank)) - hoop.half_width_mm
    over = shank_outside(shank, hoop.half_width_mm) - hoop.top_mm if side > 0.0 else side
    return [
        Event("hoop-shank-side", side, "limit", "hoop.width_mm", "the hoop is wider than the shank", seam.index),
        Event("hoop-shank", over, "limit", "hoop.thickness_mm", "the hoop is thicker than the shank", seam.index),
    ]


@dataclass(frozen=True)
class Graze:
    """Where a flat side at ``z_mm`` from the band's mid-plane would lie along a part of a seam."""

    what: str
    place: str
    z_mm: float
    seam: int

    def event(self, hoop: HoopNumbers) -> Event:
        """How far the hoop's side is from it."""
        text = f"the hoop's side lies along the {self.what}'s, at the {self.place}"
        distance = hoop.half_width_mm - self.z_mm
        return Event(
            f"hoop-{self.what}-{self.place.replace(' ', '-')}", distance, "flip", "hoop.width_mm", text, self.seam
        )


def _grazes(layout: Layout, top_mm: float) -> list[Graze]:
    """All between the finger and the hoop's top."""
    heights = ((layout.bore_radius_mm, "finger"), (top_mm, "top"))
    return [
        graze
        for seam, sides in distinct_seams(layout)
        for height, place in heights
        for side in sides
        for graze in grazes(side, height, place, layout.outer_row_mm)
    ]


def grazes(side: Side, radial_mm: float, place: str, row_mm: float) -> list[Graze]:
    """Cup and prong of a seam's side at one radial height, called ``place``, in the row that stands at ``row_mm``: on
    its outer side, as no hoop ends further in."""
    cup = Graze("cup", place, row_mm + side.station.seat.radius_at(radial_mm), side.seam.index)
    return [cup, *(Graze("prong", place, row_mm + z, side.seam.index) for z in _prong_sides(side.prong, radial_mm))]


def _prong_sides(prong: ProngNumbers, radial_mm: float) -> tuple[float, ...]:
    """z of a prong's outer side; of one that stands straight up also its inner side and its axis, where plugs end."""
    axis, across = prong.axis.z_at(radial_mm), prong.diameter_mm / 2.0 / math.cos(prong.axis.lean)
    return (axis + across, axis, axis - across) if abs(prong.axis.lean) < STRAIGHT else (axis + across,)


def _height_events(side: Side, hoop: HoopNumbers) -> list[Event]:
    """The hoop stays under the rims and under the plugs' tops."""
    key, plug = "hoop.thickness_mm", side.seam.plug
    over = side.station.seat.rim_mm - hoop.top_mm
    events = [Event("hoop-rim", over, "limit", key, "the hoop reaches the rims of the cups")]
    if plug is not None:
        events.append(Event("hoop-plug", plug.top_mm - hoop.top_mm, "limit", key, "the hoop reaches the plug's top"))
        if plug.foot_mm > hoop.bore_radius_mm:
            text = (
                "a slot stays between the hoop and the foot of the plug (a thicker hoop, or plug.foot_clearance_mm 0)"
            )
            events.append(Event("hoop-slot", hoop.top_mm - plug.foot_mm, "limit", key, text))
    return events


def _floor_events(side: Side, layout: Layout) -> list[Event]:
    """Where the hoop closes the seats, it is their floor."""
    seat, station, key = side.station.seat, side.station, "hoop.thickness_mm"
    if layout.spec.seat.opening != "through" or seat.through:
        return []
    culet = seat.bore_radius_mm + station.culet_clearance_mm - seat.floor_mm
    column = seat.column_length_mm - seat.fillet_mm * seat.fillet_tangent
    return [
        Event("hoop-culet", culet, "limit", key, "the culet reaches the hoop"),
        Event("hoop-recess", column, "limit", key, "the bearing reaches the hoop"),
    ]


def _pockets(side: Side, hoop: HoopNumbers, half_mm: float) -> list[Event]:
    """Under a plug that stops over the finger: the hoop, which ends ``half_mm`` from the middle of an outer row, fills
    the pockets beside the prongs, or leaves them open to the finger, or the feet fill them; else it would close
    them."""
    plug = side.seam.plug
    if plug is None or plug.foot_mm <= hoop.bore_radius_mm:
        return []
    low, high = (side.prong.inner_z_at(radial) for radial in (hoop.bore_radius_mm, plug.foot_mm))
    buried = inner_side_in_cup(side, plug.foot_mm)
    room = max(half_mm - high, low - half_mm, buried)
    return [Event("hoop-pocket", room, "limit", "hoop.width_mm", "the hoop closes a void under the plug")]


def inner_side_in_cup(side: Side, radial_mm: float) -> float:
    """Depth in the cup of the prong's inner side, in the seam plane at a radial height (mm)."""
    at = side.station.seat.radius_at(radial_mm * math.cos(side.half))
    return at - math.hypot(radial_mm * math.sin(side.half), side.prong.inner_z_at(radial_mm))
