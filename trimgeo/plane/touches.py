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
from trimgeo.plane.field import Field, field
from trimgeo.plane.rings import Floats, border_of, right_of, unit

Area: TypeAlias = Polygon | MultiPolygon
Pose: TypeAlias = Floats


@dataclass(frozen=True, eq=False)
class Shape:
    """An area and the sides of its rings, shape (n, 2), mm, the area on their left, and its ``depths``.

    ``bends`` is true where a side starts in a corner that turns right: the area is not convex there.
    """

    area: Area
    starts: Floats
    steps: Floats
    outward: Floats
    bends: NDArray[np.bool_]
    depths: Field

    @property
    def ends(self) -> Floats:
        """Where the sides end, shape (n, 2)."""
        return self.starts + self.steps


def shape_of(area: Area, margin: float, points: int) -> Shape:
    """The sides of an area, and its depths as far as ``margin`` mm beyond it, at so many points a side.

    >>> shape_of(shapely.box(0, 0, 2, 1), margin=1.0, points=32).bends.any()
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
    bends, depths = cross(way[before], way) < 0, field(area, margin, points)
    return Shape(area, border.starts, border.steps, right_of(way), bends, depths)


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
    sine, cosine = np.sin(pose[2]), np.cos(pose[2])
    return np.asarray(points @ np.array([[cosine, sine], [-sine, cosine]]) + pose[:2])


def touches(body: Shape, room: Shape, pose: Pose, window: float) -> Touches:
    """The pairs whose gap is no more than ``window`` mm over the least, at a pose.

    Corners of the body against walls, and corners of the room that stand into it against the body's sides;
    each corner that overlaps has its nearest way out alone.

    >>> body, room = (shape_of(shapely.box(*at), 1.0, 32) for at in ((-1, -1, 1, 1), (0, 0, 9, 4)))
    >>> found = touches(body, room, np.array([1.5, 2.0, 0.0]), 0.1)
    >>> found.gap.tolist(), found.normal.tolist()
    ([0.5, 0.5], [[1.0, 0.0], [1.0, 0.0]])
    """
    return touches_of(body, room, pose[None], window)[1]


def touches_of(
    body: Shape, room: Shape, poses: Floats, windows: Floats | float
) -> tuple[NDArray[np.intp], Touches]:
    """The same at many poses, shape (m, 3), each with its window: also the pose of each pair, rising."""
    sine, cosine, at = np.sin(poses[:, 2]), np.cos(poses[:, 2]), poses[:, :2]
    turn = np.stack([np.stack([cosine, -sine], -1), np.stack([sine, cosine], -1)], 1)
    corners = np.einsum("mij,nj->mni", turn, body.starts[~body.bends]) + at[:, None]
    standing = np.einsum("mij,mni->mnj", turn, room.starts[room.bends] - at[:, None])
    # What cannot be within the window of the least is not looked at.
    x, y, u, v = corners[..., 0], corners[..., 1], standing[..., 0], standing[..., 1]
    cap = np.minimum(
        room.depths.most(x, y).min(axis=1), -body.depths.least(u, v).max(axis=1, initial=-np.inf)
    )
    cap = (cap + windows)[:, None]
    own, which = np.nonzero(room.depths.least(x, y) <= cap)
    ones = _pairs(own, corners[own, which], room, -room.outward, cap[own], ends=True)
    own, which = np.nonzero(-body.depths.most(u, v) <= cap)
    others = _pairs(own, standing[own, which], body, body.outward, cap[own], ends=False)
    own = others.pose
    normal = np.concatenate([ones.normal, -np.einsum("nij,nj->ni", turn[own], others.normal)])
    on_body = np.concatenate([ones.point, np.einsum("nij,nj->ni", turn[own], others.foot) + at[own]])
    on_wall = np.concatenate([ones.foot, np.einsum("nij,nj->ni", turn[own], others.point) + at[own]])
    pose, gap = np.concatenate([ones.pose, own]), np.concatenate([ones.gap, others.gap])
    least = np.full(len(poses), np.inf)
    np.minimum.at(least, pose, gap)
    near = np.flatnonzero(gap <= (least + windows)[pose])
    near = near[np.argsort(pose[near], kind="stable")]
    every = Touches(
        gap,
        normal,
        cross(on_body - at[pose], normal),
        on_body,
        on_wall,
        np.arange(len(gap)) < len(ones.gap),
        np.concatenate([ones.flat, others.flat]),
    )
    return pose[near], every.take(near)


class _Pairs(NamedTuple):
    pose: NDArray[np.intp]
    gap: Floats
    normal: Floats
    point: Floats
    foot: Floats
    flat: NDArray[np.bool_]


def _pairs(
    pose: NDArray[np.intp], points: Floats, shape: Shape, facing: Floats, cap: Floats, ends: bool
) -> _Pairs:
    """Points, shape (n, 2), at their poses, against the sides of a shape, ``facing`` where they should be.

    Only gaps up to ``cap``, shape (n, 1), count.  The ends of sides count where ``ends`` is true and the
    sides leave a corner that stands out.
    """
    if len(points) == 0:
        none = np.empty((0, 2))
        return _Pairs(pose, np.empty(0), none, none, none, np.empty(0, dtype=bool))
    starts, steps = shape.starts, shape.steps
    x, y = points[:, :1] - starts[:, 0], points[:, 1:] - starts[:, 1]
    share = (x * steps[:, 0] + y * steps[:, 1]) * (1 / np.sum(steps**2, axis=1))
    np.clip(share, 0.0, 1.0, out=share)
    x -= share * steps[:, 0]
    y -= share * steps[:, 1]
    away = np.sqrt(x * x + y * y)
    inside = shapely.contains_xy(shape.area, points[:, 0], points[:, 1])
    good = inside if ends else ~inside
    counts = (share > 0) & (share < 1)
    if ends:
        counts |= (share == 0) & shape.bends
    counts &= good[:, None] & (away <= cap)
    bad = np.flatnonzero(~good)
    nearest = np.argmin(away[bad], axis=1)
    counts[bad, nearest] = True
    away[bad] *= -1.0
    point, side = np.nonzero(counts)
    gap, along = away[point, side], share[point, side]
    foot = starts[side] + along[:, None] * steps[side]
    within = (along > 0) & (along < 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = (points[point] - foot) / gap[:, None]
    normal = np.where((within | (np.abs(gap) < 1e-9))[:, None], facing[side], apart)
    return _Pairs(pose[point], gap, normal, points[point], foot, within)
