"""The fewest straight cuts that lead around what is kept, within what is allowed.

Wanted is a simple polygon that holds the kept area and lies in the allowed one.  Its sides lie on the free
part of the allowed border, which costs nothing, or are cuts.  Between two free stretches that it uses it
takes the fewest links (`trimgeo.plane.hops`), so the fewest of all is a shortest way once around from
stretch to stretch; or it uses none (`trimgeo.plane.windows`).  Each step is a greedy count that no other
way undercuts, so the bound is proved by the windows found on the way.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import RELAXED, Annulus, Point, annulus
from trimgeo.plane.hops import Hop, hops, stretches
from trimgeo.plane.hulls import Floats
from trimgeo.plane.sight import Window, meeting
from trimgeo.plane.windows import loop

JUDGED = 1e-4
"""An outline may pass over either border by this much (mm): five times what both are relaxed by."""


@dataclass(frozen=True, eq=False)
class Fewest:
    """An outline with the fewest cuts found, and what proves that fewer do not do.

    ``count`` are its cuts and ``proved`` the least that any outline needs.  ``witnesses``, shape (n, 2, 2),
    are the windows of the greedy links: from each on, a link that began before it can reach no further.
    """

    count: int
    proved: int
    outline: Polygon
    witnesses: Floats


def fewest_cuts(kept: Polygon, allowed: Polygon, free: NDArray[np.bool_]) -> Fewest:
    """The fewest cuts around ``kept`` within ``allowed`` (outer rings alone; mm).

    ``free`` has one flag a side of ``allowed``, side k from corner k to k + 1 of its exterior.
    Raises `trimgeo.plane.annulus.NoRoomError` where ``kept`` reaches over the border.

    >>> board, part = shapely.box(0, 0, 9, 4), shapely.box(1, 1, 2, 2)
    >>> found = fewest_cuts(part, board, np.array([False, False, True, True]))
    >>> found.count, found.proved
    (1, 1)
    """
    return fewest_in(annulus(kept, allowed, free))


def fewest_in(room: Annulus) -> Fewest:
    """The same as `fewest_cuts`, from the annulus.

    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> fewest_in(room).count
    3
    """
    if room.free.all():
        return Fewest(0, 0, room.pose.placed(Polygon(room.allowed)), np.zeros((0, 2, 2)))
    closed = loop(room)
    way = shortest(room)
    bound = min([closed.proved if closed else 1, *([sum(hop.links for hop in way)] if way else [])])
    walks = []
    if closed is not None:
        walks.append((len(closed.windows), around(closed.windows), closed.windows))
    if way:
        windows = tuple(window for hop in way for window in hop.windows)
        walks.append((sum(hop.links for hop in way), along(room, way), windows))
    best: list[tuple[int, Polygon, tuple[Window, ...]]] = []
    for _, walk, windows in sorted(walks, key=lambda each: each[0]):
        outline = settled(room, walk)
        if outline is not None:
            best.append((cuts_of(room, outline), outline, windows))
    count, outline, windows = min(best, key=lambda each: each[0])
    witnesses = np.array([(window.head, window.hit) for window in windows]).reshape(-1, 2, 2)
    return Fewest(count, bound, room.pose.placed(outline), room.pose.back(witnesses))


def shortest(room: Annulus) -> list[Hop]:
    """Hops with the fewest links once around, from free stretch to free stretch; none where none is free."""
    runs = stretches(room)
    found = hops(room, runs)
    best: tuple[float, list[Hop]] = (np.inf, [])
    for begin in range(len(runs)):
        reach: list[tuple[float, list[Hop]]] = [(0.0, [])]
        for end in range(1, len(runs) + 1):
            trials = [
                (reach[at][0] + hop.links, [*reach[at][1], hop])
                for at in range(end)
                if (hop := found.get(((begin + at) % len(runs), end - at))) is not None
            ]
            reach.append(min(trials, key=lambda each: each[0], default=(np.inf, [])))
        best = min(best, reach[-1], key=lambda each: each[0])
    return best[1]


def around(windows: tuple[Window, ...]) -> list[Point]:
    """Corners of a closed way whose links lie on the lines of ``windows``."""
    pairs = zip(windows, (*windows[1:], windows[0]), strict=True)
    return [meeting(one.tail, one.head, other.tail, other.head) for one, other in pairs]


def along(room: Annulus, way: list[Hop]) -> list[Point]:
    """Corners of a closed way by hops, and by the free stretches between them."""
    corners = [_corners(room, hop) for hop in way]
    count = len(room.allowed)
    points = room.points[len(room.kept) :]
    walk: list[Point] = []
    for k, hop in enumerate(way):
        walk += corners[k]
        onward = way[(k + 1) % len(way)]
        on = (onward.start - hop.end) % count
        if _free_between(room, hop.end, on):
            walk += [points[(hop.end + step + 1) % count] for step in range(on)]
        else:  # the next hop leaves before this one lands: back along the stretch, to be untied
            walk += [points[(hop.end - step) % count] for step in range(count - on)]
    return walk


def _free_between(room: Annulus, side: int, on: int) -> bool:
    return all(room.free[(side + step) % len(room.free)] for step in range(on + 1))


def _corners(room: Annulus, hop: Hop) -> list[Point]:
    """Where a hop starts on its free side, turns, and lands."""
    lines = [(window.tail, window.head) for window in hop.windows] + [hop.last]
    first, last = _side(room, hop.start), _side(room, hop.end)
    return [
        meeting(*lines[0], *first),
        *(meeting(*one, *other) for one, other in pairwise(lines)),
        meeting(*lines[-1], *last),
    ]


def _side(room: Annulus, side: int) -> tuple[Point, Point]:
    kept, count = len(room.kept), len(room.allowed)
    return room.points[kept + side], room.points[kept + (side + 1) % count]


def settled(room: Annulus, walk: list[Point]) -> Polygon | None:
    """The outline along a closed way in the relaxed annulus, untied where it crosses itself.

    Free sides are brought back to the border as given.  None where the way does not hold what is kept.
    """
    outline = Polygon(walk)
    if not outline.is_valid:
        lines = shapely.unary_union(shapely.LineString([*walk, walk[0]]))
        cells = shapely.get_parts(shapely.polygonize([lines]))
        inside = shapely.point_on_surface(Polygon(room.relaxed_kept))
        holding = [cell for cell in cells if shapely.covers(cell, inside)]
        if not holding:
            return None
        outline = Polygon(holding[0].exterior)
    outline = _brought_back(room, shapely.get_coordinates(shapely.orient_polygons(outline))[:-1])
    kept, allowed = Polygon(room.kept), Polygon(room.allowed)
    holds = shapely.covers(shapely.buffer(outline, JUDGED, join_style="mitre"), kept)
    lies = shapely.covers(shapely.buffer(allowed, JUDGED, join_style="mitre"), outline)
    return outline if outline.is_valid and holds and lies else None


def _brought_back(room: Annulus, corners: Floats) -> Polygon:
    """The outline with its free sides on the border as given, each end in the same place along its side."""
    corners = corners[np.hypot(*(corners - np.roll(corners, -1, axis=0)).T) > RELAXED / 10]
    relaxed = room.relaxed_allowed
    on = free_sides(corners, relaxed, room.free, RELAXED / 100)
    moved = []
    for k, corner in enumerate(corners):
        side = max(on[k], on[k - 1])
        if side < 0:
            moved.append(corner)
        elif on[k] == on[k - 1]:
            continue
        elif min(on[k], on[k - 1]) >= 0:
            moved.append(room.allowed[on[k]])
        else:
            after = (side + 1) % len(relaxed)
            chord = relaxed[after] - relaxed[side]
            share = float((corner - relaxed[side]) @ chord / (chord @ chord))
            moved.append(room.allowed[side] + share * (room.allowed[after] - room.allowed[side]))
    return Polygon(moved)


def free_sides(corners: Floats, ring: Floats, free: NDArray[np.bool_], within: float) -> NDArray[np.intp]:
    """For each side of an outline the free side of ``ring`` that it lies on, within so many mm; -1 for cuts.

    >>> square = np.array([(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)])
    >>> half = np.array([(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)])
    >>> free_sides(half, square, np.ones(4, dtype=bool), 1e-6).tolist()
    [0, 1, -1, 3]
    """
    sides = shapely.linestrings(np.stack([ring, np.roll(ring, -1, axis=0)], axis=1))
    own = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
    apart = shapely.distance(shapely.points(own)[:, :, None], sides[None, None]).max(axis=1)
    apart[:, ~free] = np.inf
    nearest = apart.argmin(axis=1)
    return np.where(apart.min(axis=1) <= within, nearest, -1)


def cuts_of(room: Annulus, outline: Polygon) -> int:
    """Sides of an outline that are cuts: not on one free side of the border."""
    corners = shapely.get_coordinates(outline)[:-1]
    return int(np.sum(free_sides(corners, room.allowed, room.free, JUDGED) < 0))
