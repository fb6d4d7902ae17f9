"""Thickness by the largest ball that touches a surface point from inside and holds no other: walls, edges and, turned
inside out, slots and gaps.

At a point p with inward normal d the ball round p + r d meets a surface point q when r = |q - p|^2 / 2 (q - p).d. The
ball is shrunk from the cap to the nearest q until none lies inside (shrinking ball, Ma, Bae and Choi 2012): the least
r of all q, exactly, on a cloud of points. Surface points may stand ``slack_mm`` deep in the ball meanwhile, so that
facets, which lie off the true surface by up to the deviation, do not count as walls; the thickness is less by what the
slack added: exactly so between parallel walls and in round bars.

Every place is one of three kinds:

* ``CORNER``: the ball is held by the two surfaces beside a sharp edge, whose sharpness it measures and no thickness;
* ``EDGE``: a sharp edge lies within one radius of the ball, such as the rim of a cup;
* ``WALL``: all others.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from bandgen.engines.facets import Floats, Ints
from bandgen.inspection.sampling import Pieces, Skin, along_edges, cut_to_pieces, read_skin, scattered, thinned
from bandgen.inspection.topology import Bools

CORNER, EDGE, WALL = 0, 1, 2
CLOUD_MM = 0.05
"""Spacing of the cloud's points. The nearest of them is off the ball's true contact by less than its 0.7 (measured: 0.6
at most), so a thickness t comes out too large by 0.05^2 / 2 t at most: 0.004 mm at 0.3 mm, a tenth as a rule."""

LINES_MM, CUBE_MM = 0.8 * CLOUD_MM, 0.5 * CLOUD_MM
"""Spacing of the points on a face, and the cubes in which those of neighbouring faces stand for one another."""

PIECE_MM = 0.1
"""Longest edge of the pieces whose middles are measured."""

SITE_MM, SITES = 0.06, 8000
"""Of pieces in one cube of this size one is measured; of larger cubes where there would be many more sites."""

NEAR_MM = 0.03
"""Sites within this of the thinnest are looked at again, piece by piece."""

CONTACTS = 16
"""Points of the cloud nearest to a ball's centre among which its contact is looked for."""

LEAST_APART_DEG = 60.0
"""A ball whose contacts are seen from its middle under less lies in a blunt crease and measures no thickness."""

SHARPEST = 4.0
"""A corner's edge lies this many radii from the ball's centre at most: of a wedge of less than 29 degrees, a feather
edge, the thickness counts."""


@dataclass(frozen=True, eq=False)
class Ground:
    """What balls are measured on and against: a mesh's surfaces, pieces of those faces that are measured; the middles
    of some of them, the ``sites`` (k, 3), each with its outward ``normals`` and ``face``, stand for all others
    (``site_of``, (n,)); and a tree over the ``cloud`` of points of all surfaces, with the patch of each."""

    skin: Skin
    pieces: Pieces
    site_of: Ints
    sites: Floats
    normals: Floats
    face: Ints
    cloud: Floats
    cloud_patch: Ints
    tree: Any

    def closer(self, chosen: Bools) -> Ground:
        """The same with other sites: every piece that one of the ``chosen`` (k,) stands for."""
        pieces, near = self.pieces, np.flatnonzero(chosen[self.site_of])
        return replace(self, sites=pieces.points[near], normals=pieces.normals[near], face=pieces.face[near])


@dataclass(frozen=True, eq=False)
class Thickness:
    """At each of a ground's sites: the diameter of the ball (k,) in mm, ``cap_mm`` where it is no less; where its other
    contact lies (k, 3), nan where it has none; and its ``kind`` (k,)."""

    ground: Ground
    thickness: Floats
    contact: Floats
    kind: Ints
    cap_mm: float

    def near_least(self) -> Bools:
        """The sites (k,) that are thin as the thinnest, but for ``NEAR_MM``, among the walls or among the edges."""
        near = np.zeros(len(self.kind), bool)
        for kind in (EDGE, WALL):
            of_kind = self.kind == kind
            least = self.thickness.min(where=of_kind & ~np.isnan(self.contact[:, 0]), initial=self.cap_mm)
            near |= of_kind & (self.thickness < min(least + NEAR_MM, self.cap_mm))
        return near


def survey(vertices: Floats, faces: Ints, own: Ints | None = None) -> Ground:
    """The ground for a mesh of ``vertices`` (n, 3) and ``faces`` (m, 3), outward; of it only the faces ``own`` are
    measured, all others are what they are measured against."""
    from scipy.spatial import cKDTree

    skin = read_skin(vertices, faces)
    own = np.arange(len(faces)) if own is None else own
    pieces = cut_to_pieces(skin.corners[own], PIECE_MM)
    pieces = replace(pieces, face=own[pieces.face])
    kept, site_of = _sites(pieces, skin.patch[pieces.face])
    sites = pieces.points[kept], pieces.normals[kept], pieces.face[kept]
    cloud, cloud_patch = _cloud(skin)
    return Ground(skin, pieces, site_of, *sites, cloud, cloud_patch, cKDTree(cloud))


def _sites(pieces: Pieces, patch: Ints) -> tuple[Ints, Ints]:
    """The pieces (k,) that are measured, and which of them (n,) stands for each."""
    kept, site_of = thinned(pieces.points, patch, SITE_MM)
    if len(kept) <= SITES:
        return kept, site_of
    return thinned(pieces.points, patch, SITE_MM * math.sqrt(len(kept) / SITES))


def _cloud(skin: Skin) -> tuple[Floats, Ints]:
    """Points (n, 3) all over the surfaces, each on one of them alone; its patch (n,)."""
    points, face = scattered(skin.corners[:, :, :3], LINES_MM)
    patch = skin.patch[face]
    kept, _ = thinned(points, patch, CUBE_MM)
    return points[kept], patch[kept]


def measure_thickness(ground: Ground, slack_mm: float, cap_mm: float = 1.2, outside: bool = False) -> Thickness:
    """The balls in the metal, or in the space ``outside`` it; ``slack_mm`` twice the mesh's deviation."""
    inward = ground.normals if outside else -ground.normals
    radius, touched = largest_balls(ground.sites, inward, ground, slack_mm, cap_mm / 2.0)
    met = np.flatnonzero(touched >= 0)
    contact = np.full_like(ground.sites, np.nan)
    contact[met] = ground.cloud[touched[met]]
    centre = ground.sites[met] + radius[met, None] * inward[met]
    balls = _Balls(met, centre, radius[met], ground.sites[met], contact[met])
    kind, thickness = np.full(len(radius), WALL), 2.0 * radius
    kind[met] = _kinds(ground, balls, outside)
    thickness[met] -= 2.0 * slack_mm / np.maximum(1.0 - balls.cosine, 1.0)
    return Thickness(ground, thickness, contact, kind, cap_mm)


def largest_balls(
    points: Floats, inward: Floats, ground: Ground, slack_mm: float, cap_mm: float
) -> tuple[Floats, Ints]:
    """Radius (n,) of the largest ball at each of ``points`` (n, 3) along unit ``inward`` (n, 3), up to the cap, that
    no point of the cloud enters deeper than the slack; the number of the cloud point it meets, -1 for none."""
    radius, touched = np.full(len(points), cap_mm), np.full(len(points), -1)
    active = np.arange(len(points))
    while len(active):
        p, d, r = points[active], inward[active], radius[active]
        distance, near = ground.tree.query(p + r[:, None] * d)
        inside = distance < r - slack_mm - 1e-9
        active, near = active[inside], near[inside]
        to = ground.cloud[near] - p[inside]
        square, along = np.einsum("ij,ij->i", to, to), np.einsum("ij,ij->i", to, d[inside])
        radius[active] = (square - slack_mm**2) / (2.0 * (along - slack_mm))
        touched[active] = near
    return radius, touched


@dataclass(frozen=True, eq=False)
class _Balls:
    """Those of the balls that met something: at which ``sites`` they stand, their centres, radii and two contacts."""

    sites: Ints
    centre: Floats
    radius: Floats
    point: Floats
    contact: Floats

    @property
    def cosine(self) -> Floats:
        """Of the angle at the centre between the two contacts (n,): -1 between parallel walls."""
        to_point, to_contact = self.point - self.centre, self.contact - self.centre
        length = np.linalg.norm(to_point, axis=1) * np.linalg.norm(to_contact, axis=1)
        cosine: Floats = np.einsum("ij,ij->i", to_point, to_contact) / length
        return cosine


def _kinds(ground: Ground, balls: _Balls, outside: bool) -> Ints:
    """Corner, edge or wall (n,)."""
    from scipy.spatial import cKDTree

    skin, cosine = ground.skin, balls.cosine
    kind = np.full(len(cosine), WALL)
    ours = skin.convex != outside
    if ours.any():
        points, edge = along_edges(skin.ends[ours], CLOUD_MM)
        off = cKDTree(points).query(balls.centre)[0]
        kind[off <= 2.0 * balls.radius] = EDGE
        # the edge in which the two tangent planes meet, with a share for curvature
        reach = balls.radius * np.minimum(1.2 / np.sqrt(np.maximum((1.0 + cosine) / 2.0, 1e-9)), SHARPEST) + CLOUD_MM
        near = np.flatnonzero(off <= reach)
        for held, beside in _adjoining(ground, balls, near, np.sort(skin.sides[ours], axis=1)[edge]):
            distance = cKDTree(points[beside]).query(balls.centre[held])[0]
            kind[held[distance <= reach[held]]] = CORNER
    kind[cosine > np.cos(np.radians(LEAST_APART_DEG))] = CORNER
    return kind


def _adjoining(ground: Ground, balls: _Balls, near_edge: Ints, sides: Ints) -> Iterator[tuple[Ints, Ints]]:
    """Of the balls ``near_edge`` those between two patches that adjoin across sharp edges, pair by pair; and of the
    points on such edges, whose patches are ``sides`` (k, 2), those that part the two. A contact on an edge lies on both
    its patches."""
    count = int(ground.skin.patch.max()) + 1
    here = ground.skin.patch[ground.face[balls.sites[near_edge]], None]
    distance, near = ground.tree.query(balls.centre[near_edge], k=CONTACTS)
    there = ground.cloud_patch[near]
    pair = np.minimum(here, there) * count + np.maximum(here, there)
    pair[distance > distance[:, :1] + CLOUD_MM] = -1
    of_edge = sides[:, 0] * count + sides[:, 1]
    for both in np.intersect1d(pair, of_edge):
        yield near_edge[(pair == both).any(axis=1)], np.flatnonzero(of_edge == both)
