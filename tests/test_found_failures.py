"""Every failure that a random spec ever found, by name, as small as it still failed, with its cause.

A band that can be made must be sound; what cannot be made must be refused at the key to blame.
"""

from __future__ import annotations

import math

import pytest
from random_specs import Data, judge, numbers_of

from bandgen.errors import SpecError
from bandgen.layout.compute import compute_layout
from bandgen.pipeline import generate
from bandgen.spec import Spec, make_spec
from bandgen.units import KEEP_AWAY_MM

# A plug that stops over the finger: where the feet bury the prong's inner side at the finger but no longer at the
# plug's foot, a closed void stayed beside each prong. Cause: the layout had no event for it (now plug-foot-pocket).
VOIDS: dict[str, Data] = {
    "a void under the plug of a raised rim (seed 124)": {
        "finger": {"inner_diameter_mm": 22.054},
        "stones": {"diameter_mm": 3.647, "culet_clearance_mm": 0.93},
        "prong": {"diameter_mm": 1.087, "overlap": 0.2},
        "seat": {"draft_deg": 3.97, "floor_mm": 0.61, "rim_below_girdle_mm": 0.39},
        "plug": {"foot_clearance_mm": 1.0},
    },
    "a void under large stones far over the finger": {
        "finger": {"inner_diameter_mm": 20.147596864176393},
        "stones": {"diameter_mm": 3.3868998888481325, "pavilion_deg": 40.310555659423386, "count": 22},
        "prong": {"overlap": 0.2},
        "plug": {"foot_clearance_mm": 1.0},
    },
}

# The plug stops within the keep-away over the finger: a film of air. Cause: no event (now plug-foot-finger).
FILMS: dict[str, float] = {"a film of a tenth of a micron": 1e-4, "a film just thinner than the keep-away": 0.0199}

# The finest mesh, outer diameter 0.0011 to 0.0013 mm off where 0.0010 are allowed. Cause: the cell was simplified by
# 0.001 mm whatever deviation was asked, at the finest twice that.
COARSENED: dict[str, Data] = {
    "finest mesh of 1.17 mm stones (seed 623)": {
        "finger": {"inner_diameter_mm": 41.4322},
        "mesh": {"deviation_mm": 0.0005},
        "prong": {"height_above_girdle_mm": 0.713},
        "seat": {"rim_below_girdle_mm": 0.2},
        "stones": {"diameter_mm": 1.17, "pavilion_deg": 41.0025},
    },
    "finest mesh of 1 mm stones (seed 1506)": {
        "finger": {"inner_diameter_mm": 17.3445},
        "mesh": {"deviation_mm": 0.0005},
        "prong": {"height_above_girdle_mm": 0.688, "overlap": 0.2},
        "stones": {"diameter_mm": 1.0, "gap_mm": 0.14, "pavilion_deg": 41.768},
    },
    "finest mesh of a wide band (seed 500016)": {
        "finger": {"inner_diameter_mm": 42.14},
        "mesh": {"deviation_mm": 0.0005},
        "stones": {"diameter_mm": 1.6, "gap_mm": 0.099},
    },
    "finest mesh of a narrow draft (seed 500246)": {
        "finger": {"inner_diameter_mm": 16.76},
        "mesh": {"deviation_mm": 0.0005},
        "prong": {"overlap": 0.19},
        "seat": {"draft_deg": 0.5903},
        "stones": {"culet_clearance_mm": 0.639, "diameter_mm": 1.7491},
    },
}

# The pocket under a plug that stops over the finger is a cusp where the feet meet. Cause: the cell was simplified by
# 0.001 mm after it was cut, which pulled a corner of the cusp off the seam plane, so that a piece of the cut stayed
# in the skin and two fans of faces touched at a vertex (nonmanifold-vertices).
CUSPS: dict[str, Data] = {
    "cusp under 1.016 mm stones (seed 1696)": {
        "finger": {"size": "UK A"},
        "plug": {"foot_clearance_mm": 0.07},
        "seat": {"draft_deg": 0.87, "rim_below_girdle_mm": 0.2},
        "stones": {"count": 39, "diameter_mm": 1.016, "gap_mm": 0.1},
    },
    "cusp in a fine mesh (seed 2656)": {
        "finger": {"size": "CH 33"},
        "mesh": {"deviation_mm": 0.000789331176706167},
        "plug": {"foot_clearance_mm": 0.6},
        "seat": {"draft_deg": 1.044},
        "stones": {"culet_clearance_mm": 1.1, "diameter_mm": 2.622},
    },
    "cusp under sapphires (seed 1148)": {
        "finger": {"inner_diameter_mm": 21.404},
        "plug": {"foot_clearance_mm": 0.28},
        "stones": {"culet_clearance_mm": 1.0, "diameter_mm": 2.375, "gap_mm": 0.23, "material": "sapphire"},
    },
    "cusp under large stones (seed 2347)": {
        "finger": {"size": "IT 33"},
        "plug": {"foot_clearance_mm": 0.58},
        "seat": {"floor_mm": 0.85},
        "stones": {"diameter_mm": 3.915},
    },
    "cusp under a narrowed rim (seed 2380)": {
        "finger": {"size": "US 7.25"},
        "plug": {"foot_clearance_mm": 0.23},
        "seat": {"rim_diameter_mm": 1.884},
        "stones": {"diameter_mm": 1.9},
    },
    "cusp that outlived a tenth of the tolerance (seed 702842)": {
        "finger": {"inner_diameter_mm": 22.9},
        "plug": {"foot_clearance_mm": 0.4397},
        "seat": {"rim_diameter_mm": 3.598},
        "stones": {"diameter_mm": 3.6, "pavilion_deg": 41.1},
    },
    "cusp under a flat pavilion (seed 2716)": {
        "finger": {"inner_diameter_mm": 22.47},
        "plug": {"foot_clearance_mm": 0.29},
        "seat": {"draft_deg": 0.96},
        "stones": {"diameter_mm": 2.404, "pavilion_deg": 40.1},
    },
}


def refused_keys(spec: Spec) -> list[str]:
    """The keys that the layout refuses, none where it makes the band."""
    try:
        compute_layout(spec)
    except SpecError as refusal:
        return [problem.key for problem in refusal.problems]
    return []


def pocket(data: Data) -> float:
    """The distance of the event that keeps voids out, whether or not it is kept."""
    numbers = numbers_of(data)
    distance = numbers.distance("plug-foot-pocket") if numbers else None
    assert distance is not None
    return distance


@pytest.mark.parametrize("data", VOIDS.values(), ids=VOIDS)
def test_a_void_under_the_plug_is_refused_at_the_key_to_blame(data):
    assert pocket(data) < 0.0
    with pytest.raises(SpecError) as refusal:
        compute_layout(make_spec(data))
    assert "plug.foot_clearance_mm" in [problem.key for problem in refusal.value.problems]


@pytest.mark.parametrize("data", VOIDS.values(), ids=VOIDS)
def test_nearer_to_the_finger_the_same_band_has_no_void(data):
    """Lowered until the event is just kept away from, the plug leaves a sound band."""
    heights = [step * 0.01 for step in range(3, 100)]
    lower = [{**data, "plug": {"foot_clearance_mm": height}} for height in heights]
    kept = [spec for spec in lower if pocket(spec) >= KEEP_AWAY_MM and spec["plug"]["foot_clearance_mm"] < 0.9]
    verdict = judge(kept[-1])
    assert verdict.tag == "OK", verdict.message


@pytest.mark.parametrize("height", FILMS.values(), ids=FILMS)
def test_a_film_of_air_under_the_plug_is_refused_at_the_key_to_blame(height):
    data = {"finger": {"size": "ISO 54"}, "stones": {"diameter_mm": 2.0}, "plug": {"foot_clearance_mm": height}}
    with pytest.raises(SpecError) as refusal:
        compute_layout(make_spec(data))
    assert "plug.foot_clearance_mm" in [problem.key for problem in refusal.value.problems]


@pytest.mark.parametrize("data", [*COARSENED.values(), *CUSPS.values()], ids=[*COARSENED, *CUSPS])
def test_sound(data):
    verdict = judge(data)
    assert verdict.tag == "OK", f"{verdict.tag}: {verdict.message}"


def test_the_step_file_of_a_wide_band_of_many_stones_reads_back():
    """Seed 500065 (its plug's bite since lowered, as the bearing opened). The volume comes back off by a share of
    1.009e-6, 2.2e-4 mm3 on 1186 mm2 of surface, whatever the integration's own tolerance; 1e-6 was allowed."""
    seat = {"bearing_deg": 43.09194982239976, "draft_deg": 1.0, "fillet_mm": 0.20495391072317568, "floor_mm": 0.5}
    seat |= {"rim_below_girdle_mm": 0.17429637934456052, "wall_mm": 0.2882314240624366}
    stones = {"count": 161, "culet_clearance_mm": 0.62, "diameter_mm": 1.0038170295539095, "gap_mm": 0.12}
    data = {
        "finger": {"inner_diameter_mm": 55.470461556902045},
        "stones": {**stones, "pavilion_deg": 43.09194982239976},
        "seat": {**seat, "rim_diameter_mm": 1.0038170295539095},
        "prong": {"diameter_mm": 0.56863589746312, "height_above_girdle_mm": 0.5, "overlap": 0.171882255648407},
        "plug": {"bite_mm": 0.155},
        "mesh": {"deviation_mm": 0.03385879964203903},
    }
    verdict = judge(data, exact=True)
    assert verdict.tag == "OK", f"{verdict.tag}: {verdict.message}"


@pytest.mark.parametrize(
    "draft", [6.2e-6, 3.4e-4, 0.02], ids=["seed 500333", "seed 500175", "the steepest that failed"]
)
def test_a_cup_with_hardly_any_draft_is_a_cone_to_the_exact_kernel_too(draft):
    """The kernel makes a cylinder of a cone so steep, and the part's volume no longer was its profile's: refused, moved
    or made, but no failure of the engine. 0.02 degrees failed, 0.05 did not."""
    from bandgen.cell import whole_cell
    from bandgen.engines.exact import make_solid

    data = {"finger": {"size": "ISO 54"}, "stones": {"diameter_mm": 1.5}, "prong": {"overlap": 0.19}}
    spec = make_spec({**data, "seat": {"draft_deg": draft}})
    if refused := refused_keys(spec):
        assert "seat.draft_deg" in refused
        return
    layout = compute_layout(spec)
    make_solid(whole_cell(layout, layout.seams[0]).parts[0])


def test_the_exact_box_holds_the_domes_beside_the_top():
    """Seed 500079. The band's highest points in +Y are two domes half a pitch beside it: their spheres' middle lies
    C cos(h) high and the box must end a radius above that. The kernel's own box ended 0.0073 mm lower."""
    prong = {"diameter_mm": 1.1947746485013224, "height_above_girdle_mm": 1.582739196769564}
    data = {
        "finger": {"inner_diameter_mm": 20.07297360557928},
        "stones": {"diameter_mm": 3.680788829696661, "count": 21, "culet_clearance_mm": 1.3750433137063913},
        "prong": {**prong, "overlap": 0.18777482878241245},
    }
    band = generate(make_spec(data))
    axis, radius = band.layout.seams[0].prong.axis, prong["diameter_mm"] / 2.0
    middle = axis.crossing_mm + (band.layout.seams[0].prong.tip_mm - radius) * math.cos(axis.lean)
    assert band.solid.bounds[1, 1] == pytest.approx(middle * math.cos(math.pi / 21) + radius, abs=1e-4)
