"""How a finished prong holds a stone: the dome of its tip over the crown, and the notch under it, in pure numbers.

The setter's bending is not modelled: the finished prong is the blank with the stone's turned outline cut out of it and
its tip trimmed to a sphere about its own axis. So the crown is covered no further than the blank stands over it.

Vectors are in the seam's frame. A stone is seen in the half plane through its axis: (distance from its axis, height
along it from the ring's centre). Its crown and pavilion are the cones of the main facets.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from bandgen.errors import Problem, SpecError
from bandgen.layout.grip import ProngAxis
from bandgen.layout.numbers import ProngNumbers, Station
from bandgen.layout.roots import rising_root
from bandgen.parts import Vector
from bandgen.trade.stones import crown_height
from bandgen.units import KEEP_AWAY_MM, tand

LEAST_DOME = 1.05
"""Radius of a tip's sphere over the prong's at the least: at 1 the tip is half a ball (common practice, no source)."""


@dataclass(frozen=True)
class Finish:
    """How a setter leaves a prong, as shares of the crown between the girdle's upper edge and the table: how far it
    covers the crown, and how high it stands (GIA quality assurance benchmark for prongs: 30 to 50 % and 60 to 80 %;
    the middle of each)."""

    contact: float = 0.40
    height: float = 0.70

    def __post_init__(self) -> None:
        if not 0.05 <= self.contact < self.height <= 0.95:
            rule = "contact must be at least 0.05 and less than the height, which is 0.95 at most"
            raise SpecError([Problem("finish", rule, (self.contact, self.height))], "finish")


@dataclass(frozen=True)
class SetProng(ProngNumbers):
    """A prong after setting: its tip is a cap of a sphere of ``dome_mm`` about a point on its axis."""

    dome_mm: float = 0.0

    @property
    def shoulder_mm(self) -> float:
        """Length from the girdle crossing up the axis to where the shaft ends and the cap begins."""
        radius = self.diameter_mm / 2.0
        return self.tip_mm - radius**2 / (self.dome_mm + math.sqrt(self.dome_mm**2 - radius**2))

    @property
    def middle_mm(self) -> float:
        """Length from the girdle crossing up the axis to the sphere's middle (negative: down)."""
        return self.tip_mm - self.dome_mm


@dataclass(frozen=True)
class StoneOutline:
    """A turned stone: radii and heights in mm in its own half plane, slopes of its cones."""

    radius_mm: float
    girdle_mm: float
    upper_mm: float
    table_mm: float
    table_radius_mm: float
    crown: float
    pavilion: float

    @property
    def crown_mm(self) -> float:
        """Height of the crown."""
        return self.table_mm - self.upper_mm

    @property
    def crown_width_mm(self) -> float:
        """From girdle to table, seen from above."""
        return self.radius_mm - self.table_radius_mm


@dataclass(frozen=True)
class SeenStone:
    """A stone as a prong sees it: the way up its axis in the prong's frame, and how far along the finger it stands."""

    outline: StoneOutline
    up: Vector
    z_mm: float = 0.0

    def place(self, point: Vector) -> tuple[float, float]:
        """A point as (distance from the stone's axis, height)."""
        height = _dot(point, self.up)
        return math.dist(point, (height * self.up[0], height * self.up[1], self.z_mm)), height

    def azimuth(self, point: Vector) -> float:
        """Angle in radians about the stone's axis, from the ring's axis."""
        return math.atan2(point[0] * self.up[1] - point[1] * self.up[0], point[2] - self.z_mm)

    def point(self, azimuth: float, radius: float, height: float) -> Vector:
        """The inverse of both."""
        x, y, _ = self.up
        across, along = radius * math.sin(azimuth), radius * math.cos(azimuth)
        return across * y + height * x, height * y - across * x, self.z_mm + along


def outline_of(station: Station) -> StoneOutline:
    """The turned stone of a station."""
    cut, radius, girdle = station.proportions, station.diameter_mm / 2.0, station.seat.girdle_mm
    upper = girdle + cut.girdle_pct / 100.0 * station.diameter_mm
    return StoneOutline(
        radius_mm=radius,
        girdle_mm=girdle,
        upper_mm=upper,
        table_mm=upper + crown_height(station.diameter_mm, cut.crown_deg, cut.table_pct),
        table_radius_mm=radius * cut.table_pct / 100.0,
        crown=tand(cut.crown_deg),
        pavilion=tand(cut.pavilion_deg),
    )


def point_on(axis: ProngAxis, length: float) -> Vector:
    """The point of an axis at a length from its crossing."""
    x, y, z = axis.along
    return axis.across_mm + length * x, axis.crossing_mm + length * y, axis.spread_mm + length * z


def off_axis(axis: ProngAxis, point: Vector) -> float:
    """Distance of a point from an axis."""
    x, y, z = (a - b for a, b in zip(point, point_on(axis, 0.0), strict=True))
    run = _dot((x, y, z), axis.along)
    return math.sqrt(max(x * x + y * y + z * z - run * run, 0.0))


def solve_dome(blank: ProngNumbers, stone: SeenStone, finish: Finish) -> tuple[float, float]:
    """The cap over one stone: the length of its top up the prong's axis, and its radius. Its highest point over the
    girdle is the finish's; it meets the crown at the finish's contact, or where the blank stands over the crown, less
    the keep-away, so that the shaft's own side does not bound the contact. No cap is rounder than ``LEAST_DOME``.

    Raises:
        SpecError: when the girdle only grazes the prong.
    """
    room = blank.diameter_mm / 2.0 - KEEP_AWAY_MM

    def past(contact: float) -> float:
        length, dome = _dome(blank.axis, stone, contact, finish.height)
        return off_axis(blank.axis, _edge(blank.axis, stone, length - dome, contact)) - room

    contact = finish.contact
    if (over := past(contact)) > 0.0:
        if (under := past(0.0)) > 0.0:
            rule = "a girdle that enters a prong so little leaves no metal over its crown"
            raise SpecError([Problem("prong.overlap", rule, blank.overlap, "raise it")])
        contact = rising_root(past, 0.0, under, contact, over)
    tip, dome = _dome(blank.axis, stone, contact, finish.height)
    least = LEAST_DOME * blank.diameter_mm / 2.0
    return (tip, dome) if dome >= least else _round_cap(blank.axis, stone, finish.height, least)


def _round_cap(axis: ProngAxis, stone: SeenStone, height: float, dome: float) -> tuple[float, float]:
    """Top and radius of the cap of a given radius that is as high as asked over the stone."""
    cut = stone.outline
    rise = cut.upper_mm + height * cut.crown_mm - dome - stone.place(point_on(axis, 0.0))[1]
    return rise / _dot(axis.along, stone.up) + dome, dome


def _dome(axis: ProngAxis, stone: SeenStone, contact: float, height: float) -> tuple[float, float]:
    """Top and radius of the sphere about a point of the axis that is as high as asked over the stone and just holds
    the circle on its crown at ``contact``."""
    cut = stone.outline
    top = cut.upper_mm + height * cut.crown_mm
    out, low = cut.radius_mm - contact * cut.crown_width_mm, cut.upper_mm + contact * cut.crown_mm

    def miss(length: float) -> float:
        off, middle = stone.place(point_on(axis, length))
        return (off - out) ** 2 - (top - low) * (top + low - 2.0 * middle)

    _, start = stone.place(point_on(axis, 0.0))
    high = (top - start) / _dot(axis.along, stone.up)
    step = cut.radius_mm / 4.0
    while miss(high - step) > 0.0:
        step *= 2.0
    length = rising_root(miss, high - step, miss(high - step), high, miss(high))
    dome = top - stone.place(point_on(axis, length))[1]
    return length + dome, dome


def _edge(axis: ProngAxis, stone: SeenStone, middle: float, contact: float) -> Vector:
    """The innermost point of a cap on the crown: in the half plane of its sphere's middle."""
    cut = stone.outline
    azimuth = stone.azimuth(point_on(axis, middle))
    width = contact * cut.crown_width_mm
    return stone.point(azimuth, cut.radius_mm - width, cut.upper_mm + width * cut.crown)


def contact_of(prong: SetProng, stone: SeenStone) -> float:
    """How far a finished prong covers the crown, as a share of the way from girdle to table."""
    cut = stone.outline

    def covered(azimuth: float) -> float:
        start = stone.point(azimuth, cut.radius_mm, cut.upper_mm)
        inwards = _minus(stone.point(azimuth, cut.radius_mm - 1.0, cut.upper_mm + cut.crown), start)
        return _leaves_prong(prong, start, inwards)

    return _most(covered, stone.azimuth(point_on(prong.axis, 0.0))) / cut.crown_width_mm


def notch_foot(prong: ProngNumbers, stone: SeenStone) -> float:
    """How far under the lower girdle edge the pavilion leaves a prong (mm)."""
    cut = stone.outline

    def entered(azimuth: float) -> float:
        start = stone.point(azimuth, cut.radius_mm, cut.girdle_mm)
        inwards = _minus(stone.point(azimuth, cut.radius_mm - 1.0, cut.girdle_mm - cut.pavilion), start)
        return _leaves_shaft(prong, start, inwards)

    return _most(entered, stone.azimuth(point_on(prong.axis, 0.0))) * cut.pavilion


def highest(prong: SetProng, stone: SeenStone) -> float:
    """Height of a finished tip along the stone's axis: of the sphere, or where that is past the shaft of its edge."""
    steep = min(_dot(prong.axis.along, stone.up), 1.0)
    tilt, radius = math.sqrt(1.0 - steep * steep), prong.diameter_mm / 2.0
    if prong.dome_mm * tilt <= radius:
        return _dot(point_on(prong.axis, prong.middle_mm), stone.up) + prong.dome_mm
    return _dot(point_on(prong.axis, prong.shoulder_mm), stone.up) + radius * tilt


def deepest(prong: ProngNumbers, stone: SeenStone) -> Vector:
    """The point of the lower girdle edge that is nearest to a prong's axis."""
    cut = stone.outline

    def near(azimuth: float) -> float:
        return -off_axis(prong.axis, stone.point(azimuth, cut.radius_mm, cut.girdle_mm))

    azimuth = _where_most(near, stone.azimuth(point_on(prong.axis, 0.0)))
    return stone.point(azimuth, cut.radius_mm, cut.girdle_mm)


def _leaves_prong(prong: SetProng, start: Vector, way: Vector) -> float:
    """How far along a line a finished prong is left: through the shaft's side, or over its shoulder through the cap."""
    shaft, along = _leaves_shaft(prong, start, way), prong.axis.along
    under = _dot(_minus(point_on(prong.axis, prong.shoulder_mm), start), along)
    if shaft * _dot(way, along) <= under:
        return shaft
    return _leaves(_minus(start, point_on(prong.axis, prong.middle_mm)), way, prong.dome_mm)


def _leaves_shaft(prong: ProngNumbers, start: Vector, way: Vector) -> float:
    """How far along a line a prong's shaft is left for good; nothing where it is never met."""
    along, foot = prong.axis.along, _minus(start, point_on(prong.axis, 0.0))
    return _leaves(_across(foot, along), _across(way, along), prong.diameter_mm / 2.0)


def _leaves(start: Vector, way: Vector, radius: float) -> float:
    """The last of the two places where a line is ``radius`` from the origin, or where it is the nearest."""
    a, b, c = _dot(way, way), _dot(start, way), _dot(start, start) - radius**2
    square = b * b - a * c
    return (-b + math.sqrt(square)) / a if square > 0.0 else -math.inf


def _most(function: Callable[[float], float], middle: float) -> float:
    return max(function(_where_most(function, middle)), 0.0)


def _where_most(function: Callable[[float], float], middle: float, reach: float = 0.3) -> float:
    """Where a function of one peak is greatest within ``reach`` radians of ``middle``: golden section."""
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    low, high = middle - reach, middle + reach
    while high - low > 1e-8:
        first, second = high - golden * (high - low), low + golden * (high - low)
        low, high = (low, second) if function(first) >= function(second) else (first, high)
    return (low + high) / 2.0


def _dot(a: Vector, b: Vector) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _minus(a: Vector, b: Vector) -> Vector:
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def _across(v: Vector, along: Vector) -> Vector:
    """What is left of a vector square to ``along``."""
    run = _dot(v, along)
    return v[0] - run * along[0], v[1] - run * along[1], v[2] - run * along[2]
