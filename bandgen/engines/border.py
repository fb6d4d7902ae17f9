"""What a boolean may leave that must not stay in a cell: edges shorter than the files' numbers can tell, and border
vertices that bend nothing where an unequal neighbour has none, so that the two would not join by index."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bandgen.engines.facets import Floats, Ints
from bandgen.engines.mesh import Patch
from bandgen.units import SHORTEST_EDGE_MM, SNAP_MM

STRAIGHT = 1e-6
"""Sine of the angle up to which two edges count as one line."""


def tidied(patch: Patch, planes: tuple[int, ...]) -> Patch:
    """The patch without too short edges, and without idle vertices on the cut ``planes`` (by index)."""
    return straightened(without_short_edges(patch), planes)


def without_short_edges(patch: Patch) -> Patch:
    """The patch with the ends of edges under SHORTEST_EDGE_MM made one, where a corner of one facet has by chance come
    to lie on an edge of another: the engine's own search leaves those where three surfaces meet."""
    start = patch
    while True:  # each turn takes a vertex away
        edges = np.concatenate([patch.faces[:, [corner, (corner + 1) % 3]] for corner in range(3)])
        edges = edges[edges[:, 0] < edges[:, 1]]
        lengths = np.linalg.norm(patch.vertices[edges[:, 0]] - patch.vertices[edges[:, 1]], axis=1)
        merged = next((found for edge in edges[lengths < SHORTEST_EDGE_MM] if (found := _merged(patch, *edge))), None)
        if merged is None:
            break
        patch = merged
    return patch if patch is start else _compact(patch)


def _merged(patch: Patch, one: int, other: int) -> Patch | None:
    """The patch with two neighbouring vertices made one, that on more cut planes; None where this would pinch it. Off
    all planes either may stay: the first at which no face turns over."""
    planes = [{index for index, ids in enumerate(patch.on_plane) if vertex in ids} for vertex in (one, other)]
    if planes[0] < planes[1] or (planes[0] == planes[1] and _later(patch.vertices[one], patch.vertices[other])):
        one, other, planes = other, one, planes[::-1]
    near = [set(patch.faces[(patch.faces == vertex).any(axis=1)].ravel()) - {one, other} for vertex in (one, other)]
    beside = ((patch.faces == one).any(axis=1) & (patch.faces == other).any(axis=1)).sum()
    if not planes[1] <= planes[0] or len(near[0] & near[1]) != beside:
        return None
    if not planes[0] and _turns_over(patch, one, other) and not _turns_over(patch, other, one):
        one, other = other, one
    faces = np.where(patch.faces == other, one, patch.faces)
    kept = faces[(faces == one).sum(axis=1) < 2]
    return replace(patch, faces=kept, on_plane=tuple(ids[ids != other] for ids in patch.on_plane))


def _turns_over(patch: Patch, one: int, other: int) -> bool:
    """Whether any face turns over when ``other`` is moved to ``one``."""
    around = patch.faces[(patch.faces == other).any(axis=1) & (patch.faces != one).all(axis=1)]
    moved = np.where(around == other, one, around)
    before, after = (_normals(patch.vertices, faces) for faces in (around, moved))
    return bool((np.einsum("ij,ij->i", before, after) <= 0.0).any())


def _later(point: Floats, other: Floats) -> bool:
    """An order of points that holds in both cells of a plane: by z, then by distance from the ring's axis."""
    return bool((point[2], np.hypot(*point[:2])) > (other[2], np.hypot(*other[:2])))


def straightened(patch: Patch, planes: tuple[int, ...]) -> Patch:
    """The patch without the vertices on its cut ``planes`` (by index) that lie on a straight stretch of its border and
    in a flat fan of faces."""
    start = patch
    for plane in planes:
        gone: dict[int, tuple[int, int]] = {}
        for vertex, ends in _straight(patch, plane):
            ends = _left_of(gone, ends)
            patch, before = _without(patch, vertex, ends), patch
            if patch is not before:
                gone[vertex] = ends
    return patch if patch is start else _compact(patch)


def _left_of(gone: dict[int, tuple[int, int]], ends: tuple[int, int]) -> tuple[int, int]:
    """The neighbours along a border where some have been taken out: of each of these its own beyond."""
    start, end = ends
    while start in gone:
        start = gone[start][0]
    while end in gone:
        end = gone[end][1]
    return start, end


def _compact(patch: Patch) -> Patch:
    """Without the vertices that no face uses."""
    used = np.zeros(len(patch.vertices), bool)
    used[patch.faces] = True
    number = np.cumsum(used) - 1
    return Patch(patch.vertices[used], number[patch.faces], tuple(number[ids] for ids in patch.on_plane))


def _straight(patch: Patch, plane: int) -> list[tuple[int, tuple[int, int]]]:
    """Vertices of a plane between two border edges in one line, with the other ends of these edges."""
    on = np.zeros(len(patch.vertices), bool)
    on[patch.on_plane[plane]] = True
    edges = np.concatenate([patch.faces[:, [corner, (corner + 1) % 3]] for corner in range(3)])
    edges = edges[on[edges].all(axis=1)]
    directed = {(int(start), int(end)) for start, end in edges}
    border = [edge for edge in directed if edge[::-1] not in directed]
    following = dict(border)
    found = []
    for start, middle in border:
        end = following.get(middle)
        if end is not None and _in_line(*patch.vertices[[start, middle, end]]):
            found.append((middle, (start, end)))
    return sorted(found)


def _in_line(start: Floats, middle: Floats, end: Floats) -> bool:
    one, other = middle - start, end - middle
    lengths = float(np.linalg.norm(one) * np.linalg.norm(other))
    return float(one @ other) > 0.0 and float(np.linalg.norm(np.cross(one, other))) < STRAIGHT * lengths


def _without(patch: Patch, vertex: int, ends: tuple[int, int]) -> Patch:
    """The patch with a vertex moved into one of two others, where its faces lie in one plane and none turns over; else
    as it is."""
    around = np.flatnonzero((patch.faces == vertex).any(axis=1))
    normals = _normals(patch.vertices, patch.faces[around])
    normal = normals[np.argmax(np.linalg.norm(normals, axis=1))]
    normal /= np.linalg.norm(normal)
    fan = patch.vertices[np.unique(patch.faces[around])] - patch.vertices[vertex]
    if np.abs(fan @ normal).max() > SNAP_MM:
        return patch
    for end in ends:
        moved = np.where(patch.faces[around] == vertex, end, patch.faces[around])
        kept = moved[(moved == end).sum(axis=1) < 2]
        if len(kept) and (_normals(patch.vertices, kept) @ normal > SHORTEST_EDGE_MM**2).all():
            faces = np.concatenate((np.delete(patch.faces, around, axis=0), kept))
            return replace(patch, faces=faces, on_plane=tuple(ids[ids != vertex] for ids in patch.on_plane))
    return patch


def _normals(vertices: Floats, faces: Ints) -> Floats:
    a, b, c = vertices[faces].transpose(1, 0, 2)
    return np.cross(b - a, c - a)
