"""The spec: every rule by a value that keeps it and one that breaks it; jsonschema as an independent judge of the
schema."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pydantic import ValidationError

from bandgen.errors import Problem, SpecError
from bandgen.spec import SIZE_LIMIT_BYTES, Spec, load_spec, make_spec, schema, spec_keys
from bandgen.trade.alloys import ALLOYS
from bandgen.trade.stones import MATERIALS

SAMPLES = sorted((Path(__file__).parent.parent / "samples").glob("*.toml"))
LEAST: dict[str, Any] = {"finger": {"inner_diameter_mm": 17.0}, "stones": {"diameter_mm": 2.0}}
RANGES = {key: limits for key, limits in spec_keys().items() if limits is not None}
COMPANIONS: dict[str, dict[str, Any]] = {
    "arrangement.end_mm": {"stones": {"diameter_mm": 5.0}},
    **{key: {"sprue": {}} for key in ("sprue.count", "sprue.diameter_mm", "sprue.length_mm")},
}
"""What a key needs beside the least spec, to be taken anywhere in its range."""
TABLES = [key for key in spec_keys() if "." not in key and key != "name"]
SCHEMA = schema()
JUDGE = jsonschema.Draft202012Validator(SCHEMA)


def with_value(key: str, value: Any) -> dict[str, Any]:
    """The least spec with one more value, as "table.key"."""
    data = copy.deepcopy(LEAST | COMPANIONS.get(key, {}))
    table, _, name = key.rpartition(".")
    if not table:
        return {**data, name: value}
    data.setdefault(table, {})[name] = value
    return data


def read(spec: Spec, key: str) -> Any:
    table, _, name = key.rpartition(".")
    return getattr(getattr(spec, table) if table else spec, name)


def problems(data: dict[str, Any]) -> tuple[Problem, ...]:
    with pytest.raises(SpecError) as refused:
        make_spec(data)
    assert refused.value.exit_code == 2
    return refused.value.problems


def the_problem(data: dict[str, Any]) -> Problem:
    (problem,) = problems(data)
    return problem


def toml(folder: Path, text: str | bytes, name: str = "band.toml") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


# --- what is read ---


def test_the_least_spec() -> None:
    spec = make_spec(LEAST)
    assert spec.finger.bore_mm == 17.0
    assert spec.finger.reading is None
    assert (spec.name, spec.stones.material, spec.metal.alloy) == ("band", "diamond", "18k-yellow")
    assert (spec.seat.opening, spec.prong.tip, spec.mesh.deviation_mm) == ("blind", "dome", 0.005)
    assert spec.stones.count is None


@pytest.mark.parametrize(
    ("size", "bore"),
    [("ISO 54", 17.189), ("US 6", 16.510), ("UK J", 15.518), ("JP 13", 17.0), ("CH 14", 17.189), ("DE 17", 17.0)],
)  # trade-facts section 1: formulas and charts
def test_sizes_of_every_system(size: str, bore: float) -> None:
    spec = make_spec({"finger": {"size": size}, "stones": {"diameter_mm": 2.0}})
    assert spec.finger.bore_mm == pytest.approx(bore, abs=6e-4)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples_load(path: Path) -> None:
    text = tomllib.loads(path.read_text())
    assert load_spec(path).name == text["name"]


def test_name_comes_from_the_file_where_none_is_given(tmp_path: Path) -> None:
    text = "[finger]\nsize = 'ISO 54'\n[stones]\ndiameter_mm = 2.0\n"
    assert load_spec(toml(tmp_path, text, "my band.toml")).name == "my band"
    assert load_spec(toml(tmp_path, "name = 'Own'\n" + text)).name == "Own"


def test_changes_replace_values_of_the_file(tmp_path: Path) -> None:
    path = toml(tmp_path, "name = 'Own'\n[finger]\nsize = 'ISO 54'\n[stones]\ndiameter_mm = 2.0\n")
    spec = load_spec(path, {"stones.diameter_mm": 1.5, "prong.tip": "flat", "name": "Flat"})
    assert (spec.stones.diameter_mm, spec.prong.tip, spec.name) == (1.5, "flat", "Flat")
    with pytest.raises(SpecError, match="not a table"):
        load_spec(path, {"name.tip": "flat"})


# --- ranges ---


@pytest.mark.parametrize("key", RANGES)
def test_both_ends_of_a_range_are_allowed(key: str) -> None:
    for end in RANGES[key]:
        value = int(end) if key == "stones.count" else end
        assert read(make_spec(with_value(key, value)), key) == value


@pytest.mark.parametrize("key", RANGES)
def test_beyond_a_range_the_range_is_named(key: str) -> None:
    low, high = RANGES[key]
    step = 1 if key == "stones.count" else 1e-6
    for value in (low - step, high + step):
        value = int(value) if key == "stones.count" else value
        problem = the_problem(with_value(key, value))
        assert (problem.key, problem.value) == (key, value)
        assert problem.advice == f"allowed {low:g} to {high:g}"
        assert key in str(problem)
        assert str(value) in str(problem)


@pytest.mark.parametrize("key", RANGES)
@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf"), True, False, "wide", [1.0], {"a": 1}])
def test_no_number_no_entry(key: str, value: Any) -> None:
    assert the_problem(with_value(key, value)).key == key


@pytest.mark.parametrize("key", RANGES)
def test_booleans_are_named(key: str) -> None:
    assert "true or false" in the_problem(with_value(key, True)).rule


def test_count_must_be_whole() -> None:
    assert the_problem(with_value("stones.count", 20.5)).key == "stones.count"
    assert the_problem(with_value("stones.count", 10**400)).key == "stones.count"


def test_numbers_in_toml_that_are_none(tmp_path: Path) -> None:
    for word in ("nan", "inf", "-inf", "true", "1979-05-27", "[2.0]"):
        path = toml(tmp_path, f"[finger]\nsize = 'ISO 54'\n[stones]\ndiameter_mm = {word}\n")
        with pytest.raises(SpecError) as refused:
            load_spec(path)
        assert [problem.key for problem in refused.value.problems] == ["stones.diameter_mm"]


AUTO = [key for key in RANGES if key not in ("finger.inner_diameter_mm", "stones.diameter_mm")]


@pytest.mark.parametrize("key", AUTO)
def test_auto_is_the_same_as_leaving_a_key_out(key: str) -> None:
    assert make_spec(with_value(key, "auto")) == make_spec(LEAST | COMPANIONS.get(key, {}))


def test_auto_does_not_stand_for_what_is_required() -> None:
    assert the_problem(with_value("stones.diameter_mm", "auto")).key == "stones.diameter_mm"
    assert problems({**LEAST, "finger": {"inner_diameter_mm": "auto"}})[0].key.startswith("finger")


# --- words ---


@pytest.mark.parametrize(
    ("key", "good", "bad"),
    [("stones.material", "sapphire", "saphire"), ("metal.alloy", "pt950-ru", "pt950ru")],
)
def test_a_misspelt_word_brings_the_list_and_the_nearest(key: str, good: str, bad: str) -> None:
    assert read(make_spec(with_value(key, good)), key) == good
    problem = the_problem(with_value(key, bad))
    known = MATERIALS if key == "stones.material" else ALLOYS
    assert problem.key == key
    assert f"did you mean {good!r}?" in problem.rule
    assert all(name in problem.rule for name in known)


@pytest.mark.parametrize("key", ["stones.cut", "seat.opening", "prong.tip"])
@pytest.mark.parametrize("value", ["square-ish", "", 1, True, None])
def test_choices(key: str, value: Any) -> None:
    assert the_problem(with_value(key, value)).key == key


@pytest.mark.parametrize("name", ["A", "Ariadne 2", "a.b-c_d", "0", "x" * 80])
def test_good_names(name: str) -> None:
    assert make_spec({**LEAST, "name": name}).name == name


@pytest.mark.parametrize("name", ["", "../x", "a/b", "a\\b", "/etc/passwd", "C:x", ".hidden", "a..b", " a", "a ", "a.",
                                  "a\nb", "a\0b", "é", "x" * 81, "~root", "$HOME", "a;b", 7, True, None])  # fmt: skip
def test_names_that_could_leave_the_folder_or_hide(name: Any) -> None:
    assert the_problem({**LEAST, "name": name}).key == "name"


def test_a_trailing_newline_is_no_name() -> None:
    """``$`` in some regular expressions matches before it."""
    assert the_problem({**LEAST, "name": "a\n"}).key == "name"


# --- the finger ---


@pytest.mark.parametrize(
    "size", ["17", "6.25", 17, 17.5, "N", "54", "", "ISO", "ISO 20", "XX 5", "US", True, None, [1]]
)
def test_a_bare_or_unknown_size_is_refused(size: Any) -> None:
    """A bare 17 is a German, Swiss, Japanese or other size: the system is always asked (trade-facts, section 1)."""
    found = problems({**LEAST, "finger": {"size": size}})
    assert found[0].key.startswith("finger")


def test_a_bare_size_is_told_what_to_add() -> None:
    text = str(the_problem({**LEAST, "finger": {"size": "17"}}))
    assert all(f"{system} 17" in text for system in ("JP", "CH", "DE"))
    assert "17.000 mm" in text


def test_a_size_beyond_the_bores_that_are_made() -> None:
    assert make_spec({**LEAST, "finger": {"size": "US 0"}}).finger.bore_mm > 10.0


@pytest.mark.parametrize("finger", [{}, {"size": "ISO 54", "inner_diameter_mm": 17.0}])
def test_one_of_size_and_bore(finger: dict[str, Any]) -> None:
    problem = the_problem({**LEAST, "finger": finger})
    assert problem.key == "finger"
    assert "only one of them" in problem.rule


# --- unknown keys and many problems ---


@pytest.mark.parametrize(
    ("key", "nearest"),
    [("stones.diametre_mm", "stones.diameter_mm"), ("seat.flor_mm", "seat.floor_mm"), ("prongs", "prong"),
     ("seat.overlap", "prong.overlap"), ("metal.aloy", "metal.alloy"), ("nmae", "name")],
)  # fmt: skip
def test_an_unknown_key_suggests_the_nearest(key: str, nearest: str) -> None:
    problem = the_problem(with_value(key, 1.0))
    assert problem.key == key
    assert problem.rule == "is not a key of the spec"
    assert problem.advice == f"did you mean {nearest!r}?"


def test_an_unknown_key_like_no_other_points_to_the_schema() -> None:
    assert "schema" in the_problem(with_value("seat.zzzzzz", 1.0)).advice


def test_all_problems_at_once() -> None:
    data = {
        "name": "../x",
        "finger": {"size": "17"},
        "stones": {"diameter_mm": 9.0, "colour": "D"},
        "seat": {"draft_deg": float("nan")},
        "prong": {"tip": True},
        "metal": {"alloy": "tin"},
        "extra": 1,
    }
    expected = "name finger.size stones.diameter_mm stones.colour seat.draft_deg prong.tip metal.alloy extra"
    found = problems(data)
    assert {problem.key for problem in found} == set(expected.split())
    with pytest.raises(SpecError) as refused:
        make_spec(data, "band.toml")
    assert str(refused.value).count("\n") == len(found) - 1
    assert all(line.startswith("band.toml: ") for line in str(refused.value).splitlines())


def test_what_is_required_is_named() -> None:
    assert {problem.key for problem in problems({})} == {"finger", "stones"}
    assert the_problem({**LEAST, "stones": {}}).key == "stones.diameter_mm"


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("value", [1, "x", [], True, None])
def test_a_table_must_be_a_table(table: str, value: Any) -> None:
    assert the_problem({**LEAST, table: value}).key == table


# --- files ---


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(SpecError, match="readable"):
            load_spec(path)


def test_over_a_megabyte_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A valid spec that only its length condemns: it must not be opened."""
    text = "[finger]\nsize = 'ISO 54'\n[stones]\ndiameter_mm = 2.0\n#"
    just = toml(tmp_path, text.ljust(SIZE_LIMIT_BYTES, "x"), "just.toml")
    over = toml(tmp_path, text.ljust(SIZE_LIMIT_BYTES + 1, "x"), "over.toml")
    assert SIZE_LIMIT_BYTES == 1_000_000
    assert load_spec(just).stones.diameter_mm == 2.0
    monkeypatch.setattr(Path, "read_bytes", lambda path: pytest.fail("was read"))
    monkeypatch.setattr(Path, "open", lambda *rest: pytest.fail("was opened"))
    with pytest.raises(SpecError, match="1000000 bytes"):
        load_spec(over)


@pytest.mark.parametrize(
    "content",
    [b"name = '\xff'\n", "name = 'é'\n".encode("latin-1"), "name = 'x'\n".encode("utf-16"), b"\0\0\0", b"[finger\n",
     b"a = 1\na = 2\n", b"a = \n", b"\xed\xa0\x80", b"a = " + b"[" * 5000, b"a = 0x", b"PK\x03\x04binary"],
)  # fmt: skip
def test_what_is_no_toml(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(SpecError, match="readable TOML"):
        load_spec(toml(tmp_path, content))


def test_a_syntax_error_has_its_line(tmp_path: Path) -> None:
    with pytest.raises(SpecError, match="line 2"):
        load_spec(toml(tmp_path, "[finger]\nsize = \n"))


# --- frozen ---


@pytest.mark.parametrize("table", TABLES)
def test_specs_are_frozen(table: str) -> None:
    spec = make_spec(LEAST)
    inner = getattr(spec, table)
    name = next(iter(type(inner).model_fields))
    with pytest.raises(ValidationError, match="frozen"):
        setattr(inner, name, 1.0)
    with pytest.raises(ValidationError, match="frozen"):
        setattr(spec, table, inner)


def test_input_is_left_alone() -> None:
    data = with_value("seat.floor_mm", "auto")
    before = copy.deepcopy(data)
    make_spec(data)
    assert data == before


def test_equal_specs_are_equal_and_hash_alike() -> None:
    assert make_spec(LEAST) == make_spec(copy.deepcopy(LEAST))
    assert len({make_spec(LEAST), make_spec(LEAST)}) == 1


# --- the schema, judged by jsonschema ---


def nodes(node: Any) -> list[dict[str, Any]]:
    """Every object of the schema."""
    if isinstance(node, list):
        return [inner for item in node for inner in nodes(item)]
    if not isinstance(node, dict):
        return []
    return [node, *(inner for value in node.values() for inner in nodes(value))]


def test_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_schema_accepts_every_sample(path: Path) -> None:
    JUDGE.validate(tomllib.loads(path.read_text()))


def test_every_key_has_a_description() -> None:
    tables = [SCHEMA, *SCHEMA["$defs"].values()]
    keys = [(name, field) for table in tables for name, field in table["properties"].items()]
    assert len(keys) == len(spec_keys())
    assert [name for name, field in keys if len(described(field)) < 10] == []


def described(field: dict[str, Any]) -> str:
    """A key's own description, or that of the table it refers to."""
    table = SCHEMA["$defs"].get(field.get("$ref", "").rpartition("/")[2], {})
    return field.get("description", table.get("description", ""))


def test_every_default_keeps_its_own_rule() -> None:
    for node in nodes(SCHEMA):
        for field in node.get("properties", {}).values():
            if "default" in field:
                jsonschema.Draft202012Validator({**field, "$defs": SCHEMA["$defs"]}).validate(field["default"])


def test_every_table_is_closed() -> None:
    tables = [node for node in nodes(SCHEMA) if node.get("type") == "object"]
    assert len(tables) == 1 + len(TABLES)
    assert all(node["additionalProperties"] is False for node in tables)


@pytest.mark.parametrize("key", RANGES)
def test_schema_refuses_out_of_range_values_by_itself(key: str) -> None:
    low, high = RANGES[key]
    step = 1 if key == "stones.count" else 1e-6
    data = with_value(key, low)
    if key == "stones.count":
        data = with_value(key, int(low))
    assert JUDGE.is_valid(data)
    for value in (low - step, high + step, "wide", True, None, [low]):
        assert not JUDGE.is_valid(with_value(key, value))


@pytest.mark.parametrize("key", AUTO)
def test_schema_knows_auto(key: str) -> None:
    assert JUDGE.is_valid(with_value(key, "auto"))
    assert not JUDGE.is_valid(with_value("stones.diameter_mm", "auto"))


BAD = [with_value("nmae", "x"), with_value("seat.flor_mm", 1.0), with_value("name", "../x"), with_value("name", ""),
       with_value("stones.material", "glass"), with_value("metal.alloy", "tin"), with_value("stones.cut", "oval"),
       with_value("seat.opening", "half"), with_value("prong.tip", "claw"), {"stones": {"diameter_mm": 2.0}},
       {**LEAST, "finger": {}}, {**LEAST, "finger": {"size": "17"}}, {**LEAST, "finger": {"size": "XX 5"}},
       {**LEAST, "finger": {"size": "ISO 54", "inner_diameter_mm": 17.0}}, {**LEAST, "stones": {}},
       {**LEAST, "seat": 1}]  # fmt: skip


@pytest.mark.parametrize("data", BAD, ids=lambda data: str(data)[:70])
def test_schema_and_reader_refuse_alike(data: dict[str, Any]) -> None:
    assert not JUDGE.is_valid(data)
    problems(data)


@pytest.mark.parametrize("name", ["a..b", "a ", "a."])
def test_schema_refuses_the_names_that_the_reader_refuses(name: str) -> None:
    assert not JUDGE.is_valid({**LEAST, "name": name})
    problems({**LEAST, "name": name})
