"""The shank's half between an end seam and the bottom of the band: a body of revolution kept to the band's plan and to
its two sides.

Built for the end after the last station, which stands at +x; its mirror image serves the end before the first.
"""

from __future__ import annotations

import math
from dataclasses import replace

from bandgen.layout.numbers import Seam
from bandgen.layout.seatwork import BELOW_BORE_MM
from bandgen.layout.shank import ShankNumbers
from bandgen.parts import Extruded, Frame, Part, Point, Profile, Revolved, Vector
from bandgen.units import sincosd

BEYOND_DEG = 20.0
"""How far the plan reaches past the bottom, where the cell is cut."""
BOTTOM_DEG = 180.0
"""Where the bottom lies for a revolution that starts at the top of the band, outside the cell."""
STRAIGHT_MM = 0.01
"""Half widths that differ by less are joined by a straight side."""


def build_shank(seam: Seam, shank: ShankNumbers) -> tuple[Part, ...]:
    """One part."""
    outside = Revolved(_section(shank), (BOTTOM_DEG,))
    plan = Part("shank plan", 1, Extruded(_plan(shank), 2.0 * shank.blank_mm + 1.0))
    sides = Part("shank sides", 1, Extruded(_sides(shank), 4.0 * shank.reach_mm), _sides_frame(shank))
    part = Part("shank", 1, outside, _outside_frame(shank), (plan, sides))
    return (part if seam.after is None else _mirrored(part),)


def _section(shank: ShankNumbers) -> Profile:
    """The body of revolution about the offset axis: a disc, its outer side bent where the shank is half-round."""
    half = shank.blank_mm
    edge = shank.radius_mm - shank.drop_at(half)
    bulge = math.tan(math.asin(half / shank.crown_mm) / 2.0) if shank.crown_mm else 0.0
    return Profile((Point(0.0, -half), Point(edge, -half, bulge), Point(edge, half), Point(0.0, half)))


def _outside_frame(shank: ShankNumbers) -> Frame:
    """+u away from the bottom."""
    sine, cosine = sincosd(shank.plain_deg)
    bottom = (-sine, cosine)
    u = (-bottom[0], -bottom[1], 0.0)
    origin = (bottom[0] * shank.offset_mm, bottom[1] * shank.offset_mm, 0.0)
    return Frame(origin, u, (0.0, 0.0, 1.0), (u[1], -u[0], 0.0))


def _plan(shank: ShankNumbers) -> Profile:
    """From the end face in the cup, under its rim and wide of the outside, to past the bottom, and back under the bore;
    in the seam's (x, y)."""
    under, last = shank.bore_radius_mm - BELOW_BORE_MM, shank.half_deg + shank.plain_deg + BEYOND_DEG
    first = math.degrees(math.asin(shank.wall_mm / under))
    corner = math.degrees(math.atan2(shank.wall_mm, shank.cap_mm))
    far = min(last, 75.0)
    rest = max(math.ceil((last - far) / 45.0), 0)
    turns = [(corner, 0.0), *((far + (last - far) * step / max(rest, 1), far) for step in range(rest + 1))]
    outer = [_at(shank, angle, shank.cap_mm / sincosd(by if by else angle)[1]) for angle, by in turns]
    bulge = -math.tan(math.radians(last - first) / 8.0)
    inner = [_at(shank, angle, under, bulge) for angle in (last, (first + last) / 2.0)]
    return Profile((_at(shank, first, under), *outer, *inner))


def _at(shank: ShankNumbers, degrees: float, radial_mm: float, bulge: float = 0.0) -> Point:
    """A corner at an angle counter-clockwise from the station's axis."""
    sine, cosine = sincosd(degrees - shank.half_deg)
    return Point(-radial_mm * sine, radial_mm * cosine, bulge)


def _sides(shank: ShankNumbers) -> Profile:
    """The shank seen from outside, in (towards the bottom, z): straight, two arcs, straight."""
    start, end = shank.taper_mm
    reach = 2.0 * shank.reach_mm
    middle = (start + end) / 2.0, (shank.end_half_mm + shank.base_half_mm) / 2.0
    change = shank.base_half_mm - shank.end_half_mm
    bulge = math.tan(math.atan2(change, end - start) / 2.0)
    low = [Point(-reach, -shank.end_half_mm), Point(start, -shank.end_half_mm, -bulge)]
    low += [Point(middle[0], -middle[1], bulge)]
    low += [Point(end, -shank.base_half_mm), Point(reach, -shank.base_half_mm)]
    high = [Point(reach, shank.base_half_mm), Point(end, shank.base_half_mm, bulge)]
    high += [Point(middle[0], middle[1], -bulge)]
    high += [Point(start, shank.end_half_mm), Point(-reach, shank.end_half_mm)]
    points = (*low, *high)
    if abs(change) < STRAIGHT_MM:
        points = tuple(replace(p, bulge=0.0) for p in points if abs(p.u - middle[0]) > 1e-9)
    return Profile(points)


def _sides_frame(shank: ShankNumbers) -> Frame:
    """u square to the direction that the sides are straight along, towards the bottom."""
    sine, cosine = sincosd(shank.turn_deg)
    return Frame(u=(-cosine, -sine, 0.0), v=(0.0, 0.0, 1.0), w=(-sine, cosine, 0.0))


def _mirrored(part: Part) -> Part:
    """The mirror image in x of a part that is its own mirror image in z."""
    frame = part.frame
    u, v, w = (_flipped(axis) for axis in (frame.u, frame.v, frame.w))
    placed = Frame(_flipped(frame.origin), u, v, (-w[0], -w[1], -w[2]))
    return replace(part, frame=placed, within=tuple(_mirrored(other) for other in part.within))


def _flipped(v: Vector) -> Vector:
    return -v[0], v[1], v[2]
