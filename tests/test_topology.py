"""Topology against closed forms, Euler's formula and trimesh (an independent implementation)."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from bandgen.inspection import topology
from bandgen.inspection.topology import Topology, components, measure

FAULTS = (
    "boundary_edges",
    "nonmanifold_edges",
    "misoriented_edges",
    "nonmanifold_vertices",
    "zero_area_faces",
    "inverted",
)


def arrays(mesh: trimesh.Trimesh) -> tuple[np.ndarray, np.ndarray]:
    return np.array(mesh.vertices, dtype=float), np.array(mesh.faces, dtype=np.int64)


def joined(*parts: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    starts = np.cumsum([0] + [len(v) for v, _ in parts[:-1]])
    faces = [f + start for (_, f), start in zip(parts, starts, strict=True)]
    return np.concatenate([v for v, _ in parts]), np.concatenate(faces)


def box(x: float = 0.0, side: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    v, f = arrays(trimesh.creation.box((side, side, side)))
    return v + np.array([x, 0.0, 0.0]), f


def flipped(part: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    return part[0], part[1][:, ::-1]


def faults(found: Topology) -> dict[str, int]:
    return {name: getattr(found, name) for name in FAULTS if getattr(found, name)}


TORUS = trimesh.creation.torus(10.0, 2.0, major_sections=60, minor_sections=40)


@pytest.mark.parametrize(
    ("mesh", "genus"),
    [
        (TORUS, 1),
        (trimesh.creation.annulus(8.0, 10.0, 3.0), 1),
        (trimesh.creation.icosphere(subdivisions=3), 0),
        (trimesh.creation.box(), 0),
        (trimesh.creation.cylinder(1.0, 2.0, sections=700), 0),  # two vertices of valence 700: the general method
    ],
)
def test_a_sound_mesh_agrees_with_trimesh(mesh, genus):
    found = measure(*arrays(mesh))
    assert faults(found) == {}
    assert (found.watertight, found.closed, found.manifold, found.oriented) == (True,) * 4
    assert (found.triangles, found.vertices) == (len(mesh.faces), len(mesh.vertices))
    assert (found.genus, found.bodies, found.cavities) == (genus, 1, 0)
    assert found.euler == mesh.euler_number == 2 - 2 * genus
    assert found.volume == pytest.approx(mesh.volume, rel=1e-12)
    assert found.area == pytest.approx(mesh.area, rel=1e-12)
    assert np.array_equal(found.bounds, mesh.bounds)
    assert all(len(points) == 0 for points in found.places.values())


def test_a_faceted_torus_has_the_volume_of_its_polygons():
    # by hand: a polygon of area A about radius R, turned in n steps with chords for arcs, sweeps n sin(2 pi / n) A R
    n, k = 60, 40
    polygon = k / 2 * 2.0**2 * math.sin(2 * math.pi / k)
    swept = n * math.sin(2 * math.pi / n) * polygon * 10.0
    assert measure(*arrays(TORUS)).volume == pytest.approx(swept, rel=1e-9)


def test_far_from_the_origin_the_volume_keeps_its_digits():
    v, f = box()
    assert measure(v + 1e6, f).volume == pytest.approx(1.0, rel=1e-9)


def test_a_hollow_sphere_is_a_body_with_a_cavity():
    outer, inner = (arrays(trimesh.creation.icosphere(subdivisions=2, radius=r)) for r in (2.0, 1.0))
    found = measure(*joined(outer, flipped(inner)))
    assert (found.watertight, found.bodies, found.cavities, found.inverted) == (True, 2, 1, 0)
    assert found.shell_volumes == pytest.approx([measure(*outer).volume, -measure(*inner).volume], rel=1e-12)
    assert found.genus == 0
    assert np.linalg.norm(found.places["cavities"], axis=1) == pytest.approx([1.0])


def test_a_void_in_a_pin_in_a_void_is_a_cavity_too():
    nested = joined(box(side=8.0), flipped(box(side=6.0)), box(side=4.0), flipped(box(side=2.0)))
    found = measure(*nested)
    assert (found.bodies, found.cavities, found.inverted) == (4, 2, 0)
    assert found.volume == pytest.approx(512 - 216 + 64 - 8, rel=1e-12)


def test_an_inside_out_body_beside_another_or_in_anothers_void_is_inverted():
    assert (measure(*flipped(box())).inverted, measure(*flipped(box())).cavities) == (1, 0)
    found = measure(*joined(box(), flipped(box(5.0))))
    assert (found.inverted, found.cavities, found.watertight) == (1, 0, True)
    assert found.places["inverted"][0, 0] > 4.0
    hollow = joined(box(side=8.0), flipped(box(side=6.0)), flipped(box(side=2.0)))
    assert (measure(*hollow).inverted, measure(*hollow).cavities) == (1, 1)


def test_inside_the_box_about_a_ring_is_not_inside_the_ring():
    found = measure(*joined(arrays(TORUS), flipped(box())))
    assert (found.inverted, found.cavities) == (1, 0)


def test_two_boxes_are_two_bodies():
    found = measure(*joined(box(), box(3.0)))
    assert (found.bodies, found.euler, found.genus, found.watertight) == (2, 4, 0, True)


def test_many_bodies_are_counted_and_weighed_apart():
    # 1000 tetrahedra of rising size, their faces shuffled
    v = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], float)
    f = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    sizes = np.arange(1, 1001) / 1000.0
    vertices, faces = joined(*((v * s + (2.0 * k, 0, 0), f) for k, s in enumerate(sizes)))
    found = measure(vertices, np.random.default_rng(1).permutation(faces))
    assert (found.bodies, found.euler, found.watertight) == (1000, 2000, True)
    assert np.sort(found.shell_volumes) == pytest.approx(sizes**3 / 6.0, rel=1e-6)


def test_a_box_without_a_face_is_open_at_three_edges():
    v, f = box()
    found = measure(v, f[1:])
    assert faults(found) == {"boundary_edges": 3}
    assert (found.closed, found.watertight, found.genus, found.bodies) == (False, False, None, 1)
    edges = v[f[0]], v[np.roll(f[0], -1)]
    middles = (edges[0] + edges[1]) / 2
    assert sorted(map(tuple, found.places["boundary_edges"])) == sorted(map(tuple, middles))


def test_a_flipped_face_is_misoriented_at_its_three_edges():
    v, f = box()
    f[0] = f[0, ::-1]
    found = measure(v, f)
    assert faults(found) == {"misoriented_edges": 3}
    assert (found.closed, found.manifold, found.oriented, found.watertight) == (True, True, False, False)


def test_a_doubled_body_has_four_faces_at_each_edge():
    v, f = box()
    found = measure(v, np.concatenate((f, f)))
    assert (found.nonmanifold_edges, found.boundary_edges, found.manifold) == (18, 0, False)
    apart = measure(*joined((v, f), (v, f)))
    assert (apart.bodies, apart.watertight) == (2, True)  # by its indices, sound: the crossings tell


def test_tetrahedra_at_a_common_vertex_are_a_bow_tie_of_two_bodies():
    v = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1], [-1, 0, 0], [0, -1, 0], [0, 0, -1]], float)
    f = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3], [0, 4, 5], [0, 6, 4], [4, 6, 5], [5, 6, 0]])
    found = measure(v, f)
    assert faults(found) == {"nonmanifold_vertices": 1}
    assert (found.bodies, found.closed, found.watertight, found.genus) == (2, True, False, None)
    assert found.places["nonmanifold_vertices"].tolist() == [[0, 0, 0]]


def test_bow_ties_are_found_among_equal_vertices_of_high_valence():
    # two double cones of 600 sides each that share an apex, and two of 5 (the walk and the general method)
    for sides in (5, 600):
        turn = np.arange(sides) * 2 * np.pi / sides
        rim = np.stack((np.cos(turn), np.sin(turn), 0 * turn), axis=1)
        v = np.concatenate(([[0, 0, -1], [0, 0, 1], [0, 0, 3]], rim, rim + np.array([0, 0, 2])))
        a, b = np.arange(sides) + 3, np.roll(np.arange(sides), -1) + 3
        cones = (0, b, a), (1, a, b), (1, b + sides, a + sides), (2, a + sides, b + sides)
        f = np.concatenate([np.stack((np.full(sides, apex), x, y), axis=1) for apex, x, y in cones])
        found = measure(v, f)
        assert faults(found) == {"nonmanifold_vertices": 1}
        assert found.bodies == 2


def test_boxes_at_a_common_edge_share_it_four_ways():
    v, f = box()
    w = v * (-1, -1, 1) + (1.0, 1.0, 0.0)  # turned half about the edge x = y = 0.5
    both = np.concatenate((v, w))
    welded, index = np.unique(both, axis=0, return_inverse=True)
    found = measure(welded, index.reshape(-1)[np.concatenate((f, f + 8))])
    assert faults(found) == {"nonmanifold_edges": 1}
    assert found.places["nonmanifold_edges"] == pytest.approx(np.array([[0.5, 0.5, 0.0]]))
    assert (found.bodies, found.manifold, found.watertight) == (1, False, False)


def test_zero_area_is_decided_exactly():
    v = np.array([[0, 0, 0], [1, 1, 1], [3, 3, 3], [3, 3, np.nextafter(3, 4)], [0.1, 0.1, 0.1]], float)
    assert measure(v, np.array([[0, 1, 2]])).zero_area_faces == 1
    assert measure(v, np.array([[0, 1, 3]])).zero_area_faces == 0  # one unit in the last place off the line
    assert measure(v, np.array([[0, 4, 1]])).zero_area_faces == 1
    assert measure(v * 1e-200, np.array([[0, 1, 2], [0, 1, 3]])).zero_area_faces == 1
    assert measure(v, np.array([[0, 1, 1], [0, 1, 3]])).zero_area_faces == 1


def test_a_collapsed_face_between_its_neighbours_does_not_open_the_mesh():
    v, f = box()
    found = measure(v, np.concatenate((f, [[f[0, 0], f[0, 0], f[0, 1]]])))
    assert faults(found) == {"zero_area_faces": 1}
    assert (found.watertight, found.triangles, found.euler) == (True, 13, 2)


def test_unused_vertices_count_nowhere():
    v, f = box()
    found = measure(np.concatenate(([[90.0, 90, 90]], v, [[-90.0, 0, 0]])), f + 1)
    assert (found.vertices, found.euler, found.bodies) == (8, 2, 1)
    assert np.array_equal(found.bounds, [[-0.5] * 3, [0.5] * 3])


def test_at_most_five_places_are_kept():
    v, f = joined(*(box(3.0 * k) for k in range(4)))
    found = measure(v, np.delete(f, [0, 12, 24, 36], axis=0))
    assert (found.boundary_edges, found.places["boundary_edges"].shape) == (12, (5, 3))


def test_nothing_is_not_watertight():
    for v, f in (((0, 3), (0, 3)), ((4, 3), (0, 3))):
        found = measure(np.zeros(v), np.zeros(f, int))
        assert (found.triangles, found.bodies, found.watertight, found.volume) == (0, 0, False, 0.0)


def test_the_wrong_input_is_refused_by_name():
    v, f = box()
    with pytest.raises(ValueError, match=r"faces: indices run from 0 to 7, not 0 to 6"):
        measure(v[:-1], f)
    with pytest.raises(ValueError, match=r"faces: indices run from -1"):
        measure(v, f - 1)
    with pytest.raises(ValueError, match=r"vertices: a coordinate is not finite"):
        measure(np.where(v > 0, np.nan, v), f)
    with pytest.raises(ValueError, match=r"faces: dtype is float64"):
        measure(v, f.astype(float))


def test_a_topology_is_frozen_and_the_input_unchanged():
    v, f = box()
    before = v.copy(), f.copy()
    found = measure(v, f)
    assert np.array_equal(v, before[0])
    assert np.array_equal(f, before[1])
    with pytest.raises(FrozenInstanceError):
        found.volume = 2.0


soups = st.lists(st.tuples(*[st.integers(0, 6)] * 3), min_size=1, max_size=30)


@settings(max_examples=150, deadline=None)
@given(soups)
def test_any_soup_agrees_with_a_plain_count(faces):
    v = np.random.default_rng(7).random((7, 3))
    found = measure(v, np.array(faces))
    whole = [face for face in faces if len(set(face)) == 3]
    uses: dict[frozenset[int], list[tuple[int, int, int]]] = {}
    for index, (a, b, c) in enumerate(whole):
        for start, end in ((a, b), (b, c), (c, a)):
            uses.setdefault(frozenset((start, end)), []).append((start, end, index))
    assert found.boundary_edges == sum(len(use) == 1 for use in uses.values())
    assert found.nonmanifold_edges == sum(len(use) > 2 for use in uses.values())
    assert found.misoriented_edges == sum(len(use) == 2 and use[0][0] == use[1][0] for use in uses.values())
    assert found.bodies == _groups(range(len(whole)), [[use[2] for use in group] for group in uses.values()])
    assert found.euler == len({corner for face in whole for corner in face}) - len(uses) + len(whole)
    bow_ties = 0
    for vertex in range(7):
        around = [index for index, face in enumerate(whole) if vertex in face]
        fans = _groups(around, [[use[2] for use in group] for edge, group in uses.items() if vertex in edge])
        bow_ties += fans > 1
    assert found.nonmanifold_vertices == bow_ties


def _groups(members, links) -> int:
    parent = {member: member for member in members}

    def root(x):
        while parent[x] != x:
            x = parent[x]
        return x

    for first, *others in links:
        for other in others:
            parent[root(other)] = root(first)
    return sum(root(x) == x for x in parent)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 60), st.data())
def test_components_agree_with_a_plain_count(count, data):
    ends = st.lists(st.tuples(st.integers(0, count - 1), st.integers(0, count - 1)), max_size=80)
    links = np.array(data.draw(ends), dtype=np.int64).reshape(-1, 2)
    labels, number = components(count, links[:, 0], links[:, 1])
    assert number == _groups(range(count), links.tolist()) == len(np.unique(labels))
    assert np.array_equal(labels[links[:, 0]], labels[links[:, 1]])


def test_the_quick_and_the_general_way_agree(monkeypatch):
    parts = joined(arrays(TORUS), flipped(box(30.0)), box(40.0))
    quick = measure(*parts)
    monkeypatch.setattr(topology, "_find_twins", lambda *_: None)
    slow = measure(*parts)
    for name in Topology.__dataclass_fields__:
        if name != "places":
            assert np.array_equal(getattr(quick, name), getattr(slow, name)), name


def test_twins_are_refused_where_edges_repeat():
    # two equal pillows: every half-edge has two partners, and any count by halves comes out even
    f = np.array([[0, 1, 2], [0, 2, 1]] * 2)
    found = measure(np.eye(3), f)
    assert (found.nonmanifold_edges, found.boundary_edges, found.manifold) == (3, 0, False)
