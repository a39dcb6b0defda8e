"""An outline's corners put on a grid that a person can mark, always to the safe side.

A corner between two cuts has the grid points around it to choose from, and the end of a cut on a free side
of the border the places along that side.  A cut between two places is possible where it neither enters what
is kept nor leaves what is allowed.  Of all ways to place the corners together the cheapest is taken
(`trimgeo.plane.places`).  A corner off the grid has its price, so that one for which nothing does, or whose
rounding costs more than it is worth, keeps its place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from trimgeo.plane.fewest import JUDGED, free_sides
from trimgeo.plane.hulls import Floats, Indices
from trimgeo.plane.places import Corner, Flags, cheapest_places
from trimgeo.plane.rings import HAIR, ring_points, side_vectors, simplified, turning_angles, unit

REACH = 3
"""Grid points are looked for so many steps around a corner: in a tip of 28 degrees there is one."""

NEAREST = 5
SAFEST = 5
"""Of those points the nearest are tried, and the safe ones of least area with all other corners left."""

SLIDES = 3
"""Places tried on a free side to either side of where a cut ends."""

EXACT = 1e-8
"""Cuts may pass over either border by this much (mm): above rounding, far below all else."""


@dataclass(frozen=True, eq=False)
class _Room:
    """What is to be held, and where cuts may run: both relaxed by as much as the outline is inexact."""

    kept: Polygon | MultiPolygon
    between: Polygon | MultiPolygon


def rounded_to(
    outline: Polygon,
    kept: Polygon | MultiPolygon,
    allowed: Polygon,
    free: NDArray[np.bool_],
    step: float,
    shortest: float = 0.0,
    whole: Floats | None = None,
) -> Polygon:
    """The outline with its corners on multiples of ``step`` mm, where that costs less than it is worth.

    ``free`` has one flag a side of ``allowed``, side k from corner k to k + 1 of its exterior.  Corners
    between two cuts go to points whose x and y are multiples; an end of a cut on a free side slides along it
    to where its distance from the side's first corner is one, or to its last corner; corners of free sides
    stay.  ``whole``, shape (n, 2, 2), has the sides that free ones are parts of: these corners count then.
    The result holds ``kept`` and lies in ``allowed`` as exactly as ``outline`` does (which is given back
    where that is by over 1e-4 mm), has no more cuts and no inside corner that was none; no cut comes out
    shorter than ``shortest`` mm, such as the kerf, unless it was and grows no shorter.

    Area and the prices of corners left off the grid are least together.  A price is ``step`` times half the
    length of the cuts beside the corner: together what all cuts would take if moved out by ``step``, so that
    rounding never costs more.  Counter-clockwise, from the leftmost lowest corner.

    >>> part, board = shapely.box(0, 0, 3.73, 2.64), shapely.box(0, 0, 9, 4)
    >>> rounded = rounded_to(part, part, board, np.ones(4, dtype=bool), 0.5)
    >>> shapely.get_coordinates(rounded).tolist()
    [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0], [0.0, 0.0]]
    """
    corners = simplified(ring_points(outline), HAIR)
    corners = np.roll(corners, -int(np.lexsort(corners.T[::-1])[0]), axis=0)
    ring = shapely.get_coordinates(allowed.exterior)[:-1]
    room = _room(Polygon(corners), kept, allowed)
    on = free_sides(corners, ring, free, JUDGED)
    if room is None or not np.any(on < 0):
        return Polygon(corners)
    choices = _choices(corners, on, ring, free, room, step, _sides(ring) if whole is None else whole)
    walk = _walk(choices)
    if not len(walk):
        return Polygon(corners)
    some = _walked(choices, corners, walk)
    joined = _joined(some, on[walk], room, shortest)
    while True:
        useful, flags = _of_use(some, joined)
        chosen, placed = cheapest_places(useful, flags), corners.copy()
        placed[walk] = [each.places[i] for each, i in zip(useful, chosen, strict=True)]
        wrong = _at_fault(corners, placed, room)
        if not wrong.any():
            return Polygon(simplified(_undoubled(placed), HAIR))
        some, joined = _left(some, joined, int(np.flatnonzero(wrong[walk])[0]))


def _sides(ring: Floats) -> Floats:
    """Both ends of each side of a ring, shape (n, 2, 2)."""
    return np.stack([ring, np.roll(ring, -1, axis=0)], axis=1)


def _room(outline: Polygon, kept: Polygon | MultiPolygon, allowed: Polygon) -> _Room | None:
    """The room for cuts, as exact as the outline; None where that passes over a border by `JUDGED`."""
    border = Polygon(allowed.exterior)
    if not outline.is_valid:
        return None
    over, out = EXACT + _passed(kept, outline), EXACT + _passed(outline, border)
    if max(over, out) > JUDGED:
        return None
    inner = shapely.buffer(kept, -over, join_style="mitre")
    between = shapely.difference(shapely.buffer(border, out, join_style="mitre"), inner)
    shapely.prepare(between)
    return _Room(inner, between)


def _passed(area: Polygon | MultiPolygon, border: Polygon) -> float:
    """How far an area reaches out of another, mm."""
    out = shapely.points(shapely.get_coordinates(shapely.difference(area, border)))
    return float(np.max(shapely.distance(out, border), initial=0.0))


def _choices(
    corners: Floats,
    on: Indices,
    ring: Floats,
    free: NDArray[np.bool_],
    room: _Room,
    step: float,
    whole: Floats,
) -> list[Corner]:
    """What each corner may become: first its own place."""
    headings = unit(side_vectors(corners))
    cut = np.where(on < 0, np.hypot(*side_vectors(corners).T), 0.0)
    price = step * (cut + np.roll(cut, 1)) / 2
    left = turning_angles(corners) >= 0
    own = ring[free & np.roll(free, 1)]
    found = []
    for k, corner in enumerate(corners):
        onto, off = int(on[k - 1]), int(on[k])
        if (onto >= 0 and off >= 0) or np.any(np.hypot(*(own - corner).T) < JUDGED):
            places = corner[None]
        elif onto >= 0 or off >= 0:
            side = max(onto, off)
            places = _slid(corner, ring[[side, (side + 1) % len(ring)]], whole[side], step)
        else:
            places = _around(corners, k, room, step)
        costs = np.zeros(len(places))
        costs[0] = 0.0 if np.any(np.hypot(*(places[1:] - corner).T) < HAIR) else price[k]
        found.append(Corner(places, costs, bool(left[k]), headings[k]))
    return found


def _slid(corner: Floats, side: Floats, whole: Floats, step: float) -> Floats:
    """Places on a free side at multiples of the step from the first corner of the whole, and its last one."""
    start, end = whole
    length = float(np.hypot(*(end - start)))
    along = (end - start) / length
    here, first, last = (np.vstack([corner, side]) - start) @ along
    marks = (np.floor(here / step) + np.arange(1 - SLIDES, SLIDES + 1)) * step
    marks = marks[(marks >= max(first, 0) - HAIR) & (marks < min(last, length))] if length >= step else []
    places = start + np.reshape(marks, (-1, 1)) * along
    near = length >= step and length - here < SLIDES * step and last > length - JUDGED
    return np.vstack([corner, places, *([end] if near else [])])


def _around(corners: Floats, k: int, room: _Room, step: float) -> Floats:
    """The corner, the grid points nearest to it, and the safe ones of least area with the others left."""
    corner, before, after = corners[k], corners[k - 1], corners[(k + 1) % len(corners)]
    steps = np.arange(-REACH, REACH + 1)
    grid = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    points = np.round((np.rint(corner / step) + grid) * step, 9)
    inside = shapely.contains_xy(room.between, points)
    points = points[inside]
    away = points - corner
    far = np.hypot(*away.T)
    onto, off = corner - before, after - corner
    safe = (onto[0] * away[:, 1] - onto[1] * away[:, 0] <= 0) & (
        off[0] * away[:, 1] - off[1] * away[:, 0] <= 0
    )
    chord = after - before
    taken = away[:, 0] * chord[1] - away[:, 1] * chord[0]
    nearest = np.argsort(np.round(far, 9), kind="stable")[:NEAREST]
    least = np.argsort(np.round(np.where(safe, taken, np.inf), 9), kind="stable")[: min(SAFEST, safe.sum())]
    return np.vstack([corner, points[np.unique(np.concatenate([nearest, least]))]])


def _walk(choices: list[Corner]) -> Indices:
    """The corners that the walk leads over: those that may move, and two on either side of each."""
    moving = np.array([len(each.places) > 1 for each in choices])
    return np.flatnonzero(np.any([np.roll(moving, by) for by in (-2, -1, 0, 1, 2)], axis=0))


def _walked(choices: list[Corner], corners: Floats, walk: Indices) -> list[Corner]:
    """The choices on the walk; beside where it leaps over corners that stay, corners turn as they do."""
    count = len(corners)
    leaps = (walk + 1) % count != np.roll(walk, -1)
    headings = unit(side_vectors(corners[walk]))
    return [
        replace(choices[k], heading=heading, left=choices[k].left and not (leap or landing))
        for k, heading, leap, landing in zip(walk, headings, leaps, np.roll(leaps, 1), strict=True)
    ]


def _joined(choices: list[Corner], on: Indices, room: _Room, shortest: float) -> list[Flags]:
    """Between which places of each two neighbours a side may run: tested all at once."""
    pairs = list(zip(choices, [*choices[1:], choices[0]], strict=True))
    joined = [np.ones((len(a.places), len(b.places)), dtype=bool) for a, b in pairs]
    asked = [k for k, flags in enumerate(joined) if on[k] < 0 and flags.size > 1]
    if not asked:
        return joined
    ends = np.concatenate(
        [
            np.stack(np.broadcast_arrays(a.places[:, None], b.places[None]), axis=2).reshape(-1, 2, 2)
            for a, b in (pairs[k] for k in asked)
        ]
    )
    long = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    firsts = np.cumsum([0, *(joined[k].size for k in asked)])
    own = np.repeat(long[firsts[:-1]], np.diff(firsts))  # the first place of each corner is its own
    point = long == 0  # both corners come to one
    clear = point.copy()
    clear[~point] = shapely.covers(room.between, shapely.linestrings(ends[~point]))
    clear &= point | (long >= np.minimum(own, shortest) - HAIR)
    for k, first in zip(asked, firsts, strict=False):
        joined[k] = clear[first : first + joined[k].size].reshape(joined[k].shape)
        joined[k][0, 0] = True
    return joined


def _of_use(choices: list[Corner], joined: list[Flags]) -> tuple[list[Corner], list[Flags]]:
    """The choices and joins without places that no side leads to, or none from."""
    count = len(choices)
    stay = [np.ones(len(each.places), dtype=bool) for each in choices]
    waiting = list(range(count))
    while waiting:
        k = waiting.pop()
        led_to = joined[k - 1][stay[k - 1]].any(axis=0)
        leads = joined[k][:, stay[(k + 1) % count]].any(axis=1)
        if np.any(stay[k] & ~(led_to & leads)):
            stay[k] &= led_to & leads
            waiting += [(k - 1) % count, (k + 1) % count]
    kept = [
        replace(each, places=each.places[here], price=each.price[here])
        for each, here in zip(choices, stay, strict=True)
    ]
    return kept, [flags[stay[k]][:, stay[(k + 1) % count]] for k, flags in enumerate(joined)]


def _undoubled(placed: Floats) -> Floats:
    return placed[np.any(placed != np.roll(placed, 1, axis=0), axis=1)]


def _left(choices: list[Corner], joined: list[Flags], k: int) -> tuple[list[Corner], list[Flags]]:
    """The same where corner k keeps its place."""
    choices, joined = choices.copy(), joined.copy()
    choices[k] = replace(choices[k], places=choices[k].places[:1], price=choices[k].price[:1])
    joined[k - 1], joined[k] = joined[k - 1][:, :1], joined[k][:1]
    return choices, joined


def _at_fault(corners: Floats, placed: Floats, room: _Room) -> Flags:
    """Which corner must stay, as sides far along the outline cross or a kept part is passed over.

    Of those that have to do with it the one that has moved farthest; none where all is well.
    """
    moved = np.any(placed != corners, axis=1)
    ring = _undoubled(placed)
    outline = Polygon(ring) if len(ring) > 2 else Polygon()
    sound = outline.is_valid and not outline.is_empty
    if not moved.any() or (sound and shapely.covers(outline, room.kept)):
        return np.zeros(len(corners), dtype=bool)
    sides = _passing(corners, placed, outline, room) if sound else _crossing(placed)
    wrong = moved & (sides | np.roll(sides, 1))
    far = np.hypot(*(placed - corners).T) * (wrong if wrong.any() else moved)
    return np.asarray(np.arange(len(corners)) == np.argmax(np.round(far, 9)))


def _passing(corners: Floats, placed: Floats, outline: Polygon, room: _Room) -> Flags:
    """Which sides are so near to what the outline holds no more that they may have passed over it."""
    lost = shapely.difference(room.kept, outline)
    farthest = np.max(np.hypot(*(placed - corners).T))
    sides = shapely.linestrings(np.stack([corners, np.roll(corners, -1, axis=0)], axis=1))
    return np.asarray(shapely.distance(sides, lost) <= farthest)


def _crossing(placed: Floats) -> Flags:
    """Which sides cross or touch one that is not next to them."""
    sides = shapely.linestrings(np.stack([placed, np.roll(placed, -1, axis=0)], axis=1))
    beside = np.eye(len(sides), dtype=bool)
    beside |= np.roll(beside, 1, axis=0) | np.roll(beside, -1, axis=0)
    return np.asarray(np.any(shapely.intersects(sides[:, None], sides[None]) & ~beside, axis=1))
