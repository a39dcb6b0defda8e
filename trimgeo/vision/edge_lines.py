"""Measured edge points to an outline: straight stretches become fitted lines, the rest follows the points."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

Floats = NDArray[np.float64]

_NOISE = 0.08
"""Points this near to a line, mm, lie on it."""
_LEAST_LINE = 1.2
"""A straight stretch shorter than this, mm, is not fitted as one."""
_CORNER = 0.45
"""Points about a corner, mm, that its own bend has moved: they take no part in the lines."""


def straightened(points: Floats) -> Polygon:
    """The outline through measured points, (n, 2), mm, counter-clockwise and closed.

    Stretches are split where they bend by more than the noise; each long enough is fitted as a line, and
    two lines meet in their corner where that lies by the measured points.

    >>> around = shapely.LinearRing([(0, 0), (20, 0), (20, 10), (0, 10)])
    >>> dense = shapely.get_coordinates(shapely.segmentize(around, 0.1))[:-1]
    >>> shapely.get_coordinates(straightened(dense).exterior)[:-1].round(3).tolist()
    [[20.0, 0.0], [20.0, 10.0], [0.0, 10.0], [0.0, 0.0]]
    """
    start = int(np.argmin(points @ (1.0, 1.0)))
    points = np.roll(points, -start, axis=0)
    closed = np.vstack([points, points[:1]])
    simple = shapely.get_coordinates(shapely.simplify(shapely.LineString(closed), _NOISE))
    where = _places(closed, simple)
    pieces = [_line(closed[a : b + 1]) for a, b in zip(where[:-1], where[1:], strict=True)]
    corners: list[Floats] = []
    for n, (a, b) in enumerate(zip(where[:-1], where[1:], strict=True)):
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
    return meet if np.hypot(*(meet - near)) < _CORNER + 0.15 else None


def _foot(line: tuple[Floats, Floats], point: Floats) -> Floats:
    return np.asarray(line[0] + line[1] * float((point - line[0]) @ line[1]))
