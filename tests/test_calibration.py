"""A house's compensation: fits against scipy, intervals by simulation, a published ring, every refusal."""

import hashlib
import json
import math
import tomllib
from dataclasses import asdict

import numpy as np
import pytest
from scipy import stats

from bandgen.cli import main
from bandgen.errors import SpecError
from bandgen.reports.calibration import calibrate, designed_for, encode_profile, read_profile
from bandgen.reports.house_fit import READING_SD_MM, Ring, compute_fit, find_outliers
from bandgen.reports.house_rings import read_rings
from bandgen.reports.student import t_quantile, t_share

BORES = (15.0, 15.7, 16.5, 17.2, 17.3, 18.1, 19.0, 19.9, 20.6)
NOISE = (0.02, -0.03, 0.01, 0.04, -0.02, -0.01, 0.03, -0.04, 0.01)
HEADER = "designed_bore_mm,finished_bore_mm,designed_width_mm,finished_width_mm,alloy,note\n"


def rings(designed, finished):
    return [Ring(line + 2, x, y) for line, (x, y) in enumerate(zip(designed, finished, strict=True))]


def worked(scale=0.985, offset=0.06):
    return rings(BORES, [scale * x + offset + e for x, e in zip(BORES, NOISE, strict=True)])


def csv_file(folder, text, name="rings.csv"):
    path = folder / name
    path.write_text(text)
    return path


@pytest.mark.parametrize("share", [0.5, 0.9, 0.95, 0.99, 0.9995])
def test_t_is_scipys(share):
    for freedom in (*range(1, 40), 75, 198, 1000):
        expected = stats.t.ppf(0.5 + share / 2.0, freedom)
        assert t_quantile(freedom, share) == pytest.approx(expected, rel=1e-9)
        assert t_share(expected, freedom) == pytest.approx(share, abs=1e-11)


def test_a_line_is_scipys():
    own = worked()
    fit = compute_fit("bore", own)
    other = stats.linregress(BORES, [ring.finished_mm for ring in own])
    t = stats.t.ppf(0.975, len(BORES) - 2)
    assert fit.with_offset
    assert fit.scale == pytest.approx(other.slope, rel=1e-12)
    assert fit.offset_mm == pytest.approx(other.intercept, abs=1e-10)
    assert fit.scale_half == pytest.approx(t * other.stderr, rel=1e-8)
    assert fit.offset_half_mm == pytest.approx(t * other.intercept_stderr, rel=1e-8)


def test_a_scale_alone_is_numpys_least_squares():
    sizes = np.array([17.0, 17.2, 17.4, 17.1, 17.6])
    finished = 0.991 * sizes + np.array([0.02, -0.01, 0.03, 0.0, -0.03])
    fit = compute_fit("bore", rings(sizes.tolist(), finished.tolist()))
    scale, squares, *_ = np.linalg.lstsq(sizes[:, None], finished, rcond=None)
    sd = math.sqrt(squares[0] / 4.0)
    assert not fit.with_offset
    assert fit.offset_mm == fit.offset_half_mm == 0.0
    assert fit.scale == pytest.approx(scale[0], rel=1e-12)
    assert fit.residual_sd_mm == pytest.approx(sd, rel=1e-9)
    assert fit.scale_half == pytest.approx(stats.t.ppf(0.975, 4) * sd / np.linalg.norm(sizes), rel=1e-9)


def test_the_offset_is_fitted_where_sizes_differ_enough():
    wide, narrow = [15.0, 15.5, 16.0, 16.51], [15.0, 15.5, 16.0, 16.49]
    assert compute_fit("bore", rings(wide, wide)).with_offset
    assert not compute_fit("bore", rings(narrow, narrow)).with_offset
    assert not compute_fit("bore", rings([15.0, 16.0, 20.0], [15.0, 16.0, 20.0])).with_offset


@pytest.mark.parametrize("sizes", [BORES, (17.0, 17.1, 17.2, 17.3)])
def test_intervals_hold_the_truth_and_the_next_ring_95_times_in_100(sizes):
    """By simulation: 4 standard errors of 2000 trials are 0.0195."""
    random, held, trials = np.random.default_rng(7), np.zeros(3), 2000
    offset = 0.1 if sizes is BORES else 0.0
    for _ in range(trials):
        errors = random.normal(0.0, 0.03, len(sizes) + 1)
        fit = compute_fit("bore", rings(sizes, [0.99 * x + offset + e for x, e in zip(sizes, errors, strict=False)]))
        following = 0.99 * 18.0 + offset + errors[-1]
        held += (
            abs(fit.scale - 0.99) <= fit.scale_half,
            abs(fit.offset_mm - offset) <= fit.offset_half_mm,
            abs(fit.finished(18.0) - following) <= fit.next_half_mm(18.0),
        )
    assert held[0] / trials == pytest.approx(0.95, abs=0.0195)
    assert held[1] / trials == (pytest.approx(0.95, abs=0.0195) if offset else 1.0)
    assert held[2] / trials == pytest.approx(0.95, abs=0.0195)


def test_a_symposiums_ring():
    """T. Teague's figures for one silicone-moulded ring: model bore 19.95, finished 19.82 (-0.65 %), width 4.05 to 3.82
    (-5.7 %), as quoted at orchid.ganoksin.com (trade facts 4, SFS)."""
    bore = compute_fit("bore", rings([19.95] * 3, [19.82] * 3))
    width = compute_fit("width", rings([4.05] * 3, [3.82] * 3))
    assert 100.0 * (bore.scale - 1.0) == pytest.approx(-0.65, abs=0.005)
    assert 100.0 * (width.scale - 1.0) == pytest.approx(-5.7, abs=0.05)


def test_rows_that_agree_to_the_digit_are_not_certain():
    fit = compute_fit("bore", rings([19.95] * 3, [19.82] * 3))
    assert fit.residual_sd_mm == pytest.approx(0.0, abs=1e-9)
    assert fit.next_half_mm(19.95) >= READING_SD_MM


def test_a_studentised_residual_is_the_miss_of_the_others_line():
    """The same by leaving the row out: its miss over the standard deviation of that prediction."""
    own = worked()
    own[3] = Ring(own[3].line, own[3].designed_mm, own[3].finished_mm + 0.3)
    (found,) = find_outliers(compute_fit("bore", own), own)
    rest = own[:3] + own[4:]
    x, y = (np.array([getattr(ring, key) for ring in rest]) for key in ("designed_mm", "finished_mm"))
    line = stats.linregress(x, y)
    sd = math.sqrt(((y - line.slope * x - line.intercept) ** 2).sum() / (len(x) - 2))
    spread = 1.0 + 1.0 / len(x) + (own[3].designed_mm - x.mean()) ** 2 / ((x - x.mean()) ** 2).sum()
    miss = own[3].finished_mm - line.slope * own[3].designed_mm - line.intercept
    assert found.line == own[3].line
    assert found.studentised == pytest.approx(miss / (sd * math.sqrt(spread)), rel=1e-8)
    assert found.limit == pytest.approx(stats.t.ppf(1.0 - 0.025 / len(own), len(own) - 3), rel=1e-9)


def test_sound_files_seldom_name_an_outlier():
    """In at most 5 % (Bonferroni); 4 standard errors of 1000 files are 0.028."""
    random, named = np.random.default_rng(3), 0
    for _ in range(1000):
        own = rings(BORES, [0.99 * x + e for x, e in zip(BORES, random.normal(0.0, 0.05, len(BORES)), strict=True)])
        named += bool(find_outliers(compute_fit("bore", own), own))
    assert 0.05 - 0.028 < named / 1000.0 < 0.05 + 0.028


def test_a_row_that_alone_decides_the_line_is_no_outlier():
    own = rings([17.0, 17.0, 17.0, 19.0], [16.9, 16.91, 16.89, 18.5])
    assert find_outliers(compute_fit("bore", own), own) == ()


def house(folder, extra=""):
    rows = "".join(
        f"{x},{0.985 * x + 0.06 + e:.3f},{2.0 + i % 3},{(2.0 + i % 3) * 0.97 - 0.1 + e:.3f},18k-yellow,\n"
        for i, (x, e) in enumerate(zip(BORES, NOISE, strict=True))
    )
    return csv_file(folder, HEADER + rows + extra)


def test_a_profile_reads_back_the_same(tmp_path):
    path = house(tmp_path)
    profile, outliers = calibrate(read_rings(path))
    text = encode_profile(profile)
    assert outliers == ()
    assert asdict(read_profile(csv_file(tmp_path, text, "house.toml"))) == asdict(profile)
    plain = tomllib.loads(text)
    assert plain["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (plain["measured"], plain["bore"]["measured"], plain["alloys"]) == (len(BORES), len(BORES), ["18k-yellow"])
    assert plain["bore"]["scale"] == pytest.approx(0.985, abs=0.02)
    assert plain["bore"]["next_ring_95_mm"] == pytest.approx(profile.bore.next_half_mm(17.8))


def test_the_design_for_a_finished_size_is_the_inverse(tmp_path):
    profile, _ = calibrate(read_rings(house(tmp_path)))
    for quantity, fit in (("bore", profile.bore), ("width", profile.width)):
        assert fit.finished(designed_for(profile, 17.2, quantity)) == pytest.approx(17.2, abs=1e-12)
    assert designed_for(profile, 17.2) > 17.2
    with pytest.raises(SpecError, match="height: was not measured"):
        designed_for(profile, 1.0, "height")


def test_rows_may_leave_a_quantity_out(tmp_path):
    found = read_rings(house(tmp_path, "17.0;".replace(";", ",") + "16.8,,,,only the bore\n"))
    assert {key: len(some) for key, some in found.rings.items()} == {"bore": 10, "width": 9}


GOOD = "designed_bore_mm;finished_bore_mm\n17;16.9\n17;16.8\n17;16.9\n"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("\n17;16.9\n17;16.8\n", "\n", r"finished_bore_mm: at least 3 rows tell a bore's scatter; .* has 1 \(line 2\)"),
        ("17;16.8", "17;", "line 3, finished_bore_mm = '': must be a number of 10 to 80 mm"),
        ("17;16.8", "17;16,8", "line 3, finished_bore_mm = '16,8': must be a number"),
        ("17;16.8", "17;13.5", "line 3, finished_bore_mm = '13.5': must lie within 20% of designed_bore_mm 17"),
        ("17;16.8", "9.99;10", "line 3, designed_bore_mm = '9.99': must be a number of 10 to 80 mm"),
        ("17;16.8", "17;16.8;5", "line 3 has 3 cells under 2 columns"),
        (";finished_bore_mm", ";finished_bore", "column = 'finished_bore': must be one of designed_bore_mm"),
        (
            "designed_bore_mm;finished_bore_mm",
            "designed_bore_mm;note",
            "column = 'finished_bore_mm': is required beside",
        ),
        ("designed_bore_mm;finished", "finished_bore_mm;finished", "a column is named twice"),
        (GOOD, "", "must hold a header and 3 rings or more"),
        (GOOD, "designed_bore_mm;finished_bore_mm;note\n;;a\n", "file: must hold 3 rings or more"),
    ],
)
def test_a_file_is_refused_by_line_column_and_rule(tmp_path, old, new, told):
    assert calibrate(read_rings(csv_file(tmp_path, GOOD)))[0].measured == 3
    assert old in GOOD
    with pytest.raises(SpecError, match=told):
        read_rings(csv_file(tmp_path, GOOD.replace(old, new, 1)))


def test_all_problems_at_once(tmp_path):
    path = csv_file(tmp_path, HEADER + "17,x,2,,,\n9,9,2,2,,\n")
    with pytest.raises(SpecError) as caught:
        read_rings(path)
    assert [problem.key for problem in caught.value.problems] == [
        "line 2, finished_bore_mm",
        "line 2, finished_width_mm",
        "line 3, designed_bore_mm",
        "line 3, finished_bore_mm",
    ]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("scale = ", "scales = ", "bore.scales: is not a key of a profile"),
        ("scale = 0.", "scale = 3.", "bore.scale = 3.* must be 0.5 to 1.5"),
        ("offset_mm = ", 'offset_mm = "x" #', "bore.offset_mm = 'x': must be a float"),
        ("offset_mm = ", "offset_mm = nan #", "bore.offset_mm = nan: must be a float"),
        ("with_offset = true", "with_offset = 1", "bore.with_offset = 1: must be a bool"),
        ("[bore]", "[height]", "height: is not a key of a profile"),
        ("sha256 = ", "sha1 = ", "sha256: is required"),
        ("measured = 9", "measured = ", "must be readable TOML"),
    ],
)
def test_a_spoilt_profile_is_refused(tmp_path, old, new, told):
    text = encode_profile(calibrate(read_rings(house(tmp_path)))[0])
    assert old in text
    with pytest.raises(SpecError, match=told):
        read_profile(csv_file(tmp_path, text.replace(old, new, 1), "house.toml"))


def test_the_command_writes_what_it_tells(tmp_path, capsys):
    path, out = house(tmp_path, "17.5,18.5,2.0,1.84,14k-white,slip\n"), tmp_path / "house.toml"
    assert main(["calibrate", str(path), "--out", str(out)]) == 0
    told = capsys.readouterr().out
    profile = read_profile(out)
    assert f"{profile.bore.scale:.5f}" in told
    assert "look again at line 11: its bore" in told
    assert "several alloys in one fit" in told
    assert main(["calibrate", str(path), "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    assert plain["bore"]["scale"] == profile.bore.scale
    assert [(each["quantity"], each["line"]) for each in plain["outliers"]] == [("bore", 11)]
    assert main(["calibrate", str(tmp_path / "none.csv")]) == 2
    assert "must be a readable CSV file" in capsys.readouterr().err
