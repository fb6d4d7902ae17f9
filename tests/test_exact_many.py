"""Cells shared out among processes: the same to the last bit, and nothing left behind whatever becomes of a helper."""

import os
import pickle
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bandgen import band
from bandgen.engines import exact, exact_many, exact_worker, step
from bandgen.engines.exact_many import evaluate_many, shared_out
from bandgen.engines.exact_worker import answer_of, read_answer, unpacked
from bandgen.errors import EngineError
from bandgen.layout.compute import compute_layout
from bandgen.parts import Part, Plane, Point, Profile, Revolved
from bandgen.spec import make_spec

HALVES = (Plane((1.0, 0.0, 0.0)),)
HANG = "import time; time.sleep(60)"
FOUR_STONES = {
    "name": "few",
    "finger": {"inner_diameter_mm": 10.0},
    "stones": {"diameter_mm": 3.0, "count": 4},
    "arrangement": {"end_mm": 2.6, "coverage": "count"},
}


def ball_cell(radius):
    """The half x < 0 of a ball: the cheapest exact cell, 10 ms."""
    return [Part("ball", 1, Revolved(Profile((Point(0.0, -radius, 1.0), Point(0.0, radius)))))], HALVES


BALLS = [ball_cell(1.0 + index / 8.0) for index in range(12)]
BROKEN = ([Part("hole", -1, Revolved(Profile((Point(0.0, -1.0, 1.0), Point(0.0, 1.0)))))], HALVES)


def steps_of(patches):
    return [step.encode_step(patch.cell, "cell") + step.encode_step(exact.Solid(patch.skin), "s") for patch in patches]


@pytest.fixture
def helpers(monkeypatch):
    """Every helper process that is started, each gone in the end."""
    started = []
    real = subprocess.Popen

    def start(*arguments, **keywords):
        started.append(real(*arguments, **keywords))
        return started[-1]

    monkeypatch.setattr(exact_many.subprocess, "Popen", start)
    yield started
    for process in started:
        assert process.returncode is not None  # ended, and its end was seen: no process, no zombie
        with pytest.raises(ProcessLookupError):
            os.kill(process.pid, 0)


@pytest.fixture
def kernel_calls(monkeypatch):
    """The cells that are evaluated in this process."""
    calls = []
    real = exact_worker.evaluate

    def counted(parts, planes, threads):
        calls.append((parts, planes))
        return real(parts, planes, threads)

    monkeypatch.setattr(exact_worker, "evaluate", counted)
    return calls


# -------------------------------------------------------------------------------------------------- the result


def test_same_cells_whatever_the_helpers(helpers, kernel_calls):
    """Two helpers and this process: the kernel's volumes to the last bit, and all bytes."""
    alone = evaluate_many(BALLS, workers=0)
    kernel_calls.clear()
    shared = evaluate_many(BALLS, workers=2)
    assert [process.returncode for process in helpers] == [0, 0]
    assert kernel_calls == BALLS[:8]
    direct = [exact.evaluate(*cell) for cell in BALLS]
    assert [p.volume for p in shared] == [p.volume for p in alone] == [p.volume for p in direct]
    assert [p.face_count for p in shared] == [p.face_count for p in direct]
    assert steps_of(shared) == steps_of(alone)
    skin_is_the_bodys(shared[-1])


def skin_is_the_bodys(patch):
    """The skin is made of its body's own faces, all but the one in the cut plane, and the body is valid."""
    body = exact.subshapes(patch.cell.shape, exact.TopAbs_FACE)
    skin = exact.subshapes(patch.skin, exact.TopAbs_FACE)
    assert len(skin) == len(body) - 1
    assert all(any(face.IsSame(other) for other in body) for face in skin)
    assert patch.cell.is_valid()


def test_a_band_is_the_same_bytes(monkeypatch, helpers):
    """A row of unequal stones, its shank and its mirror images, with and without a helper."""
    layout = compute_layout(make_spec(FOUR_STONES))
    kinds = layout.kinds
    assert len({kind.seam for kind in kinds}) == 3
    assert any(kind.flipped for kind in kinds)
    monkeypatch.setitem(exact_many.START_CELLS, True, 0)
    solids = []
    for workers in (0, 1):
        monkeypatch.setattr(
            exact_many, "evaluate_many", lambda cells, workers=workers: evaluate_many(cells, workers, many=2)
        )
        solids.append(band.build_solid(layout))
    assert [process.returncode for process in helpers] == [0]
    assert solids[0].volume == solids[1].volume
    assert step.encode_step(solids[0], "few") == step.encode_step(solids[1], "few")


def test_few_cells_start_nothing(helpers):
    assert len(evaluate_many(BALLS[: exact_many.MANY_CELLS - 1], workers=1)) == exact_many.MANY_CELLS - 1
    assert evaluate_many([], workers=1) == []
    assert not helpers


def test_one_core_starts_nothing(helpers, monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0}, raising=False)
    assert len(evaluate_many(BALLS)) == len(BALLS)
    assert not helpers


def test_no_interpreter_starts_nothing(helpers, monkeypatch):
    """A frozen program would start itself."""
    monkeypatch.setattr(sys, "frozen", True, raising=False)
    assert len(evaluate_many(BALLS, workers=1)) == len(BALLS)
    assert not helpers


# -------------------------------------------------------------------------------------------------- the shares


@pytest.mark.parametrize("workers", [0, 1, 2, 3])
@pytest.mark.parametrize("loaded", [False, True])
def test_shares_are_all_cells_in_order(workers, loaded, monkeypatch):
    """Nobody is done more than a cell's time per helper before another, once a start is counted."""
    if not loaded:
        monkeypatch.delitem(sys.modules, "OCP")
    start = exact_many.START_CELLS[loaded]
    for count in range(40):
        shares = shared_out(list(range(count)), workers)
        assert [cell for share in shares for cell in share] == list(range(count))
        assert all(len(share) == len(shares[1]) for share in shares[1:])
        if len(shares) > 1:
            assert len(shares) == workers + 1
            assert 0 <= len(shares[0]) - (len(shares[1]) + start) <= workers
        else:
            assert workers == 0 or count < start + workers + 1


# -------------------------------------------------------------------------------------------------- what goes wrong


@pytest.mark.parametrize(
    "program",
    ["import sys; sys.exit(3)", "print('hello')", "import os, signal; os.kill(os.getpid(), signal.SIGKILL)"],
    ids=["leaves", "rubbish", "killed"],
)
def test_a_helper_without_an_answer_is_done_here(program, helpers, kernel_calls, monkeypatch):
    monkeypatch.setattr(exact_many, "PROGRAM", program)
    patches = evaluate_many(BALLS, workers=1)
    assert len(helpers) == 1
    assert kernel_calls == BALLS
    assert [p.volume for p in patches] == [exact.evaluate(*cell).volume for cell in BALLS]


def test_only_a_whole_answer_is_one(monkeypatch):
    """Bytes short, bytes beside it, cells short, or by another copy of bandgen: no answer."""
    answer = answer_of(BALLS[:2])
    cells = read_answer(answer, 2)
    assert [unpacked(cell).volume for cell in cells] == [exact.evaluate(*cell).volume for cell in BALLS[:2]]
    assert read_answer(answer, 3) is None
    for other in (b"", answer[:-1], answer + b"\n", b"hello\n" + answer, answer[:10]):
        assert read_answer(other, 2) is None
    monkeypatch.setattr(exact_worker, "_HOME", ("/elsewhere",))
    assert read_answer(answer, 2) is None


def test_killed_at_work(helpers, kernel_calls, monkeypatch):
    """The helper is killed while this process is at its own share."""
    real = exact_worker.packed_cell

    def at_work(cell, threads=False):
        helpers[0].kill()
        return real(cell, threads)

    monkeypatch.setattr(exact_worker, "packed_cell", at_work)
    assert len(evaluate_many(BALLS, workers=1)) == len(BALLS)
    assert helpers[0].returncode == -9
    assert kernel_calls == BALLS


def test_a_helper_that_hangs_is_ended(helpers, kernel_calls, monkeypatch):
    monkeypatch.setattr(exact_many, "PROGRAM", HANG)
    monkeypatch.setattr(exact_many, "WAIT_S", 0.1)
    begin = time.monotonic()
    assert len(evaluate_many(BALLS, workers=2)) == len(BALLS)
    assert time.monotonic() - begin < 30.0
    assert kernel_calls == BALLS
    assert [process.returncode for process in helpers] == [-9, -9]


@pytest.mark.parametrize("interrupt", [KeyboardInterrupt, MemoryError])
def test_an_interrupt_ends_the_helpers(interrupt, helpers, monkeypatch):
    def stopped(cell, threads=False):
        raise interrupt

    monkeypatch.setattr(exact_many, "PROGRAM", HANG)
    monkeypatch.setattr(exact_worker, "packed_cell", stopped)
    with pytest.raises(interrupt):
        evaluate_many(BALLS, workers=2)
    assert len(helpers) == 2


@pytest.mark.parametrize("owner", ["subprocess.Popen", "tempfile.TemporaryFile"])
def test_no_process_or_file_to_be_had(owner, kernel_calls, monkeypatch):
    def refused(*arguments, **keywords):
        raise OSError("no more of these")

    monkeypatch.setattr(owner, refused)
    assert len(evaluate_many(BALLS, workers=2)) == len(BALLS)
    assert kernel_calls == BALLS


@pytest.mark.parametrize("place", [0, 11], ids=["here", "in the helper"])
def test_a_failure_of_the_kernel_is_the_same_wherever(place, helpers, kernel_calls):
    """The cell's own error, once; the helper's cells are not tried again here."""
    cells = [*BALLS[:place], BROKEN, *BALLS[place + 1 :]]
    with pytest.raises(EngineError) as alone:
        exact.evaluate(*BROKEN)
    with pytest.raises(EngineError) as shared:
        evaluate_many(cells, workers=1)
    assert (shared.value.operation, shared.value.cause) == (alone.value.operation, alone.value.cause)
    assert kernel_calls == (cells[:1] if place == 0 else cells[:8])
    assert len(helpers) == 1


SCRIPT = """
import pickle, re, sys
sys.path.insert(0, {here!r})
sys.path.insert(1, {root!r})
from bandgen.engines import exact_many, exact_worker
print(*sorted(sys.modules))
calls, real = [], exact_worker.evaluate
exact_worker.evaluate = lambda *cell, **threads: (calls.append(cell), real(*cell, **threads))[1]
with open("cells", "rb") as file:
    cells = pickle.load(file)
print(len(exact_many.evaluate_many(cells, workers=1)), len(calls))
"""


def test_an_unguarded_script_runs_once(tmp_path):
    """Without ``if __name__ == "__main__"``, beside a file called as a standard module: nothing of it runs twice, and
    the helper answers all the same, silently. Neither end loads cadquery, nor what makes layouts and meshes."""
    (tmp_path / "re.py").write_text("raise RuntimeError('not the one you meant')\n")
    (tmp_path / "cells").write_bytes(pickle.dumps(BALLS))
    root = str(Path(band.__file__).parents[1])
    (tmp_path / "script.py").write_text(SCRIPT.format(here=str(tmp_path), root=root))
    line = [sys.executable, "-P", "script.py"]
    done = subprocess.run(line, capture_output=True, text=True, timeout=120, cwd=tmp_path)
    modules, counts = done.stdout.splitlines()
    assert (done.returncode, done.stderr, counts) == (0, "", "12 8")
    loaded = modules.split()
    assert {name for name in loaded if name.startswith("bandgen.")} == {
        *(f"bandgen.{name}" for name in ("engines", "errors", "parts", "units")),
        *(f"bandgen.engines.exact{name}" for name in ("", "_many", "_mesh", "_solid", "_worker")),
    }
    assert not {"cadquery", "manifold3d", "pydantic", "scipy", "trimesh"} & set(loaded)
