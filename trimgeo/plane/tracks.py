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
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.plane.hulls import Floats, Indices, Supports, supports

MEETS = 1e-7
"""Places on the ring or on a line this near to each other (mm) are one: above rounding, below any cut."""

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
        """Length of the ring."""
        return float(self.ring_lengths[-1])

    def place(self, points: Floats) -> Floats:
        """Place along the ring that is nearest to each of ``points``, shape (n, 2)."""
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
    """Cross products of plane vectors, shape (..., 2): twice the area swept from a to b."""
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
    """Support lines and what they cut off: ``depth`` is how far the ring stands out beyond a line."""

    lines: Supports
    depth: Floats
    forward: Way
    backward: Way
    home_cuts: Floats


@dataclass(frozen=True, eq=False)
class _Crossings:
    """Crossings of lines ``row`` with the ring, ``place`` along the ring.

    For each line those where it leaves the board, then those where it enters it, in order along it.
    """

    row: Indices
    along: Floats
    place: Floats


def tracks(around: Surroundings, angles: Floats) -> Tracks:
    """Support lines of the hull at ``angles`` in [0, 2π), with their tracks."""
    lines = supports(around.hull, angles, 0.0 if around.convex else CLEAR_OF_EDGE)
    beyond = lines.normal @ around.ring.T - lines.offset[:, None]
    after = np.roll(beyond, -1, axis=1)
    corner = around.hull[np.array([lines.back, lines.front]) % len(around.hull)]
    touch = np.einsum("tij,ij->ti", corner, lines.along)
    crossings = _crossings(around, lines, beyond, after)
    if around.convex and np.array_equal(crossings.row, np.repeat(np.arange(len(angles)), 2)):
        ahead, behind, home = _across(crossings, touch, around.perimeter)
    else:
        place = around.place(corner.reshape(-1, 2)).reshape(2, -1)
        ahead, behind, home = _walks(crossings, touch, place, around.perimeter)
    forward = _way(around, lines, ahead, corner[1], 1.0)
    backward = _way(around, lines, behind, corner[0], -1.0)
    return Tracks(lines, beyond.max(axis=1), forward, backward, home)


def _crossings(around: Surroundings, lines: Supports, beyond: Floats, after: Floats) -> _Crossings:
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
    return _Crossings(row[order], along[order], place[order])


def _across(crossings: _Crossings, touch: Floats, perimeter: float) -> tuple[Floats, Floats, Floats]:
    """Columns of both ways where every line crosses the ring twice: one stretch, then the ring."""
    leave, enter = crossings.along.reshape(-1, 2).T
    leave_place, enter_place = crossings.place.reshape(-1, 2).T
    run = np.mod(enter_place - leave_place + MEETS, perimeter) - MEETS
    none, (back, front) = np.zeros_like(run), touch
    ahead = np.array([front, np.maximum(leave, front), leave_place, run, none])
    behind = np.array([back, np.minimum(enter, back), enter_place, run, none])
    return ahead[:, :, None], behind[:, :, None], none + 1.0


def _walks(
    crossings: _Crossings, touch: Floats, place: Floats, perimeter: float
) -> tuple[Floats, Floats, Floats]:
    """Columns of both ways and cuts at the hull, line by line."""
    ahead, behind, home = [], [], []
    for line, (begin, end) in enumerate(
        pairwise(np.searchsorted(crossings.row, np.arange(touch.shape[1] + 1)))
    ):
        walk = _walk(
            crossings.along[begin:end], crossings.place[begin:end], touch[:, line], place[:, line], perimeter
        )
        ahead.append(walk[0])
        behind.append(walk[1])
        home.append(float(walk[2]))
    return _columns(ahead), _columns(behind), np.array(home)


def _columns(walks: list[list[Step]]) -> Floats:
    columns = np.full((5, len(walks), max(map(len, walks), default=1)), np.nan)
    for row, walk in enumerate(walks):
        columns[:, row, : len(walk)] = np.array(walk).T
    return columns


Step = tuple[float, float, float, float, float]
"""near, far, place, run, cuts: one stretch of a `Way`."""


def _walk(
    along: Floats, places: Floats, touch: Floats, touch_place: Floats, perimeter: float
) -> tuple[list[Step], list[Step], int]:
    """Forward and backward track of one line, and how many cuts it makes where it touches the hull."""
    (leave, enter), (leave_place, enter_place) = along.reshape(2, -1), places.reshape(2, -1)
    (back, front), (back_place, front_place) = touch, touch_place
    home = np.flatnonzero((enter <= front + MEETS) & (leave >= back - MEETS) & (leave - enter > MEETS))
    first = home[0] if len(home) and enter[home[0]] <= back + MEETS else None
    last = home[-1] if len(home) and leave[home[-1]] >= front - MEETS else None
    ahead = _steps(
        (front, front if last is None else leave[last]),
        front_place if last is None else leave_place[last],
        enter_place, enter, leave, leave_place, enter > front + MEETS, perimeter,
    )  # fmt: skip
    behind = _steps(
        (back, back if first is None else enter[first]),
        -(back_place if first is None else enter_place[first]),
        -leave_place, leave, enter, -enter_place, leave < back - MEETS, perimeter,
    )  # fmt: skip
    behind = [(near, far, -after, run, cuts) for near, far, after, run, cuts in behind]
    if not len(home) and (len(ahead) > 1) != (len(behind) > 1):
        # the line only grazes the hull here: its first piece beyond is the one that counts
        ahead = [(*step[:4], max(step[4] - 1, 0)) for step in ahead]
        behind = [(*step[:4], max(step[4] - 1, 0)) for step in behind]
    return ahead, behind, max(len(home), 1)


def _steps(
    home: tuple[float, float],
    place: float,
    near_place: Floats,
    near: Floats,
    far: Floats,
    far_place: Floats,
    ahead: NDArray[np.bool_],
    perimeter: float,
) -> list[Step]:
    """Follow line and ring by turns, away from the hull; places rise in the direction of the walk."""
    steps: list[Step] = []
    stretch, used = home, np.zeros(len(near), dtype=bool)
    while True:
        run = np.mod(near_place - place + MEETS, perimeter) - MEETS
        chosen = int(np.argmin(run)) if len(run) else -1
        more = chosen >= 0 and ahead[chosen] and not used[chosen]
        steps.append((*stretch, place, float(run[chosen]) if chosen >= 0 else perimeter, len(steps)))
        if not more:
            return steps
        used[chosen] = True
        stretch, place = (float(near[chosen]), float(far[chosen])), float(far_place[chosen])


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
    """Twice the area swept counter-clockwise along ``run`` of the ring after ``place``."""
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
    return area - chain_between(around, a, i, b, j), cuts + second.home_cuts[j]


def chain_between(around: Surroundings, a: Supports, i: Indices, b: Supports, j: Indices) -> Floats:
    """Twice the area swept along the hull from where lines ``a[i]`` leave it to where ``b[j]`` reach it."""
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
