"""Parts: areas and volumes against textbook solids and quadrature, arcs and fillets against their definition."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import fixed_quad

from bandgen import parts
from bandgen.errors import EngineError
from bandgen.parts import (
    Arc,
    Extruded,
    Frame,
    Part,
    Point,
    Profile,
    Revolved,
    arc_of,
    fillet,
    merge_arcs,
    shared_shapes,
    turned,
    volume,
)

QUARTER = math.tan(math.pi / 8.0)  # bulge of a quarter turn
HALF_TURN = 1.0  # bulge of a half turn

lengths = st.floats(0.05, 20.0)


def sample(profile: Profile, per_arc: int) -> np.ndarray:
    """The outline as (n, 2), every arc as ``per_arc`` chords: arcs drawn from their definition by three points,
    the ends and the apex at ``bulge`` times half the chord to the right of it, not from the code under test."""
    corners = []
    for start, end in profile.sides:
        corners.append((start.u, start.v))
        if start.bulge:
            corners.extend(_arc_by_three_points(start, end, per_arc))
    return np.array(corners)


def _arc_by_three_points(start: Point, end: Point, pieces: int) -> list[tuple[float, float]]:
    a, b = complex(start.u, start.v), complex(end.u, end.v)
    apex = (a + b) / 2.0 - 1j * (b - a) / 2.0 * start.bulge
    # Circumcentre by complex arithmetic: w is the apex in a frame where a = 0 and b = 1.
    w = (apex - a) / (b - a)
    centre = (b - a) * (w - abs(w) ** 2) / (w - w.conjugate()) + a
    step = np.angle((apex - centre) / (a - centre))  # half of the sweep, at most half a turn
    turns = np.exp(1j * 2.0 * step * np.arange(1, pieces) / pieces)
    return [(z.real, z.imag) for z in centre + (a - centre) * turns]


def shoelace(corners: np.ndarray) -> float:
    following = np.roll(corners, -1, axis=0)
    return float(np.sum(corners[:, 0] * following[:, 1] - following[:, 0] * corners[:, 1]) / 2.0)


def ring(start: float, end: float, low: float, high: float) -> Profile:
    """A rectangle from ``start`` to ``end`` in u."""
    return Profile((Point(start, low), Point(end, low), Point(end, high), Point(start, high)))


# --- volumes against solids from any table of formulas (Pappus's theorem) ---


@settings(deadline=None, max_examples=60)
@given(radius=lengths, height=lengths)
def test_cylinder_and_cone(radius: float, height: float) -> None:
    cylinder = Revolved(ring(0.0, radius, -1.0, height - 1.0))
    cone = Revolved(Profile((Point(0.0, 3.0), Point(radius, 3.0), Point(0.0, 3.0 + height))))
    assert volume(cylinder) == pytest.approx(math.pi * radius**2 * height, rel=1e-12)
    assert volume(cone) == pytest.approx(math.pi * radius**2 * height / 3.0, rel=1e-12)


@settings(deadline=None, max_examples=60)
@given(low=lengths, high=lengths, height=lengths)
def test_frustum(low: float, high: float, height: float) -> None:
    shape = Revolved(Profile((Point(0.0, 0.0), Point(low, 0.0), Point(high, height), Point(0.0, height))))
    assert volume(shape) == pytest.approx(math.pi * height * (low * low + low * high + high * high) / 3.0, rel=1e-12)


@settings(deadline=None, max_examples=60)
@given(radius=lengths, shift=st.floats(-5.0, 5.0))
def test_sphere_from_a_half_circle(radius: float, shift: float) -> None:
    outline = Profile((Point(0.0, shift - radius, HALF_TURN), Point(0.0, shift + radius)))
    assert volume(Revolved(outline)) == pytest.approx(4.0 / 3.0 * math.pi * radius**3, rel=1e-12)


@settings(deadline=None, max_examples=60)
@given(radius=lengths)
def test_hemisphere_from_a_quarter_circle(radius: float) -> None:
    outline = Profile((Point(0.0, 0.0), Point(radius, 0.0, QUARTER), Point(0.0, radius)))
    assert volume(Revolved(outline)) == pytest.approx(2.0 / 3.0 * math.pi * radius**3, rel=1e-12)


@settings(deadline=None, max_examples=60)
@given(tube=st.floats(0.05, 3.0), extra=st.floats(0.01, 10.0))
def test_torus(tube: float, extra: float) -> None:
    middle = tube + extra
    outline = Profile((Point(middle + tube, 0.0, HALF_TURN), Point(middle - tube, 0.0, HALF_TURN)))
    assert volume(Revolved(outline)) == pytest.approx(2.0 * math.pi**2 * middle * tube**2, rel=1e-12)


def test_torus_segment_by_guldin() -> None:
    """A circular segment's centroid lies 4 r sin^3(t/2) / (3 (t - sin t)) from the centre (any table of centroids)."""
    tube, middle, sweep = 0.4, 3.0, 1.3
    low = Point(middle + tube * math.cos(sweep / 2.0), -tube * math.sin(sweep / 2.0), math.tan(sweep / 4.0))
    outline = Profile((low, Point(low.u, -low.v)))
    size = tube**2 * (sweep - math.sin(sweep)) / 2.0
    centroid = middle + 4.0 * tube * math.sin(sweep / 2.0) ** 3 / (3.0 * (sweep - math.sin(sweep)))
    assert parts.area(outline) == pytest.approx(size, rel=1e-12)
    assert volume(Revolved(outline)) == pytest.approx(2.0 * math.pi * centroid * size, rel=1e-12)


def test_a_concave_arc_takes_away() -> None:
    """A cylinder of radius 2 and height 2 with a half-round groove of radius 1/2 in its side: the groove is half a
    torus, whose half disc has its centroid 4 r / 3 pi inside the side."""
    groove = Point(2.0, 0.5, -HALF_TURN)
    outline = Profile((Point(0, 0), Point(2.0, 0.0), groove, Point(2.0, 1.5), Point(2.0, 2.0), Point(0.0, 2.0)))
    half_torus = 2.0 * math.pi * (2.0 - 4.0 * 0.5 / (3.0 * math.pi)) * math.pi * 0.25 / 2.0
    assert volume(Revolved(outline)) == pytest.approx(8.0 * math.pi - half_torus, rel=1e-12)


def test_prism_is_area_times_length() -> None:
    stadium = Profile((Point(0, 0), Point(3, 0, HALF_TURN), Point(3, 2), Point(0, 2, HALF_TURN)))
    assert parts.area(stadium) == pytest.approx(6.0 + math.pi, rel=1e-12)
    assert volume(Extruded(stadium, 0.7)) == pytest.approx(0.7 * (6.0 + math.pi), rel=1e-12)


def test_a_clockwise_outline_is_negative() -> None:
    assert parts.area(Profile(tuple(reversed(ring(1.0, 2.0, 0.0, 1.0).points)))) == -1.0


# --- random outlines against numerical quadrature and the limit of polygons ---

bulges = st.floats(-0.9, 0.9).filter(lambda value: value == 0.0 or abs(value) > 1e-3)


@st.composite
def star_outlines(draw: st.DrawFn) -> Profile:
    """Corners at rising angles about (30, 0), so that u stays positive; any bulges (crossings do not matter here)."""
    count = draw(st.integers(3, 7))
    radii = draw(st.lists(st.floats(1.0, 6.0), min_size=count, max_size=count))
    bends = draw(st.lists(bulges, min_size=count, max_size=count))
    turns = [2.0 * math.pi * index / count for index in range(count)]
    return Profile(tuple(Point(30.0 + r * math.cos(t), r * math.sin(t), b)
                         for r, t, b in zip(radii, turns, bends, strict=True)))  # fmt: skip


@settings(deadline=None, max_examples=60)
@given(outline=star_outlines())
def test_area_is_the_limit_of_polygons(outline: Profile) -> None:
    """The error of a chord polygon falls with the square of the number of chords: extrapolated away (Richardson)."""
    coarse, fine = shoelace(sample(outline, 400)), shoelace(sample(outline, 800))
    assert parts.area(outline) == pytest.approx((4.0 * fine - coarse) / 3.0, abs=1e-7)


@settings(deadline=None, max_examples=60)
@given(outline=star_outlines())
def test_first_moment_against_quadrature(outline: Profile) -> None:
    """Integral of u by scipy's Gauss quadrature of u2 / 2 dv along each side."""
    total = 0.0
    for start, end in outline.sides:
        if start.bulge == 0.0:
            low, high = np.array([start.u, start.v]), np.array([end.u, end.v])
            slope = high - low
            total += fixed_quad(lambda t, a=low, b=slope: (a[0] + t * b[0]) ** 2 / 2.0 * b[1], 0.0, 1.0, n=2)[0]
            continue
        arc = arc_of(start, end)

        def along(angle: np.ndarray, arc: Arc = arc) -> np.ndarray:
            return (arc.u + arc.radius * np.cos(angle)) ** 2 / 2.0 * arc.radius * np.cos(angle)

        total += fixed_quad(along, arc.start, arc.start + arc.sweep, n=30)[0]
        # An arc of bulge 0.002 has a radius 500 times its chord: the closed form loses that many digits, cubed.
    assert parts.first_moment(outline) == pytest.approx(total, rel=1e-9)


@settings(deadline=None, max_examples=60)
@given(outline=star_outlines())
def test_first_moment_is_the_limit_of_polygons(outline: Profile) -> None:
    """Against polygons whose arcs were drawn without ``arc_of``; a polygon's moment is (u1 + u2) cross / 6."""

    def moment(pieces: int) -> float:
        here = sample(outline, pieces)
        there = np.roll(here, -1, axis=0)
        cross = here[:, 0] * there[:, 1] - there[:, 0] * here[:, 1]
        return float(np.sum((here[:, 0] + there[:, 0]) * cross) / 6.0)

    assert parts.first_moment(outline) == pytest.approx((4.0 * moment(800) - moment(400)) / 3.0, rel=1e-8)


# --- arcs ---


@settings(deadline=None, max_examples=60)
@given(u=st.floats(-5, 5), v=st.floats(-5, 5), radius=lengths, start=st.floats(-3.1, 3.1),
       sweep=st.floats(0.01, 5.5), side=st.sampled_from((1.0, -1.0)))  # fmt: skip
def test_arc_of_finds_centre_radius_and_sweep(
    u: float, v: float, radius: float, start: float, sweep: float, side: float
) -> None:
    """Built from a known circle, also over half a turn; the bulge is the tangent of a quarter of the sweep."""
    end = start + side * sweep
    first = Point(u + radius * math.cos(start), v + radius * math.sin(start), math.tan(side * sweep / 4.0))
    arc = arc_of(first, Point(u + radius * math.cos(end), v + radius * math.sin(end)))
    room = 1e-9 * (1.0 + radius) / sweep
    assert (arc.u, arc.v, arc.radius) == pytest.approx((u, v, radius), abs=room)
    assert arc.sweep == pytest.approx(side * sweep, abs=1e-12)
    assert math.remainder(arc.start - start, 2.0 * math.pi) == pytest.approx(0.0, abs=room / radius)


def test_bulge_is_sagitta_over_half_chord() -> None:
    """The DXF convention: positive bends a side that runs along +u to its right, down."""
    arc = arc_of(Point(-1.0, 0.0, 0.25), Point(1.0, 0.0))
    assert (arc.u, arc.v - arc.radius) == pytest.approx((0.0, -0.25))


# --- merged arcs ---


def test_merge_joins_pieces_of_one_circle() -> None:
    pieces = [Point(math.cos(t), math.sin(t), math.tan(math.radians(30) / 4)) for t in np.radians([0.0, 30.0, 60.0])]
    sector = Profile((Point(0.0, 0.0), *pieces, Point(0.0, 1.0)))
    merged = merge_arcs(sector)
    assert len(merged.points) == 3
    assert merged.points[1].bulge == pytest.approx(QUARTER, rel=1e-12)
    assert parts.area(merged) == pytest.approx(math.pi / 4.0, rel=1e-12)
    assert parts.first_moment(merged) == pytest.approx(parts.first_moment(sector), rel=1e-12)


def test_merge_stops_at_half_a_turn() -> None:
    step = math.tan(math.radians(72) / 4)
    circle = Profile(tuple(Point(5 + math.cos(t), math.sin(t), step) for t in np.radians([0, 72, 144, 216, 288])))
    merged = merge_arcs(circle)
    assert len(merged.points) == 3  # 144 + 144 + 72 degrees
    assert parts.area(merged) == pytest.approx(math.pi, rel=1e-12)
    assert max(abs(arc_of(a, b).sweep) for a, b in merged.sides) < math.pi


def test_merge_keeps_other_circles_and_straight_sides() -> None:
    two_radii = Profile((Point(0, 0), Point(2, 0, QUARTER), Point(1, 1, math.tan(math.pi / 16)), Point(0.2, 1.1)))
    assert merge_arcs(two_radii) == two_radii
    assert merge_arcs(ring(0.0, 1.0, 0.0, 1.0)) == ring(0.0, 1.0, 0.0, 1.0)


# --- fillets ---


@settings(deadline=None, max_examples=60)
@given(angle=st.floats(0.15, 3.0), side=st.sampled_from((1.0, -1.0)), into=st.floats(-3, 3), radius=st.floats(0.05, 2))
def test_fillet_is_tangent_to_both_sides(angle: float, side: float, into: float, radius: float) -> None:
    """Both ends lie on their sides, the centre stands the radius from each, and the sweep is the turn."""
    turn = side * angle
    corner, out = Point(1.0, -2.0), into + turn
    before = Point(corner.u - 60.0 * math.cos(into), corner.v - 60.0 * math.sin(into))
    after = Point(corner.u + 60.0 * math.cos(out), corner.v + 60.0 * math.sin(out))
    first, last = fillet(corner, before, after, radius)
    arc = arc_of(first, last)
    assert arc.radius == pytest.approx(radius, rel=1e-9)
    assert arc.sweep == pytest.approx(turn, rel=1e-9)
    for point, along in ((first, into), (last, out)):
        line = (math.cos(along), math.sin(along))
        assert (point.u - corner.u) * line[1] - (point.v - corner.v) * line[0] == pytest.approx(0.0, abs=1e-9)
        radial = (arc.u - point.u, arc.v - point.v)
        assert radial[0] * line[0] + radial[1] * line[1] == pytest.approx(0.0, abs=1e-9 * (1.0 + radius))
    reach = radius * math.tan(angle / 2.0)
    assert math.dist((first.u, first.v), (corner.u, corner.v)) == pytest.approx(reach, rel=1e-9)


def test_fillet_takes_a_known_area_from_a_square_corner() -> None:
    """A rounded square loses r2 (1 - pi / 4) at the corner."""
    first, last = fillet(Point(1, 1), Point(1, 0), Point(0, 1), 0.3)
    rounded = Profile((Point(0, 0), Point(1, 0), first, last, Point(0, 1)))
    assert parts.area(rounded) == pytest.approx(1.0 - 0.09 * (1.0 - math.pi / 4.0), rel=1e-12)


# --- placing ---


def test_turned_is_a_rotation_about_z_and_exact_at_quadrants() -> None:
    part = Part("cup", 1, Revolved(ring(0.0, 1.0, 0.0, 1.0)), Frame((3.0, 4.0, 5.0)))
    quarter = turned(part, 90.0)
    assert quarter.frame == Frame((-4.0, 3.0, 5.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    assert (quarter.name, quarter.sign, quarter.shape) == (part.name, part.sign, part.shape)
    turn = np.array([[math.cos(0.3), -math.sin(0.3), 0], [math.sin(0.3), math.cos(0.3), 0], [0, 0, 1]])
    askew = turned(part, math.degrees(0.3)).frame
    for vector in ("origin", "u", "v", "w"):
        assert getattr(askew, vector) == pytest.approx(tuple(turn @ getattr(part.frame, vector)), abs=1e-15)


CUP = Part("cup", 1, Revolved(ring(0.0, 1.0, 0.0, 1.0)))
SIDE = Part("side", -1, Extruded(ring(0.0, 1.0, 0.0, 1.0), 2.0), Frame((3.0, 0.0, 0.0)))


def test_turned_turns_what_a_part_is_within_by_the_same() -> None:
    held = replace(CUP, frame=Frame((1.0, 2.0, 3.0)), within=(SIDE, CUP))
    for degrees in (90.0, 12.5):
        assert turned(held, degrees).within == (turned(SIDE, degrees), turned(CUP, degrees))
        assert turned(held, degrees) == replace(
            turned(replace(held, within=()), degrees), within=(turned(SIDE, degrees), turned(CUP, degrees))
        )
    assert turned(SIDE, 90.0).frame.origin == (0.0, 3.0, 0.0)


def test_shared_shapes_are_the_part_and_those_it_is_within() -> None:
    assert shared_shapes(CUP) == (CUP,)
    assert shared_shapes(replace(CUP, within=(SIDE, SIDE))) == (CUP, SIDE, SIDE)


def test_parts_do_not_nest() -> None:
    nested = replace(CUP, within=(SIDE, replace(SIDE, name="inner", within=(CUP,))))
    with pytest.raises(EngineError, match="cup is within inner, which is within others"):
        shared_shapes(nested)


def test_stops_do_not_change_the_closed_form() -> None:
    assert volume(Revolved(ring(1.0, 2.0, 0.0, 1.0), (10.0, 200.0))) == volume(Revolved(ring(1.0, 2.0, 0.0, 1.0)))


def test_parts_are_frozen() -> None:
    part = Part("cup", 1, Revolved(ring(0.0, 1.0, 0.0, 1.0)))
    with pytest.raises(FrozenInstanceError):
        part.sign = -1  # type: ignore[misc]
