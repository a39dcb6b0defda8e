"""Where the board lies in a scaled picture: by two pixels, by its edge, or by a corner for want of both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.errors import JobError
from trimgeo.model.board import Circle, Ring
from trimgeo.model.capture import OriginPlace, ViewTable
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.limits import LEAST_AXIS
from trimgeo.scale.place import Pixel, placed
from trimgeo.scale.scaled import Floats, Scaled, refuse_outside
from trimgeo.scale.source import Source


def placed_by_pixels(
    scaled: Scaled, source: Source, table: ViewTable, place: OriginPlace, where: str
) -> Scaled:
    """The map placed by two pixels, with a warning where a bottom view would stand on its head.

    Raises `trimgeo.JobError` for a pixel off the picture, and for two too near to give a direction.
    """
    for key, pixel in (("origin", place.origin), ("along", place.along)):
        refuse_outside(source, np.array(pixel), f"{where}, place.{key}")
    step = np.subtract(place.along, place.origin)
    if np.hypot(*step) < LEAST_AXIS:
        raise JobError(
            f"{where}, place",
            f"found `along` only {np.hypot(*step):.1f} pixels from `origin`",
            "choose a pixel far along the x axis, such as the other end of the board's lower edge",
        )
    warnings = scaled.warnings
    if table.shows == "bottom" and step[0] > abs(step[1]):
        warnings += (
            "`along` lies to the viewer's right of `origin`: in a bottom view +x runs to the left, "
            "so its picture is taken as standing on its head",
        )
    to_board = placed(scaled.to_board, place.origin, place.along)
    return replace(scaled, to_board=to_board, pivot=(0.0, 0.0), warnings=warnings, in_board_frame=True)


def placed_by_corner(scaled: Scaled, source: Source, table: ViewTable) -> Scaled:
    """The map placed by the lower left corner of the picture, or of the card in it, and a warning."""
    if scaled.card is not None:
        warning = (
            "no `place`, and the board's edge was not found in it: the lower left corner of the card is "
            "taken for board point (0, 0), so nothing can be marked on it"
        )
        return replace(scaled, warnings=(*scaled.warnings, warning), in_board_frame=True, placed=False)
    origin, along = _picture_corner(source, table.shows == "bottom")
    warning = "no `place`: the lower left corner of its picture is taken for board point (0, 0)"
    to_board = placed(scaled.to_board, origin, along)
    return replace(
        scaled,
        to_board=to_board,
        pivot=(0.0, 0.0),
        warnings=(*scaled.warnings, warning),
        in_board_frame=True,
    )


def placed_by_edge(scaled: Scaled, ring: Ring, uncertainty: float) -> Scaled:
    """The map placed by the board's edge, found in its own picture with that standard uncertainty, mm.

    +x runs along the longest straight side, in whichever of its four directions is nearest to the
    picture's; (0, 0) is the lower left corner of the board's bounding box in that frame.
    """
    way = _longest_side(ring.polygon)
    turn = np.round(np.arctan2(way[1], way[0]) / (np.pi / 2)) * np.pi / 2
    angle = np.arctan2(way[1], way[0]) - turn
    across = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    points = shapely.get_coordinates(ring.polygon) @ across.T
    low, high = points.min(axis=0), points.max(axis=0)
    ends = np.array([low, [high[0], low[1]]]) @ across
    origin, along = scaled.to_board.to_pixels(ends)
    per_mm = 1 / np.sqrt(abs(np.linalg.det(scaled.to_board.slopes(origin[None])[0])))
    to_board = placed(scaled.to_board, _pixel(origin), _pixel(along), reading=uncertainty * per_mm)
    return replace(scaled, to_board=to_board, pivot=(0.0, 0.0), in_board_frame=True)


def moved_point(point: Pixel, before: PlaneMap, after: PlaneMap) -> Pixel:
    """A point, mm, found under one map, under the same map moved."""
    return _pixel(after.to_mm(before.to_pixels(np.array([point])))[0])


def moved_ring(ring: Ring, before: PlaneMap, after: PlaneMap) -> Ring:
    """A ring found under one map, under the same map moved: ``after`` differs by a rigid motion."""

    def moved(points: Floats) -> Floats:
        return after.to_mm(before.to_pixels(points))

    centres = [Circle(_pixel(moved(np.array([circle.centre]))[0]), circle.radius) for circle in ring.circles]
    return Ring(Polygon(moved(shapely.get_coordinates(ring.polygon.exterior)[:-1])), tuple(centres))


def _longest_side(polygon: Polygon) -> Floats:
    sides = np.diff(shapely.get_coordinates(polygon.exterior), axis=0)
    return np.asarray(sides[int(np.hypot(*sides.T).argmax())])


def _pixel(point: Floats) -> Pixel:
    return float(point[0]), float(point[1])


def _picture_corner(source: Source, mirrored: bool) -> tuple[Pixel, Pixel]:
    """The lower left corner of the picture as it lies in the board frame, and the corner along its foot."""
    right, low = source.size[0] - 0.5, source.size[1] - 0.5
    return ((right, low), (-0.5, low)) if mirrored else ((-0.5, low), (right, low))
