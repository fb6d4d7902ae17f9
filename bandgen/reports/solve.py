"""What closes exactly at a given count: the culet clearance, the stone or the finger; and the most carat for a weight.

Clearance and finger follow from the height at which the row closes (closed form where all stones are alike all round,
else a root). The stone is a root in its diameter, as gap and clearance that the spec leaves out follow the stone.
"""

from __future__ import annotations

import math
from typing import Literal

from bandgen.errors import Problem, SpecError
from bandgen.layout.compute import compute_layout
from bandgen.layout.roots import rising_root
from bandgen.layout.sequences import sequence_of
from bandgen.layout.sprue import cut_off_mm3
from bandgen.reports.fit import FitRow, check_best, metal_g, row_of
from bandgen.reports.fit_alternatives import Alternative, Made, alternatives, laid_out, make, put, warnings_of
from bandgen.reports.fit_finger import NamedBore, own_bore
from bandgen.reports.fit_rows import StoneRow, stone_row
from bandgen.spec import Spec, make_spec
from bandgen.spec.table import SIZE_RANGE_MM
from bandgen.trade.alloys import ALLOYS, mass_g

Unknown = Literal["clearance", "stone", "finger"]


def solve(spec: Spec, unknown: Unknown, count: int | None = None, gap_mm: float | None = None) -> FitRow:
    """The one value at which ``count`` stones (the spec's own where None) close exactly at the gap, all else as the
    spec has it. ``gap_mm`` stands in for stones.gap_mm, and must be put into the spec too.

    Raises:
        SpecError: where there is no such value, it cannot be made, or the question has no meaning.
    """
    spec = spec if gap_mm is None else _with(spec, gap_mm=gap_mm)
    arc, number, bore_mm = _arc(spec), _count(spec, count), spec.finger.bore_mm
    size = _closing_diameter(spec, number, arc) if unknown == "stone" else spec.stones.diameter_mm
    stones = stone_row(_free(spec, size), number, arc)
    if unknown == "stone":
        return _checked(spec, stones, own_bore(spec.finger), stones.clearance_mm)
    closing = stones.closing_mm(bore_mm / 4.0, bore_mm * 4.0)
    if closing is None:
        raise _no_answer(number, "stones close at no height")
    if unknown == "clearance":
        return _checked(spec, stones, own_bore(spec.finger), closing - bore_mm / 2.0)
    return _checked(spec, stones, NamedBore(2.0 * (closing - stones.clearance_mm)), stones.clearance_mm)


def _with(spec: Spec, **stones: float) -> Spec:
    data = spec.model_dump(exclude_none=True)
    return make_spec({**data, "stones": {**data["stones"], **stones}}, "command line")


def _arc(spec: Spec) -> float:
    arc = spec.arrangement.arc_deg
    if arc is None:
        rule = "leaves nothing to close: the stones go as far as stones.count takes them"
        raise SpecError([Problem("arrangement.coverage", rule, "count", "give arrangement.coverage_deg instead")])
    return arc


def _count(spec: Spec, count: int | None) -> int:
    """The count that was asked, or the spec's, or the only one that its list allows."""
    families = sequence_of(spec).counts(spec)
    only = families[0][0] if sum(map(len, families)) == 1 else None
    wanted = count or spec.stones.count or only
    if wanted is None:
        raise SpecError([Problem("--count", "is required: how many stones are to close")], "command line")
    return wanted


def _free(spec: Spec, diameter_mm: float) -> Spec:
    """With stones of a diameter, as many as there may be."""
    changes = {"count": None, "diameter_mm": diameter_mm}
    return spec.model_copy(update={"stones": spec.stones.model_copy(update=changes)})


def _closing_diameter(spec: Spec, count: int, arc_deg: float) -> float:
    """The diameter at which stones all alike close exactly."""
    _refuse_unlike(spec)

    def lacking(diameter_mm: float) -> float:
        stones = stone_row(_free(spec, diameter_mm), count, arc_deg)
        return -stones.surplus_mm(spec.finger.bore_mm / 2.0 + stones.clearance_mm)

    (low, high), under, over = SIZE_RANGE_MM, *map(lacking, SIZE_RANGE_MM)
    if under > 0.0:
        raise _no_answer(count, f"stones do not fit: even of {low:g} mm they lack {under:.3f} mm in every gap")
    if over <= 0.0:
        raise _no_answer(
            count, f"stones never close: even of {high:g} mm they leave {-over:.3f} mm too much in every gap"
        )
    return rising_root(lacking, low, under, high, over)


def _refuse_unlike(spec: Spec) -> None:
    arrangement = spec.arrangement
    if sequence_of(spec).name == "even":
        return
    key = arrangement.source or "pattern_materials"
    rule = "gives unlike stones, whose sizes are read to a micron: none closes exactly"
    raise SpecError([Problem(f"arrangement.{key}", rule, None, "solve for clearance or finger")])


def _checked(spec: Spec, stones: StoneRow, bore: NamedBore, clearance_mm: float) -> FitRow:
    """The answer's row, when it can be made."""
    try:
        layout = compute_layout(put(spec, stones.count, stones.diameter_mm, bore.mm, clearance_mm))
    except SpecError as error:
        values = f"of {stones.diameter_mm:.4f} mm, culets {clearance_mm:.4f} mm over a bore of {bore.mm:.4f} mm"
        problem = Problem("--count", f"stones would close exactly ({values}), but cannot be made so", stones.count)
        raise SpecError([problem, *error.problems]) from None
    found = Alternative(stones, bore, clearance_mm, 0.0, 0.0)
    warnings = warnings_of(layout) - warnings_of(laid_out(spec))
    return row_of(spec, Made(found, layout, tuple(sorted(warnings))))


def _no_answer(count: int, rule: str) -> SpecError:
    return SpecError([Problem("--count", rule, count)], "command line")


def greatest_carat(spec: Spec, most_g: float, best: int) -> tuple[FitRow, ...]:
    """The bands of most carat whose metal weighs ``most_g`` at most: on the spec's own finger, of stones of the ladder
    that close well, none beyond a limit of the trade that the spec's own band keeps.

    Raises:
        SpecError: where even the lightest band weighs more.
    """
    check_best(best)
    tried = sorted(alternatives(spec, 0.0, math.inf), key=lambda each: (-each.stones.carat, each.cost_mm))
    rows: dict[tuple[int, float], FitRow] = {}
    least = math.inf
    for made in make(spec, tried, warnings_of(laid_out(spec))):
        stones = (made.alternative.stones.count, made.alternative.stones.diameter_mm)
        if made.warnings or stones in rows:
            continue
        weight = _least_g(made) if _least_g(made) > most_g else metal_g(made.layout)
        least = min(least, weight)
        if weight <= most_g:
            rows[stones] = row_of(spec, made)
        if len(rows) == best:
            break
    if not rows:
        raise SpecError([Problem("--metal-most", _too_light(least), most_g)], "command line")
    return tuple(rows.values())


def _least_g(made: Made) -> float:
    """A weight that the metal cannot fall below, at no cost."""
    least_mm3 = made.layout.volume_bounds_mm3[0] - cut_off_mm3(made.layout)
    return mass_g(least_mm3, ALLOYS[made.layout.spec.metal.alloy].density_g_cm3)


def _too_light(least_g: float) -> str:
    if least_g == math.inf:
        return "is met by no band: none of the stones that are sold to size closes well"
    return f"is met by no band of stones that are sold to size: the lightest weighs {least_g:.2f} g"
