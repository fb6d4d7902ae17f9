"""House rules: reading them, every fault named, and what they make of findings and of the command's exit code.

The houses and their figures are invented.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bandgen.cli import main
from bandgen.errors import SpecError
from bandgen.inspection.findings import Finding, Place, at_least, at_most
from bandgen.inspection.house import RULED, apply_profile
from bandgen.inspection.rules import RULES
from bandgen.inspection.setting import inspect_setting
from bandgen.inspection.solid_rules import inspect_solid
from bandgen.layout.compute import compute_layout
from bandgen.pipeline import generate
from bandgen.spec import load_spec
from bandgen.trade.profile import HouseLimit, Profile, read_profile

SAMPLES = Path(__file__).parent.parent / "samples"
HOUSE = """
name = "Invented caster"

[limits]
wall-thickness = 0.5
core-ratio = { limit = 2, severity = "error" }
feet-joint = { severity = "warning" }
"""
Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def _write(text: str) -> Path:
        path = tmp_path / "house.toml"
        path.write_text(text)
        return path

    return _write


# --- reading ---


def test_profile_is_read(write: Write) -> None:
    profile = read_profile(write(HOUSE), RULED)
    assert profile.name == "Invented caster"
    assert profile.limits == {
        "wall-thickness": HouseLimit(0.5),
        "core-ratio": HouseLimit(2.0, "error"),
        "feet-joint": HouseLimit(severity="warning"),
    }


def test_a_profile_without_a_name_has_its_files(write: Write) -> None:
    assert read_profile(write("[limits]\nslot-width = 0.3"), RULED).name == "house"


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ("[limits]\nwall-thicknes = 0.5", "limits.wall-thicknes", "did you mean 'wall-thickness'?"),
        ("[limits]\ncavities = 3", "limits.cavities", "not the code of a rule"),
        ("[limits]\nwall-thickness = '0.5'", "limits.wall-thickness", "must be a number"),
        ("[limits]\nwall-thickness = true", "limits.wall-thickness", "must be a number"),
        ("[limits]\nwall-thickness = -0.1", "limits.wall-thickness", "must be a number of 0 or more"),
        ("[limits]\nwall-thickness = nan", "limits.wall-thickness", "must be a number of 0 or more"),
        ("[limits]\nwall-thickness = {}", "limits.wall-thickness", "a limit or a severity"),
        ("[limits]\nwall-thickness = { limit = 'thin' }", "limits.wall-thickness.limit", "must be a number"),
        ("[limits]\nwall-thickness = { least = 1 }", "limits.wall-thickness.least", "is none of limit, severity"),
        ("[limits]\nfloor = { severity = 'ok' }", "limits.floor.severity", "one of note, warning, error"),
        ("[limits]\nfloor = { severity = ['note'] }", "limits.floor.severity", "one of note, warning, error"),
        ("name = 3\n[limits]\nfloor = 1", "name", "must be a text"),
        ("name = 'A'", "limits", "a table with one rule"),
        ("limits = 3", "limits", "a table with one rule"),
        ("colour = 'red'\n[limits]\nfloor = 1", "colour", "is not a key of a profile"),
        ("[limits", "file", "must be readable TOML"),
    ],
)
def test_each_fault_is_named(write: Write, text: str, key: str, words: str) -> None:
    with pytest.raises(SpecError) as refused:
        read_profile(write(text), RULED)
    (problem,) = refused.value.problems
    assert problem.key == key
    assert words in str(problem)


def test_all_faults_at_once(write: Write) -> None:
    with pytest.raises(SpecError) as refused:
        read_profile(write("tone = 1\n[limits]\nfloor = 'x'\nwalls = 3"), RULED)
    assert [problem.key for problem in refused.value.problems] == ["tone", "limits.floor", "limits.walls"]


def test_no_file(tmp_path: Path) -> None:
    with pytest.raises(SpecError, match="must be a TOML file"):
        read_profile(tmp_path / "absent.toml", RULED)


# --- judging ---


def house(**limits: HouseLimit) -> Profile:
    return Profile("A", {code.replace("_", "-"): limit for code, limit in limits.items()})


def test_limits_work_both_ways() -> None:
    """A house that asks for more makes a warning of what was well, and one that asks for less the reverse."""
    wall = at_least("wall-thickness", 0.45, 0.4, "mm", "source", Place(seam=3))
    ratio = at_most("core-ratio", 1.5, 1.0, "ratio", "source")
    assert (wall.severity, ratio.severity) == ("ok", "warning")
    wall, ratio = apply_profile([wall, ratio], house(wall_thickness=HouseLimit(0.5), core_ratio=HouseLimit(2.0)))
    assert (wall.severity, wall.limit, wall.source, wall.place.seam) == ("warning", 0.5, "A, house rules", 3)
    assert (ratio.severity, ratio.limit) == ("ok", 2.0)


@pytest.mark.parametrize(("measured", "severity"), [(0.499, "error"), (0.5, "ok"), (0.501, "ok")])
def test_the_limit_itself_is_well(measured: float, severity: str) -> None:
    profile = house(wall_thickness=HouseLimit(0.5, "error"))
    (found,) = apply_profile([at_least("wall-thickness", measured, 0.4, "mm", "source")], profile)
    assert found.severity == severity


def test_severity_alone_keeps_the_trades_limit() -> None:
    bad, good = (at_least("feet-joint", mm, 0.15, "mm", "source", severity="note") for mm in (0.1, 0.2))
    assert [bad.severity, good.severity] == ["note", "ok"]
    bad, good = apply_profile([bad, good], house(feet_joint=HouseLimit(severity="warning")))
    assert [bad.severity, good.severity] == ["warning", "ok"]
    assert bad.source == "source"


def test_what_is_not_ruled_on_stays() -> None:
    cavity = Finding("cavities", "error", 1, 0, "voids", "source")
    through = Finding("floor", "ok", "through", 0.5, "open to the bore", "source")
    assert apply_profile([cavity, through], house(floor=HouseLimit(0.9))) == [cavity, through]


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_every_rule_with_a_limit_may_be_ruled_on(path: Path) -> None:
    """The table of codes holds every finding of the trade's rules that has a side, on the right side."""
    for found in inspect_setting(compute_layout(load_spec(path)), RULES):
        if found.sense is not None and found.severity != "error":
            assert RULED[found.code] == found.sense


def test_every_rule_on_the_solid_may_be_ruled_on() -> None:
    band = generate(load_spec(SAMPLES / "juniper.toml"))
    found = inspect_solid(band.layout, band.mesh)
    assert {finding.code: finding.sense for finding in found}.items() <= RULED.items()
    assert len(found) == 9


# --- the command ---


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    code = main(["inspect", str(SAMPLES / "heron.toml"), *arguments])
    return code, capsys.readouterr().out


def test_inspect_prints_data(capsys: pytest.CaptureFixture[str], write: Write) -> None:
    """A through recess 0.4 wide: depth over width is noted by the trade, and refused by the house."""
    code, out = run(capsys, "--json")
    plain: dict[str, Any] = json.loads(out)
    severities = {finding["code"]: finding["severity"] for finding in plain["findings"]}
    assert (code, severities["core-ratio"], plain["profile"]) == (0, "note", None)
    assert plain["spaces"][0]["parts"] == ["prong", "prong"]
    strict = write('[limits]\ncore-ratio = { limit = 1, severity = "error" }')
    code, out = run(capsys, "--json", "--profile", str(strict))
    severities = {finding["code"]: finding["severity"] for finding in json.loads(out)["findings"]}
    assert (code, severities["core-ratio"]) == (1, "error")


def test_inspect_prints_a_table_and_maps(capsys: pytest.CaptureFixture[str], tmp_path: Path, write: Write) -> None:
    maps = [tmp_path / "metal.ply", tmp_path / "space.ply"]
    code, out = run(
        capsys, "--profile", str(write(HOUSE)), "--map", str(maps[0]), "--space-map", str(maps[1]),
        "--set", "mesh.deviation_mm=0.03",
    )  # fmt: skip
    assert code == 0
    assert "by the rules of Invented caster" in out
    assert "warning wall-thickness" in out
    assert all(path.read_bytes().startswith(b"ply\nformat binary_little_endian 1.0\n") for path in maps)
    assert maps[0].read_bytes() != maps[1].read_bytes()


def test_bad_profile_is_bad_input(write: Write) -> None:
    assert main(["inspect", str(SAMPLES / "heron.toml"), "--profile", str(write("[limits]\nwall = 1"))]) == 2
