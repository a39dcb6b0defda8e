"""Which ring the strokes of an ink close, by themselves or along the board edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from trimgeo.vision.line_ink import Floats, Ground, Ink
from trimgeo.vision.line_links import landings, links
from trimgeo.vision.line_rings import Round, rounds
from trimgeo.vision.line_strokes import Stroke

MOST_STROKES = 250  # nobody draws so many: copper or printing
STRAY = 12.0  # mm; a shorter stroke off the ring is a mark, a longer one may be part of the line
MOST_STRAY = 0.3  # of the line's own length; more of them are another line
GUESS = 3.0  # how much more a guessed share of a ring takes from its score than an inked one adds
LEAST_NEW = 10.0  # mm of new edge


@dataclass(frozen=True, eq=False)
class Closing:
    """A ring as found, before it is measured; ``new`` are its stretches off the board edge, mm.

    ``inked`` is their length with ink below, ``cost`` what their joints ask to believe, both mm; ``score``
    ranks rings; ``doubt`` says why it must not be used, None where nothing does.
    """

    ring: Polygon
    new: tuple[LineString, ...]
    inked: float
    cost: float
    score: float
    doubt: str | None


@dataclass(frozen=True, eq=False)
class Sought:
    """What a ring must be: around ``marks`` (k, 2) and ``keep``, or within ``reach`` mm of ``rough``.

    ``band`` is where strokes may lie, None for anywhere; ``most_gap`` the longest bridge, mm, and
    ``most_guessed`` the share of the new edges that joints may cost.
    """

    edge: Polygon
    keep: tuple[Polygon, ...]
    marks: Floats
    rough: Polygon | None
    band: Polygon | None
    reach: float
    most_gap: float
    most_guessed: float


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


def closings(place: Ground, ink: Ink, strokes: list[Stroke], sought: Sought) -> list[Closing]:
    """The rings that the strokes of one ink close around what must stay, each with how much speaks for it."""
    if not strokes or len(strokes) > MOST_STROKES:
        return []
    joints = links(place, ink, strokes, sought.most_gap)
    if sought.band is not None:
        joints = [link for link in joints if shapely.contains_xy(sought.band, link.line).all()]
    ends = landings(strokes, ink.width, sought.edge)
    found = rounds(strokes, joints, ends, sought.edge, sought.marks, lambda line: _passable(line, sought))
    total = sum(s.length for s in strokes)
    closed = [_closing(ring, strokes, total, sought) for ring in found]
    return [each for each in closed if each is not None]


def _passable(line: Floats, sought: Sought) -> bool:
    if sought.band is None:
        return True
    points = resampled(LineString(line), 1.0)
    return bool(shapely.contains_xy(sought.band, points).all())


def _closing(ring: Round, strokes: Sequence[Stroke], total: float, sought: Sought) -> Closing | None:
    area = shapely.make_valid(Polygon(ring.points)).intersection(sought.edge)
    shape = max((g for g in pieces(area) if g.geom_type == "Polygon"), key=lambda g: g.area, default=None)
    if shape is None or shape.area > 0.98 * sought.edge.area or not _holds(shape, sought):
        return None
    shape = shapely.orient_polygons(Polygon(shape.exterior))
    new = new_stretches(shape, sought.edge)
    inked = sum(strokes[n].length for n in ring.strokes)
    length = sum(line.length for line in new)
    if length < LEAST_NEW or ring.cost > sought.most_guessed * length:
        return None
    inside = shape.buffer(-1.0)
    stray = [s for n, s in enumerate(strokes) if n not in ring.strokes and s.length > STRAY]
    within = sum(s.length for s in stray if inside.contains(Point(s.points[len(s.points) // 2])))
    doubt = None
    if sought.band is None and within > MOST_STRAY * inked:
        doubt = "another stroke of the same ink inside of it"
    score = inked * max(0.0, 1 - GUESS * ring.cost / length) * inked / total
    return Closing(shape, tuple(new), inked, ring.cost, score, doubt)


def _holds(shape: Polygon, sought: Sought) -> bool:
    """Whether a ring is one that was asked for: around all keep-outs, or near the rough corners."""
    if sought.rough is not None:
        far = shapely.hausdorff_distance(shape.exterior, sought.rough.exterior, densify=0.05)
        return float(far) < sought.reach + 1.5
    if not sought.keep:
        return bool(shape.exterior.distance(sought.edge.exterior) > 0.2)
    return all(shape.intersection(k).area > 0.5 * k.area for k in sought.keep)


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
