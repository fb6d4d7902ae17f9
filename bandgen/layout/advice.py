"""Which change of one key would do: found by trying, on numbers alone."""

from __future__ import annotations

import math
from collections.abc import Callable

from bandgen.layout.events import nearness
from bandgen.layout.numbers import Event
from bandgen.layout.trials import ExhaustedError, Trials
from bandgen.spec import spec_keys
from bandgen.units import KEEP_AWAY_MM

Good = Callable[[float], bool]
"""Whether a layout keeps away from an event with a value of the event's key."""
STEPS = 8
ROUNDS = 5


def advise(event: Event, current: float | None, trials: Trials) -> str:
    """The nearest value of the event's key at which the event is far enough, as a sentence."""
    limits = spec_keys().get(event.key)
    if limits is None or current is None:
        return ""
    allowed = f"allowed {limits[0]:g} to {limits[1]:g}"
    trials.begin()
    try:
        best = _best(event, current, limits, trials)
    except ExhaustedError:
        return allowed
    if best is None:
        return f"no value of this key alone would do ({allowed})"
    return f"{'raise' if best > current else 'lower'} it to {best:g} ({allowed})"


def _best(event: Event, current: float, limits: tuple[float, float], trials: Trials) -> float | None:
    """The nearest on either side. What is found in one seam must do in the whole band; else the seam that stands
    nearest then is looked at as well."""
    seen = [event]
    for _ in range(ROUNDS):
        best = _nearer(current, limits, lambda value: all(trials.near(each, value) >= KEEP_AWAY_MM for each in seen))
        if best is None or trials.all_told(event):
            return best
        worst = trials.whole(event, best)
        if nearness(worst) >= KEEP_AWAY_MM:
            return best
        seen.insert(0, worst)
    raise ExhaustedError


def _nearer(current: float, limits: tuple[float, float], good: Good) -> float | None:
    tried = (nearest(good, current, end) for end in limits)
    return min((value for value in tried if value is not None), key=lambda value: abs(value - current), default=None)


def nearest(good: Good, current: float, end: float) -> float | None:
    """The value nearest to ``current`` on the way to ``end`` that keeps away from the event; None if none does."""
    bad, found = current, None
    for step in range(STEPS, -1, -1):
        value = current + (end - current) / 2.0**step
        if good(value):
            found = value
            break
        bad = value
    if found is None:
        return None
    for _ in range(STEPS):
        middle = (bad + found) / 2.0
        bad, found = (bad, middle) if good(middle) else (middle, found)
    return _rounded(found, end)


def _rounded(value: float, end: float) -> float:
    """Three decimals, away from the fault."""
    scaled = value * 1000.0
    return (math.ceil(scaled) if end > value else math.floor(scaled)) / 1000.0
