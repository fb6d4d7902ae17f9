"""Weights of a band from pattern to finger: closed forms, published figures, booleans of the same bodies."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

import bandgen
from bandgen.cli import main
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout, ProngNumbers, Seam, Station
from bandgen.reports.fit import fit
from bandgen.reports.notches import notch_volume, notches, volume_of
from bandgen.reports.stones import order_list
from bandgen.reports.weights import SHRINKAGE, Weight, as_finished, band_alone, carat_total, recess_area, weights
from bandgen.spec import make_spec
from bandgen.trade.alloys import ALLOYS

SAMPLES = Path(__file__).parent.parent / "samples"
LEAST: dict[str, Any] = {"finger": {"inner_diameter_mm": 17.0}, "stones": {"diameter_mm": 2.0}}
PLAIN_MM3 = 242.817
"""Flat band, US 7, 2.0 x 2.0 mm (trade facts, section 9)."""


@cache
def band(name: str) -> bandgen.Band:
    return bandgen.generate(bandgen.load_spec(SAMPLES / f"{name}.toml"))


@cache
def least() -> Layout:
    return compute_layout(make_spec(LEAST))


def grams(rows: tuple[Weight, ...]) -> dict[str, float]:
    assert len({row.what for row in rows}) == len(rows)
    return {row.what: row.grams for row in rows}


# --- against published figures and closed forms ---


@pytest.mark.parametrize(
    ("alloy", "published"),
    [("sterling-925", 2.516), ("14k-yellow", 3.174), ("18k-yellow", 3.783), ("pt950-ru", 5.026)],
)
def test_as_designed_and_as_cast(alloy: str, published: float) -> None:
    """Trade facts, section 9; a caster who sees to shrinkage gives back the design."""
    found = grams(weights(least(), PLAIN_MM3, alloy=alloy))
    assert found["as designed"] == pytest.approx(published, abs=0.0006)
    assert found["as cast"] == found["as designed"]


@pytest.mark.parametrize(
    ("compensation", "cast", "pattern"),
    [(1.0, 0.9703, 1.0), (1.0101, 1.0, 1.0306), (1.0 / (1.0 - SHRINKAGE), 1.0, 0.99**-3)],
)
def test_compensation(compensation: float, cast: float, pattern: float) -> None:
    """Direct casting at 1 %: 1.0101 in length; a pattern left as designed casts 0.9703 of it (trade facts, 9)."""
    plain, scaled = (grams(weights(least(), PLAIN_MM3, compensation=factor)) for factor in (None, compensation))
    assert scaled["as designed"] == plain["as designed"]
    assert scaled["as cast"] / plain["as cast"] == pytest.approx(cast, abs=5e-5)
    assert scaled["pattern, wax"] / plain["pattern, wax"] == pytest.approx(pattern, abs=5e-5)
    assert scaled["to melt, least"] == pytest.approx(1.10 * scaled["as cast"], rel=1e-12)  # romanoff.com
    assert scaled["to melt, most"] == pytest.approx(1.50 * scaled["as cast"], rel=1e-12)  # orchid.ganoksin.com 27807


def test_compensation_of_the_spec() -> None:
    """The files are larger by 1 / (0.995 x 0.99), and so is the pattern; the casting is the design. One asked for goes
    first."""
    casting = {"pattern_shrinkage_pct": 0.5, "metal_shrinkage_pct": 1.0}
    layout = compute_layout(make_spec({**LEAST, "casting": casting}))
    plain, own = (grams(weights(each, PLAIN_MM3)) for each in (least(), layout))
    assert own["pattern, wax"] / plain["pattern, wax"] == pytest.approx((0.995 * 0.99) ** -3, rel=1e-12)
    assert (own["as cast"], own["as designed"]) == (plain["as cast"], plain["as designed"])
    assert weights(layout, PLAIN_MM3, compensation=1.01) == weights(least(), PLAIN_MM3, compensation=1.01)


def test_patterns() -> None:
    """Wax to metal: 10.9 for sterling, 16.4 for 18k yellow (designbuildcast.co.uk's factors)."""
    for alloy, factor in (("sterling-925", 10.9), ("18k-yellow", 16.4)):
        found = grams(weights(least(), PLAIN_MM3, alloy=alloy))
        assert found["as designed"] / found["pattern, wax"] == pytest.approx(factor, abs=0.05)
    assert found["pattern, castable-resin"] == pytest.approx(PLAIN_MM3 * 1.1 / 1000.0)  # from memory


def test_finishing_by_the_skin() -> None:
    """0.05 and 0.1 mm (hmsmanufacturing.com) off all but the recesses, less what the setter cuts; only with an area."""
    layout, area, density = least(), 500.0, ALLOYS["18k-yellow"].density_g_cm3
    found = grams(weights(layout, PLAIN_MM3, area))
    skin = 0.05 * (area - recess_area(layout)) * density / 1000.0
    assert found["as cast"] - found["cut by the setter"] - found["finished, lightly"] == pytest.approx(skin, rel=1e-9)
    assert found["finished, lightly"] - found["finished, heavily"] == pytest.approx(skin, rel=1e-9)
    assert set(found) - set(grams(weights(layout, PLAIN_MM3))) == {"finished, lightly", "finished, heavily"}


def test_finishing_by_the_symposiums_share() -> None:
    """5.930 g of model became 4.907 g, 17 % less."""
    found = grams(weights(least(), PLAIN_MM3))
    assert found["finished, by a share"] / found["as designed"] == pytest.approx(4.907 / 5.930)
    assert found["finished, by a share"] / found["as designed"] == pytest.approx(1.0 - 0.17, abs=0.005)


@pytest.mark.parametrize("name", ["arcade", "kestrel", "furrow", "juniper"])
def test_the_two_ways_of_finishing_agree(name: str) -> None:
    """The symposium's share lies between a light and a heavy skin of bands of ordinary build."""
    found = grams(weights(band(name).layout, band(name).topology.volume, band(name).topology.area))
    assert found["finished, heavily"] < found["finished, by a share"] < found["finished, lightly"] < found["as cast"]


# --- stones ---


def test_carats_against_the_published_facet_diagram() -> None:
    """0.206 D3 ("Transposing Angles") at 3.52: within 2 %; a carat is 0.2 g."""
    layout = least()
    total = carat_total(layout)
    assert total == pytest.approx(layout.stone_count * 0.206 * 2.0**3 * 3.52 * 5.0 / 1000.0, rel=0.02)
    found = grams(weights(layout, PLAIN_MM3))
    assert found["stones"] == pytest.approx(total / 5.0)
    set_with = found["as designed"] - found["cut by the setter"] + found["stones"]
    assert found["set with stones"] == pytest.approx(set_with)


def test_carats_of_every_row_and_material() -> None:
    """Emerald to diamond as 0.773 and sapphire 1.136 (trade facts, 9), were they cut alike; rows count each."""
    alike = {"pavilion_deg": 41.0, "crown_deg": 34.0, "table_pct": 56.0, "girdle_pct": 3.0}
    stones = {material: {"diameter_mm": 2.0, "material": material, **alike} for material in ("diamond", "emerald")}
    one, other = (carat_total(compute_layout(make_spec({**LEAST, "stones": stones[name]}))) for name in stones)
    assert other / one == pytest.approx(0.773, abs=0.0005)
    two = compute_layout(make_spec({**LEAST, "arrangement": {"rows": 2}}))
    assert carat_total(two) / two.stone_count == pytest.approx(carat_total(least()) / least().stone_count)


@pytest.mark.parametrize("name", ["gleaner", "furrow", "heddle"])
def test_carats_are_those_of_the_stones_to_order(name: str) -> None:
    layout = band(name).layout
    assert carat_total(layout) == pytest.approx(order_list(layout).carat_total, rel=1e-9)


# --- recesses, on the mesh ---


@pytest.mark.parametrize("seat", [{"fillet_mm": 0.0}, {"fillet_mm": 0.0, "opening": "through"}])
def test_recess_area_on_the_mesh(seat: dict[str, Any]) -> None:
    """Faces of the mesh inside one recess, of bearing, column and floor, against the closed form."""
    made = bandgen.generate(make_spec({**LEAST, "seat": seat, "mesh": {"deviation_mm": 0.001}}))
    station = made.layout.stations[0]
    corners = made.mesh.vertices[made.mesh.faces]
    centres = corners.mean(axis=1)  # station 0 stands on +Y: its axis is Y
    inside = np.hypot(centres[:, 0], centres[:, 2]) < station.seat.mouth_radius_mm - 1e-6
    inside &= (centres[:, 1] > station.seat.bore_radius_mm * 0.9) & (centres[:, 1] < station.seat.rim_mm - 1e-6)
    low = station.seat.column_bottom_mm - 1e-3
    bore = np.hypot(centres[:, 0], centres[:, 1]) < station.seat.bore_radius_mm + 1e-3
    inside &= ~bore & (centres[:, 1] > low - 0.05)
    area = float(
        np.linalg.norm(np.cross(*(corners[inside][:, k] - corners[inside][:, 0] for k in (1, 2))), axis=1).sum()
    )
    own = recess_area(made.layout) / made.layout.stone_count
    assert area / 2.0 == pytest.approx(own, rel=0.01)


# --- notches, against booleans in space ---


def turned_stone(station: Station, angle_deg: float, z_mm: float) -> trimesh.Trimesh:
    """A stone as a body of revolution in the ring's frame, placed by the station's angle."""
    cut, r = station.proportions, station.diameter_mm / 2.0
    pavilion, crown = (math.tan(math.radians(angle)) for angle in (cut.pavilion_deg, cut.crown_deg))
    girdle, table = cut.girdle_pct / 100.0 * 2.0 * r, cut.table_pct / 100.0 * r
    line = [
        (0.0, -r * pavilion),
        (r, 0.0),
        (r, girdle),
        (table, girdle + (r - table) * crown),
        (0.0, girdle + (r - table) * crown),
    ]
    body = trimesh.creation.revolve(np.array(line), sections=720)
    body.apply_translation((0.0, 0.0, station.seat.girdle_mm))
    body.apply_transform(trimesh.geometry.align_vectors((0.0, 0.0, 1.0), upwards(angle_deg)))
    body.apply_translation((0.0, 0.0, z_mm))
    return body


def upwards(angle_deg: float) -> tuple[float, float, float]:
    """Counter-clockwise from +Y, seen from +Z."""
    return -math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg)), 0.0


def blank(seam: Seam, prong: ProngNumbers, z_sign: int, z_mm: float) -> trimesh.Trimesh:
    """A prong's shaft with its dome in the ring's frame, in the place that its axis says."""
    axis, radius = prong.axis, prong.diameter_mm / 2.0
    radial = np.array(upwards(seam.angle_deg))
    aside = np.array((math.cos(math.radians(seam.angle_deg)), math.sin(math.radians(seam.angle_deg)), 0.0))
    frame = np.stack([aside, radial, (0.0, 0.0, float(z_sign))])
    foot = np.array((axis.across_mm, axis.crossing_mm, axis.spread_mm)) @ frame
    along = np.array(axis.along) @ frame
    ends = foot - 2.0 * along, foot + prong.shoulder_mm * along
    shaft = trimesh.creation.cylinder(radius, segment=ends, sections=360)
    body = shaft
    if prong.tip == "dome":
        ball = trimesh.creation.icosphere(4, radius)
        ball.apply_translation(ends[1])
        body = trimesh.boolean.union([shaft, ball], engine="manifold")
    body.apply_translation((0.0, 0.0, z_mm))
    return body


def notches_at_one_seam(layout: Layout, seam: Seam) -> float:
    """All that stones and prongs share about one seam of each row, prong by prong and stone by stone."""
    total = 0.0
    for row in layout.rows:
        turn = seam.before_deg if row.turned else 0.0
        for prong in seam.prongs:
            for z_sign in (1, -1):
                body = blank(seam, prong, z_sign, row.z_mm)
                body.apply_transform(trimesh.transformations.rotation_matrix(math.radians(turn), (0, 0, 1)))
                total += sum(shared(body, stone) for stone in stones_near(layout, seam.angle_deg + turn))
    return total


def stones_near(layout: Layout, angle_deg: float) -> list[trimesh.Trimesh]:
    found = []
    for row in layout.rows:
        for station in layout.stations:
            turn = layout.seams[station.index].before_deg if row.turned else 0.0
            off = (station.angle_deg + turn - angle_deg + 180.0) % 360.0 - 180.0
            if abs(off) < 1.2 * 360.0 / len(layout.stations):
                found.append(turned_stone(station, station.angle_deg + turn, row.z_mm))
    return found


def shared(one: trimesh.Trimesh, other: trimesh.Trimesh) -> float:
    if (one.bounds[0] > other.bounds[1]).any() or (other.bounds[0] > one.bounds[1]).any():
        return 0.0
    both = trimesh.boolean.intersection([one, other], engine="manifold")
    return 0.0 if both.is_empty else float(both.volume)


@pytest.mark.parametrize(
    "further",
    [
        {},
        {"prong": {"tip": "flat", "overlap": 0.15}},
        {"arrangement": {"prongs": "own"}},
        {"arrangement": {"rows": 2}},
        {"arrangement": {"rows": 2, "stagger": True}},
    ],
    ids=["shared", "flat", "own", "rows", "staggered"],
)
def test_notches_against_booleans(further: dict[str, Any]) -> None:
    """manifold3d on facets in space (720 round the stone, 360 round the prong) for all that stands at one seam."""
    layout = compute_layout(make_spec({**LEAST, **further}))
    expected = notches_at_one_seam(layout, layout.seams[0]) * len(layout.seams)
    assert expected > 0.1
    assert notch_volume(layout) == pytest.approx(expected, rel=0.004)


def test_each_girdle_enters_so_many_prongs() -> None:
    """Four prongs a stone, two more in each next row where staggered."""
    for arrangement, each in (({}, 4.0), ({"prongs": "own"}, 4.0), ({"rows": 2, "stagger": True}, 5.0)):
        layout = compute_layout(make_spec({**LEAST, "arrangement": arrangement}))
        assert sum(notches(layout).values()) == each * layout.stone_count


def test_notches_converge() -> None:
    for notch in notches(band("kestrel").layout):
        assert volume_of(notch) == pytest.approx(volume_of(notch, 256), rel=0.004)


# --- every row tells its source; the command; the record ---


def test_every_weight_says_what_it_assumes() -> None:
    for alloy in ALLOYS:
        rows = weights(least(), PLAIN_MM3, 500.0, alloy, 1.01)
        assert all(row.what and row.assumed and row.source and math.isfinite(row.grams) for row in rows)


def test_the_record_tells_them() -> None:
    made = band("kestrel")
    rows = weights(made.layout, made.topology.volume, made.topology.area)
    assert {row["what"]: row["grams"] for row in made.record["weights"]} == grams(rows)
    assert made.record["carat_total"] == carat_total(made.layout)
    assert grams(rows)["as designed"] == made.record["metal_g"]
    assert "cost" not in made.record


@cache
def sprued() -> bandgen.Band:
    tables = {"casting": {"metal_shrinkage_pct": 1.0}, "sprue": {}, "tag": {}}
    return bandgen.generate(make_spec({**LEAST, **tables}))


def test_sprues_are_cut_off_everywhere(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """make, weigh, fit and explain tell one weight, that of the same band made without sprues."""
    made, alone = sprued(), bandgen.generate(band_alone(sprued().layout.spec))
    assert made.topology.volume > 1.1 * alone.topology.volume
    expected = pytest.approx(alone.topology.volume * ALLOYS["18k-yellow"].density_g_cm3 / 1000.0, rel=1e-4)
    path = tmp_path / "sprued.toml"
    path.write_text(
        "[finger]\ninner_diameter_mm = 17.0\n[stones]\ndiameter_mm = 2.0\n"
        "[casting]\nmetal_shrinkage_pct = 1.0\n[sprue]\n[tag]\n[cost]\nmetal_per_g = 1.0\n"
    )
    assert main(["weigh", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert main(["explain", str(path), "metal_g", "--json"]) == 0
    explained = json.loads(capsys.readouterr().out)
    weighed = {row["what"]: row["grams"] for row in told["alloys"][0]["weights"]}
    asked = fit(bandgen.load_spec(path), 1, 0.5).asked
    assert asked is not None
    assert made.record["metal_g"] == expected
    assert (weighed["as designed"], told["cost"]["total"]) == (expected, expected)
    assert (asked.metal_g, explained["value"]) == (expected, expected)
    assert told["compensation"] == pytest.approx(1.0 / 0.99)


def test_no_skin_comes_off_sprues() -> None:
    """Where they are part of the surface nothing is told of the finished one; without them all is, to the same mm2."""
    made, alone = sprued(), bandgen.generate(band_alone(sprued().layout.spec))
    assert not any(row["what"] in ("finished, lightly", "finished, heavily") for row in made.record["weights"])
    plain = bandgen.generate(make_spec(LEAST))
    assert alone.topology.area == pytest.approx(plain.topology.area, rel=1e-12)
    finished_one = as_finished(made.layout.spec)
    assert (finished_one.casting.factor, finished_one.sprue.count, finished_one.tag.text) == (1.0, 0, "")


def weigh(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = main(["weigh", str(SAMPLES / "kestrel.toml"), *arguments])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_command_by_numbers_and_by_the_mesh(capsys: pytest.CaptureFixture[str]) -> None:
    made = band("kestrel")
    guess, solid = (json.loads(weigh(capsys, "--json", *more)[1]) for more in ((), ("--solid",)))
    assert (
        abs(guess["volume_mm3"] - made.topology.volume) < guess["volume_error_mm3"] + 0.03 * 0.005 * made.topology.area
    )
    assert (solid["volume_mm3"], solid["area_mm2"]) == (made.topology.volume, made.topology.area)
    assert solid["alloys"][0]["weights"] == made.record["weights"]
    assert (guess["area_mm2"], "cost" in guess) == (None, False)


def test_command_in_several_alloys(capsys: pytest.CaptureFixture[str]) -> None:
    """All of them, or those that are asked for in their order; the masses go as the densities."""
    told = json.loads(weigh(capsys, "--json", "--all-alloys")[1])
    assert [entry["alloy"] for entry in told["alloys"]] == list(ALLOYS)
    names = ["pt950-co", "9k-red", "pt950-co"]
    told = json.loads(weigh(capsys, "--json", "--alloy", *names)[1])
    first, second = told["alloys"]
    assert [first["alloy"], second["alloy"]] == names[:2]
    ratio = ALLOYS["pt950-co"].density_g_cm3 / ALLOYS["9k-red"].density_g_cm3
    one, other = (next(row["grams"] for row in e["weights"] if row["what"] == "as cast") for e in (first, second))
    assert one / other == pytest.approx(ratio, rel=1e-12)


def test_command_table(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = weigh(capsys, "--alloy", "14k-yellow")
    assert code == 0
    assert "14k-yellow, 13.07 g/cm3, confidence medium" in out
    assert "note: 14k-yellow: designbuildcast.co.uk has 13.65" in out
    assert "finished, lightly" not in out
    assert "finished, lightly" in weigh(capsys, "--solid")[1]
    several = weigh(capsys, "--all-alloys")[1].splitlines()
    assert sum(line.startswith(tuple(f"{name} " for name in ALLOYS)) for line in several) == len(ALLOYS)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--alloy", "tin", "lead"), "--alloy = 'lead': must be one of 10k-yellow"),
        (("--compensation", "3"), "--compensation = 3.0: must lie in 0.9 to 1.2"),
        (("--compensation", "nan"), "--compensation = nan"),
        (("--set", "cost.metal_per_g=-1"), "cost.metal_per_g = -1"),
    ],
)
def test_command_refuses(capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], told: str) -> None:
    code, out, error = weigh(capsys, *arguments)
    assert (code, out) == (2, "")
    assert told in error


def test_no_kernel_for_numbers() -> None:
    code = (
        "import sys; from bandgen.cli import main; "
        f"main(['weigh', {str(SAMPLES / 'kestrel.toml')!r}, '--all-alloys']); "
        "print([name for name in ('manifold3d', 'OCP', 'trimesh', 'scipy') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
