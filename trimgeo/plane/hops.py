"""Fewest links from each free stretch of the border to each other one.

A stretch is a run of free sides.  A link may start anywhere on one, so greedy starts from each of its sides;
on its way around it looks into each pocket that has free sides.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trimgeo.plane.annulus import Annulus, Point
from trimgeo.plane.sight import LEFT, RIGHT, Sight, Window, meeting


class Hop(NamedTuple):
    """Links from side ``start`` of the allowed ring to side ``end``: windows of all but the last.

    ``last`` is a line for the last one, by two points.
    """

    start: int
    end: int
    windows: tuple[Window, ...]
    last: tuple[Point, Point]

    @property
    def links(self) -> int:
        """Number of links."""
        return len(self.windows) + 1


def stretches(room: Annulus) -> list[list[int]]:
    """Runs of free sides of the allowed ring, in order; none where every side is free or none.

    >>> import shapely
    >>> from trimgeo.plane.annulus import annulus
    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 3, 3), np.array([True, True, False, False]))
    >>> [len(run) for run in stretches(room)]
    [2]
    """
    free = room.free
    begins = np.flatnonzero(free & ~np.roll(free, 1))
    count = len(free)
    runs = []
    for begin in begins.tolist():
        run = [begin]
        while free[(run[-1] + 1) % count]:
            run.append((run[-1] + 1) % count)
        runs.append(run)
    return runs


def hops(room: Annulus, runs: list[list[int]]) -> dict[tuple[int, int], Hop]:
    """The hop with the fewest links from each stretch to the one so many stretches on, by both numbers.

    From a stretch to itself, once around, it is as many on as there are stretches.
    """
    pockets = _Pockets(room, runs)
    found: dict[tuple[int, int], Hop] = {}
    for number, run in enumerate(runs):
        for place, side in enumerate(run):
            for hop, around in pockets.reached(side):
                on = (pockets.stretch[hop.end] - number) % len(runs)
                if on == 0:
                    if not around and run.index(hop.end) > place:
                        continue
                    on = len(runs)
                known = found.get((number, on))
                if known is None or hop.links < known.links:
                    found[number, on] = hop
    return found


class _Pockets:
    """The triangles as seen from free sides: which lead to one, and the way back to the ring."""

    def __init__(self, room: Annulus, runs: list[list[int]]) -> None:
        self.room = room
        self.stretch = {side: number for number, run in enumerate(runs) for side in run}
        self.place = {triangle: k for k, triangle in enumerate(room.ring)}
        self.inward = self._inward()
        self.home: dict[int, tuple[int, int]] = {}
        self.sides: dict[tuple[int, int], int] = {}
        kept, count = len(room.kept), len(room.allowed)
        for side in self.stretch:
            start, end = kept + side, kept + (side + 1) % count
            for triangle in room.fans[start]:
                corners = room.triangles[triangle]
                edge = corners.index(start)
                if corners[(edge + 1) % 3] == end:
                    self.home[side] = (triangle, edge)
                    self.sides[triangle, edge] = side
        self.useful: set[int] = set()
        for triangle, _ in self.home.values():
            at = triangle
            while at not in self.useful and at not in self.place:
                self.useful.add(at)
                at = room.neighbours[at][self.inward[at]]

    def _inward(self) -> dict[int, int]:
        """The side of each triangle in a pocket by which the ring is reached."""
        inward: dict[int, int] = {}
        stack = list(self.room.ring)
        while stack:
            here = stack.pop()
            for edge, other in enumerate(self.room.neighbours[here]):
                if other < 0 or other in inward or other in self.place:
                    continue
                if corners_of(self.room, here, edge) >= len(self.room.kept):  # beside what is allowed
                    inward[other] = self.room.neighbours[other].index(here)
                    stack.append(other)
        return inward

    def reached(self, side: int) -> list[tuple[Hop, bool]]:
        """A hop from a free side to each other one ahead, and whether it goes all the way around."""
        room, (triangle, edge) = self.room, self.home[side]
        corners = room.triangles[triangle]
        ends = (corners[edge], corners[(edge + 1) % 3])
        sight = Sight(room, [room.points[ends[LEFT]]], [room.points[ends[RIGHT]]], ends, 0)
        found: list[tuple[Hop, bool]] = []
        entered = edge
        while triangle not in self.place:
            out = self.inward[triangle]
            if out == (entered + 2) % 3:  # the other side is on the right: ahead along the border
                self._look(sight, triangle, (entered + 1) % 3, side, False, found)
            sight.cross(triangle, out)
            entered = room.neighbours[room.neighbours[triangle][out]].index(triangle)
            triangle = room.neighbours[triangle][out]
        nearby = {self.stretch[hop.end] for hop, _ in found} - {self.stretch[side]}
        begin, count = self.place[triangle], len(room.ring)
        for step in range(begin, begin + count + 1):
            here, leave = room.ring[step % count], room.exits[step % count]
            if step > begin:
                beside = next(k for k in range(3) if k not in (leave, self._entry(step % count)))
                if corners_of(room, here, beside) >= len(room.kept):
                    self._look(sight, here, beside, side, step == begin + count, found)
            if step < begin + count:
                sight.cross(here, leave)
        return [each for each in found if not (each[1] and self.stretch[each[0].end] in nearby)]

    def _entry(self, step: int) -> int:
        here, before = self.room.ring[step], self.room.ring[step - 1]
        right = self.room.triangles[before][self.room.exits[step - 1]]
        left = self.room.triangles[before][(self.room.exits[step - 1] + 1) % 3]
        corners = self.room.triangles[here]
        return next(k for k in range(3) if corners[k] == left and corners[(k + 1) % 3] == right)

    def _look(
        self,
        sight: Sight,
        triangle: int,
        edge: int,
        start: int,
        around: bool,
        found: list[tuple[Hop, bool]],
    ) -> None:
        """Look out of a triangle by one side, and into the pocket behind it."""
        stack = [(sight, triangle, edge)]
        while stack:
            seen, here, leave = stack.pop()
            beyond = self.room.neighbours[here][leave]
            target = self.sides.get((here, leave)) if beyond < 0 else None
            if target is None and beyond not in self.useful:
                continue
            onward = seen.copy()
            onward.cross(here, leave)
            if target is not None:
                found.append((Hop(start, target, onward.windows, middle_line(onward)), around))
                continue
            entered = self.room.neighbours[beyond].index(here)
            stack += [(onward, beyond, (entered + k) % 3) for k in (1, 2)]


def corners_of(room: Annulus, triangle: int, edge: int) -> int:
    """The lesser number of both ends of a side."""
    corners = room.triangles[triangle]
    return min(corners[edge], corners[(edge + 1) % 3])


def middle_line(sight: Sight) -> tuple[Point, Point]:
    """A line midway between the extreme ones, by two points."""
    one, other = sight.line(LEFT), sight.line(RIGHT)
    (x, y), (u, v) = (((head[0] - tail[0]), (head[1] - tail[1])) for tail, head in (one, other))
    long, wide = float(np.hypot(x, y)), float(np.hypot(u, v))
    if abs(x * v - y * u) <= 1e-12 * long * wide:
        return one
    through = meeting(*one, *other)
    return through, (through[0] + x / long + u / wide, through[1] + y / long + v / wide)
