"""Rules of the trade for a comfort bore, measured on the layout's numbers: warnings all, like those of the setting.

What rises from the bore's narrowest place, clearance and the floor on the stone's axis, has rules there.
"""

from __future__ import annotations

from collections.abc import Callable

from bandgen.inspection.findings import Finding, Place, at_least, at_most
from bandgen.layout.numbers import Layout, Side

MORRIS = "Morris & Watson, casting guidelines"
CUSTOM = "common practice, no source"
FLOOR_MM = 0.5
ROUNDEST = 1.0 / 3.0


def floor_edge(layout: Layout, side: Side) -> Finding | None:
    """Metal under the recess at its edge, where a comfort bore rises towards the floor."""
    seat = side.station.seat
    if layout.bore.crown_mm == 0.0 or seat.through:
        return None
    metal = seat.floor_mm - layout.bore.radius_at(layout.outer_row_mm + seat.column_radius_mm)
    text, place = "mm of metal under the recess at its edge, over a comfort bore", Place(station=side.station.index)
    return at_least("floor-edge", metal, FLOOR_MM, text, MORRIS, place)


def comfort_crown(layout: Layout, side: Side) -> Finding | None:
    """A comfort bore rises gently, and leaves no knife edge at the band's sides."""
    bore = layout.bore
    if bore.crown_mm == 0.0:
        return None
    share = bore.crown_mm / bore.half_width_mm
    text = "of half the band's width that the bore rises to its edges"
    return at_most("comfort-crown", share, ROUNDEST, text, CUSTOM)


RULES: tuple[Callable[[Layout, Side], Finding | None], ...] = (floor_edge, comfort_crown)
