"""Sprues: where they stand, what they touch, what they add; both engines, random bands."""

import math
import random
from dataclasses import replace

import manifold3d
import numpy as np
import pytest
from random_arrangements import random_band

import bandgen
from bandgen.band import build_mesh
from bandgen.builders.prong import build_prongs
from bandgen.builders.seat import build_seat
from bandgen.builders.sprue import build_sprue
from bandgen.cell import BUILDERS, moved
from bandgen.engines.mesh import facet
from bandgen.errors import SpecError
from bandgen.inspection.extras import EXTRAS
from bandgen.inspection.topology import measure
from bandgen.layout.compute import compute_layout
from bandgen.layout.sprue import SprueNumbers, cut_off_mm3, sprue_of, sprue_profile
from bandgen.parts import Revolved, turned, volume
from bandgen.pipeline import with_exact_findings
from bandgen.spec import make_spec

FINE_MM = 0.002
BANDS = {
    "even": {},
    "own": {"arrangement": {"prongs": "own"}},
    "half": {"arrangement": {"coverage": "half"}},
    "pattern": {"arrangement": {"pattern_mm": [3.0, 2.4]}},
    "comfort": {"bore": {"section": "comfort"}},
    "hoop": {"hoop": {"thickness_mm": 0.4}, "seat": {"opening": "through"}},
    "rows": {"stones": {"diameter_mm": 1.8}, "arrangement": {"rows": 2, "stagger": True}},
    "thin": {"sprue": {"diameter_mm": 0.8}},
}


def spec(sprue=None, **tables):
    data = {"finger": {"inner_diameter_mm": 16.0}, "stones": {"diameter_mm": 3.0}, **tables}
    return make_spec(data if sprue is None else {**data, "sprue": sprue})


def layout_of(case):
    return compute_layout(spec(**{"sprue": {}, **BANDS[case]}))


def body(part):
    vertices, faces = facet(part, FINE_MM)
    return manifold3d.Manifold(manifold3d.Mesh64(vertices, faces.astype(np.uint64)))


def measured(layout):
    mesh = build_mesh(layout)
    return measure(mesh.vertices, mesh.faces)


def carriers(layout):
    return [station for station in layout.stations if sprue_of(station) is not None]


def test_none_asked_is_none():
    layout = compute_layout(spec())
    assert carriers(layout) == []
    assert layout.mirror_z
    assert layout.spec.sprue.count == 0


def test_the_table_alone_asks_for_three_at_ten_two_and_six():
    """10, 2 and 6 o'clock (cast-in-place note): 60, 180 and 300 degrees from the top, to half a pitch."""
    layout = compute_layout(spec(sprue={}))
    angles = sorted(station.angle_deg for station in carriers(layout))
    pitch = 360.0 / len(layout.stations)
    assert angles == pytest.approx([60.0, 180.0, 300.0], abs=pitch / 2.0 + 1e-9)


def test_a_part_of_the_circle_has_two_and_none_at_its_ends():
    layout = layout_of("half")
    assert len(carriers(layout)) == layout.spec.sprue.count == 2
    ends = {0, len(layout.stations) - 1}
    assert not ends & {station.index for station in carriers(layout)}


def test_only_the_cells_beside_a_sprue_differ():
    layout = compute_layout(spec(sprue={}))
    assert {kind.seam for kind in layout.kinds} == {0, next(s.index for s in carriers(layout)) - 1}
    assert not layout.mirror_z


@pytest.mark.parametrize("case", BANDS)
def test_touches_no_prong_seat_or_bore(case):
    """Gaps of the bodies: from every prong of its stone's seams, and metal of the sprue in recess or finger: none."""
    layout = layout_of(case)
    for station in carriers(layout):
        sprue = sprue_of(station)
        rod = body(build_sprue(station, sprue)[0])
        _, recess = build_seat(station, 0.0)
        for side in layout.beside(station):
            degrees = side.seam.before_deg if side.sign > 0 else -side.seam.after_deg
            for prong in build_prongs(side.seam):
                assert rod.min_gap(body(turned(prong, degrees)), 0.5) > 0.03
        outside = rod - body(turned(build_seat(station, 0.0)[0], 0.0))
        assert (outside ^ body(recess)).volume() < 1e-9
        finger = manifold3d.Manifold.cylinder(
            60.0, layout.bore_radius_mm + 0.01, layout.bore_radius_mm + 0.01, 720, True
        )
        assert (rod ^ finger).volume() < 1e-9


@pytest.mark.parametrize("case", BANDS)
def test_adds_what_it_says(case):
    """The mesh with sprues less the mesh without; genus and bodies as without; in the mesh as far as predicted."""
    layout = layout_of(case)
    bare = compute_layout(spec(**{key: table for key, table in BANDS[case].items() if key != "sprue"}))
    with_, without = measured(layout), measured(bare)
    assert with_.volume - without.volume == pytest.approx(cut_off_mm3(layout), rel=2e-3)
    assert (with_.bodies, with_.genus, with_.cavities) == (1, without.genus, 0)
    low, high = layout.volume_bounds_mm3
    assert low < with_.volume < high
    ends = {sprue_of(station).half_width_mm for station in carriers(layout)}
    assert with_.bounds[1][2] == pytest.approx(max(ends), abs=1e-5)


def test_what_stands_beyond_the_cup_is_what_manifold_cuts():
    """An independent boolean of sprue and cup."""
    station = carriers(layout_of("thin"))[0]
    sprue = sprue_of(station)
    rod, cup = body(build_sprue(station, sprue)[0]), body(build_seat(station, 0.0)[0])
    assert sprue.standing_mm3 == pytest.approx((rod - cup).volume(), rel=2e-3)
    assert rod.volume() == pytest.approx(volume(Revolved(sprue_profile(sprue))), rel=2e-3)


@pytest.mark.parametrize(("tables", "shape"), [({}, "tapers"), ({"diameter_mm": 0.8}, "flares")])
def test_thick_ones_taper_and_thin_ones_flare(tables, shape):
    sprue = sprue_of(carriers(compute_layout(spec(sprue=tables)))[0])
    assert (sprue.radius_mm > sprue.foot_mm) is (shape == "tapers")
    assert 0.7 <= sprue.feed_share <= 1.5  # Ganoksin, "Sprue system design"


@pytest.mark.parametrize("case", ["even", "half", "rows"])
def test_sound(case):
    band = bandgen.generate(spec(**{"sprue": {}, **BANDS[case]}))
    assert band.sound, [f for f in band.findings if f.severity == "error"]
    volume_ = next(f for f in band.findings if f.code == "volume")
    assert volume_.measured == pytest.approx(volume_.limit, rel=3e-4)


@pytest.mark.parametrize("case", ["pattern", "thin"])
def test_both_engines_agree(case):
    band = with_exact_findings(bandgen.generate(spec(**{"sprue": {"count": 2}, **BANDS[case]})))
    assert band.sound, [f for f in band.findings if f.severity == "error"]
    assert band.solid.volume == pytest.approx(band.topology.volume, rel=1e-4)


def test_a_filled_spec_makes_the_same_sprues():
    layout = compute_layout(spec(sprue={}))
    assert compute_layout(layout.spec).stations == layout.stations


def test_metal_is_weighed_without_sprues():
    with_, without = (bandgen.generate(spec(sprue=table)).record for table in ({}, None))
    assert with_["metal_g"] == pytest.approx(without["metal_g"], rel=2e-4)
    assert with_["volume_mm3"] > without["volume_mm3"] + 20.0


# --- what is said of them ---


def findings(**tables):
    return {f.code: f for f in bandgen.generate(spec(**tables)).findings}


def test_a_rod_too_thick_for_its_foot_is_said():
    found = findings(sprue={"diameter_mm": 1.9})["sprue-feed"]
    assert (found.severity, found.limit) == ("warning", 1.5)
    assert found.measured > 1.5


def test_one_feed_is_too_few_and_thickness_is_disputed():
    found = findings(sprue={"count": 1})
    assert found["sprue-count"].severity == "warning"
    assert found["sprue-section"].severity == "note"
    assert "disagree" in found["sprue-section"].text


# --- refusals, each beside a neighbour that passes ---


@pytest.mark.parametrize(
    ("passes", "refused", "key"),
    [
        ({"sprue": {"diameter_mm": 1.9}}, {"sprue": {"diameter_mm": 2.2}}, "sprue.diameter_mm"),
        (
            {"sprue": {"length_mm": 3.0, "diameter_mm": 1.7}, "hoop": {"thickness_mm": 0.3, "width_mm": 5.0}},
            {"sprue": {"length_mm": 1.0, "diameter_mm": 1.7}, "hoop": {"thickness_mm": 0.3, "width_mm": 5.0}},
            "sprue.length_mm",
        ),
        (
            {"sprue": {"count": 1}, "stones": {"diameter_mm": 3.0, "count": 3}, "arrangement": {"coverage": "count"}},
            {"sprue": {"count": 2}, "stones": {"diameter_mm": 3.0, "count": 3}, "arrangement": {"coverage": "count"}},
            "sprue.count",
        ),
        (
            {"sprue": {}, "stones": {"diameter_mm": 1.2}},
            {"sprue": {}, "stones": {"diameter_mm": 1.2}, "prong": {"diameter_mm": 0.75}},
            "prong.diameter_mm",
        ),
        (
            {"sprue": {"count": 0}, "arrangement": {"scallop_mm": 0.3}},
            {"sprue": {}, "arrangement": {"scallop_mm": 0.3}},
            "sprue.count",
        ),
    ],
)
def test_refused(passes, refused, key):
    compute_layout(spec(**passes))
    with pytest.raises(SpecError) as fault:
        compute_layout(spec(**refused))
    assert key in [problem.key for problem in fault.value.problems]


def test_a_sprue_asks_no_more_of_a_cell_than_it_has():
    """Moved to the stone's frame of either side it stays within the cell's planes."""
    layout = layout_of("even")
    station = carriers(layout)[0]
    sprue = sprue_of(station)
    pitch = math.radians(360.0 / len(layout.stations))
    assert sprue.widest_mm < sprue.height_mm * math.sin(pitch)


def test_known_to_every_table():
    assert SprueNumbers in BUILDERS
    assert EXTRAS[SprueNumbers].on_lines is None
    part = build_sprue(carriers(layout_of("even"))[0], sprue_of(carriers(layout_of("even"))[0]))[0]
    assert moved(part, 1.0) == replace(part, frame=replace(part.frame, origin=moved(part, 1.0).frame.origin))


# --- random bands ---

SEEDS = (1, 3, 5, 9, 17, 27, 31, 43, 61, 327)
"""327: staggered rows whose plug stops over the finger. A longer bore's tool beside a sprue left an idle corner on a
cell's plane."""


@pytest.mark.parametrize("seed", SEEDS)
def test_random_bands_take_sprues(seed):
    data, rng = random_band(seed), random.Random(seed)
    data["mesh"] = {"deviation_mm": 0.01}
    data.get("arrangement", {}).pop("scallop_mm", None)
    data["sprue"] = {"count": rng.choice((1, 2, 3, 6)), "length_mm": rng.uniform(3.0, 8.0)}
    data["tag"] = {} if rng.random() < 0.5 else {"text": ""}
    try:
        band = bandgen.generate(make_spec(data))
    except SpecError:
        return
    assert band.sound, [f for f in band.findings if f.severity == "error"]
