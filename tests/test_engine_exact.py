"""The exact engine against closed forms, against itself cut and joined, and against trimesh on its triangles."""

from __future__ import annotations

import hashlib
import math
import subprocess
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from OCP.BRep import BRep_Builder
from OCP.BRepGProp import BRepGProp
from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox
from OCP.gp import gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_EDGE
from OCP.TopoDS import TopoDS

from bandgen import pipeline
from bandgen.engines.exact import Patch, evaluate, make_solid, mirrored, whole
from bandgen.engines.exact_join import join, join_even
from bandgen.engines.exact_mesh import subshapes
from bandgen.engines.exact_solid import Solid
from bandgen.engines.step import decode_step, encode_step, read_step
from bandgen.errors import EngineError, ExportError, FileFault
from bandgen.exporters.formats import FORMATS
from bandgen.parts import (
    Extruded,
    Frame,
    Part,
    Plane,
    Point,
    Profile,
    Revolved,
    area,
    fillet,
    first_moment,
    turned,
    volume,
)
from bandgen.spec import make_spec
from bandgen.units import sincosd, tand

STONE, GAP = 2.0, 0.21
UPRIGHT = Frame(u=(1.0, 0.0, 0.0), v=(0.0, 0.0, 1.0), w=(0.0, -1.0, 0.0))
"""Local v along the ring's axis."""

# --- a plausible band of 2 mm stones, as parts ---


def radial(degrees: float) -> Frame:
    """v outward at a clockwise angle from +Y, u along Z so that every seam lies in the stone's mid-plane."""
    s, c = sincosd(degrees)
    return Frame((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (s, c, 0.0), (-c, s, 0.0))


def cup(degrees: float, bore: float, girdle: float) -> Part:
    foot, rim = 0.9 * bore, girdle - 0.2
    low = 1.0 - tand(1.0) * (rim - foot)
    corners = (Point(0.0, foot), Point(low, foot), Point(1.0, rim), Point(0.0, rim))
    return Part("cup", 1, Revolved(Profile(corners)), radial(degrees))


def recess(degrees: float, bore: float, girdle: float) -> Part:
    """A blind column under a bearing cone that opens above the rim, their corner filleted."""
    floor, rim, above = bore + 0.7, girdle - 0.2, 0.3
    foot, mouth = Point(0.2, floor), Point(0.77 + above / tand(40.8), rim + above)
    corner = Point(0.2, rim - (0.77 - 0.2) * tand(40.8))
    outline = (Point(0.0, floor), foot, *fillet(corner, foot, mouth, 0.3), mouth, Point(0.0, rim + above))
    return Part("recess", -1, Revolved(Profile(outline)), radial(degrees))


def prong(side: int, bore: float, girdle: float) -> Part:
    """In the seam plane x = 0, leaning 3 degrees along Z, with a domed tip."""
    s, c = sincosd(3.0 * side)
    radius, dome, foot, tip = 0.395, 0.12, 0.92 * bore - girdle, 0.86
    quarter = math.tan(math.atan(dome / radius) / 2.0)  # half a cap turns by 2 atan(dome / radius)
    outline = (Point(0.0, foot), Point(radius, foot), Point(radius, tip - dome, quarter), Point(0.0, tip))
    frame = Frame((0.0, girdle, 0.56 * side), (0.0, -s, c), (0.0, c, s), (-1.0, 0.0, 0.0))
    return Part("prong", 1, Revolved(Profile(outline)), frame)


def plug(bore: float, girdle: float) -> Part:
    low, high = 0.95 * bore, girdle - 0.15
    outline = (Point(-0.56, low), Point(0.56, low), Point(0.56, high), Point(-0.56, high))
    frame = Frame((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0))
    return Part("plug", 1, Extruded(Profile(outline), 0.6), frame)


def bore_sector(half_degrees: float, bore: float, arcs: int = 4) -> Part:
    """A wedge from the axis, twice as wide as the cell, its one arc written as several."""
    step = 2.0 * half_degrees / arcs
    bulges = [tand(step / 4.0)] * arcs + [0.0]
    angles = [sincosd(half_degrees - step * index) for index in range(arcs + 1)]
    rim = tuple(Point(bore * s, bore * c, b) for (s, c), b in zip(angles, bulges, strict=True))
    return Part("bore", -1, Extruded(Profile((Point(0.0, 0.0), *rim)), 8.0))


def sizes(count: int) -> tuple[float, float, float]:
    """Half a pitch in degrees, bore radius and girdle radius of a full band (geometry notes, section 3)."""
    half = math.pi / count
    girdle = (GAP + STONE * math.cos(half)) / (2.0 * math.sin(half))
    return 180.0 / count, girdle - 1.683, girdle


def cell_parts(count: int) -> list[Part]:
    half, bore, girdle = sizes(count)
    stations = [make(angle, bore, girdle) for angle in (half, -half) for make in (cup, recess)]
    return [*stations, prong(1, bore, girdle), prong(-1, bore, girdle), plug(bore, girdle), bore_sector(2 * half, bore)]


def wedge(half_degrees: float) -> tuple[Plane, Plane]:
    s, c = sincosd(half_degrees)
    return Plane((c, -s, 0.0)), Plane((-c, -s, 0.0))


@cache
def cell(count: int) -> Patch:
    return evaluate(cell_parts(count), wedge(180.0 / count))


@cache
def ring(count: int) -> Solid:
    return join_even(cell(count), count)


def adaptive_volume(solid: Solid) -> float:
    """By the kernel's adaptive rule: slower than ``volume`` and 1e-8 good on trimmed faces."""
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid.shape, properties, 1e-8)
    return float(properties.Mass())


# --- primitives ---


def square(bulge: float) -> Profile:
    """2 by 2, its right side bent."""
    return Profile((Point(1.0, -1.0), Point(3.0, -1.0, bulge), Point(3.0, 1.0), Point(1.0, 1.0)))


@pytest.mark.parametrize("part", cell_parts(29), ids=lambda part: part.name)
def test_every_part_has_its_closed_form_volume_and_is_valid(part: Part):
    solid = make_solid(part)
    assert solid.volume == pytest.approx(volume(part.shape), rel=1e-9)
    assert solid.is_valid()


@pytest.mark.parametrize("bulge", [1.0, 0.3, 0.0, -0.3, -0.6])
def test_a_positive_bulge_adds_and_a_negative_takes(bulge: float):
    chord, sweep = 2.0, 4.0 * math.atan(bulge)
    sine = math.sin(sweep / 2.0)
    segment = (chord / 2.0 / sine) ** 2 * (sweep - math.sin(sweep)) / 2.0 if bulge else 0.0
    prism = make_solid(Part("prism", 1, Extruded(square(bulge), 3.0)))
    assert prism.quick_volume == pytest.approx(3.0 * (4.0 + segment), rel=1e-9)
    assert prism.bounds[1, 0] == pytest.approx(3.0 + max(0.0, bulge), abs=1e-6)  # sagitta = bulge * chord / 2
    turn = make_solid(Part("turn", 1, Revolved(square(bulge))))
    assert turn.quick_volume == pytest.approx(2.0 * math.pi * first_moment(square(bulge)), rel=1e-9)


def test_frame_places_u_v_and_w():
    frame = Frame((10.0, 20.0, 30.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0))
    solid = make_solid(Part("box", 1, Extruded(square(0.0), 5.0), frame))
    assert solid.bounds == pytest.approx(np.array([[7.5, 21.0, 29.0], [12.5, 23.0, 31.0]]), abs=1e-6)
    assert solid.area == pytest.approx(2 * 4.0 + 8.0 * 5.0, rel=1e-9)
    assert (solid.face_count, solid.shell_count, solid.solid_count, solid.genus) == (6, 1, 1, 0)


def test_the_seam_of_a_revolution_lies_at_plus_u():
    solid = make_solid(cup(7.0, 8.5, 10.18))
    corners = np.array([vertex.toTuple() for vertex in solid.cadquery.Vertices()])
    frame = radial(7.0)
    along_u, along_w = corners @ np.array(frame.u), corners @ np.array(frame.w)
    assert np.abs(along_w).max() < 1e-12
    assert along_u.max() == pytest.approx(1.0)
    assert along_u.min() >= 0.0


def test_arcs_of_one_circle_are_one_face():
    one, four = (make_solid(bore_sector(12.0, 8.5, arcs)) for arcs in (1, 4))
    assert one.face_count == four.face_count == 5
    assert four.volume == pytest.approx(8.0 * area(bore_sector(12.0, 8.5).shape.profile), rel=1e-9)


# --- booleans and joins in closed form ---

BALL = Part("ball", 1, Revolved(Profile((Point(0.0, -2.0, 1.0), Point(0.0, 2.0)))), UPRIGHT)
DRILL = Part("drill", -1, Revolved(Profile((Point(0, -3), Point(1.2, -3), Point(1.2, 3), Point(0, 3)))), UPRIGHT)
NAPKIN_RING = math.pi * (2.0 * 1.6) ** 3 / 6.0
"""A ball of radius 2 drilled by 1.2 leaves a height of 2 * 1.6, and the volume depends on that alone (textbook)."""
QUARTER = (Plane((-1.0, 0.0, 0.0)), Plane((0.0, -1.0, 0.0)))


def test_a_drilled_ball_whole_cut_in_four_and_joined_again():
    solid, quarter = whole([DRILL, BALL]), evaluate([BALL, DRILL], QUARTER)
    joined = join_even(quarter, 4)
    assert solid.volume == pytest.approx(NAPKIN_RING, rel=1e-7)
    assert quarter.volume == pytest.approx(NAPKIN_RING / 4.0, rel=1e-7)
    assert quarter.cell.bounds[0, :2] == pytest.approx([0.0, 0.0], abs=1e-6)
    assert joined.volume == pytest.approx(NAPKIN_RING, rel=1e-7)
    assert (solid.genus, quarter.cell.genus, joined.genus) == (1, 0, 1)
    assert (quarter.cell.face_count, quarter.face_count, joined.face_count) == (4, 2, 8)


def test_additions_come_first_so_that_nothing_refills_a_cut():
    plugged = Part("pin", 1, Revolved(Profile((Point(0, -1), Point(0.5, -1), Point(0.5, 1), Point(0, 1)))), UPRIGHT)
    assert whole([BALL, DRILL, plugged]).volume == pytest.approx(NAPKIN_RING, rel=1e-7)


def test_distance_to_a_ball_is_the_radius_apart():
    points = np.random.default_rng(5).normal(size=(40, 3)) * 2.0
    apart = make_solid(BALL).distance_to_faces(points)
    assert apart == pytest.approx(np.abs(np.linalg.norm(points, axis=1) - 2.0), abs=1e-9)


# --- the band ---


@pytest.mark.parametrize("count", [12, 20, 29, 80])
def test_an_even_ring_is_one_sound_body(count: int):
    solid = ring(count)
    assert solid.is_valid()
    assert (solid.solid_count, solid.shell_count, solid.genus) == (1, 1, 1)
    assert adaptive_volume(solid) == pytest.approx(count * adaptive_volume(cell(count).cell), rel=1e-6)
    assert solid.volume == pytest.approx(adaptive_volume(solid), rel=3e-6)


def test_a_stone_costs_few_faces():
    assert ring(29).face_count == 29 * cell(29).face_count
    assert cell(29).face_count <= 35
    assert cell(29).cell.is_valid()


def test_the_joined_ring_equals_one_boolean_of_all_parts():
    count = 8
    half, bore, girdle = sizes(count)
    pitch = [cup(half, bore, girdle), recess(half, bore, girdle), *cell_parts(count)[4:7]]
    parts = [turned(part, 2.0 * half * index) for index in range(count) for part in pitch]
    circle = Profile((Point(-bore, 0.0, 1.0), Point(bore, 0.0, 1.0)))
    reference = whole([*parts, Part("bore", -1, Extruded(circle, 8.0))])
    assert adaptive_volume(reference) == pytest.approx(adaptive_volume(ring(count)), rel=1e-6)
    assert reference.area == pytest.approx(ring(count).area, rel=1e-6)
    assert reference.genus == 1
    assert reference.bounds == pytest.approx(ring(count).bounds, abs=1e-5)


def test_unequal_and_mirrored_patches_join():
    """One-pitch and two-pitch cells by turns, and mirror images among them, give the even ring again."""
    count = 12
    half, bore, girdle = sizes(count)
    seams = [turned(part, angle) for angle in (half, -half) for part in cell_parts(count)[4:7]]
    stations = [make(angle, bore, girdle) for angle in (2 * half, 0, -2 * half) for make in (cup, recess)]
    double = evaluate([*stations, *seams, bore_sector(4 * half, bore)], wedge(2 * half))
    single, image = cell(count), mirrored(cell(count))
    third = ((double, 0.0), (single, 45.0), (image, 75.0))
    placed = [(patch, start + angle) for start in (0.0, 120.0, 240.0) for patch, angle in third]
    solid = join(placed)
    assert solid.is_valid()
    assert solid.genus == 1
    assert adaptive_volume(solid) == pytest.approx(adaptive_volume(ring(count)), rel=1e-6)
    back = read_step(encode_step(solid, "band"), "band")
    assert back.is_valid()
    assert back.volume == pytest.approx(solid.volume, rel=1e-6)


def test_triangles_are_closed_outward_and_on_the_surfaces():
    solid = ring(12)
    vertices, faces = solid.tessellate(0.02, 0.4)
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.euler_number == 2 - 2 * solid.genus
    # a chord stays within the deviation of its surface: the volume can be off by deviation x area at most
    assert abs(mesh.volume - solid.volume) <= 0.02 * solid.area
    assert mesh.volume == pytest.approx(solid.volume, rel=0.01)
    assert solid.distance_to_faces(vertices[::200]).max() < 1e-6
    assert solid.distance_to_faces(mesh.triangles_center[::400]).max() < 0.021


# --- impossible input ---


def moved(x: float) -> Part:
    return Part("far", 1, BALL.shape, Frame((x, 0.0, 0.0), UPRIGHT.u, UPRIGHT.v, UPRIGHT.w))


BOW = Profile((Point(1.0, 0.0), Point(3.0, 0.0), Point(1.0, 2.0), Point(3.0, 1.0)))
CLOCKWISE = Profile(tuple(reversed(square(0.0).points)))
ACROSS = Profile((Point(-1.0, 0.0), Point(2.0, 0.0), Point(2.0, 1.0), Point(-1.0, 1.0)))
FLAT = Frame(w=(0.0, 0.0, 0.0))


@pytest.mark.parametrize(
    ("parts", "operation"),
    [
        ([], "fuse"),
        ([DRILL], "fuse"),
        ([BALL, moved(9.0)], "cut"),
        ([BALL, Part("all", -1, Extruded(square(0.0), 0.0))], "make all"),
        ([Part("bow", 1, Extruded(BOW, 1.0))], "make bow"),
        ([Part("clockwise", 1, Extruded(CLOCKWISE, 1.0))], "make clockwise"),
        ([Part("across", 1, Revolved(ACROSS))], "make across"),
        ([Part("flat", 1, Extruded(square(0.0), 1.0), FLAT)], "make flat"),
        ([BALL, Part("all", -1, Extruded(Profile((Point(-9, 0, 1.0), Point(9, 0, 1.0))), 18.0))], "cut"),
    ],
)
def test_impossible_parts_are_engine_errors(parts: list[Part], operation: str):
    with pytest.raises(EngineError) as caught:
        evaluate(parts, ())
    assert caught.value.operation == operation


def test_a_ring_that_does_not_close_is_an_engine_error():
    patch = cell(12)
    with pytest.raises(EngineError, match="open"):
        join([(patch, 30.0 * index) for index in range(11)])
    with pytest.raises(EngineError, match="join"):
        join([(patch, 31.0 * index) for index in range(12)])
    with pytest.raises(EngineError, match="join"):
        join([])


# --- STEP ---


def test_step_is_small_and_comes_back_as_the_same_body(tmp_path: Path):
    data = encode_step(ring(29), "band 2.0")
    (tmp_path / "band.step").write_bytes(data)
    back = decode_step(tmp_path / "band.step")
    assert len(data) <= 29 * 100_000
    assert back.is_valid()
    assert (back.solid_count, back.shell_count, back.genus) == (1, 1, 1)
    assert back.face_count == ring(29).face_count
    assert back.volume == pytest.approx(ring(29).volume, rel=1e-6)


def cube(side: float, corner: float = 0.0) -> Solid:
    """A cube with one corner at (corner, corner, corner)."""
    return Solid(BRepPrimAPI_MakeBox(gp_Pnt(corner, corner, corner), side, side, side).Solid())


def test_a_loose_edge_leaves_room_for_its_slit_seen_from_the_origin():
    """By hand: one edge of 2 mm, loose by 1e-3, on a cube that reaches 2 sqrt(3) far; a tight one needs none."""
    tight, loose = cube(2.0), cube(2.0)
    edge = TopoDS.Edge_s(subshapes(loose.shape, TopAbs_EDGE)[0])
    BRep_Builder().UpdateEdge(edge, 1e-3)
    assert tight.leak_mm3 == 0.0
    assert loose.leak_mm3 == pytest.approx(
        1e-3 * 2.0 * 2.0 * math.sqrt(3.0) / 3.0, rel=2e-3
    )  # the box is a little slack


def test_corners_and_edges_tell_bodies_apart():
    assert cube(2.0).edge_count == 12
    assert np.array_equal(cube(2.0).corners, np.repeat([[0.0], [2.0]], 4, axis=0) * np.ones(3))
    moved = np.abs(cube(2.0).corners - cube(2.0 + 3e-6).corners).max()
    assert moved == pytest.approx(3e-6)


def band_of(diameter: float) -> pipeline.Band:
    return pipeline.generate(
        make_spec({"name": "b", "finger": {"inner_diameter_mm": 12.0}, "stones": {"diameter_mm": diameter}})
    )


def test_a_step_of_another_band_or_with_a_corner_moved_is_not_written():
    """Stones that differ by 5 millionths of a mm."""
    band, other = band_of(3.0), band_of(3.000005)
    data = FORMATS["step"].encode(other)
    with pytest.raises(ExportError, match="a corner reads back"):
        FORMATS["step"].verify(band, data)
    FORMATS["step"].verify(other, data)


def test_step_header_names_and_units():
    text = encode_step(make_solid(BALL), "o'Neil\n é").decode("ascii")
    assert "FILE_NAME('o''Neil \\X2\\00E9\\X0\\','',(''),('')," in text
    assert "PRODUCT('o''Neil \\X2\\00E9\\X0\\','o''Neil \\X2\\00E9\\X0\\','',(#8))" in text
    assert "AUTOMOTIVE_DESIGN" in text
    assert "SI_UNIT(.MILLI.,.METRE.)" in text
    assert "PCURVE" not in text


def test_step_in_metres_is_read_in_millimetres():
    data = encode_step(make_solid(BALL), "ball").replace(b"SI_UNIT(.MILLI.,.METRE.)", b"SI_UNIT($,.METRE.)")
    assert read_step(data, "ball").volume == pytest.approx(1e9 * 4.0 / 3.0 * math.pi * 8.0, rel=1e-9)


def digest() -> str:
    """Of a band's STEP file, written twice: a fresh process prints it below, this one has written others before."""
    first, second = (encode_step(ring(12), "band") for _ in range(2))
    assert first == second
    return hashlib.sha256(first).hexdigest()


def test_step_bytes_are_the_same_in_every_process():
    code = "import test_engine_exact as t; print(t.digest())"
    here = Path(__file__).parent
    command = [
        sys.executable,
        "-W",
        "ignore",
        "-c",
        f"import sys; sys.path[:0] = {[str(here), str(here.parent)]}; {code}",
    ]
    fresh = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True, timeout=60)
    assert fresh.stdout.strip() == digest()


def damaged(data: bytes) -> bytes:
    """Without the planes that faces refer to."""
    return b"\n".join(line for line in data.split(b"\n") if b" = PLANE(" not in line)


def test_files_that_are_no_solid_are_faults_and_say_why(tmp_path: Path, capfd: pytest.CaptureFixture[str]):
    good = encode_step(make_solid(DRILL), "drill")
    with pytest.raises(FileFault, match="No such file"):
        decode_step(tmp_path / "none.step")
    for data, reason in [
        (b"solid ring\nendsolid\n", "not a STEP file"),
        (b"", "not a STEP file"),
        (good[: len(good) // 2], "truncated"),
        (b"ISO-10303-21;\nrubbish\nEND-ISO-10303-21;\n", "no shape|cannot read"),
        (damaged(good), "damaged|no shape"),
    ]:
        with pytest.raises(FileFault, match=reason):
            read_step(data, "file")
    assert capfd.readouterr() == ("", "")
