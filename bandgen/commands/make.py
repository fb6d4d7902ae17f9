"""Make a band's files from a spec."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from pathlib import Path
from typing import Any

from bandgen.commands.common import Progress, add_spec, read_spec, tolerate, with_source
from bandgen.exporters import FORMAT_NAMES, check_formats

NAME = "make"
HELP = "make a band's files from a spec"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Spec, folder, formats, output."""
    add_spec(parser)
    parser.add_argument("--out", metavar="DIR", help="folder for the files (default: named after the band)")
    parser.add_argument(
        "--formats", default=",".join(FORMAT_NAMES), metavar="LIST", help="of stl,3mf,step (default: all)"
    )
    parser.add_argument(
        "--keep-rejected", action="store_true", help="write a band that failed a check, marked .rejected"
    )
    parser.add_argument("--json", action="store_true", help="print the record instead of the table")
    parser.add_argument("--quiet", action="store_true", help="print nothing but errors")


def run(options: argparse.Namespace) -> int:
    """0 sound, 1 unsound."""
    tolerate(sys.stdout)
    formats = tuple(part.strip().lower() for part in options.formats.split(",") if part.strip())
    check_formats(formats)
    spec = read_spec(options)
    from bandgen.layout.compute import compute_layout

    with_source(compute_layout, spec, options.spec)  # a spec that cannot be made never loads an engine
    from bandgen.exporters.files import safe_name
    from bandgen.pipeline import export, generate

    folder = Path(options.out if options.out is not None else safe_name(spec.name))
    progress = Progress(options.quiet)
    progress("building and verifying the mesh")
    band = export(generate(spec), folder, formats, options.keep_rejected, progress)
    progress.close()
    if options.json:
        print(json.dumps(band.record, indent=1, allow_nan=False))
    elif not options.quiet:
        print(_table(band.record, folder))
    for finding in band.findings:
        if finding.severity == "error":
            print(f"error: {finding.code}: {finding.measured} ({finding.text})", file=sys.stderr)
    return 0 if band.sound else 1


def _table(record: dict[str, Any], folder: Path) -> str:
    spec, bounds = record["spec"], record["bounds_mm"]
    finger = spec["finger"].get("size", "")
    bad = [finding for finding in record["findings"] if finding["severity"] not in ("ok", "note")]
    rows = [
        ("band", record["name"]),
        ("stones", _stones(record)),
        ("spacing", f"{record['girdle_gap_mm']:.3f} mm between girdles"),
        ("bore", f"{record['inner_diameter_mm']:.3f} mm {finger}".rstrip()),
        (
            "size",
            f"{bounds[1][0] - bounds[0][0]:.2f} mm across, {bounds[1][2] - bounds[0][2]:.2f} mm wide{_with(record)}",
        ),
        ("metal", f"{_metal_mm3(record):.2f} mm3, {record['metal_g']:.2f} g of {spec['metal']['alloy']}"),
        *((("cost", f"{record['cost']['total']:.2f} {record['cost']['currency']}"),) if "cost" in record else ()),
        *(("casting", text) for text in _casting(record["casting"])),
        ("mesh", f"{record['triangles']} triangles, genus {record['genus']}, {record['bodies']} body"),
        ("checks", f"{len(record['findings']) - len(bad)} passed, {len(bad)} to look at"),
        *((f"  {finding['severity']}", _told(finding)) for finding in bad),
        *(("file", f"{folder / entry['name']} ({entry['bytes']} bytes)") for entry in record["files"].values()),
        ("cautions", "; ".join(caution["short"] for caution in record["cautions"])),
        ("", "(in full in the record; local codes and licensed practice go first)"),
    ]
    return "\n".join(f"{label:<10}{text}" for label, text in rows)


def _metal_mm3(record: dict[str, Any]) -> float:
    """Of the band alone."""
    volume: float = record["volume_mm3"] - record["casting"]["cut_off_mm3"]
    return volume


def _with(record: dict[str, Any]) -> str:
    return " with its sprues" if record["casting"]["cut_off_mm3"] else ""


def _casting(casting: dict[str, Any]) -> list[str]:
    """What the files make up for, and what is cut off."""
    texts = []
    if casting["factor"] != 1.0:
        texts.append(f"files {casting['factor']:.6g} times the design")
    if casting["printed_bore_mm"] != casting["finished_bore_mm"]:
        texts.append(f"bore {casting['printed_bore_mm']:.3f} mm in the files")
    if casting["cut_off_mm3"]:
        stations = ", ".join(map(str, casting["sprue_stations"]))
        texts.append(f"sprues at stations {stations}: {casting['cut_off_mm3']:.2f} mm3 to cut off")
    return texts


def _stones(record: dict[str, Any]) -> str:
    """How many of which size and material; only the range of sizes where there are many."""
    kinds = Counter((stone["diameter_mm"], stone["material"]) for stone in record["stones"])
    if len(kinds) <= 4:
        return ", ".join(f"{often} x {size:g} mm {name}" for (size, name), often in kinds.items())
    sizes, materials = zip(*kinds, strict=True)
    return f"{record['stone_count']}, {max(sizes):g} to {min(sizes):g} mm {', '.join(sorted(set(materials)))}"


def _told(finding: dict[str, Any]) -> str:
    measured, limit = _number(finding["measured"]), _number(finding["limit"])
    return f"{finding['code']}: {measured}, limit {limit} ({finding['text']})"


def _number(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)
