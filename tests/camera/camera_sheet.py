"""The printed card as a bent sheet of paper, drawn from the numbers of its layout alone.

World frame: the card's own, millimetres, x right along its text, y up, z towards the viewer; z = 0 is the
sheet's mean plane below the board.
"""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from trimgeo.model.card import CARDS, DICTIONARY, MARKER_SHARE, RING

SIDES = 4


@dataclass(frozen=True)
class Bend:
    """How a sheet is not flat.

    ``curl``: mm of sagitta over the sheet's length, rolled about the direction ``along`` (degrees), paper's
    own length kept (positive: the ends rise).  ``bulge``: mm by which its middle rises.  ``waves``: six
    coefficients of smooth low-order terms, mm.  ``level``: what is taken off z.
    """

    curl: float = 0.0
    along: float = 0.0
    bulge: float = 0.0
    waves: tuple[float, ...] = ()
    level: float = 0.0

    def world(self, paper, size):
        """Places, shape (n, 3), of points of the sheet of ``size``, shape (n, 2), mm on the paper."""
        middle = np.array(size) / 2
        x, y = (np.asarray(paper, float) - middle).T
        z = np.full(len(x), -self.level) + self._waves(x / middle[0], y / middle[1])
        z += self.bulge * np.cos(np.pi / 2 * x / middle[0]) * np.cos(np.pi / 2 * y / middle[1])
        if self.curl:
            c, s = np.cos(np.radians(self.along)), np.sin(np.radians(self.along))
            reach = abs(c) * middle[0] + abs(s) * middle[1]
            radius = reach**2 / (2 * abs(self.curl))
            across = x * c + y * s
            shorter = radius * np.sin(across / radius) - across
            x, y = x + shorter * c, y + shorter * s
            z += np.sign(self.curl) * radius * (1 - np.cos(across / radius))
        return np.column_stack([x + middle[0], y + middle[1], z])

    def _waves(self, a, b):
        if not self.waves:
            return 0.0
        terms = (a * a, a * b, b * b, a**3 - a, b**3 - b, np.sin(1.5 * a + 2 * b))
        return sum(w * t for w, t in zip(self.waves, terms, strict=True))


@dataclass(frozen=True)
class Sheet:
    """A card of ``paper``, its print scaled by ``scale`` (x, y) about the sheet's middle, and its bend."""

    paper: str = "A4"
    scale: tuple[float, float] = (1.0, 1.0)
    bend: Bend = Bend()
    printed: bool = True

    @property
    def size(self):
        return CARDS[self.paper].size

    def world(self, card_mm):
        """Places, shape (n, 3), of the card's nominal positions, shape (n, 2)."""
        middle = np.array(self.size) / 2
        return self.bend.world(middle + (np.asarray(card_mm, float) - middle) * self.scale, self.size)

    def rim(self):
        """The sheet's rim in the world, shape (n, 3)."""
        width, height = self.size
        return self.bend.world(
            divided(np.array([[0, 0], [width, 0], [width, height], [0, height]]), 60), self.size
        )


def divided(ring, parts):
    """Rings, shape (..., n, 2), with each side cut into so many parts: bent sides need them."""
    share = np.arange(parts) / parts
    step = np.roll(ring, -1, axis=-2) - ring
    cut = ring[..., :, None, :] + share[:, None] * step[..., :, None, :]
    return cut.reshape(*ring.shape[:-2], -1, 2)


def _boxes(low, high):
    """Rectangles, shape (n, 4, 2), counter-clockwise, from their lower left and upper right corners."""
    (x0, y0), (x1, y1) = np.asarray(low, float).T, np.asarray(high, float).T
    return np.stack([np.column_stack(pair) for pair in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))], axis=1)


@cache
def black_boxes(paper):
    """What is black on a card: rectangles in its nominal mm, shape (n, 4, 2)."""
    card = CARDS[paper]
    low, high = [], []
    x, y = card.origin
    top = y + card.rows * card.square
    codes = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    white = 0
    for row in range(card.rows):
        for column in range(card.columns):
            corner = np.array([x + column * card.square, top - (row + 1) * card.square])
            drawn = min(row, card.rows - 1 - row, column, card.columns - 1 - column) < RING
            if (row + column) % 2 == 0:
                if drawn:
                    low.append(corner)
                    high.append(corner + card.square)
                continue
            if drawn:
                cells = codes.generateImageMarker(card.first_id + white, 7, borderBits=1) == 0
                side = MARKER_SHARE * card.square / 7
                start = corner + (1 - MARKER_SHARE) / 2 * card.square + [0, 7 * side]
                for r, c in np.argwhere(cells):
                    low.append(np.add(start, (c * side, -(r + 1) * side)))
                    high.append(np.add(start, ((c + 1) * side, -r * side)))
            white += 1
    boxes = [_boxes(low, high), _margins(card)]
    return np.concatenate(boxes)


def _margins(card):
    """Two 100 mm bars in the middle of the lower and left margins, and something like a line of text."""
    width, height = card.size
    y, x = card.origin[1] / 2, card.origin[0] / 2
    low = [(width / 2 - 50, y), (x, height / 2 - 50)]
    high = [(width / 2 + 50, y + 0.4), (x + 0.4, height / 2 + 50)]
    letters = np.random.default_rng(5)
    at = 20.0
    while at < width - 40:
        wide = letters.uniform(0.6, 1.8)
        low.append((at, height - card.origin[1] / 2))
        high.append((at + wide, height - card.origin[1] / 2 + letters.uniform(1.2, 2.4)))
        at += wide + letters.uniform(0.4, 2.0)
    return _boxes(low, high)
