"""Verify any STL, 3MF or STEP file."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from bandgen.commands.common import Progress

NAME = "check"
HELP = "verify any STL, 3MF or STEP file"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """File, output."""
    parser.add_argument("file", metavar="FILE")
    parser.add_argument("--json", action="store_true", help="print the findings as JSON")


def run(options: argparse.Namespace) -> int:
    """0 clean, 1 a fault found."""
    from bandgen.inspection.file import inspect_file

    progress = Progress(options.json)
    progress("reading and verifying the file")
    result = inspect_file(Path(options.file), progress)
    progress.close()
    if options.json:
        print(json.dumps(result, indent=1, allow_nan=False))
    else:
        for key in ("file", "triangles", "bodies", "cavities", "genus", "watertight", "volume_mm3", "bounds_mm"):
            print(f"{key:<12}{result[key]}")
        for finding in result["findings"]:
            place = f" at {finding['place']['point']}" if finding["place"]["point"] else ""
            print(f"{finding['severity']:<12}{finding['code']}: {finding['measured']} {finding['text']}{place}")
    return 1 if any(finding["severity"] == "error" for finding in result["findings"]) else 0
