"""Convex hulls and the lines that support them.

A support line is given by the angle of its outward normal; it runs counter-clockwise around the
hull, with the hull on its left.  All arrays are float64, all lengths mm, all angles radians.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

HULL_NOISE = 1e-9
"""Corners that stand out by less than this, in mm, come from rounding in the union of shapes."""


def convex_hull(shape: BaseGeometry) -> Floats:
    """Corners of the convex hull of ``shape``, shape (n, 2), counter-clockwise, first not repeated.

    The first side is the one whose outward normal has the least angle in [0, 2π), so that the
    sides' normals come in rising order.  Corners that stand out by less than rounding are left out.
    Raises ValueError where the hull has no area.

    >>> convex_hull(shapely.box(0, 0, 2, 1)).tolist()
    [[2.0, 0.0], [2.0, 1.0], [0.0, 1.0], [0.0, 0.0]]
    """
    hull = shapely.simplify(shapely.convex_hull(shape), HULL_NOISE)
    if not isinstance(hull, shapely.Polygon) or hull.is_empty:
        raise ValueError("the convex hull has no area")
    corners = shapely.get_coordinates(shapely.orient_polygons(hull))[:-1]
    return np.asarray(np.roll(corners, -int(np.argmin(side_angles(corners))), axis=0))


def side_angles(corners: Floats) -> Floats:
    """Angle in [0, 2π) of the outward normal of each side, side k from corner k to k + 1.

    >>> np.degrees(side_angles(np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]))).tolist()
    [0.0, 90.0, 225.0]
    """
    x, y = (np.roll(corners, -1, axis=0) - corners).T
    return wrapped(np.arctan2(-x, y))


def wrapped(angles: Floats) -> Floats:
    """The same angles in [0, 2π), which a remainder alone does not give for those just below 0.

    >>> wrapped(np.array([-1e-20, 7.0])).round(6).tolist()
    [0.0, 0.716815]
    """
    remainder = np.mod(angles, 2 * np.pi)
    return np.asarray(np.where(remainder >= 2 * np.pi, 0.0, remainder))


@dataclass(frozen=True, eq=False)
class Supports:
    """Support lines of a hull, one a row.

    ``angle``, in [0, 2π), and ``offset``, the distance of the line from the origin along its normal, have
    shape (m,); ``normal`` and ``along`` are unit vectors, shape (m, 2).  The line touches the hull from
    corner ``back`` to corner ``front`` (the same one unless it is flush with a side); these count on from
    n where the turn begins anew.
    """

    angle: Floats
    normal: Floats
    along: Floats
    offset: Floats
    back: Indices
    front: Indices


def supports(corners: Floats, angles: Floats, outwards: float = 0.0) -> Supports:
    """Support lines of a hull from `convex_hull` at ``angles`` in [0, 2π), moved ``outwards``.

    >>> line = supports(convex_hull(shapely.box(0, 0, 2, 1)), np.array([0.0]))
    >>> line.offset.tolist(), line.back.tolist(), line.front.tolist()
    ([2.0], [0], [1])
    """
    sides = side_angles(corners)
    back = np.searchsorted(sides, angles, side="left")
    front = np.searchsorted(sides, angles, side="right")
    normal = np.column_stack([np.cos(angles), np.sin(angles)])
    along = np.column_stack([-normal[:, 1], normal[:, 0]])
    wrapped = np.vstack([corners, corners[:1]])
    offset = np.maximum(
        np.einsum("ij,ij->i", normal, wrapped[back]), np.einsum("ij,ij->i", normal, wrapped[front])
    )
    return Supports(angles, normal, along, offset + outwards, back, front)
