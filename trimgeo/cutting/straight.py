"""The smallest outlines by lines that each have all that is kept on one side, across the whole board.

Where nothing but the board's edge is around, an exact program finds them (`trimgeo.plane.kgon`).
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.cutting.finishing import SAME_POINT, tidy
from trimgeo.cutting.kept import MARGIN, Kept
from trimgeo.plane.hulls import Floats, convex_hull, supports
from trimgeo.plane.kgon import smallest_outlines
from trimgeo.plane.tracks import CLEAR_OF_EDGE, Surroundings, surroundings
from trimgeo.tables import EDGE_TOLERANCE


def across_board(held: Kept, most: int) -> list[Polygon]:
    """Smallest outlines by one to ``most`` lines, none where the edge comes between what is kept.

    >>> from trimgeo.cutting.kept import kept
    >>> from trimgeo.model.board import Keepout
    >>> from trimgeo.model.job import Placing
    >>> part = Keepout("part", "other", shapely.box(1, 1, 2, 2), 0.0, (1,), None, 0.5, "")
    >>> held = kept([part], shapely.box(0, 0, 9, 4), 0.3, 0.3, Placing(print=0.0, taping=0.0, finish=0.0))
    >>> [round(each.area, 2) for each in across_board(held, 3)]
    [10.0, 6.25, 5.0]
    """
    shapes = held.grown(MARGIN)
    hull = convex_hull(shapely.multipoints(shapely.get_coordinates(shapes)))
    if _parted(shapes, hull, held.edge):
        return []
    around = surroundings(hull, shapely.get_coordinates(held.edge)[:-1])
    found = smallest_outlines(around, most, EDGE_TOLERANCE)
    return [_outline(held, hull, around, each.angles) for each in found if np.isfinite(each.area)]


def _parted(shapes: NDArray[np.object_], hull: Floats, edge: Polygon) -> bool:
    """Whether cuts around all might leave what is kept in two pieces of the board."""
    pieces = shapely.get_parts(shapely.intersection(edge, shapely.buffer(Polygon(hull), MARGIN)))
    pieces = pieces[shapely.get_type_id(pieces) == 3]
    kept = shapely.get_parts(shapes)
    kept = kept[shapely.get_type_id(kept) == 3]
    home = shapely.distance(shapely.point_on_surface(kept)[:, None], pieces[None]).argmin(axis=1)
    return bool((home != home[0]).any())


def _outline(held: Kept, hull: Floats, around: Surroundings, angles: Floats) -> Polygon:
    """The part of the board within support lines at ``angles``, less lines that follow the board edge."""
    while True:
        lines = supports(hull, angles, CLEAR_OF_EDGE)
        outline = tidy(_within(held, hull, around, lines.normal, lines.offset), held.edge)
        corners = shapely.get_coordinates(outline)
        start, end = corners[:-1], corners[1:]
        new = _is_new(start, end, held.edge)
        on_line = (
            np.maximum(
                np.abs(start @ lines.normal.T - lines.offset), np.abs(end @ lines.normal.T - lines.offset)
            )
            < 2 * SAME_POINT
        )
        useful = (on_line & new[:, None]).any(axis=0)
        if useful.all():
            return outline
        angles = angles[useful]


def _within(held: Kept, hull: Floats, around: Surroundings, normal: Floats, offset: Floats) -> Polygon:
    """The piece of the board that holds what is kept, left of every line."""
    size = 4 * float(np.hypot(*np.ptp(np.vstack([around.ring, hull - hull[0]]), axis=0)))
    middle = hull.mean(axis=0)
    region = held.edge
    for across, distance in zip(normal, offset, strict=True):
        along = np.array([-across[1], across[0]])
        foot = middle + across * (distance - across @ middle)
        far = foot - across * size
        half = Polygon([far - along * size, foot - along * size, foot + along * size, far + along * size])
        region = shapely.intersection(region, half)
    pieces = shapely.get_parts(region)
    pieces = pieces[shapely.get_type_id(pieces) == 3]
    body = shapely.get_parts(held.bodies[0])[0]
    return Polygon(pieces[int(np.argmin(shapely.distance(pieces, shapely.point_on_surface(body))))])


def _is_new(start: Floats, end: Floats, edge: Polygon) -> NDArray[np.bool_]:
    """Whether each side is a new cut: somewhere further from the board edge than the edge tolerance."""
    band = shapely.buffer(edge.exterior, EDGE_TOLERANCE)
    return ~np.asarray(shapely.covers(band, shapely.linestrings(np.stack([start, end], axis=1))))
