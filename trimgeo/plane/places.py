"""The cheapest closed walk through places, one of several for each corner of a ring.

What it costs is a sum over its sides, and whether a corner may turn as it does depends on the corners beside
it, so Bellman's recursion over two neighbours finds the best exactly: for each pair of places at the first
two corners, the least cost up to each pair further on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.plane.hulls import Floats, Indices

Flags = NDArray[np.bool_]

FLAT = 1e-12
"""A corner turns right where the sine of its turn is less than minus this: rounding is no turn."""


@dataclass(frozen=True, eq=False)
class Corner:
    """One corner of a ring: the places it may take, shape (k, 2), what each costs, and whether it turns left.

    ``heading`` is the direction of the side that leaves it, shape (2,): no side may turn round, and one
    without length is taken to run that way.
    """

    places: Floats
    price: Floats
    left: bool
    heading: Floats


def cheapest_places(corners: list[Corner], joined: list[Flags]) -> Indices:
    """Which place each corner takes so that area and prices together are least.

    ``joined[i]``, shape (k, m), says from which places of corner i a side may run to those of the next.
    A corner that turns left never comes to turn right.  Needs three corners or more.
    Raises ValueError where no closed walk joins places of all.

    >>> fixed = [(0.0, 0.0), (4.0, 0.0)]
    >>> square = [*([at] for at in fixed), [(4.2, 3.1), (5.0, 4.0)], [(0.0, 4.0), (-1.0, 4.0)]]
    >>> headings = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)]
    >>> ring = [
    ...     Corner(np.array(at), np.zeros(len(at)), True, np.array(h)) for at, h in zip(square, headings)
    ... ]
    >>> joined = [np.ones((1, 1), bool), np.ones((1, 2), bool), np.ones((2, 2), bool), np.ones((2, 1), bool)]
    >>> cheapest_places(ring, joined).tolist()
    [0, 0, 0, 0]
    """
    count = len(corners)
    sizes = [len(corner.places) for corner in corners]
    first = min(range(count), key=lambda i: sizes[i] * sizes[(i + 1) % count])
    order = [(first + i) % count for i in range(count)]
    ring = [corners[i] for i in order]
    costs = [_cost(ring[i], ring[(i + 1) % count], joined[order[i]]) for i in range(count)]
    turns = [_turned(*(ring[(i + step) % count] for step in range(3))) for i in range(count)]
    one, two = costs[0].shape
    pair = np.arange(one * two)
    least = np.full((one * two, one, two), np.inf)
    least[pair, pair // two, pair % two] = costs[0].ravel()
    came: list[Indices] = []
    for i in range(1, count):
        least, before = _step(least, turns[i - 1])
        least = least + costs[i]
        came.append(before)
    closing = np.where(turns[-1][:, pair // two, pair % two], least[pair, :, pair // two].T, np.inf)
    last, start = np.unravel_index(int(np.argmin(closing)), closing.shape)
    if not np.isfinite(closing[last, start]):
        raise ValueError("no closed walk joins places of all corners")
    walk = [int(start) // two, int(last)]  # from behind: the first corner again, then the last one
    for before in reversed(came[1:]):
        walk.append(int(before[start, walk[-1], walk[-2]]))
    chosen = np.zeros(count, dtype=np.intp)
    chosen[order] = [walk[0], *walk[:0:-1]]
    return chosen


def _cost(corner: Corner, onward: Corner, joined: Flags) -> Floats:
    """What a side from each place to each of the next costs: its part of the area, and half the prices."""
    a, b = corner.places[:, None], onward.places[None]
    swept = (a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]) / 2
    priced = swept + (corner.price[:, None] + onward.price[None]) / 2
    return np.where(joined & (np.sum((b - a) * corner.heading, axis=-1) >= 0), priced, np.inf)


def _turned(before: Corner, corner: Corner, after: Corner) -> Flags:
    """Whether a corner may turn as it does at its places between those beside it, shape (k, m, n)."""
    shape = (len(before.places), len(corner.places), len(after.places))
    if not corner.left:
        return np.ones(shape, dtype=bool)
    onto = _sides(before.places, corner.places, before.heading)[:, :, None]
    off = _sides(corner.places, after.places, corner.heading)[None]
    cross = onto[..., 0] * off[..., 1] - onto[..., 1] * off[..., 0]
    return np.asarray(
        cross >= -FLAT * np.hypot(*np.moveaxis(onto, -1, 0)) * np.hypot(*np.moveaxis(off, -1, 0))
    )


def _sides(starts: Floats, ends: Floats, heading: Floats) -> Floats:
    steps = ends[None] - starts[:, None]
    return np.where(np.any(steps != 0, axis=-1, keepdims=True), steps, heading)


def _step(least: Floats, turned: Flags) -> tuple[Floats, Indices]:
    """From costs up to each pair of places (s, k, m) those up to the next (s, m, n), and by which of k."""
    ways = least[:, :, :, None] + np.where(turned, 0.0, np.inf)[None]
    before = np.argmin(ways, axis=1)
    return np.take_along_axis(ways, before[:, None], axis=1)[:, 0], before
