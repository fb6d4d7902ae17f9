"""Binary STL: the layout byte by byte, an independent reader, and files that are no STL."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from bandgen.errors import ExportError, FileFault
from bandgen.exporters import stl

# Written out here once more, from the format's description (shared/trade-facts.md section 6).
LAYOUT = np.dtype(
    [("n", "<f4", 3), ("a", "<f4", 3), ("b", "<f4", 3), ("c", "<f4", 3), ("attribute", "<u2")], align=False
)

TETRA_V = np.array([[0.0, 0.0, 0.0], [1.5, 0.0, 0.0], [0.0, 2.25, 0.0], [0.0, 0.0, 3.1]])
TETRA_F = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])


@pytest.fixture(scope="module")
def ring() -> trimesh.Trimesh:
    """A torus of a ring's size, tilted so that no coordinate is a round number."""
    mesh = trimesh.creation.torus(9.0, 1.2, major_sections=60, minor_sections=20)
    mesh.apply_transform(trimesh.transformations.euler_matrix(0.3, 0.5, 0.7))
    return mesh


def records(data: bytes) -> np.ndarray:
    return np.frombuffer(data, LAYOUT, offset=84)


def test_length_is_84_and_50_per_triangle(ring: trimesh.Trimesh) -> None:
    assert len(stl.encode(ring.vertices, ring.faces, "ring")) == 84 + 50 * len(ring.faces)
    assert len(stl.encode(TETRA_V, TETRA_F, "t")) == 284


def test_one_triangle_byte_by_byte() -> None:
    data = stl.encode([[0, 0, 0], [1, 0, 0], [0, 2, 0]], [[0, 1, 2]], "bandgen 1")
    expected = b"bandgen 1".ljust(80) + b"\x01\0\0\0"
    zero, one, two = b"\0\0\0\0", b"\0\0\x80\x3f", b"\0\0\0\x40"  # IEEE 754 single, little-endian
    expected += zero + zero + one  # normal +z
    expected += zero * 3 + one + zero * 2 + zero + two + zero + b"\0\0"
    assert data == expected


def test_every_normal_is_that_of_the_corners_as_written(ring: trimesh.Trimesh) -> None:
    found = records(stl.encode(ring.vertices, ring.faces, "ring"))
    a, b, c = (found[key].astype(np.float64) for key in "abc")
    normals = np.cross(b - a, c - a)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    assert np.abs(found["n"] - normals).max() < 1e-7  # half a unit in the last place of float32 below 1: 3e-8
    assert np.einsum("ij,ij->", a, np.cross(b, c)) > 0.0
    assert not found["attribute"].any()


def test_trimesh_reads_the_same_triangles(ring: trimesh.Trimesh) -> None:
    data = stl.encode(ring.vertices, ring.faces, "ring")
    read = trimesh.load(trimesh.util.wrap_as_stream(data), file_type="stl", process=False)
    np.testing.assert_array_equal(read.triangles, ring.vertices.astype(np.float32)[ring.faces])
    read.merge_vertices()
    assert read.is_volume
    assert read.volume == pytest.approx(ring.volume, rel=1e-6)


def test_round_trip_gives_every_vertex_and_index(ring: trimesh.Trimesh) -> None:
    before = ring.vertices.copy(), ring.faces.copy()
    first, faces = stl.decode(stl.encode(ring.vertices, ring.faces, "ring"))
    np.testing.assert_array_equal(first[faces], ring.vertices.astype(np.float32)[ring.faces])
    assert len(first) == len(ring.vertices)
    assert stl.encode(first, faces, "ring") == stl.encode(ring.vertices, ring.faces, "ring")
    again, same = stl.decode(stl.encode(first, faces, "ring"))
    np.testing.assert_array_equal(again, first)
    np.testing.assert_array_equal(same, faces)
    np.testing.assert_array_equal(ring.vertices, before[0])  # the input is unchanged
    np.testing.assert_array_equal(ring.faces, before[1])


def test_degenerate_triangle_keeps_its_place_and_has_no_normal() -> None:
    data = stl.encode([[0, 0, 0], [1, 1, 1], [2, 2, 2], [0, 5, 0]], [[0, 1, 2], [0, 1, 3]], "t")
    assert not records(data)["n"][0].any()
    vertices, faces = stl.decode(data)
    assert faces.tolist() == [[0, 1, 2], [0, 1, 3]]
    assert vertices.tolist() == [[0, 0, 0], [1, 1, 1], [2, 2, 2], [0, 5, 0]]


def test_minus_zero_is_zero() -> None:
    assert stl.encode(-TETRA_V * 0.0 - TETRA_V, TETRA_F, "t") == stl.encode(-TETRA_V + 0.0, TETRA_F, "t")
    raw = bytearray(stl.encode(TETRA_V, TETRA_F, "t"))
    assert raw[84 + 12 : 84 + 24] == bytes(12)  # first corner is the origin: give it a minus sign
    raw[84 + 15] = 0x80
    vertices, _ = stl.decode(bytes(raw))
    assert len(vertices) == 4
    assert not np.signbit(vertices).any()


@pytest.mark.parametrize("title", ["solid gold", "SOLID", "  solid", "ring ½ é", "x" * 200, "a\nb", ""])
def test_header_is_80_plain_bytes_that_do_not_say_solid(title: str) -> None:
    data = stl.encode(TETRA_V, TETRA_F, title)
    assert len(data) == 284
    assert not data[:80].lower().lstrip().startswith(b"solid")
    assert all(32 <= byte < 127 for byte in data[:80])


def test_header_is_the_title() -> None:
    assert stl.encode(TETRA_V, TETRA_F, "Band one, bandgen 0.1")[:80].rstrip() == b"Band one, bandgen 0.1"


@pytest.mark.parametrize(
    ("vertices", "faces", "says"),
    [
        (TETRA_V, np.zeros((0, 3), int), "no triangle"),
        (TETRA_V[:, :2], TETRA_F, "not (n, 3)"),
        (TETRA_V, TETRA_F[:, :2], "not (n, 3)"),
        (TETRA_V, TETRA_F + 1, "outside its 4"),
        (TETRA_V, TETRA_F - 1, "outside its 4"),
        (TETRA_V * np.nan, TETRA_F, "not a finite"),
        (TETRA_V * 1e39, TETRA_F, "not a finite"),
    ],
)
def test_what_is_no_mesh_is_not_written(vertices: np.ndarray, faces: np.ndarray, says: str) -> None:
    with pytest.raises(ExportError, match=says.replace("(", r"\(").replace(")", r"\)")):
        stl.encode(vertices, faces, "t")


SCRIPT = """
import hashlib, math
from bandgen.exporters import stl, threemf
v = [(math.cos(k) * 9.1, math.sin(k) * 9.1, k / 7 - 2) for k in range(40)]
f = [(k, (k * 7 + 1) % 40, (k * 11 + 2) % 40) for k in range(40)]
metadata = {key: "1.5" for key in {"Title", "seed", "width", "Application"}}
print(hashlib.sha256(stl.encode(v, f, "band")).hexdigest())
print(hashlib.sha256(threemf.encode(v, f, "band", metadata)).hexdigest())
"""


def test_bytes_do_not_depend_on_hash_seed_locale_or_time_zone() -> None:
    surroundings = [
        {"PYTHONHASHSEED": "1", "LC_ALL": "C", "TZ": "UTC"},
        {"PYTHONHASHSEED": "77", "LC_ALL": "C.UTF-8", "LANG": "de_DE.UTF-8", "TZ": "Asia/Kathmandu"},
    ]
    runs = [
        subprocess.Popen([sys.executable, "-c", SCRIPT], env={**os.environ, **extra}, stdout=subprocess.PIPE)
        for extra in surroundings
    ]
    outputs = [run.communicate()[0] for run in runs]
    assert [run.returncode for run in runs] == [0, 0]
    assert outputs[0] == outputs[1]
    assert len(outputs[0].split()) == 2


# ------------------------------------------------------------------------------------------ others' files


def test_ascii_written_by_trimesh(ring: trimesh.Trimesh) -> None:
    text = ring.export(file_type="stl_ascii")
    vertices, faces = stl.decode(text.encode())
    assert faces.shape == ring.faces.shape
    assert trimesh.Trimesh(vertices, faces, process=False).is_watertight
    np.testing.assert_allclose(vertices[faces], ring.triangles, atol=1e-6)  # float32 at 10 mm: 5e-7


ASCII = """solid a b c
  facet normal 0 0 1
    outer loop
      vertex 0 0 0
      vertex 1.5e0 0 0
      VERTEX 0 +2 -0
    endloop
  endfacet
endsolid a b c
"""


@pytest.mark.parametrize("text", [ASCII, ASCII.replace("\n", "\r\n"), "\n " + ASCII, ASCII + "\n\n", ASCII.upper()])
def test_ascii_variants(text: str) -> None:
    vertices, faces = stl.decode(text.encode())
    assert vertices.tolist() == [[0, 0, 0], [1.5, 0, 0], [0, 2, 0]]
    assert faces.tolist() == [[0, 1, 2]]


def test_two_ascii_solids_in_one_file_are_read_together() -> None:
    assert stl.decode((ASCII + ASCII).encode())[1].tolist() == [[0, 1, 2], [0, 1, 2]]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("vertex 0 0 0", "vertex 0 0 x", "no number"),
        ("vertex 0 0 0", "vertex 0 0 0,5", "no number"),
        ("vertex 0 0 0", "vertex 0 0", "whole triangles"),
        ("vertex 0 0 0", "vertex 0 0 nan", "finite"),
        ("vertex 0 0 0", "vertex 0 0 1e60", "finite"),
        ("vertex 0 0 0", "vertex 0 0 0\nvertex 0 0 0", "whole triangles"),
        ("endfacet", "", "whole triangles"),
        ("endsolid", "end", "endsolid"),
    ],
)
def test_broken_ascii_says_why(old: str, new: str, says: str) -> None:
    with pytest.raises(FileFault, match=says):
        stl.decode(ASCII.replace(old, new, 1).encode())


def test_ascii_without_facets_holds_no_triangle() -> None:
    with pytest.raises(FileFault, match="no triangle"):
        stl.decode(b"solid x\nendsolid x\n")


def test_binary_whose_header_says_solid() -> None:
    data = b"solid by others".ljust(80) + stl.encode(TETRA_V, TETRA_F, "t")[80:]
    assert stl.decode(data)[1].shape == (4, 3)


def test_normals_and_attributes_of_others_are_ignored() -> None:
    raw = bytearray(stl.encode(TETRA_V, TETRA_F, "t"))
    raw[84:96] = np.full(3, np.nan, "<f4").tobytes()
    raw[84 + 48 : 84 + 50] = b"\xff\xff"
    assert len(stl.decode(bytes(raw))[0]) == 4


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "too few"),
        (b"hello", "too few"),
        (bytes(84), "no triangle"),
        (b"%PDF-1.7 and much more text" * 9, "not an STL"),
        (stl.encode(TETRA_V, TETRA_F, "t")[:-1], "truncated: as a binary STL of 4 triangles it would have 284"),
        (stl.encode(TETRA_V, TETRA_F, "t") + b"\0", "too long.*has 285"),
        (b"solid but cut".ljust(80) + stl.encode(TETRA_V, TETRA_F, "t")[80:-1], "truncated"),
        (stl.encode(TETRA_V, TETRA_F, "t")[:-14] + b"\0\0\x80\x7f" + bytes(10), "triangle 3.*not a finite"),
    ],
)
def test_what_is_no_stl_says_why(data: bytes, says: str) -> None:
    with pytest.raises(FileFault, match=says):
        stl.decode(data)


@pytest.mark.parametrize("data", [stl.encode(TETRA_V, TETRA_F, "t"), ASCII.encode()], ids=["binary", "ascii"])
def test_any_truncation_and_any_flipped_byte_reads_or_is_a_file_fault(data: bytes) -> None:
    damaged = [data[:end] for end in range(len(data))]
    damaged += [data[:k] + bytes([data[k] ^ mask]) + data[k + 1 :] for k in range(len(data)) for mask in (1, 128, 255)]
    faults = sum(_faulty(each) for each in damaged)
    assert faults >= len(data) - 20  # nearly every truncation; an ASCII name or line end may be cut unnoticed


def _faulty(data: bytes) -> bool:
    try:
        vertices, faces = stl.decode(data)
    except FileFault:
        return True
    assert np.isfinite(vertices).all()
    assert faces.min() >= 0
    assert faces.max() < len(vertices)
    return False


# ----------------------------------------------------------------------------------------------- welding

FEW = st.sampled_from([0.0, -0.0, 1.0, -1.0, 1e-45, 1.0000001, 3e38])


@settings(max_examples=60, deadline=None)
@given(arrays.arrays(np.float32, st.integers(1, 40).map(lambda m: (3 * m, 3)), elements=FEW.map(np.float32)))
def test_weld_is_exact_and_in_order_of_appearance(corners: np.ndarray) -> None:
    """Against a plain dictionary."""
    seen: dict[tuple[float, ...], int] = {}
    expected = [seen.setdefault(tuple(row), len(seen)) for row in corners.tolist()]  # -0.0 == 0.0 and hashes alike
    vertices, faces = stl.weld(corners)
    assert faces.ravel().tolist() == expected
    assert [tuple(row) for row in vertices.tolist()] == list(seen)


def test_weld_of_random_grid_agrees_with_numpy() -> None:
    rng = np.random.default_rng(5)
    corners = rng.integers(0, 12, (30_000, 3)).astype(np.float32) / np.float32(7)
    vertices, faces = stl.weld(corners)
    np.testing.assert_array_equal(vertices[faces].reshape(-1, 3), corners)
    assert len(vertices) == len(np.unique(corners, axis=0))
