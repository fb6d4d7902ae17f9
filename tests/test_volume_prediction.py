"""The volume by quadrature, of every kind of band: its lines against the parts' signed distances, point by point, its
sums against closed forms, the exact kernel and finer grids, and faults planted in bands of unequal stones."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from bandgen.band import Mesh, build_mesh, build_solid
from bandgen.cell import BUILDERS, MIRROR_Z, whole_cell
from bandgen.engines import mesh, ring
from bandgen.errors import SpecError
from bandgen.inspection import lines, volume_prediction
from bandgen.inspection.extras import EXTRAS
from bandgen.inspection.findings import Finding
from bandgen.inspection.surface import inspect_surface, signed_distance
from bandgen.inspection.topology import measure
from bandgen.inspection.volume_prediction import half_cells, inspect_volume, predict_volume, quadrature
from bandgen.layout.compute import compute_layout
from bandgen.layout.hoop import HoopNumbers
from bandgen.layout.numbers import BoreNumbers, Layout, Seam, Side
from bandgen.layout.set_numbers import BurNumbers
from bandgen.parts import Part
from bandgen.spec import make_spec

BANDS = {
    "even": {"stones": {"diameter_mm": 3.0}},
    "even through, flat prongs": {
        "stones": {"diameter_mm": 3.0}, "seat": {"opening": "through"}, "prong": {"tip": "flat"}},
    "straight cups": {"stones": {"diameter_mm": 2.5}, "seat": {"draft_deg": 0.0}},
    "all but straight cups": {  # their sides stand nearly along the lines
        "arrangement": {"pattern_mm": [2.67, 2.635], "heights": "tables"}, "seat": {"draft_deg": 0.058}},
    "pattern": {"arrangement": {"pattern_mm": [3.2, 2.0]}},
    "pattern, steep cups": {"arrangement": {"pattern_mm": [2.0, 1.4]}, "seat": {"draft_deg": 9.0}},
    "graduated, level tables": {
        "stones": {"diameter_mm": 3.0}, "arrangement": {"end_mm": 2.0, "heights": "tables"}},
    "own prongs": {"stones": {"diameter_mm": 2.5}, "arrangement": {"prongs": "own"}},
    "own prongs, pattern": {"arrangement": {"prongs": "own", "pattern_mm": [2.5, 2.0]}},
    "half with own prongs": {"stones": {"diameter_mm": 2.5}, "arrangement": {"prongs": "own", "coverage": "half"}},
    "comfort": {"stones": {"diameter_mm": 2.5}, "bore": {"section": "comfort"}},
    "hoop under a pattern": {"arrangement": {"pattern_mm": [3.0, 2.5]}, "hoop": {"thickness_mm": 0.4}},
    "open hoop": {
        "stones": {"diameter_mm": 3.0}, "seat": {"opening": "through"},
        "hoop": {"thickness_mm": 0.4, "openings": True}},
    "scallops": {"stones": {"diameter_mm": 3.0}, "arrangement": {"scallop_mm": 0.4}},
    "half": {"stones": {"diameter_mm": 3.0}, "arrangement": {"coverage": "half"}},
    "half round, widening": {
        "stones": {"diameter_mm": 3.0}, "arrangement": {"coverage": "three-quarter"},
        "shank": {"section": "half-round", "end_width_mm": 2.2, "base_width_mm": 2.6}},
    "half with all": {
        "stones": {"diameter_mm": 3.0}, "arrangement": {"coverage": "half", "end_mm": 2.4},
        "hoop": {"thickness_mm": 0.4}, "bore": {"section": "comfort"}},
}  # fmt: skip


@cache
def layout_of(name: str, deviation_mm: float = 0.01) -> Layout:
    return compute_layout(
        make_spec({"finger": {"inner_diameter_mm": 16.0}, "mesh": {"deviation_mm": deviation_mm}, **BANDS[name]})
    )


def test_every_kind_of_part_has_its_lines():
    """But for the setter's: the metal that he cuts is measured, not predicted (``as_set``)."""
    assert EXTRAS.keys() == BUILDERS.keys() - {BurNumbers}


# --- the lines against the parts ---


def in_metal(cell: volume_prediction.HalfCell, points: np.ndarray) -> np.ndarray:
    """Whether the lines through ``points`` (n, 3) in the stone's frame say that these lie in metal."""
    x, y, z = points.T
    radius = np.hypot(x, z)
    metal, cuts = volume_prediction._everywhere(cell, x, z)
    metal, cuts = [*metal, lines.meet_cup(cell.seat, radius)], [*cuts, lines.meet_recess(cell.seat, radius)]
    within = [np.any([(low < y) & (y < high) for low, high in some], axis=0) for some in (metal, cuts)]
    return within[0] & ~within[1] & (np.hypot(x, y) > lines.bore_radius(cell.bore, cell.from_middle(z)))


def points_of(layout: Layout, side: Side, cell: volume_prediction.HalfCell, count: int) -> np.ndarray:
    """Random points (n, 3) of a half-cell in the stone's frame, within the plane up to which lines are taken."""
    rng = np.random.default_rng(7)
    bore, top = layout.bore_radius_mm, max(prong.axis.crossing_mm + prong.tip_mm for prong in cell.prongs)
    wide = max(cell.seat.rim_radius_mm, volume_prediction._reach(cell)[1]) + 0.2
    turn, away = rng.uniform(0.0, cell.edge, count), rng.uniform(bore - 0.1, top + 0.1, count)
    return np.column_stack((away * np.sin(turn), away * np.cos(turn), rng.uniform(0.0, wide, count)))


def to_seam(side: Side, points: np.ndarray) -> np.ndarray:
    """From the stone's frame, x towards the seam, to the seam's."""
    x, y, z = points.T
    sine, cosine = math.sin(side.half), math.cos(side.half)
    return np.column_stack((-side.sign * (x * cosine - y * sine), x * sine + y * cosine, z))


@pytest.mark.parametrize("name", BANDS)
def test_lines_meet_what_the_parts_hold(name):
    layout = layout_of(name)
    sides = {volume_prediction._half_cell(layout, side): side for seam in layout.seams for side in layout.sides(seam)}
    for cell, side in list(sides.items())[:: max(len(sides) // 4, 1)]:
        points = points_of(layout, side, cell, 4000)
        distance = signed_distance(whole_cell(layout, side.seam).parts, to_seam(side, points))
        clear = (np.abs(distance) > 1e-6) & ~over_rim(cell, points)
        found = in_metal(cell, points)
        assert 0.1 < found.mean() < 0.9
        assert (found == (distance < 0.0))[clear].all()


def over_rim(cell: volume_prediction.HalfCell, points: np.ndarray) -> np.ndarray:
    """The recess's tool stands a little over the rim, in the air."""
    x, y, z = points.T
    return (np.hypot(x, z) < cell.seat.mouth_radius_mm) & (y > cell.seat.rim_mm)


@pytest.mark.parametrize("name", [name for name in BANDS if "half" in name])
def test_rays_meet_what_the_shank_holds(name):
    layout = layout_of(name)
    seam = layout.seams[-1]
    (side,) = layout.sides(seam)
    cell = volume_prediction._half_cell(layout, side)
    rng = np.random.default_rng(8)
    turn, z = rng.uniform(cell.edge, cell.half + cell.plain, 8000), rng.uniform(0.0, 1.7, 8000)
    away = rng.uniform(layout.bore_radius_mm - 0.1, layout.bore_radius_mm + 2.5, 8000)
    metal = [
        EXTRAS[type(numbers)].on_rays(numbers, turn, z) for numbers in cell.extras if EXTRAS[type(numbers)].on_rays
    ]
    found = np.any([(low < away) & (away < high) for low, high in metal], axis=0)
    found &= away > lines.bore_radius(cell.bore, z)
    points = np.column_stack((away * np.sin(turn), away * np.cos(turn), z))
    distance = signed_distance(whole_cell(layout, seam).parts, to_seam(side, points))
    clear = np.abs(distance) > 1e-6
    assert 0.1 < found.mean() < 0.9
    assert (found == (distance < 0.0))[clear].all()


# --- sums against closed forms ---


@pytest.mark.parametrize("turn", [0.0, 0.05, 0.3, 1.0])
@pytest.mark.parametrize("lower", [0.4, 0.8, 1.0])
def test_a_turned_frustum_keeps_its_volume(turn, lower):
    steps = np.arange(-300, 300) + 0.5
    x, z = (each.ravel() for each in np.meshgrid(9.5 * math.sin(turn) + steps * 0.01, steps[300:] * 0.01))
    low, high = lines.meet_frustum(((lower, 9.0), (1.0, 10.0)), turn, x, z)
    volume = 2.0 * 1e-4 * np.maximum(high - low, 0.0).sum()
    assert volume == pytest.approx(math.pi * (lower**2 + lower + 1.0) / 3.0, rel=2e-3)  # textbook


def test_union_by_counting_points():
    rng = np.random.default_rng(9)
    for count in range(1, 7):
        ends = rng.uniform(-1.0, 3.0, (count, 2, 200))  # a third of them empty
        parts = [(low, high) for low, high in ends]
        floor = rng.uniform(0.0, 0.5, 200)
        places = (np.arange(4000) + 0.5)[:, None] * 0.0005
        inside = np.any([(low < places) & (places < high) for low, high in parts], axis=0) & (places > floor)
        assert volume_prediction._covered(parts, floor, 2.0) == pytest.approx(inside.sum(axis=0) * 0.0005, abs=0.006)


def test_no_line_is_covered_by_nothing():
    nothing = (np.array([np.inf, 3.0]), np.array([-np.inf, 1.0]))
    assert (volume_prediction._covered([nothing, nothing], np.zeros(2), 5.0) == 0.0).all()
    assert (volume_prediction._covered([], np.zeros(2), 5.0) == 0.0).all()


@pytest.mark.parametrize("bore", [BoreNumbers(8.0), BoreNumbers(8.0, 0.2, 1.5)])
def test_bore_radius_is_the_layouts(bore):
    z = np.linspace(0.0, 2.0, 50)
    assert lines.bore_radius(bore, z) == pytest.approx([bore.radius_at(each) for each in z], rel=1e-14)


def test_a_hoop_alone_has_its_closed_form():
    cell = volume_prediction._half_cell(layout_of("half"), layout_of("half").sides(layout_of("half").seams[-1])[0])
    bare = replace(cell, extras=(HoopNumbers(8.0, 0.5, 1.4),))
    angle = cell.half + cell.plain - cell.edge
    assert volume_prediction._on_rays(bare, 12) == pytest.approx(angle * (8.5**2 - 8.0**2) / 2.0 * 1.4, rel=1e-12)


# --- against the exact kernel and finer grids ---


@pytest.mark.parametrize("name", ["pattern", "half"])
def test_volume_is_the_exact_kernels(name):
    layout = layout_of(name)
    volume = build_solid(layout).volume
    assert quadrature(layout, 400) == pytest.approx(volume, rel=2e-5)
    predicted, error = predict_volume(layout)
    assert abs(predicted - volume) <= error < 1e-3 * volume


@pytest.mark.parametrize("name", BANDS)
def test_error_bound_holds(name):
    layout = layout_of(name)
    predicted, error = predict_volume(layout)
    assert abs(predicted - quadrature(layout, 200)) <= error < 1.5e-3 * predicted


def test_error_bound_holds_over_random_rows():
    rng, seen = random.Random("volume"), 0
    for _ in range(8):
        sizes = [round(rng.uniform(1.5, 2.6), 2) for _ in range(rng.randint(2, 5))]
        seat = {"opening": rng.choice(("blind", "through")), "draft_deg": rng.uniform(1.0, 8.0)}
        heights = rng.choice(("tables", "clearance"))
        data = {"finger": {"inner_diameter_mm": rng.uniform(15.0, 20.0)}, "seat": seat,
                "arrangement": {"pattern_mm": sizes, "heights": heights}}  # fmt: skip
        try:
            layout = compute_layout(make_spec(data))
        except SpecError:
            continue
        predicted, error = predict_volume(layout)
        assert abs(predicted - quadrature(layout, 120)) <= error < 1e-3 * predicted, data
        seen += 1
    assert seen > 4


def test_half_cells_alike_are_one():
    assert list(half_cells(layout_of("even")).values()) == [2 * len(layout_of("even").stations)]
    pattern = half_cells(layout_of("pattern"))
    assert sorted(pattern.values()) == [len(layout_of("pattern").stations)] * 2
    assert {len({cell.seat.rim_mm for cell in pattern})} == {2}


# --- planted faults ---

Change = Callable[[tuple[Part, ...]], tuple[Part, ...]]


def planted(layout: Layout, changes: dict[int, Change]) -> Mesh:
    """The band's mesh, whole cells only, the parts of some changed."""
    placed = [(_strip(layout, seam, changes.get(seam.index)), seam.angle_deg) for seam in layout.seams]
    closed = ring.close_ring(placed)
    vertices = closed.vertices.astype(np.float32).astype(np.float64)
    return Mesh(vertices, closed.faces, closed.cell_faces)


def _strip(layout: Layout, seam: Seam, change: Change | None) -> ring.Strip:
    cell = whole_cell(layout, seam)
    parts = cell.parts if change is None else change(cell.parts)
    return ring.strip_of_whole(mesh.evaluate(parts, (cell.before, cell.after, MIRROR_Z), layout.spec.mesh.deviation_mm))


def without(name: str) -> Change:
    return lambda parts: tuple(part for part in parts if part.name != name)


def with_shifted_prongs(mm: float) -> Change:
    def shifted(part: Part) -> Part:
        x, y, z = part.frame.origin
        return Part(part.name, part.sign, part.shape, replace(part.frame, origin=(x + mm, y, z)))

    return lambda parts: tuple(shifted(part) if part.name == "prong" else part for part in parts)


def errors(layout: Layout, faulty: Mesh) -> dict[str, Finding]:
    found = [*inspect_surface(layout, faulty), inspect_volume(layout, measure(faulty.vertices, faulty.faces))]
    return {finding.code: finding for finding in found if finding.severity == "error" and finding.code != "cells-alike"}


def unequal() -> Layout:
    return layout_of("graduated, level tables")


@pytest.mark.parametrize("name", BANDS)
def test_no_check_cries_at_a_sound_band(name):
    assert not errors(layout_of(name), build_mesh(layout_of(name)))


def test_faults_in_every_cell_change_the_volume():
    layout = unequal()
    every = range(len(layout.seams))
    assert not errors(layout, planted(layout, {}))
    for change in (without("plug"), without("recess"), without("prong")):
        assert "volume" in errors(layout, planted(layout, dict.fromkeys(every, change)))


@pytest.mark.parametrize("change", [without("plug"), with_shifted_prongs(0.05)], ids=["no plug", "prong off"])
def test_a_fault_in_one_cell_is_seen(change):
    layout = unequal()
    caught = errors(layout, planted(layout, {2: change}))
    assert caught.keys() & {"surface", "volume"}


def test_one_recess_filled_is_seen():
    layout = unequal()
    only = half_filled(layout, 3)
    assert errors(layout, planted(layout, only)).keys() & {"surface", "volume"}


def half_filled(layout: Layout, station: int) -> dict[int, Change]:
    """The recess of one station left out of both its cells."""

    def change(side: Side) -> Change:
        which = 0 if side.sign > 0 else 1

        def fill(parts: tuple[Part, ...]) -> tuple[Part, ...]:
            gone = [part for part in parts if part.name == "recess"][which]
            return tuple(part for part in parts if part is not gone)

        return fill

    return {side.seam.index: change(side) for side in layout.beside(layout.stations[station])}


WIDE_HOOP = {"hoop": {"thickness_mm": 0.33, "width_mm": 12.0}}
CARVED = {
    "sizes_mm": [2.57, 2.47, 2.37, 2.28, 2.19, 2.1, 2.01, 1.93, 1.86, 1.78, 1.71, 1.64, 1.58],
    "scallop_mm": 0.147,
}


@pytest.mark.parametrize(
    "data",
    [
        {"finger": {"size": "CH 33"}, "arrangement": {"pattern_mm": [1.02, 1.0], "heights": "tables"}, **WIDE_HOOP},
        {"finger": {"inner_diameter_mm": 13.45}, "arrangement": {**CARVED, "heights": "tables"}},
    ],
    ids=["a hoop far wider than the cups", "arches in many different cups"],
)
def test_found_by_random_bands(data):
    """Each was once off by more than its bound: lines too far apart."""
    layout = compute_layout(make_spec(data))
    volume, bound = predict_volume(layout)
    assert abs(volume - quadrature(layout, 300)) < bound < 2e-3 * volume
