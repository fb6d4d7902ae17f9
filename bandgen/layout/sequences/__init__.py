"""Which stones stand in the row: one module for each kind, one table, one choice.

Adding a kind is a module with a class that keeps to :class:`Sequence`, and its place in SEQUENCES.
"""

from __future__ import annotations

from collections.abc import Callable

from bandgen.errors import Problem, SpecError
from bandgen.layout.sequences.base import FEWEST, MOST, Sequence, Stone
from bandgen.layout.sequences.even import Even
from bandgen.layout.sequences.graduated import Graduated
from bandgen.layout.sequences.parcel import Parcel
from bandgen.layout.sequences.pattern import Pattern
from bandgen.spec import Spec

__all__ = ["FEWEST", "MOST", "SEQUENCES", "Sequence", "Stone", "choose", "sequence_of"]

SEQUENCES: tuple[Sequence, ...] = (Parcel(), Graduated(), Pattern(), Even())
"""The first that applies is used; the last always does."""


def sequence_of(spec: Spec) -> Sequence:
    """The kind of row that a spec asks for."""
    return next(sequence for sequence in SEQUENCES if sequence.applies(spec))


def choose(spec: Spec, fits: Callable[[tuple[Stone, ...]], bool]) -> tuple[Stone, ...]:
    """The row of the wanted count, or else the longest that fits; the shortest where none does, and the only one that
    a list gives: whether these fit is for the caller to judge, who knows by how much. ``fits`` is asked about rows
    of any possible length and must never hold for a longer row of a family and not for a shorter one.

    Raises:
        SpecError: when the wanted count is impossible, with the nearest that are not.
    """
    sequence = sequence_of(spec)
    families = sequence.counts(spec)
    if spec.stones.count is not None:
        if not any(spec.stones.count in family for family in families):
            raise SpecError([_impossible(spec, sequence, families)])
        return sequence.row(spec, spec.stones.count)
    if sum(map(len, families)) == 1:
        return sequence.row(spec, families[0][0])
    found = [_longest(family, lambda count: fits(sequence.row(spec, count))) for family in families]
    shortest = min(family[0] for family in families)
    return sequence.row(spec, max((count for count in found if count is not None), default=shortest))


def _longest(family: range, fits: Callable[[int], bool]) -> int | None:
    """The greatest count of a family that fits, by halving; None where none does."""
    low, high = 0, len(family)
    while low < high:
        middle = (low + high) // 2
        low, high = (middle + 1, high) if fits(family[middle]) else (low, middle)
    return family[low - 1] if low else None


def _impossible(spec: Spec, sequence: Sequence, families: tuple[range, ...]) -> Problem:
    wanted = spec.stones.count
    counts = sorted(count for family in families for count in family)
    below = [count for count in counts if count < wanted][-1:]
    above = [count for count in counts if count > wanted][:1]
    would = " or ".join(map(str, below + above))
    return Problem("stones.count", sequence.rule(spec), wanted, f"{would} would do, or leave it out")
