"""The exact engine: the parts on true surfaces, by cadquery's kernel (OCP).

With its neighbours ``exact_solid``, ``exact_join`` and ``step`` it is the only door to that kernel. Importing it
takes about a second, so import it late.

Every verb hands out a checked result or raises :class:`~bandgen.errors.EngineError` with the operation.
Nothing is healed, no tolerance is widened, no faces are unified (which has been seen to lose volume silently).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakeVertex,
    BRepBuilderAPI_MakeWire,
    BRepBuilderAPI_Transform,
)
from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakePrism, BRepPrimAPI_MakeRevol
from OCP.GeomAbs import GeomAbs_Plane
from OCP.gp import gp_Ax1, gp_Ax2, gp_Circ, gp_Dir, gp_Pln, gp_Pnt, gp_Trsf, gp_Vec
from OCP.TopAbs import TopAbs_FACE, TopAbs_SOLID
from OCP.TopoDS import TopoDS, TopoDS_Edge, TopoDS_Face, TopoDS_Shape, TopoDS_Vertex
from OCP.TopTools import TopTools_ListOfShape

from bandgen.engines.exact_mesh import subshapes
from bandgen.engines.exact_solid import Solid, compound, guarded, rough_box
from bandgen.errors import EngineError
from bandgen.parts import Frame, Part, Plane, Point, Profile, Revolved, arc_of, merge_arcs, shared_shapes, volume
from bandgen.units import SNAP_MM

__all__ = ["Patch", "Solid", "evaluate", "make_solid", "mirrored", "whole"]

PART_VOLUME_RELATIVE = 1e-9
"""How far a part's volume by quadrature may lie from its closed form; 1e-13 seen."""

FUSE_VOLUME_RELATIVE = 1e-5
"""Of fused and of common bodies: slack on the volume of trimmed faces by the quick rule; 2e-6 seen."""


@dataclass(frozen=True, eq=False)
class Patch:
    """The skin of a cell without the faces in its cut planes, ready to be joined to its images.

    ``cell`` is the closed body that the skin was taken from.
    """

    cell: Solid
    skin: TopoDS_Shape

    @property
    def volume(self) -> float:
        """Volume of the cell in mm3."""
        return self.cell.volume

    @property
    def face_count(self) -> int:
        """Number of faces of the skin."""
        return len(subshapes(self.skin, TopAbs_FACE))


def make_solid(part: Part) -> Solid:
    """One part on true surfaces, its sign left aside. A revolution's seam lies on the +u side; stops do not show.

    Each shape is checked against the closed form: a profile that runs clockwise, crosses itself or crosses its axis
    is an error. So is a part that is not one body within its others.
    """
    solids = [_make_shape(shape) for shape in shared_shapes(part)]
    return solids[0] if len(solids) == 1 else _common(solids, f"make {part.name}")


def _make_shape(part: Part) -> Solid:
    operation = f"make {part.name}"
    with guarded(operation):
        if isinstance(part.shape, Revolved):
            shape = _revolve(part.shape.profile, part.frame)
        else:
            shape = _extrude(part.shape.profile, part.frame, part.shape.length)
    solid, meant = _one_solid(shape, operation), volume(part.shape)
    if abs(solid.quick_volume - meant) > PART_VOLUME_RELATIVE * abs(meant):
        raise EngineError(operation, f"has {solid.quick_volume:.9g} mm3 where its profile says {meant:.9g}")
    return solid


def _common(solids: Sequence[Solid], operation: str) -> Solid:
    """What all share. One after the other: the kernel takes many tools of one call for their union."""
    common = solids[0]
    for solid in solids[1:]:
        common = _one_solid(_combine(BRepAlgoAPI_Common, [common], [solid], operation), operation)
    most = min(solid.quick_volume for solid in solids)
    if not common.volume <= most * (1.0 + FUSE_VOLUME_RELATIVE):
        raise EngineError(operation, f"has {common.volume:.9g} mm3 within {most:.9g}")
    return common


def evaluate(parts: Sequence[Part], planes: Sequence[Plane], threads: bool = True) -> Patch:
    """The cell: all additions joined, all cuts taken afterwards, and kept where ``normal . x <= 0`` for each plane.

    Faces that lie in the planes are dropped from the skin, so no part's own face may lie in a cut plane. ``threads``:
    whether the kernel may use all cores.
    """
    cell = _body(parts, planes, threads)
    with guarded("drop cut faces"):
        faces = [face for face in subshapes(cell.shape, TopAbs_FACE) if not _lies_in_any(face, planes)]
    return Patch(cell, compound(faces))


def whole(parts: Sequence[Part]) -> Solid:
    """All parts in one, without any cut plane: slow for a ring, and the reference that cells are held against."""
    return _body(parts, ())


def mirrored(patch: Patch) -> Patch:
    """The patch's image in the plane x = 0, outward again."""
    with guarded("mirror"):
        flip = gp_Trsf()
        flip.SetMirror(gp_Ax2(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(1.0, 0.0, 0.0)))
        cell, skin = (BRepBuilderAPI_Transform(shape, flip, True).Shape() for shape in (patch.cell.shape, patch.skin))
    return Patch(_one_solid(cell, "mirror"), skin)


def scaled(solid: Solid, factor: float) -> Solid:
    """The body ``factor`` times as large about the origin, its surfaces true ones of the same kinds."""
    with guarded("scale"):
        grow = gp_Trsf()
        grow.SetScale(gp_Pnt(0.0, 0.0, 0.0), factor)
        return Solid(BRepBuilderAPI_Transform(solid.shape, grow, True).Shape())


def _body(parts: Sequence[Part], planes: Sequence[Plane], threads: bool = True) -> Solid:
    """One fuse, one cut of what lies beyond the planes, and one of all tools, which then meet less (a tenth faster than
    one cut of both)."""
    adding = [part for part in parts if part.sign > 0]
    if not adding:
        raise EngineError("fuse", "no part adds metal")
    added = [make_solid(part) for part in adding]
    volumes = [s.volume if part.within else s.quick_volume for part, s in zip(adding, added, strict=True)]
    joined = _fuse(added, volumes, threads)
    cuts = [make_solid(part) for part in parts if part.sign < 0]
    reach = 2.0 * float(np.linalg.norm(rough_box(joined.shape), axis=1).max())
    with guarded("cut"):
        beyond = [_outside(plane, reach) for plane in planes]
    trimmed = Solid(_combine(BRepAlgoAPI_Cut, [joined], beyond, "cut", threads))
    return _one_solid(_combine(BRepAlgoAPI_Cut, [trimmed], cuts, "cut", threads), "cut")


def _fuse(added: Sequence[Solid], volumes: Sequence[float], threads: bool) -> Solid:
    """All additions in one; an envelope of their ``volumes`` catches a kernel that lost one of them."""
    joined = Solid(_combine(BRepAlgoAPI_Fuse, added[:1], added[1:], "fuse", threads))
    slack = FUSE_VOLUME_RELATIVE * sum(volumes)
    if not max(volumes) - slack <= joined.volume <= sum(volumes) + slack:
        raise EngineError("fuse", f"gave {joined.volume:.9g} mm3 of {max(volumes):.9g} to {sum(volumes):.9g} possible")
    return joined


def _combine(
    operator: Any, arguments: Sequence[Solid], tools: Sequence[Solid], operation: str, threads: bool = True
) -> TopoDS_Shape:
    """One boolean of many shapes, exact (no fuzzy value). Threads take 0.4 off, where no other process wants the cores,
    and do not change the bytes."""
    if not tools:
        return arguments[0].shape
    with guarded(operation):
        boolean = operator()
        boolean.SetArguments(_listed(arguments))
        boolean.SetTools(_listed(tools))
        boolean.SetRunParallel(threads)
        boolean.SetUseOBB(True)
        boolean.SetToFillHistory(False)
        boolean.Build()
        if not boolean.IsDone() or boolean.Shape().IsNull():
            raise EngineError(operation, f"the kernel gave nothing for {len(arguments) + len(tools)} shapes")
        return boolean.Shape()


def _listed(solids: Sequence[Solid]) -> TopTools_ListOfShape:
    shapes = TopTools_ListOfShape()
    for solid in solids:
        shapes.Append(solid.shape)
    return shapes


def _one_solid(shape: TopoDS_Shape, operation: str) -> Solid:
    """The one body in a result, or an error that says what came instead."""
    bodies = [] if shape.IsNull() else subshapes(shape, TopAbs_SOLID)
    if len(bodies) != 1:
        raise EngineError(operation, f"gave {len(bodies)} bodies instead of one")
    solid = Solid(bodies[0])
    if not solid.quick_volume > 0.0:
        raise EngineError(operation, f"gave a volume of {solid.quick_volume:.3g} mm3")
    return solid


def _outside(plane: Plane, reach: float) -> Solid:
    """A box that holds everything beyond the plane."""
    corner = gp_Ax2(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(*plane.normal))
    offset = (gp_Vec(corner.XDirection()) + gp_Vec(corner.YDirection())).Multiplied(-reach)
    return Solid(BRepPrimAPI_MakeBox(corner.Translated(offset), 2.0 * reach, 2.0 * reach, reach).Solid())


def _lies_in_any(shape: TopoDS_Shape, planes: Sequence[Plane]) -> bool:
    surface = BRepAdaptor_Surface(TopoDS.Face_s(shape), False)
    if surface.GetType() != GeomAbs_Plane:
        return False
    flat = surface.Plane()
    return any(_coincident(flat, plane) for plane in planes)


def _coincident(flat: gp_Pln, plane: Plane) -> bool:
    """The same plane within the snap, whichever way it faces."""
    origin = gp_Pnt(0.0, 0.0, 0.0)
    parallel = flat.Axis().IsParallel(gp_Ax1(origin, gp_Dir(*plane.normal)), SNAP_MM)
    return bool(parallel and flat.Distance(origin) < SNAP_MM)


def _revolve(profile: Profile, frame: Frame) -> TopoDS_Shape:
    axis = gp_Ax1(gp_Pnt(*frame.origin), gp_Dir(*frame.v))
    return BRepPrimAPI_MakeRevol(_face(profile, frame, 0.0), axis).Shape()


def _extrude(profile: Profile, frame: Frame, length: float) -> TopoDS_Shape:
    along = gp_Vec(*frame.w).Multiplied(length)
    return BRepPrimAPI_MakePrism(_face(profile, frame, -length / 2.0), along).Shape()


def _face(profile: Profile, frame: Frame, w: float) -> TopoDS_Face:
    """The profile as a flat face at height w of its frame, facing +w; arcs of one circle are one edge."""
    merged = merge_arcs(profile)
    vertices = [BRepBuilderAPI_MakeVertex(_placed(frame, p.u, p.v, w)).Vertex() for p in merged.points]
    wire = BRepBuilderAPI_MakeWire()
    for index, (start, end) in enumerate(merged.sides):
        pair = (vertices[index], vertices[(index + 1) % len(vertices)])
        wire.Add(_edge(start, end, pair, frame, w))
    plane = gp_Pln(_placed(frame, 0.0, 0.0, w), gp_Dir(*frame.w))
    return BRepBuilderAPI_MakeFace(plane, wire.Wire()).Face()


def _edge(
    start: Point, end: Point, vertices: tuple[TopoDS_Vertex, TopoDS_Vertex], frame: Frame, w: float
) -> TopoDS_Edge:
    """A side as a line or a circular arc between the given vertices."""
    if start.bulge == 0.0:
        return BRepBuilderAPI_MakeEdge(*vertices).Edge()
    arc = arc_of(start, end)
    turn = 1.0 if arc.sweep > 0.0 else -1.0
    centre = _placed(frame, arc.u, arc.v, w)
    normal = gp_Dir(*(turn * c for c in frame.w))
    begin = gp_Dir(gp_Vec(centre, _placed(frame, start.u, start.v, w)))
    circle = gp_Circ(gp_Ax2(centre, normal, begin), arc.radius)
    return BRepBuilderAPI_MakeEdge(circle, *vertices).Edge()


def _placed(frame: Frame, a: float, b: float, c: float) -> gp_Pnt:
    """Local (a, b, c) in space."""
    rows = zip(frame.origin, frame.u, frame.v, frame.w, strict=True)
    return gp_Pnt(*(o + a * u + b * v + c * w for o, u, v, w in rows))
