"""A small rasteriser whose pixels are the same on every machine.

It uses +, -, x, / and the square root alone, which IEEE 754 rounds the same way everywhere; no
library draws, so no library's next version changes a pixel.  Shapes are signed distances in
millimetres: negative inside, so that an edge is antialiased at its true place.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

XY = tuple[float, float]
Colour = tuple[float, float, float]
Matrix = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]
Floats = NDArray[np.float32]
Window = tuple[slice, slice]


class Shape(Protocol):
    """What can be painted."""

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, lower, right, upper."""

    def distance(self, x: Floats, y: Floats) -> Floats:
        """Signed distance to the boundary, mm, negative inside."""


@dataclass(frozen=True)
class Disc:
    at: XY
    diameter: float

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        (x, y), r = self.at, self.diameter / 2
        return x - r, y - r, x + r, y + r

    def distance(self, x: Floats, y: Floats) -> Floats:
        u, v = x - np.float32(self.at[0]), y - np.float32(self.at[1])
        return np.asarray(np.sqrt(u * u + v * v) - np.float32(self.diameter / 2))


@dataclass(frozen=True)
class Box:
    """A rectangle along the axes; ``corner`` is the radius of its rounded corners."""

    at: XY
    size: XY
    corner: float = 0.0

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        (x, y), (w, h) = self.at, self.size
        return x - w / 2, y - h / 2, x + w / 2, y + h / 2

    def distance(self, x: Floats, y: Floats) -> Floats:
        r = self.corner
        u = np.abs(x - np.float32(self.at[0])) - np.float32(self.size[0] / 2 - r)
        v = np.abs(y - np.float32(self.at[1])) - np.float32(self.size[1] / 2 - r)
        outside = np.sqrt(np.maximum(u, 0) ** 2 + np.maximum(v, 0) ** 2)
        return np.asarray(outside + np.minimum(np.maximum(u, v), 0) - np.float32(r))


@dataclass(frozen=True)
class Path:
    """A line of one width with round ends and joins."""

    points: tuple[XY, ...]
    width: float

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        return _around(self.points, self.width / 2)

    def distance(self, x: Floats, y: Floats) -> Floats:
        return np.asarray(_to_segments(self.points, x, y) - np.float32(self.width / 2))


@dataclass(frozen=True)
class Poly:
    """A simple polygon."""

    points: tuple[XY, ...]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        return _around(self.points, 0.0)

    def distance(self, x: Floats, y: Floats) -> Floats:
        ring = (*self.points, self.points[0])
        inside = np.zeros(x.shape, dtype=bool)
        for (ax, ay), (bx, by) in itertools.pairwise(ring):
            if ay != by:
                spans = (y < np.float32(ay)) != (y < np.float32(by))
                inside ^= spans & (
                    x < (y - np.float32(ay)) * np.float32((bx - ax) / (by - ay)) + np.float32(ax)
                )
        away = _to_segments(ring, x, y)
        return np.where(inside, -away, away)


@dataclass(frozen=True)
class Grown:
    """A shape moved outwards by a distance (inwards where it is negative)."""

    shape: Shape
    by: float

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        left, lower, right, upper = self.shape.bounds
        return left - self.by, lower - self.by, right + self.by, upper + self.by

    def distance(self, x: Floats, y: Floats) -> Floats:
        return np.asarray(self.shape.distance(x, y) - np.float32(self.by))


@dataclass(frozen=True)
class Rim:
    """The boundary of a shape as a line of one width."""

    shape: Shape
    width: float

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        return Grown(self.shape, self.width / 2).bounds

    def distance(self, x: Floats, y: Floats) -> Floats:
        return np.asarray(np.abs(self.shape.distance(x, y)) - np.float32(self.width / 2))


@dataclass(frozen=True)
class Moved:
    """A shape elsewhere, such as its shadow."""

    shape: Shape
    by: XY

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        left, lower, right, upper = self.shape.bounds
        return left + self.by[0], lower + self.by[1], right + self.by[0], upper + self.by[1]

    def distance(self, x: Floats, y: Floats) -> Floats:
        return self.shape.distance(x - np.float32(self.by[0]), y - np.float32(self.by[1]))


def _around(points: tuple[XY, ...], by: float) -> tuple[float, float, float, float]:
    xs, ys = zip(*points, strict=True)
    return min(xs) - by, min(ys) - by, max(xs) + by, max(ys) + by


def _to_segments(points: tuple[XY, ...], x: Floats, y: Floats) -> Floats:
    least = np.full(x.shape, np.inf, dtype=np.float32)
    for (ax, ay), (bx, by) in itertools.pairwise(points):
        u, v = x - np.float32(ax), y - np.float32(ay)
        dx, dy = bx - ax, by - ay
        if dx or dy:
            length2 = dx * dx + dy * dy
            along = np.clip(u * np.float32(dx / length2) + v * np.float32(dy / length2), 0, 1)
            u, v = u - along * np.float32(dx), v - along * np.float32(dy)
        np.minimum(least, u * u + v * v, out=least)
    return np.asarray(np.sqrt(least))


def forward(matrix: Matrix, point: XY) -> XY:
    """The pixel (column, row) of a board point."""
    (a, b, c), (d, e, f), (g, h, i) = matrix
    x, y = point
    w = g * x + h * y + i
    return (a * x + b * y + c) / w, (d * x + e * y + f) / w


def inverse(matrix: Matrix) -> Matrix:
    """The map from pixels back to board points, up to its scale (the adjugate)."""
    (a, b, c), (d, e, f), (g, h, i) = matrix
    return (
        (e * i - f * h, c * h - b * i, b * f - c * e),
        (f * g - d * i, a * i - c * g, c * d - a * f),
        (d * h - e * g, b * g - a * h, a * e - b * d),
    )


@dataclass(frozen=True, eq=False)
class Canvas:
    """A picture being drawn: ``pixels`` (rows, columns, 3), and the board position of each pixel."""

    matrix: Matrix
    pixels: Floats
    x: Floats
    y: Floats
    pixels_per_mm: float
    mirrored: bool

    @classmethod
    def blank(cls, matrix: Matrix, size: tuple[int, int], colour: Colour) -> Canvas:
        """An empty picture of ``size`` (columns, rows) that sees the board through ``matrix``."""
        (a, b, c), (d, e, f), (g, h, i) = inverse(matrix)
        v, u = np.arange(size[1], dtype=np.float64)[:, None], np.arange(size[0], dtype=np.float64)[None, :]
        w = g * u + h * v + i
        x = ((a * u + b * v + c) / w).astype(np.float32)
        y = ((d * u + e * v + f) / w).astype(np.float32)
        pixels = np.empty((size[1], size[0], 3), dtype=np.float32)
        pixels[:] = np.asarray(colour, dtype=np.float32)
        left, right = forward(matrix, (0.0, 45.0)), forward(matrix, (100.0, 45.0))
        across = right[0] - left[0]
        return cls(matrix, pixels, x, y, abs(across) / 100.0, across < 0)

    def window(self, shape: Shape, more: float = 0.0) -> Window:
        """The pixels that a shape, grown by ``more`` mm, may touch."""
        left, lower, right, upper = shape.bounds
        corners = [forward(self.matrix, (x, y)) for x in (left, right) for y in (lower, upper)]
        pad = 2.0 + more * self.pixels_per_mm
        rows, columns = self.x.shape
        us, vs = zip(*corners, strict=True)
        return (
            slice(max(0, int(min(vs) - pad)), min(rows, max(0, int(max(vs) + pad) + 1))),
            slice(max(0, int(min(us) - pad)), min(columns, max(0, int(max(us) + pad) + 1))),
        )

    def mask(self) -> Floats:
        """An empty coverage, one value a pixel."""
        return np.zeros(self.x.shape, dtype=np.float32)


def coverage(canvas: Canvas, shape: Shape, window: Window, soft: float = 0.0) -> Floats:
    """How much of each pixel of the window a shape covers; its edge is ``soft`` mm wide."""
    return within(canvas, shape.distance(canvas.x[window], canvas.y[window]), soft)


def within(canvas: Canvas, away: Floats, soft: float = 0.0) -> Floats:
    """The same from signed distances that are known already."""
    sharpness = 1.0 / max(soft, 1.0 / canvas.pixels_per_mm)
    return np.asarray(np.clip(np.float32(0.5) - away * np.float32(sharpness), 0, 1), dtype=np.float32)


def paint(
    canvas: Canvas,
    shape: Shape,
    colour: Colour,
    opacity: float = 1.0,
    soft: float = 0.0,
    ramp: XY = (0.0, 0.0),
) -> None:
    """Paint a shape; ``ramp`` is how much lighter its colour gets per mm along x and y."""
    window = canvas.window(shape, soft)
    cover = coverage(canvas, shape, window, soft) * np.float32(opacity)
    left, lower, right, upper = shape.bounds
    paint_colour = np.asarray(colour, dtype=np.float32)[None, None, :]
    if ramp != (0.0, 0.0):
        lighter = (canvas.x[window] - np.float32((left + right) / 2)) * np.float32(ramp[0])
        lighter = lighter + (canvas.y[window] - np.float32((lower + upper) / 2)) * np.float32(ramp[1])
        paint_colour = paint_colour + lighter[..., None]
    canvas.pixels[window] += (paint_colour - canvas.pixels[window]) * cover[..., None]


def add(canvas: Canvas, mask: Floats, shape: Shape) -> None:
    """Add a shape to a coverage."""
    window = canvas.window(shape)
    np.maximum(mask[window], coverage(canvas, shape, window), out=mask[window])


def cut(canvas: Canvas, mask: Floats, shape: Shape) -> None:
    """Take a shape out of a coverage."""
    window = canvas.window(shape)
    np.minimum(mask[window], 1 - coverage(canvas, shape, window), out=mask[window])


def add_path(canvas: Canvas, mask: Floats, points: tuple[XY, ...], width: float) -> None:
    """Add a path piece by piece: the same coverage as `add`, in much smaller windows."""
    for piece in itertools.pairwise(points):
        add(canvas, mask, Path(piece, width))


def cut_path(canvas: Canvas, mask: Floats, points: tuple[XY, ...], width: float) -> None:
    """Take a path out piece by piece."""
    for piece in itertools.pairwise(points):
        cut(canvas, mask, Path(piece, width))


def blend(canvas: Canvas, mask: Floats, colour: Colour, opacity: float = 1.0, relief: float = 0.0) -> None:
    """Colour what a coverage covers; ``relief`` lights its upper rims and shades its lower ones."""
    difference = np.asarray(colour, dtype=np.float32)[None, None, :] - canvas.pixels
    canvas.pixels[:] += difference * (mask * np.float32(opacity))[..., None]
    if relief:
        slope = np.zeros_like(mask)
        slope[1:-1] = mask[2:] - mask[:-2]
        canvas.pixels[:] += (slope * np.float32(relief))[..., None]
