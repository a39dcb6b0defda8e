"""The room around several islands, unrolled so that a way around all of them is a way around one ring.

An outline that holds all islands leaves nothing of them between itself and the border of what is allowed.
So it can be moved on to that border without passing an island (it is homotopic to it), however the islands
hang together inside.  Unrolled along the border, the room between islands and border is an annulus: the
border is its right side, once around, and on its left each way in between islands is a branch of its own
that is left where it was entered (the covering space that belongs to the border).  Straight links lie there
as in the plane, so that their windows are found as in any `Annulus`.

A post stands outside the outline, so that in the waste some slit leads from it to the border.  The same
holds of the way along the border, along that slit, around the post and back.  A link may cross the slit; how
the slit runs between the islands is all that counts (`trimgeo.plane.slits`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import (
    RELAXED,
    Annulus,
    NoRoomError,
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
from trimgeo.plane.pose import Pose, pose_of
from trimgeo.plane.sight import LEFT, RIGHT, Lines

Corners = tuple[int, int, int]

Step = tuple[int, int]
"""A triangle and the side by which a way leaves it."""


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
    plane = plane_of(islands, allowed, free)
    walk, begins = along_border(plane)
    return unrolled(plane, walk, list(enumerate(begins)))


@dataclass(frozen=True, eq=False)
class Plane:
    """The room as it lies in the plane, in a ``pose``: its triangles between the border and what it holds.

    ``corners``, shape (n, 2), and ``points``, the same relaxed, are those of the border first, which are as
    many as ``free`` sides; ``rings`` are the numbers of each ring.  Triangles and neighbours as in `Annulus`.
    """

    pose: Pose
    corners: Floats
    free: NDArray[np.bool_]
    rings: tuple[range, ...]
    points: tuple[Point, ...]
    triangles: list[Corners]
    neighbours: list[Corners]

    def beyond(self, step: Step) -> int:
        """The triangle that a step leads to."""
        return self.neighbours[step[0]][step[1]]

    def ends(self, step: Step) -> tuple[int, int]:
        """Left and right end of the side by which a step leaves."""
        corners = self.triangles[step[0]]
        return corners[(step[1] + 1) % 3], corners[step[1]]

    def back(self, steps: list[Step]) -> list[Step]:
        """The same way the other way round."""
        onward = [self.beyond(step) for step in steps]
        return [
            (there, self.neighbours[there].index(here))
            for (here, _), there in zip(steps, onward, strict=True)
        ][::-1]

    def about(self, triangle: int, pivot: int, until: int | None = None) -> tuple[list[Step], int]:
        """Steps about a point on the right, to the border or to a triangle, and the last triangle."""
        steps: list[Step] = []
        while triangle != until:
            step = (triangle, self.triangles[triangle].index(pivot))
            if self.beyond(step) < 0:
                break
            steps.append(step)
            triangle = self.beyond(step)
        return steps, triangle


def plane_of(islands: Sequence[Polygon], allowed: Polygon, free: NDArray[np.bool_]) -> Plane:
    """The room between ``islands``, posts among them, and the border; arguments as of `around_islands`.

    >>> room = plane_of([shapely.box(1, 1, 2, 2)], shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> len(room.triangles)
    8
    """
    pose = pose_of([allowed, *islands])
    outer, flags = eased(*posed(pose, allowed, free))
    inner = [posed(pose, island, np.zeros(1, dtype=bool))[0] for island in islands]
    rings = [moved_sides(outer, RELAXED), *(moved_sides(ring, -RELAXED) for ring in inner)]
    room = Polygon(rings[0], rings[1:])
    held = [shapely.contains_properly(Polygon(rings[0]), Polygon(ring)) for ring in rings[1:]]
    if not (room.is_valid and all(held)):
        raise _worst(islands, allowed)
    points = np.vstack(rings)
    triangles = triangles_of(room, points)
    neighbours = neighbours_of(triangles, len(points))
    ends = np.cumsum([0, *map(len, rings)]).tolist()
    return Plane(
        pose,
        np.vstack([outer, *inner]),
        flags,
        tuple(range(*pair) for pair in pairwise(ends)),
        tuple((float(x), float(y)) for x, y in points),
        [(a, b, c) for a, b, c in triangles.tolist()],
        [(a, b, c) for a, b, c in neighbours.tolist()],
    )


def _worst(islands: Sequence[Polygon], allowed: Polygon) -> NoRoomError:
    return max((no_room(island, allowed) for island in islands), key=lambda each: each.overlap)


def along_border(plane: Plane) -> tuple[list[Step], list[int]]:
    """The way once around along the border, and after how many steps it is at each of its sides.

    >>> room = plane_of([shapely.box(1, 1, 2, 2)], shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> len(along_border(room)[1])
    4
    """
    count = len(plane.free)
    here = next(t for t, each in enumerate(plane.triangles) if side_of(each, 0, 1) is not None)
    walk: list[Step] = []
    begins: list[int] = []
    for side in range(count):
        begins.append(len(walk))
        steps, here = plane.about(here, (side + 1) % count)
        walk += steps
    return walk, begins


def side_of(corners: Sequence[int], start: int, end: int) -> int | None:
    """The side of a triangle from one corner to another, if it has it.

    >>> side_of((4, 5, 6), 6, 4), side_of((4, 5, 6), 4, 6)
    (2, None)
    """
    return next((k for k in range(3) if corners[k] == start and corners[(k + 1) % 3] == end), None)


def core(plane: Plane, walk: list[Step]) -> list[int]:
    """Numbers of the steps of a closed way that are left without detours into dead ends.

    >>> room = plane_of([shapely.box(1, 1, 2, 2)], shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> walk, _ = along_border(room)
    >>> len(core(room, walk + walk[:1] + room.back(walk[:1]))) == len(walk)
    True
    """
    left: list[int] = []
    for k, step in enumerate(walk):
        if left and plane.beyond(step) == walk[left[-1]][0]:
            left.pop()
        else:
            left.append(k)
    first, last = 0, len(left) - 1
    while first < last and plane.beyond(walk[left[first]]) == walk[left[last]][0]:
        first, last = first + 1, last - 1
    return left[first : last + 1]


def unrolled(plane: Plane, walk: list[Step], border: list[tuple[int, int]]) -> Annulus:
    """The room unrolled along a closed way.

    ``border`` are sides of the border and after how many steps of the way it is at each: these lie on the
    right, in this order, and those that are free are free there.

    >>> room = plane_of([shapely.box(1, 1, 2, 2)], shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> walk, begins = along_border(room)
    >>> len(unrolled(room, walk, list(enumerate(begins))).ring) == len(walk)
    True
    """
    leaves = _Leaves(plane, walk)
    sides = [leaves.side(at, side) for side, at in border]
    home = [start for start, _ in sides]
    if sides[-1][1] != home[0]:
        home.append(sides[-1][1])
    flags = [bool(plane.free[side]) for side, _ in border]
    left = [k for k, side in enumerate(leaves.on) if side == LEFT]
    right = home + sorted({k for k, side in enumerate(leaves.on) if side == RIGHT} - set(home))
    number = {each: k for k, each in enumerate(left + right)}
    below = [leaves.lifted[k] for k in left + right]
    triangles = np.array([[number[k] for k in each] for each in leaves.triangles])
    return Annulus(
        plane.pose,
        plane.corners[below[: len(left)]],
        plane.corners[below[len(left) :]],
        np.array(flags + [False] * (len(right) - len(flags))),
        tuple(plane.points[k] for k in below),
        tuple((int(a), int(b), int(c)) for a, b, c in triangles),
        tuple((a, b, c) for a, b, c in leaves.neighbours),
        fans_of(triangles, len(below)),
        tuple(range(leaves.count)),
        tuple(walk[k][1] for k in leaves.ring),
    )


class _Leaves:
    """Triangles of the plane as they lie in the annulus: once around, branches of the way, and what is seen.

    A point of the plane is there once for each way to it: ``lifted`` are their numbers in the plane, and
    ``on`` which side of the ring they are.  ``below`` is for each triangle the one in the plane.
    """

    def __init__(self, plane: Plane, walk: list[Step]) -> None:
        self.plane = plane
        self.ring = core(plane, walk)
        self.count = len(self.ring)
        self.lifted: list[int] = []
        self.on: list[int] = []
        self.triangles: list[list[int]] = []
        self.below: list[int] = [walk[k][0] for k in self.ring]
        self.neighbours: list[list[int]] = []
        self._lay_ring([walk[k] for k in self.ring])
        self.at = self._followed(walk)
        self._look_around()

    def side(self, at: int, side: int) -> tuple[int, int]:
        """Both ends of a side of the border where the way is after so many steps."""
        triangle = self.at[at % len(self.at)]
        edge = side_of(self.plane.triangles[self.below[triangle]], side, (side + 1) % len(self.plane.free))
        assert edge is not None
        corners = self.triangles[triangle]
        return corners[edge], corners[(edge + 1) % 3]

    def _new(self, point: int, side: int) -> int:
        self.lifted.append(point)
        self.on.append(side)
        return len(self.lifted) - 1

    def _lay_ring(self, steps: list[Step]) -> None:
        """The triangles once around."""
        ends = [self.plane.ends(step) for step in steps]
        lifted: list[list[int]] = []
        for side in (LEFT, RIGHT):
            runs = [self._new(ends[0][side], side)]
            for before, here in pairwise(ends):
                runs.append(runs[-1] if before[side] == here[side] else self._new(here[side], side))
            if ends[-1][side] == ends[0][side]:
                runs = [runs[0] if each == runs[-1] else each for each in runs]
            lifted.append(runs)
        for k, (triangle, leave) in enumerate(steps):
            known = {ends[n][side]: lifted[side][n] for n in (k - 1, k) for side in (LEFT, RIGHT)}
            self.triangles.append([known[point] for point in self.plane.triangles[triangle]])
            self.neighbours.append([-1, -1, -1])
            self.neighbours[k][leave] = (k + 1) % self.count
            entered = self.plane.neighbours[triangle].index(steps[k - 1][0])
            self.neighbours[k][entered] = (k - 1) % self.count

    def _followed(self, walk: list[Step]) -> list[int]:
        """Where the way is before each of its steps; triangles are laid where it leaves the ring."""
        at = [0] * len(walk)
        here = 0
        for k in range(self.ring[0], self.ring[0] + len(walk)):
            at[k % len(walk)] = here
            leave = walk[k % len(walk)][1]
            onward = self.neighbours[here][leave]
            here = onward if onward >= 0 else self._lay(here, leave)
        assert here == 0
        return at

    def _lay(self, here: int, edge: int) -> int:
        """Lay the triangle beyond a side."""
        below = self.plane.neighbours[self.below[here]][edge]
        entered = self.plane.neighbours[below].index(self.below[here])
        corners = [0, 0, 0]
        corners[entered] = self.triangles[here][(edge + 1) % 3]
        corners[(entered + 1) % 3] = self.triangles[here][edge]
        apex = self.plane.triangles[below][(entered + 2) % 3]
        corners[(entered + 2) % 3] = self._new(apex, self.on[corners[entered]])
        self.triangles.append(corners)
        self.below.append(below)
        self.neighbours.append([-1, -1, -1])
        child = len(self.triangles) - 1
        self.neighbours[here][edge], self.neighbours[child][entered] = child, here
        return child

    def _look_around(self) -> None:
        """Lay what can be seen through the sides of triangles on the way."""
        stack: list[tuple[int, int, Lines | None]] = [
            (here, edge, None)
            for here in range(len(self.triangles))
            for edge in range(3)
            if self.neighbours[here][edge] < 0
        ]
        while stack:
            here, edge, seen = stack.pop()
            if self.plane.neighbours[self.below[here]][edge] < 0:
                continue
            left, right = self._ends(here, edge)
            lines = seen or Lines([left], [right])
            child = self._lay(here, edge)
            entered = self.neighbours[child].index(here)
            for step, side in ((1, LEFT), (2, RIGHT)):
                onward, leave = lines.copy(), (entered + step) % 3
                if onward.add(side, self._ends(child, leave)[side]):
                    stack.append((child, leave, onward))

    def _ends(self, triangle: int, edge: int) -> tuple[Point, Point]:
        """Left and right end of a side, as one leaves by it."""
        left, right = self.plane.ends((self.below[triangle], edge))
        return self.plane.points[left], self.plane.points[right]
