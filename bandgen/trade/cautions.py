"""Cautions: short, as data with source and confidence, and which of them apply to a band.

They inform; they are no advice on law or health. Each defers to the codes of the place and to those who are licensed.
Sources are those of the project's trade facts, section 7.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Confidence = Literal["high", "medium", "low"]


@dataclass(frozen=True)
class Caution:
    """A caution: its code, in a few words, what it says, when it applies in plain words, and where that is from."""

    code: str
    short: str
    text: str
    when: str
    source: str
    confidence: Confidence


HALLMARK_OVER_G: Mapping[str, float] = MappingProxyType({"Au": 1.0, "Ag": 7.78, "Pt": 0.5, "Pd": 1.0})
"""Metal weight in grams, stones left out, above which the UK asks for a hallmark (anchorcertacademy.net)."""

_NO_RESIZING = Caution(
    "no-resizing",
    "a full circle cannot be resized",
    "A full circle of stones cannot be resized in practice. Before casting, confirm the finger with a gauge of the "
    "same width; a part of the circle left plain keeps the way open. Ask the bench that will look after it.",
    when="full circle",
    source="thekaratstore.us 168761; suwagem.com, quality book 3-11",
    confidence="high",
)
_NICKEL = Caution(
    "nickel",
    "nickel in the alloy",
    "This alloy contains nickel, which can sensitise the skin. In the EU (REACH annex XVII, entry 27; UK REACH alike) "
    "a finger ring may release at most 0.5 ug/cm2 in a week, tested by EN 1811. Ask the alloy's maker and a test "
    "house; the rules of the place of sale hold.",
    when="nickel in the alloy",
    source="REACH annex XVII entry 27: lamez.teg.co.uk/nickel; assayoffice.co.uk on UK REACH",
    confidence="high",
)
_HALLMARK = Caution(
    "hallmark",
    "above the UK's hallmark exemption",
    "In the UK a hallmark is compulsory on what is sold as gold or palladium above 1 g, silver above 7.78 g, platinum "
    "above 0.5 g of metal, and this band is above. Other countries have rules of their own: ask an assay office.",
    when="metal heavier than the UK exempts",
    source="anchorcertacademy.net, exemption weights; What needs to be hallmarked, scribd 85738677",
    confidence="high",
)
_SILICA = Caution(
    "silica",
    "silica dust in investment",
    "Investment powder holds fine crystalline silica; its dust, in mixing and at quench and knock-out, causes "
    "silicosis. Keep it wet, extract it, wear fitted respiratory protection; follow the maker's safety sheet and "
    "the local limit (US OSHA 50 ug/m3 over 8 h).",
    when="casting",
    source="grscastingpowders.com, health and safety; cpwrconstructionsolutions.org; haz-map.com activity 7",
    confidence="high",
)
_BURNOUT = Caution(
    "burnout-fumes",
    "burnout fumes",
    "Burnout gives off acrolein, formaldehyde and carbon monoxide, casting gives off metal fume: vent the kiln to the "
    "outside, as the local fire and air codes ask.",
    when="casting",
    source="haz-map.com activity 7",
    confidence="high",
)
_RESIN = Caution(
    "uncured-resin",
    "uncured resin on the skin",
    "Uncured resin can sensitise the skin for good, and the solvent it was washed in no less: nitrile or neoprene "
    "gloves, eye protection, fresh air; dispose of both by the safety sheet and local rules.",
    when="printing",
    source="radtech.org, safe handling of 3D printing resins; nemakers.notion.site, resin printing safety",
    confidence="high",
)
_LOOSE = Caution(
    "small-parts",
    "loose stones and small parts",
    "Stones work loose and are small parts that a child could swallow or breathe in: have a setter check them after "
    "setting and at intervals, and remove the band for work and near machines.",
    when="always",
    source="common practice, no source",
    confidence="medium",
)

CAUTIONS = (_NO_RESIZING, _NICKEL, _HALLMARK, _SILICA, _BURNOUT, _RESIN, _LOOSE)
"""Every caution, in the order in which they are shown."""


def applying(full_circle: bool, composition: Mapping[str, float], metal_g: float) -> tuple[Caution, ...]:
    """The cautions for a band: whether its stones go all round, its alloy's mass fractions by element, and the
    weight of its metal in grams. What comes with printing and casting always applies."""
    left_out = set()
    if not full_circle:
        left_out.add(_NO_RESIZING.code)
    if composition.get("Ni", 0.0) <= 0.0:
        left_out.add(_NICKEL.code)
    if metal_g <= _exempt_g(composition):
        left_out.add(_HALLMARK.code)
    return tuple(caution for caution in CAUTIONS if caution.code not in left_out)


def _exempt_g(composition: Mapping[str, float]) -> float:
    """The UK's exemption weight of an alloy, by its chief precious metal; without end where it has none."""
    shares = {element: composition.get(element, 0.0) for element in HALLMARK_OVER_G}
    chief = max(shares, key=lambda element: shares[element])
    return HALLMARK_OVER_G[chief] if shares[chief] > 0.0 else float("inf")
