"""What ring is sought: around the keep-outs, or near the rough corners that a person has given."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.vision.line_closing import Sought
from trimgeo.vision.line_ink import Floats
from trimgeo.vision.line_links import GAP

NEAR = 5.0  # mm; how far from the rough corners the line is searched
_MARKS = 4  # points that a ring must go round: more only cost time, every keep-out is checked after


def around(edge: Polygon, keep: Sequence[Any]) -> Sought:
    """The ring around keep-outs, found alone: at most a quarter of it may be guessed."""
    solid = tuple(_solid(shape) for shape in keep)
    at = np.array([shapely.get_coordinates(shape.representative_point())[0] for shape in solid])
    return Sought(edge, solid, _spread(at), None, None, 0.0, GAP, 0.25)


def beside(edge: Polygon, rough: Polygon) -> Sought:
    """The ring beside rough corners: longer gaps may be run over, because it is known where to."""
    reach = NEAR
    while (core := rough.buffer(-reach)).is_empty:
        reach *= 0.7
    parts = getattr(core, "geoms", [core])
    at = np.array([shapely.get_coordinates(part.representative_point())[0] for part in parts])
    band = rough.exterior.buffer(reach)
    return Sought(edge, (), _spread(at), rough, band, reach, 2 * GAP, 0.4)


def _solid(shape: Any) -> Any:
    return shape if shape.area > 0 else shape.buffer(0.01)


def _spread(points: Floats) -> Floats:
    """At most `_MARKS` of the points, far from each other.

    >>> _spread(np.array([[0.0, 0.0], [1.0, 0.0]])).shape
    (2, 2)
    """
    if not len(points):
        return np.zeros((0, 2))
    chosen = [points[0]]
    while len(chosen) < min(_MARKS, len(points)):
        far = np.min([np.hypot(*(points - c).T) for c in chosen], axis=0)
        chosen.append(points[int(np.argmax(far))])
    return np.array(chosen)
