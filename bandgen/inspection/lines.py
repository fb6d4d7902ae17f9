"""Where the lines parallel to a stone's axis meet each part, in closed form on the layout's numbers.

Stone frame: y up the stone's axis from the ring's centre, x towards the seam, z along the ring's axis; a line is given
by its x (k,) and z (k,). The ring's axis is z too, so ``half``, the angle from the stone's axis to the seam plane in
radians, turns about it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.layout.grip import ProngAxis
from bandgen.layout.numbers import BoreNumbers, PlugNumbers, ProngNumbers
from bandgen.layout.seatwork import SeatNumbers
from bandgen.parts import Vector

Interval = tuple[Floats, Floats]
"""Lower and upper end (k,) on each line; empty where the upper is not greater."""

Frustum = tuple[tuple[float, float], tuple[float, float]]
"""(radius, height) of its lower and its upper end."""

CHORDS = 4
"""Chords in place of a turned recess's fillet: they stand off it by 0.002 of its radius."""


@dataclass(frozen=True)
class Roof:
    """A straight piece of a prism along the finger, in a seam's frame: all under y = ``at_seam_mm`` + ``slope`` x,
    from one x to another."""

    from_mm: float
    to_mm: float
    at_seam_mm: float
    slope: float


def bore_radius(bore: BoreNumbers, z: Floats) -> Floats:
    """The bore's radius (k,) at a distance from the band's mid-plane."""
    if bore.crown_mm == 0.0:
        return np.full_like(z, bore.radius_mm)
    near = np.minimum(z, bore.reach_mm)
    radius: Floats = bore.radius_mm + bore.curve_mm - np.sqrt(bore.curve_mm**2 - near**2)
    return radius


def meet_cup(seat: SeatNumbers, radius: Floats) -> Interval:
    """From the side's cone to the rim."""
    slope = max(math.tan(math.radians(seat.draft_deg)), 1e-12)
    low = seat.rim_mm - (seat.rim_radius_mm - radius) / slope
    return low, np.where(radius < seat.rim_radius_mm, seat.rim_mm, -np.inf)


def meet_recess(seat: SeatNumbers, radius: Floats) -> Interval:
    """From its floor, fillet or bearing cone to the rim."""
    slope, round_ = math.tan(math.radians(seat.bearing_deg)), seat.fillet_mm
    column, mouth = seat.column_radius_mm, seat.mouth_radius_mm
    centre = seat.rim_mm - (mouth - column) * slope - round_ * math.tan(math.radians(90.0 - seat.bearing_deg) / 2.0)
    curve = column + round_ * (1.0 - math.sin(math.radians(seat.bearing_deg)))
    across = radius - column - round_
    fillet = centre + np.sqrt(np.maximum(round_**2 - across**2, 0.0))
    cone = seat.rim_mm - (mouth - radius) * slope
    floor = -np.inf if seat.through else seat.floor_mm
    low = np.select(
        (radius < column, radius < curve, radius < mouth), (np.full_like(radius, floor), fillet, cone), np.inf
    )
    return low, np.full_like(radius, seat.rim_mm)


def meet_plug(plug: PlugNumbers, ends: ProngAxis, half: float, x: Floats, z: Floats) -> Interval:
    """This side of the block across the seam, which the prongs' axes end."""
    sine, cosine = math.sin(half), math.cos(half)
    slope = max(math.tan(ends.lean), 1e-12)
    least = np.maximum(plug.foot_mm, ends.crossing_mm + (z - ends.spread_mm) / slope)
    high = np.minimum((plug.top_mm - x * sine) / cosine, (x * cosine + plug.before_mm) / sine)
    return (least - x * sine) / cosine, high


def meet_plug_ahead(plug: PlugNumbers, ends: ProngAxis, x: Floats, z: Floats) -> Interval:
    """The same of a plug that stands on the lines' own axis, as far as it reaches towards +x."""
    slope = max(math.tan(ends.lean), 1e-12)
    least = np.maximum(plug.foot_mm, ends.crossing_mm + (z - ends.spread_mm) / slope)
    return least, np.where(x < plug.after_mm, plug.top_mm, -np.inf)


def meet_roof(roof: Roof, half: float, x: Floats) -> Interval:
    """Between its ends, under its slope; the seam's own frame has this stone at +x."""
    sine, cosine = math.sin(half), math.cos(half)
    low, high = ((end + x * cosine) / sine for end in (roof.from_mm, roof.to_mm))
    rest, steep = roof.at_seam_mm - x * (sine + roof.slope * cosine), cosine - roof.slope * sine
    if steep < 0.0:  # it hangs over
        return np.maximum(low, rest / steep), high
    return low, np.minimum(high, rest / max(steep, 1e-12))


def meet_prong(prong: ProngNumbers, half: float, x: Floats, z: Floats) -> Interval:
    """A prong of the seam, whose own frame has this stone at +x; computed only where it may be met: beyond the inner
    sides of its upper and its lower end."""
    foot, along = _axis(prong, half)
    low_end = (prong.bore_radius_mm - prong.diameter_mm - foot[1]) / along[1]
    near, inner = (min(foot[i] + at * along[i] for at in (low_end, prong.tip_mm)) - prong.diameter_mm for i in (0, 2))
    met = np.flatnonzero((x > near) & (z > inner))
    low, high = np.full_like(x, np.inf), np.full_like(x, -np.inf)
    low[met], high[met] = _prong(prong, foot, along, x[met], z[met])
    return low, high


def _axis(prong: ProngNumbers, half: float) -> tuple[Vector, Vector]:
    """Where a prong's axis crosses the girdle planes, and its direction."""
    sine, cosine, axis = math.sin(half), math.cos(half), prong.axis
    x, y, z = axis.along
    foot = (axis.crossing_mm * sine - axis.across_mm * cosine, axis.crossing_mm * cosine + axis.across_mm * sine)
    return (*foot, axis.spread_mm), (y * sine - x * cosine, y * cosine + x * sine, z)


def _prong(prong: ProngNumbers, foot: Vector, along: Vector, x: Floats, z: Floats) -> Interval:
    """The shaft from anywhere under the bore to its shoulder or flat, with the dome."""
    radius = prong.diameter_mm / 2.0
    apart = (x - foot[0], -foot[1], z - foot[2])
    reach = apart[0] * along[0] + apart[1] * along[1] + apart[2] * along[2]
    steep = max(1.0 - along[1] ** 2, 1e-12)
    middle = (reach * along[1] - apart[1]) / steep
    depth = radius**2 - (apart[0] ** 2 + apart[1] ** 2 + apart[2] ** 2 - reach**2)
    spread = np.sqrt(np.maximum(depth / steep + middle**2, 0.0))
    top = prong.tip_mm - (radius if prong.tip == "dome" else 0.0)
    low, high = middle - spread, np.minimum(middle + spread, (top - reach) / along[1])
    if prong.tip == "dome":
        ball = radius**2 - (apart[0] - top * along[0]) ** 2 - (apart[2] - top * along[2]) ** 2
        centre, tall = top * along[1] - apart[1], np.sqrt(np.maximum(ball, 0.0))
        shaft = np.where(low < high, low, np.inf)
        low = np.where(ball > 0.0, np.minimum(shaft, centre - tall), shaft)
        high = np.where(ball > 0.0, np.maximum(high, centre + tall), high)
    return low, high


def cup_side(seat: SeatNumbers) -> Frustum:
    """A cup's (radius, height) under the bore and at the rim."""
    return (seat.radius_at(seat.base_mm), seat.base_mm), (seat.rim_radius_mm, seat.rim_mm)


def recess_sides(seat: SeatNumbers) -> list[Frustum]:
    """A recess as frusta on one another: column, fillet in chords, bearing cone. The fillet's inner corners stand
    beyond it by so much that the chords keep the area of its section."""
    column, round_ = seat.column_radius_mm, seat.fillet_mm
    centre = seat.column_top_mm - round_ * seat.fillet_tangent
    step = math.radians(90.0 - seat.bearing_deg) / CHORDS
    beyond = 1.0 + (step / math.sin(step) - 1.0) * CHORDS / (2.0 * (CHORDS - 1))
    reaches = [round_, *[round_ * beyond] * (CHORDS - 1), round_]
    turns = [(reach, step * index) for index, reach in enumerate(reaches)] if round_ > 0.0 else [(0.0, 0.0)]
    curve = [(column + round_ - reach * math.cos(turn), centre + reach * math.sin(turn)) for reach, turn in turns]
    foot = column, seat.base_mm if seat.through else seat.floor_mm
    return list(pairwise((foot, *curve, (seat.mouth_radius_mm, seat.rim_mm))))


def meet_frustum(ends: Frustum, turn: float, x: Floats, z: Floats) -> Interval:
    """A frustum between two (radius, height), the upper no narrower; its axis, through the ring's centre, stands
    ``turn`` radians towards +x."""
    (lower, low), (upper, high) = ends
    sine, cosine, slope = math.sin(turn), math.cos(turn), (upper - lower) / (high - low)
    bottom, top = (low - x * sine) / cosine, (high - x * sine) / cosine
    across, radius = x * cosine, lower + (x * sine - low) * slope  # at y = 0, and both are straight in y
    steep = sine**2 - (cosine * slope) ** 2
    steep = math.copysign(max(abs(steep), 1e-9), steep)
    middle = (across * sine + radius * cosine * slope) / steep
    depth = middle**2 - (across**2 + z**2 - radius**2) / steep
    spread = np.sqrt(np.maximum(depth, 0.0))
    if steep < 0.0:  # the line lies within the cone in the end
        return np.maximum(middle + spread, bottom), top
    return np.maximum(middle - spread, bottom), np.minimum(middle + spread, top)
