"""Every formula that is told is held to the number that the layout has; every code of a finding is explained.

Formulas are read by an evaluator of their own: numbers, names, arithmetic, comparisons and the functions below, angles
in degrees. The values come from the layout; the formula is the claim.
"""

import ast
import contextlib
import dataclasses
import json
import math
import operator
from pathlib import Path

import pytest
from conftest import SAMPLES, SMALL
from random_arrangements import random_band

import bandgen
from bandgen.cli import main
from bandgen.errors import SpecError
from bandgen.inspection.rules import RULES
from bandgen.inspection.setting import inspect_setting
from bandgen.layout import compute
from bandgen.layout.casting import finished
from bandgen.layout.compute import compute_layout
from bandgen.reports.working.checks import CHECKS
from bandgen.reports.working.explain import explain_check, explain_finding, explain_number, known_names
from bandgen.reports.working.numbers import DEFAULTS, NUMBERS
from bandgen.reports.working.quantities import QUANTITIES
from bandgen.spec import Spec, load_spec, make_spec, may_be_auto, spec_keys
from bandgen.trade.stones import edge_rise

NEAR = 1e-9
FUNCTIONS = {
    "sin": lambda x: math.sin(math.radians(x)),
    "cos": lambda x: math.cos(math.radians(x)),
    "tan": lambda x: math.tan(math.radians(x)),
    "asin": lambda x: math.degrees(math.asin(x)),
    "acos": lambda x: math.degrees(math.acos(x)),
    "atan": lambda x: math.degrees(math.atan(x)),
    "rad": math.radians,
    "sqrt": math.sqrt,
    "hypot": math.hypot,
    "min": min,
    "max": max,
    "abs": abs,
    "floor": math.floor,
    "round": round,
    "edge_rise": edge_rise,
}
ARITHMETIC = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}
COMPARISONS = {
    ast.Eq: lambda a, b: abs(a - b) <= NEAR,
    ast.LtE: lambda a, b: a <= b + NEAR,
    ast.GtE: lambda a, b: a >= b - NEAR,
    ast.Lt: lambda a, b: a < b,
    ast.Gt: lambda a, b: a > b,
}


def evaluate(formula, values):
    """The value of a formula over ``values`` by name; of a condition whether it holds."""
    return _value(ast.parse(formula, mode="eval").body, {"pi": math.pi, **values})


def _value(node, values):
    match node:
        case ast.Constant(value=value):
            return value
        case ast.Name(id=name):
            return values[name]
        case ast.UnaryOp(op=ast.USub(), operand=operand):
            return -_value(operand, values)
        case ast.BinOp(left=left, op=op, right=right):
            return ARITHMETIC[type(op)](_value(left, values), _value(right, values))
        case ast.Call(func=ast.Name(id=name), args=args):
            return FUNCTIONS[name](*(_value(each, values) for each in args))
        case ast.Compare(left=left, ops=[op], comparators=[right]):
            return COMPARISONS[type(op)](_value(left, values), _value(right, values))
        case ast.IfExp(test=test, body=body, orelse=other):
            return _value(body if _value(test, values) else other, values)
        case ast.BoolOp(op=op, values=parts):
            holds = [_value(part, values) for part in parts]
            return all(holds) if isinstance(op, ast.And) else any(holds)
    raise AssertionError(f"no plain formula: {ast.dump(node)}")


def claim_holds(working):
    """Whether the formula gives the value, or the value meets the condition."""
    values = {each.name: each.value for each in working.inputs}
    result = evaluate(working.formula, {**values, working.symbol: working.value})
    return result if isinstance(result, bool) and not isinstance(working.value, bool) else _same(result, working.value)


def _same(one, other):
    return one == other if isinstance(other, str | bool | tuple) else abs(one - other) <= NEAR


def told(layout, asked):
    """Every working that a layout has: of its keys, of its derived numbers, of what its rules measured."""
    found = []
    for key in [key for key in spec_keys() if "." in key] + list(NUMBERS):
        try:
            found.append(explain_number(layout, asked, key))
        except SpecError:
            continue
    explained = (explain_finding(layout, asked, finding) for finding in inspect_setting(finished(layout), RULES))
    return [*found, *(each.working for each in explained if each.working is not None)]


def refuted(layout, asked):
    return [f"{each.key}: {each.formula} is not {each.value}" for each in told(layout, asked) if not claim_holds(each)]


def layouts_of(seeds):
    """Layouts of random bands with their specs, those that can be made."""
    for seed in seeds:
        with contextlib.suppress(SpecError):
            spec = make_spec(random_band(seed))
            yield compute_layout(spec), spec


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_formula_gives_the_layouts_number(path):
    spec = load_spec(path)
    workings = told(compute_layout(spec), spec)
    assert [each for each in workings if not claim_holds(each)] == []
    assert [each.key for each in workings if not each.source] == []


def test_every_formula_holds_over_random_bands(monkeypatch):
    monkeypatch.setattr(compute, "advise", lambda *_: "")
    found = [(spec.name, refuted(layout, spec)) for layout, spec in layouts_of(range(1, 41, 2))]
    assert len(found) >= 10
    assert [(name, faults) for name, faults in found if faults] == []


PLAIN = {"finger": {"size": "ISO 54"}, "stones": {"diameter_mm": 2.0}}


def test_formulas_are_no_empty_claims():
    """A number that is a little off is refuted by its formula, but for the few that are bounds."""
    spec = make_spec(
        {"finger": {"size": "ISO 54"}, "stones": {"diameter_mm": 2.2}, "arrangement": {"coverage": "half"}}
    )
    workings = [each for each in told(compute_layout(spec), spec) if isinstance(each.value, float)]
    loose = {each.key for each in workings if claim_holds(dataclasses.replace(each, value=each.value + 1e-6))}
    bounds = {"volume_mm3", "shank.end_thickness_mm", "shank.base_thickness_mm", "mouth_radius_mm"}
    assert loose <= bounds | {"prong.overlap"}
    # A condition that also speaks of other numbers is refuted by those.
    share = next(each for each in workings if each.key == "prong.overlap")
    assert not claim_holds(dataclasses.replace(share, value=share.value + 1e-2))
    assert len(workings) > 40


def test_every_key_that_a_layout_fills_in_has_a_formula():
    """Those that the word "auto" stands for, but two that are no default: what says how many stones go where."""
    tables = {name: field.annotation for name, field in Spec.model_fields.items() if "." not in name}
    keys = {
        f"{table}.{key}"
        for table, kind in tables.items()
        if hasattr(kind, "model_fields")
        for key, field in kind.model_fields.items()
        if may_be_auto(kind, key) and field.default is None
    }
    filled = {key for key in keys if "Computed when left out" in _description(key)} | {"stones.count"}
    assert filled - OTHERS <= set(DEFAULTS) <= keys


OTHERS = {key for key in spec_keys() if key.partition(".")[0] in ("sprue", "tag", "casting", "workshop")}
"""What is added for the workshop, which has words of its own."""


def _description(key):
    table, name = key.split(".")
    return Spec.model_fields[table].annotation.model_fields[name].description


def test_every_name_in_a_formula_is_a_quantity_or_a_function():
    known = {*QUANTITIES, *FUNCTIONS, "pi"}
    assert not set(FUNCTIONS) & set(QUANTITIES)
    for text in [each.formula for each in (*NUMBERS.values(), *CHECKS.values()) if isinstance(each.formula, str)]:
        names = {node.id for node in ast.walk(ast.parse(text or "0")) if isinstance(node, ast.Name)}
        assert names <= known, text


# Values by hand and published ones


def _working(key, **tables):
    spec = make_spec({**PLAIN, **tables})
    return explain_number(compute_layout(spec), spec, key)


def test_girdle_radius_by_hand():
    """bore 54 / pi, clearance 0.70 + 0.12, pavilion 1.0 tan 40.8."""
    expected = 27.0 / math.pi + 0.82 + math.tan(math.radians(40.8))
    working = _working("girdle_radius_mm")
    assert working.value == pytest.approx(expected, abs=1e-12)
    assert {each.name: each.unit for each in working.inputs} == {
        "bore": "mm",
        "clearance": "mm",
        "d": "mm",
        "pavilion": "deg",
    }


def test_packing_by_hand():
    """Trade facts, section 5: g = 2 R sin(pi/N) - d cos(pi/N)."""
    working = _working("girdle_gap_mm")
    put = {each.name: each.value for each in working.inputs}
    half = math.pi / put["N"]
    assert working.value == pytest.approx(2.0 * put["girdle_radius"] * math.sin(half) - 2.0 * math.cos(half), abs=1e-12)


def test_bore_of_an_iso_size():
    """ISO 8653: a size is the inner circumference in mm."""
    assert _working("inner_diameter_mm").value == pytest.approx(54.0 / math.pi, abs=1e-12)


def test_a_value_that_was_given_says_so():
    working = _working("seat.floor_mm", seat={"floor_mm": 0.9})
    assert (working.formula, working.value, working.source) == ("given", 0.9, "the spec")
    assert _working("plug.foot_clearance_mm").formula == "default"


def test_a_value_that_the_layout_moved_says_so():
    spec = load_spec(next(path for path in SAMPLES if path.stem == "heddle"))
    working = explain_number(compute_layout(spec), spec, "seat.draft_deg")
    assert "moved from" in working.note
    assert claim_holds(working)


def test_metal_follows_the_volume_that_was_measured(small_band):
    layout = small_band.layout
    for key in ("metal_g", "volume_mm3"):
        working = explain_number(layout, make_spec(SMALL), key, small_band.topology.volume)
        assert working.value == pytest.approx(small_band.record[key], rel=1e-12)
        assert claim_holds(working)


def test_numbers_of_the_record_are_the_records(small_band):
    for key in ("girdle_gap_mm", "girdle_radius_mm", "inner_diameter_mm", "stone_count", "genus"):
        value = small_band.record[key]
        assert explain_number(small_band.layout, make_spec(SMALL), key).value == value


# Checks


INSPECTION = [ast.parse(path.read_text()) for path in (Path(bandgen.__file__).parent / "inspection").glob("*.py")]


def emitted_codes():
    """Every code that the source can put into a finding: what is given for the parameter ``code`` of a function that
    makes one, or of a finding itself."""
    places = {"Finding": 0}
    for node in (node for tree in INSPECTION for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)):
        names = [each.arg for each in node.args.args]
        places |= {node.name: names.index("code")} if "code" in names else {}
    return {code for tree in INSPECTION for call in _calls(tree, places) for code in _code_of(tree, call, places)}


def _calls(tree, places):
    calls = (node for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name))
    return [call for call in calls if call.func.id in places]


def _code_of(tree, call, places):
    """The code of one call; of a call with a row of a table those of the module's tables."""
    if any(isinstance(each, ast.Starred) for each in call.args):
        return _first_words(tree)
    given = [each.value for each in call.keywords if each.arg == "code"] or [call.args[places[call.func.id]]]
    constants = (node.value for node in ast.walk(given[0]) if isinstance(node, ast.Constant))
    return {value for value in constants if isinstance(value, str)}


def _first_words(tree):
    """First items of the rows of a module's tables."""
    tables = [node.value for node in tree.body if isinstance(node, ast.Assign) and isinstance(node.value, ast.Tuple)]
    rows = [row for table in tables for row in table.elts if isinstance(row, ast.Tuple)]
    return {row.elts[0].value for row in rows if isinstance(row.elts[0], ast.Constant)}


def test_every_code_of_a_finding_is_explained():
    assert sorted(emitted_codes() - set(CHECKS)) == []


def test_nothing_is_explained_that_is_never_found():
    assert sorted(set(CHECKS) - emitted_codes()) == []


def test_codes_found_by_running_are_codes_of_the_source(small_band):
    codes = {finding.code for finding in small_band.findings}
    assert codes <= emitted_codes()
    assert len(codes) > 25
    for finding in small_band.findings:
        explained = explain_finding(small_band.layout, make_spec(SMALL), finding)
        assert explained.finding == finding
        assert explained.check.meaning


def test_every_check_says_what_why_and_from_where():
    for check in CHECKS.values():
        assert check.meaning
        assert check.measured
        assert check.why


# The command


def _run(capsys, *arguments):
    code = main(["explain", *map(str, arguments)])
    return code, capsys.readouterr()


def test_command_prints_formula_values_and_source(capsys, spec_file):
    code, out = _run(capsys, spec_file, "seat.floor_mm")
    assert code == 0
    assert "seat.floor_mm = 0.8 mm" in out.out
    assert "min(max(0.35 * d, 0.50), 0.80)" in out.out
    assert "d = 3 mm  (stones.diameter_mm)" in out.out
    assert "Morris & Watson" in out.out


def test_command_takes_other_values(capsys, spec_file):
    code, out = _run(capsys, spec_file, "seat.floor_mm", "--set", "stones.diameter_mm=2.0", "--json")
    assert code == 0
    told = json.loads(out.out)
    assert told["value"] == 0.7
    assert told["inputs"][0] == {"name": "d", "key": "stones.diameter_mm", "value": 2.0, "unit": "mm"}


def test_command_explains_a_finding_of_a_band(capsys, spec_file):
    code, out = _run(capsys, spec_file, "recess-width", "--json")
    told = json.loads(out.out)
    assert code == 0
    assert told["finding"]["severity"] == "ok"
    assert told["working"]["value"] == told["finding"]["measured"]


@pytest.mark.parametrize("code", ["genus", "core-ratio", "wall-thickness", "section-left"])
def test_command_explains_what_is_found_on_the_solid_and_as_set(capsys, spec_file, code):
    """Measured on the mesh, by balls and cores, and on the prongs as set; the numbers of inspect."""
    code_of, out = _run(capsys, spec_file, code, "--json")
    finding = json.loads(out.out)["finding"]
    assert (code_of, finding["code"], finding["severity"]) == (0, code, "ok")
    assert main(["inspect", str(spec_file), "--json"]) == 0
    inspected = {each["code"]: each for each in json.loads(capsys.readouterr().out)["findings"]}
    assert finding == inspected.get(code, finding)
    assert (code in inspected) == (code != "section-left")


def test_command_explains_a_check_without_a_band(capsys):
    code, out = _run(capsys, "volume-bounds")
    assert code == 0
    assert "divergence" in out.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("recess-dept",), "recess-depth"),
        (("SPEC", "draft"), "seat.draft_deg"),
        (("SPEC", "girdle_gap"), "girdle_gap_mm"),
        (("SPEC", "shank.end_width_mm"), "is no number of this band"),
        (("seat.draft_deg",), "SPEC.toml seat.draft_deg"),
        (("SPEC",), "name a key"),
    ],
)
def test_command_refuses_what_it_does_not_know(capsys, spec_file, arguments, words):
    code, out = _run(capsys, *(spec_file if each == "SPEC" else each for each in arguments))
    assert code == 2
    assert words in out.err


def test_all_names_are_known_once():
    assert len(known_names()) == len(set(known_names()))
    assert explain_check("genus").check.code == "genus"
