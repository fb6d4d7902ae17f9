"""Every error that bandgen raises on purpose.

    BandgenError                 exit code
    ├── SpecError                2   the spec (or the command line) breaks a rule
    ├── FileFault                2   a file is missing, truncated or not what its name says
    └── WorkError                3
        ├── EngineError          3   a kernel failed; carries the operation and the spec
        └── ExportError          3   a file could not be written or did not read back as meant

A band whose own checks fail is no exception: it is a result, and its findings say so (exit code 1).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One broken rule: ``key`` is the spec's ``table.key`` (or the option), ``rule`` what it asks,
    ``value`` what was given, ``advice`` the change that would do."""

    key: str
    rule: str
    value: object = None
    advice: str = ""

    def __str__(self) -> str:
        given = f" = {self.value!r}" if self.value is not None else ""
        return f"{self.key}{given}: {self.rule}" + (f"; {self.advice}" if self.advice else "")


class BandgenError(Exception):
    """Base of all."""

    exit_code = 3


class SpecError(BandgenError):
    """A spec that cannot be made, with every problem found."""

    exit_code = 2

    def __init__(self, problems: list[Problem], source: str = "spec"):
        self.problems = tuple(problems)
        self.source = source
        super().__init__("\n".join(f"{source}: {problem}" for problem in problems))


class FileFault(BandgenError):  # noqa: N818 (a fault of the file, as its findings are)
    """A file that is not a readable solid."""

    exit_code = 2


class WorkError(BandgenError):
    """Something outside the spec went wrong."""


class EngineError(WorkError):
    """A kernel failed in ``operation``; the message says on what."""

    def __init__(self, operation: str, cause: str):
        self.operation = operation
        self.cause = cause
        super().__init__(f"{operation}: {cause}")


class ExportError(WorkError):
    """A file could not be written, or read back as something else."""
