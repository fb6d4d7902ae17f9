"""The checks themselves on trial: every wrong band that we could think of is found out, each by its own error code.

Sound bands come first: a check that cries at those proves nothing by crying at the others.
"""

from __future__ import annotations

import copy
import math
from functools import cache

import numpy as np
import pytest
from conftest import SAMPLES
from mutants import MUTANTS, Sound
from mutants_of_meshes import one_cell_turned
from mutants_of_parts import every_recess_refilled, first_recess_refilled, middle_recess_refilled
from random_specs import random_spec
from scipy.spatial import cKDTree

from bandgen.band import build_mesh, build_solid
from bandgen.builders.seat import cup_profile, recess_bottom
from bandgen.cell import whole_cell
from bandgen.engines.exact_solid import Solid, compound
from bandgen.engines.facets import polyline
from bandgen.errors import SpecError
from bandgen.inspection.agreement import inspect_agreement
from bandgen.inspection.findings import Finding
from bandgen.inspection.surface import inspect_surface, outline_distance, part_distance, signed_distance
from bandgen.inspection.topology import measure
from bandgen.inspection.volume_prediction import inspect_volume, predict_volume, quadrature
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout
from bandgen.layout.seatwork import recess_profile
from bandgen.parts import Extruded, Part, Point, Profile, Revolved
from bandgen.pipeline import inspect_mesh
from bandgen.spec import load_spec, make_spec

BASE = {"finger": {"inner_diameter_mm": 16.0}, "stones": {"diameter_mm": 3.0}, "mesh": {"deviation_mm": 0.01}}
KINDS = {
    "blind": {},
    "through": {"seat": {"opening": "through"}},
    "parted": {"seat": {"draft_deg": 8.0}},  # the feet stand apart at the finger, so that an open slot is a hole
}
MESH_CODES = {
    *("open-edges", "nonmanifold-edges", "misoriented-edges", "nonmanifold-vertices", "zero-area-faces", "inside-out"),
    *("cavities", "bodies", "self-intersections", "genus", "volume-bounds", "band-width", "outer-diameter"),
    *("bore-diameter", "surface", "cells-alike", "volume"),
}
EXACT_CODES = {"exact-valid", "exact-genus", "exact-volume", "exact-bounds", "exact-distance"}


@cache
def sound(kind: str) -> Sound:
    layout = compute_layout(make_spec({**BASE, **KINDS[kind]}))
    return Sound(layout, build_mesh(layout))


def inspected(layout: Layout, mesh) -> list[Finding]:
    findings, topology = inspect_mesh(layout, mesh)
    if "volume" not in {finding.code for finding in findings}:
        findings = [*findings, *inspect_surface(layout, mesh), inspect_volume(layout, topology)]
    return findings


def errors(findings: list[Finding]) -> dict[str, Finding]:
    return {finding.code: finding for finding in findings if finding.severity == "error"}


# --- the control group ---


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_no_check_cries_at_a_sample(path):
    layout = compute_layout(load_spec(path))
    findings = inspected(layout, build_mesh(layout))
    assert not errors(findings)
    assert {finding.code for finding in findings} >= MESH_CODES


@pytest.mark.parametrize("kind", KINDS)
def test_no_check_cries_at_what_the_mutants_start_from(kind):
    assert not errors(inspected(sound(kind).layout, sound(kind).mesh))


# --- the mutants ---


@pytest.mark.parametrize("name", MUTANTS)
def test_mutant_is_caught(name):
    make, codes, kind = MUTANTS[name]
    start = sound(kind)
    before = start.mesh.vertices.tobytes(), start.mesh.faces.tobytes()
    caught = errors(inspected(start.layout, make(start)))
    assert (start.mesh.vertices.tobytes(), start.mesh.faces.tobytes()) == before  # no mutant spoils the next
    assert caught.keys() >= codes, f"{name}: {sorted(caught)}"


def test_every_check_of_a_mesh_is_made_to_cry():
    assert set().union(*(codes for _, codes, _ in MUTANTS.values())) == MESH_CODES
    assert len(MUTANTS) >= 24


def test_a_fault_is_placed_where_it_is():
    start = sound("blind")
    assert errors(inspected(start.layout, one_cell_turned(start)))["cells-alike"].place.seam == start.middle
    caught = errors(inspected(start.layout, MUTANTS["void in the metal"][0](start)))["cavities"]
    assert math.dist(caught.place.point, (0.0, start.layout.stations[0].seat.floor_mm, 0.0)) < 0.5


def test_at_the_default_deviation_the_surface_shows_a_refilled_recess():
    layout = compute_layout(make_spec({**BASE, "mesh": {}}))
    start = Sound(layout, build_mesh(layout))
    for make in (every_recess_refilled, first_recess_refilled):
        assert "surface" in errors(inspected(layout, make(start)))
    assert "surface" not in errors(inspected(layout, middle_recess_refilled(start)))  # hence cells-alike


def test_coordinates_that_are_no_numbers_are_refused():
    start = sound("blind")
    points = start.mesh.vertices.copy()
    points[3, 1] = math.nan
    with pytest.raises(ValueError, match="not finite"):
        measure(points, start.mesh.faces)


# --- mistakes that never become a mesh: refused by the event's own words ---

REFUSED = {
    "one stone too many": ({"stones.count": 21}, "stones.count", "at most 20 fit"),
    "too few stones for a shared prong": ({"stones.count": 8}, "stones.count", "too far apart"),
    "void under the plug": ({"plug.foot_clearance_mm": 1.0, "seat.draft_deg": 6.5}, "plug.foot_clearance_mm", "a void"),
    "pinhole": ({"plug.bite_mm": 0.02}, "plug.bite_mm", "a pinhole would stay"),
    "plug in the recess": ({"plug.bite_mm": 0.5}, "plug.bite_mm", "reaches the mouth of the recess"),
    "plug wider than prong": ({"plug.bite_mm": 0.8}, "prong.diameter_mm", "wider than the prong"),
    "culet in the floor": (
        {"seat.floor_mm": 1.2, "stones.culet_clearance_mm": 1.0}, "seat.floor_mm", "the culet reaches the floor"),
    "stone off its bearing": ({"seat.bearing_deg": 38.0}, "seat.bearing_deg", "flatter than the pavilion"),
    "cups in one another": ({"seat.rim_diameter_mm": 3.4}, "seat.rim_diameter_mm", "rims of neighbouring cups"),
    "cup narrower than recess": ({"seat.rim_diameter_mm": 2.0}, "seat.rim_diameter_mm", "reaches the cup's side"),
    "no recess": ({"seat.wall_mm": 1.5}, "seat.wall_mm", "leaves no recess"),
    "no bearing": ({"seat.wall_mm": 0.2}, "seat.wall_mm", "bearing is too narrow"),
    "prongs in one another": ({"prong.overlap": 0.33}, "prong.overlap", "run into each other"),
    "prong over the bearing": ({"prong.overlap": 0.33}, "prong.overlap", "stands over the bearing"),
    "prong beside the cups": ({"seat.rim_diameter_mm": 2.0}, "prong.diameter_mm", "stands off the cups"),
    "prong under the stone": ({"prong.diameter_mm": 2.5}, "prong.diameter_mm", "under the middle of a stone"),
    "prong too short": ({"prong.height_above_girdle_mm": 0.2}, "prong.height_above_girdle_mm", "shoulder lies under"),
    "bearing in the floor": (
        {"stones.culet_clearance_mm": 0.1, "seat.rim_below_girdle_mm": 1.0}, "seat.floor_mm", "bearing reaches"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_layout_refuses(name):
    changes, key, words = REFUSED[name]
    data = copy.deepcopy(BASE)
    for change, value in changes.items():
        table, _, inner = change.partition(".")
        data.setdefault(table, {})[inner] = value
    with pytest.raises(SpecError) as refusal:
        compute_layout(make_spec(data))
    assert any(problem.key == key and words in str(problem) for problem in refusal.value.problems), str(refusal.value)


# --- the exact engine's codes: a sound solid of one band beside the mesh of another ---

FEW = {"finger": {"inner_diameter_mm": 13.0}, "stones": {"diameter_mm": 4.0}}  # 14 stones


@cache
def few(opening: str) -> Layout:
    return compute_layout(make_spec({**FEW, "seat": {"opening": opening}}))


@cache
def exact(opening: str) -> Solid:
    return build_solid(few(opening))


def compared(solid: Solid, layout: Layout, scale=(1.0, 1.0, 1.0)) -> dict[str, Finding]:
    mesh = build_mesh(layout)
    points = mesh.vertices * np.array(scale)
    return errors(inspect_agreement(solid, points, measure(points, mesh.faces), layout.spec.mesh.deviation_mm))


def test_engines_agree_on_the_same_band():
    assert not compared(exact("blind"), few("blind"))
    assert not compared(exact("through"), few("through"))


def test_engines_disagree_on_two_bands():
    assert compared(exact("blind"), few("through")).keys() >= {"exact-genus", "exact-volume", "exact-distance"}
    grown = compared(exact("blind"), few("blind"), (1.01, 1.01, 1.01))
    assert grown.keys() == EXACT_CODES - {"exact-valid", "exact-genus"}
    both = Solid(compound([exact("blind").shape, exact("through").shape]))
    assert "exact-valid" in compared(both, few("blind"))


# --- the third opinion on the volume ---


@pytest.mark.parametrize("opening", ["blind", "through"])
def test_volume_by_quadrature_is_the_exact_kernels(opening):
    layout = few(opening)
    volume = exact(opening).volume
    assert quadrature(layout, 500) == pytest.approx(volume, rel=2e-5)
    predicted, error = predict_volume(layout)
    assert abs(predicted - volume) <= error < 1e-3 * volume


def test_error_bound_holds_over_random_specs():
    seen = 0
    for seed in range(24):
        try:
            layout = compute_layout(make_spec(random_spec(seed)))
        except SpecError:
            continue
        predicted, error = predict_volume(layout)
        fine = quadrature(layout, 150)
        assert abs(predicted - fine) <= error < 3e-3 * predicted, seed
        seen += 1
    assert seen > 9


# --- the signed distance ---

BALL = Profile((Point(0.0, -1.0, math.tan(math.pi / 8)), Point(1.0, 0.0, math.tan(math.pi / 8)), Point(0.0, 1.0)))
SQUARE = Profile((Point(-1.0, -1.0), Point(1.0, -1.0), Point(1.0, 1.0), Point(-1.0, 1.0)))


def test_distance_to_a_ball_and_a_box():
    points = np.random.default_rng(3).uniform(-3.0, 3.0, (2000, 3))
    ball = part_distance(Part("ball", 1, Revolved(BALL)), points)
    assert ball == pytest.approx(np.linalg.norm(points, axis=1) - 1.0, abs=1e-12)
    box = part_distance(Part("box", 1, Extruded(SQUARE, 2.0)), points)
    beyond = np.abs(points).max(axis=1) - 1.0
    assert ((box < 0.0) == (beyond < 0.0)).all()
    near = (np.sort(np.abs(points), axis=1)[:, 1] < 1.0) | (beyond < 0.0)  # beside a face or inside: exact
    assert box[near] == pytest.approx(beyond[near], abs=1e-12)
    assert (box <= np.linalg.norm(np.maximum(np.abs(points) - 1.0, 0.0), axis=1) + 1e-12).all()


def test_cut_and_joined_distances():
    shell = (Part("ball", 1, Revolved(BALL)), Part("core", -1, Revolved(Profile(tuple(
        Point(p.u / 2.0, p.v / 2.0, p.bulge) for p in BALL.points)))))  # fmt: skip
    points = np.random.default_rng(4).uniform(-2.0, 2.0, (500, 3))
    away = np.linalg.norm(points, axis=1)
    assert signed_distance(shell, points) == pytest.approx(np.maximum(away - 1.0, 0.5 - away), abs=1e-12)


def outlines() -> dict[str, Profile]:
    seat, plain = sound("blind").layout.stations[0].seat, sound("through").layout.stations[0].seat
    cell = whole_cell(sound("blind").layout, sound("blind").layout.seams[0])
    by_name = {part.name: part.shape.profile for part in cell.parts}
    return {
        **by_name,
        "cup": cup_profile(seat),
        "recess": recess_profile(seat, recess_bottom(seat)),
        "through": recess_profile(plain, recess_bottom(plain), 0.01),
    }


@pytest.mark.parametrize("name", ["cup", "recess", "through", "prong", "plug", "bore"])
def test_distance_to_an_outline_by_brute_force(name):
    """Against the nearest of many points of the outline, and the winding number of its polygon."""
    profile = outlines()[name]
    corners = polyline(profile, 1e-5)
    sides = np.linspace(corners, np.roll(corners, -1, axis=0), 400).reshape(-1, 2)
    low, high = corners.min(axis=0) - 0.5, corners.max(axis=0) + 0.5
    points = np.random.default_rng(5).uniform(low, high, (300, 2))
    rays = corners[None] - points[:, None]
    following = np.roll(rays, -1, axis=1)
    sine = rays[..., 0] * following[..., 1] - rays[..., 1] * following[..., 0]
    turn = np.arctan2(sine, (rays * following).sum(axis=2)).sum(axis=1) / (2.0 * math.pi)
    nearest, _ = cKDTree(sides).query(points)
    spacing = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).max() / 400
    expected = np.where(turn > 0.5, -nearest, nearest)
    clear = nearest > 1e-4
    found = outline_distance(profile, points[:, 0], points[:, 1])
    assert (np.sign(found) == np.sign(expected))[clear].all()
    assert (np.abs(np.abs(found) - nearest) <= spacing + 2e-5).all()
