"""Where lines and rays meet the further parts of a band: hoop, shank, arches. What stands clear of all else, as sprues
do, is met by none: its volume is a number of its own, added at the end.

``on_lines`` takes the numbers and lines parallel to a stone's axis in that stone's frame (``inspection.lines``).
``on_rays`` takes rays from the ring's axis, by their angle (k,) in radians from the stone's axis towards the seam and
their z (k,), and gives distances from the ring's axis. Both in closed form; ``sign`` -1 for what is cut.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.inspection.lines import Interval
from bandgen.layout.hoop import HoopNumbers
from bandgen.layout.scallop import ArchNumbers
from bandgen.layout.shank import ShankNumbers
from bandgen.layout.sprue import SprueNumbers
from bandgen.layout.tag import LetterNumbers, PlateNumbers

Meeting = Callable[[Any, Floats, Floats], Interval]


@dataclass(frozen=True)
class Extra:
    """How one kind of numbers is met; ``on_rays`` is None for what does not go round the finger, and ``edges`` gives
    the half widths at which what does has sides. ``on_lines`` is None for what stands clear (``standing_mm3``)."""

    sign: Literal[1, -1]
    on_lines: Meeting | None
    on_rays: Meeting | None = None
    edges: Callable[[Any], tuple[float, ...]] = lambda numbers: (numbers.half_width_mm,)


def hoop_on_lines(hoop: HoopNumbers, x: Floats, z: Floats) -> Interval:
    """From anywhere under the bore to its outside."""
    high = np.sqrt(np.maximum(hoop.top_mm**2 - x**2, 0.0))
    return np.zeros_like(x), np.where(z < hoop.half_width_mm, high, -np.inf)


def hoop_on_rays(hoop: HoopNumbers, turn: Floats, z: Floats) -> Interval:
    """The same on rays."""
    return np.zeros_like(turn), np.where(z < hoop.half_width_mm, hoop.top_mm, -np.inf)


def arch_on_lines(arch: ArchNumbers, x: Floats, z: Floats) -> Interval:
    """From its lowest line to its head."""
    within = (x < arch.half_mm) & (z > arch.back_mm) & (z < arch.reach_mm)
    head = arch.head_mm - arch.curve_mm + np.sqrt(np.maximum(arch.curve_mm**2 - x**2, 0.0))
    return np.full_like(x, arch.bottom_mm), np.where(within, head, -np.inf)


def shank_on_lines(shank: ShankNumbers, x: Floats, z: Floats) -> Interval:
    """Inside its outer surface, beyond its end face and under the cup's rim, between its sides."""
    bottom = math.radians(shank.half_deg + shank.plain_deg)
    across = x - shank.offset_mm * math.sin(bottom)
    reach = np.sqrt(np.maximum(_radius_at(shank, z) ** 2 - across**2, 0.0))
    middle = shank.offset_mm * math.cos(bottom)
    low, high = middle - reach, np.minimum(middle + reach, shank.cap_mm)
    turn = math.radians(shank.half_deg + shank.turn_deg)
    side = (x * math.cos(turn) - _side_at(shank, z)) / math.sin(turn)
    low, high = _beside(shank, z, low, high, side, np.ones_like(x))
    return low, np.where((x > shank.wall_mm) & (reach > 0.0), high, -np.inf)


def shank_on_rays(shank: ShankNumbers, turn: Floats, z: Floats) -> Interval:
    """The same on rays, which all lie beyond its end face."""
    to_bottom = math.radians(shank.half_deg + shank.plain_deg) - turn
    radius, offset = _radius_at(shank, z), shank.offset_mm
    high = offset * np.cos(to_bottom) + np.sqrt(radius**2 - (offset * np.sin(to_bottom)) ** 2)
    under_rim = np.where(turn < math.radians(75.0), shank.cap_mm / np.cos(np.minimum(turn, 1.4)), np.inf)
    rise = np.sin(turn - math.radians(shank.half_deg + shank.turn_deg))
    rise = np.where(np.abs(rise) < 1e-12, 1e-12, rise)
    return _beside(shank, z, np.zeros_like(turn), np.minimum(high, under_rim), _side_at(shank, z) / rise, -rise)


def _radius_at(shank: ShankNumbers, z: Floats) -> Floats:
    """Radius of the outer surface about its own axis."""
    if shank.crown_mm == 0.0:
        return np.full_like(z, shank.radius_mm)
    radius: Floats = shank.radius_mm - shank.crown_mm + np.sqrt(np.maximum(shank.crown_mm**2 - z**2, 0.0))
    return radius


def _beside(shank: ShankNumbers, z: Floats, low: Floats, high: Floats, side: Floats, inwards: Floats) -> Interval:
    """The interval as far as the sides of the shank leave it: where it narrows towards the bottom a line at z must stay
    before the place where it gets that narrow, else beyond it. ``side`` is where a line meets that place, ``inwards``
    is positive where it then goes on away from the bottom."""
    wide, narrow = max(shank.end_half_mm, shank.base_half_mm), min(shank.end_half_mm, shank.base_half_mm)
    keeps_upper = (inwards > 0.0) == (shank.end_half_mm > shank.base_half_mm)
    limited = z > narrow
    low = np.where(limited & keeps_upper, np.maximum(low, side), low)
    high = np.where(limited & ~keeps_upper, np.minimum(high, side), high)
    return low, np.where(z < wide, high, -np.inf)


def _side_at(shank: ShankNumbers, z: Floats) -> Floats:
    """Where half the width is z, square to the direction that the sides are straight along: on two arcs."""
    start, end = shank.taper_mm
    change = abs(shank.base_half_mm - shank.end_half_mm)
    if change < 1e-9:
        return np.full_like(z, start)
    from_end = np.clip(np.abs(z - shank.end_half_mm), 0.0, change)
    if change < STRAIGHT_MM:
        straight: Floats = start + (end - start) * from_end / change
        return straight
    curve = ((end - start) ** 2 + change**2) / (4.0 * change)
    first = start + np.sqrt(np.maximum(2.0 * curve * from_end - from_end**2, 0.0))
    rest = change - from_end
    second = end - np.sqrt(np.maximum(2.0 * curve * rest - rest**2, 0.0))
    return np.where(from_end < change / 2.0, first, second)


STRAIGHT_MM = 0.01
"""Half widths that differ by less are joined by a straight side."""

EXTRAS: dict[type, Extra] = {
    HoopNumbers: Extra(1, hoop_on_lines, hoop_on_rays),
    ShankNumbers: Extra(1, shank_on_lines, shank_on_rays, lambda own: (own.end_half_mm, own.base_half_mm)),
    ArchNumbers: Extra(-1, arch_on_lines),
    SprueNumbers: Extra(1, None),
    PlateNumbers: Extra(1, None),
    LetterNumbers: Extra(1, None),
}
"""What every kind of numbers that ``cell.BUILDERS`` knows adds to a volume, or takes. A new kind is one line here."""
