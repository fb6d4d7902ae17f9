"""A finger size in every system, or all sizes of one."""

from __future__ import annotations

import argparse
import json
import math
import sys
from typing import Any

from bandgen.commands.common import tolerate
from bandgen.errors import Problem, SpecError
from bandgen.trade.conversion import Match, nearest, read_bore, side_by_side
from bandgen.trade.sizes import SYSTEMS, FingerSize, FingerSystem, all_sizes, system_named
from bandgen.trade.width import WIDTH_ADVICE, WidthAdvice, advice_for_width

NAME = "sizes"
HELP = "a finger size in every system, with its millimetres"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Size or system, width, output."""
    parser.add_argument("size", metavar="SIZE", nargs="*", help='such as "UK N 1/2", "US 7", "54.4 mm circumference"')
    parser.add_argument("--table", metavar="SYSTEM", help=f"all sizes of one system: {', '.join(SYSTEMS)}")
    parser.add_argument("--width", type=float, metavar="MM", help="the trade's advice for a band as wide as this")
    parser.add_argument("--json", action="store_true", help="print plain data instead of the table")


def run(options: argparse.Namespace) -> int:
    """Always 0; SpecError for a size that cannot be read."""
    tolerate(sys.stdout)
    data = _asked(options)
    if options.json:
        print(json.dumps(data, indent=1, allow_nan=False))
    elif options.table is not None:
        print("\n".join(_table_lines(data)))
    else:
        print("\n".join(_lines(data)))
    return 0


def _asked(options: argparse.Namespace) -> dict[str, Any]:
    """What the command line asks for, as plain data."""
    text = " ".join(options.size)
    if (options.table is None) == (not text):
        raise _refusal("SIZE", "give a size, or --table and a system", text or None)
    if options.width is not None and not (0.0 < options.width < math.inf and text):
        raise _refusal("--width", "goes with a size, and must be more than 0 mm", options.width)
    try:
        return _table(system_named(options.table)) if options.table is not None else _size(text, options.width)
    except ValueError as cause:
        raise _refusal("--table" if options.table is not None else "SIZE", str(cause)) from None


def _refusal(key: str, rule: str, value: object = None) -> SpecError:
    return SpecError([Problem(key, rule, value)], "command line")


def _size(text: str, width_mm: float | None) -> dict[str, Any]:
    bore = read_bore(text)
    data: dict[str, Any] = {"asked": text, **_numbers(bore), "systems": [_match(match) for match in side_by_side(bore)]}
    if width_mm is not None:
        data["width_mm"] = width_mm
        data["width_advice"] = [_advice(bore, advice) for advice in advice_for_width(width_mm)]
    return {**data, "notes": _notes()}


def _table(system: FingerSystem) -> dict[str, Any]:
    rows = [
        {
            **_numbers(size),
            "nearest": [_match(match) for match in side_by_side(size) if match.size.system != system.name],
        }
        for size in all_sizes(system.name)
    ]
    return {"system": system.name, "source": system.source, "sizes": rows, "notes": _notes()}


def _numbers(size: FingerSize) -> dict[str, Any]:
    return {
        "system": size.system,
        "label": size.label,
        "inner_diameter_mm": round(size.inner_diameter_mm, 4),
        "circumference_mm": round(size.circumference_mm, 4),
    }


def _match(match: Match) -> dict[str, Any]:
    system = SYSTEMS[match.size.system]
    return {
        **_numbers(match.size),
        "off_diameter_mm": round(match.off_diameter_mm, 4) + 0.0,
        "off_circumference_mm": round(match.off_circumference_mm, 4) + 0.0,
        "within": match.within,
        "charts_differ_mm": system.scatter_mm,
        "source": system.source,
        "confidence": system.confidence,
    }


def _advice(bore: FingerSize, advice: WidthAdvice) -> dict[str, Any]:
    wider = FingerSize("mm", "", bore.inner_diameter_mm + advice.more_diameter_mm)
    return {
        "more_diameter_mm": round(advice.more_diameter_mm, 4),
        "more_circumference_mm": round(advice.more_circumference_mm, 4),
        "inner_diameter_mm": round(wider.inner_diameter_mm, 4),
        "nearest": nearest(wider, bore.system).size.label if bore.system in SYSTEMS else None,
        "text": advice.text,
        "source": advice.source,
        "confidence": advice.confidence,
    }


def _notes() -> list[str]:
    """How far charts differ."""
    return [
        f"{system.name} charts differ by up to {system.scatter_mm:g} mm in diameter: give the millimetres with the size"
        for system in SYSTEMS.values()
        if system.scatter_mm
    ]


def _lines(data: dict[str, Any]) -> list[str]:
    lines = [
        f"{data['label']}: inside diameter {data['inner_diameter_mm']:.3f} mm, "
        f"circumference {data['circumference_mm']:.3f} mm",
        "",
        f"{'nearest':<14}{'diameter':>10}{'circumference':>15}{'off dia.':>10}{'off circ.':>12}",
    ]
    for row in data["systems"]:
        beyond = "" if row["within"] else "   beyond its ends"
        lines.append(
            f"{row['label']:<14}{row['inner_diameter_mm']:>10.3f}{row['circumference_mm']:>15.3f}"
            f"{row['off_diameter_mm']:>+10.3f}{row['off_circumference_mm']:>+12.3f}{beyond}"
        )
    lines += ["", "all in mm; off: the nearest less the one asked", *data["notes"]]
    return lines + (_width_lines(data) if "width_mm" in data else [])


def _width_lines(data: dict[str, Any]) -> list[str]:
    width, least = data["width_mm"], WIDTH_ADVICE[0].from_mm
    if not data["width_advice"]:
        return ["", f"a band {width:g} mm wide: no source asks for more room up to {least:g} mm"]
    lines = ["", f"a band {width:g} mm wide feels tighter; advice, not applied, as the sources differ:"]
    for row in data["width_advice"]:
        near = f", nearest {row['nearest']}" if row["nearest"] else ""
        lines.append(
            f"  {row['text']}: {row['more_diameter_mm']:+.3f} mm in diameter, so {row['inner_diameter_mm']:.3f} mm"
            f" inside{near} ({row['source']})"
        )
    return [*lines, "  surest is a gauge of the same width"]


def _table_lines(data: dict[str, Any]) -> list[str]:
    others = [row["system"] for row in data["sizes"][0]["nearest"]]
    lines = [f"{data['system']:<12}{'diameter':>9}{'circumf.':>10}  " + "".join(f"{name:>11}" for name in others)]
    for row in data["sizes"]:
        cells = "".join(f"{_short(match):>11}" for match in row["nearest"])
        lines.append(f"{row['label']:<12}{row['inner_diameter_mm']:>9.3f}{row['circumference_mm']:>10.3f}  {cells}")
    return [*lines, "", "in mm; the nearest of every other system, '-' beyond its ends", *data["notes"]]


def _short(match: dict[str, Any]) -> str:
    return match["label"].split(" ", 1)[1] if match["within"] else "-"
