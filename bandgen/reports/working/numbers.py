"""Every number that a band is made of and that no user need give: one line each, with its formula and its source.

A formula is plain mathematics over the names of ``quantities.QUANTITIES``: angles in degrees, ``edge_rise`` as in
:mod:`bandgen.trade.stones`. One with a comparison (``==``, ``<=``, ``and``) is a condition that the value meets: it was
found by trial. Nothing evaluates a formula here; the tests do, and hold it to the value that the layout has.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from bandgen.reports.working.check import Text
from bandgen.reports.working.quantities import QUANTITIES
from bandgen.reports.working.site import Site
from bandgen.trade.alloys import ALLOYS
from bandgen.trade.sizes import SYSTEMS
from bandgen.trade.stones import MATERIALS

CUSTOM = "common practice, no source"
MEMORY = "from memory"
DERIVED = "derived"
MORRIS = "Morris & Watson, casting guidelines"
STULLER = "Stuller, production standards and best practices for CAD/CAM services"
GIA_BEAD = "GIA quality assurance benchmark, bead setting"
WEAR = "under 1.5 mm either way a shank goes oval: Put a ring on it (a bench's opinion)"
FIT = "derived: equal discs on a ring; the most that keep the gap"


@dataclass(frozen=True)
class Number:
    """A derived number: the name of its quantity, its formula (empty where the band has no such number), the source."""

    symbol: str
    formula: Text
    source: Text
    note: str = ""


def _bore(site: Site) -> str:
    """Of the finger's size, less what is left in it to polish."""
    reading = site.layout.spec.finger.reading
    left = " - 2 * allowance" if site.layout.spec.casting.bore_allowance_mm else ""
    if reading is None:
        return f"given_bore{left}"
    measure = "zero + per_unit * size"
    return (measure if SYSTEMS[reading.system].quantity == "diameter" else f"({measure}) / pi") + left


def _bore_source(site: Site) -> str:
    reading = site.layout.spec.finger.reading
    return "the spec" if reading is None else SYSTEMS[reading.system].source


def _material_source(site: Site) -> str:
    return MATERIALS[site.station.material].source


def _clearance(site: Site) -> str:
    """One for all stones, after the top stone's; where tables are level, smaller stones stand higher."""
    through = site.own.seat.opening == "through"
    level = " + tallest - depth" if site.asked.arrangement.heights == "tables" else ""
    return ("max(0.50, 0.35 * d_top)" if through else "floor_top + max(0.12, 0.06 * d_top)") + level


def _count(site: Site) -> str:
    if not site.even:
        return "least_gap >= gap"
    if site.closed:
        most = "2 * girdle_radius * sin(180 / N) - d * cos(180 / N) >= gap"
        more = "2 * girdle_radius * sin(180 / (N + 1)) - d * cos(180 / (N + 1)) < gap"
        return f"{most} and {more}"
    step = "2 * (asin(gap / sqrt(4 * girdle_radius**2 + d**2)) + atan(d / 2 / girdle_radius))"
    ends = "2 * atan(d / 2 / girdle_radius)"
    return f"(N - 1) * {step} + {ends} <= arc and N * {step} + {ends} > arc"


def gap_between(site: Site) -> str:
    """The formula of the gap at a seam; empty at the end of an open row."""
    if site.side.seam.girdle_gap_mm is None:
        return ""
    if not site.even:
        here = _end_to_face("girdle_radius", "d", "girdle_next", "d_next")
        return f"min({here}, {_end_to_face('girdle_next', 'd_next', 'girdle_radius', 'd')})"
    return "2 * girdle_radius * sin(180 / N) - d * cos(180 / N)" if site.closed else "gap"


def _end_to_face(height: str, width: str, other: str, other_width: str) -> str:
    """From the edge of one girdle to the other's flat underside."""
    beside = f"max({height} * sin(pitch) - {width} / 2 * cos(pitch) - {other_width} / 2, 0)"
    return f"hypot({beside}, {other} - {height} * cos(pitch) - {width} / 2 * sin(pitch))"


def _cup_radius(site: Site) -> str:
    """Of the cup beside the recess's lowest place, as the seat is filled in."""
    lowest = "bore / 2" if site.own.seat.opening == "through" else "bore / 2 - floor_mm"
    return f"rim_d / 2 - (rim - {lowest}) * tan(draft)"


def _wall(site: Site) -> str:
    if site.asked.seat.bearing_mm is not None:
        return f"{_cup_radius(site)} - column"
    return f"max(min(0.80, {_cup_radius(site)} - 0.20), 0.2)"


_FOOT = "(0.15 / 2 + bore / 2 * cos(half) * sin(half)) / cos(half)"
_FALL = "girdle_radius - rim_drop - bore / 2 * cos(half)"
_ROOM = "floor((min(bearing_length, column_length) - 0.04) / tan((90 - bearing) / 2) * 1000000) / 1000000"


def _draft(site: Site) -> str:
    moved = {move.used for move in site.layout.moves if move.key == "seat.draft_deg"}
    if site.own.seat.draft_deg in moved:
        return "draft == 0 or abs(parting) >= 0.02"
    return f"min(max(atan((rim_d / 2 - {_FOOT}) / ({_FALL})), 1), 5)"


def _prong_diameter(site: Site) -> str:
    if site.asked.arrangement.prongs == "own":
        return "min(max(0.60, 0.30 + 0.17 * d), d / 2)"
    return "0.35 + 0.22 * d" if site.even else "0.35 + 0.22 * (d + d_next) / 2"


def _prong_diameter_source(site: Site) -> str:
    return f"{MEMORY}: about 0.3 to 0.35 of the stone's diameter, never under 0.6"


def _prong_height(site: Site) -> str:
    if site.asked.arrangement.prongs == "own" or site.even:
        return "max(0.50, 0.43 * d)"
    return "(max(0.50, 0.43 * d) + max(0.50, 0.43 * d_next)) / 2"


def _parting(site: Site) -> str:
    """Where two equal cups' sides meet in the plane between them; empty where they never do."""
    (seat, half), _ = site.feet
    if not site.even or math.tan(half) <= math.tan(math.radians(seat.draft_deg)):
        return ""
    run = "(rim * sin(half_1) - rim_d / 2 * cos(half_1)) / (sin(half_1) - tan(draft) * cos(half_1))"
    return f"rim * cos(half_1) + rim_d / 2 * sin(half_1) - {run} * (cos(half_1) + tan(draft) * sin(half_1)) - bore / 2"


_AT_RIM = "(1 - rim_drop / (d / 2 * tan(pavilion)))"
_LOW = "max(column_top, girdle_radius - d / 2 * tan(pavilion))"
_AT_LOW = f"(1 - (girdle_radius - {_LOW}) / (d / 2 * tan(pavilion)))"
REST = (
    f"min(mouth - d / 2 * ({_AT_RIM} + edge_rise({_AT_RIM})), "
    f"mouth - (rim - {_LOW}) / tan(bearing) - d / 2 * ({_AT_LOW} + edge_rise({_AT_LOW})))"
)
"""Between bearing and facet edges, at the bearing's two ends."""
_OFF_BEARING = "axis_to_mouth - prong_d / 2 - 0.03"


def _share(site: Site) -> str:
    if site.asked.arrangement.prongs == "own":
        return "0.05 <= overlap and overlap <= min(max(0.30, 0.15 / prong_d), 1/3)"
    wanted = "overlap <= max(0.20, 0.15 / prong_d)"
    if not site.even or site.own.plug.foot_clearance_mm > 0.0:
        return f"0.05 <= overlap and {wanted}"
    claws = "clear_width - 0.20"
    bound = f"min(max(0.20, 0.15 / prong_d) - overlap, {claws}, {_OFF_BEARING}) == 0"
    return f"{wanted} and ({bound} or overlap == 0.05)"


def _bite(site: Site) -> str:
    land = "(rim_d / 2 - mouth)"
    if site.side.seam.plug is None:
        return ""
    if site.asked.arrangement.prongs == "own":
        return f"min(0.6 * {land}, max({land} - 0.03, 0.05)) <= bite and bite <= max({land} - 0.03, 0.05)"
    slot = "(rim * sin(half_joint) - rim_d / 2 * cos(half_joint))"
    return f"max(min(0.6 * {land}, (prong_d / 2 - 0.05 - {slot}) / cos(half_joint)), 0.05)"


def _end_width(site: Site) -> str:
    """Between prong and cup where there is room, else inside both; to whole nanometres, as the layout rounds it."""
    if site.closed:
        return ""
    least, most = (QUANTITIES[name].read(site) for name in ("least_half", "most_half"))
    spare = "min((most_half - least_half) / 2, 0.02)"
    half = f"min(max(0.85 * foot, least_half + {spare}), most_half - {spare})"
    inside = "min(prong_axis, foot - buried - 0.03)"
    return f"2 * round(min(max({half if least < most else inside}, 0.4), 5), 6)"


def _row_gap(site: Site) -> str:
    if len(site.layout.rows) == 1:
        return ""
    return "row_gap >= row_gap_asked" if site.layout.spec.arrangement.stagger else "row_pitch - d_most"


def _only_open(formula: str) -> Callable[[Site], str]:
    """The formula, in a band with a shank."""
    return lambda site: "" if site.closed else formula


def _only_comfort(formula: str) -> Callable[[Site], str]:
    return lambda site: formula if site.layout.bore.crown_mm else ""


def _only_hoop(formula: str) -> Callable[[Site], str]:
    return lambda site: formula if site.layout.spec.hoop.thickness_mm else ""


def _crown(site: Site) -> str:
    hoop = ", 0.5 * hoop" if site.layout.spec.hoop.thickness_mm else ""
    return f"min(max(0.15 * half_at_finger, 0.05), 0.30{hoop})" if site.layout.bore.crown_mm else ""


_ARC = "rad(plain_1) - rad(asin(prong_1 / cast_bore)) + rad(plain_2) - rad(asin(prong_2 / cast_bore))"

DEFAULTS: dict[str, Number] = {
    "stones.pavilion_deg": Number("pavilion", "usual_pavilion", _material_source),
    "stones.crown_deg": Number("crown", "usual_crown", _material_source),
    "stones.table_pct": Number("table", "usual_table", _material_source),
    "stones.girdle_pct": Number("girdle", "usual_girdle", _material_source),
    "stones.gap_mm": Number(
        "own_gap",
        "min(max(0.10 * d_top, 0.12), 0.20)",
        f"0.10 between stones: {GIA_BEAD}; by diameter, 0.12 and 0.20: {CUSTOM}",
    ),
    "stones.count": Number("N", _count, FIT),
    "stones.culet_clearance_mm": Number(
        "clearance", _clearance, f"0.5 from culet to finger: {STULLER}; by diameter and over the floor: {CUSTOM}"
    ),
    "seat.rim_below_girdle_mm": Number("rim_drop", "min(max(0.10 * d, 0.17), 0.35)", CUSTOM),
    "seat.rim_diameter_mm": Number("rim_d", "d", CUSTOM),
    "seat.draft_deg": Number("draft", _draft, f"0.15 between joined elements: {STULLER}; 1 to 5 degrees: {CUSTOM}"),
    "seat.wall_mm": Number("wall", _wall, f"openings of 0.4 at least: {STULLER}; 0.80: {CUSTOM}"),
    "seat.floor_mm": Number(
        "floor_mm", "min(max(0.35 * d, 0.50), 0.80)", f"0.5 under broad parts: {MORRIS}; by diameter and 0.80: {CUSTOM}"
    ),
    "seat.bearing_deg": Number("bearing", "pavilion", "bearing and pavilion match: GIA benchmark, prong setting"),
    "seat.bearing_mm": Number("bearing_width", lambda site: f"mouth - ({_cup_radius(site)} - wall)", DERIVED),
    "seat.fillet_mm": Number("fillet", f"min(min(max(0.15 * d, 0.10), 0.40), max({_ROOM}, 0))", CUSTOM),
    "prong.diameter_mm": Number("prong_d", _prong_diameter, _prong_diameter_source),
    "prong.overlap": Number("overlap", _share, f"0.15 in the cup: {STULLER}; claws 0.20 apart: {MORRIS}"),
    "prong.height_above_girdle_mm": Number(
        "prong_height",
        _prong_height,
        f"0.5 to 1 above the seat before setting: a bench guide (instructables.com); by diameter: {CUSTOM}",
    ),
    "plug.bite_mm": Number("bite", _bite, CUSTOM),
    "arrangement.row_gap_mm": Number("row_gap_asked", lambda site: "gap" if len(site.layout.rows) > 1 else "", CUSTOM),
    "hoop.width_mm": Number(
        "hoop_width",
        _only_hoop("hoop_graze >= 0.02 and hoop_width <= max(2 * (hoop_room - 0.04), 0.5)"),
        "derived: the cups hide the hoop's sides, which keep clear of all that they could lie along",
    ),
    "bore.crown_mm": Number("bore_crown", _crown, CUSTOM),
    "shank.end_width_mm": Number(
        "end_width",
        _end_width,
        f"clear of the prongs; 0.85 of the cup: {CUSTOM}",
    ),
    "shank.end_thickness_mm": Number(
        "end_thickness",
        _only_open("abs(rim_room - 0.03) <= 0.00001 or end_thickness == 0.6 or end_thickness == 6"),
        f"0.03 under the cup's rim, so that the rim stays whole: {CUSTOM}",
    ),
    "shank.base_width_mm": Number(
        "base_width",
        _only_open(
            "base_width == 2 * round(max(1.5, 0.9 * widest_end) / 2, 6) or abs(taper_room - 0.04) <= 0.00001"
            " or base_width == 0.8 or base_width == 10"
        ),
        WEAR,
    ),
    "shank.base_thickness_mm": Number(
        "base_thickness", _only_open("1.5 <= base_thickness and base_thickness <= 1.8 or bend_room > 0"), WEAR
    ),
}
"""Keys of the spec that are filled in where a spec leaves them out."""

DERIVED_NUMBERS: dict[str, Number] = {
    "inner_diameter_mm": Number("cast_bore", _bore, _bore_source),
    "girdle_radius_mm": Number("girdle_radius", "bore / 2 + clearance + d / 2 * tan(pavilion)", DERIVED),
    "girdle_gap_mm": Number("least_gap", gap_between, "derived: the nearest points of two discs"),
    "stone_count": Number("stone_count", "N * rows", DERIVED),
    "row_gap_mm": Number("row_gap", _row_gap, DERIVED),
    "rim_mm": Number("rim", "girdle_radius - rim_drop", DERIVED),
    "mouth_radius_mm": Number("mouth", f"{REST} == 0", "clear of the facet edges: trade.stones.edge_rise, derived"),
    "column_radius_mm": Number("column", "mouth - bearing_width", DERIVED),
    "column_top_mm": Number("column_top", "rim - (mouth - column) * tan(bearing)", DERIVED),
    "parting_mm": Number("parting", _parting, DERIVED),
    "plain_arc_deg": Number("plain_arc_deg", _only_open(f"({_ARC}) * 180 / pi"), DERIVED),
    "plain_arc_mm": Number("plain_arc", _only_open(f"({_ARC}) * cast_bore / 2"), DERIVED),
    "plain_sizes": Number("plain_sizes", _only_open("floor(0.2 * plain_arc)"), f"0.2 of the plain metal: {CUSTOM}"),
    "genus": Number("genus", "1 + openings", "derived: a ring has one handle, each opening adds one"),
    "volume_mm3": Number(
        "volume", "volume_low <= volume and volume <= volume_high", "measured; bounds in closed form of the layout"
    ),
    "carat": Number(
        "carat", "stone_volume * specific_gravity / 1000 / 0.2", "0.2 g to the carat; volume of the facets, derived"
    ),
    "carat_total": Number(
        "carat_total", lambda site: "N * rows * carat" if site.even else "rows * carat_row", "stone by stone, derived"
    ),
    "metal_g": Number(
        "metal", "(volume - cut_off) * density / 1000", lambda site: ALLOYS[site.layout.spec.metal.alloy].source
    ),
}
"""Numbers of the record, and those on the way to them."""

NUMBERS: dict[str, Number] = {**DEFAULTS, **DERIVED_NUMBERS}
