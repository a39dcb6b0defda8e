"""A shape with fewer corners that holds another one, for searches whose time grows with the corners."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.plane.pose import laid, pose_of, raised


def coarser(shape: Polygon, allowed: Polygon, within: float, pocket: float) -> Polygon:
    """A polygon around ``shape`` (its holes are filled) and inside ``allowed`` that has fewer corners.

    It stands out by at most ``within`` mm, twice that at the most, but for pockets narrower than ``pocket``,
    which it fills: grown and shrunk again (the closing of mathematical morphology), and then grown and
    simplified by the same distance, which leaves every corner outside.  Where that is no single polygon
    around it, it comes back as it is.

    >>> disc = shapely.Point(0, 0).buffer(10, quad_segs=200)
    >>> fewer = coarser(disc, shapely.box(-20, -20, 20, 20), 0.1, 1.0)
    >>> bool(fewer.covers(disc)), len(fewer.exterior.coords) < 50, fewer.area < disc.area + 13
    (True, True, True)
    """
    pose = pose_of([allowed, shape])
    found = _polygons(
        raised(_fewer(laid(Polygon(shape.exterior), pose), laid(allowed, pose), within, pocket), pose)
    )
    if len(found) != 1:
        return shape
    whole = Polygon(found[0].exterior)
    corners = [len(shapely.get_coordinates(each)) for each in (shape, whole)]
    return whole if whole.is_valid and corners[1] < corners[0] else shape


def _fewer(filled: BaseGeometry, allowed: BaseGeometry, within: float, pocket: float) -> BaseGeometry:
    """The same in a pose: where simplifying begins does not depend on how the job lies."""
    wide = shapely.buffer(filled, pocket / 2, join_style="mitre")
    closed = shapely.union(filled, shapely.buffer(wide, -pocket / 2, join_style="mitre"))
    outer = shapely.union_all([Polygon(part.exterior) for part in _polygons(closed)])
    fewer = shapely.simplify(shapely.normalize(shapely.buffer(outer, within, join_style="mitre")), within)
    return shapely.intersection(shapely.union(fewer, filled), allowed)


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    return [part for part in np.atleast_1d(shapely.get_parts(shape)) if isinstance(part, Polygon)]
