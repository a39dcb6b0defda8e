"""A measured ring split into straight stretches and arcs, all of it at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.vision.edge_lines import middle_of_a_side, places_of
from trimgeo.vision.edge_pieces import Piece, arc_through, in_one_line, line_through

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FINE = 0.035
"""Height, mm, of the bends between which a piece may begin and end."""
_NOISE = 0.03
"""Scatter, mm, of measured points about their piece."""
_LINE, _ARC = 14.0, 20.0
"""Squares of scatters that a further line, or arc, must spare; points in a row scatter alike."""
_FARTHEST = 60
"""Bends that one piece passes at most."""
_LEAST_RADIUS, _MOST_RADIUS, _LEAST_RISE = 0.5, 30.0, 0.1
"""Arcs that are told from a corner and from a line: radii and height above the chord, mm."""


@dataclass(frozen=True)
class _Stretches:
    """Candidates from bend ``first`` to ``last``, (k,), what each costs and whether as an arc."""

    first: Ints
    last: Ints
    cost: Floats
    arc: NDArray[np.bool_]


def split(points: Floats) -> list[Piece]:
    """Lines and arcs through measured points, (n, 2), mm, counter-clockwise and closed.

    Of all ways to part the ring at its bends the one whose squares and number of pieces cost least, by
    dynamic programming (Bellman 1961).

    >>> around = shapely.LinearRing([(0, 0), (20, 0), (20, 10), (0, 10)])
    >>> dense = shapely.get_coordinates(shapely.segmentize(around, 0.1))[:-1]
    >>> sorted(np.round(piece.at, 2).tolist() for piece in split(dense))
    [[0.0, 5.0], [10.0, 0.0], [10.0, 10.0], [20.0, 5.0]]
    """
    points = np.roll(points, -middle_of_a_side(points), axis=0)
    closed = np.vstack([points, points[:1]])
    bends = np.array(
        places_of(closed, shapely.get_coordinates(shapely.simplify(shapely.LineString(closed), _FINE)))
    )
    candidates = _stretches(closed, bends)
    least = np.full(len(bends), np.inf)
    chosen = np.zeros(len(bends), dtype=np.int64)
    least[0] = 0.0
    for last in range(1, len(bends)):
        ending = np.flatnonzero(candidates.last == last)
        total = least[candidates.first[ending]] + candidates.cost[ending]
        chosen[last] = ending[int(np.argmin(total))]
        least[last] = total.min()
    found: list[Piece] = []
    last = len(bends) - 1
    while last > 0:
        n = int(chosen[last])
        part = closed[bends[candidates.first[n]] : bends[last] + 1]
        piece = (arc_through(part) if candidates.arc[n] else None) or line_through(part)
        if piece is not None:
            found.insert(0, piece)
        last = int(candidates.first[n])
    return in_one_line(found)


def _stretches(points: Floats, bends: Ints) -> _Stretches:
    """Costs of a line and of an arc through the points between each two bends, from sums up to each.

    The arc's squares are those of x² + y² - 2 a x - 2 b y - c by 4 r² (Kåsa 1976).
    """
    first, last = np.triu_indices(len(bends), 1)
    near = last - first <= _FARTHEST
    first, last = first[near], last[near]
    x, y = (points - points.mean(axis=0)).T
    z = x * x + y * y
    terms = np.column_stack([np.ones(len(x)), x, y, z, x * x, x * y, y * y, x * z, y * z, z * z])
    sums = np.vstack([np.zeros(terms.shape[1]), np.cumsum(terms, axis=0)])
    n, sx, sy, sz, sxx, sxy, syy, sxz, syz, szz = (sums[bends[last] + 1] - sums[bends[first]]).T
    cxx, cxy, cyy = sxx - sx * sx / n, sxy - sx * sy / n, syy - sy * sy / n
    cxz, cyz, czz = sxz - sx * sz / n, syz - sy * sz / n, szz - sz * sz / n
    line = np.maximum((cxx + cyy) / 2 - np.hypot((cxx - cyy) / 2, cxy), 0.0)
    det = np.maximum(cxx * cyy - cxy * cxy, 1e-12)
    a, b = (cxz * cyy - cyz * cxy) / det, (cyz * cxx - cxz * cxy) / det
    off = np.maximum(czz - a * cxz - b * cyz, 0.0)
    square = (sz - a * sx - b * sy) / n + (a * a + b * b) / 4
    radius = np.sqrt(np.maximum(square, 1e-9))
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])[bends]
    rise = radius * (1 - np.cos(np.minimum((way[last] - way[first]) / radius, np.pi) / 2))
    fits = (radius > _LEAST_RADIUS) & (radius < _MOST_RADIUS) & (rise > _LEAST_RISE) & (n >= 6)
    as_line = line / _NOISE**2 + _LINE
    as_arc = np.where(fits, off / (4 * square) / _NOISE**2 + _ARC, np.inf)
    return _Stretches(first, last, np.minimum(as_line, as_arc), as_arc < as_line)
