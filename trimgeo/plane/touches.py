"""Where a body that is moved about in a room comes near its walls.

A pose is (x, y, turn): the body's own frame is turned by ``turn`` radians about its origin, which then lies
at (x, y) mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from trimgeo.plane.distances import cross
from trimgeo.plane.rings import Floats, border_of, right_of, unit

Area: TypeAlias = Polygon | MultiPolygon
Pose: TypeAlias = Floats


@dataclass(frozen=True, eq=False)
class Shape:
    """An area and the sides of its rings, shape (n, 2), mm, the area on their left.

    ``bends`` is true where a side starts in a corner that turns right: the area is not convex there.
    """

    area: Area
    starts: Floats
    steps: Floats
    outward: Floats
    bends: NDArray[np.bool_]

    @property
    def ends(self) -> Floats:
        """Where the sides end, shape (n, 2)."""
        return self.starts + self.steps


def shape_of(area: Area) -> Shape:
    """The sides of an area.

    >>> shape_of(shapely.box(0, 0, 2, 1)).bends.any()
    np.False_
    """
    area = shapely.orient_polygons(area)
    border = border_of(area)
    way = unit(border.steps)
    ends = border.starts + border.steps
    before = np.arange(len(way)) - 1
    apart = np.abs(border.starts[1:] - ends[:-1]).max(axis=1, initial=0.0) > 1e-9
    first = np.flatnonzero(np.r_[True, apart])
    before[first] = np.r_[first[1:], len(way)] - 1
    return Shape(area, border.starts, border.steps, right_of(way), cross(way[before], way) < 0)


class Touches(NamedTuple):
    """Pairs of a point of the body and one of a wall: ``gap``, shape (n,), mm, negative in overlap.

    ``normal``, shape (n, 2), points from the wall into the room; ``lever`` is how much the gap grows for each
    radian of turn.  ``body`` and ``wall``, shape (n, 2), are the two points in the room's frame;
    ``corner`` says that the body's point is a corner, which else is the wall's; ``flat`` that the other one
    lies within a side, along which the gap does not change.
    """

    gap: Floats
    normal: Floats
    lever: Floats
    body: Floats
    wall: Floats
    corner: NDArray[np.bool_]
    flat: NDArray[np.bool_]

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Touches:
        """The pairs of an index or mask."""
        gap, normal, lever, body, wall, corner, flat = self
        return Touches(
            gap[which], normal[which], lever[which], body[which], wall[which], corner[which], flat[which]
        )


def placed(points: Floats, pose: Pose) -> Floats:
    """Points of the body, shape (n, 2), in the room.

    >>> placed(np.array([[1.0, 0.0]]), np.array([5.0, 5.0, np.pi / 2])).round(9).tolist()
    [[5.0, 6.0]]
    """
    return np.asarray(points @ _turn(pose[2]).T + pose[:2])


def _turn(angle: float) -> Floats:
    sine, cosine = np.sin(angle), np.cos(angle)
    return np.array([[cosine, -sine], [sine, cosine]])


def touches(body: Shape, room: Shape, pose: Pose, window: float) -> Touches:
    """The pairs whose gap is no more than ``window`` mm over the least, at a pose.

    Corners of the body against walls, and corners of the room that stand into it against the body's sides;
    each corner that overlaps has its nearest way out alone.

    >>> found = touches(shape_of(shapely.box(-1, -1, 1, 1)), shape_of(shapely.box(0, 0, 9, 4)),
    ...                 np.array([1.5, 2.0, 0.0]), 0.1)
    >>> found.gap.tolist(), found.normal.tolist()
    ([0.5, 0.5], [[1.0, 0.0], [1.0, 0.0]])
    """
    turn = _turn(pose[2])
    corners = body.starts[~body.bends] @ turn.T + pose[:2]
    ones = _pairs(corners, room, -room.outward, window, ends=True)
    standing = (room.starts[room.bends] - pose[:2]) @ turn
    others = _pairs(standing, body, body.outward, window, ends=False)
    normal = np.concatenate([ones.normal, -others.normal @ turn.T])
    on_body = np.concatenate([ones.point, others.foot @ turn.T + pose[:2]])
    both = Touches(
        np.concatenate([ones.gap, others.gap]),
        normal,
        cross(on_body - pose[:2], normal),
        on_body,
        np.concatenate([ones.foot, others.point @ turn.T + pose[:2]]),
        np.repeat([True, False], [len(ones.gap), len(others.gap)]),
        np.concatenate([ones.flat, others.flat]),
    )
    return both.take(both.gap <= both.gap.min() + window)


class _Pairs(NamedTuple):
    gap: Floats
    normal: Floats
    point: Floats
    foot: Floats
    flat: NDArray[np.bool_]


def _pairs(points: Floats, shape: Shape, facing: Floats, window: float, ends: bool) -> _Pairs:
    """Points against the sides of a shape, ``facing`` the side on which the points should be.

    The ends of sides count where ``ends`` is true and the sides leave a corner that stands out.
    """
    if len(points) == 0:
        none = np.empty((0, 2))
        return _Pairs(np.empty(0), none, none, none, np.empty(0, dtype=bool))
    starts, steps = shape.starts, shape.steps
    x, y = points[:, :1] - starts[:, 0], points[:, 1:] - starts[:, 1]
    square = np.sum(steps**2, axis=1)
    share = np.clip((x * steps[:, 0] + y * steps[:, 1]) / square, 0.0, 1.0)
    away = np.hypot(x - share * steps[:, 0], y - share * steps[:, 1])
    inside = shapely.contains_xy(shape.area, points[:, 0], points[:, 1])
    good = inside if ends else ~inside
    counts = (share > 0) & (share < 1)
    if ends:
        counts |= (share == 0) & shape.bends
    counts &= good[:, None]
    bad = np.flatnonzero(~good)
    counts[bad, np.argmin(away[bad], axis=1)] = True
    least = -away[bad].min() if len(bad) else np.min(away, initial=np.inf, where=counts)
    point, side = np.nonzero(counts & (np.where(good[:, None], away, -away) <= least + window))
    sign = np.where(good[point], 1.0, -1.0)
    gap = sign * away[point, side]
    foot = starts[side] + share[point, side, None] * steps[side]
    reach = points[point] - foot
    within = (share[point, side] > 0) & (share[point, side] < 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = reach / gap[:, None]
    normal = np.where((within | (np.abs(gap) < 1e-9))[:, None], facing[side], apart)
    return _Pairs(gap, normal, points[point], foot, within)
