"""Every recess as a casting core: the pin of investment that fills it while the metal is poured.

Measured on the mesh alone, by level sections across the recess's axis. At every depth, what lies below divided by the
widest circle that fits there, about any centre: the largest counts. A blind core hangs from the mouth; one that goes
through is held at both ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.inspection.topology import Bools

LEVELS, AGAIN = 20, 9
"""Sections from bottom to mouth, and twice again about the one that counts: its height to 1 / 300 of the depth."""

RAYS = 72
"""Directions in which a section must meet metal to enclose the axis: every 5 degrees."""

SKIN_MM = 1e-4
"""How far from a recess's two ends its outermost sections are taken."""

GRID, ROUNDS, NARROWER = 7, 8, 0.4
"""Points each way among which the widest circle's centre is looked for, how often, and how much narrower each time
about the best: to 1 / 4000 of the recess's width."""


@dataclass(frozen=True)
class Core:
    """A recess, in mm: from its ``bottom_mm`` to its ``top_mm`` along the axis; ``width_mm`` the narrowest of the
    widest circles at each depth; ``ratio`` the largest of depth below over width, met at ``at_mm``; ``floor_mm`` the
    metal under its bottom at the thinnest, 0 where it goes ``through``."""

    bottom_mm: float
    top_mm: float
    width_mm: float
    ratio: float
    at_mm: float
    through: bool
    floor_mm: float

    @property
    def depth_mm(self) -> float:
        """From the mouth down."""
        return self.top_mm - self.bottom_mm


def measure_core(corners: Floats, lowest_mm: float, highest_mm: float, reach_mm: float) -> Core | None:
    """The recess about the height axis of faces ``corners`` (m, 3, 3), each corner as (across, along, height), between
    the two heights; metal ends it all round within ``reach_mm`` of the axis. None where none does."""
    near = corners[_over_square(corners, reach_mm)]
    hits = axis_hits(near, (0.0, 0.0))
    hits = hits[(hits > lowest_mm) & (hits < highest_mm)]
    through = len(hits) == 0
    start = lowest_mm if through else float(hits.max()) + SKIN_MM
    span = _enclosed(near, start, highest_mm, reach_mm)
    if span is None:
        return None
    bottom, top = (span[0] if through else float(hits.max())), span[1]
    levels = np.linspace(span[0], top, LEVELS)
    width = np.array([widest_circle(section(near, level), reach_mm) for level in levels])
    at, ratio = _slenderest(near, levels, width, bottom, reach_mm)
    floor = 0.0 if through else _floor(near, bottom, float(width[0]) / 2.0)
    return Core(bottom, top, float(width.min()), ratio, at, through, floor)


def _slenderest(near: Floats, levels: Floats, width: Floats, bottom_mm: float, reach_mm: float) -> tuple[float, float]:
    """The level whose depth below over width is the greatest, and that ratio: sections again about the best."""
    for _ in range(2):
        best = int(np.argmax((levels - bottom_mm) / width))
        ends = levels[max(best - 1, 0)], levels[min(best + 1, len(levels) - 1)]
        levels = np.append(np.linspace(*ends, AGAIN), levels[best])
        width = np.array([widest_circle(section(near, level), reach_mm) for level in levels])
    best = int(np.argmax((levels - bottom_mm) / width))
    return float(levels[best]), float((levels[best] - bottom_mm) / width[best])


def _enclosed(near: Floats, low_mm: float, high_mm: float, reach_mm: float) -> tuple[float, float] | None:
    """The lowest stretch of levels at which metal stands round the axis on all sides: its two ends."""
    levels = np.linspace(low_mm, high_mm, LEVELS)
    closed = [_is_closed(near, level, reach_mm) for level in levels]
    if True not in closed:
        return None
    first = closed.index(True)
    last = closed.index(False, first) - 1 if False in closed[first:] else len(levels) - 1
    low = levels[0] if first == 0 else _turn(near, levels[first], levels[first - 1], reach_mm)
    high = levels[-1] if last == len(levels) - 1 else _turn(near, levels[last], levels[last + 1], reach_mm)
    return float(low), float(high)


def _turn(near: Floats, closed: float, open_: float, reach_mm: float) -> float:
    """The last closed level between a closed and an open one."""
    while abs(open_ - closed) > SKIN_MM / 2.0:
        middle = (open_ + closed) / 2.0
        closed, open_ = (middle, open_) if _is_closed(near, middle, reach_mm) else (closed, middle)
    return closed


def _is_closed(near: Floats, level: float, reach_mm: float) -> bool:
    return bool((room_round(section(near, level)) <= reach_mm).all())


def section(corners: Floats, level: float) -> Floats:
    """Where faces (m, 3, 3) meet a level: segments (k, 2, 2). A corner on the level counts as above it."""
    above = corners[:, :, 2] >= level
    cut = corners[above.any(axis=1) & ~above.all(axis=1)]
    above = cut[:, :, 2] >= level
    crossing = above != above[:, (1, 2, 0)]  # two of three sides
    start, end = cut, cut[:, (1, 2, 0)]
    rise = np.where(crossing, end[:, :, 2] - start[:, :, 2], 1.0)
    share = ((level - start[:, :, 2]) / rise)[:, :, None]
    points = start[:, :, :2] + share * (end - start)[:, :, :2]
    segments: Floats = points[crossing].reshape(-1, 2, 2)
    return segments


def room_round(segments: Floats) -> Floats:
    """How far off (72,) each of ``RAYS`` directions from the origin meets segments (k, 2, 2); infinite where none."""
    turn = np.arange(RAYS) * (2.0 * np.pi / RAYS)
    x, y = np.cos(turn)[:, None], np.sin(turn)[:, None]
    (ax, ay), (bx, by) = segments[:, 0].T, segments[:, 1].T
    a, b = x * ay - y * ax, x * by - y * bx  # off the ray, to its left
    share = np.divide(a, a - b, out=np.zeros_like(a), where=a != b)
    along = x * (ax + share * (bx - ax)) + y * (ay + share * (by - ay))
    met = (a * b <= 0.0) & (a != b) & (along > 0.0)
    room: Floats = np.where(met, along, np.inf).min(axis=1, initial=np.inf)
    return room


def widest_circle(segments: Floats, reach_mm: float) -> float:
    """Diameter of the widest circle about any centre that the origin sees, clear of all segments (k, 2, 2), which stand
    round the origin within the reach; 0 where they do not."""
    room = room_round(segments)
    if not (room <= reach_mm).all():
        return 0.0
    best, half, radius = np.zeros(2), float(room.max()), 0.0
    segments = segments[_clearance(np.zeros((1, 2)), segments)[0] <= half]
    offsets = np.stack(np.meshgrid(*2 * [np.linspace(-1.0, 1.0, GRID)]), axis=-1).reshape(-1, 2)
    for _ in range(ROUNDS):
        centres = best + half * offsets
        clear = np.where(_seen(centres, room), _clearance(centres, segments).min(axis=1), 0.0)
        best, radius, half = centres[clear.argmax()], float(clear.max()), half * NARROWER
    return 2.0 * radius


def _seen(points: Floats, room: Floats) -> Bools:
    """Whether the origin sees points (n, 2) between two rays that both go on beyond them."""
    ray = np.mod(np.arctan2(points[:, 1], points[:, 0]) / (2.0 * np.pi) * RAYS, RAYS).astype(int) % RAYS
    distance = np.hypot(points[:, 0], points[:, 1])
    seen: Bools = distance < np.minimum(room[ray], room[(ray + 1) % RAYS])
    return seen


def _clearance(points: Floats, segments: Floats) -> Floats:
    """Distances (n, k) from points (n, 2) to segments (k, 2, 2)."""
    start, along = segments[:, 0], segments[:, 1] - segments[:, 0]
    to = points[:, None] - start
    square = np.maximum(np.einsum("kj,kj->k", along, along), 1e-300)
    share = np.clip((to[..., 0] * along[:, 0] + to[..., 1] * along[:, 1]) / square, 0.0, 1.0)
    distance: Floats = np.hypot(to[..., 0] - share * along[:, 0], to[..., 1] - share * along[:, 1])
    return distance


def axis_hits(corners: Floats, foot: tuple[float, float]) -> Floats:
    """Heights (k,) at which the line through ``foot`` along the height axis meets faces (m, 3, 3), edges included."""
    flat = corners[:, :, :2] - np.array(foot)
    x, y = flat[:, :, 0], flat[:, :, 1]
    weight = x[:, (1, 2, 0)] * y[:, (2, 0, 1)] - x[:, (2, 0, 1)] * y[:, (1, 2, 0)]
    total = weight.sum(axis=1)
    slack = 1e-9
    inside = ((weight >= -slack).all(axis=1) | (weight <= slack).all(axis=1)) & (np.abs(total) > slack)
    heights: Floats = np.einsum("ij,ij->i", weight[inside], corners[inside, :, 2]) / total[inside]
    return heights


def _over_square(corners: Floats, half_mm: float) -> Bools:
    """Which faces' extents across the axis (m,) come within a square about it."""
    low, high = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
    over: Bools = ((low <= half_mm) & (high >= -half_mm)).all(axis=1)
    return over


def _floor(near: Floats, bottom_mm: float, radius_mm: float) -> float:
    """Metal under the bottom where it is thinnest: under its middle and eight places near its rim."""
    turn = np.arange(8) * (np.pi / 4.0)
    feet = [(0.0, 0.0), *(0.9 * radius_mm * np.column_stack((np.cos(turn), np.sin(turn)))).tolist()]
    under = []
    for foot in feet:
        hits = axis_hits(near, foot)
        under.append(bottom_mm - float(hits[hits < bottom_mm - SKIN_MM].max(initial=-np.inf)))
    return min(under)
