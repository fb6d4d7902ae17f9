"""A tag: its plate, and the letters that stand on it."""

from __future__ import annotations

from collections.abc import Sequence

from bandgen.layout.numbers import Seam, Station
from bandgen.layout.tag import DENT_MM, ROOT_MM, LetterNumbers, PlateNumbers
from bandgen.parts import Extruded, Frame, Part, Point, Profile, turned
from bandgen.trade.strokes import RAISED_MM, Corner, outlines, signed_area

ABOVE_MM = 0.2
"""How far the counters' tools stand over the letters."""


def build_plate(station: Station, plate: PlateNumbers) -> tuple[Part, ...]:
    """A block across the stone's mid-plane, in its frame and row."""
    half, low, high = (plate.end_mm - plate.start_mm) / 2.0, plate.bottom_mm, plate.top_mm
    outline = Profile((Point(-half, low), Point(half, low), Point(half, high), Point(-half, high)))
    origin = (0.0, 0.0, plate.start_mm + half)
    frame = Frame(origin, (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0))
    return (Part("tag", 1, Extruded(outline, plate.thickness_mm), frame),)


def build_letters(seam: Seam, letters: LetterNumbers) -> tuple[Part, ...]:
    """Every letter's outline, and its counters as cuts, in the frame of the seam before the stone."""
    parts = [_letter(letters, outline) for outline in outlines(letters.text)]
    return tuple(turned(part, seam.after_deg) for part in parts)


def _letter(letters: LetterNumbers, outline: Sequence[Corner]) -> Part:
    """The text runs towards -z, its letters stand towards +x."""
    cut = signed_area(outline) < 0.0
    low, high = (-DENT_MM, RAISED_MM + ABOVE_MM) if cut else (-ROOT_MM, RAISED_MM)
    corners = tuple(Point(x, y) for x, y in (outline[::-1] if cut else outline))
    origin = (letters.face_mm + (low + high) / 2.0, letters.base_mm, letters.start_mm)
    frame = Frame(origin, (0.0, 0.0, -1.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0))
    return Part("counter" if cut else "letter", -1 if cut else 1, Extruded(Profile(corners), high - low), frame)
