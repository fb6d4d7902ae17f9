"""Sample points on a mesh: small pieces of its faces, normals of the smooth surface behind them, and sharp edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bandgen.engines.facets import Floats, Ints
from bandgen.inspection.topology import Bools

SHARP_DEG = 30.0
"""Faces that meet at more belong to different surfaces: facets of a mesh of 0.005 mm turn by 20 degrees at most on
radii from 0.2 mm, and the sharpest blunt edge of a band, bearing to land, by the 36 degrees of the flattest bearing."""

INSET_MM = 0.0005
"""How far inside its face a point stands."""


@dataclass(frozen=True, eq=False)
class Skin:
    """A mesh's surfaces: ``corners`` (m, 3, 6), each face's corners and the smooth normals there (outward);
    ``patch`` (m,) the number of the smooth surface that a face belongs to; sharp edges as ``ends`` (k, 2, 3), the
    patches on their two sides (k, 2), and whether they are ``convex`` (k,)."""

    corners: Floats
    patch: Ints
    ends: Floats
    sides: Ints
    convex: Bools


@dataclass(frozen=True, eq=False)
class Pieces:
    """Small triangles ``corners`` (n, 3, 3), their middles ``points`` (n, 3) with unit outward ``normals``, and the
    ``face`` (n,) that each is a piece of."""

    corners: Floats
    points: Floats
    normals: Floats
    face: Ints


def read_skin(vertices: Floats, faces: Ints) -> Skin:
    """The surfaces of a mesh, or of an open part of one: ``vertices`` (n, 3), ``faces`` (m, 3), outward."""
    corners = vertices[faces]
    normal = _face_normals(corners)
    one, other, edge = _pairs(faces)
    sharp = np.einsum("ij,ij->i", normal[one], normal[other]) < np.cos(np.radians(SHARP_DEG))
    patch = _patches(len(faces), one[~sharp], other[~sharp])
    beyond = corners[other[sharp]].mean(axis=1) - vertices[edge[sharp, 0]]
    convex = np.einsum("ij,ij->i", beyond, normal[one[sharp]]) < 0.0
    smooth = np.concatenate((corners, _corner_normals(faces, corners, normal)), axis=2)
    return Skin(smooth, patch, vertices[edge[sharp]], patch[np.column_stack((one, other))[sharp]], convex)


def cut_to_pieces(corners: Floats, longest_mm: float) -> Pieces:
    """Faces (m, 3, 6), as in a skin, halved until no edge is longer."""
    pieces, face = _halved(corners, longest_mm)
    middle = pieces.mean(axis=1)
    normals = middle[:, 3:] / np.linalg.norm(middle[:, 3:], axis=1, keepdims=True)
    return Pieces(pieces[:, :, :3], middle[:, :3], normals, face)


def scattered(corners: Floats, spacing_mm: float) -> tuple[Floats, Ints]:
    """Points (n, 3) all over faces (m, 3, 3), and the face (n,) of each: no further apart than the spacing along the
    sides and along lines beside the longest one, half as far apart. No place is further than 0.71 of the spacing from
    a point of its face. Each lies ``INSET_MM`` inside its face, on that one alone."""
    first, c = _longest_first(corners)
    long = np.linalg.norm(first[:, 1] - first[:, 0], axis=1)
    area = np.linalg.norm(np.cross(first[:, 1] - first[:, 0], c - first[:, 0]), axis=1)
    rows = np.maximum(np.ceil(2.0 * area / np.maximum(long, 1e-300) / spacing_mm), 1.0).astype(int)
    face = np.repeat(np.arange(len(corners)), rows)
    share = ((np.arange(len(face)) - np.repeat(np.cumsum(rows) - rows, rows)) / rows[face])[:, None, None]
    lines = first[face] * (1.0 - share) + c[face, None] * share
    sides = np.stack((first, np.broadcast_to(c[:, None], first.shape)), axis=2).reshape(-1, 2, 3)
    points, line = along_edges(np.concatenate((lines, sides)), spacing_mm)
    owner = np.concatenate((face, np.repeat(np.arange(len(corners)), 2)))[line]
    inward = corners.mean(axis=1)[owner] - points
    return points + inward * (INSET_MM / np.maximum(np.linalg.norm(inward, axis=1), INSET_MM))[:, None], owner


def _longest_first(corners: Floats) -> tuple[Floats, Floats]:
    """Of faces (m, 3, 3) the ends of the longest edge (m, 2, 3) and the corner across from it (m, 3)."""
    edges = np.linalg.norm(corners[:, (1, 2, 0)] - corners, axis=2)
    turn = (edges.argmax(axis=1)[:, None] + np.arange(3)) % 3
    turned = corners[np.arange(len(corners))[:, None], turn]
    return turned[:, :2], turned[:, 2]


def _halved(corners: Floats, longest_mm: float) -> tuple[Floats, Ints]:
    """Faces (m, 3, c), whose corners begin with their coordinates, halved across their longest edges until none is
    longer: the pieces (n, 3, c) and the face (n,) of each."""
    done, owners = [], []
    rest, owner = corners, np.arange(len(corners))
    while len(rest):
        edges = np.linalg.norm(rest[:, (1, 2, 0), :3] - rest[:, :, :3], axis=2)
        small = edges.max(axis=1) <= longest_mm
        done.append(rest[small])
        owners.append(owner[small])
        rest, owner, edges = rest[~small], owner[~small], edges[~small]
        turn = (edges.argmax(axis=1)[:, None] + np.arange(3)) % 3
        a, b, c = rest[np.arange(len(rest))[:, None], turn].transpose(1, 0, 2)
        middle = (a + b) / 2.0
        rest = np.concatenate((np.stack((a, middle, c), axis=1), np.stack((middle, b, c), axis=1)))
        owner = np.concatenate((owner, owner))
    return np.concatenate(done), np.concatenate(owners)


def thinned(points: Floats, patch: Ints, cube_mm: float) -> tuple[Ints, Ints]:
    """Of ``points`` (n, 3), those of one ``patch`` (n,) in one cube stand for one another: the numbers (k,) of those
    that stand, and which of these (n,) stands for each."""
    cube = np.floor((points - points.min(axis=0)) / cube_mm).astype(np.int64)
    sides = cube.max(axis=0) + 1
    key = ((patch * sides[0] + cube[:, 0]) * sides[1] + cube[:, 1]) * sides[2] + cube[:, 2]
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    return first, inverse


def along_edges(ends: Floats, spacing_mm: float) -> tuple[Floats, Ints]:
    """Points (n, 3) along edges (k, 2, 3), their ends included, no further apart than the spacing; which edge (n,)."""
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    count = np.ceil(length / spacing_mm).astype(int) + 1
    edge = np.repeat(np.arange(len(ends)), count)
    step = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    share = (step / np.maximum(count[edge] - 1, 1))[:, None]
    points: Floats = ends[edge, 0] * (1.0 - share) + ends[edge, 1] * share
    return points, edge


def _face_normals(corners: Floats) -> Floats:
    a, b, c = corners.transpose(1, 0, 2)
    normal = np.cross(b - a, c - a)
    unit: Floats = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    return unit


def _pairs(faces: Ints) -> tuple[Ints, Ints, Ints]:
    """Of every edge with two faces: the two, and its ends (k, 2)."""
    edges = np.sort(faces[:, ((0, 1), (1, 2), (2, 0))].reshape(-1, 2), axis=1)
    order = np.lexsort(edges.T)
    edges, owner = edges[order], order // 3
    same = np.flatnonzero((edges[1:] == edges[:-1]).all(axis=1))
    return owner[same], owner[same + 1], edges[same]


def _patches(count: int, one: Ints, other: Ints) -> Ints:
    """The connected component of each of ``count`` faces that are joined in pairs."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    joined = coo_array((np.ones(len(one), bool), (one, other)), shape=(count, count))
    patch: Ints = connected_components(joined, directed=False)[1]
    return patch


def _corner_normals(faces: Ints, corners: Floats, normal: Floats) -> Floats:
    """Normal (m, 3, 3) at each corner of each face: the mean of the faces round it that turn from this one by no more
    than ``SHARP_DEG``, weighted by their angles there."""
    angle = _corner_angles(corners).ravel()
    order = np.argsort(faces.ravel(), kind="stable")
    vertex = faces.ravel()[order]
    first = np.searchsorted(vertex, vertex, side="left")
    size = np.searchsorted(vertex, vertex, side="right") - first
    mine = np.repeat(np.arange(len(order)), size)
    step = np.arange(len(mine)) - np.repeat(np.cumsum(size) - size, size)
    mine, near = order[mine], order[first[mine] + step]
    alike = np.einsum("ij,ij->i", normal[mine // 3], normal[near // 3]) > np.cos(np.radians(SHARP_DEG))
    mine, near = mine[alike], near[alike]
    weighted = normal[near // 3] * angle[near, None]
    total = np.column_stack([np.bincount(mine, weighted[:, axis], len(order)) for axis in range(3)])
    unit: Floats = (total / np.linalg.norm(total, axis=1, keepdims=True)).reshape(-1, 3, 3)
    return unit


def _corner_angles(corners: Floats) -> Floats:
    on, back = corners[:, (1, 2, 0)] - corners, corners[:, (2, 0, 1)] - corners
    angle: Floats = np.arctan2(np.linalg.norm(np.cross(on, back), axis=2), np.einsum("ijk,ijk->ij", on, back))
    return angle
