"""A house's profile in a spec: the files come out at the size from which this house's finished bore is the finger's.
Independent judges: numpy's line, trimesh and OCP's reader of the files, jsonschema. Rings invented for the tests."""

import copy
import json
import math

import cadquery
import numpy as np
import pytest
import trimesh
from conftest import SMALL
from jsonschema import Draft202012Validator

import bandgen
from bandgen.band import build_mesh
from bandgen.cli import main
from bandgen.errors import SpecError
from bandgen.inspection.casting import band_width
from bandgen.layout.casting import printed_bore_mm
from bandgen.layout.compute import compute_layout
from bandgen.pipeline import as_written, with_exact_findings
from bandgen.record import spec_dict
from bandgen.reports import house_rings
from bandgen.reports.calibration import designed_for
from bandgen.spec import load_spec, make_spec, schema
from bandgen.trade.house_profile import QUANTITIES, make_profile, plain_profile, read_profile

BORES = ((15.0, 14.87), (15.8, 15.66), (16.5, 16.38), (17.2, 17.04), (18.1, 17.95), (19.9, 19.71))
WIDTHS = ((2.0, 1.84), (3.0, 2.81), (4.0, 3.79), (2.0, 1.86), (3.0, 2.79), (4.0, 3.80))
SCALE, OFFSET_MM = np.polyfit(*np.transpose(BORES), 1)
WIDTH_SCALE, WIDTH_OFFSET_MM = np.polyfit(*np.transpose(WIDTHS), 1)
FINGER_MM = SMALL["finger"]["inner_diameter_mm"]
DESIGNED_MM = (FINGER_MM - OFFSET_MM) / SCALE
BAND = "name = 'Small'\n[finger]\ninner_diameter_mm = 16.0\n[stones]\ndiameter_mm = 3.0\n"


def calibrated(folder, quantities=QUANTITIES):
    """The folder with a profile, as the command writes it."""
    header = ",".join(f"{stage}_{key}_mm" for key in quantities for stage in ("designed", "finished"))
    columns = [{"bore": BORES, "width": WIDTHS}[key] for key in quantities]
    rows = [",".join(str(x) for pair in row for x in pair) for row in zip(*columns, strict=True)]
    (folder / "rings.csv").write_text("\n".join([header, *rows]))
    assert main(["calibrate", str(folder / "rings.csv"), "--out", str(folder / "house.toml")]) == 0
    return folder


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    """A folder with a house's profile and a band's spec that names it."""
    folder = calibrated(tmp_path_factory.mktemp("house"))
    (folder / "band.toml").write_text(BAND + "[casting]\nprofile = 'house.toml'\n")
    return folder


@pytest.fixture(scope="module")
def band(house):
    """That band, with its exact solid."""
    return with_exact_findings(bandgen.generate(load_spec(house / "band.toml")))


@pytest.fixture(scope="module")
def plain(house):
    """The profile's plain data."""
    return plain_profile(read_profile(house / "house.toml"))


def spec_with(plain, **tables):
    return make_spec({**SMALL, **tables, "casting": {"profile": plain}})


def notes(layout_or_band):
    return {f.code: f for f in layout_or_band.findings if f.code.startswith(("calibrated", "compensation"))}


# --- the files ---


def test_this_houses_finished_bore_is_the_fingers(band):
    """By numpy's line through the rings."""
    casting = band.record["casting"]
    assert casting["printed_bore_mm"] == pytest.approx(DESIGNED_MM, rel=1e-10)
    assert casting["printed_bore_mm"] * SCALE + OFFSET_MM == pytest.approx(FINGER_MM, rel=1e-10)
    assert casting["finished_bore_mm"] == band.record["inner_diameter_mm"] == FINGER_MM
    assert casting["factor"] == pytest.approx(DESIGNED_MM / FINGER_MM, rel=1e-10)


def test_both_engines_write_the_bore(band, tmp_path):
    """trimesh reads the STL: flats of the bore's facets lie within the deviation inside the circle, corners within it
    outside; OCP reads the STEP: a cylinder of that very radius."""
    names = {suffix: entry["name"] for suffix, entry in bandgen.export(band, tmp_path).record["files"].items()}
    assert band.sound
    mesh = trimesh.load(tmp_path / names["stl"])
    radii = np.hypot(*mesh.vertices[:, :2].T)
    deviation = band.layout.spec.mesh.deviation_mm * DESIGNED_MM / FINGER_MM
    assert mesh.is_watertight
    assert 2.0 * radii.min() == pytest.approx(DESIGNED_MM, abs=2.0 * deviation + 4e-6)
    assert mesh.volume == pytest.approx(band.topology.volume * (DESIGNED_MM / FINGER_MM) ** 3, rel=1e-6)
    solid = cadquery.importers.importStep(str(tmp_path / names["step"])).val()
    cylinders = [face._geomAdaptor().Cylinder().Radius() for face in solid.Faces() if face.geomType() == "CYLINDER"]
    assert min(abs(2.0 * radius - DESIGNED_MM) for radius in cylinders) < 1e-9
    written = as_written(band)
    sample = written.mesh.vertices[:: len(written.mesh.vertices) // 40]
    assert written.solid.distance_to_faces(sample).max() <= deviation + 4e-6


def test_a_filled_spec_makes_the_same_band_without_the_file(band):
    plain = json.loads(json.dumps(band.record["spec"]))
    assert Draft202012Validator(schema()).is_valid(plain)
    again = compute_layout(make_spec(plain))
    assert spec_dict(again.spec) == band.record["spec"]
    assert again.spec == band.layout.spec
    assert printed_bore_mm(again) == printed_bore_mm(band.layout)
    assert np.array_equal(build_mesh(again).vertices, band.mesh.vertices)


def test_the_profile_follows_the_finger(plain):
    """Scale and offset stand in the spec, no factor: of a filled spec for another finger, too."""
    filled = spec_dict(compute_layout(spec_with(plain)).spec)
    for bore in (15.0, 17.0, 19.5):
        other = {**SMALL, "finger": {"inner_diameter_mm": bore}, "casting": filled["casting"]}
        assert printed_bore_mm(compute_layout(make_spec(other))) == pytest.approx((bore - OFFSET_MM) / SCALE, rel=1e-10)


def test_the_design_itself_stays(plain):
    own, bare = compute_layout(spec_with(plain)), compute_layout(make_spec(SMALL))
    assert (own.stations, own.seams, own.bore, own.events) == (bare.stations, bare.seams, bare.bore, bare.events)


def test_a_path_counts_from_the_spec(house, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert load_spec(house / "band.toml").casting.profile.data == "rings.csv"
    elsewhere = load_spec(house / "band.toml", {"casting.profile": str(house / "house.toml")})
    assert elsewhere == load_spec(house / "band.toml")
    assert hash(elsewhere) == hash(load_spec(house / "band.toml"))


# --- what is said ---


def test_the_width_that_would_come_out_is_said(band):
    found = notes(band)
    factor, own = DESIGNED_MM / FINGER_MM, (3.0 - WIDTH_OFFSET_MM) / WIDTH_SCALE / 3.0
    width = found["calibrated-width"]
    assert (width.severity, width.limit) == ("note", pytest.approx(3.0))  # cups as wide as their stones
    assert width.measured == pytest.approx(3.0 * factor * WIDTH_SCALE + WIDTH_OFFSET_MM, rel=1e-9)
    assert f"{factor:.4f} times" in width.text
    assert width.text.endswith(f"would take {own:.4f}")
    assert "rings.csv" in width.source
    assert "casting.profile" in found["compensation"].text


def test_a_width_that_agrees_is_well(plain):
    """The width's line set so that the bore's factor suits it."""
    own = copy.deepcopy(plain)
    own["width"] |= {"scale": float(FINGER_MM / DESIGNED_MM), "offset_mm": 0.009}
    assert notes(bandgen.generate(spec_with(own)))["calibrated-width"].severity == "ok"
    own["width"]["most_mm"] = 2.9
    found = notes(bandgen.generate(spec_with(own)))["calibrated-width"]
    assert (found.severity, "a guess beyond" in found.text) == ("note", True)


@pytest.mark.parametrize(
    ("least", "most", "severity"), [(16.0, 19.0, "ok"), (16.3, 19.0, "note"), (14.0, 16.1, "note")]
)
def test_a_bore_that_nobody_measured_is_noted(plain, least, most, severity):
    """About 16.14 mm in the files."""
    own = {**plain, "bore": {**plain["bore"], "least_mm": least, "most_mm": most}}
    del own["width"]
    found = notes(bandgen.generate(spec_with(own)))
    assert found["calibrated-size"].severity == severity
    assert found["calibrated-size"].measured == pytest.approx(DESIGNED_MM)
    assert severity == "ok" or found["calibrated-size"].limit == (least if least > 16.2 else most)
    assert "calibrated-width" not in found


def test_sprues_are_no_width():
    """trimesh's extent of the band without them."""
    bare, sprued = (compute_layout(make_spec({**SMALL, **more})) for more in ({}, {"sprue": {"count": 2}}))
    mesh = trimesh.Trimesh(build_mesh(bare).vertices, build_mesh(bare).faces, process=False)
    assert band_width(sprued) == band_width(bare) == pytest.approx(mesh.extents[2], abs=0.01)
    assert np.ptp(build_mesh(sprued).vertices[:, 2]) > band_width(sprued) + 4.0


# --- refusals ---


@pytest.mark.parametrize(
    ("key", "value"), [("pattern_shrinkage_pct", 1.0), ("metal_shrinkage_pct", 0.5), ("bore_allowance_mm", 0.05)]
)
def test_nothing_is_made_up_for_twice(plain, key, value):
    make_spec({**SMALL, "casting": {"profile": plain, key: 0.0}})
    with pytest.raises(SpecError, match=rf"casting\.{key} = {value}: cannot be given together with casting\.profile"):
        make_spec({**SMALL, "casting": {"profile": plain, key: value}})


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("scale = 0.", "scale = 3.", r"casting\.profile = 3\.\d+: bore\.scale of house\.toml must be 0\.5 to 1\.5"),
        ("sha256 = ", "sha1 = ", r"casting\.profile: sha256 of house\.toml is required"),
        ("most_mm = ", f"most_mm = 1{'0' * 400} #", r"bore\.most_mm of house\.toml must be a float"),
        ("[bore]", "[bore", r"casting\.profile = '.*house\.toml': must be readable TOML \(.*line"),
    ],
)
def test_a_spoilt_profile_is_told_by_file_key_and_rule(tmp_path, capsys, old, new, told):
    text = (calibrated(tmp_path) / "house.toml").read_text()
    assert old in text
    (tmp_path / "house.toml").write_text(text.replace(old, new, 1))
    (tmp_path / "band.toml").write_text(BAND + "[casting]\nprofile = 'house.toml'\n[seat]\nfloor_mm = 99\n")
    with pytest.raises(SpecError, match=told) as refused:
        load_spec(tmp_path / "band.toml")
    assert [each.key for each in refused.value.problems if each.key != "casting.profile"] == ["seat.floor_mm"]
    assert main(["make", str(tmp_path / "band.toml"), "--out", str(tmp_path / "out")]) == 2
    assert "casting.profile" in capsys.readouterr().err


def test_a_profile_of_widths_alone_is_refused(tmp_path):
    calibrated(tmp_path, ("width",))
    (tmp_path / "band.toml").write_text(BAND + "[casting]\nprofile = 'house.toml'\n")
    with pytest.raises(SpecError, match=r"casting\.profile = '.*house\.toml': needs the house's bores, \[bore\]"):
        load_spec(tmp_path / "band.toml")
    plain = plain_profile(read_profile(tmp_path / "house.toml"))
    with pytest.raises(SpecError, match=r"casting\.profile\.bore: needs the house's bores"):
        spec_with(plain)


@pytest.mark.parametrize("name", ["none.toml", ".", "a\\u0000b"])
def test_no_file(tmp_path, name):
    (tmp_path / "band.toml").write_text(BAND + f'[casting]\nprofile = "{name}"\n')
    with pytest.raises(SpecError, match=r"casting\.profile = .*readable TOML.* its path counted from the spec file"):
        load_spec(tmp_path / "band.toml")


@pytest.mark.parametrize(
    ("value", "told"),
    [
        ("house.toml", r"casting\.profile = 'house\.toml': is a file's path, which counts"),
        (5, r"casting\.profile = 5: must be a profile's path, in quotes"),
        (True, r"casting\.profile = True: must"),
        ([], r"casting\.profile: must be a profile's path"),
        (None, r"casting\.profile: must be a profile's path"),
        ({}, r"casting\.profile: must have a table \[bore\] or \[width\]"),
    ],
)
def test_plain_data_without_a_profile(value, told):
    with pytest.raises(SpecError, match=told):
        spec_with(value)


def test_plain_data_are_held_to_the_same_rules(plain):
    own = {**plain, "extra": 1, "bore": {**plain["bore"], "scale": 3.0, "offset_mm": math.nan}}
    with pytest.raises(SpecError) as refused:
        spec_with(own)
    assert {problem.key for problem in refused.value.problems} == {
        "casting.profile.extra",
        "casting.profile.bore.scale",
        "casting.profile.bore.offset_mm",
    }


def test_a_line_that_makes_no_sense_there_is_refused(plain):
    """Files of less than 0.8 or more than 1.25 times the design."""
    for share, good in ((0.801, True), (0.799, False), (1.249, True), (1.251, False)):
        own = {**plain, "bore": {**plain["bore"], "scale": 1.0, "offset_mm": FINGER_MM * (1.0 - share)}}
        if good:
            assert compute_layout(spec_with(own)).spec.casting.factor == pytest.approx(share)
            continue
        with pytest.raises(
            SpecError, match=r"casting\.profile = 'rings\.csv': asks for files .* not within 0\.8 to 1\.25"
        ):
            compute_layout(spec_with(own))


def test_no_factor_before_a_bore_is_known(plain):
    with pytest.raises(ValueError, match="before a layout"):
        spec_with(plain).casting.factor  # noqa: B018


# --- the profile alone ---


def test_plain_data_make_the_profile_again(house, plain):
    profile = read_profile(house / "house.toml")
    assert make_profile(plain) == profile == make_profile(json.loads(json.dumps(plain)))
    assert designed_for(profile, FINGER_MM) == pytest.approx(DESIGNED_MM, rel=1e-12)
    assert profile.bore.finished(DESIGNED_MM) == pytest.approx(FINGER_MM, rel=1e-12)
    whole = make_profile({**plain, "bore": {**plain["bore"], "scale": 1}})
    assert type(whole.bore.scale) is float


def test_what_is_written_is_what_is_read():
    """The room of the trade cannot import from the reports: what both name is the same."""
    assert tuple(house_rings.RANGES_MM) == QUANTITIES


def test_the_schema_takes_a_path_or_the_content(plain):
    judge = Draft202012Validator(schema())
    for value, good in (("house.toml", True), (plain, True), ("", False), (5, False), ({"bore": {}}, False)):
        assert judge.is_valid({**SMALL, "casting": {"profile": value}}) is good
    assert not judge.is_valid({**SMALL, "casting": {"profile": {**plain, "extra": 1}}})
