"""The first rules of the trade, measured on the layout's numbers: one function a rule, listed in ``RULES``.

Each compares a measured value with a published or customary limit; all are warnings, since a limit of the trade
never makes the geometry unsound.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from bandgen.inspection.findings import Finding, Place, Severity
from bandgen.layout.events import foot_overlap
from bandgen.layout.numbers import Layout, Seam, Station
from bandgen.trade.stones import edge_rise
from bandgen.units import tand

STULLER = "Stuller, production standards and best practices for CAD/CAM services"
MORRIS = "Morris & Watson, casting guidelines"
GIA_PRONG = "GIA quality assurance benchmark, prong setting"
CUSTOM = "common practice, no source"


def inspect_setting(layout: Layout) -> list[Finding]:
    """Every rule on the first station and seam; an even band has no others."""
    return [rule(layout, layout.stations[0], layout.seams[0]) for rule in RULES]


def _at_least(
    code: str, measured: float, limit: float, text: str, source: str, place: Place, severity: Severity = "warning"
) -> Finding:
    good = measured >= limit - 1e-9
    return Finding(code, "ok" if good else severity, measured, limit, text, source, place)


def _at_most(code: str, measured: float, limit: float, text: str, source: str, place: Place) -> Finding:
    good = measured <= limit + 1e-9
    return Finding(code, "ok" if good else "warning", measured, limit, text, source, place)


def _station(station: Station) -> Place:
    return Place(station=station.index)


def _seam(seam: Seam) -> Place:
    return Place(seam=seam.index)


def girdle_gap(layout: Layout, station: Station, seam: Seam) -> Finding:
    """Neighbouring girdles keep the gap that was asked."""
    return _at_least(
        "girdle-gap",
        seam.girdle_gap_mm,
        layout.spec.stones.gap_mm,
        "mm between neighbouring girdles",
        "the spec's stones.gap_mm",
        _seam(seam),
    )


def culet_clearance(layout: Layout, station: Station, seam: Seam) -> Finding:
    """The culet stands off the finger."""
    return _at_least(
        "culet-clearance",
        layout.spec.stones.culet_clearance_mm,
        0.5,
        "mm from culet to finger",
        STULLER,
        _station(station),
    )


def culet_floor(layout: Layout, station: Station, seam: Seam) -> Finding:
    """The culet stands off the recess's floor."""
    seat = station.seat
    lowest = seat.bore_radius_mm if seat.through else seat.floor_mm
    culet = seat.bore_radius_mm + layout.spec.stones.culet_clearance_mm
    return _at_least(
        "culet-floor", culet - lowest, 0.1, "mm from culet to the recess's floor", CUSTOM, _station(station)
    )


def recess_wall(layout: Layout, station: Station, seam: Seam) -> Finding:
    """Metal round the recess, at the caster's least."""
    return _at_least(
        "recess-wall",
        station.seat.wall_mm,
        0.4,
        "mm of metal round the recess at its thinnest",
        MORRIS,
        _station(station),
    )


def asked_wall(layout: Layout, station: Station, seam: Seam) -> Finding:
    """Metal round the recess, as the spec asks where the bearing's width places the recess."""
    return _at_least(
        "recess-wall-asked",
        station.seat.wall_mm,
        layout.spec.seat.wall_mm,
        "mm of metal round the recess at its thinnest",
        "the spec's seat.wall_mm",
        _station(station),
    )


def floor(layout: Layout, station: Station, seam: Seam) -> Finding:
    """Metal under the recess."""
    seat = station.seat
    if seat.through:
        return Finding("floor", "ok", "through", 0.5, "open to the bore: no floor", MORRIS, _station(station))
    return _at_least(
        "floor", seat.floor_mm - seat.bore_radius_mm, 0.5, "mm of metal under the recess", MORRIS, _station(station)
    )


def recess_width(layout: Layout, station: Station, seam: Seam) -> Finding:
    """The recess is wide enough to cast."""
    return _at_least(
        "recess-width", 2.0 * station.seat.column_radius_mm, 0.4, "mm across the recess", STULLER, _station(station)
    )


def recess_depth(layout: Layout, station: Station, seam: Seam) -> Finding:
    """The investment core in the recess is no deeper than wide."""
    seat = station.seat
    ratio = seat.column_length_mm / (2.0 * seat.column_radius_mm)
    return _at_most(
        "recess-depth",
        ratio,
        4.0 if seat.through else 1.0,
        "depth of the recess under its bearing over its width",
        MORRIS,
        _station(station),
    )


def prong_section(layout: Layout, station: Station, seam: Seam) -> Finding:
    """What both notches of a shared prong leave of its section."""
    removed = notched_share(layout.spec.prong.overlap)
    return _at_most(
        "prong-section", removed, 0.5, "share of the prong's section that its two notches take", GIA_PRONG, _seam(seam)
    )


def prong_overlap(layout: Layout, station: Station, seam: Seam) -> Finding:
    """One notch alone."""
    return _at_most(
        "prong-overlap",
        layout.spec.prong.overlap,
        1.0 / 3.0,
        "share of the prong's diameter that a girdle enters",
        CUSTOM,
        _seam(seam),
    )


def girdle_depth(layout: Layout, station: Station, seam: Seam) -> Finding:
    """The girdle's depth in the prong stays under the rim's land, so the prong's root is off the bearing."""
    depth = layout.spec.prong.overlap * seam.prong.diameter_mm
    land = station.seat.rim_radius_mm - station.seat.mouth_radius_mm
    return _at_most(
        "girdle-depth", depth, land, "mm of girdle in the prong, against the rim's land", CUSTOM, _seam(seam)
    )


def pair_width(layout: Layout, station: Station, seam: Seam) -> Finding:
    """The two prongs of a pair stand apart over the plug."""
    return _at_least(
        "pair-width",
        seam.prong.clear_width_at(seam.plug.top_mm),
        0.2,
        "mm between the two prongs of a pair",
        MORRIS,
        _seam(seam),
    )


def contact_angle(layout: Layout, station: Station, seam: Seam) -> Finding:
    """The widest angle between neighbouring prong contacts of a stone."""
    half = math.radians(seam.before_deg)
    azimuth = math.degrees(math.atan2(seam.prong.axis.spread_mm, station.seat.girdle_mm * math.tan(half)))
    return _at_most(
        "contact-angle",
        max(2.0 * azimuth, 180.0 - 2.0 * azimuth),
        150.0,
        "degrees between neighbouring contacts of a stone",
        CUSTOM,
        _station(station),
    )


def prong_in_cup(layout: Layout, station: Station, seam: Seam) -> Finding:
    """The prong sits in the cups deep enough to fuse with them."""
    seat, radius = station.seat, seam.prong.diameter_mm / 2.0
    depth = radius - seam.prong.axis.distance_to_circle(seat.rim_mm, seat.rim_radius_mm)
    return _at_least("prong-in-cup", depth, 0.15, "mm of the prong in the cup at its rim", STULLER, _seam(seam))


def feet_joint(layout: Layout, station: Station, seam: Seam) -> Finding:
    """Feet of neighbours overlap at the finger, or the plug alone is the joint: said, not refused."""
    return _at_least(
        "feet-joint",
        foot_overlap(layout.spec),
        0.15,
        "mm that neighbouring feet overlap at the finger (under it the plug is the joint)",
        STULLER,
        _seam(seam),
        "note",
    )


def stone_on_bearing(layout: Layout, station: Station, seam: Seam) -> Finding:
    """The stone rests on its bearing and cuts it nowhere: the prongs alone are meant to be cut. Both the bearing and
    the rise of the facet edges over the pavilion cone are straight along the cone, so its two ends decide."""
    seat, stones = station.seat, layout.spec.stones
    radius, slope = stones.diameter_mm / 2.0, tand(stones.pavilion_deg)
    room = []
    for height in (seat.rim_mm, max(seat.column_top_mm, seat.girdle_mm - radius * slope)):
        share = 1.0 - (seat.girdle_mm - height) / (radius * slope)
        bearing = seat.mouth_radius_mm - (seat.rim_mm - height) / tand(seat.bearing_deg)
        room.append(bearing - radius * (share + edge_rise(share)))
    return _at_least(
        "stone-on-bearing",
        min(room),
        0.0,
        "mm between bearing and facet edges where they are nearest (the stone rests there)",
        "trade.stones.edge_rise, derived",
        _station(station),
    )


def notched_share(overlap: float) -> float:
    """Share of a round section that two flat notches take, each as deep as ``overlap`` of the diameter."""
    angle = 2.0 * math.acos(1.0 - 2.0 * overlap)
    return 2.0 * (angle - math.sin(angle)) / (2.0 * math.pi)


RULES: tuple[Callable[[Layout, Station, Seam], Finding], ...] = (
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
