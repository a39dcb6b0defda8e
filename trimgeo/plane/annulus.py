"""The ring-shaped room between what is kept and what is allowed, cut into triangles.

An outline runs counter-clockwise through the annulus, what is kept on its left.  The triangles that lie
on the way around form a ring; all others lie in pockets beside it.  Where two triangles of the ring meet,
one end of their common side is a corner of what is kept (left) and the other of what is allowed (right).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.hulls import Floats, Indices
from trimgeo.plane.pose import Pose, pose_of

RELAXED = 2e-5
"""Kept area shrinks and allowed area grows by this (mm), so that touching becomes strictly clear."""

STANDS_OUT = 1e-7
"""Corners that stand out by less than this (mm) are none, unless a free part of the border ends there."""

LONGEST_MITRE = 4.0
"""A relaxed corner moves by at most so many times `RELAXED`."""

EASED = 5 * RELAXED
"""mm: where a free part of the border ends at a corner that stands into the room, so much more of it is free.

A cut may begin there in any direction, also in one that comes from beyond the last free side.
"""

Point = tuple[float, float]


class NoRoomError(ValueError):
    """What is kept reaches over the border of what is allowed, so that no outline exists.

    ``point`` is the kept point that lies furthest out, ``wall`` the nearest point of the border, ``side`` its
    side of the border as given (side k runs from corner k to k + 1), ``overlap`` their distance; all mm.
    """

    def __init__(self, point: Point, wall: Point, side: int, overlap: float) -> None:
        self.point, self.wall, self.side, self.overlap = point, wall, side, overlap
        super().__init__(
            f"what is kept reaches {overlap:.4f} mm over side {side} of what is allowed, "
            f"near ({point[0]:.3f}, {point[1]:.3f})"
        )


@dataclass(frozen=True, eq=False)
class Annulus:
    """Room between two rings and its triangles.

    All is in the ``pose`` (`trimgeo.plane.pose`).  ``kept``, shape (k, 2), and ``allowed``, shape (n, 2),
    are counter-clockwise, without needless corners; ``free``, shape (n,), says which sides of ``allowed``
    (side i from corner i to i + 1) cost nothing.  ``points`` are both once more, kept first, moved apart by
    `RELAXED`; ``triangles`` are three of their numbers each, counter-clockwise; ``neighbours`` the triangles
    beyond side j (from corner j to j + 1), -1 at the border; ``fans`` the triangles at each point; ``ring``
    those once around and ``exits`` the sides by which the way leaves each.
    """

    pose: Pose
    kept: Floats
    allowed: Floats
    free: NDArray[np.bool_]
    points: tuple[Point, ...]
    triangles: tuple[tuple[int, int, int], ...]
    neighbours: tuple[tuple[int, int, int], ...]
    fans: tuple[tuple[int, ...], ...]
    ring: tuple[int, ...]
    exits: tuple[int, ...]

    @cached_property
    def relaxed(self) -> Floats:
        """Both rings as the triangles see them, kept first, shape (k + n, 2)."""
        return np.array(self.points)

    @property
    def relaxed_kept(self) -> Floats:
        """The kept ring as the triangles see it, shape (k, 2)."""
        return self.relaxed[: len(self.kept)]

    @property
    def relaxed_allowed(self) -> Floats:
        """The allowed ring as the triangles see it, shape (n, 2)."""
        return self.relaxed[len(self.kept) :]

    @cached_property
    def onto(self) -> Indices:
        """For each of both rings' corners the number of the next one along its ring, shape (k + n,)."""
        onto = np.arange(1, len(self.points) + 1)
        onto[[len(self.kept) - 1, -1]] = 0, len(self.kept)
        return onto

    @cached_property
    def free_relaxed(self) -> NDArray[np.bool_]:
        """Which sides of both rings cost nothing, shape (k + n,): none of the kept one."""
        return np.concatenate([np.zeros(len(self.kept), dtype=bool), self.free])


def annulus(kept: Polygon, allowed: Polygon, free: NDArray[np.bool_]) -> Annulus:
    """Triangulate the room between ``kept`` and ``allowed`` (outer rings alone; all mm).

    ``free`` has one flag a side of ``allowed``, side k from corner k to k + 1 of its exterior.
    Raises `NoRoomError` where ``kept`` reaches over the border of ``allowed``.

    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> len(room.triangles), len(room.ring)
    (8, 8)
    """
    pose = pose_of([kept, allowed])
    outer, flags = eased(*posed(pose, allowed, free))
    inner, _ = posed(pose, kept, np.zeros(1, dtype=bool))
    moved_inner, moved_outer = moved_sides(inner, -RELAXED), moved_sides(outer, RELAXED)
    room = Polygon(moved_outer, [moved_inner])
    if not (room.is_valid and shapely.contains_properly(Polygon(moved_outer), Polygon(moved_inner))):
        raise no_room(kept, allowed)
    points = np.vstack([moved_inner, moved_outer])
    triangles = triangles_of(room, points)
    neighbours = neighbours_of(triangles, len(points))
    ring, exits = _way_around(triangles, neighbours, len(inner))
    return Annulus(
        pose,
        inner,
        outer,
        flags,
        tuple((float(x), float(y)) for x, y in points),
        tuple((int(a), int(b), int(c)) for a, b, c in triangles),
        tuple((int(a), int(b), int(c)) for a, b, c in neighbours),
        fans_of(triangles, len(points)),
        ring,
        exits,
    )


def posed(pose: Pose, shape: Polygon, flags: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_]]:
    """The ring of a shape in the pose without needless corners, and its sides' flags."""
    corners, flags = needed(*_counter_clockwise(shapely.get_coordinates(shape.exterior)[:-1], flags))
    corners, flags = _counter_clockwise(pose.taken(corners), flags)
    first = int(np.lexsort(corners.T)[0])
    return np.roll(corners, -first, axis=0), np.roll(flags, -first)


def _counter_clockwise(corners: Floats, flags: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_]]:
    """Corners and the flags of their sides, turned round where the ring runs clockwise."""
    flags = np.broadcast_to(flags, len(corners))
    x, y = (corners - corners[0]).T
    if float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) >= 0:
        return corners, flags
    return corners[::-1], np.roll(flags[::-1], -1)


def needed(corners: Floats, flags: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_]]:
    """Without doubled corners, and without collinear ones whose two sides have one flag.

    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> needed(square, np.zeros(5, dtype=bool))[0].tolist()
    [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]
    """
    while True:
        before, after = np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0)
        doubled = np.hypot(*(corners - after).T) <= STANDS_OUT
        if not doubled.any():
            chord, arm = after - before, corners - before
            length = np.maximum(np.hypot(*chord.T), 1e-300)
            out = np.abs(chord[:, 0] * arm[:, 1] - chord[:, 1] * arm[:, 0]) / length
            on = (np.sum(arm * chord, axis=1) > 0) & (np.sum((after - corners) * chord, axis=1) > 0)
            doubled = (out <= STANDS_OUT) & (flags == np.roll(flags, 1)) & on
            doubled &= ~np.roll(doubled, 1) | (out <= STANDS_OUT / 1000)
        if not doubled.any():
            return corners, flags
        # the side of a dropped corner is its predecessor's from now on
        corners, flags = corners[~doubled], flags[~doubled]


def eased(corners: Floats, free: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_]]:
    """A ring with `EASED` mm more of it free beside each corner to the inside at which a free part ends.

    >>> bent = np.array([(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 2.0), (2.0, 4.0), (0.0, 4.0)])
    >>> len(eased(bent, np.array([False, False, True, False, False, False]))[0])
    7
    """
    side = np.roll(corners, -1, axis=0) - corners
    before = np.roll(side, 1, axis=0)
    ends = (before[:, 0] * side[:, 1] - before[:, 1] * side[:, 0] < 0) & (free != np.roll(free, 1))
    if not ends.any():
        return corners, free
    onto, flags = [], []
    for k in range(len(corners)):
        if ends[k] and free[k]:
            onto += [corners[k] - EASED * before[k] / np.hypot(*before[k]), corners[k]]
        elif ends[k]:
            onto += [corners[k], corners[k] + EASED * side[k] / np.hypot(*side[k])]
        else:
            onto.append(corners[k])
        flags += [True, bool(free[k])] if ends[k] else [bool(free[k])]
    return np.array(onto), np.array(flags)


def moved_sides(corners: Floats, outwards: float) -> Floats:
    """Every side moved by ``outwards``: its corners along their mitres; a straight corner a little more."""
    side = np.roll(corners, -1, axis=0) - corners
    normal = np.column_stack([side[:, 1], -side[:, 0]]) / np.hypot(*side.T)[:, None]
    before = np.roll(normal, 1, axis=0)
    share = 1 + np.sum(normal * before, axis=1)
    mitre = (normal + before) / np.maximum(share, 1e-9)[:, None]
    length = np.hypot(*mitre.T)
    mitre = mitre * np.minimum(1.0, LONGEST_MITRE / np.maximum(length, 1e-9))[:, None]
    straight = np.abs(before[:, 0] * normal[:, 1] - before[:, 1] * normal[:, 0]) < 1e-6
    return np.asarray(corners + outwards * mitre * np.where(straight, 1.05, 1.0)[:, None])


def no_room(kept: Polygon, allowed: Polygon) -> NoRoomError:
    """Name the kept point that lies furthest outside, or nearest to the border where none does."""
    allowed = Polygon(allowed.exterior)
    outside = shapely.difference(Polygon(kept.exterior), allowed)
    corners = shapely.points(shapely.get_coordinates(kept.exterior if outside.is_empty else outside))
    apart = shapely.distance(corners, allowed.exterior)
    worst = corners[int(np.argmin(apart) if outside.is_empty else np.argmax(apart))]
    ring = shapely.get_coordinates(allowed.exterior)
    sides = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
    side = int(np.argmin(shapely.distance(sides, worst)))
    wall = shapely.get_coordinates(shapely.shortest_line(sides[side], worst))[0]
    overlap = float(shapely.distance(sides[side], worst)) * (-1 if outside.is_empty else 1)
    return NoRoomError((worst.x, worst.y), (float(wall[0]), float(wall[1])), side, overlap)


def triangles_of(room: Polygon, points: Floats) -> Indices:
    """Corners of a constrained Delaunay triangulation, shape (t, 3), counter-clockwise.

    ``points`` are those of all rings of ``room``, once each.
    """
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(room))
    corners = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3]
    pair = [("y", np.float64), ("x", np.float64)]
    order = np.lexsort(points.T)
    known = np.ascontiguousarray(points[order][:, ::-1]).view(pair).ravel()
    at = np.searchsorted(known, np.ascontiguousarray(corners.reshape(-1, 2)[:, ::-1]).view(pair).ravel())
    numbers = order[np.minimum(at, len(points) - 1)].reshape(-1, 3)
    if len(numbers) != len(points) + 2 * (len(room.interiors) - 1):
        raise AssertionError("the triangles do not fill the room")
    a, b, c = (points[numbers[:, k]] for k in range(3))
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    return np.asarray(np.where(turn[:, None] > 0, numbers, numbers[:, ::-1]))


def neighbours_of(triangles: Indices, count: int) -> Indices:
    """The triangle beyond each side, shape (t, 3), -1 where there is none."""
    start, end = triangles, np.roll(triangles, -1, axis=1)
    key, twin = (start * count + end).ravel(), (end * count + start).ravel()
    order = np.argsort(key)
    at = np.minimum(np.searchsorted(key[order], twin), len(key) - 1)
    found = order[at]
    return np.asarray(np.where(key[found] == twin, found // 3, -1).reshape(-1, 3))


def fans_of(triangles: Indices, count: int) -> tuple[tuple[int, ...], ...]:
    """The triangles at each point."""
    fans: list[list[int]] = [[] for _ in range(count)]
    for number, corners in enumerate(triangles.tolist()):
        for corner in corners:
            fans[corner].append(number)
    return tuple(map(tuple, fans))


def _way_around(
    triangles: Indices, neighbours: Indices, kept: int
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Triangles once around and the sides by which the way leaves each: what is left without dead ends."""
    beside = neighbours.tolist()
    degree = (neighbours >= 0).sum(axis=1).tolist()
    ends = [k for k, each in enumerate(degree) if each == 1]
    while ends:
        here = ends.pop()
        degree[here] = 0
        for other in beside[here]:
            if other >= 0 and degree[other] > 0:
                degree[other] -= 1
                if degree[other] == 1:
                    ends.append(other)
    here = next(k for k, each in enumerate(degree) if each == 2)
    ring: list[int] = []
    exits: list[int] = []
    corners = triangles.tolist()
    while not ring or here != ring[0]:
        for k in range(3):
            right, left = corners[here][k], corners[here][(k + 1) % 3]
            if beside[here][k] >= 0 and degree[beside[here][k]] > 0 and left < kept <= right:
                ring.append(here)
                exits.append(k)
                here = beside[here][k]
                break
        else:
            raise AssertionError("the triangles do not go around what is kept")
    return tuple(ring), tuple(exits)
