"""The reference card below a board: what is printed where, from the corners of it that a picture shows."""

from __future__ import annotations

import cv2
import numpy as np
from cv2 import aruco
from numpy.typing import NDArray

from trimgeo.model.board import CardLying
from trimgeo.model.card import CARDS, DICTIONARY, MARKER_SHARE, RING, Card
from trimgeo.vision.ground_print import Print

Floats = NDArray[np.float64]

_CELLS = 7
"""Cells along a marker's side: five of the code and the black border on either side."""
_LEAST = 12
"""Corners that tell how the card is bent at least."""
_STIFF = 1e-3
"""What keeps the bend small where no corner tells it, as a share of the corners."""
_SCATTER = 0.05
"""Scatter, mm, of corners about the bent card: what lies off by much more counts for little."""
_SIDE = 12
"""Places along each side of the card's rim."""


def print_of(lying: CardLying) -> Print:
    """What the card prints below a board, in the mm of the true-scale picture that shows it.

    Its places follow from the corners that are seen: by a perspective map and, for a card that is not flat,
    terms of the second and third order.

    >>> card = CARDS["A4"]
    >>> found = print_of(CardLying("A4", card.corner_ids, card.corners(card.corner_ids) + 5.0))
    >>> found.black[0].round(3).tolist()  # the square at the top left
    [[20.0, 288.5], [30.0, 288.5], [30.0, 278.5], [20.0, 278.5]]
    """
    card = CARDS[lying.paper]
    nominal = card.corners(lying.ids)
    flat, _ = cv2.findHomography(nominal, lying.at, cv2.RANSAC, 0.5)
    bend = _bend(card, nominal, lying.at - _mapped(flat, nominal))

    def lies(places: Floats) -> Floats:
        shape = places.shape
        flat_mm = places.reshape(-1, 2)
        return np.asarray((_mapped(flat, flat_mm) + _terms(card, flat_mm) @ bend).reshape(shape))

    left, low = card.origin
    right, high = left + card.columns * card.square, low + card.rows * card.square
    return Print(
        lies(_black(card)),
        lies(_rim(left, low, right, high)),
        lies(_rim(0.0, 0.0, *card.size)),
    )


def _mapped(matrix: Floats, places: Floats) -> Floats:
    at = np.column_stack([places, np.ones(len(places))]) @ matrix.T
    return np.asarray(at[:, :2] / at[:, 2:])


def _terms(card: Card, places: Floats) -> Floats:
    """Terms, (n, 10), up to the third order at places, (n, 2), of the card."""
    x, y = (2 * places / card.size - 1).T
    return np.column_stack([np.ones(len(x)), x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3])


def _bend(card: Card, nominal: Floats, off: Floats) -> Floats:
    """Factors, (10, 2), of `_terms` that explain how corners lie off a flat card, (n, 2), mm."""
    if len(nominal) < _LEAST:
        return np.zeros((10, 2))
    terms, weights = _terms(card, nominal), np.ones(len(nominal))
    for _ in range(6):
        normal = (terms * weights[:, None]).T @ terms + _STIFF * len(nominal) * np.eye(10)
        found = np.linalg.solve(normal, (terms * weights[:, None]).T @ off)
        left = np.hypot(*(off - terms @ found).T)
        weights = 1 / (1 + (left / _SCATTER) ** 2)
    return np.asarray(found)


def _rim(left: float, low: float, right: float, high: float) -> Floats:
    """A rectangle's rim in places near enough for it to bend, (n, 2)."""
    corners = np.array([[left, low], [right, low], [right, high], [left, high]])
    share = np.arange(_SIDE)[:, None] / _SIDE
    sides = [a + share * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    return np.vstack(sides)


def _black(card: Card) -> Floats:
    """The black squares, and of each marker the runs of black cells in its rows, (n, 4, 2) mm of the card."""
    (left, low), side = card.origin, card.square
    high = low + card.rows * side
    boxes = []
    for row in range(card.rows):
        for column in range(card.columns):
            beside = min(column, card.columns - 1 - column) < RING
            if (column + row) % 2 == 0 and (beside or min(row, card.rows - 1 - row) < RING):
                boxes.append(_box(left + column * side, high - row * side, side, side))
    cell = MARKER_SHARE * side / _CELLS
    dictionary = aruco.getPredefinedDictionary(getattr(aruco, DICTIONARY))
    for code, (x, y) in zip(card.marker_ids, card.markers(card.marker_ids)[:, 0], strict=True):
        black = dictionary.generateImageMarker(int(code), _CELLS) == 0
        for row, cells in enumerate(black):
            ends = np.flatnonzero(np.diff(np.concatenate([[False], cells, [False]]).astype(int)))
            boxes += [
                _box(x + first * cell, y - row * cell, (last - first) * cell, cell)
                for first, last in ends.reshape(-1, 2)
            ]
    return np.array(boxes)


def _box(left: float, top: float, wide: float, tall: float) -> list[tuple[float, float]]:
    return [(left, top), (left + wide, top), (left + wide, top - tall), (left, top - tall)]
