"""What the spread of a parcel means for a band: the chance that girdles touch or prongs grip too little."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from bandgen.commands.common import Progress, add_spec, read_spec, tolerate, with_source

if TYPE_CHECKING:
    from bandgen.reports.parcels import Parcel
    from bandgen.reports.tolerance import Answer, Tolerance

NAME = "tolerance"
HELP = "the chance that a parcel's stones touch or sit loose"
SPREAD_MM = 0.05
"""A parcel of melee well calibrated (+-0.05 to 0.10 mm: trade facts 2, GURU)."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Spec, parcel, draws, output."""
    add_spec(parser)
    parcel = parser.add_mutually_exclusive_group()
    parcel.add_argument(
        "--spread", type=float, default=SPREAD_MM, metavar="MM", help=f"+- mm of diameter (default: {SPREAD_MM:g})"
    )
    parcel.add_argument("--measured", metavar="FILE.csv", help="measured diameters in mm, instead of a spread")
    parser.add_argument(
        "--shape",
        choices=("uniform", "normal"),
        default="uniform",
        help="every size within the spread alike, or normal with the spread as two sigma and none beyond",
    )
    parser.add_argument("--draws", type=int, default=20_000, metavar="N", help="bands to draw (default: 20000)")
    parser.add_argument("--seed", type=int, default=1, metavar="S", help="the same seed, the same answer (default: 1)")
    parser.add_argument("--json", action="store_true", help="print it all as JSON, every pair included")


def run(options: argparse.Namespace) -> int:
    """0: a chance is an answer, not a fault."""
    tolerate(sys.stdout)
    spec = read_spec(options)
    from bandgen.layout.compute import compute_layout
    from bandgen.reports.tolerance import compute_tolerance

    parcel = _parcel(options)
    layout = with_source(compute_layout, spec, options.spec)
    progress = Progress(options.json)
    progress("drawing bands")
    result = compute_tolerance(layout, parcel, options.draws, options.seed)
    progress.close()
    print(json.dumps(result.as_dict(), indent=1, allow_nan=False) if options.json else _told(spec.name, result))
    return 0


def _parcel(options: argparse.Namespace) -> Parcel:
    from bandgen.reports.parcels import Spread, read_measured

    return read_measured(Path(options.measured)) if options.measured else Spread(options.spread, options.shape)


def _told(name: str, result: Tolerance) -> str:
    """A table of chances, how they settled, and what to sort for."""
    open_ones = [answer for answer in result.answers if 0 < answer.chance.hits < result.draws]
    return "\n".join(
        [
            f"{name}: {result.stone_count} stones; {result.parcel}; {result.draws} bands drawn, seed {result.seed}",
            f"\n{'bands with':<46}{'chance':>8}  {'95 % interval':<21}{'under 1 % within':<18}likeliest at",
            *map(_row, result.answers),
            *_settled(open_ones),
            f"\n{_advice(result)}",
        ]
    )


def _row(answer: Answer) -> str:
    low, high = answer.chance.interval
    place, chance = answer.worst
    mean = sum(each for _, each in answer.places) / len(answer.places)
    worst = f"{place}: {_percent(chance)} (mean of all {_percent(mean)})" if chance > 0.0 else "-"
    between = f"{_percent(low)} to {_percent(high)}"
    columns = f"{_percent(answer.chance.chance):>8}  {between:<21}{_within(answer):<18}"
    return f"{answer.question.text:<46}{columns}{worst}"


def _within(answer: Answer) -> str:
    from bandgen.reports.seated import MOST_SPREAD_MM

    if answer.sort_to_mm >= MOST_SPREAD_MM:
        return f"any to +-{MOST_SPREAD_MM:g} mm"
    return f"+-{answer.sort_to_mm:.3f} mm" if answer.sort_to_mm > 0.0 else "none"


def _settled(answers: Sequence[Answer]) -> Iterator[str]:
    """The convergence of the chances that are neither 0 nor 1."""
    if answers:
        draws = "".join(f"{estimate.draws:>19}" for estimate in answers[0].convergence)
        yield f"\n{'chance after so many draws, +- standard error':<46}{draws}"
    for answer in answers:
        shown = (f"{_percent(each.chance)} +- {_percent(each.error)}" for each in answer.convergence)
        yield f"{answer.question.text:<46}" + "".join(f"{text:>19}" for text in shown)


def _advice(result: Tolerance) -> str:
    """In words: what the three grave ones ask of the parcel. The gap asked may leave none to spare."""
    grave = min(result.answers[:3], key=lambda answer: answer.sort_to_mm)
    if grave.sort_to_mm == 0.0:
        return f"No sorting keeps {grave.question.text} rare: the seats themselves leave no more."
    return f"Sort the parcel to {_within(grave)} of its seats' sizes: each of the first three is then under 1 %."


def _percent(share: float) -> str:
    if share == 0.0 or share >= 0.1:
        return f"{100.0 * share:.{3 if share < 0.999 else 4}g} %"
    return f"{100.0 * share:.2f} %" if share >= 0.001 else f"{100.0 * share:.2g} %"
