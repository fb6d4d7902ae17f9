"""Melee: the classes that round stones are sieved into, with their diameters and mean weights.

A stone is in the class whose plate it passes while it stays on the plate before ("+7.5 -8" stays on 7.5 and passes 8).
The diameters are nominal: a class holds stones a few hundredths to either side. Weights are of diamonds.

The table is one consultant's chart (diamondconsultants.in, knowledge centre: confidence medium). Charts differ: that of
diamondinhouse.com by up to 0.1 mm and 9 % of weight in the same class. Trade names of the classes: diamondinhouse.com
and srdcindia.com, which agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Confidence = Literal["high", "medium", "low"]

SOURCE = "sieve chart of diamondconsultants.in, knowledge centre"
CONFIDENCE: Confidence = "medium"


@dataclass(frozen=True)
class SieveClass:
    """Stones that stay on plate ``over`` and pass ``under``: diameters in mm, from the least up to, not including,
    the most; mean weight of a diamond in carat; the trade's name of such stones."""

    over: str
    under: str
    least_mm: float
    most_mm: float
    mean_ct: float
    trade_name: str

    @property
    def name(self) -> str:
        """As parcels are marked: "+7.5 -8"; "-0000" where there is no smaller plate."""
        return f"+{self.over} -{self.under}" if self.over else f"-{self.under}"


# The upper plate of each class, its upper diameter in mm, and the mean weight in carat.
_PLATES = """
0000 0.80 .0033   000 0.90 .004    0 1.10 .005      1 1.15 .006     1.5 1.20 .007   2 1.25 .008
2.5 1.30 .009     3 1.35 .010      3.5 1.40 .011    4 1.45 .012     4.5 1.50 .013   5 1.55 .014
5.5 1.60 .016     6 1.70 .018      6.5 1.80 .021    7 1.90 .025     7.5 2.00 .029   8 2.10 .035
8.5 2.20 .039     9 2.30 .044      9.5 2.40 .052    10 2.50 .058    10.5 2.60 .069  11 2.70 .074
11.5 2.80 .078    12 2.90 .086     12.5 3.00 .095   13 3.10 .108    13.5 3.20 .116  14 3.30 .125
14.5 3.40 .135    15 3.50 .146     15.5 3.60 .159   16 3.70 .175
"""
_TRADE_NAMES = ((2.0, "-2"), (6.5, "star"), (11.0, "melee"), (16.0, "+11"))  # up to the plate


def _classes() -> tuple[SieveClass, ...]:
    words = _PLATES.split()
    over, least, classes = "", 0.70, []
    for under, most, mean in zip(words[::3], words[1::3], words[2::3], strict=True):
        name = next(name for plate, name in _TRADE_NAMES if float(under) <= plate)
        classes.append(SieveClass(over, under, least, float(most), float(mean), name))
        over, least = under, float(most)
    return tuple(classes)


SIEVE = _classes()
"""Every class, smallest first."""


def sieve_class(diameter_mm: float) -> SieveClass | None:
    """The class of a diameter (a limit belongs to the class above); None outside 0.7 to 3.7 mm."""
    diameter = round(diameter_mm, 6)
    return next((one for one in SIEVE if one.least_mm <= diameter < one.most_mm), None)
