"""What a support line cuts off inside a ring, and what two neighbouring ones leave between them.

Each line keeps what lies on its left.  The outline that is left follows the line from the hull
forwards to the ring, then the ring to where the line enters the board again (where it crosses a
notch), and so on: this is the line's forward track, and the backward one likewise.  Between two lines that
follow each other the outline goes along the forward track of the first until it meets the
backward track of the second; so area and number of cuts of a whole outline are sums over
neighbours, each found from prefix sums along the tracks (shoelace formula).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from trimgeo.plane.hulls import Floats, Indices, Supports, supports
from trimgeo.plane.walks import MEETS, Crossings, walks_across, walks_around

CLEAR_OF_EDGE = 1e-8
"""Lines move out by this (mm) where the ring has notches: one along an edge must not cut the edge itself."""


@dataclass(frozen=True, eq=False)
class Surroundings:
    """A hull and the ring around it, corners counter-clockwise, with prefix sums along both.

    ``hull_sums`` and ``ring_sums`` are twice the area swept from the first corner on, about the
    hull's middle, to which ``hull`` and ``ring`` are shifted.
    """

    hull: Floats
    ring: Floats
    hull_sums: Floats
    ring_sums: Floats
    ring_lengths: Floats
    convex: bool

    @property
    def perimeter(self) -> float:
        """Length of the ring, mm."""
        return float(self.ring_lengths[-1])

    def place(self, points: Floats) -> Floats:
        """Place along the ring, mm, shape (n,), that is nearest to each of ``points``, shape (n, 2)."""
        closed = shapely.LineString(np.vstack([self.ring, self.ring[:1]]))
        return np.asarray(shapely.line_locate_point(closed, shapely.points(points)))


def surroundings(hull: Floats, ring: Floats) -> Surroundings:
    """Prepare a hull (of `trimgeo.plane.hulls.convex_hull`) and the ring that it lies in.

    >>> square = np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    >>> surroundings(square, square * 4 - 1).perimeter
    16.0
    """
    middle = hull.mean(axis=0)
    hull, ring = hull - middle, ring - middle
    return Surroundings(hull, ring, _sums(hull), _sums(ring), _lengths(ring), _is_convex(ring))


def _sums(corners: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(cross(corners, np.roll(corners, -1, axis=0)))])


def _lengths(corners: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*(np.roll(corners, -1, axis=0) - corners).T))])


def cross(a: Floats, b: Floats) -> Floats:
    """Cross products of plane vectors, shape (..., 2): twice the area swept from a to b.

    >>> float(cross(np.array([4.0, 0.0]), np.array([1.0, 3.0]))) / 2  # a triangle, 4 mm wide and 3 mm high
    6.0
    """
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _is_convex(ring: Floats) -> bool:
    sides = np.roll(ring, -1, axis=0) - ring
    bend = cross(sides, np.roll(sides, -1, axis=0))
    scale = np.hypot(*sides.T) * np.hypot(*np.roll(sides, -1, axis=0).T)
    return bool(np.all(bend >= -1e-12 * scale))


@dataclass(frozen=True, eq=False)
class Way:
    """One track of each of m lines: at most p stretches on the line, ring stretches between them.

    Shapes (m, p), NaN where there are fewer.  ``near`` and ``far`` are positions on the line where
    a stretch begins and ends, seen from the hull, ``start`` and ``end`` the points there; ``place``
    is where the track goes on along the ring and ``run`` how far; ``before`` and ``done`` are
    twice the area swept before and after the stretch; ``cuts`` is how many cuts the track has by then
    beyond the one that touches the hull.
    """

    near: Floats
    far: Floats
    start: Floats
    end: Floats
    before: Floats
    done: Floats
    place: Floats
    run: Floats
    cuts: Floats


@dataclass(frozen=True, eq=False)
class Tracks:
    """Support lines and what they cut off.

    ``depth`` is how far the ring stands out beyond a line, ``home_cuts`` how many cuts it makes along the
    side of the hull that it is flush with, and ``home_area`` twice the area of the notches there, negative.
    """

    lines: Supports
    depth: Floats
    forward: Way
    backward: Way
    home_cuts: Floats
    home_area: Floats


def tracks(around: Surroundings, angles: Floats) -> Tracks:
    """Support lines of the hull at ``angles`` in [0, 2π), shape (m,), with their tracks.

    >>> square = np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    >>> flush = tracks(surroundings(square, square * 4 - 1), np.array([0.0]))  # right of the hull: 2 mm deep
    >>> flush.depth.tolist(), flush.forward.far.tolist(), flush.forward.run.round(9).tolist()
    ([2.0], [[2.5]], [[8.0]])
    """
    lines = supports(around.hull, angles, 0.0 if around.convex else CLEAR_OF_EDGE)
    beyond = lines.normal @ around.ring.T - lines.offset[:, None]
    after = np.roll(beyond, -1, axis=1)
    corner = around.hull[np.array([lines.back, lines.front]) % len(around.hull)]
    touch = np.einsum("tij,ij->ti", corner, lines.along)
    crossings = _crossings(around, lines, beyond, after)
    if around.convex and np.array_equal(crossings.row, np.repeat(np.arange(len(angles)), 2)):
        walks = walks_across(crossings, touch, around.perimeter)
    else:
        place = around.place(corner.reshape(-1, 2)).reshape(2, -1)
        walks = walks_around(crossings, touch, place, around.perimeter)
    forward = _way(around, lines, walks.ahead, corner[1], 1.0)
    backward = _way(around, lines, walks.behind, corner[0], -1.0)
    home_area = np.zeros(len(angles))
    line, (chord, place, run) = walks.notches[0].astype(np.intp), walks.notches[1:]
    np.add.at(home_area, line, ring_sweep(around, place, run) - lines.offset[line] * chord)
    return Tracks(lines, beyond.max(axis=1), forward, backward, walks.home_cuts, home_area)


def _crossings(around: Surroundings, lines: Supports, beyond: Floats, after: Floats) -> Crossings:
    """Crossings of every line with the ring."""
    row, side = np.nonzero((beyond > 0) != (after > 0))
    first, second = beyond[row, side], after[row, side]
    share = first / (first - second)
    here, there = around.ring[side], np.roll(around.ring, -1, axis=0)[side]
    along = np.einsum("ij,ij->i", here + share[:, None] * (there - here), lines.along[row])
    length = around.ring_lengths[side + 1] - around.ring_lengths[side]
    place = around.ring_lengths[side] + share * length
    enters = second > 0  # the ring passes out over the line where the line comes onto the board
    order = np.lexsort((along, enters, row))
    return Crossings(row[order], along[order], place[order])


def _way(around: Surroundings, lines: Supports, columns: Floats, corner: Floats, sense: float) -> Way:
    """A `Way` from its columns; ``sense`` is -1 for walks against the turn, whose areas count on."""
    near, far, place, run, cuts = columns
    start, end = (
        lines.normal[:, None] * lines.offset[:, None, None] + lines.along[:, None] * position[:, :, None]
        for position in (near, far)
    )
    start[:, 0] = corner
    straight = sense * cross(start, end)
    bent = ring_sweep(around, place if sense > 0 else place - run, run)
    done = np.cumsum(straight + bent, axis=1) - bent
    return Way(near, far, start, end, done - straight, done, np.mod(place, around.perimeter), run, cuts)


def ring_sweep(around: Surroundings, place: Floats, run: Floats) -> Floats:
    """Twice the area swept counter-clockwise along ``run`` of the ring after ``place``, both mm.

    >>> square = np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    >>> around = surroundings(square, square * 4 - 1)  # its first side, of 4 mm, is 2.5 mm from the middle
    >>> ring_sweep(around, np.array([0.0]), np.array([4.0])).tolist()
    [10.0]
    """
    begin = np.mod(place, around.perimeter)
    end = begin + run
    over = end > around.perimeter
    there = np.interp(np.where(over, end - around.perimeter, end), around.ring_lengths, around.ring_sums)
    here = np.interp(begin, around.ring_lengths, around.ring_sums)
    return np.asarray(there - here + over * around.ring_sums[-1])


def between(
    around: Surroundings, first: Tracks, i: Indices, second: Tracks, j: Indices
) -> tuple[Floats, Floats]:
    """Twice the area that ``first[i]`` and ``second[j]`` leave between them outside the hull, and its cuts.

    ``i`` and ``j`` broadcast.  The turn from i to j is less than a full one, or a full one where both
    have one angle.  Cuts count those of line j at the hull too, so that a sum around counts each once.
    Infinite where the tracks do not meet.

    >>> square = np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    >>> around = surroundings(square, square * 4 - 1)
    >>> both = tracks(around, np.radians([0.0, 180.0]))  # above the hull stays a strip 1 mm wide, 2 mm high
    >>> between(around, both, np.array([0]), both, np.array([1]))
    (array([4.]), array([1.]))
    """
    i, j = np.broadcast_arrays(i, j)
    a, b = first.lines, second.lines
    turn = np.mod(b.angle[j] - a.angle[i], 2 * np.pi)
    sine, cosine = np.sin(turn), np.cos(turn)
    apart = (turn < np.pi) & (sine > 1e-12)
    sine = np.where(apart, sine, np.inf)
    at_a = np.where(apart, (b.offset[j] - a.offset[i] * cosine) / sine, np.inf)
    at_b = np.where(apart, (b.offset[j] * cosine - a.offset[i]) / sine, -np.inf)
    area, cuts = np.full(i.shape, np.inf), np.full(i.shape, np.inf)
    for k in range(first.forward.near.shape[1]):
        fresh, fresh_cuts = _meet_on_lines(first, i, at_a, second, j, at_b, k)
        on_ring, ring_cuts = _meet_on_ring(around, first, i, second, j, k)
        fresh, fresh_cuts = _prefer(fresh, fresh_cuts, on_ring, ring_cuts)
        area, cuts = _prefer(area, cuts, fresh, fresh_cuts)
    area = area - chain_between(around, a, i, b, j) + second.home_area[j]
    return area, cuts + second.home_cuts[j]


def chain_between(around: Surroundings, a: Supports, i: Indices, b: Supports, j: Indices) -> Floats:
    """Twice the area swept along the hull from where lines ``a[i]`` leave it to where ``b[j]`` reach it.

    >>> square = np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    >>> both = supports(square, np.radians([0.0, 180.0]))  # between them lies the upper side
    >>> chain_between(surroundings(square, square * 4 - 1), both, np.array([0]), both, np.array([1])).tolist()
    [0.5]
    """
    corners = len(around.hull)
    chain = around.hull_sums[b.back[j] % corners] - around.hull_sums[a.front[i] % corners]
    turns = b.back[j] // corners - a.front[i] // corners + (b.angle[j] <= a.angle[i])
    return np.asarray(chain + around.hull_sums[-1] * turns)


def _prefer(area: Floats, cuts: Floats, other: Floats, other_cuts: Floats) -> tuple[Floats, Floats]:
    """The first area where it is known, else the other one, with their cuts."""
    known = np.isfinite(area)
    return np.where(known, area, other), np.where(known, cuts, other_cuts)


def _meet_on_lines(
    first: Tracks, i: Indices, at_a: Floats, second: Tracks, j: Indices, at_b: Floats, k: int
) -> tuple[Floats, Floats]:
    """Area and cuts where stretch k of the first track crosses a stretch of the second."""
    ahead, behind, a = first.forward, second.backward, first.lines
    reached = (at_a >= ahead.near[i, k] - MEETS) & (at_a <= ahead.far[i, k] + MEETS)
    place = np.where(reached, at_a, 0.0)
    corner = a.normal[i] * a.offset[i][..., None] + a.along[i] * place[..., None]
    area, cuts = np.full(i.shape, np.inf), np.full(i.shape, np.inf)
    for r in range(behind.near.shape[1]):
        met = reached & (at_b <= behind.near[j, r] + MEETS) & (at_b >= behind.far[j, r] - MEETS)
        swept = cross(ahead.start[i, k], corner) + cross(corner, behind.start[j, r])
        here = np.where(met, ahead.before[i, k] + swept + behind.before[j, r], np.inf)
        area, cuts = _prefer(area, cuts, here, np.where(met, ahead.cuts[i, k] + behind.cuts[j, r], np.inf))
    return area, cuts


def _meet_on_ring(
    around: Surroundings, first: Tracks, i: Indices, second: Tracks, j: Indices, k: int
) -> tuple[Floats, Floats]:
    """Area and cuts where the ring leads from stretch k of the first track to a stretch of the second."""
    ahead, behind = first.forward, second.backward
    area, cuts = np.full(i.shape, np.inf), np.full(i.shape, np.inf)
    least = ahead.run[i, k] + MEETS
    turn = np.mod(second.lines.angle[j] - first.lines.angle[i], 2 * np.pi)
    long_way = (turn == 0) | (turn > np.pi)  # where both lines graze one corner of the ring
    for r in range(behind.near.shape[1]):
        run = np.mod(behind.place[j, r] - ahead.place[i, k] + MEETS, around.perimeter) - MEETS
        run = np.where(long_way & (run < MEETS), run + around.perimeter, run)
        met = run <= least
        whole = ring_sweep(
            around, np.where(met, ahead.place[i, k], 0.0), np.where(met, np.maximum(run, 0), 0.0)
        )
        area = np.where(met, ahead.done[i, k] + whole + behind.done[j, r], area)
        cuts = np.where(met, ahead.cuts[i, k] + behind.cuts[j, r], cuts)
        least = np.where(met, run, least)
    return area, cuts
