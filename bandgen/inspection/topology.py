"""How the triangles of a mesh hang together: edges, fans, shells, genus, volume. Indices alone decide; nothing
is welded and nothing is repaired.

A *half-edge* ``corner * m + face`` runs from a corner of a face to the next one (m faces). In a good mesh every
half-edge has one twin, the same edge run backwards; a hash table finds them in a few passes, which costs a fifth of
a sort. Only where that fails are the half-edges sorted by edge and the faults told apart.

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
    whole = ~has_repeat(corners)
    columns = np.ascontiguousarray((corners if whole.all() else corners[whole]).T)
    web = _weave(columns, len(points))
    axes = np.ascontiguousarray(points.T)
    bounds = _bounds(axes, web.valences > 0)
    normals, heights = _normals(axes, columns, bounds)
    lengths = np.sqrt(dot(normals, normals))
    volumes = np.bincount(web.shells, weights=dot(normals, heights), minlength=web.bodies) / 6.0
    cavities, inverted = _inward_shells(points, columns, web, volumes)
    flat = _zero_area(points, corners, whole, lengths, bounds)
    places = {
        **{name: _middles(points, columns, halves) for name, halves in web.faults.items()},
        "nonmanifold_vertices": points[web.twisted[:MOST_PLACES]],
        "zero_area_faces": points[corners[flat[:MOST_PLACES]]].mean(axis=1),
        "cavities": _shell_points(points, columns, web, cavities),
        "inverted": _shell_points(points, columns, web, inverted),
    }
    return Topology(
        triangles=len(corners),
        vertices=int(np.count_nonzero(web.valences)),
        nonmanifold_vertices=len(web.twisted),
        zero_area_faces=len(flat),
        bodies=web.bodies,
        cavities=len(cavities),
        inverted=len(inverted),
        shell_volumes=volumes,
        euler=int(np.count_nonzero(web.valences)) - web.edges + columns.shape[1],
        volume=float(volumes.sum()),
        area=float(lengths.sum() / 2.0),
        bounds=bounds,
        places=MappingProxyType(places),
        **{name: len(halves) for name, halves in web.faults.items()},
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
class _Web:
    """What the indices say: ``shells`` (m,) a label from 0 to ``bodies`` - 1 for each face; number of ``edges``;
    ``valences`` (n,) corners at each vertex; ``twisted`` (k,) vertices where fans meet; ``faults`` by name, one
    half-edge (k,) of each faulty edge."""

    shells: Ints
    bodies: int
    edges: int
    valences: Ints
    twisted: Ints
    faults: Mapping[str, Ints]


def _weave(columns: Ints, count: int) -> _Web:
    tail, head = columns.ravel(), np.concatenate((columns[1], columns[2], columns[0]))
    valences = np.bincount(tail, minlength=count)
    none = np.empty(0, np.int64)
    twins = _find_twins(tail, head, count)
    if twins is not None and _one_fan_each(tail, twins, valences):
        # one fan at each vertex: faces joined by vertices are joined by edges, and vertices are half as many
        labels, _ = components(count, np.concatenate((columns[0], columns[0])), columns[1:].ravel())
        shells, bodies = _renumber(labels[columns[0]], count)
        faults = {"boundary_edges": none, "nonmanifold_edges": none, "misoriented_edges": none}
        return _Web(shells, bodies, len(tail) // 2, valences, none, faults)
    edges = _sort_edges(tail, head, count)
    faces = columns.shape[1]
    shells, bodies = components(faces, edges.first % max(faces, 1), edges.second % max(faces, 1))
    twisted = _bow_ties(tail, edges, count)
    return _Web(shells, bodies, edges.number, valences, twisted, edges.faults)


def _renumber(labels: Ints, count: int) -> tuple[Ints, int]:
    """Labels below ``count`` as 0, 1, 2 ... without gaps (an unused vertex is a component without faces)."""
    used = np.bincount(labels, minlength=count) > 0
    return (np.cumsum(used) - 1)[labels], int(np.count_nonzero(used))


_HASH_FACTORS = tuple(0x9E3779B97F4A7C15 * (2 * k * k + 1) % (1 << 64) | 1 for k in range(24))


def _find_twins(tail: Ints, head: Ints, count: int) -> Ints | None:
    """The twin (3m,) of each half-edge, or None unless each has exactly one.

    In each pass the upward half-edges (tail < head) that are still alone write their number in the slot of their
    edge, and the downward ones look there. Two equal downward ones would find the same upward one, and two equal
    upward ones leave one alone, so a one-to-one match of all is a proof whatever the hash does.
    """
    up, down = np.flatnonzero(tail < head), np.flatnonzero(tail > head)
    if len(up) != len(down) or not len(up):
        return None
    match = _match(tail[up] * count + head[up], head[down] * count + tail[down])
    if match is None:
        return None
    partner = up[match]
    twins = np.empty(len(tail), np.int64)
    twins[partner] = down
    if not np.array_equal(twins[partner], down):
        return None
    twins[down] = partner
    return twins


def _match(keys: Ints, wanted: Ints) -> Ints | None:
    """For each key wanted, the place (k,) of an equal one in ``keys``; None if some are not found."""
    bits = len(keys).bit_length() + 1
    table = np.zeros(1 << bits, np.int64)
    match = np.full(len(wanted), -1)
    writers, seekers = np.arange(len(keys)), np.arange(len(wanted))
    sought, alone = wanted, np.ones(len(keys), bool)
    for factor in _HASH_FACTORS:
        table[_slots(keys[writers], factor, bits)] = writers
        found = table[_slots(sought, factor, bits)]
        hit = keys[found] == sought
        match[seekers[hit]] = found[hit]
        alone[found[hit]] = False
        missed = np.flatnonzero(~hit)
        if not len(missed):
            return match
        seekers, sought = seekers[missed], sought[missed]
        writers = writers[alone[writers]]
    return None


def _slots(keys: Ints, factor: int, bits: int) -> Ints:
    """Multiplicative hash: the top bits of key times factor."""
    mixed = keys.view(np.uint64) * np.uint64(factor)
    slots: Ints = (mixed >> np.uint64(64 - bits)).view(np.int64)
    return slots


_MOST_STEPS = 500
"""Beyond this valence, the walk about a vertex gives way to the general method."""


def _one_fan_each(tail: Ints, twins: Ints, valences: Ints) -> bool:
    """Whether the half-edges leaving each vertex form one cycle: from any of them, all vertices at once, step to
    the next until all are seen. Coming home early means a second fan. False also if a valence is too high to walk."""
    most = int(valences.max())
    if most > _MOST_STEPS:
        return False
    onward = np.roll(twins, len(twins) // 3)  # the twin of the half-edge before
    home = np.zeros(len(valences), np.int64)
    home[tail] = np.arange(len(tail))
    order = np.argsort(-valences.astype(np.int16), kind="stable")
    home = home[order]
    left = np.cumsum(np.bincount(valences)[::-1])[::-1]  # vertices of valence >= k: a prefix of the order
    here = onward[home[: left[1]]]
    for step in range(1, most):
        still = left[step + 1]
        if (here[:still] == home[:still]).any():
            return False
        here = onward[here[:still]]
    return True


@dataclass(frozen=True, eq=False, slots=True)
class _Edges:
    """Half-edges ``first`` and ``second`` (p,) that share an edge, neighbours in its order; ``number`` of edges;
    ``faults`` by name, one half-edge (k,) of each faulty edge."""

    first: Ints
    second: Ints
    number: int
    faults: Mapping[str, Ints]


def _sort_edges(tail: Ints, head: Ints, count: int) -> _Edges:
    low = np.minimum(tail, head)
    keys, halves = _sort_with_index(low * count + (tail + head - low))
    new = np.ones(len(keys), bool)
    np.not_equal(keys[1:], keys[:-1], out=new[1:])
    starts, follows = np.flatnonzero(new), np.flatnonzero(~new)
    sizes = np.diff(starts, append=len(keys))
    lead, pairs = halves[starts], np.flatnonzero(sizes == 2)
    same_way = tail[lead[pairs]] == tail[halves[starts[pairs] + 1]]
    faults = {
        "boundary_edges": lead[sizes == 1],
        "nonmanifold_edges": lead[sizes > 2],
        "misoriented_edges": lead[pairs[same_way]],
    }
    return _Edges(halves[follows - 1], halves[follows], len(starts), faults)


def _sort_with_index(keys: Ints) -> tuple[Ints, Ints]:
    """Keys (>= 0) in order, and where each came from. Packed into one integer where both fit: a plain sort of
    integers is faster than an argsort."""
    bits = len(keys).bit_length()
    if len(keys) and int(keys.max()).bit_length() + bits > 63:
        order = np.argsort(keys, kind="stable")
        return keys[order], order
    packed = np.sort((keys << bits) | np.arange(len(keys)))
    return packed >> bits, packed & ((1 << bits) - 1)


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


def _bow_ties(tail: Ints, edges: _Edges, count: int) -> Ints:
    """Vertices (k,) at which more than one fan of faces meets: corners linked across edges, counted by vertex."""
    faces = len(tail) // 3
    after, behind = (half + faces - 3 * faces * (half >= 2 * faces) for half in (edges.first, edges.second))
    same_way = tail[edges.first] == tail[edges.second]
    ends = np.where(same_way, edges.second, behind), np.where(same_way, behind, edges.second)
    labels, fans = components(len(tail), np.concatenate((edges.first, after)), np.concatenate(ends))
    vertex = np.empty(fans, np.int64)
    vertex[labels] = tail
    return np.flatnonzero(np.bincount(vertex, minlength=count) > 1)


def _normals(axes: Floats, columns: Ints, bounds: Floats) -> tuple[Floats, Floats]:
    """Cross products (3, m) of two sides, twice the area long; first corners (3, m) seen from the middle.
    ``axes`` (3, n) are the vertices with components first."""
    a, b, c = (np.take(axes, corner, axis=1, mode="clip") for corner in columns)  # clip: in range already
    b -= a
    c -= a
    a -= (bounds[0] / 2.0 + bounds[1] / 2.0)[:, None]
    return cross(b, c), a


def cross(a: Floats, b: Floats) -> Floats:
    """Cross product of vectors (3, ...) with components first."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        np.multiply(a[i], b[j], out=out[k])
        out[k] -= a[j] * b[i]
    return out


def dot(a: Floats, b: Floats) -> Floats:
    """Inner product (...) of vectors (3, ...) with components first."""
    product: Floats = a[0] * b[0]
    product += a[1] * b[1]
    product += a[2] * b[2]
    return product


def _bounds(axes: Floats, used: Bools) -> Floats:
    if not used.any():
        return np.zeros((2, 3))
    own = axes if used.all() else axes[:, used]
    return np.stack((own.min(axis=1), own.max(axis=1)))


def _middles(points: Floats, columns: Ints, halves: Ints) -> Floats:
    """Midpoints (k, 3) of the edges of the first few half-edges."""
    corner, face = np.divmod(halves[:MOST_PLACES], max(columns.shape[1], 1))
    middles: Floats = (points[columns[corner, face]] + points[columns[(corner + 1) % 3, face]]) / 2.0
    return middles


def _zero_area(points: Floats, corners: Ints, whole: Bools, lengths: Floats, bounds: Floats) -> Ints:
    """Faces (k,) whose area is nothing, exactly: floats clear the others, integers judge the suspects."""
    size = float((bounds[1] - bounds[0]).max())
    doubtful = np.flatnonzero(~(lengths > _ROUNDING * size * size + _TINY))
    ids = np.flatnonzero(whole)[doubtful]
    if len(ids):  # the whole mesh's size clears nearly all, the face's own size most of the rest
        own = np.ptp(points[corners[ids]], axis=1).max(axis=1)
        ids = ids[~(lengths[doubtful] > _ROUNDING * own * own + _TINY)]
    flat = [face for face in ids.tolist() if _is_flat(points[corners[face]])]
    return np.sort(np.concatenate((np.flatnonzero(~whole), np.array(flat, dtype=np.int64))))


def _is_flat(triangle: Floats) -> bool:
    a, b, c = to_integers(triangle)
    u, v = [p - q for p, q in zip(b, a, strict=True)], [p - q for p, q in zip(c, a, strict=True)]
    return all(u[i] * v[j] == u[j] * v[i] for i, j in ((0, 1), (1, 2), (2, 0)))


def to_integers(points: Floats) -> list[tuple[int, int, int]]:
    """Points (k, 3) as integers on a common scale, exactly: a float is an integer times a power of two."""
    ratios = [[x.as_integer_ratio() for x in point] for point in points.tolist()]
    scale = max(bottom for point in ratios for _, bottom in point)
    return [tuple(top * (scale // bottom) for top, bottom in point) for point in ratios]


def _inward_shells(points: Floats, columns: Ints, web: _Web, volumes: Floats) -> tuple[list[int], list[int]]:
    """Closed shells of negative volume: those in the material of other shells (cavities), and the others."""
    if not (volumes < 0.0).any():
        return [], []
    sound = np.ones(web.bodies, bool)
    for halves in web.faults.values():
        sound[web.shells[halves % columns.shape[1]]] = False
    lows, highs = _shell_boxes(points, columns, web)
    cavities: list[int] = []
    inverted: list[int] = []
    for shell in np.flatnonzero(sound & (volumes < 0.0)).tolist():
        around = (lows <= lows[shell]).all(axis=1) & (highs >= highs[shell]).all(axis=1) & sound
        around[shell] = False
        probe = _shell_points(points, columns, web, [shell])[0]
        inside = around.any() and _winding(points, columns[:, around[web.shells]], probe) > 0.5
        (cavities if inside else inverted).append(shell)
    return cavities, inverted


def _shell_boxes(points: Floats, columns: Ints, web: _Web) -> tuple[Floats, Floats]:
    lows, highs = np.full((web.bodies, 3), np.inf), np.full((web.bodies, 3), -np.inf)
    for corner in columns:
        np.minimum.at(lows, web.shells, points[corner])
        np.maximum.at(highs, web.shells, points[corner])
    return lows, highs


def _winding(points: Floats, columns: Ints, probe: Floats) -> float:
    """How often the faces wind about a point: their solid angles, by the tangent of half of each, over 4 pi."""
    a, b, c = ((points[corner] - probe).T for corner in columns)
    la, lb, lc = (np.sqrt(dot(ray, ray)) for ray in (a, b, c))
    below = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb
    return float(np.arctan2(dot(a, cross(b, c)), below).sum() / (2.0 * np.pi))


def _shell_points(points: Floats, columns: Ints, web: _Web, which: list[int]) -> Floats:
    """A vertex (k, 3) of each of the first few shells among ``which``."""
    faces = [int(np.argmax(web.shells == shell)) for shell in which[:MOST_PLACES]]
    corners: Floats = points[columns[0, faces]] if faces else np.empty((0, 3))
    return corners
