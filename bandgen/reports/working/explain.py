"""Any number of a band with its working; what a check found, how it was measured, why its limit is there."""

from __future__ import annotations

import ast
import difflib
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from bandgen.errors import Problem, SpecError
from bandgen.inspection.findings import Finding
from bandgen.inspection.rules import RULES
from bandgen.layout.casting import finished
from bandgen.layout.numbers import Layout, Seam
from bandgen.reports.working.check import Check, told
from bandgen.reports.working.checks import CHECKS
from bandgen.reports.working.numbers import NUMBERS, Number
from bandgen.reports.working.quantities import QUANTITIES
from bandgen.reports.working.site import Site, site_of, site_of_finding
from bandgen.spec import Spec, spec_keys

RECORD: dict[str, Callable[[Layout], int]] = {
    "girdle_radius_mm": lambda layout: max(layout.stations, key=lambda each: each.seat.girdle_mm).index,
    "girdle_gap_mm": lambda layout: _nearest_stones(layout).before or 0,
}
"""Numbers of the whole band that are read at one stone: at which."""


@dataclass(frozen=True)
class Input:
    """A value put into a formula: its name there, the key that decides it or what it is, its unit."""

    name: str
    key: str
    value: Any
    unit: str


@dataclass(frozen=True)
class Working:
    """A number with its formula and what went into it. A formula with a comparison is a condition that the value, found
    by trial, meets. ``value`` is the layout's own."""

    key: str
    symbol: str
    formula: str
    inputs: tuple[Input, ...]
    value: Any
    unit: str
    source: str
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


@dataclass(frozen=True)
class Explained:
    """A check: what it means; on a band also what was found, and the working of what was measured."""

    check: Check
    finding: Finding | None = None
    working: Working | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        found = None if self.finding is None else self.finding.as_dict()
        working = None if self.working is None else self.working.as_dict()
        return {"check": self.check.as_dict(), "finding": found, "working": working}


def _nearest_stones(layout: Layout) -> Seam:
    return next(seam for seam in layout.seams if seam.girdle_gap_mm == layout.girdle_gap_mm)


def explain_number(layout: Layout, asked: Spec, key: str, volume_mm3: float | None = None) -> Working:
    """The working of a key of the spec, or of a derived number, at the top stone or at the one that decides it.

    ``asked`` is the spec as the user gave it, ``volume_mm3`` what the mesh measured, if there is one.

    Raises:
        SpecError: for a name that is not known, or that this band has no number for.
    """
    refuse_unknown(key)
    station = RECORD[key](layout) if key in RECORD else 0
    site = site_of(layout, asked, station, volume_mm3)
    if key.startswith("shank.") and not site.closed:  # a shank's numbers are at its ends
        site = site_of(layout, asked, len(layout.stations) - 1, volume_mm3)
    given = _given(site, key)
    if given is not None:
        return given
    number = NUMBERS.get(key)
    if number is None or not told(number.formula, site):
        raise SpecError([Problem(key, "is no number of this band: nothing in it is made by it")], "explain")
    return _worked(site, key, number)


def explain_finding(layout: Layout, asked: Spec, finding: Finding) -> Explained:
    """What a check found on a band; the trade's rules judge it as finished."""
    check = CHECKS[finding.code]
    site = site_of_finding(finished(layout), asked, finding, RULES)
    formula = "" if site is None or isinstance(finding.measured, str) else told(check.formula, site)
    if site is None or not formula:
        return Explained(check, finding)
    inputs = _inputs(site, formula, "")
    working = Working(finding.code, "measured", formula, inputs, finding.measured, check.unit, "derived")
    return Explained(check, finding, working)


def explain_check(code: str) -> Explained:
    """What a check means, without a band.

    Raises:
        SpecError: for a code that is not known.
    """
    if code not in CHECKS:
        _unknown(code, sorted(CHECKS))
    return Explained(CHECKS[code])


def known_names() -> list[str]:
    """Everything that can be explained of a band."""
    keys = [key for key in spec_keys() if "." in key]
    return sorted({*keys, *NUMBERS, *CHECKS})


def refuse_unknown(name: str) -> None:
    """Raises SpecError, with the nearest names, for one that is not known."""
    if name not in known_names():
        _unknown(name, known_names())


def _unknown(name: str, names: list[str]) -> None:
    tails = {each.rpartition(".")[2].removesuffix("_mm").removesuffix("_deg"): each for each in names}
    close = difflib.get_close_matches(name, names, 3, 0.5)
    close += [tails[tail] for tail in difflib.get_close_matches(name, list(tails), 3, 0.6) if tails[tail] not in close]
    advice = f"the nearest are {', '.join(close[:4])}" if close else "a key is table.key, or a number of the record"
    raise SpecError([Problem(name, "is not known", None, advice)], "explain")


def _given(site: Site, key: str) -> Working | None:
    """The working of a key of the spec that was not filled in: as given, as moved, or as it is by default."""
    table, _, name = key.partition(".")
    if key not in spec_keys() or not name:
        return None
    asked = getattr(getattr(site.asked, table), name)
    if asked is None:
        return None
    used = getattr(getattr(site.own, table), name)
    unit = _unit(key)
    move = next((each for each in site.layout.moves if each.key == key), None)
    if move is not None and asked == move.given:
        inputs = (Input("given", key, asked, unit), Input("moved", "by the layout", move.used - asked, unit))
        return Working(key, name, "given + moved", inputs, move.used, unit, "the spec", move.reason)
    if asked != used and table == "stones":
        source = f"arrangement.{site.asked.arrangement.source or 'pattern_materials'}"
        return Working(key, name, "given", (Input("given", source, used, unit),), used, unit, "the spec")
    if name in getattr(site.asked, table).model_fields_set:
        return Working(key, name, "given", (Input("given", key, used, unit),), used, unit, "the spec")
    return Working(key, name, "default", (Input("default", key, used, unit),), used, unit, "the spec's own default")


def _unit(key: str) -> str:
    endings = {"_mm": "mm", "_deg": "deg", "_pct": "%"}
    return next((unit for ending, unit in endings.items() if key.endswith(ending)), "")


def _worked(site: Site, key: str, number: Number) -> Working:
    quantity, formula = QUANTITIES[number.symbol], told(number.formula, site)
    move = next((each for each in site.layout.moves if each.key == key and each.used == quantity.read(site)), None)
    note = number.note if move is None else f"moved from {move.given:.6g}: {move.reason}"
    inputs = _inputs(site, formula, number.symbol)
    source = told(number.source, site)
    return Working(key, number.symbol, formula, inputs, quantity.read(site), quantity.unit, source, note)


def _inputs(site: Site, formula: str, symbol: str) -> tuple[Input, ...]:
    """The names of a formula, in its order, but the number's own."""
    names = [node.id for node in ast.walk(ast.parse(formula, mode="eval")) if isinstance(node, ast.Name)]
    chosen = dict.fromkeys(name for name in names if name in QUANTITIES and name != symbol)
    ordered = sorted(chosen, key=lambda name: formula.index(name))
    return tuple(Input(n, QUANTITIES[n].key, QUANTITIES[n].read(site), QUANTITIES[n].unit) for n in ordered)
