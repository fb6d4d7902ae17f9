"""Rows side by side: distances by brute force, bodies by both engines and by one boolean over all parts."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from bandgen.band import build_mesh, build_solid
from bandgen.cell import moved, whole_cell
from bandgen.engines import mesh
from bandgen.errors import SpecError
from bandgen.inspection.prediction import extents
from bandgen.inspection.soundness import inspect_soundness
from bandgen.inspection.surface import inspect_surface
from bandgen.inspection.topology import measure
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout, Opening, RowPlace
from bandgen.layout.rows import APART_MM, JOINED_MM, tilted_gap
from bandgen.parts import Frame, Part, Point, Profile, Revolved, turned
from bandgen.spec import make_spec
from bandgen.units import KEEP_AWAY_MM

MESH = {"deviation_mm": 0.02}


def band(diameter: float, bore: float, tables: dict[str, Any] | None = None, **arrangement: Any) -> Layout:
    data = {"finger": {"inner_diameter_mm": bore}, "stones": {"diameter_mm": diameter}, "mesh": MESH}
    return compute_layout(make_spec({**data, "arrangement": arrangement, **(tables or {})}))


@cache
def straight(rows: int = 2, diameter: float = 2.0) -> Layout:
    return band(diameter, 16.0, rows=rows)


@cache
def staggered(rows: int = 2, diameter: float = 2.0) -> Layout:
    return band(diameter, 16.0, rows=rows, stagger=True)


def pitch(layout: Layout) -> float:
    return layout.rows[0].z_mm - layout.rows[1].z_mm


def disc(height: float, radius: float, angle: float, z: float) -> np.ndarray:
    """Points (n, 3) all over a girdle's disc: rings of a fine polar grid, in the frame of a seam at angle 0."""
    radii, turns = np.linspace(0.0, radius, 9), np.linspace(0.0, 2.0 * math.pi, 721)
    x, w = np.outer(radii, np.cos(turns)).ravel(), np.outer(radii, np.sin(turns)).ravel()
    return np.column_stack((
        x * math.cos(angle) - height * math.sin(angle), x * math.sin(angle) + height * math.cos(angle), w + z
    ))  # fmt: skip


# Distances


def disc_distance(height: float, radius: float, angle: float, z: float) -> float:
    """Least distance of two discs by a general minimiser on their four coordinates (convex: any minimum is the one)."""

    def point(u: float, w: float, turn: float, lift: float) -> np.ndarray:
        across, along = math.cos(turn), math.sin(turn)
        return np.array((u * across - height * along, u * along + height * across, w + lift))

    def square(q: np.ndarray) -> float:
        return float(np.sum((point(q[0], q[1], 0.0, 0.0) - point(q[2], q[3], angle, z)) ** 2))

    inside = [{"type": "ineq", "fun": lambda q, i=i: radius**2 - q[i] ** 2 - q[i + 1] ** 2} for i in (0, 2)]
    start = np.array((-radius / 3.0, radius / 3.0, radius / 3.0, -radius / 3.0))
    found = minimize(square, start, constraints=inside, method="SLSQP", options={"ftol": 1e-15, "maxiter": 500})
    return math.sqrt(found.fun)


@settings(deadline=None, max_examples=25)
@given(height=st.floats(7.0, 15.0), radius=st.floats(0.5, 1.7), share=st.floats(0.9, 1.4), beside=st.floats(0.9, 1.3))
def test_gap_of_tilted_discs_is_a_minimisers(height: float, radius: float, share: float, beside: float) -> None:
    angle = math.asin(beside * radius / height)
    z = 2.0 * radius * share
    assert tilted_gap(height, radius, angle, z) == pytest.approx(disc_distance(height, radius, angle, z), abs=2e-6)


@given(radius=st.floats(0.5, 1.7), gap=st.floats(0.01, 1.0))
def test_gap_of_discs_in_one_plane_is_plain(radius: float, gap: float) -> None:
    assert tilted_gap(10.0, radius, 0.0, 2.0 * radius + gap) == pytest.approx(gap, abs=1e-9)


def test_girdles_of_staggered_rows_keep_the_gap_by_brute_force() -> None:
    layout = staggered()
    station, half = layout.stations[0], math.radians(layout.seams[0].before_deg)
    args = station.seat.girdle_mm, station.diameter_mm / 2.0
    first, second = disc(*args, 0.0, 0.0), disc(*args, half, pitch(layout))
    least = min(float(np.linalg.norm(second - point, axis=1).min()) for point in first[::7])
    assert layout.row_gap_mm is not None
    # the grid of points is 0.009 mm wide at the rim, of which every seventh is held against all others
    assert layout.row_gap_mm <= least <= layout.row_gap_mm + 0.01
    assert layout.row_gap_mm >= layout.spec.arrangement.row_gap_mm - 1e-9


@pytest.mark.parametrize("gap", [0.1, 0.2, 0.5])
def test_straight_rows_leave_the_gap_asked(gap: float) -> None:
    layout = band(2.5, 18.0, rows=3, row_gap_mm=gap)
    assert layout.row_gap_mm == pytest.approx(gap)
    assert pitch(layout) == pytest.approx(2.5 + gap)
    assert [row.z_mm for row in layout.rows] == pytest.approx([2.5 + gap, 0.0, -2.5 - gap])


def test_row_gap_follows_the_stones_gap() -> None:
    assert straight().row_gap_mm == pytest.approx(straight().spec.stones.gap_mm)


def inner_clearance(layout: Layout, radial: float) -> float:
    prong = layout.seams[0].prong
    return pitch(layout) - 2.0 * prong.axis.z_at(radial) - prong.diameter_mm / math.cos(prong.axis.lean)


@pytest.mark.parametrize(("diameter", "joined"), [(1.2, True), (1.5, False), (2.0, False)])
def test_inner_prongs_stand_apart_or_well_in_one_another(diameter: float, joined: bool) -> None:
    layout = straight(2, diameter)
    prong = layout.seams[0].prong
    heights = (layout.bore_radius_mm, prong.axis.crossing_mm + prong.tip_mm - prong.diameter_mm / 2.0)
    clear = [inner_clearance(layout, height) for height in heights]
    assert max(clear) <= -JOINED_MM if joined else min(clear) >= APART_MM - 1e-4


def test_a_stone_in_its_notch_enters_the_prong_by_the_share_wanted_where_the_gap_allows() -> None:
    layout = band(1.2, 16.0, rows=2, stagger=True, row_gap_mm=0.05)
    prong, station = layout.seams[0].prong, layout.stations[0]
    assert layout.across_overlap == pytest.approx(prong.overlap)
    # the prong's axis as points, in the frame of the stone in the notch, whose axis is the seam's
    z = pitch(layout)
    heights = np.linspace(station.seat.girdle_mm - 1.0, station.seat.girdle_mm + 1.0, 4001)
    along = np.column_stack((np.zeros_like(heights), heights, [prong.axis.z_at(height) for height in heights]))
    turn = np.linspace(0.0, 2.0 * math.pi, 721)
    radius = station.diameter_mm / 2.0
    girdle = np.column_stack(
        (radius * np.cos(turn), np.full_like(turn, station.seat.girdle_mm), z + radius * np.sin(turn))
    )
    reach = min(float(np.linalg.norm(along - point, axis=1).min()) for point in girdle)
    assert 0.5 - reach / prong.diameter_mm == pytest.approx(prong.overlap, abs=1e-4)


# Bodies

SAMPLES = [
    *((rows, diameter, stagger) for rows in (2, 3) for diameter in (1.2, 2.0, 3.0) for stagger in (False, True)),
]


def errors(layout: Layout) -> list[str]:
    built = build_mesh(layout)
    findings, topology = inspect_soundness(built.vertices, built.faces)
    found = [finding.code for finding in (*findings, *inspect_surface(layout, built)) if finding.severity == "error"]
    return found + (["genus"] if topology.genus != layout.genus else [])


@pytest.mark.parametrize(("rows", "diameter", "stagger"), SAMPLES)
def test_rows_are_one_sound_body_of_the_predicted_genus(rows: int, diameter: float, stagger: bool) -> None:
    assert errors((staggered if stagger else straight)(rows, diameter)) == []


@pytest.mark.parametrize("stagger", [False, True])
def test_through_openings_count_in_every_row(stagger: bool) -> None:
    layout = band(2.0, 16.0, {"seat": {"opening": "through"}}, rows=3, stagger=stagger)
    assert layout.openings == (Opening("through-opening", 3 * len(layout.stations)),)
    assert layout.stone_count == 3 * len(layout.stations)
    assert errors(layout) == []


@pytest.mark.parametrize(
    ("tables", "arrangement"),
    [
        ({"prong": {"tip": "flat"}}, {"rows": 3}),
        ({"prong": {"tip": "flat"}}, {"rows": 2, "stagger": True}),
        ({"plug": {"foot_clearance_mm": 0.15}}, {"rows": 2}),
        ({"plug": {"foot_clearance_mm": 0.15}}, {"rows": 2, "stagger": True}),
        ({"seat": {"draft_deg": 0.0}}, {"rows": 3}),
        ({}, {"rows": 2, "pattern_mm": [2.0, 1.7]}),
    ],
)
def test_rows_go_with(tables: dict[str, Any], arrangement: dict[str, Any]) -> None:
    assert errors(band(2.0, 16.0, tables, **arrangement)) == []


@pytest.mark.parametrize("stagger", [False, True])
def test_cells_are_the_whole_ring_in_one_boolean(stagger: bool) -> None:
    """The rows built without any cell: every seam's parts turned into place, trimmed by nothing."""
    layout = band(3.0, 13.0, rows=2, stagger=stagger)
    parts = [turned(part, seam.angle_deg) for seam in layout.seams for part in whole_cell(layout, seam).parts]
    once = [*{(p.name, tuple(np.round((*p.frame.origin, *p.frame.v, *p.frame.w), 6))): p for p in parts}.values()]
    once = [part for part in once if part.name != "bore"] + [whole_bore(layout)]
    reference = mesh.solid_mesh(once, 0.02)
    whole, cells = measure(reference.vertices, reference.faces), build_mesh(layout)
    topology = measure(cells.vertices, cells.faces)
    assert whole.genus == topology.genus == layout.genus
    assert topology.volume == pytest.approx(whole.volume, rel=2e-3)


def whole_bore(layout: Layout) -> Part:
    radius, reach = layout.bore_radius_mm, 10.0
    outline = Profile((Point(0.0, -reach), Point(radius, -reach), Point(radius, reach), Point(0.0, reach)))
    return Part("bore", -1, Revolved(outline), Frame(u=(1.0, 0.0, 0.0), v=(0.0, 0.0, 1.0), w=(0.0, -1.0, 0.0)))


def test_both_engines_agree_on_staggered_rows() -> None:
    """Prongs and plugs that cells cut lengthwise, and no mirror in z; straight rows are in the stability sweep."""
    layout = band(4.0, 10.2, {"seat": {"opening": "through"}}, rows=2, stagger=True)
    solid, built = build_solid(layout), build_mesh(layout)
    topology = measure(built.vertices, built.faces)
    assert solid.is_valid()
    assert solid.genus == topology.genus == layout.genus
    assert solid.volume == pytest.approx(topology.volume, abs=0.02 * topology.area)
    assert np.abs(solid.bounds - topology.bounds).max() < 0.021


# Numbers


@pytest.mark.parametrize("stagger", [False, True])
def test_extents_and_volume_span_all_rows(stagger: bool) -> None:
    layout, single = (staggered if stagger else straight)(3), straight(1)
    built = build_mesh(layout)
    width, outer = extents(layout)
    assert np.abs(built.vertices[:, 2]).max() == pytest.approx(width, abs=0.021)
    assert np.hypot(built.vertices[:, 0], built.vertices[:, 1]).max() == pytest.approx(outer, abs=0.021)
    assert width == pytest.approx(extents(single)[0] + pitch(layout))
    low, high = layout.volume_bounds_mm3
    assert low < measure(built.vertices, built.faces).volume < high


def test_joined_prongs_lower_the_least_volume() -> None:
    layout = straight(3, 1.2)
    assert layout.volume_bounds_mm3[0] < 3.0 * straight(1, 1.2).volume_bounds_mm3[0]


def test_two_staggered_rows_alone_have_no_mirror_in_z() -> None:
    assert straight(2).mirror_z
    assert straight(3).mirror_z
    assert staggered(3).mirror_z
    assert not staggered(2).mirror_z
    assert [row.turned for row in staggered(3).rows] == [False, True, False]


def test_a_single_row_stays_as_it_is() -> None:
    layout = band(2.0, 16.0)
    assert layout.rows == (RowPlace(),)
    assert layout.web is None
    assert layout.row_gap_mm is None
    assert layout.stone_count == len(layout.stations)


def test_the_web_stays_under_rims_and_plugs() -> None:
    layout = straight()
    web, station, seam = layout.web, layout.stations[0], layout.seams[0]
    part = next(part for part in whole_cell(layout, seam).parts if part.name == "web")
    assert web is not None
    assert seam.plug is not None
    corners = [(p.u, p.v) for p in part.shape.profile.points]
    axis = np.array((math.sin(math.radians(seam.before_deg)), math.cos(math.radians(seam.before_deg))))
    assert max(np.dot(axis, corner) for corner in corners if corner[0] > 0.0) <= station.seat.rim_mm - KEEP_AWAY_MM
    top_at_plug = max(v for u, v in corners if abs(u) < seam.plug.before_mm)
    assert top_at_plug <= seam.plug.top_mm - KEEP_AWAY_MM + 1e-9


def test_moved_moves_what_a_part_is_within() -> None:
    part = whole_cell(straight(), straight().seams[0]).parts[0]
    inner = moved(Part(part.name, 1, part.shape, part.frame, (part,)), 1.5)
    assert inner.frame.origin[2] == inner.within[0].frame.origin[2] == part.frame.origin[2] + 1.5


# Refusals


@pytest.mark.parametrize(
    ("key", "tables", "arrangement"),
    [
        ("arrangement.rows", {}, {"rows": 2, "coverage": "half"}),
        ("arrangement.stagger", {}, {"rows": 2, "stagger": True, "pattern_mm": [2.0, 1.8]}),
    ],
)
def test_refused_with_the_reason(key: str, tables: dict[str, Any], arrangement: dict[str, Any]) -> None:
    with pytest.raises(SpecError) as caught:
        band(2.0, 16.0, tables, **arrangement)
    assert [problem.key for problem in caught.value.problems] == [key]
    assert "needs" in caught.value.problems[0].rule
