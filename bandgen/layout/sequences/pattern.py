"""Sizes or materials that repeat along the row."""

from __future__ import annotations

import math

from bandgen.layout.sequences.base import FEWEST, MOST, Stone, measured
from bandgen.spec import Spec


class Pattern:
    """``pattern_mm`` and ``pattern_materials``, each repeated from the row's first stone on.

    A closed row must end where the pattern does, so that it goes on over the seam to the top stone; an open one may
    end anywhere.
    """

    name = "pattern"

    def applies(self, spec: Spec) -> bool:
        """Where a pattern is given."""
        return spec.arrangement.pattern_mm is not None or spec.arrangement.pattern_materials is not None

    def counts(self, spec: Spec) -> tuple[range, ...]:
        """Whole patterns in a closed row, any count in an open one."""
        if not spec.arrangement.full:
            return (range(FEWEST, MOST + 1),)
        length = len(repeat(spec))
        return (range(-(-FEWEST // length) * length, MOST + 1, length),)

    def row(self, spec: Spec, count: int) -> tuple[Stone, ...]:
        """The pattern, begun anew as often as needed."""
        stones = repeat(spec)
        return tuple(stones[place % len(stones)] for place in range(count))

    def rule(self, spec: Spec) -> str:
        """Of a closed row."""
        return f"does not close the pattern of {len(repeat(spec))} stones on itself"


def repeat(spec: Spec) -> tuple[Stone, ...]:
    """The shortest run of stones that the pattern repeats: sizes and materials may be of different lengths."""
    sizes = spec.arrangement.pattern_mm or (spec.stones.diameter_mm,)
    materials = spec.arrangement.pattern_materials or (spec.stones.material,)
    whole = math.lcm(len(sizes), len(materials))
    stones = tuple(measured(sizes[place % len(sizes)], materials[place % len(materials)]) for place in range(whole))
    lengths = (length for length in range(1, whole + 1) if whole % length == 0)
    return next(stones[:length] for length in lengths if stones == stones[:length] * (whole // length))
