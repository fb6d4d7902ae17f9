"""What a part is: frozen data that two engines read. No kernel here.

A :class:`Profile` is a closed outline of lines and arcs in its own (u, v) plane. A shape sweeps it:
:class:`Revolved` about the v axis, :class:`Extruded` along w. A :class:`Part` is a shape with a sign,
placed by a :class:`Frame` and, where it is ``within`` others, kept to what they all share. Engines join all
parts of sign +1 first and cut all of sign -1 afterwards, so that no neighbour can grow back into a recess.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from bandgen.errors import EngineError
from bandgen.units import sincosd

Vector = tuple[float, float, float]


@dataclass(frozen=True)
class Point:
    """A corner of a profile. ``bulge`` bends the side that leaves it: the tangent of a quarter of the arc's
    angle, positive counter-clockwise, 0 for a straight line (the convention of DXF polylines)."""

    u: float
    v: float
    bulge: float = 0.0


@dataclass(frozen=True)
class Arc:
    """A side of a profile as a circular arc: centre, radius, start angle and signed sweep in radians."""

    u: float
    v: float
    radius: float
    start: float
    sweep: float


@dataclass(frozen=True)
class Profile:
    """A closed outline, counter-clockwise, without crossings. The last point's side returns to the first."""

    points: tuple[Point, ...]

    @property
    def sides(self) -> tuple[tuple[Point, Point], ...]:
        """Every side as (start, end); the start carries the bulge."""
        return tuple(zip(self.points, self.points[1:] + self.points[:1], strict=True))


@dataclass(frozen=True)
class Revolved:
    """A profile (all u >= 0) turned fully about the v axis; the turn starts on the +u side.

    ``stops``: angles in degrees (0 <= a < 360, ascending) at which a faceted turn has its corners exactly on the true
    profile, so that a plane through the axis there shows that profile whatever lies on either side. Counted from +u
    towards -w, that is counter-clockwise about v: angle a lies at (u, w) = (cos a, -sin a).
    """

    profile: Profile
    stops: tuple[float, ...] = ()


@dataclass(frozen=True)
class Extruded:
    """A profile swept along w from -length / 2 to +length / 2."""

    profile: Profile
    length: float


Shape = Revolved | Extruded


@dataclass(frozen=True)
class Frame:
    """A right-handed placement: local (a, b, c) lies at origin + a u + b v + c w; u, v, w orthonormal."""

    origin: Vector = (0.0, 0.0, 0.0)
    u: Vector = (1.0, 0.0, 0.0)
    v: Vector = (0.0, 1.0, 0.0)
    w: Vector = (0.0, 0.0, 1.0)


@dataclass(frozen=True)
class Part:
    """A named shape in place; ``sign`` +1 adds metal, -1 cuts it.

    The body is what the shape shares with all shapes of ``within``, each in its own frame of the same space. Their
    signs do not count, and they are within nothing themselves.
    """

    name: str
    sign: Literal[1, -1]
    shape: Shape
    frame: Frame = Frame()
    within: tuple[Part, ...] = ()


@dataclass(frozen=True)
class Plane:
    """A cut plane through the origin; ``normal`` (unit) points out of the cell."""

    normal: Vector


def arc_of(start: Point, end: Point) -> Arc:
    """The arc of a bent side (``start.bulge`` not 0)."""
    sweep = 4.0 * math.atan(start.bulge)
    half = math.hypot(end.u - start.u, end.v - start.v) / 2.0
    radius = half / abs(math.sin(sweep / 2.0))
    lift = half / math.tan(sweep / 2.0)  # centre's signed distance to the left of the chord
    along = ((end.u - start.u) / (2.0 * half), (end.v - start.v) / (2.0 * half))
    u = (start.u + end.u) / 2.0 - along[1] * lift
    v = (start.v + end.v) / 2.0 + along[0] * lift
    return Arc(u, v, radius, math.atan2(start.v - v, start.u - u), sweep)


def merge_arcs(profile: Profile) -> Profile:
    """The same outline with neighbouring sides of one circle joined into one side (half a turn at most)."""
    points: list[Point] = []
    for start, end in profile.sides:
        before = points[-1] if points else None
        if before is not None and before.bulge != 0.0 and start.bulge != 0.0:
            old, new = arc_of(before, start), arc_of(start, end)
            sweep = old.sweep + new.sweep
            same = math.dist((old.u, old.v, old.radius), (new.u, new.v, new.radius)) < 1e-9
            if same and abs(sweep) < math.pi:
                points[-1] = replace(before, bulge=math.tan(sweep / 4.0))
                continue
        points.append(start)
    return Profile(tuple(points))


def fillet(corner: Point, before: Point, after: Point, radius: float) -> tuple[Point, Point]:
    """The two points (the first bent) that round ``corner`` between two straight sides."""
    into = _direction(before, corner)
    out = _direction(corner, after)
    turn = math.atan2(into[0] * out[1] - into[1] * out[0], into[0] * out[0] + into[1] * out[1])
    tangent = radius * abs(math.tan(turn / 2.0))
    first = Point(corner.u - into[0] * tangent, corner.v - into[1] * tangent, math.tan(turn / 4.0))
    return first, Point(corner.u + out[0] * tangent, corner.v + out[1] * tangent)


def _direction(start: Point, end: Point) -> tuple[float, float]:
    length = math.hypot(end.u - start.u, end.v - start.v)
    return (end.u - start.u) / length, (end.v - start.v) / length


def area(profile: Profile) -> float:
    """Signed area in mm2, exact (shoelace and circular segments)."""
    return sum(_segment_area(a, b) + (a.u * b.v - b.u * a.v) / 2.0 for a, b in profile.sides)


def _segment_area(start: Point, end: Point) -> float:
    if start.bulge == 0.0:
        return 0.0
    arc = arc_of(start, end)
    return arc.radius**2 * (arc.sweep - math.sin(arc.sweep)) / 2.0


def first_moment(profile: Profile) -> float:
    """Integral of u over the profile in mm3, in closed form by Green's theorem: half the contour integral of u2 dv.
    Good to 1e-9 even for arcs so flat (bulge 0.002) that their radius is 500 times their chord."""
    return sum(_side_moment(start, end) for start, end in profile.sides)


def _side_moment(start: Point, end: Point) -> float:
    if start.bulge == 0.0:
        return (end.v - start.v) * (start.u**2 + start.u * end.u + end.u**2) / 6.0
    arc = arc_of(start, end)

    def primitive(angle: float) -> float:
        sine, cosine = math.sin(angle), math.cos(angle)
        cubes = sine - sine**3 / 3.0
        squares = (angle + sine * cosine) / 2.0
        return arc.radius * (arc.u**2 * sine + 2.0 * arc.u * arc.radius * squares + arc.radius**2 * cubes) / 2.0

    return primitive(arc.start + arc.sweep) - primitive(arc.start)


def volume(shape: Shape) -> float:
    """Volume in mm3 in closed form (Pappus's theorem; area times length)."""
    if isinstance(shape, Revolved):
        return 2.0 * math.pi * first_moment(shape.profile)
    return area(shape.profile) * shape.length


def shared_shapes(part: Part) -> tuple[Part, ...]:
    """The parts, each of one shape, whose common body is the part's: itself first, then those it is within.

    Raises:
        EngineError: when one of those is within others again.
    """
    if not part.within:
        return (part,)
    for other in part.within:
        if other.within:
            raise EngineError("within", f"{part.name} is within {other.name}, which is within others itself")
    return (replace(part, within=()), *part.within)


def turned(part: Part, degrees: float) -> Part:
    """The part, and what it is within, turned about the ring's axis Z, counter-clockwise."""
    sine, cosine = sincosd(degrees)

    def turn(v: Vector) -> Vector:
        return (cosine * v[0] - sine * v[1], sine * v[0] + cosine * v[1], v[2])

    frame = part.frame
    placed = Frame(turn(frame.origin), turn(frame.u), turn(frame.v), turn(frame.w))
    return replace(part, frame=placed, within=tuple(turned(other, degrees) for other in part.within))
