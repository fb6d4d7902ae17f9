"""What stands between two stones, equal or not, and beyond the last stone of an open row: prong pair and plug."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from bandgen.defaults import plug_top
from bandgen.layout.events import parting_height
from bandgen.layout.holding import Held, Seated
from bandgen.layout.numbers import PlugNumbers, Seam
from bandgen.layout.own_prongs import own_prongs
from bandgen.layout.seatwork import BELOW_BORE_MM, SeatNumbers
from bandgen.layout.shared_prongs import share_prongs
from bandgen.spec import Spec

__all__ = ["ARRANGEMENTS", "Joined", "Seated", "flipped", "join_end", "join_pair"]

ARRANGEMENTS: dict[str, Callable[[tuple[Seated, ...], tuple[float, ...]], Held]] = {
    "shared": share_prongs,
    "own": own_prongs,
}
"""What sets the prongs of a seam, by the word of ``arrangement.prongs``: from its one or two stones, the one before
first, and the angles in radians from their axes to the seam plane. A new one is one module and one line here."""

CUSP_MM = 0.05
"""So near a plug's hidden foot the cups must not part: from 0 to 0.03 mm above it the exact kernel lost parts."""


@dataclass(frozen=True)
class Joined:
    """A seam, its number and its stations' left open, and the specs of its one or two stones with all filled in."""

    seam: Seam
    specs: tuple[Spec, ...]


def join_pair(before: Seated, after: Seated, pitch: float, split: float, gap_mm: float) -> Joined:
    """The seam between two stones ``pitch`` (radians) apart; ``split`` is where the plane that stands equally far from
    both girdles lies, from the stone before."""
    half = pitch / 2.0 if before == after else split
    held = _hold((before, after), (half, pitch - half))
    plug = _plug(held.specs, (before.seat, after.seat), held.halves)
    degrees = [math.degrees(half) for half in held.halves]
    return Joined(Seam(0, 0.0, None, None, degrees[0], degrees[1], gap_mm, held.prongs, plug), held.specs)


def join_end(last: Seated, half: float, plain_deg: float) -> Joined:
    """What stands beyond the last stone of an open row: a prong pair that holds one stone. ``half`` is the angle in
    radians from its axis to the prongs, ``plain_deg`` the angle from the prongs to the middle of the shank."""
    held = _hold((last,), (half,))
    degrees = math.degrees(held.halves[0])
    plain_deg += math.degrees(half) - degrees
    return Joined(Seam(0, 0.0, None, None, degrees, plain_deg, None, held.prongs, None), held.specs)


def _hold(members: tuple[Seated, ...], halves: tuple[float, ...]) -> Held:
    return ARRANGEMENTS[members[0].spec.arrangement.prongs](members, halves)


def _plug(specs: tuple[Spec, ...], seats: tuple[SeatNumbers, ...], halves: tuple[float, ...]) -> PlugNumbers:
    bore, clearance = seats[0].bore_radius_mm, specs[0].plug.foot_clearance_mm
    trio = list(zip(specs, seats, halves, strict=True))
    before, after = (
        seat.rim_mm * math.sin(half) - (seat.rim_radius_mm - own.plug.bite_mm) * math.cos(half)
        for own, seat, half in trio
    )
    flush = math.sqrt(max(bore**2 - max(before, after) ** 2, 0.0)) - BELOW_BORE_MM
    top = min(plug_top(own, seat.girdle_mm, half) for own, seat, half in trio)
    parting = bore + parting_height(list(zip(seats, halves, strict=True)))
    return PlugNumbers(before, after, top, bore + clearance if clearance > 0.0 else _hidden_foot(flush, parting))


def _hidden_foot(flush_mm: float, parting_mm: float) -> float:
    """Where a flush plug ends under the bore, which cuts it off: not just under the line where the cups part, whose
    cusp would come out of its foot."""
    return flush_mm + BELOW_BORE_MM / 2.0 if abs(parting_mm - flush_mm) < CUSP_MM else flush_mm


def flipped(joined: Joined) -> Joined:
    """The seam seen from its other side."""
    return replace(joined, seam=joined.seam.flipped, specs=joined.specs[::-1])
