"""Patterns, what is burnt out of the mould: densities with their source, weights, and the factor from pattern to metal.

The metal's weight is better computed from the volume than from a pattern on the scales: grades differ, and a printed
pattern holds supports. Sources are the keys of the project's trade facts, section 3.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Confidence = Literal["high", "medium", "low"]


@dataclass(frozen=True)
class PatternMaterial:
    """What patterns are made of: density in g/cm3."""

    name: str
    density_g_cm3: float
    source: str
    confidence: Confidence


PATTERN_MATERIALS: Mapping[str, PatternMaterial] = MappingProxyType(
    {
        material.name: material
        for material in (
            PatternMaterial(
                *("wax", 0.95),
                source="designbuildcast.co.uk's factors imply 0.95; orchid.ganoksin.com 15741 quotes 0.95 to 0.98",
                confidence="high",
            ),
            PatternMaterial("castable-resin", 1.1, "cured, from memory: no data sheet found", "low"),
        )
    }
)
"""Pattern materials by name."""


def pattern_mass_g(volume_mm3: float, material: str) -> float:
    """Mass in grams of a solid pattern, without sprues or supports. Raises KeyError for an unknown material."""
    return volume_mm3 * PATTERN_MATERIALS[material].density_g_cm3 / 1000.0


def weight_factor(metal_density_g_cm3: float, material: str) -> float:
    """Grams of metal that a gram of pattern becomes, shrinkage aside. Raises KeyError for an unknown material."""
    return metal_density_g_cm3 / PATTERN_MATERIALS[material].density_g_cm3
