"""Of all poses with the same room in the case, one that moves the board little."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
import shapely
from shapely import Polygon, affinity

from trimgeo.model.board import Area
from trimgeo.model.plan import XY
from trimgeo.plane.fitting import MostRoom

ALIKE: Final = 1e-4
"""mm of room: two poses that differ by less have the same."""

WORTH_IT: Final = 0.1
"""mm: a shift that is shorter by less is no other pose to a person."""

NEAR: Final = 2e-3
"""mm: places that have so much more room than the closest one hold the board as well."""

HALVINGS: Final = 24


class Settled(NamedTuple):
    """The room, the shift, and the places at which the board is closest: of board and case."""

    room: float
    shift: XY
    binds: tuple[tuple[XY, XY], ...]


def settled(part: Polygon, room: Area, found: MostRoom, gap: float) -> Settled:
    """The pose found, or one with the same turn and room whose shift is shorter along x or y.

    It keeps the ``gap`` where the pose found does.

    >>> from trimgeo.plane.fitting import most_room
    >>> part, long = shapely.box(0, 0, 4, 2), shapely.box(-1, -1, 99, 3.2)
    >>> found = settled(part, long, most_room(part, long), 0.0)  # up, and away from the end
    >>> round(found.room, 2), [round(value, 2) for value in found.shift]
    (1.1, [0.1, 0.1])
    """
    own = tuple((touch.part, touch.wall) for touch in found.binds)
    if found.room < 0:
        return Settled(found.room, found.shift, own)
    turned = affinity.rotate(part, found.angle, origin=(0.0, 0.0))
    border = shapely.boundary(room)
    shapely.prepare(room)
    least = found.room - ALIKE
    if found.room >= gap > least:
        least = found.room

    def has_room(shift: tuple[float, ...]) -> bool:
        body = affinity.translate(turned, *shift)
        return bool(shapely.covers(room, body)) and shapely.distance(border, body) >= least

    x, y = found.shift
    x = _shortest(x, lambda value: has_room((value, y)))
    y = _shortest(y, lambda value: has_room((x, value)))
    if np.hypot(*found.shift) - np.hypot(x, y) < WORTH_IT:
        return Settled(found.room, found.shift, own)
    body = affinity.translate(turned, x, y)
    return Settled(float(shapely.distance(border, body)), (x, y), _binds(body, room))


def _shortest(value: float, allowed: Callable[[float], bool]) -> float:
    """The value nearest to 0, between it and a value that is allowed, that is allowed too."""
    if allowed(0.0):
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if allowed(middle * value) else (middle, high)
    return high * value


def _binds(body: Polygon, room: Area) -> tuple[tuple[XY, XY], ...]:
    """Pairs of points of board and case that are closest to each other, at the corners of either."""
    border = shapely.boundary(room)
    ways = [
        *shapely.shortest_line(shapely.points(shapely.get_coordinates(body)[:-1]), border),
        *shapely.reverse(
            shapely.shortest_line(shapely.points(shapely.get_coordinates(border)), body.exterior)
        ),
    ]
    lengths = shapely.length(ways)
    close = [way for way, length in zip(ways, lengths, strict=True) if length <= lengths.min() + NEAR]
    found = dict.fromkeys(tuple(map(tuple, shapely.get_coordinates(way).tolist())) for way in close)
    return tuple(((a[0], a[1]), (b[0], b[1])) for a, b in found)
