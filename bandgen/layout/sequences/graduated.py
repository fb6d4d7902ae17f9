"""The largest stone on top, falling alike to both sides."""

from __future__ import annotations

from itertools import accumulate

from bandgen.layout.sequences.base import FEWEST, MOST, Stone, around_top, measured
from bandgen.spec import Spec
from bandgen.trade.ladder import nearest_calibrated


class Graduated:
    """Sizes from the top outwards, listed (``sizes_mm``) or falling from the stones' diameter to ``end_mm``.

    Listed sizes are set as listed, whether they fall or not, s0 s1 .. sk on either side, one s0. Falling sizes take
    any count: an even one has a single smallest stone at the bottom of a closed row, two on top of an open one.
    """

    name = "graduated"

    def applies(self, spec: Spec) -> bool:
        """Where sizes are listed from the top, or an end size is given."""
        return spec.arrangement.source in ("sizes_mm", "end_mm")

    def counts(self, spec: Spec) -> tuple[range, ...]:
        """The one that a list gives; else any, odd and even apart: with an even count an open row has two stones on
        top, and where sizes fall fast these may need more room than a row of one more."""
        sizes = spec.arrangement.sizes_mm
        if sizes is not None:
            return (range(2 * len(sizes) - 1, 2 * len(sizes)),)
        return range(FEWEST, MOST + 1, 2), range(FEWEST + 1, MOST + 1, 2)

    def row(self, spec: Spec, count: int) -> tuple[Stone, ...]:
        """The same stones on both sides; the pattern of materials, if any, counts from the top outwards too."""
        steps = around_top(count, spec.arrangement.full)
        sizes = outward_sizes(spec, len(steps))
        materials = spec.arrangement.pattern_materials or (spec.stones.material,)
        row: list[Stone | None] = [None] * count
        for step, (places, size) in enumerate(zip(steps, sizes, strict=True)):
            for place in places:
                row[place] = measured(size, materials[step % len(materials)])
        return tuple(stone for stone in row if stone is not None)

    def rule(self, spec: Spec) -> str:
        """Of a list."""
        return "is not what arrangement.sizes_mm gives: one stone on top and the others on both sides"


def outward_sizes(spec: Spec, steps: int) -> tuple[float, ...]:
    """Diameters in mm from the top outwards, snapped to the calibrated ones where asked; computed ones never rise."""
    arrangement = spec.arrangement
    sizes = arrangement.sizes_mm or tuple(_fall(spec, steps))
    return tuple(map(nearest_calibrated, sizes)) if arrangement.ladder == "calibrated" else sizes


def _fall(spec: Spec, steps: int) -> list[float]:
    """top + (end - top) (j/k) ** curve for the steps j = 0 .. k, both ends exact and no rise by rounding."""
    top, end = spec.stones.diameter_mm, spec.arrangement.end_mm
    last = max(steps - 1, 1)
    shares = [(step / last) ** spec.arrangement.curve for step in range(steps)]
    sizes = ((1.0 - share) * top + share * end for share in shares)
    return list(accumulate((max(size, end) for size in sizes), min, initial=top))[1:]
