"""Facets: equal areas, closed meshes and volumes against closed forms, deviation measured densely, exact symmetry."""

from __future__ import annotations

import math
from itertools import pairwise

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from bandgen import parts
from bandgen.builders.prong import prong_profile
from bandgen.builders.seat import cup_profile
from bandgen.engines import facets
from bandgen.errors import EngineError
from bandgen.layout.compute import compute_layout
from bandgen.layout.seatwork import recess_profile
from bandgen.parts import Extruded, Frame, Point, Profile, Revolved, arc_of
from bandgen.spec import make_spec
from bandgen.units import sincosd

LAYOUT = compute_layout(make_spec({"finger": {"inner_diameter_mm": 17.0}, "stones": {"diameter_mm": 2.0}}))
SEAT = LAYOUT.stations[0].seat
CUP = cup_profile(SEAT)
RECESS = recess_profile(SEAT, SEAT.column_bottom_mm)  # with the fillet, a concave arc
DOME = prong_profile(LAYOUT.seams[0].prong)
CONE = Profile((Point(0.0, 1.0), Point(2.0, 1.0), Point(0.0, 4.0)))
TORUS = Profile((Point(3.0, 0.0, 1.0), Point(2.0, 0.0, 1.0)))
OUTLINES = {"cup": CUP, "recess": RECESS, "dome": DOME, "cone": CONE, "torus": TORUS}

deviations = st.floats(0.0005, 0.05)


def shoelace(corners: np.ndarray) -> float:
    following = np.roll(corners, -1, axis=0)
    return float(np.sum(corners[:, 0] * following[:, 1] - following[:, 0] * corners[:, 1]) / 2.0)


def along(corners: np.ndarray, pieces: int) -> np.ndarray:
    """Points (n, 2) dense on a closed polygon."""
    share = np.arange(pieces)[:, None, None] / pieces
    return (corners * (1.0 - share) + np.roll(corners, -1, axis=0) * share).reshape(-1, 2)


def distance_to_outline(points: np.ndarray, outline: Profile) -> np.ndarray:
    """Distance (n,) from (u, v) points to the true outline: its segments and arcs."""
    return np.min([_to_side(points, start, end) for start, end in outline.sides], axis=0)


def _to_side(points: np.ndarray, start: Point, end: Point) -> np.ndarray:
    a, b = np.array([start.u, start.v]), np.array([end.u, end.v])
    if start.bulge == 0.0:
        share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
        return np.linalg.norm(points - a - share[:, None] * (b - a), axis=1)
    arc = arc_of(start, end)
    radial = points - [arc.u, arc.v]
    turn = np.mod((np.arctan2(radial[:, 1], radial[:, 0]) - arc.start) * np.sign(arc.sweep), 2.0 * math.pi)
    on_arc = np.abs(np.hypot(*radial.T) - arc.radius)
    ends = np.minimum(np.linalg.norm(points - a, axis=1), np.linalg.norm(points - b, axis=1))
    return np.where(turn <= abs(arc.sweep), on_arc, ends)


def solid(vertices: np.ndarray, faces: np.ndarray) -> trimesh.Trimesh:
    return trimesh.Trimesh(vertices, faces, process=False)


# --- circles ---


@settings(deadline=None, max_examples=60)
@given(radius=st.floats(0.05, 45.0), deviation=deviations)
def test_circle_polygon_has_the_circles_area_and_stays_within(radius: float, deviation: float) -> None:
    count = facets.circle_segments(radius, deviation)
    turns = 2.0 * math.pi * np.arange(count) / count
    corners = radius * facets.equal_area_factor(count) * np.column_stack((np.cos(turns), np.sin(turns)))
    assert count % 4 == 0
    assert shoelace(corners) == pytest.approx(math.pi * radius**2, rel=1e-12)
    assert np.abs(np.linalg.norm(along(corners, 16), axis=1) - radius).max() <= deviation + 1e-12


@pytest.mark.parametrize("radius", [0.3, 1.0, 8.5])
def test_circle_polygon_is_no_finer_than_it_must_be(radius: float) -> None:
    """Four corners fewer would leave the deviation (or there are just eight)."""
    count = facets.circle_segments(radius, 0.005)
    turns = 2.0 * math.pi * np.arange(count - 4) / (count - 4)
    corners = radius * facets.equal_area_factor(count - 4) * np.column_stack((np.cos(turns), np.sin(turns)))
    miss = np.abs(np.linalg.norm(along(corners, 64), axis=1) - radius).max()
    assert miss > 0.005 or count == 8


def test_equal_area_factor_of_a_square() -> None:
    """A square of area pi has its corners at sqrt(pi / 2)."""
    assert facets.equal_area_factor(4) == pytest.approx(math.sqrt(math.pi / 2.0), rel=1e-15)


# --- outlines ---


@settings(deadline=None, max_examples=60)
@given(radius=st.floats(0.05, 3.0), sweep=st.floats(0.05, 3.1), side=st.sampled_from((1, -1)), deviation=deviations)
def test_arc_stays_within_and_has_the_arcs_area(radius: float, sweep: float, side: int, deviation: float) -> None:
    start = Point(5.0 + radius, 0.0, side * math.tan(sweep / 4.0))
    end = Point(5.0 + radius * math.cos(sweep), side * radius * math.sin(sweep))
    outline = Profile((start, end))
    corners = facets.polyline(outline, deviation)
    assert shoelace(corners) == pytest.approx(parts.area(outline), rel=1e-9, abs=1e-14)
    assert (corners[0].tolist(), corners[-1].tolist()) == ([start.u, start.v], [end.u, end.v])
    open_line = corners[:-1, None, :] + np.linspace(0.0, 1.0, 33)[:, None] * np.diff(corners, axis=0)[:, None, :]
    apart = np.abs(np.hypot(open_line[..., 0] - 5.0, open_line[..., 1]) - radius)
    assert apart.max() <= deviation + 1e-12


@pytest.mark.parametrize("name", OUTLINES)
@pytest.mark.parametrize("deviation", [0.02, 0.005, 0.001])
def test_outline_stays_within_and_keeps_area_and_corners(name: str, deviation: float) -> None:
    outline = OUTLINES[name]
    corners = facets.polyline(outline, deviation)
    assert shoelace(corners) == pytest.approx(parts.area(outline), rel=1e-10)
    assert distance_to_outline(along(corners, 24), outline).max() <= deviation + 1e-12
    kept = {tuple(corner) for corner in corners}
    assert {(point.u, point.v) for point in outline.points} <= kept


# --- revolved ---


@pytest.mark.parametrize("name", OUTLINES)
def test_revolved_is_closed_and_outward(name: str) -> None:
    mesh = solid(*facets.revolve(Revolved(OUTLINES[name]), 0.01))
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0.0
    assert mesh.euler_number == (0 if name == "torus" else 2)
    assert np.unique(mesh.faces).size == len(mesh.vertices)


@pytest.mark.parametrize("name", ["cup", "cone"])
@pytest.mark.parametrize("deviation", [0.05, 0.005])
def test_straight_outlines_keep_their_volume_exactly(name: str, deviation: float) -> None:
    shape = Revolved(OUTLINES[name])
    assert solid(*facets.revolve(shape, deviation)).volume == pytest.approx(parts.volume(shape), rel=1e-12)


@pytest.mark.parametrize("name", ["recess", "dome", "torus"])
def test_bent_outlines_converge(name: str) -> None:
    """Linear in the deviation or better: the area is kept, so only the arc's first moment is missed, by far less
    than the plain bound, surface times deviation."""
    shape = Revolved(OUTLINES[name])
    true = parts.volume(shape)
    coarse = solid(*facets.revolve(shape, 0.02))
    misses = [abs(solid(*facets.revolve(shape, deviation)).volume - true) for deviation in (0.02, 0.002, 0.0002)]
    assert misses[0] < 0.02 * coarse.area / 5.0
    assert misses[1] < misses[0] / 5.0 or misses[1] < 1e-12 * true
    assert misses[2] < misses[1] / 5.0 or misses[2] < 1e-12 * true


@pytest.mark.parametrize("name", OUTLINES)
@pytest.mark.parametrize("deviation", [0.02, 0.005])
def test_no_point_of_the_surface_leaves_the_deviation(name: str, deviation: float) -> None:
    """Barycentric points of every triangle, in (radius, height), against the true outline."""
    outline = OUTLINES[name]
    vertices, faces = facets.revolve(Revolved(outline), deviation)
    grid = np.array([(i, j, 6 - i - j) for i in range(7) for j in range(7 - i)]) / 6.0
    points = np.einsum("kc,fcx->fkx", grid, vertices[faces]).reshape(-1, 3)
    flat = np.column_stack((np.hypot(points[:, 0], points[:, 2]), points[:, 1]))
    assert distance_to_outline(flat, outline).max() <= deviation + 1e-12


@settings(deadline=None, max_examples=60)
@given(radius=st.floats(0.05, 10.0), deviation=deviations)
def test_corners_lie_exactly_symmetric(radius: float, deviation: float) -> None:
    """Bit for bit: mirrored in u, in w, and turned a quarter; a corner on each half plane, starting on +u."""
    shape = Revolved(Profile((Point(0.0, 0.0), Point(radius, 0.0), Point(0.7 * radius, 1.0), Point(0.0, 1.0))))
    vertices, _ = facets.revolve(shape, deviation)
    corners = {tuple(corner + 0.0) for corner in vertices}  # + 0.0 makes one zero of two
    for matrix in (np.diag([-1.0, 1, 1]), np.diag([1.0, 1, -1]), np.array([[0, 0, 1.0], [0, 1, 0], [-1, 0, 0]])):
        assert {tuple(corner + 0.0) for corner in vertices @ matrix} == corners
    rim = vertices[(vertices[:, 1] == 0.0) & (vertices[:, 0] > 0.0) & (vertices[:, 2] == 0.0)]
    assert len(rim) == 1


@pytest.mark.parametrize("count", [8, 12, 20, 64])
def test_turn_is_the_unit_circle(count: int) -> None:
    cosine, sine = facets._turn(count)
    turns = 2.0 * math.pi * np.arange(count) / count
    assert np.abs(np.column_stack((cosine - np.cos(turns), sine - np.sin(turns)))).max() < 1e-15


# --- revolved, with stops ---

degrees_of_stops = st.lists(st.floats(0.0, 359.0), min_size=1, max_size=6).map(sorted).filter(
    lambda stops: all(b - a > 0.1 for a, b in zip(stops, [*stops[1:], stops[0] + 360.0], strict=True))
)  # fmt: skip


def in_profile_plane(points: np.ndarray) -> np.ndarray:
    return np.column_stack((np.hypot(points[:, 0], points[:, 2]), points[:, 1]))


@settings(deadline=None, max_examples=60)
@given(stops=degrees_of_stops, name=st.sampled_from(sorted(OUTLINES)), deviation=st.floats(0.002, 3.0))
def test_corners_at_the_stops_lie_on_the_true_profile(stops: list[float], name: str, deviation: float) -> None:
    """Every corner of the outline stands at every stop, counter-clockwise about v from +u: (u cos a, v, -u sin a)."""
    shape = Revolved(OUTLINES[name], tuple(stops))
    vertices, faces = facets.revolve(shape, deviation)
    outline = facets.polyline(shape.profile, deviation / 2.0)
    for sine, cosine in map(sincosd, stops):
        meant = np.column_stack((outline[:, 0] * cosine, outline[:, 1], -outline[:, 0] * sine))
        apart = np.linalg.norm(vertices[:, None, :] - meant, axis=2).min(axis=0)
        assert apart.max() < 1e-15 * (1.0 + np.abs(meant).max())
    mesh = solid(vertices, faces)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0.0


@settings(deadline=None, max_examples=60)
@given(stops=degrees_of_stops, name=st.sampled_from(sorted(OUTLINES)), deviation=deviations)
def test_no_point_of_a_stopped_turn_leaves_the_deviation(stops: list[float], name: str, deviation: float) -> None:
    """Barycentric points of every triangle, as above; straight outlines keep their volume exactly."""
    outline = OUTLINES[name]
    vertices, faces = facets.revolve(Revolved(outline, tuple(stops)), deviation)
    grid = np.array([(i, j, 4 - i - j) for i in range(5) for j in range(5 - i)]) / 4.0
    points = np.einsum("kc,fcx->fkx", grid, vertices[faces[::7]]).reshape(-1, 3)
    assert distance_to_outline(in_profile_plane(points), outline).max() <= deviation + 1e-12
    if name in ("cup", "cone"):
        assert solid(vertices, faces).volume == pytest.approx(parts.volume(Revolved(outline)), rel=1e-11)


@settings(deadline=None, max_examples=60)
@given(stops=degrees_of_stops, deviation=deviations)
def test_each_sector_between_stops_has_its_area_and_even_steps(stops: list[float], deviation: float) -> None:
    """Of the cone's rim, a circle of radius 2."""
    vertices, _ = facets.revolve(Revolved(CONE, tuple(stops)), deviation)
    rim = vertices[np.hypot(vertices[:, 0], vertices[:, 2]) > 1.0]
    rim = np.concatenate((rim, rim[:1]))
    turns = np.unwrap(np.arctan2(-rim[:, 2], rim[:, 0]))
    bounds = np.radians([*stops, stops[0] + 360.0]) - math.radians(stops[0]) + turns[0]
    for low, high in pairwise(bounds):
        inside = (turns > low - 1e-6) & (turns < high + 1e-6)
        u, w = rim[inside, 0], -rim[inside, 2]
        sector = np.sum(u[:-1] * w[1:] - u[1:] * w[:-1]) / 2.0
        assert sector == pytest.approx(2.0 * (high - low), rel=1e-9)
        assert np.ptp(np.diff(turns[inside])) < 1e-9


@pytest.mark.parametrize("stops", [(), (33.0,), (10.0, 200.0)])
def test_the_coarsest_turn_has_eight_corners(stops: tuple[float, ...]) -> None:
    """However great the deviation; stops may round it up. Tip and base of the cone are a pole each."""
    vertices, _ = facets.revolve(Revolved(CONE, stops), 50.0)
    assert 2 + 8 <= len(vertices) <= 2 + 9


def test_stops_at_quadrants_are_exact() -> None:
    vertices, _ = facets.revolve(Revolved(CONE, (0.0, 90.0, 180.0, 270.0)), 0.01)
    corners = {tuple(corner + 0.0) for corner in vertices}
    assert {(2.0, 1.0, 0.0), (0.0, 1.0, -2.0), (-2.0, 1.0, 0.0), (0.0, 1.0, 2.0)} <= corners


@pytest.mark.parametrize("stops", [(-1.0,), (360.0,), (20.0, 10.0), (10.0, 10.0), (math.nan,), (5.0, math.nan)])
def test_stops_out_of_order_are_errors(stops: tuple[float, ...]) -> None:
    with pytest.raises(EngineError, match="stops must ascend"):
        facets.revolve(Revolved(CONE, stops), 0.01)


# --- extruded and placed ---


def test_extruded_is_closed_and_exact() -> None:
    outline = Profile((Point(0, 0), Point(4, 0), Point(4, 1, -0.3), Point(2, 1), Point(1, 3)))
    corners = facets.polyline(outline, 0.002)
    caps = np.asarray(manifold3d.triangulate([corners]), dtype=np.int64)
    mesh = solid(*facets.extrude(corners, caps, 2.5))
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(parts.volume(Extruded(outline, 2.5)), rel=1e-12)
    assert mesh.bounds[:, 2] == pytest.approx([-1.25, 1.25])


def test_place_puts_the_axes_where_the_frame_says() -> None:
    frame = Frame((1.0, 2.0, 3.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0))
    local = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    assert facets.place(local, frame).tolist() == [[1, 2, 3], [1, 2, 4], [1, 3, 3], [0, 2, 3]]
