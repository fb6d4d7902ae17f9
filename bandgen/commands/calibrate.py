"""A house's own compensation from its measured rings."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from bandgen.commands.common import tolerate

if TYPE_CHECKING:
    from bandgen.reports.calibration import Profile
    from bandgen.reports.house_fit import Fit, Outlier

NAME = "calibrate"
HELP = "a house's compensation from measured finished rings"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Measured rings, profile, output."""
    parser.add_argument(
        "measured",
        metavar="MEASURED.csv",
        help="one ring a row: designed_bore_mm, finished_bore_mm, designed_width_mm, finished_width_mm, alloy, note",
    )
    parser.add_argument("--out", metavar="PROFILE.toml", help="write the profile there")
    parser.add_argument("--json", action="store_true", help="print the profile as JSON")


def run(options: argparse.Namespace) -> int:
    """0: rows that lie off are named, and stay in."""
    tolerate(sys.stdout)
    from bandgen.reports.calibration import calibrate, encode_profile, profile_dict
    from bandgen.reports.house_rings import read_rings

    profile, outliers = calibrate(read_rings(Path(options.measured)))
    if options.out:
        _write(Path(options.out), encode_profile(profile))
    if options.json:
        plain = {**profile_dict(profile), "outliers": [asdict(each) for each in outliers]}
        print(json.dumps(plain, indent=1, allow_nan=False))
    else:
        print(_told(profile, outliers) + (f"\nprofile written to {options.out}" if options.out else ""))
    return 0


def _write(path: Path, text: str) -> None:
    from bandgen.exporters.files import open_folder, write_all

    write_all(open_folder(path.parent), {path.name: text.encode()})


def _told(profile: Profile, outliers: tuple[Outlier, ...]) -> str:
    alloys = f" of {', '.join(profile.alloys)}" if profile.alloys else ""
    lines = [
        f"{profile.data}: {profile.measured} rings{alloys}",
        f"\n{'':<7}{'rows':>4}  {'scale (95 %)':<22}{'offset mm (95 %)':<20}{'scatter, sd':<14}{'designed sizes':<18}",
        *map(_row, profile.fits),
        "",
        *(_example(profile, fit) for fit in profile.fits),
        *map(_rule, profile.fits),
        *map(_outlier, outliers),
    ]
    if len(profile.alloys) > 1:
        lines.append("note: several alloys in one fit; a file for each tells whether they differ")
    return "\n".join(lines)


def _row(fit: Fit) -> str:
    scale = f"{fit.scale:.5f} +- {fit.scale_half:.5f}"
    offset = f"{fit.offset_mm:+.3f} +- {fit.offset_half_mm:.3f}" if fit.with_offset else "none fitted"
    sizes = f"{fit.least_mm:g} to {fit.most_mm:g} mm"
    return f"{fit.quantity:<7}{fit.measured:>4}  {scale:<22}{offset:<20}{f'{fit.residual_sd_mm:.3f} mm':<14}{sizes}"


def _example(profile: Profile, fit: Fit) -> str:
    """What to design for the middle of the sizes."""
    from bandgen.reports.calibration import designed_for

    finished = round(fit.finished((fit.least_mm + fit.most_mm) / 2.0), 1)
    designed = designed_for(profile, finished, fit.quantity)
    half = fit.next_half_mm(designed)
    told = f"for a finished {fit.quantity} of {finished:.2f} mm design {designed:.3f} mm"
    return f"{told}; the next ring comes within +- {half:.3f} mm of it (95 %)"


def _rule(fit: Fit) -> str:
    from bandgen.reports.house_fit import LEAST_WITH_OFFSET, WIDE_RANGE

    if fit.with_offset:
        told = f"{fit.quantity}: scale and offset, as the sizes reach to {WIDE_RANGE:g} times the smallest and beyond"
        doubtful = abs(fit.offset_mm) <= fit.offset_half_mm
        return told + ("; the offset may be none: 0 lies within its interval" if doubtful else "")
    return (
        f"{fit.quantity}: a scale alone; an offset takes {LEAST_WITH_OFFSET} rows and a largest size "
        f"{WIDE_RANGE:g} times the smallest"
    )


def _outlier(outlier: Outlier) -> str:
    return (
        f"look again at line {outlier.line}: its {outlier.quantity} lies {outlier.residual_mm:+.3f} mm off the line, "
        f"{abs(outlier.studentised):.1f} of its standard deviations (limit {outlier.limit:.1f}); it stays in"
    )
