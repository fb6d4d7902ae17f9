"""Measure a band's solid: walls, edges, slots, casting cores, against the trade's limits or a house's."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bandgen.commands.common import Progress, add_spec, measurable, read_spec, tolerate, with_source

if TYPE_CHECKING:
    from bandgen.inspection.findings import Finding
    from bandgen.inspection.solid_map import Recess, SolidMap, ThinPlaces
    from bandgen.layout.numbers import Layout
    from bandgen.pipeline import Band

NAME = "inspect"
HELP = "measure a band's solid: walls, edges, slots, casting cores, by the trade's limits or a house's"
COLOURS = ("dark red", "red", "yellow", "green", "blue")
"""Of the maps, at the stops of their scale."""
SHOWN = 6
"""Lines of each kind; all are in the JSON."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Spec, house rules, maps, output."""
    add_spec(parser)
    parser.add_argument("--profile", metavar="HOUSE.toml", help="limits and severities of a caster or bureau")
    parser.add_argument("--map", metavar="FILE.ply", help="write the thickness of the metal as coloured triangles")
    parser.add_argument("--space-map", metavar="FILE.ply", help="write the width of the space outside likewise")
    parser.add_argument("--json", action="store_true", help="print plain data instead of the table")


def run(options: argparse.Namespace) -> int:
    """0 all well or warnings, 1 a finding of severity "error"."""
    tolerate(sys.stdout)
    spec = read_spec(options)
    from bandgen.inspection.house import RULED, apply_profile
    from bandgen.inspection.solid_map import map_solid, measure_recesses, thin_places
    from bandgen.inspection.solid_rules import judge_solid
    from bandgen.layout.compute import compute_layout
    from bandgen.pipeline import generate
    from bandgen.trade.profile import read_profile

    profile = None if options.profile is None else read_profile(options.profile, RULED)
    with_source(compute_layout, spec, options.spec)
    progress = Progress(options.json)
    progress("building and verifying the mesh")
    band = generate(spec)
    progress("measuring the solid")
    fine = measurable(band, spec)
    maps, recesses = map_solid(fine.layout, fine.mesh), measure_recesses(fine.layout, fine.mesh)
    thin = thin_places(fine.layout, maps)
    findings = [*judge_solid(band.layout, band.mesh, thin, recesses), *band.findings]
    if profile is not None:
        findings = apply_profile(findings, profile)
    progress.close()
    written = _write_maps(options, fine.layout, maps)
    data = _data(band, profile.name if profile else None, findings, thin, recesses)
    print(json.dumps(data, indent=1, allow_nan=False) if options.json else "\n".join(_lines(data) + written))
    return 1 if any(finding.severity == "error" for finding in findings) else 0


def _write_maps(options: argparse.Namespace, layout: Layout, maps: SolidMap) -> list[str]:
    """A line for each file, and their scale."""
    from bandgen.inspection.thickness_map import STOPS_MM, encode_map

    lines = []
    for path, outside in ((options.map, False), (options.space_map, True)):
        if path is not None:
            Path(path).write_bytes(encode_map(layout, maps, outside))
            lines.append(f"{'map':<10}{path}")
    scale = ", ".join(f"{colour} {stop:g}" for colour, stop in zip(COLOURS, STOPS_MM, strict=True))
    return [*lines, f"{'':<10}{scale} mm and more, grey beside sharp edges"] if lines else []


def _data(
    band: Band,
    profile: str | None,
    findings: Sequence[Finding],
    thin: ThinPlaces,
    recesses: Sequence[Recess],
) -> dict[str, Any]:
    """All that was measured, as plain data."""
    from dataclasses import asdict

    from bandgen.inspection.solid_map import CAP_MM

    return {
        "name": band.layout.spec.name,
        "profile": profile,
        "cap_mm": CAP_MM,
        "findings": [finding.as_dict() for finding in findings],
        **asdict(thin),
        "recesses": [{**asdict(recess), "depth_mm": recess.core.depth_mm} for recess in recesses],
    }


def _lines(data: dict[str, Any]) -> list[str]:
    """The table: what to look at first, then what was measured."""
    bad = [finding for finding in data["findings"] if finding["severity"] not in ("ok", "note")]
    told = [finding for finding in data["findings"] if finding["severity"] != "ok"]
    lines = [f"{'band':<10}{data['name']}" + (f", by the rules of {data['profile']}" if data["profile"] else "")]
    lines += [f"{'checks':<10}{len(data['findings']) - len(bad)} passed, {len(bad)} to look at"]
    lines += [f"  {finding['severity']:<8}{_told(finding)}" for finding in told]
    for kind in ("walls", "edges", "spaces"):
        shown = [_place(thin) for thin in data[kind][:SHOWN]] or [f"none under {data['cap_mm']:g} mm"]
        lines += [f"{kind if not at else '':<10}{text}" for at, text in enumerate(shown)]
    worst = sorted(data["recesses"], key=lambda recess: -recess["core"]["ratio"])
    lines += [f"{'recess' if not at else '':<10}{_recess(each)}" for at, each in enumerate(worst[:SHOWN])]
    return lines if len(worst) <= SHOWN else [*lines, f"{'':<10}and {len(worst) - SHOWN} more kinds (--json)"]


def _told(finding: dict[str, Any]) -> str:
    measured, limit = (f"{v:.4g}" if isinstance(v, float) else str(v) for v in (finding["measured"], finding["limit"]))
    return f"{finding['code']}: {measured}, limit {limit} ({finding['text']}; {finding['source']})"


def _place(thin: dict[str, Any]) -> str:
    x, y, z = thin["point"]
    stone = "" if thin["station"] is None else f"stone {thin['station']}, "
    where = f"{stone}seam {thin['seam']}, at {x:.2f} {y:.2f} {z:.2f}"
    return f"{thin['mm']:.3f} mm between {' and '.join(thin['parts'])}, {where}"


def _recess(recess: dict[str, Any]) -> str:
    core = recess["core"]
    held = "through" if core["through"] else f"blind, {core['floor_mm']:.3f} mm of metal below"
    ratio = f"depth over width {core['ratio']:.2f}, {core['top_mm'] - core['at_mm']:.3f} mm down"
    size = f"{core['width_mm']:.3f} mm wide, {recess['depth_mm']:.3f} mm deep"
    row = f" at z {recess['point'][2]:.2f}" if recess["point"][2] else ""
    return f"stone {recess['station']}{row}: {size}, {ratio}; {held}"
