"""Mutants whose cells are made of wrong parts."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from mutants import (
    Sound,
    closed,
    everywhere,
    in_one,
    moved,
    mutant,
    opened,
    other_axis,
    other_plug,
    other_prong,
    other_prongs,
    reshaped,
    shift_profile,
    swapped,
    without,
)

from bandgen.band import Mesh, build_mesh
from bandgen.builders.seat import STONE_AXIS
from bandgen.cell import whole_cell
from bandgen.engines import facets, mesh
from bandgen.layout.compute import compute_layout
from bandgen.parts import Part, Point, Profile, Revolved, turned
from bandgen.spec import make_spec


@mutant("volume")
def every_recess_refilled(sound: Sound) -> Mesh:
    return everywhere(sound, without("recess"))


def half_refilled(sound: Sound, first: int) -> Mesh:
    """The recess of the station between cells ``first`` and ``first + 1`` left out."""
    count = len(sound.layout.seams)
    return in_one(sound, {first % count: without("recess", 1), (first + 1) % count: without("recess", 0)})


@mutant("cells-alike", "volume")
def first_recess_refilled(sound: Sound) -> Mesh:
    return half_refilled(sound, -1)


@mutant("cells-alike", "volume")
def middle_recess_refilled(sound: Sound) -> Mesh:
    return half_refilled(sound, sound.middle)


@mutant("surface")
def neighbour_grows_into_recess(sound: Sound) -> Mesh:
    """Recess cut from its own cup first, what is joined later is not: a plug too thick stays in the recess."""
    layout, seam = sound.layout, sound.layout.seams[0]
    cell, deviation = whole_cell(sound.layout, seam), layout.spec.mesh.deviation_mm
    thicker = layout.stations[0].seat.rim_radius_mm / 2.0
    parts = other_plug(before_mm=thicker, after_mm=thicker)(cell.parts, seam)
    named = {name: mesh._union([p for p in parts if p.name == name], deviation) for name in ("cup", "recess", "bore")}
    late = mesh._union([p for p in parts if p.name in ("prong", "plug")], deviation)
    solid = named["cup"] - named["recess"] + late - named["bore"]
    for plane in (cell.before, cell.after):
        solid = solid.trim_by_plane([-component for component in plane.normal], 0.0)
    strip = opened(mesh._open(solid, (cell.before, cell.after)))
    return closed([strip], [0] * len(layout.seams), layout)


@mutant("cells-alike")
def one_prong_missing(sound: Sound) -> Mesh:
    return in_one(sound, {sound.middle: without("prong", 1)})


@mutant("surface", "volume")
def prongs_on_one_side_only(sound: Sound) -> Mesh:
    return everywhere(sound, without("prong", 1))


@mutant("surface", "volume", "outer-diameter")
def no_prongs(sound: Sound) -> Mesh:
    return everywhere(sound, without("prong"))


@mutant("genus", "surface", "volume", of="parted")
def slots_open(sound: Sound) -> Mesh:
    return everywhere(sound, without("plug"))


@mutant("genus", "cells-alike", of="parted")
def one_slot_open(sound: Sound) -> Mesh:
    return in_one(sound, {sound.middle: without("plug")})


@mutant("genus", "surface", of="parted")
def plug_narrower_than_the_gap(sound: Sound) -> Mesh:
    layout, half = sound.layout, math.radians(sound.layout.seams[0].before_deg)
    seat, plug = layout.stations[0].seat, layout.seams[0].plug
    slot = seat.rim_mm * math.sin(half) - seat.rim_radius_mm * math.cos(half)
    narrower = slot * 0.5 - plug.before_mm
    return everywhere(sound, other_plug(before_mm=narrower, after_mm=narrower))


@mutant("genus", "surface", of="parted")
def pinhole(sound: Sound) -> Mesh:
    """The plug ends short of the prongs: a hole beside each."""
    short = sound.layout.seams[0].prong.diameter_mm * 0.6
    shorter = swapped("plug", lambda p: reshaped(p, lambda q: replace(q, u=q.u - math.copysign(short, q.u))))
    return everywhere(sound, shorter)


@mutant("surface", "volume")
def slots_open_over_joined_feet(sound: Sound) -> Mesh:
    """Where the feet meet the slot is a pocket, and topology sees nothing."""
    return everywhere(sound, without("plug"))


@mutant("cavities", "surface")
def plug_foot_over_the_parting(sound: Sound) -> Mesh:
    """The feet meet under the plug: a void in every gap."""
    layout, plug = sound.layout, sound.layout.seams[0].plug
    parting = next(event.distance_mm for event in layout.events if event.name == "feet-touch")
    foot = (layout.bore_radius_mm + parting + plug.top_mm) / 2.0
    return everywhere(sound, other_plug(foot_mm=foot - plug.foot_mm))


def ball(radius: float, x: float, y: float, z: float) -> Part:
    """A round tool or blob in the cell's frame."""
    bulge = math.tan(math.pi / 8.0)
    half = (Point(0.0, -radius, bulge), Point(radius, 0.0, bulge), Point(0.0, radius))
    return Part("ball", -1, Revolved(Profile(half)), replace(STONE_AXIS, origin=(x, y, z)))


@mutant("cavities", "cells-alike")
def bubble_in_a_wall(sound: Sound) -> Mesh:
    layout = sound.layout
    y = (layout.bore_radius_mm + layout.seams[0].plug.top_mm) / 2.0
    return in_one(sound, {sound.middle: lambda parts, _: (*parts, ball(0.05, 0.0, y, 0.1))})


@mutant("cells-alike")
def dent_in_a_tip(sound: Sound) -> Mesh:
    prong = sound.layout.seams[0].prong
    y = prong.axis.crossing_mm + prong.tip_mm
    z = prong.axis.z_at(y)
    return in_one(sound, {sound.middle: lambda parts, _: (*parts, ball(0.08, 0.0, y, z))})


@mutant("cells-alike")
def blob_on_a_plug(sound: Sound) -> Mesh:
    y = sound.layout.seams[0].plug.top_mm
    return in_one(sound, {sound.middle: lambda parts, _: (*parts, replace(ball(0.1, 0.0, y, 0.0), sign=1))})


@mutant("surface")
def plug_moved_along_the_band(sound: Sound) -> Mesh:
    reach = sound.layout.seams[0].prong.diameter_mm * 0.6
    return everywhere(sound, swapped("plug", lambda p: moved(p, z=reach)))


@mutant("surface", of="parted")
def plug_moved_along_the_finger(sound: Sound) -> Mesh:
    return everywhere(sound, swapped("plug", lambda p: moved(p, x=0.4)))


@mutant("surface")
def plug_stands_too_high(sound: Sound) -> Mesh:
    return everywhere(sound, other_plug(top_mm=0.05))


@mutant("surface")
def recess_off_its_axis(sound: Sound) -> Mesh:
    return everywhere(sound, swapped("recess", lambda p: moved(p, z=0.1)))


@mutant("surface")
def seat_off_its_axis(sound: Sound) -> Mesh:
    both = [swapped(name, lambda p: moved(p, z=0.1)) for name in ("cup", "recess")]
    return everywhere(sound, lambda parts, seam: both[1](both[0](parts, seam), seam))


@mutant("surface")
def seats_twisted(sound: Sound) -> Mesh:
    """Every seat stands a degree off its station, both halves alike."""
    both = [swapped(name, lambda p: turned(p, 1.0)) for name in ("cup", "recess")]
    return everywhere(sound, lambda parts, seam: both[1](both[0](parts, seam), seam))


def other_bore(sound: Sound, change_mm: float) -> Mesh:
    factor = 1.0 + change_mm / sound.layout.bore_radius_mm
    return everywhere(
        sound, swapped("bore", lambda p: reshaped(p, lambda q: replace(q, u=q.u * factor, v=q.v * factor)))
    )


@mutant("bore-diameter", "surface")
def bore_too_big(sound: Sound) -> Mesh:
    return other_bore(sound, 0.025)


@mutant("bore-diameter", "surface")
def bore_too_small(sound: Sound) -> Mesh:
    return other_bore(sound, -0.025)


@mutant("bore-diameter", "surface", "cells-alike")
def bore_off_centre(sound: Sound) -> Mesh:
    points = sound.mesh.vertices.copy()
    inner = np.hypot(points[:, 0], points[:, 1]) < sound.layout.bore_radius_mm + 0.02
    points[inner, 1] += 0.05
    return replace(sound.mesh, vertices=points)


@mutant("outer-diameter", "surface")
def prongs_too_tall(sound: Sound) -> Mesh:
    return everywhere(sound, other_prong(tip_mm=0.1))


@mutant("surface", "volume")
def prongs_too_thin(sound: Sound) -> Mesh:
    return everywhere(sound, other_prong(diameter_mm=-0.05))


@mutant("surface", "volume")
def prongs_too_thick(sound: Sound) -> Mesh:
    return everywhere(sound, other_prong(diameter_mm=0.05))


@mutant("surface")
def prongs_upright(sound: Sound) -> Mesh:
    return everywhere(sound, other_axis(lean=0.0))


@mutant("surface")
def prongs_too_far_apart(sound: Sound) -> Mesh:
    return everywhere(sound, other_axis(spread_mm=sound.layout.seams[0].prong.axis.spread_mm + 0.05))


@mutant("surface", "outer-diameter")
def prongs_flat_where_domes_are_asked(sound: Sound) -> Mesh:
    return everywhere(sound, other_prongs(lambda seam: replace(seam, prongs=(replace(seam.prong, tip="flat"),))))


@mutant("surface", "volume")
def cups_too_narrow(sound: Sound) -> Mesh:
    return everywhere(sound, swapped("cup", shift_profile(du=-0.05)))


@mutant("surface")
def draft_wrong(sound: Sound) -> Mesh:
    def steeper(part: Part) -> Part:
        rim = max(point.v for point in part.shape.profile.points)
        return reshaped(part, lambda p: replace(p, u=p.u + (p.v - rim) * math.tan(math.radians(1.0)) if p.u else 0.0))

    return everywhere(sound, swapped("cup", steeper))


@mutant("surface", "volume")
def rim_too_low(sound: Sound) -> Mesh:
    return everywhere(sound, swapped("cup", shift_profile(dv=-0.05)))


def deeper(change_mm: float) -> Callable[[Part], Part]:
    """The recess with its floor moved down."""

    def change(part: Part) -> Part:
        floor = min(point.v for point in part.shape.profile.points)
        return reshaped(part, lambda p: replace(p, v=p.v - change_mm if p.v == floor else p.v))

    return change


@mutant("genus", "surface")
def recess_without_floor(sound: Sound) -> Mesh:
    return everywhere(sound, swapped("recess", deeper(sound.layout.spec.seat.floor_mm + 0.5)))


@mutant("surface", "volume")
def recess_too_deep(sound: Sound) -> Mesh:
    return everywhere(sound, swapped("recess", deeper(0.1)))


@mutant("surface", "volume")
def recess_too_shallow(sound: Sound) -> Mesh:
    return everywhere(sound, swapped("recess", deeper(-0.1)))


@mutant("surface", "volume")
def recess_too_wide(sound: Sound) -> Mesh:
    return everywhere(sound, swapped("recess", shift_profile(du=0.05)))


@mutant("surface")
def no_fillet(sound: Sound) -> Mesh:
    sharp = swapped("recess", lambda p: reshaped(p, lambda q: replace(q, bulge=0.0)))
    return everywhere(sound, sharp)


@mutant("surface", "genus", of="through")
def blind_where_through_was_asked(sound: Sound) -> Mesh:
    return everywhere(sound, swapped("recess", deeper(-0.6)))


@mutant("surface")
def coarser_than_promised(sound: Sound) -> Mesh:
    spec = sound.layout.spec
    rough = spec.model_copy(update={"mesh": spec.mesh.model_copy(update={"deviation_mm": 0.05})})
    return build_mesh(replace(sound.layout, spec=rough))


@mutant("volume")
def polygons_inscribed(sound: Sound) -> Mesh:
    """Circles and arcs as polygons that lose metal on every convex side."""
    area_factor, inner_radius = facets.equal_area_factor, facets._inner_radius
    try:
        facets.equal_area_factor, facets._inner_radius = (lambda _: 1.0), (lambda radius, *_: radius)
        mesh._local.cache_clear()  # facets are kept from cell to cell
        return build_mesh(sound.layout)
    finally:
        facets.equal_area_factor, facets._inner_radius = area_factor, inner_radius
        mesh._local.cache_clear()


@mutant("cells-alike", "genus", of="through")
def one_stone_fewer(sound: Sound) -> Mesh:
    return other_count(sound, -1)


@mutant("open-edges", "cells-alike")
def one_stone_fewer_squeezed(sound: Sound) -> Mesh:
    """One cell left out and the others bent open until the ring seems closed."""
    count, cells = len(sound.layout.seams), sound.mesh.cell_faces
    kept = sound.mesh.faces[: sum(cells[:-1])]
    points = sound.mesh.vertices.copy()
    angle = np.mod(np.arctan2(-points[:, 0], points[:, 1]), 2.0 * math.pi) * count / (count - 1)
    radius = np.hypot(points[:, 0], points[:, 1])
    points[:, 0], points[:, 1] = -radius * np.sin(angle), radius * np.cos(angle)
    return Mesh(points, kept, cells[:-1])


def other_count(sound: Sound, change: int) -> Mesh:
    """A sound ring of the same stones, but of another count."""
    spec = sound.layout.spec.model_dump(exclude_none=True)
    data = {"finger": spec["finger"], "stones": {"diameter_mm": spec["stones"]["diameter_mm"]}, "seat": {}}
    data["stones"]["count"] = spec["stones"]["count"] + change
    data["seat"]["opening"] = spec["seat"]["opening"]
    return build_mesh(compute_layout(make_spec(data)))
