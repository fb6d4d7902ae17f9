"""A sprue: one body of revolution about a line along the finger."""

from __future__ import annotations

from bandgen.layout.numbers import Station
from bandgen.layout.sprue import SprueNumbers, sprue_profile
from bandgen.parts import Frame, Part, Revolved


def build_sprue(station: Station, sprue: SprueNumbers) -> tuple[Part, ...]:
    """In the stone's frame, in its row; the turn starts in the stone's mid-plane, where a cell is cut anyway."""
    origin = (0.0, sprue.height_mm, sprue.section[0][1])
    frame = Frame(origin, (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0))
    return (Part("sprue", 1, Revolved(sprue_profile(sprue)), frame),)
