"""Show a band after setting: its finished prongs, its weight, and two STL files, metal and stones."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from bandgen.commands.common import Progress, add_spec, read_spec, tolerate, with_source

NAME = "set"
HELP = "the band after setting: grip, finished weight, metal and stones as STL"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Spec, folder, finish, output."""
    add_spec(parser)
    parser.add_argument("--out", metavar="DIR", help="folder for the files (default: named after the band)")
    parser.add_argument(
        "--contact", type=float, default=40.0, metavar="PERCENT", help="of the crown that a prong covers (default: 40)"
    )
    parser.add_argument(
        "--height", type=float, default=70.0, metavar="PERCENT", help="of the crown's height, of a tip (default: 70)"
    )
    parser.add_argument("--json", action="store_true", help="print everything as JSON instead of the table")


def run(options: argparse.Namespace) -> int:
    """0 sound, 1 unsound."""
    tolerate(sys.stdout)
    asked = read_spec(options)
    from bandgen.layout.compute import compute_layout
    from bandgen.layout.set_dome import Finish
    from bandgen.layout.set_numbers import set_layout
    from bandgen.reports.weights import as_finished

    spec = as_finished(asked)
    finish = Finish(options.contact / 100.0, options.height / 100.0)
    with_source(lambda given: set_layout(compute_layout(given), finish), spec, options.spec)
    from bandgen.as_set import set_stones, summary, write_as_set
    from bandgen.exporters.files import safe_name
    from bandgen.pipeline import generate

    progress = Progress(options.json)
    progress("building and setting the band")
    band = generate(spec)
    as_set = set_stones(band, finish)
    folder = Path(options.out if options.out is not None else safe_name(spec.name))
    sound = band.sound and as_set.sound
    data = {**summary(as_set), "files": write_as_set(as_set, folder) if sound else []}
    progress.close()
    print(json.dumps(data, indent=1, allow_nan=False) if options.json else _table(data, band.record, folder))
    return 0 if sound else 1


def _table(data: dict[str, Any], blank: dict[str, Any], folder: Path) -> str:
    prongs = data["prongs"]
    grips = [grip for prong in prongs for grip in prong["grips"]]
    bad = [finding for finding in data["findings"] if finding["severity"] != "ok"]
    push = max(grip["push_mm"] for grip in grips)
    rows = [
        ("band", f"{data['name']}, as set"),
        ("contact", f"{_percent(grips, 'contact')} of the crown, girdle to table; {_pushed(push)}"),
        ("tip", f"{_percent(grips, 'height')} of the crown's height"),
        ("notch", f"{_percent(grips, 'notch')} of the prong, {_percent(grips, 'heel')} left behind it"),
        ("section", f"{_percent(prongs, 'section_left')} left, {_percent(prongs, 'stiffness_left')} of the stiffness"),
        ("cut", f"{data['cut_mm3']:.2f} mm3, {data['cut_g']:.2f} g off the blank"),
        ("metal", f"{data['volume_mm3']:.2f} mm3, {data['metal_g']:.2f} g of {blank['spec']['metal']['alloy']}"),
        ("checks", f"{len(data['findings']) - len(bad)} passed, {len(bad)} to look at"),
        *((f"  {finding['severity']}", _told(finding)) for finding in bad),
        *(("file", f"{folder / entry['name']} ({entry['bytes']} bytes)") for entry in data["files"]),
    ]
    return "\n".join(f"{label:<10}{text}" for label, text in rows)


def _percent(items: list[dict[str, Any]], key: str) -> str:
    """The value of all, or the least and the greatest."""
    low, high = (100.0 * pick(item[key] for item in items) for pick in (min, max))
    return f"{high:.1f} %" if f"{low:.1f}" == f"{high:.1f}" else f"{low:.1f} to {high:.1f} %"


def _pushed(push_mm: float) -> str:
    """What is left to the pusher."""
    return f"push {push_mm:.3f} mm over for the rest" if push_mm > 0.0005 else "as asked"


def _told(finding: dict[str, Any]) -> str:
    return f"{finding['code']}: {finding['measured']:.4g}, limit {finding['limit']:.4g} ({finding['text']})"
