"""Packing: the closed forms against worked values, circles in space sampled densely, and a plain search."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from bandgen.layout.packing import closing_radius, girdle_gap, greatest_count
from bandgen.trade.stones import pavilion_depth

bands = {"radius": st.floats(6.0, 45.0), "diameter": st.floats(1.0, 5.0)}


def girdle_point(radius: float, diameter: float, turn: float, angle: np.ndarray) -> np.ndarray:
    """Points (n, 3) of the lower girdle edge of the stone that stands ``turn`` radians round the ring."""
    x, y, z = diameter / 2.0 * np.cos(angle), np.full_like(angle, radius), diameter / 2.0 * np.sin(angle)
    return np.column_stack((x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn), z))


def sampled_gap(radius: float, diameter: float, count: int) -> float:
    """Least distance of two neighbouring girdle circles: a dense grid, then a minimiser from its best pair."""
    angles = np.linspace(0.0, 2.0 * math.pi, 241)[:-1]
    turn = 2.0 * math.pi / count
    here, there = girdle_point(radius, diameter, 0.0, angles), girdle_point(radius, diameter, turn, angles)
    apart = np.linalg.norm(here[:, None, :] - there[None, :, :], axis=2)
    best = np.unravel_index(apart.argmin(), apart.shape)

    def squared(pair: np.ndarray) -> float:
        step = girdle_point(radius, diameter, 0.0, pair[:1]) - girdle_point(radius, diameter, turn, pair[1:])
        return float((step**2).sum())

    found = minimize(squared, angles[list(best)], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-18})
    return math.sqrt(found.fun)


def test_practice_values() -> None:
    """16.7 mm finger circle, 2.0 mm stones, culet 1.0 mm over the finger, pavilion 40.8 degrees: 29 stones fit at a
    0.2 gap (common practice, no source). With the depth rounded to 0.43 d the gap is 0.2195, unrounded 0.2202."""
    radius = 16.7 / 2.0 + 1.0 + pavilion_depth(2.0, 40.8)
    assert radius == pytest.approx(10.21, abs=0.005)
    assert greatest_count(radius, 2.0, 0.2) == 29
    assert 0.2195 <= girdle_gap(radius, 2.0, 29) <= 0.2203
    assert girdle_gap(16.7 / 2.0 + 1.0 + 0.43 * 2.0, 2.0, 29) == pytest.approx(0.2195, abs=5e-5)
    assert girdle_gap(radius, 2.0, 30) == pytest.approx(0.145, abs=0.0015)


@pytest.mark.parametrize(
    ("count", "diameter", "radius"),
    [(24, 2.0, 7.979), (20, 2.5, 8.212), (32, 1.5, 8.125)],  # derived by hand from chord and tilt
)
def test_worked_closing_radii(count: int, diameter: float, radius: float) -> None:
    found = closing_radius(diameter, count, 0.1)
    assert found == pytest.approx(radius, abs=5e-4)
    assert sampled_gap(found, diameter, count) == pytest.approx(0.1, abs=1e-8)
    assert greatest_count(found, diameter, 0.1) == count


def test_four_discs_by_hand() -> None:
    """Four discs: two neighbours face at a right angle; their nearest points lie R - d/2 from the diagonal plane,
    along each axis, so the gap is (R - d/2) sqrt 2."""
    assert girdle_gap(3.0, 2.0, 4) == pytest.approx(2.0 * math.sqrt(2.0), rel=1e-14)


@settings(deadline=None, max_examples=60)
@given(count=st.integers(5, 120), diameter=st.floats(1.0, 5.0), gap=st.floats(0.05, 1.0))
def test_gap_is_the_distance_of_two_circles_in_space(count: int, diameter: float, gap: float) -> None:
    radius = closing_radius(diameter, count, gap)
    assert sampled_gap(radius, diameter, count) == pytest.approx(gap, abs=1e-7)


@settings(deadline=None, max_examples=60)
@given(count=st.integers(5, 400), diameter=st.floats(1.0, 5.0), gap=st.floats(0.05, 1.0))
def test_closing_radius_inverts_the_gap(count: int, diameter: float, gap: float) -> None:
    assert girdle_gap(closing_radius(diameter, count, gap), diameter, count) == pytest.approx(gap, abs=1e-11)


@settings(deadline=None, max_examples=60)
@given(**bands, gap=st.floats(0.05, 1.0))
def test_greatest_count_is_what_a_search_finds(radius: float, diameter: float, gap: float) -> None:
    found = greatest_count(radius, diameter, gap)
    assert found == max(count for count in range(2, 500) if girdle_gap(radius, diameter, count) >= gap)


@settings(deadline=None, max_examples=60)
@given(count=st.integers(5, 400), diameter=st.floats(1.0, 5.0), gap=st.floats(0.05, 1.0))
def test_greatest_count_where_the_ring_closes_exactly(count: int, diameter: float, gap: float) -> None:
    """The gap itself decides: within its rounding the exact count or one less, never one that encroaches."""
    radius = closing_radius(diameter, count, gap)
    found = greatest_count(radius, diameter, gap)
    assert found == count if girdle_gap(radius, diameter, count) >= gap else found in (count - 1, count)
    assert girdle_gap(radius, diameter, found) >= gap - 1e-12
    assert girdle_gap(radius, diameter, found + 1) < gap


@settings(deadline=None, max_examples=60)
@given(**bands, count=st.integers(5, 100))
def test_more_stones_leave_less(radius: float, diameter: float, count: int) -> None:
    assume(girdle_gap(radius, diameter, count + 1) > 0.0)
    assert girdle_gap(radius, diameter, count + 1) < girdle_gap(radius, diameter, count)
