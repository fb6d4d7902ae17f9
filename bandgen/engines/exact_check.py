"""Faults of an exact solid with their places: open edges, faces without area, parts that run through one another."""

from __future__ import annotations

from OCP.BOPAlgo import BOPAlgo_CheckerSI
from OCP.BRep import BRep_Tool
from OCP.BRepGProp import BRepGProp
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
from OCP.TopExp import TopExp
from OCP.TopoDS import TopoDS, TopoDS_Shape
from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape, TopTools_ListOfShape

from bandgen.engines.exact_mesh import subshapes
from bandgen.engines.exact_solid import Solid, guarded, rough_box

Point = tuple[float, float, float]

LEAST_AREA_MM2 = 1e-10
"""A square of a hundredth of a micron: nothing that a kernel makes on purpose is smaller."""


def open_edges(solid: Solid) -> list[Point]:
    """Where an edge has a face on one side only (degenerate edges and seams of closed surfaces are none)."""
    found = TopTools_IndexedDataMapOfShapeListOfShape()
    TopExp.MapShapesAndAncestors_s(solid.shape, TopAbs_EDGE, TopAbs_FACE, found)
    places = []
    for index in range(1, found.Extent() + 1):
        edge, faces = TopoDS.Edge_s(found.FindKey(index)), list(found.FindFromIndex(index))
        seam = len(faces) == 1 and BRep_Tool.IsClosed_s(edge, TopoDS.Face_s(faces[0]))
        # A seam's face is listed once for each of its two uses, or once in all.
        if len(faces) == 1 and not seam and not BRep_Tool.Degenerated_s(edge):
            places.append(_middle(edge))
    return places


def tiny_faces(solid: Solid) -> list[Point]:
    """Where a face has no area to speak of."""
    places = []
    for face in subshapes(solid.shape, TopAbs_FACE):
        properties = GProp_GProps()
        BRepGProp.SurfaceProperties_s(face, properties)
        if abs(properties.Mass()) < LEAST_AREA_MM2:
            places.append(_middle(face))
    return places


def interferences(solid: Solid) -> list[Point]:
    """Where faces, edges or vertices meet without sharing what they meet in. Slow: about 0.3 s a stone."""
    with guarded("search for self-intersections"):
        shapes = TopTools_ListOfShape()
        shapes.Append(solid.shape)
        checker = BOPAlgo_CheckerSI()
        checker.SetArguments(shapes)
        checker.SetNonDestructive(True)
        checker.SetRunParallel(True)
        checker.Perform()
        structure = checker.DS()
        pairs = list(structure.Interferences()) if structure.Interferences().Size() else []
        return [_middle(structure.Shape(pair.Indices()[0])) for pair in pairs]


def _middle(shape: TopoDS_Shape) -> Point:
    low, high = rough_box(shape)
    x, y, z = (float(value) for value in (low + high) / 2.0)
    return (x, y, z)
