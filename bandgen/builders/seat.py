"""The seat: a tapered cup under the girdle, and the recess that is cut into it."""

from __future__ import annotations

from bandgen.layout.numbers import Station
from bandgen.layout.seatwork import BELOW_BORE_MM, SeatNumbers, recess_profile
from bandgen.parts import Frame, Part, Point, Profile, Revolved, turned

ABOVE_RIM_MM = 0.01
"""How far the recess's tool stands over the rim: enough to leave no skin there, and less than half the keep-away
that the layout holds between the mouth and a prong, so that no prong is notched."""

STONE_AXIS = Frame(u=(0.0, 0.0, 1.0), v=(0.0, 1.0, 0.0), w=(-1.0, 0.0, 0.0))
"""The stone's axis along +Y; revolutions start on +Z, in the stone's mid-plane, where a cell is cut anyway."""


def build_seat(station: Station, angle_deg: float) -> tuple[Part, ...]:
    """Cup and recess of a station that stands ``angle_deg`` counter-clockwise of the cell's seam."""
    seat = station.seat
    cup = Part("cup", 1, Revolved(cup_profile(seat)), STONE_AXIS)
    recess = Part("recess", -1, Revolved(recess_profile(seat, recess_bottom(seat), ABOVE_RIM_MM)), STONE_AXIS)
    return turned(cup, angle_deg), turned(recess, angle_deg)


def cup_profile(seat: SeatNumbers) -> Profile:
    """The frustum from under the bore to the rim."""
    base, rim = seat.base_mm, seat.rim_mm
    return Profile(
        (Point(0.0, base), Point(seat.radius_at(base), base), Point(seat.rim_radius_mm, rim), Point(0.0, rim))
    )


def recess_bottom(seat: SeatNumbers) -> float:
    """The floor, or a height under the bore where the recess goes through."""
    return seat.column_bottom_mm - (BELOW_BORE_MM if seat.through else 0.0)
