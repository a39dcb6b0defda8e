"""From the board frame to a sheet: mirrored or not, and what the printer does divided out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.sheet import XY, Box
from trimgeo.model.board import FaceName
from trimgeo.plane.moving import moved


@dataclass(frozen=True)
class Placement:
    """``sheet = scale * board + offset``, for x and y; ``scale`` in x is negative where mirrored.

    >>> Placement((-1.0, 1.0), (100.0, 10.0)).point((30.0, 5.0))
    (70.0, 15.0)
    >>> from shapely import Point
    >>> Placement((-1.0, 1.0), (100.0, 10.0)).moved((5.0, 0.0)).lay([Point(30, 5)])[0]
    <POINT (75 15)>
    """

    scale: XY
    offset: XY

    def point(self, at: XY) -> XY:
        """A board point on the sheet."""
        return at[0] * self.scale[0] + self.offset[0], at[1] * self.scale[1] + self.offset[1]

    def lay(self, shapes: Sequence[BaseGeometry]) -> NDArray[Any]:
        """Board shapes on the sheet, an array of shape (k,), in the same order."""
        scale, offset = np.asarray(self.scale), np.asarray(self.offset)
        return moved(shapes, lambda xy: xy * scale + offset)

    def moved(self, by: XY) -> Placement:
        """The same placement, shifted on the sheet."""
        return Placement(self.scale, (self.offset[0] + by[0], self.offset[1] + by[1]))


def scale_of(face: FaceName, stretch: XY) -> XY:
    """Sheet mm for a board mm: what the printer stretches is drawn that much smaller.

    >>> scale_of("bottom", (2.0, 1.0))
    (-0.5, 1.0)
    """
    sign = -1.0 if face == "bottom" else 1.0
    return sign / stretch[0], 1.0 / stretch[1]


def centred(bounds: Box, scale: XY, window: Box) -> Placement:
    """The placement that puts the middle of board ``bounds`` into the middle of a window of the sheet.

    >>> centred((0.0, 0.0, 100.0, 80.0), (-1.0, 1.0), (10.0, 20.0, 200.0, 280.0)).point((50.0, 40.0))
    (105.0, 150.0)
    """
    middle = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    target = (window[0] + window[2]) / 2, (window[1] + window[3]) / 2
    return Placement(scale, (target[0] - middle[0] * scale[0], target[1] - middle[1] * scale[1]))
