"""Wrong bands, planted one fault at a time: each mutant is a function from a sound band to a wrong mesh of it.

Some change the parts of a cell and are evaluated and closed by the engine like any band; others change the finished
mesh. ``MUTANTS`` names each with the error codes that it must raise, whatever else it raises.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bandgen.band import Mesh, build_mesh
from bandgen.builders.plug import build_plug
from bandgen.builders.prong import build_prongs
from bandgen.builders.seat import STONE_AXIS
from bandgen.cell import whole_cell
from bandgen.engines import facets, mesh, ring
from bandgen.layout.compute import compute_layout
from bandgen.layout.numbers import Layout, Seam
from bandgen.parts import Extruded, Frame, Part, Point, Profile, Revolved, turned
from bandgen.spec import make_spec

Parts = tuple[Part, ...]
Change = Callable[[Parts, Seam], Parts]


@dataclass(frozen=True, eq=False)
class Sound:
    """A sound band to start from."""

    layout: Layout
    mesh: Mesh

    @property
    def middle(self) -> int:
        """A cell far from the first, where only a check of all cells can see."""
        return len(self.layout.seams) // 2


Mutant = Callable[[Sound], Mesh]
MUTANTS: dict[str, tuple[Mutant, frozenset[str], str]] = {}
"""Name to mutant, the codes that it must raise, and the sample that it starts from ("blind" or "through")."""


def mutant(*codes: str, of: str = "blind") -> Callable[[Mutant], Mutant]:
    """Enter a mutant under its function's name."""

    def enter(function: Mutant) -> Mutant:
        MUTANTS[function.__name__.replace("_", " ")] = (function, frozenset(codes), of)
        return function

    return enter


# ------------------------------------------------------------------------------------------------- by parts


def strip_of(parts: Sequence[Part], layout: Layout) -> ring.Strip:
    """A whole cell without any mirror: nothing is made symmetric that the parts did not make so."""
    cell = whole_cell(layout, layout.seams[0])
    return opened(mesh.evaluate(parts, (cell.before, cell.after), layout.spec.mesh.deviation_mm))


def opened(patch: mesh.Patch) -> ring.Strip:
    return ring._sorted(patch.vertices, patch.faces, *patch.on_plane)


def closed(strips: Sequence[ring.Strip], which: Sequence[int], layout: Layout) -> Mesh:
    """The ring of one strip a seam, rounded as the band's mesh is."""
    order = [(strip, seam.angle_deg) for strip, seam in zip(which, layout.seams, strict=True)]
    whole = ring.close_ring(strips, order)
    return Mesh(whole.vertices.astype(np.float32).astype(np.float64), whole.faces, whole.cell_faces)


def everywhere(sound: Sound, change: Change) -> Mesh:
    """The band with the parts of every cell changed alike."""
    seam = sound.layout.seams[0]
    strip = strip_of(change(whole_cell(sound.layout, seam).parts, seam), sound.layout)
    return closed([strip], [0] * len(sound.layout.seams), sound.layout)


def in_one(sound: Sound, changes: dict[int, Change]) -> Mesh:
    """The band with the parts of single cells changed; the change must stay off the planes to unchanged cells."""
    seam = sound.layout.seams[0]
    parts = whole_cell(sound.layout, seam).parts
    strips = [strip_of(parts, sound.layout), *(strip_of(c(parts, seam), sound.layout) for c in changes.values())]
    which = [0] * len(sound.layout.seams)
    for number, cell in enumerate(changes, 1):
        which[cell] = number
    return closed(strips, which, sound.layout)


def without(name: str, which: int | None = None) -> Change:
    """Leave out the parts of a name, or only one of them."""

    def change(parts: Parts, _: Seam) -> Parts:
        named = [part for part in parts if part.name == name]
        gone = named if which is None else [named[which]]
        return tuple(part for part in parts if not any(part is other for other in gone))

    return change


def swapped(name: str, new: Callable[[Part], Part]) -> Change:
    """Put ``new`` of each part of a name in its place."""
    return lambda parts, _: tuple(new(part) if part.name == name else part for part in parts)


def moved(part: Part, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Part:
    """The part moved in the cell's frame, mm."""
    a, b, c = part.frame.origin
    return replace(part, frame=replace(part.frame, origin=(a + x, b + y, c + z)))


def reshaped(part: Part, points: Callable[[Point], Point]) -> Part:
    """The part with each corner of its profile changed."""
    profile = Profile(tuple(points(point) for point in part.shape.profile.points))
    return replace(part, shape=replace(part.shape, profile=profile))


def shift_profile(du: float = 0.0, dv: float = 0.0) -> Callable[[Part], Part]:
    """Corners off the axis moved by du, all corners by dv."""
    return lambda part: reshaped(part, lambda p: replace(p, u=p.u + du if p.u > 0.0 else p.u, v=p.v + dv))


def other_prongs(change: Callable[[Seam], Seam]) -> Change:
    """The prongs of a changed seam."""
    return lambda parts, seam: (*without("prong")(parts, seam), *build_prongs(change(seam)))


def other_prong(**values: float) -> Change:
    """The prongs with some numbers changed by the given amounts."""

    def change(seam: Seam) -> Seam:
        new = {key: getattr(seam.prong, key) + value for key, value in values.items()}
        return replace(seam, prong=replace(seam.prong, **new))

    return other_prongs(change)


def other_axis(**values: float) -> Change:
    """The prongs on an axis with some numbers replaced."""
    return other_prongs(lambda seam: replace(seam, prong=replace(seam.prong, axis=replace(seam.prong.axis, **values))))


def other_plug(**values: float) -> Change:
    """The plug with some numbers changed by the given amounts."""

    def change(parts: Parts, seam: Seam) -> Parts:
        plug = replace(seam.plug, **{key: getattr(seam.plug, key) + value for key, value in values.items()})
        return (*without("plug")(parts, seam), build_plug(replace(seam, plug=plug)))

    return change


@mutant("volume", "surface")
def every_recess_refilled(sound: Sound) -> Mesh:
    return everywhere(sound, without("recess"))


def half_refilled(sound: Sound, first: int) -> Mesh:
    """The recess of the station between cells ``first`` and ``first + 1`` left out."""
    count = len(sound.layout.seams)
    return in_one(sound, {first % count: without("recess", 1), (first + 1) % count: without("recess", 0)})


@mutant("cells-alike", "surface")
def first_recess_refilled(sound: Sound) -> Mesh:
    return half_refilled(sound, -1)


@mutant("cells-alike")
def middle_recess_refilled(sound: Sound) -> Mesh:
    return half_refilled(sound, sound.middle)


@mutant("surface")
def neighbour_grows_into_recess(sound: Sound) -> Mesh:
    """Recess cut from its own cup first, what is joined later is not: a plug too thick stays in the recess."""
    layout, seam = sound.layout, sound.layout.seams[0]
    cell, deviation = whole_cell(sound.layout, seam), layout.spec.mesh.deviation_mm
    parts = other_plug(half_width_mm=layout.stations[0].seat.rim_radius_mm / 2.0)(cell.parts, seam)
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
    return everywhere(sound, other_plug(half_width_mm=slot * 0.5 - plug.half_width_mm))


@mutant("genus", "surface", of="parted")
def pinhole(sound: Sound) -> Mesh:
    """The plug ends short of the prongs: a hole beside each."""
    short = sound.layout.seams[0].prong.diameter_mm * 0.6
    return everywhere(sound, swapped("plug", lambda p: reshaped(p, lambda q: replace(q, u=q.u - math.copysign(short, q.u)))))


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
    return everywhere(sound, other_prongs(lambda seam: replace(seam, prong=replace(seam.prong, tip="flat"))))


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
        return build_mesh(sound.layout)
    finally:
        facets.equal_area_factor, facets._inner_radius = area_factor, inner_radius


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


# -------------------------------------------------------------------------------------------------- by mesh


def reworked(sound: Sound, points: Callable[[np.ndarray], np.ndarray]) -> Mesh:
    return replace(sound.mesh, vertices=points(sound.mesh.vertices.copy()))


def with_faces(sound: Sound, faces: np.ndarray, more: np.ndarray | None = None) -> Mesh:
    """The mesh with other faces, and ``more`` vertices (k, 3) at its end."""
    points = sound.mesh.vertices
    return Mesh(points if more is None else np.concatenate((points, more)), faces, sound.mesh.cell_faces)


def with_body(sound: Sound, points: np.ndarray, faces: np.ndarray) -> Mesh:
    """Another body beside the band."""
    return with_faces(sound, np.concatenate((sound.mesh.faces, faces + len(sound.mesh.vertices))), points)


TETRAHEDRON = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
OUTWARD = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])


@mutant("band-width", "surface", "volume")
def squashed(sound: Sound) -> Mesh:
    return reworked(sound, lambda p: p * np.array([1.0, 1.0, 0.99]))


@mutant("bore-diameter", "outer-diameter", "surface", "volume")
def inches_or_shrinkage(sound: Sound) -> Mesh:
    return reworked(sound, lambda p: p * 1.01)


@mutant("inside-out", "volume")
def mirrored_without_turning_its_faces(sound: Sound) -> Mesh:
    return reworked(sound, lambda p: p * np.array([1.0, 1.0, -1.0]))


@mutant("surface")
def turned_as_a_whole(sound: Sound) -> Mesh:
    """Station 0 off +Y."""
    angle = math.radians(1.0)
    matrix = np.array([[math.cos(angle), math.sin(angle), 0.0], [-math.sin(angle), math.cos(angle), 0.0], [0, 0, 1.0]])
    return reworked(sound, lambda p: p @ matrix)


def own_vertices(sound: Sound, cell: int) -> np.ndarray:
    """Ids of the vertices that no other cell uses."""
    start = sum(sound.mesh.cell_faces[:cell])
    stop = start + sound.mesh.cell_faces[cell]
    others = np.concatenate((sound.mesh.faces[:start], sound.mesh.faces[stop:]))
    return np.setdiff1d(sound.mesh.faces[start:stop], others)


@mutant("cells-alike")
def one_cell_turned(sound: Sound) -> Mesh:
    ids, angle = own_vertices(sound, sound.middle), math.radians(1.0)
    points = sound.mesh.vertices.copy()
    x, y = points[ids, 0], points[ids, 1]
    points[ids, 0], points[ids, 1] = math.cos(angle) * x - math.sin(angle) * y, math.sin(angle) * x + math.cos(angle) * y
    return replace(sound.mesh, vertices=points)


@mutant("surface", "cells-alike")
def rough_skin(sound: Sound) -> Mesh:
    noise = np.random.default_rng(7).uniform(-0.01, 0.01, sound.mesh.vertices.shape)
    return reworked(sound, lambda p: p + noise)


@mutant("cells-alike")
def one_vertex_dragged(sound: Sound) -> Mesh:
    """By two hundredths of a millimetre, in a cell that no other check looks at."""
    ids = own_vertices(sound, sound.middle)
    return reworked(sound, lambda p: np.where((np.arange(len(p)) == ids[9])[:, None], p * [1.001, 1.001, 1.0], p))


@mutant("misoriented-edges")
def one_face_flipped(sound: Sound) -> Mesh:
    faces = sound.mesh.faces.copy()
    faces[5] = faces[5, ::-1]
    return with_faces(sound, faces)


@mutant("inside-out")
def all_faces_flipped(sound: Sound) -> Mesh:
    return with_faces(sound, sound.mesh.faces[:, ::-1])


@mutant("misoriented-edges")
def one_cell_flipped(sound: Sound) -> Mesh:
    faces = sound.mesh.faces.copy()
    faces[: sound.mesh.cell_faces[0]] = faces[: sound.mesh.cell_faces[0], ::-1]
    return with_faces(sound, faces)


@mutant("bodies", "self-intersections")
def doubled_body(sound: Sound) -> Mesh:
    """The band twice in one place, its cells one after the other, so that each cell holds its double."""
    count, cells = len(sound.mesh.vertices), sound.mesh.cell_faces
    blocks = np.split(sound.mesh.faces, np.cumsum(cells)[:-1])
    faces = np.concatenate([half for block in blocks for half in (block, block + count)])
    points = np.concatenate((sound.mesh.vertices, sound.mesh.vertices))
    return Mesh(points, faces, tuple(2 * cell for cell in cells))


@mutant("bodies", "cells-alike")
def doubled_body_at_the_end(sound: Sound) -> Mesh:
    return with_body(sound, sound.mesh.vertices, sound.mesh.faces)


@mutant("nonmanifold-edges")
def doubled_face(sound: Sound) -> Mesh:
    return with_faces(sound, np.concatenate((sound.mesh.faces, sound.mesh.faces[:1])))


@mutant("nonmanifold-edges", "open-edges")
def membrane(sound: Sound) -> Mesh:
    """An extra face between two corners of one face and a corner of another."""
    faces = sound.mesh.faces.copy()
    return with_faces(sound, np.concatenate(([[faces[0, 0], faces[0, 1], faces[40, 2]]], faces)))


@mutant("open-edges")
def deleted_face(sound: Sound) -> Mesh:
    return with_faces(sound, np.delete(sound.mesh.faces, 17, axis=0))


@mutant("open-edges")
def deleted_cell(sound: Sound) -> Mesh:
    cells = sound.mesh.cell_faces
    return Mesh(sound.mesh.vertices, sound.mesh.faces[cells[0] :], cells[1:])


@mutant("open-edges")
def t_junction(sound: Sound) -> Mesh:
    """An edge divided in one of its two faces only; the surface is where it was."""
    points, (a, b, c) = sound.mesh.vertices, sound.mesh.faces[0]
    new = len(points)
    faces = np.concatenate(([[a, new, c], [new, b, c]], sound.mesh.faces[1:]))
    return with_faces(sound, faces, ((points[a] + points[b]) / 2.0)[None])


@mutant("nonmanifold-vertices")
def bow_tie(sound: Sound) -> Mesh:
    """Two far corners made one."""
    faces = sound.mesh.faces.copy()
    faces[faces == faces[-1, 0]] = faces[0, 0]
    return with_faces(sound, faces)


@mutant("zero-area-faces")
def face_collapsed_to_a_line(sound: Sound) -> Mesh:
    """As float32 does with two corners that are too near."""
    points = sound.mesh.vertices.copy()
    points[sound.mesh.faces[3, 1]] = points[sound.mesh.faces[3, 0]]
    return replace(sound.mesh, vertices=points)


@mutant("zero-area-faces")
def face_with_one_corner_twice(sound: Sound) -> Mesh:
    a, b = sound.mesh.faces[0, :2]
    return with_faces(sound, np.concatenate((sound.mesh.faces, [[a, b, b]])))


def tip_pushed_through(sound: Sound, cell: int) -> Mesh:
    """The highest corner of a prong carried down through the metal to the ring's inside."""
    ids, points = own_vertices(sound, cell), sound.mesh.vertices.copy()
    points[ids[np.argmax(np.hypot(points[ids, 0], points[ids, 1]))]] *= [0.7, 0.7, 0.5]
    return replace(sound.mesh, vertices=points)


@mutant("self-intersections", "surface", "cells-alike")
def tip_pushed_through_the_first_cell(sound: Sound) -> Mesh:
    return tip_pushed_through(sound, 0)


@mutant("cells-alike")
def tip_pushed_through_another_cell(sound: Sound) -> Mesh:
    return tip_pushed_through(sound, sound.middle)


@mutant("bodies")
def crumb_outside(sound: Sound) -> Mesh:
    return with_body(sound, TETRAHEDRON * 0.1 + [0.0, sound.layout.bore_radius_mm + 0.5, 3.0], OUTWARD)


@mutant("bodies")
def crumb_in_the_metal(sound: Sound) -> Mesh:
    """Nothing crosses and nothing shows, but slicers add or cut it as they like."""
    return with_body(sound, TETRAHEDRON * 0.02 + at_floor(sound), OUTWARD)


@mutant("cavities")
def void_in_the_metal(sound: Sound) -> Mesh:
    return with_body(sound, TETRAHEDRON * 0.02 + at_floor(sound), OUTWARD[:, ::-1])


def at_floor(sound: Sound) -> np.ndarray:
    """Under the recess of station 0, half way through the floor."""
    return np.array([0.0, (sound.layout.bore_radius_mm + sound.layout.stations[0].seat.floor_mm) / 2.0, 0.0])


@mutant("bodies")
def two_rings(sound: Sound) -> Mesh:
    return with_body(sound, sound.mesh.vertices + [0.0, 0.0, 10.0], sound.mesh.faces)


@mutant("volume-bounds", "volume")
def bore_filled(sound: Sound) -> Mesh:
    """The finger's hole closed by a disc that touches the bore nowhere; volume alone sees how much metal it is."""
    layout = sound.layout
    circle = 0.9 * layout.bore_radius_mm
    corners = tuple(Point(circle * math.cos(a), circle * math.sin(a)) for a in np.arange(8) * math.pi / 4.0)
    points, faces = mesh.facet(Part("disc", 1, Extruded(Profile(corners), 1.0), Frame()), 0.01)
    return with_body(sound, points, faces)
