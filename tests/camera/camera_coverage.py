"""Exact share of each pixel that polygons cover: no sampling, so an edge is where it is said to be.

Each side is cut at every pixel border it crosses; a piece inside one pixel adds its rise to that row
and the area to its right to that pixel (Green's theorem), and a running sum along the row does the rest.
"""

from functools import cache

import numpy as np


def _pieces(start, end):
    """Sides, shape (n, 2) each, cut at whole columns and rows: starts, ends, (m, 2), and their sides."""
    number, share = [np.repeat(np.arange(len(start)), 2)], [np.tile([0.0, 1.0], len(start))]
    for axis in (0, 1):
        a, b = start[:, axis], end[:, axis]
        first = np.floor(np.minimum(a, b)) + 1
        count = np.maximum(np.ceil(np.maximum(a, b)) - first, 0).astype(np.intp)
        side = np.repeat(np.arange(len(a)), count)
        step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        number.append(side)
        share.append((first[side] + step - a[side]) / (b - a)[side])
    number, share = np.concatenate(number), np.concatenate(share)
    order = np.lexsort((share, number))
    number, share = number[order], share[order]
    at = start[number] + share[:, None] * (end - start)[number]
    same = number[1:] == number[:-1]
    return at[:-1][same], at[1:][same], number[1:][same]


def window(points, size, margin=0):
    """The part of a picture of ``size`` (columns, rows) that holds points: left, low, right, high."""
    low = np.floor(points.min(axis=0) + 0.5).astype(int) - margin
    high = np.floor(points.max(axis=0) + 0.5).astype(int) + 1 + margin
    left, top = np.maximum(low, 0)
    right, bottom = np.minimum(high, size)
    return int(left), int(top), int(max(right, left)), int(max(bottom, top))


def covered(rings, box, weights=None):
    """Share of each pixel of ``box`` (left, top, right, bottom) inside the rings, float32.

    ``rings``: list of (n, 2) pixel positions; holes run the other way round than what they are in.
    Where rings lie side by side their shares add up.  With ``weights``, one a ring, each counts that much.
    """
    left, top, right, bottom = box
    columns, rows = right - left, bottom - top
    if columns <= 0 or rows <= 0 or not len(rings):
        return np.zeros((max(rows, 0), max(columns, 0)), np.float32)
    start = np.concatenate(rings) + 0.5 - [left, top]
    end = np.concatenate([ring[turn] for ring in rings for turn in (_next(len(ring)),)]) + 0.5 - [left, top]
    weight = np.repeat(np.ones(len(rings)) if weights is None else weights, [len(ring) for ring in rings])
    index, share = _shares(start, end, weight, columns, rows)
    total = np.bincount(index, share, rows * (columns + 1)).reshape(rows, columns + 1)
    summed = np.cumsum(total[:, :columns], axis=1, dtype=np.float32)
    return np.abs(summed, out=summed)


@cache
def _next(count):
    return np.roll(np.arange(count), -1)


def _shares(start, end, weight, columns, rows):
    """Where the running sums change, as indices into rows of ``columns`` + 1, and by how much."""
    a, b, number = _pieces(start, end)
    middle = (a + b) / 2
    cell = np.floor(middle).astype(np.intp)
    rise = (b[:, 1] - a[:, 1]) * weight[number]
    inside = (cell[:, 1] >= 0) & (cell[:, 1] < rows) & (cell[:, 0] < columns) & (rise != 0)
    middle, cell, rise = middle[inside], cell[inside], rise[inside]
    before = cell[:, 0] < 0
    column = np.where(before, 0, cell[:, 0])
    share = np.where(before, 0.0, middle[:, 0] - column)
    index = cell[:, 1] * (columns + 1) + column
    return np.concatenate([index, index + 1]), np.concatenate([rise * (1 - share), rise * share])
