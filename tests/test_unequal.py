"""Bands of unequal stones: gaps and grips by brute force on points in space, cells that meet, mirror images.

Points are written out here in the band's frame; no formula of the layout is used. The parcels, patterns and sizes are
invented data.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import trimesh
from scipy.optimize import minimize_scalar

import bandgen
from bandgen.cell import MIRROR_Z, whole_cell
from bandgen.engines import mesh
from bandgen.errors import SpecError
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout, Seam, Station
from bandgen.spec import make_spec

PARCEL = (2.0, 2.05, 1.95, 2.1, 1.9, 2.02, 2.0, 1.98, 2.07, 1.93, 2.0, 2.05, 1.95, 2.1)
PARCEL += (1.9, 2.02, 2.0, 1.99, 2.07, 1.93, 2.0, 2.01, 1.9, 2.1, 2.03, 1.97, 2.01)
BANDS: dict[str, dict[str, Any]] = {
    "parcel": {"finger": {"inner_diameter_mm": 16.1}, "arrangement": {"parcel_mm": PARCEL}},
    "parcel in the best order": {
        "finger": {"inner_diameter_mm": 16.1},
        "arrangement": {"parcel_mm": PARCEL, "order": "best"},
    },
    "graduated": {"finger": {"size": "ISO 54"}, "stones": {"diameter_mm": 2.3}, "arrangement": {"end_mm": 1.5}},
    "graduated, level tables": {
        "finger": {"size": "ISO 54"},
        "stones": {"diameter_mm": 2.6},
        "arrangement": {"end_mm": 1.6, "heights": "tables", "curve": 1.6},
    },
    "pattern": {"finger": {"size": "UK P"}, "arrangement": {"pattern_mm": [2.2, 1.7, 1.7]}},
    "two materials": {
        "finger": {"size": "US 7"},
        "stones": {"diameter_mm": 2.0},
        "arrangement": {"pattern_materials": ["diamond", "sapphire"]},
    },
}


@cache
def layout(name: str) -> Layout:
    return compute_layout(make_spec(BANDS[name]))


@cache
def band(name: str) -> bandgen.Band:
    return bandgen.generate(make_spec(BANDS[name]))


def neighbours(found: Layout) -> list[tuple[Station, Station, Seam]]:
    pairs = pairwise([*found.stations, found.stations[0]])
    return [(one, other, seam) for (one, other), seam in zip(pairs, found.seams, strict=True)]


def axes(angle_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Up a stone's axis, and along the ring in its girdle plane, counter-clockwise."""
    angle = math.radians(angle_deg)
    return np.array([-math.sin(angle), math.cos(angle), 0.0]), np.array([-math.cos(angle), -math.sin(angle), 0.0])


def girdle(station: Station, turns: np.ndarray) -> np.ndarray:
    up, along = axes(station.angle_deg)
    ring = np.outer(np.cos(turns), along) + np.outer(np.sin(turns), [0.0, 0.0, 1.0])
    return station.seat.girdle_mm * up + station.diameter_mm / 2.0 * ring


def girdle_gap(one: Station, other: Station) -> float:
    """Least distance of two circles: a grid of both, and nested searches about its best pair."""
    turns = np.linspace(-math.pi, math.pi, 361)
    apart = np.linalg.norm(girdle(one, turns)[:, None] - girdle(other, turns)[None], axis=2)
    first, _ = np.unravel_index(apart.argmin(), apart.shape)

    def nearest(turn: float) -> float:
        point = girdle(one, np.array([turn]))[0]
        distance = np.linalg.norm(girdle(other, turns) - point, axis=1)
        start = turns[distance.argmin()]
        return float(
            minimize_scalar(
                lambda t: np.linalg.norm(girdle(other, np.array([t]))[0] - point),
                bounds=(start - 0.02, start + 0.02),
                method="bounded",
                options={"xatol": 1e-10},
            ).fun
        )

    start = turns[first]
    return float(minimize_scalar(nearest, bounds=(start - 0.02, start + 0.02), method="bounded").fun)


def grip(station: Station, seam: Seam) -> float:
    """Share of the prong's diameter that the girdle enters: circle against the axis' line, both in space."""
    up, _ = axes(seam.angle_deg)
    axis = seam.prong.axis
    through = axis.crossing_mm * up + np.array([0.0, 0.0, axis.spread_mm])
    direction = math.cos(axis.lean) * up + np.array([0.0, 0.0, math.sin(axis.lean)])
    side = 1.0 if seam.before == station.index else -1.0

    def apart(turn: float) -> float:
        point = girdle(station, np.array([turn]))[0]
        return float(np.linalg.norm(np.cross(point - through, direction)))

    turns = np.linspace(-math.pi, math.pi, 721)
    start = min(turns, key=apart)
    assert math.cos(start) * side > 0.0
    found = minimize_scalar(apart, bounds=(start - 0.02, start + 0.02), method="bounded", options={"xatol": 1e-10})
    return 0.5 - float(found.fun) / seam.prong.diameter_mm


@pytest.mark.parametrize("name", ["parcel", "parcel in the best order"])
def test_a_parcel_has_equal_gaps_and_equal_grips(name: str) -> None:
    """A spread of 0.1 mm up and down: gaps within 0.002 mm, shares within 0.005."""
    pairs = neighbours(layout(name))
    gaps = [girdle_gap(one, other) for one, other, _ in pairs]
    assert max(gaps) - min(gaps) < 0.002
    assert min(gaps) == pytest.approx(layout(name).girdle_gap_mm, abs=1e-6)
    shares = [(grip(one, seam), grip(other, seam)) for one, other, seam in pairs]
    wanted = [seam.prong.overlap for _, _, seam in pairs]
    assert np.abs(np.array(shares) - np.array(wanted)[:, None]).max() < 1e-6
    assert max(wanted) - min(wanted) < 0.005


@pytest.mark.parametrize("name", BANDS)
def test_the_least_gap_holds_between_every_pair(name: str) -> None:
    found = layout(name)
    for one, other, seam in neighbours(found):
        gap = girdle_gap(one, other)
        assert gap == pytest.approx(seam.girdle_gap_mm, abs=1e-6)
        assert gap >= found.gap_asked_mm - 1e-9


@pytest.mark.parametrize("name", BANDS)
def test_both_girdles_enter_a_shared_prong_by_the_wanted_share(name: str) -> None:
    for one, other, seam in neighbours(layout(name)):
        assert grip(one, seam) == pytest.approx(seam.prong.overlap, abs=1e-6)
        assert grip(other, seam) == pytest.approx(seam.prong.overlap, abs=1e-6)


@pytest.mark.parametrize("name", BANDS)
def test_sound_by_another_library(name: str) -> None:
    made = band(name)
    assert made.sound
    whole = trimesh.Trimesh(made.mesh.vertices, made.mesh.faces, process=False)
    assert whole.is_watertight
    assert whole.is_winding_consistent
    assert whole.body_count == 1
    assert whole.euler_number == 0


@pytest.mark.parametrize("name", ["parcel", "pattern", "graduated"])
def test_unequal_neighbours_show_the_same_points_on_a_stone_s_mid_plane(name: str) -> None:
    """Each station's plane from both of its cells, before any welding."""
    found = layout(name)
    deviation = found.spec.mesh.deviation_mm
    seen = 0
    for before, after in pairwise([*found.seams, found.seams[0]][:8]):
        sections = []
        for seam, plane in ((before, 1), (after, 0)):
            cell = whole_cell(found, seam)
            patch = mesh.evaluate(cell.parts, (cell.before, cell.after, MIRROR_Z), deviation)
            points = patch.vertices[patch.on_plane[plane]]
            flat = np.column_stack((np.hypot(points[:, 0], points[:, 1]), points[:, 2]))
            sections.append(flat[np.lexsort(np.round(flat, 6).T)])
        assert sections[0].shape == sections[1].shape
        assert np.abs(sections[0] - sections[1]).max() < 1e-9
        seen += before.prong != after.prong
    assert seen > 0


def test_the_largest_stone_is_on_top_and_both_sides_fall_alike() -> None:
    stations = layout("graduated").stations
    sizes = [station.diameter_mm for station in stations]
    assert stations[0].angle_deg == 0.0
    assert sizes[0] == 2.3
    assert min(sizes) == 1.5
    assert sizes[1:] == sizes[:0:-1]
    assert all(one >= other for one, other in pairwise(sizes[: len(sizes) // 2 + 1]))
    angles = [station.angle_deg for station in stations[1:]]
    assert np.allclose(np.array(angles) + angles[::-1], 360.0, atol=1e-9)


def test_mirror_images_are_built_once() -> None:
    kinds = layout("graduated").kinds
    assert len({kind.seam for kind in kinds}) == math.ceil(len(kinds) / 2)
    assert sum(kind.flipped for kind in kinds) == len(kinds) // 2
    assert len({kind.seam for kind in layout("pattern").kinds}) == 2


def test_level_tables_are_level_and_culets_are_not() -> None:
    tables, culets = set(), set()
    for station in layout("graduated, level tables").stations:
        shape = station.proportions
        crown = station.diameter_mm / 2.0 * (1.0 - shape.table_pct / 100.0) * math.tan(math.radians(shape.crown_deg))
        tables.add(round(station.seat.girdle_mm + shape.girdle_pct / 100.0 * station.diameter_mm + crown, 9))
        culets.add(round(station.culet_clearance_mm, 9))
    assert len(tables) == 1
    assert len(culets) > 5


def test_constant_clearance_is_constant() -> None:
    found = layout("graduated")
    assert len({station.culet_clearance_mm for station in found.stations}) == 1
    for station in found.stations:
        depth = station.diameter_mm / 2.0 * math.tan(math.radians(station.proportions.pavilion_deg))
        below = station.seat.girdle_mm - depth - found.bore_radius_mm
        assert below == pytest.approx(station.culet_clearance_mm, abs=1e-9)


def test_seats_prongs_and_plugs_scale_with_their_own_stones() -> None:
    found = layout("graduated")
    large, small = found.stations[0], found.stations[len(found.stations) // 2]
    assert large.seat.rim_radius_mm / small.seat.rim_radius_mm == pytest.approx(2.3 / 1.5)
    prongs = [seam.prong.diameter_mm for seam in found.seams]
    assert max(prongs) == pytest.approx(prongs[0])
    assert min(prongs) == pytest.approx(prongs[len(prongs) // 2])
    assert min(prongs) < 0.85 * max(prongs)


def test_the_numbered_map_follows_the_parcel() -> None:
    found = band("parcel in the best order").record["stones"]
    assert sorted(stone["parcel_number"] for stone in found) == list(range(1, len(PARCEL) + 1))
    assert [stone["diameter_mm"] for stone in found] == [PARCEL[stone["parcel_number"] - 1] for stone in found]
    assert [stone["parcel_number"] for stone in band("parcel").record["stones"]] == list(range(1, len(PARCEL) + 1))


def test_a_filled_spec_makes_the_same_band() -> None:
    for name in ("graduated", "pattern"):
        made = band(name)
        again = bandgen.generate(make_spec(made.record["spec"]))
        assert np.array_equal(again.mesh.vertices, made.mesh.vertices)


def test_a_pattern_that_does_not_close_says_which_counts_would() -> None:
    with pytest.raises(SpecError, match=r"24 or 27"):
        compute_layout(make_spec({**BANDS["pattern"], "stones": {"count": 25}}))


def test_a_parcel_too_large_for_the_finger_is_refused() -> None:
    with pytest.raises(SpecError, match="between girdles"):
        compute_layout(make_spec({**BANDS["parcel"], "finger": {"inner_diameter_mm": 15.0}}))
