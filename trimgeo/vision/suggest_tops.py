"""The top of a standing body apart from the walls that a camera sees below it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, affinity

from trimgeo.vision.suggest_ground import Ground
from trimgeo.vision.suggest_pieces import Shape
from trimgeo.vision.suggest_rims import rims_of

Floats = NDArray[np.float64]
Eye = tuple[float, float, float]

_TALLEST = 0.12
"""Greatest height of a body, of the camera's height above the board."""
_LEAST = 3.5
"""Least width of a wall, pixels: less of it is blur."""
_SEAM, _CLEAR, _SHARE = 4.0, 12.0, 0.9
"""Lab distances across a seam between top and wall that shows and that could not show better, and least share
of the seam where it does."""


def top_of(ground: Ground, shape: Shape, eye: Eye) -> Shape:
    """The top of a body whose whole outline is a shape; the shape itself where no wall shows.

    Seen from above ``eye_xy`` the foot of an upright body is its top shrunk towards there by
    ``k = height / eye_z``, and its whole outline W what top and walls sweep.  Along each ray from there W
    begins at the foot and ends with the top, so that the top is where W meets W grown by ``1 / (1 - k)``:
    one unknown, found where the seam between top and wall shows best.

    ``eye`` is x, y and height above the face, mm.  What k tells of the height is too rough to be said: where
    the wall is a millimetre wide, a pixel is a tenth of it.
    """
    foot = ground.to_pixels(np.array([eye[:2]]))[0]
    whole = Polygon(shape.corners)
    away = np.hypot(*(shape.corners - foot).T)
    if not whole.is_valid or away.max() < 1.0:
        return shape
    # At least a wall's width apart, and steps of half a pixel at the far side.
    shares = np.arange(_LEAST / away.max(), _TALLEST, 0.5 / away.max())
    tops = [swept_top(whole, float(k), foot) for k in shares]
    usable = [n for n, top in enumerate(tops) if top is not None and top.area > 0.35 * whole.area]
    if not usable:
        return shape
    found = [replace(shape, corners=_ring(top), circle=None) for n in usable if (top := tops[n]) is not None]
    strength, share = _seams(ground, found, whole)
    best = int(np.argmax(np.rint(share * 20) + strength / 100))
    if strength[best] < _SEAM or share[best] < _SHARE or not _differs(ground, found[best], whole):
        return shape
    corners = _ring(shapely.simplify(Polygon(found[best].corners), 0.7))
    area = float(Polygon(corners).area)
    return replace(found[best], corners=corners, area=area)


def _differs(ground: Ground, top: Shape, whole: Polygon) -> bool:
    """Whether what would be wall has another colour than the top; a line printed along a rim has not."""
    x0, y0, x1, y1 = (round(v) for v in whole.bounds)
    column, row = (each.ravel() for each in np.meshgrid(np.arange(x0, x1 + 1), np.arange(y0, y1 + 1)))
    within = (row >= 0) & (row < ground.off.shape[0]) & (column >= 0) & (column < ground.off.shape[1])
    column, row = column[within], row[within]
    upper = Polygon(top.corners)
    on_top = shapely.contains_xy(upper.buffer(-1.0), column, row)
    on_wall = shapely.contains_xy(whole.buffer(-1.0).difference(upper.buffer(1.0)), column, row)
    if not on_top.any() or not on_wall.any():
        return False
    colours = [np.median(ground.lab[row[where], column[where]], axis=0) for where in (on_top, on_wall)]
    return bool(np.linalg.norm(colours[0] - colours[1]) > 1.5 * _SEAM)


def swept_top(whole: Polygon, share: float, foot: Floats) -> Polygon | None:
    """The top whose sweep towards ``foot``, by a share of the way, is a whole outline; None for none.

    >>> whole = shapely.box(90, 0, 110, 10)
    >>> swept_top(whole, 0.1, np.array([0.0, 5.0])).bounds
    (100.0, 0.0, 110.0, 10.0)
    """
    by = 1.0 / (1.0 - share)
    top = whole.intersection(affinity.scale(whole, by, by, origin=(float(foot[0]), float(foot[1]))))
    return top if isinstance(top, Polygon) and not top.is_empty else None


def _ring(polygon: Polygon) -> Floats:
    corners: Floats = shapely.get_coordinates(polygon.exterior)[:-1]
    return corners


def _seams(ground: Ground, tops: list[Shape], whole: Polygon) -> tuple[Floats, Floats]:
    """For each top the mean Lab step across its seam, and the share of the seam where it shows.

    The seam is what of a top's rim lies inside the whole outline; one that is shorter than a seventh of the
    rim says nothing.
    """
    rims = rims_of(tops)
    wall = shapely.distance(whole.exterior, shapely.points(rims.places))
    inside = wall > 0.9 * _LEAST
    out = np.clip(wall - 2.0, 1.0, 2.0)
    across = rims.at(ground.lab, 2.0) - rims.at(ground.lab, -out)
    step = np.sqrt((across**2).sum(axis=1))
    count = np.maximum(rims.share(inside) * rims.counts, 1.0)
    sums = np.add.reduceat(np.where(inside, np.minimum(step, _CLEAR), 0.0), rims.starts)
    shown = rims.share(inside & (step > _SEAM)) * rims.counts
    long_enough = rims.share(inside) > 0.15
    return np.where(long_enough, sums / count, 0.0), np.where(long_enough, shown / count, 0.0)
