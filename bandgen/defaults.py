"""The one place where values that a spec leaves out come from: a function of the stone and the bore.

Floors are casters' published minimums; slopes are common practice, no source. All lengths in mm, d the girdle's
diameter, r the bore's radius.

| key | value | why |
|---|---|---|
| proportions | the material's | `trade.stones` |
| gap | 0.10 d within 0.12 .. 0.20 | 0.10 between bead-set stones (GIA benchmark), and a setter's margin |
| floor | 0.35 d within 0.50 .. 0.80 | 0.5 under broad parts (Morris & Watson casting guidelines) |
| culet clearance | floor + max(0.12, 0.06 d); through: max(0.50, 0.35 d) | 0.5 from culet to finger (Stuller) |
| rim under girdle | 0.10 d within 0.17 .. 0.35 | common practice, no source |
| draft | feet of neighbours overlap by 0.15, within 1 .. 5 degrees | 0.15 between joined elements (Stuller) |
| wall | 0.80, or what leaves a recess 0.40 wide | openings of 0.4 at least (Stuller) |
| bearing | the stone's pavilion, from the mouth to the recess | common practice, no source |
| fillet | 0.15 d within 0.10 .. 0.40, shorter than the edges it joins | common practice, no source |
| prong | 0.35 + 0.22 d | from memory: about 0.3 to 0.35 d, never under 0.6 |
| overlap | 0.20, or 0.15 mm where that is more | a prong 0.15 in the cup (Stuller) |
| .. at most | what leaves 0.20 between a pair, and the root off the bearing | claws 0.20 apart (Morris & Watson) |
| prong height | max(0.50, 0.43 d): one pavilion depth | 0.5 to 1 above the seat before setting (bench guides) |
| plug bite | 0.6 of the rim's land, less where the plug would be wider than its prongs | common practice, no source |
"""

from __future__ import annotations

import math
from typing import Any

from bandgen.layout.events import foot_overlap, parting_height, pocket
from bandgen.layout.grip import axis_at, axis_for_reach
from bandgen.layout.numbers import Move, ProngNumbers
from bandgen.layout.packing import greatest_count
from bandgen.layout.seatwork import SeatNumbers, compute_seat, girdle_radius
from bandgen.spec import Spec
from bandgen.trade.stones import MATERIALS
from bandgen.units import KEEP_AWAY_MM

FOOT_OVERLAP_MM = 0.15
LEAST_DRAFT_DEG = 0.05
"""Under this the exact kernel takes a cone for a cylinder (seen up to 0.02 on a 1.5 mm cup)."""
LEAST_FOOT_OVERLAP_MM = 0.005
"""Feet that meet by less are a sliver: neither a joint nor a gap (common practice, no source)."""
PRONG_IN_CUP_MM = 0.15
LEAST_OPENING_MM = 0.40
LEAST_CLAW_GAP_MM = 0.20
DRAFT_RANGE_DEG = (1.0, 5.0)


def clamp(value: float, low: float, high: float) -> float:
    """``value`` moved into low .. high."""
    return min(max(value, low), high)


def fill(spec: Spec) -> tuple[Spec, tuple[Move, ...]]:
    """The spec of an even full circle with every value filled in, and what was moved to keep away from an event; all
    else that the user gave stays as it is. Filling a filled spec changes nothing."""
    spec = fill_stones(spec)
    most = greatest_count(girdle_radius(spec), spec.stones.diameter_mm, spec.stones.gap_mm)
    spec = put_missing(spec, "stones", count=max(most, 3))
    half = math.pi / spec.stones.count
    spec, moves = fill_seat(spec, half)
    return fill_joint(fill_prong_size(spec), half), moves


def put_missing(spec: Spec, table: str, **values: Any) -> Spec:
    """``values`` put where the table holds none."""
    inner = getattr(spec, table)
    missing = {key: value for key, value in values.items() if getattr(inner, key) is None}
    return spec.model_copy(update={table: inner.model_copy(update=missing)})


def fill_stones(spec: Spec) -> Spec:
    """What follows from the stone alone: proportions, gap and height over the finger."""
    d = spec.stones.diameter_mm
    material = MATERIALS[spec.stones.material]
    spec = put_missing(spec, "seat", floor_mm=clamp(0.35 * d, 0.50, 0.80))
    through = spec.seat.opening == "through"
    clearance = max(0.50, 0.35 * d) if through else spec.seat.floor_mm + max(0.12, 0.06 * d)
    return put_missing(
        spec,
        "stones",
        pavilion_deg=material.pavilion_deg,
        crown_deg=material.crown_deg,
        table_pct=material.table_pct,
        girdle_pct=material.girdle_pct,
        gap_mm=clamp(0.10 * d, 0.12, 0.20),
        culet_clearance_mm=clearance,
    )


def fill_seat(spec: Spec, half: float) -> tuple[Spec, tuple[Move, ...]]:
    """The cup and its recess, for a stone with neighbours like it: ``half`` is half the pitch in radians."""
    spec, moves = _settle_draft(_fill_cup(spec, half), half)
    return _fill_recess(spec), moves


def _fill_cup(spec: Spec, half: float) -> Spec:
    d = spec.stones.diameter_mm
    spec = put_missing(spec, "seat", rim_below_girdle_mm=clamp(0.10 * d, 0.17, 0.35), rim_diameter_mm=d)
    draft = clamp(_draft_for_overlap(spec, half, FOOT_OVERLAP_MM), *DRAFT_RANGE_DEG)
    return put_missing(spec, "seat", draft_deg=draft, bearing_deg=spec.stones.pavilion_deg)


def _settle_draft(spec: Spec, half: float) -> tuple[Spec, tuple[Move, ...]]:
    """Move a draft that is next to none, or one at which neighbouring feet would just touch (sound on both sides)."""
    moves: list[Move] = []
    if 0.0 < spec.seat.draft_deg < LEAST_DRAFT_DEG:
        spec = _moved_draft(spec, 0.0, "a cup so nearly straight is made straight", moves)
    feet = 2 * [(compute_seat(spec, girdle_radius(spec), wall_mm=0.0), half)]
    overlap, parting = foot_overlap(feet), parting_height(feet)
    if abs(overlap) < LEAST_FOOT_OVERLAP_MM - 1e-9 or abs(parting) < KEEP_AWAY_MM - 1e-9:
        used = _draft_off_touching(spec, half, overlap)
        spec = _moved_draft(spec, used, "neighbouring feet would just touch at the finger", moves)
    return spec, tuple(moves)


def _moved_draft(spec: Spec, used: float, reason: str, moves: list[Move]) -> Spec:
    moves.append(Move("seat.draft_deg", spec.seat.draft_deg, used, reason))
    return spec.model_copy(update={"seat": spec.seat.model_copy(update={"draft_deg": used})})


def _draft_off_touching(spec: Spec, half: float, overlap_mm: float) -> float:
    """The nearest draft at which the feet clearly meet or clearly do not; none less than the least but 0."""
    # Lowering the parting line by the keep-away takes twice that times the slope between side and seam plane.
    away = max(LEAST_FOOT_OVERLAP_MM, 2.5 * KEEP_AWAY_MM * math.tan(half))
    meeting = _draft_for_overlap(spec, half, away)
    if overlap_mm > 0.0 and meeting >= 0.0:
        return meeting if meeting >= LEAST_DRAFT_DEG else 0.0
    return max(_draft_for_overlap(spec, half, -away), LEAST_DRAFT_DEG)


def _draft_for_overlap(spec: Spec, half: float, overlap_mm: float) -> float:
    """The draft in degrees at which neighbouring feet overlap by this much at the finger."""
    bore = spec.finger.bore_mm / 2.0
    foot = (overlap_mm / 2.0 + bore * math.cos(half) * math.sin(half)) / math.cos(half)
    fall = girdle_radius(spec) - spec.seat.rim_below_girdle_mm - bore * math.cos(half)
    return math.degrees(math.atan2(spec.seat.rim_diameter_mm / 2.0 - foot, fall))


def _fill_recess(spec: Spec) -> Spec:
    d = spec.stones.diameter_mm
    narrowest = compute_seat(spec, girdle_radius(spec), wall_mm=0.0).column_radius_mm
    wall = max(min(0.80, narrowest - LEAST_OPENING_MM / 2.0), 0.2)
    if spec.seat.bearing_mm is not None:
        wall = compute_seat(spec, girdle_radius(spec)).wall_mm
    spec = put_missing(spec, "seat", wall_mm=wall)
    seat = compute_seat(spec, girdle_radius(spec))
    spec = put_missing(spec, "seat", fillet_mm=min(clamp(0.15 * d, 0.10, 0.40), longest_fillet(seat)))
    return put_missing(spec, "seat", bearing_mm=seat.mouth_radius_mm - seat.column_radius_mm)


def longest_fillet(seat: SeatNumbers) -> float:
    """The greatest fillet that the bearing and the recess's wall have room for; 0 where there is none."""
    room = min(seat.bearing_length_mm, seat.column_length_mm) - 2.0 * KEEP_AWAY_MM
    return max(math.floor(room / seat.fillet_tangent * 1e6) / 1e6, 0.0)


def fill_prong_size(spec: Spec) -> Spec:
    """The prong's diameter and height, for a stone with neighbours like it."""
    d = spec.stones.diameter_mm
    return put_missing(spec, "prong", diameter_mm=0.35 + 0.22 * d, height_above_girdle_mm=max(0.50, 0.43 * d))


def fill_joint(spec: Spec, half: float) -> Spec:
    """The plug's bite and the prong's share, for a stone whose seat and prong are filled in and whose axis stands
    ``half`` (radians) from the seam."""
    seat = compute_seat(spec, girdle_radius(spec))
    land = seat.rim_radius_mm - seat.mouth_radius_mm
    spec = put_missing(spec, "plug", bite_mm=max(min(0.6 * land, _buried_bite(spec, seat, half)), 0.05))
    if spec.prong.overlap is not None:
        return spec
    wanted = max(0.20, PRONG_IN_CUP_MM / spec.prong.diameter_mm)
    clear = share_for_clear_width(spec, half, LEAST_CLAW_GAP_MM)
    share = clamp(min(wanted, clear, _share_off_the_bearing(spec, half)), 0.05, 1.0 / 3.0)
    return put_missing(spec, "prong", overlap=_share_without_pocket(spec, half, share))


def _buried_bite(spec: Spec, seat: SeatNumbers, half: float) -> float:
    """The bite at which the plug is 0.1 mm narrower than the prongs that bury its ends."""
    slot = seat.rim_mm * math.sin(half) - seat.rim_radius_mm * math.cos(half)
    return (spec.prong.diameter_mm / 2.0 - 0.05 - slot) / math.cos(half)


def _share_without_pocket(spec: Spec, half: float, share: float) -> float:
    """The share, or where the plug stops over the finger the next lower one whose prongs close no void under it."""
    clearance, radius = spec.plug.foot_clearance_mm, spec.stones.diameter_mm / 2.0
    if clearance == 0.0:
        return share
    girdle, bore = girdle_radius(spec), spec.finger.bore_mm / 2.0
    seat, diameter = compute_seat(spec, girdle), spec.prong.diameter_mm
    for lower in [share - 0.005 * step for step in range(40) if share - 0.005 * step >= 0.05]:
        try:
            axis = axis_for_reach((0.5 - lower) * diameter, girdle, half, math.radians(seat.draft_deg), radius)
        except ValueError:
            continue
        prong = ProngNumbers(axis, diameter, lower, 0.0, "flat", 0.0, bore)
        if pocket(seat, prong, half, bore + clearance) >= KEEP_AWAY_MM:
            return lower
    return share


def _share_off_the_bearing(spec: Spec, half: float) -> float:
    """The share at which the prong's root, at the rim, stands 0.03 mm off the mouth of the recess."""
    girdle, radius = girdle_radius(spec), spec.prong.diameter_mm / 2.0
    seat, draft = compute_seat(spec, girdle), math.radians(spec.seat.draft_deg)
    try:
        axis = axis_for_reach(radius + 0.03, girdle, half, draft, seat.mouth_radius_mm, seat.rim_mm)
    except ValueError:  # far enough apart wherever it stands
        return 1.0
    return 0.5 - axis.distance_to_circle(half, girdle, spec.stones.diameter_mm / 2.0) / spec.prong.diameter_mm


def share_for_clear_width(spec: Spec, half: float, width_mm: float) -> float:
    """The share of the prong's diameter that a girdle enters when the pair stands ``width_mm`` apart over the plug."""
    draft = math.radians(spec.seat.draft_deg)
    radius, girdle = spec.stones.diameter_mm / 2.0, girdle_radius(spec)
    diameter = spec.prong.diameter_mm
    fall = girdle / math.cos(half) - plug_top(spec, girdle, half)
    spread = (width_mm + diameter) / 2.0
    for _ in range(8):
        lean = axis_at(spread, girdle, half, draft).lean
        spread = (width_mm + diameter / math.cos(lean)) / 2.0 + fall * math.tan(lean)
    reach = axis_at(spread, girdle, half, draft).distance_to_circle(half, girdle, radius)
    return (diameter / 2.0 - reach) / diameter


def plug_top(spec: Spec, girdle_mm: float, half: float) -> float:
    """Radial height of the plug's top: level with the rim where it comes nearest, less the keep-away."""
    rim = girdle_mm - spec.seat.rim_below_girdle_mm
    inside = spec.seat.rim_diameter_mm / 2.0 - spec.plug.bite_mm
    return rim * math.cos(half) + inside * math.sin(half) - KEEP_AWAY_MM
