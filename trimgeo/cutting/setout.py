"""Setting out without a printer: each corner by two caliper distances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from trimgeo import tables
from trimgeo.cutting.edges import kept_lengths
from trimgeo.model.board import Hole, Ring
from trimgeo.model.plan import Cut, Distance, SetOut
from trimgeo.plane.offsets import SAME
from trimgeo.plane.rings import NEEDLESS, Border, Floats, border_of, line_inside, right_of, turns, unit

SHORTEST_SIDE = 5.0
"""A caliper's jaw needs this much straight edge, mm, to sit square (common practice)."""

ANGLE_STEP = 5.0
"""Degrees: crossings as near to square as this are equally good, and the shorter distances decide."""

LEAST_CROSSING = 15.0
"""Degrees: at less, two distances that are 0.1 mm off put the corner 0.4 mm off, so only one is given."""

NEAREST_HOLES = 16
"""Holes weighed for one corner: the nearest are the easiest to measure from."""


def set_out(
    finished: Ring, guide: Sequence[LineString], edge: Ring, holes: Sequence[Hole], cuts: Sequence[Cut]
) -> tuple[SetOut, ...]:
    """Each corner of the finished outline, those of new edges first, and of the guide line by two distances.

    Distances are perpendicular from straight sides of the board's edge, numbered as in ``edge``, and from the
    rims of holes: those that the finished outline keeps, so that the corner can be measured again when it is
    cut; where they do not give two distances, any of the uncut board.  Of all pairs the one that crosses
    squarest is taken, in steps of 5 degrees, then the one that is shortest.  Of the guide line there are the
    corners on the board and the points where it crosses the board's edge.

    >>> from trimgeo.cutting.edges import new_edges
    >>> board, part = Ring(shapely.box(0, 0, 100, 60)), Ring(shapely.box(0, 0, 40, 60))
    >>> corners = set_out(part, [], board, [], new_edges(part, board))
    >>> for corner in corners:
    ...     print(corner.at, [(d.edge, d.mm) for d in corner.distances])
    (40.0, 0.0) [(4, 0.0), (3, 40.0)]
    (40.0, 60.0) [(2, 0.0), (3, 40.0)]
    (0.0, 60.0) [(2, 0.0), (3, 0.0)]
    (0.0, 0.0) [(3, 0.0), (4, 0.0)]
    """
    smooth, board = _smooth(cuts), border_of(edge.polygon)
    turning = dict.fromkeys(at for cut in cuts for at in (cut.start, cut.end))
    kept = [at for at in _straight_corners(finished) if at not in turning]
    marked = dict.fromkeys((x, y) for line in guide for x, y in _on_board(line, board, smooth).tolist())
    points = np.array([*turning, *kept, *marked]).reshape(-1, 2)
    distances = _best(points, _references(finished, edge, holes))
    short = [i for i, found in enumerate(distances) if len(found) < 2]
    if short:
        for i, found in zip(short, _best(points[short], _references(edge, edge, holes)), strict=True):
            distances[i] = found
    return tuple(
        SetOut(n, at, "finished" if n <= len(turning) + len(kept) else "guide", found)
        for n, (at, found) in enumerate(zip([*turning, *kept, *marked], distances, strict=True), start=1)
    )


def _straight_corners(finished: Ring) -> list[tuple[float, float]]:
    """The corners of an outline in their order, without the ends of chords along its circles."""
    points = shapely.get_coordinates(finished.polygon.exterior)[:-1]
    chord = np.zeros(len(points), dtype=bool)
    for circle in finished.circles:
        on = np.abs(np.hypot(*(points - circle.centre).T) - circle.radius) < SAME
        chord |= on & np.roll(on, 1) & np.roll(on, -1)
    return [(x, y) for x, y in points[~chord].tolist()]


@dataclass(frozen=True, eq=False)
class _References:
    """What a caliper can measure from: straight sides of the board's edge, and holes, that an outline keeps.

    ``number`` is the side's number from 1; ``start``, ``along`` and ``inward`` are its start, direction and
    inward normal; ``centre`` and ``radius`` are the holes'.
    """

    number: NDArray[np.intp]
    start: Floats
    along: Floats
    length: Floats
    inward: Floats
    holes: tuple[Hole, ...]
    centre: Floats
    radius: Floats


def _references(finished: Ring, edge: Ring, holes: Sequence[Hole]) -> _References:
    xy = shapely.get_coordinates(edge.polygon.exterior)
    starts, steps = xy[:-1], np.diff(xy, axis=0)
    lengths = np.hypot(*steps.T)
    kept = np.flatnonzero((kept_lengths(finished, edge) >= SHORTEST_SIDE) & (lengths >= SHORTEST_SIDE))
    along = unit(steps[kept])
    left = -1.0 if shapely.is_ccw(edge.polygon.exterior) else 1.0
    inside = [hole for hole in holes if _keeps(finished, hole)]
    return _References(
        kept + 1,
        starts[kept],
        along,
        lengths[kept],
        left * right_of(along),
        tuple(inside),
        np.array([hole.at for hole in inside]).reshape(-1, 2),
        np.array([hole.diameter / 2 for hole in inside]),
    )


def _keeps(finished: Ring, hole: Hole) -> bool:
    """Whether the whole of a hole stays in the finished board."""
    centre = shapely.Point(hole.at)
    whole = shapely.distance(finished.polygon.exterior, centre) >= hole.diameter / 2
    return bool(shapely.contains(finished.polygon, centre) and whole)


def _best(points: Floats, known: _References) -> list[tuple[Distance, ...]]:
    """For each point the two distances that cross squarest, shorter first; fewer where there are no two."""
    reach = points[:, None] - known.start
    along = np.sum(reach * known.along, axis=2)
    depth = np.sum(reach * known.inward, axis=2)
    beside = (along >= -SAME) & (along <= known.length + SAME) & (depth >= -tables.EDGE_TOLERANCE)
    off = points[:, None] - known.centre
    away = np.hypot(off[..., 0], off[..., 1])
    rim = away - known.radius
    near = np.argsort(rim, axis=1, kind="stable")[:, :NEAREST_HOLES]
    rim, away = np.take_along_axis(rim, near, 1), np.take_along_axis(away, near, 1)
    off = np.take_along_axis(off, near[..., None], 1)
    mm = np.hstack([np.where(beside, np.maximum(depth, 0.0), np.inf), np.where(rim > 0, rim, np.inf)])
    inward = np.broadcast_to(known.inward, (len(points), *known.inward.shape))
    gradients = np.hstack([inward, off / np.maximum(away, SAME)[..., None]])
    return [_pair(*one, known) for one in zip(mm, near, *_squarest(mm, gradients), strict=True)]


def _squarest(mm: Floats, gradients: Floats) -> tuple[NDArray[np.intp], Floats]:
    """For each row of distances the best pair of columns, shape (p, 2), and the angle at which they cross."""
    one, two = np.triu_indices(mm.shape[1], 1)
    if len(one) == 0:
        return np.zeros((len(mm), 2), dtype=np.intp), np.zeros(len(mm))
    a, b = gradients[:, one], gradients[:, two]
    sine = np.clip(np.abs(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]), 0.0, 1.0)
    crossing = np.degrees(np.arcsin(sine))
    together = np.round(mm[:, one] + mm[:, two], 6)
    rank = np.floor((90.0 - crossing) / ANGLE_STEP) * 1e6 + together
    best = np.argmin(rank, axis=1)
    rows = np.arange(len(mm))
    return np.column_stack([one[best], two[best]]), np.where(
        np.isfinite(together[rows, best]), crossing[rows, best], 0
    )


def _pair(
    mm: Floats, near: NDArray[np.intp], pair: NDArray[np.intp], crossing: float, known: _References
) -> tuple[Distance, ...]:
    """The distances of one point in the columns of its best pair, or the shortest where none cross."""
    if not np.any(np.isfinite(mm)):
        return ()
    columns = sorted(pair, key=lambda i: mm[i]) if crossing >= LEAST_CROSSING else [int(np.argmin(mm))]
    sides = len(known.number)
    return tuple(
        Distance(float(mm[i]), edge=int(known.number[i]))
        if i < sides
        else Distance(float(mm[i]), hole=known.holes[near[i - sides]].name)
        for i in columns
    )


def _on_board(line: LineString, board: Border, smooth: float) -> Floats:
    """The corners of a line on the board that turn by over ``smooth`` degrees, and where it crosses the edge.

    In the order of the line, shape (n, 2).
    """
    xy = shapely.get_coordinates(line)
    steps = np.diff(xy, axis=0)
    before = np.concatenate([[0.0], np.cumsum(np.hypot(*steps.T))])
    closed = bool(np.all(xy[0] == xy[-1]))
    bends = np.abs(turns(np.roll(steps, 1, axis=0), steps))
    corner = np.flatnonzero(bends > smooth) if closed else np.flatnonzero(bends[1:] > smooth) + 1
    spans = line_inside(xy, board)
    at = before[corner]
    on = np.any((at[:, None] >= spans[:, 0] - SAME) & (at[:, None] <= spans[:, 1] + SAME), axis=1)
    ends = spans[(spans > SAME) & (spans < before[-1] - SAME)]
    marks = np.sort(np.concatenate([at[on], ends]))
    marks = marks[np.concatenate([np.ones(min(len(marks), 1), dtype=bool), np.diff(marks) > NEEDLESS])]
    return np.column_stack([np.interp(marks, before, xy[:, 0]), np.interp(marks, before, xy[:, 1])])


def _smooth(cuts: Sequence[Cut]) -> float:
    """The greatest turn, in degrees, between two chords of a curved cut: that is no corner to set out."""
    steps = [np.diff(shapely.get_coordinates(cut.line), axis=0) for cut in cuts if cut.circle is not None]
    bends = [np.abs(turns(step[:-1], step[1:])) for step in steps if len(step) > 1]
    return float(np.max(np.concatenate(bends))) + 1e-6 if bends else 0.0
