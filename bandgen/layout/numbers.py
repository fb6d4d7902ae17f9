"""What a layout is: frozen numbers, a list of stations and seams with their own angles and sizes.

Angles in degrees counter-clockwise from +Y seen from +Z; heights and radii in mm. "Radial" heights are measured
in a seam's plane from the ring's axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

from bandgen.layout.grip import ProngAxis
from bandgen.layout.kinds import Kind, cell_kinds
from bandgen.layout.seatwork import BELOW_BORE_MM, SeatNumbers
from bandgen.spec import Spec
from bandgen.trade.stones import Proportions


@dataclass(frozen=True)
class ProngNumbers:
    """A prong and its mirror image on the band's other side; ``notches`` girdles enter it: those of two stones that
    share it, or the one of its own."""

    axis: ProngAxis
    diameter_mm: float
    overlap: float
    height_above_girdle_mm: float
    tip: Literal["dome", "flat"]
    tip_mm: float
    bore_radius_mm: float
    notches: int = 2

    @property
    def mirrored(self) -> ProngNumbers:
        """Its image in the seam plane."""
        return replace(self, axis=self.axis.mirrored)

    @property
    def foot_mm(self) -> float:
        """Length from the girdle crossing down the axis to where the blank ends, under the bore everywhere."""
        axis, (x, y, z) = self.axis, self.axis.along
        off = max(abs(axis.across_mm), abs(axis.x_at(self.bore_radius_mm)))
        low = math.sqrt(self.bore_radius_mm**2 - (off + self.diameter_mm / 2.0) ** 2) - BELOW_BORE_MM
        return (axis.crossing_mm - low) / y + self.diameter_mm / 2.0 * math.hypot(x, z) / y

    @property
    def shoulder_mm(self) -> float:
        """Length from the girdle crossing up the axis to where the shaft ends: under the dome, or at the flat tip."""
        return self.tip_mm - (self.diameter_mm / 2.0 if self.tip == "dome" else 0.0)

    @property
    def shoulder(self) -> tuple[float, float, float]:
        """The middle of the shaft's end, in the seam's frame."""
        axis, length = self.axis, self.shoulder_mm
        x, y, z = (length * component for component in axis.along)
        return axis.across_mm + x, axis.crossing_mm + y, axis.spread_mm + z

    def clear_width_at(self, radial_mm: float) -> float:
        """Width between the two prongs of the pair at a radial height."""
        x, y, _ = self.axis.along
        return 2.0 * self.axis.z_at(radial_mm) - self.diameter_mm * math.sqrt(1.0 - x * x) / y

    def inner_z_at(self, radial_mm: float) -> float:
        """z of the prong's inner side in the seam plane, at a radial height; its axis' own where it misses the plane
        (by a chord that is a little too short where the axis leans)."""
        off = self.axis.x_at(radial_mm)
        if off == 0.0:
            return self.clear_width_at(radial_mm) / 2.0
        return self.axis.z_at(radial_mm) - math.sqrt(max(self.diameter_mm**2 / 4.0 - off**2, 0.0))


@dataclass(frozen=True)
class PlugNumbers:
    """The fill of a seam's slot: how far it reaches from the seam plane towards the station before and the one after;
    ``foot_mm`` lies under the bore when the plug is flush with it."""

    before_mm: float
    after_mm: float
    top_mm: float
    foot_mm: float

    @property
    def width_mm(self) -> float:
        """From wall to wall."""
        return self.before_mm + self.after_mm


@dataclass(frozen=True)
class BoreNumbers:
    """The finger's opening: its radius where it is narrowest, in the band's mid-plane, where the finger size is read
    (ISO 8653: the largest cylinder that goes in). A comfort bore is one arc in section, wider by ``crown_mm`` in radius
    at ``half_width_mm`` from there; a flat one has no crown. Polishing then takes ``allowance_mm`` of the radius."""

    radius_mm: float
    crown_mm: float = 0.0
    half_width_mm: float = 0.0
    allowance_mm: float = 0.0

    @property
    def finished_mm(self) -> float:
        """Its radius once polished: the finger's."""
        return self.radius_mm + self.allowance_mm

    @property
    def curve_mm(self) -> float:
        """Radius of a comfort bore's arc."""
        return (self.half_width_mm**2 + self.crown_mm**2) / (2.0 * self.crown_mm)

    @property
    def reach_mm(self) -> float:
        """How far along the finger a comfort bore's arc goes on: past the band's edges by a tenth."""
        return 1.1 * self.half_width_mm

    def radius_at(self, z_mm: float) -> float:
        """The bore's radius at a distance from the band's mid-plane; beyond its reach as there."""
        if self.crown_mm == 0.0:
            return self.radius_mm
        z = min(abs(z_mm), self.reach_mm)
        return self.radius_mm + z * z / (self.curve_mm + math.sqrt(self.curve_mm**2 - z * z))


@dataclass(frozen=True)
class Station:
    """A stone and its seat. ``extras`` are numbers of further parts in the stone's frame (``cell.BUILDERS``)."""

    index: int
    angle_deg: float
    diameter_mm: float
    material: str
    proportions: Proportions
    culet_clearance_mm: float
    seat: SeatNumbers
    extras: tuple[Any, ...] = ()


@dataclass(frozen=True)
class Seam:
    """What stands between two stations, or beyond the last one of an open row, where one of the two is None.
    ``before_deg`` and ``after_deg`` reach to the cell's planes: the stones' mid-planes, or the middle of the shank.
    ``prongs`` holds the one that both stones share, or each stone's own, that of the station before first; each stands
    for itself and its mirror image in the band's mid-plane.
    ``extras`` are numbers of further parts in the seam's frame (``cell.BUILDERS``)."""

    index: int
    angle_deg: float
    before: int | None
    after: int | None
    before_deg: float
    after_deg: float
    girdle_gap_mm: float | None
    prongs: tuple[ProngNumbers, ...]
    plug: PlugNumbers | None
    extras: tuple[Any, ...] = ()

    @property
    def prong(self) -> ProngNumbers:
        """The prong that both stones share, or the one of the station before."""
        return self.prongs[0]

    @property
    def flipped(self) -> Seam:
        """Its mirror image in the seam plane, stations aside."""
        plug = self.plug and replace(self.plug, before_mm=self.plug.after_mm, after_mm=self.plug.before_mm)
        prongs = tuple(prong.mirrored for prong in reversed(self.prongs))
        return replace(self, before_deg=self.after_deg, after_deg=self.before_deg, prongs=prongs, plug=plug)


@dataclass(frozen=True)
class Side:
    """A seam as one of its stations sees it: the angle from its axis to the seam plane in radians, and how far the plug
    reaches towards it. ``sign`` +1 for the station before, which stands at +x in the seam's frame."""

    station: Station
    seam: Seam
    sign: Literal[1, -1]

    @property
    def half(self) -> float:
        """Radians from the station's axis to the seam plane."""
        return math.radians(self.seam.before_deg if self.sign > 0 else self.seam.after_deg)

    @property
    def prong(self) -> ProngNumbers:
        """The prong that holds the station on this side."""
        return self.seam.prongs[0 if self.sign > 0 else -1]

    @property
    def plug_mm(self) -> float:
        """How far the plug reaches past the seam plane towards the station."""
        plug = self.seam.plug
        return 0.0 if plug is None else plug.before_mm if self.sign > 0 else plug.after_mm


@dataclass(frozen=True)
class Event:
    """A place where the geometry changes kind, and how far the layout stands from it (mm, positive: apart).

    "limit" events may not be crossed; a "flip" leaves a sound band on both sides, just not on it. ``seam`` is where the
    distance is the least of all.
    """

    name: str
    distance_mm: float
    kind: Literal["limit", "flip"]
    key: str
    text: str
    seam: int = 0


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
class RowPlace:
    """Where a row of stones stands: along the finger, and whether it is turned by half a pitch, so that its stones
    stand at the seams."""

    z_mm: float = 0.0
    turned: bool = False


@dataclass(frozen=True)
class WebNumbers:
    """The metal between rows side by side: how far it reaches from the band's mid-plane, and how far its top stays
    under the rims of the cups."""

    half_width_mm: float
    below_rim_mm: float


@dataclass(frozen=True)
class Layout:
    """The whole band as numbers. ``spec`` has every value filled in on which all stones agree; ``specs`` are, seam by
    seam, those of its stations with all filled in; ``gap_asked_mm`` is the least gap that was asked. Seam i follows
    station i; in an open row the two ends come last, so that the seams go round the ring in order. ``parcel`` says
    which stone of a measured parcel, from 1, sits in each station; empty where there is none. All ``rows`` are alike;
    ``row_gap_mm`` is what the girdles of neighbouring ones leave in space, ``across_overlap`` the share of a prong's
    diameter that the stone of the next row enters where rows are staggered (negative: it stands off)."""

    spec: Spec
    specs: tuple[tuple[Spec, ...], ...]
    gap_asked_mm: float
    bore: BoreNumbers
    stations: tuple[Station, ...]
    seams: tuple[Seam, ...]
    events: tuple[Event, ...]
    moves: tuple[Move, ...]
    openings: tuple[Opening, ...]
    volume_bounds_mm3: tuple[float, float]
    parcel: tuple[int, ...] = ()
    rows: tuple[RowPlace, ...] = (RowPlace(),)
    web: WebNumbers | None = None
    row_gap_mm: float | None = None
    across_overlap: float | None = None

    @property
    def stone_count(self) -> int:
        """Stones of all rows."""
        return len(self.stations) * len(self.rows)

    @property
    def outer_row_mm(self) -> float:
        """How far along the finger the outer rows stand from the band's mid-plane."""
        return max(abs(row.z_mm) for row in self.rows)

    @cached_property
    def mirror_z(self) -> bool:
        """Whether the band's mid-plane is a mirror: not where a further part says that it is ``one_sided``."""
        owners: list[Station | Seam] = [*self.stations, *self.seams]
        if any(getattr(extra, "one_sided", False) for owner in owners for extra in owner.extras):
            return False
        return {(row.z_mm, row.turned) for row in self.rows} == {(-row.z_mm, row.turned) for row in self.rows}

    @cached_property
    def kinds(self) -> tuple[Kind, ...]:
        """Which cells are alike, or mirror images, in the order of the seams."""
        return cell_kinds(self.stations, self.seams)

    @property
    def bore_radius_mm(self) -> float:
        """Radius of the bore where it is narrowest."""
        return self.bore.radius_mm

    @property
    def genus(self) -> int:
        """1 for the ring, and one for each opening."""
        return 1 + sum(opening.count for opening in self.openings)

    @property
    def girdle_gap_mm(self) -> float:
        """The least gap between neighbouring girdles."""
        return min(seam.girdle_gap_mm for seam in self.seams if seam.girdle_gap_mm is not None)

    def around(self, seam: Seam) -> tuple[Station | None, Station | None]:
        """The two stations of a seam, the one before it first."""
        before, after = (None if i is None else self.stations[i] for i in (seam.before, seam.after))
        return before, after

    def sides(self, seam: Seam) -> tuple[Side, ...]:
        """The seam as each of its stations sees it."""
        before, after = self.around(seam)
        pairs: tuple[tuple[Station | None, Literal[1, -1]], ...] = ((before, 1), (after, -1))
        return tuple(Side(station, seam, sign) for station, sign in pairs if station is not None)

    def beside(self, station: Station) -> tuple[Side, Side]:
        """The two seams of a station, the one before it first."""
        sides = [side for seam in self.seams for side in self.sides(seam) if side.station.index == station.index]
        first, second = sorted(sides, key=lambda side: side.sign)
        return first, second
