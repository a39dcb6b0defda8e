"""The best small step where several values must all grow: linear programs in four unknowns, many at once."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from trimgeo.plane.rings import Floats

Indices = NDArray[np.intp]

_MOST_STEPS: Final = 200
_PLAIN: Final = 50
"""After so many steps Bland's rule chooses: it never goes round in circles."""

_ROUNDING: Final = 1e-12
_LEAST: Final = 1e-11
"""What promises less than this promises nothing."""

_NONE: Final = 1e6
"""mm: the value that stands where a program has no more values."""


class Steps(NamedTuple):
    """Steps, shape (m, 3), the least value after each, and how much each value holds it back, shape (m, n).

    The shares are not negative and add up to one: they are the multipliers of the dual program, so that no
    step in the box gives a least value above ``shares @ values + box @ |shares @ slopes|``.
    """

    step: Floats
    value: Floats
    shares: Floats


def filled(owner: Indices, count: int, values: Floats, slopes: Floats) -> tuple[Indices, Floats, Floats]:
    """Values and slopes of ``count`` programs, one row each, from runs that name their ``owner``, rising.

    Shapes (m, n), -1 where a program has no more values, (m, n) and (m, n, 3).
    """
    starts = np.searchsorted(owner, np.arange(count + 1))
    place = np.arange(len(owner)) - starts[owner]
    which = np.full((count, max(1, int(np.diff(starts).max(initial=0)))), -1, dtype=np.intp)
    which[owner, place] = np.arange(len(owner))
    some = which >= 0
    wide, steep = np.full(which.shape, _NONE), np.zeros((*which.shape, 3))
    wide[some], steep[some] = values, slopes
    return which, wide, steep


def best_steps(values: Floats, slopes: Floats, box: Floats) -> Steps:
    """The steps in boxes that make the least of linear functions greatest, for m programs at once.

    ``values``, shape (m, n), and ``slopes``, shape (m, n, 3), are the functions, ``box``, shape (m, 3), how
    far a step may go either way.  Solved by the simplex method on the dual program, which starts from the
    least value alone and has four rows (Dantzig 1963; Bland's rule ends what would go round in circles).

    >>> slopes = np.array([[[1.0, 0, 0], [-1.0, 0, 0]]])
    >>> found = best_steps(np.array([[0.0, 1.0]]), slopes, np.full((1, 3), 9.0))
    >>> found.step.tolist(), found.value.tolist(), found.shares.tolist()
    ([[0.5, 0.0, 0.0]], [0.5], [[0.5, 0.5]])
    """
    count = values.shape[1]
    table, basis = _solved(values, slopes, box, -np.inf)
    # The box's columns tell the step by what they would still take off: box + step, and box - step.
    step = np.clip((table[:, 4, count : count + 3] - table[:, 4, count + 3 : -1]) / 2, -box, box)
    return Steps(*_calmed(values, slopes, step), _shares(table, basis))


def weights(values: Floats, slopes: Floats, box: Floats, enough: float) -> Floats:
    """The shares of `best_steps`, shape (m, n), or others that prove no step to give more than ``enough``.

    >>> slopes = np.array([[[1.0, 0, 0], [-1.0, 0, 0]]])
    >>> weights(np.array([[0.0, 0.6]]), slopes, np.full((1, 3), 0.5), 0.55).tolist()
    [[1.0, 0.0]]
    """
    return _shares(*_solved(values, slopes, box, enough))


def _solved(values: Floats, slopes: Floats, box: Floats, enough: float) -> tuple[Floats, Indices]:
    """The tables of `_tables` and their bases where nothing promises more, or ``enough`` is proved."""
    table, basis = _tables(values, slopes, box)
    least, going = values.min(axis=1), np.arange(len(values))
    for turn in range(_MOST_STEPS):
        going = going[least[going] - table[going, 4, -1] > enough]
        entering, promising = _entering(table[going, 4, :-1], turn > _PLAIN)
        going, entering = going[promising], entering[promising]
        if len(going) == 0:
            break
        going = going[_pivoted(table, basis, going, entering, turn > _PLAIN)]
    return table, basis


def _shares(table: Floats, basis: Indices) -> Floats:
    shares = np.zeros((len(table), table.shape[2] - 1))
    np.put_along_axis(shares, basis, np.maximum(table[:, :4, -1], 0.0), axis=1)
    shares = shares[:, :-6]
    return np.asarray(shares / shares.sum(axis=1, keepdims=True))


def _calmed(values: Floats, slopes: Floats, step: Floats) -> tuple[Floats, Floats]:
    """The steps without what gains nothing, and the least value after each."""
    value = _after(values, slopes, step)
    for k in range(3):
        still = np.where(np.arange(3) == k, 0.0, step)
        alike = _after(values, slopes, still) >= value - _ROUNDING
        step = np.where(alike[:, None], still, step)
    return step, value


def _after(values: Floats, slopes: Floats, step: Floats) -> Floats:
    return np.asarray((values + np.einsum("mnk,mk->mn", slopes, step)).min(axis=1))


def _tables(values: Floats, slopes: Floats, box: Floats) -> tuple[Floats, Indices]:
    """Simplex tables, shape (m, 5, n + 7), that start from the least value alone, and bases, shape (m, 4).

    Columns are the shares, then for each direction the two sides of the box, then the right-hand side; rows
    are the sum of the shares and the directions, the last one the reduced costs.
    """
    programs, count = values.shape
    rows, first = np.arange(programs), np.argmin(values, axis=1)
    steepest = slopes[rows, first]
    sign = np.where(steepest > 0, -1.0, 1.0)
    table = np.zeros((programs, 5, count + 7))
    table[:, 0, :count] = table[:, 0, -1] = 1.0
    table[:, 1:4, :count] = (sign[:, None] * (slopes - steepest[:, None])).transpose(0, 2, 1)
    for k in range(3):
        table[:, 1 + k, count + k], table[:, 1 + k, count + 3 + k] = sign[:, k], -sign[:, k]
    table[:, 1:4, -1] = np.abs(steepest)
    table[:, 4, :count] = values - values[rows, first, None]
    table[:, 4, count:-1] = np.concatenate([box, box], axis=1)
    table[:, 4] -= np.einsum("mk,mkn->mn", box, table[:, 1:4])
    return table, np.column_stack([first, count + np.arange(3) + 3 * (sign < 0)])


def _entering(reduced: Floats, plain: bool) -> tuple[Indices, NDArray[np.bool_]]:
    """The columns to take in: the most promising, or the first that promise at all; and whether any does."""
    entering = np.argmax(reduced < -_LEAST, axis=1) if plain else np.argmin(reduced, axis=1)
    return entering, reduced[np.arange(len(reduced)), entering] < -_LEAST


def _pivoted(
    table: Floats, basis: Indices, going: Indices, entering: Indices, plain: bool
) -> NDArray[np.bool_]:
    """Take a column in and another out, in place; false where no column can leave."""
    part, rows = table[going], np.arange(len(going))
    column = part[rows, :, entering]
    grows = column[:, :4] > _ROUNDING
    ratio = np.where(grows, part[:, :4, -1] / np.where(grows, column[:, :4], 1.0), np.inf)
    leaving = np.argmin(ratio, axis=1)
    if plain:
        alike = ratio <= ratio[rows, leaving, None] + _ROUNDING
        leaving = np.argmin(np.where(alike, basis[going], np.iinfo(np.intp).max), axis=1)
    some = np.asarray(grows.any(axis=1))
    pivot = part[rows, leaving] / np.where(some, column[rows, leaving], 1.0)[:, None]
    part -= column[:, :, None] * pivot[:, None]
    part[rows, leaving] = pivot
    table[going[some]] = part[some]
    basis[going[some], leaving[some]] = entering[some]
    return some
