"""A bound on the cuts of an outline around several islands, however they hang together inside.

`trimgeo.plane.cover` unrolls the room between the islands and the border of what is allowed; there the
outline is a closed way once around, so the windows of greedy links bound it as they do around one piece
(`trimgeo.plane.fewest`).  Nothing is assumed about what joins the islands, so the way found may cross itself,
or leave less than a neck between two of its cuts: then outlines that can be made may need more.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trimgeo.plane.annulus import Annulus, Point
from trimgeo.plane.fewest import along, around, shortest
from trimgeo.plane.hulls import Floats
from trimgeo.plane.taut import eaves, taut_unrolled
from trimgeo.plane.windows import by_eave


class Least(NamedTuple):
    """What any outline around all islands needs: ``links`` new cuts.

    ``walk`` are corners of a closed way with so many, in the pose of the room, relaxed; ``witnesses``, shape
    (n, 2, 2), the windows that prove it, as they were placed.
    """

    links: int
    walk: list[Point]
    witnesses: Floats


def least_links(room: Annulus) -> Least | None:
    """The fewest links of a closed way around an unrolled room.

    None where the shortest way around is convex, for then the hull of the islands is allowed and needs no
    more cuts than they, and where rounding leads astray.

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
    if closed is None:
        return None
    links, walk, windows = len(closed.windows), around(closed.windows), closed.windows
    way = shortest(room)
    by_free = sum(hop.links for hop in way)
    if way and by_free <= links:
        links, walk = by_free, along(room, way)
        windows = tuple(window for hop in way for window in hop.windows)
    lines = np.array([(window.head, window.hit) for window in windows]).reshape(-1, 2, 2)
    return Least(links, walk, room.pose.back(lines))
