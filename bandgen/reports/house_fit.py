"""A house's own compensation: what its finished rings measure against what was designed.

For each quantity, bore and width, the least squares line finished = scale * designed + offset. An offset is told from a
scale only by rings of different sizes: it is fitted where there are LEAST_WITH_OFFSET rows and the largest designed
size is at least WIDE_RANGE times the smallest; else finished = scale * designed, through 0, alone. How sure each number
is: 95 % by Student's t with as many degrees of freedom as rows less numbers fitted, as in any text on regression (N.
Draper and H. Smith, "Applied Regression Analysis", from memory):

    residual sd     s^2 = sum of squared residuals / freedom
    scale           s / sqrt(Sxx), Sxx about the mean with an offset, about 0 without
    next ring       s * sqrt(1 + leverage), leverage = 1/n + (x - mean)^2 / Sxx with an offset, x^2 / Sxx without

A row is an outlier when its residual over its own standard deviation, estimated without that row, exceeds the t limit
that all rows of a sound file keep within with 95 % (Bonferroni). It is named and stays in.

Why rings come out other than designed: a pattern and its metal shrink by a share, finishing takes a layer (trade facts
4: one ring's bore 19.95 to 19.82 mm, its width 4.05 to 3.82). Millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, linear_regression

from bandgen.reports.student import t_quantile
from bandgen.trade.house_profile import LEAST_ROWS, Line

LEAST_WITH_OFFSET = 4
WIDE_RANGE = 1.10
"""Bores of 16.0 and 17.6 mm: under this a share of the size and a layer look alike (common practice, no source)."""
CONFIDENCE = 0.95
READING_SD_MM = 0.01 / math.sqrt(12.0)
"""What a calliper that shows 0.01 mm leaves open: rows that agree by chance, to the digit, are not taken to scatter
less."""


@dataclass(frozen=True)
class Ring:
    """One measured ring's quantity: the line of its file, designed and finished size in mm."""

    line: int
    designed_mm: float
    finished_mm: float


class Fit(Line):
    """One quantity's line and what tells how sure it is. ``mean_mm`` and ``squares_mm2`` are of the designed sizes
    (0 and about 0 without an offset); ``freedom`` rows less numbers fitted."""

    @property
    def freedom(self) -> int:
        """Degrees of freedom."""
        return self.measured - (2 if self.with_offset else 1)

    @property
    def _reach_mm(self) -> float:
        """Half an interval that holds a single row, the line being known."""
        return t_quantile(self.freedom) * max(self.residual_sd_mm, READING_SD_MM)

    @property
    def scale_half(self) -> float:
        """Half the 95 % confidence interval of the scale."""
        return self._reach_mm / math.sqrt(self.squares_mm2)

    @property
    def offset_half_mm(self) -> float:
        """Half the 95 % confidence interval of the offset; 0 where none is fitted."""
        if not self.with_offset:
            return 0.0
        share = 1.0 / self.measured + self.mean_mm**2 / self.squares_mm2
        return self._reach_mm * math.sqrt(share)

    def leverage(self, designed_mm: float) -> float:
        """How far a size decides the line there."""
        even = 1.0 / self.measured if self.with_offset else 0.0
        return even + (designed_mm - self.mean_mm) ** 2 / self.squares_mm2

    def next_half_mm(self, designed_mm: float) -> float:
        """Half the interval about ``finished`` that holds the next ring of this size with 95 %."""
        return self._reach_mm * math.sqrt(1.0 + self.leverage(designed_mm))


@dataclass(frozen=True)
class Outlier:
    """A row that lies off the others' line: its residual in mm, in its own standard deviations, and their limit."""

    quantity: str
    line: int
    residual_mm: float
    studentised: float
    limit: float


def compute_fit(quantity: str, rings: Sequence[Ring]) -> Fit:
    """The line of one quantity; see the module's text for when it has an offset. Raises ValueError for fewer than
    LEAST_ROWS rings."""
    if len(rings) < LEAST_ROWS:
        raise ValueError(f"needs {LEAST_ROWS} rings, not {len(rings)}")
    x, y = [ring.designed_mm for ring in rings], [ring.finished_mm for ring in rings]
    sloped = len(rings) >= LEAST_WITH_OFFSET and max(x) >= WIDE_RANGE * min(x)
    scale, offset = linear_regression(x, y, proportional=not sloped)
    mean = fmean(x) if sloped else 0.0
    squares = math.fsum((each - mean) ** 2 for each in x)
    error = math.fsum((own - scale * each - offset) ** 2 for each, own in zip(x, y, strict=True))
    sd = math.sqrt(error / (len(rings) - (2 if sloped else 1)))
    return Fit(quantity, scale, offset, sloped, len(rings), min(x), max(x), mean, squares, sd)


def find_outliers(fit: Fit, rings: Sequence[Ring]) -> tuple[Outlier, ...]:
    """The rows of a fit that the others speak against, in the file's order."""
    limit = t_quantile(fit.freedom - 1, 1.0 - (1.0 - CONFIDENCE) / len(rings))
    outliers = (_judged(fit, ring, limit) for ring in rings)
    return tuple(each for each in outliers if abs(each.studentised) > limit)


def _judged(fit: Fit, ring: Ring, limit: float) -> Outlier:
    residual = ring.finished_mm - fit.finished(ring.designed_mm)
    free = max(1.0 - fit.leverage(ring.designed_mm), 1e-9)  # a row that alone decides the line has no residual
    others = (fit.freedom * fit.residual_sd_mm**2 - residual**2 / free) / (fit.freedom - 1)
    sd = max(math.sqrt(max(others, 0.0)), READING_SD_MM)
    return Outlier(fit.quantity, ring.line, residual, residual / (sd * math.sqrt(free)), limit)
