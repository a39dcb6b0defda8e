"""Which stretches of the finished outline are cut, and which lie on the board's edge already."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from trimgeo import tables
from trimgeo.model.board import Circle, Ring
from trimgeo.model.plan import Cut
from trimgeo.plane.offsets import SAME, Stretch
from trimgeo.plane.rings import Floats, part_of_line, ring_points, simplified, unit

SHORTEST_STRETCH = 1.0
"""Part of a side that follows the edge for less, mm, is cut with the rest: nobody lifts the cutter for it."""

PARALLEL = 0.01
"""Slope up to which part of a side follows the edge: more leaves it at an angle and is new from its start."""

ON_CIRCLE = 1e-3
"""A point this near to a circle, mm, was flattened from it: a tenth of what joins drawn lines."""


@dataclass(frozen=True, eq=False)
class Chain(Stretch):
    """Consecutive cuts: ``cuts`` are their positions in the tuple that they were chained from.

    ``joints`` are the positions in ``points``, shape (n, 2), mm, where one cut ends and the next begins;
    ``outline`` is the finished outline that they run along.
    """

    cuts: tuple[int, ...]
    joints: tuple[int, ...]
    outline: Polygon


def new_edges(finished: Ring, edge: Ring) -> tuple[Cut, ...]:
    """The new edges of a finished outline, counter-clockwise from its lowest corner, numbered in that order.

    A side, or part of it, is existing where it follows the board edge within `tables.EDGE_TOLERANCE`.
    Sides that follow one circle of ``finished`` are one curved cut.

    >>> board = Ring(shapely.box(0, 0, 100, 60))
    >>> [(cut.start, cut.end) for cut in new_edges(Ring(shapely.box(0, 0, 40, 60)), board)]
    [((40.0, 0.0), (40.0, 60.0))]
    """
    points = simplified(ring_points(finished.polygon))
    curves = _curves(points, finished.circles)
    points, curves = _from_lowest_start(points, curves)
    followed = _follow(points, simplified(ring_points(edge.polygon)))
    beside = np.zeros(len(points), dtype=bool)
    beside[followed.side] = True
    cuts: list[Cut] = []
    for group in np.split(np.arange(len(points)), _group_starts(curves)[1:]):
        line = np.vstack([points[group], points[(group[-1] + 1) % len(points)]])
        circle = finished.circles[curves[group[0]]] if curves[group[0]] >= 0 else None
        parts = _new_parts(line, group, followed, circle) if beside[group].any() else [line]
        for part in parts:
            cuts.append(Cut(len(cuts) + 1, LineString(part), circle))
    return tuple(cuts)


def kept_lengths(finished: Ring, edge: Ring) -> Floats:
    """How much of each side of the board's edge the finished outline keeps, mm, shape (sides of ``edge``,).

    Sides are those of ``edge.polygon.exterior`` as it stands.

    >>> kept_lengths(Ring(shapely.box(0, 0, 40, 60)), Ring(shapely.box(0, 0, 100, 60))).tolist()
    [0.0, 40.0, 60.0, 40.0]
    """
    board = shapely.get_coordinates(edge.polygon.exterior)[:-1]
    reversed_ = not shapely.is_ccw(edge.polygon.exterior)
    followed = _follow(simplified(ring_points(finished.polygon)), board[::-1] if reversed_ else board)
    straight = np.abs(followed.slope) <= PARALLEL
    lengths = np.zeros(len(board))
    np.add.at(lengths, followed.other[straight], (followed.high - followed.low)[straight])
    return np.roll(lengths[::-1], -1) if reversed_ else lengths


def chains(cuts: Sequence[Cut], finished: Ring) -> tuple[Chain, ...]:
    """The cuts, in any order, joined end to start: open chains first by position, counter-clockwise.

    One closed chain where the whole of the outline is new.

    >>> board, part = Ring(shapely.box(0, 0, 100, 60)), Ring(shapely.box(0, 0, 40, 30))
    >>> [(chain.cuts, chain.closed) for chain in chains(new_edges(part, board), part)]
    [((0, 1), False)]
    """
    if not cuts:
        return ()
    drawn = np.array([cut.line for cut in cuts])
    starts, ends = (shapely.get_coordinates(shapely.get_point(drawn, at)) for at in (0, -1))
    meets = np.hypot(*(ends[:, None] - starts[None, :]).transpose(2, 0, 1)) < SAME
    following = {i: int(np.argmax(row)) for i, row in enumerate(meets) if row.any()}
    ring = simplified(ring_points(finished.polygon))
    ring = np.roll(ring, -int(np.lexsort(ring.T)[0]), axis=0)
    around = LineString(np.vstack([ring, ring[:1]]))
    order = np.argsort(shapely.line_locate_point(around, shapely.points(starts)), kind="stable")
    followed = set(following.values())
    firsts = [int(i) for i in order if i not in followed] or [int(order[0])]
    return tuple(_chain(cuts, first, following, finished.polygon) for first in firsts)


def split_at_edge(linked: Sequence[Chain], edge: Ring) -> tuple[Chain, ...]:
    """The chains parted at every joint that lies on the board's edge: there a cut runs out and another in.

    >>> board = Ring(shapely.box(0, 0, 100, 60))
    >>> pointed = Ring(Polygon([(0, 0), (80, 0), (100, 30), (80, 60), (0, 60)]))
    >>> linked = chains(new_edges(pointed, board), pointed)  # its point lies on the board's right side
    >>> [chain.cuts for chain in linked], [chain.cuts for chain in split_at_edge(linked, board)]
    ([(0, 1)], [(0,), (1,)])
    """
    border = edge.polygon.exterior
    parts: list[Chain] = []
    for chain in linked:
        joints = np.asarray(chain.joints, dtype=np.intp)
        gaps = shapely.distance(border, shapely.points(chain.points[joints]))
        parts += _parted(chain, joints[gaps <= tables.EDGE_TOLERANCE])
    return tuple(parts)


def _chain(cuts: Sequence[Cut], first: int, following: dict[int, int], outline: Polygon) -> Chain:
    """The chain that starts with the cut at position ``first``."""
    order = [first]
    while order[-1] in following and following[order[-1]] != first:
        order.append(following[order[-1]])
    closed = order[-1] in following
    lines = [shapely.get_coordinates(cuts[i].line) for i in order]
    joints = np.cumsum([0] + [len(line) - 1 for line in lines])
    points = np.vstack([line[:-1] for line in lines] + ([] if closed else [lines[-1][-1:]]))
    meeting = joints[1:-1] if not closed else joints[:-1] if len(order) > 1 else joints[:0]
    return Chain(points, closed, tuple(order), tuple(int(j) for j in meeting), outline)


def _parted(chain: Chain, at: NDArray[np.intp]) -> list[Chain]:
    """A chain parted at some of its joints, which are positions in its points."""
    if len(at) == 0:
        return [chain]
    points, count = chain.points, len(chain.points)
    joints, cuts = np.asarray(chain.joints), np.asarray(chain.cuts)
    if chain.closed:
        first = int(np.flatnonzero(joints == at[0])[0])
        points = np.roll(points, -int(at[0]), axis=0)
        points, cuts = np.vstack([points, points[:1]]), np.roll(cuts, -first)
        joints, at = (np.roll(joints, -first)[1:] - at[0]) % count, at[1:] - at[0]
    bounds = [0, *(int(i) for i in at), len(points) - 1]
    begins = np.concatenate([[0], joints])
    parts = []
    for low, high in itertools.pairwise(bounds):
        own = tuple(int(j) - low for j in joints if low < j < high)
        taken = tuple(int(c) for c in cuts[(begins >= low) & (begins < high)])
        parts.append(Chain(points[low : high + 1], False, taken, own, chain.outline))
    return parts


def _curves(points: Floats, circles: Sequence[Circle]) -> NDArray[np.intp]:
    """The position of the circle that each side of a ring was flattened from, shape (n,); -1 for none."""
    found = np.full(len(points), -1, dtype=np.intp)
    following = np.roll(points, -1, axis=0)
    for i, circle in reversed(list(enumerate(circles))):
        ends = np.abs(np.hypot(*(points - circle.centre).T) - circle.radius)
        middles = np.abs(np.hypot(*((points + following) / 2 - circle.centre).T) - circle.radius)
        on = (ends <= ON_CIRCLE) & (np.roll(ends, -1) <= ON_CIRCLE)
        found[on & (middles <= tables.FLATTENING + ON_CIRCLE)] = i
    return found


def _group_starts(curves: NDArray[np.intp]) -> NDArray[np.intp]:
    """Where a side starts that is not the same curve as the one before; 0 is always one."""
    new = (curves < 0) | (curves != np.roll(curves, 1))
    new[0] = True
    return np.flatnonzero(new)


def _from_lowest_start(points: Floats, curves: NDArray[np.intp]) -> tuple[Floats, NDArray[np.intp]]:
    """The ring started at its lowest corner that is not inside a curve, so that the start tells nothing."""
    corner = np.flatnonzero((curves < 0) | (curves != np.roll(curves, 1)))
    if len(corner) == 0:
        corner = np.arange(len(points))
    shift = -int(corner[np.lexsort(points[corner].T)[0]])
    return np.roll(points, shift, axis=0), np.roll(curves, shift)


@dataclass(frozen=True, eq=False)
class _Followed:
    """Where sides of the outline run beside sides of the board, within tolerance at both ends of the overlap.

    ``low`` and ``high`` are lengths along the outline's side; ``slope`` is the board side's against it;
    ``other`` is the board's side, ``start`` and ``end`` its ends.
    """

    side: NDArray[np.intp]
    other: NDArray[np.intp]
    low: Floats
    high: Floats
    slope: Floats
    start: Floats
    end: Floats


def _follow(points: Floats, board: Floats) -> _Followed:
    """All pairs of sides of the outline and of the board that run beside each other, the same way round."""
    a, b = points, np.roll(points, -1, axis=0)
    c, e = board, np.roll(board, -1, axis=0)
    tree = shapely.STRtree(shapely.linestrings(np.stack([c, e], axis=1)))
    beside = shapely.linestrings(np.stack([a, b], axis=1))
    side, other = tree.query(beside, predicate="dwithin", distance=tables.EDGE_TOLERANCE)
    d = unit(b - a)[side]
    length = np.hypot(*(b - a).T)[side]
    from_c, from_e = c[other] - a[side], e[other] - a[side]
    x0, x1 = np.sum(from_c * d, axis=1), np.sum(from_e * d, axis=1)
    y0 = d[:, 0] * from_c[:, 1] - d[:, 1] * from_c[:, 0]
    y1 = d[:, 0] * from_e[:, 1] - d[:, 1] * from_e[:, 0]
    low, high = np.maximum(x0, 0.0), np.minimum(x1, length)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (y1 - y0) / (x1 - x0)
        near = np.maximum(np.abs(y0 + slope * (low - x0)), np.abs(y0 + slope * (high - x0)))
        kept = (x1 > x0) & (high - low > SAME) & (near <= tables.EDGE_TOLERANCE + SAME)
    return _Followed(
        side[kept], other[kept], low[kept], high[kept], slope[kept], c[other][kept], e[other][kept]
    )


def _new_parts(
    line: Floats, group: NDArray[np.intp], followed: _Followed, circle: Circle | None
) -> list[Floats]:
    """The parts of a straight or curved side, shape (n, 2), that do not follow the board edge."""
    before = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    total = before[-1]
    here = np.isin(followed.side, group)
    shift = before[followed.side[here] - group[0]]
    spans = np.column_stack([followed.low[here] + shift, followed.high[here] + shift])
    merged = _merged(spans)
    if (
        len(merged) == 1
        and merged[0, 0] <= tables.EDGE_TOLERANCE
        and merged[0, 1] >= total - tables.EDGE_TOLERANCE
    ):
        return []
    if circle is None:
        same = np.abs(followed.slope[here]) <= PARALLEL
    else:
        ends = np.stack([followed.start[here], followed.end[here]])
        gaps = np.abs(np.hypot(*(ends - circle.centre).transpose(2, 0, 1)) - circle.radius)
        same = gaps.max(axis=0) <= tables.EDGE_TOLERANCE
    merged = _merged(spans[same])
    merged = merged[merged[:, 1] - merged[:, 0] >= SHORTEST_STRETCH]
    marks = np.concatenate([[0.0], merged.ravel(), [total]]).reshape(-1, 2)
    parts = [part_of_line(line, low, high) for low, high in marks if high - low > tables.EDGE_TOLERANCE]
    whole_ring = bool(np.all(line[0] == line[-1]))
    if (
        whole_ring
        and len(parts) > 1
        and marks[0, 1] > tables.EDGE_TOLERANCE
        and marks[-1, 0] < total - tables.EDGE_TOLERANCE
    ):
        parts = [*parts[1:-1], np.vstack([parts[-1][:-1], parts[0]])]
    return parts


def _merged(spans: Floats) -> Floats:
    """Spans, shape (n, 2), joined where they overlap or leave less than the edge tolerance between them."""
    if len(spans) == 0:
        return spans.reshape(0, 2)
    spans = spans[np.lexsort((spans[:, 1], spans[:, 0]))]
    reach = np.maximum.accumulate(spans[:, 1])
    first = np.concatenate([[True], spans[1:, 0] > reach[:-1] + tables.EDGE_TOLERANCE])
    starts = np.flatnonzero(first)
    return np.column_stack([spans[starts, 0], np.maximum.reduceat(spans[:, 1], starts)])
