"""Triangles from the exact kernel's own mesher, welded by what the faces share and not by where corners lie.

For comparing with the mesh engine and with closed forms; the mesh engine's own triangles are the better print file.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.Poly import Poly_Triangulation
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_REVERSED, TopAbs_VERTEX
from OCP.TopExp import TopExp, TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Shape
from OCP.TopTools import TopTools_IndexedMapOfShape

from bandgen.errors import EngineError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_Key = tuple[int, ...]


def subshapes(shape: TopoDS_Shape, kind: Any) -> list[TopoDS_Shape]:
    """Every distinct sub-shape of one kind, in the kernel's order of traversal."""
    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, kind, found)
    return [found.FindKey(index) for index in range(1, found.Extent() + 1)]


def triangles_of(shape: TopoDS_Shape) -> tuple[Floats, Ints]:
    """A meshed shape's triangles, outward: vertices (n, 3) float, faces (m, 3) int.

    A node on an edge is known by the edge and its number along it, a node at an edge's end by the vertex, so that
    both faces find the same one whatever the last bit of its coordinates.
    """
    shared = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, TopAbs_EDGE, shared)
    TopExp.MapShapes_s(shape, TopAbs_VERTEX, shared)
    ids: dict[_Key, int] = {}
    points: list[tuple[float, float, float]] = []
    pieces = []
    for number, part in enumerate(subshapes(shape, TopAbs_FACE)):
        nodes, faces = _face_mesh(TopoDS.Face_s(part), shared, number, ids, points)
        pieces.append(nodes[faces])
    faces = np.concatenate(pieces)
    a, b, c = faces.T
    return np.array(points), faces[(a != b) & (b != c) & (c != a)]


def _face_mesh(
    face: TopoDS_Face,
    shared: TopTools_IndexedMapOfShape,
    number: int,
    ids: dict[_Key, int],
    points: list[tuple[float, float, float]],
) -> tuple[Ints, Ints]:
    """Global numbers of one face's nodes, (n,) int, and its triangles by local node, (m, 3) int."""
    location = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face, location)
    if mesh is None:
        raise EngineError("tessellate", "a face got no triangles")
    keys = _edge_keys(face, mesh, location, shared)
    transform = location.Transformation()
    nodes = []
    for index in range(1, mesh.NbNodes() + 1):
        key = keys.get(index, (-1 - number, index))
        if key not in ids:
            ids[key] = len(points)
            node = mesh.Node(index).Transformed(transform)
            points.append((node.X(), node.Y(), node.Z()))
        nodes.append(ids[key])
    faces = np.array([mesh.Triangle(index).Get() for index in range(1, mesh.NbTriangles() + 1)], dtype=np.int64) - 1
    return np.array(nodes, dtype=np.int64), faces[:, ::-1] if face.Orientation() == TopAbs_REVERSED else faces


def _edge_keys(
    face: TopoDS_Face, mesh: Poly_Triangulation, location: TopLoc_Location, shared: TopTools_IndexedMapOfShape
) -> dict[int, _Key]:
    """Key by local node for the nodes on the face's edges; a degenerate edge is its vertex."""
    keys: dict[int, _Key] = {}
    explorer = TopExp_Explorer(face, TopAbs_EDGE)
    while explorer.More():
        edge = TopoDS.Edge_s(explorer.Current())
        along: Any = BRep_Tool.PolygonOnTriangulation_s(edge, mesh, location)
        number, count = shared.FindIndex(edge), along.NbNodes()
        first, last = (shared.FindIndex(v) for v in (TopExp.FirstVertex_s(edge), TopExp.LastVertex_s(edge)))
        for step in range(count):
            inner = (number, step) if not BRep_Tool.Degenerated_s(edge) else (first,)
            keys[along.Node(step + 1)] = (first,) if step == 0 else (last,) if step == count - 1 else inner
        explorer.Next()
    return keys
