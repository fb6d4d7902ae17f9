"""Rules of the trade on scalloped sides, for ``inspection.setting.RULES``: warnings, as all of them are."""

from __future__ import annotations

from bandgen.inspection.findings import Finding, Place, at_least
from bandgen.layout.numbers import Layout, Side
from bandgen.layout.scallop import ArchNumbers

MORRIS = "Morris & Watson, casting guidelines"
LEAST_METAL_MM = 0.4


def metal_behind_arch(layout: Layout, side: Side) -> Finding | None:
    """Metal between an arch and the recess, at the caster's least."""
    arch = _arch(side)
    if arch is None:
        return None
    return _metal("arch-recess", side, arch.metal_mm, "mm of metal between arch and recess at the least")


def metal_between_arches(layout: Layout, side: Side) -> Finding | None:
    """Metal between the backs of a cup's two arches, under its seat, at the caster's least."""
    arch = _arch(side)
    if arch is None or len(layout.rows) > 1:  # a row side by side with others has an arch on one side at most
        return None
    return _metal("arch-arch", side, 2.0 * arch.back_mm, "mm of metal between the arches of both sides")


def _arch(side: Side) -> ArchNumbers | None:
    return next((extra for extra in side.station.extras if isinstance(extra, ArchNumbers)), None)


def _metal(code: str, side: Side, measured: float, text: str) -> Finding:
    place = Place(station=side.station.index)
    return at_least(code, measured, LEAST_METAL_MM, text, MORRIS, place, slack=1e-6)  # the height is found by bisection


RULES = (metal_behind_arch, metal_between_arches)
