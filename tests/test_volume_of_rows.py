"""The volume by quadrature of rows side by side: lines between rows against the parts, sums against finer grids and
fine meshes, planted faults."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from test_volume_prediction import Change, errors, in_metal, over_rim, to_seam, without

from bandgen.band import Mesh, build_mesh
from bandgen.cell import whole_cell
from bandgen.engines import mesh, ring
from bandgen.engines.border import straightened
from bandgen.inspection import lines
from bandgen.inspection.surface import signed_distance
from bandgen.inspection.topology import measure
from bandgen.inspection.volume_prediction import HalfCell, _across_rows, _reach, half_cells, predict_volume, quadrature
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout, Side
from bandgen.layout.seatwork import recess_profile
from bandgen.parts import Revolved, volume
from bandgen.spec import make_spec

ROWS = {
    "two": {"stones": {"diameter_mm": 3.0}, "arrangement": {"rows": 2}},
    "three through": {
        "stones": {"diameter_mm": 2.0}, "arrangement": {"rows": 3}, "seat": {"opening": "through"}},
    "prongs in one another": {"stones": {"diameter_mm": 1.2}, "arrangement": {"rows": 2}},
    "two with own prongs": {"stones": {"diameter_mm": 2.5}, "arrangement": {"rows": 2, "prongs": "own"}},
    "three of a pattern": {"arrangement": {"rows": 3, "pattern_mm": [2.4, 1.9]}, "prong": {"tip": "flat"}},
    "staggered": {"stones": {"diameter_mm": 3.0}, "arrangement": {"rows": 2, "stagger": True}},
    "three staggered, through": {
        "stones": {"diameter_mm": 2.0}, "arrangement": {"rows": 3, "stagger": True}, "seat": {"opening": "through"}},
    "staggered, open under the plugs": {
        "stones": {"diameter_mm": 2.0}, "arrangement": {"rows": 2, "stagger": True},
        "plug": {"foot_clearance_mm": 0.15}, "seat": {"draft_deg": 0.0}},
    "three over all": {
        "stones": {"diameter_mm": 2.0}, "arrangement": {"rows": 3, "scallop_mm": 0.25},
        "hoop": {"thickness_mm": 0.4}, "bore": {"section": "comfort"}},
    "staggered over all": {
        "stones": {"diameter_mm": 2.0}, "arrangement": {"rows": 2, "stagger": True, "scallop_mm": 0.25},
        "hoop": {"thickness_mm": 0.4}, "bore": {"section": "comfort"}},
}  # fmt: skip


@cache
def rows_of(name: str, deviation_mm: float = 0.01) -> Layout:
    return compute_layout(
        make_spec({"finger": {"inner_diameter_mm": 16.0}, "mesh": {"deviation_mm": deviation_mm}, **ROWS[name]})
    )


# --- the lines against the parts ---


@pytest.mark.parametrize("name", ROWS)
def test_lines_of_rows_meet_what_the_parts_hold(name):
    """From the first row outwards and towards the second, and of three from the second towards the third."""
    layout = rows_of(name)
    for side in layout.sides(layout.seams[0]):
        cells = _across_rows(layout, side)
        assert len(cells) == len(layout.rows)
        for index, cell in enumerate(cells):
            row, towards = layout.rows[max(index - 1, 0)], -1.0 if index else 1.0
            points = random_points(cell)
            placed = points.copy() if row.turned else to_seam(side, points)
            placed[:, 2] = row.z_mm + towards * points[:, 2]
            agree(layout, side, cell, points, placed)


@pytest.mark.parametrize("name", [name for name in ROWS if "stagger" in name])
def test_a_turned_row_looks_back_at_the_same(name):
    """Its stones stand at the seams: there the stone's frame is the seam's."""
    layout = rows_of(name)
    (side, _) = layout.sides(layout.seams[0])
    cell = _across_rows(layout, side)[1]
    points = random_points(cell)
    agree(layout, side, cell, points, points + np.array((0.0, 0.0, layout.rows[1].z_mm)))


def random_points(cell: HalfCell) -> np.ndarray:
    """Points (n, 3) from a row's middle to the plane half-way to the next row, or past the band's side, in the stone's
    frame."""
    rng, top = np.random.default_rng(11), max(prong.axis.crossing_mm + prong.tip_mm for prong in cell.prongs)
    turn, away = rng.uniform(0.0, cell.edge, 6000), rng.uniform(cell.bore.radius_mm - 0.1, top + 0.1, 6000)
    wide = max(_reach(cell)[1], cell.seat.rim_radius_mm) + 0.2
    z = rng.uniform(0.0, cell.next_row.pitch_mm / 2.0 if cell.next_row else wide, 6000)
    return np.column_stack((away * np.sin(turn), away * np.cos(turn), z))


def agree(layout: Layout, side: Side, cell: HalfCell, points: np.ndarray, placed: np.ndarray):
    """That the lines find the ``points`` in metal where the cell's parts hold them, ``placed`` in the seam's frame; the
    chords of a turned recess's fillet stand a little off it."""
    distance = signed_distance(whole_cell(layout, side.seam).parts, placed)
    clear = (np.abs(distance) > (2e-3 if cell.next_row and cell.next_row.turned else 1e-6)) & ~over_rim(cell, points)
    found = in_metal(cell, points)
    assert 0.1 < found.mean() < 0.9
    assert (found == (distance < 0.0))[clear].all()


@pytest.mark.parametrize("name", ["two", "three through"])
def test_frusta_of_a_recess_have_its_volume(name):
    seat = rows_of(name).stations[0].seat
    sides = lines.recess_sides(seat)
    frusta = sum(
        math.pi * (high - low) * (lower**2 + lower * upper + upper**2) / 3.0 for (lower, low), (upper, high) in sides
    )
    profile = recess_profile(seat, seat.base_mm if seat.through else seat.floor_mm)
    assert frusta == pytest.approx(volume(Revolved(profile)), rel=2e-5)
    assert seat.fillet_mm > 0.0


@pytest.mark.parametrize("slope", [-0.2, 0.0, 3.0, 12.0])  # the last hangs over: 1 / tan(0.15) is 6.6
def test_lines_under_a_roof(slope):
    rng, half = np.random.default_rng(12), 0.15
    roof = lines.Roof(-0.1, 0.3, 9.5, slope)
    x, y = rng.uniform(0.5, 2.0, 20000), rng.uniform(6.0, 13.0, 20000)
    low, high = lines.meet_roof(roof, half, x)
    across, up = y * math.sin(half) - x * math.cos(half), x * math.sin(half) + y * math.cos(half)
    under = (across > -0.1) & (across < 0.3) & (up < 9.5 + slope * across)
    assert (((low < y) & (y < high)) == under).all()
    assert under.any()


# --- sums ---


@pytest.mark.parametrize("name", ROWS)
def test_error_bound_holds_for_rows(name):
    layout = rows_of(name)
    predicted, error = predict_volume(layout)
    assert abs(predicted - quadrature(layout, 150)) <= error < 2e-3 * predicted
    assert not errors(layout, build_mesh(layout))


@pytest.mark.parametrize("name", ["three of a pattern", "staggered", "three over all"])
def test_volume_of_rows_is_a_fine_meshes(name):
    layout = rows_of(name, 0.004)
    built = build_mesh(layout)
    topology = measure(built.vertices, built.faces)
    assert quadrature(layout, 200) == pytest.approx(topology.volume, abs=0.012 * 0.004 * topology.area)


def test_half_cells_of_all_rows_count():
    """Two rows have an outer and an inner half on either side; in the middle row of three the web is all along."""
    stations = len(rows_of("two").stations)
    assert list(half_cells(rows_of("two")).values()) == [2 * stations] * 2
    webs = [cell.next_row and cell.next_row.web_from_mm for cell in half_cells(rows_of("three through"))]
    assert webs[0] is None
    assert webs[2] == 0.0 < webs[1]


# --- planted faults ---


def rows_planted(layout: Layout, change: Change) -> Mesh:
    """Rows of equal stones, every cell changed, and not made whole by a mirror in z."""
    cell = whole_cell(layout, layout.seams[0])
    patch = mesh.evaluate(change(cell.parts), (cell.before, cell.after), layout.spec.mesh.deviation_mm)
    strip = ring.strip_of_whole(straightened(patch, (0, 1)))
    closed = ring.close_ring([(strip, seam.angle_deg) for seam in layout.seams])
    return Mesh(closed.vertices, closed.faces, closed.cell_faces)


def without_at(name: str, z_mm: float) -> Change:
    return lambda parts: tuple(p for p in parts if p.name != name or abs(p.frame.origin[2] - z_mm) > 1e-6)


def test_faults_between_rows_are_seen():
    layout = rows_of("two")
    row, spread = layout.rows[0].z_mm, layout.seams[0].prong.axis.spread_mm
    assert not errors(layout, rows_planted(layout, lambda parts: parts))
    for change in (without("web"), without_at("prong", row - spread), without_at("recess", row)):
        assert "volume" in errors(layout, rows_planted(layout, change))


@pytest.mark.parametrize("name", ["three through", "three staggered, through"])
def test_the_middle_rows_recesses_filled_are_seen(name):
    layout = rows_of(name)
    assert "volume" in errors(layout, rows_planted(layout, without_at("recess", layout.rows[1].z_mm)))
