"""The finishing allowance: the bore made smaller, so that polishing opens it to the finger's size. Or a house's own
profile, which knows from which bore of the files its finished one is the finger's.

With an allowance only the bore's own tool changes: stones, seats and all heights over the finger stay where the
finished band has them. What stands at the bore is looked at a second time there, as it is cast. A profile changes the
files' size alone.
"""

from __future__ import annotations

import math
from dataclasses import replace

from bandgen.errors import Problem, SpecError
from bandgen.layout.bore import half_width_at
from bandgen.layout.events import list_events, nearest_of_each, nearness, parting_height
from bandgen.layout.hoop import distinct_seams, filled, grazes, hoop_of
from bandgen.layout.numbers import Event, Layout, PlugNumbers, Seam, Side
from bandgen.layout.seams import CUSP_MM
from bandgen.spec.casting import PROFILE_KEY
from bandgen.trade.house_profile import HouseProfile

AT_BORE = (
    *("feet-touch", "cup-mid-plane", "pair-touch", "prong-leaves-cup", "prong-mid-plane"),
    *("prongs-cross", "prongs-part", "plug-end", "pinhole"),
)
"""Events whose distance depends on where the metal ends at the finger."""
KEY = "casting.bore_allowance_mm"
FACTORS = (0.8, 1.25)
"""No finished ring is taken for a calibration that is 20 % off its design (`reports.house_rings.MOST_OFF`)."""


def add_allowance(layout: Layout) -> Layout:
    """The layout with its bore as cast; after all that stands at a flat bore, before a comfort bore rounds it. A
    house's profile is told the bore, from which its factor follows."""
    if layout.spec.casting.profile is not None:
        return _calibrated(layout, layout.spec.casting.profile)
    allowance = layout.spec.casting.bore_allowance_mm
    if allowance == 0.0:
        return layout
    finished = layout.bore.radius_mm
    bore = replace(layout.bore, radius_mm=finished - allowance, allowance_mm=allowance)
    seams = tuple(_with_deeper_plug(layout, seam, allowance) for seam in layout.seams)
    ring = math.pi * (finished**2 - bore.radius_mm**2) * 2.0 * half_width_at(layout, finished)
    low, high = layout.volume_bounds_mm3
    events = nearest_of_each([event for seam, sides in distinct_seams(layout) for event in _events(layout, sides)])
    return replace(
        layout, bore=bore, seams=seams, events=(*layout.events, *events), volume_bounds_mm3=(low, high + ring)
    )


def _calibrated(layout: Layout, profile: HouseProfile) -> Layout:
    """Raises SpecError for a bore at which the house's line makes no sense."""
    bore = 2.0 * layout.bore.finished_mm
    known = replace(profile, finished_bore_mm=bore)
    low, high = FACTORS
    if not low <= known.factor <= high:
        rule = f"asks for files {known.factor:.4g} times a design of {bore:.3f} mm bore, not within {low:g} to {high:g}"
        raise SpecError([Problem(PROFILE_KEY, rule, profile.data, "a profile of rings near this size")])
    return filled(layout, "casting", profile=known)


def _with_deeper_plug(layout: Layout, seam: Seam, allowance_mm: float) -> Seam:
    """A flush plug ends as deep under the bore as before, and as far from where the cups part."""
    if seam.plug is None:
        return seam
    sides = layout.sides(seam)
    parting = layout.bore.radius_mm + parting_height([(side.station.seat, side.half) for side in sides])
    return replace(seam, plug=_deeper(seam.plug, parting, allowance_mm))


def _deeper(plug: PlugNumbers, parting_mm: float, allowance_mm: float) -> PlugNumbers:
    foot = plug.foot_mm - allowance_mm
    return replace(plug, foot_mm=foot - 2.0 * CUSP_MM if abs(parting_mm - foot) < CUSP_MM else foot)


def _events(layout: Layout, sides: tuple[Side, ...]) -> list[Event]:
    """What stands at the bore as cast, in one seam."""
    allowance, bore = layout.spec.casting.bore_allowance_mm, layout.bore.radius_mm
    cast = bore - allowance
    found = [event for event in list_events([_as_cast(side, cast) for side in sides], 0.0) if event.name in AT_BORE]
    hoop = hoop_of(sides[0].seam)
    if hoop is not None and layout.spec.bore.section == "flat":
        found += [each.event(hoop) for side in sides for each in grazes(side, cast, "finger", layout.outer_row_mm)]
    seam = sides[0].seam.index
    text = "of the bore as cast"
    return [
        replace(each, name=f"cast-{each.name}", key=KEY, text=f"{each.text} ({text})", seam=seam)
        for each in sorted(found, key=nearness)
    ]


def _as_cast(side: Side, bore_mm: float) -> Side:
    """A side whose seat and prongs end at the bore as cast."""
    seat = replace(side.station.seat, bore_radius_mm=bore_mm)
    prongs = tuple(replace(prong, bore_radius_mm=bore_mm) for prong in side.seam.prongs)
    return Side(replace(side.station, seat=seat), replace(side.seam, prongs=prongs), side.sign)


def finished(layout: Layout) -> Layout:
    """The layout as the trade judges it: its bore polished open."""
    bore = layout.bore
    return replace(layout, bore=replace(bore, radius_mm=bore.finished_mm, allowance_mm=0.0))


def printed_bore_mm(layout: Layout) -> float:
    """Diameter of the bore in the files: as cast, and larger by what pattern and metal, or a house's rings, shrink."""
    return 2.0 * layout.bore.radius_mm * layout.spec.casting.factor
