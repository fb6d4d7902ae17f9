"""The bands beyond the even full circle that ``scripts/bench`` times: half round, 25 different stones, two rows.

Each closes at the bench's gap on a bore of its own; stones of 2.0 mm, or from 2.0 to 2.6 mm where they differ.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bench_cases as cases

from bandgen.layout.arrange import arrange
from bandgen.pipeline import Band
from bandgen.spec import Spec, make_spec

COLUMNS = 30
"""Of the double row; the half band and the full one beside it have the bore of as many."""
UNEQUAL_MM = tuple(round(2.0 + 0.025 * step, 3) for step in range(25))
"""Set in the best order, falling to both sides from the top: no size twice, so that no cell is another's image."""
HALF, UNEQUAL, DOUBLE = (15, 2), (25, 25), (2 * COLUMNS, 1)
"""Stones, and different cells, of each: what ``check`` holds a band to."""
BORES_MM = (10.0, 25.0)
"""Between these lies the bore at which the unequal stones close at the gap."""


def full() -> Spec:
    """All round, on the bore of ``COLUMNS`` stones."""
    return cases.spec_of(COLUMNS)


def half() -> Spec:
    """Half round, the rest plain shank, on the same bore."""
    return _on_bore(full().finger.inner_diameter_mm, "half", {"coverage": "half"}, {"diameter_mm": cases.DIAMETER_MM})


def double() -> Spec:
    """Two straight rows all round, on the same bore."""
    stones = {"diameter_mm": cases.DIAMETER_MM, "count": COLUMNS}
    return _on_bore(full().finger.inner_diameter_mm, "double", {"rows": 2}, stones)


def unequal() -> Spec:
    """All stones different, all round: halves the range of the bore until they close at the gap."""
    small, large = BORES_MM
    for _ in range(30):
        middle = (small + large) / 2.0
        wide = arrange(_unequal(middle)).gap_mm > cases.GAP_MM
        small, large = (small, middle) if wide else (middle, large)
    return _unequal(large)


def _unequal(bore_mm: float) -> Spec:
    return _on_bore(bore_mm, "unequal", {"parcel_mm": list(UNEQUAL_MM), "order": "best"}, {})


def _on_bore(bore_mm: float, name: str, arrangement: Mapping[str, Any], stones: Mapping[str, Any]) -> Spec:
    return make_spec(
        {
            "name": f"bench-{name}",
            "finger": {"inner_diameter_mm": bore_mm},
            "stones": {"gap_mm": cases.GAP_MM, **stones},
            "arrangement": dict(arrangement),
        }
    )


def check(band: Band, stones: int, kinds: int) -> Band:
    """The band, if it is what its row of the table says: sound, of so many stones and so many different cells."""
    if not band.sound:
        faults = [finding for finding in band.findings if finding.severity == "error"]
        raise RuntimeError(f"{band.layout.spec.name} is not sound: {faults}")
    got = band.layout.stone_count, len({kind.seam for kind in band.layout.kinds})
    if got != (stones, kinds):
        raise RuntimeError(f"{band.layout.spec.name} has {got} stones and different cells, not {(stones, kinds)}")
    return band
