"""Alloys: density, composition, source and how far to trust it; densities by the rule of mixtures.

Volumes add, so 1 / density = sum of mass fraction / density of the element. The mass-weighted mean of densities is
wrong (sterling silver: 10.385 for 10.366). ``RULE_WITHIN`` says how near the rule comes to what is published.

A fineness leaves the rest of a recipe open: 14k yellow golds run from 12.9 to 14.6 g/cm3. ``density_g_cm3`` is a
published figure where there is a good one, else the rule of mixtures; the source says which, and ``published`` holds
all figures found, the conflicting ones too. A composition is a published recipe of that name, or "from memory": it
is never a maker's data sheet, and need not be the one that a published density belongs to.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Confidence = Literal["high", "medium", "low"]
Kind = Literal["fine metal", "silver", "gold of 750 and more", "gold under 750", "platinum", "palladium", "copper"]

SOURCES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "24C": ("24carat.co.uk", "24carat.co.uk/densityofgoldandothermetals.html, /goldalloysbyvolume.html"),
        "AUE": ("A&U Enterprises", "auenterprises.com/customer-area/resources/standard-data/weights"),
        "BIO": ("biologyinsights.com", "biologyinsights.com/how-dense-is-brass-explaining-the-density-range"),
        "DBC": ("designbuildcast.co.uk", "designbuildcast.co.uk/wp2/useful-tips; wax-to-metal factors times 0.95"),
        "ESPI": ("espimetals.com", "espimetals.com/index.php/technical-data/81-Silver%20-%20Sterling"),
        "FAH": ("Materials Chemistry", "Materials Chemistry, second edition, page 207, table 3.4: coloured golds"),
        "JCAT": ("jewellerycatalogue.co.uk", "jewellerycatalogue.co.uk/gold_jewellery2/gold_alloys.php"),
        "KET": ("kettererkunst.com", "kettererkunst.com/dict/bronze.php"),
        "PMR": ("Platinum Metals Review", "Platinum Metals Review, October 2009, pages 189 to 197"),
        "STU": ("Stuller", "jshow.legacy.prod.stullercloud.com/articles/view/where-to-find-gravity-of-materials"),
        "WGJ": ("whitegoldjewel.blogspot.com", "whitegoldjewel.blogspot.com, nickel white gold"),
    }
)
"""Name and address of each source by its key."""

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

RULE_WITHIN: Mapping[Kind, float] = MappingProxyType(
    {
        "fine metal": 0.001,
        "silver": 0.001,
        "gold of 750 and more": 0.006,
        "gold under 750": 0.026,
        "platinum": 0.004,
        "palladium": 0.004,
        "copper": 0.025,
    }
)
"""How far, as a share, the rule of mixtures on the recipe stands from the density used, at most. What is left is the
recipe's: a published density of a low gold belongs to one recipe of many. For copper with zinc the rule itself is 1 to
2.5 % low."""

CONFLICT = 0.02
"""Published figures that stand further from the density used than this share are called a conflict. Half of it is
common between sources that mean one alloy (common practice, no source)."""


@dataclass(frozen=True)
class Alloy:
    """A metal: density in g/cm3 and composition as mass fractions by element, which add up to 1; ``published``
    densities by the key of their source, those that are not used too."""

    name: str
    density_g_cm3: float
    composition: Mapping[str, float]
    source: str
    confidence: Confidence
    published: Mapping[str, float]

    @property
    def kind(self) -> Kind:
        """What the rule of mixtures is good for depends on it."""
        gold = self.composition.get("Au", 0.0)
        if len(self.composition) == 1:
            return "fine metal"
        if gold > 0.0:
            return "gold of 750 and more" if gold >= 0.75 else "gold under 750"
        most = max(self.composition, key=lambda element: self.composition[element])
        kinds: Mapping[str, Kind] = {"Ag": "silver", "Pt": "platinum", "Pd": "palladium", "Cu": "copper"}
        return kinds[most]

    @property
    def conflict(self) -> str:
        """The published figure that stands furthest from the density used, in words; empty where none is far off."""
        used = self.density_g_cm3
        key = max(self.published, key=lambda each: abs(self.published[each] - used), default=None)
        if key is None or abs(self.published[key] - used) <= CONFLICT * used:
            return ""
        off = 100.0 * (self.published[key] / used - 1.0)
        return f"{SOURCES[key][0]} has {self.published[key]:g}, {off:+.1f} % from the {used:g} used"


def _alloy(name: str, density: float, per_mille: str, published: str, note: str, confidence: Confidence) -> Alloy:
    """An alloy from a recipe in parts of a thousand, "Ag925 Cu75", and published densities, "STU 10.40, AUE 10.36"."""
    parts = {item[:2]: int(item[2:]) / 1000.0 for item in per_mille.split()}
    figures = dict(item.split() for item in published.split(", ") if item)
    told = ", ".join(f"{SOURCES[key][0]} {figure}" for key, figure in figures.items())
    source = "; ".join(part for part in (told, note) if part)
    found = MappingProxyType({key: float(figure) for key, figure in figures.items()})
    return Alloy(name, density, MappingProxyType(parts), source, confidence, found)


ALLOYS: Mapping[str, Alloy] = MappingProxyType(
    {
        alloy.name: alloy
        for alloy in (
            _alloy("fine-silver", 10.5, "Ag1000", "24C 10.5, STU 10.53", "", "high"),
            _alloy("sterling-925", 10.36, "Ag925 Cu75", "ESPI 10.36, AUE 10.36, STU 10.40, DBC 10.35", "", "high"),
            _alloy("fine-gold", 19.3, "Au1000", "24C 19.3, STU 19.36", "", "high"),
            _alloy(
                *("9k-yellow", 11.1, "Au375 Ag100 Cu450 Zn75", "DBC 11.1"),
                note="24carat.co.uk: range 10.9 to 12.7, and the recipe",
                confidence="medium",
            ),
            _alloy(
                *("9k-red", 11.3, "Au375 Ag75 Cu550", "DBC 11.3"),
                note="recipe: jewellerycatalogue.co.uk",
                confidence="medium",
            ),
            _alloy(
                *("9k-white", 12.6, "Au375 Ag625", "DBC 12.6"),
                note="silver-rich, no nickel; recipe: jewellerycatalogue.co.uk",
                confidence="medium",
            ),
            _alloy(
                *("10k-yellow", 11.57, "Au417 Ag117 Cu408 Zn58", "STU 11.57, AUE 11.60"),
                note="recipe: Materials Chemistry",
                confidence="high",
            ),
            _alloy(
                *("14k-yellow", 13.07, "Au585 Ag40 Cu312 Zn63", "STU 13.07, AUE 13.08, DBC 13.65"),
                note="24carat.co.uk: range 12.9 to 14.6, and the recipe; more silver makes it denser",
                confidence="medium",
            ),
            _alloy(
                *("14k-white-ni", 12.61, "Au585 Ag5 Cu270 Ni70 Zn70", "STU 12.61, AUE 12.65"),
                note="recipe: 24carat.co.uk; contains nickel",
                confidence="high",
            ),
            _alloy(
                *("14k-white-pd", 14.2, "Au585 Ag321 Pd94", "DBC 14.2"),
                note="recipe: Materials Chemistry (at 583), 14.55 by the rule; less silver and some copper fit 14.2",
                confidence="medium",
            ),
            _alloy(
                *("14k-red", 13.26, "Au585 Ag21 Cu394", "STU 13.26"),
                note="recipe: Materials Chemistry (at 583)",
                confidence="medium",
            ),
            _alloy(
                *("18k-yellow", 15.58, "Au750 Ag160 Cu90", "STU 15.58, AUE 15.60, DBC 15.60"),
                note="recipe: 24carat.co.uk",
                confidence="high",
            ),
            _alloy(
                *("18k-red", 15.18, "Au750 Ag50 Cu200", "STU 15.18, DBC 15.15"),
                note="recipe: Materials Chemistry",
                confidence="high",
            ),
            _alloy(
                *("18k-white-ni", 14.64, "Au750 Cu55 Ni145 Zn50", "STU 14.64, AUE 14.65"),
                note="recipe: whitegoldjewel.blogspot.com; contains nickel",
                confidence="high",
            ),
            _alloy(
                *("18k-white-pd", 15.8, "Au750 Pd135 Cu115", "DBC 15.8"),
                note="with 13.5 % palladium, the copper from memory; 24carat.co.uk: range 14.7 to 16.9",
                confidence="medium",
            ),
            _alloy(
                *("22k-yellow", 17.8, "Au917 Ag55 Cu28", "DBC 17.8, 24C 17.8"),
                note="24carat.co.uk: range 17.7 to 17.8, and the recipe",
                confidence="high",
            ),
            _alloy("pt950-ru", 20.7, "Pt950 Ru50", "", "rule of mixtures; 20.7 from memory agrees", "medium"),
            _alloy(
                *("pt950-co", 20.1, "Pt950 Co50", "24C 20.1, DBC 20.15, STU 20.80"),
                note="the first two for 950 platinum unspecified, the last for cobalt; the rule has 20.04",
                confidence="low",
            ),
            _alloy("pt950-ir", 21.5, "Pt950 Ir50", "", "rule of mixtures; pt900-ir fits it", "medium"),
            _alloy("pt900-ir", 21.54, "Pt900 Ir100", "STU 21.54", "", "high"),
            _alloy(
                *("pd950-ru", 12.04, "Pd950 Ru50", "PMR 12"), note="'around 12'; rule of mixtures", confidence="medium"
            ),
            _alloy(
                *("pd950-ga", 11.4, "Pd950 Ga50", "DBC 11.4"),
                note="for 950 palladium unspecified, fits gallium by the rule",
                confidence="medium",
            ),
            _alloy(
                *("brass", 8.5, "Cu700 Zn300", "STU 8.40"),
                note="8.5 in the range of biologyinsights.com, 8.4 to 8.73; the rule is low for copper with zinc",
                confidence="medium",
            ),
            _alloy(
                *("bronze", 8.76, "Cu900 Sn100", "KET 8.7"),
                note="rule of mixtures; biologyinsights.com: tin bronze 8.7 to 9.1",
                confidence="medium",
            ),
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
