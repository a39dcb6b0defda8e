"""Shapes judged: what a job calls a polygon must be one, of a size that boards have."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.errors import JobError
from trimgeo.model.board import Circle
from trimgeo.tables import FLATTENING, LARGEST_BOARD

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Shapes = NDArray[Any]
Where = Callable[[int], str]
"""The place of the n-th shape, for messages: made only when one is at fault."""

LEAST_AREA = 1e-9
"""mm²: a square of 0.03 micrometre; less is a line."""


def polygons(xy: Floats, counts: Ints, where: Where) -> Shapes:
    """Polygons, shape (k,), of points, shape (n, 2), ``counts`` of them each, shape (k,).

    Points repeated one after another count once.

    Raises `trimgeo.JobError` at ``where(i)`` for fewer than three points, sides that cross or touch,
    no area, and a size over a metre.

    >>> xy = np.array([[0, 0], [4, 0], [4, 3], [4, 3], [0, 0], [2, 0], [0, 2]], dtype=float)
    >>> [str(shape) for shape in polygons(xy, np.array([4, 3]), str)]
    ['POLYGON ((0 0, 4 0, 4 3, 0 0))', 'POLYGON ((0 0, 2 0, 0 2, 0 0))']
    """
    if not len(counts):
        return np.empty(0, dtype=object)
    xy, owner = _without_repeats(xy, counts)
    _raise_first(
        np.bincount(owner, minlength=len(counts)) < 3,
        where,
        lambda i: ("found fewer than three different points", "give three or more corners"),
    )
    check_sizes(xy, owner, where)
    made: Shapes = shapely.polygons(shapely.linearrings(xy, indices=owner))
    # The area of a bow tie may be nothing too: only where the hull has none are the points in line.
    flat = shapely.area(made) < LEAST_AREA
    flat[flat] = shapely.area(shapely.convex_hull(made[flat])) < LEAST_AREA
    _raise_first(
        flat,
        where,
        lambda i: ("found points in one line, which enclose no area", "give the corners of an area"),
    )
    _raise_first(
        ~shapely.is_valid(made),
        where,
        lambda i: (_crossing(made[i]), "give the corners in order around the shape"),
    )
    return made


def polygon(points: Floats, where: str) -> Polygon:
    """One polygon of points, shape (n, 2), judged as `polygons` does.

    >>> str(polygon(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 0.0], [0.0, 2.0]]), "[outline], points"))
    'POLYGON ((0 0, 2 0, 0 2, 0 0))'
    """
    made: Polygon = polygons(points, np.array([len(points)]), lambda _: where)[0]
    return made


def check_sizes(xy: Floats, owner: Ints, where: Where) -> None:
    """Refuse shapes over a metre: points, shape (n, 2), and ``owner``, shape (n,), the shape that each is of.

    ``owner`` increases and leaves no number out.  Raises `trimgeo.JobError` at ``where`` of the first
    that is too long.

    >>> metres = np.array([[0.0, 0.0], [1200.0, 0.0], [0.0, 800.0]])
    >>> check_sizes(metres, np.zeros(3, dtype=np.intp), lambda i: "[board], edge")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    trimgeo.errors.JobError: [board], edge: found a shape 1200 mm long; give it in mm (a board over 1 m...
    """
    starts = np.flatnonzero(np.diff(owner, prepend=-1))
    extent = (np.maximum.reduceat(xy, starts) - np.minimum.reduceat(xy, starts)).max(axis=1)
    _raise_first(
        extent > LARGEST_BOARD,
        where,
        lambda i: (
            f"found a shape {extent[i]:.6g} mm long",
            "give it in mm (a board over 1 m is a unit mistake)",
        ),
    )


def around_disc(circle: Circle) -> Polygon:
    """A polygon around a disc, nowhere farther from it than the flattening tolerance.

    The corners lie outside: with n corners at r / cos(pi / n) the sides touch the circle.

    >>> disc = around_disc(Circle((0.0, 0.0), 5.0))
    >>> bool(disc.exterior.distance(shapely.Point(0, 0)) >= 5.0 - 1e-12)
    True
    """
    n = max(12, int(np.ceil(np.pi / np.arccos(circle.radius / (circle.radius + FLATTENING)))))
    turns = np.arange(n) * (2 * np.pi / n)
    corners = np.column_stack([np.cos(turns), np.sin(turns)]) * (circle.radius / np.cos(np.pi / n))
    return Polygon(corners + circle.centre)


def at(point: Sequence[float]) -> str:
    """A place on the board, short enough for a sentence.

    >>> at((1.0, -0.123456))
    '(1, -0.123)'
    """
    x, y = (0.0 if abs(c) < 5e-4 else round(float(c), 3) for c in point[:2])
    return f"({x:g}, {y:g})" if max(abs(x), abs(y)) < 1000 else f"({x:.3f}, {y:.3f})"


def _without_repeats(xy: Floats, counts: Ints) -> tuple[Floats, Ints]:
    """Points that differ from the next one of their ring, and the ring that each belongs to."""
    owner = np.repeat(np.arange(len(counts)), counts)
    ends = np.cumsum(counts)
    following = np.arange(1, len(xy) + 1)
    following[ends - 1] = ends - counts
    differs = (xy != xy[following]).any(axis=1)
    return xy[differs], owner[differs]


def _crossing(shape: Polygon) -> str:
    """Where a ring meets itself, from GEOS's words such as ``Self-intersection[1 1]``."""
    reason = shapely.is_valid_reason(shape)
    found = re.search(r"\[(\S+) (\S+)\]", reason)
    verb = "touch" if reason.startswith("Ring") else "cross"
    return f"found sides that {verb}{f' at {at([float(c) for c in found.groups()])}' if found else ''}"


def _raise_first(wrong: NDArray[np.bool_], where: Where, words: Callable[[int], tuple[str, str]]) -> None:
    if wrong.any():
        first = int(np.argmax(wrong))
        found, fix = words(first)
        raise JobError(where(first), found, fix)
