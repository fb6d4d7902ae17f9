"""Rules of the trade measured on the solid: walls, edges, slots, recesses as casting cores, metal under the seats, and
the mesh itself; warnings all. A house may put its own limits in their place (:mod:`bandgen.inspection.house`)."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from bandgen.band import Mesh
from bandgen.inspection.findings import Finding, Place, Severity, at_least, at_most, worst
from bandgen.inspection.solid_map import CAP_MM, Recess, Thin, ThinPlaces, map_solid, measure_recesses, thin_places
from bandgen.inspection.surface import inspect_surface
from bandgen.layout.numbers import Layout

MORRIS = "Morris & Watson, casting guidelines"
ROUNDED = "Morris & Watson, casting guidelines: edges rounded to 0.125 mm at least, so twice that thick"
STULLER = "Stuller, production standards and best practices for CAD/CAM services"
THROUGH = "The story of gold, a gold-casting article: through holes to 4 times their width (low confidence)"
HYGRADE = "Hygrade, 3D wax printing: 0.015 mm, finer gives nothing"
WALL_MM, EDGE_MM, GAP_MM, OPENING_MM, FLOOR_MM, TOLERANCE_MM = 0.4, 0.25, 0.2, 0.4, 0.5, 0.015
STUBBY, SLENDER = 1.0, 4.0
"""Depth over width of a core."""

ON_TAG = {"tag", "letter"}
"""Parts between which a narrow space is a letter's shape, on what is cut off."""

GOOD_TO_MM = 0.005
"""What facets may take from a width that is just kept: the deviation of the mesh that is measured."""


def inspect_solid(layout: Layout, mesh: Mesh) -> list[Finding]:
    """Every rule on the solid, measured and judged."""
    return judge_solid(layout, mesh, thin_places(layout, map_solid(layout, mesh)), measure_recesses(layout, mesh))


def judge_solid(layout: Layout, mesh: Mesh, thin: ThinPlaces, recesses: Sequence[Recess]) -> list[Finding]:
    """The findings on what was measured."""
    deviation = float(inspect_surface(layout, mesh)[0].measured)
    return [
        *_thin_findings(thin),
        *_core_findings(recesses),
        at_most("mesh-deviation", deviation, TOLERANCE_MM, "mm from the mesh to the true surface", HYGRADE),
    ]


def _thin_findings(thin: ThinPlaces) -> list[Finding]:
    """Walls, edges, the narrowest space, and the narrowest between two prongs."""
    spaces = [place for place in thin.spaces if not ON_TAG.issuperset(place.parts)]
    prongs = [place for place in spaces if place.parts == ("prong", "prong")]
    return [
        _least("wall-thickness", thin.walls, WALL_MM, "mm of metal where it is thinnest", MORRIS),
        _least("edge-thickness", thin.edges, EDGE_MM, "mm of metal within one radius of an edge", ROUNDED),
        _least("slot-width", spaces, GAP_MM, "mm of space where it is narrowest", MORRIS),
        _least("prong-gap", prongs, GAP_MM, "mm of space", MORRIS),
    ]


def _least(code: str, found: Sequence[Thin], limit: float, text: str, source: str) -> Finding:
    """The thinnest of places in order; at least the cap where there is none."""
    if not found:
        return at_least(code, CAP_MM, limit, f"{text} (or more)", source)
    thin = found[0]
    place = Place(thin.station, thin.seam, thin.point)
    between = f"{text}, between {thin.parts[0]} and {thin.parts[1]}"
    return at_least(code, thin.mm, limit, between, source, place, slack=GOOD_TO_MM)


def _core_findings(recesses: Sequence[Recess]) -> list[Finding]:
    """Of every rule on a recess the worst."""
    found = [(rule, [f for each in recesses if (f := rule(each)) is not None]) for rule in RECESS_RULES]
    return [worst(findings) for _, findings in found if findings]


def core_ratio(recess: Recess) -> Finding:
    """No deeper than wide: a blind core hangs free; one that goes through is held at both ends, which is noted."""
    text = f"depth below over the widest circle, at its most; {_held(recess)}"
    severity: Severity = "note" if recess.core.through else "warning"
    return at_most("core-ratio", recess.core.ratio, STUBBY, text, MORRIS, _at(recess), severity)


def core_slender(recess: Recess) -> Finding:
    """A core this long breaks even where it is held at both ends."""
    text = f"depth below over the widest circle, at its most; {_held(recess)}"
    return at_most("core-slender", recess.core.ratio, SLENDER, text, THROUGH, _at(recess))


def core_width(recess: Recess) -> Finding:
    """The narrowest of the widest circles at each depth."""
    width, text = recess.core.width_mm, "mm across the recess where it is narrowest"
    return at_least("core-width", width, OPENING_MM, text, STULLER, _at(recess), slack=GOOD_TO_MM)


def seat_metal(recess: Recess) -> Finding | None:
    """Metal under the recess, where it has a floor."""
    if recess.core.through:
        return None
    metal, text = recess.core.floor_mm, "mm of metal under the recess where it is thinnest"
    return at_least("seat-metal", metal, FLOOR_MM, text, MORRIS, _at(recess), slack=GOOD_TO_MM)


def _held(recess: Recess) -> str:
    return "through, held at both ends" if recess.core.through else "blind, free at its end"


def _at(recess: Recess) -> Place:
    return Place(station=recess.station, point=recess.point)


RECESS_RULES: tuple[Callable[[Recess], Finding | None], ...] = (core_ratio, core_slender, core_width, seat_metal)
