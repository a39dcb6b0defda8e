"""A pose of one's own for shapes, so that what is computed does not depend on how they were placed.

The principal axes of the second moments of area give the direction, the signs of the third moments which
way round and whether mirrored.  Coordinates are rounded there, so that a turned, mirrored or shifted job
is the same to the bit (but for shapes that are themselves symmetric, and rare roundings).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.plane.hulls import Floats
from trimgeo.plane.moving import moved

GRID = 1e-8
"""Coordinates are rounded to this, mm: far above what turning a job costs, far below any tolerance."""


@dataclass(frozen=True, eq=False)
class Pose:
    """Where shapes were: ``origin``, shape (2,), and ``axes``, the unit vectors of the pose as rows.

    Coordinates are rounded to ``grid`` mm there.
    """

    origin: Floats
    axes: Floats
    grid: float = GRID

    def taken(self, points: Floats) -> Floats:
        """Points, shape (n, 2), in the pose, rounded."""
        return np.asarray(np.round((points - self.origin) @ self.axes.T / self.grid) * self.grid)

    def back(self, points: Floats) -> Floats:
        """Points of the pose, shape (..., 2), as they were placed."""
        return np.asarray(points @ self.axes + self.origin)

    def placed(self, outline: Polygon) -> Polygon:
        """An outline of the pose as it was placed, counter-clockwise."""
        ring = self.back(shapely.get_coordinates(outline.exterior))
        return Polygon(ring if np.linalg.det(self.axes) > 0 else ring[::-1])

    def within(self, outer: Pose) -> Pose:
        """The pose as it is outside, where its shapes had been taken into ``outer``.

        >>> outer, inner = Pose(np.array([3.0, 4.0]), -np.eye(2)), Pose(np.array([1.0, 0.0]), np.eye(2)[::-1])
        >>> point = np.array([[7.0, 9.0]])
        >>> inner.within(outer).taken(point).tolist(), inner.taken(outer.taken(point)).tolist()
        ([[-5.0, -5.0]], [[-5.0, -5.0]])
        """
        return Pose(self.origin @ outer.axes + outer.origin, self.axes @ outer.axes, self.grid)


SYMMETRIC = 1e-9
"""A third moment below this share of what it could be is none but for rounding: the shape is symmetric."""

AS_GIVEN = Pose(np.zeros(2), np.eye(2))
"""The pose of shapes that stay where they are."""


def laid(shape: BaseGeometry, pose: Pose) -> BaseGeometry:
    """A shape in a pose, its corners in an order of its own."""
    return shapely.normalize(moved([shape], pose.taken)[0])


def raised(shape: BaseGeometry, pose: Pose) -> BaseGeometry:
    """A shape of a pose as it was placed.

    >>> part = Polygon([(5, 5), (9, 5), (9, 6), (6, 6)])
    >>> pose = pose_of([part])
    >>> raised(laid(part, pose), pose).symmetric_difference(part).area < 1e-6
    True
    """
    return moved([shape], pose.back)[0]


def pose_of(shapes: list[Polygon], grid: float = GRID) -> Pose:
    """The pose of some shapes, by the moments of all of them; coordinates are rounded to ``grid`` mm there.

    >>> wide = Polygon([(0, 0), (4, 0), (4, 1), (1, 1)])
    >>> turned = Polygon([(0, 0), (0, 4), (-1, 4), (-1, 1)])
    >>> one, other = (pose_of([each]).taken(shapely.get_coordinates(each)) for each in (wide, turned))
    >>> bool(np.array_equal(one, other))
    True
    """
    rings = [shapely.get_coordinates(shape.exterior) for shape in shapes]
    low = np.min([ring.min(axis=0) for ring in rings], axis=0)
    weights, points = zip(*(_samples(ring - low) for ring in rings), strict=True)
    weight, at = np.concatenate(weights), np.concatenate(points)
    middle = weight @ at / weight.sum()
    at = at - middle
    _, vectors = np.linalg.eigh((at * weight[:, None]).T @ at)
    axes = vectors.T[::-1]
    along = at @ axes.T
    third, size = weight @ along**3, np.abs(weight) @ np.abs(along) ** 3
    as_placed = np.sign(axes[[0, 1], np.abs(axes).argmax(axis=1)])
    signs = np.where(np.abs(third) > SYMMETRIC * size, np.sign(third), as_placed)
    return Pose(low + middle, axes * signs[:, None], grid)


def _samples(ring: Floats) -> tuple[Floats, Floats]:
    """Weights and points that integrate polynomials of third degree over a ring: those of its triangle fan.

    Four points a triangle (Strang and Fix 1973, from memory): -27/48 in the middle, 25/48 at 3/5, 1/5, 1/5.
    """
    a, b, c = ring[0], ring[1:-2], ring[2:-1]
    area = ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    area = area * np.sign(area.sum())
    shares = np.array([[1 / 3, 1 / 3, 1 / 3], [0.6, 0.2, 0.2], [0.2, 0.6, 0.2], [0.2, 0.2, 0.6]])
    points = [one * a + two * b + three * c for one, two, three in shares]
    weights = [area * share for share in (-27 / 48, 25 / 48, 25 / 48, 25 / 48)]
    return np.concatenate(weights), np.concatenate(points)
