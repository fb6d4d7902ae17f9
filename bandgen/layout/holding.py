"""What the arrangements of prongs have in common: the stones that a seam's prongs hold, and what comes of it.

An arrangement is a function from one or two seated stones, with the angles from their axes to the seam plane, to
:class:`Held`; ``seams.ARRANGEMENTS`` lists them by the word of the spec.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from bandgen.errors import Problem, SpecError
from bandgen.layout.grip import Neighbour, ProngAxis, axis_for_reach
from bandgen.layout.numbers import ProngNumbers
from bandgen.layout.seatwork import SeatNumbers
from bandgen.spec import Spec


@dataclass(frozen=True)
class Seated:
    """A stone with its seat: the spec that belongs to it, filled in as far as the seat goes."""

    spec: Spec
    seat: SeatNumbers


@dataclass(frozen=True)
class Held:
    """The prongs of a seam (as in ``Seam.prongs``), the specs of its one or two stones with all filled in, and the
    angles in radians from their axes to the seam plane, which the prongs may have moved."""

    prongs: tuple[ProngNumbers, ...]
    specs: tuple[Spec, ...]
    halves: tuple[float, ...]


def neighbour(own: Seated, half: float) -> Neighbour:
    """A stone as its prongs see it."""
    return Neighbour(own.seat.girdle_mm, own.spec.stones.diameter_mm / 2.0, math.radians(own.seat.draft_deg), half)


def reach_of(spec: Spec) -> float:
    """Distance from the prong's axis to the girdle that enters it (mm)."""
    return (0.5 - spec.prong.overlap) * spec.prong.diameter_mm


def even_axis(own: Seated, half: float) -> ProngAxis:
    """The axis in the seam plane that holds a stone, alone or with another like it.

    Raises:
        ValueError: when the girdle lies too far from the seam plane.
    """
    stone = neighbour(own, half)
    return axis_for_reach(reach_of(own.spec), stone.girdle_mm, half, stone.draft, stone.radius_mm)


def blank(axis: ProngAxis, members: tuple[Seated, ...], halves: tuple[float, ...]) -> ProngNumbers:
    """The prong on an axis that holds one or two stones, the one before the seam first: as high as asked over the
    higher of their girdles."""
    prong, bore = members[0].spec.prong, members[0].seat.bore_radius_mm
    stones = zip(members, halves, (1, -1), strict=False)
    tip = max(_tip(own.spec, axis, own.seat.girdle_mm, half, sign) for own, half, sign in stones)
    return ProngNumbers(
        axis,
        prong.diameter_mm,
        prong.overlap,
        prong.height_above_girdle_mm,
        prong.tip,
        tip,
        bore,
        notches=len(members),
    )


def _tip(spec: Spec, axis: ProngAxis, girdle_mm: float, half: float, sign: int) -> float:
    """Length along the axis from its crossing to the tip that stands as high as asked over one stone's girdle."""
    prong, (x, y, _) = spec.prong, axis.along
    sine, cosine = sign * math.sin(half), math.cos(half)
    steep = x * sine + y * cosine
    tilt = math.acos(min(steep, 1.0))
    crossing = (girdle_mm - axis.across_mm * sine - axis.crossing_mm * cosine) / steep
    if prong.tip == "dome":
        over = (prong.height_above_girdle_mm - prong.diameter_mm / 2.0) / steep + prong.diameter_mm / 2.0
    else:
        over = (prong.height_above_girdle_mm - prong.diameter_mm / 2.0 * math.sin(tilt)) / steep
    return crossing + over


def loose(overlap: float, cause: ValueError) -> SpecError:
    """The refusal of stones that their prongs cannot hold."""
    advice = "raise prong.diameter_mm or lower prong.overlap, or set more stones"
    return SpecError([Problem("prong.overlap", str(cause), overlap, advice)])


def with_values(spec: Spec, table: str, **values: float) -> Spec:
    """The spec with these values, whatever it held."""
    return spec.model_copy(update={table: getattr(spec, table).model_copy(update=values)})
