"""The gap plug: fills the narrow slot between two cups and a prong pair."""

from __future__ import annotations

from dataclasses import replace

from bandgen.layout.events import plug_end
from bandgen.layout.numbers import Seam
from bandgen.parts import Extruded, Frame, Part, Point, Profile

ALONG_FINGER = Frame(u=(0.0, 0.0, 1.0), v=(0.0, 1.0, 0.0), w=(-1.0, 0.0, 0.0))


def build_plug(seam: Seam) -> tuple[Part, ...]:
    """A block across the seam whose ends follow the prongs' axes, midway where two stand side by side, so that both
    are buried; none beyond the last stone of an open row."""
    plug = seam.plug
    if plug is None:
        return ()
    low, high = (plug_end(seam.prongs, radial) for radial in (plug.foot_mm, plug.top_mm))
    outline = (Point(-low, plug.foot_mm), Point(low, plug.foot_mm), Point(high, plug.top_mm), Point(-high, plug.top_mm))
    frame = replace(ALONG_FINGER, origin=((plug.before_mm - plug.after_mm) / 2.0, 0.0, 0.0))
    return (Part("plug", 1, Extruded(Profile(outline), plug.width_mm), frame),)
