"""Fit: every row makes just the band that it tells of; its gaps are distances in space; the ranking is the one told."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from test_packing import sampled_gap

from bandgen.cli import main
from bandgen.defaults import fill_stones
from bandgen.errors import SpecError
from bandgen.inspection.rules import RULES
from bandgen.inspection.setting import inspect_setting
from bandgen.inspection.volume_prediction import predict_volume
from bandgen.layout.compute import compute_layout
from bandgen.reports.fit import fit
from bandgen.reports.fit_alternatives import alternatives, distinct, put
from bandgen.reports.fit_finger import bores_near, one_size_mm
from bandgen.reports.weights import carat_total
from bandgen.spec import load_spec, make_spec
from bandgen.trade.alloys import ALLOYS

SAMPLES = Path(__file__).parents[1] / "samples"
KEYS = {
    *("stone_count", "diameter_mm", "inner_diameter_mm", "culet_clearance_mm", "girdle_gap_mm", "carat", "metal_g"),
    "reason",
}
KINDS = ("ariadne", "juniper", "quarry", "furrow", "kestrel", "trefoil", "moonrise", "orrery")
BEST = 3


def sample(name):
    return load_spec(SAMPLES / f"{name}.toml")


def as_written(name, row):
    """The spec of a row, put together as a user would: the file's own tables with the row's values."""
    data = tomllib.loads((SAMPLES / f"{name}.toml").read_text())
    stones = {"count": row["stone_count"], "diameter_mm": row["diameter_mm"]}
    data["stones"] = {**data.get("stones", {}), **stones, "culet_clearance_mm": row["culet_clearance_mm"]}
    return make_spec({**data, "finger": {"inner_diameter_mm": row["inner_diameter_mm"]}})


@pytest.mark.parametrize("name", KINDS)
def test_each_row_makes_just_that_band(name, capsys):
    """Through the command, as plain data; the band computed anew from the row's values alone."""
    assert main(["fit", str(SAMPLES / f"{name}.toml"), "--json", "--best", str(BEST)]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert len(rows) == BEST
    for row in rows:
        assert set(row) == KEYS
        layout = compute_layout(as_written(name, row))
        assert len(layout.stations) == row["stone_count"]
        assert layout.girdle_gap_mm == pytest.approx(row["girdle_gap_mm"], abs=1e-9)
        assert carat_total(layout) == pytest.approx(row["carat"], rel=1e-12)
        density = ALLOYS[layout.spec.metal.alloy].density_g_cm3
        assert predict_volume(layout)[0] * density / 1000.0 == pytest.approx(row["metal_g"], rel=1e-9)


@pytest.mark.parametrize(("name", "pavilion_deg"), [("ariadne", 40.8), ("juniper", 42.0)])
def test_gaps_are_distances_between_girdles_in_space(name, pavilion_deg):
    """Girdle circles sampled and a minimiser, from the row's own values: no formula of the layout has a hand in it."""
    for row in fit(sample(name), best=4).rows:
        radius = row.inner_diameter_mm / 2.0 + row.culet_clearance_mm
        radius += row.diameter_mm / 2.0 * math.tan(math.radians(pavilion_deg))
        assert sampled_gap(radius, row.diameter_mm, row.stone_count) == pytest.approx(row.girdle_gap_mm, abs=1e-7)


def girdle(station, samples=360):
    """Points (n, 3) of a station's lower girdle edge."""
    angle = np.linspace(0.0, 2.0 * math.pi, samples, endpoint=False)
    x, z = station.diameter_mm / 2.0 * np.cos(angle), station.diameter_mm / 2.0 * np.sin(angle)
    turn, y = math.radians(station.angle_deg), station.seat.girdle_mm
    return np.column_stack((x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn), z))


def test_no_two_girdles_of_unequal_stones_are_nearer_than_told():
    """Sampled from their facing ends on, which are the nearest points where neighbours stand nearly level."""
    (row,) = fit(sample("trefoil"), best=1).rows
    stations = compute_layout(as_written("trefoil", row.as_dict())).stations
    rounds = [girdle(station) for station in stations]
    apart = [
        np.linalg.norm(one[:, None] - other[None, :], axis=2).min()
        for one, other in zip(rounds, rounds[1:] + rounds[:1], strict=True)
    ]
    assert min(apart) == pytest.approx(row.girdle_gap_mm, abs=1e-4)
    assert min(apart) >= row.girdle_gap_mm - 1e-9


def test_a_row_that_fills_a_part_spans_just_its_coverage():
    """Outer girdle edge of the first stone to that of the last: 180 degrees where the row says that it fills them."""
    rows = [row for row in fit(sample("kestrel"), best=6).rows if row.reason.startswith("fills")]
    assert len(rows) >= 3
    for row in rows:
        first, *_, last = compute_layout(as_written("kestrel", row.as_dict())).stations
        edge = math.degrees(math.atan2(row.diameter_mm / 2.0, first.seat.girdle_mm))
        assert last.angle_deg - first.angle_deg + 2.0 * edge == pytest.approx(180.0, abs=1e-8)
        assert "left plain" in row.reason


def test_the_reason_tells_the_arc_that_is_taken():
    row = next(row for row in fit(sample("kestrel"), best=8).rows if row.reason.startswith("takes"))
    first, *_, last = compute_layout(as_written("kestrel", row.as_dict())).stations
    edge = math.degrees(math.atan2(row.diameter_mm / 2.0, first.seat.girdle_mm))
    assert row.reason.startswith(f"takes {last.angle_deg - first.angle_deg + 2.0 * edge:.1f} of 180 degrees")


def cost(spec, row):
    """What the ranking goes by, from the row alone, as the module tells it; the arc's share is not in it."""
    own = fill_stones(
        spec.model_copy(update={"stones": spec.stones.model_copy(update={"diameter_mm": row.diameter_mm})})
    )
    change = (
        abs(row.culet_clearance_mm - own.stones.culet_clearance_mm)
        + abs(row.inner_diameter_mm - spec.finger.bore_mm)
        + abs(row.diameter_mm - spec.stones.diameter_mm)
    )
    return row.girdle_gap_mm - own.stones.gap_mm + 0.1 * change + 0.05 * row.reason.count("warns of")


@pytest.mark.parametrize("name", ["ariadne", "quarry", "heron"])
def test_rows_stand_in_the_order_of_their_cost(name):
    spec = sample(name)
    costs = [cost(spec, row) for row in fit(spec).rows]
    assert costs == sorted(costs)
    assert costs[0] < costs[-1]


def test_no_cheaper_alternative_is_left_out():
    """Of all distinct alternatives laid out one by one, the cheapest are those shown."""
    spec = sample("ariadne")
    known = {f.code for f in inspect_setting(compute_layout(spec), RULES) if f.severity == "warning"}
    found = []
    for each in distinct(sorted(alternatives(spec, 0.5), key=lambda each: each.cost_mm)):
        values = (each.stones.count, each.stones.diameter_mm, each.bore.mm, each.clearance_mm)
        if each.cost_mm > 0.03:
            break
        try:
            layout = compute_layout(put(spec, *values))
        except SpecError:
            continue
        codes = {f.code for f in inspect_setting(layout, RULES) if f.severity == "warning"} - known
        found.append((each.cost_mm + 0.05 * len(codes), values))
    shown = [
        (row.stone_count, row.diameter_mm, row.inner_diameter_mm, row.culet_clearance_mm)
        for row in fit(spec, best=5).rows
    ]
    assert shown == [values for _, values in sorted(found)[:5]]


def test_what_cannot_be_made_is_not_shown():
    """The parcel closes exactly 0.36 mm lower, where its bearings would reach the floor: only the other one is left."""
    spec = sample("gleaner")
    tried = list(alternatives(spec, 0.5))
    lower = next(each for each in tried if each.clearance_mm < 0.6)
    with pytest.raises(SpecError, match="the bearing reaches the floor"):
        compute_layout(put(spec, lower.stones.count, lower.stones.diameter_mm, lower.bore.mm, lower.clearance_mm))
    (row,) = fit(spec).rows
    assert row.culet_clearance_mm == pytest.approx(0.865, abs=0.001)
    assert len(tried) == 2


def test_a_row_says_which_limits_it_newly_goes_beyond():
    """A pattern on wider fingers: the prongs reach less deep into the cups, and every row says just what is new."""
    spec = sample("trefoil")
    known = {f.code for f in inspect_setting(compute_layout(spec), RULES) if f.severity == "warning"}
    rows = fit(spec, best=6).rows
    for row in rows:
        layout = compute_layout(as_written("trefoil", row.as_dict()))
        codes = {f.code for f in inspect_setting(layout, RULES) if f.severity == "warning"} - known
        assert codes == {part.removeprefix("warns of ") for part in row.reason.split("; ") if "warns of" in part}
    assert {"warns of" in row.reason for row in rows} == {True, False}


def test_a_spec_that_cannot_be_made_is_answered_all_the_same(tmp_path, capsys):
    """One stone too many: the first answer raises the same stones until they close."""
    file = tmp_path / "crowded.toml"
    file.write_text('[finger]\nsize = "ISO 52"\n[stones]\ndiameter_mm = 1.7\ncount = 33\n')
    assert main(["fit", str(file), "--best", "1"]) == 0
    printed = capsys.readouterr().out
    assert "cannot be made as it is" in printed
    assert "as asked" not in printed
    assert "    33     1.7  16.5522   0.7861" in printed


def test_printed_values_make_the_band_too(capsys):
    """Four decimals, rounded so that the gap is kept."""
    assert main(["fit", str(SAMPLES / "ariadne.toml"), "--best", "6"]) == 0
    lines = [line.split() for line in capsys.readouterr().out.splitlines() if line.startswith("    3")]
    assert len(lines) == 7
    for count, size, bore, culet, gap, *_ in lines:
        row = {"stone_count": int(count), "diameter_mm": float(size), "inner_diameter_mm": float(bore)}
        layout = compute_layout(as_written("ariadne", {**row, "culet_clearance_mm": float(culet)}))
        assert layout.girdle_gap_mm == pytest.approx(float(gap), abs=1e-4)


@pytest.mark.parametrize(
    ("size", "share", "names"),
    [
        ("US 6.25", 0.5, ["US 6.25", "US 5.75", "US 6", "US 6.5", "US 6.75"]),
        ("UK O 1/2", 0.5, ["UK O 1/2", "UK O", "UK P"]),
        ("JP 12", 0.5, ["JP 12"]),
        ("ISO 52", 1.0, ["ISO 52", "ISO 51", "ISO 51.5", "ISO 52.5", "ISO 53"]),
        ("DE 17", 0.25, ["DE 17", "DE 16.75", "DE 17.25"]),
    ],
)
def test_fingers_near_by_are_those_of_the_own_system(size, share, names):
    finger = make_spec({"finger": {"size": size}, "stones": {"diameter_mm": 2.0}}).finger
    assert [bore.name for bore in bores_near(finger, share * one_size_mm(finger))] == names


@pytest.mark.parametrize(
    ("size", "step"),  # one size up: ISO 8653 and BS 6820 in circumference, US 0.032 inch, DE and JP in diameter
    [("ISO 52", 1.0 / math.pi), ("UK L", 1.25 / math.pi), ("US 6", 0.8128), ("JP 12", 1.0 / 3.0), ("DE 17", 1.0)],
)
def test_one_size(size, step):
    finger = make_spec({"finger": {"size": size}, "stones": {"diameter_mm": 2.0}}).finger
    assert one_size_mm(finger) == pytest.approx(step, abs=1e-12)


def test_the_finger_changes_no_more_than_asked():
    spec = sample("ariadne")
    for share in (0.0, 0.25, 1.0):
        bores = {each.bore.mm for each in alternatives(spec, share)}
        assert max(abs(bore - spec.finger.bore_mm) for bore in bores) <= share / math.pi + 1e-9
        assert (len(bores) > 1) is (share == 1.0)  # a quarter of a size reaches no half size, and nothing closes in it


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--best", "0"], "--best = 0: must be 1 to 200"),
        (["--size-share", "-1"], "--size-share = -1.0: must be 0 to 4"),
        (["--count", "30"], "--count = 30: needs --solve clearance or stone or finger"),
        (["--metal-most", "3"], "--metal-most = 3.0: needs --solve carat"),
        (["--solve", "carat"], "--metal-most: must be given with --solve carat"),
        (["--solve", "stone"], "--count: is required"),
    ],
)
def test_bad_options_exit_2(arguments, words, capsys):
    assert main(["fit", str(SAMPLES / "ariadne.toml"), *arguments]) == 2
    assert words in capsys.readouterr().err
