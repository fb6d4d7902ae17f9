"""Which stones stand in the row: closed forms, symmetry, order, and the choice against trying every count."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandgen.errors import SpecError
from bandgen.layout.sequences import FEWEST, MOST, SEQUENCES, Stone, choose, sequence_of
from bandgen.layout.sequences.base import around_top
from bandgen.layout.sequences.pattern import repeat
from bandgen.spec import Spec, make_spec
from bandgen.trade.ladder import CALIBRATED_MM, nearest_calibrated

Row = tuple[Stone, ...]


def spec_of(coverage: str = "full", stones: dict[str, Any] | None = None, **keys: Any) -> Spec:
    diameter = {} if {"sizes_mm", "parcel_mm", "pattern_mm"} & keys.keys() else {"diameter_mm": 2.5}
    data = {"finger": {"inner_diameter_mm": 17.0}, "stones": diameter | (stones or {})}
    return make_spec({**data, "arrangement": {"coverage": coverage, **keys}})


def row_of(count: int | None = None, coverage: str = "full", **keys: Any) -> Row:
    """The row of a count, or the only one."""
    return choose(spec_of(coverage, {} if count is None else {"count": count}, **keys), lambda row: True)


def sizes(row: Row) -> list[float]:
    return [stone.diameter_mm for stone in row]


def length(gap: float, room: float) -> Callable[[Row], bool]:
    """Whether the stones, a gap after each, take no more than a length."""
    return lambda row: sum(stone.diameter_mm + gap for stone in row) <= room


# --- the table ---


@pytest.mark.parametrize(
    ("keys", "name"),
    [({}, "even"), ({"end_mm": 1.5}, "graduated"), ({"sizes_mm": [2.0]}, "graduated"), ({"parcel_mm": [2.0]}, "parcel"),
     ({"pattern_mm": [2.0, 1.5]}, "pattern"), ({"pattern_materials": ["ruby", "diamond"]}, "pattern"),
     ({"sizes_mm": [2.0], "pattern_materials": ["ruby", "diamond"]}, "graduated")],
)  # fmt: skip
def test_which_sequence(keys: dict[str, Any], name: str) -> None:
    assert sequence_of(spec_of(**keys)).name == name
    assert len({sequence.name for sequence in SEQUENCES}) == len(SEQUENCES)


TO_THE_MICRON = 0.5e-3 + 1e-9
"""Unequal stones are read to a micron."""

SPECS = [
    spec_of(coverage, **keys)
    for coverage in ("full", "half")
    for keys in ({}, {"end_mm": 1.2, "curve": 0.4}, {"end_mm": 1.0, "curve": 2.5, "ladder": "calibrated"},
                 {"pattern_mm": [2.0, 1.5, 1.5]}, {"pattern_materials": ["ruby", "diamond"]})
]  # fmt: skip


@pytest.mark.parametrize("spec", SPECS, ids=lambda spec: str(spec.arrangement)[:60])
def test_rows_have_their_count_and_grow_within_a_family(spec: Spec) -> None:
    """Each longer row of a family holds the shorter one's stones, or greater ones, and more: sorted, none is less."""
    for family in sequence_of(spec).counts(spec):
        assert FEWEST <= family[0] <= family[-1] <= MOST
        rows = [sequence_of(spec).row(spec, count) for count in family]
        assert [len(row) for row in rows] == list(family)
        for shorter, longer in pairwise(sorted(sizes(row), reverse=True) for row in rows):
            assert all(b >= a - 1e-12 for a, b in zip(shorter, longer, strict=False))


# --- the choice ---


@pytest.mark.parametrize("spec", SPECS, ids=lambda spec: str(spec.arrangement)[:60])
@pytest.mark.parametrize("room", [5.0, 14.0, 31.7, 60.0, 61.0, 300.0, 2000.0])
def test_the_longest_row_that_fits_by_trying_all(spec: Spec, room: float) -> None:
    fits, sequence = length(0.1, room), sequence_of(spec)
    counts = [count for family in sequence.counts(spec) for count in family]
    good = [count for count in counts if fits(sequence.row(spec, count))]
    assert len(choose(spec, fits)) == max(good, default=min(counts))


def test_odd_and_even_rows_are_apart() -> None:
    """Where sizes fall fast, an open row of 7 stones needs less room than one of 6, which has two on top: halving over
    all counts at once would stop short."""
    spec = spec_of("half", {"diameter_mm": 5.0}, end_mm=1.0, curve=0.3)
    six, seven = (sum(sizes(sequence_of(spec).row(spec, count))) for count in (6, 7))
    assert seven < six
    fits = length(0.0, (six + seven) / 2.0)
    assert len(choose(spec, fits)) == 7


def test_the_choice_asks_seldom() -> None:
    asked: list[int] = []
    spec = spec_of(end_mm=1.5)
    choose(spec, lambda row: bool(asked.append(len(row))) or len(row) <= 37)
    assert len(asked) <= 2 * math.ceil(math.log2(MOST))


def test_a_count_is_taken_whether_it_fits_or_not() -> None:
    assert len(choose(spec_of(stones={"count": 200}), lambda row: False)) == 200


def test_a_list_is_taken_whether_it_fits_or_not() -> None:
    assert len(choose(spec_of(parcel_mm=[2.0] * 30), lambda row: False)) == 30
    assert len(choose(spec_of(sizes_mm=[2.0] * 30), lambda row: False)) == 59
    assert len(choose(spec_of(), lambda row: False)) == FEWEST


@pytest.mark.parametrize(
    ("keys", "count", "would"),
    [
        ({"pattern_mm": [2.0, 1.5, 1.2, 1.5]}, 30, "28 or 32 would do"),
        ({"pattern_mm": [2.0, 1.5, 1.2, 1.5]}, 5, "4 or 8 would do"),
        ({"pattern_mm": [2.0, 1.5, 1.2]}, 400, "399 would do"),
        ({"pattern_mm": [2.0, 1.5], "pattern_materials": ["ruby", "ruby", "diamond"]}, 21, "18 or 24 would do"),
        ({"sizes_mm": [2.0, 1.8, 1.6]}, 6, "5 would do"),
        ({"parcel_mm": [2.0] * 21}, 20, "21 would do"),
        ({"parcel_mm": [2.0] * 21}, 22, "21 would do"),
    ],
)
def test_an_impossible_count_is_told_the_nearest(keys: dict[str, Any], count: int, would: str) -> None:
    with pytest.raises(SpecError) as refused:
        row_of(count, **keys)
    (problem,) = refused.value.problems
    assert (problem.key, problem.value) == ("stones.count", count)
    assert problem.advice.startswith(would)


# --- places ---


@pytest.mark.parametrize("closed", [True, False])
@pytest.mark.parametrize("count", range(1, 30))
def test_places_from_the_top_outwards(closed: bool, count: int) -> None:
    """Each place once, and each step as far from the top on one side as on the other."""
    steps = around_top(count, closed)
    assert sorted(place for step in steps for place in step) == list(range(count))
    top = 0.0 if closed else (count - 1) / 2.0
    for step, places in enumerate(steps):
        away = [min(abs(place - top), count - abs(place - top)) if closed else abs(place - top) for place in places]
        assert set(away) == {step if closed or count % 2 else step + 0.5}
        if len(places) == 2:
            assert (places[0] - top) % count < (places[1] - top) % count  # counter-clockwise side first


# --- even ---


def test_even() -> None:
    assert row_of(9) == (Stone(2.5, "diamond"),) * 9
    assert row_of(7, "half") == (Stone(2.5, "diamond"),) * 7


# --- graduated ---


@pytest.mark.parametrize(
    ("count", "coverage", "expected"),
    [
        (5, "full", [2.5, 2.0, 1.5, 1.5, 2.0]),
        (6, "full", [2.5, 2.5 - 1 / 3, 2.5 - 2 / 3, 1.5, 2.5 - 2 / 3, 2.5 - 1 / 3]),
        (5, "half", [1.5, 2.0, 2.5, 2.0, 1.5]),
        (6, "half", [1.5, 2.0, 2.5, 2.5, 2.0, 1.5]),
    ],
)
def test_graduated_by_hand(count: int, coverage: str, expected: list[float]) -> None:
    assert sizes(row_of(count, coverage, end_mm=1.5)) == pytest.approx(expected, abs=TO_THE_MICRON)


def test_listed_by_hand() -> None:
    assert sizes(row_of(sizes_mm=[2.0, 1.8, 1.3])) == [2.0, 1.8, 1.3, 1.3, 1.8]
    assert sizes(row_of(coverage="half", sizes_mm=[2.0, 1.8, 1.3])) == [1.3, 1.8, 2.0, 1.8, 1.3]
    assert sizes(row_of(5, sizes_mm=[1.5, 2.0, 1.7])) == [1.5, 2.0, 1.7, 1.7, 2.0]  # as listed, rising or not


def test_the_sum_of_an_even_fall() -> None:
    """Linear: an even closed row is on average half-way between top and end."""
    for count in range(6, 100, 2):
        assert sum(sizes(row_of(count, end_mm=1.1))) == pytest.approx(count * 1.8, abs=count * TO_THE_MICRON)


CURVES = st.floats(0.3, 3.0)
DIAMETERS = st.floats(1.0, 5.0)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.sampled_from(["full", "half"]), st.integers(FEWEST, 60), DIAMETERS, DIAMETERS, CURVES, st.booleans())
def test_graduated(coverage: str, count: int, one: float, other: float, curve: float, snapped: bool) -> None:
    """Symmetric about the top, never rising outwards, top and end as asked, in between the exact power law."""
    top, end = max(one, other), min(one, other)
    ladder = "calibrated" if snapped else "none"
    spec = spec_of(coverage, {"diameter_mm": top, "count": count}, end_mm=end, curve=curve, ladder=ladder)
    row = choose(spec, lambda row: True)
    assert row[::-1] == row if coverage == "half" else row[1:][::-1] == row[1:]
    outward = [row[step[0]].diameter_mm for step in around_top(count, coverage == "full")]
    assert all(near >= far for near, far in pairwise(outward))
    last = len(outward) - 1
    law = [top + (end - top) * (step / last) ** curve for step in range(last + 1)]
    if snapped:
        assert set(outward) <= set(CALIBRATED_MM)
        assert all(abs(size - exact) <= 0.1251 for size, exact in zip(outward, law, strict=True))
    else:
        assert outward == pytest.approx(law, abs=TO_THE_MICRON)
        assert outward == [round(size, 3) for size in outward]
        assert (outward[0], outward[-1]) == (round(top, 3), round(end, 3))


def test_no_fall_is_even() -> None:
    """Exactly, so that equal cells are built once."""
    assert set(sizes(row_of(40, end_mm=2.5, curve=0.7))) == {2.5}


def test_materials_from_the_top_outwards() -> None:
    row = row_of(coverage="half", sizes_mm=[2.0, 1.8, 1.6, 1.4], pattern_materials=["ruby", "diamond"])
    assert [stone.material for stone in row] == ["diamond", "ruby", "diamond", "ruby", "diamond", "ruby", "diamond"]


# --- the ladder ---


def test_the_ladder() -> None:
    assert list(CALIBRATED_MM) == sorted(set(CALIBRATED_MM))
    assert (CALIBRATED_MM[0], CALIBRATED_MM[-1]) == (1.0, 5.0)
    for size in CALIBRATED_MM:
        assert nearest_calibrated(size) == size
    for low, high in pairwise(CALIBRATED_MM):
        assert nearest_calibrated((low + high) / 2.0) == low  # as near: the smaller
        assert nearest_calibrated((low + high) / 2.0 + 1e-6) == high


@pytest.mark.parametrize(
    "size", [1.1, 1.15, 1.2, 1.25, 1.3, 1.35, 1.5, 1.55, 1.7, 1.8, 1.9, 2.0, 2.3, 2.5, 2.6, 3.0, 3.1]
)
def test_sieve_limits_are_steps(size: float) -> None:
    """Trade facts, section 2, column "sieve": limits of the classes listed there."""
    assert size in CALIBRATED_MM


def test_listed_sizes_are_snapped_on_request() -> None:
    assert sizes(row_of(sizes_mm=[2.04, 1.86, 1.33], ladder="calibrated")) == [2.0, 1.9, 1.35, 1.35, 1.9]


# --- parcels ---

PARCEL = [2.03, 1.97, 2.1, 2.0, 1.95, 2.0, 2.06, 1.91]


def test_a_parcel_as_listed() -> None:
    for coverage in ("full", "half"):
        row = row_of(coverage=coverage, parcel_mm=PARCEL)
        assert sizes(row) == PARCEL
        assert [stone.number for stone in row] == list(range(1, 9))


def test_numbers_make_no_difference_between_stones() -> None:
    assert Stone(2.0, "ruby", 3) == Stone(2.0, "ruby", 4)
    assert len({Stone(2.0, "ruby", 3), Stone(2.0, "ruby")}) == 1


def test_the_best_order_by_hand() -> None:
    assert sizes(row_of(parcel_mm=PARCEL, order="best")) == [2.1, 2.06, 2.0, 1.97, 1.91, 1.95, 2.0, 2.03]
    row = row_of(coverage="half", parcel_mm=PARCEL[:7], order="best")
    assert sizes(row) == [1.95, 2.0, 2.03, 2.1, 2.06, 2.0, 1.97]
    assert [stone.number for stone in row] == [5, 4, 1, 3, 7, 6, 2]


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(DIAMETERS, min_size=2, max_size=80), st.sampled_from(["full", "half"]))
def test_the_best_order(parcel: list[float], coverage: str) -> None:
    """Every stone once, the largest on top, falling on both sides, no nearer stone smaller than one a step further
    out, both sides alike within the parcel's spread."""
    row = row_of(coverage=coverage, parcel_mm=parcel, order="best")
    assert sorted(stone.number for stone in row) == list(range(1, len(parcel) + 1))
    assert all(stone.diameter_mm == round(parcel[stone.number - 1], 3) for stone in row)
    steps = [[row[place].diameter_mm for place in step] for step in around_top(len(row), coverage == "full")]
    assert max(steps[0]) == round(max(parcel), 3)
    assert all(min(near) >= max(far) for near, far in pairwise(steps))
    sides = [sum(step[side] for step in steps if len(step) == 2) for side in (0, 1)]
    assert abs(sides[0] - sides[1]) <= max(parcel) - min(parcel) + len(row) * TO_THE_MICRON


# --- patterns ---


def test_patterns_by_hand() -> None:
    assert sizes(row_of(6, pattern_mm=[2.0, 1.5, 1.2])) == [2.0, 1.5, 1.2] * 2
    assert sizes(row_of(7, "half", pattern_mm=[2.0, 1.5])) == [2.0, 1.5, 2.0, 1.5, 2.0, 1.5, 2.0]
    row = row_of(6, pattern_mm=[2.0, 1.5], pattern_materials=["ruby", "diamond", "diamond"])
    assert [stone.material for stone in row] == ["ruby", "diamond", "diamond"] * 2


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.sampled_from([1.5, 2.0]), min_size=2, max_size=12),
       st.lists(st.sampled_from(["ruby", "diamond"]), min_size=2, max_size=12), st.integers(FEWEST, 150))  # fmt: skip
def test_a_closed_pattern_goes_on_over_the_seam(pattern: list[float], materials: list[str], count: int) -> None:
    """A count is possible just where the endless pattern has it as a period."""
    endless = [(pattern[i % len(pattern)], materials[i % len(materials)]) for i in range(len(pattern) * len(materials))]
    closes = all(endless[i] == endless[(i + count) % len(endless)] for i in range(len(endless)))
    spec = spec_of(stones={"count": count}, pattern_mm=pattern, pattern_materials=materials)
    assert any(count in family for family in sequence_of(spec).counts(spec)) == closes
    if closes:
        row = choose(spec, lambda row: False)
        assert [(stone.diameter_mm, stone.material) for stone in row] == [
            endless[i % len(endless)] for i in range(count)
        ]


def test_a_pattern_of_equal_stones_is_none() -> None:
    spec = spec_of(pattern_mm=[2.0, 2.0])
    assert len(repeat(spec)) == 1
    assert len(row_of(7, pattern_mm=[2.0, 2.0])) == 7
