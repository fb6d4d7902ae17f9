"""The stones themselves, as faceted bodies in their places: for pictures, and for trying them in the metal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bandgen.layout.numbers import Layout
from bandgen.trade.stones import Proportions, brilliant
from bandgen.units import sincosd

PlacedStone = tuple[NDArray[np.float64], NDArray[np.int64], str]
"""Vertices (n, 3) in mm in the band's frame, faces (m, 3) outward, material."""


def placed_stones(layout: Layout) -> list[PlacedStone]:
    """Every stone, row by row in order of station: a round brilliant, its mains facing along the finger.

    Raises ValueError as ``trade.stones.brilliant``.
    """
    known: dict[tuple[float, Proportions], tuple[NDArray[np.float64], NDArray[np.int64]]] = {}
    stones = []
    for row in layout.rows:
        for station in layout.stations:
            size = (station.diameter_mm, station.proportions)
            if size not in known:
                known[size] = brilliant(*size)
            angle = station.angle_deg + (layout.seams[station.index].before_deg if row.turned else 0.0)
            vertices, faces = known[size]
            stones.append((_stand(vertices, station.seat.girdle_mm, angle, row.z_mm), faces, station.material))
    return stones


def _stand(vertices: NDArray[np.float64], girdle_mm: float, angle_deg: float, z_mm: float) -> NDArray[np.float64]:
    """From the stone's frame to the band's, at an angle counter-clockwise from +Y and a place along the finger."""
    sine, cosine = sincosd(angle_deg)
    x, y, z = vertices.T
    y = y + girdle_mm
    return np.column_stack((cosine * x - sine * y, sine * x + cosine * y, z + z_mm))
