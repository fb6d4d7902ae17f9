"""Builders: frames, signs, and where parts start and end, from the numbers of many bands."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bandgen.builders.bore import build_bore, half_width
from bandgen.builders.plug import build_plug
from bandgen.builders.prong import build_prongs
from bandgen.builders.seat import ABOVE_RIM_MM, build_seat
from bandgen.engines.facets import place
from bandgen.inspection.prediction import extents
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout
from bandgen.parts import Extruded, Frame, Part, Revolved, arc_of, area
from bandgen.spec import make_spec
from bandgen.units import KEEP_AWAY_MM

BANDS = [(1.2, 17.0, "blind", "dome"), (2.0, 17.0, "blind", "dome"), (2.0, 21.0, "through", "flat"),
         (2.5, 15.0, "blind", "flat"), (3.5, 15.0, "through", "dome"), (5.0, 40.0, "blind", "dome")]  # fmt: skip


@pytest.fixture(params=BANDS, ids=str)
def layout(request: pytest.FixtureRequest) -> Layout:
    diameter, bore, opening, tip = request.param
    tables = {"seat": {"opening": opening}, "prong": {"tip": tip}}
    return compute_layout(
        make_spec({"finger": {"inner_diameter_mm": bore}, "stones": {"diameter_mm": diameter}, **tables})
    )


def all_parts(layout: Layout) -> tuple[Part, ...]:
    seam, station = layout.seams[0], layout.stations[0]
    width = half_width(station.seat.rim_radius_mm, seam.prong)
    return (
        *build_seat(station, -seam.before_deg),
        *build_seat(station, seam.after_deg),
        *build_prongs(seam),
        *build_plug(seam),
        build_bore(seam, layout.bore, width),
    )


def corners(part: Part) -> np.ndarray:
    """The profile's corners (n, 2)."""
    return np.array([(point.u, point.v) for point in part.shape.profile.points])


def disc(part: Part, v: float, radius: float) -> np.ndarray:
    """Points (n, 3) in the cell's frame of the circle about a revolution's axis at local height v."""
    turn = np.linspace(0.0, 2.0 * math.pi, 361)
    local = np.column_stack((radius * np.cos(turn), np.full_like(turn, v), radius * np.sin(turn)))
    return place(local, part.frame)


def from_finger_axis(points: np.ndarray) -> np.ndarray:
    return np.hypot(points[:, 0], points[:, 1])


def axes(frame: Frame) -> np.ndarray:
    return np.array([frame.u, frame.v, frame.w])


def test_frames_are_orthonormal_and_right_handed(layout: Layout) -> None:
    for part in all_parts(layout):
        matrix = axes(part.frame)
        assert np.abs(matrix @ matrix.T - np.eye(3)).max() < 1e-15
        assert np.linalg.det(matrix) == pytest.approx(1.0, abs=1e-15)


def test_signs_and_names(layout: Layout) -> None:
    found = [(part.name, part.sign) for part in all_parts(layout)]
    seat = [("cup", 1), ("recess", -1)]
    assert found == [*seat, *seat, ("prong", 1), ("prong", 1), ("plug", 1), ("bore", -1)]


def test_profiles_run_counter_clockwise_off_the_far_side_of_their_axis(layout: Layout) -> None:
    for part in all_parts(layout):
        assert area(part.shape.profile) > 0.0
        if isinstance(part.shape, Revolved):
            assert corners(part)[:, 0].min() == 0.0


def test_seats_stand_on_their_stones_axes(layout: Layout) -> None:
    """The station before the seam stands clockwise seen from +Z, towards +X."""
    half = math.radians(layout.seams[0].before_deg)
    for angle, side in ((-layout.seams[0].before_deg, 1.0), (layout.seams[0].after_deg, -1.0)):
        for part in build_seat(layout.stations[0], angle):
            assert part.frame.v == pytest.approx((side * math.sin(half), math.cos(half), 0.0), abs=1e-15)
            assert part.frame.u == pytest.approx((0.0, 0.0, 1.0))
            assert part.frame.origin == (0.0, 0.0, 0.0)


def test_cup_ends_at_its_rim_and_under_the_bore(layout: Layout) -> None:
    station = layout.stations[0]
    cup, recess = build_seat(station, 0.0)
    base, rim = corners(cup)[:, 1].min(), corners(cup)[:, 1].max()
    assert rim == station.seat.rim_mm
    assert corners(cup)[:, 0].max() == station.seat.rim_radius_mm
    assert from_finger_axis(disc(cup, base, corners(cup)[1, 0])).max() < layout.bore_radius_mm
    top = corners(recess)[:, 1].max()
    assert 0.0 < top - rim == pytest.approx(ABOVE_RIM_MM)
    assert ABOVE_RIM_MM <= KEEP_AWAY_MM / 2.0  # so no prong beside the mouth is notched


def test_recess_stands_on_its_floor_or_reaches_into_the_bore(layout: Layout) -> None:
    seat = layout.stations[0].seat
    _, recess = build_seat(layout.stations[0], 0.0)
    bottom = corners(recess)[:, 1].min()
    if seat.through:
        assert from_finger_axis(disc(recess, bottom, seat.column_radius_mm)).max() < layout.bore_radius_mm
    else:
        assert bottom == seat.floor_mm == pytest.approx(layout.bore_radius_mm + layout.spec.seat.floor_mm)


def test_the_pair_of_prongs_is_its_own_mirror_image(layout: Layout) -> None:
    first, second = build_prongs(layout.seams[0])
    assert first.shape == second.shape
    assert first.frame.origin[2] > 0.0
    mirror = np.array([1.0, 1.0, -1.0])
    assert np.array(first.frame.origin) * mirror == pytest.approx(second.frame.origin)
    assert np.array(first.frame.v) * mirror == pytest.approx(second.frame.v)
    assert first.frame.u[0] == second.frame.u[0] == 0.0  # the turn starts in the seam's plane, where it is cut


def test_prongs_reach_from_under_the_bore_to_their_height(layout: Layout) -> None:
    """The tip stands its blank height over the lower girdle edge of either stone, measured along that stone's axis:
    the dome's top point by its sphere, the flat tip by its highest rim point."""
    seam, half = layout.seams[0], math.radians(layout.seams[0].before_deg)
    (prong, _), radius = build_prongs(seam), seam.prong.diameter_mm / 2.0
    foot, tip = corners(prong)[:, 1].min(), corners(prong)[:, 1].max()
    assert from_finger_axis(disc(prong, foot, radius)).max() < layout.bore_radius_mm
    up = np.array([math.sin(half), math.cos(half), 0.0])
    if seam.prong.tip == "dome":
        centre = place(np.array([[0.0, tip - radius, 0.0]]), prong.frame)
        top = float((centre @ up)[0]) + radius
    else:
        top = float((disc(prong, tip, radius) @ up).max())
    asked = layout.spec.prong.height_above_girdle_mm
    assert top - layout.stations[0].seat.girdle_mm == pytest.approx(
        asked, abs=1e-4 if seam.prong.tip == "flat" else 1e-9
    )


def test_dome_is_a_hemisphere(layout: Layout) -> None:
    prong = build_prongs(layout.seams[0])[0]
    bent = [arc_of(a, b) for a, b in prong.shape.profile.sides if a.bulge != 0.0]
    if layout.spec.prong.tip == "flat":
        assert bent == []
        return
    (arc,) = bent
    assert arc.radius == pytest.approx(layout.spec.prong.diameter_mm / 2.0)
    assert arc.sweep == pytest.approx(math.pi / 2.0)
    assert arc.u == pytest.approx(0.0, abs=1e-12)


def test_plug_ends_on_the_prongs_axes(layout: Layout) -> None:
    """A plug that ends at their inner faces would leave pinholes (derived values, item 3)."""
    seam = layout.seams[0]
    (plug,), prongs = build_plug(seam), build_prongs(seam)
    assert isinstance(plug.shape, Extruded)
    assert plug.shape.length == seam.plug.width_mm
    local = np.column_stack((corners(plug), np.zeros(4)))
    points = place(local, plug.frame)
    assert points[:, 0] == pytest.approx(0.0)
    for point in points:
        away = [np.linalg.norm(np.cross(point - prong.frame.origin, prong.frame.v)) for prong in prongs]
        assert min(away) < 1e-12
    low = points[:, 1].min()
    edge = np.array([[seam.plug.before_mm, low, 0.0]])
    assert from_finger_axis(edge)[0] < layout.bore_radius_mm  # flush: its foot is under the bore at its edges too
    assert points[:, 1].max() == seam.plug.top_mm


def test_bore_covers_the_cell_and_has_corners_on_its_planes(layout: Layout) -> None:
    seam, r = layout.seams[0], layout.bore_radius_mm
    width, outer = extents(layout)
    bore = build_bore(seam, layout.bore, half_width(layout.stations[0].seat.rim_radius_mm, seam.prong))
    assert bore.shape.length / 2.0 > width
    half, points = math.radians(seam.before_deg), corners(bore)[1:]
    turns = np.arctan2(-points[:, 0], points[:, 1])
    assert turns == pytest.approx(half * np.array([-2, -1, 0, 1, 2]), abs=1e-12)
    assert np.linalg.norm(points, axis=1) == pytest.approx(r, rel=1e-15)
    assert area(bore.shape.profile) == pytest.approx(2.0 * half * r**2, rel=1e-12)
    assert outer > r
