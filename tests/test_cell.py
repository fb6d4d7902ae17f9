"""Cells: does the metal do its work? A faceted stone enters its seat from above, bites prongs only, and touches."""

from __future__ import annotations

import math
from functools import cache

import manifold3d
import numpy as np
import pytest

from bandgen.cell import quarter_cell, station_plane, whole_cell
from bandgen.engines import mesh
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout
from bandgen.parts import turned
from bandgen.spec import make_spec
from bandgen.trade.stones import Proportions, brilliant

FINE_MM = 0.001
BANDS = [(1.2, 17.0, {}), (2.0, 17.0, {}), (3.5, 15.0, {}), (2.0, 17.0, {"seat": {"opening": "through"}}),
         (2.0, 16.7, {"seat": {"bearing_deg": 45.0, "bearing_mm": 0.6, "draft_deg": 3.0, "floor_mm": 0.8}}),
         (2.5, 19.0, {"stones": {"pavilion_deg": 43.0, "material": "emerald"}})]  # fmt: skip
IDS = range(len(BANDS))


@cache
def layout(which: int) -> Layout:
    diameter, bore, tables = BANDS[which]
    stones = {"diameter_mm": diameter, **tables.get("stones", {})}
    return compute_layout(make_spec({"finger": {"inner_diameter_mm": bore}, **tables, "stones": stones}))


def as_manifold(vertices: np.ndarray, faces: np.ndarray) -> manifold3d.Manifold:
    body = manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(vertices), faces.astype(np.uint64)))
    assert body.status() == manifold3d.Error.NoError
    return body


@cache
def metal_round_a_stone(which: int) -> manifold3d.Manifold:
    """The closed metal of the two cells that meet at the stone on +Y: two seams, four prongs, three cups."""
    band = layout(which)
    seam = band.seams[0]
    cell = whole_cell(band, seam).parts
    parts = [turned(part, angle) for angle in (-seam.before_deg, seam.before_deg) for part in cell]
    patch = mesh.evaluate(parts, (), FINE_MM)
    return as_manifold(patch.vertices, patch.faces)


@cache
def stone(which: int) -> manifold3d.Manifold:
    """The faceted brilliant in its seat on +Y, its facet edges turned by 5 degrees off every symmetry."""
    station = layout(which).stations[0]
    proportions: Proportions = station.proportions
    vertices, faces = brilliant(station.diameter_mm, proportions, 1e-4)
    return as_manifold(vertices, faces).rotate([0.0, 5.0, 0.0]).translate([0.0, station.seat.girdle_mm, 0.0])


def bitten(which: int, lift: float) -> manifold3d.Manifold:
    """What the stone, lifted along its axis, takes out of the metal."""
    return stone(which).translate([0.0, lift, 0.0]) ^ metal_round_a_stone(which)


def prong_axes(which: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """Point and direction of the four prongs' axes in the stone's frame, from the layout's numbers."""
    seam = layout(which).seams[0]
    axis, half = seam.prong.axis, math.radians(seam.before_deg)
    found = []
    for side in (1.0, -1.0):
        turn = np.array(
            [[math.cos(half), side * math.sin(half), 0], [-side * math.sin(half), math.cos(half), 0], [0, 0, 1]]
        )
        for z in (1.0, -1.0):
            point = np.array([0.0, axis.crossing_mm, z * axis.spread_mm])
            found.append((turn @ point, turn @ [0.0, math.cos(axis.lean), z * math.sin(axis.lean)]))
    return found


def from_prongs(which: int, points: np.ndarray) -> np.ndarray:
    """Distance (n,) from the nearest of the four prongs' axes."""
    away = [np.linalg.norm(np.cross(points - point, along), axis=1) for point, along in prong_axes(which)]
    return np.min(away, axis=0)


def vertices_of(body: manifold3d.Manifold) -> np.ndarray:
    return np.array(body.to_mesh64().vert_properties[:, :3])


@pytest.mark.parametrize("which", IDS)
@pytest.mark.parametrize("lift", [0.0, 0.05, 0.3])
def test_a_stone_enters_from_above_and_cuts_prongs_only(which: int, lift: float) -> None:
    """Lifted by one facet deviation besides, since the mesh may stand that far proud of the true bearing."""
    band = layout(which)
    taken = bitten(which, lift + FINE_MM)
    points = vertices_of(taken)
    assert taken.volume() > 0.0
    assert points[:, 1].min() > band.stations[0].seat.rim_mm
    assert from_prongs(which, points).max() <= band.seams[0].prong.diameter_mm / 2.0 + FINE_MM
    assert len(taken.decompose()) == 4


@pytest.mark.parametrize("which", IDS)
def test_a_stone_touches_its_bearing_within_20_microns(which: int) -> None:
    """Pressed down by 0.02 mm it cuts into the bearing, under the rim, on every side: all eight octants."""
    band = layout(which)
    seat = band.stations[0].seat
    inside = manifold3d.Manifold.cylinder(2.0, seat.mouth_radius_mm, seat.mouth_radius_mm, 64)
    well = inside.rotate([-90.0, 0.0, 0.0]).translate([0.0, seat.rim_mm - 2.0, 0.0])
    deep = bitten(which, -0.02) ^ well
    assert (bitten(which, FINE_MM) ^ well).volume() == 0.0
    assert deep.volume() > 0.0
    points = vertices_of(deep)
    octants = np.unique(np.floor(np.degrees(np.arctan2(points[:, 0], points[:, 2])) / 45.0) % 8)
    assert len(octants) == 8


@pytest.mark.parametrize("which", IDS)
def test_engagement_on_the_solid_is_the_share(which: int) -> None:
    """Depth of the lower girdle circle in the metal of a prong's free shaft, which is convex: the least distance
    under the planes of its triangles; taken at its deepest, as a share of the diameter, within 1 %."""
    band = layout(which)
    prong, girdle, d = band.seams[0].prong, band.stations[0].seat.girdle_mm, band.stations[0].diameter_mm
    whole = metal_round_a_stone(which).to_mesh64()
    corners = np.array(whole.vert_properties[:, :3])[np.asarray(whole.tri_verts, dtype=np.int64)]
    point, along = prong_axes(which)[0]
    away = np.linalg.norm(np.cross(corners - point, along), axis=2)
    up = (corners - point) @ along
    shaft = (
        (away < 0.6 * prong.diameter_mm).all(axis=1)
        & (up.max(axis=1) > 0.01)
        & (corners[..., 1] > girdle - 0.02).any(axis=1)
    )
    edges = corners[shaft][:, 1:] - corners[shaft][:, :1]
    normals = np.cross(edges[:, 0], edges[:, 1])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    turn = np.linspace(-math.pi, math.pi, 14401)
    circle = np.column_stack((d / 2.0 * np.sin(turn), np.full_like(turn, girdle), d / 2.0 * np.cos(turn)))
    circle = circle[np.linalg.norm(np.cross(circle - point, along), axis=1) < prong.diameter_mm / 2.0]
    offsets = np.einsum("fx,fx->f", normals, corners[shaft][:, 0])
    depth = (offsets - circle @ normals.T).min(axis=1).max()
    assert shaft.sum() >= 40
    assert depth / prong.diameter_mm == pytest.approx(band.spec.prong.overlap, rel=0.01)


@pytest.mark.parametrize("which", IDS)
def test_cells_hold_what_their_docstring_says(which: int) -> None:
    band = layout(which)
    seam = band.seams[0]
    whole, quarter = whole_cell(band, seam), quarter_cell(band, seam)
    names = ["cup", "recess", "cup", "recess", "prong", "prong", "plug", "bore"]
    assert [part.name for part in whole.parts] == names
    assert [part.name for part in quarter.parts] == ["cup", "recess", "prong", "plug", "bore"]
    assert set(quarter.parts) <= set(whole.parts)
    assert whole.before == quarter.before
    assert len(quarter.mirrors) == 1


@pytest.mark.parametrize("side", [1, -1])
def test_station_planes_hold_the_rings_axis_and_the_stones(side: int) -> None:
    """The stone's axis lies in the plane; the seam, on +Y, lies inside."""
    plane = station_plane(side * 6.0, side)
    x, y = -math.sin(math.radians(side * 6.0)), math.cos(math.radians(side * 6.0))
    assert plane.normal[0] * x + plane.normal[1] * y == pytest.approx(0.0, abs=1e-15)
    assert plane.normal[1] < 0.0
    assert math.hypot(*plane.normal) == pytest.approx(1.0)
