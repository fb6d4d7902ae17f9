"""Where the geometry changes kind: every degenerate event with its distance in closed form.

The layout keeps ``units.KEEP_AWAY_MM`` from each, so neither engine ever meets a tangency.
"""

from __future__ import annotations

import math
from typing import Literal

from bandgen.layout.numbers import Event, ProngNumbers, Seam
from bandgen.layout.seatwork import SeatNumbers, girdle_radius
from bandgen.spec import Spec
from bandgen.units import KEEP_AWAY_MM, tand


def foot_overlap(spec: Spec) -> float:
    """How far the feet of two neighbouring cups overlap at the finger, along the finger (mm; negative: apart)."""
    half = math.pi / spec.stones.count
    bore = spec.finger.bore_mm / 2.0
    rim = girdle_radius(spec) - spec.seat.rim_below_girdle_mm
    foot = spec.seat.rim_diameter_mm / 2.0 - (rim - bore * math.cos(half)) * tand(spec.seat.draft_deg)
    return 2.0 * math.cos(half) * (foot - bore * math.sin(half))


def parting_height(seat: SeatNumbers, half: float) -> float:
    """Height above the finger, in the seam plane, where the sides of two neighbouring cups part (mm)."""
    slope = tand(seat.draft_deg)
    if math.tan(half) - slope < 1e-9:  # the slot widens downwards: they never meet
        return -seat.bore_radius_mm
    height = (seat.rim_radius_mm - seat.rim_mm * slope) / (math.tan(half) - slope)
    return height / math.cos(half) - seat.bore_radius_mm


def list_events(spec: Spec, seat: SeatNumbers, seam: Seam) -> tuple[Event, ...]:
    """Every event of one kind of seam and its two stations."""
    return (
        *_cup_events(spec, seat, seam),
        *_recess_events(spec, seat, seam),
        *_prong_events(spec, seat, seam),
        *_plug_events(spec, seat, seam),
    )


def _limit(name: str, distance: float, key: str, text: str) -> Event:
    return Event(name, distance, "limit", key, text)


def _cup_events(spec: Spec, seat: SeatNumbers, seam: Seam) -> list[Event]:
    half = math.radians(seam.before_deg)
    rims = 2.0 * (seat.rim_mm * math.sin(half) - seat.rim_radius_mm * math.cos(half))
    return [
        Event(
            "feet-touch",
            parting_height(seat, half),
            "flip",
            "seat.draft_deg",
            f"height above the finger up to which neighbouring feet meet (they overlap by {foot_overlap(spec):.4f} mm)",
        ),
        _limit("rims-touch", rims, "seat.rim_diameter_mm", "rims of neighbouring cups stand too near each other"),
        _limit("rim-over-bore", seat.rim_mm - seat.bore_radius_mm, "stones.culet_clearance_mm", "the rim lies too low"),
    ]


def _recess_events(spec: Spec, seat: SeatNumbers, seam: Seam) -> list[Event]:
    half = math.radians(seam.before_deg)
    tangent = seat.fillet_mm * seat.fillet_tangent
    edges = min(seat.bearing_length_mm, seat.column_length_mm) - tangent
    between = seat.column_bottom_mm * math.sin(half) - seat.column_radius_mm * math.cos(half)
    events = [
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
            KEEP_AWAY_MM + (seat.bearing_deg - spec.stones.pavilion_deg),
            "seat.bearing_deg",
            f"flatter than the pavilion ({spec.stones.pavilion_deg:g} degrees), so the stone stands off its seat",
        ),
        _limit("recess-depth", seat.column_length_mm, "seat.floor_mm", "the bearing reaches the floor"),
        _limit("fillet-length", edges, "seat.fillet_mm", "the fillet is longer than its edges"),
        _limit("recesses-touch", between, "seat.wall_mm", "the recesses of two neighbours run into each other"),
    ]
    if not seat.through:
        culet = seat.bore_radius_mm + spec.stones.culet_clearance_mm - seat.floor_mm
        events.append(_limit("culet-floor", culet, "seat.floor_mm", "the culet reaches the floor"))
    return events


def _prong_events(spec: Spec, seat: SeatNumbers, seam: Seam) -> list[Event]:
    prong, half = seam.prong, math.radians(seam.before_deg)
    radius = prong.diameter_mm / 2.0
    at_rim = prong.axis.distance_to_circle(seat.rim_mm, seat.rim_radius_mm)
    foot_height = seat.bore_radius_mm * math.cos(half)
    at_foot = prong.axis.distance_to_circle(foot_height, seat.radius_at(foot_height))
    mouth = prong.axis.distance_to_circle(seat.rim_mm, seat.mouth_radius_mm) - radius
    shoulder = spec.prong.height_above_girdle_mm - (prong.diameter_mm if prong.tip == "dome" else 0.0) / 2.0
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
            seat.bore_radius_mm * math.sin(half) - radius,
            "prong.diameter_mm",
            "the prong reaches under the middle of a stone",
        ),
        _limit(
            "prong-shoulder", shoulder, "prong.height_above_girdle_mm", "the prong's shoulder lies under the girdle"
        ),
    ]


def _plug_events(spec: Spec, seat: SeatNumbers, seam: Seam) -> list[Event]:
    plug, half = seam.plug, math.radians(seam.before_deg)
    parting = parting_height(seat, half)
    clearance = spec.plug.foot_clearance_mm
    wall = seat.rim_radius_mm - spec.plug.bite_mm - seat.mouth_radius_mm
    events = [
        _limit("plug-mouth", wall, "plug.bite_mm", "the plug's wall reaches the mouth of the recess"),
        _limit(
            "plug-end",
            seam.prong.diameter_mm / 2.0 - plug.half_width_mm,
            "prong.diameter_mm",
            "the plug's end is wider than the prong that buries it",
        ),
        _limit(
            "pinhole",
            _least_seal(seat, seam),
            "plug.bite_mm",
            "a pinhole would stay between plug, cup and prong (bite deeper, or a thicker prong)",
        ),
        _limit(
            "plug-height",
            plug.top_mm - max(plug.foot_mm, seat.bore_radius_mm),
            "plug.foot_clearance_mm",
            "the plug has no height",
        ),
    ]
    text = f"over the height where the feet part ({parting:.4f} mm) a void can be trapped in every gap"
    kind: Literal["limit", "flip"] = "limit" if clearance > 0.0 else "flip"  # flush, the bore trims it anyway
    events.append(Event("plug-foot-parting", parting - clearance, kind, "plug.foot_clearance_mm", text))
    if clearance > 0.0:
        events += [
            _limit(
                "plug-foot-finger",
                clearance,
                "plug.foot_clearance_mm",
                "a film of air stays between plug and finger (0 lets the plug reach it)",
            ),
            _limit(
                "plug-foot-pocket",
                pocket(seat, seam.prong, half, plug.foot_mm),
                "plug.foot_clearance_mm",
                "a void is trapped under the plug: the feet close it at the finger, but part from the prong above",
            ),
        ]
    return events


def pocket(seat: SeatNumbers, prong: ProngNumbers, half: float, foot_mm: float) -> float:
    """How far the pocket under a plug's foot is from being a closed void (mm, negative: it is one). The feet part
    upwards, so a pocket beside the prong is none if they still bury the prong's inner side at the plug's foot, and open
    to the finger if they do not bury it there."""
    at_foot = _inner_side_in_cup(seat, prong, half, foot_mm)
    return max(at_foot, -_inner_side_in_cup(seat, prong, half, seat.bore_radius_mm))


def _inner_side_in_cup(seat: SeatNumbers, prong: ProngNumbers, half: float, radial: float) -> float:
    """Depth in the cup of the prong's inner side, in the seam plane at a radial height (mm)."""
    z = prong.clear_width_at(radial) / 2.0
    return seat.radius_at(radial * math.cos(half)) - math.hypot(radial * math.sin(half), z)


def _least_seal(seat: SeatNumbers, seam: Seam) -> float:
    """How deep in the prong the line lies where the plug's wall leaves the cup, at its worst height (mm)."""
    low = max(seam.plug.foot_mm, seat.bore_radius_mm)
    steps = 8
    heights = [low + (seam.plug.top_mm - low) * step / steps for step in range(steps + 1)]
    return min(_seal_at(seat, seam, height) for height in heights)


def _seal_at(seat: SeatNumbers, seam: Seam, radial: float) -> float:
    """In the seam's frame at one radial height: depth in the prong of the point where plug wall and cup meet."""
    half, width = math.radians(seam.before_deg), seam.plug.half_width_mm
    height = radial * math.cos(half) + width * math.sin(half)
    across = radial * math.sin(half) - width * math.cos(half)
    radius = seat.radius_at(min(height, seat.rim_mm))
    if abs(across) >= radius:  # the wall misses the cup, on this side or beyond
        return -1.0
    exit_z = math.sqrt(radius**2 - across**2)
    beyond = max(seam.prong.axis.z_at(radial) - exit_z, 0.0)  # past the axis the plug has ended
    return seam.prong.diameter_mm / 2.0 - math.hypot(width, beyond)
