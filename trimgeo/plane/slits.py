"""A bound on the cuts of an outline around islands that leaves a post outside.

From the post a slit leads through the waste to the border.  How it runs between the islands is not known,
so every way is tried: the room is unrolled along border, slit and post (`trimgeo.plane.cover`), and the
least of the bounds holds.  These are the ways that are left out, and why none of them matters:

* An outline runs along both sides of its slit, so it passes each side of a triangle that the slit passes, on
  the way in to the post and on the way out.  No two of its corners can be spared between sides that no
  straight line passes one after the other.  So a slit whose sides alone ask for as many corners as the cuts
  of an outline that is known is left out, with all that go on from there.
* So it is with a whole way around, but for what lies along free stretches.
* On the border the slit may end anywhere between two places where the outline follows the border, or on a
  free stretch of it.  Each stretch is tried for all of these, and may then be used on both sides of the
  slit, which asks for no more cuts than either.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.cover import Plane, Step, along_border, core, plane_of, unrolled
from trimgeo.plane.islands import Least, least_links, least_loop
from trimgeo.plane.sight import LEFT, RIGHT, Lines

MOST_SLITS = 5000
"""Slits, most of them alike, after which no bound is known."""

SLIMMED = 0.03
"""mm: a bound around what is smaller holds as well, and is found sooner among few corners."""

MOST_ROOMS = 24
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

    >>> islands = [shapely.box(1, 1, 3, 3), shapely.box(7, 1, 9, 3)]
    >>> post, room = shapely.box(4, 1, 6, 3), shapely.box(0, 0, 10, 4)
    >>> least_beside(islands, post, room, np.zeros(4, dtype=bool), 4, 8).links
    8
    """
    plane = plane_of([slimmed(each) for each in (*islands, post)], allowed, free)
    if plane.free.all():
        return None
    hull = shapely.convex_hull(shapely.multipolygons([Polygon(each.exterior) for each in islands]))
    convex, best = least_loop(hull, allowed), None
    for count, room in enumerate(_rooms(plane, known)):
        found = least_links(room, convex) if room is not None and count < MOST_ROOMS else None
        if found is None or found.links <= least:
            return None
        if best is None or found.links < best.links:
            best = found
    return best._replace(links=min(best.links, known)) if best else None


def slimmed(shape: Polygon) -> Polygon:
    """A polygon within a convex-cornered one's arcs: `SLIMMED` mm or less is off where that spares corners.

    >>> disc = shapely.Point(0, 0).buffer(3.0, quad_segs=24)
    >>> slim = slimmed(disc)
    >>> disc.covers(slim), len(slim.exterior.coords) < 40, disc.hausdorff_distance(slim) <= SLIMMED
    (True, True, True)
    """
    ring = shapely.get_coordinates(shapely.orient_polygons(Polygon(shape.exterior)))[:-1]
    kept = [0]
    for k in range(1, len(ring)):
        chord = ring[(k + 1) % len(ring)] - ring[kept[-1]]
        arms = ring[kept[-1] + 1 : k + 1] - ring[kept[-1]]
        steps = np.diff(ring[[*range(kept[-1], k + 1), (k + 1) % len(ring)]], axis=0)
        left = steps[:-1, 0] * steps[1:, 1] - steps[:-1, 1] * steps[1:, 0]
        off = (arms[:, 1] * chord[0] - arms[:, 0] * chord[1]) / max(float(np.hypot(*chord)), 1e-9)
        if (left <= 0).any() or (off > 0).any() or (off < -SLIMMED).any():
            kept.append(k)
    slim = Polygon(ring[kept]) if len(kept) > 2 else shape
    return slim if slim.is_valid and shapely.covers(shape, slim) else Polygon(shape.exterior)


class _Slit(NamedTuple):
    """A slit from a triangle at the post, by steps, to the triangle ``end``.

    No line passes more than the last sides, which ``lines`` pass, after as many ``turns``.
    """

    steps: tuple[Step, ...]
    start: int
    end: int
    lines: Lines
    turns: int


def _rooms(plane: Plane, known: int) -> Iterator[Annulus | None]:
    """The room unrolled for each way that a slit may run; None at last where there are too many slits."""
    walk, begins = along_border(plane)
    seen: set[tuple[int, tuple[Step, ...]]] = set()
    for slit in _slits(plane, known):
        if slit is None:
            yield None
            return
        before = plane.triangles[slit.steps[-1][0]] if slit.steps else ()
        for corner in plane.triangles[slit.end]:
            if corner < len(plane.free) and corner not in before:  # else it is the same way again
                closed, border = _around(plane, slit, corner, (walk, begins))
                ring = [closed[k] for k in core(plane, closed)]
                first = ring.index(min(ring))
                key = (border[0][0] if plane.free.any() else -1, (*ring[first:], *ring[:first]))
                if key not in seen:
                    seen.add(key)
                    if _breaks(plane, key[1]) < known:
                        yield unrolled(plane, closed, border)


def _slits(plane: Plane, known: int) -> Iterator[_Slit | None]:
    """Slits to triangles at the border, those through fewer triangles first; None at last for too many."""
    post = plane.rings[-1]
    front: list[_Slit] = []
    around: dict[int, int] = {}
    for triangle, corners in enumerate(plane.triangles):
        own = [k for k in range(3) if corners[k] in post]
        if own:
            yield _Slit((), triangle, triangle, Lines([(0.0, 0.0)], [(0.0, 0.0)]), 0)
        if len(own) == 1 and plane.beyond((triangle, (own[0] + 1) % 3)) >= 0:
            step = (triangle, (own[0] + 1) % 3)
            left, right = (plane.points[end] for end in plane.ends(step))
            front.append(_Slit((step,), triangle, plane.beyond(step), Lines([left], [right]), 0))
            around[triangle] = _turns(plane, _about_post(plane, triangle))
    count = 0
    while front:
        longer: list[_Slit] = []
        for slit in front:
            count += 1
            if count > MOST_SLITS:
                yield None
                return
            yield slit
            entered = plane.neighbours[slit.end].index(slit.steps[-1][0])
            onward = [(slit.end, (entered + k) % 3) for k in (1, 2)]
            onward = [step for step in onward if plane.beyond(step) >= 0]
            if len(onward) == 2:
                apart = 2 * slit.turns + around[slit.start]  # in and out, and about the post
                if apart >= known or (apart >= known - 2 and _corners(plane, slit) >= known):
                    continue
            longer += [_longer(plane, slit, step) for step in onward]
        front = longer


def _longer(plane: Plane, slit: _Slit, step: Step) -> _Slit:
    """A slit with one step more."""
    before, ends = plane.ends(slit.steps[-1]), plane.ends(step)
    side = LEFT if before[LEFT] != ends[LEFT] else RIGHT
    lines, turns = slit.lines.copy(), slit.turns
    if not lines.add(side, plane.points[ends[side]]):
        lines, turns = Lines([plane.points[ends[LEFT]]], [plane.points[ends[RIGHT]]]), turns + 1
    return _Slit((*slit.steps, step), slit.start, plane.beyond(step), lines, turns)


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


def _breaks(plane: Plane, ring: tuple[Step, ...]) -> int:
    """Cuts of an outline once around at least: as many as places where one ends.

    Along a free stretch there is one such place, which may be long; so what is passed there is not counted.
    """
    count = len(plane.free)
    ends = {k for side in np.flatnonzero(plane.free).tolist() for k in (side, (side + 1) % count)}
    free = [k for k, step in enumerate(ring) if plane.ends(step)[RIGHT] in ends]
    if not free:
        return _turns(plane, [*ring, ring[0]])
    arcs = pairwise([*free, free[0] + len(ring)])
    return sum(_turns(plane, [*ring, *ring][start + 1 : end]) for start, end in arcs if end > start + 2)


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
