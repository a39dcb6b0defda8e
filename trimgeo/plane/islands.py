"""A bound on the cuts of an outline around several islands, however they hang together inside.

`trimgeo.plane.cover` unrolls the room between the islands and the border of what is allowed; there the
outline is a closed way once around, so the windows of greedy links bound it as they do around one piece
(`trimgeo.plane.fewest`).  Nothing is assumed about what joins the islands, so the way found may cross itself,
or leave less than a neck between two of its cuts: then outlines that can be made may need more.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from shapely import Polygon

from trimgeo.plane.annulus import Annulus, NoRoomError, Point, annulus
from trimgeo.plane.fewest import along, around, shortest
from trimgeo.plane.hulls import Floats
from trimgeo.plane.sight import Window
from trimgeo.plane.taut import eaves, taut_unrolled
from trimgeo.plane.windows import by_eave, loop


class Least(NamedTuple):
    """What any outline around all islands needs: ``links`` new cuts.

    ``walk`` are corners of a closed way with so many, in the pose of the room, relaxed; ``witnesses``, shape
    (n, 2, 2), the windows that prove it, as they were placed.
    """

    links: int
    walk: list[Point]
    witnesses: Floats


def least_links(room: Annulus, convex: Least | None = None) -> Least | None:
    """The fewest links of a closed way around an unrolled room.

    ``convex`` is what a loop around their hull needs, without free sides: it counts where the shortest way
    around is convex, for then the hull is allowed and needs no more cuts than they.  None where that is not
    given, and where rounding leads astray.

    >>> import numpy as np, shapely
    >>> from trimgeo.plane.cover import around_islands
    >>> islands = [shapely.box(1, 1, 3, 3), shapely.box(7, 7, 9, 9)]
    >>> bent = shapely.box(0, 0, 10, 10) - shapely.box(-1, 5, 5, 11)
    >>> least_links(around_islands(islands, bent, np.zeros(6, dtype=bool))).links
    6
    """
    if room.free.all():
        return Least(0, [], np.zeros((0, 2, 2)))
    across = eaves(taut_unrolled(room))
    closed = by_eave(room, across[0]) if across else None
    if closed is not None:
        windows = closed.windows
        best = Least(len(windows), around(windows), _lines(room, windows))
    elif convex is not None and not across:
        best = convex
    else:
        return None
    way = shortest(room)
    by_free = sum(hop.links for hop in way)
    if way and by_free <= best.links:
        windows = tuple(window for hop in way for window in hop.windows)
        best = Least(by_free, along(room, way), _lines(room, windows))
    return best


def least_loop(kept: Polygon, allowed: Polygon) -> Least | None:
    """What a loop around one shape needs, as if no side of the border were free; None where it is not known.

    >>> import shapely
    >>> least_loop(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 3, 3)).links
    3
    """
    try:
        room = annulus(kept, allowed, np.zeros(len(allowed.exterior.coords) - 1, dtype=bool))
    except NoRoomError:
        return None
    found = loop(room)
    return found and Least(found.proved, around(found.windows), _lines(room, found.windows))


def _lines(room: Annulus, windows: tuple[Window, ...]) -> Floats:
    """Windows as they were placed."""
    lines = np.array([(window.head, window.hit) for window in windows]).reshape(-1, 2, 2)
    return room.pose.back(lines)
