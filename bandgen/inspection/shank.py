"""Rules of the trade for a shank, measured on the layout's numbers: warnings all, in the manner of the setting's.

A daily-wear shank goes oval under 1.5 mm either way; broad cast parts want 0.5 mm of metal at least.
"""

from __future__ import annotations

from collections.abc import Callable

from bandgen.inspection.findings import Finding, Place, at_least
from bandgen.layout.numbers import Layout, Side
from bandgen.layout.shank import ShankNumbers, plain_arc, shank_of

PUT_A_RING = "Put a ring on it, is a ring design structurally sound (a bench's opinion)"
MORRIS = "Morris & Watson, casting guidelines"
CUSTOM = "common practice, no source"
WEAR_MM = 1.5
CAST_EDGE_MM = 0.5


def _seam(side: Side) -> Place:
    return Place(seam=side.seam.index)


def shank_thickness(layout: Layout, side: Side) -> Finding | None:
    """Thick enough at the bottom, at its crown, to stay round in daily wear."""
    shank = shank_of(side.seam)
    if shank is None:
        return None
    thickness = shank.base_reach_mm - shank.bore_radius_mm
    return at_least("shank-thickness", thickness, WEAR_MM, "mm of shank at the bottom", PUT_A_RING, _seam(side))


def shank_width(layout: Layout, side: Side) -> Finding | None:
    """Wide enough at the bottom to stay round in daily wear."""
    shank = shank_of(side.seam)
    if shank is None:
        return None
    text = "mm across the shank at the bottom"
    return at_least("shank-width", 2.0 * shank.base_half_mm, WEAR_MM, text, PUT_A_RING, _seam(side))


def shank_edge(layout: Layout, side: Side) -> Finding | None:
    """The edges of the shank, where a half-round section and a comfort bore take from both sides, stay castable."""
    shank = shank_of(side.seam)
    if shank is None:
        return None
    edge = _thinnest_edge(layout, shank)
    return at_least("shank-edge", edge, CAST_EDGE_MM, "mm at the shank's edge", MORRIS, _seam(side))


def _thinnest_edge(layout: Layout, shank: ShankNumbers) -> float:
    sections = ((shank.end_half_mm, shank.end_reach_mm), (shank.base_half_mm, shank.base_reach_mm))
    return min(reach - shank.drop_at(half) - layout.bore.radius_at(half) for half, reach in sections)


def shank_sizing(layout: Layout, side: Side) -> Finding | None:
    """Plain metal enough to go a size up or down."""
    plain = plain_arc(layout)
    if plain is None or shank_of(side.seam) is None:
        return None
    text = "ISO sizes that the plain metal serves, up or down"
    return at_least("shank-sizing", plain.plain_sizes, 1, text, CUSTOM, _seam(side))


RULES: tuple[Callable[[Layout, Side], Finding | None], ...] = (shank_thickness, shank_width, shank_edge, shank_sizing)
