"""The own arrangement: each stone has a prong pair of its own on either side, four to a stone.

The two prongs on one side of a gap stand side by side about the seam plane, each along the side of its own cup. They
overlap up to the plug's top, so that they bury its end, and part above it, as their stones lean away from one another.

| key | value | why |
|---|---|---|
| diameter | 0.30 + 0.17 d, at least 0.60, at most d / 2 | about 0.3 d, never under 0.6 (from memory) |
| overlap | 0.30, or 0.15 mm where that is more | one notch of 0.3 leaves three quarters; 0.15 in the cup (Stuller) |
| .. at most | what leaves the root 0.035 mm off the bearing | common practice, no source |
| off the seam | radius less 0.05 mm at the plug's top | the keep-away, and a little |
| bite | 0.6 of the rim's land, or what seals it to the prong | common practice, no source |
"""

from __future__ import annotations

import math
from dataclasses import replace

from bandgen.defaults import clamp, fill_prong_size, plug_top, put_missing
from bandgen.layout.events import seal_depth, tips_apart
from bandgen.layout.grip import TOO_FAR, ProngAxis, own_axis
from bandgen.layout.holding import Held, Seated, blank, even_axis, loose, neighbour, reach_of
from bandgen.layout.numbers import ProngNumbers
from bandgen.spec import Spec
from bandgen.units import KEEP_AWAY_MM

LEAST_DIAMETER_MM = 0.60
PRONG_IN_CUP_MM = 0.15
OFF_BEARING_MM = 0.035
CLEAR_MM = 1.5 * KEEP_AWAY_MM
SEALED_MM = 2.5 * KEEP_AWAY_MM
PAST_SEAM_MM = (0.05, 0.03, 0.07, 0.09, 0.12, 0.15, 0.20, 0.25)
"""How far each prong may reach past the seam plane at the plug's top, the best first."""

Halves = tuple[float, ...]
Members = tuple[Seated, ...]


def own_prongs(members: Members, halves: Halves) -> Held:
    """A pair for each of two stones. A single stone at the end of an open row has one too, where it would have it if
    another like it followed; the seam plane is turned to it, for the shank to join.

    Raises:
        SpecError: when a stone's prong cannot stand where it should.
    """
    members = tuple(replace(own, spec=_filled(own)) for own in members)
    try:
        if len(members) == 1:
            return _at_end(members[0], halves[0])
        prongs = _pair(members, halves)
    except ValueError as cause:
        raise loose(members[0].spec.prong.overlap, cause) from None
    specs = tuple(_with_bite(own, prongs, half, sign) for own, half, sign in zip(members, halves, (1, -1), strict=True))
    return Held(prongs, specs, halves)


def _at_end(own: Seated, half: float) -> Held:
    """The one pair of the last stone."""
    axis = _pair((own, own), (half, half))[0].axis
    girdle, radius = own.seat.girdle_mm, own.spec.stones.diameter_mm / 2.0
    towards = (radius + reach_of(own.spec)) * math.cos(axis.azimuth(half, girdle))
    half = math.atan2(towards, girdle)
    spec = put_missing(own.spec, "plug", bite_mm=0.05)
    return Held((blank(even_axis(own, half), (own,), (half,)),), (spec,), (half,))


def _sized(spec: Spec) -> Spec:
    """The prong's size, of a stone alone."""
    d = spec.stones.diameter_mm
    diameter = min(max(LEAST_DIAMETER_MM, 0.30 + 0.17 * d), 0.5 * d)
    return fill_prong_size(put_missing(spec, "prong", diameter_mm=diameter))


def _filled(own: Seated) -> Spec:
    """The prong's size and share, of a stone alone, whatever stands beside it."""
    spec = _sized(own.spec)
    diameter = spec.prong.diameter_mm
    share = min(max(0.30, PRONG_IN_CUP_MM / diameter), _share_off_the_bearing(own, diameter))
    return put_missing(spec, "prong", overlap=clamp(share, 0.05, 1.0 / 3.0))


def _share_off_the_bearing(own: Seated, diameter_mm: float) -> float:
    """The share at which the prong's root stands off the mouth of the recess: both in one plane with the stone's axis,
    the prong along the cup's side."""
    seat, draft = own.seat, math.radians(own.seat.draft_deg)
    fall = (seat.girdle_mm - seat.rim_mm) * math.tan(draft)
    room = (own.spec.stones.diameter_mm / 2.0 - fall - seat.mouth_radius_mm) * math.cos(draft)
    return (room - OFF_BEARING_MM) / diameter_mm


def _pair(members: Members, halves: Halves) -> tuple[ProngNumbers, ...]:
    """The prongs that reach past the seam plane by the first of PAST_SEAM_MM that leaves room everywhere; else by the
    one that leaves the most.

    Raises:
        ValueError: when none can stand there.
    """
    found = []
    for past in PAST_SEAM_MM:
        prongs = _reaching(members, halves, past)
        if prongs is None:
            continue
        found.append((_room(members, halves, prongs), prongs))
        if found[-1][0] >= 0.0:
            return prongs
    if not found:
        raise ValueError(TOO_FAR)
    return max(found, key=lambda each: each[0])[1]


def _room(members: Members, halves: Halves, prongs: tuple[ProngNumbers, ...]) -> float:
    """How far the nearest of all that depends on where the prongs stand keeps from its wanted distance (mm)."""
    room = abs(tips_apart(*prongs)) - CLEAR_MM
    for own, half, sign, other in zip(members, halves, (1, -1), prongs[::-1], strict=True):
        radius, seat = own.spec.stones.diameter_mm / 2.0, own.seat
        girdle, rim = (
            other.axis.distance_to_circle(half, height, reach, sign) - other.diameter_mm / 2.0
            for height, reach in ((seat.girdle_mm, radius), (seat.rim_mm, seat.rim_radius_mm))
        )
        off = -sign * other.axis.x_at(seat.bore_radius_mm)
        sealed = _seal(own, prongs, half, sign, _greatest_bite(own)) - SEALED_MM
        room = min(room, girdle - CLEAR_MM, abs(rim) - CLEAR_MM, off - CLEAR_MM, sealed)
    return room


def _reaching(members: Members, halves: Halves, past_mm: float) -> tuple[ProngNumbers, ...] | None:
    """Both prongs so far past the seam plane at the plug's top, in the line of the plug's end: midway between them.
    None where they cannot."""
    pairs = list(zip(members, halves, strict=True))
    top = min(_top(own.spec, own.seat.girdle_mm, half) for own, half in pairs)
    apart = 0.0
    try:
        for _ in range(4):  # contracts, as the two differ by less than a radius
            axes = [_axis(own, half, top, apart, past_mm) for own, half in pairs]
            known, apart = apart, axes[0].z_at(top) - axes[1].z_at(top)
            if abs(apart - known) < 1e-4:
                break
    except ValueError:
        return None
    before, after = (blank(axis, (own,), (half,)) for axis, (own, half) in zip(axes, pairs, strict=True))
    return before, after.mirrored


def _axis(own: Seated, half: float, top_mm: float, apart_mm: float, past_mm: float) -> ProngAxis:
    chord = math.sqrt(max(own.spec.prong.diameter_mm**2 - apart_mm**2, 0.0)) / 2.0
    return own_axis(reach_of(own.spec), neighbour(own, half), top_mm, chord - past_mm)


def _top(spec: Spec, girdle_mm: float, half: float) -> float:
    """The plug's top where it bites least: no lower for any bite, given or filled in."""
    return plug_top(_with_plug(spec, 0.0), girdle_mm, half)


def _with_plug(spec: Spec, bite_mm: float) -> Spec:
    return spec.model_copy(update={"plug": spec.plug.model_copy(update={"bite_mm": bite_mm})})


def _with_bite(own: Seated, prongs: tuple[ProngNumbers, ...], half: float, sign: int) -> Spec:
    """The least bite, beginning with 0.6 of the land, at which the plug's wall leaves the cup inside the prong."""
    if own.spec.plug.bite_mm is not None:
        return own.spec
    most = _greatest_bite(own)
    first = min(0.6 * (most + CLEAR_MM), most)
    bites = [first + (most - first) * step / 8.0 for step in range(9)]
    seals = [(_seal(own, prongs, half, sign, bite), bite) for bite in bites]
    bite = next((bite for seal, bite in seals if seal >= SEALED_MM), max(seals)[1])
    return put_missing(own.spec, "plug", bite_mm=bite)


def _greatest_bite(own: Seated) -> float:
    """Where the plug's wall stays clear of the recess."""
    return max(own.seat.rim_radius_mm - own.seat.mouth_radius_mm - CLEAR_MM, 0.05)


def _seal(own: Seated, prongs: tuple[ProngNumbers, ...], half: float, sign: int, bite_mm: float) -> float:
    """Least depth in the prong of the line where the plug's wall leaves the cup (mm)."""
    spec, seat = _with_plug(own.spec, bite_mm), own.seat
    wall = seat.rim_mm * math.sin(half) - (seat.rim_radius_mm - bite_mm) * math.cos(half)
    low, high = seat.bore_radius_mm + spec.plug.foot_clearance_mm, plug_top(spec, seat.girdle_mm, half)
    heights = (low + (high - low) * step / 4.0 for step in range(5))
    return min(seal_depth(seat, prongs, half, sign, wall, radial) for radial in heights)
