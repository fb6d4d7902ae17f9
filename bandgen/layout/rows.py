"""Rows of stones side by side, straight or staggered by half a pitch.

All rows are the same row again: its stones, prongs and plugs, moved along the finger, and turned by half a pitch every
other one where they are staggered. Between them a web fills the slots, from well inside one outer row's cups and plugs
to the other's: its sides show nowhere, its top lies just under the rims and the plugs, so it opens nothing and traps
nothing.

Straight rows stand as near as ``row_gap_mm`` lets their girdles. Where that would bring the inner prongs of two rows so
near one another that they neither stand apart nor run into one, the rows move apart. In staggered rows the stones of
one stand in the notches of the next; they come as near as lets every inner prong hold the stone in its notch too, as
long as the girdles keep ``row_gap_mm`` in space.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any, NoReturn

from bandgen.errors import Problem, SpecError
from bandgen.layout.events import nearest_of_each
from bandgen.layout.hoop import filled
from bandgen.layout.numbers import Event, Layout, Opening, ProngNumbers, RowPlace, Side, WebNumbers
from bandgen.units import KEEP_AWAY_MM

APART_MM = 0.20
"""Inner prongs of neighbouring rows stand so far apart (claws 0.20 apart: Morris & Watson casting guidelines)."""
JOINED_MM = 0.05
"""... or are this deep in one another (common practice, no source)."""
SHARES = (0.5, 0.7, 0.3, 0.85, 0.15)
"""Where the web's side stands between the middle of a row and where it would show, in order of preference."""
HEIGHTS = 8
KEY = "arrangement.row_gap_mm"


def add_rows(layout: Layout) -> Layout:
    """The layout with its rows, where the spec asks for more than one. Before all additions that depend on the width.

    Raises:
        SpecError: when rows cannot stand side by side in this arrangement.
    """
    asked = layout.spec.arrangement
    if asked.rows == 1:
        return layout
    _refuse(layout)
    gap = layout.gap_asked_mm if asked.row_gap_mm is None else asked.row_gap_mm
    pitch = _staggered_pitch(layout, gap) if asked.stagger else _straight_pitch(layout, gap)
    layout = filled(layout, "arrangement", row_gap_mm=gap)
    rows = tuple(
        RowPlace(((asked.rows - 1) / 2.0 - index) * pitch, asked.stagger and index % 2 == 1)
        for index in range(asked.rows)
    )
    side = _web_side(layout)
    web = WebNumbers(rows[0].z_mm - side, _below_rim(layout, asked.stagger))
    bare = replace(
        layout,
        rows=rows,
        web=web,
        row_gap_mm=_row_gap(layout, pitch, asked.stagger),
        across_overlap=_across(layout, pitch) if asked.stagger else None,
        openings=tuple(Opening(each.kind, each.count * asked.rows) for each in layout.openings),
    )
    return replace(bare, events=(*layout.events, *_events(bare, pitch)), volume_bounds_mm3=_bounds(bare, pitch))


def _refuse(layout: Layout) -> None:
    """Rows need stones all round; staggered ones need equal stones."""
    asked = layout.spec.arrangement
    if len(layout.seams) != len(layout.stations):
        _refused("rows", asked.rows, "needs stones all round: the shank takes up a single row", "rows = 1")
    if asked.stagger and not _even(layout):
        rule = "needs equal stones with shared prongs: each stands in a notch between two of the next row"
        _refused("stagger", True, rule, "straight rows, or equal stones")


def _even(layout: Layout) -> bool:
    """Whether all seams and stones are alike, and one prong stands in each notch."""
    seams = {(seam.before_deg, seam.after_deg, seam.prongs, seam.plug) for seam in layout.seams}
    stones = {(station.diameter_mm, station.proportions, station.seat) for station in layout.stations}
    return len(seams) == len(stones) == len(layout.seams[0].prongs) == 1


def _refused(key: str, value: object, rule: str, advice: str) -> NoReturn:
    raise SpecError([Problem(f"arrangement.{key}", rule, value, advice)])


def _distinct_sides(layout: Layout) -> list[Side]:
    """One side of each kind."""
    found: dict[Any, Side] = {}
    for seam in layout.seams:
        for side in layout.sides(seam):
            found.setdefault((side.half, side.station.seat, side.prong, side.plug_mm, seam.plug), side)
    return list(found.values())


# How far apart


def _least_pitch(layout: Layout, gap_mm: float) -> float:
    """What straight rows' girdles and rims need (mm)."""
    girdle = max(station.diameter_mm for station in layout.stations) + gap_mm
    rims = max(2.0 * station.seat.rim_radius_mm for station in layout.stations) + 2.0 * KEEP_AWAY_MM
    return max(girdle, rims)


def _straight_pitch(layout: Layout, gap_mm: float) -> float:
    """The least, or what keeps the inner prongs of every seam well apart, unless all of those that would not be are
    well in one another."""
    pitch = _least_pitch(layout, gap_mm)
    widths = [_inner_widths(prong) for seam in layout.seams for prong in seam.prongs]
    if all(pitch - high >= APART_MM or pitch - low <= -JOINED_MM for low, high in widths):
        return pitch
    return max(pitch, *(high + APART_MM for _, high in widths))


def _inner_widths(prong: ProngNumbers) -> tuple[float, float]:
    """Pitch at which the inner prongs of two rows just touch: least and greatest over their height above the bore (mm).
    A dome is no wider than the shaft goes on at its middle."""
    top = prong.tip_mm - (prong.diameter_mm / 2.0 if prong.tip == "dome" else 0.0)
    across = prong.diameter_mm / math.cos(prong.axis.lean)
    heights = (prong.bore_radius_mm, prong.axis.crossing_mm + top * math.cos(prong.axis.lean))
    widths = [2.0 * prong.axis.z_at(height) + across for height in heights]
    return min(widths), max(widths)


def _staggered_pitch(layout: Layout, gap_mm: float) -> float:
    """The least at which the girdles of neighbouring rows keep the gap and a stone enters the prong of its notch by no
    more than the share wanted; a little more where the cup's rim would graze that prong."""
    seam, seat = layout.seams[0], layout.stations[0].seat
    prong, half = seam.prong, math.radians(seam.before_deg)
    radius, diameter = layout.stations[0].diameter_mm / 2.0, prong.diameter_mm
    pitch = max(
        _rising_root(lambda z: tilted_gap(seat.girdle_mm, radius, half, z) - gap_mm, 0.0, 2.0 * radius + gap_mm),
        _rising_root(
            lambda z: tilted_gap(seat.rim_mm, seat.rim_radius_mm, half, z) - 2.0 * KEEP_AWAY_MM,
            0.0,
            2.0 * seat.rim_radius_mm + 2.0 * KEEP_AWAY_MM,
        ),
        _notch_pitch(prong, seat.girdle_mm, radius, (0.5 - prong.overlap) * diameter),
        _notch_pitch(prong, seat.rim_mm, seat.mouth_radius_mm, diameter / 2.0 + 1.5 * KEEP_AWAY_MM),
        _apart_pitch(prong, half),
    )
    graze = _notch_pitch(prong, seat.rim_mm, seat.rim_radius_mm, diameter / 2.0)
    return graze + 1.5 * KEEP_AWAY_MM if abs(pitch - graze) < 1.5 * KEEP_AWAY_MM else pitch


def _notch_pitch(prong: ProngNumbers, height_mm: float, radius_mm: float, reach_mm: float) -> float:
    """Pitch at which a prong's axis stands ``reach_mm`` from a circle of the stone in its notch: both lie in the seam
    plane, and the prong leans towards that stone."""
    return prong.axis.z_at(height_mm) + radius_mm + reach_mm / math.cos(prong.axis.lean)


def _apart_pitch(prong: ProngNumbers, half: float) -> float:
    """Pitch at which the inner prongs of two staggered rows, half a pitch apart round the ring, stand clear."""
    least = prong.diameter_mm / math.cos(prong.axis.lean) + 1.5 * KEEP_AWAY_MM
    beside = prong.bore_radius_mm * math.sin(half)
    return 2.0 * prong.axis.z_at(_tip_mm(prong)) + math.sqrt(max(least**2 - beside**2, 0.0))


def _tip_mm(prong: ProngNumbers) -> float:
    """Radial height that no point of the prong's axis stands over."""
    return prong.axis.crossing_mm + prong.tip_mm


def _notch_reach(prong: ProngNumbers, height_mm: float, radius_mm: float, pitch_mm: float) -> float:
    """The inverse: distance of the prong's axis from the circle."""
    return (pitch_mm - radius_mm - prong.axis.z_at(height_mm)) * math.cos(prong.axis.lean)


def _across(layout: Layout, pitch_mm: float) -> float:
    """Share of a prong's diameter that the stone in its notch enters; negative where it stands off."""
    prong, station = layout.seams[0].prong, layout.stations[0]
    reach = _notch_reach(prong, station.seat.girdle_mm, station.diameter_mm / 2.0, pitch_mm)
    return 0.5 - reach / prong.diameter_mm


def _row_gap(layout: Layout, pitch_mm: float, staggered: bool) -> float:
    """What the girdles of neighbouring rows leave in space (mm)."""
    if not staggered:
        return pitch_mm - max(station.diameter_mm for station in layout.stations)
    station, half = layout.stations[0], math.radians(layout.seams[0].before_deg)
    return tilted_gap(station.seat.girdle_mm, station.diameter_mm / 2.0, half, pitch_mm)


def tilted_gap(height_mm: float, radius_mm: float, angle: float, z_mm: float) -> float:
    """Least distance in space (mm) of two equal discs that stand at ``height_mm`` on axes ``angle`` (radians) and
    ``z_mm`` apart along the ring's axis; 0 where they meet.

    Both are convex: a point carried to the nearest of the one and of the other in turn comes to the nearest pair."""
    sine, cosine = math.sin(angle), math.cos(angle)
    x, z, apart = 0.0, 0.0, math.inf
    for _ in range(2000):
        x, z = _kept(x, z, radius_mm)
        # to the other disc's frame, whose axis is turned by the angle; the point lies in this one's plane
        across = x * cosine - height_mm * sine
        over = x * sine + height_mm * cosine - height_mm
        there = _kept(across, z - z_mm, radius_mm)
        distance = math.sqrt((across - there[0]) ** 2 + over**2 + (z - z_mm - there[1]) ** 2)
        if apart - distance < 1e-13:
            return distance
        apart = distance
        x = there[0] * cosine + height_mm * sine
        z = there[1] + z_mm
    return apart


def _kept(x: float, z: float, radius: float) -> tuple[float, float]:
    length = math.hypot(x, z)
    return (x, z) if length <= radius else (x * radius / length, z * radius / length)


def _rising_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function passes 0, from above; ``low`` where it is nowhere negative."""
    if function(low) >= 0.0:
        return low
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (middle, high) if function(middle) < 0.0 else (low, middle)
    return high


# The web


def slot(side: Side) -> float:
    """From the seam plane to the nearest point of a station's rim (mm)."""
    seat = side.station.seat
    return seat.rim_mm * math.sin(side.half) - seat.rim_radius_mm * math.cos(side.half)


def _web_side(layout: Layout) -> float:
    """Distance of the web's side from the middle of an outer row (mm): where it is buried in cups and plugs, and where
    no pocket is closed under a plug that stops over the finger."""
    sides = _distinct_sides(layout)
    room = min(map(_shows_at, sides))
    places = [share * room for share in SHARES]
    return next((z for z in places if min(_pocket(side, z) for side in sides) >= KEEP_AWAY_MM), places[0])


def _shows_at(side: Side) -> float:
    """Distance from the row's middle at which the cup leaves the plug's wall, at its worst height (mm)."""
    plug = side.seam.plug
    assert plug is not None
    seat, half = side.station.seat, side.half
    low, least = seat.bore_radius_mm, math.inf
    for step in range(HEIGHTS + 1):
        radial = low + (plug.top_mm - low) * step / HEIGHTS
        height = radial * math.cos(half) + side.plug_mm * math.sin(half)
        across = radial * math.sin(half) - side.plug_mm * math.cos(half)
        square = seat.radius_at(min(height, seat.rim_mm)) ** 2 - across**2
        least = min(least, math.sqrt(max(square, 0.0)))
    return least


def _pocket(side: Side, z: float) -> float:
    """How far the web's side is from closing a pocket under a plug's foot (mm): the cups bury it there, or leave the
    pocket open to the finger."""
    plug, bore = side.seam.plug, side.station.seat.bore_radius_mm
    if plug is None or plug.foot_mm <= bore:
        return math.inf
    return max(_side_in_cup(side, z, plug.foot_mm), -_side_in_cup(side, z, bore))


def _side_in_cup(side: Side, z: float, radial: float) -> float:
    """Depth in the cup of the web's side, in the seam plane at a radial height (mm)."""
    seat, half = side.station.seat, side.half
    return seat.radius_at(radial * math.cos(half)) - math.hypot(radial * math.sin(half), z)


def _below_rim(layout: Layout, staggered: bool) -> float:
    """How far the web's top stays under the rims, so that it stays under the plugs' tops as well (mm)."""
    return max(KEEP_AWAY_MM, *(_under_plug(side, staggered) for side in _distinct_sides(layout)))


def _under_plug(side: Side, staggered: bool) -> float:
    plug, seat, half = side.seam.plug, side.station.seat, side.half
    assert plug is not None
    top = plug.top_mm - KEEP_AWAY_MM
    return seat.rim_mm - (top if staggered else top * math.cos(half) + slot(side) * math.sin(half))


# What it may come too near to


def _events(layout: Layout, pitch: float) -> list[Event]:
    """Of each kind of event the nearest, with its seam."""
    staggered = layout.spec.arrangement.stagger
    found = [
        replace(event, seam=side.seam.index)
        for side in _distinct_sides(layout)
        for event in (
            *_web_events(layout, side),
            *(_notch_events(layout, side, pitch) if staggered else _inner_events(layout, side, pitch)),
        )
    ]
    return nearest_of_each(found)


def _web_events(layout: Layout, side: Side) -> list[Event]:
    assert layout.web is not None
    z = layout.outer_row_mm - layout.web.half_width_mm
    buried = min(_shows_at(side) - z, z)
    height = side.station.seat.rim_mm - layout.web.below_rim_mm - layout.bore_radius_mm
    pocket = "a void is trapped under the plug, beside the web between the rows"
    events = [
        Event("web-side", buried, "limit", "plug.bite_mm", "the side of the web between the rows shows beside a plug"),
        Event("web-height", height, "limit", "stones.culet_clearance_mm", "the web between the rows has no height"),
    ]
    if layout.spec.plug.foot_clearance_mm > 0.0:
        events.append(Event("web-pocket", _pocket(side, z), "limit", "plug.foot_clearance_mm", pocket))
    return events


def _inner_events(layout: Layout, side: Side, pitch: float) -> list[Event]:
    """Inner prongs of neighbouring straight rows: apart, or well in one another; off the next row's bearings."""
    seat, prong = side.station.seat, side.prong
    low, high = _inner_widths(prong)
    apart = max(pitch - high, low - pitch)
    axis = replace(prong.axis, spread_mm=pitch - prong.axis.spread_mm, lean=-prong.axis.lean)
    land = axis.distance_to_circle(side.half, seat.rim_mm, seat.mouth_radius_mm) - prong.diameter_mm / 2.0
    rims = pitch - 2.0 * max(station.seat.rim_radius_mm for station in layout.stations)
    return [
        Event("row-rims-touch", rims, "limit", KEY, "cups of neighbouring rows touch"),
        Event("row-prongs-touch", apart, "limit", KEY, "prongs of neighbouring rows just touch"),
        Event("row-prong-land", land, "limit", KEY, "a prong stands over a bearing of the next row"),
    ]


def _notch_events(layout: Layout, side: Side, pitch: float) -> list[Event]:
    """An inner prong of staggered rows and the cup in its notch."""
    seat, prong, half = side.station.seat, side.prong, side.half
    radius = prong.diameter_mm / 2.0
    graze = _notch_reach(prong, seat.rim_mm, seat.rim_radius_mm, pitch) - radius
    land = _notch_reach(prong, seat.rim_mm, seat.mouth_radius_mm, pitch) - radius
    between = max(pitch - 2.0 * prong.axis.z_at(_tip_mm(prong)), 0.0)
    apart = math.hypot(layout.bore_radius_mm * math.sin(half), between) - prong.diameter_mm / math.cos(prong.axis.lean)
    rims = tilted_gap(seat.rim_mm, seat.rim_radius_mm, half, pitch)
    return [
        Event("row-rims-touch", rims, "limit", KEY, "cups of neighbouring rows touch"),
        Event("row-prongs-touch", apart, "limit", KEY, "prongs of neighbouring rows touch"),
        Event("row-prong-land", land, "limit", KEY, "a prong stands over the bearing of the stone in its notch"),
        Event("row-prong-rim", graze, "flip", KEY, "a prong just grazes the cup in its notch"),
    ]


# Metal


def _bounds(layout: Layout, pitch: float) -> tuple[float, float]:
    """The rows', and the web; less what joined prongs share."""
    assert layout.web is not None
    low, high = (bound * len(layout.rows) for bound in layout.volume_bounds_mm3)
    if not layout.spec.arrangement.stagger:
        shared = sum(_joined_volume(prong, pitch) for seam in layout.seams for prong in seam.prongs)
        low -= (len(layout.rows) - 1) * shared
    top = max(math.hypot(station.seat.rim_mm, station.seat.rim_radius_mm) for station in layout.stations)
    ring = math.pi * (top**2 - layout.bore_radius_mm**2)
    return max(low, 0.0), high + ring * 2.0 * layout.web.half_width_mm


def _joined_volume(prong: ProngNumbers, pitch: float) -> float:
    """What the inner prongs of two rows share at most (mm3): their section where they are nearest, all along."""
    radius, apart = prong.diameter_mm / 2.0, pitch - _inner_widths(prong)[1] + prong.diameter_mm
    if apart >= prong.diameter_mm:
        return 0.0
    angle = 2.0 * math.acos(max(apart, 0.0) / prong.diameter_mm)
    return radius**2 * (angle - math.sin(angle)) * (prong.foot_mm + prong.tip_mm)
