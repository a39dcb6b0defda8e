"""Measured edge points to an outline: straight stretches become fitted lines, the rest follows the points."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

Floats = NDArray[np.float64]

_NOISE = 0.08
"""Points this near to a line, mm, lie on it."""
_LEAST_LINE = 0.9
"""A straight stretch shorter than this, mm, is not fitted as one."""
_CORNER = 0.45
"""Points about a corner, mm, that its own bend has moved: they take no part in the lines."""


def straightened(points: Floats) -> Polygon:
    """The outline through measured points, (n, 2), mm, counter-clockwise and closed.

    Stretches are split where they bend by more than the noise; each long enough is fitted as a line, and
    two lines meet in their corner where that lies by the measured points.

    >>> around = shapely.LinearRing([(0, 0), (20, 0), (20, 10), (0, 10)])
    >>> dense = shapely.get_coordinates(shapely.segmentize(around, 0.1))[:-1]
    >>> sorted(shapely.get_coordinates(straightened(dense).exterior.simplify(0.001)).round(2).tolist())[-2:]
    [[20.0, 0.0], [20.0, 10.0]]
    """
    points = np.roll(points, -_middle_of_a_side(points), axis=0)
    closed = np.vstack([points, points[:1]])
    simple = shapely.get_coordinates(shapely.simplify(shapely.LineString(closed), _NOISE))
    where = _places(closed, simple)
    pieces = [_line(closed[a : b + 1]) for a, b in pairwise(where)]
    where, pieces = _sharp(closed, where, pieces)
    corners: list[Floats] = []
    for n, (a, b) in enumerate(pairwise(where)):
        line, after = pieces[n], pieces[(n + 1) % len(pieces)]
        if line is None:
            corners.extend(closed[a + 1 : b])
        meet = _meeting(line, after, closed[b])
        if meet is not None:
            corners.append(meet)
            continue
        for piece in (line, after):
            if piece is not None:
                corners.append(_foot(piece, closed[b]))
        if line is None and after is None:
            corners.append(closed[b])
    ring = np.array(corners)
    return shapely.geometry.polygon.orient(Polygon(ring).simplify(0.004))


def _middle_of_a_side(points: Floats) -> int:
    """Number of the point in the middle of the longest straight stretch: no corner is split there."""
    turned = np.roll(points, -int(np.argmin(points @ (1.0, 1.0))), axis=0)
    first = int(np.argmin(points @ (1.0, 1.0)))
    simple = shapely.get_coordinates(shapely.simplify(shapely.LineString(turned), _NOISE))
    where = _places(turned, simple)
    longest = int(np.argmax(np.hypot(*np.diff(simple, axis=0).T)))
    return (first + (where[longest] + where[longest + 1]) // 2) % len(points)


def _sharp(
    points: Floats, where: list[int], pieces: list[tuple[Floats, Floats] | None]
) -> tuple[list[int], list[tuple[Floats, Floats] | None]]:
    """The same without the small pieces that blur makes of a sharp corner between two lines."""
    starts, kept, n = [where[0]], [pieces[0]], 1
    while n < len(pieces):
        end = n
        while end < len(pieces) and pieces[end] is None:
            end += 1
        if end > n and end < len(pieces):
            a, b = points[where[n]], points[where[end]]
            meet = _meeting(kept[-1], pieces[end], (a + b) / 2)
            if meet is not None and np.hypot(*(b - a)) < 1.6 and np.hypot(*(meet - (a + b) / 2)) < 0.45:
                # The two lines run on to where they meet: its place is that of the piece in the middle.
                starts.append((where[n] + where[end]) // 2)
                kept.append(pieces[end])
                n = end + 1
                continue
        starts.append(where[n])
        kept.append(pieces[n])
        n += 1
    return [*starts, where[-1]], kept


def _places(points: Floats, chosen: Floats) -> list[int]:
    """Numbers of the chosen points, which come in the order of the points."""
    found, at = [], 0
    for x, y in chosen:
        while points[at, 0] != x or points[at, 1] != y:
            at += 1
        found.append(at)
        at = min(at + 1, len(points) - 1)
    return found


def _line(points: Floats) -> tuple[Floats, Floats] | None:
    """A point on the line and its direction, each (2,), or None for a stretch that is short."""
    ends = points[[0, -1]]
    length = float(np.hypot(*(ends[1] - ends[0])))
    if length < _LEAST_LINE:
        return None
    along = (points - ends[0]) @ (ends[1] - ends[0]) / length
    trim = min(_CORNER, 0.3 * length)
    inner = points[(along > trim) & (along < length - trim)]
    if len(inner) < 4:
        return None
    weights = np.ones(len(inner))
    for _ in range(6):
        middle = np.average(inner, axis=0, weights=weights)
        off = inner - middle
        _, _, axes = np.linalg.svd(off * np.sqrt(weights)[:, None], full_matrices=False)
        across = off @ np.array([-axes[0, 1], axes[0, 0]])
        spread = 1.4826 * float(np.median(np.abs(across))) + 1e-4
        weights = np.maximum(1 - (across / (4.7 * spread)) ** 2, 0.0) ** 2 + 1e-9
    direction = axes[0] if axes[0] @ (ends[1] - ends[0]) > 0 else -axes[0]
    return middle, direction


def _meeting(a: tuple[Floats, Floats] | None, b: tuple[Floats, Floats] | None, near: Floats) -> Floats | None:
    """Where two lines meet, None where that is not at the measured corner."""
    if a is None or b is None:
        return None
    (p, u), (q, v) = a, b
    cross = float(u[0] * v[1] - u[1] * v[0])
    if abs(cross) < 0.05:
        return None
    meet = p + u * float((q - p)[0] * v[1] - (q - p)[1] * v[0]) / cross
    return meet if np.hypot(*(meet - near)) < 2 * _CORNER else None


def _foot(line: tuple[Floats, Floats], point: Floats) -> Floats:
    return np.asarray(line[0] + line[1] * float((point - line[0]) @ line[1]))
