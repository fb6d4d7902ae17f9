"""What a sequence of stones is: which stones stand in the row, and how many there may be. No angles, no kernel.

Rows are in order counter-clockwise seen from +Z. A closed row starts with the top stone (station 0, on +Y); an open
row goes from its first stone, at the clockwise end, to its last.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from bandgen.spec import COUNT_RANGE, Spec

FEWEST, MOST = COUNT_RANGE
"""How many stones a row may have where it is free to grow: what ``stones.count`` may ask for, so that a count that is
filled in can be read again. A listed row has what its list gives."""


DECIMALS = 3
"""Unequal stones are read to a micron, a tenth of what a gauge tells: two that differ by less are one size. Neighbours
that were almost each other's image (1e-6 to 1e-4 mm) had faces that the exact kernel could not tell apart."""


@dataclass(frozen=True)
class Stone:
    """A stone of the row. ``number`` is its place in the parcel's list, from 1, and 0 where there is no parcel; it
    makes no stone differ from another."""

    diameter_mm: float
    material: str
    number: int = field(default=0, compare=False)


def measured(diameter_mm: float, material: str, number: int = 0) -> Stone:
    """A stone of a row of unequal ones, its size read to DECIMALS."""
    return Stone(round(diameter_mm, DECIMALS), material, number)


class Sequence(Protocol):
    """A kind of row. The first of the table that applies to a spec is used."""

    @property
    def name(self) -> str:
        """For the record."""

    def applies(self, spec: Spec) -> bool:
        """Whether the spec asks for this kind."""

    def counts(self, spec: Spec) -> tuple[range, ...]:
        """The possible counts, in families within which a longer row always needs more room. Lists have one count."""

    def row(self, spec: Spec, count: int) -> tuple[Stone, ...]:
        """The stones of a possible count."""

    def rule(self, spec: Spec) -> str:
        """Why other counts are impossible, to follow "stones.count = 31: "."""


def around_top(count: int, closed: bool) -> tuple[tuple[int, ...], ...]:
    """The places of a row step by step from the top outwards, in each step the counter-clockwise side first.

    A step has two places, but for the one stone on top (two in an open row of even count) and the one at the bottom
    of a closed row of even count.
    """
    if closed:
        sides = tuple((step, count - step) for step in range(1, (count + 1) // 2))
        return ((0,), *sides, *(((count // 2,),) if count % 2 == 0 else ()))
    middle = count // 2
    if count % 2:
        return ((middle,), *((middle + step, middle - step) for step in range(1, middle + 1)))
    return tuple((middle + step, middle - 1 - step) for step in range(middle))
