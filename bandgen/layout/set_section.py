"""A prong's section after its notches: a circle less what of it lies in the girdles' discs, by Green's theorem.

The girdles are taken as circles in the plane square to the prong; their tilt (some 10 degrees) changes the radius of
curvature by its cosine alone, the depth not at all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NODES = 32
"""Gauss-Legendre nodes an arc: its moments are sines and cosines of five times its angle at most, so that 32 are exact
to rounding."""


@dataclass(frozen=True)
class Notch:
    """A girdle's disc in a prong's section: the direction (radians) and distance (mm) of its middle, and its radius."""

    towards: float
    distance_mm: float
    radius_mm: float


@dataclass(frozen=True)
class SectionLeft:
    """What is left of a prong's section, as shares of the whole: its area, and its second moment about the weakest axis
    through its own centre, to which the bending stiffness is proportional."""

    area: float
    stiffness: float


def section_left(radius_mm: float, notches: Sequence[Notch]) -> SectionLeft:
    """The section of a round prong less its notches, which do not meet one another."""
    whole = math.pi * radius_mm**2
    rest = np.array([whole, 0.0, 0.0, whole * radius_mm**2 / 4.0, 0.0, whole * radius_mm**2 / 4.0])
    for notch in notches:
        rest = rest - lens_moments(radius_mm, notch)
    area, mx, my, mxx, mxy, myy = (float(value) for value in rest)
    xx, xy, yy = mxx - mx * mx / area, mxy - mx * my / area, myy - my * my / area
    weakest = (xx + yy) / 2.0 - math.hypot((xx - yy) / 2.0, xy)
    return SectionLeft(area / whole, weakest / (whole * radius_mm**2 / 4.0))


def lens_moments(radius_mm: float, notch: Notch) -> Floats:
    """Moments (6,) of what a notch takes from the circle about the origin: those of 1, x, y, xx, xy, yy."""
    r, disc, far = radius_mm, notch.radius_mm, notch.distance_mm
    if far >= r + disc:
        return np.zeros(6)
    half = math.acos((far**2 + r**2 - disc**2) / (2.0 * far * r))
    inner = math.acos((far**2 + disc**2 - r**2) / (2.0 * far * disc))
    towards, back = notch.towards, notch.towards + math.pi
    x, y = far * math.cos(towards), far * math.sin(towards)
    outside = _arc_moments((0.0, 0.0), r, towards - half, towards + half)
    return outside + _arc_moments((x, y), disc, back - inner, back + inner)


def _arc_moments(middle: tuple[float, float], radius: float, start: float, end: float) -> Floats:
    """An arc's share (6,) of the contour integrals that give the moments of 1, x, y, xx, xy, yy."""
    nodes, weights = _gauss()
    angle = (start + end) / 2.0 + (end - start) / 2.0 * nodes
    x, y = middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle)
    dy = radius * np.cos(angle) * weights * (end - start) / 2.0
    terms = np.array([x, x**2 / 2.0, x * y, x**3 / 3.0, x**2 * y / 2.0, x * y**2])
    summed: Floats = terms @ dy
    return summed


@lru_cache(maxsize=1)
def _gauss() -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return nodes, weights


def heel_mm(radius_mm: float, notch: Notch, others: Sequence[Notch]) -> float:
    """Metal behind a notch: on the line from its deepest point through the prong's axis, to the far side or to another
    notch that is met there."""
    x, y = -math.cos(notch.towards), -math.sin(notch.towards)
    far = radius_mm
    for other in others:
        run = other.distance_mm * (x * math.cos(other.towards) + y * math.sin(other.towards))
        square = other.radius_mm**2 - other.distance_mm**2 + run**2
        if run > 0.0 and square > 0.0:
            far = min(far, run - math.sqrt(square))
    return notch.distance_mm - notch.radius_mm + far
