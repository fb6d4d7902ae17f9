"""A stone of another size in a seat: how high it rests, what it leaves its neighbours, how its prongs grip it.

**How high a stone of another size rests.** The narrowest cone that holds the faceted pavilion has the angle p
(``trade.stones.clear_pavilion_deg``): at height h it is r - (y - h) / tan p wide, for a girdle of radius r at height y.
It rests where some point of the bearing (radius q, height h) meets it: y = h + (r - q) tan p, the greatest over the
bearing's points with q <= r. For a straight bearing of angle b an end decides: the mouth where b > p (a bur of 90
degrees: b = 45), the inner edge where b < p, both, all along, where b = p. Either way that point stays the same for
every r, so

    dy/dr = tan p    whatever the bearing's angle: 0.44 mm up for each mm of diameter at p = 41.3 degrees

until a stone is smaller than the mouth of a bearing steeper than it: then its girdle itself rests, on the bearing, and
dy/dr = tan b. A stone smaller than the recess falls in; its prongs do not hold it, which is what is counted.
(Within the tips of the lower halves the pavilion is narrower than that cone: under a thousandth of a mm lower.)

**Gap.** Girdles are taken as bands of their thickness, not as the thin discs of ``layout.pairs``, for two discs at
different heights pass one another without touching where the stones do not. Neighbours of a row are symmetric about
z = 0, where the bands are two rectangles that face one another with one side each: the gap is the distance of these two
sides, and less than 0 where neither has the other on its outer side. Equal stones leave what the layout says, 2 R
sin(P/2) - 2 r cos(P/2) at the pitch P; of two that differ the higher one's lower edge comes nearest, to the side of the
lower one: y2 sin P - r2 cos P - r1. Between rows the gap is measured along the best direction that is level between the
two axes: exact where the girdles overlap in height, else less than the distance in space. In straight rows that is the
distance of the axes less both radii.

Millimetres and radians. Numbers or arrays of them alike. Derived here; proved in tests by sampled girdles.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bandgen.layout.numbers import Side, Station
from bandgen.spec import SIZE_RANGE_MM
from bandgen.trade.stones import clear_pavilion_deg
from bandgen.units import tand

Floats = NDArray[np.float64]

MOST_SPREAD_MM = 0.5
"""How far from its seat's own size a stone is looked at."""


def rest_mm(station: Station, radius: Any) -> Any:
    """Height in mm at which a stone of another girdle radius rests in a station's seat: a number, or an array of them.
    That of the station's own stone is its ``seat.girdle_mm``."""
    own = station.diameter_mm / 2.0
    return station.seat.girdle_mm + (_over_bearing(station, radius) - _over_bearing(station, own))


def _over_bearing(station: Station, radius: Any) -> Any:
    seat, slope = station.seat, tand(clear_pavilion_deg(station.proportions.pavilion_deg))
    lip = np.minimum(radius, seat.mouth_radius_mm)
    on_lip = seat.rim_mm - (seat.mouth_radius_mm - lip) * tand(seat.bearing_deg) + (radius - lip) * slope
    return np.maximum(seat.column_top_mm + (radius - seat.column_radius_mm) * slope, on_lip)


def grip_share(side: Side, diameter_mm: float) -> float:
    """Share of a prong's diameter that the girdle of a stone enters in the station of a seam's side. It rises with the
    stone's diameter up to 0.5, where the girdle reaches the prong's axis."""
    radius = diameter_mm / 2.0
    height = float(rest_mm(side.station, radius))
    reach = side.prong.axis.distance_to_circle(side.half, height, radius, side.sign)
    return 0.5 - reach / side.prong.diameter_mm


def least_held_mm(side: Side, share: float) -> float:
    """Diameter in mm of the smallest stone that the prong of a side grips by ``share``, by bisection; the station's own
    where the layout leaves no more."""
    low, high = SIZE_RANGE_MM[0] / 2.0, side.station.diameter_mm
    while high - low > 1e-9:
        middle = (low + high) / 2.0
        low, high = (low, middle) if grip_share(side, middle) >= share else (middle, high)
    return high


class Girdles(NamedTuple):
    """Girdles as bands: radii, heights of their lower edges and thicknesses in mm, each of one shape."""

    radius: Floats
    height: Floats
    thick: Floats

    def of(self, stones: Any) -> Girdles:
        """Those of some stones, by their number in the last axis."""
        return Girdles(self.radius[..., stones], self.height[..., stones], self.thick[..., stones])


def girdle_gap(before: Girdles, after: Girdles, angle: Any) -> Floats:
    """Gap in mm between the girdle bands of neighbours of a row, with the ``angle`` between their axes; less than 0
    where neither has the other on its outer side. See the module's text."""
    sine, cosine = np.sin(angle), np.cos(angle)
    (apart, past) = zip(_to_side(before, after, sine, cosine), _to_side(after, before, sine, cosine), strict=True)
    furthest = np.maximum(*past)
    return np.asarray(np.where(furthest > 0.0, np.minimum(*apart), furthest))


def _to_side(face: Girdles, end: Girdles, sine: Any, cosine: Any) -> tuple[Floats, Floats]:
    """Distance of the one's lower edge from the other's side, and how far it stands past the line of that side."""
    past = end.height * sine - end.radius * cosine - face.radius
    over = end.height * cosine + end.radius * sine - face.height
    beyond = np.maximum(np.maximum(-over, over - face.thick), 0.0)
    return np.hypot(np.maximum(past, 0.0), beyond), past


def level_direction(height_mm: Any, radius_mm: Any, angle: Any, z_mm: Any) -> tuple[Any, Any]:
    """The direction level between the axes of two stones of neighbouring rows along which their girdles are furthest
    apart, as its components along the first axis' lean and along the ring's axis. Heights and radii are the sums of
    both. It makes y sin(a) cos(t) + z sin(t) - r sqrt(1 - (sin(a) cos(t))^2) greatest, a half the ``angle`` between
    the axes."""
    sine = np.sin(angle / 2.0)
    turn = np.arctan2(z_mm, height_mm * sine)
    for _ in range(6):  # contracts twentyfold a turn and more, as sin(a)^2 does
        aslant = sine * np.cos(turn)
        turn = np.arctan2(z_mm, (height_mm + radius_mm * aslant / np.sqrt(1.0 - aslant**2)) * sine)
    return sine * np.cos(turn), np.sin(turn)


def gap_across(one: Girdles, other: Girdles, z_mm: Any, direction: tuple[Any, Any]) -> Floats:
    """Gap in mm between the girdles of stones of neighbouring rows, ``z_mm`` apart along the ring's axis, in a
    direction of :func:`level_direction`. That of the seats' own stones does for others: it is the best to second
    order in how they differ, and no direction tells more than the distance in space."""
    aslant, along = direction
    flat = np.sqrt(1.0 - aslant**2)
    return np.asarray((one.height + other.height) * aslant + z_mm * along - (one.radius + other.radius) * flat)
