"""Where a finished part is thin: necks between two bodies, fingers that end nowhere, and slivers.

A body is what a disc of the stated width fits into.  A neck is the shortest line across the part that has
bodies on both sides of it; where the two walls are nearest one of them has a corner, or runs beside the
other, and then up to a corner, so that all such lines lead from a corner to the wall across.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.hulls import Floats, Indices
from trimgeo.plane.rings import ring_points, side_vectors, turning_angles

Point = tuple[float, float]

ROUND = 16
"""Sides to a quarter circle of an eroded or opened part: they stray from it by 0.1 % of its radius."""

EQUAL = 1e-6
"""Widths this near to each other (mm) are the same."""

READS = 0.005
"""mm: what is thinner by less reads as no thinner."""

SHARPEST = 20.0
"""Degrees: a tip sharper than this breaks off (common practice)."""

LEAST_SIDE = 1.0
"""A tip with a shorter side (mm) is gone with the abrasive."""

TAPER = SHARPEST
"""Degrees between the walls of a finger, on average, at most: a wider tip is as strong as any corner."""

FINER = 0.7
"""Fingers are looked for at widths that fall by this factor."""

THINNEST = 0.2
"""Share of the width at which the search for fingers ends."""

LEAST_AREA = 1e-3
"""Pieces left by an opening that are smaller, mm², come from rounding or tell nothing."""

AT_ONCE = 500
"""Lines across that are looked at together: bounds the memory."""

STEEPEST = np.cos(np.pi / 4)
"""A line across a finger is turned by less than 45 degrees from that between the ends of its walls."""

DEEP = 0.5
"""Share of its diameter by which a disc stays out of a tip of 60 degrees: it stays further out of fingers."""

SLACK = 1e-4
"""What an opened part is grown by (mm), so that rounding leaves nothing along straight walls."""


@dataclass(frozen=True)
class Neck:
    """The narrowest line across a part between two of its bodies: its middle, length and ends; mm."""

    at: Point
    width: float
    ends: tuple[Point, Point]


@dataclass(frozen=True, eq=False)
class Finger:
    """A strip that ends nowhere: the middle of its root, its width there, its length, and its area; mm."""

    at: Point
    width: float
    length: float
    area: Polygon


@dataclass(frozen=True)
class Sliver:
    """A sharp tip, its angle in degrees, and its length, mm: of the shorter of its two sides."""

    at: Point
    angle: float
    length: float


def necks(part: Polygon, width: float) -> tuple[Neck, ...]:
    """Where ``part`` (its outer ring alone) is thinner than ``width`` mm between two bodies, narrowest first.

    A body holds a disc of diameter ``width``.  Of all lines across with the same bodies on either side the
    shortest is given, so that a corridor is one neck however uneven it is.

    >>> dumbbell = shapely.box(0, 0, 10, 10) | shapely.box(20, 0, 30, 10) | shapely.box(9, 4, 21, 7)
    >>> [(neck.at, neck.width) for neck in necks(dumbbell, 5.0)]
    [((10.0, 5.5), 3.0)]
    >>> necks(dumbbell, 2.5)
    ()
    """
    ring = ring_points(part)
    bodies = shapely.get_parts(shapely.buffer(Polygon(ring), -width / 2, quad_segs=ROUND))
    if len(bodies) < 2:
        return ()
    corner, side, feet = _across(ring, width)
    apart = np.hypot(*(feet - ring[corner]).T)
    inside = shapely.points(shapely.get_coordinates(shapely.point_on_surface(bodies)))
    order = np.lexsort((*((feet + ring[corner]) / 2).T[::-1], np.round(apart / EQUAL)))
    shortest: dict[bytes, int] = {}
    for some in np.array_split(order, len(order) // AT_ONCE + 1):
        cut_off = shapely.contains(_beyond(ring, corner[some], side[some], feet[some])[:, None], inside)
        for k, these in zip(some.tolist(), cut_off, strict=True):
            if these.any() and not these.all():
                shortest.setdefault((these ^ these[0]).tobytes(), k)
    return tuple(
        Neck(
            _pair((ring[corner[k]] + feet[k]) / 2), float(apart[k]), (_pair(ring[corner[k]]), _pair(feet[k]))
        )
        for k in shortest.values()
    )


def _across(ring: Floats, width: float) -> tuple[Indices, Indices, Floats]:
    """Lines inside a ring shorter than ``width`` that may have bodies on both sides.

    Each from a corner, shape (n,), to its nearest point, shape (n, 2), of a side, shape (n,).
    """
    ends = np.roll(ring, -1, axis=0)
    tree = shapely.STRtree(shapely.linestrings(np.stack([ring, ends], axis=1)))
    corner, side = tree.query(shapely.points(ring), predicate="dwithin", distance=width)
    chord = (ends - ring)[side]
    share = np.clip(np.sum((ring[corner] - ring[side]) * chord, axis=1) / np.sum(chord * chord, axis=1), 0, 1)
    feet = ring[side] + share[:, None] * chord
    apart = np.hypot(*(feet - ring[corner]).T)
    # what holds a disc has its girth or more around it
    lengths = np.hypot(*side_vectors(ring).T)
    before = np.concatenate([[0.0], np.cumsum(lengths)])
    one_way = np.abs(before[side] + share * lengths[side] - before[corner])
    girth = np.minimum(one_way, before[-1] - one_way) + apart
    there = np.flatnonzero((apart < width - EQUAL) & (girth > np.pi * width * 0.99))
    room = shapely.buffer(Polygon(ring), EQUAL / 10, join_style="mitre")
    shapely.prepare(room)
    lines = shapely.linestrings(np.stack([ring[corner[there]], feet[there]], axis=1))
    there = there[shapely.covers(room, lines)]
    return corner[there], side[there], feet[there]


def _beyond(ring: Floats, corner: Indices, side: Indices, feet: Floats) -> NDArray[Any]:
    """The parts of a ring's area from corners on to points of sides, shape (n,)."""
    counts = (side - corner) % len(ring) + 2  # the ring's corners on the way, then the point
    which = np.repeat(np.arange(len(corner)), counts)
    place = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    points = ring[(corner[which] + place) % len(ring)]
    points[np.cumsum(counts) - 1] = feet
    there = counts[which] > 2
    found = np.full(len(corner), Polygon(), dtype=object)
    if there.any():
        rings = shapely.linearrings(points[there], indices=np.unique(which[there], return_inverse=True)[1])
        found[counts > 2] = shapely.polygons(rings)
    return found


def _pair(point: Floats) -> Point:
    return float(point[0]), float(point[1])


def fingers(part: Polygon, width: float) -> tuple[Finger, ...]:
    """Strips of ``part`` thinner than ``width`` mm and longer than they are wide that end nowhere.

    Of ``part`` the outer ring alone counts.  Walls that come together by over 20 degrees on average make a
    corner and no finger.  Found as what a disc cannot reach (the part less its opening), for discs of several
    diameters up to ``width``; of those that overlap, the slenderest is given, longest for its width first.

    >>> tab = shapely.box(0, 0, 30, 20) | shapely.box(30, 5, 42, 8)
    >>> [(round(finger.width, 2), round(finger.length, 2)) for finger in fingers(tab, 5.0)]
    [(3.0, 12.0)]
    """
    area = Polygon(ring_points(part))
    found: list[Finger] = []
    across = width
    while across >= THINNEST * width:
        for rest in _unreached(area, across):
            finger = _finger(rest, area, width)
            if finger is not None:
                found.append(finger)
        across *= FINER
    chosen: list[Finger] = []
    for finger in sorted(found, key=lambda each: (-round(each.length / each.width, 6), each.at)):
        if not any(shapely.relate_pattern(finger.area, each.area, "T********") for each in chosen):
            chosen.append(finger)
    return tuple(chosen)


def _unreached(area: Polygon, across: float) -> list[Polygon]:
    """The pieces of an area that a disc of that diameter inside it stays far from: no ordinary corners."""
    bodies = shapely.buffer(area, -across / 2, quad_segs=ROUND)
    if bodies.is_empty:
        return []
    reached = shapely.buffer(bodies, across / 2 + SLACK, quad_segs=ROUND)
    pieces = shapely.get_parts(shapely.difference(area, reached))
    pieces = pieces[(shapely.get_type_id(pieces) == 3) & (shapely.area(pieces) > LEAST_AREA)]
    points, piece = shapely.get_coordinates(pieces, return_index=True)
    depth = np.zeros(len(pieces))
    np.maximum.at(depth, piece, shapely.distance(reached, shapely.points(points)))
    return list(pieces[depth > DEEP * across])


def _finger(rest: Polygon, area: Polygon, width: float) -> Finger | None:
    """The finger that an unreached piece is, where it hangs on one body, and is slender and blunt enough."""
    walls = _walls(rest, area)
    if walls is None:
        return None
    mouth, strip = walls[[0, -1]], Polygon(walls)
    broad, long = _extent(mouth, walls)
    narrowing = long**2 * np.tan(np.radians(TAPER / 2))
    if long <= broad or not strip.is_valid or strip.area < long * broad - narrowing:
        return None
    root = _root(walls)
    broad, long = _extent(root, walls)
    return Finger(_pair(root.mean(axis=0)), broad, long, strip) if broad < min(long, width - EQUAL) else None


def _extent(root: Floats, walls: Floats) -> tuple[float, float]:
    """The length of a finger's root, and how far its walls lead from it."""
    line = shapely.LineString(root)
    return float(line.length), float(np.max(shapely.distance(line, shapely.points(walls))))


def _walls(rest: Polygon, area: Polygon) -> Floats | None:
    """The way along the border of the area around an unreached piece, shape (n, 2); None for several."""
    ring = ring_points(rest)
    middles = (ring + np.roll(ring, -1, axis=0)) / 2
    wall = shapely.distance(area.exterior, shapely.points(middles)) < SLACK / 10
    ends = np.flatnonzero(wall & ~np.roll(wall, -1)) + 1
    if len(ends) != 1:
        return None
    ring = np.roll(ring, -int(ends[0]), axis=0)  # now the mouth comes first
    walls = np.vstack([ring[np.count_nonzero(~wall) :], ring[0]])
    return walls if len(walls) > 2 else None


def _root(walls: Floats) -> Floats:
    """The shortest line across from an end of a finger's walls, or between both, shape (2, 2)."""
    mouth = shapely.LineString(walls[[0, -1]])
    tip = int(np.argmax(shapely.distance(mouth, shapely.points(walls))))
    lines = [mouth]
    for end, across in ((walls[0], walls[tip:]), (walls[-1], walls[: tip + 1])):
        line = shapely.shortest_line(shapely.Point(end), shapely.LineString(across))
        steps = [np.diff(shapely.get_coordinates(each), axis=0)[0] for each in (line, mouth)]
        if (
            abs(steps[0] @ steps[1]) > STEEPEST * line.length * mouth.length
        ):  # not along the finger to its end
            lines.append(line)
    return np.asarray(shapely.get_coordinates(min(lines, key=lambda line: round(line.length, 9))))


def slivers(part: Polygon, sharpest: float = SHARPEST, least: float = LEAST_SIDE) -> tuple[Sliver, ...]:
    """Tips of ``part`` (its outer ring alone) sharper than so many degrees, at least ``least`` mm long.

    >>> slivers(Polygon([(0, 0), (20, 0), (20, 3)]))[0].at
    (0.0, 0.0)
    """
    ring = ring_points(part)
    angles = 180.0 - turning_angles(ring)
    lengths = np.hypot(*side_vectors(ring).T)
    shorter = np.minimum(lengths, np.roll(lengths, 1))
    sharp = np.flatnonzero((angles < sharpest) & (shorter >= least))
    return tuple(Sliver(_pair(ring[k]), float(angles[k]), float(shorter[k])) for k in map(int, sharp))
