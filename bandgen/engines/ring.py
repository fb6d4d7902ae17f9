"""Joins the mesh engine's patches by index: mirrored, arrayed round the ring, welded without any search.

A vertex on a shared plane is one vertex, known by its place in the patch (element of the patch and its mirror
image) or, between two cells, by its place in the sorted list of the plane's vertices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bandgen.engines.facets import Floats, Ints
from bandgen.engines.mesh import Patch
from bandgen.errors import EngineError
from bandgen.units import SNAP_MM, sincosd

SHIFT_MM = 3.1e-7


@dataclass(frozen=True, eq=False)
class Strip:
    """A whole cell's skin in its own frame, open at its two station planes: the vertex ids on ``before`` and
    ``after`` are in one order, by radius and z in their plane."""

    vertices: Floats
    faces: Ints
    before: Ints
    after: Ints


@dataclass(frozen=True, eq=False)
class RingMesh:
    """A closed ring: ``vertices`` (n, 3) float, ``faces`` (m, 3) int outward; ``cell_faces`` is the number of faces
    of each cell, in order round the ring."""

    vertices: Floats
    faces: Ints
    cell_faces: tuple[int, ...]


def mirrored(patch: Patch, axis: int, plane: int) -> Patch:
    """The patch and its image in coordinate ``axis``, welded on cut plane ``plane``; the other planes keep their
    order, first the patch's vertices, then the image's."""
    count = len(patch.vertices)
    shared = np.zeros(count, bool)
    shared[patch.on_plane[plane]] = True
    image_id = np.where(shared, np.arange(count), count - 1 + np.cumsum(~shared))
    image = patch.vertices[~shared].copy()
    image[:, axis] *= -1.0
    faces = np.concatenate((patch.faces, image_id[patch.faces[:, ::-1]]))
    others = [ids for index, ids in enumerate(patch.on_plane) if index != plane]
    on_plane = tuple(np.concatenate((ids, image_id[ids[~shared[ids]]])) for ids in others)
    return Patch(np.concatenate((patch.vertices, image)), faces, on_plane)


def strip_of_quarter(patch: Patch) -> Strip:
    """A quarter (planes: before, mirror x, mirror z), or the half x >= 0 without the last of these, made whole."""
    half = _whole_in_z(patch)
    whole = mirrored(half, 0, 1)
    before = whole.on_plane[0]
    # The image's half of the station plane is the plane after the seam, in the same order.
    size = len(half.on_plane[0])
    return _sorted(whole.vertices, whole.faces, before[:size], before[size:])


def strip_of_whole(patch: Patch) -> Strip:
    """A half in z (planes: before, after, mirror z) made whole, or a whole cell without the last of these."""
    whole = _whole_in_z(patch)
    return _sorted(whole.vertices, whole.faces, *whole.on_plane)


def _whole_in_z(patch: Patch) -> Patch:
    return mirrored(patch, 2, 2) if len(patch.on_plane) == 3 else patch


def _sorted(vertices: Floats, faces: Ints, before: Ints, after: Ints) -> Strip:
    return Strip(vertices, faces, before[_order(vertices[before])], after[_order(vertices[after])])


def _order(points: Floats) -> Ints:
    """Order by z, then by distance from the ring's axis, both rounded well under the shortest edge, and shifted so that
    a value of whole nanometres is never half way between two."""
    radius = np.round(np.hypot(points[:, 0], points[:, 1]) + SHIFT_MM, 6)
    return np.lexsort((radius, np.round(points[:, 2] + SHIFT_MM, 6)))


def flipped(strip: Strip) -> Strip:
    """The strip's mirror image in its seam plane."""
    return Strip(strip.vertices * (-1.0, 1.0, 1.0), strip.faces[:, ::-1], strip.after, strip.before)


def close_ring(cells: Sequence[tuple[Strip, float]]) -> RingMesh:
    """Cells in order round the ring, each a strip and the angle of its seam in degrees, joined at the station planes;
    the last one joins the first.

    Raises:
        EngineError: when two neighbours disagree on their common plane.
    """
    vertices: list[Floats] = []
    faces: list[Ints] = []
    first: _Edge | None = None
    last: _Edge | None = None
    total = 0
    for index, (strip, angle) in enumerate(cells):
        points = _turned(strip.vertices, angle)
        closing = first if index == len(cells) - 1 else None
        number, fresh = _number(strip, points, total, last, closing)
        vertices.append(points[fresh])
        faces.append(number[strip.faces])
        total += int(fresh.sum())
        last = _Edge(number[strip.after], points[strip.after])
        first = first or _Edge(number[strip.before], points[strip.before])
    return RingMesh(np.concatenate(vertices), np.concatenate(faces), tuple(len(block) for block in faces))


@dataclass(frozen=True, eq=False)
class _Edge:
    """A station plane's vertices as they stand in the ring: their ids and points, in the strips' order."""

    ids: Ints
    points: Floats


def _number(
    strip: Strip, points: Floats, total: int, last: _Edge | None, closing: _Edge | None
) -> tuple[Ints, NDArray[np.bool_]]:
    """The ring's ids of a strip's vertices, and which of them are new: not those that it shares with the cell before
    it, nor, where it closes the ring, with the first."""
    joints = [(own, edge) for own, edge in ((strip.before, last), (strip.after, closing)) if edge is not None]
    fresh = np.ones(len(points), bool)
    for own, edge in joints:
        _agree(points[own], edge)
        fresh[own] = False
    number = total - 1 + np.cumsum(fresh)
    for own, edge in joints:
        number[own] = edge.ids
    return number, fresh


def _agree(points: Floats, edge: _Edge) -> None:
    """The vertices that two neighbours share must coincide."""
    if len(points) != len(edge.points):
        raise EngineError(
            "join", f"a cell has {len(points)} vertices on a plane where its neighbour has {len(edge.points)}"
        )
    gap = float(np.abs(points - edge.points).max(initial=0.0))
    if gap > 10.0 * SNAP_MM:
        raise EngineError("join", f"neighbouring cells lie {gap:.2e} mm apart on their common plane")


def _turned(points: Floats, degrees: float) -> Floats:
    sine, cosine = sincosd(degrees)
    x, y = points[:, 0], points[:, 1]
    return np.column_stack((cosine * x - sine * y, sine * x + cosine * y, points[:, 2]))
