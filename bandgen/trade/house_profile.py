"""The profile of a house: what its finished rings measured against their designs, as a small TOML file, read and used.

One line a quantity, bore or width: finished = scale * designed + offset_mm, fitted by ``bandgen calibrate``
(:mod:`bandgen.reports.house_fit`), which writes the file. Nothing else may be in it, so that a slip of the pen is not
taken for a calibration. Millimetres.
"""

from __future__ import annotations

import math
import sys
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any, Generic, TypeVar

from bandgen.errors import Problem, SpecError

QUANTITIES = ("bore", "width")
SCALES = (0.5, 1.5)
LEAST_ROWS = 3
"""Fewer rings tell no scatter (:mod:`bandgen.reports.house_fit`)."""
FILE_LIMIT_BYTES = 100_000
FOLLOWING = ("scale_95", "offset_95_mm", "next_ring_95_mm")
"""Written for the reader; they follow from the other numbers."""
_PLAIN: Mapping[str, type] = {"data": str, "sha256": str, "alloys": list, "measured": int}


@dataclass(frozen=True)
class Line:
    """A quantity's line as it was written: fitted to ``measured`` rings designed ``least_mm`` to ``most_mm`` large, by
    their mean, their squares about it, and the scatter that is left."""

    quantity: str
    scale: float
    offset_mm: float
    with_offset: bool
    measured: int
    least_mm: float
    most_mm: float
    mean_mm: float
    squares_mm2: float
    residual_sd_mm: float

    def finished(self, designed_mm: float) -> float:
        """What a designed size is expected to come out as."""
        return self.scale * designed_mm + self.offset_mm


AnyLine = TypeVar("AnyLine", bound=Line, covariant=True)


@dataclass(frozen=True)
class Profile(Generic[AnyLine]):
    """A house's lines, and the data they come from: file name, SHA-256, alloys, rows. ``finished_bore_mm`` is the bore
    of the band that it is put to use for, once that is known; it is no part of the file."""

    data: str
    sha256: str
    alloys: tuple[str, ...]
    measured: int
    bore: AnyLine | None = None
    width: AnyLine | None = None
    finished_bore_mm: float | None = None

    def __str__(self) -> str:
        return f"{self.data}, {self.measured} rings"

    @property
    def fits(self) -> tuple[AnyLine, ...]:
        """Those there are."""
        return tuple(fit for fit in (self.bore, self.width) if fit is not None)

    @property
    def factor(self) -> float:
        """By how much a band must be larger in its files, so that its finished bore is expected to come out. Raises
        ValueError where no bore is known yet, SpecError where none was measured."""
        if self.finished_bore_mm is None:
            raise ValueError("a profile has no factor before a layout says for which bore")
        return designed_for(self, self.finished_bore_mm) / self.finished_bore_mm


HouseProfile = Profile[Line]
"""A profile as read."""


def designed_for(profile: Profile[Line], finished_mm: float, quantity: str = "bore") -> float:
    """The size in mm to design so that ``finished_mm`` is expected to come out.

    Raises:
        SpecError: when the profile does not know the quantity.
    """
    fit = next((fit for fit in profile.fits if fit.quantity == quantity), None)
    if fit is None:
        raise SpecError([Problem(quantity, "was not measured for this profile")], profile.data)
    return (finished_mm - fit.offset_mm) / fit.scale


def plain_profile(profile: Profile[Any]) -> dict[str, Any]:
    """Plain data, as its file holds it; :func:`make_profile` reads it back the same."""
    plain = {key: getattr(profile, key) for key in _PLAIN} | {"alloys": list(profile.alloys)}
    for fit in profile.fits:
        plain[fit.quantity] = {key: value for key, value in asdict(fit).items() if key != "quantity"}
    return plain


def read_profile(path: str | Path) -> HouseProfile:
    """A profile from its TOML file.

    Raises:
        SpecError: with every key that is missing, unknown or not what it must be.
    """
    path = Path(path)
    return make_profile(_load(path), str(path))


def make_profile(data: Mapping[str, Any], source: str = "profile") -> HouseProfile:
    """A profile from plain data. Raises SpecError as :func:`read_profile` does."""
    tables = {key: _bare(data[key]) for key in QUANTITIES if isinstance(data.get(key), dict)}
    problems = [*_problems(data, {**_PLAIN, **{key: dict for key in QUANTITIES if key in data}}, "")]
    for key, table in tables.items():
        problems += [*_problems(table, _LINE, f"{key}."), *_range_problems(table, f"{key}.")]
    if not tables:
        problems.append(Problem("profile", f"must have a table [{'] or ['.join(QUANTITIES)}]"))
    if problems:
        raise SpecError(problems, source)
    lines = {key: _line(key, table) for key, table in tables.items()}
    return Profile(
        data["data"],
        data["sha256"],
        tuple(map(str, data["alloys"])),
        data["measured"],
        lines.get("bore"),
        lines.get("width"),
    )


def _line(quantity: str, table: Mapping[str, Any]) -> Line:
    return Line(quantity, **{key: kind(table[key]) for key, kind in _LINE.items()})


_KINDS: Mapping[str, type] = {"float": float, "int": int, "bool": bool}
_LINE = {field.name: _KINDS[str(field.type)] for field in fields(Line) if field.name != "quantity"}


def _bare(table: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key not in FOLLOWING}


def _load(path: Path) -> dict[str, Any]:
    try:
        if not path.is_file() or path.stat().st_size > FILE_LIMIT_BYTES:
            rule = f"must be a readable TOML file of at most {FILE_LIMIT_BYTES} bytes"
            raise SpecError([Problem("profile", rule, str(path))], str(path))
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError) as cause:  # bad UTF-8 and bad TOML are ValueErrors
        raise SpecError([Problem("profile", f"must be readable TOML ({cause})")], str(path)) from None


def _problems(data: Mapping[str, Any], kinds: Mapping[str, type], prefix: str) -> Iterator[Problem]:
    """Keys that are missing, unknown or of the wrong kind; a whole number does for a number."""
    for key in sorted(data.keys() - kinds.keys(), key=str):
        yield Problem(f"{prefix}{key}", f"is not a key of a profile; known are {', '.join(kinds)}")
    for key, kind in kinds.items():
        if key not in data:
            yield Problem(prefix + key, "is required")
        elif not _is(data[key], kind):
            yield Problem(prefix + key, f"must be a {kind.__name__}", data[key])


def _is(value: Any, kind: type) -> bool:
    if kind is float:
        return type(value) in (float, int) and abs(value) <= sys.float_info.max
    return type(value) is kind


def _range_problems(table: Mapping[str, Any], prefix: str) -> Iterator[Problem]:
    """Values that no calibration gives."""
    limits = {
        "scale": SCALES,
        "measured": (LEAST_ROWS, math.inf),
        "squares_mm2": (1e-9, math.inf),
        "residual_sd_mm": (0.0, math.inf),
    }
    for key, (low, high) in limits.items():
        value = table.get(key)
        if _is(value, float) and not low <= float(value) <= high:  # type: ignore[arg-type]
            yield Problem(prefix + key, f"must be {low:g} to {high:g}", value)
