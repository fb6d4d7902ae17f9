"""Unequal neighbours: the gap between two girdles, the pitch for a gap, the seam between them, the gap that closes.

Two girdle discs whose axes meet in the ring's axis are both convex and both symmetric about the plane z = 0: the mean
of a nearest pair and its mirror image is as near, so nearest points lie in that plane, where the discs are two
segments. There every question has a closed form. R is a girdle's height, r its radius, its facing end stands
``reach`` = hypot(R, r) from the ring's axis, ``half_angle`` = atan2(r, R) beside its own. Of the two, the one of the
lesser reach (``low``) may come to stand under the other's face: its end is then nearest to the inside of that face.

    end to end    g^2 = (reach1 - reach2)^2 + 4 reach1 reach2 sin^2(q / 2),  q = pitch - half_angle1 - half_angle2
    end to face   g = R2 - reach1 cos(pitch - half_angle1)   while   reach1 sin(pitch - half_angle1) <= r2

Millimetres and radians. All holds for radii less than any girdle's height. Derived here; proved in tests by sampled
circles, a minimiser and bracketing.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from bandgen.layout.roots import rising_root

PLANE_SHARE = 0.85
"""Of the gap, what a plane through the ring's axis must keep between two girdles: their distance in space alone would
let the lower of two unequal stones stand under the other's girdle. At 2.0 mm a tenth more or less keeps 0.87 and more,
so that the stones of a parcel all stand at equal gaps in space."""


@dataclass(frozen=True)
class Round:
    """A stone's girdle: the disc of ``radius_mm`` about the stone's axis at ``girdle_mm`` from the ring's axis
    (the lower edge of the girdle)."""

    girdle_mm: float
    radius_mm: float

    @cached_property
    def reach_mm(self) -> float:
        """Distance of the disc's facing end from the ring's axis."""
        return math.hypot(self.girdle_mm, self.radius_mm)

    @cached_property
    def half_angle(self) -> float:
        """Half the angle under which the disc is seen from the ring's axis, in radians."""
        return math.atan2(self.radius_mm, self.girdle_mm)


@dataclass(frozen=True)
class _Pair:
    """Two neighbours by reach, and the pitch and gap below which they count as crossing."""

    low: Round
    high: Round
    closest: float  # pitch in radians
    least_mm: float

    def gap(self, pitch: float) -> float:
        """See :func:`disc_gap`."""
        turn = min(pitch, math.tau - pitch)
        if turn < self.closest:
            return -2.0 * self.low.reach_mm * math.sin((self.closest - turn) / 2.0)
        return min(_end_to_segment(self.low, self.high, turn), _end_to_segment(self.high, self.low, turn))

    def pitch(self, gap: float) -> float:
        """The pitch at which ``gap`` is left; where it is 0 or more, yet less than they can leave, the closest."""
        if gap < 0.0:
            return self.closest - 2.0 * math.asin(min(-gap / (2.0 * self.low.reach_mm), 1.0))
        if gap <= self.least_mm:
            return self.closest
        under = _pitch_under(self.low, self.high, gap)
        if under is None:  # nearly half a turn apart, a disc's underside may face the other one's end
            under = _pitch_under(self.high, self.low, gap)
        return self._pitch_of_ends(gap) if under is None else under

    def stand(self, gap: float) -> float:
        """See :func:`pitch_between`."""
        share = gap * (PLANE_SHARE if gap > 0.0 else 1.0) / 2.0
        apart = sum(
            disc.half_angle + math.asin(min(max(share / disc.reach_mm, -1.0), 1.0)) for disc in (self.low, self.high)
        )
        return max(self.pitch(gap), apart)

    def _pitch_of_ends(self, gap: float) -> float:
        low, high = self.low, self.high
        step = high.reach_mm - low.reach_mm
        sine = math.sqrt(max((gap - step) * (gap + step), 0.0)) / (2.0 * math.sqrt(low.reach_mm * high.reach_mm))
        return low.half_angle + high.half_angle + 2.0 * math.asin(min(sine, 1.0))


def _pair(before: Round, after: Round) -> _Pair:
    low, high = sorted((before, after), key=lambda stone: (stone.reach_mm, stone.girdle_mm))
    # The low end's reach squared less the high girdle's height squared: negative where it passes under that disc.
    over = low.radius_mm**2 + (low.girdle_mm - high.girdle_mm) * (low.girdle_mm + high.girdle_mm)
    if over < 0.0:
        return _Pair(low, high, low.half_angle, high.girdle_mm - low.reach_mm)
    return _Pair(low, high, low.half_angle + math.atan2(math.sqrt(over), high.girdle_mm), 0.0)


def _end_to_segment(end: Round, face: Round, turn: float) -> float:
    """Distance of the one's facing end from the other's segment, in the frame of the latter."""
    sine, cosine = math.sin(turn), math.cos(turn)
    beside = end.girdle_mm * sine - end.radius_mm * cosine - face.radius_mm
    return math.hypot(max(beside, 0.0), face.girdle_mm - end.girdle_mm * cosine - end.radius_mm * sine)


def _pitch_under(end: Round, face: Round, gap: float) -> float | None:
    """The pitch at which the one's end stands ``gap`` under the other's face; None where that is past the face."""
    square = (gap + end.reach_mm - face.girdle_mm) / (2.0 * end.reach_mm)
    if not 0.0 <= square <= 1.0:
        return None
    turn = 2.0 * math.asin(math.sqrt(square))
    return end.half_angle + turn if end.reach_mm * math.sin(turn) <= face.radius_mm else None


def disc_gap(before: Round, after: Round, pitch: float) -> float:
    """Least distance in space between two girdle discs whose axes stand ``pitch`` radians apart.

    It rises with the pitch up to half a turn (beyond, the way round is shorter). Where the discs cross it is negative:
    minus the way their point of contact goes (as a chord about the ring's axis) while they are turned apart until
    they just touch; for equal rounds that is 2 R sin(pitch / 2) - 2 r cos(pitch / 2) on either side of 0. Discs of
    so different heights that they never touch count as crossing once the lower one's end has passed under the
    other's axis, so that the gap jumps there from the least they can leave to 0.
    """
    return _pair(before, after).gap(pitch)


def pitch_for_gap(before: Round, after: Round, gap_mm: float) -> float:
    """The pitch in radians (0 to pi) at which ``disc_gap`` is ``gap_mm``, in closed form.

    Raises:
        ValueError: when there is none: their girdles are never so near, or never so far apart.
    """
    pair = _pair(before, after)
    if 0.0 <= gap_mm < pair.least_mm:
        raise ValueError(f"one girdle passes under the other: never nearer than {pair.least_mm:.4g} mm")
    pitch = pair.pitch(gap_mm) if gap_mm <= before.girdle_mm + after.girdle_mm else math.inf
    if not 0.0 <= pitch < math.inf:
        raise ValueError(f"no pitch leaves a gap of {gap_mm:.4g} mm")
    return min(pitch, math.pi)


def pitch_between(before: Round, after: Round, gap_mm: float) -> float:
    """The pitch in radians at which two neighbours of a row stand: their girdles leave ``gap_mm`` in space, or more
    where a plane through the ring's axis would not keep PLANE_SHARE of it between them."""
    return _pair(before, after).stand(gap_mm)


def split(before: Round, after: Round, pitch: float) -> tuple[float, float]:
    """The half angles, from either axis, of the plane through the ring's axis that both discs stand equally far from.

    It holds the middle between the two facing ends. Exactly half the pitch each for equal rounds, exactly swapped for
    swapped rounds. Where the discs lap over (``seam_clearance`` negative) the plane cuts both equally deep.
    """
    sine, cosine = math.sin(pitch / 2.0), math.cos(pitch / 2.0)
    aside = (after.girdle_mm - before.girdle_mm) * sine - (after.radius_mm - before.radius_mm) * cosine
    along = (before.girdle_mm + after.girdle_mm) * cosine + (before.radius_mm + after.radius_mm) * sine
    lean = math.atan2(aside, along)
    return pitch / 2.0 + lean, pitch / 2.0 - lean


def seam_clearance(before: Round, after: Round, pitch: float) -> float:
    """Distance of either disc from the plane of :func:`split`, negative where it cuts them.

    Twice this is at most the gap, and less where the heights differ: discs of 0.2 mm gap may lap over, seen from the
    ring's axis, and then the one's end stands in the other's pavilion.
    """
    lean = split(before, after, pitch)[0]
    return before.girdle_mm * math.sin(lean) - before.radius_mm * math.cos(lean)


def closing_gap(rounds: Sequence[Round]) -> float:
    """The common gap at which these rounds, in order and the last beside the first, close the circle exactly, each
    pair standing as :func:`pitch_between` says.

    Negative where they do not fit. ``math.inf`` where they are too few to meet at any common gap.
    """
    after = [*rounds[1:], *rounds[:1]]
    pairs = [(pair, float(often)) for pair, often in Counter(map(_pair, rounds, after)).items()]

    def rest(gap: float) -> float:
        return math.fsum([often * pair.stand(gap) for pair, often in pairs]) - math.tau

    widest = min((pair.low.girdle_mm + pair.high.girdle_mm for pair, _ in pairs), default=0.0)
    left = rest(widest)
    if left <= 1e-12:  # two stones close at half a turn each
        return math.inf if left < -1e-12 else widest
    middle = rest(0.0)
    deepest = -2.0 * max(pair.low.reach_mm for pair, _ in pairs)
    bracket = (deepest, rest(deepest), 0.0, middle) if middle > 0.0 else (0.0, middle, widest, left)
    return rising_root(rest, *bracket)


def row_span(rounds: Sequence[Round], gap_mm: float) -> float:
    """Radians about the ring's axis from the outer end of the first girdle to that of the last, in an open row whose
    neighbours all leave ``gap_mm`` (see :func:`pitch_between`).

    Raises:
        ValueError: when the row is empty.
    """
    if not rounds:
        raise ValueError("a row needs a stone")
    pitches = [pitch_between(one, next_one, gap_mm) for one, next_one in pairwise(rounds)]
    return math.fsum([rounds[0].half_angle, *pitches, rounds[-1].half_angle])
