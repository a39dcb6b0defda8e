"""The best small step where several values must all grow: a linear program in four unknowns."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from trimgeo.plane.rings import Floats

_MOST_STEPS = 200
_ROUNDING = 1e-12


class Step(NamedTuple):
    """A step, shape (3,), the least value after it, and how much each value holds it back, shape (n,).

    The shares are not negative and add up to one: they are the multipliers of the dual program, so that no
    step in the box gives a least value above ``shares @ values + box @ |shares @ slopes|``.
    """

    step: Floats
    value: float
    shares: Floats


def best_step(values: Floats, slopes: Floats, box: Floats) -> Step:
    """The step in a box that makes the least of linear functions greatest.

    ``values``, shape (n,), and ``slopes``, shape (n, 3), are the functions, ``box``, shape (3,), how far the
    step may go either way.  Solved by the simplex method on the dual program, which starts from the
    least value alone and has four rows (Dantzig 1963; Bland's rule ends what would go round in circles).

    >>> found = best_step(np.array([0.0, 1.0]), np.array([[1.0, 0, 0], [-1.0, 0, 0]]), np.full(3, 9.0))
    >>> found.step.tolist(), found.value, found.shares.tolist()
    ([0.5, 0.0, 0.0], 0.5, [0.5, 0.5])
    """
    count = len(values)
    table, basis = _table(values, slopes, box)
    for turn in range(_MOST_STEPS):
        plain = turn > _MOST_STEPS // 4
        entering = _entering(table[4, :-1], plain)
        if entering < 0:
            break
        column, ends = table[:4, entering], table[:4, -1]
        grows = column > _ROUNDING
        if not grows.any():
            break
        ratio = np.where(grows, ends / np.where(grows, column, 1.0), np.inf)
        leaving = int(np.argmin(ratio))
        if plain:
            least = np.flatnonzero(ratio <= ratio[leaving] + _ROUNDING)
            leaving = int(least[np.argmin(basis[least])])
        pivot = table[leaving] / column[leaving]
        table -= table[:, entering, None] * pivot
        table[leaving] = pivot
        basis[leaving] = entering
    shares = np.zeros(count + 6)
    shares[basis] = np.maximum(table[:4, -1], 0.0)
    # The box's columns tell the step by what they would still take off: box + step, and box - step.
    step = np.clip((table[4, count : count + 3] - table[4, count + 3 : -1]) / 2, -box, box)
    value = float(np.min(values + slopes @ step))
    for k in range(3):  # what gains nothing is not moved
        still = np.where(np.arange(3) == k, 0.0, step)
        if np.min(values + slopes @ still) >= value - _ROUNDING:
            step = still
    return Step(step, value, shares[:count] / shares[:count].sum())


def _table(values: Floats, slopes: Floats, box: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """The simplex table, shape (5, n + 7), that starts from the least value alone, and its basis, shape (4,).

    Columns are the shares, then for each direction the two sides of the box, then the right-hand side; rows
    are the sum of the shares and the directions, the last one the reduced costs.
    """
    count, first = len(values), int(np.argmin(values))
    sign = np.where(slopes[first] > 0, -1.0, 1.0)
    table = np.zeros((5, count + 7))
    table[0, :count] = table[0, -1] = 1.0
    table[1:4, :count] = (sign * (slopes - slopes[first])).T
    table[1:4, count : count + 3] = np.diag(sign)
    table[1:4, count + 3 : -1] = np.diag(-sign)
    table[1:4, -1] = np.abs(slopes[first])
    table[4, :count] = values - values[first]
    table[4, count:-1] = np.concatenate([box, box])
    table[4] -= box @ table[1:4]
    return table, np.array([first, *(count + k + 3 * int(sign[k] < 0) for k in range(3))])


def _entering(reduced: Floats, plain: bool) -> int:
    """The column to take in: the most promising, or the first that promises at all; -1 for none."""
    if plain:
        promising = reduced < -1e-11
        return int(np.argmax(promising)) if promising.any() else -1
    best = int(np.argmin(reduced))
    return best if reduced[best] < -1e-11 else -1
