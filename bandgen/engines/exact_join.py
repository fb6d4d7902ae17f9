"""Joining the skins of cells to a closed ring: by sewing in halves, each distinct stretch sewn once.

Sewing all images at once compares every free edge with every other; in halves only two seams are open at a time,
and stretches that are turned images of one another (all of an even band's) are sewn once and turned.
"""

from __future__ import annotations

from collections.abc import Sequence

from OCP.BRep import BRep_Builder
from OCP.BRepBuilderAPI import BRepBuilderAPI_Sewing
from OCP.BRepLib import BRepLib
from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Trsf
from OCP.TopAbs import TopAbs_SHELL
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS, TopoDS_Shape, TopoDS_Solid

from bandgen.engines.exact import Patch
from bandgen.engines.exact_solid import Solid, guarded, subshapes
from bandgen.errors import EngineError
from bandgen.units import sincosd
import math, time
T={}

SEAM_MM = 1e-6


def join(placed, seam=SEAM_MM) -> Solid:
    closed = _sewn(tuple(placed), {}, seam)
    shells = subshapes(closed, TopAbs_SHELL)
    solid=TopoDS_Solid(); b=BRep_Builder(); b.MakeSolid(solid)
    for s in shells: b.Add(solid,s)
    t=time.time()
    ok = BRepLib.OrientClosedSolid_s(solid)
    print('orient', ok, time.time()-t, len(shells))
    return Solid(solid)

def _sewn(placed, known, seam):
    first = placed[0][1]
    key = tuple((id(patch), round(angle - first, 9)) for patch, angle in placed)
    if key not in known:
        if len(placed)==1:
            known[key] = placed[0][0].skin, first
        else:
            half = len(placed)//2
            t=time.time()
            a=_sewn(placed[:half], known, seam); b= _sewn(placed[half:], known, seam)
            t=time.time()
            known[key] = _sew(a,b,seam), first
            T[len(placed)]=time.time()-t
    shape, at = known[key]
    return _turned(shape, first - at)

def _turned(shape, degrees):
    if degrees == 0.0: return shape
    tr = gp_Trsf(); tr.SetRotation(gp_Ax1(gp_Pnt(0,0,0), gp_Dir(0,0,1)), math.radians(degrees))
    return shape.Moved(TopLoc_Location(tr))

def _sew(a,b,seam):
    s = BRepBuilderAPI_Sewing(seam, True, OPT2, OPT3, False)
    s.Add(a); s.Add(b); s.Perform()
    T['free']=s.NbFreeEdges()
    return s.SewedShape()
OPT2=OPT3=True
