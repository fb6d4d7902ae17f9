"""Profiles and shapes to triangles, in double precision; no kernel.

A circle becomes the regular polygon of equal area, its corners on the symmetry planes of the revolution, so that
volumes are right to second order. An arc inside a profile keeps its two ends and moves the corners between them
outwards until the area is the arc's; so does the turn between two stops.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bandgen.errors import EngineError
from bandgen.parts import Frame, Point, Profile, Revolved, arc_of
from bandgen.units import sincosd

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LEAST_CORNERS = 8
"""Corners of the coarsest turn."""


def circle_segments(radius_mm: float, deviation_mm: float) -> int:
    """Corners (a multiple of 4) of the equal-area polygon that stays within the deviation of its circle."""
    count = LEAST_CORNERS
    while _equal_area_miss(radius_mm, count) > deviation_mm:
        count += 4
    return count


def equal_area_factor(count: int) -> float:
    """Corner radius over circle radius of a regular polygon of the circle's area."""
    step = 2.0 * math.pi / count
    return math.sqrt(step / math.sin(step))


def _equal_area_miss(radius_mm: float, count: int) -> float:
    factor = equal_area_factor(count)
    return radius_mm * max(factor - 1.0, 1.0 - factor * math.cos(math.pi / count))


def polyline(profile: Profile, deviation_mm: float) -> Floats:
    """The outline as (n, 2) float corners (u, v), arcs divided so that they stay within the deviation."""
    corners: list[tuple[float, float]] = []
    for start, end in profile.sides:
        corners.append((start.u, start.v))
        if start.bulge != 0.0:
            corners.extend(_arc_corners(start, end, deviation_mm))
    return np.array(corners)


def _arc_corners(start: Point, end: Point, deviation_mm: float) -> list[tuple[float, float]]:
    """The corners between the two ends of an arc."""
    arc = arc_of(start, end)
    count, radius = _divided(arc.radius, abs(arc.sweep), deviation_mm)
    angles = [arc.start + arc.sweep * step / count for step in range(1, count)]
    return [(arc.u + radius * math.cos(angle), arc.v + radius * math.sin(angle)) for angle in angles]


def _divided(radius_mm: float, sweep: float, deviation_mm: float, least: int = 2) -> tuple[int, float]:
    """Pieces (at least ``least``) of an arc within the deviation, and the radius of the corners between them."""
    count = max(arc_segments(radius_mm, sweep, deviation_mm), least)
    while _inner_radius(radius_mm, sweep, count) - radius_mm > deviation_mm:
        count += 1
    return count, _inner_radius(radius_mm, sweep, count)


def arc_segments(radius_mm: float, sweep: float, deviation_mm: float) -> int:
    """Pieces (at least 2) of an arc that stays within the deviation."""
    step = 2.0 * math.acos(max(1.0 - deviation_mm / radius_mm, -1.0))
    return max(math.ceil(sweep / step), 2)


def _inner_radius(radius: float, sweep: float, count: int) -> float:
    """Radius of the inner corners at which the polygon, its two ends kept, has the sector's area."""
    step = sweep / count
    a, b, c = (count - 2) * math.sin(step), 2.0 * radius * math.sin(step), -(radius**2) * sweep
    if count == 2:
        return -c / b
    return (-b + math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a)


def place(local: Floats, frame: Frame) -> Floats:
    """Local coordinates (n, 3) to the frame's outer ones (n, 3)."""
    axes: Floats = np.array([frame.u, frame.v, frame.w])
    placed: Floats = local @ axes + np.array(frame.origin)
    return placed


def revolve(shape: Revolved, deviation_mm: float) -> tuple[Floats, Ints]:
    """Vertices (n, 3) and faces (m, 3), local: the profile turned about v, starting on +u or at its first stop."""
    outline = polyline(shape.profile, deviation_mm / 2.0)
    factor, cosine, sine = _around(shape.stops, float(outline[:, 0].max()), deviation_mm / 2.0)
    radii, count = outline[:, 0] * factor, len(cosine)
    on_axis = outline[:, 0] == 0.0
    sizes = np.where(on_axis, 1, count)
    first = np.concatenate(([0], np.cumsum(sizes)))
    rings = [
        np.array([[0.0, v, 0.0]]) if pole else np.column_stack((u * cosine, np.full(count, v), -u * sine))
        for u, v, pole in zip(radii, outline[:, 1], on_axis, strict=True)
    ]
    faces = []
    for here in range(len(outline)):
        there = (here + 1) % len(outline)
        if not (on_axis[here] and on_axis[there]):
            faces.append(_band(first[here], sizes[here], first[there], sizes[there], count))
    return np.concatenate(rings), np.concatenate(faces)


def _around(stops: tuple[float, ...], radius_mm: float, deviation_mm: float) -> tuple[float, Floats, Floats]:
    """The turn's corners (n,) as cosines and sines, and the factor of their radii; stops bring their own radii."""
    if stops:
        return 1.0, *_stopped_turn(stops, radius_mm, deviation_mm)
    count = circle_segments(radius_mm, deviation_mm)
    return equal_area_factor(count), *_turn(count)


def _stopped_turn(stops: tuple[float, ...], radius_mm: float, deviation_mm: float) -> tuple[Floats, Floats]:
    """Cosines and sines of a full turn, of radius 1 at the stops; between them longer, for the sectors' areas."""
    ends = (*stops[1:], stops[0] + 360.0)
    if not (stops[0] >= 0.0 and stops[-1] < 360.0 and all(a < b for a, b in zip(stops, ends, strict=True))):
        raise EngineError("facet", f"stops must ascend from 0 to less than 360 degrees: {stops}")
    arcs = [_stop_to_stop(*pair, radius_mm, deviation_mm) for pair in zip(stops, ends, strict=True)]
    cosine, sine = np.concatenate(arcs, axis=1)
    return cosine, sine


def _stop_to_stop(start_deg: float, end_deg: float, radius_mm: float, deviation_mm: float) -> Floats:
    """Cosines and sines (2, n) from one stop until before the next."""
    sweep = math.radians(end_deg - start_deg)
    least = max(math.ceil(LEAST_CORNERS * (end_deg - start_deg) / 360.0), 2)
    count, inner = _divided(radius_mm, sweep, deviation_mm, least)
    angles = math.radians(start_deg) + np.arange(count) * (sweep / count)
    corners: Floats = np.array((np.cos(angles), np.sin(angles))) * (inner / radius_mm)
    corners[::-1, 0] = sincosd(start_deg)
    return corners


def _turn(count: int) -> tuple[Floats, Floats]:
    """Cosines and sines of a full turn, exact and symmetric at the quadrants."""
    quarter = count // 4
    angles = np.arange(quarter + 1) * (math.pi / 2.0 / quarter)
    first = np.cos(angles)
    first[-1] = 0.0
    cosine = np.concatenate((first, -first[-2::-1], -first[1:], first[-2:0:-1]))
    return cosine, np.roll(cosine, quarter)


def _band(low: int, low_size: int, high: int, high_size: int, count: int) -> Ints:
    """Faces between two rings of the grid, either of which may be a pole; outward for a counter-clockwise profile."""
    step = np.arange(count)
    following = (step + 1) % count
    a, b = low + step % low_size, low + following % low_size
    c, d = high + step % high_size, high + following % high_size
    upper, lower = np.column_stack((a, b, c)), np.column_stack((b, d, c))
    if low_size == 1:
        return lower
    return upper if high_size == 1 else np.concatenate((upper, lower))


def extrude(outline: Floats, caps: Ints, length_mm: float) -> tuple[Floats, Ints]:
    """Vertices and faces, local: the outline (n, 2), its cap triangulated by ``caps`` (k, 3), swept along w."""
    count = len(outline)
    low = np.column_stack((outline, np.full(count, -length_mm / 2.0)))
    high = np.column_stack((outline, np.full(count, length_mm / 2.0)))
    step = np.arange(count)
    following = (step + 1) % count
    walls = np.concatenate(
        (
            np.column_stack((step, following, following + count)),
            np.column_stack((step, following + count, step + count)),
        )
    )
    return np.concatenate((low, high)), np.concatenate((caps[:, ::-1], caps + count, walls))
