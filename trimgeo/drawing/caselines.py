"""The case on a picture: its walls and posts as solid material, and the gap that the board keeps to them."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from trimgeo.model.board import Case


@dataclass(frozen=True)
class CaseLines:
    """``wall`` are the lines that the board would touch, ``solid`` what lies behind them, to be hatched.

    ``gap`` is how near the finished edge may come; empty where no gap is asked for, or none is left inside.
    """

    wall: BaseGeometry
    solid: BaseGeometry
    gap: BaseGeometry


def case_lines(case: Case, thickness: float) -> CaseLines:
    """Lines and areas of a case in the board frame, its walls drawn ``thickness`` mm thick.

    >>> from trimgeo.model.board import Ring
    >>> tray = Case(Ring(shapely.box(0, 0, 40, 20)), (Ring(shapely.box(0, 0, 5, 5)),), gap=1.0)
    >>> lines = case_lines(tray, 2.0)
    >>> lines.wall.length, lines.solid.area, lines.gap.length  # the post takes 5 x 5 mm of a corner
    (120.0, 281.0, 112.0)
    """
    outside = shapely.buffer(case.cavity.polygon, thickness, join_style="mitre")
    kept = shapely.buffer(case.room, -case.gap, join_style="mitre") if case.gap else shapely.Polygon()
    return CaseLines(shapely.boundary(case.room), outside - case.room, shapely.boundary(kept))
