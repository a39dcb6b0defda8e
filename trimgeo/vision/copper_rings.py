"""Boundaries of copper to a part of a pixel: where the grey crosses the level between two pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.copper_level import Floats, Grey, Levels

Ints = NDArray[np.int64]
Pixels = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Chains:
    """Closed chains of boundary pixels one after another: ``xy``, shape (n, 2), and ``count`` of each."""

    xy: Pixels
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
    last = np.cumsum(chains.count)
    points = np.empty((len(chains.xy), 2))
    begin, first = 0, 0
    while first < len(last):
        # As many whole chains as fit into the processor's cache.
        after = max(int(np.searchsorted(last, begin + _BLOCK)), first + 1)
        end = int(last[after - 1])
        block = Chains(chains.xy[begin:end], chains.count[first:after])
        points[begin:end] = _crossed(block, grey, levels)
        begin, first = end, after
    return points


def _crossed(chains: Chains, grey: Grey, levels: Levels) -> Floats:
    before, after = chains.neighbours()
    columns, rows = chains.xy[:, 0], chains.xy[:, 1]
    level = levels.at(chains.xy, levels.middle)
    here = grey[rows, columns] - level
    # Away from copper: OpenCV walks with copper on the left, seen with y down.
    along = chains.xy[after] - chains.xy[before]
    dead_end = np.flatnonzero(~along.any(axis=1))
    along[dead_end] = (chains.xy[dead_end] - chains.xy[before[dead_end]])[:, ::-1] * np.array([-1, 1])
    flat = grey.ravel()
    width = grey.shape[1]
    at = rows.astype(np.int64) * width + columns
    low, high = at - (columns > 0), at + (columns < width - 1)
    across = _slope(flat[low] - level, flat[high] - level, here, -along[:, 1])
    low, high = at - width * (rows > 0), at + width * (rows < grey.shape[0] - 1)
    down = _slope(flat[low] - level, flat[high] - level, here, along[:, 0])
    steep = np.maximum(across**2 + down**2, 1e-9)
    share = np.minimum(np.maximum(here, 0.0) / steep, 1.0 / np.sqrt(steep))
    moved = np.column_stack([columns - share * across, rows - share * down])
    return _evened(moved, before, after)


_BLOCK = 30_000
"""Points worked on at a time."""


def _slope(less: Floats, more: Floats, here: Floats, outward: Ints) -> Floats:
    """Slope of the grey along one axis: towards the neighbour outside, else between both neighbours.

    ``less`` and ``more`` are the neighbours above the level; ``outward`` is the side where both are outside.
    """
    outside_low, outside_high = less < 0, more < 0
    towards_high, towards_low = more - here, here - less
    one_side = np.where(outside_high, towards_high, towards_low)
    thin = np.where(outward > 0, towards_high, np.where(outward < 0, towards_low, 0.0))
    both = outside_low & outside_high
    slope = np.where(outside_low ^ outside_high, one_side, (more - less) / 2)
    return np.asarray(np.where(both, thin, slope))


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
