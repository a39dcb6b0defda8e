"""Outlines with one cut more: a cut gives way to two that meet inside, between pieces of what is kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.plane.hulls import Floats, Indices

STEP: Final = 2.0
"""mm between points of the pieces' borders of which none may lie in a dent."""

OUT: Final = 2e-5
"""mm by which a line may pass a corner that it touches: rounding."""

TRIED: Final = 25
"""Smallest outlines that are looked at for each cut."""


@dataclass(frozen=True, eq=False)
class Wedges:
    """Pairs of lines between which a dent may be, tips first to last: all pieces are left of either.

    Lines lead through ``points`` by unit vectors ``along``, shape (m, 2); ``one`` leads in to the ``tips``,
    shape (n, 2), ``other`` out again.
    """

    points: Floats
    along: Floats
    one: Indices
    other: Indices
    tips: Floats


def wedges(pieces: NDArray[Any]) -> Wedges:
    """Wedges between lines that touch two pieces each.

    >>> found = wedges(np.array([shapely.box(0, 0, 4, 4), shapely.box(6, 0, 9, 4)], dtype=object))
    >>> bool((found.tips[:, 0] > 3.9).all() and (found.tips[:, 0] < 6.1).all())
    True
    """
    rings = [shapely.get_coordinates(each.exterior)[:-1] for each in pieces]
    ends = np.concatenate([_touching_both(one, other) for one, other in combinations(rings, 2)])
    ends = np.concatenate([ends, ends[:, ::-1]])
    along = ends[:, 1] - ends[:, 0]
    along = along / np.hypot(*along.T)[:, None]
    points = ends[:, 0]
    border = shapely.get_coordinates(shapely.segmentize(pieces, STEP))
    right = np.column_stack([along[:, 1], -along[:, 0]])
    beside = (right @ border.T - np.sum(right * points, axis=1)[:, None] > OUT).astype(np.float32)
    turn = along[:, None, 0] * along[None, :, 1] - along[:, None, 1] * along[None, :, 0]
    one, other = np.nonzero((beside @ beside.T == 0) & (turn < -1e-3))  # no point is right of both
    return Wedges(points, along, one, other, _meet(points[one], along[one], points[other], along[other]))


def _touching_both(one: Floats, other: Floats) -> Floats:
    """The ends of lines that touch a corner of each of two rings, shape (n, 2, 2)."""
    way = other[None] - one[:, None]
    long = np.hypot(way[..., 0], way[..., 1])
    good = long > 1e-6
    for ring, axis in ((one, 0), (other, 1)):
        chords = [np.expand_dims(np.roll(ring, by, axis=0) - ring, 1 - axis) for by in (1, -1)]
        sides = [(way[..., 0] * each[..., 1] - way[..., 1] * each[..., 0]) for each in chords]
        good &= (np.minimum(*sides) >= -OUT * long) | (np.maximum(*sides) <= OUT * long)
    i, j = np.nonzero(good)
    return np.stack([one[i], other[j]], axis=1)


def _meet(points: Floats, along: Floats, others: Floats, theirs: Floats) -> Floats:
    """Where lines meet; not finite where they never do."""
    with np.errstate(divide="ignore", invalid="ignore"):
        at = _cross(others - points, theirs) / _cross(along, theirs)
        return np.asarray(points + at[..., None] * along)


def _cross(one: Floats, other: Floats) -> Floats:
    return np.asarray(one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0])


def dented(
    corners: Floats, free: NDArray[np.bool_], between: Wedges, sound: Callable[[Floats], bool], most: float
) -> list[tuple[float, Floats, int]]:
    """For each cut the smallest outline of less than ``most`` mm² with a dent in its stead, smallest first.

    ``corners``, shape (n, 2), go counter-clockwise, side k from corner k on; ``free`` sides stay.  The sides
    before and after the cut stay on their lines.  Back come areas, corners and the number of the cut.

    >>> two = np.array([shapely.box(0, 0, 4, 4), shapely.box(9, 1, 13, 4)], dtype=object)
    >>> square = np.array([(0.0, 0.0), (13.0, 0.0), (13.0, 4.0), (0.0, 4.0)])
    >>> found = dented(square, np.arange(4) > 0, wedges(two), lambda corners: True, 60.0)
    >>> [(round(area, 2), len(corners), k) for area, corners, k in found]
    [(52.41, 5, 0)]
    """
    found = []
    for k in np.flatnonzero(~free).tolist():
        ring = np.roll(corners, 1 - k, axis=0)  # the side before, then the cut, then the side after
        areas, trials = _dents(ring, between, most)
        for area, (start, tip, end) in zip(areas.tolist(), trials, strict=True):
            trial = np.roll(np.concatenate([ring[:1], [start, tip, end], ring[3:]]), k - 1, axis=0)
            if sound(trial):
                found.append((area, trial, k))
                break
    return sorted(found, key=lambda each: each[0])


def _dents(ring: Floats, between: Wedges, most: float) -> tuple[Floats, Floats]:
    """Areas, and start, tip and end of dents in the second side of a ring, the smallest outlines first."""
    a, p, q, r = (ring[j % len(ring)] for j in range(4))
    starts = _meet(a, p - a, between.points, between.along)
    ends = _meet(q, r - q, between.points, between.along)
    good = (starts - a) @ (p - a) > 0, (r - ends) @ (r - q) > 0
    some = np.flatnonzero(good[0][between.one] & good[1][between.other])
    one, other, tip = between.one[some], between.other[some], between.tips[some]
    start, end = starts[one], ends[other]
    ahead = np.sum((tip - start) * between.along[one], axis=1) > 0
    ahead &= np.sum((end - tip) * between.along[other], axis=1) > 0
    rest = ring[np.r_[3 : len(ring), 0]] if len(ring) > 3 else ring[:1]
    area = _cross(rest[:-1], rest[1:]).sum() + _cross(np.broadcast_to(a, start.shape), start)
    area = (area + _cross(start, tip) + _cross(tip, end) + _cross(end, np.broadcast_to(r, end.shape))) / 2
    fine = np.flatnonzero(ahead & (area < most) & (area > 0))
    fine = fine[np.argsort(area[fine], kind="stable")[:TRIED]]
    return area[fine], np.stack([start, tip, end], axis=1)[fine]
