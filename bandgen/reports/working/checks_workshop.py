"""What the checks on the way to the caster mean, those on the finished solid, and those on the band as it is set."""

from __future__ import annotations

from bandgen.reports.working.check import Check

MORRIS = "Morris & Watson, casting guidelines"
STULLER = "Stuller, production standards and best practices for CAD/CAM services"
GIA = "GIA quality assurance benchmark, prong setting"

CASTING = (
    Check(
        "compensation",
        "the files are larger than the design",
        "the factor by which all files are scaled",
        "one bureau asks for none and scales itself; a caster of direct patterns has them 1 % larger: so it is said",
    ),
    Check(
        "calibrated-size",
        "the house has measured bores near this one",
        "the bore in the files, against the smallest or largest that the house's profile was fitted to",
        "a line holds among the sizes it was fitted to; beyond them nobody has measured",
    ),
    Check(
        "calibrated-width",
        "the width comes out as designed, too",
        "the width that the house's profile expects of the files, against the design's",
        "all files are scaled by one factor, the bore's, as a finger's size counts first (common practice, no source); "
        "a symposium's ring lost 0.65 % of its bore and 5.7 % of its width (quoted on orchid.ganoksin.com 39603)",
    ),
    Check(
        "compensated-mesh",
        "the mesh is sound at its size in the files too",
        "faults of topology and crossings after scaling, which rounds every coordinate anew",
        "a file with a fault is no solid, whatever the design was",
    ),
    Check(
        "bore-allowance",
        "metal is left in the bore for polishing",
        "what the bore's radius is smaller by",
        "finishing takes 0.05 to 0.1 (HMS Manufacturing); with less the finger's size comes out too large",
    ),
    Check(
        "sprue-feed",
        "the sprue feeds its foot",
        "section of the rod over the section of its foot on the cup",
        "0.7 to 1.5 (Ganoksin, 'Sprue system design'; its authors call the rule almost useless)",
    ),
    Check(
        "sprue-section",
        "the sprue freezes after what it feeds",
        "diameter of the rod, against the thickest metal about its foot",
        "casters disagree: thicker than the heaviest part (Stuller), or never thicker than it (Orchid): both are said",
    ),
    Check(
        "sprue-count",
        "the band is fed from more than one side",
        "sprues on the band",
        "2 at least: an even band has no thick place from which all of it would fill (derived)",
    ),
)

SOLID = (
    Check(
        "wall-thickness",
        "walls fill in casting",
        "diameter of the largest ball that touches the surface from inside, where it is least",
        f"0.4 is the least that fills reliably ({MORRIS})",
    ),
    Check(
        "edge-thickness",
        "edges fill in casting and do not wash off",
        "the same ball, within one of its radii of a sharp edge",
        f"edges rounded by 0.125 at least, so twice that thick ({MORRIS})",
    ),
    Check(
        "slot-width",
        "slots stay open in casting",
        "diameter of the largest ball that touches the surface from outside, where it is least",
        f"0.2 of gap at least, else fill it and cut it later ({MORRIS})",
    ),
    Check(
        "prong-gap",
        "room between two prongs",
        "as slot-width, between two prongs",
        f"0.2 between claws ({MORRIS})",
    ),
    Check(
        "core-ratio",
        "the investment core in a recess holds",
        "depth below a level over the widest circle there, where that is most, on the mesh",
        f"a core that hangs free is no deeper than wide ({MORRIS}); one held at both ends is only noted",
        unit="",
    ),
    Check(
        "core-slender",
        "the investment core in a recess holds at both ends",
        "as core-ratio",
        "4 times the width for cores that go through (a gold-casting article, low confidence)",
        unit="",
    ),
    Check(
        "core-width",
        "the recess can be cast open",
        "diameter of the widest circle in the recess, where that is least, on the mesh",
        f"openings of 0.4 at least ({STULLER})",
    ),
    Check(
        "seat-metal",
        "metal under the recess",
        "from the recess's floor to the bore, at its middle and round it, on the mesh",
        f"0.5 under broad parts ({MORRIS})",
    ),
    Check(
        "mesh-deviation",
        "the mesh is as fine as a caster can use",
        "greatest distance of the mesh from the true surface",
        "0.015; finer gives nothing (Hygrade, 3D wax printing)",
    ),
)

AS_SET = (
    Check(
        "grip-agreement",
        "the set mesh holds its stones as laid out",
        "greatest difference of a contact, a tip's height or a notch between mesh and layout",
        "twice the mesh's deviation: two facets, the dome's and the crown's, meet there",
    ),
    Check(
        "crown-contact-least",
        "the prong covers enough of the crown",
        "share of the way from girdle to table that the prong covers, before it is pushed over",
        f"0.3 at least, or the stone works loose ({GIA})",
        unit="",
    ),
    Check(
        "crown-contact-most",
        "the prong does not hide the stone",
        "share of the way from girdle to table that the prong covers",
        f"0.5 at most ({GIA})",
        unit="",
    ),
    Check(
        "tip-height-least",
        "the tip is thick enough to hold",
        "height of the tip over the girdle, as a share of the crown's height",
        f"0.6 at least ({GIA})",
        unit="",
    ),
    Check(
        "tip-height-most",
        "the tip does not catch",
        "height of the tip over the girdle, as a share of the crown's height",
        f"0.8 at most ({GIA})",
        unit="",
    ),
    Check(
        "notch-depth",
        "how deep a notch goes",
        "share of the prong's diameter that a notch takes, on the line through its axis and the girdle",
        f"0.4 removed ({GIA})",
        unit="",
    ),
    Check(
        "notch-heel",
        "metal stays behind a notch",
        "share of the prong's diameter that is left behind it, on the same line",
        "half of the prong (Heart of Gold, repair guide)",
        unit="",
    ),
    Check(
        "section-left",
        "metal stays beside all notches together",
        "share of the prong's section that is left where its notches take the most",
        f"half at least ({GIA})",
        unit="",
    ),
    Check(
        "metal-under-seat",
        "metal under the set stone",
        "from the cut seat to the bore, beside the stone's axis, on the mesh",
        f"0.5 under broad parts ({MORRIS})",
    ),
)
