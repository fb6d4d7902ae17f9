"""The stones to order: alike ones together, each weighed by its volume and by the trade's formula."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from bandgen.layout.numbers import Layout
from bandgen.trade.melee import SieveClass, sieve_class
from bandgen.trade.stones import MATERIALS, Proportions, brilliant_carat
from bandgen.trade.weight import FormulaWeight, formula_weight

_ALIKE_DIGITS = 4  # diameters that differ by less than a tenth of a micron are one size


@dataclass(frozen=True)
class StoneRow:
    """Stones of one size, material and cut: weight of each in carat as the faceted solid weighs (volume by specific
    gravity), and by the published formula. ``sieve`` is the melee class of the diameter, None where none is."""

    count: int
    diameter_mm: float
    material: str
    proportions: Proportions
    sieve: SieveClass | None
    carat_each: float
    formula: FormulaWeight

    @property
    def sieve_mean_ct(self) -> float | None:
        """Mean weight of the melee class, for the diamonds that it is published for."""
        return self.sieve.mean_ct if self.sieve and self.material == "diamond" else None

    @property
    def difference_pct(self) -> float:
        """The formula's weight above the solid's, in percent of the solid's."""
        return 100.0 * (self.formula.carat / self.carat_each - 1.0)

    @property
    def carat_total(self) -> float:
        """All stones of the row, by volume."""
        return self.count * self.carat_each

    @property
    def formula_total(self) -> float:
        """All stones of the row, by formula."""
        return self.count * self.formula.carat


@dataclass(frozen=True)
class OrderList:
    """Rows by material and falling diameter."""

    rows: tuple[StoneRow, ...]

    @property
    def count(self) -> int:
        """Stones of the band."""
        return sum(row.count for row in self.rows)

    @property
    def carat_total(self) -> float:
        """Their weight by volume."""
        return sum(row.carat_total for row in self.rows)

    @property
    def formula_total(self) -> float:
        """Their weight by formula."""
        return sum(row.formula_total for row in self.rows)

    def of_material(self, material: str) -> OrderList:
        """The rows of one material."""
        return OrderList(tuple(row for row in self.rows if row.material == material))

    @property
    def materials(self) -> tuple[str, ...]:
        """The materials, each once."""
        return tuple(dict.fromkeys(row.material for row in self.rows))


def order_list(layout: Layout) -> OrderList:
    """The stones of a band, of all its rows."""
    alike = Counter(
        (station.material, round(station.diameter_mm, _ALIKE_DIGITS), station.proportions)
        for station in layout.stations
    )
    keys = sorted(alike, key=lambda key: (key[0], -key[1]))
    return OrderList(tuple(_row(alike[key] * len(layout.rows), *key) for key in keys))


def _row(count: int, name: str, diameter_mm: float, proportions: Proportions) -> StoneRow:
    material = MATERIALS[name]
    return StoneRow(
        count=count,
        diameter_mm=diameter_mm,
        material=name,
        proportions=proportions,
        sieve=sieve_class(diameter_mm),
        carat_each=brilliant_carat(diameter_mm, name, proportions),
        formula=formula_weight(diameter_mm, material, proportions),
    )
