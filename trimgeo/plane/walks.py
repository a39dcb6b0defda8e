"""The way along a line and a ring by turns, as places alone: no areas here.

A line enters the board and leaves it; at notches of the ring it does so more than once.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from trimgeo.plane.hulls import Floats, Indices

MEETS = 1e-7
"""Places on the ring or on a line this near to each other (mm) are one: above rounding, below any cut."""


@dataclass(frozen=True, eq=False)
class Crossings:
    """Crossings of lines ``row`` with the ring: ``along`` the line, ``place`` along the ring, shape (k,), mm.

    For each line those where it leaves the board, then those where it enters it, in order along it.
    """

    row: Indices
    along: Floats
    place: Floats


class Walks(NamedTuple):
    """Both ways of each line: columns near, far, place, run and cuts, shape (5, m, p), see `tracks.Way`.

    ``home_cuts`` are the cuts along the hull; ``notches`` the notches between them: columns line, length
    along the line, place and run along the ring, shape (4, notches).
    """

    ahead: Floats
    behind: Floats
    home_cuts: Floats
    notches: Floats


def walks_across(crossings: Crossings, touch: Floats, perimeter: float) -> Walks:
    """Both ways where every line crosses the ring twice: one stretch, then the ring.

    ``touch``, shape (2, m), is where on each line it meets the hull first and last; all mm.

    >>> one = Crossings(np.array([0, 0]), np.array([2.5, -1.5]), np.array([6.0, 14.0]))
    >>> found = walks_across(one, np.array([[-0.5], [0.5]]), 16.0)
    >>> found.ahead[:, 0, 0].round(9).tolist()  # 2 mm of the line, then 8 mm of the ring from 6 on
    [0.5, 2.5, 6.0, 8.0, 0.0]
    """
    leave, enter = crossings.along.reshape(-1, 2).T
    leave_place, enter_place = crossings.place.reshape(-1, 2).T
    run = np.mod(enter_place - leave_place + MEETS, perimeter) - MEETS
    none, (back, front) = np.zeros_like(run), touch
    ahead = np.array([front, np.maximum(leave, front), leave_place, run, none])
    behind = np.array([back, np.minimum(enter, back), enter_place, run, none])
    return Walks(ahead[:, :, None], behind[:, :, None], none + 1.0, np.zeros((4, 0)))


def walks_around(crossings: Crossings, touch: Floats, place: Floats, perimeter: float) -> Walks:
    """Both ways of each line, one after the other, for rings with notches.

    ``touch`` and ``place``, shape (2, m), are where each line meets the hull first and last, on the line and
    along the ring; all mm.
    """
    ahead, behind, home, notches = [], [], [], []
    for line, (begin, end) in enumerate(
        pairwise(np.searchsorted(crossings.row, np.arange(touch.shape[1] + 1)))
    ):
        own, own_places = crossings.along[begin:end], crossings.place[begin:end]
        walk = _walk(own, own_places, touch[:, line], place[:, line], perimeter)
        ahead.append(walk.ahead)
        behind.append(walk.behind)
        home.append(float(walk.home_cuts))
        notches += [(float(line), *notch) for notch in walk.notches]
    return Walks(_columns(ahead), _columns(behind), np.array(home), np.array(notches).reshape(-1, 4).T)


def _columns(walks: list[list[Step]]) -> Floats:
    columns = np.full((5, len(walks), max(map(len, walks), default=1)), np.nan)
    for row, walk in enumerate(walks):
        columns[:, row, : len(walk)] = np.array(walk).T
    return columns


Step = tuple[float, float, float, float, float]
"""near, far, place, run, cuts: one stretch of a `Way`."""


class _Walk(NamedTuple):
    """One line of `Walks`."""

    ahead: list[Step]
    behind: list[Step]
    home_cuts: int
    notches: list[tuple[float, float, float]]


def _walk(along: Floats, places: Floats, touch: Floats, touch_place: Floats, perimeter: float) -> _Walk:
    """Both ways of one line, from its crossings and from where it touches the hull."""
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
    begin = (back, back_place, -1) if first is None else (leave[first], leave_place[first], int(first))
    end = (front, front_place, -1) if last is None else (enter[last], enter_place[last], int(last))
    count, notches = _notches(begin, end, enter, leave, enter_place, leave_place, perimeter)
    return _Walk(ahead, behind, max(count, 1), notches)


def _notches(
    begin: tuple[float, float, int],
    end: tuple[float, float, int],
    enter: Floats,
    leave: Floats,
    enter_place: Floats,
    leave_place: Floats,
    perimeter: float,
) -> tuple[int, list[tuple[float, float, float]]]:
    """Cuts along the hull and the notches between them, from ``begin`` to ``end``.

    Both are position on the line, place on the ring, and index of the stretch, -1 for the bare corner.
    """
    notches: list[tuple[float, float, float]] = []
    at, place, piece = begin
    count = int(piece >= 0)
    while (piece < 0 or piece != end[2]) and len(notches) <= len(enter):
        run = np.mod(enter_place - place + MEETS, perimeter) - MEETS
        to_end = float(np.mod(end[1] - place + MEETS, perimeter) - MEETS)
        chosen = int(np.argmin(run)) if len(run) else -1
        if chosen < 0 or to_end <= run[chosen]:
            notches.append((end[0] - at, place, max(to_end, 0.0)))
            return count + int(end[2] >= 0), notches
        notches.append((float(enter[chosen]) - at, place, float(max(run[chosen], 0.0))))
        at, place, piece = float(leave[chosen]), float(leave_place[chosen]), chosen
        count += 1
    return count, notches


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
