"""Alloys: density, composition, source and how far to trust it; densities by the rule of mixtures.

Volumes add, so 1 / density = sum of mass fraction / density of the element. The mass-weighted mean of densities is
wrong (sterling silver: 10.385 for 10.366). The rule is good to about 0.5 % for gold, silver and platinum alloys of
known recipe and 1 to 2.5 % low for copper with zinc.

A fineness leaves the rest of a recipe open: 14k yellow golds run from 12.9 to 14.6 g/cm3. ``density_g_cm3`` is a
published figure where there is a good one, else the rule of mixtures; the source says which. Compositions "from
memory" are typical recipes (in the manner of ISO 8654), not a maker's data sheet.

Sources are the keys of the project's trade facts, section 3: STU = Stuller, AUE = A&U Enterprises, DBC =
designbuildcast.co.uk, ESPI = espimetals.com, 24C = 24carat.co.uk, PMR = Platinum Metals Review October 2009.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Confidence = Literal["high", "medium", "low"]

ELEMENT_DENSITIES: Mapping[str, float] = MappingProxyType(
    {
        "Ag": 10.5,
        "Au": 19.3,
        "Co": 8.9,
        "Cu": 8.96,
        "Ga": 5.904,
        "Ir": 22.42,
        "Ni": 8.902,
        "Pd": 12.02,
        "Pt": 21.45,
        "Ru": 12.41,
        "Sn": 7.31,
        "Zn": 7.133,
    }
)
"""Density of the elements in g/cm3: the periodictable package, 2.1.0."""


@dataclass(frozen=True)
class Alloy:
    """A metal: density in g/cm3 and composition as mass fractions by element, which add up to 1."""

    name: str
    density_g_cm3: float
    composition: Mapping[str, float]
    source: str
    confidence: Confidence


def _alloy(name: str, density: float, per_mille: str, source: str, confidence: Confidence) -> Alloy:
    """An alloy from a recipe such as "Ag925 Cu75", in parts of a thousand."""
    parts = {item[:2]: int(item[2:]) / 1000.0 for item in per_mille.split()}
    return Alloy(name, density, MappingProxyType(parts), source, confidence)


ALLOYS: Mapping[str, Alloy] = MappingProxyType(
    {
        alloy.name: alloy
        for alloy in (
            _alloy("fine-silver", 10.5, "Ag1000", "24C 10.5, STU 10.53", "high"),
            _alloy("sterling-925", 10.36, "Ag925 Cu75", "ESPI and AUE 10.36, STU 10.40, DBC 10.35", "high"),
            _alloy("9k-yellow", 11.1, "Au375 Ag100 Cu450 Zn75", "DBC; recipe from memory", "medium"),
            _alloy(
                *("14k-yellow", 13.07, "Au585 Ag125 Cu290"),
                source="STU 13.07, AUE 13.08, but DBC 13.65: recipes spread by 5 %; this one from memory",
                confidence="medium",
            ),
            _alloy(
                *("14k-white-ni", 12.61, "Au585 Cu220 Ni110 Zn85"),
                source="STU 12.61, AUE 12.65; recipe from memory; contains nickel",
                confidence="high",
            ),
            _alloy("14k-red", 13.26, "Au585 Cu415", "STU; recipe from memory", "medium"),
            _alloy("18k-yellow", 15.58, "Au750 Ag160 Cu90", "STU 15.58, AUE and DBC 15.60; recipe from memory", "high"),
            _alloy("18k-red", 15.18, "Au750 Ag45 Cu205", "STU 15.18, DBC 15.15; recipe from memory", "high"),
            _alloy(
                *("18k-white-pd", 15.8, "Au750 Pd135 Cu115"),
                source="DBC 15.8 with 13.5 % Pd; the copper from memory; 24C range 14.7 to 16.9",
                confidence="medium",
            ),
            _alloy("22k-yellow", 17.8, "Au917 Ag42 Cu41", "DBC 17.8, 24C 17.7 to 17.8; recipe from memory", "high"),
            _alloy("pt950-ru", 20.7, "Pt950 Ru50", "rule of mixtures; 20.7 from memory agrees", "medium"),
            _alloy(
                *("pt950-co", 20.1, "Pt950 Co50"),
                source="24C 20.1 and DBC 20.15 for 950 platinum unspecified; STU prints 20.80, 3.8 % over the rule",
                confidence="low",
            ),
            _alloy("pt900-ir", 21.54, "Pt900 Ir100", "STU 21.54", "high"),
            _alloy("pd950-ru", 12.04, "Pd950 Ru50", "rule of mixtures; PMR 'around 12'", "medium"),
            _alloy("pd950-ga", 11.4, "Pd950 Ga50", "DBC 11.4 for 950 palladium, fits gallium by the rule", "medium"),
            _alloy("brass", 8.5, "Cu700 Zn300", "biologyinsights.com 8.4 to 8.73, STU 8.40; the rule is low", "medium"),
        )
    }
)
"""Alloys by name."""


def rule_of_mixtures(composition: Mapping[str, float]) -> float:
    """Density in g/cm3 of a composition (mass fraction by element symbol).

    Raises ValueError for an element without a density here, a fraction below 0, or fractions that do not add up
    to 1 within 0.001.
    """
    unknown = sorted(set(composition) - set(ELEMENT_DENSITIES))
    if unknown:
        raise ValueError(f"composition: no density for {', '.join(unknown)}; known are {', '.join(ELEMENT_DENSITIES)}")
    total = sum(composition.values())
    if min(composition.values(), default=0.0) < 0.0 or abs(total - 1.0) > 0.001:
        raise ValueError(f"composition: mass fractions must be 0 or more and add up to 1; they add up to {total:g}")
    return total / sum(fraction / ELEMENT_DENSITIES[element] for element, fraction in composition.items())


def mass_g(volume_mm3: float, density_g_cm3: float) -> float:
    """Mass in grams of a volume in mm3."""
    return volume_mm3 * density_g_cm3 / 1000.0
