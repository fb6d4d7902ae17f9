"""The stones to order for a band."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

from bandgen.commands.common import add_spec, read_spec, tolerate, with_source

if TYPE_CHECKING:
    from bandgen.reports.stones import OrderList, StoneRow

NAME = "stones"
HELP = "the stones to order, with their weight"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Spec, output."""
    add_spec(parser)
    parser.add_argument("--json", action="store_true", help="print plain data instead of the table")


def run(options: argparse.Namespace) -> int:
    """Always 0; SpecError for a spec that cannot be made."""
    tolerate(sys.stdout)
    spec = read_spec(options)
    from bandgen.layout.compute import compute_layout
    from bandgen.reports.stones import order_list

    order = order_list(with_source(compute_layout, spec, options.spec))
    print(json.dumps(_data(order), indent=1, allow_nan=False) if options.json else "\n".join(_lines(order)))
    return 0


def _data(order: OrderList) -> dict[str, Any]:
    from bandgen.trade import melee

    return {
        "stones": [_row(row) for row in order.rows],
        "materials": [{"material": material, **_totals(order.of_material(material))} for material in order.materials],
        **_totals(order),
        "sieve_source": melee.SOURCE,
        "sieve_confidence": melee.CONFIDENCE,
    }


def _row(row: StoneRow) -> dict[str, Any]:
    return {
        "count": row.count,
        "diameter_mm": row.diameter_mm,
        "material": row.material,
        "sieve": row.sieve and row.sieve.name,
        "trade_name": row.sieve and row.sieve.trade_name,
        "sieve_mm": row.sieve and [row.sieve.least_mm, row.sieve.most_mm],
        "sieve_mean_carat": row.sieve_mean_ct,
        "carat_each": round(row.carat_each, 5),
        "carat_each_formula": round(row.formula.carat, 5),
        "difference_pct": round(row.difference_pct, 2),
        "formula": row.formula.formula,
        "girdle": row.formula.girdle,
        "girdle_factor": row.formula.girdle_factor,
        "carat_total": round(row.carat_total, 4),
        "carat_total_formula": round(row.formula_total, 4),
    }


def _totals(order: OrderList) -> dict[str, Any]:
    return {
        "count": order.count,
        "carat_total": round(order.carat_total, 4),
        "carat_total_formula": round(order.formula_total, 4),
    }


def _lines(order: OrderList) -> list[str]:
    head = ("count", "mm", "material", "ct each", "by formula", "differs", "ct in all", "sieve class, mm", "mean ct")
    lines = ["{:>5}{:>8}  {:<16}{:>8}{:>12}{:>9}{:>11}  {:<24}{:>8}".format(*head)]
    for row in order.rows:
        lines.append(
            f"{row.count:>5}{row.diameter_mm:>8.3f}  {row.material:<16}{row.carat_each:>8.4f}{row.formula.carat:>12.4f}"
            f"{row.difference_pct:>+8.1f}%{row.carat_total:>11.3f}{_sieve(row)}"
        )
    parts = [order.of_material(material) for material in order.materials]
    for part in [*(parts if len(parts) > 1 else []), order]:
        name = part.rows[0].material if part is not order else "in all"
        lines.append(
            f"{part.count:>5}          {name:<16}{part.carat_total:.3f} ct by volume, "
            f"{part.formula_total:.3f} ct by formula"
        )
    return [*lines, "", *_notes(order)]


def _sieve(row: StoneRow) -> str:
    """Class, its diameters and, of diamonds, its mean weight."""
    if row.sieve is None:
        return f"  {'-':<24}{'-':>8}"
    mean = "-" if row.sieve_mean_ct is None else f"{row.sieve_mean_ct:.4f}"
    return f"  {row.sieve.name:<10}{row.sieve.least_mm:.2f} to {row.sieve.most_mm:.2f}  {mean:>8}"


def _notes(order: OrderList) -> list[str]:
    from bandgen.trade import melee

    formulas = dict.fromkeys(f"{row.material}: {row.formula.formula}" for row in order.rows)
    return [
        f"by formula: {'; '.join(formulas)}",
        "ct each: the faceted brilliant in the band's proportions; small melee is cut deeper, up to a fifth heavier",
        f"sieve: {melee.SOURCE} (confidence {melee.CONFIDENCE}); charts differ, so order by the millimetre",
    ]
