"""Does the mesh lie on the surface that the parts describe? Signed distances to the parts' own profiles, no kernel.

Let f be, of the signed distances to all parts (negative inside), the least of those that add, cut by the negated ones
of the tools. It is zero on the band's true surface and changes by at most 1 mm a mm: where the mesh keeps its deviation
|f| is no greater, and a mesh point with a greater |f| is wrong for certain. A part that is missing, moved, misshapen or
filled shows as such points; but what lies off them, between the corners and middles of faces, only the volume tells.

Looked at: every corner and middle of the first cell's faces. All other cells must equal the first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from bandgen.cell import whole_cell
from bandgen.engines.facets import Floats
from bandgen.inspection.findings import Finding, Place, Severity
from bandgen.inspection.prediction import FLOAT32_MM
from bandgen.inspection.topology import Bools
from bandgen.layout.numbers import Layout
from bandgen.parts import Frame, Part, Point, Profile, Revolved, arc_of
from bandgen.units import SHORTEST_EDGE_MM, sincosd

if TYPE_CHECKING:
    from bandgen.band import Mesh

PARTS = "signed distance to the parts' profiles, no kernel"
TURNED = "the first cell, turned about the ring's axis"


def inspect_surface(layout: Layout, mesh: Mesh) -> list[Finding]:
    """Findings "surface" (the first cell against its parts) and "cells-alike" (all others against the first)."""
    if sum(mesh.cell_faces) != len(mesh.faces) or len(mesh.cell_faces) != len(layout.seams):
        text = "faces, as many as all cells have together"
        return [Finding("cells-alike", "error", len(mesh.faces), sum(mesh.cell_faces), text, TURNED)]
    return [_on_surface(layout, mesh), _alike(layout, mesh)]


def _on_surface(layout: Layout, mesh: Mesh) -> Finding:
    """Corners and middles of the first cell's faces."""
    seam = layout.seams[0]
    corners = mesh.vertices[mesh.faces[: mesh.cell_faces[0]]]
    used = mesh.vertices[np.unique(mesh.faces[: mesh.cell_faces[0]])]
    points = np.concatenate((used, corners.mean(axis=1)))
    offset = np.abs(signed_distance(whole_cell(layout, seam).parts, turn_back(points, seam.angle_deg)))
    limit = layout.spec.mesh.deviation_mm + SHORTEST_EDGE_MM + FLOAT32_MM
    worst = int(np.argmax(offset))
    place = Place(seam=seam.index, point=tuple(points[worst].tolist()))
    return _at_most("surface", float(offset[worst]), limit, "mm from the parts' surface", PARTS, place)


def _alike(layout: Layout, mesh: Mesh) -> Finding:
    """All cells of an even band beside the first, corner by corner."""
    count = len(layout.seams)
    limit, text = 3.0 * FLOAT32_MM, "mm between a cell and the first, each in its own frame"
    if len(set(mesh.cell_faces)) != 1:
        return Finding("cells-alike", "error", max(mesh.cell_faces), min(mesh.cell_faces), "faces of a cell", TURNED)
    cells = mesh.vertices[mesh.faces].reshape(count, -1, 3)
    sines, cosines = np.array([sincosd(-(seam.angle_deg - layout.seams[0].angle_deg)) for seam in layout.seams]).T
    x, y, z = cells[..., 0], cells[..., 1], cells[..., 2]
    sine, cosine = sines[:, None], cosines[:, None]
    apart = np.abs(cosine * x - sine * y - x[0])
    np.maximum(apart, np.abs(sine * x + cosine * y - y[0]), out=apart)
    np.maximum(apart, np.abs(z - z[0]), out=apart)
    worst = int(np.argmax(apart))
    place = Place(seam=worst // cells.shape[1], point=tuple(cells.reshape(-1, 3)[worst].tolist()))
    return _at_most("cells-alike", float(apart.flat[worst]), limit, text, TURNED, place)


def _at_most(code: str, measured: float, limit: float, text: str, source: str, place: Place) -> Finding:
    severity: Severity = "ok" if measured <= limit else "error"
    return Finding(code, severity, measured, limit, text, source, place if severity == "error" else Place())


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
    """Signed distance (n,) to one part: exact for a revolved one, for an extruded one outside its edges no more."""
    u, v, w = _local(points, part.frame)
    if isinstance(part.shape, Revolved):
        return outline_distance(part.shape.profile, np.hypot(u, w), v, on_axis=True)
    distance: Floats = np.maximum(outline_distance(part.shape.profile, u, v), np.abs(w) - part.shape.length / 2.0)
    return distance


def _local(points: Floats, frame: Frame) -> Floats:
    local: Floats = np.array([frame.u, frame.v, frame.w]) @ (points - np.array(frame.origin)).T
    return local


def outline_distance(profile: Profile, u: Floats, v: Floats, on_axis: bool = False) -> Floats:
    """Signed distance (n,) to an outline in its plane; ``on_axis``: sides along u = 0 are no boundary."""
    distance = np.full(len(u), np.inf)
    inside = np.zeros(len(u), bool)
    for start, end in profile.sides:
        inside ^= _left_of(start, end, u, v)
        if start.bulge != 0.0:
            inside ^= _in_segment(start, end, u, v)
        if not (on_axis and start.u == 0.0 and end.u == 0.0):
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
