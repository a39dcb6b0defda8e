"""What is wrong with an outline whose corners were put on a grid, by shapely alone."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

ON = 1e-7
JUDGED = 1e-4


class Sides(NamedTuple):
    """Corners of an outline; of each side whether it is a cut, and of each corner if it turns inwards."""

    corners: NDArray[np.float64]
    cut: NDArray[np.bool_]
    inside: int


def sides_of(outline: Polygon, allowed: Polygon, free: NDArray[np.bool_]) -> Sides:
    """Cuts are sides of which some point is over 1e-4 mm off each free side of ``allowed``."""
    corners = shapely.get_coordinates(shapely.orient_polygons(outline).exterior)[:-1]
    onward, before = np.roll(corners, -1, axis=0), np.roll(corners, 1, axis=0)
    ring = shapely.get_coordinates(allowed.exterior)
    walls = [shapely.LineString(pair).buffer(1e-4) for pair in np.stack([ring[:-1], ring[1:]], axis=1)[free]]
    own = shapely.linestrings(np.stack([corners, onward], axis=1))
    cut = ~np.array([any(wall.covers(side) for wall in walls) for side in own])
    onto, off = corners - before, onward - corners
    cross = onto[:, 0] * off[:, 1] - onto[:, 1] * off[:, 0]
    return Sides(corners, cut, int(np.sum(cross < -1e-9)))


def on_grid(
    sides: Sides, allowed: Polygon, free: NDArray[np.bool_], step: float
) -> tuple[int, int, int, int]:
    """How many corners between two cuts there are and are on the grid, and how many ends on free sides."""
    ring = shapely.get_coordinates(allowed.exterior)
    counts = [0, 0, 0, 0]
    for k, at in enumerate(sides.corners):
        if sides.cut[k] and sides.cut[k - 1]:
            counts[0] += 1
            counts[1] += bool(np.all(np.abs(at / step - np.rint(at / step)) * step < ON))
        elif sides.cut[k] or sides.cut[k - 1]:
            counts[2] += 1
            for start, end in zip(ring[:-1][free], ring[1:][free], strict=True):
                length, along = np.hypot(*(end - start)), np.hypot(*(at - start))
                on = shapely.LineString([start, end]).distance(shapely.Point(at)) < 1e-4
                if on and min(abs(along / step - np.rint(along / step)) * step, abs(length - along)) < 1e-4:
                    counts[3] += 1
                    break
    return counts[0], counts[1], counts[2], counts[3]


def faults(
    outline: Polygon,
    rounded: Polygon,
    kept: Polygon | MultiPolygon,
    allowed: Polygon,
    free: NDArray[np.bool_],
    step: float,
) -> list[str]:
    """What is wrong with a rounded outline."""
    before, after = sides_of(outline, allowed, free), sides_of(rounded, allowed, free)
    price = step * float(
        np.hypot(*(np.roll(before.corners, -1, axis=0) - before.corners)[before.cut].T).sum()
    )
    own = shapely.get_coordinates(allowed.exterior)[:-1][free & np.roll(free, 1)]
    held = [at for at in own if outline.exterior.distance(shapely.Point(at)) < ON]
    checks = {
        "not simple": rounded.is_valid and len(rounded.interiors) == 0,
        "kept area outside": reach(kept, rounded) <= as_exact(reach(kept, outline)),
        "allowed region left": reach(rounded, allowed) <= as_exact(reach(outline, allowed)),
        "more cuts": after.cut.sum() <= before.cut.sum(),
        "more inside corners": after.inside <= before.inside,
        "costs more than its price": rounded.area - outline.area <= price + 1e-6,
        "a corner of the board moved": all(
            rounded.exterior.distance(shapely.Point(at)) < 1e-4 or rounded.contains(shapely.Point(at))
            for at in held
        ),
    }
    return [name for name, sound in checks.items() if not sound]


def as_exact(own: float) -> float:
    """An exact outline stays exact; one of a search that relaxes the borders, within what it is judged by."""
    return ON if own < ON / 2 else JUDGED


def reach(area: Polygon | MultiPolygon, over: Polygon) -> float:
    """How far an area reaches out of another, mm."""
    out = shapely.difference(area, over)
    if out.is_empty:
        return 0.0
    return float(np.max(shapely.distance(shapely.points(shapely.get_coordinates(out)), over)))
