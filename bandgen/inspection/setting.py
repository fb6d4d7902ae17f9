"""The first rules of the trade, measured on the layout's numbers: one function a rule, listed in ``RULES``.

Each compares a measured value with a published or customary limit; all are warnings, since a limit of the trade
never makes the geometry unsound.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from bandgen.inspection.findings import Finding, Place, at_least, at_most, worst
from bandgen.layout.events import foot_overlap
from bandgen.layout.numbers import Layout, Side
from bandgen.trade.stones import edge_rise
from bandgen.units import tand

STULLER = "Stuller, production standards and best practices for CAD/CAM services"
MORRIS = "Morris & Watson, casting guidelines"
GIA_PRONG = "GIA quality assurance benchmark, prong setting"
CUSTOM = "common practice, no source"
Rule = Callable[[Layout, Side], Finding | None]
"""What a rule says of a seam as one of its stones sees it; None where it has nothing to say there."""


def inspect_setting(layout: Layout, rules: Sequence[Rule]) -> list[Finding]:
    """Every rule on every seam as each of its stones sees it: of each the worst, or the nearest to its limit."""
    sides = _distinct_sides(layout)
    return [worst(found) for rule in rules if (found := [f for side in sides if (f := rule(layout, side)) is not None])]


def _distinct_sides(layout: Layout) -> list[Side]:
    """The sides of one seam of each kind."""
    return [
        side for index in sorted({kind.seam for kind in layout.kinds}) for side in layout.sides(layout.seams[index])
    ]


def _station(side: Side) -> Place:
    return Place(station=side.station.index)


def _seam(side: Side) -> Place:
    return Place(seam=side.seam.index)


def girdle_gap(layout: Layout, side: Side) -> Finding | None:
    """Neighbouring girdles keep the gap that was asked."""
    if side.seam.girdle_gap_mm is None:
        return None
    return at_least(
        "girdle-gap",
        side.seam.girdle_gap_mm,
        layout.gap_asked_mm,
        "mm between neighbouring girdles",
        "the spec's stones.gap_mm",
        _seam(side),
    )


def culet_clearance(layout: Layout, side: Side) -> Finding | None:
    """The culet stands off the finger, in the outer rows too, where a comfort bore comes nearer."""
    nearer = layout.bore.radius_at(layout.outer_row_mm) - layout.bore_radius_mm
    return at_least(
        "culet-clearance",
        side.station.culet_clearance_mm - nearer,
        0.5,
        "mm from culet to finger",
        STULLER,
        _station(side),
    )


def culet_floor(layout: Layout, side: Side) -> Finding | None:
    """The culet stands off the recess's floor."""
    seat = side.station.seat
    lowest = seat.bore_radius_mm if seat.through else seat.floor_mm
    culet = seat.bore_radius_mm + side.station.culet_clearance_mm
    return at_least("culet-floor", culet - lowest, 0.1, "mm from culet to the recess's floor", CUSTOM, _station(side))


def recess_wall(layout: Layout, side: Side) -> Finding | None:
    """Metal round the recess, at the caster's least."""
    return at_least(
        "recess-wall",
        side.station.seat.wall_mm,
        0.4,
        "mm of metal round the recess at its thinnest",
        MORRIS,
        _station(side),
    )


def asked_wall(layout: Layout, side: Side) -> Finding | None:
    """Metal round the recess, as the spec asks where the bearing's width places the recess."""
    if layout.spec.seat.wall_mm is None:
        return None
    return at_least(
        "recess-wall-asked",
        side.station.seat.wall_mm,
        layout.spec.seat.wall_mm,
        "mm of metal round the recess at its thinnest",
        "the spec's seat.wall_mm",
        _station(side),
    )


def floor(layout: Layout, side: Side) -> Finding | None:
    """Metal under the recess."""
    seat = side.station.seat
    if seat.through:
        return Finding("floor", "ok", "through", 0.5, "open to the bore: no floor", MORRIS, _station(side))
    return at_least(
        "floor", seat.floor_mm - seat.bore_radius_mm, 0.5, "mm of metal under the recess", MORRIS, _station(side)
    )


def recess_width(layout: Layout, side: Side) -> Finding | None:
    """The recess is wide enough to cast."""
    return at_least(
        "recess-width", 2.0 * side.station.seat.column_radius_mm, 0.4, "mm across the recess", STULLER, _station(side)
    )


def recess_depth(layout: Layout, side: Side) -> Finding | None:
    """The investment core in the recess is no deeper than wide."""
    seat = side.station.seat
    ratio = seat.column_length_mm / (2.0 * seat.column_radius_mm)
    return at_most(
        "recess-depth",
        ratio,
        4.0 if seat.through else 1.0,
        "depth of the recess under its bearing over its width",
        MORRIS,
        _station(side),
    )


def prong_section(layout: Layout, side: Side) -> Finding | None:
    """What the notches of a prong leave of its section: two where it is shared."""
    removed = notched_share(side.prong.overlap, side.prong.notches)
    return at_most(
        "prong-section", removed, 0.5, "share of the prong's section that its notches take", GIA_PRONG, _seam(side)
    )


def prong_overlap(layout: Layout, side: Side) -> Finding | None:
    """One notch alone; a prong of one stone is cut from one side, and may be cut deeper."""
    shared = side.prong.notches > 1
    return at_most(
        "prong-overlap",
        side.prong.overlap,
        1.0 / 3.0 if shared else 0.4,
        "share of the prong's diameter that a girdle enters",
        CUSTOM if shared else GIA_PRONG,
        _seam(side),
    )


def girdle_depth(layout: Layout, side: Side) -> Finding | None:
    """The girdle's depth in the prong stays under the rim's land, so the prong's root is off the bearing."""
    depth = side.prong.overlap * side.prong.diameter_mm
    land = side.station.seat.rim_radius_mm - side.station.seat.mouth_radius_mm
    return at_most(
        "girdle-depth", depth, land, "mm of girdle in the prong, against the rim's land", CUSTOM, _seam(side)
    )


def pair_width(layout: Layout, side: Side) -> Finding | None:
    """The two prongs of a pair stand apart over the plug."""
    if side.seam.plug is None:
        return None
    return at_least(
        "pair-width",
        side.prong.clear_width_at(side.seam.plug.top_mm),
        0.2,
        "mm between the two prongs of a pair",
        MORRIS,
        _seam(side),
    )


def contact_angle(layout: Layout, side: Side) -> Finding | None:
    """The widest angle between neighbouring prong contacts of a stone."""
    girdle = side.station.seat.girdle_mm
    first, second = (
        math.degrees(each.prong.axis.azimuth(each.half, girdle, each.sign)) for each in layout.beside(side.station)
    )
    return at_most(
        "contact-angle",
        max(2.0 * first, 2.0 * second, 180.0 - first - second),
        150.0,
        "degrees between neighbouring contacts of a stone",
        CUSTOM,
        _station(side),
    )


def prong_in_cup(layout: Layout, side: Side) -> Finding | None:
    """The prong sits in the cups deep enough to fuse with them."""
    seat, radius = side.station.seat, side.prong.diameter_mm / 2.0
    depth = radius - side.prong.axis.distance_to_circle(side.half, seat.rim_mm, seat.rim_radius_mm, side.sign)
    return at_least("prong-in-cup", depth, 0.15, "mm of the prong in the cup at its rim", STULLER, _seam(side))


def feet_joint(layout: Layout, side: Side) -> Finding | None:
    """Feet of neighbours overlap at the finger, or the plug alone is the joint: said, not refused."""
    feet = [(each.station.seat, each.half) for each in layout.sides(side.seam)]
    if len(feet) == 1:
        return None
    return at_least(
        "feet-joint",
        foot_overlap(feet),
        0.15,
        "mm that neighbouring feet overlap at the finger (under it the plug is the joint)",
        STULLER,
        _seam(side),
        "note",
    )


def stone_on_bearing(layout: Layout, side: Side) -> Finding | None:
    """The stone rests on its bearing and cuts it nowhere: the prongs alone are meant to be cut. Both the bearing and
    the rise of the facet edges over the pavilion cone are straight along the cone, so its two ends decide."""
    seat = side.station.seat
    radius, slope = side.station.diameter_mm / 2.0, tand(side.station.proportions.pavilion_deg)
    room = []
    for height in (seat.rim_mm, max(seat.column_top_mm, seat.girdle_mm - radius * slope)):
        share = 1.0 - (seat.girdle_mm - height) / (radius * slope)
        bearing = seat.mouth_radius_mm - (seat.rim_mm - height) / tand(seat.bearing_deg)
        room.append(bearing - radius * (share + edge_rise(share)))
    return at_least(
        "stone-on-bearing",
        min(room),
        0.0,
        "mm between bearing and facet edges where they are nearest (the stone rests there)",
        "trade.stones.edge_rise, derived",
        _station(side),
    )


def notched_share(overlap: float, notches: int = 2) -> float:
    """Share of a round section that flat notches take, each as deep as ``overlap`` of the diameter."""
    angle = 2.0 * math.acos(1.0 - 2.0 * overlap)
    return notches * (angle - math.sin(angle)) / (2.0 * math.pi)


RULES: tuple[Rule, ...] = (
    girdle_gap,
    culet_clearance,
    culet_floor,
    recess_wall,
    asked_wall,
    floor,
    recess_width,
    recess_depth,
    prong_overlap,
    prong_section,
    girdle_depth,
    pair_width,
    contact_angle,
    prong_in_cup,
    feet_joint,
    stone_on_bearing,
)
