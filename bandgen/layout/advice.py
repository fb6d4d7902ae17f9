"""Which change of one key would do: found by trying, on numbers alone."""

from __future__ import annotations

import math
from collections.abc import Callable

from bandgen.errors import SpecError
from bandgen.layout.numbers import Event
from bandgen.spec import Spec, spec_keys
from bandgen.units import KEEP_AWAY_MM

Events = Callable[[Spec], tuple[Event, ...]]
STEPS = 10


def advise(spec: Spec, event: Event, current: float, list_events: Events) -> str:
    """The nearest value of the event's key at which the event is far enough, as a sentence; ``spec`` as the user
    gave it, so that what was left out follows the change."""
    limits = spec_keys().get(event.key)
    if limits is None:
        return ""
    tried = (nearest(spec, event, current, end, list_events) for end in limits)
    good = sorted((value for value in tried if value is not None), key=lambda value: abs(value - current))
    allowed = f"allowed {limits[0]:g} to {limits[1]:g}"
    if not good:
        return f"no value of this key alone would do ({allowed})"
    return f"{'raise' if good[0] > current else 'lower'} it to {good[0]:g} ({allowed})"


def nearest(spec: Spec, event: Event, current: float, end: float, list_events: Events) -> float | None:
    """The value nearest to ``current`` on the way to ``end`` that keeps away from the event; None if none does."""

    def good(value: float) -> bool:
        return _distance(spec, event, value, list_events) >= KEEP_AWAY_MM

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


def _distance(spec: Spec, event: Event, value: float, list_events: Events) -> float:
    table, name = event.key.split(".")
    inner = getattr(spec, table).model_copy(update={name: value})
    try:
        events = list_events(spec.model_copy(update={table: inner}))
    except SpecError:
        return -math.inf
    return next((other.distance_mm for other in events if other.name == event.name), math.inf)
