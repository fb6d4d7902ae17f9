"""The metal that the stones displace: what the setter cuts from the prongs so that each girdle goes in.

Over a polar grid about the stone's axis, every line parallel to it meets the turned stone (pavilion cone, girdle,
crown cone, table) and the prong's blank in one interval each; what the two share is the notch. The clearance that a
setter leaves, and what is trimmed off the tips, are not in it.

Against booleans of the same bodies by the mesh engine: within 0.3 %.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from bandgen.inspection.lines import meet_prong
from bandgen.layout.numbers import Layout, ProngNumbers, Station
from bandgen.trade.stones import Proportions, crown_height
from bandgen.units import tand

GRID = 64
"""Lines across a prong's diameter, and twice as many along it round the stone."""


@dataclass(frozen=True)
class Notch:
    """A girdle in one prong. The seam plane stands ``half`` radians from the stone's axis, with the prong at +x; a
    prong of the next row stands ``beside_mm`` away along the finger and is seen from there."""

    girdle_mm: float
    diameter_mm: float
    proportions: Proportions
    prong: ProngNumbers
    half: float
    beside_mm: float | None = None


def notch_volume(layout: Layout) -> float:
    """Volume in mm3 of all notches of a band."""
    return sum(count * volume_of(notch) for notch, count in notches(layout).items())


def notches(layout: Layout) -> Counter[Notch]:
    """The distinct notches of a band, and how many there are of each; both prongs of a pair, all rows."""
    found: Counter[Notch] = Counter()
    for seam in layout.seams:
        for side in layout.sides(seam):
            prong = side.prong if side.sign > 0 else side.prong.mirrored
            found[_notch(side.station, prong, side.half)] += 2 * len(layout.rows)
    for notch in _between_rows(layout):
        found[notch] += len(layout.rows) - 1
    return found


def _notch(station: Station, prong: ProngNumbers, half: float, beside_mm: float | None = None) -> Notch:
    return Notch(station.seat.girdle_mm, station.diameter_mm, station.proportions, prong, half, beside_mm)


def _between_rows(layout: Layout) -> Iterator[Notch]:
    """Where rows are staggered each stone stands at a seam of the next row, whose inner prong it enters; of each two
    rows both. All stones are alike there."""
    if layout.across_overlap is not None:
        pitch = layout.rows[0].z_mm - layout.rows[1].z_mm
        for seam in layout.seams:
            yield from (_notch(layout.stations[0], seam.prong, 0.0, pitch) for _ in range(2))


@lru_cache(maxsize=1024)
def volume_of(notch: Notch, grid: int = GRID) -> float:
    """Volume in mm3 of one notch, by the midpoint rule."""
    radius, width = notch.diameter_mm / 2.0, notch.prong.diameter_mm
    inner = max(radius - width, 0.0)
    middle = _azimuth(notch)
    wide = math.asin(min(1.0, width / max(radius - width / 2.0, width)))
    r = inner + (radius - inner) * (np.arange(grid) + 0.5) / grid
    turn = middle - wide + 2.0 * wide * (np.arange(2 * grid) + 0.5) / (2 * grid)
    radii, turns = (each.ravel() for each in np.meshgrid(r, turn))
    x, z = radii * np.cos(turns), radii * np.sin(turns)
    low, high = meet_prong(notch.prong, notch.half, x, z if notch.beside_mm is None else notch.beside_mm - z)
    bottom, top = _meet_stone(notch, radii)
    length = np.maximum(np.minimum(high, top) - np.maximum(low, bottom), 0.0)
    return float(np.sum(length * radii)) * (radius - inner) * wide / grid**2


def _azimuth(notch: Notch) -> float:
    """Angle in radians about the stone's axis from the seam to the prong."""
    if notch.beside_mm is not None:
        return math.pi / 2.0
    return notch.prong.axis.azimuth(notch.half, notch.girdle_mm)


def _meet_stone(notch: Notch, radii: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Heights (k,) in mm at which lines at ``radii`` (k,) from the axis enter and leave the turned stone."""
    cut, inside = notch.proportions, notch.diameter_mm / 2.0 - radii
    girdle = notch.girdle_mm + cut.girdle_pct / 100.0 * notch.diameter_mm
    table = crown_height(notch.diameter_mm, cut.crown_deg, cut.table_pct)
    return notch.girdle_mm - inside * tand(cut.pavilion_deg), girdle + np.minimum(inside * tand(cut.crown_deg), table)
