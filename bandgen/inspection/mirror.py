"""A cell that is its own mirror image in the band's mid-plane need be searched on one side of it only."""

from __future__ import annotations

import numpy as np

from bandgen.engines.facets import Floats
from bandgen.inspection.topology import Bools

MIRRORED = np.array((1.0, 1.0, -1.0))


def upper_faces(corners: Floats) -> Bools:
    """Of a cell's faces, as corners (m, 3, 3), those at z >= 0 whose images, corners in reverse order, are all the
    rest: in blocks of upper and lower faces by turns, as cells are mirrored. All where that is not so to the bit."""
    count = len(corners)
    for blocks in (2, 4):
        if count and count % blocks == 0:
            pairs = corners.reshape(blocks // 2, 2, -1, 3, 3)
            upper, lower = pairs[:, 0], pairs[:, 1]
            if upper[..., 2].min() >= 0.0 and np.array_equal(upper[:, :, ::-1] * MIRRORED, lower):
                return np.tile(np.repeat((True, False), count // blocks), blocks // 2)
    return np.ones(count, bool)
