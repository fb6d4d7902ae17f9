"""The hoop: an inner ring under the cups, all round the finger."""

from __future__ import annotations

from bandgen.layout.hoop import HoopNumbers
from bandgen.layout.numbers import Seam
from bandgen.parts import Frame, Part, Point, Profile, Revolved

RING_AXIS = Frame(u=(0.0, -1.0, 0.0), v=(0.0, 0.0, 1.0), w=(-1.0, 0.0, 0.0))
"""The ring's axis; revolutions start on -Y, opposite the seam and out of every cell."""


def build_hoop(seam: Seam, hoop: HoopNumbers) -> tuple[Part, ...]:
    """A whole ring from under the bore to its top; the bore and the recesses trim it."""
    low, top, half = hoop.bottom_mm, hoop.top_mm, hoop.half_width_mm
    outline = Profile((Point(low, -half), Point(top, -half), Point(top, half), Point(low, half)))
    stops = (180.0 - seam.before_deg, 180.0, 180.0 + seam.after_deg)
    return (Part("hoop", 1, Revolved(outline, stops), RING_AXIS),)
