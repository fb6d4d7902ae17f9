"""What a layout is: frozen numbers, a list of stations and seams with their own angles and sizes.

Angles in degrees counter-clockwise from +Y seen from +Z; heights and radii in mm. "Radial" heights are measured
in a seam's plane from the ring's axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from bandgen.layout.grip import ProngAxis
from bandgen.layout.seatwork import BELOW_BORE_MM, SeatNumbers
from bandgen.spec import Spec
from bandgen.trade.stones import Proportions


@dataclass(frozen=True)
class ProngNumbers:
    """A shared prong and its mirror image on the band's other side."""

    axis: ProngAxis
    diameter_mm: float
    tip: Literal["dome", "flat"]
    tip_mm: float
    bore_radius_mm: float

    @property
    def foot_mm(self) -> float:
        """Length from the girdle crossing down the axis to where the blank ends, under the bore everywhere."""
        low = math.sqrt(self.bore_radius_mm**2 - self.diameter_mm**2 / 4.0) - BELOW_BORE_MM
        lean = self.axis.lean
        return (self.axis.crossing_mm - low) / math.cos(lean) + self.diameter_mm / 2.0 * math.tan(lean)

    def clear_width_at(self, radial_mm: float) -> float:
        """Width between the two prongs of the pair at a radial height."""
        return 2.0 * self.axis.z_at(radial_mm) - self.diameter_mm / math.cos(self.axis.lean)


@dataclass(frozen=True)
class PlugNumbers:
    """The fill of a seam's slot; ``foot_mm`` lies under the bore when the plug is flush with it."""

    half_width_mm: float
    top_mm: float
    foot_mm: float


@dataclass(frozen=True)
class Station:
    """A stone and its seat."""

    index: int
    angle_deg: float
    diameter_mm: float
    proportions: Proportions
    seat: SeatNumbers


@dataclass(frozen=True)
class Seam:
    """What stands between station ``index`` and the next: ``before_deg`` and ``after_deg`` reach to their planes."""

    index: int
    angle_deg: float
    before_deg: float
    after_deg: float
    girdle_gap_mm: float
    prong: ProngNumbers
    plug: PlugNumbers


@dataclass(frozen=True)
class Event:
    """A place where the geometry changes kind, and how far the layout stands from it (mm, positive: apart).

    "limit" events may not be crossed; a "flip" leaves a sound band on both sides, just not on it.
    """

    name: str
    distance_mm: float
    kind: Literal["limit", "flip"]
    key: str
    text: str


@dataclass(frozen=True)
class Move:
    """A value that the layout moved to keep away from an event."""

    key: str
    given: float
    used: float
    reason: str


@dataclass(frozen=True)
class Opening:
    """Openings through the metal, of one kind: each adds one to the genus."""

    kind: str
    count: int


@dataclass(frozen=True)
class Layout:
    """The whole band as numbers. ``spec`` has every value filled in."""

    spec: Spec
    bore_radius_mm: float
    stations: tuple[Station, ...]
    seams: tuple[Seam, ...]
    events: tuple[Event, ...]
    moves: tuple[Move, ...]
    openings: tuple[Opening, ...]
    volume_bounds_mm3: tuple[float, float]

    @property
    def genus(self) -> int:
        """1 for the ring, and one for each opening."""
        return 1 + sum(opening.count for opening in self.openings)

    @property
    def girdle_gap_mm(self) -> float:
        """The least gap between neighbouring girdles."""
        return min(seam.girdle_gap_mm for seam in self.seams)

    def around(self, seam: Seam) -> tuple[Station, Station]:
        """The two stations of a seam, the one before it first."""
        return self.stations[seam.index], self.stations[(seam.index + 1) % len(self.stations)]
