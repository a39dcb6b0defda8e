"""Where a measured ring is split into stretches."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NOISE = 0.08
"""Points this near to a line or an arc, mm, lie on it."""


def middle_of_a_side(points: Floats) -> int:
    """Number of the point in the middle of the longest straight stretch: no corner is split there."""
    turned = np.roll(points, -int(np.argmin(points @ (1.0, 1.0))), axis=0)
    first = int(np.argmin(points @ (1.0, 1.0)))
    simple = shapely.get_coordinates(shapely.simplify(shapely.LineString(turned), NOISE))
    where = places_of(turned, simple)
    longest = int(np.argmax(np.hypot(*np.diff(simple, axis=0).T)))
    return (first + (where[longest] + where[longest + 1]) // 2) % len(points)


def places_of(points: Floats, chosen: Floats) -> list[int]:
    """Numbers of the chosen points, which come in the order of the points."""
    found, at = [], 0
    for x, y in chosen:
        while points[at, 0] != x or points[at, 1] != y:
            at += 1
        found.append(at)
        at = min(at + 1, len(points) - 1)
    return found
