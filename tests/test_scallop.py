"""Scalloped sides: arches that keep off prongs and recess, take the metal they say, and open nothing."""

import math
from dataclasses import replace

import manifold3d
import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from bandgen.band import build_mesh
from bandgen.builders.prong import build_prongs
from bandgen.builders.scallop import build_arches
from bandgen.builders.seat import build_seat
from bandgen.cell import BUILDERS, whole_cell
from bandgen.engines.mesh import facet
from bandgen.errors import SpecError
from bandgen.inspection.scallop import RULES
from bandgen.inspection.topology import measure
from bandgen.layout.compute import compute_layout
from bandgen.layout.scallop import (
    LEAST_METAL_MM,
    LEAST_STEP_MM,
    ROOM_SHARE,
    ArchNumbers,
    arch_interval,
    arch_outline,
    removed_at_most,
)
from bandgen.parts import area, turned
from bandgen.spec import make_spec

FINE_MM = 0.002
PATTERN = {"pattern_mm": [2.4, 2.0]}
BANDS = {
    "blind": {},
    "small": {"diameter": 1.2, "bore": 14.0, "scallop": 0.15},
    "through": {"seat": {"opening": "through"}, "scallop": 0.4},
    "pattern": {"diameter": 2.4, "arrangement": PATTERN},
    "hoop": {"hoop_mm": 0.4, "stones": {"culet_clearance_mm": 1.2}},
    "comfort": {"section": "comfort"},
}


def band(scallop=0.3, bore=16.0, diameter=3.0, hoop_mm=0.0, section="flat", **tables):
    arrangement = {"scallop_mm": scallop, **tables.pop("arrangement", {})}
    stones = {"diameter_mm": diameter, **tables.pop("stones", {})}
    ring = {"hoop": {"thickness_mm": hoop_mm}, "bore": {"section": section}}
    finger = {"inner_diameter_mm": bore}
    return compute_layout(make_spec({"finger": finger, "stones": stones, "arrangement": arrangement, **ring, **tables}))


def arch_of(station) -> ArchNumbers:
    return next(extra for extra in station.extras if isinstance(extra, ArchNumbers))


def body(part):
    vertices, faces = facet(part, FINE_MM)
    return manifold3d.Manifold(manifold3d.Mesh64(vertices, faces.astype(np.uint64)))


def measured(layout):
    mesh = build_mesh(layout)
    return measure(mesh.vertices, mesh.faces)


def test_none_asked_is_none():
    assert not any(station.extras for station in band(0.0).stations)


@pytest.mark.parametrize("case", BANDS)
def test_one_body_and_no_opening_more(case):
    """The genus of the band without arches is the genus with them: 1, and one for each recess that goes through."""
    layout = band(**BANDS[case])
    found = measured(layout)
    through = sum(station.seat.through for station in layout.stations)
    assert (found.bodies, found.genus) == (1, 1 + through)
    assert found.cavities == 0
    low, high = layout.volume_bounds_mm3
    assert low < found.volume < high


@pytest.mark.parametrize("case", ["blind", "through", "comfort", "hoop"])
def test_takes_the_metal_between_its_back_and_the_cup(case):
    """Against the integral of the cone's depth before the back over the outline (scipy), for both sides of each cup."""
    fine = {"mesh": {"deviation_mm": FINE_MM}}
    layout = band(**BANDS[case], **fine)
    without = band(**{**BANDS[case], "scallop": 0.0}, **fine)
    arch, seat = arch_of(layout.stations[0]), layout.stations[0].seat

    def depth(y, x):
        z = math.sqrt(max(seat.radius_at(y) ** 2 - x**2, 0.0))
        low = arch.back_mm
        if y < layout.bore.radius_mm + layout.bore.crown_mm:  # part of it is the bore's anyway
            low = max(low, 0.0)
            z = min(z, _bore_z(layout.bore, math.hypot(x, y)))
        return max(z - low, 0.0)

    head = arch.head_mm - arch.curve_mm
    taken, _ = dblquad(
        depth,
        0.0,
        arch.half_mm,
        lambda x: max(math.sqrt(layout.bore_radius_mm**2 - x**2), arch.bottom_mm),
        lambda x: head + math.sqrt(arch.curve_mm**2 - x**2),
        epsabs=1e-7,
    )
    lost = (measured(without).volume - measured(layout).volume) / len(layout.stations)
    assert lost == pytest.approx(4.0 * taken, rel=0.01)
    assert removed_at_most(arch, seat) >= 4.0 * taken


def _bore_z(bore, radius):
    """How far from the mid-plane a comfort bore leaves metal at a radius: its arc, solved for z."""
    rise = radius - bore.radius_mm
    return math.inf if bore.crown_mm == 0.0 else math.sqrt(max(2.0 * bore.curve_mm * rise - rise**2, 0.0))


@pytest.mark.parametrize("case", BANDS)
def test_metal_behind_is_the_distance_of_the_two_bodies(case):
    """manifold's gap between faceted recess and arch, two independent bodies, within their deviation. The arch is cut
    off over the finger, since a recess that goes through runs on under it."""
    station = band(**BANDS[case]).stations[0]
    arch = arch_of(station)
    over = replace(arch, bottom_mm=station.seat.column_bottom_mm) if station.seat.through else arch
    _, recess = build_seat(station, 0.0)
    gap = body(recess).min_gap(body(build_arches(station, over)[0]), 3.0)
    assert gap == pytest.approx(arch.metal_mm, abs=3.0 * FINE_MM)


@pytest.mark.parametrize("case", ["blind", "small", "pattern"])
def test_keeps_off_every_prong(case):
    """The gap of the bodies, against the strip that the share of the room leaves; beside unequal neighbours too."""
    layout = band(**BANDS[case])
    for seam in layout.seams[:2]:
        for side in layout.sides(seam):
            arch = arch_of(side.station)
            degrees = -seam.before_deg if side.sign > 0 else seam.after_deg
            over = replace(arch, bottom_mm=math.sqrt(layout.bore_radius_mm**2 - side.station.seat.rim_radius_mm**2))
            tool = body(turned(build_arches(side.station, over)[0], degrees))
            gap = tool.min_gap(body(build_prongs(seam)[0]), 3.0)
            assert gap >= (1.0 / ROOM_SHARE - 1.0) * arch.half_mm * math.cos(side.half) - FINE_MM


def test_interval_is_the_outline():
    """Integrated over x it is the area of the outline in closed form; nothing beyond the legs or before the back."""
    arch = arch_of(band().stations[0])

    def height(x):
        low, high = arch_interval(arch, np.array([x]), np.array([arch.back_mm + 0.1]))
        return float(high[0] - low[0])

    taken, _ = quad(height, -arch.half_mm, arch.half_mm, epsabs=1e-9)
    assert taken == pytest.approx(area(arch_outline(arch, arch.bottom_mm)), rel=1e-6)
    x = np.array([0.0, arch.half_mm + 0.01, 0.0, 0.0])
    z = np.array([arch.back_mm - 0.01, arch.back_mm + 0.1, -arch.back_mm - 0.1, arch.back_mm + 0.1])
    low, high = arch_interval(arch, x, z)
    assert ((high > low) == [False, False, True, True]).all()


@pytest.mark.parametrize("case", BANDS)
def test_depth_is_measured_at_its_foot(case):
    layout = band(**BANDS[case])
    for station in layout.stations:
        arch = arch_of(station)
        depth = station.seat.radius_at(arch.foot_mm) - arch.back_mm
        assert depth == pytest.approx(layout.spec.arrangement.scallop_mm, abs=1e-6)


@pytest.mark.parametrize("case", BANDS)
def test_rim_and_edges_stay(case):
    """Over the head stays the caster's least, and the cut still has a step at its legs."""
    for station in band(**BANDS[case]).stations:
        arch, seat = arch_of(station), station.seat
        assert seat.rim_mm - arch.head_mm >= LEAST_METAL_MM - 1e-9
        low = max(arch.bottom_mm, math.sqrt(seat.bore_radius_mm**2 - seat.rim_radius_mm**2))
        assert math.sqrt(seat.radius_at(low) ** 2 - arch.half_mm**2) - arch.back_mm >= LEAST_STEP_MM - 1e-9


def test_the_head_is_lowered_only_for_metal():
    """As high as the rim allows where the recess is far; lower where that keeps metal; no lower than helps."""
    heads = [(arch_of(station), station.seat) for station in (band(t, diameter=2.0).stations[0] for t in (0.06, 0.3))]
    (shallow, seat), (deep, _) = heads
    assert shallow.head_mm <= seat.rim_mm - LEAST_METAL_MM
    assert deep.head_mm < shallow.head_mm
    assert deep.metal_mm == pytest.approx(LEAST_METAL_MM, abs=1e-6)


def test_a_back_between_two_millionths_still_joins():
    """Found by random bands: a back at z = 0.6263125 was rounded up in one cell and down in the next."""
    arrangement = {"end_mm": 1.594}
    seat = {"opening": "through", "draft_deg": 0}
    layout = band(0.249, bore=21.025, diameter=2.847, arrangement=arrangement, seat=seat)
    assert measured(layout).bodies == 1


def test_over_a_hoop_it_is_a_niche():
    layout = band(**BANDS["hoop"])
    arch = arch_of(layout.stations[0])
    assert arch.bottom_mm == arch.foot_mm > layout.bore_radius_mm + 0.4


# Each refusal names its key; the neighbouring spec that is not refused shows that nothing else is in the way.
@pytest.mark.parametrize(
    ("rule", "key", "outside", "inside"),
    [
        ("breaks into the recess", "arrangement.scallop_mm", {"scallop": 0.78}, {"scallop": 0.7}),
        ("too shallow", "arrangement.scallop_mm", {"scallop": 0.04}, {"scallop": 0.07}),
        ("meet under the seat", "arrangement.scallop_mm",
         {"scallop": 1.5, "seat": {"floor_mm": 1.5}, "stones": {"culet_clearance_mm": 1.7}},
         {"scallop": 1.2, "seat": {"floor_mm": 1.5}, "stones": {"culet_clearance_mm": 1.7}}),
        ("no room for an arch", "prong.diameter_mm",
         {"diameter": 1.1, "scallop": 0.15, "prong": {"diameter_mm": 0.95}},
         {"diameter": 1.1, "scallop": 0.15, "prong": {"diameter_mm": 0.8}}),
        ("too low", "hoop.thickness_mm", {"hoop_mm": 1.4, "stones": {"culet_clearance_mm": 1.2}},
         {"hoop_mm": 1.2, "stones": {"culet_clearance_mm": 1.2}}),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_refused_with_its_key(rule, key, outside, inside):
    with pytest.raises(SpecError) as refused:
        band(**outside)
    assert any(rule in problem.rule and problem.key == key for problem in refused.value.problems)
    band(**inside)


@pytest.mark.parametrize(
    ("code", "outside", "inside"),
    [
        ("arch-recess", {"scallop": 0.35}, {"scallop": 0.3}),
        ("arch-arch", {"scallop": 1.1, "seat": {"floor_mm": 1.5}, "stones": {"culet_clearance_mm": 1.7}},
         {"scallop": 0.9, "seat": {"floor_mm": 1.5}, "stones": {"culet_clearance_mm": 1.7}}),
    ],
)  # fmt: skip
def test_thin_metal_is_said(code, outside, inside):
    """0.4 mm: Morris & Watson, casting guidelines."""
    assert _severity(band(**outside), code) == "warning"
    assert _severity(band(**inside), code) == "ok"
    assert not any(rule(band(0.0), side) for rule in RULES for side in _first_sides(band(0.0)))


def _first_sides(layout):
    return layout.sides(layout.seams[0])


def _severity(layout, code):
    found = [rule(layout, side) for side in _first_sides(layout) for rule in RULES]
    return next(finding.severity for finding in found if finding.code == code)


def test_both_engines_agree():
    """The volume of the exact cell, as often as there are stones, against the mesh of the ring."""
    from bandgen.engines.exact import evaluate

    layout = band(0.3, bore=13.0, mesh={"deviation_mm": FINE_MM})
    cell = whole_cell(layout, layout.seams[0])
    volume = evaluate(cell.parts, (cell.before, cell.after)).volume * len(layout.seams)
    assert volume == pytest.approx(measured(layout).volume, rel=1e-3)


def test_the_tables_know_it():
    assert ArchNumbers in BUILDERS
    layout = band()
    assert sum(part.name == "arch" for part in whole_cell(layout, layout.seams[0]).parts) == 4
