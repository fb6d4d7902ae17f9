"""Where the geometry changes kind: every degenerate event with its distance in closed form.

The layout keeps ``units.KEEP_AWAY_MM`` from each, so neither engine ever meets a tangency.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Literal

from bandgen.layout.numbers import Event, PlugNumbers, ProngNumbers, Seam, Side
from bandgen.layout.seatwork import SeatNumbers
from bandgen.units import KEEP_AWAY_MM, tand

Foot = tuple[SeatNumbers, float]
"""A cup, and the angle in radians from its axis to the seam plane."""


def foot_overlap(feet: Sequence[Foot]) -> float:
    """How far the feet of the two cups of a seam overlap at the finger, along the finger (mm; negative: apart)."""
    overlap = 0.0
    for seat, half in feet:
        bore = seat.bore_radius_mm
        foot = seat.radius_at(bore * math.cos(half))
        overlap += math.cos(half) * (foot - bore * math.sin(half))
    return overlap


def parting_height(feet: Sequence[Foot]) -> float:
    """Height above the finger where the sides of the two cups of a seam part (mm): in the band's mid-plane each is a
    straight line, and they part where the two cross."""
    (px, py, dx, dy), (qx, qy, ex, ey) = (_side_line(seat, half) for seat, half in feet)
    qx, ex = -qx, -ex  # the station after the seam stands on its other side
    across = dx * ey - dy * ex
    if across < 1e-9:  # the slot widens downwards: they never meet
        return -feet[0][0].bore_radius_mm
    share = ((qx - px) * ey - (qy - py) * ex) / across
    x, y = px + share * dx, py + share * dy
    return math.copysign(math.hypot(x, y), y) - feet[0][0].bore_radius_mm


def _side_line(seat: SeatNumbers, half: float) -> tuple[float, float, float, float]:
    """The side of the cup before a seam, in its frame's (x, y): a point in the rim plane and the way upwards."""
    sine, cosine, slope = math.sin(half), math.cos(half), tand(seat.draft_deg)
    rim, radius = seat.rim_mm, seat.rim_radius_mm
    return rim * sine - radius * cosine, rim * cosine + radius * sine, sine - slope * cosine, cosine + slope * sine


def list_events(sides: Sequence[Side], foot_clearance_mm: float) -> tuple[Event, ...]:
    """Every event of one seam, seen from its one or two stations; of those seen from both the nearer."""
    events = [
        event
        for side in sides
        for event in (
            *_recess_events(side),
            *_prong_events(side),
            *_strange_prong_events(side),
            *_plug_events(side, foot_clearance_mm),
        )
    ]
    if len(sides) == 2:
        events += [*_pair_events(sides, foot_clearance_mm), *_beside_events(sides[0].seam)]
    return tuple(nearest_of_each(events))


def nearest_of_each(events: Sequence[Event]) -> list[Event]:
    """Of all events of one name the one that stands nearest, in the order of their first appearance."""
    found: dict[str, Event] = {}
    for event in events:
        if event.name not in found or nearness(event) < nearness(found[event.name]):
            found[event.name] = event
    return list(found.values())


def nearness(event: Event) -> float:
    """How far a layout stands from an event (mm): on the sound side, or on either side of a flip."""
    return abs(event.distance_mm) if event.kind == "flip" else event.distance_mm


def _limit(name: str, distance: float, key: str, text: str) -> Event:
    return Event(name, distance, "limit", key, text)


def _pair_events(sides: Sequence[Side], foot_clearance_mm: float) -> list[Event]:
    """What two neighbouring cups do to one another."""
    feet = [(side.station.seat, side.half) for side in sides]
    rims = sum(seat.rim_mm * math.sin(half) - seat.rim_radius_mm * math.cos(half) for seat, half in feet)
    between = sum(seat.column_bottom_mm * math.sin(h) - seat.column_radius_mm * math.cos(h) for seat, h in feet) / 2.0
    parting = parting_height(feet)
    over = f"over the height where the feet part ({parting:.4f} mm) a void can be trapped in every gap"
    kind: Literal["limit", "flip"] = "limit" if foot_clearance_mm > 0.0 else "flip"  # flush, the bore trims it anyway
    return [
        Event(
            "feet-touch",
            parting,
            "flip",
            "seat.draft_deg",
            f"height above the finger up to which neighbouring feet meet (they overlap by {foot_overlap(feet):.4f} mm)",
        ),
        _limit("rims-touch", rims, "seat.rim_diameter_mm", "rims of neighbouring cups stand too near each other"),
        _limit("recesses-touch", between, "seat.wall_mm", "the recesses of two neighbours run into each other"),
        _limit("cup-mid-plane", _off_mid_plane(feet), "seat.rim_diameter_mm", "a cup reaches under the next stone"),
        Event("plug-foot-parting", parting - foot_clearance_mm, kind, "plug.foot_clearance_mm", over),
    ]


def _off_mid_plane(feet: Sequence[Foot]) -> float:
    """Least distance of either cup, at the finger and at its rim, from the mid-plane of the other stone (mm)."""
    pitch = feet[0][1] + feet[1][1]
    return min(
        height * math.sin(pitch) - seat.radius_at(height) * math.cos(pitch)
        for seat, _ in feet
        for height in (seat.bore_radius_mm, seat.rim_mm)
    )


def _recess_events(side: Side) -> list[Event]:
    seat, station = side.station.seat, side.station
    pavilion = station.proportions.pavilion_deg
    tangent = seat.fillet_mm * seat.fillet_tangent
    edges = min(seat.bearing_length_mm, seat.column_length_mm) - tangent
    events = [
        _limit("rim-over-bore", seat.rim_mm - seat.bore_radius_mm, "stones.culet_clearance_mm", "the rim lies too low"),
        _limit("recess-width", seat.column_radius_mm, "seat.wall_mm", "the wall leaves no recess"),
        _limit(
            "recess-outer-wall",
            seat.rim_radius_mm - seat.mouth_radius_mm,
            "seat.rim_diameter_mm",
            "the mouth of the recess reaches the cup's side",
        ),
        _limit("recess-wall", seat.wall_mm, "seat.bearing_mm", "the recess reaches the cup's side"),
        _limit(
            "bearing-width",
            seat.mouth_radius_mm - seat.column_radius_mm,
            "seat.wall_mm",
            "the bearing is too narrow (a thicker wall widens it)",
        ),
        _limit(
            "bearing-angle",
            KEEP_AWAY_MM + (seat.bearing_deg - pavilion),
            "seat.bearing_deg",
            f"flatter than the pavilion ({pavilion:g} degrees), so the stone stands off its seat",
        ),
        _limit("recess-depth", seat.column_length_mm, "seat.floor_mm", "the bearing reaches the floor"),
        _limit("fillet-length", edges, "seat.fillet_mm", "the fillet is longer than its edges"),
    ]
    if not seat.through:
        culet = seat.bore_radius_mm + station.culet_clearance_mm - seat.floor_mm
        events.append(_limit("culet-floor", culet, "seat.floor_mm", "the culet reaches the floor"))
    return events


def _prong_events(side: Side) -> list[Event]:
    seat, prong = side.station.seat, side.prong
    radius = prong.diameter_mm / 2.0
    at_rim = _to_round(side, prong, seat.rim_mm, seat.rim_radius_mm)
    foot_height = seat.bore_radius_mm * math.cos(side.half)
    at_foot = _to_round(side, prong, foot_height, seat.radius_at(foot_height))
    mouth = _to_round(side, prong, seat.rim_mm, seat.mouth_radius_mm) - radius
    shoulder = prong.height_above_girdle_mm - (prong.diameter_mm if prong.tip == "dome" else 0.0) / 2.0
    return [
        _limit(
            "pair-touch",
            prong.clear_width_at(seat.bore_radius_mm),
            "prong.overlap",
            "the two prongs of a pair run into each other",
        ),
        _limit("prong-leaves-cup", radius - max(at_rim, at_foot), "prong.diameter_mm", "the prong stands off the cups"),
        _limit("girdle-depth-land", mouth, "prong.overlap", "the prong stands over the bearing"),
        _limit(
            "prong-mid-plane",
            _off_own_mid_plane(side) - radius,
            "prong.diameter_mm",
            "the prong reaches under the middle of a stone",
        ),
        _limit(
            "prong-shoulder", shoulder, "prong.height_above_girdle_mm", "the prong's shoulder lies under the girdle"
        ),
    ]


def _to_round(side: Side, prong: ProngNumbers, height_mm: float, radius_mm: float) -> float:
    """Distance of a prong's axis from a round of the station's stone or cup (mm)."""
    return prong.axis.distance_to_circle(side.half, height_mm, radius_mm, side.sign)


def _off_own_mid_plane(side: Side) -> float:
    """Distance of the prong's axis from the stone's mid-plane at the finger or at its tip, where it is less (mm)."""
    axis, half = side.prong.axis, side.half
    heights = (side.station.seat.bore_radius_mm, max(side.prong.shoulder[1], side.station.seat.bore_radius_mm))
    return min(radial * math.sin(half) - side.sign * axis.x_at(radial) * math.cos(half) for radial in heights)


def _strange_prong_events(side: Side) -> list[Event]:
    """What a prong that holds the other stone alone does to this one: it may cut neither the stone nor its bearing."""
    seat, radius = side.station.seat, side.station.diameter_mm / 2.0
    events = []
    for prong in side.seam.prongs[1:] if side.sign > 0 else side.seam.prongs[:-1]:
        girdle, rim, mouth = (
            _to_round(side, prong, height, reach) - prong.diameter_mm / 2.0
            for height, reach in (
                (seat.girdle_mm, radius),
                (seat.rim_mm, seat.rim_radius_mm),
                (seat.rim_mm, seat.mouth_radius_mm),
            )
        )
        key = "prong.diameter_mm"
        events += [
            _limit("prong-next-girdle", girdle, key, "the prong of one stone reaches the girdle of the next"),
            _limit("prong-next-bearing", mouth, key, "the prong of one stone stands over the bearing of the next"),
            Event("prong-next-rim", rim, "flip", key, "the prong of one stone just touches the rim of the next cup"),
        ]
    return events


def _beside_events(seam: Seam) -> list[Event]:
    """What two prongs that stand side by side in one gap do to one another; a shared one has none beside it."""
    plug, key, events = seam.plug, "prong.diameter_mm", []
    for before, after in pairwise(seam.prongs):
        crossing = min(_off_seam(before, 1, before.bore_radius_mm), _off_seam(after, -1, after.bore_radius_mm))
        text = "the prongs of two stones lean so that their axes meet over the finger"
        events.append(_limit("prongs-cross", crossing, key, text))
        text = "the tips of two prongs in one gap just touch (higher or thinner prongs part)"
        events.append(Event("prong-tips", tips_apart(before, after), "flip", key, text))
        if plug is not None:
            past = [_past_seam(seam, radial) for radial in (max(plug.foot_mm, before.bore_radius_mm), plug.top_mm)]
            text = "two prongs in one gap part under the plug's top, and do not bury its end"
            events.append(_limit("prongs-part", min(past), key, text))
    return events


def _off_seam(prong: ProngNumbers, sign: int, radial: float) -> float:
    """How far a prong's axis stands on its own side of the seam plane (mm)."""
    return sign * prong.axis.x_at(radial)


def _past_seam(seam: Seam, radial: float) -> float:
    """How far past the seam plane both of two prongs reach in the line of the plug's end (mm)."""
    end = plug_end(seam.prongs, radial)
    return min(
        _half_chord(prong, end, radial) - _off_seam(prong, sign, radial)
        for prong, sign in zip(seam.prongs, (1, -1), strict=True)
    )


def _half_chord(prong: ProngNumbers, z: float, radial: float) -> float:
    """Half the width of a prong at ``z``, at a radial height; a little less than true where its axis leans (mm)."""
    return math.sqrt(max(prong.diameter_mm**2 / 4.0 - (prong.axis.z_at(radial) - z) ** 2, 0.0))


def tips_apart(first: ProngNumbers, second: ProngNumbers) -> float:
    """Distance between two prongs where the lower one's shaft ends (mm, negative: they overlap)."""
    lower, other = sorted((first, second), key=lambda prong: prong.shoulder[1])
    along, towards = other.axis.along, [a - b for a, b in zip(lower.shoulder, other.shoulder, strict=True)]
    run = min(sum(a * b for a, b in zip(along, towards, strict=True)), 0.0)
    apart = math.hypot(*(a - run * b for a, b in zip(towards, along, strict=True)))
    return apart - (first.diameter_mm + second.diameter_mm) / 2.0


def _plug_events(side: Side, foot_clearance_mm: float) -> list[Event]:
    plug = side.seam.plug
    if plug is None:
        return []
    seat, prong, half = side.station.seat, side.prong, side.half
    low = max(plug.foot_mm, seat.bore_radius_mm)
    land = seat.rim_radius_mm - seat.mouth_radius_mm
    events = [
        _limit("plug-mouth", land - bite(side), "plug.bite_mm", "the plug's wall reaches the mouth of the recess"),
        _limit(
            "plug-end",
            min(_past_wall(side, radial) for radial in (low, plug.top_mm)),
            "prong.diameter_mm",
            "the plug's end is wider than the prong that buries it",
        ),
        _limit(
            "pinhole",
            least_seal(side, plug),
            "plug.bite_mm",
            "a pinhole would stay between plug, cup and prong (bite deeper, or a thicker prong)",
        ),
        _limit(
            "plug-height",
            plug.top_mm - low,
            "plug.foot_clearance_mm",
            "the plug has no height",
        ),
    ]
    if foot_clearance_mm > 0.0:
        events += [
            _limit(
                "plug-foot-finger",
                foot_clearance_mm,
                "plug.foot_clearance_mm",
                "a film of air stays between plug and finger (0 lets the plug reach it)",
            ),
            _limit(
                "plug-foot-pocket",
                pocket(seat, prong, half, plug.foot_mm),
                "plug.foot_clearance_mm",
                "a void is trapped under the plug: the feet close it at the finger, but part from the prong above",
            ),
        ]
    return events


def bite(side: Side) -> float:
    """How far the plug enters the station's cup at the rim (mm)."""
    seat, half = side.station.seat, side.half
    return seat.rim_radius_mm - (seat.rim_mm * math.sin(half) - side.plug_mm) / math.cos(half)


def pocket(seat: SeatNumbers, prong: ProngNumbers, half: float, foot_mm: float) -> float:
    """How far the pocket under a plug's foot is from being a closed void (mm, negative: it is one). The feet part
    upwards, so a pocket beside the prong is none if they still bury the prong's inner side at the plug's foot, and open
    to the finger if they do not bury it there."""
    at_foot = _inner_side_in_cup(seat, prong, half, foot_mm)
    return max(at_foot, -_inner_side_in_cup(seat, prong, half, seat.bore_radius_mm))


def _inner_side_in_cup(seat: SeatNumbers, prong: ProngNumbers, half: float, radial: float) -> float:
    """Depth in the cup of the prong's inner side, in the seam plane at a radial height (mm)."""
    return seat.radius_at(radial * math.cos(half)) - math.hypot(radial * math.sin(half), prong.inner_z_at(radial))


def _past_wall(side: Side, radial: float) -> float:
    """How far the prong reaches past the plug's wall in the line of the plug's end (mm)."""
    chord = _half_chord(side.prong, plug_end(side.seam.prongs, radial), radial)
    return chord + _off_seam(side.prong, side.sign, radial) - side.plug_mm


def plug_end(prongs: Sequence[ProngNumbers], radial: float) -> float:
    """z at which a plug ends: at the axis of its prong, or midway between two."""
    return sum(prong.axis.z_at(radial) for prong in prongs) / len(prongs)


def least_seal(side: Side, plug: PlugNumbers) -> float:
    """How deep in the prong the line lies where the plug's wall leaves the cup, at its worst height (mm)."""
    low = max(plug.foot_mm, side.station.seat.bore_radius_mm)
    steps = 8
    heights = [low + (plug.top_mm - low) * step / steps for step in range(steps + 1)]
    seat, prongs = side.station.seat, side.seam.prongs
    return min(seal_depth(seat, prongs, side.half, side.sign, side.plug_mm, height) for height in heights)


def seal_depth(
    seat: SeatNumbers, prongs: Sequence[ProngNumbers], half: float, sign: int, wall_mm: float, radial: float
) -> float:
    """In the seam's frame at one radial height: depth in its prong of the point where a plug's wall, ``wall_mm`` from
    the seam plane, and a cup meet; the cup stands before the seam (``sign`` 1) or after it (-1)."""
    height = radial * math.cos(half) + wall_mm * math.sin(half)
    across = radial * math.sin(half) - wall_mm * math.cos(half)
    radius = seat.radius_at(min(height, seat.rim_mm))
    if abs(across) >= radius:  # the wall misses the cup, on this side or beyond
        return -1.0
    exit_z = min(math.sqrt(radius**2 - across**2), plug_end(prongs, radial))  # past its end there is no plug
    prong = prongs[0 if sign > 0 else -1]
    return prong.diameter_mm / 2.0 - math.hypot(
        wall_mm - _off_seam(prong, sign, radial), prong.axis.z_at(radial) - exit_z
    )
