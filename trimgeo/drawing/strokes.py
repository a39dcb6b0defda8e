"""Dashes, dots and hatches as geometry, so that they look alike in every viewer.

All lengths are mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.sheet import XY
from trimgeo.plane.moving import moved

Floats = NDArray[np.float64]
Path = tuple[XY, ...]

CORNER: Final = np.radians(15.0)
"""A line that turns by more than this has a corner; less is a flattened curve."""


def paths_of(geometry: BaseGeometry) -> tuple[Path, ...]:
    """The lines and rings of a geometry as polylines; rings repeat their first point.

    >>> paths_of(shapely.LineString([(0, 0), (1, 0)]))
    (((0.0, 0.0), (1.0, 0.0)),)
    """
    parts = shapely.get_parts(geometry)
    areas = shapely.get_dimensions(parts) == 2
    lines = np.concatenate([shapely.get_rings(parts[areas]), parts[shapely.get_dimensions(parts) == 1]])
    xy = list(map(tuple, shapely.get_coordinates(lines).tolist()))
    ends = np.cumsum(shapely.get_num_coordinates(lines)).tolist()
    return tuple(tuple(xy[a:b]) for a, b in pairwise([0, *ends]) if a < b)


def lines_of(paths: Sequence[Sequence[XY]]) -> NDArray[Any]:
    """A `shapely.LineString` for each polyline, an array of shape (k,): the inverse of `paths_of`.

    >>> lines_of([((0.0, 0.0), (1.0, 0.0)), ((0.0, 0.0), (0.0, 2.0))])[1].length
    2.0
    """
    xy = np.array([point for path in paths for point in path], dtype=np.float64).reshape(-1, 2)
    owner = np.repeat(np.arange(len(paths)), [len(path) for path in paths])
    return np.asarray(shapely.linestrings(xy, indices=owner))


def dashed(points: ArrayLike, ink: float, gap: float) -> tuple[Path, ...]:
    """A polyline, shape (n, 2), in dashes; a closed one repeats its first point.

    Every corner lies in the middle of a dash and so shows as a drawn angle; between two corners
    dash and gap are stretched alike so that a whole number fits.

    >>> dashed([(0, 0), (10, 0)], 3.0, 2.0)
    (((0.0, 0.0), (1.5, 0.0)), ((3.5, 0.0), (6.5, 0.0)), ((8.5, 0.0), (10.0, 0.0)))
    """
    xy = np.asarray(points, dtype=np.float64)
    closed = bool(np.array_equal(xy[0], xy[-1]))
    corners = _corners(xy, closed)
    if closed and len(corners):
        xy = np.vstack([xy[corners[0] : -1], xy[: corners[0] + 1]])
        corners = corners - corners[0]
    stops = sorted({0, *corners.tolist(), len(xy) - 1})
    runs = [_dashed_run(xy[a : b + 1], ink, gap) for a, b in pairwise(stops)]
    return _joined(runs, closed)


def _corners(xy: Floats, closed: bool) -> NDArray[np.intp]:
    """Indices of the points where the line turns sharply, ends of an open line left out."""
    steps = np.diff(xy, axis=0)
    heading = np.arctan2(steps[:, 1], steps[:, 0])
    before, after = heading[:-1], heading[1:]
    indices = np.arange(1, len(xy) - 1)
    if closed:
        before, after = np.roll(heading, 1), heading
        indices = np.arange(len(xy) - 1)
    turn = np.abs((after - before + np.pi) % (2 * np.pi) - np.pi)
    return np.asarray(indices[turn > CORNER])


def _dashed_run(xy: Floats, ink: float, gap: float) -> list[Floats]:
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    count = round(float(along[-1]) / (ink + gap))
    if count == 0:
        return [xy]
    period = along[-1] / count
    half = period * ink / (ink + gap) / 2
    middles = np.arange(count + 1) * period
    spans = np.clip(np.column_stack([middles - half, middles + half]), 0.0, along[-1])
    ends = np.stack([np.interp(spans, along, xy[:, axis]) for axis in (0, 1)], axis=-1)
    first, last = np.searchsorted(along, spans[:, 0], "right"), np.searchsorted(along, spans[:, 1], "left")
    return [np.vstack([a, xy[i:j], b]) for (a, b), i, j in zip(ends, first, last, strict=True)]


def _joined(runs: Sequence[list[Floats]], closed: bool) -> tuple[Path, ...]:
    dashes: list[Floats] = []
    for run in runs:
        if dashes:
            dashes[-1] = np.vstack([dashes[-1], run[0][1:]])
            dashes.extend(run[1:])
        else:
            dashes.extend(run)
    if closed and len(dashes) > 1:
        dashes[0] = np.vstack([dashes.pop(), dashes[0][1:]])
    return tuple(_path(dash) for dash in dashes)


def dots(line: BaseGeometry, gap: float) -> tuple[XY, ...]:
    """Points ``gap`` apart, to within rounding to a whole number, along the lines of a geometry.

    >>> dots(shapely.LineString([(0, 0), (3, 0)]), 1.0)
    ((0.5, 0.0), (1.5, 0.0), (2.5, 0.0))
    """
    found: list[Path] = []
    for part in shapely.get_parts(shapely.line_merge(line)):
        count = round(part.length / gap)
        along = (np.arange(count) + 0.5) * part.length / max(count, 1)
        found.append(_path(shapely.get_coordinates(shapely.line_interpolate_point(part, along))))
    return tuple(point for path in found for point in path)


def hatched(areas: Sequence[BaseGeometry], angle: float, pitch: float) -> BaseGeometry:
    """Lines ``pitch`` apart, at ``angle`` degrees, clipped to each of the areas.

    All lie on one lattice through (0, 0), so that areas which meet share their hatch.

    >>> hatched([shapely.box(0, 0.5, 2, 3)], 0.0, 1.0).length
    4.0
    """
    shapes = np.asarray([area for area in areas if not area.is_empty], dtype=object)
    if not len(shapes):
        return shapely.MultiLineString()
    turn = _rotation(angle)
    flat = moved(shapes, lambda xy: xy @ turn)
    left, bottom, right, top = shapely.bounds(flat).T
    first, last = np.floor(bottom / pitch) + 1, np.ceil(top / pitch) - 1
    counts = np.maximum(last - first + 1, 0).astype(int)
    owner = np.repeat(np.arange(len(shapes)), counts)
    rank = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    level = (first[owner] + rank) * pitch
    ends = np.stack([np.column_stack([left[owner], level]), np.column_stack([right[owner], level])], axis=1)
    met, number = np.unique(owner, return_inverse=True)
    clipped = shapely.get_parts(
        shapely.intersection(shapely.multilinestrings(shapely.linestrings(ends), indices=number), flat[met])
    )
    lines = clipped[shapely.get_dimensions(clipped) == 1]
    return shapely.transform(shapely.multilinestrings(lines), lambda xy: xy @ turn.T)


def _rotation(angle: float) -> Floats:
    """Row vectors times this turn by minus ``angle`` degrees; quarter turns are exact."""
    cos, sin = np.round([np.cos(np.radians(angle)), np.sin(np.radians(angle))], 15)
    return np.array([[cos, -sin], [sin, cos]])


def _path(xy: Floats) -> Path:
    return tuple((x, y) for x, y in xy.tolist())
