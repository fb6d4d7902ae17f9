"""Which cells of a band are alike, or mirror images of one another: each kind is built and looked at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bandgen.layout.numbers import Seam, Station

_Key = tuple[Any, ...]


@dataclass(frozen=True)
class Kind:
    """Which of the distinct cells a cell is (by the seam that stands for it), and whether as its mirror image."""

    seam: int
    flipped: bool


def cell_kinds(stations: Sequence[Station], seams: Sequence[Seam]) -> tuple[Kind, ...]:
    """The kind of every cell, in the order of the seams."""
    token = _Tokens()
    beside = [_station_key(station, token) for station in stations]
    known: dict[_Key, Kind] = {}
    kinds = []
    for seam in seams:
        before, after = (None if index is None else beside[index] for index in (seam.before, seam.after))
        key = (before, after, *_seam_key(seam, token))
        if key not in known:
            known[(after, before, *_seam_key(seam.flipped, token))] = Kind(seam.index, True)
            known[key] = Kind(seam.index, False)
        kinds.append(known[key])
    return tuple(kinds)


class _Tokens:
    """A number for each distinct value; one that is met again is hashed once, as many seams share their parts."""

    def __init__(self) -> None:
        self._by_value: dict[Any, int] = {}
        self._by_id: dict[int, tuple[Any, int]] = {}

    def __call__(self, value: Any) -> int:
        if id(value) not in self._by_id:  # the value is kept, so that its id stays its own
            self._by_id[id(value)] = value, self._by_value.setdefault(value, len(self._by_value))
        return self._by_id[id(value)][1]


def _station_key(station: Station, token: _Tokens) -> _Key:
    """What decides a station's parts and what is measured on them, without where it stands."""
    extras = tuple(map(token, station.extras))
    return (station.diameter_mm, station.material, station.culet_clearance_mm, token(station.seat), extras)


def _seam_key(seam: Seam, token: _Tokens) -> _Key:
    plug = None if seam.plug is None else token(seam.plug)
    parts = (*map(token, seam.prongs), plug, *map(token, seam.extras))
    return (seam.before_deg, seam.after_deg, seam.girdle_gap_mm, parts)
