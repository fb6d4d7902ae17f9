"""The spec's tables of arrangement, hoop, shank and bore: lists and their items, rules between keys, parcels from CSV
files; jsonschema as an independent judge of the schema."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from test_spec import JUDGE, LEAST, problems, read, the_problem, toml, with_value

from bandgen.errors import SpecError
from bandgen.spec import Spec, load_spec, make_spec, spec_keys
from bandgen.trade.stones import MATERIALS

FINGER = {"inner_diameter_mm": 17.0}
SIZES = ("sizes_mm", "parcel_mm", "pattern_mm")
LENGTHS = {"sizes_mm": (1, 200), "parcel_mm": (1, 400), "pattern_mm": (2, 12)}


def arranged(**keys: Any) -> dict[str, Any]:
    """A spec without the stones' diameter."""
    return {"finger": FINGER, "arrangement": keys}


def least(table: str, **keys: Any) -> dict[str, Any]:
    """The least spec with one more table."""
    return {**LEAST, table: keys}


# --- what is read ---


def test_defaults() -> None:
    spec = make_spec(LEAST)
    arrangement = spec.arrangement
    assert (arrangement.coverage, arrangement.arc_deg, arrangement.full) == ("full", 360.0, True)
    assert (arrangement.curve, arrangement.ladder, arrangement.order) == (1.0, "none", "given")
    assert (arrangement.heights, arrangement.prongs, arrangement.rows) == ("clearance", "shared", 1)
    assert (arrangement.stagger, arrangement.scallop_mm, arrangement.source) == (False, 0.0, None)
    assert (spec.hoop.thickness_mm, spec.hoop.openings) == (0.0, False)
    assert (spec.shank.section, spec.bore.section) == ("flat", "flat")


@pytest.mark.parametrize(
    ("keys", "arc"),
    [({"coverage": "three-quarter"}, 270.0), ({"coverage": "half"}, 180.0), ({"coverage_deg": 123.0}, 123.0),
     ({"coverage": "count", "sizes_mm": [2.0, 1.8]}, None), ({"coverage_deg": "auto"}, 360.0)],
)  # fmt: skip
def test_the_arc(keys: dict[str, Any], arc: float | None) -> None:
    spec = make_spec(arranged(pattern_mm=[2.0, 1.5], **keys) if "sizes_mm" not in keys else arranged(**keys))
    assert spec.arrangement.arc_deg == arc
    assert spec.arrangement.full == (arc == 360.0)


@pytest.mark.parametrize("key", SIZES)
def test_lists_become_tuples(key: str) -> None:
    spec = make_spec(arranged(**{key: [1.5, 2, 1.75]}))
    assert getattr(spec.arrangement, key) == (1.5, 2.0, 1.75)
    assert all(type(size) is float for size in spec.arrangement.listed_mm or ())
    assert spec.arrangement.source == key
    assert spec.stones.diameter_mm == 2.0  # the largest of them
    assert hash(spec) == hash(make_spec(arranged(**{key: (1.5, 2.0, 1.75)})))


RECORDED = [
    least("arrangement", coverage_deg=200.0),
    least("arrangement", coverage="half"),
    arranged(sizes_mm=[2.0, 1.8, 1.6], coverage="count", ladder="calibrated"),
    arranged(parcel_mm=[2.0, 2.1, 1.9, 2.0, 2.0], order="best"),
    arranged(pattern_mm=[2.0, 1.5], pattern_materials=["ruby", "diamond"], rows=2, stagger=True),
    {**LEAST, "hoop": {"thickness_mm": 0.5, "openings": True}, "bore": {"section": "comfort", "crown_mm": 0.2}},
]


@pytest.mark.parametrize("data", RECORDED, ids=str)
def test_a_record_put_back_in_is_the_same_spec(data: dict[str, Any]) -> None:
    spec = make_spec(data)
    dumped = json.loads(json.dumps(spec.model_dump(exclude_none=True)))
    assert make_spec(dumped) == spec
    assert JUDGE.is_valid(data)
    assert JUDGE.is_valid(dumped)


# --- items of lists ---


@pytest.mark.parametrize("key", SIZES)
@pytest.mark.parametrize("bad", [0.999999, 5.000001, float("nan"), "2.0", "auto", True, None, [2.0]], ids=str)
def test_a_bad_item_is_named(key: str, bad: Any) -> None:
    data = arranged(**{key: [2.0, 1.0, 5.0, bad]})
    problem = the_problem(data)
    assert problem.key == f"arrangement.{key}"
    assert problem.key in spec_keys()
    assert problem.rule.startswith("item 4: ")
    assert problem.advice == "allowed 1 to 5"
    assert JUDGE.is_valid(data) == (bad != bad)  # JSON knows no NaN


def test_every_bad_item_is_told_and_its_value() -> None:
    found = problems(arranged(sizes_mm=[2.0, 9.0, "x", 0.5]))
    assert [(problem.rule[:7], problem.value) for problem in found] == [
        ("item 2:", 9.0),
        ("item 3:", "x"),
        ("item 4:", 0.5),
    ]


def test_a_material_of_a_pattern_is_named() -> None:
    assert make_spec(least("arrangement", pattern_materials=["ruby", "diamond"])).arrangement.pattern_materials
    problem = the_problem(least("arrangement", pattern_materials=["ruby", "saphire"]))
    assert problem.key == "arrangement.pattern_materials"
    assert problem.rule.startswith("item 2: must be one of")
    assert "did you mean 'sapphire'?" in problem.rule
    assert all(name in problem.rule for name in MATERIALS)
    for bad in (1, True, None, ["ruby"]):
        assert the_problem(least("arrangement", pattern_materials=["ruby", bad])).rule.startswith("item 2: ")


@pytest.mark.parametrize("key", SIZES)
def test_lengths(key: str) -> None:
    low, high = LENGTHS[key]
    for length in (low, high):
        assert make_spec(arranged(**{key: [2.0] * length}))
        assert JUDGE.is_valid(arranged(**{key: [2.0] * length}))
    for length in (low - 1, high + 1):
        problem = the_problem(arranged(**{key: [2.0] * length}))
        assert (problem.key, problem.rule) == (f"arrangement.{key}", f"must hold {low} to {high} items, not {length}")
        assert not JUDGE.is_valid(arranged(**{key: [2.0] * length}))


@pytest.mark.parametrize("key", [*SIZES, "pattern_materials"])
@pytest.mark.parametrize("value", [2.0, True, None, {"a": 2.0}, {2.0, 1.5}, 10**400], ids=lambda value: str(value)[:9])
def test_no_list_no_entry(key: str, value: Any) -> None:
    assert {problem.key for problem in problems(with_value(f"arrangement.{key}", value))} == {f"arrangement.{key}"}


def test_a_list_is_no_auto_and_no_word() -> None:
    for key in ("sizes_mm", "pattern_mm", "pattern_materials"):
        data = with_value(f"arrangement.{key}", "auto")
        assert the_problem(data).key == f"arrangement.{key}"
        assert not JUDGE.is_valid(data)


# --- true and false ---


@pytest.mark.parametrize(
    ("key", "beside"), [("arrangement.stagger", {"rows": 2}), ("hoop.openings", {"thickness_mm": 1})]
)
def test_true_or_false(key: str, beside: dict[str, Any]) -> None:
    table, name = key.split(".")
    for value in (True, False):
        assert read(make_spec(least(table, **beside, **{name: value})), key) is value
    for value in (1, 0, "true", "auto", None, [True]):
        data = with_value(key, value)
        assert the_problem(data).rule == "must be true or false"
        assert not JUDGE.is_valid(data)


# --- the hoop's own range ---


def test_no_hoop_or_a_thick_one() -> None:
    for value in (0, 0.0, 0.3, 3.0, "auto"):
        data = with_value("hoop.thickness_mm", value)
        assert make_spec(data).hoop.thickness_mm == (0.0 if value == "auto" else value)
        assert JUDGE.is_valid(data)
    for value in (0.1, 0.2999, -0.0001, 3.0001, False, "0"):
        data = with_value("hoop.thickness_mm", value)
        assert the_problem(data).advice == "allowed 0.3 to 3"
        assert not JUDGE.is_valid(data)


# --- rules between keys ---

PAIRS = [(a, b) for a in (*SIZES, "end_mm") for b in (*SIZES, "end_mm") if a < b]


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_sizes_have_one_source(one: str, other: str) -> None:
    values = {key: 2.0 if key == "end_mm" else [2.0, 1.5] for key in (one, other)}
    problem = the_problem({**LEAST, "arrangement": values})
    assert problem.key in (f"arrangement.{one}", f"arrangement.{other}")
    assert f"arrangement.{one}" in str(problem)
    assert f"arrangement.{other}" in str(problem)


@pytest.mark.parametrize(
    ("data", "key", "told"),
    [
        (least("arrangement", coverage="half", coverage_deg=200.0), "arrangement.coverage_deg", "arrangement.coverage"),
        (least("arrangement", coverage="full", coverage_deg=200.0), "arrangement.coverage_deg", "arrangement.coverage"),
        (least("arrangement", coverage="count"), "stones.count", "required"),
        (least("arrangement", ladder="calibrated"), "arrangement.ladder", "arrangement.end_mm"),
        (arranged(pattern_mm=[2.0, 1.5], ladder="calibrated"), "arrangement.ladder", "graduated"),
        (least("arrangement", order="best"), "arrangement.order", "arrangement.parcel_mm"),
        (least("arrangement", stagger=True), "arrangement.stagger", "arrangement.rows"),
        (least("hoop", openings=True), "hoop.openings", "hoop.thickness_mm"),
        (least("arrangement", end_mm=2.001), "arrangement.end_mm", "stones.diameter_mm, 2:"),
        (least("arrangement", sizes_mm=[2.1, 2.0]), "stones.diameter_mm", "largest of arrangement.sizes_mm, 2.1"),
        (least("arrangement", pattern_mm=[1.9, 1.5]), "stones.diameter_mm", "largest of arrangement.pattern_mm, 1.9"),
        (
            arranged(parcel_mm=[2.0] * 9, pattern_materials=["ruby", "diamond"]),
            "arrangement.pattern_materials",
            "arrangement.parcel_mm",
        ),
    ],
    ids=str,
)
def test_what_does_not_go_together(data: dict[str, Any], key: str, told: str) -> None:
    problem = the_problem(data)
    assert problem.key == key
    assert told in problem.rule


def test_rules_between_keys_are_told_with_all_others() -> None:
    data = {**LEAST, "metal": {"alloy": "tin"}, "hoop": {"openings": True},
            "arrangement": {"order": "best", "stagger": True, "sizes_mm": [2.0], "end_mm": 1.5}}  # fmt: skip
    expected = "metal.alloy hoop.openings arrangement.order arrangement.stagger arrangement.end_mm"
    assert {problem.key for problem in problems(data)} == set(expected.split())


def test_numbers_with_nothing_to_tune_are_let_be() -> None:
    idle = {"hoop": {"width_mm": 2.0}, "bore": {"crown_mm": 0.1}, "shank": {"base_width_mm": 2.0}}
    assert make_spec({**LEAST, **idle, "arrangement": {"curve": 2.0, "row_gap_mm": 0.2}})


# --- the stones' diameter ---


def test_the_diameter_is_required_without_a_list() -> None:
    for arrangement in ({}, {"end_mm": 1.5}, {"pattern_materials": ["ruby", "diamond"]}):
        data = {"finger": FINGER, "arrangement": arrangement, "stones": {"material": "ruby"}}
        assert the_problem(data).key == "stones.diameter_mm"
        assert not JUDGE.is_valid(data)
    assert the_problem(arranged(end_mm=1.5)).key == "stones"


@pytest.mark.parametrize("key", SIZES)
def test_a_list_stands_for_it(key: str) -> None:
    for stones in ({}, {"stones": {}}, {"stones": {"material": "ruby"}}, {"stones": {"diameter_mm": 2.0}}):
        data = {**arranged(**{key: [1.5, 2.0]}), **stones}
        assert make_spec(data).stones.diameter_mm == 2.0
        assert JUDGE.is_valid(data)


def test_a_bad_list_is_blamed_alone() -> None:
    for items in ([], ["x", 9.0], 7, None):
        assert {problem.key for problem in problems(arranged(sizes_mm=items))} == {"arrangement.sizes_mm"}


# --- near keys ---


@pytest.mark.parametrize(
    ("key", "nearest"),
    [("arrangement.size_mm", "arrangement.sizes_mm"), ("arrangement.parcel", "arrangement.parcel_mm"),
     ("hoop.thicknes_mm", "hoop.thickness_mm"), ("shank.base_widht_mm", "shank.base_width_mm"),
     ("bore.sections", "bore.section"), ("arangement", "arrangement"), ("stones.rows", "arrangement.rows")],
)  # fmt: skip
def test_an_unknown_key_suggests_the_nearest(key: str, nearest: str) -> None:
    assert the_problem(with_value(key, 1.0)).advice == f"did you mean {nearest!r}?"


WORDS = [*(f"arrangement.{key}" for key in ("coverage", "ladder", "order", "heights", "prongs")),
         "shank.section", "bore.section"]  # fmt: skip


@pytest.mark.parametrize("key", WORDS)
@pytest.mark.parametrize("value", ["quarter", "", 1, True, None])
def test_choices(key: str, value: Any) -> None:
    data = with_value(key, value)
    assert the_problem(data).key == key
    assert not JUDGE.is_valid(data)


# --- a parcel's file ---


def parcel(folder: Path, content: str | bytes, extra: str = "", name: str = "parcel.csv") -> Spec:
    """The spec of a parcel read from a file beside it."""
    (folder / "parcel.csv").write_bytes(content if isinstance(content, bytes) else content.encode())
    text = f"[finger]\nsize = 'ISO 54'\n[arrangement]\nparcel_mm = '{name}'\n{extra}"
    return load_spec(toml(folder, text))


@pytest.mark.parametrize(
    "content",
    [
        "2.0\n2.05\n1.95\n",
        "2.0\r\n2.05\r\n1.95",
        "\ufeff2\n\n 2.05 \n1.950\n\n",
        "diameter_mm\n2.0\n2.05\n1.95\n",
        "Nr,Diameter_mm,note\n1,2.0,a\n2,2.05,\n3,1.95,c\n",
        "nr;diameter_mm\n1;2.0\n2;2.05\n3;1.95\n",
        "diameter_mm\tnr\n2.0\t1\n2.05\t2\n1.95\t3\n",
        '"note","diameter_mm"\n"a, b","2.0"\n"two\nlines","2.05"\n,1.95\n',
        "2.0,\n2.05,\n1.95,\n",
    ],
)
def test_csv(tmp_path: Path, content: str) -> None:
    spec = parcel(tmp_path, content)
    assert spec.arrangement.parcel_mm == (2.0, 2.05, 1.95)
    assert spec.stones.diameter_mm == 2.05
    assert JUDGE.is_valid({"finger": FINGER, "arrangement": {"parcel_mm": "parcel.csv"}})


@pytest.mark.parametrize(
    ("content", "lines"),
    [
        ("2.0\nx\n1.9\n5.1\n", [2, 4]),
        ("size\n2.0\n", [1]),
        ("2.0\n0.99\nnan\ninf\n1e0\n-2.0\n1_0\n2,05\n", [2, 3, 4, 5, 6, 7, 8]),
        ("nr,diameter_mm\n1,2.0\n2\n3,\n4,x\n", [3, 4, 5]),
        ("\n\n2.0\n\n\nx\n", [6]),
        ("\u0662.0\n2.0\n", [1]),
        ('note,diameter_mm\n"two\nlines",2.0\n,x\n', [4]),
    ],
)
def test_bad_rows_are_named_by_line(tmp_path: Path, content: str, lines: list[int]) -> None:
    with pytest.raises(SpecError) as refused:
        parcel(tmp_path, content)
    found = refused.value.problems
    assert {problem.key for problem in found} == {"arrangement.parcel_mm"}
    assert [problem.rule.split()[:4] for problem in found] == [["line", str(n), "of", "parcel.csv"] for n in lines]


def test_bad_rows_without_end_are_counted(tmp_path: Path) -> None:
    with pytest.raises(SpecError) as refused:
        parcel(tmp_path, "x\n" * 100)
    assert len(refused.value.problems) == 21
    assert "80 more lines" in refused.value.problems[-1].rule


def test_400_stones_and_no_more(tmp_path: Path) -> None:
    assert len(parcel(tmp_path, "2.0\n" * 400).arrangement.parcel_mm) == 400
    for content, count in (("2.0\n" * 401, 401), ("", 0), ("\n \n", 0), ("diameter_mm\n", 0)):
        with pytest.raises(SpecError, match=f"1 to 400 diameters, not {count}"):
            parcel(tmp_path, content)


def test_a_megabyte_and_no_more(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert parcel(tmp_path, "2.0".ljust(1_000_000, "\n")).arrangement.parcel_mm == (2.0,)
    opened = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda p: pytest.fail("was read") if p.suffix == ".csv" else opened(p))
    with pytest.raises(SpecError, match="at most 1000000 bytes, not 1000001"):
        parcel(tmp_path, "2.0".ljust(1_000_001, "\n"))


@pytest.mark.parametrize("content", [b"2.0\n\xff\n", b'"2.0\n2.0\n', b"2.0\n" + b"\0", "2.0".encode("utf-16"),
                                     b"x" * 200_000])  # fmt: skip
def test_what_is_no_csv(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(SpecError) as refused:
        parcel(tmp_path, content)
    assert {problem.key for problem in refused.value.problems} == {"arrangement.parcel_mm"}


@pytest.mark.parametrize(
    "name", ["none.csv", ".", "", "auto", "a\0b", "x" * 5000, "/dev/zero"], ids=lambda n: repr(n)[:9]
)
def test_no_file(tmp_path: Path, name: str) -> None:
    spec_path = toml(tmp_path, "[finger]\nsize = 'ISO 54'\n")
    with pytest.raises(SpecError, match="readable CSV file") as refused:
        load_spec(spec_path, {"arrangement.parcel_mm": name})
    (problem,) = refused.value.problems
    assert problem.key == "arrangement.parcel_mm"


def test_the_path_counts_from_the_spec(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").mkdir()
    monkeypatch.chdir(tmp_path / "a")
    assert parcel(tmp_path, "2.0\n1.9\n").arrangement.parcel_mm == (2.0, 1.9)
    (tmp_path / "a" / "other.csv").write_text("1.7\n")
    assert parcel(tmp_path, "", name="a/other.csv").arrangement.parcel_mm == (1.7,)
    with pytest.raises(SpecError, match="readable CSV"):
        parcel(tmp_path, "", name="other.csv")


def test_a_bad_file_hides_no_other_problem(tmp_path: Path) -> None:
    with pytest.raises(SpecError) as refused:
        parcel(tmp_path, "x\n", "[metal]\nalloy = 'tin'\n[seat]\nflor_mm = 1.0\n")
    assert [problem.key for problem in refused.value.problems] == [
        "arrangement.parcel_mm", "seat.flor_mm", "metal.alloy"
    ]  # fmt: skip
    assert all(line.startswith(str(tmp_path)) for line in str(refused.value).splitlines())


def test_a_path_without_a_file_to_count_from() -> None:
    problem = the_problem(arranged(parcel_mm="parcel.csv"))
    assert problem.key == "arrangement.parcel_mm"
    assert "give the diameters as a list" in problem.rule
