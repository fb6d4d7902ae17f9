"""Conventions and tolerances: millimetres, degrees at the door, radians inside.

Band frame: ring axis Z, station 0 on +Y, stations counted counter-clockwise seen from +Z.
Exact trigonometry at quadrants, so that a symmetry plane that should be x = 0 is x = 0.
"""

from __future__ import annotations

import math

KEEP_AWAY_MM = 0.02
"""Least distance of a layout from an event where the geometry changes kind (common practice, no source:
a printer's voxel is 0.02 to 0.05 mm, so anything nearer is neither apart nor joined)."""

SNAP_MM = 1e-7
"""A vertex this near to a cut plane lies on it: a hundred times the rounding of the booleans, a tenth
of the shortest edge that may leave a cell."""

SHORTEST_EDGE_MM = 2e-5
"""Edges shorter than this are joined before a cell leaves the mesh engine: five times the resolution of float32 at
40 mm. At half of it one band in ten thousand folded over when its corners were rounded. Joining more (1e-3, 1e-4)
pulled corners off a mirror plane at the cusp where two feet part, and took volume from fine meshes."""

_QUADRANTS = {0.0: (0.0, 1.0), 90.0: (1.0, 0.0), 180.0: (0.0, -1.0), 270.0: (-1.0, 0.0)}


def sincosd(degrees: float) -> tuple[float, float]:
    """Sine and cosine of an angle in degrees, exact at multiples of 90."""
    turn = math.fmod(degrees, 360.0)
    turn = turn + 360.0 if turn < 0.0 else turn
    if turn in _QUADRANTS:
        return _QUADRANTS[turn]
    return math.sin(math.radians(degrees)), math.cos(math.radians(degrees))


def tand(degrees: float) -> float:
    """Tangent of an angle in degrees."""
    sine, cosine = sincosd(degrees)
    return sine / cosine
