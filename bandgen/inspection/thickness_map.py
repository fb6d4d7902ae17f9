"""The thickness of metal, or of the space outside it, as coloured triangles to look at."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bandgen.engines.facets import Floats
from bandgen.exporters.ply import encode_ply
from bandgen.inspection.mirror import MIRRORED
from bandgen.inspection.solid_map import CAP_MM, SolidMap, is_even
from bandgen.inspection.surface import turn_back
from bandgen.inspection.thickness import CORNER, Thickness
from bandgen.layout.numbers import Layout

STOPS_MM = (0.0, 0.2, 0.4, 0.6, CAP_MM)
STOPS_RGB = ((110, 0, 30), (230, 40, 30), (250, 210, 60), (70, 180, 90), (40, 90, 190))
"""Dark red through red at the least gap, yellow at the least wall, green, to blue where it is thick."""

GREY = (170, 170, 170)
"""Beside a sharp edge, where a ball measures the edge and no thickness."""


def encode_map(layout: Layout, maps: SolidMap, outside: bool = False) -> bytes:
    """PLY of the first cell of each kind, whole: its colours, and ``metal_mm`` and ``space_mm`` of each triangle."""
    metal, space = maps.metal[0], maps.space[0]
    pieces, site_of = metal.ground.pieces, metal.ground.site_of
    colours = _colours(space if outside else metal)[site_of]
    values = {"metal_mm": metal.thickness[site_of], "space_mm": space.thickness[site_of]}
    corners, source = _with_images(layout, pieces.corners, maps.seam[pieces.face])
    shown = "space outside the metal" if outside else "metal"
    comment = f"bandgen: thickness of {shown} in mm, first cell of each kind of {layout.spec.name}"
    return encode_ply(corners, colours[source], {name: value[source] for name, value in values.items()}, comment)


def _colours(found: Thickness) -> NDArray[np.uint8]:
    """The colour (k, 3) of each site."""
    rgb = np.column_stack([np.interp(found.thickness, STOPS_MM, channel) for channel in zip(*STOPS_RGB, strict=True)])
    rgb[found.kind == CORNER] = GREY
    colours: NDArray[np.uint8] = rgb.astype(np.uint8)
    return colours


def _with_images(layout: Layout, corners: Floats, seam: NDArray[np.int64]) -> tuple[Floats, NDArray[np.int64]]:
    """Triangles (n, 3, 3) in their seams' cells, with the mirror images that were not measured; which each is of."""
    source = np.arange(len(corners))
    for index in np.unique(seam).tolist():
        if is_even(layout, layout.seams[index]):
            here = np.flatnonzero(seam[source] == index)
            corners = np.concatenate((corners, _across_seam(corners[here], layout.seams[index].angle_deg)))
            source = np.concatenate((source, source[here]))
    if layout.mirror_z:
        corners = np.concatenate((corners, corners[:, ::-1] * MIRRORED))
        source = np.concatenate((source, source))
    return corners, source


def _across_seam(corners: Floats, angle_deg: float) -> Floats:
    """The mirror images of triangles (n, 3, 3) in a seam's plane, still outward."""
    local = turn_back(corners[:, ::-1].reshape(-1, 3), angle_deg) * (-1.0, 1.0, 1.0)
    return turn_back(local, -angle_deg).reshape(-1, 3, 3)
