"""Student's t for whole degrees of freedom, in closed form: how sure few measurements are."""

from __future__ import annotations

import math


def t_share(t: float, freedom: int) -> float:
    """Share of Student's distribution within -t to t, in closed form (Abramowitz and Stegun 26.7.3 and 26.7.4)."""
    angle, odd = math.atan(t / math.sqrt(freedom)), freedom % 2
    sine, cosine = math.sin(angle), math.cos(angle)
    term = cosine if odd else 1.0
    total = term if freedom > 1 else 0.0
    for power in range(2 + odd, freedom - 1, 2):
        term *= (power - 1) / power * cosine * cosine
        total += term
    return 2.0 / math.pi * (angle + sine * total) if odd else sine * total


def t_quantile(freedom: int, share: float = 0.95) -> float:
    """The t that Student's distribution stays within by ``share``, by bisection of the angle."""
    low, high = 0.0, math.pi / 2.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (low, middle) if t_share(math.sqrt(freedom) * math.tan(middle), freedom) > share else (middle, high)
    return math.sqrt(freedom) * math.tan(low)
