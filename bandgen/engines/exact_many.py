"""Many different cells by the exact engine, shared out among processes.

The kernel keeps Python's lock while it works, so threads gain nothing; and a process that has run its threads cannot
be forked safely (a child was seen to hang). Helpers are therefore fresh interpreters that run ``exact_worker`` and
never the caller's own script. They get their share at once, by files: nobody waits for a pipe to be read. Whatever
becomes of a helper, its cells are made here if it does not answer, and it is gone when the call returns.

The kernel is imported late: its loading here passes while the helpers load theirs.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING

if TYPE_CHECKING:
    from bandgen.engines.exact import Patch
    from bandgen.engines.exact_worker import Cell

MANY_CELLS = 8
"""From this many cells on, helpers are started. Below, they would hardly have loaded the kernel in time."""

MOST_WORKERS = 3
"""Helpers at most: each holds a kernel of its own, some 200 MB."""

START_CELLS = {False: 0, True: 4}
"""How many cells a helper's start costs, by whether this process has the kernel loaded already: about 1.3 s, the time
of four cells, during all of which this process works; or during most of which it loads its own."""

WAIT_S = 10.0
WAIT_SHARE = 3.0
"""How long a helper may take after this process's share is done: so long, and so many times what that share took."""

PROGRAM = """
import sys
root, *path = sys.argv[1:]
sys.path.insert(0, root)
import bandgen
sys.path[0:1] = []
sys.path += [folder for folder in path if folder not in sys.path]
from bandgen.engines.exact_worker import main
main()
"""
"""What a helper runs: the caller's bandgen, and where the interpreter knows nothing of a module, the caller's import
path. Its own folders come first: by PYTHONPATH, a script that happens to lie beside the user's own and is called as a
standard module (``re.py``) was seen to stop the helper."""


@dataclass(frozen=True)
class _Worker:
    """A running helper, its cells and the file that its answer goes to."""

    process: subprocess.Popen[bytes]
    cells: Sequence[Cell]
    output: IO[bytes]


def evaluate_many(cells: Sequence[Cell], workers: int | None = None, many: int = MANY_CELLS) -> list[Patch]:
    """``exact.evaluate`` of each cell, in their order, by ``workers`` helpers (else what the machine has cores for)
    where there are at least ``many`` cells.

    Every cell passes once through the kernel's binary format, wherever it was made: the result is the same to the
    last bit whatever the number of helpers (and may differ from ``exact.evaluate`` alone in last bits of directions).

    Raises:
        EngineError: of the first cell, in their order, that the kernel fails on.
    """
    shares = shared_out(cells, _helpers(workers) if len(cells) >= many else 0)
    with ExitStack() as running:
        helpers = [running.enter_context(_started(share)) for share in shares[1:]]
        begin = time.monotonic()
        from bandgen.engines.exact_worker import packed_cell, unpacked  # loads the kernel

        packed = [packed_cell(cell, threads=len(shares) == 1) for cell in shares[0]]
        deadline = time.monotonic() + WAIT_S + WAIT_SHARE * (time.monotonic() - begin)
        for share, helper in zip(shares[1:], helpers, strict=True):
            answer = None if helper is None else _answer(helper, deadline)
            packed += [packed_cell(cell, threads=True) for cell in share] if answer is None else answer
    return [unpacked(data) for data in packed]


def shared_out(cells: Sequence[Cell], workers: int) -> list[Sequence[Cell]]:
    """The cells in stretches: this process's, then each helper's, so that all are done at about the same time.

    With n cells, w helpers and a start that costs s cells, each helper gets k and this process k + s of them:
    n = w k + (k + s). What does not divide stays here, as does everything if k < 1.
    """
    start = START_CELLS["OCP" in sys.modules]
    each = max(0, (len(cells) - start) // (workers + 1))
    mine = len(cells) - workers * each
    rest = [cells[mine + index * each : mine + (index + 1) * each] for index in range(workers)]
    return [cells[:mine], *(share for share in rest if share)]


def _helpers(asked: int | None) -> int:
    """How many helpers to start. None from a program that is no plain interpreter: it would start itself again."""
    if not sys.executable or getattr(sys, "frozen", False):
        return 0
    if asked is not None:
        return asked
    affinity = getattr(os, "sched_getaffinity", None)
    cores = len(affinity(0)) if affinity else os.cpu_count() or 1
    return min(MOST_WORKERS, cores - 1)


@contextmanager
def _started(cells: Sequence[Cell]) -> Iterator[_Worker | None]:
    """A helper at work on the cells, ended on leaving; None if the system has no process or no file to give."""
    with ExitStack() as files:
        try:
            given, output = (files.enter_context(tempfile.TemporaryFile()) for _ in range(2))
            worker = _Worker(_process(cells, given, output), cells, output)
        except OSError:
            worker = None
        try:
            yield worker
        finally:
            if worker is not None:
                worker.process.kill()
                worker.process.wait()


def _process(cells: Sequence[Cell], given: IO[bytes], output: IO[bytes]) -> subprocess.Popen[bytes]:
    pickle.dump(cells, given)
    given.seek(0)
    root = str(Path(__file__).resolve().parents[2])
    line = (sys.executable, "-P", "-c", PROGRAM, root, *sys.path)
    return subprocess.Popen(line, stdin=given, stdout=output, stderr=subprocess.DEVNULL)


def _answer(worker: _Worker, deadline: float) -> list[bytes] | None:
    """The packed cells of a helper; None if it is late, failed, or answered anything else."""
    from bandgen.engines.exact_worker import read_answer

    try:
        worker.process.wait(max(0.0, deadline - time.monotonic()))
    except subprocess.TimeoutExpired:
        return None
    worker.output.seek(0)
    return read_answer(worker.output.read(), len(worker.cells))
