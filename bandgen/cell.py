"""Which parts meet in a cell.

A cell belongs to a seam and reaches from the mid-plane of the stone before it to that of the stone after it. Its
frame has the seam on +Y and the ring's axis as Z; the station before the seam stands clockwise (towards +X). The
layout's events keep every part of another seam, and every cup of another station, out of it.

The cell of two equal stones is its own mirror image, and so is every cell in z: the mesh engine is given only the
quarter x >= 0, z >= 0, and what lies there of the cup beyond the seam lies in the nearer cup too.
"""

from __future__ import annotations

from dataclasses import dataclass

from bandgen.builders.bore import build_bore, half_width
from bandgen.builders.plug import build_plug
from bandgen.builders.prong import build_prongs
from bandgen.builders.seat import build_seat
from bandgen.layout.numbers import Layout, Seam
from bandgen.parts import Part, Plane
from bandgen.units import sincosd

MIRROR_Z = Plane((0.0, 0.0, -1.0))
MIRROR_X = Plane((-1.0, 0.0, 0.0))


@dataclass(frozen=True)
class Cell:
    """Parts and the planes that bound them: ``before`` and ``after`` are shared with the neighbouring cells, the
    ``mirrors`` with the cell's own images."""

    parts: tuple[Part, ...]
    before: Plane
    after: Plane
    mirrors: tuple[Plane, ...] = ()


def whole_cell(layout: Layout, seam: Seam) -> Cell:
    """Everything between two stones' mid-planes."""
    before, after = layout.around(seam)
    parts = (
        *build_seat(before, -seam.before_deg),
        *build_seat(after, seam.after_deg),
        *build_prongs(seam),
        build_plug(seam),
        build_bore(
            seam, layout.bore_radius_mm, half_width(max(s.seat.rim_radius_mm for s in (before, after)), seam.prong)
        ),
    )
    return Cell(parts, station_plane(-seam.before_deg, -1), station_plane(seam.after_deg, 1))


def quarter_cell(layout: Layout, seam: Seam) -> Cell:
    """The quarter x >= 0, z >= 0 of the cell between two equal stones."""
    before, _ = layout.around(seam)
    parts = (
        *build_seat(before, -seam.before_deg),
        build_prongs(seam)[0],
        build_plug(seam),
        build_bore(seam, layout.bore_radius_mm, half_width(before.seat.rim_radius_mm, seam.prong)),
    )
    return Cell(parts, station_plane(-seam.before_deg, -1), MIRROR_X, (MIRROR_Z,))


def station_plane(angle_deg: float, side: int) -> Plane:
    """The plane through the ring's axis at an angle from +Y, its normal pointing on (+1) or back (-1)."""
    sine, cosine = sincosd(angle_deg)
    return Plane((-cosine * side, -sine * side, 0.0))
