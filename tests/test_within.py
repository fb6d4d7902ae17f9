"""Parts kept within others, and stops on a turn: closed forms, quadrature, trimesh and the two engines against
one another."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from OCP.BRepAlgoAPI import BRepAlgoAPI_Fuse
from scipy.integrate import fixed_quad, quad
from scipy.optimize import brentq
from scipy.spatial import cKDTree

from bandgen.cell import station_plane
from bandgen.engines import exact, mesh
from bandgen.errors import EngineError
from bandgen.inspection.surface import part_distance, signed_distance
from bandgen.parts import Extruded, Frame, Part, Plane, Point, Profile, Revolved, Vector, arc_of, turned, volume
from bandgen.units import sincosd

X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
ALONG_X, ALONG_Z = Frame(u=Y, v=X, w=(0.0, 0.0, -1.0)), Frame(u=X, v=Z, w=(0.0, -1.0, 0.0))

ROD = Revolved(Profile((Point(0.0, -3.0), Point(1.0, -3.0), Point(1.0, 3.0), Point(0.0, 3.0))))
RODS = tuple(Part(f"rod {index}", 1, ROD, frame) for index, frame in enumerate((ALONG_X, Frame(), ALONG_Z)))
TWO_RODS = replace(RODS[0], within=RODS[1:2])
THREE_RODS = replace(RODS[0], within=RODS[1:])

BALL = Part("ball", 1, Revolved(Profile((Point(0.0, -2.0, 1.0), Point(0.0, 2.0)))), ALONG_Z)
WIDE = Profile((Point(-5.0, -5.0), Point(5.0, -5.0), Point(5.0, 5.0), Point(-5.0, 5.0)))
SLAB = Part("slab", 1, Extruded(WIDE, 2.0))
ZONE = replace(BALL, name="zone", within=(SLAB,))
TORUS = Part("torus", 1, Revolved(Profile((Point(3.0, 0.0, 1.0), Point(2.0, 0.0, 1.0)))), ALONG_Z)
SHEET = Part("sheet", 1, Extruded(WIDE, 1.0), Frame(u=Z, v=X, w=Y))  # |y| <= 1/2: takes two pieces out of the torus
FAR = replace(SLAB, name="far", frame=Frame((0.0, 0.0, 9.0)))
CLOCKWISE = Part("clockwise", 1, Extruded(Profile(tuple(reversed(WIDE.points))), 2.0))

ZONE_VOLUME = 2.0 * math.pi * (4.0 - 1.0 / 3.0)
"""A ball of radius 2 between z = -1 and 1: the integral of pi (4 - z2)."""


def mesh_volume(patch: mesh.Patch) -> float:
    """By the divergence theorem about the origin: open faces in planes through the origin would add nothing."""
    return float(np.linalg.det(patch.vertices[patch.faces]).sum() / 6.0)


def mesh_area(patch: mesh.Patch) -> float:
    a, b, c = np.moveaxis(patch.vertices[patch.faces], 1, 0)
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2.0)


def turn(points: np.ndarray, degrees: float) -> np.ndarray:
    sine, cosine = sincosd(degrees)
    return points @ np.array(((cosine, sine, 0.0), (-sine, cosine, 0.0), (0.0, 0.0, 1.0)))


# --- the common body, against closed forms ---


@pytest.mark.parametrize(
    ("part", "meant"),
    [
        (TWO_RODS, 16.0 / 3.0),  # Steinmetz's solids of radius 1, in any table of formulas
        (THREE_RODS, 8.0 * (2.0 - math.sqrt(2.0))),
        (ZONE, ZONE_VOLUME),
    ],
    ids=["two rods", "three rods", "zone"],
)
def test_the_common_body_has_its_closed_form_volume(part: Part, meant: float) -> None:
    deviation = 0.002
    patch = mesh.solid_mesh([part], deviation)
    closed = trimesh.Trimesh(patch.vertices, patch.faces, process=False)
    assert closed.is_watertight
    assert closed.is_winding_consistent
    assert abs(closed.volume - meant) <= deviation * closed.area
    body = exact.make_solid(part)
    assert body.is_valid()
    assert body.volume == pytest.approx(meant, rel=1e-7)
    assert exact.whole([part]).volume == pytest.approx(meant, rel=1e-7)


def test_the_signs_of_the_others_do_not_count() -> None:
    other = replace(ZONE, within=(replace(SLAB, sign=-1),))
    here, there = mesh.solid_mesh([ZONE], 0.02), mesh.solid_mesh([other], 0.02)
    assert np.array_equal(here.vertices, there.vertices)
    assert exact.make_solid(other).volume == pytest.approx(ZONE_VOLUME, rel=1e-7)


def test_a_tool_within_others_cuts_only_there() -> None:
    block = Part("block", 1, Extruded(WIDE, 8.0))
    parts = [block, replace(ZONE, sign=-1)]
    patch = mesh.solid_mesh(parts, 0.005)
    assert abs(mesh_volume(patch) - (800.0 - ZONE_VOLUME)) <= 0.005 * ZONE_VOLUME * 2.0  # the zone's area is less
    body = exact.whole(parts)
    assert body.volume == pytest.approx(800.0 - ZONE_VOLUME, rel=1e-8)
    assert body.shell_count == 2


def test_an_addition_within_others_joins_the_rest() -> None:
    pin = Part(
        "pin", 1, Revolved(Profile((Point(0.0, 0.0), Point(0.5, 0.0), Point(0.5, 3.0), Point(0.0, 3.0)))), ALONG_Z
    )
    meant = ZONE_VOLUME + 2.0 * math.pi * 0.25
    assert exact.whole([ZONE, pin]).volume == pytest.approx(meant, rel=1e-7)
    patch = mesh.solid_mesh([ZONE, pin], 0.005)
    assert abs(mesh_volume(patch) - meant) <= 0.005 * mesh_area(patch)


@pytest.mark.parametrize("degrees", [90.0, 37.0])
def test_turned_turns_what_a_part_is_within(degrees: float) -> None:
    """A ball within a sheet off its middle: both engines give the turned body of the unturned part."""
    part = replace(BALL, within=(replace(SHEET, frame=replace(SHEET.frame, origin=(0.0, 1.0, 0.0))), SLAB))
    moved = turned(part, degrees)
    assert [other.name for other in moved.within] == ["sheet", "slab"]
    here, there = mesh.solid_mesh([part], 0.02), mesh.solid_mesh([moved], 0.02)
    assert cKDTree(turn(here.vertices, degrees)).query(there.vertices)[0].max() < 1e-9
    assert exact.make_solid(moved).distance_to_faces(there.vertices[::40]).max() < 0.02
    points = np.random.default_rng(3).normal(size=(200, 3)) * 2.0
    assert part_distance(moved, turn(points, degrees)) == pytest.approx(part_distance(part, points), abs=1e-12)


# --- signed distances ---


def test_distance_to_a_zone_is_the_greater_of_the_two() -> None:
    points = np.random.default_rng(1).uniform(-3.0, 3.0, size=(2000, 3))
    meant = np.maximum(np.linalg.norm(points, axis=1) - 2.0, np.abs(points[:, 2]) - 1.0)
    assert part_distance(ZONE, points) == pytest.approx(meant, abs=1e-12)
    assert signed_distance([ZONE], points) == pytest.approx(meant, abs=1e-12)


def test_a_mesh_within_others_lies_on_its_surface() -> None:
    patch = mesh.solid_mesh([THREE_RODS], 0.005)
    points = np.concatenate((patch.vertices, patch.vertices[patch.faces].mean(axis=1)))
    assert np.abs(part_distance(THREE_RODS, points)).max() <= 0.005 + 1e-9
    assert np.abs(part_distance(TWO_RODS, points)).max() > 0.1  # the third rod's surface is none of the two's


# --- what cannot be made ---


@pytest.mark.parametrize(
    ("part", "operation"),
    [
        (replace(BALL, within=(FAR,)), "within"),
        (replace(BALL, within=(CLOCKWISE,)), "facet"),
        (replace(CLOCKWISE, within=(BALL,)), "facet"),
        (replace(BALL, within=(replace(SLAB, within=(TORUS,)),)), "within"),
    ],
    ids=["apart", "clockwise other", "clockwise itself", "nested"],
)
def test_impossible_common_bodies_are_errors_of_the_mesh_engine(part: Part, operation: str) -> None:
    with pytest.raises(EngineError) as caught:
        mesh.solid_mesh([part], 0.02)
    assert caught.value.operation == operation


@pytest.mark.parametrize(
    ("part", "operation"),
    [
        (replace(BALL, within=(FAR,)), "make ball"),
        (replace(TORUS, within=(SHEET,)), "make torus"),  # two bodies
        (replace(BALL, within=(CLOCKWISE,)), "make clockwise"),
        (replace(BALL, within=(replace(SLAB, within=(TORUS,)),)), "within"),
    ],
    ids=["apart", "two bodies", "clockwise other", "nested"],
)
def test_impossible_common_bodies_are_errors_of_the_exact_engine(part: Part, operation: str) -> None:
    with pytest.raises(EngineError) as caught:
        exact.make_solid(part)
    assert caught.value.operation == operation


def test_a_common_body_greater_than_its_shapes_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """A kernel that joins where it should intersect."""
    monkeypatch.setattr(exact, "BRepAlgoAPI_Common", BRepAlgoAPI_Fuse)
    with pytest.raises(EngineError, match="mm3 within"):
        exact.make_solid(ZONE)


def test_nested_parts_are_errors_of_the_distance_too() -> None:
    with pytest.raises(EngineError, match="slab"):
        part_distance(replace(BALL, within=(replace(SLAB, within=(TORUS,)),)), np.zeros((1, 3)))


# --- stops: two neighbouring cells of a body about the ring's axis ---

HOOP = Profile((Point(9.4, -1.0), Point(9.9, 0.0, 0.05), Point(9.4, 1.0), Point(8.5, 1.0, 0.1)))
"""Straight and bent outside, bent inside."""


def about_z(degrees: float, origin: Vector = (0.0, 0.0, 0.0)) -> Frame:
    """v along Z and +u at an angle counter-clockwise from +Y."""
    sine, cosine = sincosd(degrees)
    return Frame(origin, (-sine, cosine, 0.0), Z, (cosine, sine, 0.0))


def wedge(before_deg: float, after_deg: float) -> tuple[Plane, Plane]:
    return station_plane(before_deg, -1), station_plane(after_deg, 1)


def hoop_cell(before_deg: float, after_deg: float, spin_deg: float, stopped: bool = True) -> mesh.Patch:
    """The hoop from ``-before_deg`` to ``after_deg`` about +Y; its turn starts at ``spin_deg``."""
    stops = tuple(sorted(((-before_deg - spin_deg) % 360.0, (after_deg - spin_deg) % 360.0))) if stopped else ()
    hoop = Part("hoop", 1, Revolved(HOOP, stops), about_z(spin_deg))
    return mesh.evaluate([hoop], wedge(-before_deg, after_deg), 0.02)


def on_common_plane(mine: mesh.Patch, next_one: mesh.Patch, after_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Corners of a cell on its plane after, and those of the next one (a seam two half angles on) on its before."""
    return mine.vertices[mine.on_plane[1]], turn(next_one.vertices[next_one.on_plane[0]], 2.0 * after_deg)


angles = st.floats(2.0, 60.0)


@settings(deadline=None, max_examples=25)
@given(before=angles, shared=angles, after=angles, spins=st.tuples(st.floats(0.0, 359.0), st.floats(0.0, 359.0)))
def test_neighbouring_cells_show_the_same_corners(
    before: float, shared: float, after: float, spins: tuple[float, float]
) -> None:
    """Unequal cells, each in its own frame and facetted on its own: on their common plane the same outline."""
    mine, other = hoop_cell(before, shared, spins[0]), hoop_cell(shared, after, spins[1])
    here, there = on_common_plane(mine, other, shared)
    assert len(here) == len(there)
    assert cKDTree(here).query(there)[0].max() < 1e-12
    assert cKDTree(there).query(here)[0].max() < 1e-12


def test_without_stops_they_do_not() -> None:
    here, there = on_common_plane(hoop_cell(11.0, 13.0, 0.0, False), hoop_cell(13.0, 17.0, 1.0, False), 13.0)
    assert cKDTree(here).query(there)[0].max() > 1e-4


@pytest.mark.parametrize("deviation", [0.05, 0.005])
def test_a_stopped_cell_keeps_its_share_of_the_volume(deviation: float) -> None:
    """Straight outline: each sector between stops has exactly its share of the whole (by Pappus), not nearly."""
    straight = Revolved(Profile(tuple(replace(point, bulge=0.0) for point in HOOP.points)), (100.0, 123.0, 290.0))
    hoop = Part("hoop", 1, straight, about_z(0.0))
    for low, high in ((100.0, 123.0), (123.0, 290.0)):
        patch = mesh.evaluate([hoop], wedge(low, high), deviation)
        assert mesh_volume(patch) == pytest.approx(volume(straight) * (high - low) / 360.0, rel=1e-9)


def test_stops_do_not_show_in_the_exact_engine() -> None:
    plain = exact.make_solid(Part("hoop", 1, Revolved(HOOP), about_z(20.0)))
    stopped = exact.make_solid(Part("hoop", 1, Revolved(HOOP, (100.0, 123.0)), about_z(20.0)))
    assert stopped.face_count == plain.face_count
    assert stopped.volume == plain.volume
    assert np.array_equal(stopped.bounds, plain.bounds)


# --- a plain shank: turned about an axis off the ring's, within a taper and a width, bored, between two planes ---

OFF, BORE, FROM, TO = 0.3, 8.5, 100.0, 180.0
OPPOSITE = (FROM + TO) / 2.0 + 180.0
SIDE = Profile((Point(6.0, -2.5), Point(9.9, -2.5, 0.08), Point(9.9, 2.5), Point(6.0, 2.5)))
TAPER = Profile((Point(-1.2, -12.0), Point(1.2, -12.0), Point(2.2, 3.0), Point(-2.2, 3.0)))  # (z, y)
HALF_WIDTH = 1.8
PLANES = wedge(FROM, TO)


def shank(start_deg: float = OPPOSITE, stops: tuple[float, ...] = ()) -> list[Part]:
    """Shank and bore, both turns starting at ``start_deg`` from +Y."""
    taper = Part("taper", 1, Extruded(TAPER, 40.0), Frame(u=Z, v=Y, w=(-1.0, 0.0, 0.0)))
    box = Part("width", 1, Extruded(Profile(tuple(Point(3 * p.u, 3 * p.v) for p in WIDE.points)), 2.0 * HALF_WIDTH))
    side = Part("shank", 1, Revolved(SIDE, stops), about_z(start_deg, (0.0, -OFF, 0.0)), (taper, box))
    hole = Profile((Point(0.0, -4.0), Point(BORE, -4.0), Point(BORE, 4.0), Point(0.0, 4.0)))
    return [side, Part("bore", -1, Revolved(hole, stops), about_z(start_deg))]


def shank_slice(angle: float) -> float:
    """Volume per radian at an angle from +Y: rings r from the bore to the nearer of side and taper, over all z."""
    arc, cosine = arc_of(SIDE.points[1], SIDE.points[2]), math.cos(angle)

    def to_side(z: np.ndarray | float) -> np.ndarray:
        """r of the point at distance rho from the shank's axis: r2 + 2 r OFF cos + OFF2 = rho2."""
        rho = arc.u + np.sqrt(arc.radius**2 - (z - arc.v) ** 2)
        return np.asarray(np.sqrt(rho**2 - (OFF * math.sin(angle)) ** 2) - OFF * cosine)

    def to_taper(z: np.ndarray | float) -> np.ndarray:
        """r at which y = r cos comes to where the taper's half width is z."""
        return np.asarray((15.0 * (z - 1.2) - 12.0) / cosine)

    end = min(HALF_WIDTH, 1.2 + (12.0 + BORE * cosine) / 15.0)
    bend = end if to_taper(end) >= to_side(end) else brentq(lambda z: to_taper(z) - to_side(z), 0.0, end, xtol=1e-14)
    pieces = ((to_side, 0.0, bend), (to_taper, bend, end))
    return float(sum(fixed_quad(lambda z, r=reach: r(z) ** 2 - BORE**2, a, b, n=12)[0] for reach, a, b in pieces))


@pytest.fixture(scope="module")
def shank_volume() -> float:
    total, miss = quad(shank_slice, math.radians(FROM), math.radians(TO), epsabs=1e-9, epsrel=1e-11, limit=200)
    assert miss < 1e-8
    return float(total)


def test_exact_shank_has_the_volume_of_the_quadrature_and_no_seam(shank_volume: float) -> None:
    """Faces: side, bore, two of the taper, two of the width, two cuts; a seam inside would part side and bore."""
    patch = exact.evaluate(shank(), PLANES)
    assert patch.volume == pytest.approx(shank_volume, rel=1e-7)
    assert (patch.cell.face_count, patch.face_count) == (8, 6)
    assert (patch.cell.genus, patch.cell.shell_count) == (0, 1)
    assert patch.cell.is_valid()


def test_a_seam_inside_the_wedge_would_show() -> None:
    assert exact.evaluate(shank(OPPOSITE - 180.0), PLANES).cell.face_count == 10


@pytest.mark.parametrize("stops", [(), (140.0, 220.0)], ids=["even", "stopped"])
def test_mesh_shank_agrees_within_the_deviation(shank_volume: float, stops: tuple[float, ...]) -> None:
    """Bound: deviation times area; and the miss falls at least with the deviation (it is seen to fall as fast)."""
    misses = []
    for deviation in (0.02, 0.002):
        patch = mesh.evaluate(shank(stops=stops), PLANES, deviation)
        misses.append(abs(mesh_volume(patch) - shank_volume))
        assert misses[-1] <= deviation * mesh_area(patch)
        points = np.concatenate((patch.vertices, patch.vertices[patch.faces].mean(axis=1)))
        assert np.abs(signed_distance(shank(), points)).max() <= deviation + 1e-7
    assert misses[1] < misses[0] / 5.0


def test_mesh_shank_is_watertight_and_lies_on_the_exact_faces(shank_volume: float) -> None:
    """Its wedge as one more body that it is within, and closed by that: the same volume as between planes."""
    s, c = zip(*(sincosd(angle) for angle in (FROM, TO)), strict=True)
    sector = Profile((Point(0.0, 0.0), *(Point(-40.0 * a, 40.0 * b) for a, b in zip(s, c, strict=True))))
    side, hole = shank(stops=(140.0, 220.0))
    closed = mesh.solid_mesh(
        [replace(side, within=(*side.within, Part("sector", 1, Extruded(sector, 9.0)))), hole], 0.01
    )
    body = trimesh.Trimesh(closed.vertices, closed.faces, process=False)
    assert body.is_watertight
    assert body.is_winding_consistent
    assert body.euler_number == 2
    between = mesh.evaluate([side, hole], PLANES, 0.01)
    assert body.volume == pytest.approx(mesh_volume(between), rel=1e-9)
    assert abs(body.volume - shank_volume) <= 0.01 * body.area
    assert exact.evaluate(shank(), PLANES).cell.distance_to_faces(closed.vertices[::10]).max() <= 0.01


@pytest.mark.parametrize("start", [OPPOSITE, OPPOSITE + 25.0])
def test_stopped_shanks_of_two_cells_meet(start: float) -> None:
    """At 180 degrees, the one plane that holds both axes, two cells with stops of their own show the same corners."""
    stops = tuple(sorted((angle - start) % 360.0 for angle in (FROM, TO)))
    after_stops = tuple(sorted((angle - OPPOSITE) % 360.0 for angle in (TO, 235.0)))
    mine = mesh.evaluate(shank(start, stops), PLANES, 0.02)
    other = mesh.evaluate(shank(OPPOSITE, after_stops), wedge(TO, 235.0), 0.02)
    here, there = mine.vertices[mine.on_plane[1]], other.vertices[other.on_plane[0]]
    assert len(here) == len(there)
    assert cKDTree(here).query(there)[0].max() < 1e-12
