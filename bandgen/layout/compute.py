"""From a filled spec to a layout, or a refusal that names every key in the way."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

from bandgen.defaults import fill, plug_top
from bandgen.errors import Problem, SpecError
from bandgen.layout.advice import advise
from bandgen.layout.bounds import volume_bounds
from bandgen.layout.events import list_events
from bandgen.layout.grip import axis_for_reach
from bandgen.layout.numbers import (
    Event,
    Layout,
    Move,
    Opening,
    PlugNumbers,
    ProngNumbers,
    Seam,
    Station,
)
from bandgen.layout.packing import closing_radius, girdle_gap, greatest_count
from bandgen.layout.seatwork import BELOW_BORE_MM, SeatNumbers, compute_seat, girdle_radius
from bandgen.spec import Spec
from bandgen.trade.stones import Proportions
from bandgen.units import KEEP_AWAY_MM


def compute_layout(spec: Spec) -> Layout:
    """The numbers of a band; values that the spec leaves out are filled in first.

    Raises:
        SpecError: when the values do not go together, with every key in the way and the change that would do.
    """
    try:
        numbers = _numbers(spec)
    except SpecError:
        raise SpecError(_problems(spec)) from None
    if any(_crossed(event) for event in numbers.events):
        _refuse(_problems(spec))
    return _even_ring(numbers)


def _problems(asked: Spec) -> list[Problem]:
    """Everything in the way. Where the count alone does not fit, all else is judged with the greatest that does."""
    crowded = _count_problems(fill(asked)[0])
    judged = _with_count(asked, None) if crowded else asked
    try:
        numbers = _numbers(judged)
    except SpecError as error:
        others = [problem for problem in error.problems if problem not in crowded]
        return [*crowded, *(_too_few(judged) or others)]
    others = _event_problems(judged, numbers)
    return [*crowded, *others, *(_too_few(judged) if others else [])]


def _with_count(asked: Spec, count: int | None) -> Spec:
    return asked.model_copy(update={"stones": asked.stones.model_copy(update={"count": count})})


@dataclass(frozen=True)
class _Numbers:
    """What one kind of stone and seam comes to, feasible or not."""

    spec: Spec
    moves: tuple[Move, ...]
    seat: SeatNumbers
    seam: Seam
    events: tuple[Event, ...]


def _numbers(asked: Spec) -> _Numbers:
    spec, moves = fill(asked)
    _refuse(_count_problems(spec))
    seat = compute_seat(spec, girdle_radius(spec))
    seam = _seam(spec, seat)
    return _Numbers(spec, moves, seat, seam, list_events(spec, seat, seam))


def _too_few(asked: Spec) -> list[Problem]:
    """Where the user's own count leaves the stones too far apart: the least greater count that makes a band."""
    if asked.stones.count is None:
        return []
    for count in range(asked.stones.count + 1, fill(_with_count(asked, None))[0].stones.count + 1):
        try:
            events = _numbers(_with_count(asked, count)).events
        except SpecError:
            continue
        if not any(_crossed(event) for event in events):
            return [Problem("stones.count", "leaves the stones too far apart", asked.stones.count, f"at least {count}")]
    return []


def _crossed(event: Event) -> bool:
    return event.kind == "limit" and not event.distance_mm >= KEEP_AWAY_MM - 1e-9


def _refuse(problems: list[Problem]) -> None:
    if problems:
        raise SpecError(problems)


def _count_problems(spec: Spec) -> list[Problem]:
    """The stones must fit, and the cups must have their place under the girdle and over the bore."""
    stones, girdle = spec.stones, girdle_radius(spec)
    most = greatest_count(girdle, stones.diameter_mm, stones.gap_mm)
    gap = girdle_gap(girdle, stones.diameter_mm, stones.count)
    problems = []
    if gap < stones.gap_mm - 1e-9:
        bore = 2.0 * (
            spec.finger.bore_mm / 2.0 + closing_radius(stones.diameter_mm, stones.count, stones.gap_mm) - girdle
        )
        rule = f"leaves {gap:.4f} mm between girdles, less than stones.gap_mm {stones.gap_mm:g}"
        advice = f"at most {most} fit; {stones.count} need a bore of {bore:.3f} mm"
        problems.append(Problem("stones.count", rule, stones.count, advice))
    if spec.seat.rim_diameter_mm / 2.0 > 0.8 * spec.finger.bore_mm / 2.0:
        problems.append(
            Problem(
                "seat.rim_diameter_mm",
                "is too wide for the bore",
                spec.seat.rim_diameter_mm,
                f"at most {0.8 * spec.finger.bore_mm:.3f} mm",
            )
        )
    return problems


def _event_problems(asked: Spec, numbers: _Numbers) -> list[Problem]:
    """Every limit that is crossed or too near, each with the nearest value of its key that would do."""
    problems = []
    for event in numbers.events:
        if _crossed(event):
            table, name = event.key.split(".")
            value = getattr(getattr(numbers.spec, table), name)
            rule = f"{event.text}: {event.distance_mm:.4f} mm, at least {KEEP_AWAY_MM} is kept"
            advice = advise(asked, event, value, lambda changed: _numbers(changed).events)
            problems.append(Problem(event.key, rule, value, advice))
    return problems


def _seam(spec: Spec, seat: SeatNumbers) -> Seam:
    """The seam between two equal stones."""
    half = math.pi / spec.stones.count
    gap = girdle_gap(seat.girdle_mm, spec.stones.diameter_mm, spec.stones.count)
    prong = _prong(spec, seat, half)
    return Seam(
        0, 180.0 / spec.stones.count, math.degrees(half), math.degrees(half), gap, prong, _plug(spec, seat, half)
    )


def _prong(spec: Spec, seat: SeatNumbers, half: float) -> ProngNumbers:
    prong, radius = spec.prong, spec.stones.diameter_mm / 2.0
    reach = (0.5 - prong.overlap) * prong.diameter_mm
    try:
        axis = axis_for_reach(reach, seat.girdle_mm, half, math.radians(spec.seat.draft_deg), radius)
    except ValueError as cause:
        advice = "raise prong.diameter_mm or lower prong.overlap, or set more stones"
        raise SpecError([Problem("prong.overlap", str(cause), prong.overlap, advice)]) from None
    tilt = math.acos(math.cos(axis.lean) * math.cos(half))
    if prong.tip == "dome":
        tip = (prong.height_above_girdle_mm - prong.diameter_mm / 2.0) / math.cos(tilt) + prong.diameter_mm / 2.0
    else:
        tip = (prong.height_above_girdle_mm - prong.diameter_mm / 2.0 * math.sin(tilt)) / math.cos(tilt)
    return ProngNumbers(axis, prong.diameter_mm, prong.tip, tip, seat.bore_radius_mm)


def _plug(spec: Spec, seat: SeatNumbers, half: float) -> PlugNumbers:
    inside = seat.rim_radius_mm - spec.plug.bite_mm
    width = seat.rim_mm * math.sin(half) - inside * math.cos(half)
    clearance = spec.plug.foot_clearance_mm
    flush = math.sqrt(max(seat.bore_radius_mm**2 - width**2, 0.0)) - BELOW_BORE_MM
    foot = seat.bore_radius_mm + clearance if clearance > 0.0 else flush
    return PlugNumbers(width, plug_top(spec, seat.girdle_mm), foot)


def _even_ring(numbers: _Numbers) -> Layout:
    """The same station and seam all round."""
    spec, seat, seam = numbers.spec, numbers.seat, numbers.seam
    count, stones = spec.stones.count, spec.stones
    proportions = Proportions(stones.pavilion_deg, stones.crown_deg, stones.table_pct, stones.girdle_pct)
    angles = [360.0 * index / count for index in range(count + 1)]
    stations = tuple(Station(index, angles[index], stones.diameter_mm, proportions, seat) for index in range(count))
    seams = tuple(
        replace(seam, index=index, angle_deg=(low + high) / 2.0) for index, (low, high) in enumerate(pairwise(angles))
    )
    openings = (Opening("through-opening", count),) if seat.through else ()
    bounds = volume_bounds(seat, seam, count)
    return Layout(spec, seat.bore_radius_mm, stations, seams, numbers.events, numbers.moves, openings, bounds)
