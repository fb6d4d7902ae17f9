"""Parcels that vary: how a stone rests and what it leaves, by sampled solids; chances, by exact sums."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.spatial import cKDTree

from bandgen.cli import main
from bandgen.errors import SpecError
from bandgen.layout.compute import compute_layout
from bandgen.layout.pairs import Round, disc_gap
from bandgen.layout.rows import tilted_gap
from bandgen.reports.parcels import Measured, Spread, read_measured
from bandgen.reports.seated import (
    Girdles,
    gap_across,
    girdle_gap,
    grip_share,
    least_held_mm,
    level_direction,
    rest_mm,
)
from bandgen.reports.tolerance import Estimate, compute_tolerance, meetings, questions
from bandgen.spec import load_spec
from bandgen.trade.stones import brilliant_facets, clear_pavilion_deg
from bandgen.units import KEEP_AWAY_MM, tand

SAMPLES = Path(__file__).parent.parent / "samples"
NAMES = sorted(path.stem for path in SAMPLES.glob("*.toml"))
LIMIT = 0.02


def layout(name, **changes):
    return compute_layout(load_spec(SAMPLES / f"{name}.toml", {k.replace("__", "."): v for k, v in changes.items()}))


@pytest.fixture(scope="module")
def heron():
    return layout("heron")


def answer(result, code):
    return next(each for each in result.answers if each.question.code == code)


def sides(band):
    return [side for seam in band.seams for side in band.sides(seam)]


# How a stone rests


@pytest.mark.parametrize("name", NAMES)
def test_a_seats_own_stone_rests_where_the_layout_put_it(name):
    for station in layout(name).stations:
        assert rest_mm(station, station.diameter_mm / 2.0) == station.seat.girdle_mm


def faceted_rest(station, diameter):
    """Height at which the faceted stone itself just touches its bearing, from its facets' planes."""
    seat, facets = station.seat, brilliant_facets(diameter, station.proportions)
    lower = [each for each in facets if each.kind in ("pavilion main", "lower half")]
    azimuths = np.linspace(0.0, math.pi / 4.0, 721)
    across = np.array([[f.normal[0] * math.cos(a) + f.normal[2] * math.sin(a) for f in lower] for a in azimuths])
    up, offset = np.array([f.normal[1] for f in lower]), np.array([f.offset for f in lower])
    highest = -math.inf
    for height in np.linspace(seat.column_top_mm, seat.rim_mm, 41):
        bearing = seat.mouth_radius_mm - (seat.rim_mm - height) / tand(seat.bearing_deg)
        if bearing <= diameter / 2.0:  # the stone's level there: where its outermost azimuth is as far out
            level = np.max((offset - bearing * across) / -up * -1.0, axis=1)
            highest = max(highest, height - float(level.min()))
    return highest


@pytest.mark.parametrize("bearing", [40.8, 42.0, 45.0])
@pytest.mark.parametrize("more", [-0.2, -0.05, 0.1])
def test_a_faceted_stone_rests_as_high(bearing, more):
    station = layout("harbour", seat__bearing_deg=bearing, seat__wall_mm=0.4).stations[0]
    diameter = station.diameter_mm + more
    rise = rest_mm(station, diameter / 2.0) - station.seat.girdle_mm
    own = faceted_rest(station, station.diameter_mm)
    assert own == pytest.approx(station.seat.girdle_mm, abs=1e-9)
    assert rise == pytest.approx(faceted_rest(station, diameter) - own, abs=1e-9)
    assert rise == pytest.approx(more / 2.0 * tand(clear_pavilion_deg(40.8)), abs=1e-12)


def test_a_stone_within_the_mouth_rests_on_its_girdle():
    """... where the bearing is steeper than it; by sampling all of the bearing."""
    station = layout("harbour", seat__bearing_deg=50.0).stations[0]
    seat = station.seat
    slope = tand(clear_pavilion_deg(40.8))
    radius = 0.95 * seat.mouth_radius_mm
    points = np.linspace(seat.column_radius_mm, radius, 2001)
    heights = seat.rim_mm - (seat.mouth_radius_mm - points) * tand(50.0)
    expected = (heights + (radius - points) * slope).max()
    assert expected == pytest.approx(heights[-1])
    assert rest_mm(station, radius) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_grip_is_the_layouts_share_and_rises_with_the_stone(name):
    for side in sides(layout(name))[:6]:
        own = side.station.diameter_mm
        assert grip_share(side, own) == pytest.approx(side.prong.overlap, abs=1e-9)
        shares = [grip_share(side, own + more) for more in np.linspace(-0.4, 0.2, 13)]
        assert min(np.diff(shares)) > 0.0
        least = least_held_mm(side, 0.05)
        assert grip_share(side, least) == pytest.approx(0.05, abs=1e-8)
        assert least < own


@pytest.mark.parametrize("name", ["arcade", "thistle", "orrery"])
def test_grip_is_the_distance_of_the_risen_girdle_from_the_prong(name):
    """In the seam's frame: the prong's axis, and points all round the girdle of a smaller stone where it rests."""
    for side in sides(layout(name))[:4]:
        diameter = side.station.diameter_mm - 0.2
        height = side.station.seat.girdle_mm - 0.1 * tand(clear_pavilion_deg(side.station.proportions.pavilion_deg))
        sine, cosine, axis = side.sign * math.sin(side.half), math.cos(side.half), side.prong.axis
        around = np.linspace(0.0, math.tau, 40_001)
        x, z = diameter / 2.0 * np.cos(around), diameter / 2.0 * np.sin(around)
        girdle = np.stack([height * sine + x * cosine, height * cosine - x * sine, z], axis=1)
        apart = np.cross(girdle - (axis.across_mm, axis.crossing_mm, axis.spread_mm), axis.along)
        reach = float(np.linalg.norm(apart, axis=1).min())
        assert grip_share(side, diameter) == pytest.approx(0.5 - reach / side.prong.diameter_mm, abs=1e-6)


# Gaps


def girdles(*triples):
    return [Girdles(*map(np.array, triple)) for triple in triples]


def band_points(radius, height, thick, angle, z_mm, around):
    """Points (n, 3) on a girdle's outer side, its axis turned from +Y towards +X by ``angle``."""
    azimuth, level = np.meshgrid(around, height + np.linspace(0.0, thick, 41), indexing="ij")
    x, z = radius * np.cos(azimuth.ravel()), radius * np.sin(azimuth.ravel()) + z_mm
    y = level.ravel()
    return np.stack([x * math.cos(angle) + y * math.sin(angle), y * math.cos(angle) - x * math.sin(angle), z], axis=1)


def sampled_gap(one, other, angle, z_mm=0.0):
    fine = np.linspace(-math.pi, math.pi, 1501) if z_mm > 0.0 else np.linspace(-0.35, 0.35, 351)
    first = band_points(*one, 0.0, 0.0, fine)
    second = band_points(*other, angle, z_mm, fine + math.pi)
    return float(cKDTree(first).query(second)[0].min())


def test_equal_girdles_leave_the_layouts_gap():
    random = np.random.default_rng(5)
    for _ in range(200):
        height, radius = random.uniform(6.0, 14.0), random.uniform(0.5, 2.5)
        pitch = 2.0 * math.atan2(radius + random.uniform(-0.05, 0.5), height)
        disc = Round(height, radius)
        pair = girdles(*2 * [(radius, height, 0.03 * radius)])
        gap = float(girdle_gap(*pair, pitch))
        expected = 2.0 * height * math.sin(pitch / 2.0) - 2.0 * radius * math.cos(pitch / 2.0)
        if gap >= 0.0:
            assert gap == pytest.approx(expected, abs=1e-12) == disc_gap(disc, disc, pitch)
        else:
            assert gap == pytest.approx(expected * math.cos(pitch / 2.0), abs=1e-12)


@pytest.mark.parametrize(
    ("radii", "heights", "thick"),
    [
        ((1.0, 1.0), (9.0, 9.0), (0.06, 0.06)),
        ((1.02, 0.98), (9.02, 8.98), (0.06, 0.06)),
        ((0.9, 1.1), (8.9, 9.1), (0.05, 0.07)),
        ((1.0, 0.8), (9.0, 8.7), (0.02, 0.02)),
    ],
)
def test_unequal_girdles_leave_what_sampled_bands_leave(radii, heights, thick):
    pitch = math.atan2(radii[0], heights[0]) + math.atan2(radii[1], heights[1]) + 0.015
    one, other = zip(radii, heights, thick, strict=True)
    gap = float(girdle_gap(*girdles(one, other), pitch))
    sampled = sampled_gap(one, other, pitch)
    assert 0.0 < gap <= sampled + 1e-12
    assert sampled == pytest.approx(gap, abs=3e-4)
    assert gap <= disc_gap(*(Round(h, r) for h, r in zip(heights, radii, strict=True)), pitch) + 1e-12
    assert gap == pytest.approx(float(girdle_gap(*girdles(other, one), pitch)), abs=1e-12)


def test_girdles_at_different_heights_touch_where_thin_discs_pass():
    """Two stones 0.04 mm apart in height that lap over by 0.01: their girdles are 0.06 thick."""
    radii, heights = (1.0, 1.0), (9.0, 9.04)
    pitch = 2.0 * math.atan2(1.0, 9.02) - 0.01 / 9.0
    assert disc_gap(Round(9.0, 1.0), Round(9.04, 1.0), pitch) > LIMIT
    assert girdle_gap(*girdles(*zip(radii, heights, (0.06, 0.06), strict=True)), pitch) < 0.0


@pytest.mark.parametrize("angle", [0.0, 0.05, 0.2])
def test_rows_leave_what_the_layout_says_and_sampled_bands_leave(angle):
    height, radius, z = 9.0, 1.0, 2.0
    pair = girdles(*2 * [(radius, height, 0.06)])
    gap = float(gap_across(*pair, z, level_direction(2.0 * height, 2.0 * radius, angle, z)))
    assert gap == pytest.approx(tilted_gap(height, radius, angle, z), abs=1e-6)
    one, other = (1.02, 9.01, 0.06), (0.98, 8.99, 0.06)
    tolerant = float(gap_across(*girdles(one, other), z + 0.2, level_direction(18.0, 2.0, angle, z + 0.2)))
    sampled = sampled_gap(one, other, angle, z + 0.2)
    assert tolerant <= sampled + 1e-12
    assert sampled == pytest.approx(tolerant, abs=5e-4)


@pytest.mark.parametrize("name", NAMES)
def test_the_seats_own_stones_leave_the_layouts_gaps(name):
    """With no spread nothing goes wrong; sorting keeps the least gap in its place, and a hair less fails."""
    band = layout(name)
    result = compute_tolerance(band, Spread(0.0), draws=100)
    assert [each.chance.hits for each in result.answers] == [0, 0, 0, 0]
    assert result.stone_count == band.stone_count
    held = 2 * len(band.seams) - (2 if len(band.seams) > len(band.stations) else 0)
    assert len(answer(result, "prong-loose").places) == held * len(band.rows)


@pytest.mark.parametrize(("name", "along", "across"), [("furrow", 70, 35), ("heddle", 126, 168), ("kestrel", 13, 0)])
def test_every_pair_of_neighbours_is_looked_at_once(name, along, across):
    met = meetings(layout(name))
    places = [each.place.stones for each in met]
    assert len(set(map(frozenset, places))) == len(places) == along + across
    assert sum(each.place.seam is None for each in met) == across


@pytest.mark.parametrize("name", ["furrow", "heddle"])
def test_the_gap_between_rows_is_the_layouts(name):
    band = layout(name)
    seat, radius = band.stations[0].seat, band.stations[0].diameter_mm / 2.0
    pair = girdles(*2 * [(radius, seat.girdle_mm, 0.05)])
    for each in meetings(band)[-3:]:
        direction = level_direction(2.0 * seat.girdle_mm, 2.0 * radius, each.angle, each.z_mm)
        assert float(gap_across(*pair, each.z_mm, direction)) == pytest.approx(band.row_gap_mm, abs=1e-6)


# Chances


def even_gap(band, units):
    """Gap of two equal neighbours whose diameters are off by units (k,) times 1 mm, each with each (k, k)."""
    station, pitch = band.stations[0], 2.0 * math.radians(band.seams[0].before_deg)
    radius = (station.diameter_mm + units) / 2.0
    own = (radius, rest_mm(station, radius), 2.0 * radius * station.proportions.girdle_pct / 100.0)
    return girdle_gap(Girdles(*(each[:, None] for each in own)), Girdles(*(each[None, :] for each in own)), pitch)


def middles(spread, cells):
    return spread * (2.0 * (np.arange(cells) + 0.5) / cells - 1.0)


def test_two_even_spreads_make_a_triangle():
    """Straight rows: gap = g - s (u + v) / 2, u and v even in -1 to 1, so P(gap <= limit) = (2 - t)^2 / 8, the corner
    of a square, with t = 2 (g - limit) / s. All 35 pairs of 8000 bands are independent."""
    band, spread = layout("furrow"), 0.3
    t = 2.0 * (band.row_gap_mm - LIMIT) / spread
    exact, draws = (2.0 - t) ** 2 / 8.0, 8000
    places = answer(compute_tolerance(band, Spread(spread), draws), "girdles-near").places
    across = [chance for place, chance in places if place.seam is None]
    assert len(across) == 35
    assert np.mean(across) == pytest.approx(exact, abs=4.0 * math.sqrt(exact / (35 * draws)))


@pytest.mark.parametrize("spread", [0.14, 0.17])
def test_two_neighbours_of_a_row_make_a_bent_triangle(heron, spread):
    """Of two, the higher one's edge comes to the lower one's side: gap = g cos(P/2) - a max(u, v) - b min(u, v) with
    b = s/2, a = b (cos P - sin P tan p), so P(gap <= limit) = w^2 / (4 b (a + b)), w = a + b + limit - g cos(P/2), but
    for the small angle between the two sides. All forty pairs together; neighbours share a stone."""
    station, pitch = heron.stations[0], 2.0 * math.radians(heron.seams[0].before_deg)
    b = spread / 2.0
    a = b * (math.cos(pitch) - math.sin(pitch) * tand(clear_pavilion_deg(station.proportions.pavilion_deg)))
    w = a + b + LIMIT - heron.girdle_gap_mm * math.cos(pitch / 2.0)
    exact = w * w / (4.0 * b * (a + b))
    assert float((even_gap(heron, middles(spread, 1500)) <= LIMIT).mean()) == pytest.approx(exact, rel=2e-3)
    found = np.mean([chance for _, chance in answer(compute_tolerance(heron, Spread(spread)), "girdles-near").places])
    assert found == pytest.approx(exact, abs=4.0 * math.sqrt(2.0 * exact / (40 * 20_000)))


@pytest.mark.parametrize("spread", [0.125, 0.14])
def test_a_whole_ring_is_the_trace_of_a_matrix(heron, spread):
    """P(no pair too near) = trace(A^40), A[i, j] = 1 / cells where diameters i and j leave enough: exact on a grid."""
    cells = 500
    apart = (even_gap(heron, middles(spread, cells)) > LIMIT) / cells
    exact = 1.0 - float((np.linalg.eigvalsh(apart) ** 40).sum())
    found = answer(compute_tolerance(heron, Spread(spread), draws=8000, seed=11), "girdles-near")
    assert found.chance.chance == pytest.approx(exact, abs=4.0 * math.sqrt(exact * (1.0 - exact) / 8000))
    for part in found.convergence:
        assert part.chance == pytest.approx(exact, abs=4.0 * part.error + 1e-3)


def test_an_open_row_is_the_product_of_matrices():
    band, spread, cells = layout("kestrel"), 0.24, 500
    apart = (even_gap(band, middles(spread, cells)) > LIMIT) / cells
    exact = 1.0 - float(np.linalg.matrix_power(apart, 13).sum() / cells)
    found = answer(compute_tolerance(band, Spread(spread)), "girdles-near").chance
    assert 0.05 < exact < 0.95
    assert found.chance == pytest.approx(exact, abs=4.0 * math.sqrt(exact * (1.0 - exact) / found.draws))


def test_loose_prongs_are_stones_under_a_size():
    """Each stone falls short by itself: 1 - (1 - p)^N with p = (least - nominal + spread) / (2 spread)."""
    band, spread = layout("quarry"), 0.14
    least = max(least_held_mm(side, 0.05) for side in sides(band))
    short = (least - band.stations[0].diameter_mm + spread) / (2.0 * spread)
    exact = 1.0 - (1.0 - short) ** 19
    found = answer(compute_tolerance(band, Spread(spread)), "prong-loose").chance
    assert 0.05 < exact < 0.95
    assert found.chance == pytest.approx(exact, abs=4.0 * math.sqrt(exact * (1.0 - exact) / found.draws))


@pytest.mark.parametrize("shape", ["uniform", "normal"])
def test_the_sorting_asked_is_the_widest_that_does(shape):
    band = layout("kestrel")
    result = compute_tolerance(band, Spread(0.05, shape), draws=4000, seed=5)
    for each in result.answers[:3]:
        chances = [
            answer(compute_tolerance(band, Spread(s, shape), draws=4000, seed=5), each.question.code).chance.chance
            for s in (each.sort_to_mm, each.sort_to_mm + 0.001)
        ]
        assert chances[0] < 0.01 <= chances[1]
    assert answer(result, "gap-asked").sort_to_mm == 0.0  # an open row keeps just the gap asked


def test_the_same_seed_draws_the_same_bands(heron):
    first, again, other = (compute_tolerance(heron, Spread(0.14), draws=2000, seed=seed) for seed in (3, 3, 4))
    assert first == again
    assert first.answers != other.answers


@pytest.mark.parametrize("hits", [0, 1, 37, 1999, 2000])
def test_wilsons_interval_is_scipys(hits):
    own = Estimate(2000, hits)
    expected = stats.binomtest(hits, 2000).proportion_ci(0.95, "wilson")
    assert own.interval == pytest.approx((expected.low, expected.high), abs=1e-12)
    assert (own.interval[0] == 0.0) == (hits == 0)
    assert (own.interval[1] == 1.0) == (hits == 2000)
    assert own.error == pytest.approx(stats.binom(2000, hits / 2000).std() / 2000, abs=1e-15)


# Parcels


def test_spreads_are_even_or_cut_normal():
    random, nominal = np.random.default_rng(1), np.full(10, 2.0)
    for shape, law in (("uniform", stats.uniform(1.9, 0.2)), ("normal", stats.truncnorm(-2.0, 2.0, 2.0, 0.05))):
        drawn = Spread(0.1, shape).draw(random, nominal, 2000)
        assert np.abs(drawn - 2.0).max() <= 0.1
        assert stats.kstest(drawn.ravel(), law.cdf).pvalue > 0.001


def test_measured_stones_are_set_once_each_as_long_as_they_last():
    stones, random = (1.9, 1.95, 2.0, 2.05, 2.1), np.random.default_rng(1)
    for seats in (3, 5):
        drawn = Measured(stones).draw(random, np.full(seats, 2.0), 6000)
        assert all(len(set(row)) == seats for row in drawn)
        assert [np.mean(drawn[:, -1] == stone) for stone in stones] == pytest.approx([0.2] * 5, abs=0.021)
    drawn = Measured(stones).draw(random, np.full(8, 2.0), 6000)
    assert set(drawn.ravel()) == set(stones)
    assert [np.mean(drawn[:, -1] == stone) for stone in stones] == pytest.approx([0.2] * 5, abs=0.021)


def test_a_parcel_out_of_order_comes_nearer_than_asked():
    """Gleaner's seats are made for its stones in their order."""
    parcel = read_measured(SAMPLES / "gleaner.csv")
    result = compute_tolerance(layout("gleaner"), parcel, draws=2000)
    assert answer(result, "girdles-near").chance.hits == 0
    assert answer(result, "gap-asked").chance.hits > 0
    large = compute_tolerance(layout("gleaner"), Measured((2.6,)), draws=100)
    small = compute_tolerance(layout("gleaner"), Measured((1.6,)), draws=100)
    assert [each.chance.chance for each in large.answers] == [1.0, 1.0, 0.0, 1.0]
    assert [each.chance.chance for each in small.answers] == [0.0, 0.0, 1.0, 0.0]


def test_limits_are_named(heron):
    codes = {each.code: each for each in questions(heron)}
    assert codes["girdles-near"].limit == KEEP_AWAY_MM
    assert codes["gap-asked"].limit == heron.gap_asked_mm
    assert codes["prong-loose"].limit == 0.05  # the least that the spec's prong.overlap may be
    assert "prong.overlap" in codes["prong-loose"].source


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--spread", "0.51"], "spread = 0.51: must be 0 to 0.5 mm"),
        (["--spread", "-0.01"], "spread = -0.01: must be 0 to 0.5 mm"),
        (["--spread", "nan"], "spread = nan: must be 0 to 0.5 mm"),
        (["--draws", "99"], "draws = 99: must be 100 to 1000000"),
        (["--seed", "-1"], "seed = -1: must be 0 or more"),
        (["--measured", "none.csv"], "measured = 'none.csv': must be a readable CSV file"),
        (["--measured", str(SAMPLES / "heron.toml")], "measured = "),
    ],
)
def test_bad_options_are_refused(arguments, told, capsys):
    assert main(["tolerance", str(SAMPLES / "heron.toml"), *arguments]) == 2
    assert told in capsys.readouterr().err


def test_a_spread_at_its_limits_is_taken():
    assert Spread(0.5).spread_mm == 0.5
    assert Spread(0.0).spread_mm == 0.0
    with pytest.raises(SpecError):
        Spread(math.inf)


def test_the_command_tells_chances_and_what_to_sort_for(capsys):
    path = str(SAMPLES / "kestrel.toml")
    assert main(["tolerance", path, "--spread", "0.23", "--draws", "2000"]) == 0
    told = capsys.readouterr().out
    assert main(["tolerance", path, "--spread", "0.23", "--draws", "2000", "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    near = next(each for each in plain["answers"] if each["code"] == "girdles-near")
    assert f"Sort the parcel to +-{near['sort_to_mm']:.3f} mm" in told
    assert near["worst"] in told
    assert [each["draws"] for each in near["convergence"]] == [250, 500, 1000, 2000]
    assert len(near["places"]) == 13
    assert near["chance"] == near["convergence"][-1]["chance"]
