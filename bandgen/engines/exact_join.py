"""Joining the skins of cells to one closed body, by sewing in halves.

Sewing all images at once compares every open edge with every other. In halves only a few edges are open at a time,
and stretches that are turned images of one another (all those of an even band) are sewn once: measured at 40 stones,
0.10 s against 0.5 s.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from OCP.BRep import BRep_Builder, BRep_Tool
from OCP.BRepBuilderAPI import BRepBuilderAPI_Sewing
from OCP.BRepLib import BRepLib
from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Trsf
from OCP.TopAbs import TopAbs_SHELL
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS_Shape, TopoDS_Solid

from bandgen.engines.exact import Patch
from bandgen.engines.exact_mesh import subshapes
from bandgen.engines.exact_solid import Solid, guarded
from bandgen.errors import EngineError

Placed = Sequence[tuple[Patch, float]]
_Known = dict[tuple[tuple[int, float], ...], tuple[TopoDS_Shape, float]]

SEAM_MM = 1e-6
"""Edges this near to each other are one: three times the widest edge tolerance that the booleans leave."""


def join(placed: Placed) -> Solid:
    """One closed body of patches, each turned about Z by its angle in degrees, counter-clockwise.

    Neighbours in the sequence share a cut plane, and in a full ring the last shares one with the first.
    Raises EngineError if an edge stays open, a face is lost or more than one skin comes out.
    """
    with guarded("join"):
        sewn = _sewn(placed, {}) if len(placed) > 1 else _sew([patch.skin for patch, _ in placed])
        solid = _closed(subshapes(sewn, TopAbs_SHELL))
    faces = sum(patch.face_count for patch, _ in placed)
    if solid.face_count != faces:
        raise EngineError("join", f"{faces} faces went in and {solid.face_count} came out")
    return solid


def join_even(patch: Patch, count: int) -> Solid:
    """``count`` images of one patch, evenly round the ring."""
    return join([(patch, 360.0 * index / count) for index in range(count)])


def _sewn(placed: Placed, known: _Known) -> TopoDS_Shape:
    """A stretch of patches in place; ``known`` holds what was sewn before, and the angle of its first patch."""
    first = placed[0][1]
    key = tuple((id(patch), round(angle - first, 9)) for patch, angle in placed)
    if key not in known:
        half = len(placed) // 2
        pieces = [_sewn(placed[:half], known), _sewn(placed[half:], known)] if half else []
        known[key] = (_sew(pieces), first) if pieces else (_turned(placed[0][0].skin, first), first)
    shape, angle = known[key]
    return _turned(shape, first - angle)


def _turned(shape: TopoDS_Shape, degrees: float) -> TopoDS_Shape:
    if degrees == 0.0:
        return shape
    turn = gp_Trsf()
    turn.SetRotation(gp_Ax1(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(0.0, 0.0, 1.0)), math.radians(degrees))
    return shape.Moved(TopLoc_Location(turn))


def _sew(pieces: Sequence[TopoDS_Shape]) -> TopoDS_Shape:
    """Without the kernel's search for degenerate shapes and without cutting edges: images match whole."""
    sewing = BRepBuilderAPI_Sewing(SEAM_MM, True, False, False, False)
    for piece in pieces:
        sewing.Add(piece)
    sewing.Perform()
    return sewing.SewedShape()


def _closed(shells: Sequence[TopoDS_Shape]) -> Solid:
    """The one skin as a body, outward."""
    if len(shells) != 1:
        raise EngineError("join", f"gave {len(shells)} skins instead of one")
    if not BRep_Tool.IsClosed_s(shells[0]):
        raise EngineError("join", "left edges open: neighbours do not meet in their cut plane")
    body, builder = TopoDS_Solid(), BRep_Builder()
    builder.MakeSolid(body)
    builder.Add(body, shells[0])
    if not BRepLib.OrientClosedSolid_s(body):
        raise EngineError("join", "the closed skin has no inside")
    return Solid(body)
