"""Rules of the trade for a hoop, measured on the layout's numbers: warnings all, in the manner of the setting's."""

from __future__ import annotations

from collections.abc import Callable

from bandgen.inspection.findings import Finding, Place, at_least
from bandgen.layout.hoop import hoop_of
from bandgen.layout.numbers import Layout, Side

MORRIS = "Morris & Watson, casting guidelines"
CUSTOM = "common practice, no source"
CAST_MM = 0.5
BESIDE_OPENING_MM = 0.4


def hoop_edge(layout: Layout, side: Side) -> Finding | None:
    """Thick enough to cast at its edges, where a comfort bore takes the most."""
    hoop = hoop_of(side.seam)
    if hoop is None:
        return None
    edge = hoop.top_mm - layout.bore.radius_at(hoop.half_width_mm)
    return at_least("hoop-edge", edge, CAST_MM, "mm of hoop at its edges", MORRIS, Place(seam=side.seam.index))


def hoop_whole(layout: Layout, side: Side) -> Finding | None:
    """The recess, where it has a floor, does not reach down into the hoop."""
    hoop, seat = hoop_of(side.seam), side.station.seat
    if hoop is None or seat.through:
        return None
    over = seat.floor_mm - hoop.top_mm
    return at_least(
        "hoop-whole", over, 0.0, "mm from the hoop up to the recess", CUSTOM, Place(station=side.station.index)
    )


def hoop_beside_opening(layout: Layout, side: Side) -> Finding | None:
    """The hoop goes on beside its openings."""
    hoop, seat = hoop_of(side.seam), side.station.seat
    if hoop is None or not seat.through:
        return None
    beside = hoop.half_width_mm - layout.outer_row_mm - seat.column_radius_mm
    place, text = Place(station=side.station.index), "mm of hoop on each side of an opening"
    return at_least("hoop-beside-opening", beside, BESIDE_OPENING_MM, text, MORRIS, place)


RULES: tuple[Callable[[Layout, Side], Finding | None], ...] = (hoop_edge, hoop_whole, hoop_beside_opening)
