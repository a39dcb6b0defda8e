"""Outlines around several pieces, drawn tighter than the bridges that they were searched around."""

from __future__ import annotations

from functools import cached_property
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.cutting.room import Ground, free_sides
from trimgeo.plane.dents import Wedges, dented, wedges
from trimgeo.plane.pose import laid, raised
from trimgeo.plane.tighter import Island, is_sound, tightened

CONVEX: Final = 1e-6
"""Share of its area by which an outline's hull is larger, at least, where it is not convex."""

LARGER: Final = 1.04
"""A dent is drawn tighter where it makes the outline no larger than so many times the one it has to beat."""


class Tightening:
    """All that is shared by the outlines around some pieces.

    They may pass through bridges, as long as pieces hang together by parts as wide as ``neck``, mm, and their
    cuts are ``shortest`` mm long or longer.
    """

    def __init__(self, base: Ground, neck: float, shortest: float) -> None:
        self._base = base.laid
        self._around = Island(self._base.pieces, self._base.allowed, neck, shortest)

    @cached_property
    def _between(self) -> Wedges:
        return wedges(self._base.pieces)

    def tighter(self, outline: Polygon) -> Polygon | None:
        """A smaller outline with as many cuts; None where none is found.

        None for convex ones as well: they hold the hull, and around that the best is known.
        """
        own = shapely.orient_polygons(laid(outline, self._base.pose))
        if shapely.convex_hull(own).area < own.area * (1 + CONVEX):
            return None
        found = tightened(own, free_sides(own, self._base.edge), self._around)
        return raised(found, self._base.pose) if found.area < own.area else None

    def with_a_dent(self, outline: Polygon, most: float) -> Polygon | None:
        """An outline with one cut more that has less than ``most`` mm², where one is found."""
        own = shapely.orient_polygons(laid(outline, self._base.pose))
        corners, free = shapely.get_coordinates(own.exterior)[:-1], free_sides(own, self._base.edge)
        sound = is_sound(self._around, own)
        found = dented(corners, free, self._between, sound, LARGER * most)
        if not found:
            return None
        _, ring, side = found[0]
        best = tightened(Polygon(ring), np.insert(free, side, False), self._around)
        return raised(best, self._base.pose) if best.area < most else None
