"""The template sheets of a plan: one true-scale sheet a face, or pages and a map where it is larger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from trimgeo.drawing.boardview import View, board_view
from trimgeo.drawing.furniture import Frame, Head, frame, furniture
from trimgeo.drawing.legend import legend
from trimgeo.drawing.lists import Block, block_height, blocks, flow
from trimgeo.drawing.marks import Mark, marks
from trimgeo.drawing.placement import Placement, centred, scale_of
from trimgeo.drawing.sheet import XY, Box, Item, Sheet
from trimgeo.drawing.signs import LINES, STATES
from trimgeo.drawing.tiling import Grid, grid, match_marks, page_map
from trimgeo.errors import JobError, quoted
from trimgeo.model.board import FaceName
from trimgeo.model.plan import Plan
from trimgeo.tables import PAPERS

FACES: Final[tuple[FaceName, ...]] = ("top", "bottom")

EDGE: Final = 3.0
"""Least free room round the board on its sheet."""

GUTTER: Final = 5.0
"""Between columns of lists, and between lists and board."""

COLUMN: Final = 58.0
"""Least width of a column of lists."""

LEAST_PANEL: Final = 18.0
"""A lower strip of lists is worth its place from this height."""

EVERY_KIND: Final = frozenset(LINES) | frozenset(STATES)


@dataclass(frozen=True)
class _Page:
    name: str
    part: str
    frame: Frame
    items: tuple[Item, ...]


def template_sheets(plan: Plan, paper: str) -> tuple[Sheet, ...]:
    """The sheets to print at 100 % and tape onto the board, both faces, in printing order.

    Sheets ``top`` and ``bottom``; pages ``top``, ``top-2`` and so on with ``top-map`` where the board is
    larger than the paper; ``top-list`` where the lists need more room.  Raises `trimgeo.JobError` for a
    paper that is not known.
    """
    if paper not in PAPERS:
        raise JobError("--paper", f"found {quoted(paper)}", f"name one of {', '.join(PAPERS)}")
    pages = [(face, page) for face in FACES for page in _face_pages(plan, face, PAPERS[paper])]
    return tuple(
        Sheet(
            page.name,
            page.frame.width,
            page.frame.height,
            (*page.items, *furniture(plan, page.frame, Head(face, page.part, number, len(pages)))),
        )
        for number, (face, page) in enumerate(pages, start=1)
    )


def _face_pages(plan: Plan, face: FaceName, paper: XY) -> list[_Page]:
    scale = scale_of(face, plan.board.job.sheet.stretch or (1.0, 1.0))
    bounds = _extent(plan)
    size = (bounds[2] - bounds[0]) * abs(scale[0]), (bounds[3] - bounds[1]) * scale[1]
    named = marks(plan, face)
    frames = [frame(plan, paper), frame(plan, paper[::-1])]
    legends = [_legend(plan, one, named)[1] for one in frames]
    windows = [(*one.body[:3], one.body[3] - high - 2.0) for one, high in zip(frames, legends, strict=True)]
    fitting = [n for n, window in enumerate(windows) if _fits(size, window)]
    if fitting:
        best = max(fitting, key=lambda n: (_panel_area(size, windows[n]), -n))
        return _single(plan, face, named, frames[best], centred(bounds, scale, windows[best]), windows[best])
    grids = [grid((size[0] + 2 * EDGE, size[1] + 2 * EDGE), window) for window in windows]
    best = min((0, 1), key=lambda n: (grids[n].count, n))
    whole = centred(bounds, scale, windows[best])
    return _tiled(plan, face, named, frames[best], grids[best], whole)


def _extent(plan: Plan) -> Box:
    """What must be on paper: board edge, guide line and its run-outs."""
    bounds = shapely.bounds(np.asarray([plan.board.edge.polygon, *plan.lines.guide], dtype=object))
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _fits(size: XY, window: Box) -> bool:
    return size[0] + 2 * EDGE <= window[2] - window[0] and size[1] + 2 * EDGE <= window[3] - window[1]


# One sheet --------------------------------------------------------------------------------


def _spare(size: XY, window: Box) -> XY:
    """Width free beside the board, and height free below it."""
    return (
        window[2] - window[0] - size[0] - 2 * EDGE - GUTTER,
        window[3] - window[1] - size[1] - 2 * EDGE - GUTTER,
    )


def _panel_area(size: XY, window: Box) -> float:
    beside, below = _spare(size, window)
    return max(
        beside * (window[3] - window[1]) if beside >= COLUMN else 0.0,
        below * (window[2] - window[0]) if below >= LEAST_PANEL else 0.0,
    )


def _single(
    plan: Plan, face: FaceName, named: Sequence[Mark], page: Frame, whole: Placement, window: Box
) -> list[_Page]:
    # The names that will stand as keys are not known before the labels are placed: half is a fair guess.
    guess = blocks(plan, face, named, [mark.key for mark in named[::2]])
    bounds = _extent(plan)
    size = (bounds[2] - bounds[0]) * abs(whole.scale[0]), (bounds[3] - bounds[1]) * whole.scale[1]
    pane, columns = _split(size, window, guess)
    view = board_view(plan, named, centred(bounds, whole.scale, pane), pane)
    signs, _ = _legend(plan, page, named, view.kinds)
    listed, rest = flow(blocks(plan, face, named, view.keyed, view.unplaced), columns)
    return [
        _Page(face, "", page, (*signs, *view.items, *listed)),
        *_list_pages(face, rest, page),
    ]


def _split(size: XY, window: Box, guess: Sequence[Block]) -> tuple[Box, list[Box]]:
    """The pane of the board and the columns of lists, which take what they need of the spare room."""
    left, bottom, right, top = window
    beside, below = _spare(size, window)
    if beside >= COLUMN and beside * (top - bottom) >= below * (right - left):
        edge = right - min(beside, max(COLUMN, min(beside, 85.0)))
        return (left, bottom, edge - GUTTER, top), [(edge, bottom, right, top)]
    if below < LEAST_PANEL:
        return window, []
    count = max(1, int((right - left + GUTTER) / (COLUMN + 20.0 + GUTTER)))
    room = (right - left - GUTTER * (count - 1)) / count
    need = block_height(guess, room) / count * 1.1 + 8.0
    edge = bottom + min(below, max(LEAST_PANEL, need))
    return (left, edge + GUTTER, right, top), _columns((left, bottom, right, edge), count)


def _columns(box: Box, count: int) -> list[Box]:
    left, bottom, right, top = box
    room = (right - left - GUTTER * (count - 1)) / count
    return [
        (left + n * (room + GUTTER), bottom, left + n * (room + GUTTER) + room, top) for n in range(count)
    ]


def _list_pages(face: FaceName, rest: tuple[Block, ...], page: Frame) -> list[_Page]:
    laid = []
    count = max(1, int((page.body[2] - page.body[0]) / (COLUMN + 30.0)))
    left, bottom, right, top = page.body
    while rest:
        items, rest = flow(rest, _columns((left + 2.0, bottom + 1.0, right, top - 2.0), count))
        laid.append(items)
    if len(laid) == 1:
        return [_Page(f"{face}-list", "lists", page, laid[0])]
    return [
        _Page(f"{face}-list-{n}", f"lists {n} of {len(laid)}", page, items)
        for n, items in enumerate(laid, start=1)
    ]


def _legend(
    plan: Plan, page: Frame, named: Sequence[Mark], kinds: frozenset[str] | None = None
) -> tuple[tuple[Item, ...], float]:
    """The legend at the top of the body; with no kinds given, of all that could be drawn."""
    shown = EVERY_KIND if kinds is None else kinds
    layers = sorted({layer for mark in named if len(mark.layers) == 1 for layer in mark.layers})
    left, bottom, right, top = page.body
    return legend(shown, layers, plan.board.job.board.layers, (left, bottom, right, top - 1.0))


# Several pages ----------------------------------------------------------------------------


def _tiled(
    plan: Plan, face: FaceName, named: Sequence[Mark], page: Frame, pages: Grid, whole: Placement
) -> list[_Page]:
    found: list[_Page] = []
    views: list[View] = []
    for number in range(1, pages.count + 1):
        matches, boxes, strips = match_marks(pages, number)
        view = board_view(plan, named, whole.moved(pages.shift(number)), pages.window, boxes, strips)
        signs, _ = _legend(plan, page, named, view.kinds | {"match", "overlap"})
        part = f"page {number} of {pages.count}"
        name = face if number == 1 else f"{face}-{number}"
        found.append(_Page(name, part, page, (*signs, *view.items, *matches)))
        views.append(view)
    keyed = tuple(key for view in views for key in view.keyed)
    unplaced = tuple(key for view in views for key in view.unplaced)
    left, bottom, right, top = page.body
    middle = bottom + (top - bottom) * 0.45
    drawn = page_map(plan, pages, whole, (left + 2.0, middle, right, top - 2.0))
    columns = _columns((left + 2.0, bottom + 1.0, right, middle - GUTTER), 2)
    listed, rest = flow(blocks(plan, face, named, keyed, unplaced), columns)
    chart = _Page(f"{face}-map", "map of the pages", page, (*drawn, *listed))
    return [*found, chart, *_list_pages(face, rest, page)]
