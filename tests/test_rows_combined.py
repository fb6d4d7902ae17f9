"""Rows side by side over a comfort bore and a hoop, and with scalloped sides: metal by rays on the mesh, volumes
against those of a single row, bodies by an independent library and by the exact engine."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
import pytest
import trimesh

from bandgen.band import Mesh, build_mesh, build_solid
from bandgen.cell import whole_cell
from bandgen.errors import SpecError
from bandgen.inspection.soundness import inspect_soundness
from bandgen.inspection.surface import inspect_surface
from bandgen.inspection.topology import measure
from bandgen.layout.compute import compute_layout
from bandgen.layout.hoop import hoop_of
from bandgen.layout.numbers import Layout
from bandgen.layout.scallop import ArchNumbers
from bandgen.spec import make_spec, spec_keys

DEVIATION_MM = 0.01
ROWS: dict[str, dict[str, Any]] = {
    "2 straight": {"rows": 2},
    "3 straight": {"rows": 3},
    "2 staggered": {"rows": 2, "stagger": True},
    "3 staggered": {"rows": 3, "stagger": True},
}
COMFORT: dict[str, Any] = {"bore": {"section": "comfort"}}
HOOP: dict[str, Any] = {"hoop": {"thickness_mm": 0.4}}
OPEN: dict[str, Any] = {"hoop": {"thickness_mm": 0.4, "openings": True}, "seat": {"opening": "through"}}
TABLES: dict[str, dict[str, Any]] = {
    "comfort": COMFORT,
    "hoop": HOOP,
    "hoop with openings, comfort": OPEN | COMFORT,
    "hoop under through seats": HOOP | {"seat": {"opening": "through"}},
    "scallops": {"arrangement": {"scallop_mm": 0.25}},
    "scallops, hoop, comfort": HOOP | COMFORT | {"arrangement": {"scallop_mm": 0.25}},
}


@cache
def _band(rows: str, tables: str, diameter: float, bore: float) -> Layout:
    return layout_of(ROWS.get(rows, {}), TABLES.get(tables, {}), diameter, bore)


def layout_of(
    rows: dict[str, Any], tables: dict[str, Any], diameter: float = 2.0, bore: float = 16.0, **more: Any
) -> Layout:
    stones = {"diameter_mm": diameter, **more}
    fixed = {"finger": {"inner_diameter_mm": bore}, "mesh": {"deviation_mm": DEVIATION_MM}, "stones": stones}
    return compute_layout(make_spec({**tables, **fixed, "arrangement": {**rows, **tables.get("arrangement", {})}}))


def band(rows: str, tables: str = "", diameter: float = 2.0, bore: float = 16.0) -> Layout:
    """``rows`` and ``tables`` by name; a single row and nothing more by names that stand for none."""
    return _band(rows, tables, diameter, bore)


@cache
def mesh_of(rows: str, tables: str = "", diameter: float = 2.0, bore: float = 16.0) -> Mesh:
    return build_mesh(band(rows, tables, diameter, bore))


def volume_of(*which: Any) -> float:
    mesh = mesh_of(*which)
    return measure(mesh.vertices, mesh.faces).volume


def heights(mesh: Mesh, x: float, z: float) -> list[float]:
    """Where the line at x, z along +Y (y > 0) crosses the mesh, ascending: even-odd in the plane of the other two."""
    a, b, c = (mesh.vertices[mesh.faces[:, corner]] for corner in range(3))

    def side(p: Any, q: Any) -> Any:
        return (q[:, 0] - p[:, 0]) * (z - p[:, 2]) - (q[:, 2] - p[:, 2]) * (x - p[:, 0])

    wa, wb, wc = side(b, c), side(c, a), side(a, b)
    hit = ((wa > 0) & (wb > 0) & (wc > 0)) | ((wa < 0) & (wb < 0) & (wc < 0))
    y = (wa * a[:, 1] + wb * b[:, 1] + wc * c[:, 1])[hit] / (wa + wb + wc)[hit]
    return sorted(value for value in y.tolist() if value > 0.0)


@pytest.mark.parametrize("tables", TABLES)
@pytest.mark.parametrize("rows", ROWS)
def test_one_body_and_the_predicted_genus(rows: str, tables: str) -> None:
    """By an independent library: watertight, one shell, so no cavity; an opening under each stone where asked."""
    layout, built = band(rows, tables), mesh_of(rows, tables)
    mesh = trimesh.Trimesh(built.vertices, built.faces, process=False)
    assert mesh.is_watertight
    assert mesh.body_count == 1
    assert (2 - mesh.euler_number) // 2 == layout.genus
    assert layout.genus == 1 + (layout.stone_count if "openings" in tables else 0)
    found, _ = inspect_soundness(built.vertices, built.faces)
    assert [each for each in (*found, *inspect_surface(layout, built)) if each.severity == "error"] == []
    low, high = layout.volume_bounds_mm3
    assert low < mesh.volume < high
    assert np.hypot(built.vertices[:, 0], built.vertices[:, 1]).min() == pytest.approx(8.0, abs=0.011)


EVERYTHING = OPEN | COMFORT | {"arrangement": {"scallop_mm": 0.15}}


def test_both_engines_agree_on_a_cell_of_three_rows() -> None:
    """The volume of the exact cell, as often as there are stones, against the mesh of the ring."""
    from bandgen.engines.exact import evaluate

    layout = layout_of(ROWS["3 straight"], EVERYTHING)
    cell, built = whole_cell(layout, layout.seams[0]), build_mesh(layout)
    volume = evaluate(cell.parts, (cell.before, cell.after)).volume * len(layout.seams)
    topology = measure(built.vertices, built.faces)
    assert volume == pytest.approx(topology.volume, abs=0.2 * DEVIATION_MM * topology.area)


def test_both_engines_agree_on_staggered_rows() -> None:
    """Everything at once, on true surfaces."""
    layout = layout_of(ROWS["2 staggered"], EVERYTHING, 4.0, 10.2)
    solid, built = build_solid(layout), build_mesh(layout)
    topology = measure(built.vertices, built.faces)
    assert solid.is_valid()
    assert solid.genus == topology.genus == layout.genus
    assert solid.volume == pytest.approx(topology.volume, abs=DEVIATION_MM * topology.area)
    assert np.abs(solid.bounds - topology.bounds).max() < DEVIATION_MM + 1e-3


# The comfort bore


@pytest.mark.parametrize("rows", ROWS)
def test_the_bore_is_one_arc_over_all_rows(rows: str) -> None:
    """No metal inside it, narrowest in the middle, metal right at it out to the outer rows' outer edges."""
    bore, vertices = band(rows, "comfort").bore, mesh_of(rows, "comfort").vertices
    radial, z = np.hypot(vertices[:, 0], vertices[:, 1]), np.abs(vertices[:, 2])
    over = radial - np.array([bore.radius_at(value) for value in z])
    slack = DEVIATION_MM + 1e-5
    assert over.min() > -slack
    assert z[np.abs(over) < slack].max() == pytest.approx(bore.half_width_mm, abs=0.02)
    assert bore.half_width_mm > band(rows).outer_row_mm + 0.5
    assert bore.radius_at(bore.half_width_mm) - 8.0 == pytest.approx(bore.crown_mm, abs=1e-12)


@pytest.mark.parametrize("rows", ["2 straight", "3 straight", "3 staggered"])
def test_floor_of_the_outer_row(rows: str) -> None:
    """Metal under the outer row's recess at its outer edge by rays on the mesh; its event measures it at the edge. The
    first row's station 0 stands on +Y."""
    layout, mesh = band(rows, "comfort"), mesh_of(rows, "comfort")
    seat, bore, row = layout.stations[0].seat, layout.bore, layout.rows[0].z_mm
    at = row + seat.column_radius_mm - 0.03
    lowest, top = heights(mesh, 0.0011, at)[:2]
    assert lowest == pytest.approx(bore.radius_at(at), abs=DEVIATION_MM)
    assert top == pytest.approx(seat.floor_mm, abs=1e-5)
    event = next(event for event in layout.events if event.name == "bore-recess")
    assert event.distance_mm == pytest.approx(top - bore.radius_at(row + seat.column_radius_mm), abs=1e-5)
    culet = next(event for event in layout.events if event.name == "bore-culet")
    assert culet.distance_mm == pytest.approx(
        8.0 + layout.stations[0].culet_clearance_mm - bore.radius_at(row), abs=1e-12
    )


def test_default_crown_leaves_half_a_thin_hoop() -> None:
    thin = layout_of(ROWS["3 straight"], {"hoop": {"thickness_mm": 0.3}} | COMFORT)
    assert thin.spec.bore.crown_mm == pytest.approx(0.15)
    assert band("3 straight", "comfort").spec.bore.crown_mm == pytest.approx(0.30)


# The hoop


@pytest.mark.parametrize("rows", ROWS)
def test_the_hoop_adds_what_it_adds_to_a_single_row(rows: str) -> None:
    """Between the rows it lies in the web, and outside it fills the same halves of the same notches."""
    layout = band(rows, "hoop")
    single = layout_of({}, {"hoop": {"thickness_mm": 0.4, "width_mm": layout.spec.hoop.width_mm - 2 * row_of(layout)}})
    built = build_mesh(single)
    added = measure(built.vertices, built.faces).volume - volume_of("")
    assert added > 2.0
    assert volume_of(rows, "hoop") - volume_of(rows) == pytest.approx(added, rel=1e-3)


def row_of(layout: Layout) -> float:
    return layout.outer_row_mm


@pytest.mark.parametrize("rows", ["2 straight", "3 staggered"])
def test_a_wide_hoop_stands_in_the_outer_notches(rows: str) -> None:
    """Its top at its thickness beside the outer row's outer prongs, nothing there without it."""
    layout = band(rows)
    width = 2.0 * (row_of(layout) + 1.6)
    wide = build_mesh(layout_of(ROWS[rows], {"hoop": {"thickness_mm": 0.5, "width_mm": width}}))
    angle = math.radians(layout.seams[0].angle_deg)
    turned = Mesh(wide.vertices @ _turn(angle), wide.faces, wide.cell_faces)
    assert heights(turned, 0.001, row_of(layout) + 1.5) == pytest.approx([8.0, 8.5], abs=0.011)
    assert np.abs(wide.vertices[:, 2]).max() == pytest.approx(width / 2.0, abs=1e-5)


def _turn(angle: float) -> np.ndarray:
    """(3, 3): rows of points times it are turned by -``angle`` about Z."""
    sine, cosine = math.sin(angle), math.cos(angle)
    return np.array(((cosine, -sine, 0.0), (sine, cosine, 0.0), (0.0, 0.0, 1.0)))


@pytest.mark.parametrize("rows", ROWS)
def test_hoop_s_default_width_is_the_single_row_s_and_the_rows(rows: str) -> None:
    """Equal stones and prongs graze where they do in a single row."""
    single, layout = band("", "hoop"), band(rows, "hoop")
    assert layout.spec.hoop.width_mm == pytest.approx(single.spec.hoop.width_mm + 2.0 * row_of(layout), abs=1e-9)


def test_hoop_s_default_width_is_one_that_may_be_asked() -> None:
    layout = layout_of({"rows": 3}, HOOP, 5.0, 20.0)
    assert 2.0 * row_of(layout) < layout.spec.hoop.width_mm <= 12.0
    asked = {"hoop": {"thickness_mm": 0.4, "width_mm": layout.spec.hoop.width_mm}}
    assert layout_of({"rows": 3}, asked, 5.0, 20.0).seams == layout.seams


# Scallops


@pytest.mark.parametrize("rows", ROWS)
def test_only_the_outer_sides_are_scalloped(rows: str) -> None:
    """The arches take from all rows what they take from a single row of the same seats: its two sides."""
    taken = volume_of("") - volume_of("", "scallops")
    assert taken > 1.0
    assert volume_of(rows) - volume_of(rows, "scallops") == pytest.approx(taken, rel=1e-3)
    layout = band(rows, "scallops")
    arches = [part for part in whole_cell(layout, layout.seams[0]).parts if part.name == "arch"]
    assert {math.copysign(1.0, part.frame.origin[2]) for part in arches} == {1.0, -1.0}
    arch = next(extra for extra in layout.stations[0].extras if isinstance(extra, ArchNumbers))
    assert min(abs(part.frame.origin[2]) for part in arches) > row_of(layout) + arch.back_mm
    back = row_of(layout) + arch.back_mm
    assert back == pytest.approx(round(back, 6), abs=1e-12)  # cells are joined by z to six decimals


# Events and refusals


@pytest.mark.parametrize("tables", TABLES)
def test_events_are_keys_of_the_spec(tables: str) -> None:
    assert {event.key for event in band("3 straight", tables).events} <= set(spec_keys())


@pytest.mark.parametrize(
    ("words", "key", "outside", "inside"),
    [
        ("does not reach under the outer rows", "hoop.width_mm",
         {"hoop": {"thickness_mm": 0.4, "width_mm": 4.0}}, {"hoop": {"thickness_mm": 0.4, "width_mm": 4.5}}),
        ("reaches the floor at the recess's edge", "bore.crown_mm",
         {"bore": {"section": "comfort", "crown_mm": 1.0}, "seat": {"floor_mm": 0.5}},
         {"bore": {"section": "comfort", "crown_mm": 0.7}, "seat": {"floor_mm": 0.5}}),
        ("takes the hoop's edges away", "bore.crown_mm",
         {"bore": {"section": "comfort", "crown_mm": 0.6}, **HOOP}, {"bore": {"section": "comfort", "crown_mm": 0.3},
                                                                   **HOOP}),
        ("reaches the culets of the outer rows", "bore.crown_mm",
         {"bore": {"section": "comfort", "crown_mm": 0.8}, "seat": {"opening": "through"},
          "stones": {"culet_clearance_mm": 0.3}},
         {"bore": {"section": "comfort", "crown_mm": 0.3}, "seat": {"opening": "through"},
          "stones": {"culet_clearance_mm": 0.3}}),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_refused_with_its_key(words: str, key: str, outside: dict[str, Any], inside: dict[str, Any]) -> None:
    """Three rows, whose outer ones stand 2.1 mm out; the neighbouring spec shows that nothing else is in the way."""
    with pytest.raises(SpecError) as caught:
        layout_of({"rows": 3}, outside, **outside.get("stones", {}))
    assert any(words in problem.rule and problem.key == key for problem in caught.value.problems), caught.value
    layout_of({"rows": 3}, inside, **inside.get("stones", {}))


def test_a_hoop_stays_under_the_web() -> None:
    """Just under its top it is made; over it, but still under the rims, it is refused."""
    culet = {"culet_clearance_mm": 1.2}
    plain = layout_of({"rows": 2}, {}, **culet)
    assert plain.web is not None
    top = plain.stations[0].seat.rim_mm - plain.web.below_rim_mm - 8.0
    assert plain.web.below_rim_mm > 0.02 - 1e-12
    made = layout_of({"rows": 2}, {"hoop": {"thickness_mm": top - 0.025}}, **culet)
    hoop = hoop_of(made.seams[0])
    assert hoop is not None
    with pytest.raises(SpecError, match="reaches the top of the web"):
        layout_of({"rows": 2}, {"hoop": {"thickness_mm": top - 0.015}}, **culet)


@pytest.mark.parametrize("place", ["cup", "prong"])
def test_a_hoop_s_side_along_the_outer_row_is_refused(place: str) -> None:
    layout = band("2 straight", "hoop")
    seat, prong = layout.stations[0].seat, layout.seams[0].prong
    across = prong.diameter_mm / 2.0 / math.cos(prong.axis.lean)
    half = seat.radius_at(8.4) if place == "cup" else prong.axis.z_at(8.4) + across
    width = 2.0 * (row_of(layout) + half) + 0.001
    with pytest.raises(SpecError, match=f"lies along the {place}'s"):
        layout_of({"rows": 2}, {"hoop": {"thickness_mm": 0.4, "width_mm": width}})


@pytest.mark.parametrize("rows", ROWS)
@pytest.mark.parametrize("diameter", [1.2, 1.8, 2.5])
def test_plain_wishes_are_granted(rows: str, diameter: float) -> None:
    """At their defaults; scallops where a hoop leaves the cup height for them."""
    for tables in TABLES:
        if tables != "scallops, hoop, comfort":
            assert band(rows, tables, diameter, 17.0).rows
