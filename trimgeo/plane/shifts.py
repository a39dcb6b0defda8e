"""The most room that a body finds by a shift alone, so that its plugs look out of the same walls."""

from __future__ import annotations

from functools import partial
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, affinity

from trimgeo.plane.poses import Boxes, Ground, ground, looked_up
from trimgeo.plane.rings import Floats
from trimgeo.plane.roomier import roomier
from trimgeo.plane.touches import Area, touches_of

WORTH_IT: Final = 0.01
"""mm: shifts that may have no more room than was found and this are not looked at."""

_STIFF: Final = 1e9
"""mm: a body of so large a radius is not turned by any step."""

_COARSE: Final = 24
"""The first boxes of shifts are the search's size divided by this."""

_FINE: Final = 400
_MOST_BOXES: Final = 4000
_TRIED: Final = 4
"""Boxes of each size from which the search climbs."""

_CLOSE: Final = 1e-4
"""mm: a climb whose next step promises less ends."""

_ALIKE: Final = 1e-6
"""mm: what rounding may take from a body that touches walls all round."""


def best_shift(part: Polygon, cavity: Area) -> tuple[float, tuple[float, float]] | None:
    """The most room, mm, found over shifts without a turn, and the shift; None where no such pose fits.

    That is so as far as was found: it is not proved that no shift has more.

    >>> room, shift = best_shift(shapely.box(0, 0, 4, 2), shapely.box(10, 0, 15, 3))
    >>> round(room, 3), [round(value, 3) for value in shift]
    (0.5, [10.5, 0.5])
    """
    middle = shapely.get_coordinates(shapely.centroid(shapely.minimum_bounding_circle(part)))[0]
    base = ground(affinity.translate(part, *-middle), cavity)
    rooms, poses = _climbed(base, np.array([[*middle, 0.0]]), base.size / _COARSE)
    boxes = _all_shifts(base)
    while True:
        boxes = looked_up(base, boxes, max(float(rooms.max()) + WORTH_IT, 0.0))
        best = boxes.middle[np.argsort(-boxes.most, kind="stable")[:_TRIED]]
        if len(best):
            more, others = _climbed(base, best, 2 * boxes.half)
            rooms, poses = np.concatenate([rooms, more]), np.concatenate([poses, others])
        if len(best) == 0 or boxes.half < base.size / _FINE or 4 * len(boxes.most) > _MOST_BOXES:
            break
        boxes = _quartered(boxes)
    top = int(np.argmax(rooms))
    x, y = poses[top, :2] - middle
    return None if rooms[top] == -np.inf else (float(rooms[top]), (float(x), float(y)))


def _all_shifts(base: Ground) -> Boxes:
    """Boxes of shifts that hold every one with the body's middle in the room's bounds."""
    x0, y0, x1, y1 = base.room.area.bounds
    side = base.size / _COARSE
    xs, ys = np.arange(x0 + side / 2, x1 + side / 2, side), np.arange(y0 + side / 2, y1 + side / 2, side)
    middle = np.stack(np.meshgrid(xs, ys, [0.0], indexing="ij"), axis=-1).reshape(-1, 3)
    return Boxes(middle, side / 2, 0.0, np.full(len(middle), np.inf))


def _quartered(boxes: Boxes) -> Boxes:
    half = boxes.half / 2
    signs = np.array([(-1.0, -1.0, 0.0), (-1.0, 1.0, 0.0), (1.0, -1.0, 0.0), (1.0, 1.0, 0.0)])
    middle = (boxes.middle[:, None] + half * signs).reshape(-1, 3)
    return Boxes(middle, half, 0.0, np.repeat(boxes.most, 4))


def _climbed(base: Ground, poses: Floats, reach: float) -> tuple[Floats, Floats]:
    """Shifts near by with more room, and their rooms; minus infinity where the body does not fit."""
    _, poses = roomier(partial(touches_of, base.body, base.room), _STIFF, poses, reach, _CLOSE)
    poses[:, 2] = 0.0
    bodies = np.array([affinity.translate(base.body.area, *pose[:2]) for pose in poses])
    fits = shapely.covers(base.eased, bodies)
    return np.where(fits, shapely.distance(base.border, bodies), -np.inf), poses
