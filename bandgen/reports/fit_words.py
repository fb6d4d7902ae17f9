"""Why an alternative stands where it does, in plain words."""

from __future__ import annotations

from bandgen.layout.numbers import Layout
from bandgen.layout.shank import plain_arc
from bandgen.reports.fit_alternatives import Made
from bandgen.reports.fit_finger import told_change
from bandgen.reports.fit_rows import Part
from bandgen.spec import Spec
from bandgen.trade.ladder import nearest_calibrated

NONE_MM = 5e-5
"""Less than this shows in no digit that is printed."""


def reason(spec: Spec, made: Made) -> str:
    """How it closes, what had to change for it, and the limits of the trade that it newly goes beyond."""
    closing = _filled(made) if isinstance(made.alternative.stones, Part) else _closed(made)
    changes = (_stone(spec, made), _height(made), told_change(spec.finger, made.alternative.bore))
    told = ", ".join(filter(None, changes)) or "stone, height and finger as they are"
    return "; ".join([closing, told, *_plain(made.layout), *(f"warns of {code}" for code in made.warnings)])


def _closed(made: Made) -> str:
    each = made.alternative
    if each.surplus_mm < NONE_MM:
        return "closes exactly"
    return f"leaves {each.surplus_mm:.3f} mm more than wanted in each gap"


def _filled(made: Made) -> str:
    """Of an open row."""
    stones = made.alternative.stones
    assert isinstance(stones, Part)
    taken = stones.taken(made.alternative.bore.mm / 2.0 + made.alternative.clearance_mm)
    if abs(stones.arc_deg - taken) < 0.05:
        return f"fills the {stones.arc_deg:.4g} degrees"
    return f"takes {taken:.1f} of {stones.arc_deg:.4g} degrees"


def _stone(spec: Spec, made: Made) -> str:
    """Another stone, and the nearest that is sold to size where it is not."""
    diameter = made.alternative.stones.diameter_mm
    if diameter == spec.stones.diameter_mm:
        return ""
    sold = nearest_calibrated(diameter)
    return f"stones of {diameter:.4g} mm" + ("" if sold == diameter else f" (sold to size: {sold:g})")


def _height(made: Made) -> str:
    change = made.alternative.clearance_mm - made.alternative.stones.clearance_mm
    if abs(change) < NONE_MM:
        return ""
    return f"culets {abs(change):.3f} mm {'higher' if change > 0.0 else 'lower'}"


def _plain(layout: Layout) -> list[str]:
    plain = plain_arc(layout)
    return [] if plain is None else [f"{plain.plain_arc_deg:.0f} degrees ({plain.plain_arc_mm:.1f} mm) left plain"]
