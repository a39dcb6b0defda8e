"""The room around several islands, unrolled so that a way around all of them is a way around one ring.

An outline that holds all islands leaves nothing of them between itself and the border of what is allowed.
So it can be moved on to that border without passing an island (it is homotopic to it), however the islands
hang together inside.  Unrolled along the border, the room between islands and border is an annulus: the
border is its right side, once around, and on its left each way in between islands is a branch of its own
that is left where it was entered (the covering space that belongs to the border).  Straight links lie there
as in the plane, so that their windows are found as in any `Annulus`.

In the same way an outline that holds one island, and leaves posts outside, has no post between itself and
the island: unrolled along the island, which is the left side then, posts and border lie on the right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import (
    RELAXED,
    Annulus,
    Point,
    eased,
    fans_of,
    moved_sides,
    neighbours_of,
    no_room,
    posed,
    triangles_of,
)
from trimgeo.plane.hulls import Floats
from trimgeo.plane.pose import pose_of
from trimgeo.plane.sight import LEFT, RIGHT, Lines

Corners = tuple[int, int, int]


def around_islands(islands: Sequence[Polygon], allowed: Polygon, free: NDArray[np.bool_]) -> Annulus:
    """The room between ``islands``, which lie apart, and ``allowed`` (outer rings alone; mm), unrolled.

    ``free`` has one flag a side of ``allowed``, side k from corner k to k + 1 of its exterior.  What is kept
    in the annulus is only a list of the points on its left.  Of branches as much is there as one can see
    into.  Raises `trimgeo.plane.annulus.NoRoomError` where an island reaches over the border of ``allowed``.

    >>> islands = [shapely.box(1, 1, 2, 2), shapely.box(7, 1, 8, 2)]
    >>> room = around_islands(islands, shapely.box(0, 0, 9, 3), np.zeros(4, dtype=bool))
    >>> len(room.allowed)
    4
    """
    pose = pose_of([allowed, *islands])
    outer, flags = eased(*posed(pose, allowed, free))
    inner = [posed(pose, island, np.zeros(1, dtype=bool))[0] for island in islands]
    plane = _in_plane(outer, inner)
    if plane is None:
        worst = (no_room(island, allowed) for island in islands)
        raise max(worst, key=lambda each: each.overlap)
    leaves = _Leaves(plane, range(len(outer)), RIGHT)
    corners = np.vstack([outer, *inner])
    numbers, triangles, neighbours = leaves.numbered()
    left = len(numbers) - len(outer)
    return Annulus(
        pose,
        corners[numbers[:left]],
        outer,
        flags,
        tuple(plane.points[k] for k in numbers),
        triangles,
        neighbours,
        fans_of(np.array(triangles), len(numbers)),
        tuple(range(len(leaves.way))),
        tuple(leave for _, leave in leaves.way),
    )


@dataclass(frozen=True, eq=False)
class _Plane:
    """The room as it lies in the plane: points of the border first, then of what it leads around."""

    points: tuple[Point, ...]
    triangles: list[Corners]
    neighbours: list[Corners]


def _in_plane(outer: Floats, inner: list[Floats]) -> _Plane | None:
    """The triangles between the border and what lies in it, relaxed; None where there is no room."""
    rings = [moved_sides(outer, RELAXED), *(moved_sides(ring, -RELAXED) for ring in inner)]
    room = Polygon(rings[0], rings[1:])
    held = [shapely.contains_properly(Polygon(rings[0]), Polygon(ring)) for ring in rings[1:]]
    if not (room.is_valid and all(held)):
        return None
    points = np.vstack(rings)
    triangles = triangles_of(room, points)
    neighbours = neighbours_of(triangles, len(points))
    return _Plane(
        tuple((float(x), float(y)) for x, y in points),
        [(a, b, c) for a, b, c in triangles.tolist()],
        [(a, b, c) for a, b, c in neighbours.tolist()],
    )


class _Leaves:
    """Triangles of the plane as they lie in the annulus: once around along ring ``home``, and branches.

    Points of ``home``, numbers of the plane, are on ``side`` and there once each; they are noted as negative
    numbers.  Those on the other side are as many as there are ways to them.
    """

    def __init__(self, plane: _Plane, home: range, side: int) -> None:
        self.plane, self.home, self.side = plane, home, side
        self.way = self._way_along()
        self.triangles: list[list[int]] = []
        self.below: list[int] = [triangle for triangle, _ in self.way]
        self.neighbours: list[list[int]] = []
        self.far: list[int] = []
        self._lay_ring()
        self._grow()

    def _way_along(self) -> list[tuple[int, int]]:
        """Triangles along ``home`` and the sides by which they are left, without detours into dead ends."""
        onto = {k: k + 1 if k + 1 < self.home.stop else self.home.start for k in self.home}
        begin, pivot = self.home.start, onto[self.home.start]
        pair = (begin, pivot) if self.side == RIGHT else (pivot, begin)
        here = next(t for t, each in enumerate(self.plane.triangles) if _edge(each, *pair) is not None)
        way: list[tuple[int, int]] = []
        for _ in self.home:
            while (leave := self._turn_about(here, pivot)) is not None:
                onward = self.plane.neighbours[here][leave]
                if way and onward == way[-1][0]:
                    way.pop()
                else:
                    way.append((here, leave))
                here = onward
            pivot = onto[pivot]
        while self.plane.neighbours[way[0][0]][way[0][1]] == way[-1][0]:
            way = way[1:-1]
        turns = [self._far_end(*way[k - 1]) != self._far_end(*way[k]) for k in range(len(way))]
        first = turns.index(True)
        return way[first:] + way[:first]

    def _turn_about(self, triangle: int, pivot: int) -> int | None:
        """The side by which a way along ``home`` turns about one of its points; None where it gets past."""
        at = self.plane.triangles[triangle].index(pivot)
        leave = at if self.side == RIGHT else (at + 2) % 3
        return leave if self.plane.neighbours[triangle][leave] >= 0 else None

    def _far_end(self, triangle: int, leave: int) -> int:
        """The point across from ``home`` of a side."""
        corners = self.plane.triangles[triangle]
        return corners[(leave + 1) % 3] if self.side == RIGHT else corners[leave]

    def _own_end(self, triangle: int, leave: int) -> int:
        corners = self.plane.triangles[triangle]
        return corners[leave] if self.side == RIGHT else corners[(leave + 1) % 3]

    def _new(self, point: int) -> int:
        self.far.append(point)
        return len(self.far) - 1

    def _lay_ring(self) -> None:
        """The triangles once around."""
        ends: list[tuple[int, int]] = []
        for k, step in enumerate(self.way):
            same = k > 0 and self._far_end(*step) == self._far_end(*self.way[k - 1])
            far = ends[-1][1] if same else self._new(self._far_end(*step))
            ends.append((~self._own_end(*step), far))
        count = len(self.way)
        for k, (triangle, _) in enumerate(self.way):
            known = {self._point(each): each for each in (*ends[k - 1], *ends[k])}
            corners = [known[point] for point in self.plane.triangles[triangle]]
            self.triangles.append(corners)
            self.neighbours.append([-1, -1, -1])
        for k, (_, leave) in enumerate(self.way):
            onward = (k + 1) % count
            corners = self.triangles[k]
            back = _edge(self.triangles[onward], corners[(leave + 1) % 3], corners[leave])
            assert back is not None
            self.neighbours[k][leave], self.neighbours[onward][back] = onward, k

    def _point(self, lifted: int) -> int:
        return self.far[lifted] if lifted >= 0 else ~lifted

    def _grow(self) -> None:
        """Pockets along ``home`` as a whole, and on the other side what can be seen through the way in."""
        stack: list[tuple[int, int, Lines | None]] = []
        for k in range(len(self.way)):
            edge = self.neighbours[k].index(-1)
            if self.plane.neighbours[self.below[k]][edge] >= 0:
                left, right = self._ends(k, edge)
                sees = Lines([left], [right]) if self.triangles[k][edge] >= 0 else None
                stack.append((k, edge, sees))
        while stack:
            here, edge, seen = stack.pop()
            child = self._beyond(here, edge)
            entered = self.neighbours[child].index(here)
            for step in (1, 2):
                leave = (entered + step) % 3
                if self.plane.neighbours[self.below[child]][leave] < 0:
                    continue
                sees = seen
                if seen is not None:
                    sees = seen.copy()
                    side = LEFT if step == 1 else RIGHT
                    if not sees.add(side, self._ends(child, leave)[side]):
                        continue
                stack.append((child, leave, sees))

    def _ends(self, triangle: int, edge: int) -> tuple[Point, Point]:
        """Left and right end of a side, as one leaves by it."""
        corners, points = self.plane.triangles[self.below[triangle]], self.plane.points
        return points[corners[(edge + 1) % 3]], points[corners[edge]]

    def _beyond(self, here: int, edge: int) -> int:
        """Lay the triangle beyond a side."""
        below = self.plane.neighbours[self.below[here]][edge]
        base = self.plane.triangles[below]
        entered = self.plane.neighbours[below].index(self.below[here])
        corners = [0, 0, 0]
        corners[entered] = self.triangles[here][(edge + 1) % 3]
        corners[(entered + 1) % 3] = self.triangles[here][edge]
        apex = base[(entered + 2) % 3]
        corners[(entered + 2) % 3] = self._new(apex) if corners[entered] >= 0 else ~apex
        self.triangles.append(corners)
        self.below.append(below)
        self.neighbours.append([-1, -1, -1])
        child = len(self.triangles) - 1
        self.neighbours[here][edge], self.neighbours[child][entered] = child, here
        return child

    def numbered(self) -> tuple[list[int], tuple[Corners, ...], tuple[Corners, ...]]:
        """For each point, left ones first, its number in the plane; triangles and neighbours."""
        own = [*self.home]
        order = [*self.far, *own] if self.side == RIGHT else [*own, *self.far]
        far, near = (0, len(self.far)) if self.side == RIGHT else (len(own), 0)

        def number(lifted: int) -> int:
            return lifted + far if lifted >= 0 else ~lifted - self.home.start + near

        triangles = tuple((number(a), number(b), number(c)) for a, b, c in self.triangles)
        return order, triangles, tuple((a, b, c) for a, b, c in self.neighbours)


def _edge(corners: Sequence[int], start: int, end: int) -> int | None:
    """The side of a triangle from one corner to another."""
    return next((k for k in range(3) if corners[k] == start and corners[(k + 1) % 3] == end), None)
