"""Quick ceilings on the room that a body can have in a room: proofs by lengths and areas alone, at any size.

They tell at once that a body is far too large for a room, and by how much at the least, where a search over
poses (`trimgeo.plane.fitting`) would only find it out much later.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from trimgeo.plane.distances import cross
from trimgeo.plane.rings import Floats
from trimgeo.plane.touches import Area

_HAIR: Final = 1e-9
"""Rounding, per mm of size: a ceiling is given away by so much."""

_HALVINGS: Final = 12
"""Halvings of what is not known of a lack: to 1/4096 of the body's size."""

_QUARTER: Final = 8
"""Chords a quarter circle of a widened room, which are tangents: it is not less wide than it should be."""

_ROUND: Final = 1e-3
"""How well the largest circle in an area is known, per size of the body."""

_BLOCK: Final = 1_000_000
"""Sides times corners looked at together: bounds the memory."""


def quick_ceiling(body: BaseGeometry, room: Area) -> float:
    """No shift or turn gives a body more room than this, mm; neither it nor the room need be convex.

    Where the body has room r ≥ 0, the body grown by a disc of radius r lies in the room; where it sticks out
    by r, room -r, it lies in the room grown by such a disc.  If a set lies in another, its convex hull lies
    in the other's, and the hull of a grown set is the hull, grown.  A convex set that lies in another has no
    greater diameter, least width, perimeter (Cauchy's formula), area, or radius of the circle around it.
    Growing by r adds 2r to diameter and width, 2πr to the perimeter, r to that radius, and Pr + πr² to the
    area (Steiner's formula).  So the room is at most the difference of these, each over what r counts in it;
    for the area that is solved for r.  Where nothing fits by these, the sets themselves tell as well: the
    grown room has at least the area of the body, and a circle at least as large as the largest in the body.

    >>> round(quick_ceiling(shapely.box(0, 0, 30, 30), shapely.box(0, 0, 2.4, 2.4)), 3)
    -19.516
    >>> quick_ceiling(shapely.box(0, 0, 4, 2), shapely.box(0, 0, 5, 9)) > 0.5
    True
    """
    inner, outer = shapely.convex_hull(body), shapely.convex_hull(room)
    size = float(shapely.length(inner) + shapely.length(outer))
    most = min(
        (_diameter(outer) - _diameter(inner)) / 2,
        (_width(outer) - _width(inner)) / 2,
        (shapely.length(outer) - shapely.length(inner)) / (2 * np.pi),
        shapely.minimum_bounding_radius(outer) - shapely.minimum_bounding_radius(inner),
        _by_hulls_area(inner, outer),
    )
    if most < 0:
        most = _by_widening(body, room, float(most), size)
    return float(most) + _HAIR * size


def _by_hulls_area(inner: BaseGeometry, outer: BaseGeometry) -> float:
    """What the smaller hull has to be grown by to have the area of the larger; negative: the room's hull."""
    less = float(shapely.area(outer) - shapely.area(inner))
    around = float(shapely.length(inner if less >= 0 else outer))  # of what is grown
    # π r² + around r = |less|, in the form that does not lose digits where r is small.
    root = 2 * abs(less) / max(around + float(np.sqrt(around**2 + 4 * np.pi * abs(less))), 1e-300)
    return root if less >= 0 else -root


def _by_widening(body: BaseGeometry, room: Area, most: float, size: float) -> float:
    """No more room than ``most``, which is negative, by the areas and the largest circles of body and room.

    If the body is too large for the room grown by some length, it lacks at least that.
    """
    area = float(shapely.area(body)) - _HAIR * size**2
    circle = _largest_circle(body, size)
    low, high = -most, float(shapely.minimum_bounding_radius(body)) - min(most, 0.0)
    for _ in range(_HALVINGS):
        by = (low + high) / 2
        wide = shapely.buffer(room, by / np.cos(np.pi / (4 * _QUARTER)), quad_segs=_QUARTER)
        too_large = area > shapely.area(wide) or circle > _largest_circle(wide, size) + 2 * _ROUND * size
        low, high = (by, high) if too_large else (low, by)
    return -low


def _largest_circle(area: BaseGeometry, size: float) -> float:
    """The radius of the largest circle in an area, no less than the truth by more than the tolerance."""
    spokes = shapely.maximum_inscribed_circle(shapely.get_parts(area), tolerance=_ROUND * size)
    return float(shapely.length(spokes).max(initial=0.0))


def _diameter(hull: BaseGeometry) -> float:
    corners = shapely.get_coordinates(hull)
    step = max(1, _BLOCK // len(corners))
    blocks = (corners[low : low + step] for low in range(0, len(corners), step))
    return max(float(np.hypot(*(block[:, None] - corners).transpose(2, 0, 1)).max()) for block in blocks)


def _width(hull: BaseGeometry) -> float:
    """The least distance between two parallels that hold a convex polygon: one of them runs along a side."""
    if not isinstance(hull, shapely.Polygon):
        return 0.0
    corners = shapely.get_coordinates(shapely.orient_polygons(hull).exterior)
    sides = np.diff(corners, axis=0)
    sides, starts = _of_length(sides, corners[:-1])
    step = max(1, _BLOCK // len(corners))
    return min(
        float(
            cross(sides[low : low + step, None], corners - starts[low : low + step, None]).max(axis=1).min()
        )
        for low in range(0, len(sides), step)
    )


def _of_length(sides: Floats, starts: Floats) -> tuple[Floats, Floats]:
    """Unit vectors of the sides that have a length, and where these start."""
    length = np.hypot(*sides.T)
    some = length > 0
    return np.asarray(sides[some] / length[some, None]), starts[some]
