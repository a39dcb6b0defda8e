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
from trimgeo.plane.rings import NEEDLESS, Floats, line_inside, right_of, turns, unit

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
    """Each corner of new edges and of the guide line by two distances, numbered from 1.

    Distances are perpendicular from straight sides of the board's edge that the finished outline keeps,
    numbered as in ``edge``, and from the rims of holes that it keeps.  Of all pairs the one that crosses
    squarest is taken, in steps of 5 degrees, then the one that is shortest.  Of the guide line there are the
    corners on the board and the points where it crosses the board's edge.

    >>> from trimgeo.cutting.edges import new_edges
    >>> board, part = Ring(shapely.box(0, 0, 100, 60)), Ring(shapely.box(0, 0, 40, 60))
    >>> corners = set_out(part, [], board, [], new_edges(part, board))
    >>> [(corner.at, [(d.edge, d.mm) for d in corner.distances]) for corner in corners]
    [((40.0, 0.0), [(4, 0.0), (3, 40.0)]), ((40.0, 60.0), [(2, 0.0), (3, 40.0)])]
    """
    references = _references(finished, edge, holes)
    turning = [at for cut in cuts for at in (cut.start, cut.end)]
    smooth = _smooth(cuts)
    crossing = [(float(x), float(y)) for line in guide for x, y in _on_board(line, edge, smooth)]
    found: list[SetOut] = []
    for at in dict.fromkeys(turning):
        found.append(SetOut(len(found) + 1, at, "finished", _best(np.asarray(at), references)))
    for at in dict.fromkeys(crossing):
        found.append(SetOut(len(found) + 1, at, "guide", _best(np.asarray(at), references)))
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _References:
    """What a caliper can measure from: kept straight sides of the board's edge, and kept holes.

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


def _best(at: Floats, known: _References) -> tuple[Distance, ...]:
    """The two distances of a point that cross squarest, shorter first; fewer where there are no two."""
    reach = at - known.start
    along = np.sum(reach * known.along, axis=1)
    depth = np.sum(reach * known.inward, axis=1)
    sides = np.flatnonzero(
        (along >= -SAME) & (along <= known.length + SAME) & (depth >= -tables.EDGE_TOLERANCE)
    )
    off = at - known.centre
    away = np.hypot(off[:, 0], off[:, 1])
    rim = away - known.radius
    near = [h for h in np.argsort(rim, kind="stable") if rim[h] > 0][:NEAREST_HOLES]
    gradients = np.vstack([known.inward[sides], off[near] / away[near][:, None]])
    distances = [Distance(max(0.0, float(depth[i])), edge=int(known.number[i])) for i in sides]
    distances += [Distance(float(rim[h]), hole=known.holes[h].name) for h in near]
    if len(distances) < 2:
        return tuple(distances)
    one, two = np.triu_indices(len(distances), 1)
    sine = np.abs(gradients[one, 0] * gradients[two, 1] - gradients[one, 1] * gradients[two, 0])
    crossing = np.degrees(np.arcsin(np.clip(sine, 0.0, 1.0)))
    mm = np.array([distance.mm for distance in distances])
    off_square = np.floor((90.0 - crossing) / ANGLE_STEP)
    best = int(np.lexsort((two, one, np.round(mm[one] + mm[two], 6), off_square))[0])
    if crossing[best] < LEAST_CROSSING:
        return (distances[int(np.argmin(mm))],)
    pair = distances[one[best]], distances[two[best]]
    return tuple(sorted(pair, key=lambda distance: distance.mm))


def _on_board(line: LineString, edge: Ring, smooth: float) -> Floats:
    """The corners of a line on the board that turn by over ``smooth`` degrees, and where it crosses the edge.

    In the order of the line, shape (n, 2).
    """
    xy = shapely.get_coordinates(line)
    steps = np.diff(xy, axis=0)
    before = np.concatenate([[0.0], np.cumsum(np.hypot(*steps.T))])
    closed = bool(np.all(xy[0] == xy[-1]))
    bends = np.abs(turns(np.roll(steps, 1, axis=0), steps))
    corner = np.flatnonzero(bends > smooth) if closed else np.flatnonzero(bends[1:] > smooth) + 1
    spans = line_inside(xy, edge.polygon)
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
