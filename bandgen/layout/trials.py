"""What-if layouts, for advice: of a spec with one value changed, how near an event then stands.

What the value cannot have changed is not computed again: an event of the row is looked at in its own seam alone, and
where a key of what is added was changed, the row stays as it is. A refusal may take only so much of this work.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from bandgen.errors import SpecError
from bandgen.layout.arrange import Row
from bandgen.layout.events import nearness
from bandgen.layout.numbers import Event, Layout
from bandgen.layout.row import lay_out, seam_events
from bandgen.spec import Spec

LayRow = Callable[[Spec], Row]
"""The row of a spec; raises SpecError where it has no place."""
Build = Callable[[Layout], tuple[Layout, bool]]
"""A row's layout with all that is asked added to it, and whether that could be: nothing is added to what cannot be
made."""
MOST_WORK = 500
"""Seams of different kinds that a refusal may join: about a second."""
ONE_SEARCH = 36
"""Trials of a single search, about."""
ADDED = ("hoop", "bore", "shank", "casting", "sprue", "tag")
ADDED_KEYS = ("arrangement.scallop_mm", "arrangement.row_gap_mm")
UNPLACED = ("seat", "prong", "plug")
"""Tables that do not say where the stones stand."""


class ExhaustedError(Exception):
    """A refusal has taken all the work that it may."""


class Trials:
    """The trials of one refusal, of the spec as the user gave it, so that what was left out follows the change. All
    raise :class:`ExhaustedError`."""

    def __init__(self, asked: Spec, lay_row: LayRow, build: Build, problems: int) -> None:
        self._asked, self._lay_row, self._build = asked, lay_row, build
        self._row = lay_row(asked)
        self._bare = lay_out(asked, self._row)
        self._of_row = {event.name for event in self._bare.events}
        self._kinds = len({(seam.before_deg, seam.prongs, seam.plug) for seam in self._bare.seams})
        self._share = max(MOST_WORK // problems, ONE_SEARCH + self._kinds)
        self._left = 0

    def begin(self) -> None:
        """The next of the problems."""
        self._left = self._share

    def near(self, event: Event, value: float) -> float:
        """How far the layout stands from the event with this value of the event's key, judged by the least that shows
        it: for a row of unequal stones in one seam. Negative infinity where there is no layout."""
        if self.all_told(event):
            return nearness(self.whole(event, value))
        self._work(1)
        try:
            row = row_with(self._asked, self._row, self._lay_row, event.key, value)
            if event.seam < len(row.specs) + (0 if row.closed else 1):
                return nearness(_found(event, seam_events(row, event.seam), True))
        except SpecError:
            return -math.inf
        raise ExhaustedError

    def whole(self, event: Event, value: float) -> Event:
        """The event as it stands in the whole band with this value."""
        asked = changed(self._asked, event.key, value)
        added = event.key.partition(".")[0] in ADDED or event.key in ADDED_KEYS
        self._work(1 if added else self._kinds)
        try:
            bare = with_additions(self._bare, asked) if added else lay_out(asked, self._lay_row(asked))
            layout, complete = self._build(bare)
        except SpecError:
            return replace(event, kind="limit", distance_mm=-math.inf)
        return _found(event, layout.events, complete)

    def _work(self, seams: int) -> None:
        self._left -= seams
        if self._left < 0:
            raise ExhaustedError

    def all_told(self, event: Event) -> bool:
        """Whether an event is only ever judged by whole layouts."""
        return self._kinds == 1 or event.name not in self._of_row


def row_with(asked: Spec, row: Row, lay_row: Callable[[Spec], Row], key: str, value: float) -> Row:
    """The row with a value changed; where that moves no stone, in the same places."""
    if key.partition(".")[0] not in UNPLACED or key == "seat.floor_mm":  # a deeper floor lifts the stone
        return lay_row(changed(asked, key, value))
    known = {id(own): changed(own, key, value) for own in row.specs}
    return replace(row, specs=tuple(known[id(own)] for own in row.specs))


def with_additions(bare: Layout, asked: Spec) -> Layout:
    """A row's layout under a spec that only asks for other additions."""
    tables = {table: getattr(asked, table) for table in (*ADDED, "arrangement")}
    specs = tuple(tuple(own.model_copy(update=tables) for own in each) for each in bare.specs)
    return replace(bare, spec=bare.spec.model_copy(update=tables), specs=specs)


def changed(spec: Spec, key: str, value: float) -> Spec:
    """The spec with another value of "table.key"."""
    table, name = key.split(".")
    return spec.model_copy(update={table: getattr(spec, table).model_copy(update={name: value})})


def _found(event: Event, others: tuple[Event, ...], complete: bool) -> Event:
    missing = replace(event, kind="limit", distance_mm=math.inf if complete else -math.inf)
    return next((other for other in others if other.name == event.name), missing)
