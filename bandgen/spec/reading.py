"""Reading a spec, from a TOML file or from plain data: every problem at once, each under its key."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from bandgen.errors import Problem, SpecError
from bandgen.spec.casting import NEEDS_BORE, PROFILE_KEY
from bandgen.spec.parcel import KEY as PARCEL_KEY
from bandgen.spec.parcel import Unread, read_parcel
from bandgen.spec.table import bounds
from bandgen.spec.whole import Spec, spec_keys
from bandgen.trade.house_profile import plain_profile, read_profile

SIZE_LIMIT_BYTES = 1_000_000
MOST_DOTS = 1000


def load_spec(path: str | Path, changes: Mapping[str, Any] | None = None) -> Spec:
    """Read a TOML spec; ``changes`` maps "table.key" to values that replace the file's. A parcel's and a house
    profile's files are read too, their paths counted from the spec's folder.

    Raises:
        SpecError: with every problem found; also for a missing, oversized or unreadable file.
    """
    path = Path(path)
    data = _read_toml(path)
    for key, value in (changes or {}).items():
        _put(data, key, value)
    data.setdefault("name", path.stem)
    unread = [problem for key, read in FILES.items() for problem in _resolve(data, key, read, path.parent)]
    if unread:
        raise SpecError([*unread, *_others(data, {problem.key for problem in unread})], str(path))
    return make_spec(data, str(path))


def _read_house(path: Path) -> dict[str, Any]:
    """The plain data of a house's profile. Raises Unread."""
    try:
        profile = read_profile(path)
    except SpecError as error:
        raise Unread(*(_of_file(problem, path) for problem in error.problems)) from None
    if profile.bore is None:
        raise Unread(Problem(PROFILE_KEY, NEEDS_BORE, str(path)))
    return plain_profile(profile)


def _of_file(problem: Problem, path: Path) -> Problem:
    """A problem of a profile's file, under the key that names the file."""
    if problem.key == "profile":
        return Problem(PROFILE_KEY, f"{problem.rule}, its path counted from the spec file", str(path))
    return Problem(PROFILE_KEY, f"{problem.key} of {path.name} {problem.rule}", problem.value)


FILES: Mapping[str, Callable[[Path], Any]] = {PARCEL_KEY: read_parcel, PROFILE_KEY: _read_house}
"""Keys that may hold a file's path, and what puts plain data in its place; raises Unread."""


def _resolve(data: dict[str, Any], key: str, read: Callable[[Path], Any], folder: Path) -> tuple[Problem, ...]:
    """Put what a file holds in the place of its path; the problems where that fails."""
    table, _, name = key.partition(".")
    inner = data.get(table)
    if not isinstance(inner, dict) or not isinstance(text := inner.get(name), str):
        return ()
    try:
        inner[name] = read(folder / text)
    except Unread as fault:
        return fault.problems
    return ()


def _others(data: dict[str, Any], unread: set[str]) -> list[Problem]:
    """The problems of a spec but for its files, which are told already."""
    try:
        make_spec(data)
    except SpecError as error:
        return [problem for problem in error.problems if problem.key not in unread]
    return []


def make_spec(data: Mapping[str, Any], source: str = "spec") -> Spec:
    """A spec from plain data. Raises SpecError with every problem found."""
    try:
        return Spec.model_validate(data)
    except ValidationError as error:
        # A list is measured before its items are judged: one that then lacks the bad ones is not at fault.
        details = (detail for detail in error.errors(include_url=False) if detail["type"] != "too_short")
        problems = [_problem(detail) for detail in details]
        raise SpecError(problems, source) from None


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        if not path.is_file():  # nor a pipe or a device, which may never end
            raise SpecError([Problem("file", "must be a readable TOML file", str(path))], str(path))
        if path.stat().st_size > SIZE_LIMIT_BYTES:
            raise SpecError(
                [Problem("file", f"must not exceed {SIZE_LIMIT_BYTES} bytes", path.stat().st_size)], str(path)
            )
        text = path.read_bytes().decode("utf-8-sig")
        if any(line.count(".") > MOST_DOTS for line in text.splitlines()):  # the parser takes their square
            raise SpecError([Problem("file", f"must be readable TOML (over {MOST_DOTS} dots in a line)")], str(path))
        return tomllib.loads(text)
    except (OSError, ValueError, RecursionError) as cause:  # bad UTF-8 and bad TOML are ValueErrors
        raise SpecError([Problem("file", f"must be readable TOML ({cause})")], str(path)) from None


def _put(data: dict[str, Any], key: str, value: Any) -> None:
    table, _, name = key.rpartition(".")
    inner = data.setdefault(table, {}) if table else data
    if not isinstance(inner, dict):
        raise SpecError([Problem(table, "is a value, not a table", inner)], "--set")
    inner[name] = value


def _problem(detail: Any) -> Problem:
    where, item = _place(detail["loc"])
    key = ".".join(where) or "spec"
    if detail["type"] == "extra_forbidden":
        return Problem(key, "is not a key of the spec", detail["input"], _suggest(where))
    if detail["type"] == "missing":
        return Problem(key, "is required", None, "add it")
    told = detail["msg"][0].lower() + detail["msg"][1:]
    rule = told if item is None else f"item {item + 1}: {told}"
    return Problem(key, rule, _brief(detail["input"]), _range_of(where, item is not None))


def _place(steps: tuple[int | str, ...]) -> tuple[list[str], int | None]:
    """The key, and the index of the list's item that is at fault, if one is."""
    item = steps[2] if len(steps) == 3 and isinstance(steps[2], int) else None
    return [str(step) for step in (steps if item is None else steps[:2])], item


def _brief(value: Any) -> Any:
    return value if isinstance(value, int | float | str | bool) else None


def _suggest(where: list[str]) -> str:
    """The nearest key: of the same table first, and of the tables where one was meant."""
    keys = list(spec_keys())
    table = where[0] if where[1:] else ""
    for some in ([key for key in keys if key.rpartition(".")[0] == table], keys):
        names = [key.rpartition(".")[2] for key in some]
        if close := difflib.get_close_matches(where[-1], names, 1):
            return f"did you mean {some[names.index(close[0])]!r}?"
    return "the schema (bandgen schema) lists the keys"


def _range_of(where: list[str], of_item: bool = False) -> str:
    limits = _item_range(where) if of_item else spec_keys().get(".".join(where))
    return f"allowed {limits[0]:g} to {limits[1]:g}" if limits else ""


def _item_range(where: list[str]) -> tuple[float, float] | None:
    """The range of a list's items, where they are numbers."""
    table: Any = Spec.model_fields[where[0]].annotation
    item = get_args(table.model_fields[where[1]].annotation)[0]
    return next(bounds(rule.metadata) for rule in item.__metadata__ if isinstance(rule, FieldInfo))
