"""Tell what a band weighs and costs, in one alloy or several."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, NamedTuple

from bandgen.commands.common import add_spec, read_spec, tolerate, with_source
from bandgen.errors import Problem, SpecError

if TYPE_CHECKING:
    from bandgen.layout.numbers import Layout
    from bandgen.spec import Spec

NAME = "weigh"
HELP = "tell what a band weighs and costs, in one alloy or several"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Spec, alloys, how the volume is found, output."""
    add_spec(parser)
    alloys = parser.add_mutually_exclusive_group()
    alloys.add_argument("--alloy", nargs="+", metavar="NAME", help="alloys instead of the spec's own")
    alloys.add_argument("--all-alloys", action="store_true", help="every alloy that is known")
    parser.add_argument(
        "--compensation",
        type=float,
        metavar="FACTOR",
        help="the pattern's size to the design's, as 1.0101 (default: by the spec's casting table)",
    )
    parser.add_argument("--solid", action="store_true", help="measure the mesh: its area gives finished weights too")
    parser.add_argument("--json", action="store_true", help="print plain data instead of the table")


def run(options: argparse.Namespace) -> int:
    """0 weighed, 1 the mesh is unsound."""
    tolerate(sys.stdout)
    _check_factor(options.compensation)
    asked = read_spec(options)
    alloys = _alloys(options, asked)
    from bandgen.reports.weights import band_alone

    spec = band_alone(asked)
    measured = with_source(_measure if options.solid else _predict, spec, options.spec)
    told = _told(measured, alloys, options.compensation)
    print(json.dumps(told, indent=1, allow_nan=False) if options.json else _table(told))
    return 0 if measured.sound else 1


class _Measured(NamedTuple):
    """A band's volume with the bound on its error, and its area where a mesh was made."""

    layout: Layout
    volume_mm3: float
    error_mm3: float
    area_mm2: float | None
    sound: bool


def _check_factor(factor: float | None) -> None:
    if factor is not None and not 0.9 <= factor <= 1.2:
        raise SpecError([Problem("--compensation", "must lie in 0.9 to 1.2", factor)], "command line")


def _alloys(options: argparse.Namespace, spec: Spec) -> list[str]:
    """The alloys asked for, in their order; the spec's own where none is."""
    from bandgen.trade.alloys import ALLOYS

    names = list(ALLOYS) if options.all_alloys else list(dict.fromkeys(options.alloy or [spec.metal.alloy]))
    unknown = [name for name in names if name not in ALLOYS]
    if unknown:
        rule = f"must be one of {', '.join(sorted(ALLOYS))}"
        raise SpecError([Problem("--alloy", rule, name) for name in unknown], "command line")
    return names


def _predict(spec: Spec) -> _Measured:
    """By numbers alone."""
    from bandgen.inspection.volume_prediction import predict_volume
    from bandgen.layout.compute import compute_layout

    layout = compute_layout(spec)
    return _Measured(layout, *predict_volume(layout), area_mm2=None, sound=True)


def _measure(spec: Spec) -> _Measured:
    """On the mesh."""
    from bandgen.pipeline import generate

    band = generate(spec)
    return _Measured(band.layout, band.topology.volume, 0.0, band.topology.area, band.sound)


def _told(measured: _Measured, alloys: Sequence[str], compensation: float | None) -> dict[str, Any]:
    """Plain data."""
    from bandgen.reports.costing import costing
    from bandgen.reports.weights import carat_total

    layout, volume = measured.layout, measured.volume_mm3
    cost = costing(layout, volume)
    return {
        "name": layout.spec.name,
        "stone_count": layout.stone_count,
        "carat_total": carat_total(layout),
        "volume_mm3": volume,
        "volume_error_mm3": measured.error_mm3,
        "area_mm2": measured.area_mm2,
        "compensation": compensation or layout.spec.casting.factor,
        "alloys": [_in_alloy(measured, name, compensation) for name in alloys],
        **({"cost": asdict(cost)} if cost else {}),
    }


def _in_alloy(measured: _Measured, name: str, compensation: float | None) -> dict[str, Any]:
    from bandgen.reports.weights import weights
    from bandgen.trade.alloys import ALLOYS

    alloy = ALLOYS[name]
    rows = weights(measured.layout, measured.volume_mm3, measured.area_mm2, name, compensation)
    return {
        "alloy": name,
        "density_g_cm3": alloy.density_g_cm3,
        "confidence": alloy.confidence,
        "conflict": alloy.conflict,
        "source": alloy.source,
        "weights": [asdict(row) for row in rows],
    }


def _table(told: dict[str, Any]) -> str:
    """One alloy with what each weight assumes; several side by side."""
    area = "" if told["area_mm2"] is None else f", {told['area_mm2']:.1f} mm2 of surface"
    within = f" within {told['volume_error_mm3']:.2f}, no solid made" if told["volume_error_mm3"] else " of the mesh"
    lines = [
        f"{told['name']}: {told['stone_count']} stones, {told['carat_total']:.3f} ct; "
        f"{told['volume_mm3']:.2f} mm3{within}{area}",
        "",
        *(_one(told["alloys"][0]) if len(told["alloys"]) == 1 else _several(told["alloys"])),
        *(f"note: {each['alloy']}: {each['conflict']}" for each in told["alloys"] if each["conflict"]),
        *([] if told["area_mm2"] is not None else ["note: weights finished by what comes off the skin need --solid"]),
        *(["", *_cost(told["cost"])] if "cost" in told else []),
    ]
    return "\n".join(lines)


def _one(entry: dict[str, Any]) -> list[str]:
    head = f"{entry['alloy']}, {entry['density_g_cm3']:g} g/cm3, confidence {entry['confidence']}"
    rows = [f"  {row['what']:<24}{row['grams']:>8.3f} g  {row['assumed']}" for row in entry["weights"]]
    return [head, *rows, "", *_sources(entry)]


def _several(entries: Sequence[dict[str, Any]]) -> list[str]:
    """A row an alloy; a numbered column a weight, told once below."""
    numbered = list(enumerate(entries[0]["weights"], 1))
    head = f"{'grams':<16}{'g/cm3':>7}" + "".join(f"{index:>9}" for index, _ in numbered)
    rows = [
        f"{each['alloy']:<16}{each['density_g_cm3']:>7.2f}"
        + "".join(f"{row['grams']:>9.3f}" for row in each["weights"])
        for each in entries
    ]
    legend = [f"{index:>2} {row['what']}: {row['assumed']}" for index, row in numbered]
    return [head, *rows, "", *legend, "", *(f"{each['alloy']}: {each['source']}" for each in entries)]


def _sources(entry: dict[str, Any]) -> list[str]:
    """Each source once, after the weights that it is for."""
    by_source: dict[str, list[str]] = {}
    for row in entry["weights"]:
        by_source.setdefault(row["source"], []).append(row["what"])
    return [f"source of {'; '.join(names)}: {source}" for source, names in by_source.items()]


def _cost(cost: dict[str, Any]) -> list[str]:
    """Each part with its formula and values."""
    unit = cost["currency"] or "(no currency given)"
    rows = [
        f"  {part['what']:<24}{part['amount']:>12.2f}  {part['formula']}"
        f"; {', '.join(f'{name} = {value:.6g} {kind}'.rstrip() for name, value, kind in part['inputs'])}"
        for part in cost["parts"]
    ]
    return [f"cost in {unit}, by the prices given", *rows, f"  {'total':<24}{cost['total']:>12.2f}"]
