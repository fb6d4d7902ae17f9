"""What is measured on a band's solid: the thickness of metal and space all over, and every recess.

The layout only says where the stones stand and which cells are alike, so that of each kind the first is measured, half
of it where it is its own mirror image, and at z >= 0 alone where the band is.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from bandgen.band import Mesh
from bandgen.cell import whole_cell
from bandgen.engines.facets import Floats, Ints
from bandgen.inspection.cores import Core, measure_core
from bandgen.inspection.surface import part_distance, turn_back
from bandgen.inspection.thickness import EDGE, WALL, Ground, Thickness, measure_thickness, survey
from bandgen.inspection.topology import Bools
from bandgen.layout.numbers import Layout, RowPlace, Seam, Station
from bandgen.parts import Part, turned
from bandgen.units import sincosd

CAP_MM = 1.2
"""Walls and gaps from here on are not told apart: three times the least wall that casters ask for."""

OVER_GIRDLE_MM = 0.5
"""How far above the girdle the mouth of a recess is looked for."""

UNDER_BORE_MM = 0.05
"""How far under the bore's line its surface is looked for."""


@dataclass(frozen=True, eq=False)
class SolidMap:
    """Thickness of the metal and width of the space outside it over the first cell of each kind: all over, and once
    more closely where it is thinnest; and of the faces that they are measured on, the seam of each one's cell (m,)."""

    metal: tuple[Thickness, Thickness]
    space: tuple[Thickness, Thickness]
    seam: Ints


@dataclass(frozen=True)
class Thin:
    """A thinnest place: how thick in mm, its point, the two parts it lies between, its stone's station and
    its cell's seam."""

    mm: float
    point: tuple[float, float, float]
    parts: tuple[str, str]
    station: int | None
    seam: int


@dataclass(frozen=True)
class ThinPlaces:
    """Of every two parts the place where they are nearest, in order: among the walls, the edges, and in the space."""

    walls: list[Thin]
    edges: list[Thin]
    spaces: list[Thin]


@dataclass(frozen=True)
class Recess:
    """The recess of a station as measured, and the ``point`` on its axis where its ratio is the largest."""

    station: int
    point: tuple[float, float, float]
    core: Core


def map_solid(layout: Layout, mesh: Mesh) -> SolidMap:
    """Balls inside and outside. The mesh's deviation should be 0.01 mm or less: what is thinner than two deviations is
    not told from facets."""
    around, own = _chosen_faces(layout, mesh)
    used, faces = np.unique(mesh.faces[around], return_inverse=True)
    ground = survey(mesh.vertices[used], faces.reshape(-1, 3), own)
    slack = 2.0 * layout.spec.mesh.deviation_mm
    seam = np.searchsorted(np.cumsum(mesh.cell_faces), around, side="right")
    return SolidMap(_both(ground, slack, False), _both(ground, slack, True), seam)


def _both(ground: Ground, slack_mm: float, outside: bool) -> tuple[Thickness, Thickness]:
    """All over, and more closely where it is thinnest."""
    everywhere = measure_thickness(ground, slack_mm, CAP_MM, outside)
    return everywhere, measure_thickness(ground.closer(everywhere.near_least()), slack_mm, CAP_MM, outside)


def _chosen_faces(layout: Layout, mesh: Mesh) -> tuple[Ints, Ints]:
    """Faces of the first cells of each kind and of all cells within reach of these; and which of them are measured, by
    their place in that list."""
    count, ends = len(layout.seams), np.cumsum(mesh.cell_faces)
    cells = [np.arange(end - size, end) for end, size in zip(ends, mesh.cell_faces, strict=True)]
    firsts = sorted({kind.seam for kind in layout.kinds})
    beside = sorted({(first + step) % count for first in firsts for step in _reach(layout, first)} - set(firsts))
    own = [cells[first][_distinct(layout, mesh, layout.seams[first], cells[first])] for first in firsts]
    ids = np.concatenate([cells[index] for index in (*firsts, *beside)])
    return ids, np.flatnonzero(np.isin(ids, np.concatenate(own)))


def _reach(layout: Layout, seam: int) -> Iterator[int]:
    """Steps to the cells that come within the cap's reach of a cell, on both sides."""
    for sign in (-1, 1):
        away, step = 0.0, 0
        while away < CAP_MM and 2 * abs(step) < len(layout.seams) - 1:
            step += sign
            beyond = layout.seams[(seam + step) % len(layout.seams)]
            away += math.radians(beyond.before_deg + beyond.after_deg) * layout.bore_radius_mm
            yield step


def _distinct(layout: Layout, mesh: Mesh, seam: Seam, faces: Ints) -> Bools:
    """Which of a cell's faces (m,) are not images of others in the band's mid-plane or the seam's own."""
    middle = turn_back(mesh.vertices[mesh.faces[faces]].mean(axis=1), seam.angle_deg)
    kept = np.ones(len(faces), bool)
    if layout.mirror_z:
        kept &= middle[:, 2] >= 0.0
    if is_even(layout, seam):
        kept &= middle[:, 0] >= 0.0
    return kept


def is_even(layout: Layout, seam: Seam) -> bool:
    """Whether a cell is its own mirror image in its seam plane."""
    before, after = layout.around(seam)
    if before is None or after is None:
        return False
    return (before.seat, before.extras) == (after.seat, after.extras) and seam == seam.flipped


def thin_places(layout: Layout, maps: SolidMap) -> ThinPlaces:
    """The thinnest places of every kind."""
    walls, edges = (thinnest(layout, maps, maps.metal, (kind,)) for kind in (WALL, EDGE))
    return ThinPlaces(walls, edges, thinnest(layout, maps, maps.space, (EDGE, WALL)))


def thinnest(layout: Layout, maps: SolidMap, measured: Sequence[Thickness], kinds: Sequence[int]) -> list[Thin]:
    """Of every two parts the place where they are nearest, in order; among places of these ``kinds`` alone."""
    places: dict[tuple[str, ...], Thin] = {}
    for thin in (thin for found in measured for thin in _places(layout, maps, found, kinds)):
        key = tuple(sorted(thin.parts))
        if key not in places or thin.mm < places[key].mm:
            places[key] = thin
    return sorted(places.values(), key=lambda thin: thin.mm)


def _places(layout: Layout, maps: SolidMap, found: Thickness, kinds: Sequence[int]) -> Iterator[Thin]:
    """Every place of these kinds where a ball met something under the cap."""
    met = np.isin(found.kind, kinds) & ~np.isnan(found.contact[:, 0]) & (found.thickness < found.cap_mm)
    ours = np.where(met, maps.seam[found.ground.face], -1)
    for seam in np.unique(ours[met]).tolist():
        sites = np.flatnonzero(ours == seam)
        here, there = (_part_names(layout, seam, points[sites]) for points in (found.ground.sites, found.contact))
        for site, *pair in zip(sites.tolist(), here, there, strict=True):
            yield _thin(layout, seam, float(found.thickness[site]), found.ground.sites[site], (pair[0], pair[1]))


def _thin(layout: Layout, seam: int, mm: float, point: Floats, parts: tuple[str, str]) -> Thin:
    x, y, z = point.tolist()
    before, after = layout.seams[seam].before, layout.seams[seam].after
    beyond = turn_back(point[None], layout.seams[seam].angle_deg)[0, 0] < 0.0
    return Thin(mm, (x, y, z), parts, after if beyond else before, seam)


def _part_names(layout: Layout, seam: int, points: Floats) -> list[str]:
    """Of each of ``points`` (n, 3), in the band's frame, the part on whose surface it lies."""
    parts = list(_parts_about(layout, seam))
    local = turn_back(points, layout.seams[seam].angle_deg)
    nearest = np.argmin([np.abs(part_distance(part, local)) for part in parts], axis=0)
    return [parts[index].name for index in nearest]


def _parts_about(layout: Layout, index: int) -> Iterator[Part]:
    """The parts of a cell and the two beside it, in its seam's frame."""
    count, here = len(layout.seams), layout.seams[index].angle_deg
    for near in dict.fromkeys((index, (index - 1) % count, (index + 1) % count)):
        seam = layout.seams[near]
        yield from (turned(part, seam.angle_deg - here) for part in whole_cell(layout, seam).parts)


def measure_recesses(layout: Layout, mesh: Mesh) -> list[Recess]:
    """The recess of the first station of each kind, in each row that is no image of another."""
    rows = [row for row in layout.rows if row.z_mm >= 0.0 or not layout.mirror_z]
    firsts = {(station.seat, station.extras): station for station in reversed(layout.stations)}
    found = [measure_recess(layout, mesh, station, row) for station in firsts.values() for row in rows]
    return [recess for recess in found if recess is not None]


def measure_recess(layout: Layout, mesh: Mesh, station: Station, row: RowPlace) -> Recess | None:
    """The recess of one stone, measured in the stone's frame; None where there is none."""
    angle = station.angle_deg + (layout.seams[station.index].before_deg if row.turned else 0.0)
    local = turn_back(mesh.vertices, angle)[:, (0, 2, 1)] - (0.0, row.z_mm, 0.0)
    reach = station.seat.rim_radius_mm
    over = (np.abs(local[:, :2]) <= reach).all(axis=1) & (local[:, 2] > 0.0)
    corners = local[mesh.faces[over[mesh.faces].any(axis=1)]]
    lowest = layout.bore.radius_at(row.z_mm) - UNDER_BORE_MM
    core = measure_core(corners, lowest, station.seat.girdle_mm + OVER_GIRDLE_MM, reach)
    if core is None:
        return None
    sine, cosine = sincosd(angle)
    return Recess(station.index, (-core.at_mm * sine, core.at_mm * cosine, row.z_mm), core)
