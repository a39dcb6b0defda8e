"""Cheapest ways once around through lines that join, for each number of lines.

Joins on which the heading is counted on by a full turn lead over a seam; a way once around goes over it
exactly once.  Where the seam lies is free: it is laid where the fewest lines begin after it, for each such
line is a start of its own.  Most need no search: a way that may go on over the seam to any start bounds them
from below, closely where areas are counted from the kept ring on (branch and bound).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from trimgeo.plane.hulls import Floats, Indices

SEAMS = 48
"""Places tried for the seam."""

BATCH = 48
"""Starts searched from together."""


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

    ``places`` has the place of each line along the ring, shape (m,).  The result does not depend on how the
    areas of a round are shared out among its steps, the time does: it is short where none is below zero.

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
    search = _Search(inner[np.argsort(inner.target, kind="stable")], starts, closing, most)
    left = search.left(closing.min(axis=0))
    known: list[list[tuple[float, int, int]]] = [[] for _ in range(most)]
    ways: dict[int, list[Floats]] = {}
    while len(batch := _promising(left[:, starts], enough := _enough(known, spare), list(ways), spare)):
        for start, layers in zip(batch.tolist(), search.layers(batch, left, enough), strict=True):
            ways[start] = layers
            for count, layer in enumerate(layers):
                total = layer + closing[start]
                last = int(total.argmin())
                if np.isfinite(total[last]):
                    known[count].append((float(total[last]), start, last))
    return [
        [
            Round(total, search.walked_back(ways[start][: count + 1], last))
            for total, start, last in sorted(each)[:spare]
        ]
        for count, each in enumerate(known)
    ]


def _enough(known: list[list[tuple[float, int, int]]], spare: int) -> Floats:
    """The worst of the best known, for each number of lines."""
    return np.array([sorted(each)[spare - 1][0] if len(each) >= spare else np.inf for each in known])


def _promising(bound: Floats, enough: Floats, done: list[int], spare: int) -> Indices:
    """Starts, not yet done, whose ``bound`` for some number of lines is below what is ``enough``."""
    left = bound.copy()
    left[:, done] = np.inf
    left[left >= enough[:, None]] = np.inf
    order = np.argsort(left, axis=1, kind="stable")[:, : max(spare, BATCH // len(enough))]
    chosen = np.zeros(bound.shape[1], dtype=bool)
    np.put(chosen, order[np.isfinite(np.take_along_axis(left, order, axis=1))], True)
    return np.flatnonzero(chosen)


class _Search:
    """Ways through lines by steps that do not lead over the seam, from given starts."""

    def __init__(self, inner: Steps, starts: Indices, closing: Floats, most: int) -> None:
        self._inner, self._starts, self._most = inner, starts, most
        self._lines = closing.shape[1]

    def layers(self, batch: Indices, left: Floats, enough: Floats) -> list[list[Floats]]:
        """For each start the least area with which each line is reached as first, second, … one.

        Infinite where what is ``left`` from there on makes it more than ``enough`` for any number of lines.
        """
        reach = np.full((len(batch), self._lines), np.inf)
        reach[np.arange(len(batch)), self._starts[batch]] = 0.0
        found = [reach]
        for number in range(1, self._most):
            onward = np.full_like(reach, np.inf)
            useful = np.isfinite(reach).any(axis=0)[self._inner.source]
            if useful.any():
                source, area = self._inner.source[useful], self._inner.area[useful]
                targets, first = np.unique(self._inner.target[useful], return_index=True)
                onward[:, targets] = np.minimum.reduceat(reach[:, source] + area, first, axis=1)
            with np.errstate(invalid="ignore"):
                room = np.nanmax(enough[number:, None] - left[: self._most - number], axis=0, initial=-np.inf)
            reach = np.where(onward <= room, onward, np.inf)
            found.append(reach)
        return [[layer[k] for layer in found] for k in range(len(batch))]

    def left(self, closing: Floats) -> Floats:
        """The least area from each line on with one, two, … lines, whatever start the seam leads to."""
        backward = np.argsort(self._inner.source, kind="stable")
        steps = self._inner[backward]
        sources, first = np.unique(steps.source, return_index=True)
        found = [closing]
        for _ in range(self._most - 1):
            before = np.full(self._lines, np.inf)
            if len(steps.area):
                before[sources] = np.minimum.reduceat(found[-1][steps.target] + steps.area, first)
            found.append(before)
        return np.array(found)

    def walked_back(self, layers: list[Floats], last: int) -> tuple[int, ...]:
        """The lines of the way that ends with ``last``."""
        lines = [last]
        inner = self._inner
        for layer in reversed(layers[:-1]):
            begin, end = np.searchsorted(inner.target, [lines[-1], lines[-1] + 1])
            way = layer[inner.source[begin:end]] + inner.area[begin:end]
            lines.append(int(inner.source[begin + int(way.argmin())]))
        return tuple(reversed(lines))


def _seamed(steps: Steps, places: Indices) -> Steps:
    """The same with the seam where the fewest lines begin after it."""
    tried = np.unique(places)
    tried = tried[:: -(-len(tried) // SEAMS)]
    best: tuple[int, Indices] | None = None
    for seam in tried:
        later = (places < seam).astype(np.intp)
        turns = steps.turns + later[steps.source] - later[steps.target]
        begins = int(np.count_nonzero(np.bincount(steps.target[turns == 1])))
        if best is None or begins < best[0]:
            best = (begins, turns)
    return steps if best is None else Steps(steps.source, steps.target, steps.area, best[1])
