"""The web: one body of metal between rows side by side, from one outer row's cups to the other's."""

from __future__ import annotations

import math
from collections.abc import Sequence

from bandgen.layout.numbers import Layout, Seam, Side
from bandgen.layout.rows import slot
from bandgen.parts import Extruded, Part, Point, Profile
from bandgen.units import sincosd

BEYOND_MM = 0.25
"""How far it reaches past the cell's planes."""

UNDER_BORE_MM = 0.55
"""How far it runs under the bore: off the feet of all other parts."""


def build_web(layout: Layout, seam: Seam) -> tuple[Part, ...]:
    """A prism along the finger, its top parallel to the rims of the cups and just under them; none of a single row."""
    web, sides = layout.web, layout.sides(seam)
    if web is None or len(sides) < 2:
        return ()
    staggered = any(row.turned for row in layout.rows)
    top = [corner for side in sides for corner in _half_top(side, web.below_rim_mm, staggered)]
    right, left = top[:2], top[2:]
    bore = layout.bore_radius_mm
    low = bore * math.cos(math.radians(max(seam.before_deg, seam.after_deg))) - UNDER_BORE_MM
    outline = (Point(left[0].u, low), Point(right[0].u, low), *right, *left[::-1])
    return (Part("web", 1, Extruded(Profile(outline), 2.0 * web.half_width_mm)),)


def _half_top(side: Side, below_rim_mm: float, staggered: bool) -> Sequence[Point]:
    """The top on one side of the seam plane, in the seam's frame: from beyond the stone's axis to where it leaves the
    line that is parallel to the rim: beside the rim, or, where a stone of a turned row stands at the seam, half-way to
    that one's own line."""
    sine, cosine = sincosd(side.seam.before_deg if side.sign > 0 else side.seam.after_deg)
    top = side.station.seat.rim_mm - below_rim_mm
    far = top * sine + BEYOND_MM * cosine
    near = top * math.tan(side.half / 2.0) if staggered else slot(side)
    return [Point(side.sign * x, (top - x * sine) / cosine) for x in (far, near)]
