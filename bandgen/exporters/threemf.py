"""3MF core: a band as bytes, and anybody's 3MF as a mesh.

A package is a zip with three parts: content types, relationships (naming the start part) and the model in XML.
Source: 3MF Core Specification 1.4.0 (3MFConsortium/spec_core, commit 997b385e, sections 2 to 4), named "the
spec" below; shared/trade-facts.md section 6.

Position. The spec wants a model in the positive octant of the bed, whereas a band is centred on its axis. The
vertices stay in the band's frame, and the build item carries a translation by whole millimetres. Reading takes
the matching view: if a build has one item and its transform is a pure translation, that only says where on the
bed the body stands, and it is dropped. So what was written comes back number for number. Every other
transform is applied.

Precision. Vertices are written as the shortest decimals that mean the same float32, and vertices read are
rounded to float32, as slicers do; units and transforms are applied in double precision.
"""

from __future__ import annotations

import html
import io
import math
import posixpath
import re
import struct
import zipfile
import zlib
from collections.abc import Mapping
from urllib.parse import unquote

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bandgen.errors import FileFault
from bandgen.exporters.stl import Mesh, single_precision
from bandgen.exporters.threemf_model import CORE, parse, read_model

START_PART = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
MODEL_TYPE = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
RELATIONSHIPS = "http://schemas.openxmlformats.org/package/2006/relationships"
RELATIONSHIPS_TYPE = "application/vnd.openxmlformats-package.relationships+xml"
CONTENT_TYPES = "http://schemas.openxmlformats.org/package/2006/content-types"

OWN_NAMES = "urn:bandgen:metadata"
"""Namespace of metadata that the spec does not name (it asks for one)."""

KNOWN_NAMES = frozenset(
    {"Title", "Designer", "Description", "Copyright", "LicenseTerms", "Rating"}
    | {"CreationDate", "ModificationDate", "Application"}
)
"""Metadata names of the spec's table 3-1."""

MODEL_PART = "3D/3dmodel.model"

LIMIT_BYTES = 1_000_000_000
"""A package that unpacks to more is refused: a million triangles are about 0.07 of it."""

COMPRESSION = 1
"""Deflate level: 6 saves a fifth of the bytes and takes four times as long (measured, 37 000 triangles)."""

_DECLARATION = '<?xml version="1.0" encoding="UTF-8"?>\n'
_XML_ILLEGAL = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


# ------------------------------------------------------------------------------------------------- writing


def encode(vertices: ArrayLike, faces: ArrayLike, name: str, metadata: Mapping[str, str]) -> bytes:
    """A 3MF package with one object of type model and one build item, in millimetres.

    ``vertices (n, 3) float`` in mm, ``faces (m, 3) int``. ``metadata``: names of the spec's table 3-1 are
    written as they are, any other in bandgen's own namespace, in alphabetical order. Equal arguments give
    equal bytes (with one version of zlib).

    Raises :class:`ExportError` when the arrays are no mesh (see ``stl.single_precision``), ``ValueError`` when
    a metadata name is no XML name.
    """
    points, triangles = single_precision(vertices, faces)
    parts = {
        "[Content_Types].xml": _content_types(),
        "_rels/.rels": _relationships(),
        MODEL_PART: _model(points, triangles, name, metadata),
    }
    return _pack(parts)


def _pack(parts: Mapping[str, str]) -> bytes:
    """A zip that depends on nothing but its contents: fixed date, system, permissions and order."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as package:
        for part, text in parts.items():
            info = zipfile.ZipInfo(part, (1980, 1, 1, 0, 0, 0))
            info.create_system = 3
            info.external_attr = 0o100644 << 16
            package.writestr(info, text.encode("utf-8"), zipfile.ZIP_DEFLATED, COMPRESSION)
    return buffer.getvalue()


def _content_types() -> str:
    return (
        f'{_DECLARATION}<Types xmlns="{CONTENT_TYPES}">'
        f'<Default Extension="rels" ContentType="{RELATIONSHIPS_TYPE}"/>'
        f'<Default Extension="model" ContentType="{MODEL_TYPE}"/></Types>\n'
    )


def _relationships() -> str:
    return (
        f'{_DECLARATION}<Relationships xmlns="{RELATIONSHIPS}">'
        f'<Relationship Target="/{MODEL_PART}" Id="rel0" Type="{START_PART}"/></Relationships>\n'
    )


def _model(points: NDArray[np.float32], triangles: NDArray[np.int64], name: str, metadata: Mapping[str, str]) -> str:
    corners = '<vertex x="%.9g" y="%.9g" z="%.9g"/>\n' * len(points)
    indices = '<triangle v1="%d" v2="%d" v3="%d"/>\n' * len(triangles)
    return "".join(
        (
            _DECLARATION,
            f'<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}" xmlns:bandgen="{OWN_NAMES}">\n',
            *(_metadata(key, metadata[key]) for key in sorted(metadata)),
            f'<resources>\n<object id="1" type="model" name="{_legal(name)}">\n<mesh>\n<vertices>\n',
            corners % tuple(shortest(points.ravel()).tolist()),
            "</vertices>\n<triangles>\n",
            indices % tuple(triangles.ravel().tolist()),
            "</triangles>\n</mesh>\n</object>\n</resources>\n",
            f'<build>\n<item objectid="1"{_placement(points)}/>\n</build>\n</model>\n',
        )
    )


def _metadata(key: str, value: str) -> str:
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_.-]*", key):
        raise ValueError(f"metadata name {key!r} is no plain XML name")
    prefix = "" if key in KNOWN_NAMES else "bandgen:"
    return f'<metadata name="{prefix}{key}">{_legal(value)}</metadata>\n'


def _legal(text: str) -> str:
    """Escaped text for an element or attribute, without the control characters that XML 1.0 cannot hold."""
    return html.escape(_XML_ILLEGAL.sub(" ", text))


def _placement(points: NDArray[np.float32]) -> str:
    """The item's translation into the positive octant, by whole millimetres; none if it is there already."""
    shift = [max(0, -math.floor(low)) for low in points.min(axis=0).tolist()]
    return f' transform="1 0 0 0 1 0 0 0 1 {shift[0]} {shift[1]} {shift[2]}"' if any(shift) else ""


def shortest(values: NDArray[np.float32]) -> NDArray[np.float64]:
    """For every value of ``values (k,) float32`` a decimal of at most nine digits that rounds to it.

    Returned as the doubles nearest to those decimals, so that ``%.9g`` prints them short: 2.3, not 2.29999995.
    The fewest decimal places that stay clear of the middle between two float32 win, which makes the text safe
    for readers that round once and for those that round twice (by way of double). Ten places are tried, which
    does for the sizes of jewellery; anything smaller gets nine digits, which always do (IEEE 754).
    """
    exact = values.astype(np.float64)
    # Spacing of float32 from the exponent: numpy's own overflows at the greatest number.
    room = 0.499999 * np.ldexp(1.0, np.maximum(np.frexp(exact)[1] - 24, -149))
    found = np.empty_like(exact)
    left = np.arange(len(exact))
    for places in range(1, 11):
        scale = 10.0**places
        tried = np.rint(exact[left] * scale) / scale
        good = np.abs(tried - exact[left]) < room[left]
        found[left[good]] = tried[good]
        left = left[~good]
    found[left] = [float(f"{value:.9g}") for value in exact[left].tolist()]
    return found


# ------------------------------------------------------------------------------------------------- reading


def decode(data: bytes) -> Mesh:
    """The mesh of everything that a 3MF package builds: ``vertices (n, 3) float`` in mm, ``faces (m, 3) int``.

    All build items and components are placed and put one after the other (overlaps are not united); supports
    and objects of type "other" are left out; a mirroring transform turns its triangles over, as the spec asks.
    Nothing is welded: in 3MF the indices are the topology. For a single translated item see the module's text.

    Raises :class:`FileFault` on anything that is no such package, needs an extension, or unpacks beyond
    :data:`LIMIT_BYTES`.
    """
    return read_model(_model_part(data))


def _model_part(data: bytes) -> bytes:
    """The XML of the part that the package's relationships name as its start."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            if sum(info.file_size for info in package.infolist()) > LIMIT_BYTES:
                raise FileFault(f"the 3MF package unpacks to more than {LIMIT_BYTES} bytes")
            return _part(package, _start(_part(package, "_rels/.rels")))
    except (zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, NotImplementedError, ValueError) as fault:
        raise FileFault(f"no sound 3MF package: {fault or type(fault).__name__}") from fault


def _part(package: zipfile.ZipFile, name: str) -> bytes:
    """A part by its name, which counts without case (OPC)."""
    found = [info for info in package.infolist() if info.filename.lstrip("/").lower() == name.lower()]
    if not found:
        raise FileFault(f"the 3MF package has no part {name!r}")
    info = found[0]
    if info.flag_bits & 1 or info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise FileFault(f"part {name!r} of the 3MF package is encrypted or packed in an unusual way")
    return package.read(info)


def _start(relationships: bytes) -> str:
    targets: list[str] = []

    def element(tag: str, attributes: dict[str, str]) -> None:
        if tag == f"{RELATIONSHIPS} Relationship" and attributes.get("Type") == START_PART:
            targets.append(attributes.get("Target", ""))

    parse(relationships, element, "relationships")
    if not targets:
        raise FileFault("the 3MF package names no model to start with")
    return posixpath.normpath("/" + unquote(targets[0])).lstrip("/")
