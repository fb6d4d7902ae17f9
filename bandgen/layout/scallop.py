"""Scalloped sides: an arch cut into the outer side of every cup, between its prongs.

Seen along the finger the arch is a doorway: straight legs under a round head, symmetric about the stone's axis, open to
the finger; over a hoop it stands on a sill and is a niche. Its back is flat, across the finger. ``scallop_mm`` is how
deep the cut goes where the arch stands, measured on the cup's outermost line. The width follows from the room between
the prongs, the height from the metal that is left to the recess; neither opens anything, so the genus stays as it is.

Stone frame: x towards the neighbours, y up the stone's axis from the ring's centre, z along the ring's axis. There are
two arches, at +z and -z; of rows side by side only the outer sides of the outer rows have theirs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bandgen.layout.events import nearest_of_each
from bandgen.layout.hoop import hoop_of
from bandgen.layout.numbers import BoreNumbers, Event, Layout, Side, Station
from bandgen.layout.seatwork import BELOW_BORE_MM, SeatNumbers, recess_profile
from bandgen.parts import Point, Profile, arc_of, area
from bandgen.units import KEEP_AWAY_MM

Floats = NDArray[np.float64]
Corner = tuple[float, float]

LEAST_METAL_MM = 0.40
"""Metal that the arch's height leaves over its head and, where lowering the head helps, before the recess (Morris &
Watson casting guidelines)."""
ROOM_SHARE = 0.8
"""Of the room between axis and prong that the arch takes, so that a strip of the cup frames it (common practice, no
source)."""
LEAST_STEP_MM = 0.05
"""Depth that the cut still has at its legs: a shallow arch is narrower (common practice, no source)."""
SILL_MM = 0.10
"""What stays of the cup between a hoop and the arch (common practice, no source)."""
HEAD_SHARE = 0.7
"""Of the arch's height that its round head takes at most; a wider arch is flatter (common practice, no source)."""
LEAST_HEIGHT_MM = 0.30
"""Lower than this it is a notch and no arch (common practice, no source)."""
LOWEST_HEAD = 0.4
"""How far up the cup the head stands at least, as a share of its height (common practice, no source)."""
BACK_DECIMALS = 6
"""The back is put on whole millionths of a millimetre from the band's mid-plane: the corners on it share one z, and
cells are joined by corners in order of z to that many decimals, which a value halfway between two would leave to
chance."""
SCALLOP = "arrangement.scallop_mm"


@dataclass(frozen=True)
class ArchNumbers:
    """The arch on a side of a cup: ``half_mm`` from its middle to a leg, ``back_mm`` from the row's middle to its flat
    back, ``reach_mm`` to where the cut ends beyond the cup; heights on the stone's axis: the outline's lowest
    line (``bottom_mm``, under the bore where the arch is open), where it stands (``foot_mm``), where its head begins
    (``spring_mm``) and ends (``head_mm``). ``metal_mm`` is what is left before and under the recess at the least."""

    half_mm: float
    back_mm: float
    reach_mm: float
    bottom_mm: float
    foot_mm: float
    spring_mm: float
    head_mm: float
    metal_mm: float

    @property
    def half_width_mm(self) -> float:
        """How far its metal reaches along the finger: it only cuts."""
        return 0.0

    @property
    def curve_mm(self) -> float:
        """Radius of the head."""
        rise = self.head_mm - self.spring_mm
        return (self.half_mm**2 + rise**2) / (2.0 * rise)


@dataclass(frozen=True)
class _Place:
    """What decides a station's arch: its seat, where an arch may stand, and the room from axis to prong (mm); the
    outer rows stand at ``row_mm`` along the finger."""

    seat: SeatNumbers
    bore: BoreNumbers
    row_mm: float
    sill_mm: float | None
    room_mm: float


def add_scallops(layout: Layout) -> Layout:
    """The layout with an arch in every side of a cup that is the band's, where the spec asks for them; after hoop and
    bore."""
    depth = layout.spec.arrangement.scallop_mm
    if depth == 0.0:
        return layout
    known: dict[_Place, ArchNumbers] = {}
    stations, events, cut = [], [], 0.0
    for station, sides in _with_sides(layout):
        place = _place(layout, sides)
        if place not in known:
            known[place] = compute_arch(place, depth)
        arch = known[place]
        stations.append(replace(station, extras=(*station.extras, arch)))
        events += _events(layout, sides, place, arch)
        cut += removed_at_most(arch, station.seat)
    low, high = layout.volume_bounds_mm3
    bounds = max(low - cut, 0.0), high
    return replace(
        layout,
        stations=tuple(stations),
        events=(*layout.events, *nearest_of_each(events)),
        volume_bounds_mm3=bounds,
    )


def arch_outline(arch: ArchNumbers, bottom_mm: float) -> Profile:
    """The arch in (x, y) down to ``bottom_mm``, counter-clockwise; corners on x = 0, where cells meet."""
    half, rise = arch.half_mm, arch.head_mm - arch.spring_mm
    bulge = math.tan(math.atan2(rise, half) / 2.0)
    return Profile(
        (
            Point(0.0, bottom_mm),
            Point(half, bottom_mm),
            Point(half, arch.spring_mm, bulge),
            Point(0.0, arch.head_mm, bulge),
            Point(-half, arch.spring_mm),
            Point(-half, bottom_mm),
        )
    )


def arch_interval(arch: ArchNumbers, x: Floats, z: Floats) -> tuple[Floats, Floats]:
    """The heights between which the arch takes all metal on lines along y at x (k,) and z (k,): lower and upper end
    (k,) each, the upper -inf where it takes none."""
    inside = (np.abs(x) < arch.half_mm) & (np.abs(z) > arch.back_mm)
    across = np.minimum(np.abs(x), arch.half_mm)
    centre = arch.head_mm - arch.curve_mm
    head = centre + np.sqrt(np.maximum(arch.curve_mm**2 - across**2, 0.0))
    return np.full_like(head, arch.bottom_mm), np.where(inside, head, -np.inf)


def removed_at_most(arch: ArchNumbers, seat: SeatNumbers) -> float:
    """Volume in mm3 that the two arches of a cup take at most: the outline over the finger, as deep as at its head."""
    low = max(arch.bottom_mm, _lowest_finger(seat))
    deep = seat.radius_at(arch.head_mm) - arch.back_mm
    return 2.0 * max(area(arch_outline(arch, low)), 0.0) * max(deep, 0.0)


def compute_arch(place: _Place, depth_mm: float) -> ArchNumbers:
    """The arch of one cup, feasible or not."""
    seat, foot = place.seat, _foot(place)
    low = _lowest_finger(seat) if place.sill_mm is None else foot
    back = round(place.row_mm + seat.radius_at(foot) - depth_mm, BACK_DECIMALS) - place.row_mm
    half = max(min(ROOM_SHARE * place.room_mm, _stepped_width(seat.radius_at(low), back)), 1e-3)
    head = _head(seat, back)
    rise = max(min(half, HEAD_SHARE * (head - foot)), 1e-3)
    return ArchNumbers(
        half_mm=half,
        back_mm=back,
        reach_mm=seat.rim_radius_mm + 1.0,
        bottom_mm=low - BELOW_BORE_MM if place.sill_mm is None else foot,
        foot_mm=foot,
        spring_mm=head - rise,
        head_mm=head,
        metal_mm=metal_behind(seat, back, head),
    )


def metal_behind(seat: SeatNumbers, back_mm: float, head_mm: float) -> float:
    """Least distance in mm between the recess and an arch whose back and head stand there; negative: they meet. Both
    are nearest on the stone's mid-plane, where the arch is a quadrant, z over its back and y under its head."""
    return min(_clear_of_side(a, b, (back_mm, head_mm)) for a, b in _recess_section(seat))


def _with_sides(layout: Layout) -> Iterator[tuple[Station, tuple[Side, ...]]]:
    """Every station with its two seams as it sees them."""
    found: dict[int, list[Side]] = {}
    for seam in layout.seams:
        for side in layout.sides(seam):
            found.setdefault(side.station.index, []).append(side)
    return ((station, tuple(found[station.index])) for station in layout.stations)


def _place(layout: Layout, sides: Sequence[Side]) -> _Place:
    seat, bore, row = sides[0].station.seat, layout.bore, layout.outer_row_mm
    tops = [hoop.top_mm for side in sides if (hoop := hoop_of(side.seam)) is not None]
    sill = max(*tops, bore.radius_at(row + seat.rim_radius_mm)) + SILL_MM if tops else None
    return _Place(seat, bore, row, sill, min(_room(side) for side in sides))


def _room(side: Side) -> float:
    """x from the stone's axis to the prong's inner side where that is least, at the finger (mm). The axis lies in the
    seam plane, so the tangent plane on the inner side is parallel to that."""
    low, half = _lowest_finger(side.station.seat), side.half
    return (low * math.sin(half) - side.prong.diameter_mm / 2.0) / math.cos(half)


def _lowest_finger(seat: SeatNumbers) -> float:
    """Height on the stone's axis where the bore leaves the cup at its widest."""
    return seat.base_mm + BELOW_BORE_MM


def _foot(place: _Place) -> float:
    """Height where the arch stands: on its sill, or at the finger under the cup's outermost line."""
    at_side = place.bore.radius_at(place.row_mm + place.seat.radius_at(place.seat.bore_radius_mm))
    return at_side if place.sill_mm is None else place.sill_mm


def _stepped_width(radius_mm: float, back_mm: float) -> float:
    """Half the width up to which a flat back stands the least step inside a round of that radius (mm)."""
    return math.sqrt(max(radius_mm**2 - max(back_mm + LEAST_STEP_MM, 0.0) ** 2, 0.0))


def _head(seat: SeatNumbers, back_mm: float) -> float:
    """As high as leaves the least metal over the head and before the recess, or where no height does the metal that is
    left beside the recess anyway."""
    top = seat.rim_mm - LEAST_METAL_MM
    low = min(seat.bore_radius_mm + LOWEST_HEAD * (seat.rim_mm - seat.bore_radius_mm), top)
    most, beside = metal_behind(seat, back_mm, low), back_mm - seat.column_radius_mm
    wanted = min(LEAST_METAL_MM, most, beside if beside > 0.0 and most < LEAST_METAL_MM else math.inf) - 1e-9
    if metal_behind(seat, back_mm, top) >= wanted:
        return top
    for _ in range(30):
        middle = (low + top) / 2.0
        low, top = (middle, top) if metal_behind(seat, back_mm, middle) >= wanted else (low, middle)
    return low


@lru_cache(maxsize=64)
def _recess_section(seat: SeatNumbers) -> tuple[tuple[Corner, Corner], ...]:
    """The recess's outline but the stone's axis, in straight pieces."""
    outline = recess_profile(seat, seat.column_bottom_mm)
    return tuple(piece for a, b in outline.sides if a.u > 0.0 or b.u > 0.0 for piece in _straightened(a, b))


def _straightened(start: Point, end: Point) -> list[tuple[Corner, Corner]]:
    """A side as straight pieces; those of the fillet, whose centre lies in the metal, stand towards the metal."""
    points, pieces = [(start.u, start.v)], 8
    if start.bulge != 0.0:
        arc = arc_of(start, end)
        angles = [arc.start + arc.sweep * step / pieces for step in range(1, pieces)]
        points += [(arc.u + arc.radius * math.cos(a), arc.v + arc.radius * math.sin(a)) for a in angles]
    points.append((end.u, end.v))
    return list(pairwise(points))


def _clear_of_side(a: Corner, b: Corner, corner: Corner) -> float:
    """Distance of a straight side of the recess from the quadrant beyond and under ``corner``: least at an end or where
    the side comes nearest to that corner."""
    run = (b[0] - a[0], b[1] - a[1])
    length = max(run[0] ** 2 + run[1] ** 2, 1e-18)
    share = min(max(((corner[0] - a[0]) * run[0] + (corner[1] - a[1]) * run[1]) / length, 0.0), 1.0)
    nearest = (a[0] + share * run[0], a[1] + share * run[1])
    return min(_clear_of_point(point, corner) for point in (a, nearest, b))


def _clear_of_point(point: Corner, corner: Corner) -> float:
    out, up = corner[0] - point[0], point[1] - corner[1]
    return max(out, up) if out <= 0.0 or up <= 0.0 else math.hypot(out, up)


def _events(layout: Layout, sides: Sequence[Side], place: _Place, arch: ArchNumbers) -> list[Event]:
    """What the arches of one cup may come too near to."""
    seat, hoop = place.seat, place.sill_mm is not None
    step = _stepped_width(seat.radius_at(max(arch.bottom_mm, _lowest_finger(seat))), arch.back_mm)
    seam = sides[0].seam.index
    height = arch.head_mm - arch.foot_mm - LEAST_HEIGHT_MM + KEEP_AWAY_MM
    middle = "the arches of both sides meet under the seat" if len(layout.rows) == 1 else "the arch passes the culet"
    return [
        Event("scallop-recess", arch.metal_mm, "limit", SCALLOP, "the arch breaks into the recess", seam),
        Event("scallop-middle", arch.back_mm, "limit", SCALLOP, middle, seam),
        Event("scallop-step", step / 4.0, "limit", SCALLOP, "the arch is too shallow to have edges", seam),
        Event(
            "scallop-prong",
            (1.0 - ROOM_SHARE) * place.room_mm,
            "limit",
            "prong.diameter_mm",
            "the prongs leave no room for an arch between them",
            seam,
        ),
        Event(
            "scallop-height",
            height,
            "limit",
            "hoop.thickness_mm" if hoop else "stones.culet_clearance_mm",
            "the cup is too low for an arch",
            seam,
        ),
        *(event for side in sides for event in _neighbour_events(layout, side, arch)),
    ]


def _neighbour_events(layout: Layout, side: Side, arch: ArchNumbers) -> list[Event]:
    """The arch stays in its own cup: the neighbour's does not reach it, seen along the finger."""
    before, after = layout.around(side.seam)
    other = after if side.sign > 0 else before
    if other is None:
        return []
    seat, pitch = other.seat, math.radians(side.seam.before_deg + side.seam.after_deg)
    room = min(_reach_back(seat, pitch, arch.back_mm, share / 8.0) for share in range(9)) - arch.half_mm
    text = "the neighbour's cup reaches into the arch"
    return [Event("scallop-neighbour", room, "limit", "seat.draft_deg", text, side.seam.index)]


def _reach_back(seat: SeatNumbers, pitch: float, back_mm: float, share: float) -> float:
    """x in this stone's frame up to which the next cup comes over the plane of the arch's back, at a share of its
    height; its axis stands ``pitch`` (radians) away."""
    low = _lowest_finger(seat)
    height = low + share * (seat.rim_mm - low)
    across = math.sqrt(max(seat.radius_at(height) ** 2 - max(back_mm, 0.0) ** 2, 0.0))
    return height * math.sin(pitch) - across * math.cos(pitch)
