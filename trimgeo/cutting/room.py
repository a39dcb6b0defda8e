"""Where an outline may run: what it must hold, in pieces, and the board within its case around them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.cutting.kept import MARGIN, Kept
from trimgeo.cutting.refusals import between, depth, over_wall, post_within
from trimgeo.model.board import Case
from trimgeo.plane.annulus import needed
from trimgeo.plane.hulls import Floats, convex_hull
from trimgeo.plane.pose import AS_GIVEN, Pose, laid, pose_of
from trimgeo.tables import EDGE_TOLERANCE

HAIR: Final = 1e-4
"""mm: kept areas and walls stand out by this much more while outlines are searched, so that what the search
takes for touching is clear of both.  Where there is no such room, the search is among what is truly clear."""

TOUCHES: Final = 1e-6
"""mm: a kept area that passes a wall by less than this touches it, as in the fit of a finished board."""

POLYGON: Final = 3
"""What shapely calls the type of a polygon."""

ALIKE: Final = 6
"""Decimals: pieces whose areas in mm² agree in so many are told apart by where they lie."""

WALL_SEGMENTS: Final = 12
"""Sides a quarter circle of a gap around a corner of the case."""

FINE_SEGMENTS: Final = 200
"""The same where a length is told."""


@dataclass(frozen=True, eq=False)
class Ground:
    """What is to be held and where the outline may be, mm.

    ``pieces`` are the grown keep-outs, joined where they overlap, without holes; ``allowed`` is the one part
    of the board within the case that holds them all; its holes are posts.  ``hull`` is theirs, and ``edge``
    the board's.  ``kept`` stays as given, where the others are in a ``pose``.
    """

    kept: Kept
    edge: Polygon
    pieces: NDArray[Any]
    allowed: Polygon
    hull: Polygon
    pose: Pose = AS_GIVEN

    @property
    def hull_fits(self) -> bool:
        """Whether the hull of all pieces is allowed."""
        return bool(shapely.covers(shapely.buffer(self.allowed, MARGIN), self.hull))

    @cached_property
    def laid(self) -> Ground:
        """The same in a pose of its own: whatever is worked out there does not depend on how the job lies."""
        pose = pose_of([self.allowed, *self.pieces], MARGIN)
        shapes = [self.edge, self.allowed, self.hull, *self.pieces]
        edge, allowed, hull, *parts = (laid(_without_needless(each), pose) for each in shapes)
        pieces = np.array(parts, dtype=object)
        first = shapely.get_coordinates(shapely.get_point(shapely.get_exterior_ring(pieces), 0))
        size = np.round(shapely.area(pieces), ALIKE)
        return Ground(self.kept, edge, pieces[np.lexsort((*first.T, -size))], allowed, hull, pose)


def ground(held: Kept, case: Case | None) -> Ground:
    """The ground on which outlines are searched.

    Raises `trimgeo.NoOutlineError` where a keep-out reaches over a wall of the case, where a wall comes
    between keep-outs, and where a post stands among what is kept.
    """
    if case is None:
        return _joined(held, None, held.grown(HAIR), held.edge)
    for margin in (HAIR, HAIR / 4, MARGIN):
        shapes, room = held.grown(margin), inside(case, margin)
        outside = shapely.difference(shapes, room)
        outside = outside[~shapely.is_empty(outside)]
        if max((depth(each, room).mm for each in outside), default=0.0) <= TOUCHES:
            return _joined(held, case, shapes, shapely.intersection(held.edge, room))
    raise over_wall(held, case, shapes, room)


def inside(case: Case, margin: float = 0.0, segments: int = WALL_SEGMENTS) -> BaseGeometry:
    """The cavity less its gap and ``margin``, and less the posts grown by both.

    Sides that stand for an arc about a corner are further from it than the gap.

    >>> from trimgeo.model.board import Ring
    >>> inside(Case(Ring(shapely.box(0, 0, 9, 5)), (), gap=0.5)).bounds
    (0.5, 0.5, 8.5, 4.5)
    """
    gap = case.gap + margin
    cavity = shapely.orient_polygons(case.cavity.polygon)
    room = shapely.difference(shapely.buffer(cavity, -gap), _around_corners(cavity, gap, segments))
    for post in case.posts:
        around = shapely.orient_polygons(post.polygon, exterior_cw=True)
        grown = shapely.union(shapely.buffer(post.polygon, gap), _around_corners(around, gap, segments))
        room = shapely.difference(room, grown)
    return room


def _around_corners(shape: Polygon, gap: float, segments: int) -> BaseGeometry:
    """What lies nearer than ``gap`` to the corners of a ring that stand out into its left side.

    Arcs are drawn by their tangents, from the one along the side before to the one along the side after.
    """
    corners = shapely.get_coordinates(shape.exterior)[:-1]
    side = np.roll(corners, -1, axis=0) - corners
    heading = np.arctan2(side[:, 1], side[:, 0]) + np.pi / 2  # of the normal to the left
    turn = np.mod(heading - np.roll(heading, 1) + np.pi, 2 * np.pi) - np.pi
    fans = []
    for k in np.flatnonzero(turn < -1e-9):
        steps = int(np.ceil(-turn[k] / (np.pi / 2) * segments - 1e-6))
        each = turn[k] / steps
        angle = heading[k] - turn[k] + each * (np.arange(steps) + 0.5)
        ends = [[heading[k] - turn[k]], angle, [heading[k]]]
        radius = np.concatenate([[gap], np.full(steps, gap / np.cos(each / 2)), [gap]])
        at = np.concatenate(ends)
        rim = corners[k] + radius[:, None] * np.column_stack([np.cos(at), np.sin(at)])
        fans.append(Polygon([corners[k], *rim]))
    return shapely.union_all(fans)


def _joined(held: Kept, case: Case | None, shapes: NDArray[Any], allowed: BaseGeometry) -> Ground:
    """The pieces of what is kept and the part of what is allowed that holds them all."""
    whole = shapely.get_parts(shapely.union_all(shapes))
    whole = whole[shapely.get_type_id(whole) == POLYGON]
    pieces = polygons_filled(whole)
    parts = shapely.get_parts(allowed)
    parts = parts[shapely.get_type_id(parts) == POLYGON]
    shared = shapely.area(shapely.intersection(pieces[:, None], parts[None]))
    home = shared.argmax(axis=1)
    for k in map(int, np.flatnonzero(home != home[0])):
        pair = (pieces[0], pieces[k])
        raise between(held, case, shapes, pair, _finer(held, case, (parts[home[0]], parts[home[k]])))
    part = shapely.orient_polygons(parts[int(home[0])])
    for post in polygons_of(part.interiors):
        if shapely.covers(shapely.union_all(pieces), post):
            raise post_within(held, case, shapes, post)
    hull = Polygon(convex_hull(shapely.multipoints(shapely.get_coordinates(pieces))))
    return Ground(held, held.edge, pieces, part, hull)


def _finer(held: Kept, case: Case | None, parts: tuple[Polygon, Polygon]) -> tuple[Polygon, Polygon]:
    """Two parts of what is allowed, their arcs as fine as a length between them has to be."""
    if case is None:
        return parts
    room = shapely.get_parts(shapely.intersection(held.edge, inside(case, 0.0, FINE_SEGMENTS)))
    one, other = (room[int(np.argmax(shapely.area(shapely.intersection(room, each))))] for each in parts)
    return one, other


def polygons_filled(shapes: NDArray[Any]) -> NDArray[Any]:
    """Polygons without their holes, joined where one lies in another, largest first.

    >>> frame, part = shapely.box(0, 0, 9, 9) - shapely.box(1, 1, 8, 8), shapely.box(3, 3, 4, 4)
    >>> [each.area for each in polygons_filled(np.array([frame, part], dtype=object))]
    [81.0]
    """
    filled = shapely.get_parts(shapely.union_all(polygons_of([each.exterior for each in shapes])))
    return np.asarray(filled[np.argsort(-shapely.area(filled), kind="stable")])


def polygons_of(rings: Any) -> NDArray[Any]:
    """The areas within some rings."""
    return np.array([Polygon(ring) for ring in rings], dtype=object)


def _without_needless(shape: Polygon) -> Polygon:
    """A polygon without corners that are none: rounded, they would be some."""
    rings = [shapely.get_coordinates(ring)[:-1] for ring in (shape.exterior, *shape.interiors)]
    exterior, *holes = (needed(ring, np.zeros(len(ring), dtype=bool))[0] for ring in rings)
    return Polygon(exterior, holes)


def free_sides(allowed: Polygon, edge: Polygon) -> NDArray[np.bool_]:
    """Which sides of ``allowed``'s outer ring follow the board's own edge, so that nothing is cut there.

    >>> free_sides(shapely.box(0, 0, 5, 4), shapely.box(0, 0, 9, 4)).tolist()
    [False, True, True, True]
    """
    ring = shapely.get_coordinates(allowed.exterior)
    sides = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
    return np.asarray(shapely.covers(shapely.buffer(edge.exterior, EDGE_TOLERANCE), sides))


def whole_sides(allowed: Polygon, edge: Polygon) -> Floats:
    """For each side of ``allowed``'s outer ring the whole side of the board's edge that it follows.

    Shape (n, 2, 2), along the ring; itself where it follows none.

    >>> whole_sides(shapely.box(0, 0, 5, 4), shapely.box(0, 0, 9, 4))[1].tolist()
    [[9.0, 4.0], [0.0, 4.0]]
    """
    ring, own = (
        np.stack([each[:-1], each[1:]], axis=1)
        for each in (shapely.get_coordinates(shape.exterior) for shape in (allowed, edge))
    )
    around = shapely.buffer(shapely.linestrings(own), EDGE_TOLERANCE)
    follows = shapely.covers(around[None], shapely.linestrings(ring)[:, None])
    found = np.where(follows.any(axis=1)[:, None, None], own[follows.argmax(axis=1)], ring)
    back = np.sum((ring[:, 1] - ring[:, 0]) * (found[:, 1] - found[:, 0]), axis=1) < 0
    return np.where(back[:, None, None], found[:, ::-1], found)
