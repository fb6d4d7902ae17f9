"""Rows of stones that may stand in a band, each with the height at which it closes exactly; no metal yet.

For a row only the distance of the culets from the ring's axis matters, ``culet_mm``: half the bore and the culet
clearance together. So a row's closing height is found once and serves every finger. Where stones differ in height, it
is the culet of a stone that has ``stones.culet_clearance_mm`` as it is written.

A closed row shares out what is left: it closes exactly where the gap is the one wanted. An open row keeps the gap
wanted: it closes exactly where it takes the whole arc. Millimetres, radians inside.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from bandgen.defaults import fill_stones
from bandgen.layout.arrange import arrange
from bandgen.layout.packing import closing_radius, girdle_gap, greatest_count
from bandgen.layout.pairs import Round, closing_gap, pitch_between
from bandgen.layout.roots import rising_root
from bandgen.layout.seatwork import girdle_radius
from bandgen.layout.sequences import FEWEST, MOST, sequence_of
from bandgen.spec import Spec
from bandgen.trade.stones import Proportions, brilliant_carat

Pair = tuple[Round, Round]
BESIDE = 3
"""How many counts fewer and more than the most that fit are looked at: one count is already 0.3 mm of height."""


@dataclass(frozen=True)
class StoneRow(ABC):
    """Stones in order. ``rounds`` are their girdles with the culet in the ring's axis, ``clearance_mm`` and
    ``wanted_mm`` the culet clearance and the gap that the spec gives, or its defaults for these stones; ``carat`` the
    weight of all, in all rows side by side."""

    count: int
    diameter_mm: float
    clearance_mm: float
    wanted_mm: float
    carat: float
    rounds: tuple[Round, ...]

    @abstractmethod
    def taken(self, culet_mm: float) -> float:
        """What the row makes of the room: the gap in mm where it is closed, the arc in degrees where it is open."""

    @abstractmethod
    def surplus_mm(self, culet_mm: float) -> float:
        """How much wider than wanted the room leaves each gap; negative where the row does not fit."""

    @abstractmethod
    def closing_mm(self, low_mm: float, high_mm: float) -> float | None:
        """The culet's height between the two at which the row closes exactly; None where there is none."""


@dataclass(frozen=True)
class EvenCircle(StoneRow):
    """Stones all alike, all round: ``rounds`` holds the one; everything in closed form."""

    def taken(self, culet_mm: float) -> float:
        """See :class:`StoneRow`."""
        (one,) = self.rounds
        return girdle_gap(one.girdle_mm + culet_mm, 2.0 * one.radius_mm, self.count)

    def surplus_mm(self, culet_mm: float) -> float:
        """See :class:`StoneRow`."""
        return self.taken(culet_mm) - self.wanted_mm

    def closing_mm(self, low_mm: float, high_mm: float) -> float | None:
        """See :class:`StoneRow`."""
        (one,) = self.rounds
        culet = closing_radius(2.0 * one.radius_mm, self.count, self.wanted_mm) - one.girdle_mm
        return culet if low_mm <= culet <= high_mm else None


@dataclass(frozen=True)
class Circle(StoneRow):
    """Unequal stones all round."""

    @cached_property
    def pairs(self) -> Counter[Pair]:
        """Neighbours, and how often each two stand side by side."""
        return Counter(pairwise([*self.rounds, self.rounds[0]]))

    def taken(self, culet_mm: float) -> float:
        """See :class:`StoneRow`."""
        return closing_gap([_lifted(one, culet_mm) for one in self.rounds])

    def surplus_mm(self, culet_mm: float) -> float:
        """See :class:`StoneRow`."""
        return self.taken(culet_mm) - self.wanted_mm

    def closing_mm(self, low_mm: float, high_mm: float) -> float | None:
        """See :class:`StoneRow`."""
        return _root(lambda culet: math.tau - _turn(self.pairs, culet, self.wanted_mm), low_mm, high_mm)


@dataclass(frozen=True)
class Part(StoneRow):
    """An open row over an arc of ``arc_deg`` at most."""

    arc_deg: float = 360.0

    @cached_property
    def pairs(self) -> Counter[Pair]:
        """Neighbours, and how often each two stand side by side."""
        return Counter(pairwise(self.rounds))

    def taken(self, culet_mm: float) -> float:
        """See :class:`StoneRow`."""
        ends = sum(_lifted(self.rounds[end], culet_mm).half_angle for end in (0, -1))
        return math.degrees(ends + _turn(self.pairs, culet_mm, self.wanted_mm))

    def surplus_mm(self, culet_mm: float) -> float:
        """See :class:`StoneRow`: the arc that is not taken, measured at the girdles and shared out."""
        reach = culet_mm + self.rounds[0].girdle_mm
        return math.radians(self.arc_deg - self.taken(culet_mm)) * reach / (self.count - 1)

    def closing_mm(self, low_mm: float, high_mm: float) -> float | None:
        """See :class:`StoneRow`."""
        return _root(lambda culet: math.radians(self.arc_deg - self.taken(culet)), low_mm, high_mm)


def _lifted(one: Round, culet_mm: float) -> Round:
    return Round(one.girdle_mm + culet_mm, one.radius_mm)


def _turn(pairs: Counter[Pair], culet_mm: float, gap_mm: float) -> float:
    """Radians from the first stone's axis to the last one's, neighbours ``gap_mm`` apart."""
    lifted = {one: _lifted(one, culet_mm) for pair in pairs for one in pair}
    return math.fsum(
        often * pitch_between(lifted[before], lifted[after], gap_mm) for (before, after), often in pairs.items()
    )


def _root(rising: Callable[[float], float], low: float, high: float) -> float | None:
    under, over = rising(low), rising(high)
    return rising_root(rising, low, under, high, over) if under <= 0.0 < over else None


def arc_of(spec: Spec) -> float:
    """The arc in degrees that the stones have: the coverage, or where the count alone says how far they go, what the
    spec's own stones take."""
    arc = spec.arrangement.arc_deg
    return arrange(spec).span_deg if arc is None else arc


def stone_rows(spec: Spec, diameter_mm: float, arc_deg: float) -> Iterator[StoneRow]:
    """The rows of stones of one diameter (the largest's, where they differ), of the most stones that fit and a few
    counts fewer and more; the one of a list that gives every stone."""
    stones = spec.stones.model_copy(update={"diameter_mm": diameter_mm, "count": None})
    arrangement = spec.arrangement
    if not arrangement.full:
        arrangement = arrangement.model_copy(update={"coverage": None, "coverage_deg": arc_deg})
    asked = spec.model_copy(update={"stones": stones, "arrangement": arrangement})
    counts = sorted(count for family in sequence_of(asked).counts(asked) for count in family)
    place = counts.index(_most(asked))
    for count in counts[max(place - BESIDE, 0) : place + BESIDE + 1]:
        yield stone_row(asked, count, arc_deg)


def _most(spec: Spec) -> int:
    """The most stones that fit; the fewest that a row may have where none do."""
    if not (_alike(spec) and spec.arrangement.full):
        return len(arrange(spec).specs)
    own = fill_stones(spec)
    most = greatest_count(girdle_radius(own), own.stones.diameter_mm, own.stones.gap_mm)
    return min(max(most, FEWEST), MOST)


def stone_row(spec: Spec, count: int, arc_deg: float) -> StoneRow:
    """One row of a count that is possible.

    Raises:
        SpecError: when the sequence of stones cannot have that count.
    """
    reference = fill_stones(spec)
    specs, often = ((reference,), count) if _alike(spec) else (arrange(_counted(spec, count)).specs, 1)
    stones = reference.stones
    culet = spec.finger.bore_mm / 2.0 + stones.culet_clearance_mm
    rounds = often * tuple(Round(girdle_radius(own) - culet, own.stones.diameter_mm / 2.0) for own in specs)
    weight = spec.arrangement.rows * often * math.fsum(map(carat_of, specs))
    facts = (count, stones.diameter_mm, stones.culet_clearance_mm, stones.gap_mm, weight)
    if arc_deg != 360.0:
        return Part(*facts, rounds, arc_deg)
    return EvenCircle(*facts, rounds[:1]) if len(set(rounds)) == 1 else Circle(*facts, rounds)


def carat_of(own: Spec) -> float:
    """Weight in carat of one stone, whose ``stones`` table is filled in, by volume."""
    stones = own.stones
    shape = Proportions(stones.pavilion_deg, stones.crown_deg, stones.table_pct, stones.girdle_pct)
    return brilliant_carat(stones.diameter_mm, stones.material, shape)


def _alike(spec: Spec) -> bool:
    """Whether the spec's own stones table is that of every stone."""
    return sequence_of(spec).name == "even"


def _counted(spec: Spec, count: int) -> Spec:
    return spec.model_copy(update={"stones": spec.stones.model_copy(update={"count": count})})
