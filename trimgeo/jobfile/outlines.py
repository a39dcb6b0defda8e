"""The board edge and a given outline: one closed shape each, the outline within the edge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from shapely import LineString, Polygon

from trimgeo.errors import JobError, printable
from trimgeo.jobfile.positions import marks
from trimgeo.jobfile.shapefiles import Shape, read_shapes, told_unit
from trimgeo.jobfile.shapes import Floats, at, polygon
from trimgeo.jobfile.words import place, short
from trimgeo.model.board import Ring, View
from trimgeo.model.case import ShapeFile
from trimgeo.model.job import EdgeView, Job
from trimgeo.tables import EDGE_TOLERANCE, LEAST_BOARD

OWN_LAYER = "FINISHED"
"""The layer of our own drawings that holds the outline, among lines that only surround it."""

SAME_HOLE = 0.5
"""mm: a hole of a drawing this near to one that the job lists is that one."""

MOST_PLACES = 4
"""Places of loops that one sentence names."""

_COLLINEAR = 1e-9
"""mm: a corner this near to the line of its neighbours is none; finer than any drawing."""

_SNAPPED = 1e-6
"""mm: the same after snapping, which leaves corners where two nearly equal lines cross."""


@dataclass(frozen=True)
class Given:
    """A ring that the job gives, None where it gives none, and what a person must hear about its file."""

    ring: Ring | None
    warnings: tuple[str, ...] = ()


def edge_ring(job: Job) -> Ring | None:
    """The ring of `edge_given` alone."""
    return edge_given(job).ring


def edge_given(job: Job) -> Given:
    """The board edge, counter-clockwise; None where the job says that a picture shows it.

    Raises `trimgeo.JobError` where it is no simple shape, or a file does not give exactly one.

    >>> from trimgeo.model.job import About, BoardTable
    >>> board = BoardTable(thickness=1.6, edge=((0, 0), (0, 2), (3, 2), (3, 0)))
    >>> edge_given(Job(job=About(title="t"), board=board)).ring.polygon
    <POLYGON ((0 0, 3 0, 3 2, 0 2, 0 0))>
    """
    where = place(job.source, "[board]", None, "edge")
    given = job.board.edge
    if isinstance(given, EdgeView):
        return Given(None)
    if isinstance(given, ShapeFile):
        found = read_shapes(job.folder / given.file, given.layer, where)
        largest, holes = _outer(found, where)
        known = [hole.at for hole in job.board.holes if hole.on is None]
        told = _told_holes(holes, given.file, known, "give holes of the board as [[board.holes]]")
        return Given(_turned(largest.ring), (*told_unit([largest], given.file, "the board edge"), *told))
    return Given(_turned(Ring(polygon(np.array(given), where))))


def told_size(edge: Ring) -> tuple[str, ...]:
    """A warning where the board is so small that it was likely given in inches.

    >>> told_size(Ring(Polygon([(0, 0), (3.94, 0), (3.94, 3.15), (0, 3.15)])))
    ('the board is 3.94 x 3.15 mm: lengths are millimetres, 25.4 to an inch',)
    """
    left, low, right, high = edge.polygon.bounds
    if max(right - left, high - low) >= LEAST_BOARD:
        return ()
    return (
        f"the board is {right - left:.4g} x {high - low:.4g} mm: lengths are millimetres, 25.4 to an inch",
    )


def given_outline(
    job: Job, views: Mapping[str, View], edge: Ring, path: str | Path | None = None
) -> Ring | None:
    """The ring of `outline_given` alone."""
    return outline_given(job, views, edge, path).ring


def outline_given(job: Job, views: Mapping[str, View], edge: Ring, path: str | Path | None = None) -> Given:
    """The finished outline that the job gives, snapped to the board, or None where it is built.

    ``path`` is a DXF or SVG file to use instead of what the job gives.  The ring is
    counter-clockwise, without collinear corners.

    Raises `trimgeo.JobError` where it is no simple shape, where a file does not give exactly one,
    where it leaves the board by more than `EDGE_TOLERANCE` (or the bound of the view that it comes
    from), and where the board parts it.

    >>> from trimgeo.model.job import About, BoardTable, OutlineTable
    >>> board = BoardTable(thickness=1.6, edge=((0, 0), (9, 0), (9, 9), (0, 9)))
    >>> line = OutlineTable(points=((0, 0), (5, 0), (9.004, 0), (9.004, 6), (0, 6)))  # 4 micrometres beyond
    >>> job = Job(job=About(title="t"), board=board, outline=line)
    >>> given_outline(job, {}, edge_ring(job)).polygon
    <POLYGON ((0 0, 9 0, 9 6, 0 6, 0 0))>
    """
    if path is not None:
        where = printable(str(path))
        return _from_file(Path(path), None, edge, where)
    given = job.outline
    if given is not None and given.file is not None:
        where = place(job.source, "[outline]", None, "file")
        return _from_file(job.folder / given.file, given.layer, edge, where)
    if given is not None and given.points is not None:
        where = place(job.source, "[outline]", None, "points")
        marked = marks([given.points], [given.on], views, lambda _: where)
        bound = views[given.on].uncertainty if given.on else 0.0
        ring = _turned(Ring(polygon(marked.xy, where)))
        return Given(on_board(ring, edge, where, max(EDGE_TOLERANCE, bound)))
    return Given(None)


def _from_file(file: Path, layer: str | None, edge: Ring, where: str) -> Given:
    largest, holes = _outer(_outline_shapes(file, layer, where), where)
    told = _told_holes(holes, file.name, (), "only its outer line is cut")
    ring = on_board(_turned(largest.ring), edge, where)
    return Given(ring, (*told_unit([largest], file.name, "the outline"), *told))


def _outline_shapes(file: Path, layer: str | None, where: str) -> tuple[Shape, ...]:
    """The shapes among which the outline is: those on `OWN_LAYER` where the drawing has it."""
    if layer is None:
        try:
            return read_shapes(file, OWN_LAYER, where)
        except JobError:
            pass  # a drawing of somebody else: all its shapes are judged, and its faults told
    return read_shapes(file, layer, where)


def _outer(shapes: Sequence[Shape], where: str) -> tuple[Shape, list[Shape]]:
    """The one shape that is meant, and the circles within it: holes, which say nothing about an edge."""
    largest = max(shapes, key=lambda shape: shape.ring.polygon.area)
    shapely.prepare(largest.ring.polygon)
    for shape in shapes:
        if shape is largest:
            continue
        if shape.disc is None or not largest.ring.polygon.covers(shape.ring.polygon):
            x, y = shape.ring.polygon.representative_point().coords[0]
            raise JobError(
                where,
                f"found {len(shapes)} closed shapes where one is meant, the other at {at((x, y))} "
                "being no round hole within the largest",
                "name with `layer` a layer that holds one closed shape, and perhaps round holes within it",
            )
    return largest, [shape for shape in shapes if shape is not largest]


def _told_holes(
    holes: Sequence[Shape], file: str, known: Sequence[tuple[float, float]], fix: str
) -> tuple[str, ...]:
    """A warning about closed loops that are left out, but for holes that the job has, at ``known``."""
    centres = [shape.disc.centre for shape in holes if shape.disc is not None]
    left = [one for one in centres if all(np.hypot(*np.subtract(one, at_)) > SAME_HOLE for at_ in known)]
    if not left:
        return ()
    places = ", ".join(at(centre) for centre in left[:MOST_PLACES])
    more = f" and {len(left) - MOST_PLACES} more" if len(left) > MOST_PLACES else ""
    loops = f"{len(left)} closed loop{'s' if len(left) > 1 else ''} within the largest"
    are = "are" if len(left) > 1 else "is"
    return (f"{short(file)} has {loops}, at {places}{more}, which {are} left out: {fix}",)


def _turned(ring: Ring) -> Ring:
    """Counter-clockwise, from the same first corner."""
    shape = ring.polygon
    if not shape.exterior.is_ccw:
        shape = Polygon(shape.exterior.coords[::-1])
    return Ring(shape, ring.circles)


def on_board(ring: Ring, edge: Ring, where: str, tolerance: float = EDGE_TOLERANCE) -> Ring:
    """The outline within the board edge, counter-clockwise, snapped to it within ``tolerance``.

    Raises `trimgeo.JobError` where it leaves the board by more, and where the board parts it.

    >>> board = Ring(Polygon([(0, 0), (9, 0), (9, 9), (0, 9)]))
    >>> on_board(Ring(Polygon([(0, 0), (5, 0), (5, 9.02), (0, 9.02)])), board, "outline").polygon.bounds
    (0.0, 0.0, 5.0, 9.0)
    """
    board = edge.polygon
    if board.covers(ring.polygon):
        return Ring(_without_collinear(ring.polygon, _COLLINEAR), ring.circles)
    # Growing by chords falls short of the arc by 0.03 % of the tolerance with so many segments.
    if not board.buffer(tolerance + _SNAPPED, quad_segs=32).covers(ring.polygon):
        far, spot = _farthest_outside(ring.polygon, board)
        raise JobError(
            where,
            f"found an outline that leaves the board by {max(far, tolerance):.2f} mm near {at(spot)}",
            f"keep it within the board edge (what leaves it by at most {tolerance:.2f} mm is snapped to it)",
        )
    pieces = sorted(shapely.get_parts(ring.polygon.intersection(board)), key=lambda piece: -piece.area)
    pieces = [piece for piece in pieces if piece.area > EDGE_TOLERANCE**2]
    if not pieces:
        raise JobError(where, "found an outline that lies beside the board", "draw it on the board")
    if len(pieces) != 1:
        raise JobError(
            where,
            f"found an outline that falls into {len(pieces)} pieces where the board does not fill it",
            "draw it around one piece of the board",
        )
    first = ring.polygon.exterior.coords[0]
    snapped = _without_collinear(_from_corner(_turned(Ring(pieces[0])).polygon, first), _SNAPPED)
    return Ring(snapped, tuple(dict.fromkeys((*ring.circles, *edge.circles))))


def _farthest_outside(outline: Polygon, board: Polygon) -> tuple[float, tuple[float, float]]:
    """How far an outline leaves the board, and where; found on points 0.1 mm apart or a little more.

    Corners alone would not do: a side across a notch is farthest from the board in its middle.
    """
    beyond = outline.difference(board)
    step = max(0.1, beyond.length / 20_000)
    # A spike thinner than numbers tell apart has no area beyond the board: its corners are looked at as well.
    points = shapely.get_coordinates([shapely.segmentize(beyond, step), outline])
    distances = shapely.distance(shapely.points(points), board)
    n = int(np.argmax(distances))
    return float(distances[n]), (float(points[n, 0]), float(points[n, 1]))


def _without_collinear(shape: Polygon, tolerance: float) -> Polygon:
    """The polygon without corners that are none, from the same first corner where that is one.

    The simplification starts at the lowest of the leftmost corners: that is one for sure.
    """
    points = shapely.get_coordinates(shape.exterior)[:-1]
    corner = int(np.lexsort((points[:, 1], points[:, 0]))[0])
    rolled = np.roll(points, -corner, axis=0)
    line = LineString(np.vstack([rolled, rolled[:1]])).simplify(tolerance, preserve_topology=False)
    if len(line.coords) < 4:  # a sliver thinner than the tolerance has no corner to spare
        return shape
    thinned = Polygon(line)
    if not thinned.is_valid:  # a spike thinner than the tolerance folds where its corners go
        return shape
    return _from_corner(thinned, (points[0, 0], points[0, 1]))


def _from_corner(shape: Polygon, first: Sequence[float]) -> Polygon:
    """The same ring, begun at the corner nearest to ``first``."""
    points: Floats = shapely.get_coordinates(shape.exterior)[:-1]
    start = int(np.argmin(np.hypot(*(points - np.asarray(first[:2])).T)))
    return Polygon(np.roll(points, -start, axis=0))
