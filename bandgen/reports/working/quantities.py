"""What the formulas are made of: each name with its key, its unit, and where the layout holds its value.

Nothing is worked out here: values are read from the layout, or asked of the functions that made it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from bandgen.defaults import fill_stones
from bandgen.inspection.volume_prediction import predict_volume
from bandgen.layout.bore import half_width_at
from bandgen.layout.events import foot_overlap, parting_height
from bandgen.layout.hoop import HoopNumbers
from bandgen.layout.numbers import Side
from bandgen.layout.scallop import ArchNumbers
from bandgen.layout.shank import ShankNumbers, plain_arc, shank_of
from bandgen.layout.shank_joint import BURIED_MM, contact_top, foot_radius, heights_to, plain_deg, prong_side, row_ends
from bandgen.layout.sprue import cut_off_mm3
from bandgen.reports.weights import carat_total, stone_carat
from bandgen.reports.working.site import Site
from bandgen.trade.alloys import ALLOYS, mass_g
from bandgen.trade.sizes import SYSTEMS
from bandgen.trade.stones import MATERIALS, brilliant_volume, total_depth
from bandgen.units import KEEP_AWAY_MM


@dataclass(frozen=True)
class Quantity:
    """A name of the formulas: the key that decides it (or what it is), its unit, and how it is read."""

    key: str
    unit: str
    read: Callable[[Site], float]


def _own(key: str, unit: str) -> Quantity:
    """A value of the stone's own spec."""
    table, name = key.split(".")
    return Quantity(key, unit, lambda site: getattr(getattr(site.own, table), name))


def _all(key: str, unit: str) -> Quantity:
    """A value of the whole band's spec."""
    table, name = key.split(".")
    return Quantity(key, unit, lambda site: getattr(getattr(site.layout.spec, table), name))


def _shank(key: str, unit: str, read: Callable[[ShankNumbers], float]) -> Quantity:
    return Quantity(key, unit, lambda site: read(_end(site)))


def _end_side(site: Site) -> Side:
    """The end of the row at this seam, else the first."""
    ends = row_ends(site.layout)
    return next((side for side in ends if side.seam.index == site.side.seam.index), ends[0])


def _end(site: Site) -> ShankNumbers:
    shank = shank_of(_end_side(site).seam)
    assert shank is not None
    return shank


def _end_heights(site: Site) -> list[float]:
    side = _end_side(site)
    return heights_to(side, side.station.seat.rim_mm)


def _least_half(site: Site) -> float:
    return max(contact_top(_end_side(site), height) for height in _end_heights(site)) + KEEP_AWAY_MM


def _most_half(site: Site) -> float:
    side = _end_side(site)
    outer = min(prong_side(side, height, 1) for height in _end_heights(site))
    return min(outer, foot_radius(side) - BURIED_MM) - KEEP_AWAY_MM


def _prong_axis_at_end(site: Site) -> float:
    heights = _end_heights(site)
    return _end_side(site).prong.axis.z_at(sum(heights) / len(heights))


def _event(site: Site, name: str) -> float:
    return next(event.distance_mm for event in site.layout.events if event.name == name)


def _least_graze(site: Site) -> float:
    """How far the hoop's sides keep from what they could lie along."""
    return min(
        abs(event.distance_mm)
        for event in site.layout.events
        if event.kind == "flip" and event.key == "hoop.width_mm" and "bore" not in event.name
    )


def _hoop_room(site: Site) -> float:
    """Half the width of the narrowest foot or shank at the finger, in the outer rows."""
    layout = site.layout
    halves = [station.seat.radius_at(station.seat.bore_radius_mm) for station in layout.stations]
    shanks = [shank for seam in layout.seams if (shank := shank_of(seam)) is not None]
    return layout.outer_row_mm + min(halves + [half for own in shanks for half in (own.end_half_mm, own.base_half_mm)])


def _hoop(site: Site) -> HoopNumbers:
    hoop: HoopNumbers = site.extra(HoopNumbers)
    return hoop


def _arch(site: Site) -> ArchNumbers:
    arch: ArchNumbers = site.extra(ArchNumbers)
    return arch


def _azimuth(site: Site, index: int) -> float:
    side = site.layout.beside(site.station)[index]
    return math.degrees(side.prong.axis.azimuth(side.half, site.seat.girdle_mm, side.sign))


def _foot(site: Site, index: int) -> float:
    seat, half = site.feet[index]
    return seat.radius_at(seat.bore_radius_mm * math.cos(half))


def _plug_top(site: Site) -> float:
    """At the end of an open row, where there is no plug, that of a row which went on: the rim's height."""
    plug = site.side.seam.plug
    return site.seat.rim_mm if plug is None else plug.top_mm


def _to_rim(site: Site, radius_mm: float) -> float:
    return site.prong.axis.distance_to_circle(site.side.half, site.seat.rim_mm, radius_mm, site.side.sign)


def _size_number(site: Site) -> float:
    """The number of the finger size in its system; a UK letter's place."""
    reading = site.layout.spec.finger.reading
    assert reading is not None
    word = reading.label.removeprefix(reading.system).strip()
    if reading.system != "UK":
        return float(word)
    letter, half = word.removesuffix(" 1/2"), 0.5 if word.endswith("1/2") else 0.0
    return ord(letter[0]) - ord("A") + 1 + (int(letter[2:]) if "+" in letter else 0) + half


def _system(site: Site, field: str) -> float:
    reading = site.layout.spec.finger.reading
    assert reading is not None
    value: float = getattr(SYSTEMS[reading.system], field)
    return value


def _tallest(site: Site) -> float:
    """Of the spec's diameter, in each material of the row."""
    diameter = site.asked.stones.diameter_mm
    return max(total_depth(diameter, each.proportions) for each in site.layout.stations)


def _usual(field: str, key: str, unit: str) -> Quantity:
    """A proportion that the stone's material is usually cut to."""
    return Quantity(f"{key}, by material", unit, lambda site: getattr(MATERIALS[site.station.material], field))


def _volume(site: Site) -> float:
    """The mesh's, else by quadrature."""
    return predict_volume(site.layout)[0] if site.volume_mm3 is None else site.volume_mm3


def _density(site: Site) -> float:
    return ALLOYS[site.layout.spec.metal.alloy].density_g_cm3


def _plain(site: Site, field: str) -> float:
    plain = plain_arc(site.layout)
    assert plain is not None
    value: float = getattr(plain, field)
    return value


MM, DEG, PCT, NONE = "mm", "deg", "%", ""

QUANTITIES: dict[str, Quantity] = {
    # the finger and the stone
    "bore": Quantity("the finger's bore, as finished", MM, lambda s: s.layout.spec.finger.bore_mm),
    "cast_bore": Quantity("inner_diameter_mm", MM, lambda s: 2.0 * s.layout.bore_radius_mm),
    "given_bore": _all("finger.inner_diameter_mm", MM),
    "allowance": _all("casting.bore_allowance_mm", MM),
    "size": Quantity("finger.size", NONE, _size_number),
    "zero": Quantity("the size system's zero", MM, lambda s: _system(s, "zero")),
    "per_unit": Quantity("the size system's step of one", MM, lambda s: _system(s, "per_unit")),
    "d": Quantity("stones.diameter_mm", MM, lambda s: s.station.diameter_mm),
    "d_next": Quantity("stones.diameter_mm beyond the seam", MM, lambda s: s.beyond.diameter_mm),
    "d_top": Quantity("stones.diameter_mm of the spec", MM, lambda s: s.asked.stones.diameter_mm),
    "d_most": Quantity("the largest stone", MM, lambda s: max(each.diameter_mm for each in s.layout.stations)),
    "pavilion": _own("stones.pavilion_deg", DEG),
    "crown": _own("stones.crown_deg", DEG),
    "table": _own("stones.table_pct", PCT),
    "girdle": _own("stones.girdle_pct", PCT),
    "usual_pavilion": _usual("pavilion_deg", "stones.pavilion_deg", DEG),
    "usual_crown": _usual("crown_deg", "stones.crown_deg", DEG),
    "usual_table": _usual("table_pct", "stones.table_pct", PCT),
    "usual_girdle": _usual("girdle_pct", "stones.girdle_pct", PCT),
    "specific_gravity": Quantity("stones.material", NONE, lambda s: MATERIALS[s.station.material].specific_gravity),
    "stone_volume": Quantity(
        "volume of the faceted stone", "mm3", lambda s: brilliant_volume(s.station.diameter_mm, s.station.proportions)
    ),
    "carat": Quantity("carat of the stone", "ct", lambda s: stone_carat(s.station)),
    "carat_row": Quantity("carat of one row", "ct", lambda s: sum(map(stone_carat, s.layout.stations))),
    "carat_total": Quantity("carat_total", "ct", lambda s: carat_total(s.layout)),
    "gap": Quantity("stones.gap_mm", MM, lambda s: s.layout.gap_asked_mm),
    "own_gap": _own("stones.gap_mm", MM),
    "N": Quantity("stones.count", NONE, lambda s: len(s.layout.stations)),
    "rows": Quantity("arrangement.rows", NONE, lambda s: len(s.layout.rows)),
    "arc": Quantity("arrangement.coverage", DEG, lambda s: s.layout.spec.arrangement.arc_deg or 360.0),
    "stone_count": Quantity("stone_count", NONE, lambda s: s.layout.stone_count),
    "least_gap": Quantity("girdle_gap_mm", MM, lambda s: s.layout.girdle_gap_mm),
    "pitch": Quantity("angle between the two stones", DEG, lambda s: s.side.seam.before_deg + s.side.seam.after_deg),
    "depth": Quantity(
        "the stone's depth, table to culet", MM, lambda s: total_depth(s.station.diameter_mm, s.station.proportions)
    ),
    "tallest": Quantity("the deepest stone's", MM, _tallest),
    "floor_top": Quantity("seat.floor_mm of the spec's stone", MM, lambda s: fill_stones(s.asked).seat.floor_mm),
    "clearance": _own("stones.culet_clearance_mm", MM),
    "girdle_radius": Quantity("girdle_radius_mm", MM, lambda s: s.seat.girdle_mm),
    "girdle_next": Quantity("girdle_radius_mm beyond the seam", MM, lambda s: s.beyond.seat.girdle_mm),
    # the seat
    "floor_mm": _own("seat.floor_mm", MM),
    "rim_drop": _own("seat.rim_below_girdle_mm", MM),
    "rim_d": _own("seat.rim_diameter_mm", MM),
    "rim": Quantity("rim_mm", MM, lambda s: s.seat.rim_mm),
    "draft": _own("seat.draft_deg", DEG),
    "wall": _own("seat.wall_mm", MM),
    "bearing": _own("seat.bearing_deg", DEG),
    "bearing_width": _own("seat.bearing_mm", MM),
    "fillet": _own("seat.fillet_mm", MM),
    "half": Quantity("half the pitch that the seat is made for", DEG, lambda s: math.degrees(s.mean_half)),
    "lowest": Quantity(
        "height of the recess's floor, or of the finger",
        MM,
        lambda s: s.seat.bore_radius_mm if s.seat.through else s.seat.floor_mm,
    ),
    "bottom": Quantity("height where the recess's wall ends", MM, lambda s: s.seat.column_bottom_mm),
    "mouth": Quantity("mouth_radius_mm", MM, lambda s: s.seat.mouth_radius_mm),
    "column": Quantity("column_radius_mm", MM, lambda s: s.seat.column_radius_mm),
    "column_top": Quantity("column_top_mm", MM, lambda s: s.seat.column_top_mm),
    "bearing_length": Quantity("slant length of the bearing", MM, lambda s: s.bare_seat.bearing_length_mm),
    "column_length": Quantity("height of the recess's wall", MM, lambda s: s.bare_seat.column_length_mm),
    "overlap_of_feet": Quantity("feet-joint", MM, lambda s: foot_overlap(s.feet)),
    "parting": Quantity("parting_mm", MM, lambda s: parting_height(s.feet)),
    "half_1": Quantity("angle from the first cup's axis to the seam", DEG, lambda s: math.degrees(s.feet[0][1])),
    "half_2": Quantity("angle from the second cup's axis to the seam", DEG, lambda s: math.degrees(s.feet[1][1])),
    "foot_1": Quantity("radius of the first cup's foot at the seam", MM, lambda s: _foot(s, 0)),
    "foot_2": Quantity("radius of the second cup's foot at the seam", MM, lambda s: _foot(s, 1)),
    # prongs and plug
    "prong_d": Quantity("prong.diameter_mm", MM, lambda s: s.prong.diameter_mm),
    "overlap": Quantity("prong.overlap", NONE, lambda s: s.prong.overlap),
    "notches": Quantity("girdles that enter the prong", NONE, lambda s: s.prong.notches),
    "prong_height": Quantity("prong.height_above_girdle_mm", MM, lambda s: s.prong.height_above_girdle_mm),
    "bite": _own("plug.bite_mm", MM),
    "foot_clearance": _own("plug.foot_clearance_mm", MM),
    "half_joint": Quantity(
        "angle from the stone's axis midway to its neighbour", DEG, lambda s: math.degrees(s.split_half(s.side))
    ),
    "spread": Quantity("z of the prong's axis at the girdle", MM, lambda s: s.prong.axis.spread_mm),
    "crossing": Quantity("height where the axis crosses the girdle", MM, lambda s: s.prong.axis.crossing_mm),
    "lean": Quantity("lean of the prong's axis", DEG, lambda s: math.degrees(s.prong.axis.lean)),
    "along_x": Quantity("the axis' direction across the seam", NONE, lambda s: s.prong.axis.along[0]),
    "along_y": Quantity("the axis' direction upwards", NONE, lambda s: s.prong.axis.along[1]),
    "plug_top": Quantity(
        "height of the plug's top", MM, lambda s: s.side.seam.plug.top_mm if s.side.seam.plug else 0.0
    ),
    "clear_width": Quantity("pair-width", MM, lambda s: s.prong.clear_width_at(_plug_top(s))),
    "axis_to_rim": Quantity("prong's axis to the cup's rim", MM, lambda s: _to_rim(s, s.seat.rim_radius_mm)),
    "axis_to_mouth": Quantity("prong's axis to the recess's mouth", MM, lambda s: _to_rim(s, s.seat.mouth_radius_mm)),
    "azimuth_1": Quantity("from the seam before to its prong, about the stone", DEG, lambda s: _azimuth(s, 0)),
    "azimuth_2": Quantity("from the seam after to its prong, about the stone", DEG, lambda s: _azimuth(s, 1)),
    # rows, hoop, bore, arches
    "row_gap_asked": _all("arrangement.row_gap_mm", MM),
    "row_gap": Quantity("row_gap_mm", MM, lambda s: s.layout.row_gap_mm or 0.0),
    "row_pitch": Quantity("from row to row", MM, lambda s: s.layout.rows[0].z_mm - s.layout.rows[1].z_mm),
    "outer_row": Quantity("from the middle to an outer row", MM, lambda s: s.layout.outer_row_mm),
    "hoop": _all("hoop.thickness_mm", MM),
    "hoop_width": _all("hoop.width_mm", MM),
    "hoop_room": Quantity("half the width that can hide a hoop", MM, _hoop_room),
    "hoop_graze": Quantity("hoop's side to the nearest side of a cup or prong", MM, _least_graze),
    "hoop_top": Quantity("radius of the hoop's outside", MM, lambda s: _hoop(s).top_mm),
    "bore_crown": _all("bore.crown_mm", MM),
    "half_width": Quantity("half the band's width", MM, lambda s: s.layout.bore.half_width_mm),
    "half_at_finger": Quantity(
        "half the band's width at the finger", MM, lambda s: half_width_at(s.layout, s.seat.bore_radius_mm)
    ),
    "bore_at_row": Quantity(
        "bore's radius over an outer row", MM, lambda s: s.layout.bore.radius_at(s.layout.outer_row_mm)
    ),
    "bore_at_recess": Quantity(
        "bore's radius at the recess's edge",
        MM,
        lambda s: s.layout.bore.radius_at(s.layout.outer_row_mm + s.seat.column_radius_mm),
    ),
    "bore_at_hoop": Quantity(
        "bore's radius at the hoop's side", MM, lambda s: s.layout.bore.radius_at(_hoop(s).half_width_mm)
    ),
    "arch_back": Quantity("from the middle to the arch's back", MM, lambda s: _arch(s).back_mm),
    "arch_metal": Quantity("least metal between arch and recess", MM, lambda s: _arch(s).metal_mm),
    # the shank
    "end_width": Quantity("shank.end_width_mm", MM, lambda s: 2.0 * _end(s).end_half_mm),
    "base_width": Quantity("shank.base_width_mm", MM, lambda s: 2.0 * _end(s).base_half_mm),
    "widest_end": Quantity(
        "the wider end",
        MM,
        lambda s: max(2.0 * shank.end_half_mm for seam in s.layout.seams if (shank := shank_of(seam)) is not None),
    ),
    "end_thickness": _shank("shank.end_thickness_mm", MM, lambda own: own.end_reach_mm - own.bore_radius_mm),
    "base_thickness": _shank("shank.base_thickness_mm", MM, lambda own: own.base_reach_mm - own.bore_radius_mm),
    "end_reach": _shank("radius of the shank's outside at the end", MM, lambda own: own.end_reach_mm),
    "base_reach": _shank("radius of the shank's outside at the bottom", MM, lambda own: own.base_reach_mm),
    "end_drop": _shank("fall of the outside to the end's edge", MM, lambda own: own.drop_at(own.end_half_mm)),
    "base_drop": _shank("fall of the outside to the bottom's edge", MM, lambda own: own.drop_at(own.base_half_mm)),
    "bore_at_end": Quantity(
        "bore's radius at the end's edge", MM, lambda s: s.layout.bore.radius_at(_end(s).end_half_mm)
    ),
    "bore_at_base": Quantity(
        "bore's radius at the bottom's edge", MM, lambda s: s.layout.bore.radius_at(_end(s).base_half_mm)
    ),
    "foot": Quantity("least radius of the last cup", MM, lambda s: foot_radius(_end_side(s))),
    "buried": Quantity("how deep the end stays in the cup", MM, lambda s: BURIED_MM),
    "least_half": Quantity("half the width that clears where prong and cup touch", MM, _least_half),
    "most_half": Quantity("half the width that clears the prong's outer side", MM, _most_half),
    "prong_axis": Quantity("z of the prong's axis", MM, _prong_axis_at_end),
    "taper_room": Quantity("distance to the event shank-taper", MM, lambda s: _event(s, "shank-taper")),
    "rim_room": Quantity("distance to the event shank-rim", MM, lambda s: _event(s, "shank-rim")),
    "bend_room": Quantity("distance to the event shank-bend", MM, lambda s: _event(s, "shank-bend")),
    "plain_1": Quantity("from the last prongs to the bottom", DEG, lambda s: plain_deg(row_ends(s.layout)[0].seam)),
    "plain_2": Quantity("from the first prongs to the bottom", DEG, lambda s: plain_deg(row_ends(s.layout)[1].seam)),
    "prong_1": Quantity("diameter of the last prongs", MM, lambda s: row_ends(s.layout)[0].prong.diameter_mm),
    "prong_2": Quantity("diameter of the first prongs", MM, lambda s: row_ends(s.layout)[1].prong.diameter_mm),
    "plain_arc_deg": Quantity("plain_arc_deg", DEG, lambda s: _plain(s, "plain_arc_deg")),
    "plain_arc": Quantity("plain_arc_mm", MM, lambda s: _plain(s, "plain_arc_mm")),
    "plain_sizes": Quantity("plain_sizes", NONE, lambda s: _plain(s, "plain_sizes")),
    # the whole band
    "openings": Quantity("openings through the metal", NONE, lambda s: sum(each.count for each in s.layout.openings)),
    "genus": Quantity("genus", NONE, lambda s: s.layout.genus),
    "volume": Quantity("volume_mm3", "mm3", _volume),
    "volume_low": Quantity("volume_bounds_mm3, lower", "mm3", lambda s: s.layout.volume_bounds_mm3[0]),
    "volume_high": Quantity("volume_bounds_mm3, upper", "mm3", lambda s: s.layout.volume_bounds_mm3[1]),
    "density": Quantity("metal.alloy", "g/cm3", _density),
    "cut_off": Quantity("sprues and tag, cut off", "mm3", lambda s: cut_off_mm3(s.layout)),
    "metal": Quantity("metal_g", "g", lambda s: mass_g(_volume(s) - cut_off_mm3(s.layout), _density(s))),
}
"""Every name of the formulas. "1" and "2" are a seam's or a row's two sides in the layout's order."""
