"""Rims of many shapes at once: places along them, and what lies inside and outside of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.suggest_pieces import Shape

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]

_MOST = 160
"""Places along a rim: shares of it are then known to a few hundredths."""


@dataclass(frozen=True, eq=False)
class Rims:
    """Places along k rims one after another, (n, 2), with outward normals, (n, 2), and their rim, (n,).

    ``sides`` is (k, 2): the longer and the shorter side of the box around each shape, pixels.
    """

    places: Floats
    normals: Floats
    owner: Ints
    starts: Ints
    counts: Ints
    sides: Floats

    def at(self, image: Singles, depth: Floats | float) -> Singles:
        """An image's values ``depth`` pixels inside the rims, the nearest pixel; a depth may be (n,)."""
        places = self.places - self.normals * np.reshape(depth, (-1, 1))
        column = np.clip(np.rint(places[:, 0]).astype(np.intp), 0, image.shape[1] - 1)
        row = np.clip(np.rint(places[:, 1]).astype(np.intp), 0, image.shape[0] - 1)
        return np.asarray(image[row, column])

    def share(self, which: NDArray[np.bool_]) -> Floats:
        """Share of each rim's places for which something holds, (k,)."""
        return np.asarray(np.add.reduceat(which.astype(np.float64), self.starts) / self.counts)


def rims_of(shapes: Sequence[Shape]) -> Rims:
    """Places about a pixel apart, or further on long rims; there must be one shape at least."""
    sizes = np.array([len(shape.corners) for shape in shapes])
    first = np.cumsum(sizes) - sizes
    start = np.concatenate([shape.corners for shape in shapes])
    following = np.arange(len(start)) + 1
    following[first + sizes - 1] = first
    way = start[following] - start
    length = np.hypot(way[:, 0], way[:, 1])
    crossed = start[:, 0] * start[following, 1] - start[following, 0] * start[:, 1]
    turned = np.where(np.add.reduceat(crossed, first) > 0, 1.0, -1.0)
    shape_of = np.repeat(np.arange(len(shapes)), sizes)
    apart = np.maximum(1.0, np.add.reduceat(length, first) / _MOST)[shape_of]
    number = np.maximum(1, np.rint(length / apart)).astype(np.int64)
    number[length < 1e-6] = 0
    side = np.repeat(np.arange(len(start)), number)
    share = (np.arange(len(side)) - np.repeat(np.cumsum(number) - number, number) + 0.5) / number[side]
    places = start[side] + share[:, None] * way[side]
    outward = np.column_stack([way[side, 1], -way[side, 0]]) / length[side, None]
    owner = shape_of[side]
    counts = np.add.reduceat(number, first)
    return Rims(
        places,
        outward * turned[owner, None],
        owner,
        np.cumsum(counts) - counts,
        counts,
        np.array([sides_of(shape) for shape in shapes]),
    )


def sides_of(shape: Shape) -> tuple[float, float]:
    """Longer and shorter side of the box around a shape, pixels."""
    if shape.circle is not None:
        return 2 * shape.circle[2], 2 * shape.circle[2]
    _, (wide, tall), _ = cv2.minAreaRect(shape.corners.astype(np.float32))
    return max(wide, tall), min(wide, tall)
