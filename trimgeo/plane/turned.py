"""The one cut of a smallest outline that need not be flush with a side of the hull.

Out of reach of the ring at most one cut is not flush, and it touches a corner of the hull with its own
middle (DePano 1987; Aggarwal, Chang and Yap 1985).  Between two given lines its place follows in
closed form, so that the smallest outline with one such cut is found exactly.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trimgeo.plane.hulls import Floats, Indices, wrapped
from trimgeo.plane.tracks import Surroundings, Tracks, chain_between, cross
from trimgeo.plane.walks import MEETS

MOST_FLUSH = 240
"""Flush lines considered as neighbours: the work grows with their cube."""


class _Middled(NamedTuple):
    """Cuts that touch the hull with their middle: angle, and twice the area left beside each."""

    angle: Floats
    area: Floats


def middled_angles(around: Surroundings, lines: Tracks, cost: Floats, most: int) -> Floats:
    """Angle (radians) of the turned cut of the smallest outline with one turned cut, for each number of cuts.

    ``lines`` are m candidates in rising order and ``cost``, shape (m, m), twice the area between each two.
    Only for a convex ring; outlines whose turned cut meets the ring are left to the search by steps.

    >>> from trimgeo.plane.tracks import between, surroundings, tracks
    >>> square = np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    >>> around, every = surroundings(square, square * 40 - 20), np.arange(4)
    >>> flush = tracks(around, np.radians([0.0, 90.0, 180.0, 270.0]))
    >>> cost, _ = between(around, flush, every[:, None], flush, every[None])
    >>> np.degrees(middled_angles(around, flush, cost, 3)).round(6).tolist()  # its middle at (1, 0)
    [315.0]
    """
    flush = np.flatnonzero(lines.lines.front > lines.lines.back)
    flush = flush[:: max(-(-len(flush) // MOST_FLUSH), 1)]
    cost = cost[np.ix_(flush, flush)]
    turn = np.mod(lines.lines.angle[flush][None] - lines.lines.angle[flush][:, None], 2 * np.pi)
    odd = _between(around, lines, cost, turn, flush)
    best, angle = np.full(most + 1, np.inf), np.full(most + 1, np.nan)
    for last in range(len(flush)):
        onward = np.argsort(turn[last])[: np.count_nonzero(turn[last] < np.pi)]
        steps = np.where(np.triu(np.ones((len(onward),) * 2), 1) > 0, cost[np.ix_(onward, onward)], np.inf)
        reach = np.full(len(onward), np.inf)
        reach[0] = 0.0
        for cuts in range(2, most + 1):
            total = reach + odd.area[onward, last]
            least = int(total.argmin())
            if total[least] < best[cuts]:
                best[cuts], angle[cuts] = total[least], odd.angle[onward[least], last]
            reach = np.min(reach[:, None] + steps, axis=0)
    return np.unique(angle[np.isfinite(angle)])


def _between(around: Surroundings, lines: Tracks, cost: Floats, turn: Floats, flush: Indices) -> _Middled:
    """The least turned cut between each two flush lines, shape (before, after).

    It touches the hull at an end of the side whose flush line leaves the least between the two.
    """
    chosen = np.zeros(turn.shape, dtype=np.intp)
    for last in range(len(flush)):
        among = (turn > 0) & (turn < turn[:, last, None])
        chosen[:, last] = np.where(among, cost + cost[:, last][None], np.inf).argmin(axis=1)
    before, after = np.nonzero(turn > np.pi)
    side = flush[chosen[before, after]]
    front = _middled(around, lines, flush[before], lines.lines.front[side], flush[after])
    back = _middled(around, lines, flush[before], lines.lines.back[side], flush[after])
    nearer = front.area <= back.area
    area, angle = np.full(turn.shape, np.inf), np.full(turn.shape, np.nan)
    area[before, after] = np.where(nearer, front.area, back.area)
    angle[before, after] = np.where(nearer, front.angle, back.angle)
    return _Middled(angle, area)


def _middled(
    around: Surroundings, lines: Tracks, before: Indices, corner: Indices, after: Indices
) -> _Middled:
    """Cuts with their middle at ``corner``, from the lines ``before`` to the lines ``after``.

    With x on the line before and 2c - x on the line after: n_before x = h_before and
    n_after x = 2 n_after c - h_after.  Infinite where the cut would enter the hull or leave the ring.
    """
    straight, count = lines.lines, len(around.hull)
    c = around.hull[corner % count]
    n, h, m, g = (
        straight.normal[before],
        straight.offset[before],
        straight.normal[after],
        straight.offset[after],
    )
    determinant = cross(n, m)
    determinant = np.where(np.abs(determinant) > 1e-12, determinant, np.nan)
    wanted = 2 * np.einsum("ij,ij->i", c, m) - g
    x = (
        np.column_stack([h * m[:, 1] - wanted * n[:, 1], wanted * n[:, 0] - h * m[:, 0]])
        / determinant[:, None]
    )
    y = 2 * c - x
    normal = np.column_stack([y[:, 1] - x[:, 1], x[:, 0] - y[:, 0]])
    on, back = around.hull[(corner + 1) % count] - c, around.hull[(corner - 1) % count] - c
    touches = (np.einsum("ij,ij->i", normal, on) <= 0) & (np.einsum("ij,ij->i", normal, back) <= 0)
    at_x = np.einsum("ij,ij->i", x, straight.along[before])
    at_y = np.einsum("ij,ij->i", y, straight.along[after])
    reached = (at_x <= lines.forward.far[before, 0] + MEETS) & (at_x >= lines.forward.near[before, 0] - MEETS)
    reached &= (at_y >= lines.backward.far[after, 0] - MEETS) & (
        at_y <= lines.backward.near[after, 0] + MEETS
    )
    start, end = lines.forward.start[before, 0], lines.backward.start[after, 0]
    swept = cross(start, x) + cross(x, y) + cross(y, end)
    area = swept - chain_between(around, straight, before, straight, after)
    angle = wrapped(np.arctan2(normal[:, 1], normal[:, 0]))
    return _Middled(angle, np.where(touches & reached, area, np.inf))
