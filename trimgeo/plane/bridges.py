"""Several kept pieces joined into one, by bridges no thinner than a neck that holds."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.plane.hulls import Floats
from trimgeo.plane.pose import laid, pose_of, raised

ALIKE = 1e-5
"""Lines that are longer by less (mm) are as short."""


class NoBridgeError(ValueError):
    """Two pieces cannot be joined: ``point``, shape (2,), is between them, as near to both as it gets."""

    def __init__(self, point: Floats) -> None:
        self.point = point
        super().__init__(f"no bridge leads past ({point[0]:.3f}, {point[1]:.3f})")


def bridged(pieces: BaseGeometry, allowed: Polygon, neck: float) -> Polygon:
    """One polygon of all ``pieces``, holes filled, and bridges ``neck`` mm wide within ``allowed``.

    Nearest pieces are joined first, straight where that stays within ``allowed``, else along its walls.
    Raises `NoBridgeError` where no bridge of that width fits.

    >>> two = shapely.union_all([shapely.box(0, 0, 2, 2), shapely.box(6, 0, 8, 2)])
    >>> bridged(two, shapely.box(-1, -1, 9, 3), 1.0).area
    12.0
    """
    filled = shapely.union_all([Polygon(each.exterior) for each in _parts(pieces)])
    joined = shapely.union_all([filled, *bridges(filled, allowed, neck)])
    return Polygon(_parts(joined)[0].exterior)


def bridges(pieces: BaseGeometry, allowed: Polygon, neck: float) -> list[BaseGeometry]:
    """The bridges alone of `bridged`.

    >>> two = shapely.union_all([shapely.box(0, 0, 2, 2), shapely.box(6, 0, 8, 2)])
    >>> [round(bridge.area, 4) for bridge in bridges(two, shapely.box(-1, -1, 9, 3), 1.0)]
    [6.0]
    """
    pose = pose_of([allowed, *_parts(pieces)])
    laid_pieces = shapely.normalize(shapely.union_all([laid(each, pose) for each in _parts(pieces)]))
    try:
        found = _bridges(laid_pieces, laid(allowed, pose), neck)
    except NoBridgeError as error:
        raise NoBridgeError(pose.back(error.point)) from error
    return [shapely.intersection(raised(each, pose), allowed) for each in found]


def _bridges(filled: BaseGeometry, allowed: BaseGeometry, neck: float) -> list[BaseGeometry]:
    """The same in a pose: which of several shortest lines is taken does not depend on how a job lies."""
    found: list[BaseGeometry] = []
    middle = shapely.buffer(allowed, -neck / 2, join_style="mitre")
    while len(parts := _parts(filled)) > 1:
        way = _shortest(parts, allowed, middle, neck)
        wide = shapely.buffer(way, neck / 2, cap_style="square", join_style="mitre")
        found.append(shapely.intersection(wide, allowed))
        joined = shapely.union(filled, found[-1])
        joined = shapely.union_all([Polygon(each.exterior) for each in _parts(joined)])
        if len(_parts(joined)) >= len(parts):
            raise NoBridgeError(shapely.get_coordinates(shapely.centroid(way))[0])
        filled = shapely.normalize(joined)
    return found


def _parts(shape: BaseGeometry) -> NDArray[np.object_]:
    parts = shapely.get_parts(shape)
    return np.asarray(parts[shapely.get_type_id(parts) == 3])


def _shortest(
    parts: NDArray[np.object_], allowed: BaseGeometry, middle: BaseGeometry, neck: float
) -> LineString:
    """The middle line of the bridge over the least gap; it ends half its width within two pieces.

    Where pieces are no wider than the bridge it ends at them: so lines are compared by what is outside.
    """
    with np.errstate(invalid="ignore"):  # GEOS divides by nothing where a piece vanishes
        within = shapely.buffer(parts, -neck / 2, join_style="mitre")
    ends = np.where(shapely.is_empty(within), parts, within)
    i, j = np.triu_indices(len(parts), 1)
    lines = _middle_lines(ends[i], ends[j])
    free = shapely.buffer(shapely.union_all([middle, *parts]), 1e-9)
    whole = shapely.union_all(parts)
    lines = lines[np.argsort(_outside(lines, whole), kind="stable")]
    straight = lines[shapely.covers(free, lines)]
    found = [*straight[:1]]
    if not found or found[0] is not lines[0]:
        landing = shapely.union(free, shapely.buffer(whole, neck / 2))
        found += ways_around(ends, shapely.intersection(landing, allowed), middle, free)
    if not found:
        raise NoBridgeError(shapely.get_coordinates(shapely.centroid(lines[0]))[0])
    return found[int(np.argmin(_outside(np.array(found, dtype=object), whole)))]


def _outside(lines: NDArray[np.object_], pieces: BaseGeometry) -> Floats:
    """How long lines are outside of the pieces, in steps of `ALIKE`."""
    return np.asarray(np.round(shapely.length(shapely.difference(lines, pieces)) / ALIKE))


def _middle_lines(ones: NDArray[np.object_], others: NDArray[np.object_]) -> NDArray[np.object_]:
    """Shortest lines; between sides that face each other in parallel the one in their middle."""
    lines = shapely.shortest_line(ones, others)
    apart = shapely.length(lines)
    facing = shapely.intersection(ones, shapely.buffer(others, apart + ALIKE))
    starts = shapely.get_point(shapely.shortest_line(ones, shapely.centroid(facing)), 0)
    middle = shapely.shortest_line(starts, others)
    good = ~shapely.is_empty(facing) & (shapely.length(middle) <= apart + 2 * ALIKE)
    return np.asarray(np.where(good, middle, lines))


def ways_around(
    ends: NDArray[np.object_], landing: BaseGeometry, middle: BaseGeometry, free: BaseGeometry
) -> list[LineString]:
    """The shortest way from piece to piece over corners of ``middle`` (Dijkstra 1959), if there is one.

    From corner to corner it stays in ``free``, from the last corner to the piece in ``landing``.
    """
    corners = shapely.get_coordinates(middle)
    points = shapely.points(corners)
    shapely.prepare(free)
    feet = shapely.shortest_line(points[:, None], ends[None])
    # close to a wall a bridge is clipped by it: the piece that it leads to is no wider there
    enters = np.where(shapely.covers(landing, feet), shapely.length(feet), np.inf)
    sights = shapely.linestrings(np.stack(np.broadcast_arrays(corners[:, None], corners[None]), axis=2))
    step = np.where(shapely.covers(free, sights), shapely.length(sights), np.inf)
    best: tuple[float, list[int], int, int] = (np.inf, [], -1, -1)
    for part in range(len(ends) - 1):
        reach, came = enters[:, part].copy(), np.full(len(corners), -1)
        open_corners = np.ones(len(corners), dtype=bool)
        while np.isfinite(least := np.where(open_corners, reach, np.inf)).any():
            here = int(least.argmin())
            open_corners[here] = False
            onward = reach[here] + step[here]
            came = np.where(onward < reach, here, came)
            reach = np.minimum(reach, onward)
        total = reach[:, None] + enters[:, part + 1 :]
        corner, other = np.unravel_index(int(total.argmin()), total.shape)
        if total[corner, other] < best[0]:
            path = [int(corner)]
            while came[path[-1]] >= 0:
                path.append(int(came[path[-1]]))
            best = (float(total[corner, other]), path[::-1], part, part + 1 + int(other))
    if not best[1]:
        return []
    _, path, one, two = best
    begin = shapely.get_coordinates(feet[path[0], one])[1]
    end = shapely.get_coordinates(feet[path[-1], two])[1]
    return [LineString([begin, *corners[path], end])]
