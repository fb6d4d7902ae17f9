"""The whole way from a spec to a verified band, against libraries that had no hand in it."""

import json

import numpy as np
import pymeshlab
import pytest

import bandgen
from bandgen import pipeline
from bandgen.errors import EngineError
from bandgen.inspection.crossings import crossing_faces
from bandgen.pipeline import distinct_cells, export, generate
from bandgen.spec import load_spec, make_spec


def crossing_by_pymeshlab(vertices, faces):
    """Faces that cross, by an independent library over the whole ring."""
    meshes = pymeshlab.MeshSet()
    meshes.add_mesh(pymeshlab.Mesh(vertices, faces))
    meshes.compute_selection_by_self_intersections_per_face()
    return set(np.flatnonzero(meshes.current_mesh().face_selection_array()))


@pytest.mark.parametrize("opening", ["blind", "through"])
def test_cell_and_joints_equal_the_whole_ring(opening):
    """Searching one cell and its joints answers as an independent library does over the whole ring: none."""
    band = generate(
        make_spec({"finger": {"size": "US 5"}, "stones": {"diameter_mm": 2.6}, "seat": {"opening": opening}})
    )
    around, own = distinct_cells(band.layout, band.mesh)
    assert len(crossing_faces(band.mesh.vertices, band.mesh.faces[around], own)) == 0
    assert crossing_by_pymeshlab(band.mesh.vertices, band.mesh.faces) == set()


def test_crossing_in_a_cell_is_found_alike(small_band):
    """A vertex of the first cell pushed through the metal: the same faces by both."""
    mesh = small_band.mesh
    around, own = distinct_cells(small_band.layout, mesh)
    vertices = mesh.vertices.copy()
    inner = np.setdiff1d(mesh.faces[: mesh.cell_faces[0]], mesh.faces[mesh.cell_faces[0] :])
    outermost = inner[np.argmax(np.hypot(vertices[inner, 0], vertices[inner, 1]))]
    vertices[outermost] *= 0.6
    pairs = crossing_faces(vertices, mesh.faces[around], own)
    assert len(pairs) > 0
    assert set(around[pairs.ravel()]) == crossing_by_pymeshlab(vertices, mesh.faces)


def test_vertices_hold_float32_values(small_band):
    vertices = small_band.mesh.vertices
    assert (vertices == vertices.astype(np.float32)).all()


def test_generate_prints_nothing(capsys):
    generate(make_spec({"finger": {"inner_diameter_mm": 16.0}, "stones": {"diameter_mm": 3.0}}))
    assert capsys.readouterr() == ("", "")


def test_record_is_plain_data_and_equals_the_file(small_band, tmp_path):
    before = json.dumps(small_band.record)
    written = export(small_band, tmp_path, ["stl"])
    assert json.loads((tmp_path / "Small.json").read_text()) == written.record
    assert json.dumps(small_band.record) == before, "writing changed the band"
    assert small_band.record["layout"]["neighbour_counts"][1]["girdle_gap_mm"] < small_band.record["girdle_gap_mm"]


def test_kernel_failure_carries_the_spec(monkeypatch):
    """Never papered over: the operation, the cause, and the spec to reproduce it."""

    def fail(layout):
        raise EngineError("boolean", "planted")

    monkeypatch.setattr(pipeline, "build_mesh", fail)
    with pytest.raises(EngineError, match=r"boolean: planted; spec \{.*\"diameter_mm\":3.0"):
        generate(make_spec({"finger": {"inner_diameter_mm": 16.0}, "stones": {"diameter_mm": 3.0}}))


def test_interrupted_write_leaves_nothing(small_band, tmp_path, monkeypatch):
    from bandgen.exporters import stl

    monkeypatch.setattr(stl, "decode", lambda data: (np.zeros((3, 3)), np.array([[0, 1, 2]])))
    with pytest.raises(bandgen.ExportError, match="does not read back"):
        export(small_band, tmp_path, ["3mf", "stl"])
    assert list(tmp_path.iterdir()) == []


def test_leftovers_of_a_killed_run_are_cleared(small_band, tmp_path):
    (tmp_path / ".Small.stl.part-999999").write_bytes(b"half")
    export(small_band, tmp_path, ["stl"])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["Small.json", "Small.stl"]


@pytest.mark.parametrize(
    "text", ["UK L½", "iso 49", "US 6 1/4", "JP 12", "CH 14", "DE 17.25"], ids=lambda text: text.replace(" ", "-")
)
def test_every_size_system_makes_a_band(text, tmp_path):
    path = tmp_path / "size.toml"
    path.write_text(f'[finger]\nsize = "{text}"\n[stones]\ndiameter_mm = 3.3\n', encoding="utf-8")
    assert generate(load_spec(path)).sound
