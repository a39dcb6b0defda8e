"""Cheapest ways once around through lines that join, for each number of lines.

Joins on which the heading is counted on by a full turn lead over a seam; a way once around goes over it
exactly once.  Where the seam lies is free: it is laid where the fewest lines begin after it, for each such
line is a start of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from trimgeo.plane.hulls import Floats, Indices

SEAMS = 48
"""Places tried for the seam."""


@dataclass(frozen=True, eq=False)
class Steps:
    """Joins from line ``source`` to line ``target``, one a row: twice the area, and full turns."""

    source: Indices
    target: Indices
    area: Floats
    turns: Indices

    def __getitem__(self, rows: Indices) -> Steps:
        return Steps(self.source[rows], self.target[rows], self.area[rows], self.turns[rows])


class Round(NamedTuple):
    """A way once around: twice its area, and its lines in order."""

    area: float
    lines: tuple[int, ...]


def cheapest_rounds(steps: Steps, places: Indices, most: int, spare: int) -> list[list[Round]]:
    """The cheapest ways with exactly 1, 2, … ``most`` lines, of each ``spare`` from different starts at most.

    ``places`` has the place of each line along the ring, shape (m,).

    >>> source, target, turns = np.array([[0, 1, 1], [1, 0, 1], [0, 1, 1]])
    >>> around = Steps(source, target, np.array([1.0, 2.0, 5.0]), turns)
    >>> cheapest_rounds(around, np.array([0, 1]), 2, 1)
    [[Round(area=5.0, lines=(1,))], [Round(area=3.0, lines=(1, 0))]]
    """
    steps = _seamed(steps, places)
    inner, over = steps[np.flatnonzero(steps.turns == 0)], steps[np.flatnonzero(steps.turns == 1)]
    starts = np.unique(over.target)
    if not len(starts):
        return [[] for _ in range(most)]
    closing = np.full((len(starts), len(places)), np.inf)
    np.minimum.at(closing, (np.searchsorted(starts, over.target), over.source), over.area)
    inner = inner[np.argsort(inner.target, kind="stable")]
    targets, first = np.unique(inner.target, return_index=True)
    reach = np.full((len(starts), len(places)), np.inf)
    reach[np.arange(len(starts)), starts] = 0.0
    layers = [reach]
    for _ in range(most - 1):
        onward = np.full_like(reach, np.inf)
        if len(inner.area):
            onward[:, targets] = np.minimum.reduceat(reach[:, inner.source] + inner.area, first, axis=1)
        reach = onward
        layers.append(reach)
    return [
        [
            Round(float(total), _walked_back(layers[: count + 1], inner, start, last))
            for total, start, last in _least(layer + closing, spare)
        ]
        for count, layer in enumerate(layers)
    ]


def _seamed(steps: Steps, places: Indices) -> Steps:
    """The same with the seam where the fewest lines begin after it."""
    tried = np.unique(places)
    tried = tried[:: -(-len(tried) // SEAMS)]
    best: tuple[int, Indices] | None = None
    for seam in tried:
        later = (places < seam).astype(np.intp)
        turns = steps.turns + later[steps.source] - later[steps.target]
        begins = len(np.unique(steps.target[turns == 1]))
        if best is None or begins < best[0]:
            best = (begins, turns)
    return steps if best is None else Steps(steps.source, steps.target, steps.area, best[1])


def _least(totals: Floats, spare: int) -> list[tuple[float, int, int]]:
    """The least total of the best starts: total, start, last line."""
    last = totals.argmin(axis=1)
    best = totals[np.arange(len(totals)), last]
    order = np.argsort(best, kind="stable")[:spare]
    return [(float(best[k]), int(k), int(last[k])) for k in order if np.isfinite(best[k])]


def _walked_back(layers: list[Floats], inner: Steps, start: int, last: int) -> tuple[int, ...]:
    lines = [last]
    for layer in reversed(layers[:-1]):
        begin, end = np.searchsorted(inner.target, [lines[-1], lines[-1] + 1])
        way = layer[start, inner.source[begin:end]] + inner.area[begin:end]
        lines.append(int(inner.source[begin + int(way.argmin())]))
    return tuple(reversed(lines))
