"""Sprues: round rods on the sides of cups, along the finger, through which the metal flows.

All stand on one side of the band, so that it is printed lying on them and cut off in one go. A sprue stands on the flat
of a cup's side, between its two prongs, over the finger and under the rim: it touches no prong, no seat and no bore.
Where it is thicker than its foot may be, it tapers towards it; where it is thinner, a cone widens its foot. A true
fillet is left out: a cone is exact in both engines and as easy to cut off.

Stone frame: x towards the neighbours, y up the stone's axis from the ring's centre, z along the ring's axis. Of rows
side by side the outer row at positive z carries them.

| key | value | why |
|---|---|---|
| count | 3, or 2 on a part of the circle | thick castings are fed at 10, 2 and 6 o'clock (cast-in-place note) |
| diameter | 1.2 of the widest foot, at most 2.5 | tapering towards the piece (Formlabs), its section 70 to 150 % of |
| | | the attachment's (Ganoksin, "Sprue system design") |
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bandgen.errors import Problem, SpecError
from bandgen.layout.events import nearest_of_each
from bandgen.layout.hoop import filled, hoop_of
from bandgen.layout.numbers import Event, Layout, ProngNumbers, Seam, Side, Station
from bandgen.layout.seatwork import SeatNumbers
from bandgen.parts import Point, Profile, Revolved, volume
from bandgen.units import KEEP_AWAY_MM

FLARE = 1.15
"""Foot over rod where there is room: its square, 1.32, keeps the rod's section at 76 % of the foot's."""
TAPER = 1.2
"""Rod over foot where it is filled in: its square, 1.44, keeps the rod's section at 144 % of the foot's."""
FLARE_LENGTH_MM = 0.25
"""How far beyond the cup the flare ends (common practice, no source)."""
MARGIN_MM = 0.1
"""What the foot leaves of the cup's side at finger and rim, so that cutting the sprue off spares them (common practice,
no source)."""
ASIDE_MM = 0.05
"""The same beside the prongs."""
BURIED_MM = 0.15
"""How deep in the cup it begins (joined elements overlap by 0.15 at least: Stuller)."""
LEAST_FOOT_MM = 0.2
"""Least radius of a foot (common practice, no source)."""
MOST_DIAMETER_MM = 2.5
"""The thickest that is filled in (common practice, no source)."""
ROUND_MM = 0.05
"""Filled in diameters are whole steps of this."""
FULL_COUNT, PART_COUNT = 3, 2
COUNT, DIAMETER, LENGTH = "sprue.count", "sprue.diameter_mm", "sprue.length_mm"
GRID = (160, 128)
"""Steps outwards and round of the sum over a foot."""


@dataclass(frozen=True)
class SprueNumbers:
    """A sprue on a cup: its axis stands ``height_mm`` over the ring's, along the finger; ``section`` is its outline as
    (radius, z) from its buried end to its free one, z from the middle of its row, which stands at ``row_mm``.
    ``foot_mm`` is its radius where it leaves the cup, ``standing_mm3`` all of it that stands beyond the cup."""

    row_mm: float
    height_mm: float
    foot_mm: float
    section: tuple[tuple[float, float], ...]
    standing_mm3: float
    one_sided: bool = True

    @property
    def radius_mm(self) -> float:
        """Of the rod."""
        return self.section[-1][0]

    @property
    def end_mm(self) -> float:
        """Where it ends, from the middle of its row."""
        return self.section[-1][1]

    @property
    def half_width_mm(self) -> float:
        """How far it reaches along the finger."""
        return self.row_mm + self.end_mm

    @property
    def feed_share(self) -> float:
        """The least section of the rod over that of its foot, as areas."""
        return (self.radius_mm / self.foot_mm) ** 2

    @property
    def widest_mm(self) -> float:
        """Its greatest radius."""
        return max(radius for radius, _ in self.section)


def add_sprues(layout: Layout) -> Layout:
    """The layout with its sprues, where the spec asks for them; after all else that decides a cup's side.

    Raises:
        SpecError: where there are fewer places than sprues.
    """
    asked = layout.spec.sprue
    if asked.count == 0:
        return layout
    closed = len(layout.seams) == len(layout.stations)
    count = asked.count if asked.count is not None else FULL_COUNT if closed else PART_COUNT
    chosen = _chosen(layout, _places(layout), count)
    feet = [_foot_room(layout, layout.stations[index]) for index in chosen]
    rods = [_default_diameter(layout, layout.stations[index], foot) for index, foot in zip(chosen, feet, strict=True)]
    diameter = min(rods) if asked.diameter_mm is None else asked.diameter_mm
    layout = filled(layout, "sprue", count=count, diameter_mm=diameter)
    numbers = {
        index: compute_sprue(layout, layout.stations[index], room) for index, room in zip(chosen, feet, strict=True)
    }
    events = [event for index, sprue in numbers.items() for event in _events(layout, layout.stations[index], sprue)]
    stations = tuple(
        replace(each, extras=(*each.extras, numbers[each.index])) if each.index in numbers else each
        for each in layout.stations
    )
    low, high = layout.volume_bounds_mm3
    standing = sum(sprue.standing_mm3 for sprue in numbers.values())
    return replace(
        layout,
        stations=stations,
        events=(*layout.events, *nearest_of_each(events)),
        volume_bounds_mm3=(low + 0.999 * standing, high + 1.001 * standing),
    )


def sprue_of(station: Station) -> SprueNumbers | None:
    """The sprue on a station's cup, where there is one."""
    return next((extra for extra in station.extras if isinstance(extra, SprueNumbers)), None)


def cut_off_mm3(layout: Layout) -> float:
    """Volume of all that is cut off the finished band: sprues, and what stands on them."""
    owners: tuple[Station | Seam, ...] = (*layout.stations, *layout.seams)
    return sum(getattr(extra, "standing_mm3", 0.0) for owner in owners for extra in owner.extras)


def sprue_profile(sprue: SprueNumbers) -> Profile:
    """Half its length section in (radius, z from its buried end)."""
    start = sprue.section[0][1]
    corners = [Point(radius, z - start) for radius, z in sprue.section]
    return Profile((Point(0.0, 0.0), *corners, Point(0.0, corners[-1].v)))


def compute_sprue(layout: Layout, station: Station, foot_room_mm: float) -> SprueNumbers:
    """The sprue on one cup, feasible or not, with a foot no wider than ``foot_room_mm`` (radius)."""
    asked, seat = layout.spec.sprue, station.seat
    low, high = _heights(layout, station)
    height, radius = (low + high) / 2.0, asked.diameter_mm / 2.0
    foot = max(min(FLARE * radius, foot_room_mm), 0.05)
    inner = math.sqrt(max(seat.radius_at(height - foot) ** 2 - foot**2, 0.0))
    start, outer = max(inner - BURIED_MM, 0.01), seat.radius_at(height + foot)
    end = outer + asked.length_mm
    section: tuple[tuple[float, float], ...]
    if foot - radius > KEEP_AWAY_MM:
        neck = outer + FLARE_LENGTH_MM
        widening = (foot - radius) / (neck - inner)
        section = ((radius + (neck - start) * widening, start), (radius, neck), (radius, end))
    elif radius - foot > KEEP_AWAY_MM:
        clear = _band_half(layout) - layout.outer_row_mm + MARGIN_MM
        section = ((foot, start), (foot, clear), (radius, clear + 2.0 * (radius - foot)), (radius, end))
    else:
        foot, section = radius, ((radius, start), (radius, end))
    bare = SprueNumbers(layout.outer_row_mm, height, foot, section, 0.0)
    return replace(bare, standing_mm3=_standing(bare, seat))


def _standing(sprue: SprueNumbers, seat: SeatNumbers) -> float:
    """Its volume less what lies within the cup (mm3): a sum over its foot, seen along its axis."""
    start, first = sprue.section[0][1], sprue.section[0][0]
    rings, turns = GRID
    radii = first * (np.arange(rings) + 0.5)[:, None] / rings
    angles = 2.0 * math.pi * (np.arange(turns) + 0.5) / turns
    x, y = radii * np.sin(angles), sprue.height_mm + radii * np.cos(angles)
    cup = np.sqrt(np.maximum(_cup_radius(seat, y) ** 2 - x**2, 0.0))
    (_, _), (second, neck) = sprue.section[:2]
    top = np.full_like(radii, math.inf)
    if second < first:  # a flare: its cone ends it beyond the rod
        top = np.where(radii > second, neck - (radii - second) * (neck - start) / (first - second), math.inf)
    within = np.clip(np.minimum(cup, top) - start, 0.0, None)
    area = radii * (first / rings) * (2.0 * math.pi / turns)
    return volume(Revolved(sprue_profile(sprue))) - float(np.sum(within * area))


def _cup_radius(seat: SeatNumbers, heights: np.ndarray) -> np.ndarray:
    radius: np.ndarray = seat.rim_radius_mm - (seat.rim_mm - heights) * math.tan(math.radians(seat.draft_deg))
    return radius


# Where they stand


def _places(layout: Layout) -> list[Station]:
    """The stations that may carry one: not the ends of an open row, where the shank leaves the cup."""
    closed = len(layout.seams) == len(layout.stations)
    return list(layout.stations if closed else layout.stations[1:-1])


def _chosen(layout: Layout, places: Sequence[Station], count: int) -> list[int]:
    """The stations nearest to ``count`` equal parts' middles; on a full circle at 10, 2 and 6 o'clock where these are
    three.

    Raises:
        SpecError: where two would stand on one.
    """
    if count <= len(places):
        closed = len(layout.seams) == len(layout.stations)
        first, span = (0.0, 360.0) if closed else (places[0].angle_deg, places[-1].angle_deg - places[0].angle_deg)
        wanted = [first + (step + 0.5) * span / count for step in range(count)]
        nearest = [min(places, key=lambda place: (_apart(place.angle_deg, angle), place.index)) for angle in wanted]
        if len({place.index for place in nearest}) == count:
            return [place.index for place in nearest]
    advice = f"at most {len(places)} stones can carry one" if places else "a row of three stones or more"
    raise SpecError([Problem(COUNT, "there are not as many places for sprues, evenly spaced", count, advice)])


def _apart(one: float, other: float) -> float:
    """Degrees between two directions, rounded so that two that stand equally far are so."""
    turn = abs(one - other) % 360.0
    return round(min(turn, 360.0 - turn), 9)


def _heights(layout: Layout, station: Station) -> tuple[float, float]:
    """Between which heights on the stone's axis a foot may stand: over finished bore and hoop, under the rim."""
    bore = layout.bore
    finger = bore.radius_at(bore.reach_mm) + bore.allowance_mm
    hoops = [hoop.top_mm for side in layout.beside(station) if (hoop := hoop_of(side.seam)) is not None]
    return max(finger, *hoops, 0.0), station.seat.rim_mm


def _foot_room(layout: Layout, station: Station) -> float:
    """The greatest radius of a foot on a station's cup (mm)."""
    low, high = _heights(layout, station)
    across = min(_off_prong(side) for side in layout.beside(station))
    return min((high - low) / 2.0 - MARGIN_MM, across - ASIDE_MM)


def _off_prong(side: Side) -> float:
    """From the station's mid-plane to the inner side of its prong, from the finger to the rim (mm)."""
    axis, half, seat = side.prong.axis, side.half, side.station.seat
    heights = (min(seat.bore_radius_mm, seat.rim_mm) - MARGIN_MM, seat.rim_mm / math.cos(half))
    middle = min(radial * math.sin(half) - side.sign * axis.x_at(radial) * math.cos(half) for radial in heights)
    return middle - side.prong.diameter_mm / 2.0 / axis.along[1]


def _default_diameter(layout: Layout, station: Station, foot_room_mm: float) -> float:
    """A rod for such a foot that is clear of the finger, too (mm)."""
    low, high = _heights(layout, station)
    over = (low + high) / 2.0 - layout.bore.finished_mm - MARGIN_MM
    wanted = min(2.0 * TAPER * foot_room_mm, 2.0 * over, MOST_DIAMETER_MM)
    return max(round(math.floor(wanted / ROUND_MM + 1e-9) * ROUND_MM, 2), 0.6)


def _band_half(layout: Layout) -> float:
    """Half the band's width over everything but sprues (mm)."""
    prongs = [_widest(prong) for seam in layout.seams for prong in seam.prongs]
    rims = [station.seat.rim_radius_mm for station in layout.stations]
    further: list[float] = [extra.half_width_mm for seam in layout.seams for extra in seam.extras]
    return max(layout.outer_row_mm + max(*prongs, *rims), *further, 0.0)


def _widest(prong: ProngNumbers) -> float:
    return prong.axis.z_at(prong.axis.crossing_mm + prong.tip_mm) + prong.diameter_mm / 2.0


def _events(layout: Layout, station: Station, sprue: SprueNumbers) -> list[Event]:
    """What one sprue may come too near to."""
    sides = layout.beside(station)
    low, high = _heights(layout, station)
    first, height = sprue.section[0][0], sprue.height_mm
    narrow = min(high - height, height - low) - first
    straight = sprue.end_mm - sprue.section[-2][1] - 0.2
    over = height - sprue.widest_mm - layout.bore.radius_mm
    pitches = [math.radians(side.seam.before_deg + side.seam.after_deg) for side in sides]
    beside = min(height * math.sin(min(pitch, math.pi / 2.0)) for pitch in pitches) - sprue.widest_mm
    least = LEAST_FOOT_MM - KEEP_AWAY_MM
    low_cup = (high - low) / 2.0 - MARGIN_MM < LEAST_FOOT_MM
    key, bounded = ("stones.culet_clearance_mm", "finger and rim") if low_cup else ("prong.diameter_mm", "its prongs")
    text = f"the cup's side leaves no place for a sprue's foot between {bounded}"
    events = [
        Event("sprue-foot", sprue.foot_mm - least, "limit", key, text),
        Event("sprue-side", narrow, "limit", DIAMETER, "the sprue's foot reaches rim or finger"),
        Event("sprue-bore", over, "limit", DIAMETER, "the sprue stands in the finger's way"),
        Event("sprue-beside", beside, "limit", DIAMETER, "the sprue reaches over the next stone's middle"),
        Event("sprue-length", straight, "limit", LENGTH, "the sprue is shorter than its own taper"),
    ]
    text = "the next cup reaches the sprue's foot"
    nearer = min(_off_neighbour(layout, side, sprue) for side in sides)
    events.append(Event("sprue-neighbour", nearer, "limit", DIAMETER, text))
    return [replace(event, seam=sides[0].seam.index) for event in events]


def _off_neighbour(layout: Layout, side: Side, sprue: SprueNumbers) -> float:
    """How far a foot's outline on its own cup stays off the next cup (mm); infinite beyond the end of a row."""
    before, after = layout.around(side.seam)
    other = after if side.sign > 0 else before
    if other is None:
        return math.inf
    pitch, seat, first = (
        math.radians(side.seam.before_deg + side.seam.after_deg),
        side.station.seat,
        sprue.section[0][0],
    )
    sine, cosine, least = math.sin(pitch), math.cos(pitch), math.inf
    for step in range(33):  # the half of it that faces the neighbour
        angle = math.pi * step / 32.0
        x, y = first * math.sin(angle), sprue.height_mm + first * math.cos(angle)
        z = math.sqrt(max(seat.radius_at(y) ** 2 - x * x, 0.0))
        across, along = x * cosine - y * sine, x * sine + y * cosine
        least = min(least, math.hypot(across, z) - other.seat.radius_at(along))
    return least
