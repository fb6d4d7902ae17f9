"""What a check says: a finding, as data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal, get_args

Severity = Literal["ok", "note", "warning", "error"]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)
Sense = Literal["least", "most", "equal"]
"""Whether a limit is the least, the most or the only value that is well."""

ROUNDING = 1e-9
"""What a measured value may be off its limit and still keep it."""


@dataclass(frozen=True)
class Place:
    """Where: a station or seam by its number (None: the whole band), and a point in mm (None: no single one)."""

    station: int | None = None
    seam: int | None = None
    point: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Finding:
    """One check's result.

    ``measured`` against ``limit`` in the unit that ``text`` names; ``source`` says where the limit comes from,
    "common practice, no source" included. ``severity`` "error" is kept for geometry that is not one sound body.
    ``sense`` says on which side of the limit all is well; None where there is no one limit.
    """

    code: str
    severity: Severity
    measured: float | int | bool | str
    limit: float | int | bool | str
    text: str
    source: str
    place: Place = Place()
    sense: Sense | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain data for the record."""
        plain = asdict(self)
        if self.place.point is not None:
            plain["place"]["point"] = list(self.place.point)
        return plain


def at_least(
    code: str,
    measured: float,
    limit: float,
    text: str,
    source: str,
    place: Place = Place(),
    severity: Severity = "warning",
    slack: float = ROUNDING,
) -> Finding:
    """Well where the measured value is the limit or more; else of the ``severity``."""
    return Finding(code, "ok" if measured >= limit - slack else severity, measured, limit, text, source, place, "least")


def at_most(
    code: str,
    measured: float,
    limit: float,
    text: str,
    source: str,
    place: Place = Place(),
    severity: Severity = "warning",
    slack: float = ROUNDING,
) -> Finding:
    """Well where the measured value is the limit or less; else of the ``severity``."""
    return Finding(code, "ok" if measured <= limit + slack else severity, measured, limit, text, source, place, "most")


def equal(
    code: str,
    good: bool,
    measured: float | int | bool | str,
    limit: float | int | bool,
    text: str,
    source: str,
    place: Place = Place(),
) -> Finding:
    """An "error" unless ``good``: whether the measured value is, within what the text says, as it must be."""
    return Finding(code, "ok" if good else "error", measured, limit, text, source, place, "equal")


def worst(findings: Sequence[Finding]) -> Finding:
    """The gravest; of equals the one furthest beyond its limit, or where all are well the one nearest to it."""
    gravest = max(SEVERITIES.index(finding.severity) for finding in findings)
    rest = [finding for finding in findings if SEVERITIES.index(finding.severity) == gravest]
    return min(rest, key=lambda f: _room(f) if gravest == 0 else -_room(f))


def _room(finding: Finding) -> float:
    if isinstance(finding.measured, str) or isinstance(finding.limit, str):
        return 0.0
    return abs(finding.measured - finding.limit)
