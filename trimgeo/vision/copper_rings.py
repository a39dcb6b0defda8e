"""Boundaries of copper to a part of a pixel: where the grey crosses the level between two pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.copper_level import Floats, Grey, Levels

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Chains:
    """Closed chains of boundary pixels one after another: ``xy``, shape (n, 2), and ``count`` of each."""

    xy: Ints
    count: Ints

    def neighbours(self) -> tuple[Ints, Ints]:
        """Index of the point before and after each, shape (n,), round its own chain."""
        first = np.cumsum(self.count) - self.count
        last = first + self.count - 1
        before, after = np.arange(-1, len(self.xy) - 1), np.arange(1, len(self.xy) + 1)
        before[first], after[last] = last, first
        return before, after


def crossings(chains: Chains, grey: Grey, levels: Levels) -> Floats:
    """The boundary near each point of the chains, shape (n, 2), in pixels.

    Chains run through the outermost pixels of copper, whose centres lie inside by up to one pixel.  With
    d = grey - level and slopes g taken towards the neighbours outside (between which the level is
    crossed), the boundary is at -d·g/|g|² from the centre: linear between pixels, and never further than
    the next one.  Light is inside.  The points are then evened out along the chain by (1 4 6 4 1)/16,
    which halves what noise does to them.
    """
    before, after = chains.neighbours()
    columns, rows = chains.xy[:, 0], chains.xy[:, 1]
    level = levels.at(chains.xy.astype(np.float64), levels.middle)
    here = grey[rows, columns] - level
    # Away from copper: the chain keeps it on one side (OpenCV runs round copper with it on the left of
    # the walk, y down, and round holes with the hole on the right).
    along = chains.xy[after] - chains.xy[before]
    dead_end = (along == 0).all(axis=1)
    along[dead_end] = (chains.xy - chains.xy[before])[dead_end][:, ::-1] * (-1, 1)
    slope = np.empty((len(here), 2))
    for axis, outward in ((0, -along[:, 1]), (1, along[:, 0])):
        slope[:, axis] = _slope(grey, level, here, columns, rows, axis, outward)
    steep = (slope**2).sum(axis=1)
    move = -np.maximum(here, 0.0)[:, None] * slope / np.maximum(steep, 1e-9)[:, None]
    far = np.sqrt((move**2).sum(axis=1))
    move /= np.maximum(far, 1.0)[:, None]
    return _evened(chains.xy + move, before, after)


def _slope(
    grey: Grey, level: Floats, here: Floats, columns: Ints, rows: Ints, axis: int, outward: Ints
) -> Floats:
    """Slope of the grey along one axis: towards the neighbour outside, else between both neighbours."""
    size = grey.shape[1 - axis] - 1
    at = columns if axis == 0 else rows
    low, high = np.maximum(at - 1, 0), np.minimum(at + 1, size)
    less = (grey[rows, low] if axis == 0 else grey[low, columns]) - level
    more = (grey[rows, high] if axis == 0 else grey[high, columns]) - level
    outside_low, outside_high = less < 0, more < 0
    both = outside_low & outside_high
    take_high = (outside_high & ~both) | (both & (outward > 0))
    take_low = (outside_low & ~both) | (both & (outward < 0))
    slope = (more - less) / 2
    slope[take_high] = (more - here)[take_high]
    slope[take_low] = (here - less)[take_low]
    slope[both & (outward == 0)] = 0.0
    return np.asarray(slope)


def _evened(points: Floats, before: Ints, after: Ints) -> Floats:
    """(1 2 1)/4 along closed chains, twice."""
    for _ in range(2):
        points = points / 2 + (points[before] + points[after]) / 4
    return points


def signed_areas(points: Floats, count: Ints) -> Floats:
    """Area inside each chain, shape (k,), px²: the shoelace formula about each chain's first point."""
    if not len(count):
        return np.zeros(0)
    first = np.cumsum(count) - count
    x, y = (points - np.repeat(points[first], count, axis=0)).T
    following = np.arange(1, len(points) + 1)
    following[first + count - 1] = first
    return np.asarray(np.add.reduceat(x * y[following] - x[following] * y, first) / 2)
