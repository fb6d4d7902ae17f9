"""The band after setting against the published benchmarks, measured on its mesh: how far each prong covers the crown
and stands over it, how deep its notch is and what is left behind it, what metal lies under each seat.

What is left of a section is the layout's number (``layout.set_section``): prongs side by side have none of their own.
Bent metal is not modelled, so that the contact found is what the setter has before the prong is pushed over.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from bandgen.band import Mesh
from bandgen.engines.facets import Floats
from bandgen.inspection.findings import Finding, Place, at_least, at_most
from bandgen.layout.numbers import Layout, Station
from bandgen.layout.set_dome import SeenStone, SetProng, deepest, point_on
from bandgen.layout.set_numbers import FinishedProng, Grip, across_axis, finished_prongs
from bandgen.units import sincosd

GIA = "GIA quality assurance benchmark, setting a round centre stone in platinum prongs"
GIA_CRAFT = "GIA quality assurance benchmark: 40 % removed, 50 % at most (craftsmanship standard)"
HOG = "Heart of Gold, repair guide: half of the prong behind the notch"
MORRIS = "Morris & Watson, casting guidelines"
TOLERANCE = 2.0
"""Of the mesh's deviation, within which a vertex lies on a stone's cone: the cone's facets and the dome's."""
BESIDE_MM = (0.00123, 0.00071)
"""How far beside a stone's axis the ray under its seat goes, so that it meets no edge of the mesh."""


@dataclass(frozen=True)
class MeasuredGrip:
    """One stone in one prong, as found on the mesh: shares as in ``layout.set_numbers.Grip``."""

    prong: FinishedProng
    grip: Grip
    contact: float
    height: float
    notch: float
    heel: float


def inspect_as_set(layout: Layout, mesh: Mesh) -> list[Finding]:
    """Every benchmark on every distinct prong of a set layout and its mesh: of each the worst. All are warnings,
    but that the mesh must be what the layout predicts."""
    found = [grip for prong in finished_prongs(layout) for grip in measure_prong(layout, mesh, prong)]
    return [
        _agreement(layout, found),
        *_crown_findings(found),
        *_metal_findings(found),
        *_seat_findings(layout, mesh),
    ]


def _agreement(layout: Layout, found: list[MeasuredGrip]) -> Finding:
    """The mesh holds the stones as the layout says: an error where it does not."""
    room = TOLERANCE * layout.spec.mesh.deviation_mm
    off, place = max(((_misfit(each), _place(each)) for each in found), key=lambda each: each[0])
    text = "mm between layout and mesh in a contact, a tip's height or a notch"
    return at_most("grip-agreement", off, room, text, "the layout's prediction", place, "error")


def _misfit(found: MeasuredGrip) -> float:
    grip, cut, prong = found.grip, found.grip.stone.outline, found.prong.prong
    return max(
        abs(found.contact - grip.contact) * cut.crown_width_mm,
        abs(found.height - grip.height) * cut.crown_mm,
        abs(found.notch - grip.notch) * prong.diameter_mm,
    )


def _crown_findings(found: list[MeasuredGrip]) -> list[Finding]:
    contact, height = [(g.contact, _place(g)) for g in found], [(g.height, _place(g)) for g in found]
    covers = "share of the crown from girdle to table that a prong covers"
    stands = "share of the crown's height that a tip stands over the girdle"
    return [
        _at_least("crown-contact-least", contact, 0.30, f"{covers}, before it is pushed over", GIA),
        _at_most("crown-contact-most", contact, 0.50, covers, GIA),
        _at_least("tip-height-least", height, 0.60, stands, GIA),
        _at_most("tip-height-most", height, 0.80, stands, GIA),
    ]


def _metal_findings(found: list[MeasuredGrip]) -> list[Finding]:
    notch, heel = [(g.notch, _place(g)) for g in found], [(g.heel, _place(g)) for g in found]
    section = [(g.prong.section.area, Place(seam=g.prong.seam)) for g in found]
    return [
        _at_most("notch-depth", notch, 0.40, "share of a prong's diameter that one notch takes", GIA_CRAFT),
        _at_least("notch-heel", heel, 0.50, "share of a prong's diameter left behind a notch", HOG),
        _at_least("section-left", section, 0.50, "share of a prong's section left by all its notches", GIA_CRAFT),
    ]


def _seat_findings(layout: Layout, mesh: Mesh) -> list[Finding]:
    """None where the seats are open to the bore."""
    stations = {side.station for kind in layout.kinds for side in layout.sides(layout.seams[kind.seam])}
    under = [
        (metal, Place(station=station.index))
        for station in sorted(stations, key=lambda each: each.index)
        if not station.seat.through
        for metal in metal_under(layout, mesh, station)
    ]
    text = "mm of metal under a seat, on the stone's axis"
    return [_at_least("metal-under-seat", under, 0.50, text, MORRIS)] if under else []


Values = Iterable[tuple[float, Place]]


def _at_least(code: str, values: Values, limit: float, text: str, source: str) -> Finding:
    measured, place = min(values, key=lambda each: each[0])
    return at_least(code, measured, limit, text, source, place)


def _at_most(code: str, values: Values, limit: float, text: str, source: str) -> Finding:
    measured, place = max(values, key=lambda each: each[0])
    return at_most(code, measured, limit, text, source, place)


def _place(measured: MeasuredGrip) -> Place:
    return Place(station=measured.grip.station, seam=measured.prong.seam)


def measure_prong(layout: Layout, mesh: Mesh, prong: FinishedProng) -> list[MeasuredGrip]:
    """What holds each stone that enters a prong, found on the mesh of a set layout."""
    angle = layout.seams[prong.seam].angle_deg + prong.turn_deg
    points = _turned(mesh.vertices, -angle) - (0.0, 0.0, prong.z_mm)
    room = TOLERANCE * layout.spec.mesh.deviation_mm
    near = points[_off(prong.prong, points) <= prong.prong.diameter_mm / 2.0 + room]
    found = []
    for grip in prong.grips:
        notch, heel = _through(prong.prong, grip.stone, points[mesh.faces])
        contact, height = _on_crown(grip.stone, near, room), _tip(prong.prong, grip.stone, near, room)
        found.append(MeasuredGrip(prong, grip, contact, height, notch, heel))
    return found


def _turned(points: Floats, degrees: float) -> Floats:
    sine, cosine = sincosd(degrees)
    x, y, z = points.T
    return np.column_stack((cosine * x - sine * y, sine * x + cosine * y, z))


def _off(prong: SetProng, points: Floats) -> Floats:
    """Distance (n,) of points from a prong's axis; far away where they lie under the girdle's crossing."""
    away = points - np.array(point_on(prong.axis, 0.0))
    run = away @ np.array(prong.axis.along)
    square = np.maximum((away**2).sum(axis=1) - run**2, 0.0)
    return np.where(np.abs(run) < prong.diameter_mm, np.sqrt(square), np.inf)


def _tip(prong: SetProng, stone: SeenStone, points: Floats, room: float) -> float:
    """How high the vertices of a prong's own dome stand over a stone, as a share of its crown."""
    off = np.linalg.norm(points - np.array(point_on(prong.axis, prong.middle_mm)), axis=1)
    heights = points[np.abs(off - prong.dome_mm) < room] @ np.array(stone.up)
    cut = stone.outline
    return (float(heights.max(initial=cut.girdle_mm)) - cut.upper_mm) / cut.crown_mm


def _on_crown(stone: SeenStone, points: Floats, room: float) -> float:
    """How far in the vertices on the crown's cone reach, as a share of the way from girdle to table."""
    cut = stone.outline
    height = points @ np.array(stone.up)
    off = np.linalg.norm(points - np.outer(height, stone.up) - (0.0, 0.0, stone.z_mm), axis=1)
    above = height - cut.upper_mm - (cut.radius_mm - off) * cut.crown
    on = (np.abs(above) / math.hypot(1.0, cut.crown) < room) & (height > cut.upper_mm - room)
    inmost = off[on].min(initial=cut.radius_mm)
    return (cut.radius_mm - float(inmost)) / cut.crown_width_mm


def _through(prong: SetProng, stone: SeenStone, corners: Floats) -> tuple[float, float]:
    """Depth of a notch and metal behind it, as shares of the diameter: on the line through the prong's axis and the
    deepest point of the girdle, in the section there. ``corners`` (m, 3, 3)."""
    origin, axis = np.array(point_on(prong.axis, 0.0)), np.array(prong.axis.along)
    point = np.array(deepest(prong, stone)) - origin
    segments = section_segments(corners, origin + float(point @ axis) * axis, prong)
    u, w = (float(point @ np.array(way)) for way in across_axis(prong.axis))
    towards = np.array((u, w)) / math.hypot(u, w)
    inner, outer = _first(segments, towards), _first(segments, -towards)
    radius = prong.diameter_mm / 2.0
    return 0.5 - inner / prong.diameter_mm, (inner + min(outer, radius)) / prong.diameter_mm


def section_segments(corners: Floats, origin: Floats, prong: SetProng) -> Floats:
    """The mesh's section (k, 2, 2) in the plane square to a prong through a point of its axis: each segment's two ends
    in the directions of ``across_axis``, as far as the prong's diameter from its axis."""
    axis, (u, w) = np.array(prong.axis.along), across_axis(prong.axis)
    side = (corners - origin) @ axis
    met = corners[(side.min(axis=1) < 0.0) & (side.max(axis=1) >= 0.0)]
    side = (met - origin) @ axis
    following = np.roll(side, -1, axis=1)
    cut = (side < 0.0) != (following < 0.0)  # two sides of each triangle
    share = side / np.where(cut, side - following, 1.0)
    ends = (met + share[..., None] * (np.roll(met, -1, axis=1) - met))[cut].reshape(-1, 2, 3) - origin
    segments: Floats = ends @ np.array((u, w)).T
    kept: Floats = segments[np.linalg.norm(segments, axis=2).min(axis=1) < prong.diameter_mm]
    return kept


def _first(segments: Floats, way: Floats) -> float:
    """Distance at which a ray from the origin first meets a segment; ``inf`` where it meets none."""
    across = segments @ np.array((-way[1], way[0]))
    along = segments @ way
    met = (across[:, 0] < 0.0) != (across[:, 1] < 0.0)
    (a, b), (p, q) = across[met].T, along[met].T
    distance = p + (q - p) * a / (a - b)
    return float(distance[distance > 0.0].min(initial=math.inf))


def metal_under(layout: Layout, mesh: Mesh, station: Station) -> list[float]:
    """Metal (mm) under a station's seat, row by row: between the recess's floor and the bore, beside the axis."""
    culet = station.seat.bore_radius_mm + station.culet_clearance_mm
    found = []
    for row in layout.rows:
        angle = station.angle_deg + (layout.seams[station.index].before_deg if row.turned else 0.0)
        points = _turned(mesh.vertices, -angle) - (0.0, 0.0, row.z_mm)
        heights = _crossings(points[mesh.faces])
        heights = heights[heights < culet]
        found.append(float(heights[-1] - heights[-2]) if len(heights) > 1 else 0.0)
    return found


def _crossings(corners: Floats) -> Floats:
    """Heights, ascending, at which a line along +Y just beside the axis meets the triangles over the ring's middle."""
    x, z = BESIDE_MM
    corners = corners[(corners[:, :, 1] > 0.0).all(axis=1)]
    flat = corners[:, :, (0, 2)] - (x, z)
    turn = [flat[:, i, 0] * flat[:, j, 1] - flat[:, i, 1] * flat[:, j, 0] for i, j in ((1, 2), (2, 0), (0, 1))]
    weights = np.stack(turn, axis=1)
    inside = (weights > 0.0).all(axis=1) | (weights < 0.0).all(axis=1)
    shares = weights[inside] / weights[inside].sum(axis=1, keepdims=True)
    heights: Floats = np.sort((shares * corners[inside][:, :, 1]).sum(axis=1))
    return heights
