"""The cost of a band: each formula is put to the test with its own values, by a small evaluator of our own."""

from __future__ import annotations

import ast
import json
import operator
from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import bandgen
from bandgen.cli import main
from bandgen.errors import SpecError
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout
from bandgen.reports.costing import Costing, CostPart, costing
from bandgen.reports.weights import carat_total
from bandgen.spec import make_spec

LEAST: dict[str, Any] = {"finger": {"inner_diameter_mm": 17.0}, "stones": {"diameter_mm": 2.0}}
PLAIN_MM3 = 242.817
"""Flat band, US 7, 2.0 x 2.0 mm: 3.783 g of 18k yellow (trade facts, section 9)."""
PRICES = ("metal_per_g", "stone_per_carat", "setting_per_stone", "casting_per_piece", "finishing_per_piece")
OPERATORS = {ast.Add: operator.add, ast.Mult: operator.mul, ast.Div: operator.truediv}


@cache
def bare() -> Layout:
    return compute_layout(make_spec(LEAST))


def priced(**cost: Any) -> Layout:
    """The least band with prices (invented here): no number of the layout depends on them."""
    spec = bare().spec.model_copy(update={"cost": make_spec({**LEAST, "cost": cost}).cost})
    layout: Layout = type(bare())(**{**bare().__dict__, "spec": spec})
    return layout


def found(**cost: Any) -> Costing:
    result = costing(priced(**cost), PLAIN_MM3)
    assert result is not None
    return result


def evaluate(part: CostPart) -> float:
    """The formula with its inputs put in: names, numbers, +, * and / alone; every input is used."""
    values = {name: value for name, value, _ in part.inputs}
    used = set()

    def of(node: ast.expr) -> float:
        if isinstance(node, ast.Name):
            used.add(node.id)
            return float(values[node.id])
        if isinstance(node, ast.Constant):
            return float(node.value)
        assert isinstance(node, ast.BinOp)
        return float(OPERATORS[type(node.op)](of(node.left), of(node.right)))

    result = of(ast.parse(part.formula, mode="eval").body)
    assert used == set(values)
    return result


def test_a_costing_by_hand() -> None:
    """3.783 g at 60 and 8 % lost: 245.14; 33 stones... each part from its price alone."""
    layout = bare()
    whole = found(
        currency="EUR", metal_per_g=60.0, metal_loss_pct=8.0, stone_per_carat=450.0, setting_per_stone=4.0,
        casting_per_piece=25.0, finishing_per_piece=40.0,
    )  # fmt: skip
    parts = {part.what: part.amount for part in whole.parts}
    assert parts["metal, 18k-yellow"] == pytest.approx(3.783 * 1.08 * 60.0, abs=0.04)
    assert parts["stones"] == pytest.approx(450.0 * carat_total(layout))
    assert parts["setting"] == 4.0 * layout.stone_count
    assert (parts["casting"], parts["finishing"]) == (25.0, 40.0)
    assert (whole.total, whole.currency) == (pytest.approx(sum(parts.values())), "EUR")


@given(st.dictionaries(st.sampled_from(PRICES), st.floats(0.0, 1e6), min_size=1), st.floats(0.0, 100.0))
def test_every_formula_gives_its_amount(prices: dict[str, float], loss: float) -> None:
    """A part for each price given, no more; the total is their sum."""
    whole = found(metal_loss_pct=loss, **prices)
    assert [part.amount for part in whole.parts] == pytest.approx([evaluate(part) for part in whole.parts])
    assert whole.total == pytest.approx(sum(evaluate(part) for part in whole.parts))
    told = {name for part in whole.parts for name, _, _ in part.inputs if name in PRICES}
    assert (told, len(whole.parts)) == (set(prices), len(prices))


def test_nothing_is_costed_without_a_price() -> None:
    assert costing(bare(), PLAIN_MM3) is None
    assert costing(priced(currency="EUR", metal_loss_pct=5.0), PLAIN_MM3) is None
    assert found(casting_per_piece=0.0).total == 0.0
    assert found(casting_per_piece=1.0).currency == ""


@pytest.mark.parametrize(
    ("key", "value", "rule"),
    [
        *((key, -0.01, "greater than or equal to 0") for key in (*PRICES, "metal_loss_pct")),
        ("metal_loss_pct", 100.01, "less than or equal to 100"),
        ("metal_per_g", "60", "without quotes"),
        *(("currency", text, "three capital letters") for text in ("eur", "EURO", "EU", "€", "EUR\n")),
        ("currency", 1, "string"),
    ],
)
def test_refusals(key: str, value: Any, rule: str) -> None:
    with pytest.raises(SpecError) as refused:
        make_spec({**LEAST, "cost": {key: value}})
    (problem,) = refused.value.problems
    assert problem.key == f"cost.{key}"
    assert rule in problem.rule


def test_the_record_has_the_cost_where_it_is_asked() -> None:
    """Prices alter neither the solid nor the layout."""
    plain, costed = (
        bandgen.generate(make_spec({**LEAST, **more}))
        for more in ({}, {"cost": {"metal_per_g": 60.0, "currency": "EUR"}})
    )
    assert "cost" not in plain.record
    cost = costed.record["cost"]
    assert cost["total"] == pytest.approx(costed.record["metal_g"] * 60.0)
    assert cost["currency"] == costed.record["spec"]["cost"]["currency"] == "EUR"
    assert json.loads(json.dumps(cost, allow_nan=False)) == cost
    assert plain.topology.volume == costed.topology.volume


def test_the_command_tells_the_parts(capsys: pytest.CaptureFixture[str], tmp_path: Any) -> None:
    file = tmp_path / "least.toml"
    file.write_text(
        "[finger]\ninner_diameter_mm = 17.0\n[stones]\ndiameter_mm = 2.0\n[cost]\nsetting_per_stone = 4.5\n"
    )
    count = bare().stone_count
    assert main(["weigh", str(file)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "cost in (no currency given), by the prices given" in lines
    assert lines[-2].split() == f"setting {4.5 * count:.2f} stone_count * setting_per_stone; stone_count = {count}, " \
        "setting_per_stone = 4.5 each".split()  # fmt: skip
    assert lines[-1].split() == ["total", f"{4.5 * count:.2f}"]
