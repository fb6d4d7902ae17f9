"""Unequal neighbours: against packing's closed forms, discs in space handed to a minimiser, and plain bracketing."""

from __future__ import annotations

import math
import time
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize

from bandgen.layout.arrange import arrange, round_of
from bandgen.layout.packing import closing_radius, girdle_gap
from bandgen.layout.pairs import (
    PLANE_SHARE,
    Round,
    closing_gap,
    disc_gap,
    pitch_between,
    pitch_for_gap,
    row_span,
    seam_clearance,
    split,
)
from bandgen.spec import make_spec

rounds = st.builds(Round, girdle_mm=st.floats(6.0, 40.0), radius_mm=st.floats(0.5, 2.5))
near = st.floats(-0.5, 0.5)

LEVEL = [Round(10.2, 0.75), Round(10.2, 1.25)]
UNDER = [Round(10.0, 0.5), Round(10.3, 2.5)]
"""The small stone's edge comes to stand under the large one's face."""
PASSING = [Round(9.0, 0.6), Round(10.0, 2.0)]
"""The small stone passes under the large one without touching: 10 - hypot(9, 0.6) = 0.98 mm apart at the least."""


def in_space(stone: Round, turn: float, spot: np.ndarray) -> np.ndarray:
    """Points (n, 3) in space of ``spot`` (n, 2), which lie in the disc's own plane (x towards the neighbour after)."""
    axis, aside = np.array((math.sin(turn), math.cos(turn), 0.0)), np.array((math.cos(turn), -math.sin(turn), 0.0))
    return stone.girdle_mm * axis + spot[:, :1] * aside + spot[:, 1:] * np.array((0.0, 0.0, 1.0))


def spots(radius: float, rings: int = 6, rays: int = 24) -> np.ndarray:
    """Spots (n, 2) all over a disc, its centre and its edge with them."""
    far, angle = np.meshgrid(np.linspace(0.0, radius, rings), np.linspace(0.0, 2.0 * math.pi, rays + 1)[:-1])
    return np.column_stack(((far * np.cos(angle)).ravel(), (far * np.sin(angle)).ravel()))


def nearest(before: Round, after: Round, pitch: float) -> tuple[float, np.ndarray]:
    """Distance of two whole discs in space and the nearest spots (4,) in them: the best of a grid, then a minimiser
    (convex, so what it finds is the least)."""
    here, there = spots(before.radius_mm), spots(after.radius_mm)
    apart = np.linalg.norm(in_space(before, 0.0, here)[:, None] - in_space(after, pitch, there)[None], axis=2)
    one, other = np.unravel_index(apart.argmin(), apart.shape)
    corners = np.vstack((np.zeros((1, 2)), np.eye(2)))
    own, others = in_space(before, 0.0, corners), in_space(after, pitch, corners)
    centre, slopes = own[0] - others[0], np.vstack((own[1:] - own[0], others[0] - others[1:])).T
    found = minimize(
        lambda x: float(((centre + slopes @ x) ** 2).sum()),
        np.concatenate((here[one], there[other])),
        jac=lambda x: 2.0 * slopes.T @ (centre + slopes @ x),
        method="SLSQP",
        constraints=[
            {"type": "ineq", "fun": lambda x: before.radius_mm**2 - x[0] ** 2 - x[1] ** 2},
            {"type": "ineq", "fun": lambda x: after.radius_mm**2 - x[2] ** 2 - x[3] ** 2},
        ],
        options={"ftol": 1e-16, "maxiter": 200},
    )
    return float(np.linalg.norm(centre + slopes @ found.x)), found.x


def distance(before: Round, after: Round, pitch: float) -> float:
    return nearest(before, after, pitch)[0]


def plane_room(before: Round, after: Round, pitch: float) -> float:
    """What the best plane through the ring's axis keeps between two discs, sampled in space: twice the distance of the
    nearer one; negative where it cuts them. A plane that moves away from the one moves towards the other."""
    one, other = in_space(before, 0.0, spots(before.radius_mm)), in_space(after, pitch, spots(after.radius_mm))

    def rooms(turn: float) -> tuple[float, float]:
        across = np.array((math.cos(turn), -math.sin(turn), 0.0))
        return -float((one @ across).max()), float((other @ across).min())

    def excess(turn: float) -> float:
        own, others = rooms(turn)
        return own - others

    return 2.0 * rooms(brentq(excess, -1.1, pitch + 1.1, xtol=1e-15, rtol=1e-15))[0]


def stand_by_search(before: Round, after: Round, gap: float) -> float:
    """The least pitch at which discs in space are ``gap`` apart and a plane keeps its share of it between them."""

    def room(pitch: float) -> float:
        return min(distance(before, after, pitch) - gap, plane_room(before, after, pitch) - PLANE_SHARE * gap)

    # The share of a plane through the ring's axis rises with the pitch throughout; the distance where it matters.
    return brentq(room, 1e-3, 1.5, xtol=1e-13)


def pitches_of(circle: list[Round], gap: float) -> list[float]:
    return [pitch_between(one, other, gap) for one, other in pairwise([*circle, circle[0]])]


def parcel(seed: int, girdle: float, count: int) -> list[Round]:
    """Stones of 2.0 +- 0.1 mm whose girdles stand as their pavilions are deep (0.43 d, common practice, no source)."""
    sizes = np.random.default_rng(seed).uniform(1.9, 2.1, count)
    return [Round(girdle + 0.43 * (size - 2.0), size / 2.0) for size in sizes.tolist()]


def graduated(girdle: float, count: int) -> list[Round]:
    """From 2.6 mm down to 1.4 mm half way round and up again."""
    sizes = [2.0 + 0.6 * math.cos(2.0 * math.pi * index / count) for index in range(count)]
    return [Round(girdle + 0.43 * (size - 2.0), size / 2.0) for size in sizes]


CIRCLES = {"parcel": parcel(5, 10.2, 28), "graduated": graduated(10.4, 29), "loose": graduated(15.0, 30)}


# --- equal rounds: packing's closed forms


@settings(deadline=None, max_examples=80)
@given(stone=rounds, count=st.integers(2, 300))
def test_equal_rounds_are_packings(stone: Round, count: int) -> None:
    """Gap, pitch and closing gap of equal rounds, crossing or not, are the closed forms for equal stones."""
    gap, pitch = girdle_gap(stone.girdle_mm, 2.0 * stone.radius_mm, count), 2.0 * math.pi / count
    assert disc_gap(stone, stone, pitch) == pytest.approx(gap, abs=1e-13)
    assert pitch_for_gap(stone, stone, gap) == pytest.approx(pitch, abs=1e-13)
    assert closing_gap([stone] * count) == pytest.approx(gap, abs=1e-12)
    assert split(stone, stone, pitch) == (pitch / 2.0, pitch / 2.0)


@settings(deadline=None, max_examples=40)
@given(radius=st.floats(0.5, 2.5), count=st.integers(12, 150), gap=st.floats(0.02, 1.0))
def test_equal_rounds_close_at_packings_radius(radius: float, count: int, gap: float) -> None:
    stone = Round(closing_radius(2.0 * radius, count, gap), radius)
    assert closing_gap([stone] * count) == pytest.approx(gap, abs=1e-12)
    assert row_span([stone] * count, gap) - 2.0 * stone.half_angle == pytest.approx(
        2.0 * math.pi * (count - 1) / count, abs=1e-12
    )


# --- the gap against discs in space


@settings(deadline=None, max_examples=120)
@given(before=rounds, step=near, radius=st.floats(0.5, 2.5), gap=st.floats(0.02, 3.0))
def test_gap_is_the_distance_of_two_discs_in_space(before: Round, step: float, radius: float, gap: float) -> None:
    """Neighbours of nearly one height, as bands have them: the pitch for a gap leaves that distance in space."""
    after = Round(before.girdle_mm + step, radius)
    try:
        pitch = pitch_for_gap(before, after, gap)
    except ValueError:
        assert abs(step) > gap
        return
    assert distance(before, after, pitch) == pytest.approx(gap, abs=1e-9)
    assert disc_gap(before, after, pitch) == pytest.approx(gap, abs=1e-12)


@settings(deadline=None, max_examples=120)
@given(before=rounds, after=rounds, pitch=st.floats(0.01, math.pi))
def test_any_two_discs_in_space(before: Round, after: Round, pitch: float) -> None:
    """Any two heights: the distance where the gap is positive; 0 where it is negative, unless one has passed under."""
    gap = disc_gap(before, after, pitch)
    low, high = sorted((before, after), key=lambda stone: stone.reach_mm)
    if gap > 0.0:
        assert distance(before, after, pitch) == pytest.approx(gap, abs=1e-9)
    elif low.reach_mm < high.girdle_mm:
        assert pitch < low.half_angle + 1e-12
    else:
        just_apart = pitch_for_gap(before, after, 0.0)
        assert pitch < just_apart + 1e-12
        assert distance(before, after, just_apart) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("gap", [0.05, 0.1, 0.2])
def test_edge_under_the_inside_of_a_face(gap: float) -> None:
    """The nearest spot is well inside the large disc: 10.3 - hypot(10, 0.5) cos(pitch - atan 0.05) = gap, by hand."""
    gap += 10.3 - math.hypot(10.0, 0.5)
    pitch = pitch_for_gap(*UNDER, gap)
    least, spot = nearest(*UNDER, pitch)
    assert math.hypot(spot[2], spot[3]) < 2.4
    assert least == pytest.approx(gap, abs=1e-9)
    assert pitch == pytest.approx(math.atan(0.05) + math.acos((10.3 - gap) / math.hypot(10.0, 0.5)), abs=1e-12)
    assert distance(*UNDER[::-1], pitch) == pytest.approx(gap, abs=1e-9)


def test_two_stones_face_each_other() -> None:
    """Half a turn apart the faces are parallel: both heights together; nearly so, a disc's end faces a face."""
    for before, after in (LEVEL, UNDER, PASSING, [Round(10.0, 2.0), Round(12.0, 1.0)]):
        assert disc_gap(before, after, math.pi) == pytest.approx(before.girdle_mm + after.girdle_mm, abs=1e-13)
        gap = disc_gap(before, after, math.pi - 0.02)
        assert distance(before, after, math.pi - 0.02) == pytest.approx(gap, abs=1e-9)
        assert pitch_for_gap(before, after, gap) == pytest.approx(math.pi - 0.02, abs=1e-12)


@settings(deadline=None, max_examples=150)
@given(before=rounds, after=rounds, ends=st.tuples(st.floats(0.0, math.pi), st.floats(0.0, math.pi)))
def test_gap_rises_with_the_pitch(before: Round, after: Round, ends: tuple[float, float]) -> None:
    """Strictly, through crossing and all; and neither order nor the way round matters."""
    low, high = sorted(ends)
    assume(high - low > 1e-6)
    assert disc_gap(before, after, low) < disc_gap(before, after, high)
    assert disc_gap(before, after, low) == disc_gap(after, before, low)
    assert disc_gap(before, after, 2.0 * math.pi - low) == pytest.approx(disc_gap(before, after, low), abs=1e-13)


@settings(deadline=None, max_examples=60)
@given(before=rounds, step=near, radius=st.floats(0.5, 2.5), fine=st.integers(0, 400))
def test_gap_rises_in_small_steps(before: Round, step: float, radius: float, fine: int) -> None:
    """Near the contact, in steps of a milliradian, without a fall or a leap where the discs can touch."""
    after = Round(before.girdle_mm + step, radius)
    low, high = sorted((before, after), key=lambda stone: stone.reach_mm)
    assume(low.reach_mm >= high.girdle_mm)
    pitch = pitch_for_gap(before, after, 0.0) + (fine - 200) * 1e-3
    rise = disc_gap(before, after, pitch + 1e-3) - disc_gap(before, after, pitch)
    assert 0.0 < rise <= 1e-3 * high.reach_mm + 1e-12


# --- the pitch for a gap


@settings(deadline=None, max_examples=60)
@given(before=rounds, step=near, radius=st.floats(0.5, 2.5), gap=st.floats(-0.3, 3.0))
def test_pitch_is_what_bracketing_finds(before: Round, step: float, radius: float, gap: float) -> None:
    after = Round(before.girdle_mm + step, radius)
    assume(gap < 0.0 or gap > abs(step) + 0.02)
    found = brentq(lambda pitch: disc_gap(before, after, pitch) - gap, 0.0, math.pi, xtol=1e-14, rtol=1e-15)
    assert pitch_for_gap(before, after, gap) == pytest.approx(found, abs=1e-12)


def test_no_pitch() -> None:
    """Farther than both heights; nearer than they can come; deeper than at pitch 0."""
    assert pitch_for_gap(*LEVEL, 20.4) == pytest.approx(math.pi, abs=1e-12)
    for pair, gap, word in ((LEVEL, 20.41, "no pitch"), (PASSING, 0.97, "passes under"), (LEVEL, -9.0, "no pitch")):
        with pytest.raises(ValueError, match=word):
            pitch_for_gap(*pair, gap)


def test_passing_under() -> None:
    """The least distance that a search over pitches finds is the least gap, and below it the pair counts as
    crossing."""
    least = min(distance(*PASSING, pitch) for pitch in np.linspace(0.05, 0.08, 16).tolist())
    closest = math.atan2(0.6, 9.0)
    assert disc_gap(*PASSING, closest + 1e-9) == pytest.approx(10.0 - math.hypot(9.0, 0.6), abs=1e-12)
    assert least == pytest.approx(10.0 - math.hypot(9.0, 0.6), abs=1e-4)
    assert disc_gap(*PASSING, closest - 1e-9) < 0.0


# --- where two neighbours of a row stand


@settings(deadline=None, max_examples=80)
@given(before=rounds, after=rounds, gap=st.floats(0.02, 1.0))
def test_neighbours_stand_at_the_gap_or_where_a_plane_keeps_its_share(before: Round, after: Round, gap: float) -> None:
    """Any two heights that a ring can hold (one at most a third over the other): in space never nearer than the gap,
    the plane never under its share, and no farther than the one or the other makes them."""
    assume(max(before.girdle_mm, after.girdle_mm) < 4.0 / 3.0 * min(before.girdle_mm, after.girdle_mm))
    pitch = pitch_between(before, after, gap)
    apart, room = distance(before, after, pitch), plane_room(before, after, pitch)
    assert apart >= gap - 1e-9
    assert room >= 0.85 * gap - 1e-12
    assert min(apart - gap, room - 0.85 * gap) == pytest.approx(0.0, abs=1e-9)
    assert pitch == pitch_between(after, before, gap)


@settings(deadline=None, max_examples=60)
@given(before=rounds, step=near, radius=st.floats(0.5, 2.5), gap=st.floats(0.02, 1.0))
def test_neighbours_of_nearly_one_height(before: Round, step: float, radius: float, gap: float) -> None:
    """As above, where both sides of the choice are met often."""
    after = Round(before.girdle_mm + step, radius)
    pitch = pitch_between(before, after, gap)
    apart, room = distance(before, after, pitch), plane_room(before, after, pitch)
    assert min(apart - gap, room - 0.85 * gap) == pytest.approx(0.0, abs=1e-9)
    assert room == pytest.approx(2.0 * seam_clearance(before, after, pitch), abs=1e-12)


@pytest.mark.parametrize("gap", [0.05, 0.12, 0.2, 1.0, 3.0])
@pytest.mark.parametrize("pair", [LEVEL, UNDER, PASSING, [Round(10.2, 1.0), Round(10.286, 1.1)]])
def test_stand_is_what_a_search_in_space_finds(pair: list[Round], gap: float) -> None:
    assert pitch_between(*pair, gap) == pytest.approx(stand_by_search(*pair, gap), abs=1e-9)


def test_no_stone_stands_under_its_neighbours_girdle() -> None:
    """By hand, where the distance in space alone would let them: either end stands 0.425 of the gap off the plane."""
    (low, high), gap = UNDER, 0.35
    pitch = pitch_between(low, high, gap)
    by_hand = [math.atan2(r, h) + math.asin(0.425 * gap / math.hypot(r, h)) for h, r in ((10.0, 0.5), (10.3, 2.5))]
    assert pitch == pytest.approx(sum(by_hand), abs=1e-14)
    assert pitch > pitch_for_gap(low, high, gap) + 0.01
    assert distance(low, high, pitch) > gap + 0.01


@settings(deadline=None, max_examples=60)
@given(stone=rounds, gap=st.floats(-0.5, 3.0))
def test_equal_rounds_stand_at_the_gap(stone: Round, gap: float) -> None:
    """Bit for bit where they leave a gap: the plane between them keeps all of it, nearly."""
    pitch = pitch_between(stone, stone, gap)
    assert pitch == pytest.approx(pitch_for_gap(stone, stone, gap), abs=0.0 if gap > 0.0 else 1e-15)
    assert disc_gap(stone, stone, pitch) == pytest.approx(gap, abs=1e-13)


@settings(deadline=None, max_examples=150)
@given(before=rounds, step=near, radius=st.floats(0.5, 2.5), gap=st.floats(-0.4, 2.0), rise=st.floats(1e-6, 0.1))
def test_stand_rises_with_the_gap(before: Round, step: float, radius: float, gap: float, rise: float) -> None:
    """Strictly, also through 0 where girdles would cross, and nowhere by leaps: so a circle closes at one gap."""
    after = Round(before.girdle_mm + step, radius)
    pitch, wider = (pitch_between(before, after, value) for value in (gap, gap + rise))
    assert pitch < wider
    fine = pitch_between(before, after, gap + 1e-9)
    assert fine - pitch < 1e-4  # at a distance of 0.5 mm under a face the pitch rises as a root of the gap


# --- a parcel of nearly equal stones


@pytest.mark.parametrize("girdle", [8.0, 10.2, 14.0, 30.0])
@pytest.mark.parametrize("sizes", [(1.9, 2.1), (1.9, 2.0), (2.0, 2.1), (1.95, 2.0)])
def test_a_tenth_more_or_less_at_level_culets_keeps_the_gap_in_space(girdle: float, sizes: tuple[float, ...]) -> None:
    """At 0.2 mm the plane keeps 0.87 and more of it even on the smallest finger, so it never bids the stones stand
    farther."""
    pair = [Round(girdle + 0.43 * (size - 2.0), size / 2.0) for size in sizes]
    pitch = pitch_between(*pair, 0.2)
    assert distance(*pair, pitch) == pytest.approx(0.2, abs=1e-9)
    assert plane_room(*pair, pitch) > 0.87 * 0.2


def test_a_measured_parcel_stands_at_equal_gaps_in_space() -> None:
    """The whole way from a spec: 2.0 +- 0.1 mm, culets level; every pitch of the row, the last included."""
    sizes = np.random.default_rng(11).uniform(1.9, 2.1, 28).round(3).tolist()
    spec = {"finger": {"inner_diameter_mm": 17.0}, "stones": {"gap_mm": 0.2}, "arrangement": {"parcel_mm": sizes}}
    row = arrange(make_spec(spec))
    circle = [round_of(own) for own in row.specs]
    assert row.closed
    assert sorted(2.0 * stone.radius_mm for stone in circle) == pytest.approx(sorted(sizes), abs=1e-12)
    assert math.fsum(row.pitches) == pytest.approx(2.0 * math.pi, abs=1e-12)
    assert 0.2 <= row.gap_mm < 0.4
    for (one, other), pitch in zip(pairwise([*circle, circle[0]]), row.pitches, strict=True):
        assert distance(one, other, pitch) == pytest.approx(row.gap_mm, abs=1e-9)


# --- the seam


@settings(deadline=None, max_examples=80)
@given(before=rounds, step=near, radius=st.floats(0.5, 2.5), gap=st.floats(0.6, 3.0))
def test_both_discs_stand_equally_far_from_the_seam(before: Round, step: float, radius: float, gap: float) -> None:
    """By signed distances of sampled discs: one wholly on either side, their nearest points equally far."""
    after = Round(before.girdle_mm + step, radius)
    pitch = pitch_for_gap(before, after, gap)
    first, second = split(before, after, pitch)
    across = np.array((math.cos(first), -math.sin(first), 0.0))  # the seam's normal, towards ``after``
    one = in_space(before, 0.0, spots(before.radius_mm)) @ across
    other = in_space(after, pitch, spots(after.radius_mm)) @ across
    assert first + second == pytest.approx(pitch, abs=1e-15)
    assert -one.max() == pytest.approx(other.min(), abs=1e-12)
    assert seam_clearance(before, after, pitch) == pytest.approx(other.min(), abs=1e-12)
    assert 2.0 * other.min() <= gap + 1e-12
    assert split(after, before, pitch) == (second, first)


def test_the_seam_leans_to_the_lesser_half_angle() -> None:
    """Level girdles just touching the seam: half the angle under which either is seen from the ring's axis."""
    halves = [stone.half_angle for stone in LEVEL]
    assert split(*LEVEL, sum(halves)) == pytest.approx(tuple(halves), abs=1e-15)
    assert seam_clearance(*LEVEL, sum(halves)) == pytest.approx(0.0, abs=1e-14)
    assert halves == pytest.approx([math.atan(0.75 / 10.2), math.atan(1.25 / 10.2)], abs=1e-15)


def test_a_gap_may_lap_over() -> None:
    """0.25 mm apart in space, yet the small stone's end stands under the large one's face: only the seam tells."""
    pitch = pitch_for_gap(*UNDER, 0.35)
    assert distance(*UNDER, pitch) == pytest.approx(0.35, abs=1e-9)
    assert seam_clearance(*UNDER, pitch) < 0.0


# --- the gap that closes a circle


@pytest.mark.parametrize("name", CIRCLES)
def test_closing_gap_in_space(name: str) -> None:
    """The pitches make a full turn, and every two neighbours stand that far apart in space, the last two included."""
    circle = CIRCLES[name]
    gap = closing_gap(circle)
    pitches = pitches_of(circle, gap)
    assert math.fsum(pitches) == pytest.approx(2.0 * math.pi, abs=1e-12)
    for (one, other), pitch in zip(pairwise([*circle, circle[0]]), pitches, strict=True):
        assert distance(one, other, pitch) == pytest.approx(gap, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(seed=st.integers(0, 10**6), girdle=st.floats(8.0, 30.0), fill=st.floats(0.7, 1.3))
def test_sign_says_whether_they_fit(seed: int, girdle: float, fill: float) -> None:
    """Just touching one plane, do they need more than a turn? The angle that each takes is seen in space."""
    circle = parcel(seed, girdle, max(3, round(fill * math.pi * girdle)))

    def angle(stone: Round) -> float:
        points = in_space(stone, 0.0, spots(stone.radius_mm))
        return float(np.ptp(np.arctan2(points[:, 0], points[:, 1])))

    rest = 2.0 * math.pi - sum(map(angle, circle))
    gap = closing_gap(circle)
    assert math.copysign(1.0, gap) == math.copysign(1.0, rest)
    assert math.fsum(pitches_of(circle, gap)) == pytest.approx(2.0 * math.pi, abs=1e-12)


@settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 10**6), count=st.integers(4, 36), factor=st.floats(0.5, 3.0))
def test_closing_gap_scales_and_ignores_start_and_sense(seed: int, count: int, factor: float) -> None:
    circle = parcel(seed, 10.2, count)
    gap = closing_gap(circle)
    larger = [Round(factor * stone.girdle_mm, factor * stone.radius_mm) for stone in circle]
    assert closing_gap(larger) == pytest.approx(factor * gap, abs=1e-11)
    assert closing_gap([*circle[3:], *circle[:3]]) == pytest.approx(gap, abs=1e-12)
    assert closing_gap(circle[::-1]) == pytest.approx(gap, abs=1e-12)
    assert closing_gap([*circle, circle[-1]]) < gap


def test_too_few_and_two() -> None:
    """One stone has no neighbour; two face each other; three of one size stand at a third of a turn."""
    assert closing_gap([]) == closing_gap(LEVEL[:1]) == math.inf
    assert closing_gap(LEVEL) == pytest.approx(20.4, abs=1e-12)
    assert closing_gap(LEVEL[:1] * 3) == pytest.approx(girdle_gap(10.2, 1.5, 3), abs=1e-12)


def test_stones_that_would_pass_under_take_the_angle_that_they_are_seen_under() -> None:
    """Pairs that are never nearer than 0.98 mm take atan(0.6 / 9) + atan(2 / 10) each and no less: 23 of them fit into
    a turn, so 11 pairs do and with one pair more they do not."""
    assert math.floor(2.0 * math.pi / (math.atan(0.6 / 9.0) + math.atan(0.2))) == 23
    gap = closing_gap(PASSING * 11)
    assert 0.0 < gap < 1.0
    assert plane_room(*PASSING, math.pi / 11.0) == pytest.approx(0.85 * gap, abs=1e-9)
    assert closing_gap(PASSING * 12) < 0.0


def test_a_high_stone_beside_a_low_one() -> None:
    """5.0 and 1.0 mm stones of 50 degrees pavilion on the smallest bore: one stands 1.4 times as high as the other."""
    tall = [Round(5.1 + radius * math.tan(math.radians(50.0)), radius) for radius in (2.5, 0.5)]
    circle = tall * 8
    gap = closing_gap(circle)
    assert math.fsum(pitches_of(circle, gap)) == pytest.approx(2.0 * math.pi, abs=1e-12)


def test_forty_different_rounds_close_within_five_milliseconds() -> None:
    """The best of several, for the machine is shared (0.7 ms measured on 2 shared cores)."""
    circle = parcel(7, 14.5, 40)
    assert len(set(circle)) == 40

    def seconds() -> float:
        start = time.perf_counter()
        closing_gap(circle)
        return time.perf_counter() - start

    assert min(seconds() for _ in range(7)) < 5e-3


# --- an open row


@pytest.mark.parametrize("row", [graduated(10.4, 29)[:9], parcel(3, 12.0, 7), LEVEL, LEVEL[:1]])
def test_row_span_in_space(row: list[Round]) -> None:
    """Stones put at pitches that a search over distances in space finds: the widest polar angle of all edges."""
    turns = [0.0]
    for one, other in pairwise(row):
        apart = [one, other]
        turns.append(turns[-1] + brentq(lambda p, a=apart: distance(*a, p) - 0.2, 0.12, 0.5, xtol=1e-12))
    points = np.vstack([in_space(stone, turn, spots(stone.radius_mm)) for stone, turn in zip(row, turns, strict=True)])
    polar = np.arctan2(points[:, 0], points[:, 1])
    assert row_span(row, 0.2) == pytest.approx(polar.max() - polar.min(), abs=1e-9)


def test_row_span_of_stones_that_would_pass_under() -> None:
    """Nothing is refused: they stand where a plane keeps its share."""
    pitch = stand_by_search(*PASSING, 0.2)
    assert row_span(PASSING, 0.2) == pytest.approx(math.atan(0.6 / 9.0) + pitch + math.atan(0.2), abs=1e-9)


def test_row_without_stones() -> None:
    with pytest.raises(ValueError, match="needs a stone"):
        row_span([], 0.2)
