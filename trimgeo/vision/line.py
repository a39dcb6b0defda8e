"""A line that was drawn on the board by hand, as a closed outline in mm."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray
from shapely import LineString, MultiLineString, Polygon

from trimgeo.errors import JobError
from trimgeo.model.board import Picture
from trimgeo.vision.line_closing import Closing, Sought, closings, faces, pieces
from trimgeo.vision.line_ink import Floats, Ground, Ink, filled, ground, inks
from trimgeo.vision.line_measure import STEP, Measured, Stretch, corner_stations, measure, stretch
from trimgeo.vision.line_near import around, beside
from trimgeo.vision.line_strokes import traced

Pen = Literal["middle", "inside"]
RIVAL = 0.6  # of the best ring's score: another ring that reaches this could be meant as well
ALIKE = 0.97  # two rings that share this much of their area are one finding
FINDING = 0.38
"""Standard uncertainty, mm, that no finding goes below: of twelve drawn boards the worst corner was 0.93 mm
off, six were within 0.2 mm (measured: tests/bench/drawn_lines.py)."""
ASK = "give its rough corners in [outline], as `view` and `near = [[column, row], ...]`"


@dataclass(frozen=True, eq=False)
class FoundLine:
    """A drawn line: ``ring`` is the closed outline, counter-clockwise; all lengths in mm.

    ``drawn`` are the stretches with ink below; ``straight`` says of each side of ``ring`` whether it is one
    straight side (the board edge too).  ``uncertainty`` is the standard uncertainty of finding the middle.
    """

    ring: Polygon
    drawn: MultiLineString
    pen_width: float
    uncertainty: float
    straight: tuple[bool, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Run:
    """A measured stretch of new edge: its line, the straight sides in it, and the stations with ink."""

    line: LineString
    sides: tuple[Stretch, ...]
    found: Measured


def find_line(
    picture: Picture,
    edge: Polygon,
    keep: Sequence[Any],
    near: NDArray[np.float64] | None,
    pen: Pen,
    where: str,
) -> FoundLine:
    """The line drawn on a face: closed, or strokes from edge to edge closed on the side of ``keep``.

    ``edge`` is the board edge, ``keep`` the areas that must stay, ``near`` rough corners (k, 2), all mm.
    ``pen`` "middle" follows the middle of the stroke, "inside" its edge towards what is kept.
    Raises `trimgeo.JobError`, with ``where`` as its place, for no line, for several, and for gaps that
    cannot be bridged without guessing.
    """
    place = ground(picture, edge)
    rough = None if near is None else _rough(near, edge, where)
    candidates = _candidates(place, around(edge, keep) if rough is None else beside(edge, rough))
    ink, closing = _only(candidates, where, rough is not None)
    runs = [_measured_run(picture, line, ink) for line in closing.new]
    sound = np.concatenate([run.found.sound for run in runs])
    if sound.mean() < (0.45 if rough is not None else 0.65):
        raise JobError(
            where,
            f"a drawn line of which only {100 * sound.mean():.0f} % can be seen",
            f"draw it anew, or {ASK}",
        )
    ring = _ring(edge, [run.line for run in runs], closing.ring, where)
    width = float(np.median(np.concatenate([run.found.width[run.found.sound] for run in runs])))
    drawn = _drawn(ring, runs)
    warnings = _gaps(runs)
    final = _inside(ring, drawn, edge, width) if pen == "inside" else ring
    spread = max([s.spread for run in runs for s in run.sides], default=0.0)
    doubt = float(np.hypot(spread, 0.15 / picture.pixels_per_mm))
    return FoundLine(final, drawn, width, max(doubt, FINDING), _straight(final, edge, runs), warnings)


def _rough(near: NDArray[np.float64], edge: Polygon, where: str) -> Polygon:
    shape = Polygon(near) if len(near) >= 3 else Polygon()
    if not shape.is_valid or shape.area <= 0 or not shape.intersects(edge):
        raise JobError(
            where, "rough corners that enclose no area of the board", "give them in order around what is kept"
        )
    return shape


def _candidates(place: Ground, sought: Sought) -> list[tuple[Ink, Closing]]:
    """The rings that each ink closes."""
    within = None
    if sought.band is not None:
        within = filled(place.board.shape, sought.band, place.origin, place.pixels_per_mm)
    found = []
    for ink in inks(place, within):
        here = ink
        if within is not None:
            here = Ink(ink.colour, np.minimum(ink.mask, within), ink.depth, ink.width)
        found += [(here, each) for each in closings(place, here, traced(place, here), sought)]
    return found


def _only(found: list[tuple[Ink, Closing]], where: str, guided: bool) -> tuple[Ink, Closing]:
    """The one finding; refuses none, several that differ, and one in doubt."""
    if not found:
        what = (
            "near the rough corners no drawn line"
            if guided
            else "no drawn line that closes around the keep-outs"
        )
        raise JobError(where, what, "draw it again, or give closer corners" if guided else ASK)
    best = max(found, key=lambda pair: pair[1].score)
    for _, other in found:
        both = best[1].ring.intersection(other.ring).area / best[1].ring.union(other.ring).area
        if both < ALIKE and other.doubt is None and other.score > RIVAL * best[1].score:
            fix = "give rough corners closer to the line" if guided else ASK
            raise JobError(where, "several lines that could be meant", fix)
    if best[1].doubt is not None:
        raise JobError(where, f"a drawn line and {best[1].doubt}", ASK)
    return best


def _measured_run(picture: Picture, line: LineString, ink: Ink) -> _Run:
    closed = line.is_closed
    found = measure(picture, line, ink.colour, ink.width, closed)
    width = float(np.median(found.width))
    corners = corner_stations(found, width)
    if closed and corners:
        found = _rolled(found, corners[0])
        corners = [n - corners[0] for n in corners]
    cuts = [*([] if closed and corners else [0]), *corners, len(found.points)]
    blind = round((0.6 * width + 0.4) / STEP)
    sides: list[Stretch] = []
    for first, last in itertools.pairwise(cuts):
        inner = np.arange(first, last)
        inner = inner[(inner >= first + blind) & (inner < last - blind)]
        inner = inner[found.sound[inner]]
        if len(inner) >= 6:
            sides += stretch(found.points[inner], width)
    return _Run(_assembled(sides, closed, found), tuple(sides), found)


def _rolled(found: Measured, start: int) -> Measured:
    return Measured(
        np.roll(found.points, -start, 0), np.roll(found.width, -start), np.roll(found.sound, -start), True
    )


def _assembled(sides: list[Stretch], closed: bool, found: Measured) -> LineString:
    """The sides joined where they meet; an open run is run on over the board edge."""
    if not sides:
        return LineString(found.points)
    parts = [side.points.copy() for side in sides]
    pairs = list(zip(range(len(parts)), [*range(1, len(parts)), 0], strict=True))
    for a, b in pairs if closed else pairs[:-1]:
        meeting = _meet(parts[a], parts[b]) if len(parts) > 1 else None
        if meeting is not None:
            parts[a], parts[b] = _ended(parts[a], meeting), _ended(parts[b][::-1], meeting)[::-1]
    points = np.vstack(parts)
    if closed:
        return LineString([*points, points[0]])
    tail, head = _tail(points), _tail(points[::-1])
    return LineString([points[0] + 4.0 * head, *points, points[-1] + 4.0 * tail])


def _tail(points: Floats) -> Floats:
    """The direction of the last 3 mm of a line, a unit vector."""
    back = LineString(points[::-1])
    start = shapely.get_coordinates(back.interpolate(min(3.0, back.length)))[0]
    way = points[-1] - start
    return np.asarray(way / max(float(np.hypot(*way)), 1e-9))


def _meet(a: Floats, b: Floats) -> Floats | None:
    """Where the end of ``a`` and the start of ``b``, run on straight, meet."""
    u, v = _tail(a), _tail(b[::-1])
    across = u[0] * v[1] - u[1] * v[0]
    if abs(across) < 0.14:
        return None
    between = b[0] - a[-1]
    s = (between[0] * v[1] - between[1] * v[0]) / across
    point = a[-1] + s * u
    far = float(np.hypot(*between))
    return point if max(np.hypot(*(point - a[-1])), np.hypot(*(point - b[0]))) < 2 * far + 2 else None


def _ended(points: Floats, at: Floats) -> Floats:
    """A line that ends at a point: a straight side moves its end there, a free one runs on to it."""
    return np.vstack([points[:-1], at]) if len(points) == 2 else np.vstack([points, at])


def _ring(edge: Polygon, lines: list[LineString], rough: Polygon, where: str) -> Polygon:
    """The face of the measured lines that the strokes had closed."""
    found = faces(edge, lines)
    best = max(found, key=lambda f: f.intersection(rough).area / f.union(rough).area, default=None)
    if best is None or best.intersection(rough).area / best.union(rough).area < 0.93:
        raise JobError(where, "a drawn line whose strokes could not be measured", f"draw it anew, or {ASK}")
    return shapely.orient_polygons(Polygon(best.exterior))


def _drawn(ring: Polygon, runs: list[_Run]) -> MultiLineString:
    """The stretches of the ring with ink below."""
    points = np.vstack([run.found.points[run.found.sound] for run in runs])
    along = np.sort(shapely.line_locate_point(ring.exterior, shapely.points(points)))
    breaks = np.flatnonzero(np.diff(along) > 3 * STEP)
    starts, ends = along[[0, *(breaks + 1)]], along[[*breaks, len(along) - 1]]
    lines = [
        shapely.ops.substring(ring.exterior, a, b) for a, b in zip(starts, ends, strict=True) if b - a > STEP
    ]
    return MultiLineString([line for line in lines if line.geom_type == "LineString"])


def _inside(ring: Polygon, drawn: MultiLineString, edge: Polygon, width: float) -> Polygon:
    """The ring less half the pen's width along its new edges."""
    new = ring.exterior.difference(edge.exterior.buffer(0.02))
    new = shapely.line_merge(new) if new.geom_type == "MultiLineString" else new
    pen = shapely.union_all(
        [line.buffer(width / 2, cap_style="square", join_style="mitre") for line in pieces(new)]
    )
    left = ring.difference(pen)
    return shapely.orient_polygons(max(pieces(left), key=lambda part: part.area))


def _straight(ring: Polygon, edge: Polygon, runs: list[_Run]) -> tuple[bool, ...]:
    at = shapely.get_coordinates(ring.exterior)
    middles = shapely.points((at[:-1] + at[1:]) / 2)
    sides = [LineString(s.points) for run in runs for s in run.sides if s.straight]
    long = np.hypot(*(at[1:] - at[:-1]).T) >= LEAST_LONG
    on_edge = shapely.distance(middles, edge.exterior) < 1e-6
    near = shapely.distance(middles, MultiLineString(sides)) < 2.0 if sides else np.zeros(len(long), bool)
    return tuple(bool(v) for v in on_edge | (near & long))


LEAST_LONG = 4.0  # mm; a shorter side is a chord of a free-hand stretch


def _gaps(runs: list[_Run]) -> tuple[str, ...]:
    """A warning for the longest gap that was bridged."""
    longest = 0
    for run in runs:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], (~run.found.sound).astype(int), [0]])))
        longest = max(longest, int(np.max(edges[1::2] - edges[::2], initial=0)))
    if longest * STEP < 4.0:
        return ()
    return (f"the drawn line cannot be seen over {longest * STEP:.0f} mm: it was run on there",)
