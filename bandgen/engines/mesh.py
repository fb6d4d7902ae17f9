"""The mesh engine: the only door to manifold3d. Facets parts, joins and cuts them, trims a cell to its planes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache, reduce

import manifold3d
import numpy as np

from bandgen.engines.facets import Floats, Ints, extrude, place, polyline, revolve
from bandgen.errors import EngineError
from bandgen.parts import Extruded, Part, Plane, Revolved, Shape, shared_shapes, volume
from bandgen.units import SHORTEST_EDGE_MM, SNAP_MM


@dataclass(frozen=True, eq=False)
class Patch:
    """The skin of a cell without its cut faces: ``vertices`` (n, 3), ``faces`` (m, 3) outward, and for each cut plane
    the ids of the vertices on it."""

    vertices: Floats
    faces: Ints
    on_plane: tuple[Ints, ...]


def evaluate(parts: Sequence[Part], planes: Sequence[Plane], deviation_mm: float) -> Patch:
    """All additions joined, all cuts made, trimmed to ``planes``.

    Raises:
        EngineError: when a part is no closed body or nothing is left.
    """
    metal = _union([part for part in parts if part.sign > 0], deviation_mm)
    tools = _union([part for part in parts if part.sign < 0], deviation_mm)
    if planes:  # before the cuts: they then meet less metal; a stray point that it may leave is for ``border``
        metal = metal ^ _wedge(planes, metal.bounding_box())
    return _open(metal - tools, planes)


def solid_mesh(parts: Sequence[Part], deviation_mm: float) -> Patch:
    """All parts of a whole ring at once, without cells: the reference of tests and bench."""
    return evaluate(parts, (), deviation_mm)


def facet(part: Part, deviation_mm: float) -> tuple[Floats, Ints]:
    """A part's own shape as a closed mesh, whatever it is within: vertices (n, 3), faces (m, 3)."""
    local, faces = _local(part.shape, deviation_mm)
    return place(local, part.frame), faces


@lru_cache(maxsize=256)
def _local(shape: Shape, deviation_mm: float) -> tuple[Floats, Ints]:
    """A shape in its own frame; kept, as a stone's seat stands in two cells. Not to be written to."""
    if isinstance(shape, Revolved):
        return revolve(shape, deviation_mm)
    return _extruded(shape, deviation_mm)


def _extruded(shape: Extruded, deviation_mm: float) -> tuple[Floats, Ints]:
    outline = polyline(shape.profile, deviation_mm)
    caps = np.asarray(manifold3d.triangulate([outline]), dtype=np.int64)
    return extrude(outline, caps, shape.length)


def _union(parts: Sequence[Part], deviation_mm: float) -> manifold3d.Manifold:
    bodies = [_body(part, deviation_mm) for part in parts]
    return manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Add) if bodies else manifold3d.Manifold()


def _body(part: Part, deviation_mm: float) -> manifold3d.Manifold:
    """A part's body: of its shape, or of what that shares with those it is within."""
    if not part.within:
        return _own_body(part, deviation_mm)
    bodies = [_own_body(shape, deviation_mm) for shape in shared_shapes(part)]
    common = manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Intersect)
    if common.status() != manifold3d.Error.NoError or common.is_empty():
        raise EngineError("within", f"{part.name} shares nothing with what it is within ({common.status()})")
    return common


def _own_body(part: Part, deviation_mm: float) -> manifold3d.Manifold:
    """The body of a part's own shape, its volume held against the closed form."""
    vertices, faces = facet(part, deviation_mm)
    body = manifold3d.Manifold(manifold3d.Mesh64(vertices, faces.astype(np.uint64)))
    if body.status() != manifold3d.Error.NoError or body.is_empty():
        raise EngineError("facet", f"{part.name} is no closed body ({body.status()})")
    meant, got = volume(part.shape), body.volume()
    if not (got > 0.0 and abs(got - meant) <= deviation_mm * body.surface_area()):
        raise EngineError("facet", f"{part.name} has {got:.6f} mm3 where its outline says {meant:.6f}")
    return body


def _wedge(planes: Sequence[Plane], box: Sequence[float]) -> manifold3d.Manifold:
    """A body that fills the cell between its planes, wider than ``box``."""
    reach = 2.0 * max(map(abs, box)) + 1.0
    wedge = manifold3d.Manifold.cube([2.0 * reach] * 3, True)
    for plane in planes:
        wedge = wedge.trim_by_plane([-component for component in plane.normal], 0.0)
    return wedge


def _open(solid: manifold3d.Manifold, planes: Sequence[Plane]) -> Patch:
    """The solid's skin, its vertices snapped onto the planes, faces in a plane dropped."""
    solid = solid.simplify(SHORTEST_EDGE_MM)
    if solid.status() != manifold3d.Error.NoError or solid.is_empty():
        raise EngineError("boolean", f"the cell came out empty or broken ({solid.status()})")
    mesh = solid.to_mesh64()
    vertices = np.array(mesh.vert_properties[:, :3])
    faces = np.asarray(mesh.tri_verts, dtype=np.int64)
    masks = [np.abs(vertices @ np.array(plane.normal)) < SNAP_MM for plane in planes]
    for plane, mask in zip(planes, masks, strict=True):
        vertices[mask] = _onto(vertices[mask], plane)
    flat = [mask[faces].all(axis=1) for mask in masks]
    kept = faces[~reduce(np.logical_or, flat, np.zeros(len(faces), bool))]
    return _compact(vertices, kept, masks)


def _onto(points: Floats, plane: Plane) -> Floats:
    normal = np.array(plane.normal)
    return points - np.outer(points @ normal, normal)


def _compact(vertices: Floats, faces: Ints, masks: Sequence[np.ndarray]) -> Patch:
    used = np.zeros(len(vertices), bool)
    used[faces] = True
    number = np.cumsum(used) - 1
    on_plane = tuple(number[np.flatnonzero(mask & used)] for mask in masks)
    return Patch(vertices[used], number[faces], on_plane)
