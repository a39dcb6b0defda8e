"""How far inside an area every point of a grid lies, for quick bounds in a search over many poses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from trimgeo.plane.distances import gaps
from trimgeo.plane.rings import Floats, border_of

_BLOCK: Final = 16
"""Points of the grid, a side, whose nearest border sides are looked up together."""


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
        return self.step / 2**0.5 + 1e-4  # and what single precision rounds off

    def at(self, x: Floats, y: Floats) -> NDArray[np.float32]:
        """The depth at the grid point nearest to each point; beyond the grid, that of its border.

        Depth is less the further a point lies beyond a convex border around the area, so that the
        border's is never too little.
        """
        columns, rows = self.depths.shape
        column = ((x - self.corner[0]) * (1 / self.step) + 0.5).astype(np.int32)
        row = ((y - self.corner[1]) * (1 / self.step) + 0.5).astype(np.int32)
        np.clip(column, 0, columns - 1, out=column)
        np.clip(row, 0, rows - 1, out=row)
        column *= rows
        column += row
        return np.asarray(self.depths.ravel().take(column))


def field(area: Polygon | MultiPolygon, margin: float, points: int) -> Field:
    """The depths inside an area, on a grid of about ``points`` a side that reaches ``margin`` mm beyond it.

    >>> depths = field(shapely.box(0, 0, 8, 4), margin=1.0, points=32)
    >>> x, y = np.array([[4.0, 1.0, 4.0], [2.0, 2.0, 5.0]])
    >>> bool(abs(depths.at(x, y) - [2.0, 1.0, -1.0]).max() < depths.slack)
    True
    """
    x0, y0, x1, y1 = area.bounds
    wide, high = x1 - x0 + 2 * margin, y1 - y0 + 2 * margin
    step = max(wide, high) / points
    blocks = [int(np.ceil((length / step + 1) / _BLOCK)) for length in (wide, high)]
    corner = np.array([x0 - margin, y0 - margin])
    within = step * np.stack(np.meshgrid(*[np.arange(_BLOCK)] * 2, indexing="ij"), axis=-1).reshape(-1, 2)
    first = step * _BLOCK * np.stack(np.meshgrid(*map(np.arange, blocks), indexing="ij"), axis=-1)
    origins = corner + first.reshape(-1, 2)
    depths = _block_depths(area, origins, within).astype(np.float32)
    shape = (blocks[0], blocks[1], _BLOCK, _BLOCK)
    depths = depths.reshape(shape).transpose(0, 2, 1, 3).reshape(blocks[0] * _BLOCK, blocks[1] * _BLOCK)
    return Field(corner, step, np.ascontiguousarray(depths))


def _block_depths(area: Polygon | MultiPolygon, origins: Floats, within: Floats) -> Floats:
    """The depths at ``within``, shape (k, 2), from each origin, shape (n, 2): shape (n, k)."""
    border = border_of(area)
    ends = border.starts + border.steps
    middle, reach = within.mean(axis=0), float(np.hypot(*np.ptp(within, axis=0))) / 2
    centres = origins + middle
    apart = gaps(centres, border.starts, ends)
    least = apart.min(axis=1)
    block, side = np.nonzero(apart <= least[:, None] + 2 * reach + 1e-9)
    points = origins[block][:, None] + within
    squares = _squares(points, border.starts[side], border.steps[side])
    heads = np.flatnonzero(np.r_[True, block[1:] != block[:-1]])
    depths = np.sqrt(np.minimum.reduceat(squares, heads, axis=0))
    sign = np.where(shapely.contains_xy(area, *centres.T), 1.0, -1.0)
    depths *= sign[:, None]
    mixed = np.flatnonzero(least <= reach)
    every = (origins[mixed][:, None] + within).reshape(-1, 2)
    inside = shapely.contains_xy(area, *every.T).reshape(len(mixed), -1)
    depths[mixed] = np.where(inside, 1.0, -1.0) * np.abs(depths[mixed])
    return np.asarray(depths)


def _squares(points: Floats, starts: Floats, steps: Floats) -> Floats:
    """Squared distances of points, shape (n, k, 2), from n sides: shape (n, k)."""
    x, y = points[..., 0] - starts[:, :1], points[..., 1] - starts[:, 1:]
    dx, dy = steps[:, :1], steps[:, 1:]
    square = dx * dx + dy * dy
    share = (x * dx + y * dy) * (1 / np.where(square > 0, square, 1.0))
    np.clip(share, 0.0, 1.0, out=share)
    x -= share * dx
    y -= share * dy
    return np.asarray(x * x + y * y)
