"""`bandgen sizes` and `bandgen stones` as a user meets them: every way of writing, refusals, tables, plain data."""

import itertools
import json
import math
import re
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandgen.cli import main
from bandgen.trade.conversion import nearest, read_bore, side_by_side
from bandgen.trade.sizes import SYSTEMS, all_sizes, pattern, read_size
from bandgen.trade.width import WIDTH_ADVICE, advice_for_width


def data_of(capsys, *arguments):
    assert main([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("text", "bore"),
    [
        ("17.3 mm", 17.3),
        ("17,3mm", 17.3),
        ("17.3 mm diameter", 17.3),
        ("17.3 mm inside diameter", 17.3),
        ("inside diameter: 17.3 mm", 17.3),
        ("ø17.3", 17.3),
        ("ID 17.3 mm", 17.3),
        ("1.73 cm dia.", 17.3),
        ("0.682 in", 0.682 * 25.4),
        ('.682"', 0.682 * 25.4),
        ("ø.682 in", 0.682 * 25.4),
        ("dia. 17.3", 17.3),
        ("54.4 mm", 54.4 / math.pi),
        ("54.4 mm circumference", 54.4 / math.pi),
        ("53,75 mm circ.", 53.75 / math.pi),
        ("Umfang 54,4 mm", 54.4 / math.pi),
        ("inner circumference 54.4", 54.4 / math.pi),
        ("2.14 inches around", 2.14 * 25.4 / math.pi),
    ],
)
def test_plain_measures(text, bore):
    """A measure is the bore that its quantity says; without one, the only one that a finger could have."""
    assert read_bore(text).inner_diameter_mm == pytest.approx(bore, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "label"),
    [
        ("UK N½", "UK N 1/2"),
        ("uk n 1/2", "UK N 1/2"),
        ("UK N-1/2", "UK N 1/2"),
        ("UK N-½", "UK N 1/2"),
        ("UK N1⁄2", "UK N 1/2"),
        ("UK N 1 / 2", "UK N 1/2"),
        ("UK N.5", "UK N 1/2"),
        ("UK N,5", "UK N 1/2"),
        ("UK N half", "UK N 1/2"),
        ("UK-N-half", "UK N 1/2"),
        ("UK size N½", "UK N 1/2"),
        ("size: N½ UK", "UK N 1/2"),
        ("Ring size UK N 1/2", "UK N 1/2"),
        ("N½ (UK)", "UK N 1/2"),
        ("AU N½", "UK N 1/2"),
        ("UK Z plus 2 half", "UK Z+2 1/2"),
        ("7 US", "US 7"),
        ("7US", "US 7"),
        ("US #7", "US 7"),
        ("US 6-1/2", "US 6.5"),
        ("6 ¾ USA", "US 6.75"),
        ("Japan 13", "JP 13"),
        ("54 ISO", "ISO 54"),
    ],
)
def test_ways_people_write_them(text, label):
    """They are read alike on the command line and in a spec, and the spec's JSON Schema takes them."""
    assert read_bore(text).label == read_size(text).label == label
    assert re.search(pattern(), text)


FIRST = ["UK", "us ", "size UK ", "US size ", "ISO", "JP-", "DE ", "Japan ", "", "#", "UK #", "Ring size: uk ", "US: "]
VALUES = [
    "N",
    "n½",
    "N-1/2",
    "N -1/2",
    "N half",
    "N.5",
    "6 1/4",
    "6-½",
    "13",
    "54,5",
    "17.25",
    "-1/2",
    "½",
    "N1⁄2",
    "-1",
]
VALUES += ["Z+2", "Z plus 2", "z + 2 half", "7 half", "1 / 2", "6 - 1/2"]
LAST = ["", " UK", "UK", " (UK)", " US", "-US", " size"]


@pytest.mark.parametrize("first", FIRST)
def test_schema_and_reader_take_the_same_spellings(first):
    """Every mixture of these beginnings, values and ends is taken by both or by neither."""
    texts = [first + value + last for value, last in itertools.product(VALUES, LAST)]
    assert {t for t in texts if re.search(pattern(), t)} == {t for t in texts if reads(t)}


def reads(text):
    try:
        read_size(text)
    except ValueError:
        return False
    return True


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet='ISOUKJPCHDELNmcin0123456789 +./,½-:#ø"', max_size=14))
def test_any_text_is_a_finger_s_bore_or_refused(text):
    """What is read reads back from its own label, within the finger's range; the schema refuses no size that is."""
    try:
        bore = read_bore(text)
    except ValueError:
        return
    assert 10.0 <= bore.inner_diameter_mm <= 30.0
    assert read_bore(bore.label).inner_diameter_mm == pytest.approx(bore.inner_diameter_mm, rel=1e-9)
    assert bore.system == "mm" or re.search(pattern(), text)


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["17"], ["JP 17 (18.333", "CH 17 (18.144", "DE 17 (17.000", "'17 mm'"]),
        (["N"], ["names no system", "UK N (17.109 mm inside)"]),
        (["size", "N½"], ["names no system", "UK N 1/2 (17.308 mm inside)"]),
        (["#7"], ["US 7 (17.323", "JP 7 (15.000"]),
        (["FR", "14"], ["'ISO n'", "'CH n'", "here CH 14 (17.189 mm inside)"]),
        (["EU", "54"], ["ISO 54 (17.189 mm inside)"]),
        (["JIS", "12"], ["JP 12 (16.667 mm inside)"]),
        (["30.5 mm"], ["diameter (a bore of 30.50 mm)", "circumference (a bore of 9.71 mm)", "10 to 30 mm"]),
        (["54 mm diameter"], ["diameter (a bore of 54.00 mm)", "10 to 30"]),
        (["17 mm wide"], ["no system"]),
        (["9" * 400 + " mm"], ["10 to 30 mm"]),
        (["UK UK N"], ["no UK size"]),
        ([], ["give a size, or --table"]),
        (["US 7", "--table", "UK"], ["give a size, or --table"]),
        (["--table", "FR"], ["'FR' is not known", "ISO, UK, US"]),
        (["--table", "UK", "--width", "6"], ["--width"]),
        (["US 7", "--width", "-1"], ["--width", "more than 0"]),
        (["US 7", "--width", "nan"], ["--width", "more than 0"]),
    ],
)
def test_refusals(capsys, arguments, parts):
    """Exit code 2, nothing printed but what would help."""
    assert main(["sizes", *arguments]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert [part for part in parts if part not in streams.err] == [], streams.err


def test_all_systems_side_by_side(capsys):
    """UK N 1/2 is 54.375 mm round (BS 6820 formula) and its nearest US size is 7, as charts print (printableringsizer:
    both 17.32 mm)."""
    data = data_of(capsys, "sizes", "UK", "N", "1/2")
    assert (data["label"], data["circumference_mm"]) == ("UK N 1/2", 54.375)
    rows = {row["system"]: row for row in data["systems"]}
    assert list(rows) == list(SYSTEMS)
    assert rows["US"]["label"] == "US 7"
    assert rows["UK"]["off_diameter_mm"] == rows["UK"]["off_circumference_mm"] == 0.0
    assert rows["ISO"]["off_circumference_mm"] == pytest.approx(0.125)  # 54.5 less 54.375
    assert rows["DE"]["off_diameter_mm"] == pytest.approx(17.25 - 54.375 / math.pi, abs=1e-4)
    assert all(row["source"] and row["confidence"] for row in rows.values())
    assert (rows["UK"]["charts_differ_mm"], rows["US"]["charts_differ_mm"]) == (0.2, 0.1)
    assert any("UK charts differ by up to 0.2 mm" in note for note in data["notes"])


@pytest.mark.parametrize("system", SYSTEMS)
def test_nearest_is_the_nearest(system):
    """Against a search over all sizes; within half a step of the system's ends there is always one."""
    sizes = all_sizes(system)
    for bore in (11.7, 13.1, 15.05, 16.3, 17.308, 19.77, 21.9, 24.2):
        asked = read_bore(f"{bore} mm diameter")
        match = nearest(asked, system)
        assert match.size in sizes
        assert abs(match.off_diameter_mm) == min(abs(size.inner_diameter_mm - bore) for size in sizes)
        assert match.off_circumference_mm == pytest.approx(math.pi * match.off_diameter_mm)
        inside = sizes[0].inner_diameter_mm <= bore <= sizes[-1].inner_diameter_mm
        assert match.within or not inside


def test_beyond_the_ends_is_said():
    """12 mm is a US size but under the first Japanese one, 13 mm; Z+6 is over the last, 22.667 mm."""
    assert not nearest(read_bore("12 mm diameter"), "JP").within
    assert nearest(read_bore("12 mm diameter"), "US").within
    assert not nearest(read_size("UK Z+6"), "JP").within
    assert nearest(read_bore("12.85 mm"), "JP").within  # under half a step of a third below the end


def test_every_size_is_its_own_nearest():
    for system in SYSTEMS:
        for size in all_sizes(system):
            own = {match.size.system: match for match in side_by_side(size)}[system]
            assert (own.size, own.off_diameter_mm, own.within) == (size, 0.0, True)


@pytest.mark.parametrize(("system", "count"), [("UK", 63), ("us", 65), ("AU", 63), ("JP", 30)])
def test_table_of_a_system(capsys, system, count):
    """Every size with its millimetres and the nearest of the seven others."""
    data = data_of(capsys, "sizes", "--table", system)
    assert len(data["sizes"]) == count
    assert all(len(row["nearest"]) == len(SYSTEMS) - 1 for row in data["sizes"])
    main(["sizes", "--table", system])
    printed = capsys.readouterr().out
    assert all(f"\n{row['label']} " in printed for row in data["sizes"])
    assert "UK charts differ" in printed


def test_advice_for_wide_bands(capsys):
    """Rio Grande: 0.5 mm round over 4 mm; careypearson.com: half a US size (0.4064 mm) from 5 mm. Never applied."""
    narrow, wide = data_of(capsys, "sizes", "US 7", "--width", "4"), data_of(capsys, "sizes", "US 7", "--width", "6")
    assert narrow["width_advice"] == []
    assert [row["more_circumference_mm"] for row in wide["width_advice"]] == [0.5, pytest.approx(1.2767, abs=1e-4)]
    assert wide["width_advice"][1]["more_diameter_mm"] == pytest.approx(0.4064)
    assert wide["width_advice"][1]["nearest"] == "US 7.5"
    assert wide["inner_diameter_mm"] == narrow["inner_diameter_mm"] == pytest.approx(17.3228)
    assert wide["systems"] == narrow["systems"]
    main(["sizes", "US 7", "--width", "6"])
    printed = capsys.readouterr().out
    assert [part for part in ("not applied", "RIO", "FIT1", "gauge of the same width") if part not in printed] == []


def test_edges_of_the_advice():
    """ "Wider than 4" leaves 4 out, "5 and over" takes 5 in; the third source asks for nothing more at 10."""
    assert [len(advice_for_width(width)) for width in (4.0, 4.01, 5.0, 9.9, 10.0)] == [0, 1, 2, 2, 3]
    assert advice_for_width(10.0)[-1].more_diameter_mm == 0.0
    assert all(advice.source and advice.confidence in ("high", "medium", "low") for advice in WIDTH_ADVICE)


def test_starts_without_numpy():
    code = (
        "import sys; from bandgen.cli import main; main(['sizes', 'US 7']); "
        "print(sorted({'numpy', 'pydantic', 'manifold3d'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


# --- stones ---------------------------------------------------------------------------------------------------------

PATTERNED = """
name = "Patterned"
[finger]
size = "US 7"
[stones]
diameter_mm = 2.0
[arrangement]
pattern_mm = [2.0, 1.6, 1.6]
pattern_materials = ["ruby", "diamond", "diamond"]
"""


def test_stones_to_order(tmp_path, capsys):
    """Rows by material and size add up to the band's stones and to the totals."""
    spec = tmp_path / "patterned.toml"
    spec.write_text(PATTERNED)
    data = data_of(capsys, "stones", str(spec))
    rows = data["stones"]
    assert [(row["material"], row["diameter_mm"]) for row in rows] == [("diamond", 1.6), ("ruby", 2.0)]
    assert rows[0]["count"] == 2 * rows[1]["count"]
    assert [row["sieve"] for row in rows] == ["+5.5 -6", "+7.5 -8"]
    assert (rows[0]["sieve_mean_carat"], rows[1]["sieve_mean_carat"]) == (0.018, None)
    assert data["count"] == sum(row["count"] for row in rows) == sum(part["count"] for part in data["materials"])
    assert data["carat_total"] == pytest.approx(sum(row["count"] * row["carat_each"] for row in rows), rel=1e-3)
    assert main(["stones", str(spec)]) == 0
    printed = capsys.readouterr().out
    wanted = ("in all", "+5.5 -6", "D2 x depth x 0.0061", "SG x 0.0018", "confidence medium")
    assert [part for part in wanted if part not in printed] == []


def test_stones_refuses_a_bad_spec(tmp_path, capsys):
    spec = tmp_path / "bad.toml"
    spec.write_text(PATTERNED.replace("US 7", "7"))
    assert main(["stones", str(spec)]) == 2
    assert "US 7 (17.323 mm inside)" in capsys.readouterr().err
