"""What every check means, how it is measured and why its limit is there: one entry for each code that a finding has.

``formula`` is that of the measured number where it has a closed form, in the manner of ``numbers``; empty where it is
measured on a mesh or a solid.
"""

from __future__ import annotations

from bandgen.reports.working.check import Check
from bandgen.reports.working.checks_workshop import AS_SET, CASTING, SOLID
from bandgen.reports.working.numbers import CUSTOM, GIA_BEAD, MORRIS, REST, STULLER, WEAR, gap_between
from bandgen.reports.working.site import Site

GIA_PRONG = "GIA quality assurance benchmark, prong setting"
SPEC_3MF = "3MF core specification 1.4"
VOID = "a trapped void bursts the mould in burnout (casters' guides)"
DEVIATION = "the mesh may stand off the true surface by mesh.deviation_mm"
TWO_ENGINES = "mesh and exact solid come from the same parts, so that each proves the other"


def _floor(site: Site) -> str:
    return "" if site.seat.through else "lowest - bore / 2"


def _pair_width(site: Site) -> str:
    return "2 * (spread + (plug_top - crossing) * tan(lean)) - prong_d * sqrt(1 - along_x**2) / along_y"


_NOTCH = "2 * acos(1 - 2 * overlap)"
_SIDES = "cos(half_{0}) * (foot_{0} - bore / 2 * sin(half_{0}))"

SETTING = (
    Check(
        "girdle-gap",
        "neighbouring stones stand apart",
        "the least distance in space between two girdles, in closed form",
        f"girdles that touch chip one another; 0.10 between bead-set stones ({GIA_BEAD}); the spec asks its own",
        gap_between,
    ),
    Check(
        "culet-clearance",
        "the stone's point stays off the finger",
        "height of the culet over the bore, on the stone's axis; in outer rows less what a comfort bore rises",
        f"0.5 from culet to finger, so that no point pricks and none is struck ({STULLER})",
        "clearance - (bore_at_row - cast_bore / 2)",
    ),
    Check(
        "culet-floor",
        "the stone's point stays off the floor of its recess",
        "height of the culet over the recess's floor, or over the finger where the seat goes through",
        f"a culet that meets metal lifts the stone off its bearing ({CUSTOM})",
        "bore / 2 + clearance - lowest",
    ),
    Check(
        "recess-wall",
        "metal round the recess",
        "from the recess to the cup's side where that is thinnest: at the recess's foot, as the cup narrows downwards",
        f"0.4 is the least that fills reliably in casting ({MORRIS})",
        "rim_d / 2 - (rim - lowest) * tan(draft) - column",
    ),
    Check(
        "recess-wall-asked",
        "metal round the recess, as the spec asks",
        "as recess-wall",
        "the spec's seat.wall_mm; a bearing_mm of its own places the recess, and may leave less",
        "rim_d / 2 - (rim - lowest) * tan(draft) - column",
    ),
    Check(
        "floor",
        "metal under the recess",
        "from the bore to the recess's floor on the stone's axis",
        f"0.5 under broad parts, which cool last ({MORRIS})",
        _floor,
    ),
    Check(
        "recess-width",
        "the recess can be cast open",
        "width of the recess under its bearing",
        f"openings of 0.4 at least; narrower ones close up in investing or break in the flask ({STULLER})",
        "2 * column",
    ),
    Check(
        "recess-depth",
        "the investment core in the recess holds",
        "height of the recess's wall over its width",
        f"a core that stands on one end is no deeper than wide ({MORRIS}); one held at both ends up to 4 times",
        "(rim - (mouth - column) * tan(bearing) - bottom) / (2 * column)",
        "",
    ),
    Check(
        "prong-overlap",
        "how deep a single notch goes",
        "share of the prong's diameter that a girdle enters",
        f"0.4 of a prong with one notch ({GIA_PRONG}); a third where two stones share it ({CUSTOM})",
        "overlap",
        "",
    ),
    Check(
        "prong-section",
        "metal left behind the notches",
        "area of the round section that the notches take, each a flat cut as deep as the girdle enters",
        f"more than half left behind, or the prong bends open ({GIA_PRONG}: 0.4 removed, 0.5 at most)",
        f"notches * (rad({_NOTCH}) - sin({_NOTCH})) / (2 * pi)",
        "",
    ),
    Check(
        "girdle-depth",
        "the prong's foot stays off the bearing",
        "how deep the girdle enters the prong, against the rim's width round the recess",
        f"a prong rooted in the bearing is cut away when the seat is ({CUSTOM})",
        "overlap * prong_d",
    ),
    Check(
        "pair-width",
        "room between the two prongs of a pair",
        "clear width between the pair at the plug's top",
        f"0.20 between claws, else investment does not fill the gap ({MORRIS})",
        _pair_width,
    ),
    Check(
        "contact-angle",
        "prongs hold the stone from all sides",
        "the widest angle, seen along the stone's axis, between two neighbouring prongs of a stone",
        f"from 180 degrees on, the stone slips out between two prongs; 150 leaves a margin ({CUSTOM})",
        "max(2 * azimuth_1, 2 * azimuth_2, 180 - azimuth_1 - azimuth_2)",
        "deg",
    ),
    Check(
        "prong-in-cup",
        "prong and cup fuse",
        "how deep the prong's side lies in the cup at its rim",
        f"joined elements overlap by 0.15 ({STULLER})",
        "prong_d / 2 - axis_to_rim",
    ),
    Check(
        "feet-joint",
        "cups join at the finger",
        "overlap of two cups' feet along the finger",
        f"joined elements overlap by 0.15 ({STULLER}); with less the plug is the joint: said, no fault",
        f"{_SIDES.format(1)} + {_SIDES.format(2)}",
    ),
    Check(
        "stone-on-bearing",
        "the stone rests on its bearing and cuts it nowhere",
        "from the bearing to the edges between pavilion facets, at the bearing's ends, as both are straight between",
        "0: the bearing opens just as far as the facet edges stand out of the pavilion (trade.stones, derived)",
        REST,
    ),
)

ADDED = (
    Check(
        "shank-thickness",
        "the shank stays round",
        "thickness at the bottom, at its crown",
        WEAR,
        "base_reach - bore / 2",
    ),
    Check("shank-width", "the shank stays round", "width at the bottom", WEAR, "base_width"),
    Check(
        "shank-edge",
        "the shank's edges fill in casting",
        "thickness at its edges, at end and bottom, where a half-round outside and a comfort bore take from both sides",
        f"0.5 of broad parts ({MORRIS})",
        "min(end_reach - end_drop - bore_at_end, base_reach - base_drop - bore_at_base)",
    ),
    Check(
        "shank-sizing",
        "the band can be resized",
        "whole ISO sizes (1 mm of circumference) that a fifth of the plain metal makes",
        f"beyond a fifth of the plain metal the set part is bent and stones come loose ({CUSTOM})",
        "floor(0.2 * plain_arc)",
        "",
    ),
    Check(
        "hoop-edge",
        "the hoop fills in casting",
        "thickness of the hoop at its edges, where a comfort bore takes the most",
        f"0.5 of broad parts ({MORRIS})",
        "hoop_top - bore_at_hoop",
    ),
    Check(
        "hoop-whole",
        "the recess leaves the hoop whole",
        "from the hoop's outside up to the recess's floor",
        f"a hoop strengthens where it runs through uncut ({CUSTOM})",
        "lowest - hoop_top",
    ),
    Check(
        "hoop-beside-opening",
        "the hoop goes on beside its openings",
        "width of hoop on each side of an opening",
        f"0.4 is the least that fills reliably in casting ({MORRIS})",
        "hoop_width / 2 - outer_row - column",
    ),
    Check(
        "floor-edge",
        "metal under the recess at its edge",
        "from a comfort bore, which rises towards the band's edges, to the recess's floor at its edge",
        f"0.5 under broad parts ({MORRIS})",
        "lowest - bore_at_recess",
    ),
    Check(
        "comfort-crown",
        "a comfort bore rises gently",
        "rise of the bore over half the band's width",
        f"past a third the band's sides end in knife edges ({CUSTOM})",
        "bore_crown / half_width",
        "",
    ),
    Check(
        "arch-recess",
        "metal between an arch and the recess",
        "least distance of the arch's back and head from the recess's outline",
        f"0.4 is the least that fills reliably in casting ({MORRIS})",
        "arch_metal",
    ),
    Check(
        "arch-arch",
        "metal between a cup's two arches",
        "from back to back, under the seat",
        f"0.4 is the least that fills reliably in casting ({MORRIS})",
        "2 * arch_back",
    ),
)

_MESH = (
    ("open-edges", "the surface is closed", "edges with a face on one side only", SPEC_3MF),
    ("nonmanifold-edges", "two faces to an edge", "edges where more than two faces meet", SPEC_3MF),
    ("misoriented-edges", "faces agree on what is outside", "edges whose two faces run the same way", SPEC_3MF),
    (
        "nonmanifold-vertices",
        "surfaces do not touch in a point",
        "vertices where fans of faces touch",
        SPEC_3MF,
    ),
    ("zero-area-faces", "every face has an area", "faces without area", SPEC_3MF),
    ("inside-out", "the outside is outside", "bodies of negative volume; of a solid, its volume", SPEC_3MF),
    ("cavities", "no closed void in the metal", "closed surfaces that bound a void", VOID),
    ("bodies", "one piece of metal", "bodies that hang together, voids left out", "a casting is one closed body"),
    ("self-intersections", "the surface does not run through itself", "pairs of faces that cross", SPEC_3MF),
    (
        "genus",
        "every opening that should be there, and no other",
        "handles by Euler's number: one for the ring, one for each opening",
        "the layout counts its openings; one more or fewer is a hole or a plug that nobody asked for",
    ),
    (
        "volume-bounds",
        "the metal is of a plausible amount",
        "the mesh's volume, by the divergence theorem",
        "closed forms of the parts: all side by side above, what no neighbour shares below",
    ),
    ("band-width", "the band is as wide as laid out", "twice the greatest z of the mesh", f"closed form; {DEVIATION}"),
    (
        "outer-diameter",
        "the band is as large as laid out",
        "twice the greatest distance from the ring's axis",
        f"closed form; {DEVIATION}",
    ),
    (
        "bore-diameter",
        "the finger's size",
        "twice the least distance of the mesh from the ring's axis",
        f"the size that was asked; {DEVIATION}",
    ),
    (
        "surface",
        "the mesh lies on the parts",
        "greatest signed distance of the first cell's corners and faces' middles from the parts' own profiles",
        DEVIATION,
    ),
    (
        "cells-alike",
        "all cells are as sound as the first",
        "greatest distance of a cell's corners from those of the first of its kind, each turned back",
        "rounding to float32: so one cell of each kind is enough to search for faults",
    ),
    (
        "volume",
        "the metal is what the numbers say",
        "the mesh's volume, against quadrature on the layout's numbers without a kernel",
        "the quadrature's own error and what facets were seen to add or take",
    ),
)
_EXACT = (
    ("exact-valid", "the exact solid is one valid body", "the kernel's own check, and the number of solids"),
    ("exact-genus", "both engines have the same openings", "handles of the exact solid, against the mesh's"),
    ("exact-volume", "both engines have the same metal", "volume of the exact solid, against the mesh's"),
    ("exact-bounds", "both engines have the same extents", "greatest difference of the two bounding boxes"),
    (
        "exact-distance",
        "the mesh lies on the exact faces",
        "greatest distance of 40 vertices from the faces",
    ),
)

CHECKS: dict[str, Check] = {
    check.code: check
    for check in (
        *SETTING,
        *ADDED,
        *CASTING,
        *SOLID,
        *AS_SET,
        *(Check(*row) for row in _MESH),
        *(Check(*row, f"{TWO_ENGINES}; {DEVIATION}") for row in _EXACT),
    )
}
"""By code."""
