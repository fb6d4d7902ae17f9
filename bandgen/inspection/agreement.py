"""Do the two engines agree? Volume, genus, extents, and sampled mesh vertices against the exact faces."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.inspection.findings import Finding, at_most, equal
from bandgen.inspection.prediction import FLOAT32_MM
from bandgen.inspection.topology import Topology

if TYPE_CHECKING:
    from bandgen.engines.exact import Solid

ENGINES = "the other engine, from the same parts"
SAMPLES = 40


def inspect_agreement(solid: Solid, vertices: Floats, topology: Topology, deviation_mm: float) -> list[Finding]:
    """Findings on the exact solid beside the mesh ``vertices`` (n, 3)."""
    slack = deviation_mm + FLOAT32_MM
    sample = vertices[np.linspace(0, len(vertices) - 1, SAMPLES).astype(int)]
    distance = float(np.max(solid.distance_to_faces(sample)))
    apart = float(np.abs(solid.bounds - topology.bounds).max())
    return [
        _same("exact-valid", solid.is_valid() and solid.solid_count == 1, solid.solid_count, 1, "one valid solid"),
        _same("exact-genus", solid.genus == topology.genus, solid.genus, topology.genus or 0, "openings and handles"),
        _same(
            "exact-volume",
            abs(solid.volume - topology.volume) <= slack * topology.area,
            solid.volume,
            topology.volume,
            f"mm3; mesh within deviation times area, {slack * topology.area:.4f}",
        ),
        _within("exact-bounds", apart, slack, "mm between the two bounding boxes"),
        _within("exact-distance", distance, slack, f"mm from {SAMPLES} mesh vertices to the faces"),
    ]


def _same(code: str, good: bool, measured: float, limit: float, text: str) -> Finding:
    return equal(code, good, measured, limit, text, ENGINES)


def _within(code: str, measured: float, limit: float, text: str) -> Finding:
    return at_most(code, measured, limit, text, ENGINES, severity="error", slack=0.0)
