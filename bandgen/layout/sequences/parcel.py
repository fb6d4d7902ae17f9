"""A parcel of measured stones, each set once."""

from __future__ import annotations

from bandgen.layout.sequences.base import Stone, around_top, measured
from bandgen.spec import Spec


class Parcel:
    """The stones of ``parcel_mm``, numbered as listed.

    As listed: first to last counter-clockwise, the first of a closed row on top. In the best order: the largest on
    top, then pair by pair outwards, the larger of a pair on the counter-clockwise side and the other side by turns, so
    that both sides fall evenly and hold as much stone; equal stones keep their order.
    """

    name = "parcel"

    def applies(self, spec: Spec) -> bool:
        """Where a parcel is given."""
        return spec.arrangement.source == "parcel_mm"

    def counts(self, spec: Spec) -> tuple[range, ...]:
        """The parcel's own."""
        own = len(spec.arrangement.parcel_mm)
        return (range(own, own + 1),)

    def row(self, spec: Spec, count: int) -> tuple[Stone, ...]:
        """Every stone of the parcel."""
        parcel, material = spec.arrangement.parcel_mm, spec.stones.material
        stones = tuple(measured(size, material, number) for number, size in enumerate(parcel, 1))
        return stones if spec.arrangement.order == "given" else best_order(stones, spec.arrangement.full)

    def rule(self, spec: Spec) -> str:
        """Every stone is set."""
        return "is not the count of arrangement.parcel_mm, whose stones are all set"


def best_order(stones: tuple[Stone, ...], closed: bool) -> tuple[Stone, ...]:
    """The largest on top, falling evenly to both sides."""
    falling = iter(sorted(stones, key=lambda stone: -stone.diameter_mm))
    placed: dict[int, Stone] = {}
    for step, places in enumerate(around_top(len(stones), closed)):
        turned = places if step % 2 else places[::-1]
        placed |= {place: next(falling) for place in turned}
    return tuple(placed[place] for place in range(len(stones)))
