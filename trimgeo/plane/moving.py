"""Shapes turned, mirrored and shifted, so that areas stay areas.

A corner that lies on another side of its area but for rounding may come to lie beyond it, and then set
operations refuse the area.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.plane.hulls import Floats


def moved(shapes: Any, change: Callable[[Floats], Floats]) -> NDArray[Any]:
    """Shapes, an array of shape (k,), with their coordinates, shape (n, 2), changed; areas are valid ones.

    Areas that the change made touch or cross themselves are mended: what its rings enclose less what the
    holes do (the OGC's rules for areas).

    >>> pinched = shapely.Polygon([(0, 0), (2, 0), (2, 2), (1, 1e-9), (0, 2)])
    >>> flat = moved([pinched], np.round)[0]
    >>> flat.is_valid, flat.area
    (True, 2.0)
    """
    array = np.empty(len(shapes), dtype=object)
    array[:] = list(shapes)
    array = np.asarray(shapely.transform(array, change))
    broken = (shapely.get_dimensions(array) == 2) & ~shapely.is_valid(array)
    if broken.any():
        array[broken] = shapely.make_valid(array[broken], method="structure", keep_collapsed=False)
    return array
