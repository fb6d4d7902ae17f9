"""Which parts meet in a cell.

A cell belongs to a seam and reaches from the mid-plane of the stone before it to that of the stone after it; beyond
the last stone of an open row it reaches to the middle of the shank. Its
frame has the seam on +Y and the ring's axis as Z; the station before the seam stands clockwise (towards +X). The
layout's events keep every part of another seam, and every cup of another station, out of it.

The cell of two equal stones is its own mirror image, and so is every cell in z but of two staggered rows: the mesh
engine is given only the quarter x >= 0, z >= 0, and what lies there of the parts beyond lies in the nearer ones too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from bandgen.builders.bore import build_bore, half_width
from bandgen.builders.hoop import build_hoop
from bandgen.builders.plug import build_plug
from bandgen.builders.prong import build_prongs
from bandgen.builders.scallop import build_arches
from bandgen.builders.seat import build_seat
from bandgen.builders.set_prong import build_set_prongs
from bandgen.builders.shank import build_shank
from bandgen.builders.sprue import build_sprue
from bandgen.builders.stone import build_bur
from bandgen.builders.tag import build_letters, build_plate
from bandgen.builders.web import build_web
from bandgen.layout.hoop import HoopNumbers
from bandgen.layout.numbers import Layout, ProngNumbers, RowPlace, Seam, Side, Station
from bandgen.layout.scallop import ArchNumbers
from bandgen.layout.set_dome import SetProng
from bandgen.layout.set_numbers import BurNumbers
from bandgen.layout.shank import ShankNumbers
from bandgen.layout.sprue import SprueNumbers
from bandgen.layout.tag import LetterNumbers, PlateNumbers
from bandgen.parts import Part, Plane, turned
from bandgen.units import sincosd

MIRROR_Z = Plane((0.0, 0.0, -1.0))
MIRROR_X = Plane((-1.0, 0.0, 0.0))

Builder = Callable[[Any, Any], tuple[Part, ...]]
BUILDERS: dict[type, Builder] = {
    HoopNumbers: build_hoop,
    ShankNumbers: build_shank,
    ArchNumbers: build_arches,
    BurNumbers: build_bur,
    SprueNumbers: build_sprue,
    PlateNumbers: build_plate,
    LetterNumbers: build_letters,
}
"""What builds the parts of each kind of ``extras``: from the seam or the station that they belong to, and the numbers;
in the seam's frame or the stone's. A new kind of part is one module and one line here."""
PRONGS: dict[type, Callable[[Seam], tuple[Part, ...]]] = {ProngNumbers: build_prongs, SetProng: build_set_prongs}
"""What builds a seam's prongs: as cast, or as set."""


@dataclass(frozen=True)
class Cell:
    """Parts and the planes that bound them: ``before`` and ``after`` are shared with the neighbouring cells, the
    ``mirrors`` with the cell's own images."""

    parts: tuple[Part, ...]
    before: Plane
    after: Plane
    mirrors: tuple[Plane, ...] = ()


def whole_cell(layout: Layout, seam: Seam) -> Cell:
    """Everything between two stones' mid-planes, or between the last stone's and the middle of the shank."""
    rows = [part for row in layout.rows for part in _row_parts(layout, seam, row)]
    parts = (*rows, *build_web(layout, seam), *_extra_parts(seam), _bore(layout, seam))
    return Cell(parts, station_plane(-seam.before_deg, -1), station_plane(seam.after_deg, 1))


def upper_cell(layout: Layout, seam: Seam) -> Cell:
    """The half z >= 0 of a cell; the whole where the band is not its own image in z."""
    parts = (*_upper_rows(layout, seam, 2), *build_web(layout, seam), *_extra_parts(seam), _bore(layout, seam))
    before, after = station_plane(-seam.before_deg, -1), station_plane(seam.after_deg, 1)
    return Cell(parts, before, after, (MIRROR_Z,) if layout.mirror_z else ())


def quarter_cell(layout: Layout, seam: Seam) -> Cell:
    """The quarter x >= 0, z >= 0 of the cell between two equal stones; where the band is not its own image in z, the
    half x >= 0."""
    parts = (*_upper_rows(layout, seam, 1), *build_web(layout, seam), *_extra_parts(seam), _bore(layout, seam))
    mirrors = (MIRROR_Z,) if layout.mirror_z else ()
    return Cell(parts, station_plane(-seam.before_deg, -1), MIRROR_X, mirrors)


def _upper_rows(layout: Layout, seam: Seam, count: int) -> list[Part]:
    """The rows' parts without those that stand wholly at z < 0, where these are images of the others."""
    rows = [row for row in layout.rows if row.z_mm >= 0.0 or not layout.mirror_z]
    parts = [part for row in rows for part in _row_parts(layout, seam, row, count)]
    return [part for part in parts if not layout.mirror_z or part.name != "prong" or part.frame.origin[2] > 0.0]


def _row_parts(layout: Layout, seam: Seam, row: RowPlace, count: int = 2) -> tuple[Part, ...]:
    """One row's stones, prongs and plugs, in the cell's frame, up to ``count`` of those that stand to both sides: the
    stones, or in a turned row what stands between them, which then lies in the cell's planes."""
    sides = layout.sides(seam)[:count]
    stones = [[part for part in _station_parts(side.station) if _on_side(layout, row, part)] for side in sides]
    between = (*PRONGS[type(seam.prong)](seam), *build_plug(seam))
    if row.turned:
        parts = [
            *stones[0],
            *(turned(part, _degrees(side)) for side in sides for part in between),
        ]
    else:
        placed = zip(sides, stones, strict=True)
        parts = [*(turned(part, _degrees(side)) for side, own in placed for part in own), *between]
    return tuple(moved(part, row.z_mm) for part in parts)


def _on_side(layout: Layout, row: RowPlace, part: Part) -> bool:
    """Whether a row has this part of a stone's: of those that stand to a side only what stands on the band's."""
    z = part.frame.origin[2]
    return z == 0.0 or (abs(row.z_mm) == layout.outer_row_mm and row.z_mm * z >= 0.0)


def moved(part: Part, z_mm: float) -> Part:
    """The part, and what it is within, moved along the ring's axis."""
    x, y, z = part.frame.origin
    frame = replace(part.frame, origin=(x, y, z + z_mm))
    return replace(part, frame=frame, within=tuple(moved(other, z_mm) for other in part.within))


def _degrees(side: Side) -> float:
    """Where a station stands in its seam's frame."""
    return -side.seam.before_deg if side.sign > 0 else side.seam.after_deg


def _station_parts(station: Station) -> tuple[Part, ...]:
    """A station's seat and extras in its own frame."""
    return (*build_seat(station, 0.0), *_extra_parts(station))


def _bore(layout: Layout, seam: Seam) -> Part:
    sides = layout.sides(seam)
    owners: list[Seam | Station] = [seam, *(side.station for side in sides)]
    extras = [extra for owner in owners for extra in owner.extras if not getattr(extra, "one_sided", False)]
    widest = max(*(side.station.seat.rim_radius_mm for side in sides), *(e.half_width_mm for e in extras), 0.0)
    return build_bore(seam, layout.bore, layout.outer_row_mm + max(half_width(widest, prong) for prong in seam.prongs))


def _extra_parts(owner: Seam | Station) -> tuple[Part, ...]:
    return tuple(part for extra in owner.extras for part in BUILDERS[type(extra)](owner, extra))


def station_plane(angle_deg: float, side: int) -> Plane:
    """The plane through the ring's axis at an angle from +Y, its normal pointing on (+1) or back (-1)."""
    sine, cosine = sincosd(angle_deg)
    return Plane((-cosine * side, -sine * side, 0.0))
