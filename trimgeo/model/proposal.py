"""What a picture suggests, before anyone has accepted it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shapely import Point, Polygon


@dataclass(frozen=True)
class Proposal:
    """A keep-out that a picture suggests, mm: a polygon, or a circle as (x, y) and diameter.

    ``confidence``, 0 to 1, of a body is the share of such bodies that were right on drawn boards,
    of a hole or pad how well its rim shows.  ``traced`` is "top" for a body seen by a camera from aside,
    whose top leans away from its foot, else None.

    >>> Proposal("hole", None, ((3.0, 4.0), 2.0), 0.9, None).centre
    (3.0, 4.0)
    """

    kind: Literal["component", "hole", "pad"]
    polygon: Polygon | None
    circle: tuple[tuple[float, float], float] | None
    confidence: float
    traced: Literal["top"] | None

    @property
    def shape(self) -> Polygon:
        """The area, mm; a circle as a polygon of 64 sides."""
        if self.circle is not None:
            return Point(self.circle[0]).buffer(self.circle[1] / 2, quad_segs=16)
        assert self.polygon is not None
        return self.polygon

    @property
    def centre(self) -> tuple[float, float]:
        """The middle, mm."""
        if self.circle is not None:
            return self.circle[0]
        assert self.polygon is not None
        return float(self.polygon.centroid.x), float(self.polygon.centroid.y)
