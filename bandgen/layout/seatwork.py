"""The numbers of one seat cup and its recess, in the stone's frame: heights along the stone's axis from the ring's
centre, radii from that axis, all in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass

from bandgen.parts import Point, Profile, fillet
from bandgen.spec import Spec
from bandgen.trade.stones import edge_rise
from bandgen.units import tand

BELOW_BORE_MM = 0.2
"""How far parts run under the bore before the bore trims them."""


@dataclass(frozen=True)
class SeatNumbers:
    """A cup: a frustum under its rim, and a recess of mouth, bearing cone, fillet and column."""

    girdle_mm: float
    rim_mm: float
    rim_radius_mm: float
    draft_deg: float
    bore_radius_mm: float
    floor_mm: float
    through: bool
    mouth_radius_mm: float
    column_radius_mm: float
    bearing_deg: float
    fillet_mm: float

    def radius_at(self, height_mm: float) -> float:
        """The cup's outer radius at a height."""
        return self.rim_radius_mm - (self.rim_mm - height_mm) * tand(self.draft_deg)

    @property
    def base_mm(self) -> float:
        """Height of the frustum's base, under the bore everywhere."""
        return math.sqrt(self.bore_radius_mm**2 - self.rim_radius_mm**2) - BELOW_BORE_MM

    @property
    def column_top_mm(self) -> float:
        """Height where the bearing cone would meet the column without a fillet."""
        return self.rim_mm - (self.mouth_radius_mm - self.column_radius_mm) * tand(self.bearing_deg)

    @property
    def column_bottom_mm(self) -> float:
        """Height of the recess's floor; for a through recess where it leaves the cup into the bore."""
        if self.through:
            return math.sqrt(self.bore_radius_mm**2 - self.column_radius_mm**2)
        return self.floor_mm

    @property
    def wall_mm(self) -> float:
        """Metal round the recess at its thinnest: beside the recess's floor, or at the bore's top line where it goes
        through, as the cup narrows downwards."""
        return self.radius_at(self.bore_radius_mm if self.through else self.floor_mm) - self.column_radius_mm

    @property
    def fillet_tangent(self) -> float:
        """Length that the fillet takes from each of its edges, for a fillet of 1 mm."""
        return tand((90.0 - self.bearing_deg) / 2.0)

    @property
    def bearing_length_mm(self) -> float:
        """Slant length of the bearing cone without the fillet."""
        return (self.mouth_radius_mm - self.column_radius_mm) / math.cos(math.radians(self.bearing_deg))

    @property
    def column_length_mm(self) -> float:
        """Length of the column without the fillet."""
        return self.column_top_mm - self.column_bottom_mm


def girdle_radius(spec: Spec) -> float:
    """Radius of the girdle plane: bore, culet clearance and pavilion depth on top of one another."""
    pavilion = spec.stones.diameter_mm / 2.0 * tand(spec.stones.pavilion_deg)
    return spec.finger.bore_mm / 2.0 + spec.stones.culet_clearance_mm + pavilion


def compute_seat(spec: Spec, girdle_mm: float, wall_mm: float | None = None) -> SeatNumbers:
    """The numbers of one seat. The stone's cone in the rim plane, opened for the facet edges, gives the mouth;
    ``seat.bearing_mm`` places the recess where it is given, the wall otherwise."""
    seat, stones = spec.seat, spec.stones
    radius = stones.diameter_mm / 2.0
    rim = girdle_mm - seat.rim_below_girdle_mm
    bore = spec.finger.bore_mm / 2.0
    cone = radius - seat.rim_below_girdle_mm / tand(stones.pavilion_deg)
    floor = bore + seat.floor_mm
    through = seat.opening == "through"
    lowest = bore if through else floor
    cup = seat.rim_diameter_mm / 2.0 - (rim - lowest) * tand(seat.draft_deg)
    wall = seat.wall_mm if wall_mm is None else wall_mm
    if seat.bearing_mm is None or wall_mm is not None:
        column, room = cup - wall, 0.0
        for _ in range(12):  # the room for the facet edges widens the bearing a little: contracts 50-fold a turn
            room = _facet_room(spec, cone, cone + room - column)
        mouth = cone + room
    else:
        mouth = cone + _facet_room(spec, cone, seat.bearing_mm)
        column = mouth - seat.bearing_mm
    return SeatNumbers(
        girdle_mm=girdle_mm,
        rim_mm=rim,
        rim_radius_mm=seat.rim_diameter_mm / 2.0,
        draft_deg=seat.draft_deg,
        bore_radius_mm=bore,
        floor_mm=floor,
        through=through,
        mouth_radius_mm=mouth,
        column_radius_mm=column,
        bearing_deg=seat.bearing_deg,
        fillet_mm=seat.fillet_mm if seat.fillet_mm is not None else 0.0,
    )


def _facet_room(spec: Spec, cone_mm: float, bearing_mm: float) -> float:
    """How far the bearing opens beyond the pavilion cone, so that the edges between its facets clear it: both are
    straight along the cone, so the bearing's two ends decide. ``cone_mm`` is the cone's radius in the rim plane,
    ``bearing_mm`` the bearing's width; a bearing steeper than the stone leaves it downwards."""
    radius = spec.stones.diameter_mm / 2.0
    steeper = tand(spec.seat.bearing_deg) / tand(spec.stones.pavilion_deg)
    low = max(cone_mm - bearing_mm * steeper, 0.0)
    at_end = low + radius * edge_rise(low / radius) - (cone_mm - bearing_mm)
    return max(radius * edge_rise(cone_mm / radius), at_end)


def recess_profile(seat: SeatNumbers, bottom_mm: float, above_rim_mm: float = 0.0) -> Profile:
    """Outline of the recess in (radius, height): column, fillet, bearing cone, mouth; ``above_rim_mm`` carries the
    mouth straight on over the rim."""
    mouth, column, top = seat.mouth_radius_mm, seat.column_radius_mm, seat.rim_mm + above_rim_mm
    foot, corner, rim = Point(column, bottom_mm), Point(column, seat.column_top_mm), Point(mouth, seat.rim_mm)
    bend = fillet(corner, foot, rim, seat.fillet_mm) if seat.fillet_mm > 0.0 else (corner,)
    over = (Point(mouth, top),) if above_rim_mm > 0.0 else ()
    return Profile((Point(0.0, bottom_mm), foot, *bend, rim, *over, Point(0.0, top)))
