"""STEP (ISO 10303-21, AP214): the exact solid as bytes, and back."""
from __future__ import annotations
import io
from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
from OCP.STEPControl import STEPControl_Writer, STEPControl_Reader, STEPControl_AsIs, STEPControl_Controller
from OCP.Interface import Interface_Static
from OCP.TCollection import TCollection_HAsciiString
from OCP.IFSelect import IFSelect_RetDone
from bandgen.engines.exact_solid import Solid, guarded, subshapes
STEPControl_Controller.Init_s()
def encode_step(solid, name):
    import time
    for k,v in {'write.step.schema':'AP214IS','write.step.unit':'MM','write.step.product.name':name}.items(): print(k,Interface_Static.SetCVal_s(k,v), Interface_Static.CVal_s(k))
    for k,v in {'write.surfacecurve.mode':0,'write.precision.mode':0}.items(): print(k,Interface_Static.SetIVal_s(k,v))
    w = STEPControl_Writer()
    t=time.time()
    print(w.Transfer(solid.shape, STEPControl_AsIs))
    print('transfer', time.time()-t)
    s = io.BytesIO()
    h = APIHeaderSection_MakeHeader(w.Model())
    h.SetName(TCollection_HAsciiString(name))
    h.SetTimeStamp(TCollection_HAsciiString(''))
    print(w.WriteStream(s))
    print('write', time.time()-t)
    return s.getvalue()
