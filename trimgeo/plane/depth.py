"""How deep shapes lie outside an outline: the greatest distance from it over all their outside part.

The greatest distance lies on the boundary of the outside part, or where three or more sides of the
outline are equally near (`peaks`): between fewer the distance grows in some direction, or is the same
along a ridge that ends in one of those.  Along a boundary piece it is found by branch and bound.
The distance from each side is a convex function, so over a triangle it is at most the linear
function through its corner values, and the least of two such functions bounds the cell from above.
That bound is exact between parallel sides, so corridors of constant distance end at once; elsewhere
it closes with the square of the cell.  All lengths are millimetres.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiLineString, MultiPolygon, Polygon

from trimgeo.plane.distances import (
    Floats,
    Ints,
    Pieces,
    capsule_spans,
    cross,
    disc_span,
    feet,
    gaps,
    pieces,
)
from trimgeo.tables import EDGE_TOLERANCE

EXACT: float = 1e-11
"""Search ends within this of the truth: a hundred times finer than what is promised."""

_BLOCK = 200_000
"""Cells times sides looked at together: bounds the memory to some tens of megabytes."""


class Curves(NamedTuple):
    """Straight pieces and arcs: ``base + t * along + radius * (cos t, sin t)``, ``low <= t <= high``.

    ``base`` and ``along`` have shape (n, 2), mm; the rest (n,).  Straight ones have radius 0, arcs ``along``
    0 and t in radians.  ``owner`` is the shape that each belongs to.

    >>> radius, low, high = np.array([[2.0], [0.0], [np.pi]])
    >>> half = Curves(np.array([[5.0, 5.0]]), np.zeros((1, 2)), radius, low, high, np.array([0]))
    >>> half.at(half.high).round(9).tolist()
    [[3.0, 5.0]]
    """

    base: Floats
    along: Floats
    radius: Floats
    low: Floats
    high: Floats
    owner: Ints

    def at(self, t: Floats) -> Floats:
        """Points, shape (n, 2), mm: that of each curve at its own ``t``, shape (n,)."""
        turned = np.column_stack([np.cos(t), np.sin(t)])
        return np.asarray(self.base + t[:, None] * self.along + self.radius[:, None] * turned)

    def take(self, which: NDArray[Any] | slice) -> Curves:
        """The curves of an index, mask or slice."""
        base, along, radius, low, high, owner = self
        return Curves(base[which], along[which], radius[which], low[which], high[which], owner[which])


def straight(found: Pieces) -> Curves:
    """Pieces as curves, t from 0 to 1.

    >>> straight(pieces([LineString([(0, 0), (4, 2)])])).take(slice(0, 1)).at(np.array([0.25])).tolist()
    [[1.0, 0.5]]
    """
    nil, one = np.zeros(len(found.owner)), np.ones(len(found.owner))
    return Curves(found.start, found.end - found.start, nil, nil, one, found.owner)


def joined(*groups: Curves) -> Curves:
    """All curves of all groups, one group after the other."""
    columns = [np.concatenate(column) for column in zip(*groups, strict=True)]
    return Curves(*columns)


def _rims(shape: Pieces, radius: Floats) -> Curves:
    """Circles about all corners and both sides of each piece: more than the rim, never outside the shape."""
    count = len(shape.owner)
    axis = shape.end - shape.start
    length = np.hypot(*axis.T)
    long = length > 0
    side = np.column_stack([-axis[:, 1], axis[:, 0]])[long] * (radius[long] / length[long])[:, None]
    nil = np.zeros(count)
    circles = Curves(shape.start, 0 * axis, radius, nil, nil + 2 * np.pi, shape.owner)
    left, right = (
        straight(Pieces(shape.start[long] + by, shape.end[long] + by, shape.owner[long]))
        for by in (side, -side)
    )
    return joined(circles, left, right)


def _clipped(curves: Curves, waste: MultiPolygon) -> Curves:
    """The stretches of curves that lie in the waste."""
    sides = pieces([waste])
    parts = []
    for block in _blocks(len(curves.owner), len(sides.owner)):
        some = curves.take(block)
        cuts = np.column_stack([some.low, some.high, _meetings(some, sides)])
        cuts = np.sort(np.where(np.isnan(cuts), some.high[:, None], cuts), axis=1)
        low, high = cuts[:, :-1].ravel(), cuts[:, 1:].ravel()
        curve = np.repeat(np.arange(len(some.owner)), cuts.shape[1] - 1)
        real = high > low
        part = some.take(curve[real])._replace(low=low[real], high=high[real])
        inside = np.ones(len(part.owner), dtype=bool)
        for share in (0.5, 0.27, 0.81):  # one place alone could be where a curve touches from within
            x, y = part.at(part.low + share * (part.high - part.low)).T
            inside &= shapely.intersects_xy(waste, x, y)
        parts.append(part.take(inside))
    return joined(*parts) if parts else curves


def _meetings(curves: Curves, sides: Pieces) -> Floats:
    """Values of t, shape (n, k), where curves meet sides; NaN where they do not.

    A little is added at the ends of the sides: a meeting too many only splits, one too few misleads.
    """
    start, d = sides.start, sides.end - sides.start
    base, along = curves.base[:, None], curves.along[:, None]
    arc = curves.radius > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        across = cross(along, d + 0 * base)
        t = cross(start - base, d + 0 * base) / across
        share = cross(start - base, along + 0 * start) / across
    slack = 1e-9
    inside = (share >= -slack) & (share <= 1 + slack) & (t > curves.low[:, None]) & (t < curves.high[:, None])
    lines = np.where(inside & ~arc[:, None], t, np.nan)
    both = []
    for end in disc_span(start - base, d, curves.radius[:, None]):
        point = start - base + np.where(np.isfinite(end), end, 0.0)[..., None] * d
        angle = np.arctan2(point[..., 1], point[..., 0]) % (2 * np.pi)
        both.append(np.where(arc[:, None] & (end >= -slack) & (end <= 1 + slack), angle, np.nan))
    return np.concatenate([lines, *both], axis=1)


def _blocks(count: int, width: int) -> Iterator[slice]:
    step = max(1, _BLOCK // max(width, 1))
    return (slice(low, low + step) for low in range(0, count, step))


def waste_of(edge: Polygon, finished: Polygon, new_edges: Sequence[LineString]) -> MultiPolygon:
    """What is cut off the board: the board without the finished outline.

    Slivers between an existing edge and the board edge that it follows within `EDGE_TOLERANCE` are
    no waste: nothing is cut there, so they have no length of a new edge at their side.

    >>> board, kept = shapely.box(0, 0, 10, 5), shapely.box(0, 0, 6, 5)
    >>> waste_of(board, kept, [LineString([(6, 0), (6, 5)])]).area
    20.0
    """
    parts = shapely.get_parts(shapely.difference(edge, finished))
    parts = parts[(shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)]
    beside = shapely.length(
        shapely.intersection(MultiLineString(list(new_edges)), shapely.buffer(parts, 1e-7))
    )
    corners, part = shapely.get_coordinates(parts, return_index=True)
    far = shapely.distance(finished, shapely.points(corners)) > EDGE_TOLERANCE
    wide = np.bincount(part, weights=far, minlength=len(parts)) > 0
    return MultiPolygon(list(parts[wide | (beside > 1e-5)]))


def peaks(finished: Polygon, waste: MultiPolygon, above: float) -> Floats:
    """Points of the waste, shape (n, 2), where three or more sides are equally near, all around.

    There the distance may be greater than at all points near by; only those further than ``above`` from
    the outline are looked for.  A convex outline has none.  Found
    by quartering squares: one is dropped when at most two sides can be nearest in it, or when all
    that can be lie to one side of it (0 further from the hull of the ways to them than the
    square reaches: those ways turn no faster than the point moves).  Some points are there in
    vain, a saddle or a twin: each is a place of the waste, no more is needed.

    >>> kept = shapely.box(0, 0, 10, 4).difference(shapely.box(4, 1, 6, 4))
    >>> peaks(kept, MultiPolygon([shapely.box(4, 1, 6, 4)]), above=0.5).round(6).tolist()
    [[5.0, 2.0]]
    """
    hull = finished.convex_hull
    if hull.area - finished.area <= 1e-12 * hull.area or waste.is_empty:
        return np.empty((0, 2))
    features = _features(finished)
    x0, y0, x1, y1 = hull.bounds
    half = 0.5 * max(x1 - x0, y1 - y0)
    centres = np.array([[0.5 * (x0 + x1), 0.5 * (y0 + y1)]])
    shapely.prepare(finished)
    while len(centres) and half * np.sqrt(2) > EXACT:
        half *= 0.5
        corners = half * np.array([[-1.0, -1.0], [-1.0, 1.0], [1.0, -1.0], [1.0, 1.0]])
        centres = (centres[:, None] + corners).reshape(-1, 2)
        hopeful = [
            _may_peak(centres[block], half * np.sqrt(2), above, finished, features)
            for block in _blocks(len(centres), len(features.start))
        ]
        centres = centres[np.concatenate(hopeful)]
    centres = np.unique(np.round(centres, 11), axis=0)
    points = shapely.points(centres)
    return np.asarray(
        centres[(shapely.distance(waste, points) <= 1e-9) & (shapely.distance(finished, points) > 1e-9)]
    )


class _Features(NamedTuple):
    """Sides, then outward corners, of an outline; a corner as a side of no length.

    ``before`` and ``after`` are (unit way, point): a corner can be nearest only to points that lie
    beyond it along the side before and short of it along the side after; a side only to points
    beside it.  So a corner is counted once and not as the end of two sides, an inward one never.
    """

    start: Floats
    end: Floats
    before: tuple[Floats, Floats]
    after: tuple[Floats, Floats]
    outward: Ints


def _features(finished: Polygon) -> _Features:
    sides = pieces([shapely.orient_polygons(finished).exterior])
    way = sides.end - sides.start
    way = way / np.hypot(*way.T)[:, None]
    outward = np.flatnonzero(cross(np.roll(way, 1, axis=0), way) > 0)
    corner = sides.start[outward]
    return _Features(
        np.concatenate([sides.start, corner]),
        np.concatenate([sides.end, corner]),
        (np.concatenate([way, way[outward - 1]]), np.concatenate([sides.start, corner])),
        (np.concatenate([way, way[outward]]), np.concatenate([sides.end, corner])),
        outward,
    )


def _may_peak(
    centres: Floats, reach: float, above: float, finished: Polygon, features: _Features
) -> NDArray[np.bool_]:
    """Whether a peak can lie within ``reach`` of each centre, shape (n,).

    Sides that meet in an outward corner are one convex obstacle there, and two obstacles are not
    enough; how far the turn of one goes is not asked before the square is small against its distance.
    """
    ways = feet(centres[:, None], features.start, features.end) - centres[:, None]
    apart = np.hypot(ways[..., 0], ways[..., 1])
    least = apart.min(axis=1)
    near = apart <= least[:, None] + 2 * reach
    (before, start), (after, end) = features.before, features.after
    near &= ((centres[:, None] - start) * before).sum(axis=-1) >= -reach
    near &= ((centres[:, None] - end) * after).sum(axis=-1) <= reach
    side, corner = np.split(near, [near.shape[1] - len(features.outward)], axis=1)
    count = near.sum(axis=1)
    one, other = corner & side[:, features.outward - 1], corner & side[:, features.outward]
    obstacles = count - one.sum(axis=1) - other.sum(axis=1)
    hopeful = (count >= 3) & ((obstacles >= 3) | (least < 4 * reach))
    hopeful &= least + reach >= above
    hopeful &= ~((count == 3) & (one & other).any(axis=1))
    hopeful &= (least <= reach) | ~shapely.contains_xy(finished, centres[:, 0], centres[:, 1])
    check = np.flatnonzero(hopeful & (least > reach))
    hopeful[check] = _surrounded(ways[check], near[check], reach)
    return np.asarray(hopeful)


def _surrounded(ways: Floats, near: NDArray[np.bool_], reach: float) -> NDArray[np.bool_]:
    """Whether 0 may be within ``reach`` of the hull of the ways, shape (n, m, 2), that are near."""
    angle = np.sort(np.where(near, np.arctan2(ways[..., 1], ways[..., 0]), np.nan), axis=1)
    rows = np.arange(len(ways))
    following = np.roll(angle, -1, axis=1)
    following[rows, near.sum(axis=1) - 1] = angle[:, 0] + 2 * np.pi
    turn = np.nan_to_num(following - angle, nan=-1.0)
    widest = turn.argmax(axis=1)
    middle = (angle[rows, widest] + 0.5 * turn[rows, widest] + np.pi)[:, None]
    facing = ways[..., 0] * np.cos(middle) + ways[..., 1] * np.sin(middle)
    return np.asarray(np.where(near, facing, np.inf).min(axis=1) <= reach)


def deepest(
    spines: NDArray[Any], radii: Floats, finished: Polygon, waste: MultiPolygon
) -> tuple[Floats, Floats]:
    """Greatest distance from ``finished``, shape (n,), over what each shape has in the waste, and where.

    A shape is its spine grown by its radius.  Distance 0 and place NaN where it has nothing in the
    waste.  Exact to `EXACT`.

    >>> board, kept = shapely.box(0, 0, 10, 5), shapely.box(0, 0, 6, 5)
    >>> waste = MultiPolygon([shapely.box(6, 0, 10, 5)])
    >>> depth, place = deepest(np.array([shapely.Point(6, 2)]), np.array([1.5]), kept, waste)
    >>> depth.round(9).tolist(), place.round(9).tolist()
    ([1.5], [[7.5, 2.0]])
    """
    sides = pieces([finished])
    depth, place = _climb(_outside(spines, radii, waste), len(spines), sides)
    pockets = shapely.difference(finished.convex_hull, finished)
    some = np.flatnonzero(shapely.dwithin(pockets, spines, radii))
    if len(some) == 0:
        return depth, place
    points = peaks(finished, waste, depth[some].min())
    if len(points) == 0:
        return depth, place
    apart = shapely.distance(spines[some][:, None], shapely.points(points)[None, :])
    height = gaps(points, sides.start, sides.end).min(axis=1)
    height = np.where(apart <= radii[some][:, None] + 1e-10, height, -np.inf)
    best = height.argmax(axis=1)
    highest = height[np.arange(len(some)), best]
    deeper = highest > depth[some]
    depth[some[deeper]] = highest[deeper]
    place[some[deeper]] = points[best[deeper]]
    return depth, place


def _outside(spines: NDArray[Any], radii: Floats, waste: MultiPolygon) -> Curves:
    """The boundary of what shapes have in the waste, and a little more of the same area."""
    index = np.arange(len(spines))
    plain = (radii <= 0) | (shapely.get_dimensions(spines) == 2)
    areas = pieces(shapely.intersection(spines[plain], waste))
    groups = [straight(areas._replace(owner=index[plain][areas.owner]))]
    grown = pieces(spines[radii > 0])
    grown = grown._replace(owner=index[radii > 0][grown.owner])
    radius = radii[grown.owner]
    groups.append(_clipped(_rims(grown, radius), waste))
    sides = pieces([waste])
    for block in _blocks(len(grown.owner), len(sides.owner)):
        shape = grown.take(block)
        low, high = capsule_spans(shape, radius[block], sides)
        which, side = np.nonzero(low <= high)
        part = straight(sides).take(side)
        groups.append(part._replace(low=low[which, side], high=high[which, side], owner=shape.owner[which]))
    return joined(*groups)


def _climb(curves: Curves, count: int, sides: Pieces) -> tuple[Floats, Floats]:
    """Greatest distance from the sides along the curves of each owner, and where."""
    best, place = np.zeros(count), np.full((count, 2), np.nan)
    turns = np.maximum(np.ceil((curves.high - curves.low) / (0.5 * np.pi)), 1).astype(np.int64)
    which = np.repeat(np.arange(len(turns)), turns)
    part = np.arange(len(which)) - np.repeat(np.cumsum(turns) - turns, turns)
    step = ((curves.high - curves.low) / turns)[which]
    cells = curves.take(which)
    cells = cells._replace(low=cells.low + part * step, high=cells.low + (part + 1) * step)
    while len(cells.owner):
        bound = np.empty(len(cells.owner))
        for block in _blocks(len(cells.owner), len(sides.owner)):
            bound[block] = _look(cells.take(block), sides, best, place)
        middle = 0.5 * (cells.low + cells.high)
        open_ = (bound > best[cells.owner] + EXACT) & (middle > cells.low) & (middle < cells.high)
        rest, middle = cells.take(open_), middle[open_]
        cells = joined(rest._replace(high=middle), rest._replace(low=middle))
    return best, place


def _look(cells: Curves, sides: Pieces, best: Floats, place: Floats) -> Floats:
    """Upper bound of each cell, shape (n,); what its ends reach goes into ``best`` and ``place``."""
    middle, half = 0.5 * (cells.low + cells.high), 0.5 * (cells.high - cells.low)
    ends = [cells.at(cells.low), cells.at(cells.high)]
    tip = cells._replace(radius=cells.radius / np.cos(half)).at(middle)
    values = [gaps(points, sides.start, sides.end) for points in (*ends, tip)]
    for points, value in zip(ends, values, strict=False):
        least = value.min(axis=1)
        order = np.lexsort((-least, cells.owner))
        first = order[np.r_[True, np.diff(cells.owner[order]) != 0]]
        first = first[least[first] > best[cells.owner[first]]]
        best[cells.owner[first]] = least[first]
        place[cells.owner[first]] = points[first]
    return _least_of_two(values)


def _least_of_two(values: list[Floats]) -> Floats:
    """Bound of the least of convex functions over triangles: corner values, three times (n, m).

    The best single function is paired with each other one; the least of two linear functions is
    greatest at a corner, or where they are equal on a side of the triangle.
    """
    rows = np.arange(len(values[0]))
    chosen = np.maximum(np.maximum(*values[:2]), values[2]).argmin(axis=1)
    own = [value[rows, chosen][:, None] for value in values]
    bound = np.full_like(values[0], -np.inf)
    for one, value in zip(own, values, strict=True):
        bound = np.maximum(bound, np.minimum(one, value))
    for k, l in ((0, 1), (1, 2), (2, 0)):
        from_, to = own[k] - values[k], own[l] - values[l]
        changes = from_ * to < 0
        share = from_ / np.where(changes, from_ - to, 1.0)
        bound = np.where(changes, np.maximum(bound, own[k] + share * (own[l] - own[k])), bound)
    return np.asarray(bound.min(axis=1))
