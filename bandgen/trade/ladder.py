"""The ladder of calibrated sizes: diameters in mm of round stones that are sold to size.

To 3.7 mm the steps are the limits of the sieve classes that melee is sorted by, 1.0 the middle of the class of 0.9 to
1.1 (diamondconsultants.in, knowledge centre, sieve chart; trade facts, section 2, confidence medium). Above, where
stones are no longer sieved, the steps of a retail list (gemonediamond.com, diamond size chart; confidence medium).
"""

from __future__ import annotations

from bisect import bisect

CALIBRATED_MM = (
    *(1.0, 1.1, 1.15, 1.2, 1.25, 1.3, 1.35, 1.4, 1.45, 1.5, 1.55, 1.6),
    *(1.7, 1.8, 1.9, 2.0, 2.1, 2.2, 2.3, 2.4, 2.5, 2.6, 2.7, 2.8, 2.9, 3.0, 3.1, 3.2, 3.3, 3.4, 3.5, 3.6, 3.7),
    *(3.75, 4.0, 4.25, 4.5, 4.75, 5.0),
)


def nearest_calibrated(diameter_mm: float) -> float:
    """The calibrated size nearest to a diameter, the smaller of two that are as near."""
    place = bisect(CALIBRATED_MM, diameter_mm)
    beside = CALIBRATED_MM[max(place - 1, 0) : place + 1]
    return min(beside, key=lambda size: (round(abs(size - diameter_mm), 9), size))
