"""Crossings against an exact rational count of another make, pymeshlab, and cases known by construction."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest
import trimesh

from bandgen.inspection import crossings
from bandgen.inspection.crossings import crossing_faces

# ------------------------------------------------------------------------------------------- the exact oracle
# The corners of what two triangles have in common are corners of one inside the other, points where a side runs
# through the other's plane, or points where two sides meet. All of them, as fractions; each must be allowed.

Exact = tuple[Fraction, ...]


def minus(a, b) -> Exact:
    return tuple(x - y for x, y in zip(a, b, strict=True))


def cross(a, b) -> Exact:
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def dot(a, b) -> Fraction:
    return sum((x * y for x, y in zip(a, b, strict=True)), Fraction(0))


def sides(triangle):
    a, b, c = triangle
    return (a, b), (b, c), (c, a)


def on_side(p, a, b) -> bool:
    u, v = minus(p, a), minus(p, b)
    return not any(cross(u, v)) and dot(u, v) <= 0


def inside(p, triangle) -> bool:
    a, b, c = triangle
    normal = cross(minus(b, a), minus(c, a))
    if not any(normal):
        return any(on_side(p, *side) for side in sides(triangle))
    if dot(normal, minus(p, a)):
        return False
    return all(dot(normal, cross(minus(end, start), minus(p, start))) >= 0 for start, end in sides(triangle))


def through(side, triangle):
    a, b, c = triangle
    normal = cross(minus(b, a), minus(c, a))
    p, q = side
    high, low = dot(normal, minus(p, a)), dot(normal, minus(q, a))
    if high * low < 0:
        hit = tuple(x + high / (high - low) * (y - x) for x, y in zip(p, q, strict=True))
        if inside(hit, triangle):
            yield hit


def meeting(side, other):
    (a, b), (c, d) = side, other
    u, v, w = minus(b, a), minus(d, c), minus(c, a)
    normal = cross(u, v)
    if not any(normal) or dot(normal, w):
        return  # parallel: their ends are looked at as corners
    s, t = (dot(cross(w, x), normal) / dot(normal, normal) for x in (v, u))
    if 0 <= s <= 1 and 0 <= t <= 1:
        yield tuple(x + s * y for x, y in zip(a, u, strict=True))


def common(one, two):
    yield from (p for p in one if inside(p, two))
    yield from (p for p in two if inside(p, one))
    for side in sides(one):
        yield from through(side, two)
        for other in sides(two):
            yield from meeting(side, other)
    for side in sides(two):
        yield from through(side, one)


def exact_crossings(vertices, faces) -> list[list[int]]:
    points = [tuple(Fraction(x) for x in point) for point in np.asarray(vertices, float).tolist()]
    pairs = []
    for i, j in itertools.combinations(range(len(faces)), 2):
        one, two = [points[k] for k in faces[i]], [points[k] for k in faces[j]]
        if min(len(set(one)), len(set(two))) < 3:
            continue
        shared = list(set(one) & set(two))
        allowed = (lambda p, s=shared: on_side(p, *s)) if len(shared) == 2 else shared.__contains__
        if len(shared) == 3 or not all(map(allowed, common(one, two))):
            pairs.append([i, j])
    return pairs


def soups(kind: str, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    count = int(rng.integers(4, 12))
    grid = rng.integers(0, 4, (count, 3)).astype(float)
    nudge = np.nextafter(grid, rng.choice([-9.0, 9.0], grid.shape))
    vertices = {
        "general": rng.random((count, 3)),
        "grid": grid,
        "tenths": grid * 0.1,
        "nudged": np.where(rng.random(grid.shape) < 0.2, nudge, grid),
        "plane": rng.integers(0, 6, (count, 3)) * (1.0, 1.0, 0.0) + rng.random(3),
        "needles": rng.random((count, 3)) * (1.0, 1e-9, 1e-12) + 7.0,
        "tiny": grid * 1e-250,
        "huge": grid * 1e200,
    }[kind]
    return vertices, rng.integers(0, count, (int(rng.integers(2, 14)), 3))


KINDS = ("general", "grid", "tenths", "nudged", "plane", "needles", "tiny", "huge")


@pytest.mark.parametrize("kind", KINDS)
def test_random_soups_agree_with_fractions(kind):
    rng = np.random.default_rng(KINDS.index(kind))
    crossed = 0
    for trial in range(12):
        vertices, faces = soups(kind, rng)
        expected = exact_crossings(vertices, faces)
        assert crossing_faces(vertices, faces).tolist() == expected, (kind, trial)
        crossed += len(expected)
    assert crossed > 8


# ------------------------------------------------------------------------------------------------- by hand


def pair(one, two) -> int:
    """Crossings of two triangles given by their corners (equal corners are one vertex)."""
    found = crossing_faces(np.array([*one, *two], float), np.array([[0, 1, 2], [3, 4, 5]]))
    assert found.shape in ((0, 2), (1, 2))
    return len(found)


FLAT = ((0, 0, 0), (4, 0, 0), (0, 4, 0))
UP = np.nextafter(0.0, 1.0)

CASES = {
    "far apart": (0, ((9, 9, 9), (10, 9, 9), (9, 10, 9))),
    "parallel above": (0, ((0, 0, 1), (4, 0, 1), (0, 4, 1))),
    "through the middle": (1, ((1, 1, -1), (1, 1, 1), (3, 3, 1))),
    "coplanar, overlapping": (1, ((1, 1, 0), (5, 1, 0), (1, 5, 0))),
    "coplanar, within": (1, ((1, 1, 0), (2, 1, 0), (1, 2, 0))),
    "coplanar, apart though the boxes touch": (0, ((3, 3, 0), (4, 3, 0), (4, 4, 0))),
    "corner on the inside": (1, ((1, 1, 0), (1, 1, 5), (2, 1, 5))),
    "corner just off the inside": (0, ((1, 1, UP), (1, 1, 5), (2, 1, 5))),
    "corner just through the inside": (1, ((1, 1, -UP), (1, 1, 5), (2, 1, 5))),
    "corner on a side": (1, ((2, 0, 0), (2, -1, 5), (3, -1, 5))),
    "side across a side": (1, ((2, -1, -1), (2, 1, 1), (2, -5, 1))),
    "side past a side by one place": (0, ((2, -1, -1), (2, np.nextafter(1, 0), 1), (2, -5, 1))),
    "common corner": (0, ((0, 0, 0), (-4, 0, 0), (0, -4, 0))),
    "common corner, upright on a side's line": (0, ((0, 0, 0), (-1, 0, 0), (0, 0, 1))),
    "common corner, along a side": (1, ((0, 0, 0), (2, 0, 0), (0, 0, 1))),
    "common corner, just off that side": (0, ((0, 0, 0), (2, 0, UP), (0, 0, 1))),
    "common corner, through the face": (1, ((0, 0, 0), (2, 2, 1), (2, 2, -1))),
    "common corner, its far side through a side": (1, ((0, 0, 0), (5, 5, 1), (5, 5, -1))),
    "common corner, coplanar overlapping": (1, ((0, 0, 0), (1, 2, 0), (2, 1, 0))),
    "common corner, touching the far side": (1, ((0, 0, 0), (2, 2, 0), (0, 0, 1))),
    "common side, unfolded": (0, ((4, 0, 0), (0, 0, 0), (0, -4, 0))),
    "common side, bent": (0, ((4, 0, 0), (0, 0, 0), (0, 4, 1))),
    "common side, bent nearly shut": (0, ((4, 0, 0), (0, 0, 0), (1, 3, UP))),
    "common side, folded": (1, ((4, 0, 0), (0, 0, 0), (1, 3, 0))),
    "common side, folded, run the same way": (1, ((0, 0, 0), (4, 0, 0), (1, 3, 0))),
    "the same face": (1, FLAT),
    "the same face, reversed": (1, FLAT[::-1]),
    "needle through": (1, ((1, 1, -1), (1, 1, 1e6), (1 + 1e-9, 1, 1e6))),
    "needle beside": (0, ((-1e-9, 1, -1), (-1e-9, 1, 1e6), (-2e-9, 1, 1e6))),
    "without area, within": (1, ((1, 1, 0), (2, 2, 0), (1.5, 1.5, 0))),
    "without area, on a common side and no further": (0, ((0, 0, 0), (4, 0, 0), (7, 0, 0))),
    "without area, along a side": (1, ((0, 0, 0), (3, 0, 0), (7, 0, 0))),
    "without area, its middle a common corner": (0, ((-1, -1, 1), (0, 0, 0), (1, 1, -1))),
    "a repeated corner is no face": (0, ((1, 1, -1), (1, 1, 1), (1, 1, 1))),
}


@pytest.mark.parametrize("name", CASES)
def test_two_faces(name):
    expected, other = CASES[name]
    for turn in range(3):  # whichever corner comes first, and whichever face
        one, two = np.roll(FLAT, turn, axis=0), np.roll(other, -turn, axis=0)
        assert pair(one, two) == pair(two, one) == expected
        assert pair(one[:, [1, 2, 0]], two[:, [1, 2, 0]]) == expected


def test_a_bow_tie_at_one_place_is_proper_and_a_leaf_in_a_face_is_not():
    tetrahedron = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], float)
    f = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    both = np.concatenate((f, f + 4))
    assert len(crossing_faces(np.concatenate((tetrahedron, -tetrahedron)), both)) == 0
    touching = np.concatenate((tetrahedron, tetrahedron * (1, 1, -1) * 2 - (0.25, 0.25, 0)))
    assert {1, 2, 3} >= set(crossing_faces(touching, both)[:, 0].tolist()) - {0}
    assert crossing_faces(touching, both).tolist() == exact_crossings(touching, both)


def test_two_interpenetrating_tetrahedra():
    v = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], float)
    f = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    both = np.concatenate((v, v * 0.9 + 0.15))
    found = crossing_faces(both, np.concatenate((f, f + 4)))
    assert found.tolist() == exact_crossings(both, np.concatenate((f, f + 4)))
    assert (found[:, 0] < 4).all()
    assert (found[:, 1] >= 4).all()


def test_minus_zero_is_zero():
    assert pair(FLAT, ((-0.0, -0.0, -0.0), (-4, 0, 0), (0, -4, -0.0))) == 0


# ------------------------------------------------------------------------------------------- against pymeshlab


def pymeshlab_faces(vertices: np.ndarray, faces: np.ndarray) -> list[int]:
    pymeshlab = pytest.importorskip("pymeshlab")
    meshes = pymeshlab.MeshSet()
    meshes.add_mesh(pymeshlab.Mesh(vertices, faces))
    meshes.compute_selection_by_self_intersections_per_face()
    return np.flatnonzero(meshes.current_mesh().face_selection_array()).tolist()


def torus(major: int, minor: int) -> tuple[np.ndarray, np.ndarray]:
    mesh = trimesh.creation.torus(10.0, 2.0, major_sections=major, minor_sections=minor)
    return np.array(mesh.vertices, dtype=float), np.array(mesh.faces, dtype=np.int64)


@pytest.mark.parametrize("seed", range(3))
def test_a_dented_torus_has_the_faces_that_pymeshlab_names(seed):
    v, f = torus(60, 30)
    rng = np.random.default_rng(seed)
    for vertex in rng.choice(len(v), 4, replace=False):
        v[vertex] *= rng.uniform(0.55, 0.75)  # through the tube's far wall or near it
    found = crossing_faces(v, f)
    assert np.unique(found).tolist() == pymeshlab_faces(v, f)
    assert len(found) > 0


def test_two_spheres_have_the_faces_that_pymeshlab_names():
    one = trimesh.creation.icosphere(subdivisions=3)
    v = np.concatenate((one.vertices, one.vertices @ [[0.8, 0.6, 0], [-0.6, 0.8, 0], [0, 0, 1]] + (0.7, 0.1, 0.2)))
    f = np.concatenate((one.faces, one.faces + len(one.vertices)))
    found = crossing_faces(v, f)
    assert np.unique(found).tolist() == pymeshlab_faces(v, f)
    assert len(found) > 100


# ------------------------------------------------------------------------------------------------ whole meshes


@pytest.mark.parametrize(
    "mesh",
    [
        trimesh.creation.torus(10.0, 2.0, major_sections=80, minor_sections=40),
        trimesh.creation.annulus(8.0, 10.0, 3.0, sections=300),  # coplanar sides, needles, all boxes large
        trimesh.creation.icosphere(subdivisions=4),
        trimesh.creation.box().subdivide().subdivide().subdivide(),  # coplanar, on a grid
        trimesh.creation.cylinder(1.0, 2.0, sections=150),  # fans of needles
        trimesh.creation.cone(1.0, 50.0, sections=150),
    ],
)
def test_sound_meshes_are_clean_in_double_and_single_precision(mesh):
    assert len(crossing_faces(np.array(mesh.vertices), np.array(mesh.faces))) == 0
    assert len(crossing_faces(np.array(mesh.vertices, np.float32), np.array(mesh.faces, np.int32))) == 0


def test_a_large_ring_is_clean_and_a_vertex_pushed_through_is_found():
    v, f = torus(160, 60)  # 19,200 faces
    assert len(crossing_faces(v, f)) == 0
    pushed = int(np.argmax(v[:, 0]))
    v[pushed] = (7.0, 0.0, 0.3)  # from the outside of the tube through its inside at x = 8
    found = crossing_faces(v, f)
    around = set(np.flatnonzero((f == pushed).any(axis=1)).tolist())
    assert len(found) > 0
    assert all(around & set(couple) for couple in found.tolist())
    # pymeshlab names the same faces, and a fraction of the pairs is enough to have each proved by fractions
    assert np.unique(found).tolist() == pymeshlab_faces(v, f)
    assert all(exact_crossings(v, f[couple]) for couple in found[::5].tolist())


def test_equal_places_are_one_vertex_whatever_their_index():
    v, f = torus(20, 12)
    soup = v[f].reshape(-1, 3), np.arange(3 * len(f)).reshape(-1, 3)
    assert len(crossing_faces(*soup)) == 0
    v[5] *= 0.5
    assert np.array_equal(crossing_faces(v[f].reshape(-1, 3), soup[1]), crossing_faces(v, f))


def test_a_subset_gives_the_pairs_it_takes_part_in():
    rng = np.random.default_rng(3)
    v, f = rng.random((60, 3)), rng.integers(0, 60, (120, 3))
    whole = crossing_faces(v, f)
    for size in (0, 1, 10, 120):
        subset = rng.choice(120, size, replace=False)
        expected = whole[np.isin(whole, subset).any(axis=1)]
        assert np.array_equal(crossing_faces(v, f, subset), expected)
    assert len(whole) > 500


def test_one_pitch_of_a_ring_sees_a_fault_that_every_pitch_has():
    v, f = torus(40, 16)
    v[::16] *= 0.6  # every section's first vertex through the tube
    whole, pitch = crossing_faces(v, f), crossing_faces(v, f, np.arange(32))
    assert 0 < len(pitch) < len(whole)


def test_batches_do_not_matter(monkeypatch):
    rng = np.random.default_rng(4)
    v, f = rng.random((20, 3)), rng.integers(0, 20, (30, 3))
    whole = crossing_faces(v, f)
    monkeypatch.setattr(crossings, "_BATCH", 7)
    assert np.array_equal(crossing_faces(v, f), whole)


def test_the_floats_decide_as_the_integers_do(monkeypatch):
    rng = np.random.default_rng(5)
    v, f = rng.random((40, 3)), rng.integers(0, 40, (90, 3))
    whole = crossing_faces(v, f)
    for name in ("_beside", "_apart", "_apart_at_corner", "_unfolded", "_pierce"):
        monkeypatch.setattr(crossings, name, lambda mesh, i, *_: np.zeros(len(i), bool))
    assert np.array_equal(crossing_faces(v, f), whole)


def test_few_pairs_are_left_to_the_integers(monkeypatch):
    asked = []
    judge = crossings._meet_improperly
    monkeypatch.setattr(crossings, "_meet_improperly", lambda *pair: asked.append(1) or judge(*pair))
    for mesh in (trimesh.creation.annulus(8.0, 10.0, 3.0, sections=300), trimesh.creation.box().subdivide()):
        crossing_faces(np.array(mesh.vertices), np.array(mesh.faces))
    assert len(asked) == 0


def test_nothing_and_one_face_do_not_cross():
    assert crossing_faces(np.zeros((0, 3)), np.zeros((0, 3), int)).shape == (0, 2)
    assert crossing_faces(np.eye(3), np.array([[0, 1, 2]])).shape == (0, 2)
    assert crossing_faces(np.eye(3), np.array([[0, 1, 2]]), np.array([], int)).shape == (0, 2)


def test_the_wrong_input_is_refused_and_the_right_one_unchanged():
    with pytest.raises(ValueError, match="not finite"):
        crossing_faces(np.full((3, 3), np.inf), np.array([[0, 1, 2]]))
    v, f = torus(8, 6)
    before = v.copy(), f.copy()
    crossing_faces(v, f)
    assert np.array_equal(v, before[0])
    assert np.array_equal(f, before[1])
