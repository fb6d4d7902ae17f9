"""Weights of round brilliants by the trade's formulas, with the correction for the girdle where one is published.

Diamonds: D2 x depth x 0.0061, for a medium girdle (a1-diamond.com, gemgate.com: confidence high). Other stones:
D2 x depth x specific gravity x 0.0018, which is 4 % more for the same shape as colour is cut fuller (esslinger.com;
confidence high); for cubic zirconia and moissanite cut like diamond it is that much too heavy.

The girdle's corrections are published for diamonds of 3.1 mm and more (gemgate.com, girdle thickness judgment;
confidence medium). The page prints 1.05 for medium to slightly thick at 7 mm, between 1.01 and 1.00: read as 1.005.
"""

from __future__ import annotations

from bisect import bisect
from dataclasses import dataclass

from bandgen.trade.stones import Material, Proportions, carat_published, total_depth

PUBLISHED_COLOUR_WEIGHT = 0.0018
"""Carat per mm3 of D2 x depth and unit of specific gravity, round stones but diamond (esslinger.com)."""

CORRECTED_FROM_MM = (3.1, 4.15, 7.0)
"""Where the columns of :data:`GIRDLE_CORRECTIONS` begin; the page leaves 4.1 to 4.15 open."""

GIRDLE_CORRECTIONS = {
    "extremely thin": (0.97, 0.96, 0.95),
    "thin": (0.985, 0.98, 0.975),
    "medium": (1.0, 1.0, 1.0),
    "medium to slightly thick": (1.015, 1.01, 1.005),
    "slightly thick": (1.03, 1.02, 1.01),
    "thick": (1.04, 1.03, 1.02),
}
"""Factor by the girdle's word and the diameter's column (gemgate.com)."""

# Thickness at the mains in percent up to which each word reaches: extremely thin 1.5, thin 2.5 (DDG guidelines, scribd
# 612960435: medium confidence); medium 3, slightly thick 3.5 to 4 from memory; halfway between where they meet.
_WORDS = ((2.0, "extremely thin"), (2.75, "thin"), (3.25, "medium"), (4.25, "slightly thick"), (100.0, "thick"))


@dataclass(frozen=True)
class FormulaWeight:
    """A weight by a published formula: carat with the correction in, the girdle's word and its factor (1 where none is
    published), and the formula as text."""

    carat: float
    girdle: str
    girdle_factor: float
    formula: str


def girdle_word(girdle_pct: float) -> str:
    """The grader's word for a girdle's thickness at the mains, in percent of the diameter."""
    return next(word for most, word in _WORDS if girdle_pct <= most)


def girdle_factor(word: str, diameter_mm: float) -> float | None:
    """Published correction for a girdle; None under 3.1 mm, where there is none. KeyError for an unknown word."""
    column = bisect(CORRECTED_FROM_MM, diameter_mm)
    return GIRDLE_CORRECTIONS[word][column - 1] if column else None


def formula_weight(diameter_mm: float, material: Material, proportions: Proportions) -> FormulaWeight:
    """Weight of one stone by the formula that is published for its material."""
    depth, word = total_depth(diameter_mm, proportions), girdle_word(proportions.girdle_pct)
    if material.name != "diamond":
        weight = diameter_mm**2 * depth * material.specific_gravity * PUBLISHED_COLOUR_WEIGHT
        return FormulaWeight(weight, word, 1.0, "D2 x depth x SG x 0.0018")
    factor = girdle_factor(word, diameter_mm)
    weight = carat_published(diameter_mm, depth) * (factor or 1.0)
    formula = "D2 x depth x 0.0061" + ("" if factor is None else f" x {factor:g}")
    return FormulaWeight(weight, word, factor or 1.0, formula)
