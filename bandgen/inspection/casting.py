"""What is said of a band on its way to the caster: the files' compensation, the finishing allowance, the sprues."""

from __future__ import annotations

from dataclasses import replace

from bandgen.engines.facets import Floats, Ints
from bandgen.inspection.findings import ROUNDING, Finding, Place, Severity
from bandgen.inspection.prediction import extents
from bandgen.inspection.setting import Rule
from bandgen.inspection.soundness import inspect_crossings, inspect_topology
from bandgen.inspection.topology import measure
from bandgen.layout.casting import printed_bore_mm
from bandgen.layout.numbers import Layout, Side
from bandgen.layout.sprue import SprueNumbers, sprue_of
from bandgen.spec.casting import PROFILE_KEY
from bandgen.trade.house_profile import HouseProfile, Line, designed_for

BUREAUS = "i.materialise forum, 'Shrinkage gold casting': a bureau that asks for none; Artistry of Gold: about 1 %"
HMS = "HMS Manufacturing, prepare an STL file for jewelry casting: 0.05 to 0.1"
GANOKSIN = "Ganoksin, 'Sprue system design': 70 to 150 %, by its authors' own word almost useless"
CONFLICT = "thicker than the heaviest part (Stuller, 'Casting 101'), or never thicker than it (Orchid, 'Sprue too big')"
FEEDS = "derived: an even band has no thick place to feed from, so two at least"
FEED_SHARES = (0.7, 1.5)
LEAST_ALLOWANCE_MM = 0.05
READING_MM = 0.01
"""What a calliper shows."""


def inspect_compensated(vertices: Floats, faces: Ints, around: Ints, own: Ints) -> Finding:
    """Finding "compensated-mesh" on the mesh as the files carry it: scaling it rounds its numbers anew. Crossings are
    looked for among the faces ``around`` (ids), with one of ``own`` (places in that list) in each pair."""
    found = [*inspect_topology(measure(vertices, faces)), inspect_crossings(vertices, faces[around], own)]
    faults = sum(finding.severity == "error" for finding in found)
    severity: Severity = "error" if faults else "ok"
    return Finding("compensated-mesh", severity, faults, 0, "faults of the mesh at its size in the files", BUREAUS)


def compensation(layout: Layout, side: Side) -> Finding | None:
    """Files that are larger than the design: said, since a bureau may make up for shrinkage itself."""
    factor, profile = layout.spec.casting.factor, layout.spec.casting.profile
    if factor == 1.0:
        return None
    key = "casting's shrinkages" if profile is None else PROFILE_KEY
    text = f"times the design in all files: leave {key} out where the bureau makes up for shrinkage itself"
    return Finding("compensation", "note", factor, 1.0, text, BUREAUS if profile is None else _house(profile))


def calibrated_size(layout: Layout, side: Side) -> Finding | None:
    """The bore of the files against those that the house has measured: beyond them its line is drawn out."""
    profile = layout.spec.casting.profile
    if profile is None or profile.bore is None:
        return None
    designed = printed_bore_mm(layout)
    low, high = profile.bore.least_mm, profile.bore.most_mm
    severity: Severity = "ok" if _measured(profile.bore, designed) else "note"
    text = f"mm of bore in the files, the house's rings {low:g} to {high:g} mm: beyond them its line is a guess"
    limit = low if designed < (low + high) / 2.0 else high
    return Finding("calibrated-size", severity, designed, limit, text, _house(profile))


def calibrated_width(layout: Layout, side: Side) -> Finding | None:
    """What the band's width comes out as: the files follow the bore, and a house's widths may follow another line."""
    profile = layout.spec.casting.profile
    if profile is None or profile.width is None:
        return None
    width, factor = band_width(layout), layout.spec.casting.factor
    finished, own = profile.width.finished(width * factor), designed_for(profile, width, "width") / width
    text = f"mm of width expected: the bore takes files {factor:.4f} times the design, the width would take {own:.4f}"
    if not (measured := _measured(profile.width, width * factor)):
        text += f"; a guess beyond the house's {profile.width.least_mm:g} to {profile.width.most_mm:g} mm"
    severity: Severity = "ok" if measured and abs(finished - width) <= READING_MM else "note"
    return Finding("calibrated-width", severity, finished, width, text, _house(profile))


def _measured(line: Line, designed_mm: float) -> bool:
    """Whether such a size lies among those that the line was fitted to."""
    return line.least_mm - ROUNDING <= designed_mm <= line.most_mm + ROUNDING


def band_width(layout: Layout) -> float:
    """Over all but sprues, which are cut off (mm)."""
    bare = replace(layout, stations=tuple(replace(station, extras=()) for station in layout.stations))
    return 2.0 * extents(bare)[0]


def _house(profile: HouseProfile) -> str:
    return f"the house's own rings, {profile.data}"


def bore_allowance(layout: Layout, side: Side) -> Finding | None:
    """Metal left in the bore for polishing, where any is asked."""
    allowance = layout.spec.casting.bore_allowance_mm
    if allowance == 0.0:
        return None
    severity: Severity = "ok" if allowance >= LEAST_ALLOWANCE_MM - 1e-9 else "warning"
    return Finding("bore-allowance", severity, allowance, LEAST_ALLOWANCE_MM, "mm of radius left to polish", HMS)


def sprue_feed(layout: Layout, side: Side) -> Finding | None:
    """The rod's section against its foot's on the cup."""
    sprue = sprue_of(side.station)
    if sprue is None:
        return None
    low, high = FEED_SHARES
    good = low - 1e-9 <= sprue.feed_share <= high + 1e-9
    limit = low if sprue.feed_share < low else high
    text = "section of the sprue over that of its foot"
    return Finding("sprue-feed", "ok" if good else "warning", sprue.feed_share, limit, text, GANOKSIN, _station(side))


def sprue_section(layout: Layout, side: Side) -> Finding | None:
    """The rod against the metal that it feeds: casters disagree, so both are said."""
    sprue = sprue_of(side.station)
    if sprue is None:
        return None
    thick = thickest_mm(side, sprue)
    text = "mm of sprue, against the thickest metal about its foot: casters disagree which is to be the thicker"
    return Finding("sprue-section", "note", 2.0 * sprue.radius_mm, thick, text, CONFLICT, _station(side))


def sprue_count(layout: Layout, side: Side) -> Finding | None:
    """Two feeds at least."""
    if sprue_of(side.station) is None:
        return None
    count = sum(sprue_of(station) is not None for station in layout.stations)
    return Finding("sprue-count", "ok" if count >= 2 else "warning", count, 2, "sprues", FEEDS)


def thickest_mm(side: Side, sprue: SprueNumbers) -> float:
    """Metal between the recess and the cup's outside, or between finger and floor, where that is more (mm)."""
    seat = side.station.seat
    wall = seat.radius_at(sprue.height_mm) - seat.column_radius_mm
    return max(wall, 0.0 if seat.through else seat.floor_mm - seat.bore_radius_mm)


def _station(side: Side) -> Place:
    return Place(station=side.station.index)


RULES: tuple[Rule, ...] = (
    compensation,
    calibrated_size,
    calibrated_width,
    bore_allowance,
    sprue_feed,
    sprue_section,
    sprue_count,
)
