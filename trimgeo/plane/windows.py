"""Fewest straight cuts of a loop around what is kept, where no side of the border is free.

Links are carried on greedily, from window to window.  Two cases (see `loop`):

* The taut loop has an eave.  Any loop crosses the line through it three times: behind the eave, at it and
  before it, and no link crosses a line twice.  So the links that greedy takes from the eave's own window to
  the same one a turn later are the fewest (Ghosh and Maheshwari 1990, from memory; the proof is ours).
* It has none, and is the convex hull of what is kept.  Each tangent of the hull, from where it touches on
  to the border, is crossed by every loop, and a loop of n links starts on one of them anew after n links.
  What greedy reaches from a tangent rises with its direction: so a whole range of directions is excluded by
  what its last one reaches short of its first one (Aggarwal, Booth, O'Rourke, Suri and Yap 1989).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.hulls import Floats, convex_hull, side_angles
from trimgeo.plane.sight import Sight, Window, sight_from
from trimgeo.plane.taut import Touch, eaves, taut_loop

ALONG = 1e-9
"""Radians: a window that turns back by less goes on along the line."""

NARROWEST = 1e-7
"""A range of directions (radians) that is still in doubt at this width is given up: the bound is one less."""

MOST_TANGENTS = 400
"""Greedy walks at most for one bound."""

MOST_TURNS = 3
"""Turns after which a greedy walk that should have closed is given up."""


class Loop(NamedTuple):
    """A loop without free sides: its links' windows in order, and a bound on the number of links, proved.

    The window of one link lies on its line; the next link starts on it.
    """

    windows: tuple[Window, ...]
    proved: int


def carried_on(room: Annulus, sight: Sight) -> Window:
    """The next window around the ring."""
    count = len(room.ring)
    for _ in range(MOST_TURNS * count):
        at = sight.step % count
        window = sight.cross(room.ring[at], room.exits[at])
        if window is not None:
            return window
    raise AssertionError("a straight link cannot go around")


def loop(room: Annulus) -> Loop | None:
    """A loop with the fewest links, as if no side of the border were free.

    None where rounding leads astray.

    >>> from trimgeo.plane.annulus import annulus
    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> found = loop(room)
    >>> len(found.windows), found.proved
    (3, 3)
    """
    bends = taut_loop(room)
    across = eaves(bends)
    if across:
        return by_eave(room, across[0])
    return _by_tangents(room)


def by_eave(room: Annulus, eave: tuple[Touch, Touch]) -> Loop | None:
    """Greedy from an eave's window on to the same one a turn later."""
    one, other = eave
    begun = sight_from(room, other.corner, (other.point[0] - one.point[0], other.point[1] - one.point[1]))
    if begun is None:
        return None
    sight = begun[1]
    end = sight.step + len(room.ring)
    windows: list[Window] = []
    while len(windows) < len(room.points):
        window = carried_on(room, sight)
        windows.append(window)
        same = (window.tail, window.head) == (one.point, other.point) and window.step >= end - 2
        if window.step > end or same:
            return Loop(tuple(windows), len(windows))
    return None


class _Tangent(NamedTuple):
    """Windows of a greedy walk from a tangent, and how far each has turned from direction 0, radians."""

    windows: tuple[Window, ...]
    angles: tuple[float, ...]


def _by_tangents(room: Annulus) -> Loop | None:
    """Try ranges of tangents, halved, until one closes in one link less than the first, or none is left."""
    hull = convex_hull(shapely.multipoints(room.relaxed_kept))
    numbers = {point: k for k, point in enumerate(room.points[: len(room.kept)])}
    tangents = (side_angles(hull), [numbers[(float(x), float(y))] for x, y in hull])
    begin = _walk(room, tangents, 0.0, len(room.points))
    if begin is None:
        return None
    count = next((k for k, angle in enumerate(begin.angles) if angle >= 2 * np.pi), -1) + 1
    if count < 1:
        return None
    fewer = count - 1
    ranges, walks = [(0.0, begin.angles[0])], 0
    while ranges and walks < MOST_TANGENTS:
        low, high = ranges.pop(0)
        last = _walk(room, tangents, high, fewer)
        walks += 1
        if last is None or len(last.angles) < fewer:
            return Loop(begin.windows[:count], fewer)
        if last.angles[fewer - 1] >= high + 2 * np.pi:
            return Loop(last.windows[:fewer], fewer)
        if last.angles[fewer - 1] >= low + 2 * np.pi:
            if high - low < NARROWEST:
                return Loop(begin.windows[:count], fewer)
            middle = (low + high) / 2
            ranges += [(low, middle), (middle, high)]
    return Loop(begin.windows[:count], fewer if ranges else count)


def _walk(room: Annulus, tangents: tuple[Floats, list[int]], angle: float, most: int) -> _Tangent | None:
    """Greedy from the tangent in direction ``angle``, once around or ``most`` links."""
    sides, corners = tangents
    normal = (angle - np.pi / 2) % (2 * np.pi)
    corner = corners[int(np.searchsorted(sides, normal, side="right")) % len(corners)]
    begun = sight_from(room, corner, (float(np.cos(angle)), float(np.sin(angle))))
    if begun is None:
        return None
    sight = begun[1]
    windows: list[Window] = []
    angles: list[float] = []
    at = angle
    while len(windows) < most and (not angles or angles[-1] < angle + 2 * np.pi):
        window = carried_on(room, sight)
        (x, y), (u, v) = window.tail, window.head
        # a window along the line before it turns by nothing, and not by all but nothing once around
        at += float((np.arctan2(v - y, u - x) - at + ALONG) % (2 * np.pi)) - ALONG
        windows.append(window)
        angles.append(at)
    return _Tangent(tuple(windows), tuple(angles))
