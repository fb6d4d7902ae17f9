"""Stones vary within a parcel: the chance that a band of such stones goes wrong, by drawing many bands.

Seats and prongs stay where the layout put them; each drawn stone is laid into its seat, and the gaps between the
girdles and the grip of the prongs are measured anew (``reports.seated``). Stones keep the proportions of the layout's.
Proved in tests against the triangle of two even spreads and, for a whole band, transfer matrices.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bandgen.layout.numbers import Layout
from bandgen.reports.parcels import Parcel, Shape, Spread, refuse
from bandgen.reports.seated import (
    MOST_SPREAD_MM,
    Floats,
    Girdles,
    gap_across,
    girdle_gap,
    least_held_mm,
    level_direction,
    rest_mm,
)
from bandgen.spec import spec_keys
from bandgen.units import KEEP_AWAY_MM

Flags = NDArray[np.bool_]

DRAWS_RANGE = (100, 1_000_000)
PARTS = (8, 4, 2, 1)
"""The convergence is shown after an eighth, a quarter, half and all of the draws."""
GOOD_CHANCE = 0.01
"""What a parcel is to be sorted for (common practice, no source)."""
LOOSE = "prong-loose"
_STEPS_A_MM = 1000
_ROUNDING_MM = 1e-8
_CHUNK = 200_000
_Z95 = NormalDist().inv_cdf(0.975)


# Where girdles meet


@dataclass(frozen=True)
class Place:
    """Two neighbouring stones, or a stone and one prong pair of its own: rows and stations; ``seam`` None between
    rows."""

    stones: tuple[tuple[int, int], ...]
    seam: int | None

    def __str__(self) -> str:
        at = " and ".join(f"{station} of row {row}" if self._many else f"{station}" for row, station in self.stones)
        return f"stations {at}" if len(self.stones) > 1 else f"station {at} at seam {self.seam}"

    @property
    def _many(self) -> bool:
        return self.seam is None or any(row for row, _ in self.stones)


@dataclass(frozen=True)
class Meeting:
    """Two neighbours: the angle between their axes in radians, how far apart they stand along the ring's axis, the gap
    that was asked between them."""

    place: Place
    angle: float
    z_mm: float
    asked_mm: float


def meetings(layout: Layout) -> tuple[Meeting, ...]:
    """All pairs of neighbours of a band, along its rows and across them."""
    along = [
        Meeting(
            Place(((row, seam.before), (row, seam.after)), seam.index),
            math.radians(seam.before_deg + seam.after_deg),
            0.0,
            layout.gap_asked_mm,
        )
        for row in range(len(layout.rows))
        for seam in layout.seams
        if seam.before is not None and seam.after is not None
    ]
    return (*along, *(meeting for row in range(len(layout.rows) - 1) for meeting in _across(layout, row)))


def _across(layout: Layout, row: int) -> Iterator[Meeting]:
    """The pairs of a row and the next one: opposite one another, or each in a notch of the other's."""
    this, other = layout.rows[row], layout.rows[row + 1]
    apart, asked = abs(this.z_mm - other.z_mm), layout.spec.arrangement.row_gap_mm
    if this.turned == other.turned:
        for station in range(len(layout.stations)):
            yield Meeting(Place(((row, station), (row + 1, station)), None), 0.0, apart, asked)
        return
    for seam in layout.seams:
        for side in layout.sides(seam):
            there = (seam.index, side.station.index) if this.turned else (side.station.index, seam.index)
            yield Meeting(Place(((row, there[0]), (row + 1, there[1])), None), side.half, apart, asked)


# What may go wrong


@dataclass(frozen=True)
class Question:
    """What is counted: a code, its words, the limit and where it comes from."""

    code: str
    text: str
    limit: float
    source: str


@dataclass(frozen=True)
class Estimate:
    """A chance after some draws: its standard error, and Wilson's interval that holds it with 95 %."""

    draws: int
    hits: int

    @property
    def chance(self) -> float:
        """Hits over draws."""
        return self.hits / self.draws

    @property
    def error(self) -> float:
        """Standard error of a share."""
        return math.sqrt(self.chance * (1.0 - self.chance) / self.draws)

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson's score interval (E. B. Wilson 1927): for no hits too it has a width."""
        n, z = self.draws, _Z95
        middle = (self.chance + z * z / (2.0 * n)) / (1.0 + z * z / n)
        half = z / (1.0 + z * z / n) * math.sqrt(self.chance * (1.0 - self.chance) / n + z * z / (4.0 * n * n))
        return middle - half if self.hits else 0.0, middle + half if self.hits < n else 1.0


@dataclass(frozen=True)
class Answer:
    """How often a band goes wrong in one way, how the estimate settled, how often at each place, and the greatest
    even spread in mm under which it is rarer than GOOD_CHANCE: 0 for none, MOST_SPREAD_MM for all looked at."""

    question: Question
    convergence: tuple[Estimate, ...]
    places: tuple[tuple[Place, float], ...]
    sort_to_mm: float

    @property
    def chance(self) -> Estimate:
        """After all draws."""
        return self.convergence[-1]

    @property
    def worst(self) -> tuple[Place, float]:
        """The place where it is likeliest."""
        return max(self.places, key=lambda each: each[1])

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {
            **asdict(self.question),
            "chance": self.chance.chance,
            "convergence": [
                {"draws": e.draws, "chance": e.chance, "error": e.error, "interval95": list(e.interval)}
                for e in self.convergence
            ],
            "worst": str(self.worst[0]),
            "places": [
                {
                    "stones": [{"row": row, "station": station} for row, station in place.stones],
                    "seam": place.seam,
                    "chance": chance,
                }
                for place, chance in self.places
            ],
            "sort_to_mm": self.sort_to_mm,
        }


@dataclass(frozen=True)
class Tolerance:
    """What a parcel means for a band."""

    parcel: Parcel
    draws: int
    seed: int
    stone_count: int
    answers: tuple[Answer, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "parcel": str(self.parcel),
            "draws": self.draws,
            "seed": self.seed,
            "stone_count": self.stone_count,
            "answers": [answer.as_dict() for answer in self.answers],
        }


class _Model:
    """A layout as arrays: stones (n,), meetings, and the sides of seams with the least stone that each prong grips."""

    def __init__(self, layout: Layout) -> None:
        self.layout, rows, count = layout, range(len(layout.rows)), len(layout.stations)
        self.nominal_mm = np.array([s.diameter_mm for _ in rows for s in layout.stations])
        self.thick = np.array([s.proportions.girdle_pct / 100.0 for _ in rows for s in layout.stations])
        met = meetings(layout)
        self.along = _Meetings([each for each in met if each.place.seam is not None], count)
        self.across = _Meetings([each for each in met if each.place.seam is None], count)
        heights = np.array([s.seat.girdle_mm for _ in rows for s in layout.stations])
        height, radius = (each[self.across.stones].sum(axis=1) for each in (heights, self.nominal_mm / 2.0))
        self.level = level_direction(height, radius, self.across.angle, self.across.z_mm)
        # Seats of unequal stones leave less between bands than between the layout's discs: theirs is what to keep.
        asked = np.concatenate([self.along.asked_mm, self.across.asked_mm])
        self.asked_mm = np.minimum(asked, self.gaps(self.nominal_mm[None, :])[0]) - _ROUNDING_MM
        sides = [side for seam in layout.seams for side in layout.sides(seam)]
        least = [least_held_mm(side, _least_share()) for side in sides]
        self.held = np.array([row * count + side.station.index for row in rows for side in sides])
        self.least_mm = np.array([mm for _ in rows for mm in least])
        self.holds = [Place(((row, side.station.index),), side.seam.index) for row in rows for side in sides]

    def gaps(self, diameters: Floats) -> Floats:
        """Gaps (draws, meetings) in mm, along the rows first."""
        heights, count = np.empty_like(diameters), len(self.layout.stations)
        for index, station in enumerate(self.layout.stations):
            heights[:, index::count] = rest_mm(station, diameters[:, index::count] / 2.0)
        girdles = Girdles(diameters / 2.0, heights, self.thick * diameters)
        (before, after), (one, other) = (map(girdles.of, each.stones.T) for each in (self.along, self.across))
        along = girdle_gap(before, after, self.along.angle)
        across = gap_across(one, other, self.across.z_mm, self.level)
        return np.concatenate([along, across], axis=1)

    def margins(self, diameters: Floats) -> tuple[Floats, ...]:
        """For each of the questions, in their order, how far each place is from going wrong (draws, places) in mm of
        gap, or of diameter."""
        gaps = self.gaps(diameters)
        held = diameters[:, self.held] - (self.least_mm - _ROUNDING_MM)
        return gaps, gaps - KEEP_AWAY_MM, held, gaps - self.asked_mm


class _Meetings:
    """Meetings as arrays: stones (n, 2) by number, row by row."""

    def __init__(self, met: Sequence[Meeting], count: int) -> None:
        self.places = [each.place for each in met]
        numbers = [[row * count + station for row, station in each.place.stones] for each in met]
        self.stones = np.array(numbers, dtype=np.intp).reshape(-1, 2)
        self.angle, self.z_mm, self.asked_mm = (
            np.array([getattr(each, key) for each in met]) for key in ("angle", "z_mm", "asked_mm")
        )


def _least_share() -> float:
    limits = spec_keys()["prong.overlap"]
    assert limits is not None
    return limits[0]


def questions(layout: Layout) -> tuple[Question, ...]:
    """What is counted, the gravest first."""
    asked, share = layout.gap_asked_mm, _least_share()
    must_not = "girdles must never touch or overlap (dwilkinsondesign.com, setting process)"
    grip = f"prongs that grip under {share:g} of their diameter"
    return (
        Question("girdles-touch", "girdles that touch", 0.0, must_not),
        Question("girdles-near", f"girdles under {KEEP_AWAY_MM:g} mm apart", KEEP_AWAY_MM, "units.KEEP_AWAY_MM"),
        Question(LOOSE, grip, share, "least value of the spec's prong.overlap; no source in the trade"),
        Question("gap-asked", f"girdles under the {asked:.3g} mm asked", asked, "the spec's stones.gap_mm, row_gap_mm"),
    )


# Drawing


def compute_tolerance(layout: Layout, parcel: Parcel, draws: int = 20_000, seed: int = 1) -> Tolerance:
    """The chances that a band of the parcel's stones goes wrong, from ``draws`` bands; the same seed, the same answer.

    Raises:
        SpecError: when the number of draws or the seed is out of range.
    """
    if not DRAWS_RANGE[0] <= draws <= DRAWS_RANGE[1]:
        refuse("draws", f"must be {DRAWS_RANGE[0]} to {DRAWS_RANGE[1]}", draws)
    if seed < 0:
        refuse("seed", "must be 0 or more", seed)
    model = _Model(layout)
    wrong, counts = _play(model, parcel, draws, seed)
    spreads = _sorted_to(model, parcel.shape if isinstance(parcel, Spread) else "uniform", draws, seed)
    answers = []
    for index, question in enumerate(questions(layout)):
        estimates = tuple(Estimate(n, int(wrong[index, :n].sum())) for n in (draws // part for part in PARTS))
        places = model.holds if question.code == LOOSE else [*model.along.places, *model.across.places]
        chances = zip(places, (counts[index] / draws).tolist(), strict=True)
        answers.append(Answer(question, estimates, tuple(chances), spreads[index]))
    return Tolerance(parcel, draws, seed, len(model.nominal_mm), tuple(answers))


def _bands(model: _Model, parcel: Parcel, draws: int, seed: int) -> Iterator[tuple[Floats, ...]]:
    """The margins of all draws, so many at a time as stay in the machine's cache."""
    random, size = np.random.default_rng(seed), max(_CHUNK // len(model.nominal_mm), 1)
    for start in range(0, draws, size):
        yield model.margins(parcel.draw(random, model.nominal_mm, min(size, draws - start)))


def _play(model: _Model, parcel: Parcel, draws: int, seed: int) -> tuple[Flags, list[Any]]:
    """Which draws go wrong (questions, draws), and per question in how many each place does."""
    hits, counts = [], []
    for margins in _bands(model, parcel, draws, seed):
        wrong = [each <= 0.0 for each in margins]
        hits.append(np.stack([each.any(axis=1) for each in wrong]))
        counts.append([each.sum(axis=0) for each in wrong])
    return np.concatenate(hits, axis=1), [sum(each) for each in zip(*counts, strict=True)]


def _sorted_to(model: _Model, shape: Shape, draws: int, seed: int) -> list[float]:
    """For each question the greatest spread, in steps of a thousandth, whose chance is under GOOD_CHANCE."""
    rank = math.ceil(GOOD_CHANCE * draws) - 1  # the chance is under it while the margin of this rank is over 0

    @cache
    def margins(steps: int) -> list[float]:
        worst = [
            np.stack([each.min(axis=1) for each in some])
            for some in _bands(model, Spread(steps / _STEPS_A_MM, shape), draws, seed)
        ]
        return [float(value) for value in np.partition(np.concatenate(worst, axis=1), rank, axis=1)[:, rank]]

    def margin_of(index: int) -> Callable[[int], float]:
        return lambda steps: margins(steps)[index]

    return [_last_good(margin_of(index)) / _STEPS_A_MM for index in range(len(margins(0)))]


def _last_good(margin: Callable[[int], float]) -> int:
    """The last step of a falling margin that is over 0. The same random numbers at every spread make it fall, nearly
    straight: false position, and the middle every third time."""
    low, high, turn = 0, round(MOST_SPREAD_MM * _STEPS_A_MM), 0
    if margin(high) > 0.0:
        return high
    if margin(low) <= 0.0:
        return low
    while high - low > 1:
        turn += 1
        share = 0.5 if turn % 3 == 0 else margin(low) / (margin(low) - margin(high))
        guess = min(max(low + int(share * (high - low)), low + 1), high - 1)
        low, high = (guess, high) if margin(guess) > 0.0 else (low, guess)
    return low
