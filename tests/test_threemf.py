"""3MF: an independent reader and writer (lib3mf, strict), exact numbers, and placements."""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from threemf_packages import ITEM, MESH, OBJECT, SINGLE, TETRA_F, TETRA_V, TETRA_VOLUME, model, package, volume

from bandgen.errors import ExportError, FileFault
from bandgen.exporters import threemf


@pytest.fixture(scope="module")
def ring() -> trimesh.Trimesh:
    mesh = trimesh.creation.torus(9.0, 1.2, major_sections=60, minor_sections=20)
    mesh.apply_transform(trimesh.transformations.euler_matrix(0.3, 0.5, 0.7))
    return mesh


# ------------------------------------------------------------------------------------------------ writing


def read_strictly(data: bytes):
    lib3mf = pytest.importorskip("lib3mf")
    found = lib3mf.get_wrapper().CreateModel()
    reader = found.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(data)
    assert [reader.GetWarning(k) for k in range(reader.GetWarningCount())] == []
    return found


def test_lib3mf_reads_it_strictly_and_finds_the_same_mesh(ring: trimesh.Trimesh) -> None:
    metadata = {"Title": "A & B <½>", "Application": "bandgen 0", "seed": "7", "stone.size-mm": "2.0"}
    found = read_strictly(threemf.encode(ring.vertices, ring.faces, 'band "one" & co', metadata))
    assert found.GetUnit().name == "MilliMeter"
    items, objects = found.GetBuildItems(), found.GetMeshObjects()
    assert (items.Count(), objects.Count()) == (1, 1)
    objects.MoveNext()
    mesh = objects.GetCurrentMeshObject()
    vertices = np.array([tuple(vertex.Coordinates) for vertex in mesh.GetVertices()])
    np.testing.assert_array_equal(vertices, ring.vertices.astype(np.float32))
    np.testing.assert_array_equal([tuple(t.Indices) for t in mesh.GetTriangleIndices()], ring.faces)
    assert mesh.IsManifoldAndOriented()
    assert mesh.GetName() == 'band "one" & co'
    group = found.GetMetaDataGroup()
    pairs = [group.GetMetaData(k) for k in range(group.GetMetaDataCount())]
    assert {(pair.GetNameSpace(), pair.GetName(), pair.GetValue()) for pair in pairs} == {
        ("", "Title", "A & B <½>"),
        ("", "Application", "bandgen 0"),
        (threemf.OWN_NAMES, "seed", "7"),
        (threemf.OWN_NAMES, "stone.size-mm", "2.0"),
    }


def test_lib3mf_places_it_in_the_positive_octant_by_whole_millimetres(ring: trimesh.Trimesh) -> None:
    found = read_strictly(threemf.encode(ring.vertices, ring.faces, "ring", {}))
    items = found.GetBuildItems()
    items.MoveNext()
    fields = np.array([list(row) for row in items.GetCurrent().GetObjectTransform().Fields])
    np.testing.assert_array_equal(fields[:3], np.eye(3))
    placed = ring.vertices + fields[3]
    assert (placed.min(axis=0) >= 0.0).all()
    assert (placed.min(axis=0) < 1.0).all()
    np.testing.assert_array_equal(fields[3], np.rint(fields[3]))


def test_trimesh_reads_it(ring: trimesh.Trimesh) -> None:
    pytest.importorskip("networkx")
    pytest.importorskip("lxml")
    data = threemf.encode(ring.vertices, ring.faces, "ring", {})
    scene = trimesh.load(trimesh.util.wrap_as_stream(data), file_type="3mf")
    read = scene.to_geometry() if hasattr(scene, "to_geometry") else scene
    assert read.is_volume
    assert read.volume == pytest.approx(ring.volume, rel=1e-6)


def test_round_trip_is_exact_in_single_precision(ring: trimesh.Trimesh) -> None:
    before = ring.vertices.copy(), ring.faces.copy()
    vertices, faces = threemf.decode(threemf.encode(ring.vertices, ring.faces, "ring", {}))
    np.testing.assert_array_equal(vertices, ring.vertices.astype(np.float32))
    np.testing.assert_array_equal(faces, ring.faces)
    assert (vertices.dtype, faces.dtype) == (np.float64, np.int64)
    np.testing.assert_array_equal(ring.vertices, before[0])  # the input is unchanged
    np.testing.assert_array_equal(ring.faces, before[1])


SINGLES = st.floats(width=32, allow_nan=False, allow_infinity=False)


@settings(max_examples=80, deadline=None)
@given(arrays.arrays(np.float32, (4, 3), elements=SINGLES))
def test_any_single_precision_number_survives_both_ways_of_reading(vertices: np.ndarray) -> None:
    text = [f"{value:.9g}" for value in threemf.shortest(vertices.ravel()).tolist()]
    by_double = np.array([float(word) for word in text]).astype(np.float32)
    at_once = np.array([np.float32(word) for word in text])
    np.testing.assert_array_equal(by_double, vertices.ravel())
    np.testing.assert_array_equal(at_once, vertices.ravel())
    read, _ = threemf.decode(threemf.encode(vertices, TETRA_F, "x", {}))
    np.testing.assert_array_equal(read, vertices)


def test_every_power_of_two_survives() -> None:
    """Where the gap to the next number is half as wide below as above."""
    values = np.ldexp(np.float32(1.0), np.arange(-149, 128)).astype(np.float32)
    text = [f"{value:.9g}" for value in threemf.shortest(values).tolist()]
    np.testing.assert_array_equal([np.float32(word) for word in text], values)


def test_coordinates_are_printed_as_short_as_numpy_prints_them() -> None:
    values = (np.random.default_rng(3).normal(size=5000) * 8.0).astype(np.float32)
    values = np.concatenate((values[np.abs(values) > 0.01], np.float32([2.3, -0.1, 10.0, 0.0, 2.0**-10])))
    expected = [float(str(value)) for value in values]  # the shortest decimal that is unique (Dragon4)
    np.testing.assert_array_equal(threemf.shortest(values), expected)


def test_package_is_fixed_in_date_order_and_permissions() -> None:
    data = threemf.encode(TETRA_V, TETRA_F, "x", {"b": "1", "Title": "t", "a": "2"})
    assert data == threemf.encode(TETRA_V.copy(), TETRA_F.tolist(), "x", {"a": "2", "Title": "t", "b": "1"})
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        found = [(i.filename, i.date_time, i.external_attr, i.create_system, i.compress_type) for i in archive.filelist]
        assert archive.testzip() is None
    rest = ((1980, 1, 1, 0, 0, 0), 0o100644 << 16, 3, zipfile.ZIP_DEFLATED)
    assert found == [(name, *rest) for name in ("[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model")]


def test_control_characters_do_not_break_the_xml() -> None:
    data = threemf.encode(TETRA_V, TETRA_F, "a\0b\x1b", {"Title": "\x07\ud800 ]]> &"})
    assert len(threemf.decode(data)[1]) == 4
    read_strictly(data)


@pytest.mark.parametrize("key", ["", "a b", "1a", "x:y", 'a"'])
def test_metadata_names_must_be_xml_names(key: str) -> None:
    with pytest.raises(ValueError, match="metadata name"):
        threemf.encode(TETRA_V, TETRA_F, "x", {key: "1"})


def test_what_is_no_mesh_is_not_written() -> None:
    with pytest.raises(ExportError, match="finite"):
        threemf.encode(TETRA_V + np.inf, TETRA_F, "x", {})


# ------------------------------------------------------------------------------------------- others' files


def test_plain_package_of_others() -> None:
    vertices, faces = threemf.decode(package(model()))
    np.testing.assert_array_equal(vertices, SINGLE)
    np.testing.assert_array_equal(faces, TETRA_F)


ODD = MESH.replace('<vertex x="0.0"', '<!-- c --><vertex x="0.0"', 1)


@pytest.mark.parametrize(
    "mesh",
    [
        ODD,
        MESH.replace("<vertex x", "<vertex  x"),
        MESH.replace("<triangle v1", '<triangle pid="5" v1'),
        MESH.replace("<vertices>", "<vertices >"),
        MESH.replace("/>", "></vertex>", 4).replace("/>", "></triangle>"),
        MESH.replace('="0.0"', '="+0"'),
        MESH.replace("/>", " />\n\t"),
        MESH.replace('"', "'"),
    ],
)
def test_spelling_does_not_matter(mesh: str) -> None:
    vertices, faces = threemf.decode(package(model(f'<object id="1">{mesh}</object>')))
    np.testing.assert_array_equal(vertices, SINGLE)
    np.testing.assert_array_equal(faces, TETRA_F)


def test_prefixed_namespace_and_foreign_elements() -> None:
    text = model(OBJECT + '<f:vertices xmlns:f="urn:f"><f:vertex x="1"/></f:vertices>')
    assert len(threemf.decode(package(text))[1]) == 4
    for name in (
        "model",
        "resources",
        "object",
        "mesh",
        "vertices",
        "vertex",
        "triangles",
        "triangle",
        "build",
        "item",
    ):
        text = text.replace(f"<{name} ", f"<c:{name} ").replace(f"<{name}>", f"<c:{name}>")
        text = text.replace(f"</{name}>", f"</c:{name}>")
    text = text.replace("xmlns=", "xmlns:c=")
    np.testing.assert_array_equal(threemf.decode(package(text))[0], SINGLE)


@pytest.mark.parametrize("hiding", ["<!-- {} -->", "<?x {} ?>"])
def test_a_mesh_in_a_comment_or_instruction_does_not_count(hiding: str) -> None:
    hidden = hiding.format(MESH)
    np.testing.assert_array_equal(threemf.decode(package(model(hidden + OBJECT)))[1], TETRA_F)
    with pytest.raises(FileFault, match="no triangle"):
        threemf.decode(package(model(f'<object id="1">{hidden}</object>')))


def test_a_file_that_uses_the_readers_own_mark_gains_nothing() -> None:
    for number in ("0", "7", "x"):
        marked = f'<mesh><vertices lifted="{number}"/><triangles lifted="0"/></mesh>'
        with pytest.raises(FileFault, match="no triangle"):
            threemf.decode(package(model(f'<object id="1">{marked}</object><object id="2">{MESH}</object>')))


@pytest.mark.parametrize(
    ("unit", "mm"),
    [("micron", 0.001), ("millimeter", 1.0), ("centimeter", 10.0), ("inch", 25.4), ("foot", 304.8), ("meter", 1000.0)],
)
def test_units_of_the_specification(unit: str, mm: float) -> None:
    mesh = threemf.decode(package(model(attributes=f'unit="{unit}"')))
    assert volume(mesh) == pytest.approx(TETRA_VOLUME * mm**3, rel=1e-6)


def test_transform_is_a_row_vector_times_the_matrix() -> None:
    """Spec 3.3: m00 m01 m02 m10 ... so the image of the x axis comes first, the translation last."""
    build = '<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 5 6 7"/>'  # a quarter turn about z, then a shift
    vertices, faces = threemf.decode(package(model(build=build)))
    np.testing.assert_allclose(vertices, np.column_stack((5 - SINGLE[:, 1], 6 + SINGLE[:, 0], 7 + SINGLE[:, 2])))
    assert volume((vertices, faces)) == pytest.approx(TETRA_VOLUME, rel=1e-6)


def test_a_mirrored_item_keeps_its_volumes_sign() -> None:
    mesh = threemf.decode(package(model(build='<item objectid="1" transform="-1 0 0 0 1 0 0 0 2 0 0 0"/>')))
    assert mesh[0][:, 0].min() == -1.5
    assert volume(mesh) == pytest.approx(2.0 * TETRA_VOLUME, rel=1e-6)


def test_a_lone_translation_is_dropped_but_not_one_of_several() -> None:
    shifted = '<item objectid="1" transform="1 0 0 0 1 0 0 0 1 10 20 30"/>'
    np.testing.assert_array_equal(threemf.decode(package(model(build=shifted)))[0], SINGLE)
    vertices, faces = threemf.decode(package(model(build=ITEM + shifted)))
    np.testing.assert_array_equal(vertices, np.concatenate((SINGLE, SINGLE + np.array([10.0, 20.0, 30.0]))))
    np.testing.assert_array_equal(faces, np.concatenate((TETRA_F, TETRA_F + 4)))


def test_components_place_within_components() -> None:
    resources = (
        OBJECT
        + '<object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 10 0 0"/>'
        + '<component objectid="1"/></components></object>'
        + '<object id="3"><components><component objectid="2" transform="2 0 0 0 2 0 0 0 2 0 0 1"/></components>'
        + "</object>"
    )
    vertices, faces = threemf.decode(package(model(resources, '<item objectid="3"/>')))
    np.testing.assert_allclose(vertices[:4], 2.0 * SINGLE + np.array([20.0, 0.0, 1.0]))
    np.testing.assert_allclose(vertices[4:], 2.0 * SINGLE + np.array([0.0, 0.0, 1.0]))
    assert volume((vertices, faces)) == pytest.approx(2 * 8 * TETRA_VOLUME, rel=1e-6)


def test_supports_and_unbuilt_objects_are_left_out() -> None:
    others = "".join(
        f'<object id="{n}" type="{kind}">{MESH}</object>' for n, kind in enumerate(("support", "solidsupport"), 2)
    )
    items = "".join(f'<item objectid="{n}"/>' for n in (1, 2, 3))
    unbuilt = f'<object id="9">{MESH}</object>'
    assert len(threemf.decode(package(model(OBJECT + others + unbuilt, items)))[1]) == 4


def test_a_file_written_by_lib3mf() -> None:
    """Two objects, a component with a turn and a scale, two items: against lib3mf's own idea of the bounds."""
    lib3mf = pytest.importorskip("lib3mf")
    wrapper = lib3mf.get_wrapper()
    made = wrapper.CreateModel()
    made.SetUnit(lib3mf.ModelUnit.CentiMeter)
    mesh = made.AddMeshObject()
    mesh.SetGeometry(
        [lib3mf.Position((lib3mf.ctypes.c_float * 3)(*row)) for row in TETRA_V.tolist()],
        [lib3mf.Triangle((lib3mf.ctypes.c_uint32 * 3)(*row)) for row in TETRA_F.tolist()],
    )
    both = made.AddComponentsObject()
    both.AddComponent(mesh, wrapper.GetTranslationTransform(1.0, 2.0, 3.0))
    turned = wrapper.GetScaleTransform(1.0, 2.0, -3.0)
    turned.Fields[0][0], turned.Fields[0][1] = 0.0, 1.0
    turned.Fields[1][0], turned.Fields[1][1] = 2.0, 0.0
    both.AddComponent(mesh, turned)
    made.AddBuildItem(both, wrapper.GetTranslationTransform(0.0, 0.0, 50.0))
    made.AddBuildItem(mesh, wrapper.GetIdentityTransform())
    box = made.GetOutbox()
    vertices, faces = threemf.decode(bytes(made.QueryWriter("3mf").WriteToBuffer()))
    np.testing.assert_allclose(vertices.min(axis=0), 10.0 * np.array(list(box.MinCoordinate)), atol=1e-4)
    np.testing.assert_allclose(vertices.max(axis=0), 10.0 * np.array(list(box.MaxCoordinate)), atol=1e-4)
    # determinant of the turned component: |0 1 0; 2 0 0; 0 0 -3| = 6, so not mirrored
    assert volume((vertices, faces)) == pytest.approx(1000.0 * (1 + 6 + 1) * TETRA_VOLUME, rel=1e-5)
