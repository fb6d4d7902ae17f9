"""Border vertices that bend nothing: a boolean may leave one on a straight edge of one cell where its unequal neighbour
has none, and the two would not join by index."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bandgen.engines.facets import Floats, Ints
from bandgen.engines.mesh import Patch
from bandgen.units import SHORTEST_EDGE_MM

FLAT = 1e-6
"""Sine of the angle up to which two faces count as one plane, or two edges as one line."""


def straightened(patch: Patch, planes: tuple[int, ...]) -> Patch:
    """The patch without the vertices on its cut ``planes`` (by index) that lie on a straight stretch of its border and
    in a flat fan of faces."""
    start = patch
    for plane in planes:
        for vertex, ends in _straight(patch, plane):
            patch = _without(patch, vertex, ends)
    return patch if patch is start else _compact(patch)


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
    return float(one @ other) > 0.0 and float(np.linalg.norm(np.cross(one, other))) < FLAT * lengths


def _without(patch: Patch, vertex: int, ends: tuple[int, int]) -> Patch:
    """The patch with a vertex moved into one of two others, where that changes no face's plane; else as it is."""
    around = np.flatnonzero((patch.faces == vertex).any(axis=1))
    before = _normals(patch.vertices, patch.faces[around])
    if not _one_plane(before):
        return patch
    for end in ends:
        moved = np.where(patch.faces[around] == vertex, end, patch.faces[around])
        kept = moved[(moved == end).sum(axis=1) < 2]
        after = _normals(patch.vertices, kept)
        if (
            len(kept)
            and (np.linalg.norm(after, axis=1) > SHORTEST_EDGE_MM**2).all()
            and (after @ before[0] > 0.0).all()
        ):
            faces = np.concatenate((np.delete(patch.faces, around, axis=0), kept))
            return replace(patch, faces=faces, on_plane=tuple(ids[ids != vertex] for ids in patch.on_plane))
    return patch


def _normals(vertices: Floats, faces: Ints) -> Floats:
    a, b, c = vertices[faces].transpose(1, 0, 2)
    return np.cross(b - a, c - a)


def _one_plane(normals: Floats) -> bool:
    """Whether all normals (n, 3), of any length but 0, point one way."""
    lengths = np.linalg.norm(normals, axis=1)
    if not (lengths > 0.0).all():
        return False
    units = normals / lengths[:, None]
    return bool((np.linalg.norm(np.cross(units, units[0]), axis=1) < FLAT).all() and (units @ units[0] > 0.0).all())
