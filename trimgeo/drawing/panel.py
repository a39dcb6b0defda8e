"""The board in a frame of any size: its edge, what is kept, the case, and an outline with its cuts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.caselines import case_lines
from trimgeo.drawing.lettering import written
from trimgeo.drawing.marks import keepout_area
from trimgeo.drawing.placement import Placement, centred
from trimgeo.drawing.sheet import Box, Filled, Item, Strokes
from trimgeo.drawing.signs import CASE_HATCH, CASE_WALL, FINISHED_FILL, KEPT_FILL, LINES
from trimgeo.drawing.strokes import dashed, hatched, paths_of
from trimgeo.model.board import Board
from trimgeo.tables import EDGE_TOLERANCE


def fitted(bounds: Box, window: Box) -> Placement:
    """The placement that shows ``bounds`` of the board as large as a window of the sheet takes it.

    >>> fitted((0.0, 0.0, 100.0, 50.0), (0.0, 0.0, 20.0, 30.0)).point((50.0, 25.0))
    (10.0, 15.0)
    """
    scale = min(
        (window[2] - window[0]) / (bounds[2] - bounds[0]), (window[3] - window[1]) / (bounds[3] - bounds[1])
    )
    return centred(bounds, (scale, scale), window)


def extent(board: Board) -> Box:
    """Bounds of all that a panel shows, mm in the board frame."""
    shapes: list[BaseGeometry] = [board.edge.polygon]
    if board.case is not None:
        shapes.append(shapely.buffer(board.case.cavity.polygon, CASE_WALL, join_style="mitre"))
    left, bottom, right, top = shapely.union_all(shapes).bounds
    return float(left), float(bottom), float(right), float(top)


def job_line(board: Board) -> str:
    """Title, revision and variant of the job."""
    about, variant = board.job.job, board.job.variant
    facts = [about.title, f"revision {about.revision}" if about.revision else ""]
    return written(", ".join(fact for fact in [*facts, f"variant {variant}" if variant else ""] if fact))


def kept_areas(board: Board) -> list[BaseGeometry]:
    """The keep-outs that may not be cut, as far as they lie on the board."""
    areas = [keepout_area(each.spine, each.radius) for each in board.keepouts if not each.may_cut]
    on_board = [shapely.intersection(area, board.edge.polygon) for area in areas]
    return [area for area in on_board if not area.is_empty]


def sides(outline: Polygon, board: Polygon) -> tuple[MultiLineString, MultiLineString]:
    """The sides of an outline that are new cuts, and those that follow the board edge.

    >>> new, old = sides(shapely.box(0, 0, 5, 4), shapely.box(0, 0, 9, 4))
    >>> new.length, old.length
    (4.0, 14.0)
    """
    corners = shapely.get_coordinates(outline.exterior)
    lines = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    follows = shapely.covers(shapely.buffer(board.exterior, EDGE_TOLERANCE), lines)
    return MultiLineString(list(lines[~follows])), MultiLineString(list(lines[follows]))


def fill(kind: str, shapes: Sequence[BaseGeometry], colour: str) -> list[Item]:
    """Areas of the sheet filled with one colour, without the holes in them."""
    parts = shapely.get_parts(shapes)
    return [
        Filled(kind, paths_of(part.exterior)[0], colour)
        for part in parts
        if isinstance(part, Polygon) and part.area
    ]


def ground(board: Board, at: Placement, pane: BaseGeometry) -> list[Item]:
    """What lies under an outline, as far as it lies in a pane of the sheet: kept areas, board edge, case."""
    kept = fill("kept", list(shapely.intersection(at.lay(kept_areas(board)), pane)), KEPT_FILL)
    edge = shapely.intersection(at.lay([board.edge.polygon])[0].boundary, pane)
    return [*kept, *_case(board, at, pane), strokes("board", shapely.line_merge(edge))]


def outline_items(board: Board, at: Placement, outline: Polygon) -> list[Item]:
    """An outline: thick where it is cut, thin where it follows the board edge."""
    new, old = at.lay(sides(outline, board.edge.polygon))
    return [strokes("finished", old), strokes("cut", shapely.line_merge(new))]


def outline_area(at: Placement, outline: Polygon) -> list[Item]:
    """The area of an outline, to be drawn below everything else."""
    return fill("finished-area", list(at.lay([outline])), FINISHED_FILL)


def strokes(kind: str, geometry: BaseGeometry) -> Strokes:
    """Lines of the sheet in the look of their sign."""
    line = LINES[kind]
    paths = paths_of(geometry)
    if line.dashes:
        paths = tuple(dash for path in paths for dash in dashed(path, *line.dashes))
    return Strokes(kind, paths, line.colour, line.width)


def _case(board: Board, at: Placement, pane: BaseGeometry) -> list[Item]:
    if board.case is None:
        return []
    lines = case_lines(board.case, CASE_WALL)
    wall, solid = shapely.intersection(at.lay([lines.wall, lines.solid]), pane)
    hatch = hatched([solid], CASE_HATCH.angles[0], CASE_HATCH.pitch)
    return [
        Strokes("case-hatch", paths_of(hatch), CASE_HATCH.colour, CASE_HATCH.width),
        strokes("case", shapely.line_merge(wall)),
    ]
