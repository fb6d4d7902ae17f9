"""Which stones stand where: the chosen sequence of stones at its angles, heights filled in; no metal yet.

A closed row shares out what is left between its girdles; an open one keeps the gap asked and stands centred on +Y.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

from bandgen.defaults import fill_stones
from bandgen.layout.packing import girdle_gap
from bandgen.layout.pairs import Round, closing_gap, pitch_between, row_span
from bandgen.layout.seatwork import girdle_radius
from bandgen.layout.sequences import Stone, choose
from bandgen.spec import Spec
from bandgen.trade.stones import Proportions, total_depth
from bandgen.units import tand


@dataclass(frozen=True)
class Row:
    """Stones in order counter-clockwise: each a spec with its own ``stones`` table filled in, equal stones the same
    object. ``pitches`` (radians) follow each stone; in an open row the last stone has none. ``numbers`` are the stones'
    places in a measured parcel, from 1; none where there is no parcel."""

    specs: tuple[Spec, ...]
    angles_deg: tuple[float, ...]
    pitches: tuple[float, ...]
    gap_mm: float
    closed: bool
    numbers: tuple[int, ...] = ()

    @property
    def span_deg(self) -> float:
        """From the outer girdle edge of the first stone to that of the last; a full turn where closed."""
        if self.closed:
            return 360.0
        first, last = (round_of(self.specs[end]) for end in (0, -1))
        return math.degrees(sum(self.pitches) + _edge(first) + _edge(last))

    def half_end(self, index: int) -> float:
        """Half the pitch in radians that a stone would keep from one like it."""
        own = round_of(self.specs[index])
        return pitch_between(own, own, self.gap_mm) / 2.0


def arrange(spec: Spec) -> Row:
    """The row that a spec asks for; whether it fits is for the caller to judge by its gap and its span.

    Raises:
        SpecError: when the sequence of stones cannot have the count that was asked.
    """
    level = _Level(spec)
    gap, most = level.reference.stones.gap_mm, spec.arrangement.arc_deg

    def fits(stones: Sequence[Stone]) -> bool:
        rounds = [level.round(stone) for stone in stones]
        if most == 360.0:
            return _turn(rounds, gap) <= math.tau + 1e-12
        return most is None or row_span(rounds, gap) <= math.radians(most) + 1e-12

    stones = choose(spec, fits)
    known = {stone: level.own(stone) for stone in set(stones)}
    specs = tuple(known[stone] for stone in stones)
    row = _closed(specs) if most == 360.0 else _open(specs, gap)
    return replace(row, numbers=tuple(stone.number for stone in stones if stone.number))


class _Level:
    """The stones of one spec at their heights: level at the culets or at the tables, as asked."""

    def __init__(self, spec: Spec) -> None:
        self.spec = spec
        self.reference = fill_stones(spec)
        self._proportions: dict[str, Proportions] = {}
        self._rounds: dict[Stone, Round] = {}
        materials = spec.arrangement.pattern_materials or (spec.stones.material,)
        self._tallest = max(self._depth(spec.stones.diameter_mm, material) for material in materials)

    def round(self, stone: Stone) -> Round:
        """A stone's girdle."""
        if stone not in self._rounds:
            radius = stone.diameter_mm / 2.0
            pavilion = radius * tand(self._shape(stone.material).pavilion_deg)
            height = self.spec.finger.bore_mm / 2.0 + self._clearance(stone) + pavilion
            self._rounds[stone] = Round(height, radius)
        return self._rounds[stone]

    def own(self, stone: Stone) -> Spec:
        """A stone's own spec: a value given holds for every stone, one left out follows each; one gap for all."""
        table = {
            "diameter_mm": stone.diameter_mm,
            "material": stone.material,
            "gap_mm": self.reference.stones.gap_mm,
            "culet_clearance_mm": self._clearance(stone),
        }
        return fill_stones(self.spec.model_copy(update={"stones": self.spec.stones.model_copy(update=table)}))

    def _clearance(self, stone: Stone) -> float:
        clearance = self.reference.stones.culet_clearance_mm
        if self.spec.arrangement.heights == "tables":
            clearance += self._tallest - self._depth(stone.diameter_mm, stone.material)
        return clearance

    def _depth(self, diameter_mm: float, material: str) -> float:
        return total_depth(diameter_mm, self._shape(material))

    def _shape(self, material: str) -> Proportions:
        if material not in self._proportions:
            stones = self.spec.stones.model_copy(update={"material": material})
            filled = fill_stones(self.spec.model_copy(update={"stones": stones})).stones
            shape = (filled.pavilion_deg, filled.crown_deg, filled.table_pct, filled.girdle_pct)
            self._proportions[material] = Proportions(*shape)
        return self._proportions[material]


def round_of(spec: Spec) -> Round:
    """The girdle of a stone whose ``stones`` table is filled in."""
    return Round(girdle_radius(spec), spec.stones.diameter_mm / 2.0)


def _edge(stone: Round) -> float:
    return math.atan2(stone.radius_mm, stone.girdle_mm)


def _turn(rounds: Sequence[Round], gap_mm: float) -> float:
    """The whole turn in radians that a closed row would take at a gap."""
    first = rounds[0]
    if rounds.count(first) == len(rounds):
        return len(rounds) * pitch_between(first, first, gap_mm)
    return math.fsum(pitch_between(a, b, gap_mm) for a, b in pairwise([*rounds, first]))


def _closing_gap(rounds: Sequence[Round]) -> float:
    first = rounds[0]
    if rounds.count(first) == len(rounds):
        return girdle_gap(first.girdle_mm, 2.0 * first.radius_mm, len(rounds))
    return closing_gap(rounds)


def _closed(specs: tuple[Spec, ...]) -> Row:
    count, rounds = len(specs), [round_of(own) for own in specs]
    gap = _closing_gap(rounds)
    if all(own is specs[0] for own in specs):
        angles = tuple(360.0 * index / count for index in range(count))
        return Row(specs, angles, (2.0 * math.pi / count,) * count, gap, True)
    pitches = tuple(pitch_between(a, b, gap) for a, b in pairwise([*rounds, rounds[0]]))
    return Row(specs, tuple(map(math.degrees, accumulate(pitches[:-1], initial=0.0))), pitches, gap, True)


def _open(specs: tuple[Spec, ...], gap: float) -> Row:
    rounds = [round_of(own) for own in specs]
    pitches = tuple(pitch_between(a, b, gap) for a, b in pairwise(rounds))
    first = _edge(rounds[0]) - (sum(pitches) + _edge(rounds[0]) + _edge(rounds[-1])) / 2.0
    angles = [math.degrees(angle) for angle in accumulate(pitches, initial=first)]
    if specs == specs[::-1]:  # its own mirror image to the last bit, so that both ends are one cell
        angles = [(here - there) / 2.0 for here, there in zip(angles, angles[::-1], strict=True)]
    return Row(specs, tuple(angles), pitches, gap, False)
