"""The model part of a 3MF package: its XML as one mesh in millimetres.

Source: 3MF Core Specification 1.4.0 (3MFConsortium/spec_core, commit 997b385e), chapters 3 and 4. The position
rule for a single item is explained in :mod:`bandgen.exporters.threemf`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from bandgen.errors import FileFault
from bandgen.exporters.stl import Mesh

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"

MM_PER_UNIT = {
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}
"""The units of the spec's ST_Unit (inch and foot are exact by definition)."""

LIMIT_PIECES = 20_000_000
"""Most vertices, triangles and placements in a build: components of components could multiply without end."""

LIMIT_DEPTH = 50
"""Deepest nesting of components (common practice, no source)."""

_NOT_BODY = frozenset({"support", "solidsupport", "other"})
_VERTEX, _TRIANGLE = f"{CORE} vertex", f"{CORE} triangle"

Matrix = NDArray[np.float64]
"""A placement ``(4, 3) float``: a row vector p goes to ``p @ m[:3] + m[3]``."""

Attributes = dict[str, str]


def read_model(text: bytes) -> Mesh:
    """Everything that the model part builds: ``vertices (n, 3) float`` in mm, ``faces (m, 3) int``.

    Raises :class:`FileFault` when the XML is unsound, breaks the core specification or needs an extension.
    """
    skeleton, blocks = _lift(text)
    model = _Model(blocks)
    parse(skeleton, model.element, "model")
    meshes = [mesh for number, matrix in model.placements() for mesh in model.placed(number, matrix)]
    if not sum(len(faces) for _, faces in meshes):
        raise FileFault("the 3MF builds no triangle")
    starts = np.cumsum([0] + [len(vertices) for vertices, _ in meshes])
    faces = np.concatenate([faces + start for (_, faces), start in zip(meshes, starts, strict=False)])
    with np.errstate(over="ignore"):
        vertices = np.concatenate([vertices for vertices, _ in meshes]) * model.scale
    if not np.isfinite(vertices).all():
        raise FileFault("the 3MF has a vertex that is not a finite number")
    return vertices, faces


def parse(text: bytes, element: Callable[[str, Attributes], None], what: str) -> None:
    """Feed every start tag of UTF-8 XML ("namespace name", attributes) to ``element``.

    A document type is refused, so there are no entities to expand and none to fetch. Raises :class:`FileFault`.
    """

    def refuse(*_: Any) -> None:
        raise FileFault(f"the 3MF's {what} part declares a document type, which the format forbids")

    parser = expat.ParserCreate("utf-8", " ")
    parser.StartElementHandler = element
    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.Parse(text, True)
    except expat.ExpatError as fault:
        raise FileFault(f"the 3MF's {what} part is no sound XML: {fault}") from fault
    except KeyError as fault:
        raise FileFault(f"the 3MF's {what} part has an element without its attribute {fault}") from fault


# The XML parser calls back for every vertex and triangle, which takes most of the time. Where these follow one
# another in the plainest form, as in bandgen's own files, they are taken out beforehand and a number is left in
# their place; whatever looks a little different goes the long way. A list inside a comment is taken out too, but
# its number stays in the comment, unseen. Measured: 40 ms against 80 at 37 500 triangles.
_LIFTED = "lifted"
_REAL = rb'="-?+\d++(?:\.\d++)?+(?:e[-+]?+\d++)?+"'
_INDEX = rb'="\d{1,9}"'
_LIST = rb"<%b>((?:\s*<%b %b%b %b%b %b%b\s?/>)++)\s*+</%b>"
_PLAIN = re.compile(
    _LIST % (b"vertices", b"vertex", b"x", _REAL, b"y", _REAL, b"z", _REAL, b"vertices")
    + b"|"
    + _LIST % (b"triangles", b"triangle", b"v1", _INDEX, b"v2", _INDEX, b"v3", _INDEX, b"triangles")
)
_KEEP_REALS, _KEEP_DIGITS = (
    bytes(code if code in kept else ord(" ") for code in range(256)) for kept in (b"0123456789.-+e", b"0123456789")
)


def _lift(text: bytes) -> tuple[bytes, list[NDArray[Any]]]:
    """The text with its plain lists replaced by numbered empty ones, and the values of each list."""
    if _LIFTED.encode() in text:
        return text, []
    blocks: list[NDArray[Any]] = []

    def lift(match: re.Match[bytes]) -> bytes:
        name, values = (b"vertices", _reals(match[1])) if match[1] else (b"triangles", _indices(match[2]))
        blocks.append(values)
        return b'<%b lifted="%d"/>' % (name, len(blocks) - 1)

    return _PLAIN.sub(lift, text), blocks


def _reals(text: bytes) -> NDArray[np.float64]:
    return np.fromstring(text.replace(b"vertex", b"").translate(_KEEP_REALS), np.float64, sep=" ")


def _indices(text: bytes) -> NDArray[np.int64]:
    """Every other number, for the 1, 2 and 3 of the attributes' names stay in."""
    return np.fromstring(text.translate(_KEEP_DIGITS), np.int64, sep=" ")[1::2]


@dataclass
class _Object:
    """An object resource; ``pieces`` and ``depth`` count what it places, too."""

    kind: str = "model"
    mesh: Mesh | None = None
    placed: list[tuple[str, Matrix]] = field(default_factory=list)
    pieces: int = 1
    depth: int = 1


class _Model:
    """The model part, built up tag by tag."""

    def __init__(self, blocks: list[NDArray[Any]]) -> None:
        self.scale = 0.0
        self._objects: dict[str, _Object] = {}
        self._current = _Object()
        self._items: list[tuple[str, Matrix]] = []
        self._blocks = blocks
        self._taken: dict[str, NDArray[Any]] = {}
        self._corners: list[str] = []
        self._indices: list[str] = []
        self._verbs: dict[str, Callable[[Attributes], None]] = {
            f"{CORE} model": self._open,
            f"{CORE} object": self._object,
            f"{CORE} vertices": lambda attributes: self._take("corners", attributes),
            f"{CORE} triangles": lambda attributes: self._take("indices", attributes),
            f"{CORE} component": self._component,
            f"{CORE} build": self._close,
            f"{CORE} item": self._item,
        }

    def element(self, tag: str, attributes: Attributes) -> None:
        """Take a start tag, the frequent ones first; what is not core has no say."""
        if tag == _TRIANGLE:
            self._indices += (attributes["v1"], attributes["v2"], attributes["v3"])
        elif tag == _VERTEX:
            self._corners += (attributes["x"], attributes["y"], attributes["z"])
        elif tag in self._verbs:
            self._verbs[tag](attributes)
        elif not self.scale:
            raise FileFault(f"the 3MF's model part starts with {tag!r}, not with a model of the core namespace")

    def placements(self) -> list[tuple[str, Matrix]]:
        """What the build asks for; a lone translation is dropped (see the module ``threemf``)."""
        if not self.scale:
            raise FileFault("the 3MF's model part holds no model")
        if sum(self._known(number).pieces for number, _ in self._items) > LIMIT_PIECES:
            raise FileFault(f"the 3MF builds more than {LIMIT_PIECES} vertices, triangles and placements")
        if len(self._items) == 1 and np.array_equal(self._items[0][1][:3], np.eye(3)):
            return [(self._items[0][0], np.eye(4, 3))]
        return self._items

    def placed(self, number: str, matrix: Matrix) -> list[Mesh]:
        """The object's meshes under ``matrix``, its components' included; supports are no part of the body."""
        item = self._known(number)
        if item.kind in _NOT_BODY:
            return []
        meshes = [] if item.mesh is None else [_moved(item.mesh, matrix)]
        for other, inner in item.placed:
            with np.errstate(all="ignore"):  # an overflow shows as a vertex that is not finite
                joint = np.vstack((inner[:3] @ matrix[:3], inner[3] @ matrix[:3] + matrix[3]))
            meshes += self.placed(other, joint)
        return meshes

    def _known(self, number: str) -> _Object:
        """The object of that id, which must be defined before it is used, so that nothing holds itself."""
        if number not in self._objects:
            raise FileFault(f"the 3MF uses object {number!r} without having defined it")
        return self._objects[number]

    def _open(self, attributes: Attributes) -> None:
        unit = attributes.get("unit", "millimeter").strip()
        needed = attributes.get("requiredextensions", "").split()
        if unit not in MM_PER_UNIT:
            raise FileFault(f"the 3MF has the unknown unit {unit!r}; known: {', '.join(MM_PER_UNIT)}")
        if needed:
            raise FileFault(f"the 3MF cannot be read without the extensions {', '.join(needed)}: only core is")
        if self.scale:
            raise FileFault("the 3MF's model part has a model within a model")
        self.scale = MM_PER_UNIT[unit]

    def _object(self, attributes: Attributes) -> None:
        self._close(attributes)
        if attributes["id"] in self._objects:
            raise FileFault(f"the 3MF defines object {attributes['id']!r} twice")
        self._current = self._objects[attributes["id"]] = _Object(attributes.get("type", "model"))

    def _take(self, what: str, attributes: Attributes) -> None:
        """A lifted list's values; in a file that was not lifted the mark would be the file's own: ignored."""
        if self._blocks and _LIFTED in attributes:
            self._taken[what] = self._blocks[int(attributes[_LIFTED])]

    def _component(self, attributes: Attributes) -> None:
        _refuse_path(attributes)
        current, other = self._current, self._known(attributes["objectid"])
        if other is current:
            raise FileFault("the 3MF has an object that holds itself")
        current.placed.append((attributes["objectid"], _matrix(attributes)))
        current.pieces += other.pieces
        current.depth = max(current.depth, other.depth + 1)
        if current.depth > LIMIT_DEPTH:
            raise FileFault(f"the 3MF nests components more than {LIMIT_DEPTH} deep")

    def _item(self, attributes: Attributes) -> None:
        _refuse_path(attributes)
        self._known(attributes["objectid"])
        self._items.append((attributes["objectid"], _matrix(attributes)))

    def _close(self, _: Attributes) -> None:
        """The object that was being read is complete."""
        try:
            corners = self._taken.pop("corners", None)
            corners = np.array(list(map(float, self._corners))) if corners is None else corners
            indices = self._taken.pop("indices", None)
            indices = np.array(list(map(int, self._indices)), np.int64) if indices is None else indices
        except (ValueError, OverflowError) as fault:
            raise FileFault(f"the 3MF has a coordinate or an index that is no number ({fault})") from fault
        self._corners, self._indices = [], []
        if len(corners) or len(indices):
            mesh = self._current.mesh = _mesh(corners, indices)
            self._current.pieces += len(mesh[0]) + len(mesh[1])


def _mesh(corners: NDArray[Any], indices: NDArray[Any]) -> Mesh:
    """Running values, three to a vertex or triangle, as a mesh in single precision, as slicers read it."""
    with np.errstate(over="ignore"):
        vertices = corners.astype(np.float32).astype(np.float64).reshape(-1, 3)
    if indices.size and (indices.min() < 0 or indices.max() >= len(vertices)):
        raise FileFault(f"the 3MF has a triangle with a corner outside its {len(vertices)} vertices")
    return vertices, indices.reshape(-1, 3)


def _moved(mesh: Mesh, matrix: Matrix) -> Mesh:
    """The mesh placed; if mirrored, its triangles are turned over, for a mirrored body keeps its volume's sign."""
    vertices, faces = mesh
    with np.errstate(all="ignore"):
        return vertices @ matrix[:3] + matrix[3], faces[:, ::-1] if np.linalg.det(matrix[:3]) < 0.0 else faces


def _matrix(attributes: Attributes) -> Matrix:
    """The element's transform; none is the identity."""
    text = attributes.get("transform")
    if text is None:
        return np.eye(4, 3)
    try:
        values = np.array([float(word) for word in text.split()])
    except ValueError as fault:
        raise FileFault(f"the 3MF has a transform with something that is no number ({fault})") from fault
    if len(values) != 12 or not np.isfinite(values).all():
        raise FileFault(f"the 3MF has the transform {text[:80]!r}, not 12 finite numbers")
    return values.reshape(4, 3)


def _refuse_path(attributes: Attributes) -> None:
    """The production extension keeps objects in other parts, under an attribute "path" of its namespace."""
    if any(name.endswith(" path") for name in attributes):
        raise FileFault("the 3MF keeps objects in further parts (production extension); only core is read")
