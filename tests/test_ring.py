"""The ring: quarter cells mirrored and arrayed, against whole cells, one boolean over all parts, and trimesh."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
import trimesh

from bandgen.band import build_mesh
from bandgen.cell import MIRROR_Z, quarter_cell, whole_cell
from bandgen.engines import mesh, ring
from bandgen.errors import EngineError
from bandgen.layout import compute
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout
from bandgen.parts import Extruded, Part, Point, Profile, turned
from bandgen.spec import make_spec

DEVIATION_MM = 0.01
BANDS = {12: (4.0, 10.2), 17: (3.5, 15.0), 20: (2.0, 10.4), 26: (2.0, 15.0), 29: (2.0, 17.0)}
"""By the number of stones: stone and bore, at gaps of 0.14 to 0.25 mm."""


@cache
def layout(count: int, opening: str = "blind") -> Layout:
    """A band of ``count`` stones, blind or through."""
    diameter, bore = BANDS[count]
    tables = {"seat": {"opening": opening}, "mesh": {"deviation_mm": DEVIATION_MM}}
    stones = {"diameter_mm": diameter, "count": count, "gap_mm": 0.12}
    return compute_layout(make_spec({"finger": {"inner_diameter_mm": bore}, "stones": stones, **tables}))


def quarter_strip(band: Layout) -> ring.Strip:
    cell = quarter_cell(band, band.seams[0])
    return ring.strip_of_quarter(mesh.evaluate(cell.parts, (cell.before, cell.after, *cell.mirrors), DEVIATION_MM))


def whole_strip(band: Layout) -> ring.Strip:
    cell = whole_cell(band, band.seams[0])
    return ring.strip_of_whole(mesh.evaluate(cell.parts, (cell.before, cell.after, MIRROR_Z), DEVIATION_MM))


def all_round(band: Layout, strip: ring.Strip) -> list[tuple[ring.Strip, float]]:
    return [(strip, seam.angle_deg) for seam in band.seams]


def as_trimesh(found: ring.RingMesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(found.vertices, found.faces, process=False)


def signed_volume(vertices: np.ndarray, faces: np.ndarray) -> float:
    """By the divergence theorem from the origin: faces in planes through it, such as a cell's, add nothing."""
    a, b, c = vertices[faces].transpose(1, 0, 2)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


@cache
def closed(count: int, opening: str = "blind") -> ring.RingMesh:
    band = layout(count, opening)
    return ring.close_ring(all_round(band, quarter_strip(band)))


# --- cells ---


@pytest.mark.parametrize("opening", ["blind", "through"])
@pytest.mark.parametrize("count", BANDS)
def test_a_quarter_mirrored_is_the_whole_cell(count: int, opening: str) -> None:
    """Against the cell between two stations with all its parts, cut by its two planes alone."""
    band = layout(count, opening)
    cell = whole_cell(band, band.seams[0])
    direct = mesh.evaluate(cell.parts, (cell.before, cell.after), DEVIATION_MM)
    quarter, halved = quarter_strip(band), whole_strip(band)
    volume = signed_volume(direct.vertices, direct.faces)
    assert signed_volume(quarter.vertices, quarter.faces) == pytest.approx(volume, rel=1e-9)
    assert signed_volume(halved.vertices, halved.faces) == pytest.approx(volume, rel=1e-9)
    assert quarter.vertices.min(axis=0) == pytest.approx(direct.vertices.min(axis=0), abs=1e-6)
    assert quarter.vertices.max(axis=0) == pytest.approx(direct.vertices.max(axis=0), abs=1e-6)


@pytest.mark.parametrize("opening", ["blind", "through"])
def test_rings_of_quarters_and_of_whole_cells_are_the_same_body(opening: str) -> None:
    band = layout(17, opening)
    from_whole = as_trimesh(ring.close_ring(all_round(band, whole_strip(band))))
    from_quarters = as_trimesh(closed(17, opening))
    assert from_whole.is_watertight
    assert from_whole.volume == pytest.approx(from_quarters.volume, rel=1e-9)
    assert from_whole.euler_number == from_quarters.euler_number


def test_strip_is_exactly_symmetric() -> None:
    """Bit for bit in z and in x, and its two rims stand on the station planes in one order."""
    strip = quarter_strip(layout(29))
    points = {tuple(point + 0.0) for point in strip.vertices}
    for mirror in ([1.0, 1.0, -1.0], [-1.0, 1.0, 1.0]):
        assert {tuple(point + 0.0) for point in strip.vertices * mirror} == points
    turn = ring._turned(strip.vertices[strip.before], 360.0 / 29)
    assert turn == pytest.approx(strip.vertices[strip.after], abs=1e-9)
    half = math.pi / 29
    across = strip.vertices[strip.before] @ [math.cos(half), -math.sin(half), 0.0]
    assert np.abs(across).max() < 1e-12


# --- the closed ring ---


@pytest.mark.parametrize("opening", ["blind", "through"])
@pytest.mark.parametrize("count", BANDS)
def test_ring_is_closed_and_of_the_predicted_genus(count: int, opening: str) -> None:
    """trimesh as the judge: watertight, wound one way, one body; genus from Euler's number, 1 and one an opening."""
    found = as_trimesh(closed(count, opening))
    assert found.is_watertight
    assert found.is_winding_consistent
    assert found.body_count == 1
    genus = 1 - found.euler_number // 2
    assert genus == layout(count, opening).genus == (1 + count if opening == "through" else 1)


@pytest.mark.parametrize("count", BANDS)
def test_ring_has_each_vertex_once_and_no_empty_face(count: int) -> None:
    found = closed(count)
    assert len(np.unique(found.vertices.round(7), axis=0)) == len(found.vertices)
    assert np.array_equal(np.unique(found.faces), np.arange(len(found.vertices)))
    assert sum(found.cell_faces) == len(found.faces)
    assert as_trimesh(found).area_faces.min() > 0.0


@pytest.mark.parametrize("count", [12, 29])
def test_ring_is_invariant_under_its_pitch(count: int) -> None:
    """Its vertices, turned by one pitch, are its vertices."""
    points = closed(count).vertices
    turn = ring._turned(points, 360.0 / count)
    order = np.lexsort(np.round(points, 6).T)
    assert np.round(turn, 6)[np.lexsort(np.round(turn, 6).T)] == pytest.approx(np.round(points, 6)[order], abs=2e-6)


@cache
def one_boolean(count: int, opening: str) -> trimesh.Trimesh:
    """All parts of all stations and seams at once, without cells or mirrors."""
    band = layout(count, opening)
    parts = [turned(part, seam.angle_deg) for seam in band.seams for part in whole_cell(band, seam).parts]
    patch = mesh.solid_mesh(parts, DEVIATION_MM)
    return trimesh.Trimesh(patch.vertices, patch.faces, process=False)


@pytest.mark.parametrize(("count", "opening"), [(12, "blind"), (17, "through"), (20, "blind"), (29, "blind")])
def test_one_boolean_over_all_parts_gives_the_same_body(count: int, opening: str) -> None:
    whole, cells = one_boolean(count, opening), as_trimesh(closed(count, opening))
    assert whole.is_watertight
    assert cells.volume == pytest.approx(whole.volume, rel=1e-6)
    assert cells.euler_number == whole.euler_number
    assert cells.body_count == whole.body_count == 1
    assert cells.bounds == pytest.approx(whole.bounds, abs=1e-5)


def test_mesh_of_a_band_holds_float32_values() -> None:
    """What is inspected is what a file can hold; still closed after rounding, the volume moved by rounding alone."""
    band = layout(29)
    found = build_mesh(band)
    assert np.array_equal(found.vertices.astype(np.float32).astype(np.float64), found.vertices)
    rounded = trimesh.Trimesh(found.vertices, found.faces, process=False)
    assert rounded.is_watertight
    assert rounded.volume == pytest.approx(as_trimesh(closed(29)).volume, rel=1e-6)
    low, high = band.volume_bounds_mm3
    assert low < rounded.volume < high


# --- voids under a plug that stops over the finger ---

VOID_CASES = [
    (0.00, 0.20, 0),  # flush: clean
    (0.10, 0.10, 0),  # prongs clear of the feet's joint: the slot is open to the finger
    (0.10, 0.20, 58),  # prongs over the joint: a void at both ends of each of the 29 gaps
]


@pytest.mark.parametrize(("clearance", "overlap", "voids"), VOID_CASES)
def test_voids_under_the_plug_are_where_the_layout_refuses(
    clearance: float, overlap: float, voids: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Practice values at draft 3: shells counted by trimesh on bands that the layout's refusal was kept from."""
    monkeypatch.setattr(compute, "_refuse", lambda problems: None)
    data = {
        "finger": {"inner_diameter_mm": 16.7},
        "stones": {"diameter_mm": 2.0, "culet_clearance_mm": 1.0, "gap_mm": 0.2},
        "seat": {"draft_deg": 3.0, "rim_below_girdle_mm": 0.2, "floor_mm": 0.8},
        "prong": {"overlap": overlap},
        "plug": {"foot_clearance_mm": clearance},
    }
    band = compute_layout(make_spec(data))
    refused = [event for event in band.events if event.kind == "limit" and event.distance_mm < 0.02 - 1e-9]
    found = build_mesh(band)
    shells = trimesh.Trimesh(found.vertices, found.faces, process=False).body_count
    assert shells == 1 + voids
    assert bool(refused) == bool(voids)


# --- what must not join ---


def test_neighbours_with_different_numbers_of_vertices() -> None:
    strips = [quarter_strip(layout(29)), quarter_strip(layout(29, "through"))]
    cells = [(strips[index % 2], 360.0 / 29 * index) for index in range(29)]
    with pytest.raises(EngineError, match="vertices on a plane where its neighbour has"):
        ring.close_ring(cells)


def test_neighbours_that_do_not_meet() -> None:
    """The same strip, but one of the cells a hundredth of a degree on."""
    strip = quarter_strip(layout(29))
    cells = [(strip, 360.0 / 29 * index + (0.01 if index == 3 else 0.0)) for index in range(29)]
    with pytest.raises(EngineError, match="apart on their common plane"):
        ring.close_ring(cells)


def test_a_ring_that_does_not_close() -> None:
    """All neighbours meet, but the last cell does not reach the first."""
    strip = quarter_strip(layout(29))
    with pytest.raises(EngineError, match="apart on their common plane"):
        ring.close_ring([(strip, 360.0 / 29 * index) for index in range(28)])


SQUARE = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
BAD_OUTLINES = {
    "clockwise": SQUARE[::-1],
    "crossing": (SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3]),
    "flat": SQUARE[:2] * 2,
}


@pytest.mark.parametrize("outline", BAD_OUTLINES)
def test_a_part_that_is_no_body(outline: str) -> None:
    """The mesh engine names the operation and the part, as the exact one does."""
    profile = Profile(tuple(Point(u, v) for u, v in BAD_OUTLINES[outline]))
    with pytest.raises(EngineError, match="plug") as failed:
        mesh.evaluate([Part("plug", 1, Extruded(profile, 1.0))], (), 0.01)
    assert failed.value.operation == "facet"


def test_nothing_left() -> None:
    band = layout(29)
    bore = [part for part in whole_cell(band, band.seams[0]).parts if part.name == "bore"]
    with pytest.raises(EngineError, match="empty or broken"):
        mesh.evaluate(bore, (), 0.01)
