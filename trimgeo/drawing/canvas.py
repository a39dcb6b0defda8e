"""Drawing in millimetres on a true-scale picture.

A `Canvas` owns its pixels: the one place in the drawings where state lives.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.resources import as_file, files
from itertools import accumulate, pairwise

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageDraw, ImageFont
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.signs import LINES, STATES, rgb, state_strokes
from trimgeo.drawing.strokes import Path, dashed, dots, paths_of
from trimgeo.model.board import Picture, Pixels

SHEET_WIDTH = 300.0
"""A picture is drawn as if it were printed this many mm wide: lines and letters keep their look."""

SHIFT = 4
"""Fractional bits of OpenCV's drawing coordinates: a sixteenth of a pixel."""

WHITE = "#FFFFFF"


class Canvas:
    """A copy of a true-scale picture to draw on; positions are mm in the board frame.

    >>> dark = np.zeros((301, 600, 3), np.uint8)
    >>> canvas = Canvas(Picture(10.0, (0.0, 300.0), (600, 301), lambda: dark))
    >>> canvas.at((1.0, 2.0)), canvas.board((10.0, 280.0))  # 10 pixels for a mm, rows go down
    (array([[ 10., 280.]]), array([[1., 2.]]))
    >>> canvas.mm(5.0)  # 600 pixels wide as if 300 mm: 2 pixels for each mm of a sign
    1.0
    """

    def __init__(self, picture: Picture) -> None:
        self.pixels: Pixels = picture.pixels.copy()
        self._pixels_per_mm, self._origin = picture.pixels_per_mm, picture.origin
        self.unit = max(picture.size) / SHEET_WIDTH
        """Pixels for one mm of a sign's width or size."""

    def at(self, points: ArrayLike) -> NDArray[np.float64]:
        """Pixels (column, row), shape (n, 2), of board positions."""
        xy = np.atleast_2d(np.asarray(points, dtype=np.float64))
        return np.asarray(np.array(self._origin) + xy * [self._pixels_per_mm, -self._pixels_per_mm])

    def board(self, pixels: ArrayLike) -> NDArray[np.float64]:
        """Board positions, shape (n, 2), of pixels (column, row): the inverse of `at`."""
        uv = np.atleast_2d(np.asarray(pixels, dtype=np.float64)) - np.array(self._origin)
        return np.asarray(uv / [self._pixels_per_mm, -self._pixels_per_mm])

    def mm(self, sheet_mm: float) -> float:
        """Board mm that look as long as so many mm of a sign."""
        return sheet_mm * self.unit / self._pixels_per_mm

    def line(self, sign: str, geometry: BaseGeometry, casing: bool = False) -> None:
        """Lines or rings in the look of a sign of the table; a casing lets them stand out on any board."""
        look = LINES[sign]
        paths = paths_of(geometry)
        if casing:
            self._strokes(paths, WHITE, look.width + 0.5)
        if not look.dashes:
            self._strokes(paths, look.colour, look.width)
        elif look.dashes[0] == 0.0:
            self._dots(dots(geometry, self.mm(look.dashes[1])), look.colour, look.width)
        else:
            ink, gap = (self.mm(length) for length in look.dashes)
            for path in paths:
                self._strokes(dashed(path, ink, gap), look.colour, look.width)

    def hatch(self, lines: BaseGeometry, colour: str, width: float) -> None:
        """Lines, board mm, in a colour ``#RRGGBB`` and of ``width`` mm of a sign."""
        self._strokes(paths_of(lines), colour, width)

    def ground(self, box: tuple[float, float, float, float], colour: str) -> None:
        """Fill a pixel box (left, top, right, bottom)."""
        left, top, right, bottom = (max(round(v), 0) for v in box)
        self.pixels[top:bottom, left:right] = _bgr(colour)

    def state(self, state: str, at: Sequence[float]) -> None:
        """The sign of a state at a board position, on a white disc."""
        look = STATES[state]
        centre = self.at(at)[0]
        radius = look.size / 2 * self.unit
        self._disc(centre, radius * 1.45, WHITE, filled=True)
        if not state_strokes(state):
            self._disc(centre, radius, look.colour, filled=False, width=look.width)
        for stroke in state_strokes(state):
            points = centre + np.array(stroke) * [radius, -radius]
            self._polylines(points, [len(points)], look.colour, look.width)

    def label(self, text: str, box: tuple[float, float, float, float], size: float) -> None:
        """Black text on white, filling a pixel box (left, top, right, bottom) that `text_size` gave."""
        left, top, right, bottom = (round(v) for v in box)
        tile = Image.new("RGB", (max(right - left, 1), max(bottom - top, 1)), WHITE)
        pad = self._pad(size)
        ImageDraw.Draw(tile).text((pad, pad), text, fill="#000000", font=_font(round(size * self.unit)))
        height, width = self.pixels.shape[:2]
        rows, columns = slice(max(top, 0), min(bottom, height)), slice(max(left, 0), min(right, width))
        cut = np.asarray(tile)[rows.start - top : rows.stop - top, columns.start - left : columns.stop - left]
        self.pixels[rows, columns] = cut[:, :, ::-1]

    def text_size(self, text: str, size: float) -> tuple[float, float]:
        """Width and height in pixels of the box that a label of this size takes."""
        _left, _top, right, bottom = _font(round(size * self.unit)).getbbox(text)
        pad = self._pad(size)
        return right + 2 * pad, bottom + 2 * pad

    def _pad(self, size: float) -> int:
        return max(1, round(0.25 * size * self.unit))

    def _strokes(self, paths: Sequence[Path], colour: str, width: float) -> None:
        if paths:
            pixels = self.at([point for path in paths for point in path])
            self._polylines(pixels, [len(path) for path in paths], colour, width)

    def _polylines(
        self, points: NDArray[np.float64], counts: Sequence[int], colour: str, width: float
    ) -> None:
        """Polylines of so many points each, shape (n, 2), one after the other."""
        fixed = np.round(points * 2**SHIFT).astype(np.int32).reshape(-1, 1, 2)
        lines = [fixed[a:b] for a, b in pairwise(accumulate(counts, initial=0))]
        thickness = max(1, round(width * self.unit))
        cv2.polylines(self.pixels, lines, False, _bgr(colour), thickness, cv2.LINE_AA, SHIFT)

    def _dots(self, places: Sequence[Sequence[float]], colour: str, width: float) -> None:
        for centre in self.at(places) if places else ():
            self._disc(centre, max(1.0, width * self.unit / 2), colour, filled=True)

    def _disc(
        self, centre: NDArray[np.float64], radius: float, colour: str, filled: bool, width: float = 0.0
    ) -> None:
        column, row = (round(float(v) * 2**SHIFT) for v in centre)
        thickness = -1 if filled else max(1, round(width * self.unit))
        cv2.circle(
            self.pixels, (column, row), round(radius * 2**SHIFT), _bgr(colour), thickness, cv2.LINE_AA, SHIFT
        )


def _bgr(colour: str) -> tuple[int, int, int]:
    red, green, blue = rgb(colour)
    return blue, green, red


@cache
def _font(pixels: int) -> ImageFont.FreeTypeFont:
    with as_file(files("trimgeo.drawing") / "fonts" / "DejaVuSans.ttf") as path:
        return ImageFont.truetype(str(path), max(6, pixels))
