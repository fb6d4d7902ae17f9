"""STEP (ISO 10303-21, AP214): an exact solid as bytes, and back.

The bytes depend on the solid and its name alone: a fixed header without time stamp, millimetres, curves in space
only (those on the surfaces double the file and are recomputed by every reader), no running numbers. Checked at
OCP 7.9: the same in every process, and when written twice in one.
"""

from __future__ import annotations

import io
import re
from pathlib import Path

from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
from OCP.IFSelect import IFSelect_RetDone
from OCP.Interface import Interface_Static
from OCP.StepBasic import StepBasic_Product
from OCP.STEPControl import STEPControl_AsIs, STEPControl_Controller, STEPControl_Reader, STEPControl_Writer
from OCP.TCollection import TCollection_HAsciiString

from bandgen.engines.exact_solid import KERNEL_FAILURES, Solid, guarded
from bandgen.errors import EngineError, FileFault

_WRITE_TEXT = {"write.step.schema": "AP214IS", "write.step.unit": "MM"}
_WRITE_NUMBER = {
    "write.surfacecurve.mode": 0,  # no curves on surfaces
    "write.precision.mode": 1,  # the file states the widest tolerance, not the mean
    "write.step.assembly": 0,
    "write.step.vertex.mode": 0,
    "write.step.nonmanifold": 0,
}
_BEGIN, _END = b"ISO-10303-21;", b"END-ISO-10303-21;"

STEPControl_Controller.Init_s()  # the kernel's settings exist only from here on


def encode_step(solid: Solid, name: str) -> bytes:
    """The solid as a STEP file; ``name`` becomes the file's and the product's name."""
    title = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    with guarded("write STEP"):
        for key, text in _WRITE_TEXT.items():
            Interface_Static.SetCVal_s(key, text)
        for key, number in _WRITE_NUMBER.items():
            Interface_Static.SetIVal_s(key, number)
        writer = STEPControl_Writer()
        if writer.Transfer(solid.shape, STEPControl_AsIs) != IFSelect_RetDone:
            raise EngineError("write STEP", "the kernel could not translate the solid")
        _name(writer, title)
        stream = io.BytesIO()
        if writer.WriteStream(stream) != IFSelect_RetDone:
            raise EngineError("write STEP", "the kernel could not write the model")
    return re.sub(rb"[\x80-\xff]+", _escape, stream.getvalue())


def _name(writer: STEPControl_Writer, title: str) -> None:
    """Fixed header; the kernel's numbered product name (it counts up within a process) overwritten."""
    model, text = writer.Model(), TCollection_HAsciiString
    header = APIHeaderSection_MakeHeader(model)
    header.SetName(text(title))
    header.SetTimeStamp(text(""))
    header.SetAuthorValue(1, text(""))
    header.SetOrganizationValue(1, text(""))
    header.SetOriginatingSystem(text("bandgen"))
    header.SetAuthorisation(text(""))
    header.SetDescriptionValue(1, text("bandgen solid"))
    for index in range(1, model.NbEntities() + 1):
        entity = model.Value(index)
        if isinstance(entity, StepBasic_Product):
            entity.SetId(text(title))
            entity.SetName(text(title))
            return
    raise EngineError("write STEP", "the kernel wrote no product")


def _escape(found: re.Match[bytes]) -> bytes:
    """Letters beyond ASCII as ISO 10303-21 asks: ``\\X2\\`` with four hexadecimal digits each (UTF-16)."""
    codes = found.group().decode("utf-8").encode("utf-16-be").hex().upper()
    return b"\\X2\\" + codes.encode() + b"\\X0\\"


def decode_step(path: str | Path) -> Solid:
    """What a STEP file holds, in millimetres; its counts say whether that is one body.

    Raises FileFault if the file is missing, truncated, not STEP, or holds faces that cannot be read.
    """
    try:
        data = Path(path).read_bytes()
    except OSError as error:
        raise FileFault(f"{path}: {error.strerror or error}") from error
    return read_step(data, str(path))


def read_step(data: bytes, source: str) -> Solid:
    """As :func:`decode_step`, from bytes; ``source`` names them in errors."""
    if not data.lstrip().startswith(_BEGIN):
        raise FileFault(f"{source}: not a STEP file (it does not begin with {_BEGIN.decode()})")
    if not data.rstrip().endswith(_END):
        raise FileFault(f"{source}: truncated (it does not end with {_END.decode()})")
    try:
        solid = _transferred(data)
    except KERNEL_FAILURES as failure:
        raise FileFault(f"{source}: the kernel cannot read it ({type(failure).__name__}: {failure})") from failure
    if solid is None:
        raise FileFault(f"{source}: holds no shape that can be read")
    named = len(re.findall(rb"=\s*ADVANCED_FACE\s*\(", data))
    if solid.face_count < named:
        raise FileFault(f"{source}: damaged, {named - solid.face_count} of {named} faces cannot be read")
    return solid


def _transferred(data: bytes) -> Solid | None:
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    reader = STEPControl_Reader()
    if reader.ReadStream("memory", io.BytesIO(data)) != IFSelect_RetDone or reader.TransferRoots() < 1:
        return None
    shape = reader.OneShape()
    return None if shape.IsNull() else Solid(shape)
