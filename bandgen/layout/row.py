"""From a row of stones to a layout, feasible or not: seats, seams, ends, events. Equal stones are computed once."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, Literal

from bandgen.defaults import fill_seat
from bandgen.layout.arrange import Row, round_of
from bandgen.layout.bounds import volume_bounds
from bandgen.layout.events import list_events, nearest_of_each, parting_height
from bandgen.layout.numbers import BoreNumbers, Event, Layout, Move, Opening, Seam, Side, Station
from bandgen.layout.pairs import disc_gap, split
from bandgen.layout.seams import Joined, Seated, flipped, join_end, join_pair
from bandgen.layout.seatwork import compute_seat, girdle_radius
from bandgen.spec import Spec
from bandgen.trade.stones import Proportions
from bandgen.units import KEEP_AWAY_MM

SETTLING_ROUNDS = 20
HALF_DECIMALS = 4
"""Of the angle (radians) that a seat is filled in for: equal stones whose neighbours hardly differ get one seat."""
SIGNS: tuple[Literal[1, -1], ...] = (1, -1)


def lay_out(asked: Spec, row: Row) -> Layout:
    """The layout of a row, its events not yet judged.

    Raises:
        SpecError: when one prong cannot hold two neighbours.
    """
    splits = _splits(row)
    seated, moves = _seat_all(row, splits)
    joined = _join_alike(row, splits, seated)
    stations = tuple(_station(index, row.angles_deg[index], own) for index, own in enumerate(seated))
    seams = _placed(row, [each.seam for each in joined])
    spec = _common(asked, [own for each in joined for own in each.specs], len(stations))
    bore = BoreNumbers(spec.finger.bore_mm / 2.0)
    through = sum(station.seat.through for station in stations)
    openings = (Opening("through-opening", through),) if through else ()
    bare = Layout(
        spec,
        tuple(each.specs for each in joined),
        row.specs[0].stones.gap_mm,
        bore,
        stations,
        seams,
        (),
        moves,
        openings,
        (0.0, 0.0),
        row.numbers,
    )
    often = Counter(id(each) for each in joined)
    kinds = {id(each): bare.sides(seam) for each, seam in zip(joined[::-1], seams[::-1], strict=True)}
    return replace(
        bare,
        events=_events(bare, kinds.values()),
        volume_bounds_mm3=_bounds([(often[key], sides) for key, sides in kinds.items()]),
    )


def seam_events(row: Row, index: int) -> tuple[Event, ...]:
    """The events of a single seam, as if it were alone: others may settle its seats' drafts and its prongs' share.

    Raises:
        SpecError: when one prong cannot hold two neighbours.
    """
    splits, count = _splits(row), len(row.specs)
    places = [index, (index + 1) % count] if index < len(row.pitches) else [index if index < count else 0]
    halves = _mean_halves(row, splits)
    seated = [_seat(row.specs[place], halves[place])[0] for place in places]
    if len(seated) == 1:
        joined = join_end(seated[0], row.half_end(places[0]), 90.0)
    else:
        joined = join_pair(seated[0], seated[1], row.pitches[index], splits[index][0], row.gap_mm)
    seam = replace(joined.seam, before=0, after=1 if len(seated) > 1 else None)
    stations = [_station(place, 0.0, own) for place, own in zip(places, seated, strict=True)]
    sides = [Side(station, seam, sign) for station, sign in zip(stations, SIGNS, strict=False)]
    return list_events(sides, joined.specs[0].plug.foot_clearance_mm)


def _splits(row: Row) -> tuple[tuple[float, float], ...]:
    """For each pitch the two half angles (radians) of the plane midway between the two girdles."""
    rounds = [round_of(own) for own in row.specs]
    following = [*rounds[1:], rounds[0]]
    return tuple(split(a, b, pitch) for a, b, pitch in zip(rounds, following, row.pitches, strict=False))


def _seat_all(row: Row, splits: tuple[tuple[float, float], ...]) -> tuple[list[Seated], tuple[Move, ...]]:
    """Every stone with its seat, filled in for the mean of the angles to its two seams."""
    known: dict[tuple[int, float], tuple[Seated, tuple[Move, ...]]] = {}
    seated: list[Seated] = []
    moves: list[Move] = []
    for own, half in zip(row.specs, _mean_halves(row, splits), strict=True):
        key = (id(own), half)
        if key not in known:
            known[key] = _seat(own, half)
            moves += known[key][1]
        seated.append(known[key][0])
    return _settled(row, seated, moves)


def _mean_halves(row: Row, splits: tuple[tuple[float, float], ...]) -> list[float]:
    """For each stone the mean of the angles to its two seams (radians); where these differ, to HALF_DECIMALS."""
    both = [(_half_before(row, splits, index), _half_after(row, splits, index)) for index in range(len(row.specs))]
    if len({half for pair in both for half in pair}) == 1:
        return [half for half, _ in both]
    return [round(sum(pair) / 2.0, HALF_DECIMALS) for pair in both]


def _seat(own: Spec, half: float) -> tuple[Seated, tuple[Move, ...]]:
    filled, moved = fill_seat(own, half)
    return Seated(filled, compute_seat(filled, girdle_radius(filled))), moved


def _half_before(row: Row, splits: tuple[tuple[float, float], ...], index: int) -> float:
    return splits[index - 1][1] if row.closed or index > 0 else row.half_end(index)


def _half_after(row: Row, splits: tuple[tuple[float, float], ...], index: int) -> float:
    return splits[index][0] if row.closed or index < len(splits) else row.half_end(index)


def _settled(row: Row, seated: list[Seated], moves: list[Move]) -> tuple[list[Seated], tuple[Move, ...]]:
    """Drafts moved where the feet of two neighbours would just touch; stones that are alike stay so."""
    asked = seated
    for _ in range(SETTLING_ROUNDS):
        touching = _touching(row, seated)
        if touching is None:
            break
        index, parting = touching
        nudged = {id(seated[member]): _nudged(seated[member], parting) for member in (index, (index + 1) % len(seated))}
        seated = [nudged.get(id(own), own) for own in seated]
    moved = {
        Move("seat.draft_deg", here.seat.draft_deg, there.seat.draft_deg, "feet of neighbours would just touch")
        for here, there in zip(asked, seated, strict=True)
        if here is not there
    }
    return seated, (*moves, *sorted(moved, key=lambda move: (move.given, move.used)))


def _touching(row: Row, seated: list[Seated]) -> tuple[int, float] | None:
    """The first pair of neighbours whose feet part within the keep-away of the finger."""
    seen: set[tuple[int, int, float]] = set()
    for index, pitch in enumerate(row.pitches):
        before, after = seated[index], seated[(index + 1) % len(seated)]
        key = (id(before), id(after), pitch)
        if key not in seen:
            parting = parting_height([(before.seat, pitch / 2.0), (after.seat, pitch / 2.0)])
            if abs(parting) < KEEP_AWAY_MM - 1e-9:
                return index, parting
            seen.add(key)
    return None


def _nudged(seated: Seated, parting_mm: float) -> Seated:
    """The taper a tenth of a degree less where the feet meet, more where they do not."""
    draft = seated.seat.draft_deg + (-0.1 if parting_mm >= 0.0 and seated.seat.draft_deg > 0.2 else 0.1)
    spec = seated.spec.model_copy(update={"seat": seated.spec.seat.model_copy(update={"draft_deg": draft})})
    return Seated(spec, compute_seat(spec, girdle_radius(spec)))


def _join_alike(row: Row, splits: tuple[tuple[float, float], ...], seated: list[Seated]) -> list[Joined]:
    """Every seam, all prongs entered by one share: the least that any seam takes where the spec leaves it out."""
    joined = _join_all(row, splits, seated)
    shares = {own.prong.overlap for each in joined for own in each.specs}
    if len(shares) == 1:
        return joined
    known = {id(own): Seated(_with_share(own.spec, min(shares)), own.seat) for own in seated}
    return _join_all(row, splits, [known[id(own)] for own in seated])


def _with_share(spec: Spec, overlap: float) -> Spec:
    return spec.model_copy(update={"prong": spec.prong.model_copy(update={"overlap": overlap})})


def _join_all(row: Row, splits: tuple[tuple[float, float], ...], seated: list[Seated]) -> list[Joined]:
    """Every seam, in the layout's order; one that mirrors another is its mirror image to the last bit."""
    known: dict[tuple[int, int, float], Joined] = {}
    joined = []
    ring = [*seated, seated[0]] if row.closed else seated
    for (before, after), pitch, (half, _) in zip(pairwise(ring), row.pitches, splits, strict=True):
        key, mirror = (id(before), id(after), pitch), (id(after), id(before), pitch)
        if key not in known and mirror not in known:
            gap = row.gap_mm if before is after else disc_gap(round_of(before.spec), round_of(after.spec), pitch)
            known[key] = join_pair(before, after, pitch, half, gap)
        elif key not in known:
            known[key] = flipped(known[mirror])
        joined.append(known[key])
    if not row.closed:
        joined += _join_ends(row, seated)
    return joined


def _join_ends(row: Row, seated: list[Seated]) -> list[Joined]:
    """The end after the last stone and the one before the first."""
    last, first = (
        join_end(seated[index], half, 180.0 - math.degrees(half) - abs(row.angles_deg[index]))
        for index, half in ((-1, row.half_end(-1)), (0, row.half_end(0)))
    )
    return [last, flipped(first)]


def _placed(row: Row, seams: list[Seam]) -> tuple[Seam, ...]:
    """Seams with their numbers, stations and angles."""
    count = len(row.specs)
    placed = []
    for index, seam in enumerate(seams):
        if row.closed or index < count - 1:
            before, after = index, (index + 1) % count
            angle = _seam_angle(row, index, seam)
        elif index == count - 1:
            before, after, angle = count - 1, None, row.angles_deg[-1] + seam.before_deg
        else:
            before, after, angle = None, 0, row.angles_deg[0] - seam.after_deg
        placed.append(replace(seam, index=index, before=before, after=after, angle_deg=angle))
    return tuple(placed)


def _seam_angle(row: Row, index: int, seam: Seam) -> float:
    """Midway between two equal stones to the last bit."""
    here = row.angles_deg[index]
    if seam.before_deg == seam.after_deg:
        there = row.angles_deg[index + 1] if index + 1 < len(row.angles_deg) else 360.0 + row.angles_deg[0]
        return (here + there) / 2.0
    return here + seam.before_deg


def _station(index: int, angle_deg: float, own: Seated) -> Station:
    stones = own.spec.stones
    proportions = Proportions(stones.pavilion_deg, stones.crown_deg, stones.table_pct, stones.girdle_pct)
    return Station(
        index, angle_deg, stones.diameter_mm, stones.material, proportions, stones.culet_clearance_mm, own.seat
    )


def _common(asked: Spec, specs: list[Spec], count: int) -> Spec:
    """The spec as asked, with every value filled in on which all stones and seams agree."""
    tables: dict[str, Any] = {}
    for table in ("stones", "seat", "prong", "plug"):
        inner = getattr(asked, table)
        values = {key: {getattr(getattr(own, table), key) for own in specs} for key in type(inner).model_fields}
        agreed = {key: found.pop() for key, found in values.items() if len(found) == 1}
        tables[table] = inner.model_copy(update={**agreed, **({"count": count} if table == "stones" else {})})
    return asked.model_copy(update=tables)


def _events(layout: Layout, kinds: Iterable[Sequence[Side]]) -> tuple[Event, ...]:
    """Of each kind of event the nearest, with its seam."""
    clearance = layout.spec.plug.foot_clearance_mm
    found: list[Event] = []
    for sides in kinds:
        found += [replace(event, seam=sides[0].seam.index) for event in list_events(sides, clearance)]
    return tuple(nearest_of_each(found))


def _bounds(kinds: Iterable[tuple[int, Sequence[Side]]]) -> tuple[float, float]:
    pairs = [(often, volume_bounds(sides)) for often, sides in kinds]
    return sum(often * low for often, (low, _) in pairs), sum(often * high for often, (_, high) in pairs)
