"""Outlines around several pieces, drawn tighter than the bridges that they were searched around."""

from __future__ import annotations

import shapely
from shapely import Polygon

from trimgeo.cutting.room import Ground, free_sides
from trimgeo.plane.pose import laid, raised
from trimgeo.plane.tighter import Island, tightened


def tighter(base: Ground, outline: Polygon, neck: float, shortest: float) -> Polygon | None:
    """An outline with as many cuts that may pass through bridges, as long as its bodies hang together.

    None where there is nothing to gain: around one piece, and where the outline is convex, for then it holds
    the hull.  Cuts are ``shortest`` mm long or longer, pieces are joined no thinner than ``neck``.
    """
    if len(base.pieces) == 1 or shapely.convex_hull(outline).area - outline.area < 1e-6 * outline.area:
        return None
    base = base.laid
    own = shapely.orient_polygons(laid(outline, base.pose))
    found = tightened(own, free_sides(own, base.edge), Island(base.pieces, base.allowed, neck, shortest))
    return raised(found, base.pose) if found.area < own.area else None
