"""The profile of a house: its calibration as a small TOML file, written, read back, and put to use."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from bandgen.errors import Problem, SpecError
from bandgen.reports.house_fit import LEAST_ROWS, Fit, Outlier, compute_fit, find_outliers
from bandgen.reports.house_rings import RANGES_MM, HouseRings

SCALES = (0.5, 1.5)
FILE_LIMIT_BYTES = 100_000
_PLAIN = {"data": str, "sha256": str, "alloys": list, "measured": int}


@dataclass(frozen=True)
class Profile:
    """A house's fits, and the data they come from: file name, SHA-256, alloys, rows."""

    data: str
    sha256: str
    alloys: tuple[str, ...]
    measured: int
    bore: Fit | None = None
    width: Fit | None = None

    @property
    def fits(self) -> tuple[Fit, ...]:
        """Those there are."""
        return tuple(fit for fit in (self.bore, self.width) if fit is not None)


def calibrate(rings: HouseRings) -> tuple[Profile, tuple[Outlier, ...]]:
    """The profile of measured rings, and the rows to look at again."""
    fits = {quantity: compute_fit(quantity, some) for quantity, some in rings.rings.items()}
    outliers = [each for quantity, some in rings.rings.items() for each in find_outliers(fits[quantity], some)]
    return Profile(rings.name, rings.sha256, rings.alloys, rings.measured, **fits), tuple(outliers)


def designed_for(profile: Profile, finished_mm: float, quantity: str = "bore") -> float:
    """The size in mm to design so that ``finished_mm`` is expected to come out.

    Raises:
        SpecError: when the profile does not know the quantity.
    """
    fit = next((fit for fit in profile.fits if fit.quantity == quantity), None)
    if fit is None:
        raise SpecError([Problem(quantity, "was not measured for this profile")], profile.data)
    return (finished_mm - fit.offset_mm) / fit.scale


def profile_dict(profile: Profile) -> dict[str, Any]:
    """Plain data, with what follows from each fit."""
    plain = {key: value for key, value in asdict(profile).items() if key in _PLAIN}
    plain["alloys"] = list(profile.alloys)
    for fit in profile.fits:
        plain[fit.quantity] = {
            **{key: value for key, value in asdict(fit).items() if key != "quantity"},
            **fit_sureness(fit),
        }
    return plain


def fit_sureness(fit: Fit) -> dict[str, float]:
    """What follows: halves of the 95 % intervals, that of the next ring at the middle of the sizes."""
    middle = (fit.least_mm + fit.most_mm) / 2.0
    return {
        "scale_95": fit.scale_half,
        "offset_95_mm": fit.offset_half_mm,
        "next_ring_95_mm": fit.next_half_mm(middle),
    }


def encode_profile(profile: Profile) -> str:
    """The profile as TOML; numbers to the last digit, so that it reads back the same."""
    lines = [
        "# House calibration (bandgen calibrate): finished = scale * designed + offset_mm; *_95: half a 95 % interval"
    ]
    for key, value in profile_dict(profile).items():
        if isinstance(value, dict):
            lines += ["", f"[{key}]", *(f"{name} = {_toml(inner)}" for name, inner in value.items())]
        else:
            lines.append(f"{key} = {_toml(value)}")
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    """A string's escapes are JSON's, and one that JSON leaves as it is."""
    return json.dumps(value, allow_nan=False).replace("\x7f", "\\u007f")


def read_profile(path: str | Path) -> Profile:
    """A profile from its TOML file.

    Raises:
        SpecError: with every key that is missing, unknown or not what it must be.
    """
    path = Path(path)
    data = _load(path)
    problems = [*_problems(data, {**_PLAIN, **{key: dict for key in RANGES_MM if key in data}}, "")]
    kinds = {field.name: _KINDS[str(field.type)] for field in fields(Fit) if field.name != "quantity"}
    tables = {key: data[key] for key in RANGES_MM if isinstance(data.get(key), dict)}
    bare = {key: {k: v for k, v in table.items() if k not in _FOLLOWING} for key, table in tables.items()}
    for key, table in bare.items():
        problems += [*_problems(table, kinds, f"{key}."), *_range_problems(table, f"{key}.")]
    if not tables:
        problems.append(Problem("profile", f"must have a table [{'] or ['.join(RANGES_MM)}]"))
    if problems:
        raise SpecError(problems, str(path))
    fits = {key: Fit(key, **table) for key, table in bare.items()}
    return Profile(data["data"], data["sha256"], tuple(map(str, data["alloys"])), data["measured"], **fits)


_KINDS: Mapping[str, type] = {"float": float, "int": int, "bool": bool}
_FOLLOWING = ("scale_95", "offset_95_mm", "next_ring_95_mm")
"""Written for the reader; computed anew when read."""


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
    for key in data.keys() - kinds.keys():
        yield Problem(prefix + key, f"is not a key of a profile; known are {', '.join(kinds)}")
    for key, kind in kinds.items():
        if key not in data:
            yield Problem(prefix + key, "is required")
        elif not _is(data[key], kind):
            yield Problem(prefix + key, f"must be a {kind.__name__}", data[key])


def _is(value: Any, kind: type) -> bool:
    if kind is float:
        return type(value) in (float, int) and math.isfinite(value)
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
