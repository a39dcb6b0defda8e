"""The smallest outline around a hull, inside a ring, with at most so many straight cuts.

Every cut of a smallest outline touches the hull.  It lies flush with a side of the hull, or touches
one corner with its own middle (else turning it about the corner would gain), and without a ring in reach at
least all but one are flush (DePano 1987; Aggarwal, Chang and Yap 1985).  So the flush lines and lines
turned in small steps about each sharp corner are the candidates of an exact search, whose
turned lines are then turned finely and offered to the search again.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trimgeo.plane.cycles import Cycle, cheapest_cycles
from trimgeo.plane.hulls import Floats, Indices, side_angles
from trimgeo.plane.tracks import Surroundings, Tracks, between, tracks

TURN_STEP = np.radians(1.5)
"""Step of the first search about a corner: the area lost grows with its square, 0.01 % at this one."""

SEARCHES = 4
"""Searches at most: the second has the finely turned lines, later ones rarely change anything."""

LEAST_GAIN = 1e-10
"""Share of the area below which a gain is rounding."""

FINER = 11
"""Times that a turned cut's range is narrowed fivefold: to less than 1e-8 rad."""

MOST_LINES = 420
MOST_LINES_NOTCHED = 120
"""Candidates of the first search, in a convex ring and in one with notches: about 0.2 s."""


class Smallest(NamedTuple):
    """An outline by its cuts: area, and the angles of their outward normals, rising."""

    area: float
    angles: Floats


def smallest_outlines(around: Surroundings, most: int, least_depth: float) -> list[Smallest]:
    """Smallest outline with at most 1, 2, … ``most`` cuts; where more are of no use the list ends.

    Lines that would take off a strip of the ring no deeper than ``least_depth`` are not considered.
    ``area`` counts the hull as a whole, even where a notch of the ring enters it.

    >>> from trimgeo.plane.tracks import surroundings
    >>> square = np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    >>> [round(each.area, 9) for each in smallest_outlines(surroundings(square, square * 4 - 1), 5, 0.05)]
    [8.0, 4.0, 2.0, 1.0]
    """
    pool = _candidates(around, least_depth)
    angles = _thinned(around, pool)
    best: list[Smallest] = []
    for _ in range(SEARCHES):
        lines = tracks(around, angles)
        every = np.arange(len(angles))
        area, cuts = between(around, lines, every[:, None], lines, every[None])
        found = cheapest_cycles(area, cuts, most)
        before, best = best, [Smallest(_area(around, cost), angles[list(nodes)]) for cost, nodes in found]
        if before and not any(_gains(old, new) for old, new in zip(before, best, strict=False)):
            break
        fresh = np.concatenate([_turned(around, lines, nodes) for _, nodes in found] or [angles[:0]])
        angles = np.unique(np.concatenate([angles, fresh, _left_out(angles, pool, best)]))
    return _without_idle(best)


def _area(around: Surroundings, cost: float) -> float:
    return (cost + float(around.hull_sums[-1])) / 2


def _gains(old: Smallest, new: Smallest) -> bool:
    return new.area < old.area * (1 - LEAST_GAIN)


def _without_idle(best: list[Smallest]) -> list[Smallest]:
    """Drop the end of the list, where more cuts change nothing, and what cannot be built at all."""
    useful = [
        k for k, each in enumerate(best) if np.isfinite(each.area) and (k == 0 or _gains(best[k - 1], each))
    ]
    return best[: useful[-1] + 1] if useful else []


def _candidates(around: Surroundings, least_depth: float) -> Floats:
    """Angles of the flush lines, and of lines turned about each corner, that cut something off."""
    flush = side_angles(around.hull)
    turn = np.diff(np.append(flush, flush[0] + 2 * np.pi))
    steps = np.maximum(np.ceil(turn / TURN_STEP).astype(int), 1)
    turned = [start + gap * np.arange(1, n) / n for start, gap, n in zip(flush, turn, steps, strict=True)]
    angles = np.unique(np.concatenate([flush, np.mod(np.concatenate(turned), 2 * np.pi)]))
    angles = angles[angles < 2 * np.pi]
    return np.asarray(angles[tracks(around, angles).depth > least_depth])


def _thinned(around: Surroundings, pool: Floats) -> Floats:
    """A few hundred of the candidates: of each small range of angles the one along the longest side."""
    most = MOST_LINES if around.convex else MOST_LINES_NOTCHED
    if len(pool) <= most:
        return pool
    lines = tracks(around, pool).lines
    corners = len(around.hull)
    side = np.hypot(*(around.hull[lines.front % corners] - around.hull[lines.back % corners]).T)
    order = np.lexsort((-side, (pool * most / (2 * np.pi)).astype(int)))
    bucket = (pool[order] * most / (2 * np.pi)).astype(int)
    return np.sort(pool[order[np.append(True, np.diff(bucket) > 0)]])


def _left_out(angles: Floats, pool: Floats, best: list[Smallest]) -> Floats:
    """Candidates that thinning left out between the cuts found and their neighbours."""
    if len(np.setdiff1d(pool, angles, assume_unique=True)) == 0 or not best:
        return pool[:0]
    at = np.searchsorted(angles, np.unique(np.concatenate([each.angles for each in best])))
    low, high = angles[at - 1], angles[(at + 1) % len(angles)]
    inside = np.mod(pool[None] - low[:, None], 2 * np.pi) < np.mod(high - low, 2 * np.pi)[:, None]
    return np.asarray(pool[inside.any(axis=0)])


def _turned(around: Surroundings, lines: Tracks, nodes: Cycle) -> Floats:
    """Better angles for those cuts of a cycle that are not flush, their neighbours held."""
    at = np.array(nodes, dtype=np.intp)
    free = lines.lines.front[at] == lines.lines.back[at]
    if not free.any():
        return np.array([])
    angle = lines.lines.angle
    before, here, after = np.roll(at, 1)[free], at[free], np.roll(at, -1)[free]
    low = np.where(here > 0, angle[here - 1], angle[-1] - 2 * np.pi)
    high = np.where(here < len(angle) - 1, angle[(here + 1) % len(angle)], angle[0] + 2 * np.pi)
    for _ in range(FINER):
        trial = low[:, None] + (high - low)[:, None] * np.arange(1, 10) / 10
        areas = _areas(around, lines, (before, here, after), trial)
        chosen = areas.argmin(axis=1)
        width = (high - low) / 10
        low, high = low + width * chosen, low + width * (chosen + 2)
    return np.asarray(np.mod((low + high) / 2, 2 * np.pi))


def _areas(
    around: Surroundings, lines: Tracks, cut: tuple[Indices, Indices, Indices], trial: Floats
) -> Floats:
    """Area next to a cut turned to each angle of ``trial``, shape (cuts, trials), its neighbours held.

    ``cut`` has the lines before, here and after; infinite where turning would take more cuts.
    """
    before, here, after = cut
    turned = tracks(around, np.mod(trial, 2 * np.pi).ravel())
    index = np.arange(trial.size).reshape(trial.shape)
    if np.array_equal(before, here):
        area, cuts = between(around, turned, index, turned, index)
        allowed = between(around, lines, here, lines, here)[1]
    else:
        one, two = (
            between(around, lines, before[:, None], turned, index),
            between(around, turned, index, lines, after[:, None]),
        )
        area, cuts = one[0] + two[0], one[1] + two[1]
        allowed = (
            between(around, lines, before, lines, here)[1] + between(around, lines, here, lines, after)[1]
        )
    return np.asarray(np.where(cuts <= allowed[:, None], area, np.inf))
