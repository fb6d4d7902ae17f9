"""The gap plug: fills the narrow slot between two cups and a prong pair."""

from __future__ import annotations

from bandgen.layout.numbers import Seam
from bandgen.parts import Extruded, Frame, Part, Point, Profile

ALONG_FINGER = Frame(u=(0.0, 0.0, 1.0), v=(0.0, 1.0, 0.0), w=(-1.0, 0.0, 0.0))


def build_plug(seam: Seam) -> Part:
    """A block across the seam whose ends follow the prongs' axes, so that both are buried."""
    plug, axis = seam.plug, seam.prong.axis
    low, high = axis.z_at(plug.foot_mm), axis.z_at(plug.top_mm)
    outline = (Point(-low, plug.foot_mm), Point(low, plug.foot_mm), Point(high, plug.top_mm), Point(-high, plug.top_mm))
    return Part("plug", 1, Extruded(Profile(outline), 2.0 * plug.half_width_mm), ALONG_FINGER)
