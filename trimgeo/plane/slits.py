"""A bound on the cuts of an outline around islands that leaves a post outside.

From the post a slit leads through the waste to the border.  How it runs between the islands is not known,
so every way is tried: the room is unrolled along border, slit and post (`trimgeo.plane.cover`), and the
least of the bounds holds.  These are the ways that are left out, and why none of them matters:

* An outline runs along both sides of its slit, so it passes each side of a triangle that the slit passes, on
  the way in to the post and on the way out.  No two of its corners can be spared between sides that no
  straight line passes one after the other.  So a slit whose sides alone ask for as many corners as the cuts
  of an outline that is known is left out, with all that go on from there.
* The same holds of a whole way around where no side is free.
* On the border the slit may end anywhere between two places where the outline follows the border, or on a
  free stretch of it.  Each stretch is tried for all of these, and may then be used on both sides of the
  slit, which asks for no more cuts than either.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.cover import Plane, Step, along_border, core, plane_of, unrolled
from trimgeo.plane.islands import Least, least_links
from trimgeo.plane.sight import LEFT, RIGHT, Lines

MOST_SLITS = 20000
"""Slits, most of them alike, after which no bound is known."""

MOST_ROOMS = 60
"""Rooms unrolled at most."""


def least_beside(
    islands: Sequence[Polygon],
    post: Polygon,
    allowed: Polygon,
    free: NDArray[np.bool_],
    least: int,
    known: int,
) -> Least | None:
    """What any outline around ``islands`` needs that leaves ``post`` outside, if that is more than ``least``.

    An outline with ``known`` cuts was found; the bound is no greater.  None where the post takes no more cuts
    than ``least``, or that is not known.  Other arguments as of `trimgeo.plane.cover.around_islands`.

    >>> import shapely
    >>> islands = [shapely.box(1, 1, 3, 3), shapely.box(7, 1, 9, 3)]
    >>> post, room = shapely.box(4, 1, 6, 3), shapely.box(0, 0, 10, 4)
    >>> least_beside(islands, post, room, np.zeros(4, dtype=bool), 4, 8).links
    7
    """
    plane = plane_of([*islands, post], allowed, free)
    if plane.free.all():
        return None
    best: Least | None = None
    for count, room in enumerate(_rooms(plane, known)):
        found = least_links(room) if room is not None and count < MOST_ROOMS else None
        if found is None or found.links <= least:
            return None
        if best is None or found.links < best.links:
            best = found
    return best


class _Slit(NamedTuple):
    """A slit from a triangle at the post, by steps, to the triangle ``end``."""

    steps: tuple[Step, ...]
    start: int
    end: int


def _rooms(plane: Plane, known: int) -> Iterator[Annulus | None]:
    """The room unrolled for each way that a slit may run; None at last where there are too many slits."""
    walk, begins = along_border(plane)
    seen: set[tuple[int, tuple[Step, ...]]] = set()
    for slit in _slits(plane, known):
        if slit is None:
            yield None
            return
        for corner in plane.triangles[slit.end]:
            if corner < len(plane.free):
                closed, border = _around(plane, slit, corner, (walk, begins))
                ring = [closed[k] for k in core(plane, closed)]
                first = ring.index(min(ring))
                key = (border[0][0] if plane.free.any() else -1, (*ring[first:], *ring[:first]))
                if key not in seen:
                    seen.add(key)
                    if plane.free.any() or _turns(plane, [*ring, *ring[:1]]) < known:
                        yield unrolled(plane, closed, border)


def _slits(plane: Plane, known: int) -> Iterator[_Slit | None]:
    """Slits to triangles at the border, those through fewer triangles first."""
    post = plane.rings[-1]
    front: list[_Slit] = []
    for triangle, corners in enumerate(plane.triangles):
        own = [k for k in range(3) if corners[k] in post]
        if own:
            yield _Slit((), triangle, triangle)
        if len(own) == 1 and plane.beyond((triangle, (own[0] + 1) % 3)) >= 0:
            step = (triangle, (own[0] + 1) % 3)
            front.append(_Slit((step,), triangle, plane.beyond(step)))
    count = 0
    while front:
        longer: list[_Slit] = []
        for slit in front:
            count += 1
            yield slit if count <= MOST_SLITS else None
            entered = plane.neighbours[slit.end].index(slit.steps[-1][0])
            onward = [(slit.end, (entered + k) % 3) for k in (1, 2)]
            onward = [step for step in onward if plane.beyond(step) >= 0]
            if len(onward) == 2 and _corners(plane, slit) >= known:
                continue
            longer += [_Slit((*slit.steps, step), slit.start, plane.beyond(step)) for step in onward]
        front = longer


def _corners(plane: Plane, slit: _Slit) -> int:
    """Corners that an outline needs at least between the sides that a slit passes, in and out again."""
    out = list(slit.steps)
    way = [*plane.back(out), *_about_post(plane, slit.start), *out]
    left: list[Step] = []
    for step in way:
        if left and plane.beyond(step) == left[-1][0]:
            left.pop()
        else:
            left.append(step)
    return _turns(plane, left)


def _turns(plane: Plane, way: list[Step]) -> int:
    """Stretches of a way that no straight line passes, one after the other: each has a corner of its own."""
    count, points = 0, plane.points
    ends = [plane.ends(step) for step in way]
    lines = Lines([points[ends[0][LEFT]]], [points[ends[0][RIGHT]]])
    for before, here in pairwise(ends):
        side = LEFT if before[LEFT] != here[LEFT] else RIGHT
        if not lines.add(side, points[here[side]]):
            count += 1
            lines = Lines([points[here[LEFT]]], [points[here[RIGHT]]])
    return count


def _about_post(plane: Plane, triangle: int) -> list[Step]:
    """The way from a triangle at the post once around it, with the post on the right."""
    post = plane.rings[-1]
    first = pivot = next(corner for corner in plane.triangles[triangle] if corner in post)
    steps, here = plane.about(triangle, pivot)
    while (pivot := _next(plane, here, pivot)) != first:
        more, here = plane.about(here, pivot)
        steps += more
    return steps + plane.about(here, first, triangle)[0]


def _next(plane: Plane, triangle: int, corner: int) -> int:
    corners = plane.triangles[triangle]
    return corners[(corners.index(corner) + 1) % 3]


def _around(
    plane: Plane, slit: _Slit, corner: int, along: tuple[list[Step], list[int]]
) -> tuple[list[Step], list[tuple[int, int]]]:
    """The way along the border from a corner where the slit ends, once around, and along slit and post.

    And which sides of the border are on it, after how many steps: from the first free stretch that does not
    end before the corner to the same once more.
    """
    walk, begins = along
    count, free = len(plane.free), plane.free

    def onward(start: int, sides: int) -> list[Step]:
        """Steps from side ``start`` on."""
        at = [begins[k % count] + k // count * len(walk) for k in (start, start + sides)]
        return [walk[k % len(walk)] for k in range(*at)]

    first, length = corner, 1
    if free.any():
        while free[(first - 1) % count]:
            first -= 1
        while not free[first % count]:
            first += 1
        while free[(first + length) % count]:
            length += 1
    lead, _ = plane.about(slit.end, corner)
    if first < corner:
        lead += plane.back(onward(first % count, corner - first))
    else:
        lead += onward(corner, first - corner)
    first %= count
    turn, again = onward(first, count), onward(first, length - 1)
    sides = [first + k for k in range(count + length)]
    steps = [begins[k % count] + k // count * len(walk) - begins[first] + len(lead) for k in sides]
    out = list(slit.steps)
    closed = [*lead, *turn, *again, *plane.back(again), *plane.back(lead)]
    closed += [*plane.back(out), *_about_post(plane, slit.start), *out]
    return closed, [(side % count, at) for side, at in zip(sides, steps, strict=True)]
