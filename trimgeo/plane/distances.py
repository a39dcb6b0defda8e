"""Nearest points between many shapes and a few lines, exact and quick.

Shapes are flattened into pieces (straight pieces of boundary or centre line, points as pieces of no
length).  Runs of pieces are bounded by circles, so that only pairs which can hold the nearest
points are measured.  All lengths are millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_RUN = 16
"""Pieces under one bounding circle: a 12-cornered keep-out is one run, a copper plane many."""

_BLOCK = 400_000
"""Runs times lines measured at a time: bounds the memory to some tens of megabytes."""


class Pieces(NamedTuple):
    """Straight pieces, mm: ``start`` and ``end`` have shape (n, 2), ``owner`` (n,) never decreases."""

    start: Floats
    end: Floats
    owner: Ints

    def take(self, which: NDArray[Any] | slice) -> Pieces:
        """The pieces of an index, mask or slice."""
        return Pieces(self.start[which], self.end[which], self.owner[which])


class Nearest(NamedTuple):
    """For each shape its distance, shape (n,), inf where there is nothing, and both points, shape (n, 2)."""

    distance: Floats
    on_shape: Floats
    on_line: Floats


def pieces(geometries: Sequence[Any] | NDArray[Any]) -> Pieces:
    """Straight pieces of points, lines and the boundaries of areas; ``owner`` indexes ``geometries``.

    Parts and holes of areas are all there; an open line ends in a piece of no length, so that the
    starts alone are all the corners.  Empty geometries and None give nothing.

    >>> pieces([shapely.box(0, 0, 2, 1), shapely.Point(5, 5)]).start.tolist()
    [[2.0, 0.0], [2.0, 1.0], [0.0, 1.0], [0.0, 0.0], [5.0, 5.0]]
    """
    lines, owner = _lines(np.asarray(geometries, dtype=object).ravel())
    corners = shapely.get_coordinates(lines)
    count = shapely.get_num_coordinates(lines)
    last = np.cumsum(count) - 1
    kinds = shapely.get_type_id(lines)
    ring = ((kinds == 2) | (kinds == 3)) & (count > 0)
    start = np.delete(np.arange(len(corners)), last[ring])
    ends_open = np.zeros(len(corners), dtype=bool)
    ends_open[last[~ring & (count > 0)]] = True
    end = start + ~ends_open[start]
    return Pieces(corners.take(start, axis=0), corners.take(end, axis=0), np.repeat(owner, count - ring))


def _lines(geometries: NDArray[Any]) -> tuple[NDArray[Any], Ints]:
    """Points, lines and rings with the index of the geometry each comes from."""
    kinds = shapely.get_type_id(geometries)
    whole = ((kinds >= 0) & (kinds <= 2)) | ((kinds == 3) & (shapely.get_num_interior_rings(geometries) == 0))
    if whole.all():
        return geometries, np.arange(len(geometries))
    parts, owner = shapely.get_parts(geometries, return_index=True)
    polygons = shapely.get_type_id(parts) == 3
    rings, of_part = shapely.get_rings(parts[polygons], return_index=True)
    lines = np.concatenate([parts[~polygons], rings])
    owners = np.concatenate([owner[~polygons], owner[polygons][of_part]])
    order = np.argsort(owners, kind="stable")
    return lines[order], owners[order]


def feet(points: Floats, start: Floats, end: Floats) -> Floats:
    """Nearest points, shape (n, 2), of the pieces ``start`` to ``end`` to ``points``, pair by pair.

    Broadcasts: points (n, 1, 2) against pieces (m, 2) give (n, m, 2).

    >>> feet(np.array([[3.0, 4.0]]), np.array([[0.0, 0.0]]), np.array([[10.0, 0.0]])).tolist()
    [[3.0, 0.0]]
    """
    along = end - start
    square = (along**2).sum(axis=-1)
    safe = np.where(square > 0, square, 1.0)
    share = np.clip(((points - start) * along).sum(axis=-1) / safe, 0.0, 1.0)
    return np.asarray(start + share[..., None] * along)


def gaps(points: Floats, start: Floats, end: Floats) -> Floats:
    """Distances, shape (n, m), of points (n, 2) from pieces (m, 2).

    >>> gaps(np.array([[3.0, 4.0]]), np.array([[0.0, 0.0]]), np.array([[0.0, 0.0]])).tolist()
    [[5.0]]
    """
    x, y = points[:, :1], points[:, 1:]
    return np.asarray(np.sqrt(_share_and_square(x, y, start[:, 0], start[:, 1], end[:, 0], end[:, 1])[1]))


def _share_and_square(
    x: Floats, y: Floats, ax: Floats, ay: Floats, bx: Floats, by: Floats
) -> tuple[Floats, Floats]:
    """Share along the piece a-b of the point nearest (x, y), and the square of the distance."""
    dx, dy = bx - ax, by - ay
    square = dx * dx + dy * dy
    inverse = 1.0 / np.where(square > 0, square, 1.0)
    px, py = x - ax, y - ay
    share = np.minimum(np.maximum((px * dx + py * dy) * inverse, 0.0), 1.0)
    px -= share * dx
    py -= share * dy
    return share, px * px + py * py


class _Runs(NamedTuple):
    """Runs of pieces: first piece, number of pieces, owner, and a circle around each."""

    first: Ints
    length: Ints
    owner: Ints
    centre: Floats
    radius: Floats

    def take(self, which: slice) -> _Runs:
        return _Runs(
            self.first[which], self.length[which], self.owner[which], self.centre[which], self.radius[which]
        )


def _runs(shapes: Pieces) -> _Runs:
    """Cut the pieces of each shape into runs of at most `_RUN`."""
    total = len(shapes.owner)
    fresh = np.ones(total, dtype=bool)
    fresh[1:] = shapes.owner[1:] != shapes.owner[:-1]
    first_of_shape = np.flatnonzero(fresh)
    rank = np.arange(total) - np.repeat(first_of_shape, np.diff(np.append(first_of_shape, total)))
    first = np.flatnonzero(rank % _RUN == 0)
    low = np.minimum(np.minimum.reduceat(shapes.start, first), np.minimum.reduceat(shapes.end, first))
    high = np.maximum(np.maximum.reduceat(shapes.start, first), np.maximum.reduceat(shapes.end, first))
    length = np.diff(np.append(first, total))
    radius = 0.5 * np.hypot(*(high - low).T)
    return _Runs(first, length, shapes.owner[first], 0.5 * (low + high), radius)


def nearest(shapes: Pieces, count: int, lines: Pieces) -> Nearest:
    """Nearest points of ``count`` shapes and of all ``lines`` together.

    A shape is its pieces alone, not what they enclose; pieces that cross are at distance 0.
    Time grows as pieces times lines, with a small constant; memory is bounded.

    >>> square, wall = pieces([shapely.box(0, 0, 1, 1)]), pieces([shapely.LineString([(3, -5), (3, 5)])])
    >>> found = nearest(square, 1, wall)
    >>> found.distance.tolist(), found.on_line[:, 0].tolist()
    ([2.0], [3.0])
    """
    found = Nearest(np.full(count, np.inf), np.full((count, 2), np.nan), np.full((count, 2), np.nan))
    if len(shapes.owner) == 0 or len(lines.owner) == 0:
        return found
    runs = _runs(shapes)
    step = max(1, _BLOCK // (len(lines.owner) * _RUN))
    ends = np.unique(np.concatenate([lines.start, lines.end]), axis=0)
    bounds = [0]
    while bounds[-1] < len(runs.first):
        stop = min(bounds[-1] + step, len(runs.first))
        bounds.append(int(np.searchsorted(runs.owner, runs.owner[stop - 1], side="right")))
    for low, high in pairwise(bounds):
        _measure(shapes, runs.take(slice(low, high)), lines, ends, found)
    return found


def _measure(shapes: Pieces, runs: _Runs, lines: Pieces, ends: Floats, found: Nearest) -> None:
    """Fill ``found`` for the shapes of ``runs`` (all the runs of each)."""
    x, y = runs.centre.T  # lines by runs: numpy is quickest along the last axis, and runs are many
    square = _share_and_square(x, y, *lines.start.T[..., None], *lines.end.T[..., None])[1]
    apart = np.sqrt(square)
    head = np.flatnonzero(np.r_[True, runs.owner[1:] != runs.owner[:-1]])
    group = np.repeat(np.arange(len(head)), np.diff(np.append(head, len(runs.owner))))
    reach = np.minimum.reduceat(apart.min(axis=0) + runs.radius, head)[group]
    run, line = _by_run(apart <= reach + runs.radius + 1e-9)
    _corners_to_lines(shapes, runs, lines, run, line, found)
    reach = found.distance[runs.owner] + runs.radius + 1e-9
    square = (x - ends[:, :1]) ** 2 + (y - ends[:, 1:]) ** 2
    near, end = _by_run(square <= reach**2)
    _ends_to_pieces(shapes, runs, ends, near, end, found)
    crossing = apart[line, run] <= runs.radius[run]
    if crossing.any():
        _crossings(shapes, runs, lines, run[crossing], line[crossing], found)


def _by_run(hit: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Run and line of each hit, lines by runs, in the order of the runs."""
    flat = np.flatnonzero(np.ascontiguousarray(hit.T))
    return flat // len(hit), flat % len(hit)


def _spread(runs: _Runs, run: Ints) -> tuple[Ints, Ints]:
    """Every piece of the named runs, and for each the position in ``run`` it came from."""
    length = runs.length[run]
    pair = np.repeat(np.arange(len(run)), length)
    offset = np.arange(len(pair)) - np.repeat(np.cumsum(length) - length, length)
    return runs.first[run][pair] + offset, pair


def _nearer(owner: Ints, square: Floats, found: Nearest) -> Ints:
    """First row of each owner that is its least and less than what was found; owners never decrease."""
    if len(owner) == 0:
        return owner
    head = np.flatnonzero(np.r_[True, owner[1:] != owner[:-1]])
    least = np.minimum.reduceat(square, head)
    better = least < found.distance[owner[head]] ** 2
    hit = np.flatnonzero(square == np.repeat(least, np.diff(np.append(head, len(owner)))))
    first = hit[np.searchsorted(hit, head)]
    return np.asarray(first[better])


def _take(found: Nearest, owner: Ints, on_shape: Floats, on_line: Floats) -> None:
    found.distance[owner] = np.hypot(*(on_shape - on_line).T)
    found.on_shape[owner] = on_shape
    found.on_line[owner] = on_line


def _corners_to_lines(
    shapes: Pieces, runs: _Runs, lines: Pieces, run: Ints, line: Ints, found: Nearest
) -> None:
    piece, pair = _spread(runs, run)
    which = line[pair]
    corner = shapes.start.take(piece, axis=0)
    ax, ay, bx, by = (column.take(which) for column in (*lines.start.T, *lines.end.T))
    owner = shapes.owner.take(piece)
    hit = _nearer(owner, _share_and_square(corner[:, 0], corner[:, 1], ax, ay, bx, by)[1], found)
    on_line = feet(corner[hit], lines.start[which[hit]], lines.end[which[hit]])
    _take(found, owner[hit], corner[hit], on_line)


def _ends_to_pieces(shapes: Pieces, runs: _Runs, ends: Floats, run: Ints, end: Ints, found: Nearest) -> None:
    piece, pair = _spread(runs, run)
    point, a, b = ends[end[pair]], shapes.start.take(piece, axis=0), shapes.end.take(piece, axis=0)
    square = _share_and_square(point[:, 0], point[:, 1], a[:, 0], a[:, 1], b[:, 0], b[:, 1])[1]
    owner = shapes.owner.take(piece)
    hit = _nearer(owner, square, found)
    _take(found, owner[hit], feet(point[hit], a[hit], b[hit]), point[hit])


def _crossings(shapes: Pieces, runs: _Runs, lines: Pieces, run: Ints, line: Ints, found: Nearest) -> None:
    piece, pair = _spread(runs, run)
    which = line[pair]
    a, b, c, d = shapes.start[piece], shapes.end[piece], lines.start[which], lines.end[which]
    from_a, from_b = cross(d - c, a - c), cross(d - c, b - c)
    from_c, from_d = cross(b - a, c - a), cross(b - a, d - a)
    meet = (from_a * from_b < 0) & (from_c * from_d < 0)
    share = from_a[meet] / (from_a[meet] - from_b[meet])
    point = a[meet] + share[:, None] * (b[meet] - a[meet])
    owner, first = np.unique(shapes.owner[piece][meet], return_index=True)
    _take(found, owner, point[first], point[first])


def cross(u: Floats, v: Floats) -> Floats:
    """Cross products of vectors, shapes (..., 2).

    >>> cross(np.array([1.0, 0.0]), np.array([0.0, 2.0]))
    array(2.)
    """
    return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])


def capsule_spans(shape: Pieces, radius: Floats, line: Pieces) -> tuple[Floats, Floats]:
    """Where lines run inside pieces grown by ``radius``: shares from and to along them, shape (n, m).

    A grown piece is two discs and the strip between; it is convex, so a line has one stretch in it.
    ``low`` exceeds ``high`` where there is none.

    >>> low, high = capsule_spans(pieces([shapely.Point(5, 0)]), np.array([2.0]),
    ...                           pieces([shapely.LineString([(0, 0), (10, 0)])]))
    >>> float(low[0, 0]), float(high[0, 0])
    (0.3, 0.7)
    """
    a, axis = shape.start[:, None], (shape.end - shape.start)[:, None]
    p, d = line.start, line.end - line.start
    r = radius[:, None]
    low, high = disc_span(p - a, d, r)
    other_low, other_high = disc_span(p - a - axis, d, r)
    low, high = np.minimum(low, other_low), np.maximum(high, other_high)
    length = np.hypot(axis[..., 0], axis[..., 1])
    unit = axis / np.where(length > 0, length, 1.0)[..., None]
    beside = (cross(unit, p - a), cross(unit, d + 0 * a))
    along = (((p - a) * unit).sum(axis=-1), (d * unit).sum(axis=-1))
    strip_low, strip_high = _slab(*beside, -r, r)
    end_low, end_high = _slab(*along, 0 * length, length)
    strip_low, strip_high = np.maximum(strip_low, end_low), np.minimum(strip_high, end_high)
    some = (strip_low <= strip_high) & (length > 0)
    low = np.where(some, np.minimum(low, strip_low), low)
    high = np.where(some, np.maximum(high, strip_high), high)
    return np.maximum(low, 0.0), np.minimum(high, 1.0)


def disc_span(from_centre: Floats, d: Floats, r: Floats) -> tuple[Floats, Floats]:
    """Shares t at which from_centre + t d enters and leaves the disc of radius r; inf, -inf if never.

    >>> disc_span(np.array([-5.0, 3.0]), np.array([10.0, 0.0]), np.array(5.0))
    (array(0.1), array(0.9))
    """
    square = (d**2).sum(axis=-1)
    safe = np.where(square > 0, square, 1.0)
    middle = -(from_centre * d).sum(axis=-1) / safe
    off = from_centre + middle[..., None] * d
    rest = r**2 - (off**2).sum(axis=-1)
    half = np.sqrt(np.maximum(rest, 0.0) / safe)
    hit = (rest >= 0) & (square > 0)
    return np.where(hit, middle - half, np.inf), np.where(hit, middle + half, -np.inf)


def _slab(value: Floats, slope: Floats, least: Floats, most: Floats) -> tuple[Floats, Floats]:
    """Shares t with least <= value + t slope <= most; inf, -inf if there is none."""
    safe = np.where(slope != 0, slope, 1.0)
    one, two = (least - value) / safe, (most - value) / safe
    inside = (value >= least) & (value <= most)
    low = np.where(slope != 0, np.minimum(one, two), np.where(inside, -np.inf, np.inf))
    high = np.where(slope != 0, np.maximum(one, two), np.where(inside, np.inf, -np.inf))
    return low, high


def nearest_on_board(spines: NDArray[Any], radii: Floats, edge: Polygon, lines: Pieces) -> Nearest:
    """Nearest points of ``lines``, all on the board, and of what each grown spine has on the board.

    Each piece grown by its radius is convex, so its nearest point to a line is where it would be
    without the board edge, or on the board edge within the piece.

    >>> found = nearest_on_board(np.array([shapely.Point(0, -1)]), np.array([2.0]), shapely.box(-5, 0, 5, 5),
    ...                          pieces([shapely.LineString([(-5, 3), (5, 3)])]))
    >>> found.distance.round(9).tolist(), found.on_shape.round(9).tolist()
    ([2.0], [[0.0, 1.0]])
    """
    plain = np.flatnonzero((radii <= 0) | (shapely.get_dimensions(spines) == 2))
    round_ = np.flatnonzero(radii > 0)
    areas, grown = pieces(shapely.intersection(spines[plain], edge)), pieces(spines[round_])
    groups = [areas._replace(owner=plain[areas.owner])]
    grown = grown._replace(owner=round_[grown.owner])
    radius = radii[grown.owner]
    border = pieces([edge])
    for low in range(0, len(radius), max(1, _BLOCK // len(border.owner))):
        block = slice(low, low + max(1, _BLOCK // len(border.owner)))
        groups.append(_along(grown.take(block), radius[block], border))
    groups.extend(
        _facing(grown, radius, edge, lines.take(slice(line, line + 1))) for line in range(len(lines.owner))
    )
    start, end, owner = (np.concatenate(column) for column in zip(*groups, strict=True))
    both = Pieces(np.concatenate([start, end]), np.concatenate([end, end]), np.concatenate([owner, owner]))
    return nearest(both.take(np.argsort(both.owner, kind="stable")), len(spines), lines)


def _along(grown: Pieces, radius: Floats, border: Pieces) -> Pieces:
    """The stretches of the border inside the grown pieces."""
    low, high = capsule_spans(grown, radius, border)
    which, side = np.nonzero(low <= high)
    start, way = border.start[side], (border.end - border.start)[side]
    low, high = low[which, side][:, None], high[which, side][:, None]
    return Pieces(start + low * way, start + high * way, grown.owner[which])


def _facing(grown: Pieces, radius: Floats, edge: Polygon, line: Pieces) -> Pieces:
    """Points of the grown pieces nearest to one line, where they lie on the board."""
    count = len(grown.owner)
    own = np.repeat(np.arange(count), 2)
    start = np.stack([grown.start, grown.end], axis=1).reshape(-1, 2)
    found = nearest(Pieces(start, np.repeat(grown.end, 2, axis=0), own), count, line)
    share = np.minimum(radius / np.where(found.distance > 0, found.distance, np.inf), 1.0)
    share = np.where(found.distance > 0, share, 1.0)
    point = found.on_shape + share[:, None] * (found.on_line - found.on_shape)
    on_board = (found.distance <= radius) | shapely.intersects_xy(edge, point[:, 0], point[:, 1])
    return Pieces(point[on_board], point[on_board], grown.owner[on_board])
