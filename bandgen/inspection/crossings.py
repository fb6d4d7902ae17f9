"""Self-intersection: the pairs of faces that meet where they should not. Exact for any finite float64 input.

Two faces meet properly when they have nothing in common but their shared corners and the edge between those. Any
more is a crossing: a touch of strangers, a face folded onto its neighbour, two faces on the same three corners.
Vertices at exactly equal coordinates are one vertex, whatever their indices. Faces with a repeated corner (after
that) are left out: they are an edge or a point, and :mod:`bandgen.inspection.topology` counts them.

1. Broad: a tree of boxes over the faces along a space-filling curve, descended against itself in batches.
2. Floats: each pair is cleared by a plane that separates it beyond all rounding, or convicted by an edge that
   pierces beyond all rounding.
3. Integers: what is left, the few pairs that touch or nearly do. A float is an integer times a power of two.

Arrays of vectors have components first: (3, k), corners of faces (3 corners, 3 components, k).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bandgen.inspection.topology import Bools, Floats, Ints, checked, cross, dot, has_repeat, to_integers

_BATCH = 1 << 15
"""Pairs looked at together: their few dozen float arrays stay in a core's cache."""

_ROUNDING = 48.0 * np.finfo(np.float64).eps
"""Rounding of a determinant of three difference vectors, over the product of their largest components: 6 terms,
each at most 8 roundings of eps / 2, makes 24 eps; doubled for slack."""

_TINY = 1e-200
"""Added to every bound: below it, underflow may have eaten a product's digits."""

_HUGE = 1e60
"""Coordinates beyond this could overflow a bound: then all goes to the integers."""

_MIXERS = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64)
"""Odd numbers without pattern (the golden ratio, and two from memory of common hashes): any would do."""

_NEXT = np.array([1, 2, 0])

_AXES = [(3, 0), (3, 1), (3, 2), (0, 3), (1, 3), (2, 3), *((a, b) for a in range(3) for b in range(3))]
"""Pairs whose cross product may show a gap: side a of one face, side b of the other; 3 for the face's normal,
taken with the sides of its own face."""


@dataclass(frozen=True, eq=False, slots=True)
class _Faces:
    """Faces as columns: vertex ids ``corner`` (3, m), corners ``place`` (3, 3, m), ``normal`` (3, m), ``size`` (m,)
    the largest side of its box; ``slack`` the relative rounding to allow for."""

    corner: Ints
    place: Floats
    normal: Floats
    low: Floats
    high: Floats
    size: Floats
    slack: float


def crossing_faces(vertices: NDArray[Any], faces: NDArray[Any], subset: NDArray[Any] | None = None) -> Ints:
    """Pairs (k, 2) of faces that meet improperly, lesser id first, in order.

    ``vertices`` (n, 3) float, finite; ``faces`` (m, 3) int; ``subset`` face ids (s,) or None: only pairs with at
    least one face of the subset. Raises ValueError as :func:`bandgen.inspection.topology.measure` does.
    """
    points, corners = checked(vertices, faces)
    ids = np.arange(len(corners)) if subset is None else _near(points, corners, np.asarray(subset, dtype=np.int64))
    points, corners = _weld(points, corners[ids])
    sound = ~has_repeat(corners)
    ids, corners = ids[sound], corners[sound]
    if len(ids) < 2:
        return np.empty((0, 2), np.int64)
    wanted = None if subset is None else np.isin(ids, subset)
    found: list[Ints] = []
    with np.errstate(all="ignore"):  # what overflows is left undecided, for the integers
        mesh = _prepare(points, corners)
        for first, second in _box_pairs(mesh, wanted):
            found += _judge(mesh, first, second)
    pairs = ids[np.concatenate(found, axis=1)] if found else np.empty((2, 0), np.int64)
    pairs.sort(axis=0)
    ordered: Ints = pairs[:, np.lexsort((pairs[1], pairs[0]))].T
    return ordered


def _near(points: Floats, corners: Ints, subset: Ints) -> Ints:
    """Faces (k,) whose boxes touch the box about the subset."""
    own = points[corners[subset].ravel()]
    if not len(own):
        return np.empty(0, np.int64)
    near = np.ones(len(corners), bool)
    for axis, low, high in zip(points.T, own.min(axis=0), own.max(axis=0), strict=True):
        for outside in (axis < low, axis > high):
            near &= ~(outside[corners[:, 0]] & outside[corners[:, 1]] & outside[corners[:, 2]])
    return np.flatnonzero(near)


def _weld(points: Floats, corners: Ints) -> tuple[Floats, Ints]:
    """The vertices in use, one for each place, and the corners among them. A sum of mixed bits tells quickly that
    all places differ, as they mostly do; equal sums prove nothing and are looked into."""
    used = np.bincount(corners.ravel(), minlength=len(points)) > 0
    points, corners = points[used] + 0.0, (np.cumsum(used) - 1)[corners]  # + 0.0: minus zero is zero
    mixed = (points.view(np.uint64) * _MIXERS).sum(axis=1)
    mixed.sort()
    if not (mixed[1:] == mixed[:-1]).any():
        return points, corners
    order = np.lexsort(points.T)
    new = np.ones(len(points), bool)
    new[1:] = (points[order[1:]] != points[order[:-1]]).any(axis=1)
    ids = np.empty(len(points), np.int64)
    ids[order] = np.cumsum(new) - 1
    return points[order[new]], ids[corners]


def _prepare(points: Floats, corners: Ints) -> _Faces:
    corner = np.ascontiguousarray(corners.T)
    axes = np.ascontiguousarray(points.T)
    place = np.stack([np.take(axes, column, axis=1) for column in corner])
    low, high = place.min(axis=0), place.max(axis=0)
    wild = max(-low.min(), high.max()) > _HUGE
    normal = np.zeros_like(low) if wild else cross(place[1] - place[0], place[2] - place[0])
    size = np.ones(len(corners)) if wild else (high - low).max(axis=0)
    return _Faces(corner, place, normal, low, high, size, np.inf if wild else _ROUNDING)


# ---------------------------------------------------------------------------------------------- broad phase


def _box_pairs(mesh: _Faces, wanted: Bools | None) -> Iterator[tuple[Ints, Ints]]:
    """Batches of pairs of faces (k,), (k,) whose boxes touch, each pair once."""
    order = _curve_order(mesh)
    levels = _build_tree(mesh.low[:, order], mesh.high[:, order], None if wanted is None else wanted[order])
    root = np.zeros(1, np.int64)
    stack = [(len(levels) - 1, root, root)]
    while stack:
        level, first, second = stack.pop()
        if level == 0:
            other = first != second
            yield order[first[other]], order[second[other]]
            continue
        first, second = _descend(levels[level - 1], first, second)
        for start in range(0, len(first), _BATCH):
            stack.append((level - 1, first[start : start + _BATCH], second[start : start + _BATCH]))


def _curve_order(mesh: _Faces) -> Ints:
    """Faces along a Z-order curve through their boxes' middles, 10 bits to an axis."""
    middle = mesh.low / 2.0 + mesh.high / 2.0
    start = middle.min(axis=1, keepdims=True)
    step = max(float((middle / 2.0 - start / 2.0).max()) * (2.0 / 1023.0), 1e-300)
    code = np.zeros(len(mesh.size), np.int64)
    for axis, cell in enumerate(((middle - start) / step).astype(np.int64)):
        cell = (cell | (cell << 16)) & 0x030000FF
        cell = (cell | (cell << 8)) & 0x0300F00F
        cell = (cell | (cell << 4)) & 0x030C30C3
        cell = (cell | (cell << 2)) & 0x09249249
        code |= cell << axis
    return np.argsort(code, kind="stable")


_Level = tuple[Floats, Floats, Bools | None]


def _build_tree(low: Floats, high: Floats, wanted: Bools | None) -> list[_Level]:
    """Boxes (3, k) from the faces (level 0) to the root; node i has the children 2 i and 2 i + 1. An odd level is
    filled up with an empty box, which touches nothing."""
    levels: list[_Level] = []
    while True:
        if low.shape[1] > 1 and low.shape[1] % 2:
            low = np.concatenate((low, np.full((3, 1), np.inf)), axis=1)
            high = np.concatenate((high, np.full((3, 1), -np.inf)), axis=1)
            wanted = None if wanted is None else np.append(wanted, False)
        levels.append((low, high, wanted))
        if low.shape[1] == 1:
            return levels
        low = np.minimum(low[:, ::2], low[:, 1::2])
        high = np.maximum(high[:, ::2], high[:, 1::2])
        wanted = None if wanted is None else wanted[::2] | wanted[1::2]


def _descend(level: _Level, first: Ints, second: Ints) -> tuple[Ints, Ints]:
    """Pairs of children that touch, of pairs of nodes; a node paired with itself gives three pairs, not four."""
    low, high, wanted = level
    first, second = 2 * first, 2 * second
    twice = first != second
    first = np.concatenate((first, first, first + 1, first[twice] + 1))
    second = np.concatenate((second, second + 1, second + 1, second[twice]))
    for lo, hi in zip(low, high, strict=True):
        near = np.flatnonzero((lo[first] <= hi[second]) & (lo[second] <= hi[first]))
        first, second = first[near], second[near]
    if wanted is not None:
        near = np.flatnonzero(wanted[first] | wanted[second])
        first, second = first[near], second[near]
    return first, second


# --------------------------------------------------------------------------------------------- narrow phase


def _judge(mesh: _Faces, first: Ints, second: Ints) -> list[Ints]:
    """Of pairs of faces, those that meet improperly: a list of (2, k) ids."""
    same = _same_corners(mesh, first, second)
    in_first, in_second = same[:, 0] | same[:, 1] | same[:, 2], same[0] | same[1] | same[2]
    shared = in_first[0].astype(np.int8) + in_first[1] + in_first[2]
    found = [np.stack((first, second))[:, shared == 3]]
    open_ = np.flatnonzero(shared < 3)
    open_ = open_[~_beside(mesh, first[open_], second[open_], in_second[:, open_])]
    open_ = open_[~_beside(mesh, second[open_], first[open_], in_first[:, open_])]
    for count, clears in enumerate((_apart, _apart_at_corner, _unfolded)):
        some = open_[shared[open_] == count]
        left = some[~clears(mesh, first[some], second[some], same[:, :, some])] if len(some) else some
        if len(left):
            found.append(_convict(mesh, first[left], second[left], same[:, :, left]))
    return found


def _convict(mesh: _Faces, first: Ints, second: Ints, same: Bools) -> Ints:
    """Of pairs that no plane was seen to part, those that do meet improperly: (2, k) ids."""
    guilty = _pierce(mesh, first, second)
    for k in np.flatnonzero(~guilty).tolist():
        guilty[k] = _meet_improperly(mesh.place[:, :, first[k]], mesh.place[:, :, second[k]], same[:, :, k])
    return np.stack((first, second))[:, guilty]


def _same_corners(mesh: _Faces, first: Ints, second: Ints) -> Bools:
    """(3, 3, k) bool: corner a of the first face is corner b of the second."""
    a, b = mesh.corner[:, first], mesh.corner[:, second]
    same: Bools = a[:, None] == b[None]
    return same


def _span(vector: Floats) -> Floats:
    x, y, z = np.abs(vector)
    span: Floats = np.maximum(np.maximum(x, y, out=x), z, out=x)
    return span


def _sign(vectors: tuple[Floats, Floats, Floats], slack: float) -> NDArray[np.int8]:
    """Sign (k,) of the determinant of three difference vectors (3, k); 0 if rounding could have made it."""
    a, b, c = vectors
    value = dot(cross(a, b), c)
    bound = slack * (_span(a) * _span(b) * _span(c)) + _TINY
    return np.subtract(value > bound, value < -bound, dtype=np.int8)


def _lean(axis: Floats, side: Floats, slack: float) -> NDArray[np.int8]:
    """Sign (k,) of a difference vector's part along an axis; 0 if rounding could have made it."""
    value, bound = dot(axis, side), slack * (_span(axis) * _span(side)) + _TINY
    return np.subtract(value > bound, value < -bound, dtype=np.int8)


def _beside(mesh: _Faces, base: Ints, face: Ints, shared: Bools) -> Bools:
    """Whether the corners of ``face`` (the ``shared`` (3, k) apart) surely lie all on one side of base's plane."""
    normal, origin = np.take(mesh.normal, base, axis=1), np.take(mesh.place[0], base, axis=1)
    least, most = np.full(len(base), np.inf), np.full(len(base), -np.inf)
    for corner, skip in zip(mesh.place, shared, strict=True):
        offset = np.take(corner, face, axis=1)
        offset -= origin
        height = dot(normal, offset)
        np.minimum(least, np.where(skip, np.inf, height), out=least)
        np.maximum(most, np.where(skip, -np.inf, height), out=most)
    # the boxes touch, so no corner of one is further from the other's than both sizes
    size = mesh.size[base]
    bound = mesh.slack * (size * size * (size + mesh.size[face])) + _TINY
    beside: Bools = (least > bound) | (most < -bound)
    return beside


def _apart(mesh: _Faces, first: Ints, second: Ints, _: Bools) -> Bools:
    """Whether strangers surely lie on two sides of a gap: along a normal of a side in its face's plane, or along
    the cross product of two sides. Any axis proves a gap that it shows, so its own rounding does not matter."""
    clear = np.zeros(len(first), bool)
    for a, b in _AXES:
        left = np.flatnonzero(~clear)
        if not len(left):
            break
        i, j = first[left], second[left]
        p, q = np.take(mesh.place, i, axis=2), np.take(mesh.place, j, axis=2)
        origin = p[0].copy()
        p -= origin
        q -= origin
        along = mesh.normal[:, i] if a == 3 else p[a - 2] - p[a]
        across = mesh.normal[:, j] if b == 3 else q[b - 2] - q[b]
        axis = cross(along, p[b - 2] - p[b] if a == 3 else across) if b < 3 else cross(q[a - 2] - q[a], across)
        clear[left] = _gap(axis, p, q, mesh.slack)
    return clear


def _gap(axis: Floats, p: Floats, q: Floats, slack: float) -> Bools:
    on_p, on_q = np.stack([dot(axis, c) for c in p]), np.stack([dot(axis, c) for c in q])
    bound = slack * _span(axis) * np.maximum(np.abs(p).max(axis=(0, 1)), np.abs(q).max(axis=(0, 1))) + _TINY
    gap: Bools = (on_p.min(axis=0) - on_q.max(axis=0) > bound) | (on_q.min(axis=0) - on_p.max(axis=0) > bound)
    return gap


def _apart_at_corner(mesh: _Faces, first: Ints, second: Ints, same: Bools) -> Bools:
    """Whether faces with one common corner surely meet there only.

    With sides a, b of one and c, d of the other from that corner: a plane through side a that has b on one side
    and c, d on the other proves it. Such a plane may stand on the face or contain c or d as well. So does a plane
    through the corner alone, here across the mean directions, with a, b on one side and c, d on the other.
    """
    a, b = _sides_from(mesh, first, same[:, 0] | same[:, 1] | same[:, 2])
    c, d = _sides_from(mesh, second, same[0] | same[1] | same[2])
    axis = a / _span(a) + b / _span(b) - c / _span(c) - d / _span(d)
    fore, back = ([_lean(axis, side, mesh.slack) for side in pair] for pair in ((a, b), (c, d)))
    clear: Bools = (fore[0] > 0) & (fore[1] > 0) & (back[0] < 0) & (back[1] < 0)
    left = np.flatnonzero(~clear)
    a, b, c, d = (side[:, left] for side in (a, b, c, d))
    clear[left] = _apart_by_a_side(mesh, (a, b, c, d), mesh.normal[:, first[left]], mesh.normal[:, second[left]])
    return clear


def _apart_by_a_side(mesh: _Faces, sides: tuple[Floats, Floats, Floats, Floats], one: Floats, two: Floats) -> Bools:
    """The planes through a side, for :func:`_apart_at_corner`; ``one`` and ``two`` are the faces' normals (3, k)."""
    a, b, c, d = sides
    clear = np.zeros(a.shape[1], bool)
    for u, v, w, x, normal in ((a, b, c, d, one), (b, a, c, d, one), (c, d, a, b, two), (d, c, a, b, two)):
        own, near, far = (_sign((u, normal, vector), mesh.slack) for vector in (v, w, x))
        clear |= (own * near < 0) & (own * far < 0)
    abc, abd, acd, bcd = (_sign(three, mesh.slack) for three in ((a, b, c), (a, b, d), (a, c, d), (b, c, d)))
    clear |= (abc * acd > 0) | (abd * acd < 0) | (abc * bcd < 0) | (abd * bcd > 0)
    return clear


def _sides_from(mesh: _Faces, face: Ints, shared: Bools) -> tuple[Floats, Floats]:
    """The two sides (3, k) that leave the one shared corner of each face."""
    corner = shared.argmax(axis=0)
    origin, after, before = (mesh.place[k, :, face].T for k in (corner, _NEXT[corner], _NEXT[_NEXT[corner]]))
    return after - origin, before - origin


def _unfolded(mesh: _Faces, first: Ints, second: Ints, same: Bools) -> Bools:
    """Whether faces in nearly one plane surely lie on opposite sides of their common edge."""
    one, two = same.any(axis=1), same.any(axis=0)
    k, n = one.argmin(axis=0), two.argmin(axis=0)  # the corners off the edge
    along = mesh.corner[_NEXT[k], first] == mesh.corner[_NEXT[n], second]
    product = dot(mesh.normal[:, first], mesh.normal[:, second])
    bound = 4.0 * mesh.slack * (mesh.size[first] * mesh.size[second]) ** 2 + _TINY
    unfolded: Bools = np.where(along, -product, product) > bound
    return unfolded


def _pierce(mesh: _Faces, first: Ints, second: Ints) -> Bools:
    """Whether a side of one face surely runs through the inside of the other."""
    pierced = np.zeros(len(first), bool)
    for i, j in ((first, second), (second, first)):
        base, face = mesh.place[:, :, i], mesh.place[:, :, j]
        u, v = base[1] - base[0], base[2] - base[0]
        height = [_sign((u, v, corner - base[0]), mesh.slack) for corner in face]
        for k in range(3):
            start, end = face[k], face[k - 2]
            turns = [_sign((end - start, base[n] - start, base[n - 2] - start), mesh.slack) for n in range(3)]
            same_turn = (turns[0] * turns[1] > 0) & (turns[1] * turns[2] > 0)
            pierced |= (height[k] * height[k - 2] < 0) & same_turn
    return pierced


# ------------------------------------------------------------------------------------------------- integers

_Whole = tuple[int, int, int]
_Weighted = tuple[int, int, int, int]  # x, y, z and a positive weight that divides them


def _meet_improperly(one: Floats, two: Floats, same: Bools) -> bool:
    """Whether two faces (3 corners, 3) have more in common than the ``same`` (3, 3) corners' hull; exact.

    The first is cut down to what lies in the second; every corner of what is left must be a shared corner or lie
    between two.
    """
    whole = to_integers(np.concatenate((one, two)))
    rest: list[_Weighted] = [(*corner, 1) for corner in whole[:3]]
    for normal, origin in _walls(*whole[3:]):
        rest = _cut(rest, normal, origin)
    shared = [whole[k] for k in np.flatnonzero(same.any(axis=1)).tolist()]
    return any(not _between(point, shared) for point in rest)


def _walls(a: _Whole, b: _Whole, c: _Whole) -> list[tuple[_Whole, _Whole]]:
    """Half-spaces (outward normal, a point on the wall) whose common part is the triangle, flat or not."""
    normal = _cross(_minus(b, a), _minus(c, a))
    if any(normal):
        sides = [(_cross(_minus(q, p), normal), p) for p, q in ((a, b), (b, c), (c, a))]
        return [(normal, a), (_minus((0, 0, 0), normal), a), *sides]
    start, *_, end = sorted((a, b, c))  # of points in a line, the least and the greatest are the ends
    x, y, z = along = _minus(end, start)
    about = [(0, z, -y), (-z, 0, x), (y, -x, 0)]
    flat = [(sign, start) for normal in about for sign in (normal, _minus((0, 0, 0), normal))]
    return [*flat, (along, end), (_minus((0, 0, 0), along), start)]


def _cut(points: list[_Weighted], normal: _Whole, origin: _Whole) -> list[_Weighted]:
    """The part of a convex outline (maybe a line or a point) on the inner side of a wall."""
    level = _inner(normal, origin)
    heights = [_inner(normal, point) - level * point[3] for point in points]
    rest: list[_Weighted] = []
    for k, (point, height) in enumerate(zip(points, heights, strict=True)):
        before, fall = points[k - 1], heights[k - 1]
        if height * fall < 0:
            x, y, z, w = (abs(fall) * p + abs(height) * q for p, q in zip(point, before, strict=True))
            rest.append((x, y, z, w))
        if height <= 0:
            rest.append(point)
    return rest


def _between(point: _Weighted, ends: list[_Whole]) -> bool:
    """Whether a point is one of the ends (none, one or two) or lies in a straight line between them."""
    weight = point[3]
    offsets = [tuple(p - weight * e for p, e in zip(point, end, strict=False)) for end in ends]
    if not offsets:
        return False
    u, v = offsets[0], offsets[-1]
    return not any(_cross(u, v)) and (not any(u) or not any(v) or (len(ends) == 2 and _inner(u, v) < 0))


def _minus(a: _Whole, b: _Whole) -> _Whole:
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def _cross(a: tuple[int, ...], b: tuple[int, ...]) -> _Whole:
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def _inner(a: tuple[int, ...], b: tuple[int, ...]) -> int:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
