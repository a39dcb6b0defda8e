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
from trimgeo.vision.line_corner import Corner, arm_of, fitted_corner, meeting
from trimgeo.vision.line_ink import Floats, Ground, Ink, filled, ground, inks
from trimgeo.vision.line_measure import STEP, Measured, Stretch, corner_stations, measure, stretch
from trimgeo.vision.line_near import around, beside
from trimgeo.vision.line_strokes import traced

Pen = Literal["middle", "inside"]
RIVAL = 0.6  # of the best ring's score: another ring that reaches this could be meant as well
THIN = 0.015  # mm; points of a free-hand stretch that lie so near the rest are left out
ALIKE = 0.97  # two rings that share this much of their area are one finding
FLANK = 0.02  # of the pen's width: how unevenly its two flanks may be inked (our own estimate)
PIXEL = 0.15  # of a pixel: systematic error of a half level (measured on drawn boards: tests/bench)
ASTRAY = 0.1  # of a way that is not seen whole: how far a free hand may stray over it (our own estimate)
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
    at_corners: float


@dataclass(frozen=True, eq=False)
class _Path:
    """The line of a run and the largest standard deviation of a corner on it, mm."""

    line: LineString
    spread: float


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
    runs = [_measured_run(picture, line, ink, edge) for line in closing.new]
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
    return FoundLine(
        final,
        drawn,
        width,
        _uncertainty(runs, width, picture.pixels_per_mm),
        _straight(final, edge, runs),
        warnings,
    )


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


def _measured_run(picture: Picture, line: LineString, ink: Ink, edge: Polygon) -> _Run:
    closed = line.is_closed
    found = measure(picture, line, ink.colour, ink.width, edge)
    width = float(np.median(found.width))
    corners = corner_stations(found, width)
    if closed and corners:
        found = _rolled(found, corners[0])
        corners = [n - corners[0] for n in corners]
    cuts = [*([] if closed and corners else [0]), *corners, len(found.points)]
    blind = round((0.6 * width + 0.4) / STEP)
    at_edge = 1
    sides: list[Stretch] = []
    for first, last in itertools.pairwise(cuts):
        start = at_edge if not closed and first == 0 else blind
        stop = at_edge if not closed and last == len(found.points) else blind
        inner = np.arange(first + start, last - stop)
        inner = inner[found.sound[inner]]
        if len(inner) >= 6:
            sides += stretch(found.points[inner], width, blind)
    path = _assembled(picture, sides, found, width)
    return _Run(_thinned(path.line), tuple(sides), found, path.spread)


def _thinned(line: LineString) -> LineString:
    """A line without the points that it does not need."""
    return LineString(shapely.get_coordinates(line.simplify(THIN)))


def _rolled(found: Measured, start: int) -> Measured:
    return Measured(
        np.roll(found.points, -start, 0), np.roll(found.width, -start), np.roll(found.sound, -start), True
    )


def _assembled(picture: Picture, sides: list[Stretch], found: Measured, width: float) -> _Path:
    """The sides joined where they meet; an open run is run on over the board edge."""
    if not sides:
        return _Path(LineString(found.points), 0.0)
    heads = [arm_of(side.points[::-1], side.straight) for side in sides]
    tails = [arm_of(side.points, side.straight) for side in sides]
    pairs = list(zip(range(len(sides)), [*range(1, len(sides)), 0], strict=True))
    before: list[Floats] = [np.zeros((0, 2)) for _ in sides]
    after = list(before)
    spread = 0.0
    for n, m in (pairs if found.closed else pairs[:-1]) if len(sides) > 1 else []:
        corner = _corner(picture, sides[n], sides[m], width)
        if corner is not None:
            after[n], before[m] = corner.curves[0][1:], corner.curves[1][::-1][:-1]
            spread = max(spread, corner.deviation)
    if not found.closed:
        spread = max(spread, _at_edge(sides[0], sides[0].points[0] - found.points[0]))
        spread = max(spread, _at_edge(sides[-1], sides[-1].points[-1] - found.points[-1]))
        before[0] = np.array([sides[0].points[0] + 4.0 * heads[0].way])
        after[-1] = np.array([sides[-1].points[-1] + 4.0 * tails[-1].way])
    points = np.vstack([_joined(*each) for each in zip(sides, before, after, strict=True)])
    return _Path(LineString([*points, points[0]] if found.closed else points), spread)


def _at_edge(side: Stretch, run_on: Floats) -> float:
    """How far a side may be off at the board edge, over the last of its way, which is seen by half."""
    return 0.0 if side.straight else ASTRAY * float(np.hypot(*run_on))


def _joined(side: Stretch, before: Floats, after: Floats) -> Floats:
    """A side from corner to corner: a straight one runs from one to the other whatever was measured."""
    points = side.points
    if side.straight:
        points = points[1 if len(before) else 0 : 1 if len(after) else 2]
        before, after = before[:1], after[-1:]
    return np.vstack([before, points, after])


def _corner(picture: Picture, one: Stretch, other: Stretch, width: float) -> Corner | None:
    """The corner of two sides: from their lines where both are straight or nothing is seen, else from ink."""
    back = other.points[::-1]
    if not (one.straight and other.straight):
        found = fitted_corner(picture, arm_of(one.points, one.straight), arm_of(back, other.straight), width)
        if found is not None:
            return found
    a, b = arm_of(one.points, one.straight, 1), arm_of(back, other.straight, 1)
    at = meeting(a, b)
    if at is None:
        return None
    free = [float(np.hypot(*(at - arm.at))) for arm in (a, b) if not arm.straight]
    doubt = max(one.spread, other.spread, *(ASTRAY * reach for reach in free), 0.0)
    return Corner(at, (np.array([a.at, at]), np.array([b.at, at])), doubt)


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


def _uncertainty(runs: list[_Run], width: float, pixels_per_mm: float) -> float:
    """The standard uncertainty of the middle at its worst place: at a corner, along a side or in a gap."""
    sides = [side for run in runs for side in run.sides]
    worst = max([*(max(s.spread, s.hidden) for s in sides), *(run.at_corners for run in runs)], default=1.0)
    return float(np.sqrt(worst**2 + (FLANK * width) ** 2 + (PIXEL / pixels_per_mm) ** 2))


def _gaps(runs: list[_Run]) -> tuple[str, ...]:
    """A warning for the longest gap that was bridged."""
    longest = 0
    for run in runs:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], (~run.found.sound).astype(int), [0]])))
        longest = max(longest, int(np.max(edges[1::2] - edges[::2], initial=0)))
    if longest * STEP < 4.0:
        return ()
    return (f"the drawn line cannot be seen over {longest * STEP:.0f} mm: it was run on there",)
