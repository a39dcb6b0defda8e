"""The board on a sheet, at true scale: its lines, and the labels that keep off them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.boardlines import Drawn, drawn
from trimgeo.drawing.cells import room
from trimgeo.drawing.labels import TOUCHING, Place, Wish, place
from trimgeo.drawing.marks import Mark
from trimgeo.drawing.naming import Wording, claims, forms, label
from trimgeo.drawing.placement import Placement
from trimgeo.drawing.sheet import XY, Box, Discs, Item, Strokes, Text
from trimgeo.drawing.signs import LINES
from trimgeo.drawing.strokes import lines_of, paths_of
from trimgeo.model.plan import Plan

GROUND: Final = 500.0
"""A larger area, mm², is a plane: labels of other things may lie on it at no cost."""


OUTSIDE: Final = {"cut": 30.0, "relief": 30.0, "stop": 8.0}
"""What the kept board costs labels that belong outside of it, in mm of distance."""


@dataclass(frozen=True)
class View:
    """The board in a window of a sheet, in drawing order.

    ``keyed`` are the keys of marks that stand on the drawing by their key alone, ``unplaced`` those of
    marks that found no room at all: lists must name both.  ``kinds`` are the kinds of line and sign
    that are there, for the legend.
    """

    items: tuple[Item, ...]
    keyed: tuple[str, ...]
    unplaced: tuple[str, ...]
    kinds: frozenset[str]


def board_view(
    plan: Plan,
    marks: Sequence[Mark],
    at: Placement,
    window: Box,
    taken: Sequence[Box] = (),
    strips: Sequence[BaseGeometry] = (),
) -> View:
    """What of the board lies in ``window``, a box of the sheet in mm, with its labels.

    ``at`` lays the board frame on the sheet.  Labels keep off the boxes ``taken`` and off the lines
    and areas ``strips``, both on the sheet; no label covers another or a line that must be seen.
    """
    pane = shapely.box(*window)
    lines = drawn(plan, marks, at, pane)
    shapes = shapely.intersection(at.lay([mark.shape for mark in marks]), pane)
    visible = claims(marks, shapes)
    bars = lines_of([path for one in lines.strong for path in _outline(one)])
    # Larger areas first, so that the smaller of two owns what both cover; planes are ground, not owners.
    areas = [n for n in visible if 0.0 < shapes[n].area < GROUND]
    owners = sorted(areas, key=lambda n: (-shapes[n].area, n))
    own = {n: number for number, n in enumerate(owners, start=1)}
    whole = list(at.lay([plan.finished.polygon]))
    space = room(window, taken, [*bars, *strips], _light(lines), [shapes[n] for n in owners], whole)
    wordings = [forms(marks[n]) for n in visible]
    wishes = [
        _wish(marks[n], shapes[n], several, own.get(n, 0), at, pane)
        for n, several in zip(visible, wordings, strict=True)
    ]
    places = place(space, wishes)
    put = [
        _Put(marks[n], shapes[n], several, one)
        for n, several, one in zip(visible, wordings, places, strict=True)
        if one is not None
    ]
    boxes = shapely.union_all([shapely.box(*box) for box in (*taken, *(one.place.box for one in put))])
    items = [
        *(_broken(one, boxes) for one in lines.faint),
        _swept(lines.swept, boxes),
        *lines.strong,
        *_pointers(put),
        *(item for one in put for item in label(one.mark, one.wordings[one.place.form], one.place.box)),
    ]
    kept = tuple(item for item in items if not _is_empty(item))
    return View(
        kept,
        keyed=tuple(one.mark.key for one in put if one.wordings[one.place.form].key),
        unplaced=tuple(marks[n].key for n, one in zip(visible, places, strict=True) if one is None),
        kinds=frozenset(item.kind for item in kept if not isinstance(item, Text)),
    )


@dataclass(frozen=True)
class _Put:
    mark: Mark
    shape: BaseGeometry
    wordings: tuple[Wording, ...]
    place: Place


def _wish(
    mark: Mark, shape: BaseGeometry, several: Sequence[Wording], own: int, at: Placement, pane: BaseGeometry
) -> Wish:
    """What the label of a mark asks for: ``own`` is the number of the mark's own area."""
    rooms = tuple(one.room for one in several)
    return Wish(_anchors(mark, shape, at, pane), rooms, own, OUTSIDE.get(mark.kind, 0.0))


def _light(lines: Drawn) -> list[BaseGeometry]:
    """What a label may break at a price: outlines of keep-outs, the case, the dots of the swept band."""
    priced = (one for one in lines.faint if one.kind in ("keepout", "case"))
    found = list(lines_of([path for one in priced for path in one.paths]))
    return [*found, shapely.multipoints(lines.swept)] if lines.swept else found


def _anchors(mark: Mark, shape: BaseGeometry, at: Placement, pane: BaseGeometry) -> tuple[XY, ...]:
    """Where the label is at home, and points along the shape for when that place is taken."""
    home = _middle(shape) if mark.home is None else _held(at.point(mark.home), pane)
    along = shapely.get_parts(shape.boundary if shape.area else shape)[0]
    spread = along
    if shapely.get_dimensions(along) == 1:
        spread = shapely.line_interpolate_point(along, np.arange(12) / 12, normalized=True)
    return home, *((float(x), float(y)) for x, y in shapely.get_coordinates(spread))


def _held(point: XY, pane: BaseGeometry) -> XY:
    left, bottom, right, top = pane.bounds
    return min(max(point[0], left), right), min(max(point[1], bottom), top)


def _middle(shape: BaseGeometry) -> XY:
    """A point in the middle of what shows: of the longest line, else inside the area."""
    parts = shapely.get_parts(shape)
    if shape.area == 0.0:
        longest = max(parts, key=lambda part: part.length)
        middle = longest.interpolate(0.5, normalized=True) if longest.length else longest
    else:
        largest = max(parts, key=lambda part: part.area)
        middle = largest.centroid if largest.contains(largest.centroid) else largest.representative_point()
    return float(middle.x), float(middle.y)


def _pointers(put: Sequence[_Put]) -> list[Item]:
    """Pointers from labels to the rims of what they name, with a dot at the end."""
    runs = []
    for one in put:
        if one.place.pointer is None:
            continue
        outside = shapely.get_parts(shapely.difference(shapely.linestrings(one.place.pointer), one.shape))
        if len(outside) and outside[0].length > TOUCHING / 2:
            runs.append(paths_of(outside[0])[0])
    leader = LINES["leader"]
    return [
        Strokes("leader", tuple(runs), leader.colour, leader.width),
        Discs("leader-end", tuple(run[-1] for run in runs), 0.25, leader.colour, None),
    ]


def _swept(spots: Sequence[XY], boxes: BaseGeometry) -> Discs:
    line = LINES["swept"]
    left = tuple(xy for xy, covered in zip(spots, _inside(boxes, spots), strict=True) if not covered)
    return Discs("swept", left, line.width / 2, line.colour, None)


def _is_empty(item: Item) -> bool:
    return (isinstance(item, Strokes) and not item.paths) or (isinstance(item, Discs) and not item.centres)


def _outline(item: Strokes | Discs) -> tuple[tuple[XY, ...], ...]:
    if isinstance(item, Strokes):
        return item.paths
    circles = [shapely.Point(centre).buffer(item.radius) for centre in item.centres]
    return tuple(path for circle in circles for path in paths_of(circle))


def _broken(item: Strokes, boxes: BaseGeometry) -> Strokes:
    """Faint lines end where a label stands."""
    if not item.paths or boxes.is_empty:
        return item
    rest = shapely.difference(shapely.multilinestrings(lines_of(item.paths)), boxes)
    return Strokes(item.kind, paths_of(rest), item.colour, item.width)


def _inside(boxes: BaseGeometry, points: Sequence[XY]) -> NDArray[Any]:
    if not points:
        return np.zeros(0, dtype=bool)
    xy = np.asarray(points)
    return np.asarray(shapely.contains_xy(boxes, xy[:, 0], xy[:, 1]))
