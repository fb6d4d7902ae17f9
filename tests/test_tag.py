"""Tags: letters that are what their strokes say, and stand where they can be read. shapely is the independent judge of
the outlines, manifold of the metal."""

import math
from itertools import combinations, pairwise

import manifold3d
import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import unary_union

import bandgen
from bandgen.band import build_mesh
from bandgen.errors import SpecError
from bandgen.inspection.topology import measure
from bandgen.layout.compute import compute_layout
from bandgen.layout.sprue import cut_off_mm3, sprue_of
from bandgen.layout.tag import LetterNumbers, PlateNumbers
from bandgen.pipeline import with_exact_findings
from bandgen.spec import make_spec
from bandgen.trade.strokes import (
    GLYPHS,
    HEIGHT_MM,
    RAISED_MM,
    STROKE_MM,
    _around,
    _neighbours,
    outlines,
    outlines_of,
    signed_area,
    width_mm,
)

HALF_MM = STROKE_MM / 2.0


def spec(tag=None, finger=None, **tables):
    data = {"finger": finger or {"inner_diameter_mm": 16.0}, "stones": {"diameter_mm": 3.0}, "sprue": {"count": 2}}
    return make_spec({**data, **({} if tag is None else {"tag": tag}), **tables})


def numbers_of(layout):
    owners = (*layout.stations, *layout.seams)
    return {type(extra): (owner, extra) for owner in owners for extra in owner.extras}


def solid_of(layout):
    mesh = build_mesh(layout)
    return manifold3d.Manifold(manifold3d.Mesh64(np.array(mesh.vertices), mesh.faces.astype(np.uint64)))


# --- letters ---


def polygon_of(letter):
    """A letter's metal where its paths lie."""
    polygons = sorted(_around(_neighbours(GLYPHS[letter])), key=signed_area, reverse=True)
    assert [signed_area(polygon) > 0.0 for polygon in polygons] == [True] + [False] * (len(polygons) - 1)
    return Polygon(polygons[0], polygons[1:])


@pytest.mark.parametrize("letter", GLYPHS)
def test_a_letter_is_what_its_strokes_cover(letter):
    """One simple polygon with its counters inside: all of every stroke, and beyond them only what fills corners."""
    shape, paths = polygon_of(letter), [LineString(path) for path in GLYPHS[letter]]
    assert shape.is_valid
    bars = [LineString(pair) for path in paths for pair in pairwise(path.coords)]
    strokes = unary_union([bar.buffer(HALF_MM, cap_style="flat") for bar in bars])
    corners = unary_union([Point(corner).buffer(HALF_MM * 1.45) for path in paths for corner in path.coords])
    assert strokes.difference(shape).area < 1e-6
    assert shape.difference(strokes.union(corners)).area < 1e-6


@pytest.mark.parametrize("letter", GLYPHS)
def test_no_side_is_short_nor_stands_below(letter):
    """Sides of 0.03 mm at least, well over what either engine tells apart; in a line of capitals but for Q's tail."""
    for polygon in outlines_of(letter):
        sides = [math.dist(*pair) for pair in pairwise([*polygon, polygon[0]])]
        assert min(sides) > 0.03
    outer = Polygon(outlines_of(letter)[0])
    assert outer.bounds[0] == pytest.approx(0.0, abs=1e-12)
    assert -0.35 <= outer.bounds[1] <= outer.bounds[3] <= HEIGHT_MM + 0.05


def test_no_two_letters_are_taken_for_one_another():
    """Laid over one another every two differ by a dot's area at least, but O and the figure 0."""
    shapes = {letter: Polygon(*(lambda o, *c: (o, c))(*outlines_of(letter))) for letter in GLYPHS}
    alike = {
        one + other
        for one, other in combinations(shapes, 2)
        if shapes[one].symmetric_difference(shapes[other]).area < STROKE_MM**2 * 0.9
    }
    assert alike == {"O0"}


def test_text_runs_on():
    assert len(outlines("I I")) == 2
    assert width_mm("I I") == pytest.approx(3 * STROKE_MM + 0.5 + 0.1)
    assert width_mm("") == 0.0
    assert outlines("½") == outlines("1/2")
    assert outlines("iso") == outlines("ISO")
    with pytest.raises(ValueError, match="no strokes"):
        outlines("ISO:54")


# --- the tag ---


@pytest.mark.parametrize(
    ("finger", "text"),
    [
        ({"size": "ISO 54"}, "ISO 54"),
        ({"size": "UK L 1/2"}, "UK L½"),
        ({"size": "UK Z+2"}, "UK Z+2"),
        ({"size": "US 6.25"}, "US 6.25"),
        ({"inner_diameter_mm": 17.2}, "17.20 MM"),
    ],
)
def test_the_finished_size_is_what_it_says(finger, text):
    """Whatever the files are scaled by."""
    layout = compute_layout(spec(tag={}, finger=finger, casting={"metal_shrinkage_pct": 2.0, "bore_allowance_mm": 0.1}))
    assert layout.spec.tag.text == text
    assert numbers_of(layout)[LetterNumbers][1].text == text


def test_it_stands_on_the_first_sprue_alone():
    layout = compute_layout(spec(tag={}))
    first = next(station for station in layout.stations if sprue_of(station) is not None)
    numbers = numbers_of(layout)
    assert numbers[PlateNumbers][0].index == first.index
    assert numbers[LetterNumbers][0].after == first.index
    assert not layout.mirror_z


def test_the_plate_grows_with_its_text():
    short, long_ = (numbers_of(compute_layout(spec(tag={"text": text})))[PlateNumbers][1] for text in ("A", "A" * 16))
    grown = (long_.end_mm - long_.start_mm) - (short.end_mm - short.start_mm)
    assert grown == pytest.approx(width_mm("A" * 16) - width_mm("A"))
    assert long_.end_mm - long_.start_mm > width_mm("A" * 16)


@pytest.mark.parametrize("text", ["8", "KQ½", "+-."])
def test_letters_and_plate_add_what_they_say(text):
    """The mesh with the tag less the mesh without it; no opening, no void, one body."""
    layout, bare = compute_layout(spec(tag={"text": text})), compute_layout(spec())
    found, without = (measure(mesh.vertices, mesh.faces) for mesh in map(build_mesh, (layout, bare)))
    assert found.volume - without.volume == pytest.approx(cut_off_mm3(layout) - cut_off_mm3(bare), rel=1e-3)
    assert (found.bodies, found.genus, found.cavities) == (1, without.genus, 0)
    assert found.bounds[1][2] == pytest.approx(numbers_of(layout)[PlateNumbers][1].half_width_mm, abs=1e-5)


def test_it_reads_from_outside():
    """An L: seen by one who looks against its raised side, outwards up, its foot points to the right."""
    layout = compute_layout(spec(tag={"text": "L"}))
    station, plate = numbers_of(layout)[PlateNumbers]
    letters = numbers_of(layout)[LetterNumbers][1]
    angle = math.radians(station.angle_deg)
    outwards, sideways, along = np.array(
        [(-math.sin(angle), math.cos(angle), 0.0), (math.cos(angle), math.sin(angle), 0.0), (0.0, 0.0, 1.0)]
    )
    right = np.cross(-sideways, outwards)  # looking along -sideways with outwards up
    assert right == pytest.approx(-along)
    corner = letters.start_mm * along + letters.base_mm * outwards + (plate.thickness_mm / 2.0 + 0.3) * sideways
    solid = solid_of(layout)

    def metal(across, up):
        spot = manifold3d.Manifold.sphere(0.05, 16).translate(list(corner + across * right + up * outwards))
        return (spot ^ solid).volume() > 0.5 * spot.volume()

    assert metal(HALF_MM, 2.0)  # its stem
    assert metal(HALF_MM + 0.8, HALF_MM)  # its foot
    assert not metal(HALF_MM + 0.8, 2.0)
    assert not metal(HALF_MM - 0.8, HALF_MM)


def test_letters_survive_casting():
    """0.5 of stroke (Morris & Watson: 0.4, 0.5 where broad; Stuller 0.5), and a raised height of as much."""
    assert STROKE_MM >= 0.5
    assert RAISED_MM >= 0.5
    assert numbers_of(compute_layout(spec(tag={})))[PlateNumbers][1].thickness_mm >= 0.5


def test_sound_and_the_same_by_both_engines():
    band = with_exact_findings(bandgen.generate(spec(tag={"text": "8K"}, stones={"diameter_mm": 4.0})))
    assert band.sound, [f for f in band.findings if f.severity == "error"]
    assert band.solid.volume == pytest.approx(band.topology.volume, rel=1e-4)


def test_a_filled_spec_makes_the_same_tag():
    layout = compute_layout(spec(tag={}))
    again = compute_layout(layout.spec)
    assert (again.stations, again.seams) == (layout.stations, layout.seams)


@pytest.mark.parametrize("text", ["ISO:54", "é", " A", "A" * 17, "A\n"])
def test_what_has_no_strokes_is_refused(text):
    with pytest.raises(SpecError, match=r"tag\.text"):
        spec(tag={"text": text})


def test_a_tag_needs_a_sprue():
    with pytest.raises(SpecError, match=r"tag\.text.*needs a sprue"):
        spec(tag={}, sprue={"count": 0})
    spec(tag={"text": ""}, sprue={"count": 0})


def test_a_sprue_too_short_for_its_tag_is_refused():
    compute_layout(spec(tag={}, sprue={"length_mm": 1.4}))
    with pytest.raises(SpecError, match=r"sprue\.length_mm"):
        compute_layout(spec(tag={}, sprue={"length_mm": 1.0}))
