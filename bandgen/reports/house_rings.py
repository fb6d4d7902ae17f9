"""Measured rings of a house from a CSV file.

One ring a row under a header. Columns, by name and in any order: ``designed_bore_mm`` and ``finished_bore_mm``,
``designed_width_mm`` and ``finished_width_mm`` (one of the two pairs at least; both cells of a pair may be left empty
in a row), ``alloy``, ``note``. Columns are parted by commas, semicolons or tabs; the decimal mark is a point. All
else is refused, with its line and column, so that no ring is lost in silence.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from bandgen.errors import Problem, SpecError
from bandgen.reports.house_fit import Ring
from bandgen.spec import BORE_RANGE_MM
from bandgen.trade.house_profile import LEAST_ROWS

RANGES_MM = {"bore": BORE_RANGE_MM, "width": (0.5, 30.0)}
"""Quantities, and the sizes in mm that are taken for one."""
COLUMNS = (*(f"{stage}_{quantity}_mm" for quantity in RANGES_MM for stage in ("designed", "finished")), "alloy", "note")
MOST_OFF = 0.2
"""A finished size further off the designed one, as a share, is a slip of the pen: castings lose 1 to 11 % (trade facts
4, a symposium's figures)."""
FILE_LIMIT_BYTES = 1_000_000
_NUMBER = re.compile(r"[0-9]{1,3}(\.[0-9]{0,20})?")

Row = Mapping[str, str]


@dataclass(frozen=True)
class HouseRings:
    """A file's rings by quantity, the alloys that it names, the SHA-256 of its bytes."""

    name: str
    sha256: str
    rings: Mapping[str, tuple[Ring, ...]]
    alloys: tuple[str, ...]
    measured: int


def read_rings(path: Path) -> HouseRings:
    """The rings of a CSV file.

    Raises:
        SpecError: with every problem found: line, column, rule and value.
    """
    data = _bytes(path)
    try:
        rows = _rows(data.decode("utf-8-sig"))
    except (ValueError, csv.Error) as cause:
        raise _refusal(path, Problem("file", f"must be a readable CSV file ({cause})")) from None
    columns = tuple(rows[0][1]) if rows else ()
    problems = [*_column_problems(columns)]
    found: dict[str, list[Ring]] = {quantity: [] for quantity in RANGES_MM if f"designed_{quantity}_mm" in columns}
    for line, row in () if problems else rows:
        for quantity, rings in found.items():
            wrong = [*_cell_problems(line, row, quantity)]
            problems += wrong
            if row[f"designed_{quantity}_mm"] and not wrong:
                rings.append(Ring(line, *(float(row[f"{stage}_{quantity}_mm"]) for stage in ("designed", "finished"))))
    problems = problems or [*_count_problems(found, path.name)]
    if problems:
        raise _refusal(path, *problems)
    measured = {quantity: tuple(some) for quantity, some in found.items() if some}
    alloys = sorted({row["alloy"] for _, row in rows if row.get("alloy")})
    return HouseRings(path.name, hashlib.sha256(data).hexdigest(), measured, tuple(alloys), len(rows))


def _bytes(path: Path) -> bytes:
    if not path.is_file():  # nor a pipe or a device, which may never end
        raise _refusal(path, Problem("file", "must be a readable CSV file", str(path)))
    if (size := path.stat().st_size) > FILE_LIMIT_BYTES:
        raise _refusal(path, Problem("file", f"must not exceed {FILE_LIMIT_BYTES} bytes", size))
    return path.read_bytes()


def _refusal(path: Path, *problems: Problem) -> SpecError:
    return SpecError([*problems], str(path))


def _rows(text: str) -> list[tuple[int, dict[str, str]]]:
    """Line numbers and cells by column of the rows that hold anything; columns in small letters."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    mark = next((mark for mark in ";\t" if mark in first), ",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    lines = [(reader.line_num, [cell.strip() for cell in cells]) for cells in reader]
    lines = [(line, cells) for line, cells in lines if any(cells)]
    header = [cell.casefold() for cell in lines[0][1]] if lines else []
    if len(set(header)) < len(header):
        raise ValueError("a column is named twice")
    for line, cells in lines[1:]:
        if len(cells) > len(header):
            raise ValueError(f"line {line} has {len(cells)} cells under {len(header)} columns")
    return [(line, dict(zip(header, [*cells, *[""] * len(header)], strict=False))) for line, cells in lines[1:]]


def _column_problems(columns: tuple[str, ...]) -> Iterator[Problem]:
    if not columns:
        yield Problem("file", f"must hold a header and {LEAST_ROWS} rings or more")
        return
    for column in columns:
        if column not in COLUMNS:
            yield Problem("column", f"must be one of {', '.join(COLUMNS)}", column[:40])
    pairs = {quantity: {f"designed_{quantity}_mm", f"finished_{quantity}_mm"} for quantity in RANGES_MM}
    if not any(pair <= set(columns) for pair in pairs.values()):
        yield Problem("column", "the designed and the finished bores, or widths, must both be there")
    for pair in pairs.values():
        if len(missing := pair - set(columns)) == 1:
            yield Problem("column", "is required beside its other half", missing.pop())


def _cell_problems(line: int, row: Row, quantity: str) -> Iterator[Problem]:
    designed, finished = (f"{stage}_{quantity}_mm" for stage in ("designed", "finished"))
    if not row[designed] and not row[finished]:
        return
    low, high = RANGES_MM[quantity]
    bad = [key for key in (designed, finished) if not _within(row[key], low, high)]
    for key in bad:
        yield Problem(f"line {line}, {key}", f"must be a number of {low:g} to {high:g} mm", row[key][:40])
    if not bad and abs(float(row[finished]) / float(row[designed]) - 1.0) > MOST_OFF:
        rule = f"must lie within {MOST_OFF:.0%} of {designed} {row[designed]}"
        yield Problem(f"line {line}, {finished}", rule, row[finished])


def _within(text: str, low: float, high: float) -> bool:
    return bool(_NUMBER.fullmatch(text)) and low <= float(text) <= high


def _count_problems(found: Mapping[str, list[Ring]], name: str) -> Iterator[Problem]:
    """Each quantity that is measured at all needs rows to tell how sure it is."""
    for quantity, rings in found.items():
        if 0 < len(rings) < LEAST_ROWS:
            lines = ", ".join(str(ring.line) for ring in rings)
            rule = f"at least {LEAST_ROWS} rows tell a {quantity}'s scatter; {name} has {len(rings)} (line {lines})"
            yield Problem(f"finished_{quantity}_mm", rule)
    if not any(found.values()):
        yield Problem("file", f"must hold {LEAST_ROWS} rings or more")
