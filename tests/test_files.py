"""Names, folders, writing all or nothing, leftovers, and reading meshes from files."""

from __future__ import annotations

import errno
import hashlib
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandgen.errors import ExportError, FileFault, SpecError
from bandgen.exporters import files, readers, stl, threemf

TETRA_V = np.array([[0.0, 0.0, 0.0], [1.5, 0.0, 0.0], [0.0, 2.25, 0.0], [0.0, 0.0, 3.1]])
TETRA_F = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
STL = stl.encode(TETRA_V, TETRA_F, "t")
THREEMF = threemf.encode(TETRA_V, TETRA_F, "t", {})


def state(folder: Path) -> dict[str, bytes]:
    """Every file of a folder, hidden ones included."""
    return {place.name: place.read_bytes() for place in folder.iterdir()}


@pytest.fixture(scope="module")
def dead() -> int:
    """The number of a process that has ended."""
    done = subprocess.Popen([sys.executable, "-S", "-c", ""])
    done.wait()
    return done.pid


# ------------------------------------------------------------------------------------------------- names


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Band one", "Band-one"),
        ("L 1/2", "L-half"),
        ("L½", "L-half"),
        ("6 1/4", "6-quarter"),
        ("6¾", "6-three-quarters"),
        ("11/2", "11-2"),
        ("1/24", "1-24"),
        ("5.75", "5.75"),
        ("Müller & Söhne", "Muller-Sohne"),
        ("../../etc/passwd", "etc-passwd"),
        ("..", "band"),
        (".hidden", "hidden"),
        ("-rf", "rf"),
        ("", "band"),
        ("指輪", "band"),
        ("a/b\\c:d", "a-b-c-d"),
        ("con", "band-con"),
        ("COM1.stl", "band-COM1.stl"),
        ("console", "console"),
        ("a....b", "a.b"),
        ("x\n\0y", "x-y"),
    ],
)
def test_safe_name(text: str, name: str) -> None:
    assert files.safe_name(text) == name


@settings(max_examples=200, deadline=None)
@given(st.one_of(st.text(), st.text("aZ09.-/ ½1/2conCON", max_size=12), st.just("ab-" * 90)))
def test_safe_names_are_safe_and_stay_as_they_are(text: str) -> None:
    name = files.safe_name(text)
    assert re.fullmatch(r"[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?", name)
    assert ".." not in name
    assert not re.match(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", name, re.IGNORECASE)
    assert len(name) <= files.LONGEST_NAME + len("band-")
    assert files.safe_name(name) == name


def test_sha256_of_the_standards_example() -> None:
    """FIPS 180-2, appendix B.1: the digest of "abc" (from memory)."""
    assert files.sha256(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert files.entry("a", b"abc") == {"name": "a", "bytes": 3, "sha256": files.sha256(b"abc")}


# ----------------------------------------------------------------------------------------------- folders


def test_open_folder_makes_it_and_leaves_it_empty(tmp_path: Path) -> None:
    made = files.open_folder(tmp_path / "a" / "b")
    assert made == tmp_path / "a" / "b"
    assert state(made) == {}
    assert files.open_folder(made) == made


@pytest.mark.parametrize("below", ["", "sub", "sub/sub"])
def test_a_file_in_the_way_is_a_mistake_of_the_command_line(tmp_path: Path, below: str) -> None:
    (tmp_path / "out").write_text("mine")
    with pytest.raises(SpecError, match="in the way") as caught:
        files.open_folder(tmp_path / "out" / below)
    assert [problem.key for problem in caught.value.problems] == ["--out"]
    assert state(tmp_path) == {"out": b"mine"}


def test_a_dangling_link_is_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "out").symlink_to(tmp_path / "nowhere")
    with pytest.raises(SpecError, match="in the way"):
        files.open_folder(tmp_path / "out")


def fail_with(code: int, when=lambda *_: True, real=None):
    def stand_in(*arguments, **named):
        if when(*arguments):
            raise OSError(code, os.strerror(code))
        return real(*arguments, **named)

    return stand_in


def test_a_folder_that_takes_no_file_is_an_export_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "open", fail_with(errno.EROFS))
    with pytest.raises(ExportError, match=re.escape(f"{tmp_path}: cannot be made or written to: Read-only file")):
        files.open_folder(tmp_path)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_permission_is_an_export_error(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(ExportError, match="Permission denied"):
        files.open_folder(tmp_path)
    with pytest.raises(ExportError, match="Permission denied"):
        files.write_all(tmp_path, {"a": b"1"})


# ----------------------------------------------------------------------------------------------- writing


def test_all_files_are_written_and_verified_from_the_disk(tmp_path: Path) -> None:
    contents = {"a.stl": b"one", "b.3mf": b"", "c.json": bytes(range(256)) * 999}
    seen: dict[str, bytes] = {}

    def verify(name: str, data: bytes) -> None:
        assert (tmp_path / f".{name}.part-{os.getpid()}").read_bytes() == data
        assert not (tmp_path / name).exists()
        seen[name] = data

    files.write_all(tmp_path, contents, verify)
    assert seen == contents
    assert state(tmp_path) == contents


def test_older_files_are_replaced_and_others_left(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    (tmp_path / "z").write_bytes(b"other")
    files.write_all(tmp_path, {"a": b"new"})
    assert state(tmp_path) == {"a": b"new", "z": b"other"}


def test_a_reader_with_the_old_file_open_keeps_it(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    with (tmp_path / "a").open("rb") as file:
        files.write_all(tmp_path, {"a": b"new"})
        assert file.read() == b"old"


def test_permissions_follow_the_umask(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        files.write_all(tmp_path, {"a": b"1"})
    finally:
        os.umask(before)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


def test_a_file_that_does_not_read_back_stops_all(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")

    def verify(name: str, data: bytes) -> None:
        if name == "b":
            raise FileFault("truncated")

    with pytest.raises(ExportError, match=r"b: was written, but does not read back: truncated"):
        files.write_all(tmp_path, {"a": b"1", "b": b"2", "c": b"3"}, verify)
    assert state(tmp_path) == {"a": b"old"}


def test_any_other_error_of_verify_passes_and_leaves_nothing(tmp_path: Path) -> None:
    def verify(name: str, data: bytes) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        files.write_all(tmp_path, {"a": b"1"}, verify)
    assert state(tmp_path) == {}


@pytest.mark.parametrize("function", ["open", "fsync"])
def test_a_full_disk_leaves_the_folder_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, function: str
) -> None:
    (tmp_path / "a").write_bytes(b"old")
    calls: list[object] = []
    second = lambda *arguments: calls.append(arguments) or len(calls) == 2  # noqa: E731
    monkeypatch.setattr(os, function, fail_with(errno.ENOSPC, second, getattr(os, function)))
    with pytest.raises(ExportError, match=re.escape(f"{tmp_path / 'b'}: cannot be written: No space left")):
        files.write_all(tmp_path, {"a": b"1", "b": b"2"})
    assert state(tmp_path) == {"a": b"old"}


def test_a_rename_that_fails_half_way_puts_the_others_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").write_bytes(b"old a")
    (tmp_path / "c").write_bytes(b"old c")
    to_c = lambda source, target: ".part-" in str(source) and Path(target).name == "c"  # noqa: E731
    monkeypatch.setattr(os, "replace", fail_with(errno.EACCES, to_c, os.replace))
    with pytest.raises(ExportError, match=re.escape(f"{tmp_path / 'c'}: cannot be given its name: Permission")):
        files.write_all(tmp_path, {"a": b"1", "b": b"2", "c": b"3"})
    assert state(tmp_path) == {"a": b"old a", "c": b"old c"}


def test_the_same_where_the_file_system_has_no_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").write_bytes(b"old a")
    monkeypatch.setattr(os, "link", fail_with(errno.EPERM))
    monkeypatch.setattr(os, "replace", fail_with(errno.EACCES, lambda _, target: Path(target).name == "b", os.replace))
    with pytest.raises(ExportError, match="cannot be given its name"):
        files.write_all(tmp_path, {"a": b"1", "b": b"2"})
    assert state(tmp_path) == {"a": b"old a"}


def test_what_cannot_be_put_back_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").write_bytes(b"old a")
    only_first = lambda source, target: ".kept-" in str(source) or Path(target).name == "b"  # noqa: E731
    monkeypatch.setattr(os, "replace", fail_with(errno.EACCES, only_first, os.replace))
    with pytest.raises(ExportError, match="and a could not be put back"):
        files.write_all(tmp_path, {"a": b"1", "b": b"2"})


def test_a_disk_that_keeps_something_else_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Path, "read_bytes", lambda _: b"rotten")
    with pytest.raises(ExportError, match="read back as something else"):
        files.write_all(tmp_path, {"a": b"1"})
    monkeypatch.undo()
    assert state(tmp_path) == {}


def test_a_folder_under_a_files_name_is_an_export_error(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    with pytest.raises(ExportError, match="a folder has that name"):
        files.write_all(tmp_path, {"a": b"1", "b": b"2"})
    assert [place.name for place in tmp_path.iterdir()] == ["b"]


def test_a_missing_folder_and_a_name_too_long_are_export_errors(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="No such file"):
        files.write_all(tmp_path / "none", {"a": b"1"})
    with pytest.raises(ExportError, match="too long"):
        files.write_all(tmp_path, {"a": b"1", "b" * 250: b"2"})
    assert state(tmp_path) == {}


@pytest.mark.parametrize("name", ["", ".", "..", ".a", "a/b", "/a", "../a", "a\\b"])
def test_names_that_lead_elsewhere_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="no plain file name"):
        files.write_all(tmp_path, {"good": b"1", name: b"2"})
    assert state(tmp_path) == {}


KILLED = """
import os, signal, sys
from pathlib import Path
from bandgen.exporters import files
def verify(name, data):
    if name == "b":
        os.kill(os.getpid(), signal.SIGKILL)
files.write_all(Path(sys.argv[1]), {"a": b"new", "b": b"new"}, verify)
"""


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
def test_a_killed_run_leaves_whole_files_and_parts_that_can_be_cleared(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    killed = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path)], check=False)
    assert killed.returncode == -9
    assert len(state(tmp_path)) == 3
    removed = files.clear_leftovers(tmp_path)
    assert [re.sub(r"\d+$", "N", place.name) for place in removed] == [".a.part-N", ".b.part-N"]
    assert state(tmp_path) == {"a": b"old"}


def test_only_leftovers_of_dead_processes_are_cleared(tmp_path: Path, dead: int) -> None:
    stay = {
        f".a.part-{os.getpid()}": b"",  # ours, and fresh
        ".a.part-1": b"",  # the first process always lives
        f"a.part-{dead}": b"",
        f".part-{dead}": b"",
        f".a.part-{dead}.stl": b"",
        ".a.part-x": b"",
        ".profile": b"",
    }
    for name in [*stay, f".b.part-{dead}", f".c.kept-{dead}", ".d.part-9999999999"]:
        (tmp_path / name).touch()
    (tmp_path / f".link.part-{dead}").symlink_to(tmp_path / ".profile")
    removed = files.clear_leftovers(tmp_path)
    assert [place.name for place in removed] == [f".b.part-{dead}", f".c.kept-{dead}", ".d.part-9999999999"]
    assert state(tmp_path) == {**stay, f".link.part-{dead}": b""}


def test_a_living_process_of_another_user_keeps_its_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, dead: int
) -> None:
    (tmp_path / f".a.part-{dead}").touch()
    monkeypatch.setattr(os, "kill", fail_with(errno.EPERM))
    assert files.clear_leftovers(tmp_path) == []


def test_a_leftover_with_our_own_number_is_told_by_its_age(tmp_path: Path) -> None:
    old = tmp_path / f".a.part-{os.getpid()}"
    old.touch()
    os.utime(old, (1e9, 1e9))
    assert files.clear_leftovers(tmp_path) == [old]


def test_clearing_a_missing_folder_is_an_export_error(tmp_path: Path) -> None:
    with pytest.raises(ExportError, match="No such file"):
        files.clear_leftovers(tmp_path / "none")


# ----------------------------------------------------------------------------------------------- reading


@pytest.mark.parametrize(
    ("name", "data"), [("a.stl", STL), ("A.STL", STL), ("a.3mf", THREEMF), ("b.model.3MF", THREEMF)]
)
def test_what_was_written_is_read(tmp_path: Path, name: str, data: bytes) -> None:
    files.write_all(tmp_path, {name: data}, lambda *_: None)
    vertices, faces = readers.read_mesh(tmp_path / name)
    np.testing.assert_array_equal(vertices[faces], TETRA_V.astype(np.float32)[TETRA_F])
    assert hashlib.sha256((tmp_path / name).read_bytes()).hexdigest() == files.sha256(data)


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("a.stl", b"", "the file is empty"),
        ("a.3mf", b"", "the file is empty"),
        ("a.step", b"ISO-10303-21;", "no mesh format by its suffix '.step'"),
        ("stl", STL, "no mesh format by its suffix ''"),
        ("a.stl", THREEMF, "named .stl, but the content is a zip"),
        ("a.3mf", STL, "no zip package: it seems to be an STL"),
        ("a.3mf", b"solid x\nendsolid x", "no zip package: it seems to be an STL"),
        ("a.3mf", b"%PDF", "no zip package$"),
        ("a.stl", STL[:200], "truncated"),
        ("a.3mf", THREEMF[:200], "no sound 3MF package"),
    ],
)
def test_a_bad_file_is_named_with_its_fault(tmp_path: Path, name: str, data: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(FileFault, match=rf"^{re.escape(str(tmp_path / name))}: .*{says}"):
        readers.read_mesh(tmp_path / name)


def test_a_binary_stl_whose_title_looks_like_a_zip_is_an_stl(tmp_path: Path) -> None:
    (tmp_path / "a.stl").write_bytes(b"PK\x03\x04" + STL[4:])
    assert len(readers.read_mesh(tmp_path / "a.stl")[1]) == 4


def test_missing_folder_pipe_and_oversize(tmp_path: Path) -> None:
    (tmp_path / "folder.stl").mkdir()
    with (tmp_path / "big.stl").open("wb") as file:
        file.truncate(readers.LIMIT_BYTES + 1)  # sparse: takes no room
    expected = {
        "none.stl": "No such file",
        "folder.stl": "a folder",
        "big.stl": "more than the 2000000000",
        "\0.stl": "cannot be read",
    }
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.stl")
        expected["pipe.stl"] = "no regular file"
    for name, says in expected.items():
        with pytest.raises(FileFault, match=says):
            readers.read_mesh(tmp_path / name)
