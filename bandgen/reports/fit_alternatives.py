"""Alternatives around a spec: rows of stones on fingers at heights, each with what it costs; laid out in full on
demand. See :mod:`bandgen.reports.fit` for what they are ranked by."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache

from bandgen.errors import SpecError
from bandgen.inspection.rules import RULES
from bandgen.inspection.setting import inspect_setting
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout
from bandgen.reports.fit_finger import NamedBore, bores_near, one_size_mm
from bandgen.reports.fit_rows import StoneRow, arc_of, stone_rows
from bandgen.spec import Spec, make_spec
from bandgen.spec.whole import spec_keys
from bandgen.trade.ladder import CALIBRATED_MM

CHANGE_COST = 0.1
WARNING_COST = 0.05
MOST_CHANGE_MM = 0.5
"""Of the height: beyond, another stone or another finger is the better answer (common practice, no source)."""
MOST_SURPLUS_MM = 0.15
"""In every gap: beyond, the row does not close (common practice, no source: about as much again as is wanted)."""
SAME_MM = 0.05
"""Of height and of bore: nearer, two alternatives are one, and the cheaper is kept (common practice, no source)."""
NEAR_SHARE = 0.25
"""Of the stone's diameter: how far from it stones of the ladder are tried."""


@dataclass(frozen=True, slots=True)
class Alternative:
    """A row of stones on a finger, at a height. ``surplus_mm`` is how much wider than wanted each gap could be, 0 where
    height or finger were chosen so that it closes exactly."""

    stones: StoneRow
    bore: NamedBore
    clearance_mm: float
    surplus_mm: float
    cost_mm: float


@dataclass(frozen=True)
class Made:
    """An alternative laid out in full, and the codes of the warnings that the spec's own band does not have."""

    alternative: Alternative
    layout: Layout
    warnings: tuple[str, ...]

    @property
    def cost_mm(self) -> float:
        """With the warnings' share."""
        return self.alternative.cost_mm + WARNING_COST * len(self.warnings)


@cache
def clearance_range() -> tuple[float, float]:
    """Least and greatest culet clearance that a spec may ask for."""
    limits = spec_keys()["stones.culet_clearance_mm"]
    assert limits is not None
    return limits


def diameters_near(spec: Spec, share: float) -> tuple[float, ...]:
    """The stones' own diameter and those of the ladder within a share of it; the own alone where a list gives them."""
    own, arrangement = spec.stones.diameter_mm, spec.arrangement
    if arrangement.listed_mm is not None:
        return (own,)
    low, high = max(own * (1.0 - share), arrangement.end_mm or 0.0), own * (1.0 + share)
    return tuple(sorted({own, *(size for size in CALIBRATED_MM if low <= size <= high)}))


def alternatives(spec: Spec, size_share: float, near_share: float = NEAR_SHARE) -> Iterator[Alternative]:
    """Everything that is tried, in no order."""
    arc, room_mm = arc_of(spec), size_share * one_size_mm(spec.finger)
    bores = bores_near(spec.finger, room_mm)
    for diameter in diameters_near(spec, near_share):
        for stones in stone_rows(spec, diameter, arc):
            yield from _on_fingers(spec, stones, bores, room_mm)


def _on_fingers(spec: Spec, stones: StoneRow, bores: tuple[NamedBore, ...], room_mm: float) -> Iterator[Alternative]:
    """At its own height where it fits, and closing exactly: by height on each finger, by the finger at its own."""
    (least, most), clearance, bore_mm = clearance_range(), stones.clearance_mm, spec.finger.bore_mm
    closing = stones.closing_mm((bore_mm - room_mm) / 2.0 + least, (bore_mm + room_mm) / 2.0 + most)
    for bore in bores:
        left = stones.surplus_mm(bore.mm / 2.0 + clearance)
        if 0.0 <= left <= MOST_SURPLUS_MM:
            yield _alternative(spec, stones, bore, clearance, left)
        if closing is not None:
            height = closing - bore.mm / 2.0
            if least <= height <= most and abs(height - clearance) <= MOST_CHANGE_MM:
                yield _alternative(spec, stones, bore, height, 0.0)
    if closing is not None and abs(closes_on := 2.0 * (closing - clearance) - bore_mm) <= room_mm:
        yield _alternative(spec, stones, NamedBore(bore_mm + closes_on), clearance, 0.0)


def distinct(tried: Iterable[Alternative]) -> Iterator[Alternative]:
    """Without those that a cheaper one of the same stones is too near to; ``tried`` from the cheapest on."""
    kept: dict[tuple[int, float], list[Alternative]] = {}
    for each in tried:
        same = kept.setdefault((each.stones.count, each.stones.diameter_mm), [])
        if not any(_near(each, other) for other in same):
            same.append(each)
            yield each


def _near(one: Alternative, other: Alternative) -> bool:
    return max(abs(one.clearance_mm - other.clearance_mm), abs(one.bore.mm - other.bore.mm)) < SAME_MM


def _alternative(spec: Spec, stones: StoneRow, bore: NamedBore, clearance_mm: float, surplus_mm: float) -> Alternative:
    change = (
        abs(clearance_mm - stones.clearance_mm)
        + abs(bore.mm - spec.finger.bore_mm)
        + abs(stones.diameter_mm - spec.stones.diameter_mm)
    )
    return Alternative(stones, bore, clearance_mm, surplus_mm, surplus_mm + CHANGE_COST * change)


def put(spec: Spec, count: int, diameter_mm: float, bore_mm: float, clearance_mm: float) -> Spec:
    """The spec with these four values in place of its own.

    Raises:
        SpecError: when a value is out of its range.
    """
    data = spec.model_dump(exclude_none=True)
    data["stones"] |= {"count": count, "diameter_mm": diameter_mm, "culet_clearance_mm": clearance_mm}
    return make_spec({**data, "finger": {"inner_diameter_mm": bore_mm}})


def laid_out(spec: Spec) -> Layout | None:
    """The spec's layout, None where it cannot be made."""
    try:
        return compute_layout(spec)
    except SpecError:
        return None


def warnings_of(layout: Layout | None) -> frozenset[str]:
    """Codes of the limits of the trade that a layout goes beyond."""
    found = inspect_setting(layout, RULES) if layout is not None else []
    return frozenset(finding.code for finding in found if finding.severity == "warning")


def make(spec: Spec, tried: Iterable[Alternative], known: frozenset[str]) -> Iterator[Made]:
    """The alternatives that can be made, laid out in full. ``known`` are the warnings of the spec's own band."""
    for each in tried:
        try:
            layout = compute_layout(
                put(spec, each.stones.count, each.stones.diameter_mm, each.bore.mm, each.clearance_mm)
            )
        except SpecError:
            continue
        yield Made(each, layout, tuple(sorted(warnings_of(layout) - known)))
