"""Mitred offsets without a mitre limit, of a whole ring or of stretches of it.

Cuts are straight, so an offset of them has straight sides that meet in sharp corners; a library's rounded or
bevelled corner would put a line where the cutter does not go.  The grown area is the union of the outline, a
quadrilateral beside every side and a kite at every corner that turns outwards: right where sides vanish or
the offset closes a gap as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import MultiPolygon, Polygon

from trimgeo.plane.rings import Floats, counter_clockwise, right_of, straightened, turns, unit

SAME = 1e-7
"""Points this near to each other, in mm, are one: far above rounding, far below a measurement."""


@dataclass(frozen=True, eq=False)
class Stretch:
    """Part of an outline, shape (n, 2), mm, counter-clockwise along it; all of it where ``closed``.

    A closed stretch does not repeat its first point.

    >>> two_sides = Stretch(np.array([(0.0, 0.0), (3.0, 0.0), (3.0, 2.0)]), closed=False)
    >>> two_sides.directions.tolist(), two_sides.turns[1].tolist()
    ([[1.0, 0.0], [0.0, 1.0]], [90.0, 0.0])
    """

    points: Floats
    closed: bool

    @cached_property
    def starts(self) -> Floats:
        """Where the sides start, shape (m, 2)."""
        return self.points if self.closed else self.points[:-1]

    @cached_property
    def ends(self) -> Floats:
        """Where the sides end, shape (m, 2)."""
        return np.roll(self.points, -1, axis=0) if self.closed else self.points[1:]

    @cached_property
    def directions(self) -> Floats:
        """Unit vectors along the sides, shape (m, 2)."""
        return unit(self.ends - self.starts)

    @cached_property
    def turns(self) -> tuple[Floats, Floats]:
        """Angles in degrees, shape (m,), by which the outline turns before and after each side.

        Nothing turns at the ends of an open stretch: 0 there.
        """
        d = self.directions
        after = turns(d, np.roll(d, -1, axis=0))
        if not self.closed:
            after[-1] = 0.0
        return np.roll(after, 1), after


@dataclass(frozen=True, eq=False)
class OffsetLine:
    """A line that keeps its distance from the outline, shape (n, 2), mm; the outline is on its left.

    ``first`` and ``last`` name the stretch and the side that it starts and ends beside.  An end is
    ``free`` where it is the end of a stretch, moved out; else the line ends against the outline.
    """

    points: Floats
    closed: bool
    first: tuple[int, int]
    last: tuple[int, int]
    free_start: bool
    free_end: bool


def mitred_offset(points: ArrayLike, distance: float) -> Polygon | MultiPolygon:
    """A ring, shape (n, 2), moved out by ``distance`` mm (0 or more), corners sharp however acute.

    Area of a convex ring: A + P·d + d²·Σ tan(θᵢ/2) over its turning angles θᵢ (elementary).

    >>> mitred_offset([(0, 0), (2, 0), (2, 1), (0, 1)], 0.5).area
    6.0
    """
    ring = counter_clockwise(points)
    return grown_area(Polygon(ring), [Stretch(ring, closed=True)], distance)


def grown_area(outline: Polygon, stretches: Sequence[Stretch], distance: float) -> Polygon | MultiPolygon:
    """The outline with ``distance`` mm added along the stretches only.

    >>> side = Stretch(np.array([(2.0, 0.0), (2.0, 1.0)]), closed=False)
    >>> grown_area(shapely.box(0, 0, 2, 1), [side], 0.5).area
    2.5
    """
    if distance <= SAME or not stretches:
        return outline
    shapely.prepare(outline)
    pieces = [piece for stretch in stretches for piece in _beside(outline, stretch, distance)]
    if len(pieces) == 1 and stretches[0].closed:
        return pieces[0]  # a ribbon all around, which holds the outline
    return _without_slivers(shapely.union_all([outline, *pieces]))


def with_ends(
    area: Polygon | MultiPolygon, outline: Polygon, ends: ArrayLike, distance: float
) -> Polygon | MultiPolygon:
    """A grown area and the discs around some ends of its stretches, shape (n, 2), outside the outline.

    At the end of a stretch the growth stops square: a line that passes that end would come nearer to it.

    >>> grown = with_ends(shapely.box(0, 0, 2, 1), shapely.box(0, 0, 2, 1), [(2.0, 1.0)], 0.5)
    >>> round(grown.area - 2.0, 2)
    0.59
    """
    corners = shapely.points(np.asarray(ends, dtype=np.float64))
    # So fine that the arc is short of the true one by 3e-7 of its radius: below what anything is judged by.
    discs = shapely.difference(shapely.buffer(corners, distance, quad_segs=1024), outline)
    pieces = [area]
    for corner, disc in zip(corners, discs, strict=True):
        parts = shapely.get_parts(disc)
        pieces += list(parts[shapely.dwithin(parts, corner, SAME)])
    return _without_slivers(shapely.union_all(pieces))


def _without_slivers(area: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
    """The area without the parts and holes that rounding left between neighbours: no width worth the name."""
    parts = []
    for part in shapely.get_parts(area):
        holes = [hole for hole in part.interiors if Polygon(hole).area > SAME * hole.length]
        if part.area > SAME * part.length:
            parts.append(Polygon(part.exterior, holes) if len(holes) < len(part.interiors) else part)
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def offset_lines(
    area: Polygon | MultiPolygon, stretches: Sequence[Stretch], distance: float
) -> tuple[tuple[OffsetLine, ...], tuple[tuple[int, int], ...]]:
    """The lines that bound ``area``, the outline grown by ``distance`` mm along the stretches.

    Also the (stretch, side) that no line runs beside: their neighbours meet before them.

    >>> side = Stretch(np.array([(2.0, 0.0), (2.0, 1.0)]), closed=False)
    >>> lines, lost = offset_lines(grown_area(shapely.box(0, 0, 2, 1), [side], 0.5), [side], 0.5)
    >>> [line.points.tolist() for line in lines], lost
    ([[[2.5, 0.0], [2.5, 1.0]]], ())
    """
    if distance <= SAME or not stretches:
        return tuple(_itself(stretch, i) for i, stretch in enumerate(stretches)), ()
    beside = _raw_segments(stretches, distance)
    lines: list[OffsetLine] = []
    kept = np.zeros(len(beside.side), dtype=bool)
    for ring in _rings(area):
        owner = _owners(ring, beside)
        kept[owner[owner >= 0]] = True
        lines += _runs(ring, owner, beside)
    lines.sort(key=lambda line: (line.first, tuple(line.points[0])))
    return tuple(lines), tuple((int(i), int(k)) for i, k in beside.side[~kept])


def bands(
    starts: ArrayLike, directions: ArrayLike, lengths: ArrayLike, low: float, high: float
) -> NDArray[np.object_]:
    """Rectangles, shape (m,), that run from points along unit directions, ``low`` to ``high`` to the right.

    >>> [band.bounds for band in bands([(0, 0)], [(0, 1)], [3], 1, 2)]
    [(1.0, 0.0, 2.0, 3.0)]
    """
    a, d = np.asarray(starts, dtype=np.float64), np.asarray(directions, dtype=np.float64)
    b, n = a + np.asarray(lengths, dtype=np.float64)[:, None] * d, right_of(d)
    return np.asarray(
        shapely.polygons(np.stack([a + low * n, a + high * n, b + high * n, b + low * n], axis=1))
    )


def _itself(stretch: Stretch, index: int) -> OffsetLine:
    """The line at no distance at all."""
    last = len(stretch.starts) - 1
    points = np.vstack([stretch.points, stretch.points[:1]]) if stretch.closed else stretch.points
    free = not stretch.closed
    return OffsetLine(points, stretch.closed, (index, 0), (index, last), free, free)


# The area -----------------------------------------------------------------------------------


def _beside(outline: Polygon, stretch: Stretch, distance: float) -> list[Polygon | MultiPolygon]:
    """What the offset adds along one stretch: its ribbon where that is simple, else its pieces."""
    ribbon = _ribbon(outline, stretch, distance)
    return [ribbon] if ribbon is not None else _pieces(outline, stretch, distance)


def _ribbon(outline: Polygon, stretch: Stretch, distance: float) -> Polygon | None:
    """The strip between a stretch and its offset in one polygon, or None where that is not the answer.

    It is where no side vanishes (each is longer than what its reflex ends take off it), the strip does not
    touch itself, and it does not meet the outline anywhere else.
    """
    before, after = stretch.turns
    taken = -distance * np.tan(np.radians(np.minimum([before, after], 0.0)) / 2).sum(axis=0)
    if np.any(taken >= np.hypot(*(stretch.ends - stretch.starts).T) - SAME):
        return None
    far, near = _mitred(stretch, distance), stretch.points
    # The strip's ends count too, from a hair beside the outline: a thin part of it may stand across them.
    ends = near[[0, -1]] + 10 * SAME * unit(far[[0, -1]] - near[[0, -1]])
    border = np.vstack([far, far[:1]] if stretch.closed else [ends[:1], far, ends[1:]])
    strip = Polygon(far if stretch.closed else np.vstack([near, far[::-1]]))
    if not strip.is_valid or shapely.intersects(outline, shapely.linestrings(border)):
        return None
    return strip


def _mitred(stretch: Stretch, distance: float) -> Floats:
    """The points of a stretch moved out to where its neighbouring sides' offsets meet."""
    n = right_of(stretch.directions)
    before = np.roll(n, 1, axis=0) if stretch.closed else np.vstack([n[:1], n])
    after = n if stretch.closed else np.vstack([n, n[-1:]])
    return np.asarray(stretch.points + distance * mitre(before, after))


def mitre(before: Floats, after: Floats) -> Floats:
    """Where the lines at distance 1 along these unit normals, shape (m, 2), meet, seen from the corner.

    >>> mitre(np.array([(1.0, 0.0)]), np.array([(0.0, 1.0)])).tolist()
    [[1.0, 1.0]]
    """
    one_plus_cosine = 1 + np.sum(before * after, axis=1)
    return np.asarray((before + after) / np.maximum(one_plus_cosine, 1e-12)[:, None])


def _pieces(outline: Polygon, stretch: Stretch, distance: float) -> list[Polygon | MultiPolygon]:
    """Quadrilaterals beside the sides and kites at the corners that turn outwards.

    Of a piece that passes through a thin part of the outline only what touches its own side or corner counts.
    """
    a, b, n = stretch.starts, stretch.ends, right_of(stretch.directions)
    following = np.roll(n, -1, axis=0)
    out = stretch.turns[1] > 0
    v, one, two = b[out], n[out], following[out]
    tips = v + distance * mitre(one, two)
    kites = shapely.polygons(np.stack([v, v + distance * one, tips, v + distance * two], axis=1))
    quads = shapely.polygons(np.stack([a, a + distance * n, b + distance * n, b], axis=1))
    middles = shapely.linestrings(np.stack([a + (b - a) * 1e-3, b - (b - a) * 1e-3], axis=1))
    pieces = np.concatenate([quads, kites])
    roots = np.concatenate([middles, shapely.points(v)])
    through = np.flatnonzero(shapely.relate_pattern(outline, pieces, "T********"))
    for i in through:
        outside = shapely.get_parts(shapely.difference(pieces[i], outline))
        pieces[i] = shapely.union_all(outside[shapely.dwithin(outside, roots[i], SAME)])
    return list(pieces)


# The lines ----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Segments:
    """The offsets of all sides, as far as its mitres reach; ``side`` is (stretch, side), shape (m, 2)."""

    side: NDArray[np.intp]
    start: Floats
    direction: Floats
    length: Floats
    free_start: Floats
    free_end: Floats


def _raw_segments(stretches: Sequence[Stretch], distance: float) -> _Segments:
    """Offset segments of every side; free ends are nan where a side does not end its stretch."""
    side, start, direction, length, free_start, free_end = [], [], [], [], [], []
    for index, stretch in enumerate(stretches):
        d = stretch.directions
        longer = [distance * np.tan(np.radians(np.maximum(turn, 0.0)) / 2) for turn in stretch.turns]
        out = distance * right_of(d)
        begin, end = stretch.starts + out, stretch.ends + out
        side.append(np.column_stack([np.full(len(d), index), np.arange(len(d))]))
        start.append(begin - longer[0][:, None] * d)
        direction.append(d)
        length.append(np.hypot(*(stretch.ends - stretch.starts).T) + longer[0] + longer[1])
        free = np.full((2, len(d), 2), np.nan)
        if not stretch.closed:
            free[0, 0], free[1, -1] = begin[0], end[-1]
        free_start.append(free[0])
        free_end.append(free[1])
    return _Segments(
        np.concatenate(side),
        *(np.concatenate(part) for part in (start, direction, length, free_start, free_end)),
    )


def _rings(area: Polygon | MultiPolygon) -> list[Floats]:
    """The rings of an area, which is on their left: no point repeated, no side as short as rounding."""
    rings = []
    for ring in shapely.get_rings(shapely.get_parts(shapely.orient_polygons(area))):
        xy = shapely.get_coordinates(ring)[:-1]
        xy = xy[np.hypot(*(xy - np.roll(xy, 1, axis=0)).T) > 1e-9]
        if len(xy) > 2:
            rings.append(xy)
    return rings


def _owners(ring: Floats, beside: _Segments) -> NDArray[np.intp]:
    """Which offset segment each side of a ring lies on, shape (n,); -1 for none."""
    steps = np.roll(ring, -1, axis=0) - ring
    d = unit(steps)
    reach = (ring + steps / 2)[:, None, :] - beside.start[None, :, :]
    along = np.sum(reach * beside.direction, axis=2)
    across = reach[..., 0] * beside.direction[:, 1] - reach[..., 1] * beside.direction[:, 0]
    on = (np.abs(across) < SAME) & (along > -SAME) & (along < beside.length + SAME)
    on &= d @ beside.direction.T > 0.9
    return np.where(on.any(axis=1), on.argmax(axis=1), -1)


def _runs(ring: Floats, owner: NDArray[np.intp], beside: _Segments) -> list[OffsetLine]:
    """The stretches of a ring that lie on offset segments, as lines."""
    count, on = len(ring), owner >= 0
    if not on.any():
        return []
    if on.all():
        changes = np.flatnonzero(owner != np.roll(owner, 1))
        shift = int(changes[np.argmin(owner[changes])])
        order = (np.arange(count + 1) + shift) % count
        keys = [_key(beside, int(owner[order[0]])), _key(beside, int(owner[order[-2]]))]
        return [OffsetLine(straightened(ring[order]), True, keys[0], keys[1], False, False)]
    lines = []
    for first in np.flatnonzero(on & ~np.roll(on, 1)):
        steps = int(np.argmin(np.roll(on, -first)))
        points = straightened(ring[(first + np.arange(steps + 1)) % count])
        one, two = int(owner[first]), int(owner[(first + steps - 1) % count])
        free = [
            bool(np.any(np.hypot(*(ends - point).T) < SAME))
            for ends, point in ((beside.free_start, points[0]), (beside.free_end, points[-1]))
        ]
        lines.append(OffsetLine(points, False, _key(beside, one), _key(beside, two), free[0], free[1]))
    return lines


def _key(beside: _Segments, segment: int) -> tuple[int, int]:
    stretch, side = beside.side[segment]
    return int(stretch), int(side)
