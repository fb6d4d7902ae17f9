"""Comfort-fit bore and hoop: arcs and volumes against quadrature, metal measured on the mesh by rays, openings counted
by an independent library, near-tangencies by trying them."""

from __future__ import annotations

import math
import random
from functools import cache
from typing import Any

import numpy as np
import pytest
import trimesh
from scipy.integrate import quad

import bandgen
from bandgen.builders.bore import RING_AXIS, build_bore, cell_stops, comfort_profile
from bandgen.builders.hoop import build_hoop
from bandgen.errors import SpecError
from bandgen.inspection import bore as bore_rules
from bandgen.inspection import hoop as hoop_rules
from bandgen.layout.bore import crown_volume
from bandgen.layout.compute import compute_layout
from bandgen.layout.events import parting_height
from bandgen.layout.hoop import HoopNumbers, hoop_of
from bandgen.layout.numbers import BoreNumbers, Layout, Seam
from bandgen.parts import Revolved, volume
from bandgen.pipeline import with_exact_findings
from bandgen.spec import make_spec, spec_keys
from bandgen.units import KEEP_AWAY_MM

BASE = {"finger": {"inner_diameter_mm": 17.0}, "stones": {"diameter_mm": 2.0}}
COMFORT = {"bore": {"section": "comfort", "crown_mm": 0.2}}
HOOP = {"hoop": {"thickness_mm": 0.5}}
THROUGH = {"seat": {"opening": "through"}}
BANDS: dict[str, dict[str, Any]] = {
    "plain": {},
    "comfort": COMFORT,
    "comfort, through": COMFORT | THROUGH,
    "hoop": HOOP,
    "hoop under through seats": HOOP | THROUGH,
    "hoop with openings": {"hoop": {"thickness_mm": 0.5, "openings": True}} | THROUGH | COMFORT,
    "wide hoop": {"hoop": {"thickness_mm": 0.5, "width_mm": 4.0}} | COMFORT,
    "pattern": {"arrangement": {"pattern_mm": [2.0, 1.5]}} | HOOP | COMFORT,
    "graduated half": {"arrangement": {"coverage": "half", "end_mm": 1.6}}
    | {"hoop": {"thickness_mm": 0.5, "openings": True}}
    | THROUGH
    | COMFORT,
    "hoop to the plug's foot": {"hoop": {"thickness_mm": 0.5}, "plug": {"foot_clearance_mm": 0.2}}
    | {"seat": {"draft_deg": 1.0}},
}
BORE = BoreNumbers(8.5, 0.2, 1.1)
WITHOUT_OPENINGS = [name for name in BANDS if "through" not in name or "under" in name]


@cache
def band(name: str) -> bandgen.Band:
    return bandgen.generate(make_spec(BASE | BANDS[name]))


def layout_of(**tables: Any) -> Layout:
    return compute_layout(make_spec(BASE | tables))


def refusal(**tables: Any) -> SpecError:
    with pytest.raises(SpecError) as caught:
        layout_of(**tables)
    return caught.value


def solid(name: str) -> trimesh.Trimesh:
    mesh = band(name).mesh
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)


def heights(mesh: trimesh.Trimesh, x: float, z: float) -> list[float]:
    """Where the line at x, z along +Y (y > 0) crosses the mesh, ascending: even-odd in the plane of the other two."""
    a, b, c = (mesh.triangles[:, corner] for corner in range(3))

    def side(p: Any, q: Any) -> Any:
        return (q[:, 0] - p[:, 0]) * (z - p[:, 2]) - (q[:, 2] - p[:, 2]) * (x - p[:, 0])

    wa, wb, wc = side(b, c), side(c, a), side(a, b)
    hit = ((wa > 0) & (wb > 0) & (wc > 0)) | ((wa < 0) & (wb < 0) & (wc < 0))
    y = (wa * a[:, 1] + wb * b[:, 1] + wc * c[:, 1])[hit] / (wa + wb + wc)[hit]
    return sorted(value for value in y.tolist() if value > 0.0)


def test_the_bore_is_one_arc() -> None:
    """Narrowest in the middle, wider by the crown at the band's edges, every point equally far from one centre."""
    assert BORE.radius_at(0.0) == 8.5
    assert BORE.radius_at(1.1) == BORE.radius_at(-1.1) == pytest.approx(8.7, abs=1e-12)
    centre = 8.5 + BORE.curve_mm
    for z in np.linspace(0.0, BORE.reach_mm, 9):
        assert math.hypot(centre - BORE.radius_at(z), z) == pytest.approx(BORE.curve_mm, abs=1e-12)
    assert BoreNumbers(8.5).radius_at(3.0) == 8.5


@pytest.mark.parametrize("bore", [BORE, BoreNumbers(6.0, 0.45, 0.95), BoreNumbers(11.0, 0.05, 6.0)])
def test_the_tool_has_the_arc_s_volume(bore: BoreNumbers) -> None:
    """Against quadrature of the circles that the bore's radius gives."""
    whole = 2.0 * quad(lambda z: math.pi * bore.radius_at(z) ** 2, 0.0, bore.reach_mm, epsabs=1e-12)[0]
    assert volume(Revolved(comfort_profile(bore))) == pytest.approx(whole, rel=1e-11)
    crown = 2.0 * quad(lambda z: math.pi * (bore.radius_at(z) ** 2 - bore.radius_mm**2), 0.0, bore.reach_mm)[0]
    assert crown_volume(bore) == pytest.approx(crown, rel=1e-7)  # first_moment is good to 1e-9 of the whole


@pytest.mark.parametrize(("before", "after"), [(6.0, 6.0), (5.0, 7.5), (7.0, 171.0), (174.5, 6.0)])
def test_facets_have_corners_on_the_cell_s_planes(before: float, after: float) -> None:
    """Each stop, turned into the seam's frame, stands on a plane of the cell or on the seam, and the seam line of an
    exact revolution outside the cell."""
    seam = _seam(before, after)
    at = [(math.sin(math.radians(a)), -math.cos(math.radians(a))) for a in cell_stops(seam)]
    u, w = np.array(RING_AXIS.u), np.array(RING_AXIS.w)
    for (x, y), angle in zip(at, cell_stops(seam), strict=True):
        placed = math.cos(math.radians(angle)) * u - math.sin(math.radians(angle)) * w
        assert placed == pytest.approx((x, y, 0.0), abs=1e-12)
    angles = [math.degrees(math.atan2(-x, y)) for x, y in at]
    assert angles == pytest.approx([-before, 0.0, after], abs=1e-9)
    assert np.cross(u, RING_AXIS.v) == pytest.approx(w)
    assert tuple(u) == (0.0, -1.0, 0.0)
    assert max(before, after) < 180.0
    hoop, bore = build_hoop(seam, HoopNumbers(8.5, 0.4, 2.0))[0], build_bore(seam, BORE, 1.0)
    assert hoop.shape.stops == bore.shape.stops == cell_stops(seam)  # type: ignore[union-attr]
    assert hoop.frame == bore.frame == RING_AXIS


def _seam(before: float, after: float) -> Seam:
    prongs = layout_of().seams[0].prongs
    return Seam(0, 0.0, 0, 1, before, after, 0.1, prongs, None)


def test_the_hoop_s_blank_is_a_ring() -> None:
    """Pappus by hand: from under the bore to its top."""
    (part,) = build_hoop(_seam(6.0, 6.0), HoopNumbers(8.5, 0.4, 2.0))
    low = 8.5 - 0.37
    assert volume(part.shape) == pytest.approx(math.pi * (8.9**2 - low**2) * 2.0, rel=1e-12)


@pytest.mark.parametrize("name", BANDS)
def test_every_band_is_sound(name: str) -> None:
    """Watertight, one body, the predicted genus, by an independent library; no finding of severity "error"."""
    made, mesh = band(name), solid(name)
    assert [finding for finding in made.findings if finding.severity == "error"] == []
    assert mesh.is_watertight
    assert mesh.body_count == 1
    assert (2 - mesh.euler_number) // 2 == made.layout.genus
    low, high = made.layout.volume_bounds_mm3
    assert low < mesh.volume < high


def test_openings() -> None:
    """A hoop closes the seats that go through, unless it has an opening under each stone."""
    count = len(band("hoop with openings").layout.stations)
    assert band("hoop with openings").topology.genus == 1 + count
    assert band("hoop under through seats").topology.genus == 1
    assert band("hoop under through seats").layout.openings == ()


@pytest.mark.parametrize("name", ["comfort", "comfort, through", "wide hoop", "graduated half", "pattern"])
def test_the_bore_as_made(name: str) -> None:
    """No metal inside the arc, the finger's size at the narrowest, and metal right at it from edge to edge."""
    made = band(name)
    bore, vertices = made.layout.bore, made.mesh.vertices
    radial, z = np.hypot(vertices[:, 0], vertices[:, 1]), np.abs(vertices[:, 2])
    over = radial - np.array([bore.radius_at(value) for value in z])
    slack = made.layout.spec.mesh.deviation_mm + 1e-5
    assert over.min() > -slack
    assert 2.0 * radial.min() == pytest.approx(17.0, abs=2.0 * slack)
    on_bore = z[np.abs(over) < slack]
    assert on_bore.min() < 1e-6
    assert on_bore.max() == pytest.approx(bore.half_width_mm, abs=0.02)
    assert bore.radius_at(bore.half_width_mm) - bore.radius_mm == pytest.approx(bore.crown_mm, abs=1e-12)


def test_the_bore_leaves_the_rest_as_it_was() -> None:
    """A comfort bore only takes, and no more than its crown."""
    taken = solid("plain").volume - solid("comfort").volume
    assert 0.2 * crown_volume(band("comfort").layout.bore) < taken < crown_volume(band("comfort").layout.bore)


def test_floor_over_a_comfort_bore() -> None:
    """Metal under the recess, measured by rays on the mesh: at its edge less than in the middle by the bore's rise."""
    made = band("comfort")
    seat, bore = made.layout.stations[0].seat, made.layout.bore
    for z in (0.003, seat.column_radius_mm - 0.03):
        lowest, top = heights(solid("comfort"), 0.0011, z)[:2]
        assert lowest == pytest.approx(bore.radius_at(z), abs=0.006)
        assert top == pytest.approx(seat.floor_mm, abs=1e-5)
    sides = made.layout.sides(made.layout.seams[0])
    finding = bore_rules.floor_edge(made.layout, sides[0])
    assert finding is not None
    assert finding.severity == "ok"
    assert finding.measured == pytest.approx(0.7 - (bore.radius_at(seat.column_radius_mm) - 8.5), abs=1e-12)
    event = next(event for event in made.layout.events if event.name == "bore-recess")
    assert event.distance_mm == finding.measured


def test_the_hoop_as_made() -> None:
    """In the notch between two cups, outside the prong, the hoop's top stands at its thickness; it is the floor of the
    seats that go through."""
    made = bandgen.generate(make_spec(BASE | {"hoop": {"thickness_mm": 0.5, "width_mm": 4.0}} | THROUGH))
    mesh = trimesh.Trimesh(made.mesh.vertices, made.mesh.faces, process=False)
    assert heights(mesh, 0.001, 1.9) == pytest.approx([8.5, 9.0], abs=0.006)
    assert heights(mesh, 0.001, 0.002)[:2] == pytest.approx([8.5, 9.0], abs=0.006)
    plain = bandgen.generate(make_spec(BASE | THROUGH))
    mesh = trimesh.Trimesh(plain.mesh.vertices, plain.mesh.faces, process=False)
    assert heights(mesh, 0.001, 1.9) == heights(mesh, 0.001, 0.002) == []


def test_default_width_keeps_clear() -> None:
    """Inside the foot of every cup, and clear of all that a hoop's side may graze, without a refusal."""
    for diameter in np.arange(1.3, 3.4, 0.3):
        stones = {"stones": {"diameter_mm": float(diameter)}}
        made = layout_of(**stones, **HOOP)
        width = made.spec.hoop.width_mm
        assert 0.5 < width < 2.0 * min(station.seat.radius_at(8.5) for station in made.stations)
        assert layout_of(**stones, hoop={"thickness_mm": 0.5, "width_mm": width}).seams == made.seams


def test_a_hoop_is_moved_off_the_place_where_feet_part() -> None:
    """By half a hundredth of a millimetre at most, and said so."""
    plain = layout_of()
    sides = plain.sides(plain.seams[0])
    parting = parting_height([(side.station.seat, side.half) for side in sides])
    assert 0.3 < parting < 1.0
    made = layout_of(hoop={"thickness_mm": parting})
    (move,) = made.moves
    hoop = hoop_of(made.seams[0])
    assert hoop is not None
    assert move.key == "hoop.thickness_mm"
    assert move.used == hoop.thickness_mm
    assert 1e-5 < abs(hoop.thickness_mm - parting) < 0.005
    assert layout_of(hoop={"thickness_mm": 0.31}).moves == ()


@pytest.mark.parametrize(
    ("tables", "key", "words"),
    [
        ({"hoop": {"thickness_mm": 0.5, "openings": True}}, "hoop.openings", "needs seats that go through"),
        ({"hoop": {"thickness_mm": 2.5}}, "hoop.thickness_mm", "the hoop reaches the rims"),
        ({"hoop": {"thickness_mm": 0.8}} | THROUGH, "hoop.thickness_mm", "the culet reaches the hoop"),
        (
            {"hoop": {"thickness_mm": 0.3}, "plug": {"foot_clearance_mm": 0.35}, "seat": {"draft_deg": 2.0}},
            "hoop.thickness_mm",
            "a slot stays between the hoop and the foot of the plug",
        ),
        ({"bore": {"section": "comfort", "crown_mm": 0.6}}, "bore.crown_mm", "the bore is too round"),
        (
            {"bore": {"section": "comfort", "crown_mm": 0.9}, "hoop": {"thickness_mm": 0.5, "width_mm": 4.0}},
            "bore.crown_mm",
            "the bore takes the hoop's edges away",
        ),
        (
            {"hoop": {"thickness_mm": 0.5, "width_mm": 2.5}, "arrangement": {"coverage": "half"}},
            "hoop.width_mm",
            "the hoop is wider than the shank",
        ),
    ],
)
def test_refusals(tables: dict[str, Any], key: str, words: str) -> None:
    """Each names the key, in the trade's words."""
    problems = refusal(**tables).problems
    assert any(problem.key == key and words in problem.rule for problem in problems), problems


def test_grazing_sides_are_refused() -> None:
    """A hoop's side along a cup's or a prong's, at the finger or at its top."""
    made = layout_of(**HOOP)
    seat, prong = made.stations[0].seat, made.seams[0].prong
    across = prong.diameter_mm / 2.0 / math.cos(prong.axis.lean)
    for height in (8.5, 9.0):
        for half in (seat.radius_at(height), prong.axis.z_at(height) + across):
            error = refusal(hoop={"thickness_mm": 0.5, "width_mm": 2.0 * half + 0.001})
            assert {problem.key for problem in error.problems} == {"hoop.width_mm"}
            assert "lies along" in str(error)


def test_events_are_keys_of_the_spec() -> None:
    """Every event of a band that has everything."""
    for name in BANDS:
        layout = band(name).layout
        assert {event.key for event in layout.events} <= set(spec_keys())
        for event in layout.events:
            distance = abs(event.distance_mm) if event.kind == "flip" else event.distance_mm
            assert distance >= KEEP_AWAY_MM - 1e-9


def test_rules() -> None:
    """What the rules measure, by hand."""
    layout = band("wide hoop").layout
    side = layout.sides(layout.seams[0])[0]
    edge = hoop_rules.hoop_edge(layout, side)
    assert edge is not None
    assert edge.measured == pytest.approx(0.3)
    assert edge.severity == "warning"
    whole = hoop_rules.hoop_whole(layout, side)
    assert whole is not None
    assert whole.measured == pytest.approx(0.2)
    crown = bore_rules.comfort_crown(layout, side)
    assert crown is not None
    assert crown.measured == pytest.approx(0.1)
    layout = band("hoop with openings").layout
    side = layout.sides(layout.seams[0])[0]
    beside = hoop_rules.hoop_beside_opening(layout, side)
    hoop = hoop_of(side.seam)
    assert beside is not None
    assert hoop is not None
    assert beside.measured == pytest.approx(hoop.width_mm / 2.0 - side.station.seat.column_radius_mm)
    bare = band("plain").layout
    side = bare.sides(bare.seams[0])[0]
    assert [rule(bare, side) for rule in (*hoop_rules.RULES, *bore_rules.RULES)] == [None] * 5


def random_tables(rng: random.Random) -> dict[str, Any]:
    """A hoop narrower or wider than the prong pair, over feet that meet or not, and often a comfort bore."""
    diameter = rng.uniform(1.2, 3.5)
    tables: dict[str, Any] = {"finger": {"inner_diameter_mm": rng.uniform(13.0, 24.0)}}
    tables["stones"] = {"diameter_mm": diameter}
    tables["hoop"] = {"thickness_mm": rng.uniform(0.3, 0.9), "width_mm": diameter * rng.uniform(0.4, 1.5)}
    tables["mesh"] = {"deviation_mm": 0.01}
    if rng.random() < 0.5:
        tables["seat"] = {"draft_deg": rng.choice([0.0, rng.uniform(0.0, 3.0), rng.uniform(3.0, 12.0)])}
    if rng.random() < 0.5:
        tables["bore"] = {"section": "comfort", "crown_mm": rng.uniform(0.05, 0.3)}
    if rng.random() < 0.4:
        tables["plug"] = {"foot_clearance_mm": rng.uniform(0.03, 0.3)}
    return tables


def test_no_hoop_traps_a_void() -> None:
    """Random bands: every one that is accepted has one body, no cavity and the predicted genus."""
    rng = random.Random(20)
    accepted = 0
    while accepted < 8:
        try:
            made = bandgen.generate(make_spec(random_tables(rng)))
        except SpecError:
            continue
        accepted += 1
        assert [finding for finding in made.findings if finding.severity == "error"] == []
        assert (made.topology.bodies, made.topology.cavities, made.topology.genus) == (1, 0, made.layout.genus)


def test_both_engines_agree() -> None:
    """A comfort bore, a hoop and through-openings on true surfaces: same genus, volume and bounds."""
    made = with_exact_findings(band("hoop with openings"))
    assert [finding for finding in made.findings if finding.severity == "error"] == []
    assert made.solid.genus == 1 + len(made.layout.stations)
