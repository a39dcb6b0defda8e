"""Where lines and arcs miss the measured edge, the outline is the measured edge itself."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

Floats = NDArray[np.float64]

CORNERS, BLURS = 0.1, 2.0
"""A measured edge passes a sharp corner by up to 0.1 mm and two blurs: on the bench's boards it was at most
0.37 mm where the outline was right."""
_THIN = 0.06
"""Half the width, mm, of what lies between two ways to see the same edge."""
_LONG = 0.3
"""Spikes longer than this, mm, are taken away."""
_ALONG = 0.3
"""How far, mm, along the edge past its deep part such a place reaches."""
_FINE = 0.02
"""Bends of the measured edge lower than this, mm, are left out."""


def as_measured(
    outline: Polygon, ring: Floats, closed: shapely.Geometry, blur: float
) -> tuple[Polygon, Floats]:
    """The outline with the measured edge, (n, 2), where they are far apart; x, y and depth, (k, 3), of that.

    ``closed`` are detours of the measured edge that were found to be none: there it counts for nothing.

    >>> box = shapely.box(0, 0, 20, 10)
    >>> edge = shapely.Polygon([(0, 0), (20, 0), (20, 8), (18, 10), (0, 10)])
    >>> found, places = as_measured(box, shapely.get_coordinates(edge.exterior), shapely.Point(), 0.1)
    >>> bool(abs(found.area - edge.area) < 0.1), len(places)
    (True, 1)
    """
    measured = without_loops(ring)
    if measured.area < 0.5 * outline.area:
        return without_spikes(outline), np.empty((0, 3))
    between = shapely.symmetric_difference(outline, measured)
    found, places = outline, []
    for deep in shapely.get_parts(shapely.buffer(between, -_THIN, join_style="mitre")):
        depth = max(_depth(deep, outline), _depth(deep, measured))
        if depth < CORNERS + BLURS * blur or shapely.distance(closed, deep) < 0.5:
            continue
        whole = shapely.intersection(shapely.buffer(deep, _THIN + _ALONG), between)
        changed = shapely.symmetric_difference(found, whole)
        parts = [part for part in shapely.get_parts(changed) if isinstance(part, Polygon)]
        largest = max(parts, key=lambda part: part.area, default=found)
        if largest.area > 0.5 * found.area and largest.is_valid:
            found = Polygon(largest.exterior)
            x, y = shapely.get_coordinates(shapely.point_on_surface(deep))[0]
            places.append((float(x), float(y), depth))
    return without_spikes(found), np.array(places).reshape(-1, 3)


def without_loops(ring: Floats) -> Polygon:
    """The measured edge, (n, 2), as a polygon, without the loops that a jagged one makes."""
    parts = shapely.get_parts(shapely.make_valid(shapely.simplify(Polygon(ring), _FINE)))
    whole = [part for part in parts if isinstance(part, Polygon)]
    largest = max(whole, key=lambda part: part.area, default=Polygon())
    return Polygon(largest.exterior)


def without_spikes(outline: Polygon) -> Polygon:
    """The outline without spikes and slits of next to no width, which lines make that meet far away.

    >>> spiked = Polygon([(0, 0), (20, 0), (23, 0.05), (20, 0.1), (20, 10), (0, 10)])
    >>> [round(v, 1) for v in without_spikes(spiked).bounds]
    [0.0, 0.0, 20.0, 10.0]
    """
    for width in (-_THIN, _THIN):
        smaller = shapely.buffer(outline, width, join_style="mitre")
        parts = [part for part in shapely.get_parts(smaller) if isinstance(part, Polygon)]
        if not parts:
            return outline
        largest = Polygon(max(parts, key=lambda part: part.area).exterior)
        back = shapely.buffer(largest, -width, join_style="mitre")
        if isinstance(back, Polygon) and shapely.hausdorff_distance(outline.exterior, back.exterior) > _LONG:
            outline = Polygon(back.exterior)
    return outline


def _depth(deep: shapely.Geometry, of: Polygon) -> float:
    """How far, mm, the corners of an area lie from a polygon's sides."""
    corners = shapely.points(shapely.get_coordinates(deep))
    return float(shapely.distance(of.exterior, corners).max(initial=0.0)) + _THIN
