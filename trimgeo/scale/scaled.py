"""A picture with its scale before its place is settled, and what every way to scale must refuse."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.errors import JobError, quoted
from trimgeo.model.board import CardSeen
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.source import Source

if TYPE_CHECKING:
    from trimgeo.scale.like import Registered

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Scaled:
    """A map with what it rests on: ``pivot`` (mm) is where a wrong scale does no harm.

    ``in_board_frame`` says that the map is in the frame of the board already; else it is true to scale
    and handedness only, until it is placed; ``placed`` that board point (0, 0) is not just taken for a
    corner.
    """

    to_board: PlaneMap
    method: str
    note: str
    pivot: tuple[float, float]
    warnings: tuple[str, ...] = ()
    residuals: Floats | None = None
    in_board_frame: bool = False
    card: CardSeen | None = None
    scale_known: bool = True
    placed: bool = True
    registered: Registered | None = None


def residual_figures(residuals: Floats | None) -> tuple[float | None, float | None]:
    """Root mean square and greatest of residuals, shape (n, 2), or None twice."""
    if residuals is None:
        return None, None
    lengths = np.hypot(*residuals.T)
    return float(np.sqrt((lengths**2).mean())), float(lengths.max())


def refuse_outside(source: Source, pixel: Floats, where: str) -> None:
    """Refuse, by a `trimgeo.JobError` at ``where``, a pixel, shape (2,), that lies off the picture."""
    columns, rows = source.size
    u, v = (float(value) for value in pixel)
    if not (-0.5 <= u <= columns - 0.5 and -0.5 <= v <= rows - 0.5):
        raise JobError(
            where,
            f"found pixel [{u:g}, {v:g}], off the picture {quoted(source.label)} "
            f"of {columns} x {rows} pixels",
            f"give column 0 to {columns - 1} and row 0 to {rows - 1}",
        )


def refuse_horizon(to_board: PlaneMap, where: str) -> None:
    """A picture of a board does not reach the horizon of the board's plane: such a map is a mistake."""
    assert to_board.size is not None
    right, low = to_board.size[0] - 0.5, to_board.size[1] - 0.5
    corners = np.array([[-0.5, -0.5], [right, -0.5], [right, low], [-0.5, low]])
    if to_board.lens is not None:
        corners = to_board.lens.ideal(corners)
    depth = np.column_stack([corners, np.ones(4)]) @ to_board.matrix[2]
    if depth.min() * depth.max() <= 0 or depth.max() / depth.min() > 100 or depth.min() / depth.max() > 100:
        raise JobError(
            f"{where}, scale",
            "found points that put the horizon inside the picture",
            "check each pixel and its position, and choose points near the corners of the board",
        )


def refuse_folded(shown: Polygon, where: str) -> None:
    """A lens that folds the picture over itself is none: such a fit rests on a picture put together."""
    if shown.is_empty or not shown.is_valid:
        raise JobError(
            f"{where}, scale",
            "found a lens and pose that fold the picture over itself",
            "take one photo with an ordinary lens, not stitched, not bent and not retouched",
        )
