"""What a check says: a finding, as data."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

Severity = Literal["ok", "note", "warning", "error"]


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
    """

    code: str
    severity: Severity
    measured: float | int | bool | str
    limit: float | int | bool | str
    text: str
    source: str
    place: Place = Place()

    def as_dict(self) -> dict[str, Any]:
        """Plain data for the record."""
        plain = asdict(self)
        if self.place.point is not None:
            plain["place"]["point"] = list(self.place.point)
        return plain
