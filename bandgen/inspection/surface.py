"""Does the mesh lie on the surface that the parts describe? Signed distances to the parts' own profiles, no kernel.

Let f be, of the signed distances to all parts (negative inside), the least of those that add, cut by the negated ones
of the tools. It is zero on the band's true surface and changes by at most 1 mm a mm: where the mesh keeps its deviation
|f| is no greater, and a mesh point with a greater |f| is wrong for certain. A part that is missing, moved, misshapen or
filled shows as such points; but what lies off them, between the corners and middles of faces, only the volume tells.

Looked at: every corner and middle of the faces of the first cell of each kind. All others must equal it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import reduce
from itertools import accumulate

import numpy as np

from bandgen.band import Mesh
from bandgen.cell import whole_cell
from bandgen.engines.facets import Floats, Ints
from bandgen.inspection.findings import Finding, Place, at_most
from bandgen.inspection.mirror import upper_faces
from bandgen.inspection.prediction import FLOAT32_MM
from bandgen.inspection.topology import Bools
from bandgen.layout.kinds import Kind
from bandgen.layout.numbers import Layout, Seam
from bandgen.parts import Frame, Part, Point, Profile, Revolved, arc_of, shared_shapes
from bandgen.units import SHORTEST_EDGE_MM, sincosd

PARTS = "signed distance to the parts' profiles, no kernel"
TURNED = "the first cell of the same kind, turned about the ring's axis or mirrored"


def inspect_surface(layout: Layout, mesh: Mesh) -> list[Finding]:
    """Findings "surface" (the first cell of each kind against its parts) and "cells-alike" (all others against it)."""
    if sum(mesh.cell_faces) != len(mesh.faces) or len(mesh.cell_faces) != len(layout.seams):
        text = "faces, as many as all cells have together"
        return [Finding("cells-alike", "error", len(mesh.faces), sum(mesh.cell_faces), text, TURNED)]
    kinds = layout.kinds
    cells = [
        mesh.faces[end - size : end] for size, end in zip(mesh.cell_faces, accumulate(mesh.cell_faces), strict=True)
    ]
    firsts = sorted({kind.seam for kind in kinds})
    on = [_on_surface(layout, mesh, layout.seams[index], cells[index]) for index in firsts]
    return [max(on, key=lambda finding: finding.measured), _alike(layout, mesh, kinds, cells)]


def _on_surface(layout: Layout, mesh: Mesh, seam: Seam, faces: Ints) -> Finding:
    """Corners and middles of one cell's faces."""
    corners = mesh.vertices[faces]
    upper = upper_faces(corners)  # the parts are their own images too where these are
    points = np.concatenate((mesh.vertices[np.unique(faces[upper])], corners[upper].mean(axis=1)))
    offset = np.abs(signed_distance(whole_cell(layout, seam).parts, turn_back(points, seam.angle_deg)))
    limit = layout.spec.mesh.deviation_mm + SHORTEST_EDGE_MM + FLOAT32_MM
    worst = int(np.argmax(offset))
    place = Place(seam=seam.index, point=tuple(points[worst].tolist()))
    return _within("surface", float(offset[worst]), limit, "mm from the parts' surface", PARTS, place)


def _alike(layout: Layout, mesh: Mesh, kinds: Sequence[Kind], cells: Sequence[Ints]) -> Finding:
    """Every cell beside the first of its kind, corner by corner."""
    limit, text = 3.0 * FLOAT32_MM, "mm between a cell and the first of its kind, each in its own frame"
    worst = (0.0, 0, (0.0, 0.0, 0.0))
    for kind, members in _gathered(kinds).items():
        sizes = {len(cells[index]) for index in (kind.seam, *members)}
        if len(sizes) != 1:
            return Finding("cells-alike", "error", max(sizes), min(sizes), "faces of a cell", TURNED)
        worst = max(worst, _apart(layout, mesh, kind, members, cells))
    place = Place(seam=worst[1], point=worst[2])
    return _within("cells-alike", worst[0], limit, text, TURNED, place)


def _gathered(kinds: Sequence[Kind]) -> dict[Kind, list[int]]:
    """The cells of each kind."""
    members: dict[Kind, list[int]] = {}
    for index, kind in enumerate(kinds):
        members.setdefault(kind, []).append(index)
    return members


def _apart(
    layout: Layout, mesh: Mesh, kind: Kind, members: Sequence[int], cells: Sequence[Ints]
) -> tuple[float, int, tuple[float, float, float]]:
    """The widest distance of a corner of the cells ``members`` from the kind's first cell: distance, cell and point."""
    first = turn_back(mesh.vertices[cells[kind.seam]].reshape(-1, 3), layout.seams[kind.seam].angle_deg)
    if kind.flipped:
        first = first.reshape(-1, 3, 3)[:, ::-1].reshape(-1, 3) * (-1.0, 1.0, 1.0)
    points = mesh.vertices[np.stack([cells[index] for index in members])].reshape(len(members), -1, 3)
    sine, cosine = np.array([sincosd(-layout.seams[index].angle_deg) for index in members]).T[:, :, None]
    x, y, z = points[..., 0], points[..., 1], points[..., 2]
    apart = np.abs(cosine * x - sine * y - first[:, 0])
    np.maximum(apart, np.abs(sine * x + cosine * y - first[:, 1]), out=apart)
    np.maximum(apart, np.abs(z - first[:, 2]), out=apart)
    member, corner = divmod(int(np.argmax(apart)), points.shape[1])
    a, b, c = points[member, corner].tolist()
    return float(apart[member, corner]), members[member], (a, b, c)


def _within(code: str, measured: float, limit: float, text: str, source: str, place: Place) -> Finding:
    """An error at its place, or well everywhere."""
    return at_most(code, measured, limit, text, source, Place() if measured <= limit else place, "error", slack=0.0)


def turn_back(points: Floats, degrees: float) -> Floats:
    """Points (n, 3) turned clockwise about the ring's axis: from the band's frame to a seam's."""
    sine, cosine = sincosd(-degrees)
    x, y, z = points.T
    return np.column_stack((cosine * x - sine * y, sine * x + cosine * y, z))


def signed_distance(parts: Sequence[Part], points: Floats) -> Floats:
    """f (n,) in mm at ``points`` (n, 3), all in the parts' common frame: negative in metal."""
    metal, tools = np.full(len(points), np.inf), np.full(len(points), np.inf)
    for part in parts:
        into = metal if part.sign > 0 else tools
        np.minimum(into, part_distance(part, points), out=into)
    f: Floats = np.maximum(metal, -tools)
    return f


def part_distance(part: Part, points: Floats) -> Floats:
    """Signed distance (n,) to one part: exact for a revolved one, for an extruded one outside its edges no more, nor
    near the edges of one that is within others."""
    distances = (_shape_distance(shape, points) for shape in shared_shapes(part))
    return reduce(np.maximum, distances)


def _shape_distance(part: Part, points: Floats) -> Floats:
    u, v, w = _local(points, part.frame)
    if isinstance(part.shape, Revolved):
        return outline_distance(part.shape.profile, np.hypot(u, w), v, on_axis=True)
    distance: Floats = np.maximum(outline_distance(part.shape.profile, u, v), np.abs(w) - part.shape.length / 2.0)
    return distance


def _local(points: Floats, frame: Frame) -> Floats:
    local: Floats = np.array([frame.u, frame.v, frame.w]) @ (points - np.array(frame.origin)).T
    return local


def outline_distance(profile: Profile, u: Floats, v: Floats, on_axis: bool = False) -> Floats:
    """Signed distance (n,) to an outline in its plane; ``on_axis``: straight sides along u = 0 are no boundary."""
    distance = np.full(len(u), np.inf)
    inside = np.zeros(len(u), bool)
    for start, end in profile.sides:
        inside ^= _left_of(start, end, u, v)
        if start.bulge != 0.0:
            inside ^= _in_segment(start, end, u, v)
        if not (on_axis and start.u == end.u == start.bulge == 0.0):
            side = _to_arc if start.bulge != 0.0 else _to_line
            np.minimum(distance, side(start, end, u, v), out=distance)
    return np.where(inside, -distance, distance)


def _left_of(start: Point, end: Point, u: Floats, v: Floats) -> Bools:
    """Whether the chord crosses the ray from each point towards +u: an odd count of crossings is inside."""
    if start.v == end.v:
        return np.zeros(len(v), bool)
    spans = (start.v > v) != (end.v > v)
    crossing: Bools = spans & (u < start.u + (v - start.v) * ((end.u - start.u) / (end.v - start.v)))
    return crossing


def _in_segment(start: Point, end: Point, u: Floats, v: Floats) -> Bools:
    """Whether each point lies between a bent side and its chord."""
    arc = arc_of(start, end)
    beyond = ((end.u - start.u) * (v - start.v) - (end.v - start.v) * (u - start.u)) * math.copysign(1.0, start.bulge)
    within: Bools = (beyond < 0.0) & ((u - arc.u) ** 2 + (v - arc.v) ** 2 < arc.radius**2)
    return within


def _to_line(start: Point, end: Point, u: Floats, v: Floats) -> Floats:
    du, dv = end.u - start.u, end.v - start.v
    share = np.clip(((u - start.u) * du + (v - start.v) * dv) / (du * du + dv * dv), 0.0, 1.0)
    distance: Floats = np.hypot(u - start.u - share * du, v - start.v - share * dv)
    return distance


def _to_arc(start: Point, end: Point, u: Floats, v: Floats) -> Floats:
    arc = arc_of(start, end)
    turn = math.copysign(1.0, arc.sweep)
    angle = np.mod((np.arctan2(v - arc.v, u - arc.u) - arc.start) * turn, 2.0 * math.pi)
    ends = np.minimum(np.hypot(u - start.u, v - start.v), np.hypot(u - end.u, v - end.v))
    return np.where(angle <= abs(arc.sweep), np.abs(np.hypot(u - arc.u, v - arc.v) - arc.radius), ends)
