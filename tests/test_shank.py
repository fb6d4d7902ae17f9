"""The shank of a partial band: numbers against closed forms and brute force, solids against the layout."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import bandgen
from bandgen.builders.shank import build_shank
from bandgen.cell import whole_cell
from bandgen.engines import mesh
from bandgen.errors import SpecError
from bandgen.inspection.shank import RULES
from bandgen.inspection.surface import signed_distance, turn_back
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout, Side
from bandgen.layout.shank import ShankNumbers, plain_arc, shank_of, shank_volume_bounds
from bandgen.layout.shank_joint import contact_top, foot_radius, seal
from bandgen.spec import make_spec

BORE_MM = 17.0


def spec_data(stone: float = 2.0, bore: float = BORE_MM, **tables: dict) -> dict:
    data = {"finger": {"inner_diameter_mm": bore}, "stones": {"diameter_mm": stone}}
    return {**data, "arrangement": {"coverage": "half"}, **tables}


@cache
def half_band(section: str = "flat") -> bandgen.Band:
    return bandgen.generate(make_spec(spec_data(shank={"section": section})))


def layout_of(**tables: dict) -> Layout:
    return compute_layout(make_spec(spec_data(**tables)))


def ends(layout: Layout) -> list[tuple[Side, ShankNumbers]]:
    return [(layout.sides(seam)[0], own) for seam in layout.seams if (own := shank_of(seam)) is not None]


def errors(band: bandgen.Band) -> list[str]:
    return [finding.code for finding in band.findings if finding.severity == "error"]


def bottom_section(band: bandgen.Band) -> np.ndarray:
    """Corners (n, 3) of the mesh in the plane x = 0, below."""
    vertices = band.mesh.vertices
    return vertices[(np.abs(vertices[:, 0]) < 1e-5) & (vertices[:, 1] < 0.0)]


def test_a_full_circle_has_none():
    layout = compute_layout(make_spec(spec_data(arrangement={})))
    assert ends(layout) == []
    assert plain_arc(layout) is None


@pytest.mark.parametrize("section", ["flat", "half-round"])
def test_a_half_band_is_sound(section):
    band = half_band(section)
    assert errors(band) == []
    assert band.topology.genus == 1
    assert len(ends(band.layout)) == 2


def test_flat_section_at_the_bottom_has_the_size_asked():
    band = bandgen.generate(make_spec(spec_data(shank={"base_width_mm": 2.3, "base_thickness_mm": 1.7})))
    corners = bottom_section(band)
    radial = -corners[:, 1]
    assert np.ptp(corners[:, 2]) == pytest.approx(2.3, abs=1e-5)
    assert radial.min() == pytest.approx(BORE_MM / 2.0, abs=1e-5)
    assert radial.max() == pytest.approx(BORE_MM / 2.0 + 1.7, abs=1e-5)


def test_half_round_section_at_the_bottom_is_an_arc_with_thick_edges():
    band = half_band("half-round")
    _, own = ends(band.layout)[0]
    corners = bottom_section(band)
    crown = own.base_reach_mm - own.crown_mm
    outer = corners[-corners[:, 1] > own.base_reach_mm - own.drop_at(own.base_half_mm) - 1e-3]
    off = np.hypot(-outer[:, 1] - crown, outer[:, 2]) - own.crown_mm
    assert len(outer) > 4
    assert np.abs(off).max() < band.layout.spec.mesh.deviation_mm
    thickness = own.base_reach_mm - own.bore_radius_mm
    assert 0.0 < own.drop_at(own.base_half_mm) <= thickness / 3.0 + 1e-9


def test_outside_is_a_circle_through_end_and_base_and_level_at_the_bottom():
    for _, own in ends(layout_of(shank={"base_thickness_mm": 2.4})):
        assert own.reach_at(own.plain_deg) == pytest.approx(own.end_reach_mm, abs=1e-12)
        assert own.reach_at(0.0) == pytest.approx(own.base_reach_mm, abs=1e-12)
        angles = np.radians(np.linspace(0.0, own.plain_deg, 50))
        reach = np.array([own.reach_at(math.degrees(angle)) for angle in angles])
        away = np.hypot(reach * np.cos(angles) - own.offset_mm, reach * np.sin(angles))
        assert np.ptp(away) < 1e-12
        assert (np.diff(reach) < 0.0).all()  # one smooth taper from base to end


def test_both_ends_of_an_even_row_are_one_cell_mirrored():
    first, second = (own for _, own in ends(half_band().layout))
    assert replace(first, plain_deg=0.0, half_deg=0.0) == pytest.approx(replace(second, plain_deg=0.0, half_deg=0.0))
    assert first.plain_deg == pytest.approx(second.plain_deg, abs=1e-9)


def test_mirrored_part_is_the_mirror_image():
    layout = half_band().layout
    last, first = (seam for seam in layout.seams if shank_of(seam) is not None)
    points = np.random.default_rng(4).uniform((-11.0, -11.0, -1.0), (11.0, 11.0, 1.0), (4000, 3))
    own = shank_of(last)
    there = signed_distance(build_shank(last, own), points)
    image = signed_distance(build_shank(first, own), points * (-1.0, 1.0, 1.0))
    assert np.abs(there - image).max() < 1e-12
    assert (there < 0.0).sum() > 20


def test_end_face_is_buried_and_leaves_the_recess_open():
    """Brute force: points of the end face lie in the cup, and nothing of the shank lies over the rim."""
    for section in ("flat", "half-round"):
        layout = half_band(section).layout
        for side, own in ends(layout):
            cup = whole_cell(layout, side.seam).parts[0]
            assert cup.name == "cup"
            heights = np.linspace(own.bore_radius_mm - 0.02, own.cap_mm, 12)
            height, z = np.meshgrid(heights, np.linspace(-own.end_half_mm, own.end_half_mm, 21))
            local = np.column_stack((np.full(height.size, own.wall_mm), height.ravel(), z.ravel()))
            local[:, 0] *= -side.sign  # towards the seam, in the stone's frame
            face = turn_back(local, side.sign * own.half_deg)
            assert signed_distance((cup,), face).max() < -0.02
            assert own.cap_mm < side.station.seat.rim_mm


def test_contact_of_prong_and_cup_by_brute_force():
    layout = layout_of()
    side, _ = ends(layout)[0]
    seat, radial = side.station.seat, 9.3
    angles = np.linspace(0.0, 2.0 * math.pi, 200_001)
    radius, middle = side.prong.diameter_mm / 2.0, side.prong.axis.z_at(radial)
    x, z = radius * np.cos(angles), middle + radius / math.cos(side.prong.axis.lean) * np.sin(angles)
    across = radial * math.sin(side.half) - x * math.cos(side.half)
    height = np.minimum(radial * math.cos(side.half) + x * math.sin(side.half), seat.rim_mm)
    inside = np.hypot(across, z) < [seat.radius_at(h) for h in height]
    assert contact_top(side, radial) == pytest.approx(z[inside].max(), abs=1e-4)


def test_a_width_in_the_prong_seals_and_one_between_leaves_a_pinhole():
    layout = layout_of()
    side, own = ends(layout)[0]
    middle = side.prong.axis.z_at(9.3)
    assert seal(side, 9.3, middle) > 0.1
    assert own.end_half_mm > max(contact_top(side, height) for height in (8.5, 9.2, 9.9)) + 0.02
    assert own.end_half_mm < foot_radius(side)


def test_pinhole_is_refused_with_the_nearest_width_that_does():
    """The refusal is no mere caution: 2 x contact_top would leave the side on the edge between prong and cup."""
    layout = layout_of()
    side, _ = ends(layout)[0]
    edge = round(2.0 * contact_top(side, 9.3), 3)
    with pytest.raises(SpecError) as caught:
        layout_of(shank={"end_width_mm": edge})
    problem = next(p for p in caught.value.problems if p.key == "shank.end_width_mm")
    assert "pinhole" in problem.rule
    advised = float(problem.advice.split(" to ")[1].split()[0])
    assert errors(bandgen.generate(make_spec(spec_data(shank={"end_width_mm": advised})))) == []


@pytest.mark.parametrize(
    ("key", "value", "text"),
    [
        ("end_thickness_mm", 3.0, "over the rim"),
        ("end_width_mm", 2.5, "wider than the cup"),
        ("base_width_mm", 10.0, "width changes too fast"),
    ],
)
def test_out_of_reach_is_refused(key, value, text):
    with pytest.raises(SpecError, match=text) as caught:
        layout_of(shank={key: value}, arrangement={"coverage_deg": 300.0})
    assert {problem.key for problem in caught.value.problems} == {f"shank.{key}"}


def test_no_room_for_a_shank_is_refused():
    with pytest.raises(SpecError, match="too little for a shank") as caught:
        layout_of(arrangement={"coverage": "count"}, stones={"diameter_mm": 2.0, "count": 29})
    assert caught.value.problems[0].key == "stones.count"


def test_unequal_ends_meet_in_one_section():
    parcel = [2.2, 2.0, 2.4, 2.1, 1.8]
    for section in ("flat", "half-round"):
        data = {"finger": {"inner_diameter_mm": BORE_MM}, "shank": {"section": section}}
        band = bandgen.generate(make_spec({**data, "arrangement": {"coverage": "count", "parcel_mm": parcel}}))
        first, second = (own for _, own in ends(band.layout))
        assert errors(band) == []
        assert first.end_reach_mm != pytest.approx(second.end_reach_mm, abs=0.05)
        assert (first.base_half_mm, first.base_reach_mm) == (second.base_half_mm, second.base_reach_mm)


@pytest.mark.parametrize("tables", [{}, {"shank": {"base_width_mm": 4.0, "base_thickness_mm": 1.6}}])
@pytest.mark.parametrize("degrees", [40.0, 180.0, 300.0])
def test_volume_of_the_shank_lies_within_its_bounds(degrees, tables):
    """The mesh engine's body of the shank alone, less the bore, from cup to bottom, against the two bounds' share."""
    if degrees == 300.0:
        tables = {}
    layout = layout_of(arrangement={"coverage_deg": degrees}, **tables)
    seam = next(seam for seam in layout.seams if shank_of(seam) is not None)
    cell = whole_cell(layout, seam)
    parts = [part for part in cell.parts if part.name in ("shank", "bore")]
    with_shank = _closed_volume(layout, seam, cell.parts)
    without = _closed_volume(layout, seam, [part for part in cell.parts if part.name != "shank"])
    low, high = shank_volume_bounds(*ends(layout)[0])
    assert low <= with_shank - without
    assert _closed_volume(layout, seam, parts) <= high


def _closed_volume(layout: Layout, seam, parts) -> float:
    """Volume between the cell's planes by the divergence theorem: those planes hold the ring's axis, so their faces,
    which a patch leaves out, add nothing to a flux taken along the radius."""
    cell = whole_cell(layout, seam)
    patch = mesh.evaluate(parts, (cell.before, cell.after), layout.spec.mesh.deviation_mm)
    a, b, c = (patch.vertices[patch.faces[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)[:, :2] / 2.0
    return float(((a + b + c)[:, :2] / 3.0 * normal).sum()) / 2.0


def test_plain_arc_begins_where_the_prong_ends():
    """Brute force along the bore, past the last prong's axis, on the prong's own part."""
    layout = half_band().layout
    plain, (side, own) = plain_arc(layout), ends(layout)[0]
    prong = next(part for part in whole_cell(layout, side.seam).parts if part.name == "prong")
    angles = np.radians(np.linspace(0.0, 10.0, 10_001))
    across = np.column_stack((-np.sin(angles), np.cos(angles), np.zeros_like(angles))) * own.bore_radius_mm
    across[:, 2] = side.prong.axis.z_at(own.bore_radius_mm)
    past = math.degrees(angles[signed_distance((prong,), across) > 0.0][0])
    assert plain.plain_arc_deg == pytest.approx(2.0 * (own.plain_deg - past), abs=0.005)
    assert plain.plain_arc_mm == pytest.approx(math.radians(plain.plain_arc_deg) * BORE_MM / 2.0)
    assert plain.plain_sizes == 5  # a fifth of 26 mm: two US sizes (common practice, no source)


def test_rules_warn_under_the_trade_s_limits():
    layout = layout_of(shank={"base_thickness_mm": 1.4, "base_width_mm": 1.2})
    side, _ = ends(layout)[0]
    found = {finding.code: finding for rule in RULES if (finding := rule(layout, side)) is not None}
    assert found["shank-thickness"].severity == found["shank-width"].severity == "warning"
    assert found["shank-thickness"].measured == pytest.approx(1.4)
    assert found["shank-edge"].severity == found["shank-sizing"].severity == "ok"
    inner = layout.sides(layout.seams[0])[0]
    assert all(rule(layout, inner) is None for rule in RULES)
