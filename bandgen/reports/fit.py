"""Which counts, stone sizes, heights and finger sizes close well: the alternatives around a spec, ranked.

Each row of stones (:mod:`bandgen.reports.fit_rows`) is tried on the spec's own finger and on the sizes of its system
near by: at its own height, at the height that closes exactly, and on the finger that closes exactly at its own height.
Those that close badly are left out, and of those that no hand could tell apart all but one. They are ranked by

    cost = |gap left - gap wanted| + 0.1 (|change of height| + |change of bore| + |change of stone|) + 0.05 warnings

in mm (the weights: ours, no source): a tenth of a millimetre of change weighs as much as a hundredth in every gap. The
first are laid out in full: what cannot be made is dropped, and what newly goes beyond a limit of the trade falls back.
Everything that is shown comes from these layouts.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

from bandgen.defaults import fill_stones
from bandgen.errors import Problem, SpecError
from bandgen.inspection.volume_prediction import predict_volume
from bandgen.layout.numbers import Layout
from bandgen.layout.sprue import cut_off_mm3
from bandgen.reports.fit_alternatives import Made, alternatives, distinct, laid_out, make, warnings_of
from bandgen.reports.fit_words import reason
from bandgen.reports.weights import carat_total
from bandgen.spec import Spec
from bandgen.trade.alloys import ALLOYS, mass_g

BEST = 12
SIZE_SHARE = 0.5


@dataclass(frozen=True)
class FitRow:
    """What an alternative makes, from its own layout. The first four values, put into the spec as stones.count,
    stones.diameter_mm, finger.inner_diameter_mm (instead of finger.size) and stones.culet_clearance_mm, make it."""

    stone_count: int
    diameter_mm: float
    inner_diameter_mm: float
    culet_clearance_mm: float
    girdle_gap_mm: float
    carat: float
    metal_g: float
    reason: str

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


@dataclass(frozen=True)
class Fit:
    """The best alternatives, how many were tried, and the spec's own band, None where it cannot be made."""

    rows: tuple[FitRow, ...]
    tried: int
    asked: FitRow | None


def fit(spec: Spec, best: int = BEST, size_share: float = SIZE_SHARE) -> Fit:
    """The best alternatives around a spec; ``size_share`` is how many finger sizes of the spec's own system (or mm of
    diameter) the finger may change.

    Raises:
        SpecError: for options out of range, or where not even a row of stones can be found.
    """
    check_best(best)
    if not 0.0 <= size_share <= 4.0:
        raise SpecError([Problem("--size-share", "must be 0 to 4 finger sizes", size_share)], "command line")
    asked = laid_out(spec)
    tried = sorted(alternatives(spec, size_share), key=lambda each: each.cost_mm)
    ranked = _best(make(spec, distinct(tried), warnings_of(asked)), best)
    own = None if asked is None else own_row(spec, asked)
    return Fit(tuple(row_of(spec, each) for each in ranked), len(tried), own)


def _best(made: Iterable[Made], best: int) -> list[Made]:
    """The cheapest, warnings included, of alternatives that come from the cheapest on without them: no more are laid
    out than it takes to know."""
    found: list[Made] = []
    for each in made:
        insort(found, each, key=lambda made: made.cost_mm)
        if len(found) >= best and found[best - 1].cost_mm <= each.alternative.cost_mm:
            break
    return found[:best]


def check_best(best: int) -> None:
    """Raises SpecError for a number of rows that is out of range."""
    if not 1 <= best <= 200:
        raise SpecError([Problem("--best", "must be 1 to 200", best)], "command line")


def row_of(spec: Spec, made: Made) -> FitRow:
    """The row to show of an alternative."""
    each = made.alternative
    return _row(made.layout, each.stones.diameter_mm, each.bore.mm, each.clearance_mm, reason(spec, made))


def own_row(spec: Spec, layout: Layout) -> FitRow:
    """The row to show of the spec's own band."""
    stones = fill_stones(spec).stones
    return _row(layout, stones.diameter_mm, spec.finger.bore_mm, stones.culet_clearance_mm, "as asked")


def metal_g(layout: Layout) -> float:
    """Grams of metal, sprues cut off: the volume predicted without a kernel, times the alloy's density."""
    return mass_g(predict_volume(layout)[0] - cut_off_mm3(layout), ALLOYS[layout.spec.metal.alloy].density_g_cm3)


def _row(layout: Layout, diameter_mm: float, bore_mm: float, clearance_mm: float, words: str) -> FitRow:
    return FitRow(
        len(layout.stations),
        diameter_mm,
        bore_mm,
        clearance_mm,
        layout.girdle_gap_mm,
        carat_total(layout),
        metal_g(layout),
        words,
    )
