"""How the triangles of a mesh hang together: edges, fans, shells, genus, volume. Indices alone decide; nothing
is welded and nothing is repaired.

A *half-edge* ``3 * face + corner`` runs from a corner of a face to the next one. One sort of all half-edges by
their undirected edge brings the faces of every edge side by side; all else is read off that order.

A face with a repeated corner encloses nothing: it counts as a zero-area face and takes part in no other count.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

MOST_PLACES = 5
"""Points kept for each kind of fault: enough to find it, few enough to read."""

_ROUNDING = 32.0 * np.finfo(np.float64).eps
"""Twice the worst rounding of a cross product's component (at most 5 roundings in each of 2 terms), with slack."""

_TINY = 1e-200
"""Below this, underflow may have eaten a product's digits: not trusted."""


@dataclass(frozen=True, eq=False, slots=True)
class Topology:
    """What :func:`measure` found. Lengths in the mesh's unit (mm), counts as int.

    ``triangles`` all faces; ``vertices`` those that a face uses; ``bodies`` shells connected by shared edges;
    ``shell_volumes`` (bodies,) float, signed, outward positive (of no meaning for an open shell); ``cavities``
    closed shells of negative volume in the material of others; ``inverted`` all other closed shells of negative
    volume; ``euler`` vertices - edges + faces; ``genus`` summed over the shells, None unless watertight;
    ``bounds`` (2, 3) float, least and greatest corner; ``places`` by the count's name, (k, 3) float, k <= 5.
    """

    triangles: int
    vertices: int
    boundary_edges: int
    nonmanifold_edges: int
    misoriented_edges: int
    nonmanifold_vertices: int
    zero_area_faces: int
    bodies: int
    cavities: int
    inverted: int
    shell_volumes: Floats
    euler: int
    volume: float
    area: float
    bounds: Floats
    places: Mapping[str, Floats]

    @property
    def closed(self) -> bool:
        """No edge with a single face, and at least one face."""
        return self.bodies > 0 and self.boundary_edges == 0

    @property
    def manifold(self) -> bool:
        """At most two faces on an edge, one fan of faces at a vertex."""
        return self.nonmanifold_edges == 0 and self.nonmanifold_vertices == 0

    @property
    def oriented(self) -> bool:
        """The two faces of an edge run it in opposite directions."""
        return self.misoriented_edges == 0

    @property
    def watertight(self) -> bool:
        """Closed, manifold and oriented: every face has an inside, and the inside is one and the same."""
        return self.closed and self.manifold and self.oriented

    @property
    def genus(self) -> int | None:
        """Handles, summed over the shells; None unless watertight."""
        return (2 * self.bodies - self.euler) // 2 if self.watertight else None


def measure(vertices: NDArray[Any], faces: NDArray[Any]) -> Topology:
    """Measure a triangle mesh: ``vertices`` (n, 3) float, finite; ``faces`` (m, 3) int, indices from 0 to n - 1.

    Any soup will do. Raises ValueError on a wrong shape, an index out of range or a coordinate that is not finite.
    """
    points, corners = checked(vertices, faces)
    kept = corners[~has_repeat(corners)]
    edges = _sort_edges(kept, len(points))
    shells, bodies = components(len(kept), edges.first // 3, edges.second // 3)
    normals, heights = _normals(points, kept)
    volumes = np.bincount(shells, weights=_dot(normals, heights) / 6.0, minlength=bodies)
    used = np.bincount(kept.ravel(), minlength=len(points)) > 0
    twisted = _bow_ties(kept, edges, len(points))
    flat = _zero_area(points, corners, normals if len(kept) == len(corners) else _normals(points, corners)[0])
    faulty = edges.boundary | edges.crowded | edges.misoriented
    sound = np.ones(bodies, bool)
    sound[shells[edges.halves[edges.starts[faulty]] // 3]] = False
    cavities, inverted = _inward_shells(points, kept, shells, volumes, sound)
    places = {
        "boundary_edges": edges.middles(points, kept, edges.boundary),
        "nonmanifold_edges": edges.middles(points, kept, edges.crowded),
        "misoriented_edges": edges.middles(points, kept, edges.misoriented),
        "nonmanifold_vertices": points[twisted[:MOST_PLACES]],
        "zero_area_faces": points[corners[flat[:MOST_PLACES]]].mean(axis=1),
        "cavities": _shell_points(points, kept, shells, cavities),
        "inverted": _shell_points(points, kept, shells, inverted),
    }
    return Topology(
        triangles=len(corners),
        vertices=int(np.count_nonzero(used)),
        boundary_edges=int(np.count_nonzero(edges.boundary)),
        nonmanifold_edges=int(np.count_nonzero(edges.crowded)),
        misoriented_edges=int(np.count_nonzero(edges.misoriented)),
        nonmanifold_vertices=len(twisted),
        zero_area_faces=len(flat),
        bodies=bodies,
        cavities=len(cavities),
        inverted=len(inverted),
        shell_volumes=volumes,
        euler=int(np.count_nonzero(used)) - len(edges.starts) + len(kept),
        volume=float(volumes.sum()),
        area=float(np.sqrt(_dot(normals, normals)).sum() / 2.0),
        bounds=_bounds(points, used),
        places=MappingProxyType(places),
    )


def checked(vertices: NDArray[Any], faces: NDArray[Any]) -> tuple[Floats, Ints]:
    """The mesh as (n, 3) float64 and (m, 3) int64, or a ValueError that says what is wrong with it."""
    points = np.asarray(vertices, dtype=np.float64).reshape(-1, 3)
    corners = np.asarray(faces)
    if corners.size and corners.dtype.kind not in "iu":
        raise ValueError(f"faces: dtype is {corners.dtype}, must be an integer type")
    corners = corners.astype(np.int64, copy=False).reshape(-1, 3)
    if corners.size and (corners.min() < 0 or corners.max() >= len(points)):
        raise ValueError(f"faces: indices run from {corners.min()} to {corners.max()}, not 0 to {len(points) - 1}")
    if not np.isfinite(points).all():
        raise ValueError("vertices: a coordinate is not finite")
    return points, corners


def has_repeat(corners: Ints) -> Bools:
    """(m,) bool: faces with two equal corners."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    repeat: Bools = (a == b) | (b == c) | (c == a)
    return repeat


@dataclass(frozen=True, eq=False, slots=True)
class _Edges:
    """Half-edges in the order of their edges.

    ``halves`` (3m,) half-edges; ``starts`` (e,) where each edge begins in ``halves``; ``first``, ``second`` (p,)
    neighbouring half-edges of one edge; ``boundary``, ``crowded``, ``misoriented`` (e,) bool.
    """

    halves: Ints
    starts: Ints
    first: Ints
    second: Ints
    boundary: Bools
    crowded: Bools
    misoriented: Bools

    def middles(self, points: Floats, faces: Ints, which: Bools) -> Floats:
        """Midpoints (k, 3) of the first few edges among ``which``."""
        half = self.halves[self.starts[np.flatnonzero(which)[:MOST_PLACES]]]
        ends = faces.ravel()[np.stack((half, _next(half)))]
        middles: Floats = points[ends].mean(axis=0)
        return middles


def _sort_edges(faces: Ints, count: int) -> _Edges:
    tail = faces.ravel()
    head = faces[:, [1, 2, 0]].ravel()
    low = np.minimum(tail, head)
    keys, halves = _sort_with_index(low * count + (tail + head - low))
    new = np.ones(len(keys), bool)
    np.not_equal(keys[1:], keys[:-1], out=new[1:])
    starts = np.flatnonzero(new)
    follows = np.flatnonzero(~new)
    first, second = halves[follows - 1], halves[follows]
    sizes = np.diff(starts, append=len(keys))
    upward = (tail < head)[halves]
    pair = sizes == 2
    misoriented = pair.copy()
    misoriented[pair] = upward[starts[pair]] == upward[starts[pair] + 1]
    return _Edges(halves, starts, first, second, sizes == 1, sizes > 2, misoriented)


def _sort_with_index(keys: Ints) -> tuple[Ints, Ints]:
    """Keys (>= 0) in order, and where each came from. Packed into one integer where both fit: a plain sort of
    integers is several times faster than an argsort."""
    bits = len(keys).bit_length()
    if len(keys) and int(keys.max()).bit_length() + bits > 63:
        order = np.argsort(keys, kind="stable")
        return keys[order], order
    packed = np.sort((keys << bits) | np.arange(len(keys)))
    return packed >> bits, packed & ((1 << bits) - 1)


def _next(half: Ints) -> Ints:
    """The half-edge that follows in the same face."""
    return half + 1 - 3 * (half % 3 == 2)


def components(count: int, first: Ints, second: Ints) -> tuple[Ints, int]:
    """Connected components of ``count`` nodes under the links ``first[k]`` to ``second[k]``.

    Returns labels (count,) int from 0, numbered by each component's least node, and their number. Each round
    hangs the greater root of a link below the lesser and flattens the trees by pointer jumping.
    """
    parent = np.arange(count)
    while len(first):
        parent[np.maximum(first, second)] = np.minimum(first, second)
        parent = _flatten(parent)
        first, second = parent[first], parent[second]
        apart = np.flatnonzero(first != second)
        first, second = first[apart], second[apart]
    is_root = parent == np.arange(count)
    return (np.cumsum(is_root) - 1)[parent], int(np.count_nonzero(is_root))


def _flatten(parent: Ints) -> Ints:
    while True:
        above = parent[parent]
        if np.array_equal(above, parent):
            return parent
        parent = above


def _bow_ties(faces: Ints, edges: _Edges, count: int) -> Ints:
    """Vertices (k,) at which more than one fan of faces meets: corners linked across edges, counted by vertex."""
    tail = faces.ravel()
    after, behind = _next(edges.first), _next(edges.second)
    same = tail[edges.first] == tail[edges.second]
    ends = np.where(same, edges.second, behind), np.where(same, behind, edges.second)
    labels, fans = components(len(tail), np.concatenate((edges.first, after)), np.concatenate(ends))
    vertex = np.empty(fans, np.int64)
    vertex[labels] = tail
    return np.flatnonzero(np.bincount(vertex, minlength=count) > 1)


def _normals(points: Floats, faces: Ints) -> tuple[Floats, Floats]:
    """Cross products (3, m) of two sides, twice the area long; first corners (3, m) seen from the middle."""
    columns = np.ascontiguousarray(points.T)
    middle = points[:1].T if not len(points) else (points.min(axis=0) / 2.0 + points.max(axis=0) / 2.0)[:, None]
    a, b, c = (np.take(columns, corner, axis=1) for corner in np.ascontiguousarray(faces.T))
    (ux, uy, uz), (vx, vy, vz) = b - a, c - a
    return np.stack((uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx)), a - middle


def _dot(a: Floats, b: Floats) -> Floats:
    product: Floats = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return product


def _bounds(points: Floats, used: Bools) -> Floats:
    if not used.any():
        return np.zeros((2, 3))
    own = points if used.all() else points[used]
    return np.stack((own.min(axis=0), own.max(axis=0)))


def _zero_area(points: Floats, faces: Ints, normals: Floats) -> Ints:
    """Faces (k,) whose area is nothing, exactly: floats clear the others, integers judge the suspects."""
    spread = np.abs(normals).max(axis=0, initial=0.0)
    size = np.ptp(points, axis=0).max() if len(points) else 0.0
    suspects = np.flatnonzero(~(spread > _ROUNDING * size * size + _TINY))
    if len(suspects):  # the whole mesh's size clears nearly all; the faces' own size most of the rest
        own = np.ptp(points[faces[suspects]], axis=1).max(axis=1)
        suspects = suspects[~(spread[suspects] > _ROUNDING * own * own + _TINY)]
    flat = [face for face in suspects.tolist() if _is_flat(points[faces[face]])]
    return np.array(flat, dtype=np.int64)


def _is_flat(triangle: Floats) -> bool:
    a, b, c = to_integers(triangle)
    u, v = [p - q for p, q in zip(b, a, strict=True)], [p - q for p, q in zip(c, a, strict=True)]
    return all(u[i] * v[j] == u[j] * v[i] for i, j in ((0, 1), (1, 2), (2, 0)))


def to_integers(points: Floats) -> list[tuple[int, int, int]]:
    """Points (k, 3) as integers on a common scale, exactly: a float is an integer times a power of two."""
    ratios = [[x.as_integer_ratio() for x in point] for point in points.tolist()]
    scale = max(bottom for point in ratios for _, bottom in point)
    return [tuple(top * (scale // bottom) for top, bottom in point) for point in ratios]  # type: ignore[misc]


def _inward_shells(
    points: Floats, faces: Ints, shells: Ints, volumes: Floats, sound: Bools
) -> tuple[list[int], list[int]]:
    """Closed shells of negative volume: those in the material of other shells (cavities), and the others."""
    inward = np.flatnonzero(sound & (volumes < 0.0))
    if not len(inward):
        return [], []
    lows, highs = _shell_boxes(points, faces, shells, len(volumes))
    starts = np.unique(shells, return_index=True)[1]
    cavities: list[int] = []
    inverted: list[int] = []
    for shell in inward.tolist():
        around = (lows <= lows[shell]).all(axis=1) & (highs >= highs[shell]).all(axis=1) & sound
        around[shell] = False
        probe = points[faces[starts[shell], 0]]
        inside = around.any() and _winding(points, faces[around[shells]], probe) > 0.5
        (cavities if inside else inverted).append(shell)
    return cavities, inverted


def _shell_boxes(points: Floats, faces: Ints, shells: Ints, bodies: int) -> tuple[Floats, Floats]:
    lows, highs = np.full((bodies, 3), np.inf), np.full((bodies, 3), -np.inf)
    np.minimum.at(lows, shells, points[faces].min(axis=1))
    np.maximum.at(highs, shells, points[faces].max(axis=1))
    return lows, highs


def _winding(points: Floats, faces: Ints, probe: Floats) -> float:
    """How often the faces wind about a point: their solid angles, by the tangent of half of each, over 4 pi."""
    rays = points - probe
    a, b, c = rays[faces[:, 0]].T, rays[faces[:, 1]].T, rays[faces[:, 2]].T
    la, lb, lc = (np.sqrt(_dot(ray, ray)) for ray in (a, b, c))
    triple = _dot(a, np.stack((b[1] * c[2] - b[2] * c[1], b[2] * c[0] - b[0] * c[2], b[0] * c[1] - b[1] * c[0])))
    below = la * lb * lc + _dot(a, b) * lc + _dot(b, c) * la + _dot(c, a) * lb
    return float(np.arctan2(triple, below).sum() / (2.0 * np.pi))


def _shell_points(points: Floats, faces: Ints, shells: Ints, which: list[int]) -> Floats:
    """A vertex (k, 3) of each of the first few shells among ``which``."""
    if not which:
        return np.empty((0, 3))
    starts = np.unique(shells, return_index=True)[1]
    corners: Floats = points[faces[starts[which[:MOST_PLACES]], 0]]
    return corners
