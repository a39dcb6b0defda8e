"""Which ring the strokes of an ink close, by themselves or along the board edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Polygon

from trimgeo.vision.line_ink import Floats
from trimgeo.vision.line_strokes import Stroke, Strokes

LEAST_SHARE = 0.5  # of the strokes of an ink that must lie on the ring: traces and silk have far less
MOST_BRIDGED = 0.25  # of the new edges that may lie on joints
STRAY = 8.0  # mm; a shorter stroke off the ring is a mark, a longer one may be part of the line


@dataclass(frozen=True, eq=False)
class Closing:
    """A ring as found, before it is measured; ``new`` are its stretches off the board edge, mm.

    ``inked`` is their length with ink below; ``doubt`` says why it must not be used, None where nothing does.
    """

    ring: Polygon
    new: tuple[LineString, ...]
    inked: float
    doubt: str | None


def pieces(shape: Any) -> list[Any]:
    """The parts of a geometry that are not empty.

    >>> len(pieces(shapely.MultiPoint([(0, 0), (1, 1)])))
    2
    """
    return [part for part in getattr(shape, "geoms", [shape]) if not part.is_empty]


def faces(edge: Polygon, lines: Sequence[LineString]) -> list[Polygon]:
    """The faces into which lines part the board, mm.

    >>> sorted(f.area for f in faces(shapely.box(0, 0, 4, 2), [LineString([(1, -1), (1, 3)])]))
    [2.0, 6.0]
    """
    noded = shapely.unary_union([edge.exterior, *lines])
    inside = edge.buffer(1e-6)
    return [f for f in shapely.polygonize([noded]).geoms if inside.contains(f.representative_point())]


def close(found: Strokes, width: float, edge: Polygon, keep: Sequence[Any]) -> Closing | None:
    """The ring of one ink's strokes around ``keep``; None where there is none."""
    lines = [LineString(s.points) for s in found.strokes] + list(found.joints)
    if not lines:
        return None
    face = _face(faces(edge, lines), edge, keep)
    if face is None:
        return None
    split = face.exterior.hausdorff_distance(edge.exterior) < 0.5
    face = shapely.orient_polygons(Polygon(face.exterior))
    new = new_stretches(face, edge)
    length = sum(line.length for line in new)
    if length < 10:
        return None
    band = shapely.union_all(new).buffer(0.3 + 0.3 * width)
    on = [_share(s, band) for s in found.strokes]
    inked = sum(s.length * share for s, share in zip(found.strokes, on, strict=True))
    total = sum(s.length for s in found.strokes)
    if inked < (1 - MOST_BRIDGED) * length:
        return None
    doubt = _doubt(found.strokes, on, face, inked, total)
    if split:
        doubt = "the keep-outs lie outside of the closed line"
    return Closing(face, tuple(new), inked, doubt)


def _doubt(
    strokes: Sequence[Stroke], on: list[float], face: Polygon, inked: float, total: float
) -> str | None:
    if inked < LEAST_SHARE * total:
        return "strokes that look alike and do not belong to it"
    stray = [s for s, share in zip(strokes, on, strict=True) if share < 0.5 and s.length > STRAY]
    if any(face.contains(shapely.Point(s.points[len(s.points) // 2])) for s in stray):
        return "another stroke of the same ink inside of it"
    if sum(s.length for s in stray) > 0.2 * inked:
        return "other strokes of the same ink beside it"
    return None


def _share(stroke: Stroke, band: Any) -> float:
    return float(shapely.contains_xy(band, stroke.points[:, 0], stroke.points[:, 1]).mean())


def _face(found: list[Polygon], edge: Polygon, keep: Sequence[Any]) -> Polygon | None:
    if keep:
        homes = {_home(found, shape) for shape in keep}
        if len(homes) != 1 or None in homes:
            return None
        face = found[homes.pop() or 0]
        return face if face.area < 0.98 * edge.area else None
    closed = [f for f in found if f.exterior.distance(edge.exterior) > 0.2]
    return closed[0] if len(closed) == 1 else None


def _home(found: list[Polygon], shape: Any) -> int | None:
    """The face that holds most of a keep-out."""
    at = shape.representative_point() if hasattr(shape, "representative_point") else shape
    solid = shape if shape.area > 0 else at.buffer(0.01)
    shares = [f.intersection(solid).area / solid.area for f in found]
    return int(np.argmax(shares)) if shares and max(shares) > 0.5 else None


def new_stretches(ring: Polygon, edge: Polygon) -> list[LineString]:
    """The stretches of a ring that do not run along the board edge."""
    off = ring.exterior.difference(edge.exterior.buffer(0.02))
    merged = shapely.line_merge(off) if off.geom_type == "MultiLineString" else off
    return [line for line in pieces(merged) if line.length > 1]


def resampled(line: LineString, step: float) -> Floats:
    """Points (n, 2) at about every ``step`` mm of a line.

    >>> resampled(LineString([(0, 0), (2, 0)]), 1.0).tolist()
    [[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]]
    """
    count = max(2, round(line.length / step) + 1)
    along = np.linspace(0, line.length, count)
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(line, along)))
