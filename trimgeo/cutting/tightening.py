"""Outlines around several pieces, drawn tighter than the bridges that they were searched around."""

from __future__ import annotations

from functools import cached_property
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.cutting.room import HAIR, Ground, free_sides
from trimgeo.plane.dents import Wedges, dented, wedges
from trimgeo.plane.pose import laid, raised
from trimgeo.plane.tighter import Island, is_sound, tightened

CONVEX: Final = 1e-6
"""Share of its area by which an outline's hull is larger, at least, where it is not convex."""

NEAR: Final = 1.03
"""An outline is drawn tighter where it is no larger than so many times the one that it has to beat."""


MOST_PIECES: Final = 9
"""Among more pieces no dents are looked for: the lines between them take too long."""


class Tightening:
    """All that is shared by the outlines around some pieces.

    They may pass through bridges, as long as pieces hang together by parts as wide as ``neck``, mm, and their
    cuts are ``shortest`` mm long or longer.
    """

    def __init__(self, base: Ground, neck: float, shortest: float) -> None:
        self._base = base.laid
        self._around = Island(self._base.pieces, self._base.allowed, neck - 2 * HAIR, shortest)

    @cached_property
    def _between(self) -> Wedges:
        return wedges(self._base.pieces)

    def smaller(self, found: Polygon | None, fewer: Polygon | None) -> list[Polygon]:
        """Outlines drawn tighter, smallest first.

        They come from one that was ``found``, if it is not convex: then it holds the hull, and around that
        the best is known.  And from one with a cut ``fewer`` that is dented.
        """
        starts = []
        most = min(each.area for each in (found, fewer) if each is not None)
        if found is not None:
            own = self._laid(found)
            if shapely.convex_hull(own).area > own.area * (1 + CONVEX):
                starts.append((own, free_sides(own, self._base.edge)))
        if fewer is not None and len(self._base.pieces) <= MOST_PIECES:
            starts += self._with_a_dent(self._laid(fewer), NEAR * most)
        tight: list[Polygon] = []
        for start, free in sorted(starts, key=lambda each: each[0].area):
            if not tight or start.area < NEAR * tight[0].area:
                tight.append(tightened(start, free, self._around))
        return [raised(each, self._base.pose) for each in sorted(tight, key=lambda each: each.area)]

    def _laid(self, outline: Polygon) -> Polygon:
        return shapely.orient_polygons(laid(outline, self._base.pose))

    def _with_a_dent(self, outline: Polygon, most: float) -> list[tuple[Polygon, NDArray[np.bool_]]]:
        """The smallest outline with one cut more that has less than ``most`` mm², and its free sides."""
        corners, free = shapely.get_coordinates(outline.exterior)[:-1], free_sides(outline, self._base.edge)
        found = dented(corners, free, self._between, is_sound(self._around, outline), most)
        return [(Polygon(ring), np.insert(free, side, False)) for _, ring, side in found[:1]]
