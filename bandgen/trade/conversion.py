"""Sizes side by side: any size or plain measure, the nearest size in every system and how far off it is.

A plain measure is a number with its unit ("17.3 mm", "0.68 in") and its quantity ("54.4 mm circumference"). Where the
quantity is left out the finger decides, and only where it can: a bore of 10 to 30 mm is 31.4 to 94.2 mm round, so no
number of millimetres could be both (common practice, no source, for the limits; the trade facts, section 1, say the
same of German sizes). A number without a unit or a system is refused with the readings it could have.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from bandgen.trade.sizes import SYSTEMS, FingerSize, all_sizes, read_size

BORE_RANGE_MM = (10.0, 30.0)
"""Inside diameters that a finger could have (common practice, no source)."""

_UNITS = {"": 1.0, "mm": 1.0, "cm": 10.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4}
_QUANTITIES = {
    **dict.fromkeys(("", "inside", "inner"), None),
    **dict.fromkeys(("diameter", "diam", "dia", "id", "ø", "⌀", "durchmesser"), "diameter"),
    **dict.fromkeys(("circumference", "circ", "around", "round", "umfang"), "circumference"),
}
_INSIDE = r"(?:(?:inside|inner) )?"
_MEASURE = re.compile(
    rf"{_INSIDE}(?:(?P<before>[a-zø⌀]+)(?:[.:]? |:)?)?(?P<number>[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+) ?"
    rf'(?P<unit>mm|cm|inch(?:es)?|in|")?\.? ?,? ?{_INSIDE}(?P<after>[a-zø⌀]*)\.?'
)


@dataclass(frozen=True)
class Match:
    """The size of a system that is nearest to a bore, and by how much it is larger (negative: smaller), in mm of
    diameter and of circumference. ``within`` is false where the bore lies beyond the system's ends."""

    size: FingerSize
    off_diameter_mm: float
    off_circumference_mm: float
    within: bool


def read_bore(text: str) -> FingerSize:
    """A finger size as :func:`~bandgen.trade.sizes.read_size` takes it, or a plain measure (system "mm").

    Raises ValueError for what is unknown, ambiguous or no finger's, with the readings it could have.
    """
    found = _MEASURE.fullmatch(" ".join(text.lower().split()))
    if found is None or _words(found) is None:
        return read_size(text)
    named = _words(found) or ""
    if not named and not found["unit"]:
        return _refuse_bare(text)
    measure = float(found["number"].replace(",", ".")) * _UNITS[found["unit"] or ""]
    return _measured(text, measure, _QUANTITIES[named])


def nearest(bore: FingerSize, system: str) -> Match:
    """The size of a system ("ISO", "UK", ...) nearest to a bore, the smaller of two as near. KeyError as there."""
    sizes = all_sizes(system)
    asked = bore.inner_diameter_mm
    size = min(sizes, key=lambda one: (round(abs(one.inner_diameter_mm - asked), 9), one.inner_diameter_mm))
    step = sizes[1].inner_diameter_mm - sizes[0].inner_diameter_mm
    within = abs(size.inner_diameter_mm - asked) <= step / 2.0 + 1e-9
    return Match(size, size.inner_diameter_mm - asked, size.circumference_mm - bore.circumference_mm, within)


def side_by_side(bore: FingerSize) -> tuple[Match, ...]:
    """The nearest size of every system, in their order."""
    return tuple(nearest(bore, system) for system in SYSTEMS)


def _words(found: re.Match[str]) -> str | None:
    """The quantity's word, before or after the number; "" where there is none, None for any other word."""
    words = [word for word in (found["before"] or "", found["after"]) if _QUANTITIES.get(word, word) is not None]
    if len(words) > 1 or any(word not in _QUANTITIES for word in words):
        return None
    return words[0] if words else ""


def _refuse_bare(text: str) -> FingerSize:
    """A bare number: whatever sizes it could be, and the plain measures."""
    try:
        return read_size(text)
    except ValueError as cause:
        raise ValueError(f"{cause}; a plain measure is written with its unit, '{text.strip()} mm'") from None


def _measured(text: str, measure_mm: float, quantity: str | None) -> FingerSize:
    """The bore of a measure; the quantity that a finger could have where none is named."""
    bores: dict[Literal["diameter", "circumference"], float]
    bores = {"diameter": measure_mm, "circumference": measure_mm / math.pi}
    least, most = BORE_RANGE_MM
    for name, bore in bores.items():
        if quantity in (None, name) and least <= bore <= most:
            return FingerSize("mm", f"{measure_mm:.10g} mm inside {name}", bore)
    readings = " or ".join(
        f"{name} (a bore of {bore:.2f} mm)" for name, bore in bores.items() if quantity in (None, name)
    )
    raise ValueError(
        f"finger size {text!r}: {measure_mm:g} mm would be a {readings}; a finger's is {least:g} to {most:g} mm"
    )
