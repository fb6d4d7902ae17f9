"""Equal discs on a ring, each tangent to its circle: the gap between neighbours in closed form.

R is the radius of the girdle plane (the lower girdle edge on the stone's axis), d the girdle's diameter, N the
number of stones. The nearest points of two neighbours lie on the lower edge of the girdle.
"""

from __future__ import annotations

import math


def girdle_gap(radius: float, diameter: float, count: int) -> float:
    """Distance between neighbouring girdles: 2 R sin(pi/N) - d cos(pi/N)."""
    return 2.0 * radius * math.sin(math.pi / count) - diameter * math.cos(math.pi / count)


def greatest_count(radius: float, diameter: float, gap: float) -> int:
    """The most stones whose gap is at least ``gap``: floor(pi / (asin(g / sqrt(4R2 + d2)) + atan(d / 2R)))."""
    step = math.asin(gap / math.hypot(2.0 * radius, diameter)) + math.atan(diameter / (2.0 * radius))
    count = math.floor(math.pi / step + 1e-12)
    # The floor may be one off where the gap closes exactly: the gap itself decides.
    return count + 1 if girdle_gap(radius, diameter, count + 1) >= gap else count


def closing_radius(diameter: float, count: int, gap: float) -> float:
    """The girdle-plane radius at which ``count`` stones leave exactly ``gap``."""
    half = math.pi / count
    return (gap + diameter * math.cos(half)) / (2.0 * math.sin(half))
