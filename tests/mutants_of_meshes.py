"""Mutants whose mesh went wrong after it was made."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from mutants import Sound, mutant

from bandgen.band import Mesh
from bandgen.engines import mesh
from bandgen.parts import Extruded, Frame, Part, Point, Profile


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
    sine, cosine = math.sin(angle), math.cos(angle)
    points[ids, 0], points[ids, 1] = cosine * x - sine * y, sine * x + cosine * y
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
    points[ids[np.argmax(np.hypot(points[ids, 0], points[ids, 1]))]] *= [0.6, 0.6, 0.5]
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
    return with_body(sound, sound.mesh.vertices + np.array([0.0, 0.0, 10.0]), sound.mesh.faces)


@mutant("volume-bounds", "volume")
def bore_filled(sound: Sound) -> Mesh:
    """The finger's hole closed by a disc that touches the bore nowhere; volume alone sees how much metal it is."""
    layout = sound.layout
    circle = 0.9 * layout.bore_radius_mm
    corners = tuple(Point(circle * math.cos(a), circle * math.sin(a)) for a in np.arange(8) * math.pi / 4.0)
    points, faces = mesh.facet(Part("disc", 1, Extruded(Profile(corners), 1.0), Frame()), 0.01)
    return with_body(sound, points, faces)
