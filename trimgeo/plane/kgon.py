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
from numpy.typing import NDArray

from trimgeo.plane.cycles import Cycle, cheapest_cycles
from trimgeo.plane.hulls import Floats, Indices, side_angles, wrapped
from trimgeo.plane.tracks import Surroundings, Tracks, between, cross, tracks
from trimgeo.plane.turned import middled_angles

TURN_STEP = np.radians(1.5)
"""Step of the first search about a corner: the area lost grows with its square, 0.01 % at this one."""

SEARCHES = 4
"""Searches at most: the second has the finely turned lines, later ones rarely change anything."""

LEAST_GAIN = 1e-10
"""Share of the area below which a gain is rounding."""

GRAZE = 2e-7
"""Turn (radians) that takes a line past a corner: 0.02 µm at 100 mm, above rounding, below any cut."""

SAME_ANGLE = 1e-6
"""Angles nearer than this give areas that differ by less than rounding: radians."""

NUDGE = 1e-5
"""A cut that this turn (radians) to either side does not better is where it belongs, mostly flush."""

NEAR_BEST = 1.003
"""Other places of a cut are tried where they are this near to the best one found in steps."""

FINER = 8
"""Times that a turned cut's range is narrowed fivefold: to about 1e-7 rad."""

MOST_LINES = 360
MOST_LINES_NOTCHED = 100
"""Candidates of the first search, in a convex ring and in one with notches: about 0.2 s."""


class Smallest(NamedTuple):
    """An outline by its cuts: area, mm², and the angles of their outward normals, radians, rising."""

    area: float
    angles: Floats


def smallest_outlines(around: Surroundings, most: int, least_depth: float) -> list[Smallest]:
    """Smallest outline with at most 1, 2, … ``most`` cuts; where more are of no use the list ends.

    Lines that would take off a strip of the ring no deeper than ``least_depth`` are not considered.
    ``area`` is without the notches of the ring, even where they enter the hull.

    >>> from trimgeo.plane.tracks import surroundings
    >>> square = np.array([[1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    >>> [round(each.area, 9) for each in smallest_outlines(surroundings(square, square * 4 - 1), 5, 0.05)]
    [8.0, 4.0, 2.0, 1.0]
    """
    pool = _candidates(around, least_depth)
    if not len(pool):
        return []
    angles, flush = _thinned(around, pool), side_angles(around.hull)
    if not around.convex:
        angles = np.union1d(angles, _grazing(around, least_depth))
    best: list[Smallest] = []
    for _ in range(SEARCHES):
        lines = tracks(around, angles)
        every = np.arange(len(angles))
        area, cuts = between(around, lines, every[:, None], lines, every[None])
        found = cheapest_cycles(area, cuts, most)
        before, best = best, [Smallest(_area(around, cost), angles[list(nodes)]) for cost, nodes in found]
        if not best or (before and not any(_gains(old, new) for old, new in zip(before, best, strict=False))):
            break
        fresh = _turned(around, lines, area, [nodes for _, nodes in found])
        if around.convex and (not before or len(angles) < len(pool)):
            fresh = np.concatenate([fresh, middled_angles(around, lines, area, len(found))])
        near = _near(angles, pool, best)
        if not around.convex:
            # steps of several cuts are searched from every start: only what lies near goes on
            angles, near = np.concatenate([each.angles for each in best]), np.intersect1d(near, flush)
        angles = np.unique(np.concatenate([angles, fresh, near]))
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
    # steps are even where the hull is stretched to be as wide as high: areas keep their ratios then
    stretch = np.asarray(np.linalg.cholesky(np.cov(around.hull.T)), dtype=np.float64)
    seen = _stretched(flush, stretch.T)
    turn = np.mod(np.roll(seen, -1) - seen, 2 * np.pi)
    steps = np.maximum(np.ceil(turn / TURN_STEP).astype(int), 1)
    turned = [start + gap * np.arange(1, n) / n for start, gap, n in zip(seen, turn, steps, strict=True)]
    back = _stretched(np.concatenate(turned), np.asarray(np.linalg.inv(stretch.T), dtype=np.float64))
    angles = np.unique(np.concatenate([flush, back]))
    return np.asarray(angles[tracks(around, angles).depth > least_depth])


def _grazing(around: Surroundings, least_depth: float) -> Floats:
    """Angles of lines that just cut, and just miss, a corner of the ring where it turns along the line.

    There the number of cuts changes, so the best outline with so many of them may lie there.
    """
    hull, ring = around.hull, around.ring
    away = hull[None] - ring[:, None]
    seen = np.arctan2(away[..., 1], away[..., 0]) - np.arctan2(-ring[:, 1], -ring[:, 0])[:, None]
    seen = np.mod(seen + np.pi, 2 * np.pi) - np.pi  # from each corner, to both sides of the hull's middle
    right = away[np.arange(len(ring)), seen.argmin(axis=1)]
    left = -away[np.arange(len(ring)), seen.argmax(axis=1)]
    found = [np.zeros(0)]
    for along in (right, left):
        before, after = (cross(along, np.roll(ring, by, axis=0) - ring) for by in (1, -1))
        angle = np.arctan2(-along[:, 0], along[:, 1])[before * after > 0]
        found += [angle - GRAZE, angle + GRAZE]
    angles = np.unique(wrapped(np.concatenate(found)))
    return np.asarray(angles[tracks(around, angles).depth > least_depth]) if len(angles) else angles


def _stretched(angles: Floats, matrix: Floats) -> Floats:
    """Angles in [0, 2π) of the unit vectors at ``angles`` after ``matrix``."""
    x, y = matrix @ np.array([np.cos(angles), np.sin(angles)])
    return wrapped(np.arctan2(y, x))


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


def _near(angles: Floats, pool: Floats, best: list[Smallest]) -> Floats:
    """Candidates between the cuts found and the next ones searched on both sides."""
    at = np.searchsorted(angles, np.unique(np.concatenate([each.angles for each in best])))
    low, high = angles[at - 1], angles[(at + 1) % len(angles)]
    inside = np.mod(pool[None] - low[:, None], 2 * np.pi) < np.mod(high - low, 2 * np.pi)[:, None]
    return np.asarray(pool[inside.any(axis=0)])


class _Turns(NamedTuple):
    """Cuts to turn, as indices of lines: between the lines ``before`` and ``after``, starting at ``here``."""

    before: Indices
    here: Indices
    after: Indices


def _turned(around: Surroundings, lines: Tracks, area: Floats, cycles: list[Cycle]) -> Floats:
    """Angles between the candidates where turning one cut, its neighbours held, gains the most."""
    angle = lines.lines.angle
    alone, others = _valleys(lines, area, cycles)
    found = [_finest(around, lines, turns) for turns in (alone, others) if len(turns.here)]
    fresh = np.concatenate([angle[:0], *found])
    after = np.searchsorted(angle, fresh)
    known = np.stack([angle[after - 1], angle[after % len(angle)]])
    apart = np.abs(np.mod(fresh - known + np.pi, 2 * np.pi) - np.pi).min(axis=0)
    return np.asarray(fresh[apart > SAME_ANGLE])


def _valleys(lines: Tracks, area: Floats, cycles: list[Cycle]) -> tuple[_Turns, _Turns]:
    """Places of a cut that are better than those beside them and near the best: alone, among others."""
    angle = lines.lines.angle
    whole = np.diag(area)
    alone = _Turns(*(np.flatnonzero(_is_valley(whole, float(whole.min()))),) * 3)
    found: set[tuple[int, int, int]] = set()
    for nodes in cycles:
        for before, here, after in zip(nodes[-1:] + nodes[:-1], nodes, nodes[1:] + nodes[:1], strict=True):
            if len(nodes) == 1:
                continue
            span = np.mod(angle[after] - angle[before], 2 * np.pi) or 2 * np.pi
            turn = np.mod(angle - angle[before], 2 * np.pi)
            cost = np.where((turn > 0) & (turn < span), area[before] + area[:, after], np.inf)
            low = np.flatnonzero(_is_valley(cost, float(cost[here])))
            found.update((before, int(middle), after) for middle in low)
    triples = np.array(sorted(found), dtype=np.intp).reshape(-1, 3)
    return alone, _Turns(*triples.T)


def _is_valley(cost: Floats, best: float) -> NDArray[np.bool_]:
    beside = np.minimum(np.roll(cost, 1), np.roll(cost, -1))
    return np.asarray((cost <= beside) & (cost <= best + (NEAR_BEST - 1) * abs(best)))


def _finest(around: Surroundings, lines: Tracks, turns: _Turns) -> Floats:
    """Angles of the least area between the candidates on both sides of each cut that gains by turning."""
    angle = lines.lines.angle
    nudged = _areas(around, lines, turns, angle[turns.here][:, None] + NUDGE * np.array([-1.0, 0.0, 1.0]))
    turns = _Turns(*(each[nudged.argmin(axis=1) != 1] for each in turns))
    here = turns.here
    if not len(here):
        return angle[:0]
    low = np.where(here > 0, angle[here - 1], angle[-1] - 2 * np.pi)
    high = np.where(here < len(angle) - 1, angle[(here + 1) % len(angle)], angle[0] + 2 * np.pi)
    for _ in range(FINER):
        trial = low[:, None] + (high - low)[:, None] * np.arange(1, 10) / 10
        chosen = _areas(around, lines, turns, trial).argmin(axis=1)
        width = (high - low) / 10
        low, high = low + width * chosen, low + width * (chosen + 2)
    return wrapped((low + high) / 2)


def _areas(around: Surroundings, lines: Tracks, turns: _Turns, trial: Floats) -> Floats:
    """Area next to cuts turned to each angle of ``trial``, shape (cuts, trials), their neighbours held.

    Infinite where turning would take more cuts.
    """
    before, here, after = turns
    turned = tracks(around, wrapped(trial.ravel()))
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
