"""A parcel's measured diameters from a CSV file.

One diameter in mm a row, or a column named ``diameter_mm`` under a header that names it. Columns are parted by commas,
semicolons or tabs; the decimal mark is a point. Empty rows are skipped, all else that is no diameter is refused with
its line's number, so that no stone is lost in silence.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

from bandgen.errors import Problem
from bandgen.spec.table import COUNT_RANGE, SIZE_RANGE_MM

KEY = "arrangement.parcel_mm"
COLUMN = "diameter_mm"
FILE_LIMIT_BYTES = 1_000_000
MOST_TOLD = 20
"""Bad rows that are named one by one."""
_NUMBER = re.compile(r"[0-9]{1,3}(\.[0-9]{0,20})?")

Row = tuple[int, list[str]]


class Unread(Exception):  # noqa: N818 (never leaves the reading)
    """A parcel's file that cannot be taken, with every problem found."""

    def __init__(self, *problems: Problem) -> None:
        self.problems = problems
        super().__init__(*map(str, problems))


def read_parcel(path: Path) -> tuple[float, ...]:
    """The diameters in mm of a CSV file, in its order. Raises Unread."""
    try:
        if not path.is_file():  # nor a pipe or a device, which may never end
            raise Unread(Problem(KEY, "must be a readable CSV file, its path counted from the spec file", str(path)))
        if (size := path.stat().st_size) > FILE_LIMIT_BYTES:
            raise Unread(Problem(KEY, f"must be a file of at most {FILE_LIMIT_BYTES} bytes, not {size}", str(path)))
        return _diameters(_rows(path.read_bytes().decode("utf-8-sig")), path.name)
    except (OSError, ValueError, csv.Error) as cause:  # a path with NUL and bad UTF-8 are ValueErrors
        raise Unread(Problem(KEY, f"must be a readable CSV file ({cause})", str(path))) from None


def _rows(text: str) -> list[Row]:
    """Line numbers and cells of the rows that hold anything."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    mark = next((mark for mark in ";\t" if mark in first), ",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    rows = ((reader.line_num, [cell.strip() for cell in cells]) for cells in reader)
    return [(line, cells) for line, cells in rows if any(cells)]


def _diameters(rows: list[Row], name: str) -> tuple[float, ...]:
    cells = list(_column(rows))
    if not cells or len(cells) > COUNT_RANGE[1]:
        raise Unread(Problem(KEY, f"must hold 1 to {COUNT_RANGE[1]} diameters, not {len(cells)}", name))
    bad = [(line, text) for line, text in cells if not _is_diameter(text)]
    if bad:
        low, high = SIZE_RANGE_MM
        rule = f"must be one diameter of {low:g} to {high:g} mm (or a header that names a column {COLUMN})"
        told = [Problem(KEY, f"line {line} of {name} {rule}", text[:40]) for line, text in bad[:MOST_TOLD]]
        rest = [Problem(KEY, f"{len(bad) - MOST_TOLD} more lines of {name} are no diameters")]
        raise Unread(*told, *(rest if len(bad) > MOST_TOLD else []))
    return tuple(float(text) for _, text in cells)


def _column(rows: list[Row]) -> Iterator[tuple[int, str]]:
    """Line number and text of each diameter, sound or not: the named column's, else the whole row."""
    header = [cell.casefold() for cell in rows[0][1]] if rows else []
    if COLUMN in header:
        place = header.index(COLUMN)
        yield from ((line, cells[place] if place < len(cells) else "") for line, cells in rows[1:])
    else:
        yield from ((line, ", ".join(filter(None, cells))) for line, cells in rows)


def _is_diameter(text: str) -> bool:
    return bool(_NUMBER.fullmatch(text)) and SIZE_RANGE_MM[0] <= float(text) <= SIZE_RANGE_MM[1]
