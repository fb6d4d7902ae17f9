"""How a prong stands to a round of the stone or its cup, solved in space.

Stone frame of one of the two neighbours: x towards the seam, y up the stone's axis from the ring's centre, z along
the ring's axis. The seam plane leans from the stone's axis by half the pitch, so a prong in that plane is not
parallel to the stone's axis: a plan view is 3 % off at 2.0 mm stones and 10 % at 3.5. A stone's own prong stands beside
the seam plane, along the side of its cup.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from bandgen.layout.roots import rising_root

Vector = tuple[float, float, float]

TOO_FAR = "the stones stand too far apart for one prong to hold both"


@dataclass(frozen=True)
class ProngAxis:
    """A prong's axis in its seam's frame: radial height where it crosses the girdle planes (the middle of the two,
    where they differ; its own stone's, where it holds one), its z there, and its lean in z (radians, outwards going
    up). An axis off the seam plane stands ``across_mm`` from it there, and leans from it by ``tilt``: positive towards
    the station before. Both angles are those of its shadows, seen across the seam plane and along the ring's axis."""

    crossing_mm: float
    spread_mm: float
    lean: float
    across_mm: float = 0.0
    tilt: float = 0.0

    def z_at(self, radial_mm: float) -> float:
        """z of the axis where it stands ``radial_mm`` from the ring's axis, measured in the seam plane."""
        return self.spread_mm + (radial_mm - self.crossing_mm) * math.tan(self.lean)

    def x_at(self, radial_mm: float) -> float:
        """How far the axis stands off the seam plane at a radial height."""
        return self.across_mm + (radial_mm - self.crossing_mm) * math.tan(self.tilt)

    @property
    def along(self) -> Vector:
        """Its direction, of length 1, in the seam's frame."""
        across = math.cos(self.lean) * math.tan(self.tilt)
        length = math.hypot(1.0, across)
        return across / length, math.cos(self.lean) / length, math.sin(self.lean) / length

    @property
    def mirrored(self) -> ProngAxis:
        """Its image in the seam plane."""
        if self.across_mm == 0.0 and self.tilt == 0.0:
            return self
        return replace(self, across_mm=-self.across_mm, tilt=-self.tilt)

    def distance_to_circle(self, half: float, height_mm: float, radius_mm: float, sign: int = 1) -> float:
        """Least distance between the axis and the circle of ``radius_mm`` about a stone's axis at ``height_mm``; that
        axis stands ``half`` (radians) from the seam plane, before the seam (``sign`` 1) or after it (-1)."""
        point, along = self._in_stone_frame(half, height_mm, sign)
        angle = math.atan2(point[2], point[0])
        for _ in range(30):
            slope, bend = _derivatives(angle, radius_mm, point, along)
            if bend <= 0.0:
                break
            step = slope / bend
            angle -= step
            if abs(step) < 1e-14:
                break
        return math.sqrt(_squared(angle, radius_mm, point, along))

    def azimuth(self, half: float, height_mm: float, sign: int = 1) -> float:
        """Angle in radians about a stone's axis from the direction of the seam to the prong, at ``height_mm``."""
        point, _ = self._in_stone_frame(half, height_mm, sign)
        return math.atan2(point[2], point[0])

    def _in_stone_frame(self, half: float, height_mm: float, sign: int) -> tuple[Vector, Vector]:
        """The axis where it crosses ``height_mm`` (relative to that height) and its direction."""
        sine, cosine, slope = math.sin(half), math.cos(half), sign * math.tan(self.tilt)
        foot = sign * self.across_mm - self.crossing_mm * slope
        radial = (height_mm - foot * sine) / (cosine + slope * sine)
        point = (radial * sine - (foot + radial * slope) * cosine, 0.0, self.z_at(radial))
        x, y, z = self.along
        return point, (y * sine - sign * x * cosine, y * cosine + sign * x * sine, z)


@dataclass(frozen=True)
class Neighbour:
    """A stone beside a prong: its girdle's height and radius in mm, its cup's taper in radians, and the angle in
    radians from its axis to the seam plane."""

    girdle_mm: float
    radius_mm: float
    draft: float
    half: float

    def reach(self, axis: ProngAxis) -> float:
        """Distance of the axis from the girdle's circle."""
        return axis.distance_to_circle(self.half, self.girdle_mm, self.radius_mm)


def _squared(angle: float, radius: float, point: Vector, along: Vector) -> float:
    x, z = radius * math.cos(angle) - point[0], radius * math.sin(angle) - point[2]
    run = x * along[0] + z * along[2]
    return max(x * x + z * z - run * run, 0.0)


def _derivatives(angle: float, radius: float, point: Vector, along: Vector) -> tuple[float, float]:
    """First and second derivative of half the squared distance by the angle."""
    cosine, sine = radius * math.cos(angle), radius * math.sin(angle)
    x, z = cosine - point[0], sine - point[2]
    run, run1 = x * along[0] + z * along[2], -sine * along[0] + cosine * along[2]
    run2 = -cosine * along[0] - sine * along[2]
    slope = -x * sine + z * cosine - run * run1
    bend = sine * sine + cosine * cosine - x * cosine - z * sine - run1 * run1 - run * run2
    return slope, bend


def axis_beside(spread_mm: float, neighbours: Sequence[Neighbour]) -> ProngAxis:
    """The axis at z = ``spread_mm`` that leans as the mean of the side lines of one or two cups."""
    rise = out = 0.0
    for stone in neighbours:
        azimuth = math.atan2(spread_mm, stone.girdle_mm * math.tan(stone.half))
        rise += math.cos(stone.draft) * math.cos(stone.half)
        rise += math.sin(stone.draft) * math.cos(azimuth) * math.sin(stone.half)
        out += math.sin(stone.draft) * math.sin(azimuth)
    crossing = sum(stone.girdle_mm / math.cos(stone.half) for stone in neighbours) / len(neighbours)
    return ProngAxis(crossing, spread_mm, math.atan2(out, rise))


def own_axis(reach_mm: float, stone: Neighbour, radial_mm: float, off_mm: float) -> ProngAxis:
    """The axis of the stone before a seam that stands ``reach_mm`` from its girdle and runs along the side of its cup,
    in one plane with the stone's axis; at ``radial_mm`` it stands ``off_mm`` off the seam plane. In closed form.

    Raises:
        ValueError: when no such axis passes there.
    """
    sine, cosine, slope = math.sin(stone.half), math.cos(stone.half), math.tan(stone.draft)
    height, towards = radial_mm * cosine + off_mm * sine, radial_mm * sine - off_mm * cosine
    at_girdle = stone.radius_mm + reach_mm / math.cos(stone.draft)
    radius = at_girdle + (height - stone.girdle_mm) * slope
    if not 0.0 < towards < radius:
        raise ValueError(TOO_FAR)
    cos_azimuth = towards / radius
    sin_azimuth = math.sqrt(1.0 - cos_azimuth**2)
    x, y = at_girdle * cos_azimuth, stone.girdle_mm
    rise = cosine + slope * cos_azimuth * sine
    return ProngAxis(
        crossing_mm=y * cosine + x * sine,
        spread_mm=at_girdle * sin_azimuth,
        lean=math.atan2(slope * sin_azimuth, rise),
        across_mm=y * sine - x * cosine,
        tilt=math.atan2(sine - slope * cos_azimuth * cosine, rise),
    )


def shared_axis(reach_mm: float, before: Neighbour, after: Neighbour) -> tuple[ProngAxis, float]:
    """The axis that stands ``reach_mm`` from the girdles of two unequal stones, and the angle in radians from the axis
    of the stone before to the seam plane that it lies in; the two stones' ``half`` are where the search starts, and
    their sum stays. Newton's method in both unknowns.

    Raises:
        ValueError: when one prong cannot hold both.
    """
    pitch = before.half + after.half

    def misses(half: float, spread: float) -> tuple[float, float]:
        pair = (replace(before, half=half), replace(after, half=pitch - half))
        axis = axis_beside(spread, pair)
        return pair[0].reach(axis) - reach_mm, pair[1].reach(axis) - reach_mm

    small = min(before, after, key=lambda stone: stone.radius_mm)
    half = before.half
    spread = axis_for_reach(reach_mm, small.girdle_mm, small.half, small.draft, small.radius_mm).spread_mm
    for _ in range(40):
        first, second = misses(half, spread)
        if max(abs(first), abs(second)) < 1e-13:
            break
        step = 1e-6
        by_half = [
            (moved - here) / step for moved, here in zip(misses(half + step, spread), (first, second), strict=True)
        ]
        by_spread = [
            (moved - here) / step for moved, here in zip(misses(half, spread + step), (first, second), strict=True)
        ]
        determinant = by_half[0] * by_spread[1] - by_half[1] * by_spread[0]
        if determinant == 0.0:
            raise ValueError(TOO_FAR)
        half -= _held((first * by_spread[1] - second * by_spread[0]) / determinant, pitch / 10.0)
        spread -= _held((by_half[0] * second - by_half[1] * first) / determinant, small.radius_mm / 4.0)
        if not (0.0 < half < pitch and spread > 0.0):
            raise ValueError(TOO_FAR)
    if max(map(abs, misses(half, spread))) > 1e-9:
        raise ValueError(TOO_FAR)
    return axis_beside(spread, (replace(before, half=half), replace(after, half=pitch - half))), half


def _held(step: float, most: float) -> float:
    return min(max(step, -most), most)


def axis_at(spread_mm: float, girdle_mm: float, half: float, draft: float) -> ProngAxis:
    """The axis that crosses the girdle plane at z = ``spread_mm`` between two equal stones.

    ``girdle_mm`` is the girdle plane's height on the stone's axis, ``half`` half the pitch and ``draft`` the cup's
    taper, in radians.
    """
    return axis_beside(spread_mm, (Neighbour(girdle_mm, 0.0, draft, half),))


def axis_for_reach(
    reach_mm: float, girdle_mm: float, half: float, draft: float, radius_mm: float, height_mm: float | None = None
) -> ProngAxis:
    """The axis whose least distance to the circle of ``radius_mm`` at ``height_mm`` (the girdle plane when left out)
    is ``reach_mm``, its z positive.

    Raises:
        ValueError: when even a prong on the band's mid-plane stands farther off (the girdles lie too far apart).
    """
    height = girdle_mm if height_mm is None else height_mm

    def miss(spread: float) -> float:
        return axis_at(spread, girdle_mm, half, draft).distance_to_circle(half, height, radius_mm) - reach_mm

    low, high = math.sqrt(max(radius_mm**2 - (height * math.tan(half)) ** 2, 0.0)), 2.0 * (radius_mm + reach_mm)
    under, over = miss(low), miss(high)
    if under >= 0.0:
        raise ValueError(TOO_FAR)
    return axis_at(rising_root(miss, low, under, high, over), girdle_mm, half, draft)
