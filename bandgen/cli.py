"""The command line: arguments, exit codes, progress. No decisions.

Exit codes: 0 good; 1 computed, but a check of severity "error" failed; 2 bad spec, file or usage; 3 kernel or I/O.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import threading
import tomllib
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from bandgen.errors import BandgenError, Problem, SpecError
from bandgen.exporters import FORMAT_NAMES, check_formats


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code."""
    options = _parser().parse_args(arguments)
    try:
        code = int(options.run(options))
        sys.stdout.flush()
        return code
    except BandgenError as error:
        _complain(error)
        return error.exit_code
    except BrokenPipeError:  # the reader of the table has gone; the files are written
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 3
    except OSError as error:
        _complain(f"cannot write the output: {error}")
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 3
    except KeyboardInterrupt:
        _complain("interrupted")
        return 130


def _complain(text: object) -> None:
    """To standard error, whatever its encoding can hold."""
    encoding = sys.stderr.encoding or "ascii"
    print(str(text).encode(encoding, "backslashreplace").decode(encoding), file=sys.stderr)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="bandgen", description="From a short spec to a gem-set eternity band.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    make = commands.add_parser("make", help="make a band's files from a spec")
    make.add_argument("spec", metavar="SPEC.toml")
    make.add_argument("--out", metavar="DIR", help="folder for the files (default: named after the band)")
    make.add_argument(
        "--set", action="append", default=[], metavar="table.key=value", help="replace a value of the spec"
    )
    make.add_argument(
        "--formats", default=",".join(FORMAT_NAMES), metavar="LIST", help="of stl,3mf,step (default: all)"
    )
    make.add_argument("--keep-rejected", action="store_true", help="write a band that failed a check, marked .rejected")
    make.add_argument("--json", action="store_true", help="print the record instead of the table")
    make.add_argument("--quiet", action="store_true", help="print nothing but errors")
    make.set_defaults(run=_make)
    check = commands.add_parser("check", help="verify any STL, 3MF or STEP file")
    check.add_argument("file", metavar="FILE")
    check.add_argument("--json", action="store_true", help="print the findings as JSON")
    check.set_defaults(run=_check)
    schema = commands.add_parser("schema", help="print the spec's JSON Schema")
    schema.set_defaults(run=_schema)
    return parser


def _make(options: argparse.Namespace) -> int:
    _tolerate(sys.stdout)
    formats = tuple(part.strip().lower() for part in options.formats.split(",") if part.strip())
    check_formats(formats)
    changes = dict(_change(text) for text in options.set)
    from bandgen.spec import load_spec

    spec = load_spec(options.spec, changes)
    from bandgen.layout.compute import compute_layout

    with_source(compute_layout, spec, options.spec)  # a spec that cannot be made never loads an engine
    from bandgen.exporters.files import safe_name
    from bandgen.pipeline import export, generate

    folder = Path(options.out if options.out is not None else safe_name(spec.name))
    progress = _Progress(options.quiet)
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


def with_source(compute: Any, spec: Any, source: str) -> None:
    """Run a check of the spec, its refusals named after the file."""
    try:
        compute(spec)
    except SpecError as error:
        raise SpecError(list(error.problems), source) from None


def _tolerate(stream: Any) -> None:
    """Letters that the terminal's encoding lacks are escaped, not fatal."""
    if hasattr(stream, "reconfigure"):
        stream.reconfigure(errors="backslashreplace")


def _change(text: str) -> tuple[str, Any]:
    """``table.key=value``; the value as TOML, or else as the text it is."""
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise SpecError([Problem("--set", "must read table.key=value", text)], "command line")
    try:
        return key.strip(), tomllib.loads(f"value = {value}")["value"]
    except tomllib.TOMLDecodeError:
        return key.strip(), value.strip()
    except (ValueError, RecursionError) as cause:  # digits or brackets beyond reason
        raise SpecError([Problem("--set", f"must hold a plain value ({cause})", key)], "command line") from None


class _Progress:
    """Tells of every stage that lasts, once it has lasted two thirds of a second."""

    def __init__(self, quiet: bool) -> None:
        self._quiet = quiet
        self._timer: threading.Timer | None = None

    def __call__(self, stage: str) -> None:
        self.close()
        if not self._quiet:
            self._timer = threading.Timer(0.67, _complain, (f"{stage} ...",))
            self._timer.daemon = True
            self._timer.start()

    def close(self) -> None:
        """The stage has ended."""
        if self._timer is not None:
            self._timer.cancel()


def _table(record: dict[str, Any], folder: Path) -> str:
    spec, bounds = record["spec"], record["bounds_mm"]
    finger = spec["finger"].get("size", "")
    bad = [finding for finding in record["findings"] if finding["severity"] not in ("ok", "note")]
    rows = [
        ("band", record["name"]),
        ("stones", _stones(record)),
        ("spacing", f"{record['girdle_gap_mm']:.3f} mm between girdles"),
        ("bore", f"{record['inner_diameter_mm']:.3f} mm {finger}".rstrip()),
        ("size", f"{bounds[1][0] - bounds[0][0]:.2f} mm across, {bounds[1][2] - bounds[0][2]:.2f} mm wide"),
        ("metal", f"{record['volume_mm3']:.2f} mm3, {record['metal_g']:.2f} g of {spec['metal']['alloy']}"),
        ("mesh", f"{record['triangles']} triangles, genus {record['genus']}, {record['bodies']} body"),
        ("checks", f"{len(record['findings']) - len(bad)} passed, {len(bad)} to look at"),
        *((f"  {finding['severity']}", _told(finding)) for finding in bad),
        *(("file", f"{folder / entry['name']} ({entry['bytes']} bytes)") for entry in record["files"].values()),
    ]
    return "\n".join(f"{label:<10}{text}" for label, text in rows)


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


def _check(options: argparse.Namespace) -> int:
    from bandgen.inspection.file import inspect_file

    progress = _Progress(options.json)
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


def _schema(options: argparse.Namespace) -> int:
    from bandgen.spec import schema

    print(json.dumps(schema(), indent=1))
    return 0
