"""House rules: a caster's or a bureau's own limits and severities, by the code of the finding, from a TOML file.

    name = "Example caster"

    [limits]
    wall-thickness = 0.5                                # the limit alone
    core-ratio = { limit = 2.0, severity = "error" }    # and how grave it is to miss it
    feet-joint = { severity = "warning" }               # the trade's own limit

What a house says stands in the place of the trade's customary figures, under the house's name.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, get_args

from bandgen.errors import Problem, SpecError

HouseSeverity = Literal["note", "warning", "error"]
SEVERITIES: tuple[str, ...] = get_args(HouseSeverity)
KEYS = ("limit", "severity")
SIZE_LIMIT_BYTES = 1_000_000


@dataclass(frozen=True)
class HouseLimit:
    """One rule: its limit in the unit of the finding (None: the trade's own), and its severity (None: a warning, or
    the trade's own where the limit is)."""

    limit: float | None = None
    severity: HouseSeverity | None = None


@dataclass(frozen=True)
class Profile:
    """A house's rules by the code of the finding."""

    name: str
    limits: Mapping[str, HouseLimit]


def read_profile(path: str | Path, codes: Collection[str]) -> Profile:
    """The profile in a TOML file; ``codes`` are those that a house may rule on.

    Raises:
        SpecError: with every problem found; also for a missing or unreadable file.
    """
    data = _read_toml(Path(path))
    problems: list[Problem] = []
    name, limits = data.pop("name", Path(path).stem), data.pop("limits", None)
    problems += [Problem(key, "is not a key of a profile; name and limits are", None) for key in data]
    if not isinstance(name, str) or not name.strip():
        problems.append(Problem("name", "must be a text that is not empty", _brief(name)))
    if not isinstance(limits, dict) or not limits:
        problems.append(Problem("limits", "must be a table with one rule at least", _brief(limits)))
        limits = {}
    for code, value in limits.items():
        problems += _problems_of(code, value, codes)
    if problems:
        raise SpecError(problems, str(path))
    return Profile(name, MappingProxyType({code: _limit(value) for code, value in limits.items()}))


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        if not path.is_file() or path.stat().st_size > SIZE_LIMIT_BYTES:  # a pipe or a device may never end
            raise SpecError([Problem("file", f"must be a TOML file of {SIZE_LIMIT_BYTES} bytes at most")], str(path))
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError) as cause:  # bad UTF-8 and bad TOML are ValueErrors
        raise SpecError([Problem("file", f"must be readable TOML ({cause})")], str(path)) from None


def _problems_of(code: str, value: Any, codes: Collection[str]) -> list[Problem]:
    """What is wrong with one rule."""
    key = f"limits.{code}"
    if code not in codes:
        close = difflib.get_close_matches(code, codes, 1)
        advice = f"did you mean {close[0]!r}?" if close else f"known are {', '.join(sorted(codes))}"
        return [Problem(key, "is not the code of a rule that a house may change", None, advice)]
    if not isinstance(value, dict):
        return [] if _is_limit(value) else [Problem(key, "must be a number of 0 or more, or a table", _brief(value))]
    if not value:
        return [Problem(key, "must give a limit or a severity")]
    found = [Problem(f"{key}.{each}", f"is none of {', '.join(KEYS)}") for each in value if each not in KEYS]
    if "limit" in value and not _is_limit(value["limit"]):
        found.append(Problem(f"{key}.limit", "must be a number of 0 or more", _brief(value["limit"])))
    if "severity" in value and value["severity"] not in SEVERITIES:
        found.append(Problem(f"{key}.severity", f"must be one of {', '.join(SEVERITIES)}", _brief(value["severity"])))
    return found


def _is_limit(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0.0 <= value < math.inf


def _limit(value: Any) -> HouseLimit:
    if not isinstance(value, dict):
        return HouseLimit(float(value))
    limit = value.get("limit")
    return HouseLimit(None if limit is None else float(limit), value.get("severity"))


def _brief(value: Any) -> Any:
    return value if isinstance(value, int | float | str | bool) else None
