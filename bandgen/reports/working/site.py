"""Where a derived number is read: one stone of a layout, as one of its seams sees it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bandgen.inspection.findings import Finding
from bandgen.inspection.setting import Rule
from bandgen.layout.arrange import arrange, round_of
from bandgen.layout.events import Foot
from bandgen.layout.numbers import Layout, ProngNumbers, Side, Station
from bandgen.layout.pairs import split
from bandgen.layout.row import HALF_DECIMALS
from bandgen.layout.seatwork import SeatNumbers, compute_seat, girdle_radius
from bandgen.spec import Spec


@dataclass(frozen=True)
class Site:
    """A stone and one of its seams. ``asked`` is the spec as the user gave it, ``volume_mm3`` the metal as measured on
    a mesh, where there is one."""

    layout: Layout
    asked: Spec
    side: Side
    volume_mm3: float | None = None

    @property
    def station(self) -> Station:
        """The stone."""
        return self.side.station

    @property
    def own(self) -> Spec:
        """The stone's own spec, everything filled in."""
        return self.layout.specs[self.side.seam.index][0 if self.side.sign > 0 else -1]

    @property
    def seat(self) -> SeatNumbers:
        """The seat as built; a hoop may have closed it."""
        return self.station.seat

    @property
    def bare_seat(self) -> SeatNumbers:
        """The seat as it is filled in, before a hoop closes it."""
        return compute_seat(self.own, girdle_radius(self.own))

    @property
    def prong(self) -> ProngNumbers:
        """The prong that holds the stone at this seam."""
        return self.side.prong

    @property
    def beyond(self) -> Station:
        """The stone on the seam's other side; the stone itself at the end of an open row."""
        others = [side.station for side in self.layout.sides(self.side.seam) if side.sign != self.side.sign]
        return others[0] if others else self.station

    @property
    def feet(self) -> list[Foot]:
        """The two cups of the seam, or the one twice at an end."""
        found = [(side.station.seat, side.half) for side in self.layout.sides(self.side.seam)]
        return found if len(found) == 2 else 2 * found

    def extra(self, kind: type) -> Any:
        """The numbers of what was added to the seam or the stone, as ``layout`` has them; None where there are none."""
        extras = (*self.side.seam.extras, *self.station.extras)
        return next((each for each in extras if isinstance(each, kind)), None)

    def split_half(self, side: Side) -> float:
        """Radians from a stone's axis to the plane midway between it and its neighbour, before prongs move it."""
        row = arrange(self.asked)
        seam, index = side.seam, side.station.index
        if seam.before is None or seam.after is None:
            return row.half_end(index)
        before, after = (round_of(row.specs[place]) for place in (seam.before, seam.after))
        return split(before, after, row.pitches[seam.before])[0 if side.sign > 0 else 1]

    @property
    def mean_half(self) -> float:
        """Radians that the seat is filled in for: the mean to its two seams, rounded where stones are unequal."""
        halves = [self.split_half(side) for side in self.layout.beside(self.station)]
        return halves[0] if self.even else round(sum(halves) / 2.0, HALF_DECIMALS)

    @property
    def even(self) -> bool:
        """Whether all stones are alike."""
        return len({(each.diameter_mm, each.material, each.seat) for each in self.layout.stations}) == 1

    @property
    def closed(self) -> bool:
        """Whether stones go all round."""
        return len(self.layout.seams) == len(self.layout.stations)


def site_of(layout: Layout, asked: Spec, station: int = 0, volume_mm3: float | None = None) -> Site:
    """A stone, with the seam that follows it."""
    return Site(layout, asked, layout.beside(layout.stations[station])[1], volume_mm3)


def site_of_finding(layout: Layout, asked: Spec, finding: Finding, rules: tuple[Rule, ...]) -> Site | None:
    """Where a rule of the trade measured what it found; None where no rule did."""
    for seam in layout.seams:
        for side in layout.sides(seam) if _there(finding, seam.index, layout) else ():
            if any(_same(rule(layout, side), finding) for rule in rules):
                return Site(layout, asked, side)
    return None


def _same(found: Finding | None, finding: Finding) -> bool:
    """Whatever limit a house puts in the place of the rule's own."""
    return found is not None and (found.code, found.measured, found.place) == (
        finding.code,
        finding.measured,
        finding.place,
    )


def _there(finding: Finding, seam: int, layout: Layout) -> bool:
    place = finding.place
    stations = {side.station.index for side in layout.sides(layout.seams[seam])}
    return place.seam in (None, seam) and (place.station is None or place.station in stations)
