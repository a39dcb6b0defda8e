"""Cheapest ways once around: a cycle through nodes in rising order, for each number of cuts.

Node order is the turn of a support line; a step from node i to node j costs ``cost[i, j]`` and
``cuts[i, j]`` cuts, ``cost[i, i]`` is a whole turn.  Where every step is one cut, the costs are areas
of points whose hidden angles lie between the two lines, so cost[a, c] + cost[b, d] <= cost[a, d] +
cost[b, c] for a <= b <= c <= d, and cheapest cycles interleave with the cheapest cycle through any
one node (Aggarwal, Chang and Yap 1985): it is enough to search between its nodes.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from trimgeo.plane.hulls import Floats, Indices

Cycle = tuple[int, ...]

STARTS_AT_ONCE = 16
"""Starts searched together: bounds the memory to some megabytes."""

NO_GAIN = 1e-13
"""Share of the costs below which a gain is rounding."""


def cheapest_cycles(cost: Floats, cuts: Floats, most: int) -> list[tuple[float, Cycle]]:
    """Cheapest cycle with at most 1, 2, … ``most`` cuts: its cost (may be infinite) and its nodes.

    ``cost`` and ``cuts`` have shape (m, m).

    >>> cheapest_cycles(np.array([[9.0, 1.0], [2.0, 8.0]]), np.ones((2, 2)), 2)
    [(8.0, (1,)), (3.0, (0, 1))]
    """
    if not len(cost):
        return []
    single = bool(np.all(cuts[np.isfinite(cost)] == 1))
    found = _interleaved(cost, most) if single else _from_each(cost, cuts, most)
    best: list[tuple[float, Cycle]] = []
    for answer in found:
        best.append(min([answer, *best[-1:]], key=lambda each: each[0]))
    return best


def _interleaved(cost: Floats, most: int) -> list[tuple[float, Cycle]]:
    """One cut a step: cheapest cycles through node 0, then through one node between each two of theirs."""
    nodes = len(cost)
    whole = np.diag(cost)
    found: list[tuple[float, Cycle]] = [(float(whole.min()), (int(whole.argmin()),))]
    rising = np.where(np.triu(np.ones_like(cost), 1) > 0, cost, np.inf)
    reach = np.full(nodes, np.inf)
    reach[0] = 0.0
    came: list[Indices] = []
    for _ in range(2, min(most, nodes) + 1):
        steps = reach[:, None] + rising
        came.append(np.argmin(steps, axis=0))
        reach = np.min(steps, axis=0)
        node = int(np.argmin(reach + cost[:, 0]))
        if not np.isfinite(reach[node]):
            break
        path = [node]
        for source in reversed(came):
            path.append(int(source[path[-1]]))
        found.append(_between_nodes(cost, np.array([*path[::-1], nodes])))
        if found[-2][0] - found[-1][0] < NO_GAIN * (found[0][0] + abs(found[-1][0])):
            break  # with such costs each further cut gains less than the one before
    return found


def _between_nodes(cost: Floats, fence: Indices) -> tuple[float, Cycle]:
    """Cheapest cycle with one node from each stretch ``fence[k]`` to ``fence[k + 1]``."""
    nodes = len(cost)
    first = int(np.argmin(np.diff(fence)))
    bounds = np.concatenate([fence[first:], fence[1 : first + 1] + nodes])
    layers = [np.arange(low, high + 1) for low, high in pairwise(bounds)]
    reach = np.where(np.eye(len(layers[0]), dtype=bool), 0.0, np.inf)
    came: list[Indices] = []
    for here, there in pairwise(layers):
        steps = reach[:, :, None] + _unrolled(cost, here, there)[None]
        came.append(np.argmin(steps, axis=1))
        reach = np.min(steps, axis=1)
    closed = reach + _unrolled(cost, layers[-1], layers[0] + nodes).T
    start, last = np.unravel_index(int(np.argmin(closed)), closed.shape)
    path, at = [int(layers[-1][last])], int(last)
    for layer, source in zip(reversed(layers[:-1]), reversed(came), strict=True):
        at = int(source[start, at])
        path.append(int(layer[at]))
    return float(closed[start, last]), tuple(sorted({node % nodes for node in path}))


def _unrolled(cost: Floats, here: Indices, there: Indices) -> Floats:
    """Costs between nodes counted on past the end; staying costs nothing."""
    steps = cost[here[:, None] % len(cost), there[None] % len(cost)]
    return np.where(here[:, None] == there[None], 0.0, steps)


def _from_each(cost: Floats, cuts: Floats, most: int) -> list[tuple[float, Cycle]]:
    """Steps of one or more cuts: cheapest cycles from each node in turn as their first."""
    nodes = len(cost)
    usable = np.isfinite(cost) & (cuts <= most)
    taken = np.where(usable, cuts, most).astype(np.intp)
    # arrays are [to, from], so that the choice among sources runs along memory
    step = np.where(usable & np.triu(np.ones_like(usable), 1), cost, np.inf).T
    close = np.where(usable & np.tri(nodes, dtype=bool), cost, np.inf)
    # reach[start, count + most] is the cheapest way from start to each node; counts below 0 do not exist
    reach = np.full((nodes, 2 * most + 1, nodes), np.inf)
    reach[:, most] = np.where(np.eye(nodes, dtype=bool), 0.0, np.inf)
    flat = reach.reshape(nodes, -1)
    came: list[tuple[Indices, Indices]] = [(np.zeros((nodes, nodes), dtype=np.intp),) * 2]
    found: list[tuple[float, Cycle]] = []
    for count in range(1, most + 1):
        source = np.zeros((nodes, nodes), dtype=np.intp)
        at = (count + most - taken.T) * nodes + np.arange(nodes)
        for begin in range(0, nodes, STARTS_AT_ONCE):
            some = slice(begin, begin + STARTS_AT_ONCE)
            steps = np.take(flat[some], at[begin:, begin:], axis=1) + step[begin:, begin:]
            chosen = steps.argmin(axis=2)
            source[some, begin:] = chosen + begin
            reach[some, count + most, begin:] = np.take_along_axis(steps, chosen[:, :, None], 2)[:, :, 0]
        came.append((source, taken[source, np.arange(nodes)]))
        closed = flat[np.arange(nodes), (count + most - taken) * nodes + np.arange(nodes)[:, None]] + close
        last, start = (int(where) for where in np.unravel_index(int(np.argmin(closed)), closed.shape))
        best = float(closed[last, start])
        walked = _walk_back(came, start, last, count - int(taken[last, start])) if np.isfinite(best) else ()
        found.append((best, walked))
    return found


def _walk_back(came: list[tuple[Indices, Indices]], start: int, node: int, count: int) -> Cycle:
    path = [node]
    while node != start:
        source, kind = came[count]
        node, count = int(source[start, node]), count - int(kind[start, node])
        path.append(node)
    return tuple(reversed(path))
