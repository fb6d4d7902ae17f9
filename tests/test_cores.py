"""Recesses as casting cores: holes and slots of known size, and a bench's recess of 0.34 mm found on its solid.

The solids come from trimesh and are cut by its booleans; the ratios are closed forms. Limits: Morris & Watson's casting
guidelines (no deeper than wide), and a gold-casting article's 4 times for holes that go through.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import trimesh
from trimesh.boolean import difference

from bandgen.inspection.cores import Core, measure_core, section, widest_circle
from bandgen.inspection.solid_map import Recess, measure_recess, measure_recesses
from bandgen.inspection.solid_rules import core_ratio, core_slender, core_width, inspect_solid, seat_metal
from bandgen.pipeline import Band, generate
from bandgen.spec import make_spec

FINE = 96
"""Corners of a circle: its widest inscribed circle is narrower by 0.05 %."""

PRACTICE: dict[str, dict[str, Any]] = {
    "finger": {"inner_diameter_mm": 16.7},
    "stones": {"diameter_mm": 2.0, "culet_clearance_mm": 1.0, "gap_mm": 0.2},
    "seat": {
        "draft_deg": 3.0,
        "rim_below_girdle_mm": 0.2,
        "floor_mm": 0.8,
        "bearing_deg": 45.0,
        "bearing_mm": 0.6,
        "fillet_mm": 0.0,
    },
}
"""A bench's worked example (common practice, no source): 29 stones of 2.0 mm, each over a recess 0.34 mm wide and 0.26
deep under its bearing."""


def at(x: float, y: float, z: float) -> Any:
    return trimesh.transformations.translation_matrix((x, y, z))


def block(*tools: Any) -> Any:
    """A block 3 mm square, its top at z = 1, its foot at -1, less the tools."""
    return difference([trimesh.creation.box((3.0, 3.0, 2.0)), *tools])


def cylinder(radius: float, low: float, high: float, x: float = 0.0) -> Any:
    return trimesh.creation.cylinder(radius, high - low, sections=FINE, transform=at(x, 0.0, (low + high) / 2.0))


def core_of(solid: Any) -> Core:
    core = measure_core(np.array(solid.triangles), -0.9, 1.1, 1.4)
    assert core is not None
    return core


# --- holes of known size ---


@pytest.mark.parametrize(("radius", "depth"), [(0.2, 0.3), (0.3, 1.5), (0.5, 0.9)])
def test_blind_cylinder(radius: float, depth: float) -> None:
    """Depth over diameter; what is left of the block's 2 mm is below it."""
    core = core_of(block(cylinder(radius, 1.0 - depth, 2.0)))
    assert not core.through
    assert core.width_mm == pytest.approx(2.0 * radius, rel=1e-3)
    assert core.ratio == pytest.approx(depth / (2.0 * radius), rel=2e-3)
    assert core.depth_mm == pytest.approx(depth, abs=1e-3)
    assert core.at_mm == pytest.approx(1.0, abs=2e-3)
    assert core.floor_mm == pytest.approx(2.0 - depth, abs=1e-6)


def test_through_cylinder() -> None:
    """From face to face, held at both ends: as far as was looked, 1.9 mm of it."""
    core = core_of(block(cylinder(0.25, -2.0, 2.0)))
    assert core.through
    assert core.floor_mm == 0.0
    assert core.ratio == pytest.approx(1.9 / 0.5, rel=2e-3)


@pytest.mark.parametrize("width", [0.3, 0.6])
def test_slot(width: float) -> None:
    """The widest circle in a slot is as wide as the slot, however long it is."""
    core = core_of(block(trimesh.creation.box((width, 1.8, 1.6), transform=at(0.0, 0.0, 1.0))))
    assert core.width_mm == pytest.approx(width, abs=1e-3)
    assert core.ratio == pytest.approx(0.8 / width, rel=4e-3)


def test_widest_circle_about_any_centre() -> None:
    """Off the axis by 0.25 of a radius of 0.4, the circle is still found; so is the one in a triangle (r = area over
    half the outline)."""
    core = core_of(block(cylinder(0.4, 0.5, 2.0, x=0.25)))
    assert core.width_mm == pytest.approx(0.8, rel=2e-3)
    corners = np.array([(-0.3, -0.2), (0.9, -0.1), (0.1, 0.7)])
    sides = np.stack((corners, np.roll(corners, -1, axis=0)), axis=1)
    outline = np.linalg.norm(sides[:, 1] - sides[:, 0], axis=1).sum()
    (ax, ay), (bx, by) = corners[1:] - corners[0]
    assert widest_circle(sides, 2.0) == pytest.approx(2.0 * (ax * by - ay * bx) / outline, rel=2e-3)


def test_the_worst_depth_counts() -> None:
    """A pin 0.3 wide and 0.6 deep under a wide mouth: at the step 0.6 / 0.3 = 2, at the mouth (0.6 + 0.5) / 1.2."""
    core = core_of(block(cylinder(0.15, -0.1, 2.0), cylinder(0.6, 0.5, 2.0)))
    assert core.ratio == pytest.approx(2.0, rel=0.01)
    assert core.at_mm == pytest.approx(0.5, abs=0.01)
    assert core.width_mm == pytest.approx(0.3, rel=2e-3)


def test_cone_is_worst_at_its_mouth() -> None:
    """A cone of half angle a stands on its point: depth over width is 1 / (2 tan a) at all depths."""
    upside_down = trimesh.transformations.rotation_matrix(math.pi, (1.0, 0.0, 0.0))
    cone = trimesh.creation.cone(0.6, 1.2, sections=FINE, transform=at(0.0, 0.0, 1.2) @ upside_down)
    core = core_of(block(cone))
    assert core.ratio == pytest.approx(1.0, rel=0.02)


def test_no_recess_no_core() -> None:
    assert measure_core(np.array(block(cylinder(0.1, 0.5, 2.0, x=1.0)).triangles), -0.9, 0.9, 0.3) is None
    assert widest_circle(np.empty((0, 2, 2)), 1.0) == 0.0


def test_section_is_closed() -> None:
    """Every corner of a section belongs to two segments, through corners of the mesh too."""
    triangles = np.array(block(cylinder(0.3, 0.0, 2.0)).triangles)
    for level in (0.0, 0.25, 0.5):
        ends = np.round(section(triangles, level).reshape(-1, 2), 9)
        _, counts = np.unique(ends, axis=0, return_counts=True)
        assert len(ends) > 8
        assert not (counts % 2).any()


# --- bands ---


def band(**tables: dict[str, Any]) -> Band:
    base = {"finger": {"inner_diameter_mm": 17.0}, "stones": {"diameter_mm": 2.0}}
    return generate(make_spec({**base, **tables}))


def test_practice_recess_is_found_on_the_solid() -> None:
    """0.34 mm across within 0.01, as 29 of them must be; 0.26 deep under the bearing, where depth over width is 0.26 /
    0.34; castable as they are no deeper than wide, yet narrower than 0.4."""
    made = generate(make_spec(PRACTICE))
    assert len(made.layout.stations) == 29
    (recess,) = measure_recesses(made.layout, made.mesh)
    assert recess.core.width_mm == pytest.approx(0.34, abs=0.01)
    assert recess.core.ratio == pytest.approx(0.26 / 0.34, abs=0.03)
    assert recess.core.bottom_mm - made.layout.bore_radius_mm == pytest.approx(0.8, abs=1e-4)
    assert recess.core.floor_mm == pytest.approx(0.8, abs=1e-4)
    found = {finding.code: finding for finding in inspect_solid(made.layout, made.mesh)}
    assert found["core-ratio"].severity == "ok"
    assert found["core-width"].severity == "warning"
    assert found["core-width"].measured == recess.core.width_mm


def test_every_recess_is_like_the_one_measured() -> None:
    """Twenty and more of them: each station's recess measured on its own."""
    made = generate(make_spec(PRACTICE))
    layout = made.layout
    widths = [measure_recess(layout, made.mesh, station, layout.rows[0]) for station in layout.stations[::7]]
    assert [recess.core.width_mm for recess in widths if recess] == pytest.approx([0.34] * 5, abs=0.01)


@pytest.mark.parametrize("opening", ["blind", "through"])
def test_measured_core_agrees_with_the_layout(opening: str) -> None:
    made = band(seat={"opening": opening, "fillet_mm": 0.0})
    seat = made.layout.stations[0].seat
    (recess,) = measure_recesses(made.layout, made.mesh)
    assert recess.core.through == (opening == "through")
    assert recess.core.width_mm == pytest.approx(2.0 * seat.column_radius_mm, abs=0.005)
    assert recess.core.ratio == pytest.approx(seat.column_length_mm / (2.0 * seat.column_radius_mm), rel=0.03)
    assert recess.core.top_mm == pytest.approx(seat.rim_mm, abs=1e-3)


def test_outer_rows_are_measured_in_their_place() -> None:
    """Under a comfort bore an outer row's recess has less metal below than the middle one's."""
    made = band(arrangement={"rows": 3}, bore={"section": "comfort"})
    cores = measure_recesses(made.layout, made.mesh)
    floors = {abs(recess.point[2]): recess.core.floor_mm for recess in cores}
    assert len(floors) == 2
    assert floors[max(floors)] < floors[0.0] - 0.02


@pytest.mark.parametrize(
    ("code", "outside", "inside"),
    [
        ("core-width", {"wall_mm": 0.8}, {"wall_mm": 0.78}),
        ("seat-metal", {"floor_mm": 0.49}, {"floor_mm": 0.5}),
    ],
)
def test_each_check_fires_on_a_band(code: str, outside: dict[str, float], inside: dict[str, float]) -> None:
    bad, good = (
        {f.code: f for f in inspect_solid(made.layout, made.mesh)}[code]
        for made in (band(seat=outside), band(seat=inside))
    )
    assert (bad.severity, good.severity) == ("warning", "ok")
    assert bad.place.station == 0


@pytest.mark.parametrize(
    ("rule", "depth", "through", "severity"),
    [
        (core_ratio, 0.49, False, "ok"),
        (core_ratio, 0.51, False, "warning"),
        (core_ratio, 0.51, True, "note"),
        (core_slender, 1.95, True, "ok"),
        (core_slender, 1.95, False, "ok"),
    ],
)
def test_core_rules_on_doctored_solids(rule: Any, depth: float, through: bool, severity: str) -> None:
    """Holes 0.5 mm wide drilled to either side of the limits; through ones in a block as thick as they are deep."""
    foot = 1.0 - depth - (0.5 if not through else 0.0)
    solid = difference(
        [
            trimesh.creation.box((3.0, 3.0, 1.0 - foot), transform=at(0.0, 0.0, (1.0 + foot) / 2.0)),
            cylinder(0.25, 1.0 - depth - (1.0 if through else 0.0), 2.0),
        ]
    )
    core = measure_core(np.array(solid.triangles), foot - (0.1 if through else -0.1), 1.1, 1.4)
    assert core is not None
    assert core.through == through
    assert core.ratio == pytest.approx(depth / 0.5, rel=3e-3)
    assert rule(Recess(0, (0.0, 0.0, 0.0), core)).severity == severity


def test_slender_cores_fire() -> None:
    """A hole 0.5 wide: 4 times as deep is the limit."""
    for depth, severity in ((1.99, "ok"), (2.05, "warning")):
        box = trimesh.creation.box((3.0, 3.0, 4.0), transform=at(0.0, 0.0, -1.0))
        core = measure_core(np.array(difference([box, cylinder(0.25, 1.0 - depth, 2.0)]).triangles), -2.9, 1.1, 1.4)
        assert core is not None
        recess = Recess(3, (0.0, 0.0, 0.0), core)
        assert core_slender(recess).severity == severity
        assert core_slender(recess).place.station == 3
        assert core_ratio(recess).severity == "warning"


def test_through_recess_has_no_floor() -> None:
    core = Core(0.0, 1.0, 0.5, 2.0, 0.5, True, 0.0)
    assert seat_metal(Recess(0, (0.0, 0.0, 0.0), core)) is None
    assert core_width(Recess(0, (0.0, 0.0, 0.0), core)).severity == "ok"
    assert math.isclose(core.depth_mm, 1.0)
