"""The profile of a house: fitted to its measured rings, told, and written as a small TOML file that
:mod:`bandgen.trade.house_profile` reads and puts to use."""

from __future__ import annotations

import json
from typing import Any

from bandgen.reports.house_fit import Fit, Outlier, compute_fit, find_outliers
from bandgen.reports.house_rings import HouseRings
from bandgen.trade import house_profile
from bandgen.trade.house_profile import designed_for, plain_profile, read_profile

__all__ = ["Profile", "calibrate", "designed_for", "encode_profile", "fit_sureness", "profile_dict", "read_profile"]

Profile = house_profile.Profile[Fit]
"""A profile as fitted: it tells how sure its lines are, too."""


def calibrate(rings: HouseRings) -> tuple[Profile, tuple[Outlier, ...]]:
    """The profile of measured rings, and the rows to look at again."""
    fits = {quantity: compute_fit(quantity, some) for quantity, some in rings.rings.items()}
    outliers = [each for quantity, some in rings.rings.items() for each in find_outliers(fits[quantity], some)]
    told = (rings.name, rings.sha256, rings.alloys, rings.measured)
    return Profile(*told, fits.get("bore"), fits.get("width")), tuple(outliers)


def profile_dict(profile: Profile) -> dict[str, Any]:
    """Plain data, with what follows from each fit."""
    plain = plain_profile(profile)
    for fit in profile.fits:
        plain[fit.quantity] |= fit_sureness(fit)
    return plain


def fit_sureness(fit: Fit) -> dict[str, float]:
    """What follows: halves of the 95 % intervals, that of the next ring at the middle of the sizes."""
    middle = (fit.least_mm + fit.most_mm) / 2.0
    return {
        "scale_95": fit.scale_half,
        "offset_95_mm": fit.offset_half_mm,
        "next_ring_95_mm": fit.next_half_mm(middle),
    }


def encode_profile(profile: Profile) -> str:
    """The profile as TOML; numbers to the last digit, so that it reads back the same."""
    lines = [
        "# House calibration (bandgen calibrate): finished = scale * designed + offset_mm; *_95: half a 95 % interval"
    ]
    for key, value in profile_dict(profile).items():
        if isinstance(value, dict):
            lines += ["", f"[{key}]", *(f"{name} = {_toml(inner)}" for name, inner in value.items())]
        else:
            lines.append(f"{key} = {_toml(value)}")
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    """A string's escapes are JSON's, and one that JSON leaves as it is."""
    return json.dumps(value, allow_nan=False).replace("\x7f", "\\u007f")
