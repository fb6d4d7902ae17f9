"""The samples are tests: count, genus and volume of each are kept in samples/expected.json and recomputed."""

import json
from pathlib import Path

import pytest
import trimesh
from conftest import SAMPLES

import bandgen
from bandgen.pipeline import with_exact_findings

EXPECTED = json.loads((Path(__file__).parent.parent / "samples" / "expected.json").read_text())


def test_every_sample_is_expected():
    assert sorted(EXPECTED) == [path.stem for path in SAMPLES]
    assert len(SAMPLES) >= 4


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_sample(path):
    expected = EXPECTED[path.stem]
    band = bandgen.generate(bandgen.load_spec(path))
    assert band.sound, [f for f in band.findings if f.severity == "error"]
    assert band.record["stone_count"] == expected["stone_count"]
    assert band.record["genus"] == expected["genus"]
    assert band.record["volume_mm3"] == pytest.approx(expected["volume_mm3"], rel=1e-5)
    assert sorted(f.code for f in band.findings if f.severity == "warning") == expected["warnings"]
    other = trimesh.Trimesh(band.mesh.vertices, band.mesh.faces, process=False)
    assert other.is_watertight
    assert other.is_winding_consistent
    assert other.body_count == 1
    assert other.euler_number == 2 - 2 * expected["genus"]
    assert other.volume == pytest.approx(expected["volume_mm3"], rel=1e-5)


@pytest.mark.parametrize("path", [SAMPLES[0], SAMPLES[1]], ids=lambda path: path.stem)
def test_both_engines_agree_on_the_sample(path):
    band = with_exact_findings(bandgen.generate(bandgen.load_spec(path)))
    assert band.sound, [f for f in band.findings if f.severity == "error"]
    assert band.solid.volume == pytest.approx(band.topology.volume, rel=1e-3)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_filled_spec_makes_the_same_band(path):
    band = bandgen.generate(bandgen.load_spec(path))
    again = bandgen.generate(bandgen.make_spec(band.record["spec"]))
    assert (again.mesh.vertices == band.mesh.vertices).all()
    assert again.record["spec_sha256"] == band.record["spec_sha256"]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_sample_is_written(path, tmp_path):
    band = bandgen.export(bandgen.generate(bandgen.load_spec(path)), tmp_path, ["stl"])
    record = json.loads((tmp_path / f"{path.stem.title()}.json").read_text())
    assert record["stone_count"] == len(record["stones"]) == EXPECTED[path.stem]["stone_count"]
    assert (tmp_path / record["files"]["stl"]["name"]).stat().st_size == record["files"]["stl"]["bytes"]
    assert band.sound
