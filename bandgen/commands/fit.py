"""Find which counts, stone sizes, heights and finger sizes close well around a spec."""

from __future__ import annotations

import argparse
import json
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from bandgen.commands.common import add_spec, read_spec, tolerate, with_source
from bandgen.errors import ExportError, Problem, SpecError

if TYPE_CHECKING:
    from bandgen.reports.fit import FitRow
    from bandgen.spec import Spec

NAME = "fit"
HELP = "find counts, stone sizes, heights and finger sizes that close well"
PUT_IN = (
    "A row is made by its first four values: stones.count, stones.diameter_mm, finger.inner_diameter_mm (instead of\n"
    "finger.size) and stones.culet_clearance_mm; --json prints them unrounded."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Spec, how far to look, what to solve for, output."""
    add_spec(parser)
    parser.add_argument("--best", type=int, default=12, metavar="N", help="how many rows to show (default: 12)")
    parser.add_argument(
        "--size-share",
        type=float,
        default=0.5,
        metavar="F",
        help="how many finger sizes (mm where the bore is given) the finger may change (default: 0.5)",
    )
    parser.add_argument(
        "--solve",
        choices=("clearance", "stone", "finger", "carat"),
        help="the one value that closes exactly at --count stones; or the most carat under --metal-most",
    )
    parser.add_argument("--count", type=int, metavar="N", help="stones that are to close (default: the spec's)")
    parser.add_argument("--gap", type=float, metavar="MM", help="gap that they are to leave (default: the spec's)")
    parser.add_argument("--metal-most", type=float, metavar="GRAMS", help="metal that the band may weigh")
    parser.add_argument("--chart", metavar="FILE.svg", help="draw gap and height against the count")
    parser.add_argument("--json", action="store_true", help="print the rows as JSON")


def run(options: argparse.Namespace) -> int:
    """0 found, 1 nothing closes."""
    tolerate(sys.stdout)
    _check(options)
    spec = read_spec(options)
    if options.chart is not None:
        _draw(options, spec)
    rows, head = with_source(lambda asked: _answer(options, asked), spec, options.spec)
    print(json.dumps([row.as_dict() for row in rows], indent=1, allow_nan=False) if options.json else _told(rows, head))
    return 0 if rows else 1


def _check(options: argparse.Namespace) -> None:
    """Options that need one another."""
    needs = (
        ("--count", options.count, ("clearance", "stone", "finger")),
        ("--gap", options.gap, ("clearance", "stone", "finger")),
        ("--metal-most", options.metal_most, ("carat",)),
    )
    problems = [
        Problem(name, f"needs --solve {' or '.join(meant)}", value)
        for name, value, meant in needs
        if value is not None and options.solve not in meant
    ]
    if options.solve == "carat" and not (options.metal_most or 0.0) > 0.0:
        problems.append(Problem("--metal-most", "must be given with --solve carat, more than 0", options.metal_most))
    if problems:
        raise SpecError(problems, "command line")


def _draw(options: argparse.Namespace, spec: Spec) -> None:
    """Write the chart."""
    from bandgen.reports.fit_chart import fit_chart

    chart = with_source(fit_chart, spec, options.spec)
    try:
        Path(options.chart).write_text(chart, encoding="utf-8")
    except OSError as fault:
        raise ExportError(f"{options.chart}: cannot be written: {fault.strerror or fault}") from None


def _answer(options: argparse.Namespace, spec: Spec) -> tuple[tuple[FitRow, ...], str]:
    """The rows, and a line to stand over them."""
    if options.solve == "carat":
        from bandgen.reports.solve import greatest_carat

        rows = greatest_carat(spec, options.metal_most, options.best)
        return rows, f"most carat with up to {options.metal_most:g} g of {spec.metal.alloy}"
    if options.solve is not None:
        from bandgen.reports.solve import solve

        row = solve(spec, options.solve, options.count, options.gap)
        return (row,), f"{options.solve} that closes {row.stone_count} stones exactly"
    from bandgen.reports.fit import fit

    found = fit(spec, options.best, options.size_share)
    head = f"{len(found.rows)} best of {found.tried} alternatives around {spec.name}"
    if found.asked is None:
        return found.rows, f"{head}, which cannot be made as it is"
    return found.rows if options.json else (found.asked, *found.rows), head


def _told(rows: tuple[FitRow, ...], head: str) -> str:
    lines = [f"{'stones':>6}{'size':>8}{'bore':>9}{'culet':>9}{'gap':>8}{'carat':>8}{'metal':>8}  reason"]
    lines += [f"{'':>6}{'mm':>8}{'mm':>9}{'mm':>9}{'mm':>8}{'ct':>8}{'g':>8}"]
    lines += [_line(row) for row in rows]
    return "\n".join([head, "", *lines, "", PUT_IN])


def _line(row: FitRow) -> str:
    made = f"{row.stone_count:>6}{_short(row.diameter_mm, 4):>8}{_up(row.inner_diameter_mm):>9.4f}"
    left = f"{_up(row.culet_clearance_mm):>9.4f}{row.girdle_gap_mm:>8.4f}"
    return f"{made}{left}{row.carat:>8.3f}{row.metal_g:>8.2f}  {row.reason}"


def _short(value: float, places: int) -> str:
    return f"{value:.{places}f}".rstrip("0").rstrip(".")


def _up(value_mm: float) -> float:
    """Rounded up, so that what is printed leaves the gap."""
    return math.ceil(value_mm * 1e4 - 1e-6) / 1e4
