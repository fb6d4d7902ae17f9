"""The comfort-fit bore: convex in cross-section, its narrowest place on the band's mid-plane with the finger's size.

ISO 8653 takes as a ring's size the largest cylinder that can be inserted, so heights over the finger, measured on the
mid-plane, stay as they are; towards the edges the bore takes metal from the inside.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from bandgen.layout.events import nearest_of_each
from bandgen.layout.hoop import (
    distinct_seams,
    filled,
    grazes,
    hoop_of,
    inner_side_in_cup,
)
from bandgen.layout.numbers import BoreNumbers, Event, Layout, ProngNumbers, Seam, Side
from bandgen.layout.shank import shank_of
from bandgen.parts import Point, Profile, Revolved, volume

CROWN_SHARE = 0.15
CROWN_RANGE_MM = (0.05, 0.30)
HOOP_SHARE = 0.5
"""Crown that is filled in: this share of half the band's width, within these, and no more than this share of the hoop's
thickness (common practice, no source)."""


def add_comfort(layout: Layout) -> Layout:
    """The layout with a comfort bore, where the spec asks for one."""
    asked = layout.spec.bore
    if asked.section != "comfort":
        return layout
    crown = default_crown(layout) if asked.crown_mm is None else asked.crown_mm
    layout = filled(layout, "bore", crown_mm=crown)
    bore = replace(layout.bore, crown_mm=crown, half_width_mm=half_width_at(layout, layout.bore_radius_mm + crown))
    layout = replace(layout, bore=bore)
    events = [Event("bore-crown", bore.half_width_mm / 2.0 - crown, "limit", _KEY, "the bore is too round: no arc")]
    low, high = layout.volume_bounds_mm3
    if events[0].distance_mm > 0.0:
        events += _events(layout)
        low = max(low - crown_volume(bore), 0.0)
    return replace(layout, events=(*layout.events, *events), volume_bounds_mm3=(low, high))


_KEY = "bore.crown_mm"


def default_crown(layout: Layout) -> float:
    """The crown that is filled in (mm)."""
    low, high = CROWN_RANGE_MM
    hoop = layout.spec.hoop.thickness_mm
    high = min(high, HOOP_SHARE * hoop) if hoop else high
    return min(max(CROWN_SHARE * half_width_at(layout, layout.bore_radius_mm), low), high)


def half_width_at(layout: Layout, radial_mm: float) -> float:
    """Half the band's width at a radial height near the finger (mm): of the widest cup or prong of its outer rows, or
    of a further part."""
    owners: list[Any] = [*layout.stations, *layout.seams]
    row = [
        *(station.seat.radius_at(radial_mm) for station in layout.stations),
        *(_outer_side(prong, radial_mm) for seam in layout.seams for prong in seam.prongs),
    ]
    further: list[float] = [extra.half_width_mm for owner in owners for extra in owner.extras]
    return max(layout.outer_row_mm + max(row), *further, 0.0)


def _outer_side(prong: ProngNumbers, radial_mm: float) -> float:
    return prong.axis.z_at(radial_mm) + prong.diameter_mm / 2.0 / math.cos(prong.axis.lean)


def crown_volume(bore: BoreNumbers) -> float:
    """What a comfort bore takes of a full ring beyond the flat one (mm3)."""
    reach, bulge = bore.reach_mm, math.tan(math.asin(bore.reach_mm / bore.curve_mm) / 2.0)
    edge = bore.radius_at(reach)
    corners = (Point(edge, -reach, -bulge), Point(edge, reach))
    whole = Profile((Point(0.0, -reach), *corners, Point(0.0, reach)))
    return volume(Revolved(whole)) - 2.0 * math.pi * bore.radius_mm**2 * reach


def _events(layout: Layout) -> list[Event]:
    """Of each kind of event the nearest, with its seam."""
    found = [
        replace(event, seam=seam.index)
        for seam, sides in distinct_seams(layout)
        for side in sides
        for event in (
            *_seat_events(layout, side),
            *_web_events(layout, side),
            *_plug_events(layout, side),
            *_hoop_events(layout, side),
        )
    ]
    found += [event for seam in layout.seams for event in _shank_events(layout.bore, seam)]
    return nearest_of_each(found)


def _shank_events(bore: BoreNumbers, seam: Seam) -> list[Event]:
    """The shank keeps metal at its edges, at the end and at the base (mm)."""
    shank = shank_of(seam)
    if shank is None:
        return []
    places = ((shank.end_half_mm, shank.end_reach_mm), (shank.base_half_mm, shank.base_reach_mm))
    least = min(reach - shank.drop_at(half) - bore.radius_at(half) for half, reach in places)
    return [replace(_limit("bore-shank", least, "the bore takes the shank's edges away"), seam=seam.index)]


def _limit(name: str, distance: float, text: str) -> Event:
    return Event(name, distance, "limit", _KEY, text)


def _seat_events(layout: Layout, side: Side) -> list[Event]:
    """Off the mid-plane the bore stays clear of the recess's floor, or its bearing, and of the cup's rim; in outer rows
    of the culet too."""
    seat, bore, row = side.station.seat, layout.bore, layout.outer_row_mm
    at_column, edge = bore.radius_at(row + seat.column_radius_mm), bore.radius_mm + bore.crown_mm
    curve = seat.column_top_mm - seat.fillet_mm * seat.fillet_tangent
    bottom = curve if seat.through else seat.floor_mm
    what = "the bearing" if seat.through else "the floor at the recess's edge"
    culet = bore.radius_mm + side.station.culet_clearance_mm - bore.radius_at(row)
    return [
        *([_limit("bore-culet", culet, "the bore reaches the culets of the outer rows")] if row > 0.0 else []),
        _limit("bore-recess", bottom - at_column, f"the bore reaches {what}"),
        _limit("bore-rim", seat.rim_mm - edge, "the bore's edge reaches the rims of the cups"),
    ]


def _web_events(layout: Layout, side: Side) -> list[Event]:
    """The bore stays under the top of the web between rows, which is lowest on a stone's axis."""
    web = layout.web
    if web is None:
        return []
    top = side.station.seat.rim_mm - web.below_rim_mm
    return [_limit("bore-web", top - layout.bore.radius_at(web.half_width_mm), "the bore reaches the web's top")]


def _plug_events(layout: Layout, side: Side) -> list[Event]:
    """The bore stays under the plug's top; under a plug that stops over the finger it leaves no pocket closed."""
    plug, bore = side.seam.plug, layout.bore
    if plug is None:
        return []
    events = [
        _limit("bore-plug", plug.top_mm - bore.radius_mm - bore.crown_mm, "the bore's edge reaches the plug's top")
    ]
    if plug.foot_mm > bore.radius_mm:
        low = min(_bore_at_inner_side(bore, side.prong, layout.outer_row_mm), plug.foot_mm)
        room = max(inner_side_in_cup(side, plug.foot_mm), -inner_side_in_cup(side, low))
        events.append(_limit("bore-pocket", room, "a void is trapped under the plug, beside its prongs"))
    return events


def _bore_at_inner_side(bore: BoreNumbers, prong: ProngNumbers, row_mm: float) -> float:
    """Radial height where the inner side of an outer row's outer prong leaves the metal into the bore (mm)."""
    radial = bore.radius_mm
    for _ in range(40):  # contracts, as prongs lean far less than the bore rises
        radial = bore.radius_at(row_mm + prong.inner_z_at(radial))
    return radial


def _hoop_events(layout: Layout, side: Side) -> list[Event]:
    """A hoop keeps metal at its edges, and its sides cross cups and prongs clearly where the bore trims them."""
    hoop = hoop_of(side.seam)
    if hoop is None:
        return []
    edge = layout.bore.radius_at(hoop.half_width_mm)
    thin = _limit("bore-hoop", hoop.top_mm - edge, "the bore takes the hoop's edges away")
    return [thin, *(graze.event(hoop) for graze in grazes(side, edge, "bore's edge", layout.outer_row_mm))]
