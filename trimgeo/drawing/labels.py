"""Places for labels: near what they name, on nothing that must be seen, none on another.

The room is cut into square cells of `CELL`.  Boxes and strong lines take cells; a label may only lie
on cells that are free, and pays for distance from its anchor and for faint lines that it breaks.
Each label in turn gets the cheapest of all places in reach, not of a handful of candidates.
All lengths are mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, hypot
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.sheet import XY, Box

Cells = NDArray[np.bool_]
Floats = NDArray[np.float64]

CELL: Final = 0.5
"""Side of a cell: a quarter of the smallest text."""

TOUCHING: Final = 1.2
"""A label no farther than this from its anchor needs no pointer."""

REACH: Final = 22.0
"""Farthest that a long form goes; past it the short form near by reads better."""

SHORTER: Final = 7.0
"""What the short form costs, in mm of distance: a name is worth a short pointer."""

FAINT: Final = 0.8
"""What one cell of a faint line costs, in mm of distance."""

TRIES: Final = 250
"""Places, cheapest first, whose pointers are tried before the search goes wider."""


@dataclass(frozen=True)
class Wish:
    """A label to place: ``forms`` are (width, height) of its wordings, longest first."""

    anchor: XY
    forms: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Place:
    """Where a label goes: which of its forms, the box, and the pointer from the box to the anchor."""

    form: int
    box: Box
    pointer: tuple[XY, XY] | None


@dataclass(frozen=True)
class Room:
    """The cells of a box: ``taken`` for labels, ``lettered`` for pointers, ``faint`` at a price."""

    box: Box
    taken: Cells
    lettered: Cells
    faint: Cells


def room(
    box: Box, taken: Sequence[Box], strong: Sequence[BaseGeometry], faint: Sequence[BaseGeometry]
) -> Room:
    """The room inside ``box``: ``taken`` boxes and ``strong`` lines bar it, ``faint`` lines cost.

    >>> room((0, 0, 10, 10), [(0, 0, 5, 10)], [], []).taken.tolist().count([True] * 10 + [False] * 10)
    20
    """
    shape = (floor((box[3] - box[1]) / CELL), floor((box[2] - box[0]) / CELL))
    space = Room(box, *(np.zeros(shape, dtype=bool) for _ in range(3)))
    for one in taken:
        _take(space, one, space.taken, space.lettered)
    _mark(space, strong, space.taken, spread=1)
    _mark(space, faint, space.faint, spread=0)
    return space


def place(space: Room, wishes: Sequence[Wish]) -> tuple[Place | None, ...]:
    """A place for each wish, in their order, which takes its cells of ``space``; None where none is left.

    >>> place(room((0, 0, 40, 10), [], [], []), [Wish((20, 5), ((8.0, 2.0),))])[0].box
    (16.0, 4.0, 24.0, 6.0)
    """
    return tuple(_place_one(space, wish) for wish in wishes)


def _place_one(space: Room, wish: Wish) -> Place | None:
    whole = hypot(space.box[2] - space.box[0], space.box[3] - space.box[1])
    for reach in (REACH, 3 * REACH, whole):
        found = [_cheapest(space, wish, form, reach) for form in range(len(wish.forms))]
        priced = [(cost + SHORTER * put.form, put.form, put) for cost, put in found if put is not None]
        if priced:
            best = min(priced, key=lambda one: one[:2])[2]
            _take(space, best.box, space.taken, space.lettered)
            if best.pointer is not None:
                line = shapely.linestrings(best.pointer)
                _mark(space, [line], space.taken, spread=1)
                _mark(space, [line], space.lettered, spread=0)
            return best
    return None


def _cheapest(space: Room, wish: Wish, form: int, reach: float) -> tuple[float, Place | None]:
    """The cheapest place of one form whose pointer crosses no label."""
    width, height = wish.forms[form]
    columns, rows = ceil(width / CELL), ceil(height / CELL)
    left, bottom = space.box[:2]
    x, y = (wish.anchor[0] - left) / CELL, (wish.anchor[1] - bottom) / CELL
    ny, nx = space.taken.shape
    c0, c1 = _span(x - reach / CELL - columns, x + reach / CELL, nx - columns)
    r0, r1 = _span(y - reach / CELL - rows, y + reach / CELL, ny - rows)
    if c0 > c1 or r0 > r1:
        return 0.0, None
    window = np.s_[r0 : r1 + rows, c0 : c1 + columns]
    free = _sums(space.taken[window], rows, columns) == 0
    row, column = np.nonzero(free)
    aside = _beyond(column + c0, columns, x) * CELL, _beyond(row + r0, rows, y) * CELL
    off = np.hypot(column + c0 + columns / 2 - x, row + r0 + rows / 2 - y) * CELL
    broken = _sums(space.faint[window], rows, columns)[row, column]
    cost = np.hypot(*aside) + 0.2 * off + FAINT * broken
    for best in np.argsort(cost, kind="stable")[:TRIES].tolist():
        x0, y0 = left + (column[best] + c0) * CELL, bottom + (row[best] + r0) * CELL
        box = (float(x0), float(y0), float(x0 + columns * CELL), float(y0 + rows * CELL))
        pointer = _pointer(box, wish.anchor)
        if pointer is None or _unlettered(space, pointer):
            return float(cost[best]), Place(form, box, pointer)
    return 0.0, None


def _span(low: float, high: float, last: int) -> tuple[int, int]:
    return max(0, floor(low)), min(last, ceil(high))


def _sums(cells: Cells, rows: int, columns: int) -> NDArray[np.int64]:
    """Cells taken under a box of rows x columns, for each place of its lower left cell."""
    sums = np.zeros((cells.shape[0] + 1, cells.shape[1] + 1), dtype=np.int64)
    sums[1:, 1:] = cells.cumsum(axis=0).cumsum(axis=1)
    return sums[rows:, columns:] - sums[:-rows, columns:] - sums[rows:, :-columns] + sums[:-rows, :-columns]


def _beyond(low: NDArray[np.intp], length: int, value: float) -> Floats:
    """How far a value lies outside of low .. low + length."""
    return np.asarray(np.maximum(np.maximum(low - value, value - low - length), 0.0), dtype=np.float64)


def _pointer(box: Box, anchor: XY) -> tuple[XY, XY] | None:
    x, y = anchor
    near = (min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3]))
    return None if hypot(x - near[0], y - near[1]) <= TOUCHING else (near, anchor)


def _unlettered(space: Room, pointer: tuple[XY, XY]) -> bool:
    row, column = _cells_along(space, [shapely.linestrings(pointer)])
    return not bool(space.lettered[row, column].any())


def _take(space: Room, box: Box, *cells: Cells) -> None:
    """Take every cell that the box touches, by more than rounding."""
    left, bottom = space.box[:2]
    c0, c1 = floor((box[0] - left) / CELL + 1e-6), ceil((box[2] - left) / CELL - 1e-6)
    r0, r1 = floor((box[1] - bottom) / CELL + 1e-6), ceil((box[3] - bottom) / CELL - 1e-6)
    for grid in cells:
        grid[max(r0, 0) : max(r1, 0), max(c0, 0) : max(c1, 0)] = True


def _mark(space: Room, lines: Sequence[BaseGeometry], cells: Cells, spread: int) -> None:
    """Set the cells that the lines run through, and ``spread`` more to every side."""
    row, column = _cells_along(space, lines)
    for dr in range(-spread, spread + 1):
        for dc in range(-spread, spread + 1):
            r, c = row + dr, column + dc
            inside = (r >= 0) & (c >= 0) & (r < cells.shape[0]) & (c < cells.shape[1])
            cells[r[inside], c[inside]] = True


def _cells_along(space: Room, lines: Sequence[BaseGeometry]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Cells, inside the room, of points a third of a cell apart along the lines."""
    clipped = shapely.clip_by_rect(np.asarray(lines, dtype=object), *space.box)
    fine = shapely.segmentize(clipped[~shapely.is_empty(clipped)], CELL / 3)
    xy = shapely.get_coordinates(fine)
    cells = np.floor((xy - space.box[:2]) / CELL).astype(np.intp)
    limit = np.asarray(space.taken.shape)[::-1] - 1
    column, row = np.clip(cells, 0, np.maximum(limit, 0)).T
    return row, column
