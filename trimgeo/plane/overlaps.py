"""How far a body sticks out of a room where it does not fit: the greatest distance from the room of any part.

That is the least by which the room would have to grow, all round, to hold it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from trimgeo.plane.distances import cross
from trimgeo.plane.poses import Ground
from trimgeo.plane.rings import Floats, border_of
from trimgeo.plane.touches import Area, Pose, Touches, placed, touches_of

_SAMPLES: Final = 160
"""Samples along the border of what sticks out, before the deepest are looked at closer."""


def overlaps(ground: Ground, pose: Pose, closer: int = 8) -> Touches:
    """Points of what sticks out as pairs with the nearest points of the room, gaps negative.

    Along the border of what sticks out, ``closer`` times as close to each other beside the deepest, and the
    middles of posts within the body; where nothing sticks out, none.
    """
    outside = _outside(ground, pose)
    if outside.is_empty:
        return _pairs(ground, pose, np.empty((0, 2)))
    spacing = float(outside.length) / _SAMPLES
    rings = border_of(shapely.segmentize(outside, spacing))
    coarse = _pairs(ground, pose, rings.starts)
    deepest = (
        coarse.gap <= coarse.gap.min() + 2 * spacing
    )  # so that both sides of a deepest one are among them
    shares = (np.arange(1, closer) / closer)[:, None, None]
    finer = (rings.starts[deepest] + shares * rings.steps[deepest]).reshape(-1, 2)
    return _pairs(ground, pose, np.vstack([rings.starts, finer, _held_posts(ground, pose)]))


def _outside(ground: Ground, pose: Pose) -> Area:
    """What sticks out, its slivers too."""
    body = shapely.transform(ground.body.area, lambda xy: placed(xy, pose))
    return MultiPolygon(
        [part for part in shapely.get_parts(shapely.difference(body, ground.room.area)) if part.area > 0]
    )


def _held_posts(ground: Ground, pose: Pose) -> Floats:
    """The middles of posts within the body, shape (n, 2)."""
    walls = ground.wall_points[0]
    middles = walls[walls[:, 2] > 0, :2]
    sine, cosine = np.sin(pose[2]), np.cos(pose[2])
    x, y = (middles - pose[:2]).T
    return np.asarray(
        middles[shapely.contains_xy(ground.body.area, cosine * x + sine * y, cosine * y - sine * x)]
    )


def _pairs(ground: Ground, pose: Pose, points: Floats) -> Touches:
    """The pairs of some points of the body, in the room's frame, that lie outside the room."""
    starts, steps = ground.room.starts, ground.room.steps
    x, y = points[:, :1] - starts[:, 0], points[:, 1:] - starts[:, 1]
    share = (x * steps[:, 0] + y * steps[:, 1]) * (1 / np.sum(steps**2, axis=1))
    np.clip(share, 0.0, 1.0, out=share)
    x -= share * steps[:, 0]
    y -= share * steps[:, 1]
    square = x * x + y * y
    side = square.argmin(axis=1) if len(points) else np.empty(0, dtype=np.intp)
    rows = np.arange(len(points))
    deep = np.sqrt(square[rows, side])
    reach = np.column_stack([x[rows, side], y[rows, side]])
    normal = -reach / np.where(deep > 1e-9, deep, 1.0)[:, None]
    known = np.ones(len(rows), dtype=bool)
    return Touches(-deep, normal, cross(points - pose[:2], normal), points, points - reach, known, ~known)


def overlap(ground: Ground, pose: Pose) -> float:
    """How far the body sticks out of the room at a pose, mm; 0 where it fits.

    >>> import shapely
    >>> from trimgeo.plane.poses import ground
    >>> tray = ground(shapely.box(-2, -1, 2, 1), shapely.box(0, 0, 5, 9))
    >>> round(overlap(tray, np.array([1.75, 4.0, 0.0])), 6)
    0.25
    """
    return -float(overlaps(ground, pose, closer=40).gap.min(initial=0.0))


def near_and_over(ground: Ground, poses: Floats, windows: Floats) -> tuple[NDArray[np.intp], Touches]:
    """All that holds a body which does not fit: what sticks out, and pairs that nearly touch.

    At poses, shape (m, 3), each with its window over the least gap: also the pose of each pair, rising.
    """
    out = [overlaps(ground, pose) for pose in poses]
    pose, near = touches_of(ground.body, ground.room, poses, windows)
    apart = near.gap >= 0
    owner = np.concatenate([np.repeat(np.arange(len(poses)), [len(one.gap) for one in out]), pose[apart]])
    every = Touches(*(np.concatenate(parts) for parts in zip(*out, near.take(apart), strict=True)))
    least = np.full(len(poses), np.inf)
    np.minimum.at(least, owner, every.gap)
    close = np.flatnonzero(every.gap <= (least + windows)[owner])
    close = close[np.argsort(owner[close], kind="stable")]
    return owner[close], every.take(close)
