"""The reference card: a frame of chessboard squares with coded markers round an open middle.

The card's frame: millimetres from the sheet's lower left corner, x right along its text, y up.
Its drawing and its recognition both follow what stands here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.tables import PAPERS

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

RING: Final = 3
"""Squares from the open middle to the card's border: two rows of chessboard corners all round, so
that any third of the border spreads in two directions."""

MARKER_SHARE: Final = 0.7
"""Side of a marker / side of its square: the white round it keeps it readable when the picture is soft."""

DICTIONARY: Final = "DICT_5X5_1000"
"""OpenCV's set of 1000 codes of 5 x 5 cells."""


@dataclass(frozen=True)
class Card:
    """The card for one paper.

    ``columns`` x ``rows`` squares of side ``square`` lie in the middle of the sheet of ``size``; those in
    white fields bear markers, numbered from ``first_id`` row by row from the top left, as OpenCV's
    ChArUco boards are (the squares of the open middle are counted, and not drawn).

    >>> card = CARDS["A4"]
    >>> card.origin, card.middle, len(card.corner_ids)
    ((15.0, 13.5), (45.0, 43.5, 165.0, 253.5), 156)
    """

    paper: str
    square: float
    columns: int
    rows: int
    first_id: int

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the sheet, portrait."""
        return PAPERS[self.paper]

    @property
    def origin(self) -> tuple[float, float]:
        """The lower left corner of the squares."""
        width, height = self.size
        return (width - self.columns * self.square) / 2, (height - self.rows * self.square) / 2

    @property
    def middle(self) -> tuple[float, float, float, float]:
        """The open middle: left, low, right, high.  A board of its size leaves every square free."""
        (x, y), ring = self.origin, RING * self.square
        return x + ring, y + ring, x + self.columns * self.square - ring, y + self.rows * self.square - ring

    @cached_property
    def corner_ids(self) -> Ints:
        """Numbers, shape (n,), of the chessboard corners that the card has, counted as OpenCV counts them."""
        i, j = np.meshgrid(np.arange(1, self.columns), np.arange(1, self.rows))
        beside = np.minimum(i, self.columns - i) < RING
        above = np.minimum(j, self.rows - j) < RING
        return np.flatnonzero((beside | above).ravel())

    def corners(self, ids: Ints) -> Floats:
        """Positions, shape (n, 2), of chessboard corners given by their numbers, shape (n,).

        >>> CARDS["A4"].corners(np.array([0, 1, 17]))  # from the top left
        array([[ 25. , 273.5],
               [ 35. , 273.5],
               [ 25. , 263.5]])
        """
        row, column = np.divmod(np.asarray(ids), self.columns - 1)
        x, y = self.origin
        high = y + self.rows * self.square
        return np.column_stack([x + (column + 1) * self.square, high - (row + 1) * self.square])

    @cached_property
    def marker_ids(self) -> Ints:
        """Codes, shape (m,), of the markers that the card has."""
        return self.first_id + np.flatnonzero(self._in_ring)

    def markers(self, ids: Ints) -> Floats:
        """Corners, shape (m, 4, 2), of markers by code: top left first, then clockwise.

        >>> CARDS["A4"].markers(np.array([0]))[0].tolist()
        [[26.5, 282.0], [33.5, 282.0], [33.5, 275.0], [26.5, 275.0]]
        """
        square = self._white[np.asarray(ids) - self.first_id]
        x, y = self.origin
        high = y + self.rows * self.square
        middle = np.column_stack(
            [x + (square[:, 0] + 0.5) * self.square, high - (square[:, 1] + 0.5) * self.square]
        )
        half = MARKER_SHARE * self.square / 2
        turn = half * np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
        return np.asarray(middle[:, None, :] + turn)

    def beside(self, ids: Ints) -> Ints:
        """Codes, shape (n, 2), of the two markers whose squares meet in each corner, the right one's first.

        >>> CARDS["A4"].beside(np.array([0, 1])).tolist()  # under square (1, 0); over square (2, 1)
        [[0, 9], [10, 0]]
        """
        row, column = np.divmod(np.asarray(ids), self.columns - 1)
        # The square to the lower right of a corner is white where column and row are odd together.
        low = (column + row) % 2
        right = (row + low) * self.columns + column + 1
        left = (row + 1 - low) * self.columns + column
        return np.asarray(self.first_id + np.column_stack([right, left]) // 2)

    def turned(self, ids: Ints) -> NDArray[np.float64]:
        """1 where the white square right of a corner lies above it, -1 where it lies below; shape (n,)."""
        row, column = np.divmod(np.asarray(ids), self.columns - 1)
        return np.where((column + row) % 2 == 0, 1.0, -1.0)

    @cached_property
    def _white(self) -> Ints:
        """Column and row, from the top left, of the white squares in the order of their codes."""
        row, column = np.divmod(np.arange(self.columns * self.rows), self.columns)
        return np.asarray(np.column_stack([column, row])[(column + row) % 2 == 1])

    @cached_property
    def _in_ring(self) -> NDArray[np.bool_]:
        column, row = self._white.T
        beside = np.minimum(column, self.columns - 1 - column) < RING
        above = np.minimum(row, self.rows - 1 - row) < RING
        return np.asarray(beside | above)


CARDS: Final = {
    "A4": Card("A4", 10.0, 18, 27, 0),
    "A3": Card("A3", 15.0, 18, 26, 300),
    "letter": Card("letter", 10.0, 18, 25, 600),
}
"""One card for each paper; no two share a code, so a picture tells which one it shows."""
