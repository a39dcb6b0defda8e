"""How far inside an area every point of a grid lies, for quick bounds in a search over many poses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from trimgeo.plane.distances import gaps
from trimgeo.plane.rings import Border, Floats, border_of

_BLOCK: Final = 8
"""Points of the grid, a side, whose nearest border sides are looked up together."""

_TOGETHER: Final = 5
"""Blocks in a row for which far sides are left out together."""


@dataclass(frozen=True, eq=False)
class Field:
    """Depths inside an area, mm, at the points of a grid: negative outside.

    ``depths`` has shape (columns, rows), point (0, 0) at ``corner``, ``step`` apart.
    """

    corner: Floats
    step: float
    depths: NDArray[np.float32]

    @property
    def slack(self) -> float:
        """No point within the grid is further from its nearest grid point, mm."""
        return self.step / 2**0.5 + 1e-3 * self.step  # and what single precision rounds off

    def most(self, x: Floats, y: Floats) -> NDArray[np.float32]:
        """No point is deeper than this, mm: by the grid point nearest to it, or nearest in the grid to it.

        Depth is less the further a point lies beyond a convex border around the area, so that what holds
        at the border of the grid holds beyond it.
        """
        columns, rows = self.depths.shape
        column = ((x - self.corner[0]) * (1 / self.step) + 0.5).astype(np.int32)
        row = ((y - self.corner[1]) * (1 / self.step) + 0.5).astype(np.int32)
        np.clip(column, 0, columns - 1, out=column)
        np.clip(row, 0, rows - 1, out=row)
        column *= rows
        column += row
        return np.asarray(self.depths.ravel().take(column) + np.float32(self.slack))

    def beyond(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """The points that lie outside the grid."""
        high = self.corner + self.step * (np.array(self.depths.shape) - 1)
        return np.asarray((x < self.corner[0]) | (x > high[0]) | (y < self.corner[1]) | (y > high[1]))

    def least(self, x: Floats, y: Floats) -> NDArray[np.float32]:
        """No point is less deep than this, mm; minus infinity beyond the grid."""
        return np.where(self.beyond(x, y), np.float32(-np.inf), self.most(x, y) - np.float32(2 * self.slack))


def field(area: Polygon | MultiPolygon, margin: float, points: int) -> Field:
    """The depths inside an area, on a grid of about ``points`` a side that reaches ``margin`` mm beyond it.

    >>> depths = field(shapely.box(0, 0, 8, 4), margin=1.0, points=32)
    >>> x, y = np.array([[4.0, 1.0, 4.0], [2.0, 2.0, 5.0]])
    >>> bool(np.all(depths.most(x, y) >= [2.0, 1.0, -1.0]) and np.all(depths.least(x, y) <= [2.0, 1.0, -1.0]))
    True
    """
    x0, y0, x1, y1 = area.bounds
    wide, high = x1 - x0 + 2 * margin, y1 - y0 + 2 * margin
    step = max(wide, high) / points
    blocks = [int(np.ceil((length / step + 1) / _BLOCK)) for length in (wide, high)]
    corner = np.array([x0 - margin, y0 - margin])
    first = step * _BLOCK * np.stack(np.meshgrid(*map(np.arange, blocks), indexing="ij"), axis=-1)
    depths = _block_depths(area, corner + first.reshape(-1, 2), step * np.arange(_BLOCK))
    shape = (blocks[0], blocks[1], _BLOCK, _BLOCK)
    depths = depths.reshape(shape).transpose(0, 2, 1, 3).reshape(blocks[0] * _BLOCK, blocks[1] * _BLOCK)
    return Field(corner, step, np.ascontiguousarray(depths))


def _block_depths(area: Polygon | MultiPolygon, origins: Floats, along: Floats) -> NDArray[np.float32]:
    """The depths at a square of points, at ``along``, shape (k,), both ways from each origin, shape (n, 2).

    Shape (n, k, k).
    """
    border = border_of(area)
    reach = float(along[-1]) / 2**0.5
    centres = origins + along[-1] / 2
    block, side, least = _near_sides(centres, reach, border)
    squares = _squares(origins[block] - border.starts[side], border.steps[side], along)
    heads = np.flatnonzero(np.r_[True, block[1:] != block[:-1]])
    depths = np.sqrt(np.minimum.reduceat(squares, heads, axis=0))
    depths[~shapely.contains_xy(area, *centres.T)] *= -1.0
    mixed = np.flatnonzero(least <= 1.001 * reach)
    x = np.broadcast_to((origins[mixed, :1] + along)[:, :, None], (len(mixed), len(along), len(along)))
    y = np.broadcast_to((origins[mixed, 1:] + along)[:, None, :], x.shape)
    inside = shapely.contains_xy(area, x.ravel(), y.ravel()).reshape(x.shape)
    depths[mixed] = np.where(inside, 1.0, -1.0) * np.abs(depths[mixed])
    return np.asarray(depths)


def _near_sides(
    centres: Floats, reach: float, border: Border
) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats]:
    """The sides that may be nearest to a point within ``reach`` of each centre, shape (n, 2).

    Pairs of centre, rising, and side; and the distance from each centre, shape (n,).  What is near to no
    centre of a run of them is found first.
    """
    heads = np.arange(0, len(centres), _TOGETHER)
    run = np.arange(len(centres)) // _TOGETHER
    counts = np.diff(np.append(heads, len(centres)))
    middle = np.add.reduceat(centres, heads) / counts[:, None]
    wide = np.maximum.reduceat(np.hypot(*(centres - middle[run]).T), heads) + reach
    apart = gaps(middle, border.starts, border.starts + border.steps)
    some, sides = np.nonzero(apart <= (apart.min(axis=1) + 2 * wide + 1e-9)[:, None])
    first = np.searchsorted(some, np.arange(len(heads) + 1))
    lengths = np.diff(first)[run]
    centre = np.repeat(np.arange(len(centres)), lengths)
    begins = np.cumsum(lengths) - lengths
    side = sides[np.arange(len(centre)) - begins[centre] + first[run[centre]]]
    away = np.sqrt(_squares(centres[centre] - border.starts[side], border.steps[side], np.zeros(1))[:, 0, 0])
    least = np.minimum.reduceat(away, begins)
    near = away <= (least + 2 * reach + 1e-3 * reach)[centre]
    return centre[near], side[near], least


def _squares(away: Floats, steps: Floats, along: Floats) -> NDArray[np.float32]:
    """Squared distances of squares of points from n sides, shape (n, k, k).

    ``away``, shape (n, 2), is where each square begins, seen from the start of its side.  Ways along a
    side and across it are sums of what a column and what a row add.
    """
    length = np.hypot(*steps.T)
    ux, uy = (steps.T / np.where(length > 0, length, 1.0))[:, :, None]
    x, y = away[:, :1] + along, away[:, 1:] + along
    across = (ux * y).astype(np.float32)[:, None, :] - (uy * x).astype(np.float32)[:, :, None]
    ahead = (ux * x).astype(np.float32)[:, :, None] + (uy * y).astype(np.float32)[:, None, :]
    long = length.astype(np.float32)[:, None, None]
    beyond = np.maximum(np.maximum(-ahead, ahead - long), 0.0)
    across *= across
    beyond *= beyond
    across += beyond
    return np.asarray(across)
