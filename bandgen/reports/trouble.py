"""How far a band stands from trouble: its degenerate events, the nearest first, and which value of which key would
cross each. Found by trying, on numbers alone: the layout of a spec with one value changed, so that what was left out
follows.

A limit is crossed where the layout refuses, ``units.KEEP_AWAY_MM`` before the geometry changes kind; a flip, sound on
both sides, where it changes. In a row of one kind of stones, or of many, an event of the row is looked at in its own
seam alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

from bandgen.errors import Problem, SpecError
from bandgen.layout.additions import ADDITIONS
from bandgen.layout.arrange import Row, arrange
from bandgen.layout.events import nearness
from bandgen.layout.numbers import Event, Layout
from bandgen.layout.row import lay_out, seam_events
from bandgen.layout.trials import ADDED, ADDED_KEYS, changed, row_with, with_additions
from bandgen.reports.trouble_words import words
from bandgen.spec import Spec, spec_keys
from bandgen.units import KEEP_AWAY_MM

FEW_KINDS = 3
"""From two kinds of seams up to so many the whole row is laid out again for each trial; one seam shows a row of one."""
STEPS = (1 / 64, 1 / 16, 1 / 4, 1)
"""Shares of the way to an end of a key's range that are tried in turn."""
CLOSE = 1e-6
"""A crossing is known to this, of the key's range, or to the value that leaves so many mm."""
BLIND = 8
"""Halvings, at most, to find a layout beside one that cannot be."""
BESIDE = 1e-5
"""So far before a crossing, of the key's range, it is seen whether anything else is in the way."""

Distance = Callable[[float], float]
"""How far an event is from being crossed, with a value of its key; -inf where there is no layout."""
Way = Literal["up", "down", ""]
Trial = tuple[float, float]
"""A value, and its distance."""


@dataclass(frozen=True)
class Margin:
    """An event and what would cross it: ``key`` from ``value`` to ``crossing``, None where no value of this key does
    (within its range ``allowed``); ``way`` is the side on which that lies. ``sooner`` names what is crossed before that
    on the way."""

    name: str
    kind: str
    distance_mm: float
    words: str
    seam: int
    key: str
    value: float | None
    allowed: tuple[float, float] | None
    crossing: float | None
    way: Way
    sooner: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


def margins(asked: Spec, layout: Layout) -> tuple[Margin, ...]:
    """Every event of a layout, the nearest first. ``asked`` is the spec as the user gave it."""
    trials = _Trials(asked, layout)
    return tuple(_margin(event, layout, trials) for event in sorted(layout.events, key=nearness))


def _margin(event: Event, layout: Layout, trials: _Trials) -> Margin:
    table, name = event.key.split(".")
    value, allowed = getattr(getattr(layout.specs[event.seam][0], table), name), spec_keys()[event.key]
    crossing: float | None = None
    way: Way = ""
    sooner: tuple[str, ...] = ()
    if value is not None and allowed is not None:
        crossing, way = _crossing(lambda tried: trials.distance(event, tried), value, allowed)
    if crossing is not None and allowed is not None:
        before = crossing - (1.0 if way == "up" else -1.0) * BESIDE * (allowed[1] - allowed[0])
        if abs(before - value) < abs(crossing - value):
            sooner = tuple(name for name in trials.crossed(event.key, before) if name != event.name)
    told = words(event.name, event.kind, event.distance_mm)
    return Margin(
        event.name, event.kind, event.distance_mm, told, event.seam, event.key, value, allowed, crossing, way, sooner
    )


def _crossing(distance: Distance, value: float, allowed: tuple[float, float]) -> tuple[float | None, Way]:
    """The nearest on either side, and on which."""
    close, found = CLOSE * (allowed[1] - allowed[0]), None
    way: Way = ""
    for end in sorted(allowed, key=lambda end: abs(end - value)):
        at = _towards(distance, value, end, close, math.inf if found is None else abs(found - value))
        if at is not None:
            found, way = at, "up" if end > value else "down"
    return found, way


def _towards(distance: Distance, value: float, end: float, close: float, most: float) -> float | None:
    """The first crossing on the way to ``end``; None where there is none nearer than ``most``, or where there is no
    layout before it."""
    good = (value, max(distance(value), 0.0))
    for share in STEPS if end != value else ():
        tried = value + (end - value) * share
        here = (tried, distance(tried))
        if here[1] < 0.0:
            found = _bracketed(distance, good, here, close)
            return found if found is not None and abs(found - value) < most else None
        if abs(tried - value) > most:
            return None
        good = here
    return None


def _bracketed(distance: Distance, good: Trial, bad: Trial, close: float) -> float | None:
    """Between a value that keeps away and one that does not: by halves until both have a layout, then by false position
    (Illinois), and by halves again where it jumps. The side that is crossed, or None where there is no layout."""
    for _ in range(BLIND):
        if math.isfinite(bad[1]) and math.isfinite(good[1]):
            break
        good, bad = _narrowed(distance, good, bad, 0.5)
    if not (math.isfinite(bad[1]) and math.isfinite(good[1])):
        return None
    under, over, turn = good[1], -bad[1], 0
    while abs(bad[0] - good[0]) > close and min(good[1], -bad[1]) > CLOSE:
        turn += 1
        share = 0.5 if turn % 4 == 0 or under + over == 0.0 else under / (under + over)
        ahead, behind = _narrowed(distance, good, bad, min(max(share, 1e-3), 1.0 - 1e-3))
        under, over = (ahead[1], over / 2.0) if ahead != good else (under / 2.0, -behind[1])
        good, bad = ahead, behind
    return bad[0] if -bad[1] <= good[1] or good[1] > CLOSE else good[0]


def _narrowed(distance: Distance, good: Trial, bad: Trial, share: float) -> tuple[Trial, Trial]:
    middle = good[0] + (bad[0] - good[0]) * share
    here = (middle, distance(middle))
    return (good, here) if here[1] < 0.0 else (here, bad)


class _Trials:
    """Layouts of a spec with one value changed, each made once."""

    def __init__(self, asked: Spec, layout: Layout) -> None:
        self._asked, self._row = asked, _lay_row(asked)
        self._bare = lay_out(asked, self._row)
        self._of_row = {event.name for event in self._bare.events}
        kinds = len({kind.seam for kind in layout.kinds})
        self._many, self._own_seam = kinds > FEW_KINDS, not 1 < kinds <= FEW_KINDS
        self._known: dict[tuple[str, float, int | None], Mapping[str, Event] | None] = {}

    def distance(self, event: Event, value: float) -> float:
        """How far the event is from being crossed with this value of its key."""
        events = self._events(event.key, value, event.seam if self._own_seam and event.name in self._of_row else None)
        if events is None:
            return -math.inf
        found = events.get(event.name)
        if found is None:
            return math.inf if events.keys() >= self._of_row or self._many else -math.inf
        if event.kind == "flip":
            return found.distance_mm * math.copysign(1.0, event.distance_mm)
        return found.distance_mm - KEEP_AWAY_MM + 1e-9

    def crossed(self, key: str, value: float) -> tuple[str, ...]:
        """What is in the way of a layout with this value."""
        events = self._events(key, value, None)
        if events is None:
            return ("no room for the stones",)
        return tuple(name for name, each in events.items() if nearness(each) < KEEP_AWAY_MM - 1e-9)

    def _events(self, key: str, value: float, seam: int | None) -> Mapping[str, Event] | None:
        """By name; None where there is no layout."""
        place = (key, value, seam)
        if place not in self._known:
            try:
                found = self._whole(key, value) if seam is None else self._in_seam(key, value, seam)
                self._known[place] = {event.name: event for event in found}
            except SpecError:
                self._known[place] = None
        return self._known[place]

    def _row_with(self, key: str, value: float) -> Row:
        return row_with(self._asked, self._row, _lay_row, key, value)

    def _in_seam(self, key: str, value: float, seam: int) -> tuple[Event, ...]:
        row = self._row_with(key, value)
        return seam_events(row, min(seam, len(row.specs) - (1 if row.closed else 0)))

    def _whole(self, key: str, value: float) -> tuple[Event, ...]:
        """Nothing is added to what cannot be made."""
        asked = changed(self._asked, key, value)
        added = key.partition(".")[0] in ADDED or key in ADDED_KEYS
        layout = with_additions(self._bare, asked) if added else lay_out(asked, self._row_with(key, value))
        for add in ADDITIONS:
            if any(nearness(event) < KEEP_AWAY_MM - 1e-9 for event in layout.events):
                break
            layout = add(layout)
        return layout.events


def _lay_row(asked: Spec) -> Row:
    """The row.

    Raises:
        SpecError: where the stones have no place.
    """
    row, most = arrange(asked), asked.arrangement.arc_deg
    crowded = row.gap_mm < row.specs[0].stones.gap_mm - 1e-9 if row.closed else most is not None
    if crowded and (row.closed or row.span_deg > (most or 360.0) + 1e-9):
        raise SpecError([Problem("stones.count", "does not fit", len(row.specs))])
    return row
