"""How far a band stands from what cannot be made, and which value would take it there."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING

from bandgen.commands.common import add_spec, read_spec, tolerate, with_source

if TYPE_CHECKING:
    from bandgen.reports.trouble import Margin

NAME = "margins"
HELP = "show how far a band stands from what cannot be made"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Spec, output."""
    add_spec(parser)
    parser.add_argument("--json", action="store_true", help="print the margins as JSON")


def run(options: argparse.Namespace) -> int:
    """0; a band that cannot be made is refused."""
    tolerate(sys.stdout)
    spec = read_spec(options)
    from bandgen.layout.compute import compute_layout
    from bandgen.reports.trouble import margins

    found = margins(spec, with_source(compute_layout, spec, options.spec))
    if options.json:
        print(json.dumps([margin.as_dict() for margin in found], indent=1, allow_nan=False))
    else:
        print("\n".join(line for margin in found for line in _lines(margin)))
    return 0


def _lines(margin: Margin) -> list[str]:
    return [f"{margin.distance_mm:8.3f} mm  {margin.name}: {margin.words}", f"{'':13}{_change(margin)}"]


def _change(margin: Margin) -> str:
    """Which change of its key would cross an event."""
    if margin.value is None or margin.allowed is None:
        return f"{margin.key} decides it"
    now = f"{margin.key} {margin.value:.4g}"
    if margin.crossing is None:
        return f"{now}: no value from {margin.allowed[0]:g} to {margin.allowed[1]:g} crosses it, the rest left as it is"
    verb = "turns it over" if margin.kind == "flip" else "is refused"
    sooner = f" (sooner in the way: {', '.join(margin.sooner)})" if margin.sooner else ""
    if margin.crossing == margin.value:
        return f"{now} is its limit: {'more' if margin.way == 'up' else 'less'} {verb}"
    return f"{now} -> {margin.crossing:.4g} {verb}{sooner}"
