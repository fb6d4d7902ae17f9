"""Wrong bands, planted one fault at a time: each mutant is a function from a sound band to a wrong mesh of it.

``MUTANTS`` names each with the error codes that it must raise, whatever else it raises: those of ``mutants_of_parts``,
made by the tools here and closed by the engine like any band, and those of ``mutants_of_meshes``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bandgen.band import Mesh
from bandgen.builders.plug import build_plug
from bandgen.builders.prong import build_prongs
from bandgen.cell import whole_cell
from bandgen.engines import mesh, ring
from bandgen.layout.numbers import Layout, Seam
from bandgen.parts import Part, Point, Profile

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


def strip_of(parts: Sequence[Part], layout: Layout) -> ring.Strip:
    """A whole cell without any mirror: nothing is made symmetric that the parts did not make so."""
    cell = whole_cell(layout, layout.seams[0])
    return opened(mesh.evaluate(parts, (cell.before, cell.after), layout.spec.mesh.deviation_mm))


def opened(patch: mesh.Patch) -> ring.Strip:
    return ring._sorted(patch.vertices, patch.faces, *patch.on_plane)


def closed(strips: Sequence[ring.Strip], which: Sequence[int], layout: Layout) -> Mesh:
    """The ring of one strip a seam, rounded as the band's mesh is."""
    whole = ring.close_ring([(strips[own], seam.angle_deg) for own, seam in zip(which, layout.seams, strict=True)])
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
        return replace(seam, prongs=(replace(seam.prong, **new),))

    return other_prongs(change)


def other_axis(**values: float) -> Change:
    """The prongs on an axis with some numbers replaced."""

    def change(seam: Seam) -> Seam:
        return replace(seam, prongs=(replace(seam.prong, axis=replace(seam.prong.axis, **values)),))

    return other_prongs(change)


def other_plug(**values: float) -> Change:
    """The plug with some numbers changed by the given amounts."""

    def change(parts: Parts, seam: Seam) -> Parts:
        plug = replace(seam.plug, **{key: getattr(seam.plug, key) + value for key, value in values.items()})
        return (*without("plug")(parts, seam), *build_plug(replace(seam, plug=plug)))

    return change
