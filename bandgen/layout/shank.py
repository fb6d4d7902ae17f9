"""The shank: the plain part of an open row, from the last cup's inside to the bottom of the band.

Each of its two ends is laid out for itself, in the frame of its end seam; at the bottom both show one section. In the
plane of the band the outside is a circle about an axis that stands off the ring's axis along the bottom's direction,
so that the thickness changes smoothly from end to base. Seen from outside the sides keep the end's width past the
prongs, run over two arcs to the base's, and keep that to the bottom.

The shank runs on inside the last cup, deep enough that its end face is buried there, and under the cup's rim. Its sides
leave the cup outside the place where prong and cup touch, or inside the prong: in between a pinhole would stay.

| key | value | why |
|---|---|---|
| end width | 0.85 of the cup's foot, clear of the prong's outer side | common practice, no source |
| end thickness | to 0.05 under the cup's rim | no step, and the rim stays whole |
| base width | 0.9 of the wider end's, at least 1.5 | under 1.5 either way a shank goes oval (put a ring on it) |
| base thickness | the thicker end's within 1.5 .. 1.8 | the same |

Near a short arc the base's width and thickness follow the ends', as steep as a taper may be.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from bandgen.defaults import clamp, put_missing
from bandgen.layout.events import nearest_of_each
from bandgen.layout.numbers import Event, Layout, Seam, Side
from bandgen.layout.shank_joint import (
    BURIED_MM,
    contact_top,
    cup_off_seam,
    end_half,
    foot_radius,
    heights_to,
    plain_deg,
    prong_radius,
    prong_side,
    refuse_short,
    row_ends,
    seal,
    wall_distance,
)
from bandgen.spec import Shank, Spec
from bandgen.units import KEEP_AWAY_MM

PAST_PRONG_MM = 0.05
"""How far past the prongs the shank's sides run on straight."""
STEEPEST = 0.25
"""Most that half the width may change over the length that it changes on: 28 degrees where the side is steepest."""
FLATTEST, ROUNDEST = 0.3, 3.0
"""How much flatter or rounder than a circle about the ring's axis the outside may be, as shares of its rise."""
FILLED_BEND = (0.6, 1.6)
"""The same for a thickness that is filled in: its slope then tips the joint with the cup little."""
BASE_MM = (1.5, 1.8)
"""Least of a base's width and thickness, and most of a thickness, that are filled in."""
HALF_ROUND_SHARE = 1.0 / 3.0
"""Share of the thickness by which a half-round shank's edges lie under its crown (common practice, no source)."""
SIZING_SHARE = 0.2
"""Share of the plain metal's length that may be taken out or let in before the set part is bent too much (common
practice, no source: a half band goes up or down by about two US sizes, 5 mm)."""
BLANK_MM = 0.2
STEPS = 8


@dataclass(frozen=True)
class ShankNumbers:
    """One end's half of the shank. ``half_deg`` reaches from the station's axis to the seam, ``plain_deg`` from there
    to the bottom; ``wall_mm`` is the end face's distance from the plane of the station's axis, ``cap_mm`` the height on
    that axis that the joint stays under; the reaches are the outer surface's distances from the ring's axis at the seam
    and the bottom, at the crown. ``straight_mm`` is how far past the seam the sides keep the end's width;
    ``blank_mm`` is half the width that the outside is turned on, ``crown_mm`` the radius of its section, 0 where it is
    flat: the same for both ends."""

    bore_radius_mm: float
    half_deg: float
    plain_deg: float
    wall_mm: float
    cap_mm: float
    straight_mm: float
    end_half_mm: float
    base_half_mm: float
    end_reach_mm: float
    base_reach_mm: float
    blank_mm: float
    crown_mm: float

    @property
    def half_width_mm(self) -> float:
        """Half the width at the wider end."""
        return max(self.end_half_mm, self.base_half_mm)

    @property
    def reach_mm(self) -> float:
        """How far it reaches from the ring's axis."""
        return max(self.end_reach_mm, self.base_reach_mm)

    @property
    def offset_mm(self) -> float:
        """How far the outer surface's axis stands from the ring's, towards the bottom."""
        end, base = self.end_reach_mm, self.base_reach_mm
        return (base**2 - end**2) / (2.0 * (base - end * math.cos(math.radians(self.plain_deg))))

    @property
    def radius_mm(self) -> float:
        """The outer surface's radius about its own axis, at the crown."""
        return self.base_reach_mm - self.offset_mm

    @property
    def turn_deg(self) -> float:
        """From the seam on to the direction that the sides are straight along: they are so radially at the end, as long
        as the bottom lies within a quarter turn of it."""
        return max(self.plain_deg - 90.0, 0.0)

    @property
    def taper_mm(self) -> tuple[float, float]:
        """Where the width begins and ends to change, square to that direction and from the ring's axis."""
        back = math.sin(math.radians(self.turn_deg))
        start = self.straight_mm - self.bore_radius_mm * back
        return start, (self.bore_radius_mm - 0.3) * math.sin(math.radians(min(self.plain_deg, 90.0)))

    def reach_at(self, degrees: float) -> float:
        """Distance of the outer surface's crown from the ring's axis, at an angle from the bottom."""
        sine, cosine = math.sin(math.radians(degrees)), math.cos(math.radians(degrees))
        return self.offset_mm * cosine + math.sqrt(max(self.radius_mm**2 - (self.offset_mm * sine) ** 2, 0.0))

    def drop_at(self, half_mm: float) -> float:
        """How far the outer side lies under its crown, off the middle of its width."""
        return self.crown_mm - math.sqrt(self.crown_mm**2 - half_mm**2) if self.crown_mm else 0.0


@dataclass(frozen=True)
class PlainArc:
    """The plain metal between the two end prong pairs, in degrees and in mm along the bore, and for how many whole ISO
    sizes (1 mm of circumference each) it serves, up or down."""

    plain_arc_deg: float
    plain_arc_mm: float
    plain_sizes: int


def plain_arc(layout: Layout) -> PlainArc | None:
    """None for a full circle."""
    ends, bore = row_ends(layout), layout.bore_radius_mm
    if not ends:
        return None
    radians = sum(math.radians(plain_deg(side.seam)) - math.asin(prong_radius(side) / bore) for side in ends)
    return PlainArc(math.degrees(radians), radians * bore, math.floor(SIZING_SHARE * radians * bore))


def add_shank(layout: Layout) -> Layout:
    """A half of the shank at each end of an open row.

    Raises:
        SpecError: where the stones leave no room for one.
    """
    ends = row_ends(layout)
    if not ends:
        return layout
    refuse_short(layout, ends)
    tables = _filled(layout, ends)
    numbers = [_numbers(side, shank) for side, shank in zip(ends, tables, strict=True)]
    blank = max(own.half_width_mm for own in numbers) + BLANK_MM
    crown = _crown(numbers, blank) if layout.spec.shank.section == "half-round" else 0.0
    numbers = [replace(own, blank_mm=blank, crown_mm=crown) for own in numbers]
    events = [event for pair in zip(ends, numbers, strict=True) for event in _events(*pair)]
    bounds = [layout.volume_bounds_mm3, *(shank_volume_bounds(*pair) for pair in zip(ends, numbers, strict=True))]
    return replace(
        _with_tables(layout, ends, tables),
        seams=_with_extras(layout, ends, numbers),
        events=(*layout.events, *nearest_of_each(events)),
        volume_bounds_mm3=(sum(low for low, _ in bounds), sum(high for _, high in bounds)),
    )


def shank_of(seam: Seam) -> ShankNumbers | None:
    """The shank's numbers in a seam, where it has them."""
    return next((extra for extra in seam.extras if isinstance(extra, ShankNumbers)), None)


def _filled(layout: Layout, ends: Sequence[Side]) -> list[Shank]:
    """The shank's table at each end, with every value; the base's values are the same in both."""
    asked = [layout.specs[side.seam.index][0] for side in ends]
    specs = [
        put_missing(own, "shank", end_width_mm=_rounded(2.0 * end_half(side)))
        for own, side in zip(asked, ends, strict=True)
    ]
    width = _base_width(specs, ends)
    specs = [put_missing(own, "shank", base_width_mm=_rounded(width)) for own in specs]
    thickness = _base_thickness(specs, ends)
    specs = [put_missing(own, "shank", base_thickness_mm=_rounded(thickness)) for own in specs]
    filled = [
        put_missing(
            own,
            "shank",
            end_thickness_mm=_rounded(clamp(_flush_thickness(side, own.shank.base_thickness_mm), 0.6, 6.0)),
        )
        for own, side in zip(specs, ends, strict=True)
    ]
    return [own.shank for own in filled]


def _rounded(value_mm: float) -> float:
    """To a whole nanometre, an even one: two ends alike but for the rounding of their angles get the same, and half of
    it is whole too (corners at one z are sorted by that, rounded)."""
    return 2.0 * round(value_mm / 2.0, 6)


def _base_width(specs: Sequence[Spec], ends: Sequence[Side]) -> float:
    """Near the ends' width where the arc is short."""
    widths = [own.shank.end_width_mm for own in specs]
    wanted, low, high = max(BASE_MM[0], 0.9 * max(widths)), 0.8, 10.0
    for side, width in zip(ends, widths, strict=True):
        start, end = _bare(side, 0.0, 0.0).taper_mm
        change = 2.0 * max(STEEPEST * (end - start) - 2.0 * KEEP_AWAY_MM, 0.0)
        low, high = max(low, width - change), min(high, width + change)
    return clamp(wanted, low, high) if low <= high else wanted


def _base_thickness(specs: Sequence[Spec], ends: Sequence[Side]) -> float:
    bore = ends[0].station.seat.bore_radius_mm
    given = [own.shank.end_thickness_mm for own in specs]
    own = [_flush_thickness(side, None) if end is None else end for side, end in zip(ends, given, strict=True)]
    wanted, low, high = clamp(max(own), *BASE_MM), 0.6, 6.0
    for side, end in zip(ends, own, strict=True):
        cosine = math.cos(math.radians(plain_deg(side.seam)))
        rise = (bore + end) * (1.0 - cosine)
        level = (bore + end) * cosine - bore
        low, high = max(low, level + FILLED_BEND[0] * rise), min(high, level + FILLED_BEND[1] * rise)
    return clamp(wanted, low, high) if low <= high else wanted


def _flush_thickness(side: Side, base_mm: float | None) -> float:
    """The end's thickness at which the outer surface leaves the cup just under its rim; for a base as thick as the end
    where ``base_mm`` is None. The two change one another a little: settled in a few turns."""
    seat = side.station.seat
    thickness = seat.rim_mm - seat.bore_radius_mm
    for _ in range(12):
        own = _bare(side, thickness, thickness if base_mm is None else base_mm)
        thickness = max(thickness + _under_rim(side, own) - 1.5 * KEEP_AWAY_MM, 0.1)
    return thickness


def _bare(side: Side, end_mm: float, base_mm: float) -> ShankNumbers:
    """The numbers of an end of this thickness as far as they do not depend on its width."""
    seat, seam = side.station.seat, side.seam
    return ShankNumbers(
        bore_radius_mm=seat.bore_radius_mm,
        half_deg=math.degrees(side.half),
        plain_deg=plain_deg(seam),
        wall_mm=0.0,
        cap_mm=seat.rim_mm - KEEP_AWAY_MM,
        straight_mm=prong_radius(side) + PAST_PRONG_MM,
        end_half_mm=0.0,
        base_half_mm=0.0,
        end_reach_mm=seat.bore_radius_mm + end_mm,
        base_reach_mm=seat.bore_radius_mm + base_mm,
        blank_mm=0.0,
        crown_mm=0.0,
    )


def _numbers(side: Side, shank: Shank) -> ShankNumbers:
    half, base_half = _rounded(shank.end_width_mm) / 2.0, _rounded(shank.base_width_mm) / 2.0
    bare = _bare(side, shank.end_thickness_mm, shank.base_thickness_mm)
    return replace(bare, wall_mm=wall_distance(side, half), end_half_mm=half, base_half_mm=base_half)


def _crown(ends: Sequence[ShankNumbers], blank_mm: float) -> float:
    """One radius of a half-round section for the whole shank: no place drops more than its share of the thickness, nor
    is it much rounder than a half circle; never one that makes a ball of the outside."""
    radii = [blank_mm + 0.1]
    for own in ends:
        for half, reach in ((own.end_half_mm, own.end_reach_mm), (own.base_half_mm, own.base_reach_mm)):
            drop = min(HALF_ROUND_SHARE * (reach - own.bore_radius_mm), 0.7 * half)
            radii.append((half**2 + drop**2) / (2.0 * drop))
    crown = max(radii)
    while any(abs(own.radius_mm - crown) < 0.1 for own in ends):
        crown += 0.1
    return crown


def _events(side: Side, own: ShankNumbers) -> list[Event]:
    """Where one end would change kind."""
    half = own.end_half_mm
    heights = heights_to(side, own.end_reach_mm)
    foot = foot_radius(side)
    outer, inner = (_side_of([half - prong_side(side, height, sign) for height in heights]) for sign in (1, -1))
    open_ = min(half - contact_top(side, height) for height in heights)
    sealed = min(seal(side, height, half) for height in heights)
    start, end = own.taper_mm
    steep = STEEPEST * (end - start) - abs(own.end_half_mm - own.base_half_mm)
    found = [
        _event("limit", "shank-side", foot - BURIED_MM - half, "end_width_mm", "the shank is wider than the cup"),
        _event(
            "limit",
            "shank-pinhole",
            max(open_, sealed),
            "end_width_mm",
            "a pinhole would stay between shank, cup and prong (a wider shank, or one that ends in the prongs)",
        ),
        _event(
            "limit",
            "shank-rim",
            _under_rim(side, own),
            "end_thickness_mm",
            "the shank stands over the rim of the last cup",
        ),
        _event("limit", "shank-taper", steep, "base_width_mm", "the shank's width changes too fast for its length"),
        _event(
            "limit",
            "shank-bend",
            _bend(own),
            "base_thickness_mm",
            "the shank's thickness changes too fast for its length",
        ),
        _event(
            "flip", "shank-prong-outside", outer, "end_width_mm", "the shank's side just touches the prong's outer side"
        ),
        _event(
            "flip", "shank-prong-inside", inner, "end_width_mm", "the shank's side just touches the prong's inner side"
        ),
    ]
    return [replace(event, seam=side.seam.index) for event in found]


def _event(kind: Literal["limit", "flip"], name: str, distance: float, key: str, text: str) -> Event:
    return Event(name, distance, kind, f"shank.{key}", text)


def _side_of(distances: Sequence[float]) -> float:
    """The least of distances that lie on one side of 0; 0 where they do not."""
    least = min(distances, key=abs)
    return least if all(distance * least > 0.0 for distance in distances) else 0.0


def _bend(own: ShankNumbers) -> float:
    """The outside's rise from base to end, against a circle's about the ring's axis (mm; negative: too much)."""
    cosine = math.cos(math.radians(own.plain_deg))
    rise, circle = own.base_reach_mm - own.end_reach_mm * cosine, own.end_reach_mm * (1.0 - cosine)
    return min(rise - FLATTEST * circle, ROUNDEST * circle - rise)


def _under_rim(side: Side, own: ShankNumbers) -> float:
    """How far the crown lies under the plane in which the joint is capped, from the cup's edge on (mm)."""
    whole = own.half_deg + own.plain_deg
    edge = math.degrees(math.asin(side.station.seat.rim_radius_mm / own.end_reach_mm))
    angles = [edge + (min(whole, edge + 60.0) - edge) * step / STEPS for step in range(STEPS + 1)]
    return min(own.cap_mm - own.reach_at(whole - angle) * math.cos(math.radians(angle)) for angle in angles)


def shank_volume_bounds(side: Side, own: ShankNumbers) -> tuple[float, float]:
    """Least volume that the end's half of the shank adds beyond cup and prong, and the greatest that it has at all."""
    bore, plain = own.bore_radius_mm, math.radians(own.plain_deg)
    cup = max(-cup_off_seam(side, height) for height in (bore, side.station.seat.rim_mm))
    taken = math.asin(min(max(prong_radius(side), cup) / bore, 1.0))
    reaches = [own.reach_at(own.plain_deg * step / 16.0) for step in range(17)]
    thin = max(min(reaches) - own.drop_at(own.half_width_mm), bore)
    narrow = 2.0 * min(own.end_half_mm, own.base_half_mm)
    low = max(plain - taken, 0.0) * (thin**2 - bore**2) / 2.0 * narrow
    whole = own.half_deg + own.plain_deg
    thick = max(own.reach_at(whole * step / 16.0) for step in range(17))
    high = math.radians(whole) * (thick**2 - bore**2) / 2.0 * 2.0 * own.half_width_mm
    return low, high


def _with_tables(layout: Layout, ends: Sequence[Side], tables: Sequence[Shank]) -> Layout:
    """The layout with the shank's values in its specs: the whole band's holds those on which both ends agree."""
    own = {side.seam.index: table for side, table in zip(ends, tables, strict=True)}
    specs = tuple(
        tuple(spec.model_copy(update={"shank": own[index]}) for spec in each) if index in own else each
        for index, each in enumerate(layout.specs)
    )
    common = {name: getattr(tables[0], name) for name in Shank.model_fields}
    agreed = {name: value for name, value in common.items() if all(getattr(t, name) == value for t in tables)}
    shank = layout.spec.shank.model_copy(update=agreed)
    return replace(layout, spec=layout.spec.model_copy(update={"shank": shank}), specs=specs)


def _with_extras(layout: Layout, ends: Sequence[Side], numbers: Sequence[ShankNumbers]) -> tuple[Seam, ...]:
    own = {side.seam.index: (shank,) for side, shank in zip(ends, numbers, strict=True)}
    return tuple(replace(seam, extras=(*seam.extras, *own.get(seam.index, ()))) for seam in layout.seams)
