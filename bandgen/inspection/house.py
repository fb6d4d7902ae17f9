"""Findings judged again by a house's rules: which codes a house may rule on, and what its limits make of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType

from bandgen.inspection.findings import Finding, Sense, at_least, at_most
from bandgen.trade.profile import HouseLimit, Profile

_LEAST = (
    "arch-arch arch-recess core-width culet-clearance culet-floor edge-thickness feet-joint floor floor-edge "
    "girdle-gap hoop-beside-opening hoop-edge hoop-whole pair-width prong-gap prong-in-cup recess-wall "
    "recess-wall-asked recess-width seat-metal shank-edge shank-sizing shank-thickness shank-width slot-width "
    "stone-on-bearing wall-thickness"
)
_MOST = (
    "comfort-crown contact-angle core-ratio core-slender girdle-depth mesh-deviation prong-overlap prong-section "
    "recess-depth"
)
RULED: Mapping[str, Sense] = MappingProxyType(
    {**dict.fromkeys(_LEAST.split(), "least"), **dict.fromkeys(_MOST.split(), "most")}
)
"""The rules of the trade by code, with the side of the limit on which all is well. What makes a solid unsound is no
house's to allow."""


def apply_profile(findings: Iterable[Finding], profile: Profile) -> list[Finding]:
    """The findings, those that the house rules on judged by its limits and of its severities."""
    return [
        _judged(finding, profile.limits[finding.code], profile.name) if finding.code in profile.limits else finding
        for finding in findings
    ]


def _judged(finding: Finding, house: HouseLimit, name: str) -> Finding:
    if house.limit is None:
        return finding if finding.severity == "ok" else replace(finding, severity=house.severity or finding.severity)
    if isinstance(finding.measured, str):  # such as a floor where the recess goes through
        return finding
    judge = at_least if RULED[finding.code] == "least" else at_most
    severity = house.severity or "warning"
    text, place = finding.text, finding.place
    return judge(finding.code, float(finding.measured), house.limit, text, f"{name}, house rules", place, severity)
