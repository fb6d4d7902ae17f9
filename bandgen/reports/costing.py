"""What a band costs by the prices in its spec: each part with its formula and the values in it. No built-in prices."""

from __future__ import annotations

from dataclasses import dataclass

from bandgen.layout.numbers import Layout
from bandgen.reports.weights import carat_total
from bandgen.trade.alloys import ALLOYS, mass_g

Value = tuple[str, float, str]
"""Name in the formula, value, unit."""


@dataclass(frozen=True)
class CostPart:
    """A part of the cost: ``amount`` is ``formula`` with ``inputs`` put in."""

    what: str
    amount: float
    formula: str
    inputs: tuple[Value, ...]


@dataclass(frozen=True)
class Costing:
    """The parts that have a price, and their sum; the currency is empty where the spec names none."""

    parts: tuple[CostPart, ...]
    total: float
    currency: str


def costing(layout: Layout, volume_mm3: float) -> Costing | None:
    """The cost of a band of so much metal as designed; None where the spec has no price."""
    parts = tuple(part for part in (_metal(layout, volume_mm3), *_stones(layout), *_pieces(layout)) if part is not None)
    currency = layout.spec.cost.currency or ""
    return Costing(parts, sum(part.amount for part in parts), currency) if parts else None


def _metal(layout: Layout, volume_mm3: float) -> CostPart | None:
    cost, alloy = layout.spec.cost, layout.spec.metal.alloy
    if cost.metal_per_g is None:
        return None
    grams = mass_g(volume_mm3, ALLOYS[alloy].density_g_cm3)
    return CostPart(
        f"metal, {alloy}",
        grams * (1.0 + cost.metal_loss_pct / 100.0) * cost.metal_per_g,
        "metal_g * (1 + metal_loss_pct / 100) * metal_per_g",
        (
            ("metal_g", grams, "g"),
            ("metal_loss_pct", cost.metal_loss_pct, "%"),
            ("metal_per_g", cost.metal_per_g, "per g"),
        ),
    )


def _stones(layout: Layout) -> tuple[CostPart | None, ...]:
    cost = layout.spec.cost
    return (
        _product(
            "stones", ("carat_total", carat_total(layout), "ct"), ("stone_per_carat", cost.stone_per_carat, "per ct")
        ),
        _product(
            "setting", ("stone_count", layout.stone_count, ""), ("setting_per_stone", cost.setting_per_stone, "each")
        ),
    )


def _product(what: str, amount: Value, price: tuple[str, float | None, str]) -> CostPart | None:
    """So many at a price."""
    name, each, unit = price
    if each is None:
        return None
    return CostPart(what, amount[1] * each, f"{amount[0]} * {name}", (amount, (name, each, unit)))


def _pieces(layout: Layout) -> tuple[CostPart | None, ...]:
    cost = layout.spec.cost
    return (_piece("casting", cost.casting_per_piece), _piece("finishing", cost.finishing_per_piece))


def _piece(what: str, price: float | None) -> CostPart | None:
    name = f"{what}_per_piece"
    return None if price is None else CostPart(what, price, name, ((name, price, "a piece"),))
