"""A helper process of ``exact_many``: evaluates the cells it is given, and answers with their shapes as bytes.

Its ``main`` reads cells from the process's input and writes an answer to its output, nothing else. Both ends are this
module's: what goes over is pickled, and the answer carries a digest, so that whatever else comes out of a process (a
line printed by somebody's start-up file, half an answer) is told from it.
"""

from __future__ import annotations

import io
import os
import pickle
import sys
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import BinaryIO

import OCP
from OCP.BinTools import BinTools
from OCP.TopoDS import TopoDS_Iterator, TopoDS_Shape

from bandgen.engines.exact import Patch, evaluate
from bandgen.engines.exact_solid import Solid, compound, guarded
from bandgen.errors import EngineError
from bandgen.parts import Part, Plane

Cell = tuple[Sequence[Part], Sequence[Plane]]
"""The parts and the cut planes of a cell, as ``exact.evaluate`` takes them."""

_HOME = (str(Path(__file__).resolve()), str(OCP.__file__))
"""Part of every answer: one from another copy of bandgen, or of the kernel, is no answer."""


def packed_cell(cell: Cell, threads: bool = False) -> bytes:
    """The cell, evaluated, in the kernel's binary format: body and skin, with the faces that they share."""
    patch = evaluate(*cell, threads=threads)
    with guarded("pack"):
        stream = io.BytesIO()
        BinTools.Write_s(compound([patch.cell.shape, patch.skin]), stream)
    return stream.getvalue()


def unpacked(data: bytes) -> Patch:
    """The patch that :func:`packed_cell` gave. Coordinates and tolerances come back bit for bit; directions are
    brought to length one again by the reader, which may change their last bit."""
    with guarded("unpack"):
        both = TopoDS_Shape()
        BinTools.Read_s(both, io.BytesIO(data))
        inner = TopoDS_Iterator(both)
        body = inner.Value()
        inner.Next()
        return Patch(Solid(body), inner.Value())


def answer_of(cells: Sequence[Cell]) -> bytes:
    """All cells packed, or those before the first that the kernel fails on, and its failure."""
    done: list[bytes] = []
    failure = None
    try:
        for cell in cells:
            done.append(packed_cell(cell))
    except EngineError as error:
        failure = (error.operation, error.cause)
    content = pickle.dumps((_HOME, done, failure))
    return sha256(content).digest() + content


def read_answer(answer: bytes, count: int) -> list[bytes] | None:
    """The packed cells of an answer about ``count`` of them; None if it is not a whole answer of this module.

    Raises:
        EngineError: the one that the worker met.
    """
    size = sha256().digest_size
    digest, content = answer[:size], answer[size:]
    if sha256(content).digest() != digest:
        return None
    home, done, failure = pickle.loads(content)
    if home != _HOME:
        return None
    if failure is not None:
        raise EngineError(*failure)
    return done if len(done) == count else None


def main() -> None:
    """Answer what stands on the input. The output is kept for the answer: a kernel that prints does not reach it."""
    with _own_output() as output:
        output.write(answer_of(pickle.load(sys.stdin.buffer)))


def _own_output() -> BinaryIO:
    """The process's output under another number; what is printed from here on goes where errors go."""
    own = os.dup(1)
    os.dup2(2, 1)
    return os.fdopen(own, "wb")
