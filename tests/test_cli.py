"""The command line as a user meets it: exit codes, messages, files, and what is not loaded."""

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from bandgen.cli import main

PROMISED = {
    *("name", "spec", "spec_sha256", "version", "layout", "stone_count", "girdle_gap_mm", "inner_diameter_mm"),
    *("girdle_radius_mm", "volume_mm3", "bodies", "genus", "watertight", "self_intersections", "triangles"),
    *("openings", "findings", "files", "timings_ms"),
}


def run(*arguments, cwd=None, **environment):
    """A cold process."""
    return subprocess.run(
        [sys.executable, "-m", "bandgen", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=cwd,
        env={**os.environ, **environment},
        timeout=120,
    )


def test_make_writes_the_files_and_prints_a_table(spec_file, tmp_path, capsys):
    assert main(["make", str(spec_file), "--out", str(tmp_path / "out"), "--formats", "stl,3mf"]) == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["small.3mf", "small.json", "small.stl"]
    printed = capsys.readouterr().out
    for word in ("stones", "spacing", "metal", "checks", "small.stl"):
        assert word in printed


def test_json_record_equals_the_file_and_holds_the_promised_keys(spec_file, tmp_path, capsys):
    assert main(["make", str(spec_file), "--out", str(tmp_path), "--formats", "stl", "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record == json.loads((tmp_path / "small.json").read_text())
    assert set(record) >= PROMISED
    assert set(record["layout"]) >= {"stations", "seams", "events"}
    assert set(record["findings"][0]) >= {"code", "severity", "measured", "limit", "place", "source"}
    entry = record["files"]["stl"]
    assert entry["bytes"] == (tmp_path / entry["name"]).stat().st_size == 84 + 50 * record["triangles"]
    assert (record["bodies"], record["genus"], record["watertight"], record["self_intersections"]) == (1, 1, True, 0)


def test_set_replaces_values_and_the_folder_is_named_after_the_band(spec_file, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    change = ["--set", "name=Band one", "--set", "prong.tip=flat", "--set", "stones.count=19"]
    assert main(["make", str(spec_file), "--formats", "stl", *change]) == 0
    record = json.loads((tmp_path / "Band-one" / "Band-one.json").read_text())
    assert (record["stone_count"], record["spec"]["prong"]["tip"]) == (19, "flat")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--set", "stones.count=40"], ["stones.count", "40", "at most"]),
        (["--set", "stones.diametre_mm=2"], ["did you mean 'stones.diameter_mm'"]),
        (["--set", "stones.diameter_mm=9"], ["stones.diameter_mm", "9", "allowed 1 to 5"]),
        (["--set", "finger.size=17"], ["finger"]),
        (["--set", "nonsense"], ["--set"]),
        (["--formats", "obj"], ["--formats", "obj"]),
        (["--set", "name=../../etc"], ["name"]),
    ],
)
def test_bad_input_exits_2_and_leaves_nothing(spec_file, tmp_path, capsys, arguments, words):
    assert main(["make", str(spec_file), "--out", str(tmp_path / "out"), *arguments]) == 2
    message = capsys.readouterr().err
    for word in words:
        assert word in message
    assert not (tmp_path / "out").exists()


def test_every_problem_is_reported_at_once(tmp_path, capsys):
    path = tmp_path / "bad.toml"
    path.write_text('[finger]\nsize = "17"\n[stones]\ndiameter_mm = 0.2\nmaterial = "diamand"\n[seat]\nwal_mm = 1\n')
    assert main(["make", str(path)]) == 2
    message = capsys.readouterr().err
    for word in ("finger.size", "stones.diameter_mm", "diamond", "seat.wall_mm"):
        assert word in message


def test_missing_spec_exits_2(tmp_path, capsys):
    assert main(["make", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err


def test_out_that_is_a_file_exits_2(spec_file, tmp_path):
    (tmp_path / "taken").write_text("")
    assert main(["make", str(spec_file), "--out", str(tmp_path / "taken"), "--formats", "stl"]) == 2


def test_folder_that_cannot_be_made_exits_3(spec_file):
    assert main(["make", str(spec_file), "--out", "/proc/nowhere/out", "--formats", "stl"]) == 3


def test_check_of_own_and_foreign_files(spec_file, tmp_path, capsys):
    assert main(["make", str(spec_file), "--out", str(tmp_path), "--formats", "stl,3mf", "--quiet"]) == 0
    for name in ("small.stl", "small.3mf"):
        assert main(["check", str(tmp_path / name), "--json"]) == 0
        result = json.loads(capsys.readouterr().out)
        assert (result["bodies"], result["cavities"], result["genus"], result["watertight"]) == (1, 0, 1, True)
    data = bytearray((tmp_path / "small.stl").read_bytes())
    data[80:84] = (int.from_bytes(data[80:84], "little") - 1).to_bytes(4, "little")
    (tmp_path / "open.stl").write_bytes(data[:-50])
    assert main(["check", str(tmp_path / "open.stl"), "--json"]) == 1
    faults = [f for f in json.loads(capsys.readouterr().out)["findings"] if f["severity"] == "error"]
    assert [fault["code"] for fault in faults] == ["open-edges"]
    assert faults[0]["measured"] == 3
    assert faults[0]["place"]["point"] is not None


@pytest.mark.parametrize("content", [b"", b"hello", b"x" * 500])
def test_check_of_what_is_no_solid_exits_2(tmp_path, content):
    path = tmp_path / "some.stl"
    path.write_bytes(content)
    assert main(["check", str(path)]) == 2


def test_check_of_a_missing_file_exits_2(tmp_path):
    assert main(["check", str(tmp_path / "none.step")]) == 2


def test_schema_is_valid_json_schema(capsys):
    assert main(["schema"]) == 0
    jsonschema.Draft202012Validator.check_schema(json.loads(capsys.readouterr().out))


@pytest.mark.parametrize(
    "arguments",
    [
        ["--help"],
        ["schema"],
        ["make", "none.toml"],
        ["make", "SPEC", "--set", "stones.count=99"],
        ["make", "SPEC", "--formats", "stl,3mf", "--out", "OUT"],
    ],
)
def test_the_exact_kernel_stays_unloaded(spec_file, tmp_path, arguments):
    filled = [str(spec_file) if a == "SPEC" else str(tmp_path / "o") if a == "OUT" else a for a in arguments]
    code = (
        "import sys\nfrom bandgen.cli import main\n"
        f"try:\n    main({filled!r})\nexcept SystemExit:\n    pass\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'OCP', 'cadquery', 'vtkmodules', 'trimesh'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, cwd=tmp_path)
    assert done.stdout.splitlines()[-1] == "[]", done.stderr


def test_files_are_identical_in_every_process_folder_locale_and_hash_seed(spec_file, tmp_path):
    first, second = tmp_path / "a", tmp_path / "b" / "c"
    assert run("make", spec_file, "--out", first, PYTHONHASHSEED="1", LC_ALL="C").returncode == 0
    other = run("make", spec_file, "--out", second, cwd="/", PYTHONHASHSEED="77", LC_ALL="C.UTF-8", TZ="Asia/Tokyo")
    assert other.returncode == 0, other.stderr
    for name in ("small.stl", "small.3mf", "small.step"):
        assert (first / name).read_bytes() == (second / name).read_bytes(), name
    assert run("check", first / "small.step", "--json").returncode == 0


def test_rejected_band_is_written_only_on_request(spec_file, tmp_path, monkeypatch):
    """A band whose genus is not the predicted one: planted by a layout that predicts another."""
    from bandgen.layout import numbers

    monkeypatch.setattr(numbers.Layout, "genus", property(lambda self: 7))
    arguments = ["make", str(spec_file), "--out", str(tmp_path / "out"), "--formats", "stl", "--quiet"]
    assert main(arguments) == 1
    assert not list(Path(tmp_path / "out").glob("*"))
    assert main([*arguments, "--keep-rejected"]) == 1
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["small.rejected.json", "small.rejected.stl"]


def test_check_finds_faults_in_foreign_step_files(tmp_path, capsys):
    """Made by cadquery, not by us: a sound box, two boxes run through one another, a box with a face missing."""
    import cadquery

    box = cadquery.Workplane().box(4, 3, 2).val()
    other = box.translate(cadquery.Vector(1, 1, 1))
    cases = {
        "sound": (box, []),
        "crossed": (cadquery.Compound.makeCompound([box, other]), ["bodies", "self-intersections"]),
        "open": (cadquery.Shell.makeShell(box.Faces()[:5]), ["bodies", "inside-out", "open-edges"]),
    }
    for name, (shape, codes) in cases.items():
        path = tmp_path / f"{name}.step"
        cadquery.exporters.export(cadquery.Workplane(shape), str(path))
        assert main(["check", str(path), "--json"]) == (1 if codes else 0)
        result = json.loads(capsys.readouterr().out)
        found = {f["code"] for f in result["findings"] if f["severity"] == "error"}
        assert set(codes[-1:]) <= found <= set(codes), name
        if not codes:
            assert (result["volume_mm3"], result["genus"]) == (pytest.approx(24.0), 0)


def test_files_of_an_earlier_make_do_not_contradict_the_record(spec_file, tmp_path):
    """Another make of the same band into the same folder leaves no file of the first; what a user touched stays."""
    arguments = ["make", str(spec_file), "--out", str(tmp_path / "out"), "--quiet"]
    assert main([*arguments, "--formats", "stl,3mf"]) == 0
    assert main([*arguments, "--formats", "stl", "--set", "stones.count=19"]) == 0
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["small.json", "small.stl"]
    (tmp_path / "out" / "small.stl").write_bytes(b"mine now")
    assert main([*arguments, "--formats", "3mf"]) == 0
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["small.3mf", "small.json", "small.stl"]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("\ufeff[finger]\nsize = 'ISO 54'\n[stones]\ndiameter_mm = 9\n", "stones.diameter_mm"),
        ("[finger]\nsize = 'ISO 54'\n[stones]\ndiameter_mm = '2.0'\n", "without quotes"),
        ("[finger]\nsize = 'ISO 54'\n[stones]\ndiameter_mm = 2\ncount = " + "9" * 5000, "file"),
        ("a = " + "[" * 5000, "file"),
        ("a" + ".a" * 5000 + " = 1", "1000 dots"),
        ("[finger]\nsize = 'ISO 54'\n[stones]\ndiameter_mm = 2\n[prong]\ndiamter_mm = 1", "'prong.diameter_mm'"),
        ("[finger]\nsize = 'ISO 54'\n[stones]\ndiameter_mm = 2\ncut = 'auto'", "stones.cut"),
    ],
    ids=["bom", "quoted-number", "digits", "brackets", "dotted-key", "same-table", "auto-word"],
)
def test_odd_files_are_refused_in_words(tmp_path, capsys, text, word):
    path = tmp_path / "odd.toml"
    path.write_text(text, encoding="utf-8")
    assert main(["make", str(path), "--out", str(tmp_path / "out")]) == 2
    assert word in capsys.readouterr().err


def test_a_pipe_or_device_is_no_spec(capsys):
    assert main(["make", "/dev/zero"]) == 2


def test_the_solid_is_built_once(spec_file, tmp_path, monkeypatch):
    from bandgen import pipeline

    built = []
    original = pipeline.build_solid
    monkeypatch.setattr(pipeline, "build_solid", lambda layout: built.append(1) or original(layout))
    assert main(["make", str(spec_file), "--out", str(tmp_path / "out"), "--formats", "step", "--quiet"]) == 0
    assert len(built) == 1


def test_output_that_cannot_be_written_exits_3(spec_file):
    with open("/dev/full", "w") as full:
        done = subprocess.run([sys.executable, "-m", "bandgen", "schema"], stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 3
    assert b"cannot write" in done.stderr
