"""Show the working behind a number of a band, or what a check means."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Iterator
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from bandgen.commands.common import Progress, measurable, read_spec, tolerate, with_source
from bandgen.errors import Problem, SpecError

if TYPE_CHECKING:
    from bandgen.inspection.findings import Finding
    from bandgen.reports.working.explain import Explained, Working
    from bandgen.spec import Spec

NAME = "explain"
HELP = "show the working behind a number, or what a check means"

MEASURED = ("volume_mm3", "metal_g")
"""Numbers that need the mesh."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Spec, name, output."""
    parser.add_argument("spec", nargs="?", metavar="SPEC.toml", help="left out to ask what a check means")
    parser.add_argument("name", metavar="NAME", help="a key (seat.draft_deg), a number of the record, or a check")
    parser.add_argument(
        "--set", action="append", default=[], metavar="table.key=value", help="replace a value of the spec"
    )
    parser.add_argument("--json", action="store_true", help="print it as JSON")


def run(options: argparse.Namespace) -> int:
    """Always 0; an unknown name is refused."""
    tolerate(sys.stdout)
    told = _of_check(options.name) if options.spec is None else _of_band(options)
    print(json.dumps(told.as_dict(), indent=1, allow_nan=False) if options.json else _text(told))
    return 0


def _of_check(name: str) -> Explained:
    from bandgen.reports.working.explain import explain_check, known_names

    if name.endswith(".toml"):
        raise SpecError([Problem(name, "is a spec: name a key, a number or a check after it")], "explain")
    if "-" not in name and name in known_names() and name not in _codes():
        raise SpecError([Problem(name, "is a number of a band", None, f"bandgen explain SPEC.toml {name}")], "explain")
    return explain_check(name)


def _codes() -> Any:
    from bandgen.reports.working.checks import CHECKS

    return CHECKS


def _of_band(options: argparse.Namespace) -> Working | Explained:
    from bandgen.layout.compute import compute_layout
    from bandgen.reports.working.explain import explain_number, refuse_unknown

    refuse_unknown(options.name)
    spec = read_spec(options)
    layout = with_source(compute_layout, spec, options.spec)
    if options.name in _codes():
        return _of_finding(spec, layout, options.name)
    volume = None
    if options.name in MEASURED:
        from bandgen.pipeline import generate

        volume = generate(spec).topology.volume
    return explain_number(layout, spec, options.name, volume)


def _of_finding(spec: Spec, layout: Any, code: str) -> Explained:
    """What the first look that knows the check finds."""
    from bandgen.reports.working.explain import explain_check, explain_finding

    progress = Progress(False)
    for findings in _looks(spec, layout, code, progress):
        found = next((finding for finding in findings if finding.code == code), None)
        if found is not None:
            progress.close()
            return explain_finding(layout, spec, found)
    progress.close()
    return explain_check(code)


def _looks(spec: Spec, layout: Any, code: str, progress: Progress) -> Iterator[Iterable[Finding]]:
    """At the numbers, the mesh (the exact solid too where the check is between both), the solid, the band as set."""
    from bandgen.inspection.rules import RULES
    from bandgen.inspection.setting import inspect_setting
    from bandgen.layout.casting import finished

    yield inspect_setting(finished(layout), RULES)
    from bandgen.pipeline import generate, with_exact_findings

    progress("building and verifying the mesh")
    band = generate(spec)
    yield (with_exact_findings(band, progress) if code.startswith("exact-") else band).findings
    from bandgen.inspection.solid_map import map_solid, measure_recesses, thin_places
    from bandgen.inspection.solid_rules import judge_solid

    progress("measuring the solid")
    fine = measurable(band, spec)
    thin = thin_places(fine.layout, map_solid(fine.layout, fine.mesh))
    yield judge_solid(band.layout, band.mesh, thin, measure_recesses(fine.layout, fine.mesh))
    from bandgen.as_set import set_stones
    from bandgen.reports.weights import as_finished

    progress("setting the band")
    with suppress(SpecError):  # prongs that cannot be finished so have no finding: "bandgen set" says why
        yield set_stones(generate(as_finished(spec))).findings


def _text(told: Working | Explained) -> str:
    from bandgen.reports.working.explain import Explained

    return "\n".join(_explained(told) if isinstance(told, Explained) else _working(told))


def _explained(told: Explained) -> list[str]:
    check, finding = told.check, told.finding
    lines = [f"{check.code}: {check.meaning}"]
    if finding is not None:
        lines += [
            f"  {finding.severity}: measured {_number(finding.measured)}, limit {_number(finding.limit)}",
            f"  {'':9}{finding.text}",
        ]
    lines += [f"  measured {check.measured}", f"  why      {check.why}"]
    if finding is not None:
        lines.append(f"  source   {finding.source}")
    return lines if told.working is None else [*lines, *_formula(told.working)]


def _working(told: Working) -> list[str]:
    lines = [f"{told.key} = {_number(told.value)} {told.unit}".rstrip(), *_formula(told), f"  source   {told.source}"]
    return lines if not told.note else [*lines, f"  note     {told.note}"]


def _formula(told: Working) -> list[str]:
    found = any(sign in told.formula for sign in ("==", "<", ">"))
    first = "  found so that" if found else f"  {told.symbol} ="
    lines = [f"{first} {told.formula.replace('==', '=').replace('**', '^')}"]
    width = max((len(each.name) for each in told.inputs), default=0)
    return lines + [
        f"    {each.name:<{width}} = {_number(each.value)} {each.unit}".rstrip() + f"  ({each.key})"
        for each in told.inputs
    ]


def _number(value: Any) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)
