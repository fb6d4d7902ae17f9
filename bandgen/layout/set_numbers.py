"""The band after setting, as numbers: its prongs finished, and the setter's cut round every girdle.

``set_layout`` turns the layout of the blank into one that the engines read like any other. ``finished_prongs`` says
how each prong then holds its stones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from bandgen.errors import Problem, SpecError
from bandgen.layout.grip import ProngAxis
from bandgen.layout.numbers import Layout, ProngNumbers, RowPlace, Seam, Side
from bandgen.layout.set_dome import (
    Finish,
    SeenStone,
    SetProng,
    StoneOutline,
    contact_of,
    deepest,
    highest,
    notch_foot,
    off_axis,
    outline_of,
    point_on,
    solve_dome,
)
from bandgen.layout.set_section import Notch, SectionLeft, heel_mm, section_left
from bandgen.parts import Vector
from bandgen.units import KEEP_AWAY_MM


@dataclass(frozen=True)
class BurNumbers:
    """The setter's cut: the turned stone itself, with no clearance, from ``bottom_mm`` on its axis up: over the rim of
    its cup, where the prongs no longer reach the pavilion, so that neither the bearing nor the rim is cut."""

    stone: StoneOutline
    bottom_mm: float

    @property
    def half_width_mm(self) -> float:
        """How far its metal reaches along the finger: it only cuts."""
        return 0.0


@dataclass(frozen=True)
class Grip:
    """How a finished prong holds one stone: shares of the crown that it covers and stands over, of its own diameter
    that the girdle enters and that is left behind the notch; heights of the notch's ends over the lower girdle edge
    (``bottom_mm`` negative)."""

    station: int
    stone: SeenStone
    contact: float
    height: float
    notch: float
    heel: float
    top_mm: float
    bottom_mm: float


@dataclass(frozen=True)
class FinishedProng:
    """A prong with all the stones that enter it. ``prong`` is its numbers in the seam's frame moved by ``z_mm`` along
    the finger, and turned by ``turn_deg`` about the ring's axis, for its row; at negative z its spread and lean are."""

    seam: int
    turn_deg: float
    z_mm: float
    prong: SetProng
    grips: tuple[Grip, ...]
    section: SectionLeft


def set_layout(layout: Layout, finish: Finish | None = None) -> Layout:
    """The layout with its prongs finished and every girdle's cut added.

    Raises:
        SpecError: when a blank is too short for the finished prong, or a girdle only grazes it.
    """
    finish = finish or Finish()
    seams = tuple(replace(seam, prongs=_finished(layout, seam, finish)) for seam in layout.seams)
    stations = tuple(
        replace(s, extras=(*s.extras, BurNumbers(outline_of(s), s.seat.rim_mm + KEEP_AWAY_MM / 4.0)))
        for s in layout.stations
    )
    return replace(layout, seams=seams, stations=stations)


def _finished(layout: Layout, seam: Seam, finish: Finish) -> tuple[ProngNumbers, ...]:
    sides = layout.sides(seam)
    return tuple(_domed(blank, [_seen(side) for side in sides if side.prong is blank], finish) for blank in seam.prongs)


def _domed(blank: ProngNumbers, stones: list[SeenStone], finish: Finish) -> SetProng:
    """The blank with the cap that its stones ask for; of two unequal ones the higher, as a lower cap would leave the
    other stone loose."""
    tip, dome = max(solve_dome(blank, stone, finish) for stone in stones)
    prong = SetProng(**{**vars(blank), "tip": "dome", "tip_mm": tip, "dome_mm": dome})
    over = max(highest(prong, stone) - stone.outline.girdle_mm for stone in stones)
    if prong.tip_mm > blank.tip_mm or prong.shoulder_mm > blank.shoulder_mm:
        rule, asked = "the blank ends under the finished tip", blank.height_above_girdle_mm
        advice = f"raise it well over {over:.3f}, or lower the finished height"
        raise SpecError([Problem("prong.height_above_girdle_mm", rule, asked, advice)])
    return replace(prong, height_above_girdle_mm=over)


def _seen(side: Side, z_mm: float = 0.0) -> SeenStone:
    return SeenStone(outline_of(side.station), (side.sign * math.sin(side.half), math.cos(side.half), 0.0), z_mm)


def finished_prongs(layout: Layout) -> tuple[FinishedProng, ...]:
    """Every distinct prong of a set layout: those of one seam of each kind, and of rows side by side also those that
    other stones enter. Raises TypeError for the layout of a blank."""
    found: dict[tuple[object, ...], FinishedProng] = {}
    for index in sorted({kind.seam for kind in layout.kinds}):
        seam = layout.seams[index]
        for row in layout.rows:
            for number, prong in enumerate(seam.prongs):
                for side in (1, -1):
                    held = _holds(layout, seam, row, number, side)
                    key = (index, number, *sorted((s, side * stone.z_mm) for s, stone in held))
                    found.setdefault(key, _compute(seam, row, _on_side(prong, side), held))
    return tuple(found.values())


def _on_side(prong: ProngNumbers, side: int) -> SetProng:
    if not isinstance(prong, SetProng):
        raise TypeError("a set layout is wanted (set_layout), not the blank's")
    axis = replace(prong.axis, spread_mm=side * prong.axis.spread_mm, lean=side * prong.axis.lean)
    return replace(prong, axis=axis)


Held = list[tuple[int, SeenStone]]


def _holds(layout: Layout, seam: Seam, row: RowPlace, number: int, side: int) -> Held:
    """The stones that enter a prong of a row, each with its station: its own, and those of the rows beside it that
    stand turned against it."""
    prong = _on_side(seam.prongs[number], side)
    sides = layout.sides(seam)
    own = [(s.station.index, _seen(s)) for s in sides if s.prong is seam.prongs[number]]
    station, up = sides[0].station, (0.0, 1.0, 0.0)
    across = [SeenStone(outline_of(station), up, r.z_mm - row.z_mm) for r in layout.rows if r.turned != row.turned]
    return [*own, *((station.index, stone) for stone in across if _depth(prong, stone) > 0.0)]


def _depth(prong: ProngNumbers, stone: SeenStone) -> float:
    """How deep a girdle enters a prong (mm, negative: it stands off)."""
    return prong.diameter_mm / 2.0 - off_axis(prong.axis, deepest(prong, stone))


def _compute(seam: Seam, row: RowPlace, prong: SetProng, held: Held) -> FinishedProng:
    notches = [_notch(prong, stone) for _, stone in held]
    grips = tuple(
        _grip(prong, station, stone, notch, [n for n in notches if n is not notch])
        for (station, stone), notch in zip(held, notches, strict=True)
    )
    section = section_left(prong.diameter_mm / 2.0, notches)
    turn = seam.before_deg if row.turned else 0.0
    return FinishedProng(seam.index, turn, row.z_mm, prong, grips, section)


def _grip(prong: SetProng, station: int, stone: SeenStone, notch: Notch, others: list[Notch]) -> Grip:
    cut, contact = stone.outline, contact_of(prong, stone)
    return Grip(
        station=station,
        stone=stone,
        contact=contact,
        height=(highest(prong, stone) - cut.upper_mm) / cut.crown_mm,
        notch=0.5 - (notch.distance_mm - notch.radius_mm) / prong.diameter_mm,
        heel=heel_mm(prong.diameter_mm / 2.0, notch, others) / prong.diameter_mm,
        top_mm=cut.upper_mm - cut.girdle_mm + contact * cut.crown_mm,
        bottom_mm=-notch_foot(prong, stone),
    )


def _notch(prong: ProngNumbers, stone: SeenStone) -> Notch:
    """A girdle in the prong's section."""
    point, (u, w) = deepest(prong, stone), across_axis(prong.axis)
    off = [a - b for a, b in zip(point, point_on(prong.axis, 0.0), strict=True)]
    x, y = (sum(a * b for a, b in zip(off, way, strict=True)) for way in (u, w))
    radius = stone.outline.radius_mm
    return Notch(math.atan2(y, x), math.hypot(x, y) + radius, radius)


def across_axis(axis: ProngAxis) -> tuple[Vector, Vector]:
    """Two directions square to a prong's axis and to one another: the first in the plane of the axis and Z."""
    x, y, z = axis.along
    level = math.hypot(x, y)
    return (-x * z / level, -y * z / level, level), (-y / level, x / level, 0.0)
