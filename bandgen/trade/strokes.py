"""Letters as strokes of one width, to be raised on a plate: our own shapes, made to survive casting.

A letter is a net of straight strokes on a small grid; its outline is one polygon, and one more for each counter that
they enclose. Strokes are 0.5 mm wide (Morris & Watson casting guidelines: 0.4, 0.5 where broad; Stuller, CAD/CAM
production standards: 0.5), and so is nearly all between them (Stuller: openings 0.4 at least); in an acute corner it
runs out to nothing, and may fill.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from types import MappingProxyType

Corner = tuple[float, float]
Glyph = tuple[tuple[Corner, ...], ...]
"""Paths in mm on the strokes' middle lines, x to the right, y up from the lowest one; where paths meet, each has a
corner."""

STROKE_MM = 0.5
RAISED_MM = 0.5
"""How high letters stand on their plate (as the strokes are wide: common practice, no source)."""
HEIGHT_MM = 2.6
"""Of a capital, over its strokes."""
SPACING_MM = 0.5
"""Between two letters."""
SPACE_MM = 0.6
"""What a space adds."""
BLUNT = math.tan(math.pi / 8.0)
"""How far, in half widths, the outside of a sharp corner goes on before it is cut off."""

_W, _M, _H = 1.2, 1.05, 2.1  # right, middle and top lines
_C = 0.35  # cut corners
_R, _B, _U, _T = _W - _C, _M - _C, _M + _C, _H - _C  # before the right line; under, over the middle; under the top
_X, _Y = 1.7, 1.4  # right lines of broad letters
_BOWL: tuple[Corner, ...] = ((_R, _M), (_W, _B), (_W, _C), (_R, 0.0))
_UPPER: tuple[Corner, ...] = ((_R, _M), (_W, _U), (_W, _T), (_R, _H))
_OPEN: tuple[Corner, ...] = ((_W, _H), (_C, _H), (0.0, _T), (0.0, _C), (_C, 0.0))
_ROUND: tuple[Corner, ...] = ((_R, 0.0), (_W, _C), (_W, _T), (_R, _H), *_OPEN[1:], (_R, 0.0))
_STEM: tuple[Corner, ...] = ((0.0, 0.0), (0.0, _M), (0.0, _H))
_TAIL: tuple[Corner, ...] = ((1.0, 0.2), (1.55, -0.35))


def _swung(path: tuple[Corner, ...]) -> tuple[Corner, ...]:
    """A path turned upside down about the middle of the grid."""
    return tuple((_W - x, _H - y) for x, y in path)


def _bar(y: float) -> tuple[Corner, ...]:
    return (0.0, y), (_W, y)


_SIX: Glyph = ((*_OPEN[:3], (0.0, _M), (0.0, _C), (_C, 0.0), *_BOWL[::-1], (0.0, _M)),)
_EIGHT: tuple[Corner, ...] = (*_BOWL, (_C, 0.0), (0.0, _C), (0.0, _B), (_C, _M))

GLYPHS: Mapping[str, Glyph] = MappingProxyType(
    {
        "A": (((0.0, 0.0), (0.0, 0.8), (0.0, _T), (_C, _H), (_R, _H), (_W, _T), (_W, 0.8), (_W, 0.0)), _bar(0.8)),
        "B": (_STEM, ((0.0, 0.0), *_BOWL[::-1], (0.0, _M)), (*_UPPER, (0.0, _H))),
        "C": ((*_OPEN, (_W, 0.0)),),
        "D": (((0.0, 0.0), (_R, 0.0), (_W, _C), (_W, _T), (_R, _H), (0.0, _H), (0.0, 0.0)),),
        "E": (_STEM, ((0.0, _H), (_W, _H)), ((0.0, _M), (1.0, _M)), ((0.0, 0.0), (_W, 0.0))),
        "F": (_STEM, ((0.0, _H), (_W, _H)), ((0.0, _M), (1.0, _M))),
        "G": ((*_OPEN, (_W, 0.0), (_W, 0.9), (0.75, 0.9)),),
        "H": (_STEM, _bar(_M), ((_W, 0.0), (_W, _M), (_W, _H))),
        "I": (_STEM,),
        "J": (((_W, _H), (_W, _C), (_R, 0.0), (_C, 0.0), (0.0, _C), (0.0, 0.6)),),
        "K": (_STEM, ((0.0, _M), (0.5, _M), (1.3, _H)), ((0.5, _M), (1.3, 0.0))),
        "L": (((0.0, _H), (0.0, 0.0), (_W, 0.0)),),
        "M": (((0.0, 0.0), (0.0, _H), (_X / 2.0, _M), (_X, _H), (_X, 0.0)),),
        "N": (((0.0, 0.0), (0.0, _H), (_Y, 0.0), (_Y, _H)),),
        "O": (_ROUND,),
        "P": (_STEM, (*_UPPER, (0.0, _H)), ((0.0, _M), (_R, _M))),
        "Q": ((*_ROUND[:1], _TAIL[0], *_ROUND[1:]), _TAIL),
        "R": (_STEM, (*_UPPER, (0.0, _H)), ((0.0, _M), (_R, _M), (_W, 0.0))),
        "S": (((_W, _H), (_C, _H), (0.0, _T), (0.0, _U), (_C, _M), *_BOWL, (0.0, 0.0)),),
        "T": (((0.0, _H), (_W / 2.0, _H), (_W, _H)), ((_W / 2.0, _H), (_W / 2.0, 0.0))),
        "U": (((0.0, _H), (0.0, _C), (_C, 0.0), (_R, 0.0), (_W, _C), (_W, _H)),),
        "V": (((0.0, _H), (_Y / 2.0, 0.0), (_Y, _H)),),
        "W": (((0.0, _H), (0.0, 0.0), (_X / 2.0, _M), (_X, 0.0), (_X, _H)),),
        "X": (((0.0, _H), (_W / 2.0, _M), (_W, 0.0)), ((0.0, 0.0), (_W / 2.0, _M), (_W, _H))),
        "Y": (((0.0, _H), (_W / 2.0, _M), (_W, _H)), ((_W / 2.0, _M), (_W / 2.0, 0.0))),
        "Z": (((0.0, _H), (_Y, _H), (0.0, 0.0), (_Y, 0.0)),),
        "0": (_ROUND,),
        "1": (((0.0, 1.75), (0.5, _H), (0.5, 0.0)),),
        "2": (((0.0, _H), *_UPPER[::-1], (_C, _M), (0.0, _B), (0.0, 0.0), (_W, 0.0)),),
        "3": (((0.25, _M), *_BOWL, (0.0, 0.0)), (*_UPPER, (0.0, _H))),
        "4": (((0.0, _H), (0.0, _M), (_W, _M)), ((_W, 0.0), (_W, _M), (_W, _H))),
        "5": (((_W, _H), (0.0, _H), (0.0, _M), *_BOWL, (0.0, 0.0)),),
        "6": _SIX,
        "7": (((0.0, _H), (_W, _H), (_W, 1.6), (0.5, 0.0)),),
        "8": (_EIGHT, _swung(_EIGHT), ((_C, _M), (_R, _M))),
        "9": tuple(_swung(path) for path in _SIX),
        "+": (((0.0, _M), (0.5, _M), (1.0, _M)), ((0.5, 0.55), (0.5, _M), (0.5, 1.55))),
        "-": (((0.0, _M), (0.7, _M)),),
        ".": (((0.0, -STROKE_MM / 2.0), (0.0, STROKE_MM / 2.0)),),
        "/": (((0.0, 0.0), (0.9, _H)),),
    }
)
"""Every letter by its capital."""


def outlines(text: str) -> tuple[tuple[Corner, ...], ...]:
    """The letters of a text as polygons in mm: x to the right from the left edge of the first, y up from the lower edge
    of capitals; counter-clockwise round metal, clockwise round the counters in it, after the polygon that they are in.
    A space stands for a gap, "½" for "1/2".

    Raises:
        ValueError: for a letter that has no strokes.
    """
    placed, at = [], 0.0
    for letter in text.upper().replace("½", "1/2"):
        if letter == " ":
            at += SPACE_MM
            continue
        if letter not in GLYPHS:
            raise ValueError(f"{letter!r} has no strokes: letters A to Z, digits and + - . / only")
        polygons = outlines_of(letter)
        placed += [tuple((x + at, y) for x, y in polygon) for polygon in polygons]
        at += max(x for x, _ in polygons[0]) + SPACING_MM
    return tuple(placed)


def width_mm(text: str) -> float:
    """From the left edge of the first letter of a text to the right edge of the last; 0 for none."""
    return max((x for outline in outlines(text) for x, _ in outline), default=0.0)


def signed_area(polygon: Sequence[Corner]) -> float:
    """Area in mm2, negative where it runs clockwise."""
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(polygon, [*polygon[1:], polygon[0]], strict=True)) / 2.0


@lru_cache(maxsize=64)
def outlines_of(letter: str) -> tuple[tuple[Corner, ...], ...]:
    """One letter's polygons, its left edge at x = 0, the lower edge of capitals at y = 0; the outer one first."""
    polygons = sorted(_around(_neighbours(GLYPHS[letter])), key=signed_area, reverse=True)
    left = min(x for x, _ in polygons[0])
    return tuple(tuple((x - left, y + STROKE_MM / 2.0) for x, y in polygon) for polygon in polygons)


def _neighbours(glyph: Glyph) -> dict[Corner, list[Corner]]:
    """For each corner those that a stroke joins to it; corners that are the same but for rounding are one."""
    found: dict[Corner, list[Corner]] = {}
    for path in glyph:
        rounded = [(round(x, 6), round(y, 6)) for x, y in path]
        for one, other in pairwise(rounded):
            if other not in found.setdefault(one, []):
                found[one].append(other)
                found.setdefault(other, []).append(one)
    return found


def _around(neighbours: Mapping[Corner, Sequence[Corner]]) -> list[list[Corner]]:
    """The outlines of a net of strokes: along both sides of each, always on by the rightmost way."""
    left = {(here, there) for here, others in neighbours.items() for there in others}
    polygons = []
    while left:
        first = here, there = min(left)
        corners: list[Corner] = []
        while True:
            left.discard((here, there))
            further = _rightmost(there, here, neighbours[there])
            corners += _bend(here, there, further)
            here, there = there, further
            if (here, there) == first:
                break
        polygons.append(corners)
    return polygons


def _rightmost(at: Corner, back: Corner, others: Sequence[Corner]) -> Corner:
    """Where the right side of the stroke from ``back`` to ``at`` goes on: the first counter-clockwise from the way
    back; that itself at a free end."""
    start = _angle(at, back)
    return min(others, key=lambda other: (_angle(at, other) - start) % math.tau or math.tau)


def _angle(start: Corner, end: Corner) -> float:
    return math.atan2(end[1] - start[1], end[0] - start[0])


def _bend(before: Corner, at: Corner, after: Corner) -> list[Corner]:
    """The corners, right of the way, where it turns: one, or two at a free end or outside a sharp corner."""
    (dx, dy), (ex, ey) = _direction(before, at), _direction(at, after)
    half, along = STROKE_MM / 2.0, dx * ex + dy * ey
    if after == before or (dx * ey - dy * ex > 0.0 and along < 0.0):
        on = 0.0 if after == before else BLUNT
        one = (at[0] + half * (dy + on * dx), at[1] + half * (-dx + on * dy))
        return [one, (at[0] + half * (ey - on * ex), at[1] + half * (-ex - on * ey))]
    share = half / (1.0 + along)
    corner = (at[0] + (dy + ey) * share, at[1] - (dx + ex) * share)
    return [corner] if abs(dx * ey - dy * ex) > 1e-9 else []


def _direction(start: Corner, end: Corner) -> Corner:
    length = math.dist(start, end)
    return (end[0] - start[0]) / length, (end[1] - start[1]) / length
