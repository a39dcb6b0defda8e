"""The room of a sheet in square cells: which of them are taken, lettered, or cost something.

All lengths are mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.sheet import Box

Cells = NDArray[np.bool_]
Floats = NDArray[np.float64]

CELL: Final = 0.5
"""Side of a cell: a quarter of the smallest text."""


@dataclass(frozen=True)
class Room:
    """The cells of a box: ``taken`` for labels, ``lettered`` for pointers, ``faint`` at a price.

    ``owner`` has, for each cell, the number of the area that it lies in, from 1, else 0; ``kept`` are the
    cells of the kept board, off which the labels of cuts keep where they can.
    """

    box: Box
    taken: Cells
    lettered: Cells
    faint: Cells
    owner: NDArray[np.int32]
    kept: Cells


def room(
    box: Box,
    taken: Sequence[Box] = (),
    strong: Sequence[BaseGeometry] = (),
    faint: Sequence[BaseGeometry] = (),
    areas: Sequence[BaseGeometry] = (),
    kept: Sequence[BaseGeometry] = (),
) -> Room:
    """The room inside ``box``: ``taken`` boxes and ``strong`` lines bar it, the rest costs.

    >>> room((0, 0, 10, 10), [(0, 0, 5, 10)]).taken.tolist().count([True] * 10 + [False] * 10)
    20
    """
    shape = (floor((box[3] - box[1]) / CELL), floor((box[2] - box[0]) / CELL))
    taken_cells, lettered, cheap, whole = (np.zeros(shape, dtype=bool) for _ in range(4))
    space = Room(box, taken_cells, lettered, cheap, np.zeros(shape, dtype=np.int32), whole)
    for one in taken:
        take(space, one, space.taken, space.lettered)
    mark(space, strong, space.taken, spread=1)
    mark(space, faint, space.faint, spread=0)
    for number, area in enumerate(areas, start=1):
        space.owner[_within(space, area)] = number
    for area in kept:
        space.kept[_within(space, area)] = True
    return space


def _within(space: Room, area: BaseGeometry) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the cells whose middles lie in an area."""
    if area.is_empty:
        none = np.zeros(0, dtype=np.intp)
        return none, none
    low, high = _cells_of(space, np.reshape(area.bounds, (2, 2)))
    column, row = np.meshgrid(np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1))
    x, y = (column + 0.5) * CELL + space.box[0], (row + 0.5) * CELL + space.box[1]
    inside = shapely.contains_xy(area, x, y)
    return row[inside], column[inside]


def take(space: Room, box: Box, *cells: Cells) -> None:
    """Take every cell that the box touches, by more than rounding."""
    left, bottom = space.box[:2]
    c0, c1 = floor((box[0] - left) / CELL + 1e-6), ceil((box[2] - left) / CELL - 1e-6)
    r0, r1 = floor((box[1] - bottom) / CELL + 1e-6), ceil((box[3] - bottom) / CELL - 1e-6)
    for grid in cells:
        grid[max(r0, 0) : max(r1, 0), max(c0, 0) : max(c1, 0)] = True


def mark(space: Room, lines: Sequence[BaseGeometry], cells: Cells, spread: int) -> None:
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
    column, row = _cells_of(space, shapely.get_coordinates(fine)).T
    return row, column


def _cells_of(space: Room, xy: Floats) -> NDArray[np.intp]:
    """Column and row, shape (n, 2), of the cells, inside the room, nearest to points."""
    return np.column_stack([column_of(space, xy[:, 0]), row_of(space, xy[:, 1])])


def column_of(space: Room, x: Floats) -> NDArray[np.intp]:
    """The columns of cells, inside the room, nearest to places."""
    return _held(np.floor((x - space.box[0]) / CELL).astype(np.intp), space.taken.shape[1])


def row_of(space: Room, y: Floats) -> NDArray[np.intp]:
    """The rows of cells, inside the room, nearest to places."""
    return _held(np.floor((y - space.box[1]) / CELL).astype(np.intp), space.taken.shape[0])


def _held(cells: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    return np.minimum(np.maximum(cells, 0), max(count - 1, 0))
