"""A solid on true surfaces, read-only: what can be measured on it without knowing the kernel.

Millimetres throughout. Kernel exceptions leave as :class:`~bandgen.errors.EngineError`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from OCP import OSD, BRepExtrema, Geom, GProp, Interface, LProp, Standard, StdFail, Transfer, gp
from OCP import TopoDS as TopoDS_module
from OCP import math as kernel_math
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeVertex
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepExtrema import BRepExtrema_DistShapeShape
from OCP.BRepGProp import BRepGProp, BRepGProp_Domain, BRepGProp_Face, BRepGProp_Vinert
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools
from OCP.GeomAbs import GeomAbs_Sphere
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.Message import Message, Message_PrinterOStream
from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_SHELL, TopAbs_SOLID, TopAbs_VERTEX, TopAbs_WIRE
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Compound, TopoDS_Face, TopoDS_Shape

from bandgen.engines.exact_mesh import subshapes, triangles_of
from bandgen.errors import EngineError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

Message.DefaultMessenger_s().RemovePrinters(Message_PrinterOStream.get_type_descriptor_s())  # a library does not print

_KERNEL_MODULES = (
    BRepExtrema,
    Geom,
    GProp,
    Interface,
    LProp,
    OSD,
    Standard,
    StdFail,
    TopoDS_module,
    Transfer,
    gp,
    kernel_math,
)
KERNEL_FAILURES = tuple(
    kind
    for module in _KERNEL_MODULES
    for kind in vars(module).values()
    if isinstance(kind, type) and issubclass(kind, Exception)
)
"""Every exception class of the kernel's modules in use: OCP gives them no common base below Exception."""


@contextmanager
def guarded(operation: str) -> Iterator[None]:
    """Turn the kernel's own exceptions into :class:`EngineError`."""
    try:
        yield
    except KERNEL_FAILURES as failure:
        raise EngineError(operation, f"{type(failure).__name__}: {failure}") from failure


def compound(shapes: list[TopoDS_Shape]) -> TopoDS_Compound:
    """The shapes as one, unconnected."""
    result, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(result)
    for shape in shapes:
        builder.Add(result, shape)
    return result


ON_FACE_MM = 1e-6
"""A point this near to a face lies on it: the tolerance of the joined edges."""

QUADRATURE_SHARE = 1e-3
"""Relative error asked of each face's adaptive quadrature, of the cone from the origin to the face: bores, hoops and
shanks then have an integrand that hardly varies round the ring (from the body's own centre, as the kernel takes it, a
wide open band was seen 2.3e-5 off after a trip through STEP). A whole band lies within 1e-8 of what 1e-6 gives, at
half the time. The kernel's fixed rule was seen 1.2e-5 off on faces with
curved outlines, and differently so before and after STEP; the adaptive one, asked for 1e-7, was seen to stop early on
a bulging torus, 1.5e-5 off: no part of a band bulges so."""


@dataclass(frozen=True, eq=False)
class Solid:
    """A body of the exact kernel (or, read from a file, whatever came: the counts say what).

    ``shape`` is the kernel's own; nothing outside ``bandgen.engines`` should need it.
    """

    shape: TopoDS_Shape

    @cached_property
    def quick_volume(self) -> float:
        """Volume in mm3 by the kernel's fixed rule: exact to 1e-13 on whole surfaces, seen 1e-5 off on trimmed ones."""
        return _mass(self.shape, BRepGProp.VolumeProperties_s)

    @cached_property
    def volume(self) -> float:
        """Volume in mm3 by adaptive quadrature; negative if turned inside out."""
        with guarded("measure"):
            return math.fsum(_signed_volume(face) for face in _oriented_faces(self.shape))

    @cached_property
    def leak_mm3(self) -> float:
        """How far the volume may be off because some edges lie off their faces, by more than ON_FACE_MM up to their
        tolerance: the slit beside each, seen from the origin as the volume is. (Where a torus meets a cone the kernel
        fits a curve; edges of 5e-4 mm were seen.)"""
        slits = 0.0
        for edge in map(TopoDS.Edge_s, subshapes(self.shape, TopAbs_EDGE)):
            tolerance = BRep_Tool.Tolerance_s(edge)
            if tolerance > ON_FACE_MM and not BRep_Tool.Degenerated_s(edge):
                slits += tolerance * _mass(edge, BRepGProp.LinearProperties_s)
        return slits * float(np.linalg.norm(np.abs(rough_box(self.shape)).max(axis=0))) / 3.0

    @cached_property
    def corners(self) -> Floats:
        """The vertices' coordinates, (n, 3) float, each axis sorted by itself: equal for equal bodies."""
        points = [BRep_Tool.Pnt_s(TopoDS.Vertex_s(vertex)) for vertex in subshapes(self.shape, TopAbs_VERTEX)]
        return np.sort(np.array([(point.X(), point.Y(), point.Z()) for point in points]).reshape(-1, 3), axis=0)

    @cached_property
    def edge_count(self) -> int:
        """Number of edges."""
        return len(subshapes(self.shape, TopAbs_EDGE))

    @cached_property
    def area(self) -> float:
        """Surface area in mm2."""
        return _mass(self.shape, BRepGProp.SurfaceProperties_s)

    @cached_property
    def bounds(self) -> Floats:
        """Box as [[least x, y, z], [greatest x, y, z]], (2, 3) float, tight to about 1e-6 mm."""
        least = [-self._extreme(-self._face_boxes[:, 0, axis], 0, axis, -1.0) for axis in range(3)]
        return np.array([least, [self._extreme(self._face_boxes[:, 1, axis], 1, axis, 1.0) for axis in range(3)]])

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
        return np.array([rough_box(face) for face in self._faces])

    def _extreme(self, rough: Floats, end: int, axis: int, sign: float) -> float:
        """Greatest coordinate one way: faces in order of their rough boxes, until no other can reach further."""
        best = -math.inf
        for index in np.argsort(-rough, kind="stable"):
            if rough[index] <= best:
                break
            best = max(best, sign * float(_tight_box(self._faces[index])[end, axis]))
        return best

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
            mesh = triangles_of(self.shape)
            BRepTools.Clean_s(self.shape)
        return mesh


def _oriented_faces(shape: TopoDS_Shape) -> Iterator[TopoDS_Face]:
    """Every face as often and as it lies in the shape."""
    explorer = TopExp_Explorer(shape, TopAbs_FACE)
    while explorer.More():
        yield TopoDS.Face_s(explorer.Current())
        explorer.Next()


def _signed_volume(face: TopoDS_Face) -> float:
    """Volume in mm3 between the origin and a face, negative where the face looks at the origin."""
    integral = BRepGProp_Vinert()
    integral.SetLocation(gp_Pnt(0.0, 0.0, 0.0))
    integral.Perform(BRepGProp_Face(face), BRepGProp_Domain(face), QUADRATURE_SHARE)
    return float(integral.Mass())


def _mass(shape: TopoDS_Shape, measure: Any) -> float:
    with guarded("measure"):
        properties = GProp_GProps()
        measure(shape, properties)
        return float(properties.Mass())


def rough_box(shape: TopoDS_Shape) -> Floats:
    """A box that surely holds the shape, with some slack, quickly: (2, 3) float."""
    with guarded("bounds"):
        box = Bnd_Box()
        BRepBndLib.Add_s(shape, box, False)
        return np.array(box.Get()).reshape(2, 3)


def _tight_box(shape: TopoDS_Shape) -> Floats:
    """By distances to far planes, nearest faces first: the kernel's own tight box passes a sphere's top over too."""
    with guarded("bounds"):
        faces = [TopoDS.Face_s(face) for face in subshapes(shape, TopAbs_FACE)]
        boxes = np.array([rough_box(face) for face in faces])
        ends = [
            [_end(faces, boxes[:, side, axis], axis, sign) for axis in range(3)] for side, sign in ((0, -1), (1, 1))
        ]
        return np.array(ends)


def _end(faces: list[TopoDS_Face], rough: Floats, axis: int, sign: int) -> float:
    """How far the faces reach along an axis; ``rough`` (n,) holds what each surely does not pass."""
    far = float(np.abs(rough).max()) + 10.0
    normal = [float(sign) * (axis == index) for index in range(3)]
    plane = gp_Pln(gp_Pnt(*(far * part for part in normal)), gp_Dir(*normal))
    wall = BRepBuilderAPI_MakeFace(plane, -4.0 * far, 4.0 * far, -4.0 * far, 4.0 * far).Face()
    reach = -math.inf
    for index in np.argsort(-sign * rough):
        if sign * rough[index] <= reach:
            break
        reach = max(reach, far - BRepExtrema_DistShapeShape(faces[index], wall).Value(), _pole(faces[index], normal))
    return sign * reach


def _pole(face: TopoDS_Face, normal: Sequence[float]) -> float:
    """How far a sphere's face reaches along a direction by its inside; minus infinity where only its edges may. The
    kernel's distance from a plane passes that point over."""
    surface = BRepAdaptor_Surface(face)
    if surface.GetType() != GeomAbs_Sphere:
        return -math.inf
    sphere = surface.Sphere()
    centre = np.array([sphere.Location().X(), sphere.Location().Y(), sphere.Location().Z()])
    point = centre + sphere.Radius() * np.array(normal)
    vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*map(float, point))).Vertex()
    on_face = BRepExtrema_DistShapeShape(vertex, face).Value() < ON_FACE_MM
    return float(point @ np.array(normal)) if on_face else -math.inf
