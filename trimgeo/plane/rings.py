"""Closed rings as arrays of points, shape (n, 2): counter-clockwise, the first point not repeated.

The inside of a ring is on the left of its sides, so the outward normal of a side is on the right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import MultiPolygon, Polygon

Floats = NDArray[np.float64]

NEEDLESS = 1e-6
"""A point this near to its neighbours' line, or to its neighbour, tells nothing that anyone could measure."""

HAIR = 1e-9
"""Lines along a border are judged this much to their side, mm: above rounding, far below all else."""


def ring_points(polygon: Polygon) -> Floats:
    """The outer ring of a polygon, shape (n, 2), counter-clockwise, first point not repeated.

    >>> ring_points(Polygon([(0, 0), (0, 1), (1, 1)])).tolist()
    [[1.0, 1.0], [0.0, 1.0], [0.0, 0.0]]
    """
    return counter_clockwise(shapely.get_coordinates(polygon.exterior)[:-1])


def signed_area(points: ArrayLike) -> float:
    """Area of a ring, shape (n, 2), in mm²: positive when it runs counter-clockwise (shoelace formula).

    >>> signed_area([(0, 0), (2, 0), (2, 3)])
    3.0
    """
    xy = np.asarray(points, dtype=np.float64)
    xy = xy - xy[0]
    x, y = xy.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)


def counter_clockwise(points: ArrayLike) -> Floats:
    """The ring, shape (n, 2), turned round where it runs clockwise.

    >>> counter_clockwise([(0, 0), (0, 3), (2, 3)]).tolist()
    [[2.0, 3.0], [0.0, 3.0], [0.0, 0.0]]
    """
    xy = np.asarray(points, dtype=np.float64)
    return np.asarray(xy if signed_area(xy) >= 0 else xy[::-1])


def simplified(points: ArrayLike, tolerance: float = NEEDLESS) -> Floats:
    """The ring without repeated and collinear points, shape (m, 2); what stays does not depend on the start.

    A point goes where it, and every point dropped before it, is within ``tolerance`` mm of the chord
    that takes its place, so that a flattened curve is never eaten up.

    >>> simplified([(0, 0), (1, 0), (1, 0), (2, 0), (2, 2)]).tolist()
    [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0]]
    """
    xy = np.asarray(points, dtype=np.float64)
    soft = _deviations(xy) <= tolerance
    if len(xy) < 4 or not soft.any():
        return xy
    extreme = int(np.lexsort((xy[:, 1], xy[:, 0]))[0])
    walk = np.append((np.arange(len(xy)) + extreme) % len(xy), extreme)
    kept = ~soft
    kept[extreme] = True
    last = 0
    for here in np.flatnonzero(~kept[walk]):
        before = int(here) - 1
        anchor = before if kept[walk[before]] else last
        last = anchor
        between = xy[walk[anchor + 1 : here + 1]]
        if np.max(_distances(between, xy[walk[anchor]], xy[walk[here + 1]])) > tolerance:
            kept[walk[here]] = True
    return np.asarray(xy[kept])


def _deviations(xy: Floats) -> Floats:
    """Distance of every point from the chord of its neighbours, shape (n,)."""
    return _distances(xy, np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0))


def _distances(xy: Floats, start: Floats, end: Floats) -> Floats:
    """Distance of points from chords, as segments, shape (n,)."""
    chord, reach = end - start, xy - start
    square = np.sum(chord * chord, axis=-1)
    along = np.sum(reach * chord, axis=-1) / np.where(square > 0, square, 1.0)
    foot = np.clip(along, 0.0, 1.0)[..., None] * chord
    return np.asarray(np.hypot(*(reach - foot).T))


def side_vectors(points: ArrayLike) -> Floats:
    """Side i runs from point i to point i + 1: its vector, shape (n, 2).

    >>> side_vectors([(0, 0), (2, 0), (2, 3)]).tolist()
    [[2.0, 0.0], [0.0, 3.0], [-2.0, -3.0]]
    """
    xy = np.asarray(points, dtype=np.float64)
    return np.asarray(np.roll(xy, -1, axis=0) - xy)


def unit(vectors: ArrayLike) -> Floats:
    """Vectors, shape (..., 2), brought to length 1.

    >>> unit([(3, 4)]).tolist()
    [[0.6, 0.8]]
    """
    v = np.asarray(vectors, dtype=np.float64)
    return np.asarray(v / np.hypot(v[..., 0], v[..., 1])[..., None])


def right_of(directions: ArrayLike) -> Floats:
    """Directions, shape (..., 2), turned right by 90 degrees: outward normals of a counter-clockwise ring.

    >>> right_of([(1, 0)]).tolist()
    [[0.0, -1.0]]
    """
    d = np.asarray(directions, dtype=np.float64)
    return np.stack([d[..., 1], -d[..., 0]], axis=-1)


def turns(before: ArrayLike, after: ArrayLike) -> Floats:
    """Angles in degrees, shape (...), from one direction to the next: positive to the left.

    >>> turns([(1, 0), (1, 0)], [(0, 1), (1, -1)]).tolist()
    [90.0, -45.0]
    """
    a, b = np.asarray(before, dtype=np.float64), np.asarray(after, dtype=np.float64)
    cross = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return np.asarray(np.degrees(np.arctan2(cross, np.sum(a * b, axis=-1))))


def turning_angles(points: ArrayLike) -> Floats:
    """Angle in degrees by which a ring turns at each of its points, shape (n,): negative where it is reflex.

    >>> turning_angles([(0, 0), (1, 0), (1, 1), (0, 1)]).tolist()
    [90.0, 90.0, 90.0, 90.0]
    """
    sides = side_vectors(points)
    return turns(np.roll(sides, 1, axis=0), sides)


def straightened(points: ArrayLike) -> Floats:
    """An open line, shape (n, 2), without the points that lie on its straight sides, to rounding.

    >>> straightened([(0, 0), (1, 0), (3, 0), (3, 1)]).tolist()
    [[0.0, 0.0], [3.0, 0.0], [3.0, 1.0]]
    """
    xy = np.asarray(points, dtype=np.float64)
    before, after = xy[1:-1] - xy[:-2], xy[2:] - xy[1:-1]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    bent = np.abs(cross) > 1e-9 * np.hypot(*(before + after).T)
    return np.asarray(xy[np.concatenate([[True], bent, [True]])])


@dataclass(frozen=True, eq=False)
class Border:
    """An area and the sides of all its rings as arrays, shape (n, 2), made once for many questions."""

    area: Polygon | MultiPolygon
    starts: Floats
    steps: Floats


def border_of(area: Polygon | MultiPolygon) -> Border:
    """The sides of all rings of an area, which is prepared for quick questions.

    >>> frame = shapely.box(0, 0, 9, 9) - shapely.box(2, 2, 4, 3)
    >>> round(float(np.hypot(*border_of(frame).steps.T).sum()), 9)  # 36 mm outside, 6 mm around the window
    42.0
    """
    shapely.prepare(area)
    xy, ring = shapely.get_coordinates(shapely.get_rings(shapely.get_parts(area)), return_index=True)
    same = ring[1:] == ring[:-1]
    return Border(area, xy[:-1][same], np.diff(xy, axis=0)[same])


def line_inside(points: ArrayLike, border: Border) -> Floats:
    """Where an open line, shape (n, 2), runs inside an area: lengths along it, shape (k, 2), from and to.

    The line is judged a hair to its right, so that one along the area's border, with the area on its left, is
    outside.

    >>> line_inside([(-1, 1), (5, 1)], border_of(shapely.box(0, 0, 2, 2))).tolist()
    [[1.0, 3.0]]
    """
    xy = np.asarray(points, dtype=np.float64)
    steps = np.diff(xy, axis=0)
    before = np.concatenate([[0.0], np.cumsum(np.hypot(steps[:, 0], steps[:, 1]))])
    side, spans = _inside(xy[:-1], steps, right_of(steps), border)
    spans = spans + before[side][:, None]
    if len(spans) == 0:
        return np.empty((0, 2))
    apart = np.flatnonzero(spans[1:, 0] - spans[:-1, 1] > HAIR)
    starts = np.concatenate([spans[:1, 0], spans[apart + 1, 0]])
    return np.column_stack([starts, np.concatenate([spans[apart, 1], spans[-1:, 1]])])


def first_inside(starts: Floats, steps: Floats, aside: Floats, border: Border) -> Floats:
    """How far along each step, shape (k, 2), from its start an area begins, mm, shape (k,); else infinite.

    The steps are judged a hair to the side of ``aside``, shape (k, 2).

    >>> box = border_of(shapely.box(0, 0, 2, 2))
    >>> first_inside(np.array([[-1.0, 1.0]]), np.array([[9.0, 0.0]]), np.array([[0.0, 1.0]]), box).tolist()
    [1.0]
    """
    step, spans = _inside(starts, steps, aside, border)
    found = np.full(len(starts), np.inf)
    np.minimum.at(found, step, spans[:, 0])
    return found


def _inside(starts: Floats, steps: Floats, aside: Floats, border: Border) -> tuple[NDArray[np.intp], Floats]:
    """The pieces of steps inside an area: which step, shape (m,), and lengths along it, shape (m, 2)."""
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    which, share = _crossings(starts, steps, border)
    step = np.concatenate([np.arange(len(steps)), which, np.arange(len(steps))])
    mark = np.concatenate([np.zeros(len(steps)), share, np.ones(len(steps))]) * lengths[step]
    order = np.lexsort((mark, step))
    step, mark = step[order], mark[order]
    piece = np.flatnonzero((step[1:] == step[:-1]) & (mark[1:] - mark[:-1] > 1e-10))
    step, spans = step[piece], np.column_stack([mark[piece], mark[piece + 1]])
    middle = starts[step] + (spans.sum(axis=1) / 2 / lengths[step])[:, None] * steps[step]
    middle += HAIR * unit(aside)[step]
    inside = shapely.contains_xy(border.area, middle[:, 0], middle[:, 1])
    return step[inside], spans[inside]


def _crossings(starts: Floats, steps: Floats, border: Border) -> tuple[NDArray[np.intp], Floats]:
    """Where steps meet the border of an area: which step, and the share of its length, 0 to 1."""
    ex, ey = border.steps.T
    gx, gy = border.starts[:, 0] - starts[:, :1], border.starts[:, 1] - starts[:, 1:]
    dx, dy = steps[:, :1], steps[:, 1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        one = 1 / (dx * ey - dy * ex)
        share = (gx * ey - gy * ex) * one
        across = (gx * dy - gy * dx) * one
        met = (share > 0) & (share < 1) & (across >= -HAIR) & (across <= 1 + HAIR)
    step, side = np.nonzero(met)
    return step, np.asarray(share[step, side])


def part_of_line(points: ArrayLike, low: float, high: float) -> Floats:
    """The part of a line, shape (n, 2), between two lengths along it; near its own points it ends in them.

    >>> part_of_line([(0, 0), (2, 0), (2, 2)], 1, 3).tolist()
    [[1.0, 0.0], [2.0, 0.0], [2.0, 1.0]]
    """
    xy = np.asarray(points, dtype=np.float64)
    before = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    inner = xy[(before > low + NEEDLESS) & (before < high - NEEDLESS)]
    ends = []
    for at in (low, high):
        nearest = int(np.argmin(np.abs(before - at)))
        between = (np.interp(at, before, xy[:, 0]), np.interp(at, before, xy[:, 1]))
        ends.append(xy[nearest] if abs(before[nearest] - at) <= NEEDLESS else np.array(between))
    return np.vstack([ends[0], inner, ends[1]])
