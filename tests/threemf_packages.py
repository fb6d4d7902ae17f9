"""3MF packages made with zipfile alone, for the tests of the reader."""

from __future__ import annotations

import io
import zipfile

import numpy as np

from bandgen.exporters import threemf, threemf_model

TETRA_V = np.array([[0.0, 0.0, 0.0], [1.5, 0.0, 0.0], [0.0, 2.25, 0.0], [0.0, 0.0, 3.1]])
TETRA_F = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
TETRA_VOLUME = 1.5 * 2.25 * 3.1 / 6.0
SINGLE = TETRA_V.astype(np.float32).astype(np.float64)

MESH = (
    "<mesh><vertices>"
    + "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in TETRA_V.tolist())
    + "</vertices><triangles>"
    + "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in TETRA_F.tolist())
    + "</triangles></mesh>"
)
OBJECT = f'<object id="1">{MESH}</object>'
ITEM = '<item objectid="1"/>'


def model(resources: str = OBJECT, build: str = ITEM, attributes: str = "", before: str = "") -> str:
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{before}<model xmlns="{threemf_model.CORE}" {attributes}>'
        f"<resources>{resources}</resources><build>{build}</build></model>"
    )


def package(text: str | bytes, **others: str) -> bytes:
    """A package around a model part, made with zipfile alone."""
    parts = {"_rels/.rels": threemf._relationships(), "3D/3dmodel.model": text, **others}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def volume(mesh: tuple[np.ndarray, np.ndarray]) -> float:
    """By the divergence theorem."""
    a, b, c = np.moveaxis(mesh[0][mesh[1]], 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)
