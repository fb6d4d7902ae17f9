"""Stones: materials, the proportions of a round brilliant, its faceted solid and its weight.

Frame of a stone: axis +Y, table up. y = 0 is the *lower* girdle edge at the pavilion mains, where the cone of the
pavilion angle meets the girdle's radius; the culet is below it, the upper girdle edge ``girdle_pct`` above.

The brilliant has its 57 facets as true planes, in the common arrangement: pavilion and crown mains in line, every
girdle facet symmetric about its own azimuth, so that all sixteen corners of the girdle lie at one height on either
side. Between the corners the halves cut scallops, so the girdle is thickest at the corners: ``girdle_pct`` is that
thickness, "at the mains". Lower halves and stars have the chart defaults 80 % and 55 % (diamondcut.gia.edu charts).

Nothing here needs numpy but :func:`brilliant`, which imports it when called.
Sources are the keys of the project's trade facts, section 2.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, NamedTuple

from bandgen.units import sincosd, tand

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Confidence = Literal["high", "medium", "low"]
Vector = tuple[float, float, float]
FacetKind = Literal["table", "star", "crown main", "upper half", "pavilion main", "lower half"]

LOWER_HALF_SHARE = 0.80
"""Length of the lower halves, seen from below, as a share of the way from the girdle to the culet."""

STAR_SHARE = 0.55
"""Length of the stars, seen from above, as a share of the way from the table's edge to the girdle."""

_COS_EIGHTH = math.cos(math.radians(22.5))  # half the angle between two mains
_COS_SIXTEENTH = math.cos(math.radians(11.25))  # half the angle of a half facet's girdle edge

FACET_EDGE_RISE = (1.0 - LOWER_HALF_SHARE) * (1.0 - _COS_EIGHTH)
"""How far the edges between pavilion facets stand out of the main-facet cone, at most: 0.0152 of the girdle's
radius, measured square to the axis (0.0099 square to the cone at 40.8 degrees). It is reached at the tips of the
lower halves, a fifth of the radius from the axis, and shrinks evenly to nothing at the girdle: 0.0093 half-way up,
0.008 at 57 % of the radius. See :func:`edge_rise`; a bearing cone of :func:`clear_pavilion_deg` meets no edge."""

PUBLISHED_WEIGHT = 0.0061
"""Carat per mm3 of D2 x depth, round brilliant diamond, medium girdle (a1-diamond.com, gemgate.com)."""


@dataclass(frozen=True)
class Proportions:
    """A round brilliant's shape: main-facet angles in degrees; table (corner to corner) and girdle (at the mains)
    in percent of the girdle diameter. Raises ValueError for an angle outside 0 to 90, a table outside 0 to 100 or
    a negative girdle."""

    pavilion_deg: float
    crown_deg: float
    table_pct: float
    girdle_pct: float

    def __post_init__(self) -> None:
        for name, value, most in (
            ("pavilion_deg", self.pavilion_deg, 90.0),
            ("crown_deg", self.crown_deg, 90.0),
            ("table_pct", self.table_pct, 100.0),
        ):
            if not 0.0 < value < most:
                raise ValueError(f"{name} = {value!r}: must lie between 0 and {most:g}")
        if not 0.0 <= self.girdle_pct < 100.0:
            raise ValueError(f"girdle_pct = {self.girdle_pct!r}: must be 0 to 100")


@dataclass(frozen=True)
class Material:
    """A gem material with the proportions that its rounds are usually cut to (see :class:`Proportions`)."""

    name: str
    specific_gravity: float
    pavilion_deg: float
    crown_deg: float
    table_pct: float
    girdle_pct: float
    source: str
    confidence: Confidence

    @property
    def proportions(self) -> Proportions:
        """The usual round brilliant of this material."""
        return Proportions(self.pavilion_deg, self.crown_deg, self.table_pct, self.girdle_pct)


class Facet(NamedTuple):
    """A facet's plane: the stone is where ``normal . point <= offset`` (unit normal, mm)."""

    kind: FacetKind
    normal: Vector
    offset: float


_DIAMOND_CUT = "cut: middle of the published ranges (AGS 0, GIA chart defaults)"
_COLOUR_CUT = "cut: derived from a trade cutting order (astergem.com: thickness 65 to 70 %, crown never under 30"

MATERIALS: Mapping[str, Material] = MappingProxyType(
    {
        material.name: material
        for material in (
            Material(
                *("diamond", 3.52, 40.8, 34.5, 57.0, 3.0),
                source=f"SG: gemsociety.org, select gems ordered by density (3.51 to 3.53); {_DIAMOND_CUT}",
                confidence="high",
            ),
            Material(
                *("ruby", 4.00, 42.0, 36.0, 55.0, 4.0),
                source=f"SG of corundum: gemsociety.org (3.97 to 4.03); {_COLOUR_CUT}, mains never under 40)",
                confidence="medium",
            ),
            Material(
                *("sapphire", 4.00, 42.0, 36.0, 55.0, 4.0),
                source=f"SG of corundum: gemsociety.org (3.97 to 4.03); {_COLOUR_CUT}, mains never under 40)",
                confidence="medium",
            ),
            Material(
                *("emerald", 2.72, 43.0, 35.0, 55.0, 4.0),
                source=f"SG: gemsociety.org (2.71 to 2.72); {_COLOUR_CUT}, mains never under 43)",
                confidence="medium",
            ),
            Material(
                *("cubic-zirconia", 5.8, 40.8, 34.5, 57.0, 3.0),
                source="SG: Wikipedia 'Cubic zirconia' (5.6 to 6.0); cut: diamond's works ('Transposing Angles')",
                confidence="medium",
            ),
            Material(
                *("moissanite", 3.22, 40.8, 34.5, 57.0, 3.0),
                source="SG of SiC from memory; cut: diamond's taken, no source",
                confidence="low",
            ),
        )
    }
)
"""Gem materials by name."""


def pavilion_depth(diameter_mm: float, pavilion_deg: float) -> float:
    """Depth in mm of the pavilion cone from the lower girdle edge to the culet."""
    return diameter_mm / 2.0 * tand(pavilion_deg)


def crown_height(diameter_mm: float, crown_deg: float, table_pct: float) -> float:
    """Height in mm of the crown from the upper girdle edge to the table."""
    return diameter_mm / 2.0 * (1.0 - table_pct / 100.0) * tand(crown_deg)


def total_depth(diameter_mm: float, proportions: Proportions) -> float:
    """Depth in mm from table to culet."""
    crown = crown_height(diameter_mm, proportions.crown_deg, proportions.table_pct)
    return pavilion_depth(diameter_mm, proportions.pavilion_deg) + proportions.girdle_pct / 100.0 * diameter_mm + crown


def revolved_volume(diameter_mm: float, proportions: Proportions) -> float:
    """Volume in mm3 of the plain turned stone: cone, cylinder and frustum, in closed form."""
    radius = diameter_mm / 2.0
    table = radius * proportions.table_pct / 100.0
    cone = radius**2 * pavilion_depth(diameter_mm, proportions.pavilion_deg) / 3.0
    cylinder = radius**2 * proportions.girdle_pct / 100.0 * diameter_mm
    crown = crown_height(diameter_mm, proportions.crown_deg, proportions.table_pct)
    return math.pi * (cone + cylinder + crown * (radius**2 + radius * table + table**2) / 3.0)


def brilliant_volume(diameter_mm: float, proportions: Proportions) -> float:
    """Volume in mm3 of the faceted brilliant with a round girdle, in closed form, without numpy: the polyhedron on the
    girdle's sixteen corners, and outside each chord what lies between the halves, also where the scallops meet.
    Raises ValueError for a diameter that is not positive."""
    if not diameter_mm > 0.0:
        raise ValueError(f"diameter_mm = {diameter_mm!r}: must be more than 0")
    return diameter_mm**3 * _unit_volume(proportions)


@lru_cache(maxsize=256)
def _unit_volume(proportions: Proportions) -> float:
    """Volume of the brilliant of diameter 1."""
    cut = _compute_cut(1.0, proportions)
    corners = _vertices(cut, 16)
    inner = sum(_triple(corners[a], corners[b], corners[c]) for a, b, c in _faces(16)) / 6.0
    chord, fall = cut.radius * _COS_SIXTEENTH, cut.tan_upper + cut.tan_lower
    reach = min(chord + cut.girdle_y / fall, cut.radius)  # where the halves meet, if the scallops do
    return inner + 16.0 * (_over_chord(cut, fall, reach) - _over_chord(cut, fall, chord))


def _triple(a: Vector, b: Vector, c: Vector) -> float:
    cross = (b[1] * c[2] - b[2] * c[1], b[2] * c[0] - b[0] * c[2], b[0] * c[1] - b[1] * c[0])
    return a[0] * cross[0] + a[1] * cross[1] + a[2] * cross[2]


def _over_chord(cut: _Cut, fall: float, x: float) -> float:
    """Antiderivative, at a distance x from the axis, of the chord's length times the height between the halves, which
    is the girdle's at the corners' chord and falls off beyond it."""
    root = math.sqrt(max(cut.radius**2 - x * x, 0.0))
    height = cut.girdle_y + fall * cut.radius * _COS_SIXTEENTH
    return height * (x * root + cut.radius**2 * math.asin(x / cut.radius)) + 2.0 / 3.0 * fall * root**3


def carat(volume_mm3: float, specific_gravity: float) -> float:
    """Weight in carat (0.2 g) of a volume."""
    return volume_mm3 * specific_gravity / 1000.0 / 0.2


def brilliant_carat(diameter_mm: float, material: str, proportions: Proportions) -> float:
    """Weight in carat of a round brilliant, by the volume of the faceted stone."""
    return carat(brilliant_volume(diameter_mm, proportions), MATERIALS[material].specific_gravity)


def carat_published(diameter_mm: float, depth_mm: float) -> float:
    """Weight in carat of a round brilliant diamond by the trade's formula, D2 x depth x 0.0061, medium girdle.
    For an uneven outline give the mean of the least and greatest diameter."""
    return diameter_mm**2 * depth_mm * PUBLISHED_WEIGHT


def edge_rise(share: float) -> float:
    """How far the facet edges stand out of the main-facet cone, in girdle radii square to the axis, at the level
    where the cone's radius is ``share`` (0 at the culet, 1 at the girdle) of the girdle's. Independent of angle."""
    tip = (1.0 - LOWER_HALF_SHARE) * _COS_EIGHTH  # the cone's radius at the tips of the lower halves
    if share < tip:
        return share * (1.0 / _COS_EIGHTH - 1.0)
    return FACET_EDGE_RISE * (1.0 - share) / (1.0 - tip)


def clear_pavilion_deg(pavilion_deg: float) -> float:
    """Angle in degrees of the narrowest cone through the lower girdle edge that holds the whole faceted pavilion:
    that of the edges between paired lower halves (41.34 for mains at 40.8)."""
    tip = 1.0 - LOWER_HALF_SHARE
    return math.degrees(math.atan(tand(pavilion_deg) * (1.0 - tip * _COS_EIGHTH) / (1.0 - tip)))


def least_girdle_pct(proportions: Proportions) -> float:
    """The girdle, in percent, under which the scallops of the two sides would meet (1.72 for the usual diamond)."""
    cut = _compute_cut(1.0, proportions)
    return 50.0 * (1.0 - _COS_SIXTEENTH) * (cut.tan_upper + cut.tan_lower)


class _Cut(NamedTuple):
    """A brilliant's derived measures in mm: slopes of its facets, radii and heights of its corners."""

    radius: float
    tan_pavilion: float
    tan_lower: float
    tan_crown: float
    tan_upper: float
    tan_star: float
    table_radius: float
    star_radius: float
    tip_radius: float  # where paired lower halves end
    girdle_y: float  # upper girdle corners; the lower ones are at 0
    table_y: float


def _compute_cut(diameter_mm: float, proportions: Proportions) -> _Cut:
    r = diameter_mm / 2.0
    pavilion, crown = tand(proportions.pavilion_deg), tand(proportions.crown_deg)
    table = r * proportions.table_pct / 100.0
    flat = table * _COS_EIGHTH  # middle of a side of the table
    star, tip = flat + STAR_SHARE * (r - flat), (1.0 - LOWER_HALF_SHARE) * r
    girdle_y = proportions.girdle_pct / 100.0 * diameter_mm
    return _Cut(
        radius=r,
        tan_pavilion=pavilion,
        tan_lower=_half_slope(pavilion, r, tip),
        tan_crown=crown,
        tan_upper=_half_slope(crown, r, star),
        tan_star=crown * (star * _COS_EIGHTH - table) / (star - flat),
        table_radius=table,
        star_radius=star,
        tip_radius=tip,
        girdle_y=girdle_y,
        table_y=girdle_y + crown_height(diameter_mm, proportions.crown_deg, proportions.table_pct),
    )


def _half_slope(tan_main: float, r: float, tip: float) -> float:
    """Slope of a half facet through two neighbouring girdle corners and its tip, which lies on two mains."""
    return tan_main * (r - tip * _COS_EIGHTH) / ((r - tip) * _COS_SIXTEENTH)


def _check_cut(diameter_mm: float, proportions: Proportions) -> _Cut:
    if not diameter_mm > 0.0:
        raise ValueError(f"diameter_mm = {diameter_mm!r}: must be more than 0")
    cut = _compute_cut(diameter_mm, proportions)
    if cut.tan_star <= 0.0:
        raise ValueError(f"table_pct = {proportions.table_pct!r}: leaves no room for the star facets")
    least = least_girdle_pct(proportions)
    if proportions.girdle_pct <= least:
        raise ValueError(f"girdle_pct = {proportions.girdle_pct!r}: the scallops meet; needs more than {least:.3f}")
    return cut


def brilliant_facets(diameter_mm: float, proportions: Proportions) -> tuple[Facet, ...]:
    """The 57 facet planes of a round brilliant (the girdle's cylinder bounds it besides); errors as
    :func:`brilliant`. Azimuths count from +Z towards +X; the first mains face +Z."""
    cut = _check_cut(diameter_mm, proportions)
    r, corner = cut.radius, cut.radius * _COS_SIXTEENTH
    facets = [Facet("table", (0.0, 1.0, 0.0), cut.table_y)]
    for k in range(8):
        facets.append(_facet("star", 45.0 * k + 22.5, cut.tan_star, 1.0, (cut.table_radius * _COS_EIGHTH, cut.table_y)))
        facets.append(_facet("crown main", 45.0 * k, cut.tan_crown, 1.0, (r, cut.girdle_y)))
        facets.append(_facet("pavilion main", 45.0 * k, cut.tan_pavilion, -1.0, (r, 0.0)))
    for k in range(16):
        facets.append(_facet("upper half", 22.5 * k + 11.25, cut.tan_upper, 1.0, (corner, cut.girdle_y)))
        facets.append(_facet("lower half", 22.5 * k + 11.25, cut.tan_lower, -1.0, (corner, 0.0)))
    return tuple(facets)


def _facet(kind: FacetKind, azimuth: float, slope: float, up: float, through: tuple[float, float]) -> Facet:
    """The plane that falls off by ``slope`` at an azimuth and passes ``through`` (distance from the axis, y)."""
    sine, cosine = sincosd(azimuth)
    length = math.hypot(slope, 1.0)
    normal = (slope * sine / length, up / length, slope * cosine / length)
    return Facet(kind, normal, (slope * through[0] + up * through[1]) / length)


def girdle_segments(diameter_mm: float, deviation_mm: float) -> int:
    """Sides of the girdle's polygon, a multiple of 16, so that no chord is deeper than the deviation."""
    if not 0.0 < deviation_mm < diameter_mm / 2.0:
        raise ValueError(f"deviation_mm = {deviation_mm!r}: must lie between 0 and half of {diameter_mm!r}")
    return 16 * math.ceil(math.pi / math.acos(1.0 - 2.0 * deviation_mm / diameter_mm) / 16.0)


def brilliant(
    diameter_mm: float, proportions: Proportions, deviation_mm: float = 0.002
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """A round brilliant as a closed, convex triangle mesh: vertices (n, 3) float in mm, faces (m, 3) int, counter-
    clockwise seen from outside. The girdle's vertices lie on the true circle, its chords within ``deviation_mm``.

    Raises ValueError for sizes that are not positive, a table too wide for stars, or a girdle so thin that the
    scallops of its two sides meet (:func:`least_girdle_pct`).
    """
    import numpy as np

    cut = _check_cut(diameter_mm, proportions)
    count = girdle_segments(diameter_mm, deviation_mm)
    return np.array(_vertices(cut, count), dtype=np.float64), np.array(_faces(count), dtype=np.int64)


def _vertices(cut: _Cut, count: int) -> list[Vector]:
    """Culet, 8 tips of lower halves, lower and upper girdle edge (``count`` each), 8 star tips, 8 table corners."""
    r = cut.radius
    tip_y = cut.tan_pavilion * (cut.tip_radius * _COS_EIGHTH - r)
    star_y = cut.girdle_y + cut.tan_crown * (r - cut.star_radius * _COS_EIGHTH)
    dips = [_dip(r, index, count) for index in range(count)]
    turns = [360.0 * index / count for index in range(count)]
    return [
        (0.0, -r * cut.tan_pavilion, 0.0),
        *(_at(45.0 * k + 22.5, cut.tip_radius, tip_y) for k in range(8)),
        *(_at(turn, r, cut.tan_lower * dip) for turn, dip in zip(turns, dips, strict=True)),
        *(_at(turn, r, cut.girdle_y - cut.tan_upper * dip) for turn, dip in zip(turns, dips, strict=True)),
        *(_at(45.0 * k + 22.5, cut.star_radius, star_y) for k in range(8)),
        *(_at(45.0 * k, cut.table_radius, cut.table_y) for k in range(8)),
    ]


def _at(azimuth: float, radius: float, y: float) -> Vector:
    sine, cosine = sincosd(azimuth)
    return radius * sine, y, radius * cosine


def _dip(r: float, index: int, count: int) -> float:
    """How far a girdle vertex stands out from the chord between the two girdle corners beside it; 0 at a corner."""
    span = count // 16
    if index % span == 0:
        return 0.0
    return r * (math.cos(math.radians(22.5 * (index % span) / span - 11.25)) - _COS_SIXTEENTH)


def _faces(count: int) -> list[tuple[int, int, int]]:
    """Triangles over :func:`_vertices`, facet by facet."""
    lower, upper, star, table = 9, 9 + count, 9 + 2 * count, 17 + 2 * count
    faces = [(table, table + k, table + k + 1) for k in range(1, 7)]
    for k in range(8):
        after, before, main = (k + 1) % 8, (k - 1) % 8, k * count // 8
        faces.append((table + k, star + k, table + after))
        faces += [(table + k, star + before, upper + main), (table + k, upper + main, star + k)]
        faces += [(0, 1 + k, lower + main), (0, lower + main, 1 + before)]
    for j in range(count):
        after, eighth = (j + 1) % count, j * 8 // count
        faces.append((star + eighth, upper + j, upper + after))
        faces += [(lower + j, lower + after, upper + after), (lower + j, upper + after, upper + j)]
        faces.append((1 + eighth, lower + after, lower + j))
    return faces
