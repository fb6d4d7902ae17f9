"""The setter's cut: the turned stone in its place."""

from __future__ import annotations

from bandgen.layout.numbers import Station
from bandgen.layout.set_numbers import BurNumbers
from bandgen.parts import Frame, Part, Point, Profile, Revolved

STONE_AXIS = Frame(u=(0.0, 0.0, 1.0), v=(0.0, 1.0, 0.0), w=(-1.0, 0.0, 0.0))
"""The stone's axis along +Y; revolutions start on +Z, in the stone's mid-plane, where a cell is cut anyway."""


def build_bur(station: Station, bur: BurNumbers) -> tuple[Part, ...]:
    """One cut in the stone's frame: pavilion, girdle and crown up to the table."""
    cut, bottom = bur.stone, bur.bottom_mm
    low = cut.radius_mm - (cut.girdle_mm - bottom) / cut.pavilion
    outline = Profile(
        (
            Point(0.0, bottom),
            Point(low, bottom),
            Point(cut.radius_mm, cut.girdle_mm),
            Point(cut.radius_mm, cut.upper_mm),
            Point(cut.table_radius_mm, cut.table_mm),
            Point(0.0, cut.table_mm),
        )
    )
    return (Part("bur", -1, Revolved(outline), STONE_AXIS),)
