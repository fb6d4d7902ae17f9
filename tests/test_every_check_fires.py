"""Every check fires: for each code two bands that differ in one key so little that what is measured crosses the limit,
found by bisection; where no spec gets there, a layout that is doctored. Both measured values lie close by the limit.

The limits are the rules' own, each with its source in ``bandgen.inspection``; which side of them is well is RULED's.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from bandgen.band import build_mesh
from bandgen.inspection.casting import inspect_compensated, sprue_feed
from bandgen.inspection.findings import Finding
from bandgen.inspection.house import RULED
from bandgen.inspection.rules import RULES
from bandgen.inspection.setting import inspect_setting
from bandgen.inspection.solid_rules import inspect_solid
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout
from bandgen.layout.shank import plain_arc
from bandgen.layout.sprue import sprue_of
from bandgen.pipeline import Band, distinct_cells
from bandgen.reports.working.checks import CHECKS
from bandgen.spec import make_spec

NEAR = 0.05
"""Share of the limit within which both values lie; of a limit of 0, within ``NEAR_NOTHING_MM`` of it."""
NEAR_NOTHING_MM = 0.01
SLACK_MM = 1e-6
"""What a value that is found by bisection in the layout may be off the limit that it is brought to."""
SIZING_ARC_MM = 5.0
"""Plain metal for one size: a size is 1 mm of circumference, and a fifth of the plain metal may be made of it (common
practice, no source)."""
UNRULED = {"bore-allowance": "least", "sprue-count": "least", "sprue-feed": "most"}
"""Checks with a limit that no house rules on, with the side that is well."""


def ring(bore_mm: float, stone_mm: float, **tables: dict[str, Any]) -> dict[str, Any]:
    stones = {"diameter_mm": stone_mm, **tables.pop("stones", {})}
    return {"finger": {"inner_diameter_mm": bore_mm}, "stones": stones, **tables}


@dataclass(frozen=True)
class Pair:
    """A band, and a key of it with a value just beyond the limit and one just within."""

    key: str
    beyond: float
    within: float
    band: dict[str, Any] = field(default_factory=lambda: ring(17.0, 2.0))

    def spec(self, value: float) -> dict[str, Any]:
        """The band with that value."""
        spec = deepcopy(self.band)
        table, name = self.key.split(".")
        spec.setdefault(table, {})[name] = value
        return spec


LARGE = ring(16.0, 3.0)
HALF = {"coverage": "half"}
THROUGH = {"opening": "through"}
COMFORT = {"section": "comfort"}

PAIRS = {
    "culet-clearance": Pair("stones.culet_clearance_mm", 0.495, 0.505, ring(17.0, 2.0, seat={"floor_mm": 0.3})),
    "culet-floor": Pair("stones.culet_clearance_mm", 0.649, 0.651, ring(17.0, 2.0, seat={"floor_mm": 0.55})),
    "recess-wall": Pair("seat.wall_mm", 0.396, 0.404),
    "recess-wall-asked": Pair("seat.bearing_mm", 0.4884, 0.5027, ring(17.0, 2.0, seat={"wall_mm": 0.7})),
    "floor": Pair("seat.floor_mm", 0.495, 0.505),
    "recess-width": Pair("seat.wall_mm", 0.7883, 0.7843),
    "recess-depth": Pair("stones.culet_clearance_mm", 0.7445, 0.7365, ring(17.0, 2.0, seat={"floor_mm": 0.5})),
    "prong-section": Pair(
        "prong.overlap", 0.3, 0.296,
        ring(17.0, 2.0, stones={"gap_mm": 0.1}, seat={"rim_below_girdle_mm": 0.35}, prong={"diameter_mm": 0.6}),
    ),
    "girdle-depth": Pair(
        "prong.diameter_mm", 0.8407, 0.8241, ring(17.0, 2.0, seat={"rim_diameter_mm": 1.9}, prong={"overlap": 0.2})
    ),
    "pair-width": Pair("prong.overlap", 0.2309, 0.2299, ring(17.0, 2.0, seat={"rim_below_girdle_mm": 0.3})),
    "contact-angle": Pair("prong.overlap", 0.1454, 0.1254, ring(17.0, 2.0, prong={"diameter_mm": 0.4})),
    "prong-in-cup": Pair("prong.overlap", 0.163, 0.1668),
    "feet-joint": Pair("seat.draft_deg", 0.2355, 0.1791),
    "shank-thickness": Pair("shank.base_thickness_mm", 1.485, 1.515, ring(17.0, 2.0, arrangement=HALF)),
    "shank-width": Pair("shank.base_width_mm", 1.485, 1.515, ring(17.0, 2.0, arrangement=HALF)),
    "shank-edge": Pair(
        "shank.base_thickness_mm", 0.7425, 0.7575, ring(17.0, 2.0, arrangement=HALF, shank={"section": "half-round"})
    ),
    "shank-sizing": Pair(
        "finger.inner_diameter_mm", 16.96, 17.02,
        ring(17.0, 2.0, stones={"count": 26}, arrangement={"coverage": "count"}),
    ),
    "hoop-edge": Pair("hoop.thickness_mm", 0.6226, 0.6326, ring(17.0, 2.0, bore=COMFORT)),
    "hoop-whole": Pair("hoop.thickness_mm", 0.705, 0.695),
    "hoop-beside-opening": Pair(
        "hoop.width_mm", 1.192, 1.208, ring(17.0, 2.0, seat=THROUGH, hoop={"thickness_mm": 0.5, "openings": True})
    ),
    "floor-edge": Pair("seat.floor_mm", 0.501, 0.511, ring(17.0, 2.0, bore=COMFORT)),
    "comfort-crown": Pair("bore.crown_mm", 0.3299, 0.3233, ring(17.0, 2.0, bore=COMFORT)),
    "arch-recess": Pair("arrangement.scallop_mm", 0.3374, 0.33, LARGE),
    "arch-arch": Pair(
        "arrangement.scallop_mm", 1.0776, 1.0736,
        ring(16.0, 3.0, stones={"culet_clearance_mm": 1.7}, seat={"floor_mm": 1.5}),
    ),
    "bore-allowance": Pair("casting.bore_allowance_mm", 0.0495, 0.0505),
    "sprue-feed": Pair("sprue.diameter_mm", 1.68, 1.65, LARGE),
    "sprue-count": Pair("sprue.count", 1, 2, LARGE),
}  # fmt: skip
"""By code, measured on the layout's numbers."""


def all_gaps(layout: Layout, gap_mm: float) -> Layout:
    """No spec: a closed row refuses to come closer than the gap asked, an open one keeps it."""
    return replace(layout, seams=tuple(replace(seam, girdle_gap_mm=gap_mm) for seam in layout.seams))


def all_overlaps(layout: Layout, share: float) -> Layout:
    """No spec: it may ask for the limit, and for no more."""
    seams = (
        replace(seam, prongs=tuple(replace(prong, overlap=share) for prong in seam.prongs)) for seam in layout.seams
    )
    return replace(layout, seams=tuple(seams))


def all_bearings(layout: Layout, wider_mm: float) -> Layout:
    """No spec: every bearing is drawn to where the stone's facet edges just touch it."""
    stations = []
    for station in layout.stations:
        mouth, column = station.seat.mouth_radius_mm + wider_mm, station.seat.column_radius_mm + wider_mm
        seat = replace(station.seat, mouth_radius_mm=mouth, column_radius_mm=column)
        stations.append(replace(station, seat=seat))
    return replace(layout, stations=tuple(stations))


DOCTORED: dict[str, tuple[Callable[[Layout, float], Layout], float, float]] = {
    "girdle-gap": (all_gaps, 0.198, 0.202),
    "prong-overlap": (all_overlaps, 0.337, 0.330),
    "stone-on-bearing": (all_bearings, -0.005, 0.005),
}
"""By code: the band of every day altered by a value just beyond the limit, and by one just within."""

TIGHT = ring(
    10.0, 1.0,
    stones={"culet_clearance_mm": 0.755}, seat={"floor_mm": 0.505, "wall_mm": 0.289}, prong={"overlap": 0.163},
)  # fmt: skip
"""Small, and just within the limits of five rules on the solid; each of its keys' values is one of a pair's."""

ON_SOLIDS = {
    "slot-width": Pair("prong.overlap", 0.169, 0.163, TIGHT),
    "prong-gap": Pair("prong.overlap", 0.169, 0.163, TIGHT),
    "core-ratio": Pair("stones.culet_clearance_mm", 0.775, 0.755, TIGHT),
    "core-width": Pair("seat.wall_mm", 0.296, 0.289, TIGHT),
    "seat-metal": Pair("seat.floor_mm", 0.494, 0.505, TIGHT),
    "core-slender": Pair("stones.culet_clearance_mm", 1.505, 1.475, ring(10.0, 1.0, seat=THROUGH)),
    "wall-thickness": Pair("seat.wall_mm", 0.392, 0.404, ring(10.0, 1.3)),
    "edge-thickness": Pair("seat.rim_below_girdle_mm", 0.137, 0.146, ring(10.0, 1.0)),
    "mesh-deviation": Pair("prong.diameter_mm", 0.57, 0.558, ring(10.0, 1.0, mesh={"deviation_mm": 0.024})),
}
"""By code, measured on the mesh. Facets come in whole numbers, so that a mesh is brought to its limit by its prongs."""

ELSEWHERE = {
    "test_mutations": "open-edges nonmanifold-edges misoriented-edges nonmanifold-vertices zero-area-faces inside-out "
    "cavities bodies self-intersections genus volume-bounds band-width outer-diameter bore-diameter surface "
    "cells-alike volume exact-valid exact-genus exact-volume exact-bounds exact-distance",
    "test_as_set": "grip-agreement crown-contact-least crown-contact-most tip-height-least tip-height-most notch-depth "
    "notch-heel section-left metal-under-seat",
    "test_casting": "compensation",
    "test_house_profile": "calibrated-size calibrated-width",
    "test_sprue": "sprue-section",
}
"""By the module of tests that shows them: codes of faults, of which a band has some or none; of the band as it is set;
of a house's own calibration; and two that are notes whatever the value."""


@cache
def layout_of(spec: str) -> Layout:
    return compute_layout(make_spec(json.loads(spec)))


@cache
def found_on_layout(spec: str) -> dict[str, Finding]:
    return {finding.code: finding for finding in inspect_setting(layout_of(spec), RULES)}


@cache
def found_on_solid(spec: str) -> dict[str, Finding]:
    layout = layout_of(spec)
    return {finding.code: finding for finding in inspect_solid(layout, build_mesh(layout))}


def in_text(spec: dict[str, Any]) -> str:
    return json.dumps(spec, sort_keys=True)


def beyond_by(finding: Finding) -> float:
    """How far a value lies on the wrong side of its limit; negative on the right one."""
    side = RULED.get(finding.code) or UNRULED[finding.code]
    over = float(finding.measured) - float(finding.limit)
    return -over if side == "least" else over


def near(finding: Finding) -> float:
    """How far off its limit a value may lie: of a count, by one."""
    if isinstance(finding.measured, int):
        return 1.0
    return NEAR * float(finding.limit) or NEAR_NOTHING_MM


def assert_crosses(beyond: Finding, within: Finding) -> None:
    assert beyond.severity in ("note", "warning")
    assert within.severity == "ok"
    assert beyond.limit == pytest.approx(within.limit, abs=1e-9)
    assert 0.0 < beyond_by(beyond) <= near(beyond)
    assert -near(within) <= beyond_by(within) <= SLACK_MM


@pytest.mark.parametrize("code", PAIRS)
def test_fires_on_the_layout(code: str) -> None:
    pair = PAIRS[code]
    beyond, within = (found_on_layout(in_text(pair.spec(value)))[code] for value in (pair.beyond, pair.within))
    assert_crosses(beyond, within)


@pytest.mark.parametrize("code", DOCTORED)
def test_fires_on_a_doctored_layout(code: str) -> None:
    alter, *values = DOCTORED[code]
    layouts = (alter(layout_of(in_text(ring(17.0, 2.0))), value) for value in values)
    beyond, within = (
        next(finding for finding in inspect_setting(layout, RULES) if finding.code == code) for layout in layouts
    )
    assert_crosses(beyond, within)


@pytest.mark.parametrize("code", ON_SOLIDS)
def test_fires_on_the_solid(code: str) -> None:
    pair = ON_SOLIDS[code]
    beyond, within = (found_on_solid(in_text(pair.spec(value)))[code] for value in (pair.beyond, pair.within))
    assert_crosses(beyond, within)


def test_recess_held_at_both_ends_may_be_four_times_as_deep() -> None:
    """The limit of a recess that goes through: low confidence, a gold-casting article."""
    pair = Pair("stones.culet_clearance_mm", 1.4542, 1.4222, ring(17.0, 2.0, seat=THROUGH))
    beyond, within = (found_on_layout(in_text(pair.spec(value))) for value in (pair.beyond, pair.within))
    assert beyond["recess-depth"].limit == 4.0
    assert_crosses(beyond["recess-depth"], within["recess-depth"])


@pytest.mark.parametrize(("share", "severity"), [(0.693, "warning"), (0.707, "ok")])
def test_a_rod_too_thin_for_its_foot(share: float, severity: str) -> None:
    """The lower limit, 0.7 (Ganoksin): no spec, as a thin rod is flared towards its foot."""
    layout = layout_of(in_text(PAIRS["sprue-feed"].spec(1.65)))
    side = next(side for seam in layout.seams for side in layout.sides(seam) if sprue_of(side.station) is not None)
    own = sprue_of(side.station)
    assert own is not None
    thin = replace(own, foot_mm=own.radius_mm / share**0.5)
    finding = sprue_feed(layout, replace(side, station=replace(side.station, extras=(thin,))))
    assert finding is not None
    assert (finding.severity, finding.limit) == (severity, 0.7 if severity == "warning" else 1.5)
    assert finding.measured == pytest.approx(share)


def test_a_size_is_lost_just_where_the_plain_metal_is_too_short() -> None:
    """The rule counts whole sizes, so that nearness is told by the arc behind them."""
    pair = PAIRS["shank-sizing"]
    short, enough = (plain_arc(layout_of(in_text(pair.spec(value)))) for value in (pair.beyond, pair.within))
    assert short is not None
    assert enough is not None
    assert (1.0 - NEAR) * SIZING_ARC_MM < short.plain_arc_mm < SIZING_ARC_MM
    assert SIZING_ARC_MM <= enough.plain_arc_mm < (1.0 + NEAR) * SIZING_ARC_MM


def test_a_fault_of_the_mesh_at_its_size_in_the_files(small_band: Band) -> None:
    """Of one face turned over, against none."""
    mesh, (around, own) = small_band.mesh, distinct_cells(small_band.layout, small_band.mesh)
    turned = mesh.faces.copy()
    turned[around[0]] = turned[around[0], ::-1]
    sound, faulty = (inspect_compensated(mesh.vertices, faces, around, own) for faces in (mesh.faces, turned))
    assert (sound.code, sound.severity, sound.measured) == ("compensated-mesh", "ok", 0)
    assert (faulty.severity, faulty.measured) == ("error", 1)


def test_every_code_is_shown() -> None:
    """Here or in the module named; a new check has to be entered, and every rule of the trade is shown here."""
    here = {*PAIRS, *DOCTORED, *ON_SOLIDS, "compensated-mesh"}
    elsewhere = {code for codes in ELSEWHERE.values() for code in codes.split()}
    assert here & elsewhere == set()
    assert here | elsewhere == set(CHECKS)
    assert set(RULED) | set(UNRULED) == here - {"compensated-mesh"}


@pytest.mark.parametrize("module", ELSEWHERE)
def test_the_module_named_shows_the_code(module: str) -> None:
    text = (Path(__file__).parent / f"{module}.py").read_text()
    assert [code for code in ELSEWHERE[module].split() if f'"{code}"' not in text] == []
