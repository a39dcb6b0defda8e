"""The most room that a body can have at any pose in a small box: a proof from the pairs that are near there.

A pair of a corner and a side bounds the room by a function that is all but linear in the pose.  The
multipliers of a linear program weigh the pairs so that shift and turn cancel out; what is left holds for the
whole box, but for the second order, which is added.  So boxes around a best pose, and along a row of equally
good ones, need not be cut up to dust.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.plane.least import filled, weights
from trimgeo.plane.poses import Ground
from trimgeo.plane.rings import Floats, right_of
from trimgeo.plane.touches import Pose, Touches, placed, touches_of

_HAIR: Final = 1e-7
"""mm: solid is looked for this much behind a side."""

_ROUNDS: Final = 4
"""Times that pairs which prove nothing along their side are taken for their two points."""

_BLOCK: Final = 20_000
"""Poses times corners looked at together: bounds the memory to some tens of megabytes."""


def ceilings(ground: Ground, poses: Floats, half: float, half_turn: float, wanted: float) -> Floats:
    """The most room, mm, within ``half`` mm and ``half_turn`` radians of each of m poses, shape (m,).

    As near as it can be proved, or to no more than ``wanted``.  Infinite where the near pairs prove nothing.
    Negative where no pose of the box fits, and then by no meaningful amount.  For a pose that fits, the room
    is at most the way from a corner of the body to any point that is not in the room, or from a corner of
    the room to any point of the body: their feet on a side, as long as all behind that side is solid as far
    as the feet can go; else the two points where they are now.  Second order: a turn by δ moves a point at r
    by rδ²/2 off the tangent; a turn after a shift by h adds hδ; a gap g seen ρ askew is longer by up to
    ρ²/2(g - ρ).

    >>> from trimgeo.plane.poses import ground
    >>> tray = ground(shapely.box(-2, -1, 2, 1), shapely.box(0, 0, 5, 9))
    >>> bool(ceilings(tray, np.array([[2.5, 4.0, 0.0]]), 0.1, 0.01, 0.5)[0] < 0.51)
    True
    """
    step = max(1, _BLOCK // (len(ground.body.starts) + len(ground.room.starts)))
    box = np.array([half, half, half_turn])
    found = np.empty(len(poses))
    for low in range(0, len(poses), step):
        block = poses[low : low + step]
        found[low : low + step] = _weighed(ground, block, box, wanted)
    return found


def _reach(poses: Floats, near: Touches, box: Floats) -> Floats:
    """How far the corner of each pair can move, seen from the other's frame."""
    return np.asarray(2**0.5 * box[0] + _arm(poses, near) * box[2])


def _arm(poses: Floats, near: Touches) -> Floats:
    return np.asarray(np.hypot(*(np.where(near.corner[:, None], near.body, near.wall) - poses[:, :2]).T))


def _weighed(ground: Ground, poses: Floats, box: Floats, wanted: float) -> Floats:
    """The most room within a box of each pose by the pairs near it, each alone and against each other."""
    shift, half_turn = 2**0.5 * box[0], box[2]
    window = 2 * (shift + ground.radius * half_turn) + box[0]
    pose, near = touches_of(ground.body, ground.room, poses, window)
    arm, reach = _arm(poses[pose], near), _reach(poses[pose], near, box)
    clear, sliding = near.gap > 1.5 * reach, near.flat.copy()
    with np.errstate(divide="ignore", invalid="ignore"):
        askew = reach**2 / (2 * (near.gap - reach))
    most = near.gap + arm * half_turn**2 / 2 + np.where(near.corner, 0.0, shift * half_turn)
    slopes = np.column_stack([near.normal, near.lever])
    alone = np.full(len(poses), np.inf)
    np.minimum.at(alone, pose, near.gap + reach + _HAIR)
    found, rest = alone.copy(), np.flatnonzero(alone > wanted)
    for _ in range(_ROUNDS):
        found[rest] = np.inf
        told = np.flatnonzero((sliding | clear) & np.isin(pose, rest))
        rest = np.unique(pose[told])
        here = most[told] + np.where(sliding[told], 0.0, askew[told])
        which, values, steep = filled(np.searchsorted(rest, pose[told]), len(rest), here, slopes[told])
        shares = weights(values, steep, np.tile(box, (len(rest), 1)), wanted - 2 * _HAIR)
        lean = np.abs(np.einsum("mn,mnk->mk", shares, steep))
        found[rest] = (shares * values).sum(axis=1) + lean @ box + _HAIR
        pairs = told[which[shares > 1e-9]]
        pairs = pairs[sliding[pairs]]
        solid = _solid_behind(ground, poses[pose[pairs]], near.take(pairs), reach[pairs])
        sliding[pairs[~solid]] = False
        rest = np.unique(pose[pairs[~solid]])
    found[rest] = np.inf
    return np.asarray(np.minimum(found, alone))


def _solid_behind(ground: Ground, poses: Floats, near: Touches, reach: Floats) -> NDArray[np.bool_]:
    """Whether all that lies behind the side of each pair is wall, or body, as far as its foot may go.

    ``poses`` has that of each pair, shape (n, 3).
    """
    solid = np.ones(len(near.gap), dtype=bool)
    out = np.where(near.corner[:, None], near.normal, -near.normal)
    foot = np.where(near.corner[:, None], near.wall, near.body)
    ahead, deep = reach[:, None] * right_of(out), (np.maximum(reach - near.gap, 0.0) + _HAIR)[:, None] * out
    start = foot - _HAIR * out
    corners = np.stack([start - ahead, start + ahead, foot + ahead - deep, foot - ahead - deep], 1)
    walls = near.corner
    solid[walls] = ~shapely.intersects(ground.room.area, shapely.polygons(corners[walls]))
    if not walls.all():
        x, y = (corners[~walls] - poses[~walls, None, :2]).transpose(2, 0, 1)
        sine, cosine = np.sin(poses[~walls, 2:]), np.cos(poses[~walls, 2:])
        own = np.stack([cosine * x + sine * y, cosine * y - sine * x], axis=-1)
        solid[~walls] = shapely.contains(ground.body.area, shapely.polygons(own))
    return solid


def sticks_out(ground: Ground, pose: Pose, half: float, half_turn: float) -> bool:
    """Whether the body leaves the room at every pose of a box: one point of it deep in a wall tells.

    >>> from trimgeo.plane.poses import ground
    >>> tray = ground(shapely.box(-2, -1, 2, 1), shapely.box(0, 0, 5, 9))
    >>> sticks_out(tray, np.array([1.5, 4.0, 0.0]), 0.1, 0.01)
    True
    """
    body = shapely.transform(ground.body.area, lambda xy: placed(xy, pose))
    outside = shapely.get_parts(shapely.difference(body, ground.room.area))
    outside = outside[shapely.area(outside) > 0]
    if len(outside) == 0:
        return False
    largest = outside[int(np.argmax(shapely.area(outside)))]
    inner = shapely.get_coordinates(shapely.maximum_inscribed_circle(largest, tolerance=half))[:1]
    points = np.vstack([shapely.get_coordinates(outside), inner])
    moved = 2**0.5 * half + np.hypot(*(points - pose[:2]).T) * half_turn
    return bool(np.any(shapely.distance(ground.room.area, shapely.points(points)) > moved))
