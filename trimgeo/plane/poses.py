"""Boxes of poses, and how much room a body could have at best anywhere in each.

Depth in a room changes no faster than a point moves, and a turn moves a point by no more than its radius
times the angle: so what a pose in the middle of a box has, and how far its points can move within the box,
bound all its poses.  Any points of the body will do, and any of the walls.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from trimgeo.plane.rings import Floats
from trimgeo.plane.touches import Area, Shape, shape_of

GRID: Final = 192
"""Points, a side, at which depths are known."""

_MARGIN: Final = 0.12
"""How far depths are known beyond body and room, per size of the room."""

_FIRST: Final = 8
"""Corners far apart from each other that are looked at before all others."""

_DEEPEST: Final = 4
"""Corners of the body that are furthest outside and are looked at exactly."""

_SAMPLES: Final = 40
"""Points along sides are the room's size divided by this apart."""

_TOO_LARGE: Final = 3**0.5
"""The search counts in the room's diagonal, or in so many radii of the body, if that is more: then it fits
nowhere, for what fits has a radius of at most its diameter by this (Jung's theorem)."""

_EASE: Final = 1e-6
"""mm: a body that touches a wall may stick out by rounding."""

_BLOCK: Final = 400_000
"""Boxes times points looked at together: bounds the memory."""


@dataclass(frozen=True, eq=False)
class Ground:
    """A body, about its own origin, and a room, with all that is looked up for many poses.

    ``eased`` is the room with what rounding may take, ``border`` the room's; ``radius`` is the body's,
    ``size`` the room's diagonal, or more for a body that is far too large for it, mm.  ``body_points`` are
    groups of shape (n, 2) and ``wall_points`` of shape (n, 3): x, y and how deep in the wall; the telling
    groups come first.
    """

    body: Shape
    room: Shape
    eased: Area
    border: BaseGeometry
    radius: float
    size: float
    body_points: tuple[Floats, ...]
    wall_points: tuple[Floats, ...]


class Boxes(NamedTuple):
    """Boxes of poses: ``middle``, shape (n, 3), half a side in mm and in radians, the most room."""

    middle: Floats
    half: float
    half_turn: float
    most: Floats

    def above(self, room: float) -> Boxes:
        """The boxes that may have more room than this, mm."""
        kept = self.most > room
        return self._replace(middle=self.middle[kept], most=self.most[kept])


_Bound = Callable[[Ground, Boxes, Floats, slice], Floats]


def ground(body: Area, room: Area) -> Ground:
    """What a search over poses looks up; the body's middle is at its origin."""
    return ground_of(shape_of(body, _MARGIN * _size(room, _radius(body)), GRID), room, GRID)


def _radius(body: Area) -> float:
    return float(np.hypot(*shapely.get_coordinates(body).T).max())


def _size(room: Area, radius: float) -> float:
    """The room's diagonal, or where a body is far too large for it, a length of the body."""
    x0, y0, x1, y1 = room.bounds
    return max(float(np.hypot(x1 - x0, y1 - y0)), _TOO_LARGE * radius)


def ground_of(inner: Shape, room: Area, points: int) -> Ground:
    """The same of a body whose depths are known, with those of the room at so many points a side."""
    radius = _radius(inner.area)
    size = _size(room, radius)
    outer = shape_of(room, _MARGIN * size, points)
    corners = inner.starts[~inner.bends]
    first = _far_apart(corners, _FIRST)
    rest = np.setdiff1d(np.arange(len(corners)), first)
    standing = outer.starts[outer.bends]
    walls = np.vstack([_posts(room), np.column_stack([standing, np.zeros(len(standing))])])
    beside = _along(outer, size / _SAMPLES)
    return Ground(
        inner,
        outer,
        shapely.buffer(room, _EASE, join_style="mitre"),
        shapely.boundary(room),
        radius,
        size,
        (corners[first], corners[rest], _along(inner, size / _SAMPLES)),
        (walls, np.column_stack([beside, np.zeros(len(beside))])),
    )


def _posts(room: Area) -> Floats:
    """The deepest point of each post and how deep it lies, shape (n, 3)."""
    inner = [hole for part in shapely.get_parts(room) for hole in part.interiors]
    if not inner:
        return np.empty((0, 3))
    posts = shapely.polygons(inner)
    spokes = shapely.maximum_inscribed_circle(posts, tolerance=1e-3)
    middles = shapely.get_coordinates(shapely.get_point(spokes, 0))
    return np.column_stack([middles, shapely.distance(shapely.boundary(posts), shapely.points(middles))])


def _along(shape: Shape, spacing: float) -> Floats:
    """Points within the sides of a shape, no further apart than ``spacing``, shape (n, 2)."""
    counts = (np.hypot(*shape.steps.T) / spacing).astype(np.intp)
    side = np.repeat(np.arange(len(counts)), counts)
    number = np.arange(len(side)) - np.repeat(np.cumsum(counts) - counts, counts)
    return np.asarray(shape.starts[side] + ((number + 1) / (counts[side] + 1))[:, None] * shape.steps[side])


def _far_apart(points: Floats, count: int) -> Floats:
    """Positions of points, the first furthest out and each next one furthest from those before."""
    chosen = [int(np.argmax(np.hypot(*points.T)))]
    apart = np.hypot(*(points - points[chosen[0]]).T)
    while len(chosen) < min(count, len(points)):
        chosen.append(int(np.argmax(apart)))
        apart = np.minimum(apart, np.hypot(*(points - points[chosen[-1]]).T))
    return np.array(chosen)


def all_poses(ground: Ground, side: float, margin: float = 0.0) -> Boxes:
    """Boxes of about ``side`` mm a side that hold every pose with the body's middle in the room's bounds.

    Or no more than ``margin`` mm beyond them.
    """
    x0, y0, x1, y1 = shapely.box(*ground.room.area.bounds).buffer(margin, join_style="mitre").bounds
    turns = int(np.ceil(2 * np.pi * ground.radius / (2**0.5 * side)))
    half_turn = np.pi / turns
    xs, ys = np.arange(x0 + side / 2, x1 + side / 2, side), np.arange(y0 + side / 2, y1 + side / 2, side)
    angles = -np.pi + (2 * np.arange(turns) + 1) * half_turn
    middle = np.stack(np.meshgrid(xs, ys, angles, indexing="ij"), axis=-1).reshape(-1, 3)
    return Boxes(middle, side / 2, half_turn, np.full(len(middle), np.inf))


def split(boxes: Boxes) -> Boxes:
    """Each box in eight."""
    half, half_turn = boxes.half / 2, boxes.half_turn / 2
    signs = np.stack(np.meshgrid(*[(-1.0, 1.0)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    middle = boxes.middle[:, None] + signs * (half, half, half_turn)
    return Boxes(middle.reshape(-1, 3), half, half_turn, np.repeat(boxes.most, 8))


def looked_up(ground: Ground, boxes: Boxes, wanted: float) -> Boxes:
    """The boxes that may have over ``wanted`` mm of room, by what the fields say of more and more points."""
    (first, rest, beside), (posts, walls) = ground.body_points, ground.wall_points
    boxes = _by(_of_body, ground, (first, rest), boxes, wanted)
    boxes = _by(_of_walls, ground, (posts,), boxes, wanted)
    boxes = _by(_of_body, ground, (beside,), boxes, wanted)
    return _by(_of_walls, ground, (walls,), boxes, wanted)


def by_body(ground: Ground, boxes: Boxes, wanted: float) -> Boxes:
    """The same by points of the body alone.

    >>> tray = ground(shapely.box(-2, -1, 2, 1), shapely.box(0, 0, 5, 4))
    >>> boxes = all_poses(tray, 0.5)
    >>> 0 < len(by_body(tray, boxes, 0.0).most) < len(boxes.most) / 2
    True
    """
    return _by(_of_body, ground, ground.body_points, boxes, wanted)


def by_walls(ground: Ground, boxes: Boxes, wanted: float) -> Boxes:
    """The same by points of walls and posts alone.

    >>> tray = ground(shapely.box(-2, -1, 2, 1), shapely.box(0, 0, 5, 4))
    >>> boxes = all_poses(tray, 0.5)
    >>> 0 < len(by_walls(tray, boxes, 0.0).most) < len(boxes.most) / 2
    True
    """
    return _by(_of_walls, ground, ground.wall_points, boxes, wanted)


def _by(bound: _Bound, ground: Ground, groups: tuple[Floats, ...], boxes: Boxes, wanted: float) -> Boxes:
    for points in groups:
        if len(points) and len(boxes.most):
            step = max(1, _BLOCK // len(points))
            blocks = range(0, len(boxes.most), step)
            found = [bound(ground, boxes, points, slice(low, low + step)) for low in blocks]
            boxes = boxes._replace(most=np.minimum(boxes.most, np.concatenate(found))).above(wanted)
    return boxes


def by_corners(ground: Ground, boxes: Boxes) -> Boxes:
    """The same boxes with the most room by what the field says of the corners of the body alone.

    >>> tray = ground(shapely.box(-2, -1, 2, 1), shapely.box(0, 0, 5, 4))
    >>> boxes = by_corners(tray, all_poses(tray, 0.5))
    >>> bool(boxes.most.max() > 0.5), bool(boxes.most.min() < 0)
    (True, True)
    """
    corners = np.vstack(ground.body_points[:2])
    return boxes._replace(most=_of_body(ground, boxes, corners, slice(None)))


def by_sides(ground: Ground, boxes: Boxes, wanted: float) -> Boxes:
    """The boxes that may have over ``wanted`` mm of room, which is negative, by the corners furthest outside.

    A corner outside is as far from the room as from the nearest side, and its way from a side is convex in
    where it lies: it is no less anywhere than its tangent says.  A turn by δ moves a corner at r by rδ²/2 off
    the tangent.

    >>> tray = ground(shapely.box(-3, -1, 3, 1), shapely.box(0, 0, 5, 4))
    >>> len(by_sides(tray, all_poses(tray, 0.5), -0.1).most)
    0
    """
    step = max(1, _BLOCK // (_DEEPEST * len(ground.room.starts)))
    blocks = range(0, len(boxes.most), step)
    found = [_of_deepest(ground, boxes, slice(low, low + step)) for low in blocks]
    return boxes._replace(most=np.minimum(boxes.most, np.concatenate([np.empty(0), *found]))).above(wanted)


def _of_deepest(ground: Ground, boxes: Boxes, block: slice) -> Floats:
    """By the corners of the body furthest outside; infinite where all may come inside."""
    corners, boxes = np.vstack(ground.body_points[:2]), boxes._replace(middle=boxes.middle[block])
    x, y, turn = boxes.middle.T[..., None]
    sine, cosine = np.sin(turn), np.cos(turn)
    dx = cosine * corners[:, 0] - sine * corners[:, 1]
    dy = sine * corners[:, 0] + cosine * corners[:, 1]
    depths = ground.room.depths.most(dx + x, dy + y)
    count = min(_DEEPEST, len(corners))
    which = np.argpartition(depths + boxes.half_turn * np.hypot(*corners.T), count - 1, axis=1)[:, :count]
    box, nth = np.nonzero(np.take_along_axis(depths, which, axis=1) < 0)
    corner = which[box, nth]
    least = _least_away(ground.room, boxes, box, np.column_stack([dx[box, corner], dy[box, corner]]))
    most, out = np.full(len(boxes.middle), np.inf), least > 0
    np.minimum.at(most, box[out], -least[out])
    return most


def _least_away(room: Shape, boxes: Boxes, box: NDArray[np.intp], arm: Floats) -> Floats:
    """How far from a room corners on the ``arm``, shape (n, 2), of a box are at least, shape (n,)."""
    starts, steps = room.starts, room.steps
    x = (boxes.middle[box, 0] + arm[:, 0])[:, None] - starts[:, 0]
    y = (boxes.middle[box, 1] + arm[:, 1])[:, None] - starts[:, 1]
    share = (x * steps[:, 0] + y * steps[:, 1]) * (1 / np.sum(steps**2, axis=1))
    np.clip(share, 0.0, 1.0, out=share)
    x -= share * steps[:, 0]
    y -= share * steps[:, 1]
    away = np.sqrt(x * x + y * y)
    lever = np.abs(arm[:, :1] * y - arm[:, 1:] * x)
    lost = ((np.abs(x) + np.abs(y)) * boxes.half + lever * boxes.half_turn) / np.maximum(away, 1e-12)
    return np.asarray((away - lost).min(axis=1) - np.hypot(*arm.T) * boxes.half_turn**2 / 2)


def _of_body(ground: Ground, boxes: Boxes, points: Floats, block: slice) -> Floats:
    """By points of the body: how deep in the room each is at best."""
    x, y, turn = boxes.middle[block].T[..., None]
    sine, cosine = np.sin(turn), np.cos(turn)
    depths = ground.room.depths.most(
        cosine * points[:, 0] - sine * points[:, 1] + x, sine * points[:, 0] + cosine * points[:, 1] + y
    )
    moved = np.hypot(*points.T) * boxes.half_turn + 2**0.5 * boxes.half
    return np.asarray((depths + moved).min(axis=1))


def _of_walls(ground: Ground, boxes: Boxes, points: Floats, block: slice) -> Floats:
    """By points in walls: how far outside the body each is at best."""
    x, y, turn = boxes.middle[block].T[..., None]
    sine, cosine = np.sin(turn), np.cos(turn)
    dx, dy = points[:, 0] - x, points[:, 1] - y
    apart = -ground.body.depths.least(cosine * dx + sine * dy, cosine * dy - sine * dx)
    moved = np.hypot(dx, dy) * boxes.half_turn + 2**0.5 * boxes.half
    return np.asarray((np.maximum(apart + moved, 0.0) - points[:, 2]).min(axis=1))
