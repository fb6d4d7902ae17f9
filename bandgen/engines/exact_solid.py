"""A solid on true surfaces, read-only: what can be measured on it without knowing the kernel.

Millimetres throughout. Kernel exceptions leave as :class:`~bandgen.errors.EngineError`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepGProp import BRepGProp
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools
from OCP.gp import gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.Message import Message, Message_PrinterOStream
from OCP.Standard import Standard_Failure
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_REVERSED, TopAbs_SHELL, TopAbs_SOLID, TopAbs_VERTEX, TopAbs_WIRE
from OCP.TopExp import TopExp
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Compound, TopoDS_Face, TopoDS_Shape
from OCP.TopTools import TopTools_IndexedMapOfShape

from bandgen.errors import EngineError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

Message.DefaultMessenger_s().RemovePrinters(Message_PrinterOStream.get_type_descriptor_s())  # a library does not print


@contextmanager
def guarded(operation: str) -> Iterator[None]:
    """Turn the kernel's own exceptions into :class:`EngineError`."""
    try:
        yield
    except Standard_Failure as failure:
        raise EngineError(operation, f"{type(failure).__name__}: {failure}") from failure


def subshapes(shape: TopoDS_Shape, kind: Any) -> list[TopoDS_Shape]:
    """Every distinct sub-shape of one kind, in the kernel's order of traversal."""
    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, kind, found)
    return [found.FindKey(index) for index in range(1, found.Extent() + 1)]


def compound(shapes: list[TopoDS_Shape]) -> TopoDS_Compound:
    """The shapes as one, unconnected."""
    result, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(result)
    for shape in shapes:
        builder.Add(result, shape)
    return result


@dataclass(frozen=True)
class Solid:
    """A body of the exact kernel (or, read from a file, whatever came: the counts say what).

    ``shape`` is the kernel's own; nothing outside ``bandgen.engines`` should need it.
    """

    shape: TopoDS_Shape

    @cached_property
    def volume(self) -> float:
        """Volume in mm3 by quadrature on the surfaces; negative if turned inside out."""
        return _mass(self.shape, BRepGProp.VolumeProperties_s)

    @cached_property
    def area(self) -> float:
        """Surface area in mm2."""
        return _mass(self.shape, BRepGProp.SurfaceProperties_s)

    @cached_property
    def bounds(self) -> Floats:
        """Box as [[least x, y, z], [greatest x, y, z]], (2, 3) float, tight to about 1e-6 mm."""
        return _box(self.shape, exact=True)

    @property
    def face_count(self) -> int:
        """Number of faces."""
        return len(self._faces)

    @cached_property
    def solid_count(self) -> int:
        """Number of bodies."""
        return len(subshapes(self.shape, TopAbs_SOLID))

    @cached_property
    def shell_count(self) -> int:
        """Number of closed skins; more than one on one body means a void inside."""
        return len(subshapes(self.shape, TopAbs_SHELL))

    @cached_property
    def genus(self) -> int:
        """Number of through-openings, from Euler's number, all bodies together.

        Ends of a surface's own parametrisation (degenerate edges) are points; a face with inner outlines is
        brought to a disc by one cut each.
        """
        edges = [e for e in subshapes(self.shape, TopAbs_EDGE) if not BRep_Tool.Degenerated_s(TopoDS.Edge_s(e))]
        vertices = subshapes(self.shape, TopAbs_VERTEX)
        inner = len(subshapes(self.shape, TopAbs_WIRE)) - self.face_count
        euler = len(vertices) - len(edges) + self.face_count - inner
        return self.shell_count - euler // 2

    @property
    def cadquery(self) -> Any:
        """The same body as a cadquery shape, for those who work on in cadquery (imported at this moment)."""
        import cadquery

        return cadquery.Shape.cast(self.shape)

    @cached_property
    def _faces(self) -> list[TopoDS_Face]:
        return [TopoDS.Face_s(face) for face in subshapes(self.shape, TopAbs_FACE)]

    @cached_property
    def _face_boxes(self) -> Floats:
        """Boxes that hold each face with a little slack, (faces, 2, 3) float."""
        return np.array([_box(face, exact=False) for face in self._faces])

    def is_valid(self) -> bool:
        """The kernel's own full check: geometry, topology and their agreement."""
        with guarded("validity"):
            return bool(BRepCheck_Analyzer(self.shape).IsValid())

    def distance_to_faces(self, points: Floats) -> Floats:
        """Distance in mm of each point, (n, 3) float, to the nearest face, inside or out: (n,) float."""
        with guarded("distance to faces"):
            return np.array([self._distance(point) for point in np.asarray(points, dtype=float)])

    def _distance(self, point: Floats) -> float:
        """Faces in order of their boxes' distance, until no other box can be nearer."""
        boxes = self._face_boxes
        outside = np.maximum(0.0, np.maximum(boxes[:, 0] - point, point - boxes[:, 1]))
        least = np.linalg.norm(outside, axis=1)
        vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*map(float, point))).Vertex()
        best = math.inf
        for index in np.argsort(least, kind="stable"):
            if least[index] >= best:
                break
            found = BRepExtrema_DistShapeShape(vertex, self._faces[index])
            best = min(best, found.Value()) if found.IsDone() else best
        return best

    def tessellate(self, deviation: float, angle: float) -> tuple[Floats, Ints]:
        """Triangles within ``deviation`` mm and ``angle`` rad of the surfaces, outward: vertices (n, 3) float,
        faces (m, 3) int. Shared edges share vertices. For comparison: the mesh engine's is the better print."""
        with guarded("tessellate"):
            BRepTools.Clean_s(self.shape)
            BRepMesh_IncrementalMesh(self.shape, deviation, False, angle, False)
            pieces = [_triangles(face) for face in self._faces]
            BRepTools.Clean_s(self.shape)
        starts = np.cumsum([0] + [len(vertices) for vertices, _ in pieces])
        vertices = np.concatenate([vertices for vertices, _ in pieces])
        faces = np.concatenate([faces + start for (_, faces), start in zip(pieces, starts[:-1], strict=True)])
        unique, index = np.unique(vertices, axis=0, return_inverse=True)
        welded = index.reshape(-1)[faces]
        a, b, c = welded.T
        return unique, welded[(a != b) & (b != c) & (c != a)].astype(np.int64)


def _mass(shape: TopoDS_Shape, measure: Any) -> float:
    with guarded("measure"):
        properties = GProp_GProps()
        measure(shape, properties)
        return float(properties.Mass())


def _box(shape: TopoDS_Shape, exact: bool) -> Floats:
    with guarded("bounds"):
        box = Bnd_Box()
        if exact:
            BRepBndLib.AddOptimal_s(shape, box, False, False)
        else:
            BRepBndLib.Add_s(shape, box, False)
        return np.array(box.Get()).reshape(2, 3)


def _triangles(face: TopoDS_Face) -> tuple[Floats, Ints]:
    """One face's triangles, outward."""
    location = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face, location)
    if mesh is None:
        raise EngineError("tessellate", "a face got no triangles")
    transform = location.Transformation()
    nodes = [mesh.Node(index).Transformed(transform) for index in range(1, mesh.NbNodes() + 1)]
    faces = np.array([mesh.Triangle(index).Get() for index in range(1, mesh.NbTriangles() + 1)]) - 1
    if face.Orientation() == TopAbs_REVERSED:
        faces = faces[:, ::-1]
    return np.array([(node.X(), node.Y(), node.Z()) for node in nodes]), faces
