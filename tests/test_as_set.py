"""The band as set: finished prongs and notches in numbers, on the solid, and against independent geometry.

Oracles: shapely (polygons; installed for the tests only), manifold3d's booleans on whole rings, closed forms, and
points sown by hand.
"""

import json
import math
from dataclasses import replace
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh

from bandgen.as_set import set_stones, summary, write_as_set
from bandgen.band import build_mesh
from bandgen.cli import main
from bandgen.errors import SpecError
from bandgen.exporters import stl
from bandgen.inspection.as_set import inspect_as_set, measure_prong, metal_under
from bandgen.inspection.setting import notched_share
from bandgen.inspection.topology import measure
from bandgen.layout.compute import compute_layout
from bandgen.layout.grip import axis_for_reach
from bandgen.layout.placed import placed_stones
from bandgen.layout.set_dome import Finish, point_on
from bandgen.layout.set_numbers import BurNumbers, across_axis, finished_prongs, set_layout
from bandgen.layout.set_section import Notch, heel_mm, lens_moments, section_left
from bandgen.pipeline import generate
from bandgen.spec import load_spec, make_spec
from bandgen.trade.stones import brilliant
from bandgen.units import sincosd

FOLDER = Path(__file__).parent.parent / "samples"
SAMPLES = sorted(FOLDER.glob("*.toml"))
FINGER = {"size": "ISO 54"}
PLAIN = {"finger": FINGER, "stones": {"diameter_mm": 2.0}, "mesh": {"deviation_mm": 0.003}}
SMALL = {**PLAIN, "stones": {"diameter_mm": 1.0, "table_pct": 70.0}}


def layout_of(data=PLAIN, finish=None, **stones):
    return set_layout(compute_layout(make_spec({**data, "stones": {**data["stones"], **stones}})), finish)


def sample(name):
    return set_layout(compute_layout(load_spec(FOLDER / f"{name}.toml")))


# ------------------------------------------------------------------------------------------------ the section


def polygon_moments(ring):
    """Area, first and second moments about the origin of a polygon (n, 2), by the shoelace formulas (any textbook)."""
    (x, y), (p, q) = ring.T, np.roll(ring, -1, axis=0).T
    turn = x * q - p * y
    second = (turn * (x * x + x * p + p * p) / 12.0).sum(), (turn * (y * y + y * q + q * q) / 12.0).sum()
    mixed = (turn * (x * q + 2.0 * x * y + 2.0 * p * q + p * y) / 24.0).sum()
    first = (turn * (x + p) / 6.0).sum(), (turn * (y + q) / 6.0).sum()
    return np.array([turn.sum() / 2.0, *first, second[0], mixed, second[1]])


def disc(x, y, radius):
    return shapely.Point(x, y).buffer(radius, quad_segs=20_000)


@pytest.mark.parametrize(("towards", "far", "radius"), [(0.3, 1.3, 1.1), (-2.0, 0.75, 0.6), (1.5, 2.2, 1.75)])
def test_moments_of_a_lens_are_those_of_shapely(towards, far, radius):
    """All six moments of the part of a circle of 0.417 mm in a girdle's disc: shapely, 80 000 corners a circle."""
    lens = disc(0.0, 0.0, 0.417) & disc(far * math.cos(towards), far * math.sin(towards), radius)
    ring = np.array(shapely.geometry.polygon.orient(lens).exterior.coords)[:-1]
    ours = lens_moments(0.417, Notch(towards, far, radius))
    assert ours == pytest.approx(polygon_moments(ring), rel=2e-6, abs=1e-9)
    assert ours[0] == pytest.approx(lens.area, rel=1e-6)


def test_section_between_two_chords_in_closed_form():
    """Discs of 2 m are chords but for 0.01 %: the strip |x| < c of a circle has area r2 (2 p + sin 2 p) and its
    weakest second moment r4 / 2 (p - sin(4 p) / 4), with c = r sin p (by the substitution x = r sin t)."""
    radius, overlap, vast = 0.4, 0.2, 1e3
    far = vast + radius * (1.0 - 2.0 * overlap)
    left = section_left(radius, [Notch(0.7, far, vast), Notch(0.7 + math.pi, far, vast)])
    p = math.asin(1.0 - 2.0 * overlap)
    assert left.area == pytest.approx((2.0 * p + math.sin(2.0 * p)) / math.pi, rel=1e-4)
    assert left.area == pytest.approx(1.0 - notched_share(overlap), rel=1e-4)
    assert left.stiffness == pytest.approx((p - math.sin(4.0 * p) / 4.0) * 2.0 / math.pi, rel=2e-4)
    assert section_left(radius, []).stiffness == pytest.approx(1.0)


def test_weakest_axis_is_the_weakest_of_all_directions():
    """Two notches askew: the second moment about every direction through the centre, from shapely's polygon."""
    notches = [Notch(0.4, 1.35, 1.1), Notch(2.6, 1.4, 1.2)]
    rest = disc(0.0, 0.0, 0.4)
    for notch in notches:
        x, y = notch.distance_mm * math.cos(notch.towards), notch.distance_mm * math.sin(notch.towards)
        rest -= disc(x, y, notch.radius_mm)
    ring = np.array(shapely.geometry.polygon.orient(rest).exterior.coords)[:-1] - np.array(rest.centroid.coords)
    turns = np.linspace(0.0, math.pi, 2000)
    _, _, _, xx, xy, yy = polygon_moments(ring)
    weakest = (xx * np.cos(turns) ** 2 + 2.0 * xy * np.cos(turns) * np.sin(turns) + yy * np.sin(turns) ** 2).min()
    left = section_left(0.4, notches)
    assert left.area == pytest.approx(rest.area / (math.pi * 0.16), rel=1e-6)
    assert left.stiffness == pytest.approx(weakest / (math.pi * 0.4**4 / 4.0), rel=1e-5)


def test_heel_ends_at_another_notch():
    """On one line 1 - two depths; a notch to the side is not met."""
    first, opposite, aside = (Notch(turn, 1.32, 1.1) for turn in (0.0, math.pi, math.pi / 2.0))
    assert heel_mm(0.4, first, [opposite]) == pytest.approx(0.44)
    assert heel_mm(0.4, first, [aside]) == pytest.approx(0.62)


@pytest.mark.parametrize("name", ["ariadne", "heddle", "kestrel"])
def test_section_on_the_solid(name):
    """The mesh cut by trimesh square to each prong at the girdle, measured by shapely, is the numbers' section."""
    layout = sample(name)
    mesh = build_mesh(layout)
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    for prong in finished_prongs(layout)[:3]:
        radius = prong.prong.diameter_mm / 2.0
        turn = layout.seams[prong.seam].angle_deg + prong.turn_deg
        to_band = placed(turn, prong.z_mm)
        axes = np.array([*across_axis(prong.prong.axis)])
        normal, origin = np.array(prong.prong.axis.along), np.array(point_on(prong.prong.axis, 0.0))
        cut = body.section(to_band[:3, :3] @ normal, to_band[:3, :3] @ origin + to_band[:3, 3])
        rings = [(np.asarray(ring) - to_band[:3, 3]) @ to_band[:3, :3] - origin for ring in cut.discrete]
        near = [ring @ axes.T for ring in rings if np.linalg.norm(ring, axis=1).max() < 1.1 * radius]
        assert len(near) == 1
        polygon = shapely.Polygon(near[0])
        assert polygon.area / (math.pi * radius**2) == pytest.approx(prong.section.area, abs=0.012)
        ring = np.array(shapely.geometry.polygon.orient(polygon).exterior.coords)[:-1]
        _, _, _, xx, xy, yy = polygon_moments(ring - np.array(polygon.centroid.coords))
        weakest = (xx + yy) / 2.0 - math.hypot((xx - yy) / 2.0, xy)
        assert weakest / (math.pi * radius**4 / 4.0) == pytest.approx(prong.section.stiffness, abs=0.02)


def placed(turn_deg, z_mm):
    sine, cosine = sincosd(turn_deg)
    return np.array([[cosine, -sine, 0.0, 0.0], [sine, cosine, 0.0, 0.0], [0.0, 0.0, 1.0, z_mm], [0.0, 0.0, 0.0, 1.0]])


# ------------------------------------------------------------------------------------------------ the dome


def sown(prong, stone, corner, slope):
    """Points of a stone's cone, sown densely, and which of them a finished prong holds: shaft and cap, by distances."""
    cut = stone.outline
    run, turn = np.meshgrid(np.linspace(0.0, 0.999, 400), np.linspace(-0.5, 0.5, 301), indexing="ij")
    run = run * cut.crown_width_mm
    turn = turn + stone.azimuth(point_on(prong.axis, 0.0))
    flat = np.stack([stone.point(float(a), 1.0, 0.0) for a in turn[0]]) - (0.0, 0.0, stone.z_mm)
    points = (cut.radius_mm - run)[..., None] * flat[None] + (corner + slope * run)[..., None] * np.array(stone.up)
    points[..., 2] += stone.z_mm
    away = points - np.array(point_on(prong.axis, 0.0))
    along = away @ np.array(prong.axis.along)
    shaft = np.sqrt((away**2).sum(axis=-1) - along**2) <= prong.diameter_mm / 2.0
    ball = np.linalg.norm(points - np.array(point_on(prong.axis, prong.middle_mm)), axis=-1) <= prong.dome_mm
    return run, shaft & ((along <= prong.shoulder_mm) | ball), points


@pytest.mark.parametrize("name", ["ariadne", "heddle", "thistle", "trefoil", "quarry", "kestrel"])
def test_contact_and_notch_by_sowing(name):
    """The innermost of 120 000 points of each cone that lie in the prong; and its highest over the stone."""
    for prong in finished_prongs(sample(name)):
        for grip in prong.grips:
            cut = grip.stone.outline
            step = cut.crown_width_mm / 400.0
            run, held, _ = sown(prong.prong, grip.stone, cut.upper_mm, cut.crown)
            assert run[held].max() == pytest.approx(grip.contact * cut.crown_width_mm, abs=1.5 * step)
            run, held, _ = sown(prong.prong, grip.stone, cut.girdle_mm, -cut.pavilion)
            assert run[held].max() * cut.pavilion == pytest.approx(-grip.bottom_mm, abs=1.5 * step)


def test_the_dome_is_as_asked():
    """Small stones of wide tables stand deep in their prongs: contact and height come out as asked."""
    for contact, height in ((0.30, 0.60), (0.40, 0.70), (0.50, 0.80)):
        (prong,) = finished_prongs(layout_of(SMALL, Finish(contact, height)))
        for grip in prong.grips:
            assert grip.contact == pytest.approx(contact, abs=1e-3)
            assert grip.height == pytest.approx(height, abs=1e-9)


def test_contact_ends_where_the_blank_does():
    """Two millimetre stones: the blank covers less than asked, and the contact ends 0.02 mm short of its inner side."""
    (prong,) = finished_prongs(layout_of())
    for grip in prong.grips:
        cut, radius = grip.stone.outline, prong.prong.diameter_mm / 2.0
        run, held, points = sown(prong.prong, grip.stone, cut.upper_mm, cut.crown)
        inmost = points[np.unravel_index(np.where(held, run, -1.0).argmax(), run.shape)]
        away = inmost - np.array(point_on(prong.prong.axis, 0.0))
        along = away @ np.array(prong.prong.axis.along)
        assert math.sqrt(away @ away - along**2) == pytest.approx(radius - 0.02, abs=2e-3)
        assert grip.contact < 0.40


def test_a_prong_of_unequal_stones_is_finished_for_the_higher():
    for prong in finished_prongs(sample("moonrise")):
        heights = [grip.height for grip in prong.grips]
        assert min(heights) == pytest.approx(0.70, abs=1e-9)


# ------------------------------------------------------------------------------------------------ the solid


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_sample_as_set(path):
    """One sound body of the blank's genus, and the mesh holds every stone as the numbers say."""
    blank = compute_layout(load_spec(path, {"mesh.deviation_mm": 0.012}))
    layout = set_layout(blank)
    mesh = build_mesh(layout)
    topology = measure(mesh.vertices, mesh.faces)
    assert (topology.watertight, topology.genus, topology.bodies) == (True, blank.genus, 1)
    findings = {finding.code: finding for finding in inspect_as_set(layout, mesh)}
    assert findings["grip-agreement"].severity == "ok", findings["grip-agreement"]
    assert all(finding.severity != "error" for finding in findings.values())


def solid(mesh):
    return manifold3d.Manifold(manifold3d.Mesh64(np.array(mesh.vertices), mesh.faces.astype(np.uint64)))


@pytest.mark.parametrize("name", ["ariadne", "thistle", "kestrel"])
def test_the_setter_cuts_only_prongs_and_adds_nothing(name):
    """Between two seam planes the metal under a stone's rim is the blank's, the one over it less, by manifold3d's own
    trims; nothing of it stands out of the blank but by facets."""
    blank = compute_layout(load_spec(FOLDER / f"{name}.toml"))
    station = blank.stations[0]
    before, after = (
        under_stone(build_mesh(each), *(math.degrees(side.half) for side in blank.beside(station)))
        for each in (blank, set_layout(blank))
    )
    rim = station.seat.rim_mm
    assert volume_under(after, rim) == pytest.approx(volume_under(before, rim), abs=1e-5)
    assert after.volume() < before.volume() - 0.1
    grown = after - before
    assert grown.volume() < 1e-3 * (before.volume() - after.volume())


def under_stone(mesh, before_deg, after_deg):
    """The metal between the seam planes on both sides of station 0, on +Y."""
    body = solid(mesh)
    for angle, sign in ((-before_deg, 1.0), (after_deg, -1.0)):
        sine, cosine = sincosd(angle)
        body = body.trim_by_plane((-sign * cosine, -sign * sine, 0.0), 0.0)
    return body


def volume_under(body, height):
    return body.trim_by_plane((0.0, -1.0, 0.0), -height).volume()


def test_stones_sit_in_the_metal_without_entering_it():
    """The turned stone touches the metal at every prong, yet shares next to nothing with it; raised by 0.05 mm it
    enters it (the crown's notch), and so does the stone lowered (the pavilion's)."""
    layout = layout_of()
    metal = solid(build_mesh(layout))
    station = layout.stations[0]
    bur = next(extra for extra in station.extras if isinstance(extra, BurNumbers))
    cut = bur.stone
    corners = [(0.0, bur.bottom_mm), (cut.radius_mm - (cut.girdle_mm - bur.bottom_mm) / cut.pavilion, bur.bottom_mm)]
    corners += [(cut.radius_mm, cut.girdle_mm), (cut.radius_mm, cut.upper_mm)]
    corners += [(cut.table_radius_mm, cut.table_mm), (0.0, cut.table_mm)]
    stone = manifold3d.CrossSection([corners]).revolve(400).rotate((-90.0, 0.0, 0.0))
    assert (metal ^ stone).volume() < 0.003 * stone.surface_area() * 0.05
    for step in (0.05, -0.05):
        assert (metal ^ stone.translate((0.0, step, 0.0))).volume() > 0.005


def test_metal_under_a_seat_is_the_floor():
    """On the solid beside the axis, against the seat's own number; nothing where seats are open."""
    layout = layout_of()
    (under,) = metal_under(layout, build_mesh(layout), layout.stations[3])
    assert under == pytest.approx(layout.spec.seat.floor_mm, abs=2e-3)
    assert metal_under(sample("heron"), build_mesh(sample("heron")), sample("heron").stations[0]) == [0.0]


def test_measured_grip_follows_the_mesh():
    """Measured on the mesh of another finish, the grips are that finish's, not the numbers' own."""
    numbers, other = (layout_of(SMALL, finish) for finish in (Finish(), Finish(0.30, 0.60)))
    (prong,) = finished_prongs(numbers)
    for found in measure_prong(numbers, build_mesh(other), prong):
        assert found.contact == pytest.approx(0.30, abs=0.03)


def test_placed_stones_stand_in_their_seats():
    """As many as the layout says, each the brilliant itself, its culet over the finger by the clearance."""
    layout = sample("heddle")
    stones = placed_stones(layout)
    assert len(stones) == layout.stone_count
    for (vertices, faces, material), station in zip(stones, layout.stations, strict=False):
        whole, triangles = brilliant(station.diameter_mm, station.proportions)
        assert material == station.material
        assert np.array_equal(faces, triangles)
        assert np.ptp(vertices, axis=0)[2] == pytest.approx(np.ptp(whole, axis=0)[2])
        culet = np.hypot(vertices[:, 0], vertices[:, 1])[0]
        assert culet == pytest.approx(layout.bore_radius_mm + station.culet_clearance_mm, abs=1e-9)
    turned = [row.turned for row in layout.rows for _ in layout.stations]
    angles = [math.degrees(math.atan2(-v[0, 0], v[0, 1])) % 360.0 for v, _, _ in stones]
    pitch = 360.0 / len(layout.stations)
    for angle, half in zip(angles, turned, strict=True):
        assert (angle / pitch - 0.5 * half) % 1.0 == pytest.approx(0.0, abs=1e-6) or (
            angle / pitch - 0.5 * half
        ) % 1.0 == pytest.approx(1.0, abs=1e-6)


# ------------------------------------------------------------------------------------------------ findings


def deeper(layout, overlap):
    """A layout whose prongs stand nearer to their stones than a spec may ask."""
    seam, station = layout.seams[0], layout.stations[0]
    half, draft, seat = math.radians(seam.before_deg), math.radians(station.seat.draft_deg), station.seat
    reach = (0.5 - overlap) * seam.prong.diameter_mm
    axis = axis_for_reach(reach, seat.girdle_mm, half, draft, station.diameter_mm / 2.0)
    moved = replace(seam.prong, axis=axis, overlap=overlap)
    return replace(layout, seams=tuple(replace(each, prongs=(moved,)) for each in layout.seams))


def fixed_prong(overlap, **more):
    return {
        **PLAIN,
        "stones": {"diameter_mm": 3.5, "gap_mm": 0.1},
        "prong": {"diameter_mm": 0.9, "overlap": overlap},
        **more,
    }


FIRES = {
    "crown-contact-least": [(SMALL, Finish(0.31)), (SMALL, Finish(0.28))],
    "crown-contact-most": [(SMALL, Finish(0.49)), (SMALL, Finish(0.52))],
    "tip-height-least": [(PLAIN, Finish(0.4, 0.61)), (PLAIN, Finish(0.4, 0.59))],
    "tip-height-most": [(PLAIN, Finish(0.4, 0.79)), (PLAIN, Finish(0.4, 0.81))],
    "notch-heel": [(fixed_prong(0.27), None), (fixed_prong(0.285), None)],
    "metal-under-seat": [({**PLAIN, "seat": {"floor_mm": floor}}, None) for floor in (0.51, 0.49)],
}


@pytest.mark.parametrize("code", FIRES)
def test_each_finding_fires_past_its_limit_only(code):
    """A spec just inside and one just outside."""
    for (data, finish), severity in zip(FIRES[code], ("ok", "warning"), strict=True):
        layout = layout_of(data, finish)
        found = {finding.code: finding for finding in inspect_as_set(layout, build_mesh(layout))}
        assert found[code].severity == severity, found[code]
        assert found[code].source
        assert found[code].text


@pytest.mark.parametrize(("code", "inside", "outside"), [("notch-depth", 0.39, 0.41), ("section-left", 0.31, 0.34)])
def test_findings_past_what_a_spec_may_ask(code, inside, outside):
    """No spec goes so deep (prong.overlap ends at a third): prongs moved by hand."""
    blank = compute_layout(make_spec(fixed_prong(0.29, finger={"inner_diameter_mm": 16.8})))
    for overlap, severity in ((inside, "ok"), (outside, "warning")):
        layout = set_layout(deeper(blank, overlap))
        found = {finding.code: finding for finding in inspect_as_set(layout, build_mesh(layout))}
        assert found[code].severity == severity, found[code]


def test_a_mesh_of_another_finish_is_an_error():
    numbers, other = (layout_of(PLAIN, finish) for finish in (Finish(), Finish(0.4, 0.8)))
    found = {finding.code: finding for finding in inspect_as_set(numbers, build_mesh(other))}
    assert found["grip-agreement"].severity == "error"


def test_a_blank_has_no_finished_prongs():
    with pytest.raises(TypeError, match="set layout"):
        finished_prongs(compute_layout(make_spec(PLAIN)))


def test_a_short_blank_is_refused():
    """The blank must reach the finished tip."""
    data = {**PLAIN, "prong": {"height_above_girdle_mm": 0.25, "tip": "flat"}}
    with pytest.raises(SpecError, match=r"prong\.height_above_girdle_mm = 0\.25: the blank ends under"):
        layout_of(data)


@pytest.mark.parametrize("values", [(0.7, 0.4), (0.01, 0.7), (0.4, 0.99), (math.nan, 0.7)])
def test_finishes_that_are_none(values):
    with pytest.raises(SpecError, match="contact must be at least"):
        Finish(*values)


# ------------------------------------------------------------------------------------------------ result and command


def test_weights_and_files(tmp_path):
    """Cut and finished metal add up to the blank's; the two files read back as metal and stones."""
    band = generate(make_spec(PLAIN))
    as_set = set_stones(band)
    data = summary(as_set)
    assert as_set.sound
    assert data["cut_mm3"] + data["volume_mm3"] == pytest.approx(band.topology.volume)
    assert data["cut_g"] + data["metal_g"] == pytest.approx(band.record["metal_g"])
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    files = write_as_set(as_set, tmp_path)
    assert [entry["name"] for entry in files] == ["band-set.stl", "band-stones.stl"]
    metal, stones = (trimesh.Trimesh(*stl.decode((tmp_path / entry["name"]).read_bytes())) for entry in files)
    assert metal.volume == pytest.approx(data["volume_mm3"], rel=1e-6)
    one = trimesh.Trimesh(*brilliant(2.0, band.layout.stations[0].proportions))
    assert stones.volume == pytest.approx(band.layout.stone_count * one.volume, rel=1e-5)
    assert stones.body_count == band.layout.stone_count


def test_command(tmp_path, capsys):
    """Table and JSON say the same; a finish that is none is bad input."""
    assert main(["set", str(FOLDER / "kestrel.toml"), "--out", str(tmp_path), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["Kestrel-set.stl", "Kestrel-stones.stl"]
    assert main(["set", str(FOLDER / "kestrel.toml"), "--out", str(tmp_path)]) == 0
    table = capsys.readouterr().out
    assert f"{data['cut_mm3']:.2f} mm3, {data['cut_g']:.2f} g off the blank" in table
    sprued = [text for key in ("sprue.count=3", "casting.bore_allowance_mm=0.05") for text in ("--set", key)]
    assert main(["set", str(FOLDER / "kestrel.toml"), *sprued, "--out", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["volume_mm3"] == data["volume_mm3"]  # as finished, sprues cut off
    assert main(["set", str(FOLDER / "kestrel.toml"), "--contact", "80"]) == 2
    assert "contact must be at least" in capsys.readouterr().err
