"""Where a band's stones come from: about the size of their seats, or out of a measured parcel. Diameters in mm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, NoReturn, Protocol

import numpy as np

from bandgen.errors import Problem, SpecError
from bandgen.reports.seated import MOST_SPREAD_MM, Floats
from bandgen.spec.parcel import Unread, read_parcel

Shape = Literal["uniform", "normal"]


class Parcel(Protocol):
    """Where the stones come from."""

    def draw(self, random: np.random.Generator, nominal_mm: Floats, count: int) -> Floats:
        """Diameters (count, n) in mm of ``count`` bands whose n seats are made for ``nominal_mm``."""

    def __str__(self) -> str: ...


@dataclass(frozen=True)
class Spread:
    """Stones about the size of their seat: anywhere within the spread alike, or normal with the spread as two standard
    deviations and none beyond it. Raises SpecError for a spread outside 0 to MOST_SPREAD_MM."""

    spread_mm: float
    shape: Shape = "uniform"

    def __post_init__(self) -> None:
        if not 0.0 <= self.spread_mm <= MOST_SPREAD_MM:
            refuse("spread", f"must be 0 to {MOST_SPREAD_MM:g} mm", self.spread_mm)

    def draw(self, random: np.random.Generator, nominal_mm: Floats, count: int) -> Floats:
        """See :class:`Parcel`."""
        size = (count, len(nominal_mm))
        units = random.uniform(-1.0, 1.0, size) if self.shape == "uniform" else _cut_normal(random, size)
        return nominal_mm + self.spread_mm * units

    def __str__(self) -> str:
        how = "evenly spread" if self.shape == "uniform" else "normal, +- being two standard deviations, none beyond"
        return f"each stone its seat's size +-{self.spread_mm:g} mm, {how}"


def _cut_normal(random: np.random.Generator, size: tuple[int, int]) -> Floats:
    """Standard normal within two standard deviations, halved."""
    values = random.standard_normal(size)
    while (beyond := np.abs(values) > 2.0).any():
        values[beyond] = random.standard_normal(int(beyond.sum()))
    return values / 2.0


@dataclass(frozen=True)
class Measured:
    """Stones of a measured parcel, put into the seats as they come: each once, or again where they are too few."""

    diameters_mm: tuple[float, ...]

    def draw(self, random: np.random.Generator, nominal_mm: Floats, count: int) -> Floats:
        """See :class:`Parcel`."""
        stones, seats = np.array(self.diameters_mm), len(nominal_mm)
        if len(stones) < seats:
            return stones[random.integers(0, len(stones), (count, seats))]
        return random.permuted(np.tile(stones, (count, 1)), axis=1)[:, :seats]

    def __str__(self) -> str:
        stones = self.diameters_mm
        return f"{len(stones)} measured stones of {min(stones):g} to {max(stones):g} mm, in any order"


def read_measured(path: Path) -> Measured:
    """The stones of a CSV file, which reads as a spec's parcel does (``spec.parcel``). Raises SpecError."""
    if not path.is_file():
        refuse("measured", "must be a readable CSV file", str(path))
    try:
        return Measured(read_parcel(path))
    except Unread as fault:
        raise SpecError([replace(problem, key="measured") for problem in fault.problems], str(path)) from None


def refuse(key: str, rule: str, value: object) -> NoReturn:
    """Raise SpecError for one value."""
    raise SpecError([Problem(key, rule, value)], "tolerance")
