"""The tag: a plate at the free end of the first sprue, with the finished size in raised letters.

The plate stands in the plane of its stone's axis and the finger, so that it is thin where cells are narrow and as long
as its text. The letters stand on its clockwise face and read with the ring's axis below, towards the ring.

Stone frame: x towards the neighbours, y up the stone's axis from the ring's centre, z along the ring's axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from bandgen.layout.events import nearest_of_each
from bandgen.layout.hoop import filled
from bandgen.layout.numbers import Event, Layout, Seam
from bandgen.layout.sprue import DIAMETER, LENGTH, SprueNumbers, sprue_of
from bandgen.spec import Spec
from bandgen.trade.strokes import HEIGHT_MM, RAISED_MM, outlines, signed_area, width_mm

MARGIN_MM = 0.5
"""Plate round the text (common practice, no source)."""
LEAST_THICKNESS_MM = 0.5
"""Of the plate, which is half as thick as its sprue otherwise (broad and flat parts: Morris & Watson)."""
JOINED_MM = 0.6
"""How far plate and sprue run into one another (elements that are joined overlap by 0.15 at least: Stuller)."""
UNDER = 0.4
"""How far under the sprue's axis the plate ends, as a share of the sprue's radius: none of its sides grazes it."""
FREE_MM = 0.2
"""Least straight length of sprue under the plate, to cut (common practice, no source)."""
ROOT_MM = 0.2
"""How deep letters stand in the plate."""
DENT_MM = 0.05
"""How deep the counters of letters are cut into the plate, so that no skin stays there."""


@dataclass(frozen=True)
class PlateNumbers:
    """The plate, in its stone's frame: from ``start_mm`` to ``end_mm`` along the finger from the middle of its row,
    which stands at ``row_mm``; heights on the stone's axis; ``standing_mm3`` is what it adds to its sprue."""

    row_mm: float
    start_mm: float
    end_mm: float
    bottom_mm: float
    top_mm: float
    thickness_mm: float
    standing_mm3: float
    one_sided: bool = True

    @property
    def half_width_mm(self) -> float:
        """How far it reaches along the finger."""
        return self.row_mm + self.end_mm


@dataclass(frozen=True)
class LetterNumbers:
    """The letters, in the stone's frame: the text begins at ``start_mm`` along the finger from the band's mid-plane and
    runs back towards it, its lower edge ``base_mm`` high, on a plate's face ``face_mm`` off the stone's mid-plane.
    ``reach_mm`` is how far plate and letters reach from the ring's axis."""

    text: str
    start_mm: float
    base_mm: float
    face_mm: float
    reach_mm: float
    standing_mm3: float
    one_sided: bool = True

    @property
    def half_width_mm(self) -> float:
        """How far they reach along the finger."""
        return self.start_mm


def add_tag(layout: Layout) -> Layout:
    """The layout with its tag, where the spec asks for one; after the sprues."""
    if layout.spec.tag.text == "":
        return layout
    text = size_text(layout.spec) if layout.spec.tag.text is None else layout.spec.tag.text
    layout = filled(layout, "tag", text=text)
    station = next(each for each in layout.stations if sprue_of(each) is not None)
    sprue, seam = sprue_of(station), layout.beside(station)[0].seam
    assert sprue is not None
    plate = compute_plate(sprue, text)
    letters = compute_letters(plate, text)
    low, high = layout.volume_bounds_mm3
    standing = plate.standing_mm3 + letters.standing_mm3
    return replace(
        layout,
        stations=tuple(
            replace(each, extras=(*each.extras, plate)) if each is station else each for each in layout.stations
        ),
        seams=tuple(replace(each, extras=(*each.extras, letters)) if each is seam else each for each in layout.seams),
        events=(*layout.events, *nearest_of_each(_events(seam, sprue, plate))),
        volume_bounds_mm3=(low + 0.999 * standing, high + 1.001 * standing),
    )


def size_text(spec: Spec) -> str:
    """The finished size, as the finger's table gives it: "ISO 54", "UK L½", or the bore in mm."""
    reading = spec.finger.reading
    return f"{spec.finger.bore_mm:.2f} MM" if reading is None else reading.label.replace(" 1/2", "½")


def compute_plate(sprue: SprueNumbers, text: str) -> PlateNumbers:
    """A plate as long as its text."""
    radius = sprue.radius_mm
    start, bottom = sprue.end_mm - JOINED_MM, sprue.height_mm - UNDER * radius
    length, height = width_mm(text) + JOINED_MM + 2.0 * MARGIN_MM, HEIGHT_MM + 2.0 * MARGIN_MM
    thickness = max(radius, LEAST_THICKNESS_MM)
    half = thickness / 2.0
    shared = half * math.sqrt(radius**2 - half**2) + radius**2 * math.asin(half / radius) + UNDER * radius * thickness
    standing = length * height * thickness - shared * JOINED_MM
    return PlateNumbers(sprue.row_mm, start, start + length, bottom, bottom + height, thickness, standing)


def compute_letters(plate: PlateNumbers, text: str) -> LetterNumbers:
    """The text on a plate."""
    face = plate.thickness_mm / 2.0
    areas = [signed_area(outline) for outline in outlines(text)]
    metal, counters = sum(areas), -sum(area for area in areas if area < 0.0)
    return LetterNumbers(
        text=text,
        start_mm=plate.row_mm + plate.end_mm - MARGIN_MM,
        base_mm=plate.bottom_mm + MARGIN_MM,
        face_mm=face,
        reach_mm=math.hypot(face, plate.top_mm),
        standing_mm3=metal * RAISED_MM - counters * DENT_MM,
    )


def _events(seam: Seam, sprue: SprueNumbers, plate: PlateNumbers) -> list[Event]:
    """What a plate may come too near to."""
    pitch = math.radians(min(seam.before_deg + seam.after_deg, 90.0))
    side = plate.thickness_mm / 2.0 + RAISED_MM
    beside = plate.bottom_mm * math.sin(pitch) - side * math.cos(pitch)
    straight = plate.start_mm - sprue.section[-2][1] - FREE_MM
    return [
        Event("tag-beside", beside, "limit", DIAMETER, "the tag reaches over the next stone's middle", seam.index),
        Event("tag-length", straight, "limit", LENGTH, "the tag leaves no sprue to cut", seam.index),
    ]
