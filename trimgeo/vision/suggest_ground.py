"""The bare board in a picture: its colour under even light, and how far each pixel is from it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from trimgeo.model.board import Picture, Pixels

Floats = NDArray[np.float64]
Single = NDArray[np.float32]
Mask = NDArray[np.uint8]

_MOST_PER_MM = 12.0
"""Pixels per mm in which bodies are looked for: a body of 1 mm has twelve of them across."""
_MOST_PIXELS = 6_000_000
_AROUND = 3.0
"""Width, mm, of what is looked at around the board: its colour shows through holes as well."""
_LIKE = 22.0
"""Lab distance within which a pixel may be bare board, in shadow or over a trace, while light is evened."""


@dataclass(frozen=True)
class Ground:
    """The part of a picture with the board, in working pixels, under even light.

    ``lab`` is Lab, (rows, columns, 3), L 0 to 100; ``off`` the distance of each pixel from the colour of bare
    board; ``inside`` is 255 on the board; ``colour`` is the board's, Lab, ``beyond`` that around it.
    ``corner`` (pixels of the picture) is the left upper corner, ``scale`` working pixels for one of the
    picture.
    """

    lab: Single
    off: Single
    inside: Mask
    colour: Single
    beyond: Single
    per_mm: float
    corner: tuple[int, int]
    scale: float
    origin: tuple[float, float]

    def to_mm(self, places: Floats) -> Floats:
        """Board positions, mm, of working pixels (column, row), both (n, 2)."""
        source = (places + 0.5) / self.scale - 0.5 + self.corner
        per_mm = self.per_mm / self.scale
        return np.asarray((source - self.origin) * (1.0, -1.0) / per_mm, dtype=np.float64)

    def to_pixels(self, mm: Floats) -> Floats:
        """Working pixels (column, row) of board positions, mm, both (n, 2)."""
        source = mm * (1.0, -1.0) * (self.per_mm / self.scale) + self.origin
        return np.asarray((source - self.corner + 0.5) * self.scale - 0.5, dtype=np.float64)


def ground_of(picture: Picture, edge: Polygon) -> Ground | None:
    """The board in a picture, None where next to nothing of it lies in the picture."""
    pixels, per_mm, (ox, oy) = picture.pixels, picture.pixels_per_mm, picture.origin
    x0, y0, x1, y1 = edge.bounds
    x0, y0, x1, y1 = x0 - _AROUND, y0 - _AROUND, x1 + _AROUND, y1 + _AROUND
    left, right = max(0, int(ox + x0 * per_mm)), min(pixels.shape[1], int(ox + x1 * per_mm) + 2)
    top, bottom = max(0, int(oy - y1 * per_mm)), min(pixels.shape[0], int(oy - y0 * per_mm) + 2)
    if right - left < 20 or bottom - top < 20:
        return None
    part = pixels[top:bottom, left:right]
    most = (_MOST_PIXELS / (part.shape[0] * part.shape[1])) ** 0.5
    scale = min(1.0, _MOST_PER_MM / per_mm, most)
    if scale < 1.0:
        part = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    part = cv2.medianBlur(part, 3)
    place = (part.shape[:2], per_mm, (ox - left, oy - top), scale)
    inside, outside = _inside(edge.buffer(-0.2), *place), cv2.bitwise_not(_inside(edge.buffer(1.0), *place))
    if int(np.count_nonzero(inside)) < 400:
        return None
    lab = _evened(part, inside)
    colour = _commonest(lab, inside)
    beyond = np.median(lab[outside > 0], axis=0) if np.count_nonzero(outside) > 100 else colour
    return Ground(
        lab, _off(lab, colour), inside, colour, beyond, per_mm * scale, (left, top), scale, (ox, oy)
    )


def _inside(
    edge: Polygon | MultiPolygon,
    size: tuple[int, int],
    per_mm: float,
    origin: tuple[float, float],
    scale: float,
) -> Mask:
    inside = np.zeros(size, np.uint8)
    for piece in shapely.get_parts(edge):
        places = shapely.get_coordinates(piece.exterior) * (per_mm, -per_mm) + origin
        fixed = np.round(((places + 0.5) * scale - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(inside, [fixed], 255, cv2.LINE_8, 4)
    return inside


def _lab(pixels: Single) -> Single:
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2LAB), dtype=np.float32)


def _evened(part: Pixels, inside: Mask) -> Single:
    """Lab of the picture divided by the light on the bare board: a quadratic in x and y."""
    light = part.astype(np.float32) / np.float32(255)
    lab = _lab(light)
    colour = _commonest(lab, inside)
    step = max(1, int((part.shape[0] * part.shape[1] / 60_000) ** 0.5))
    row, column = np.mgrid[0 : part.shape[0] : step, 0 : part.shape[1] : step]
    x = 2.0 * column / part.shape[1] - 1
    y = 2.0 * row / part.shape[0] - 1
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    bright = np.log(light[::step, ::step].sum(axis=2) + 0.02)
    like = inside[::step, ::step] > 0
    fitted = np.zeros(6)
    for reach in (_LIKE, _LIKE, 0.75 * _LIKE):
        gain = np.exp(terms @ fitted - fitted[0]).astype(np.float32)
        now = _lab(np.clip(light[::step, ::step] / gain[..., None], 0, 1).astype(np.float32))
        near = like & (np.linalg.norm(now - colour, axis=2) < reach)
        if near.sum() < 100:
            return lab
        fitted = np.linalg.lstsq(terms[near], bright[near], rcond=None)[0]
        colour = np.median(now[near], axis=0).astype(np.float32)
    gain = _gain(fitted, part.shape[:2])
    return _lab(np.clip(light / gain[..., None], 0, 1))


def _gain(fitted: Floats, size: tuple[int, int]) -> Single:
    x = np.linspace(-1, 1, size[1], dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, size[0], dtype=np.float32)[:, None]
    c = fitted.astype(np.float32)
    told = c[1] * x + c[2] * y + c[3] * x * x + c[4] * x * y + c[5] * y * y
    return np.asarray(np.clip(np.exp(told), 0.4, 2.5), dtype=np.float32)


def _commonest(lab: Single, inside: Mask) -> Single:
    """The colour that most of the board has: the fullest cell of a coarse grid, then the median near it."""
    colours = lab[inside > 0]
    colours = colours[:: max(1, len(colours) // 200_000)]
    cells = np.floor((colours + np.array([0, 128, 128], np.float32)) / 6).astype(np.int64)
    flat = (cells[:, 0] * 64 + cells[:, 1]) * 64 + cells[:, 2]
    values, counts = np.unique(flat, return_counts=True)
    fullest = colours[flat == values[int(np.argmax(counts))]].mean(axis=0)
    near = colours[np.linalg.norm(colours - fullest, axis=1) < 10]
    return np.asarray(np.median(near, axis=0), dtype=np.float32)


def _off(lab: Single, colour: Single) -> Single:
    """Lab distance from bare board; what shadow does, chroma falling with lightness, counts half."""
    share = np.clip(lab[..., 0] / max(float(colour[0]), 1.0), 0.3, 1.5)
    lightness = lab[..., 0] - colour[0]
    lightness = np.where(lightness < 0, 0.5 * lightness, 0.8 * lightness)
    a = lab[..., 1] - colour[1] * share
    b = lab[..., 2] - colour[2] * share
    return np.asarray(np.sqrt(lightness**2 + a * a + b * b), dtype=np.float32)
