"""Boards larger than a sheet: pages that overlap, marks to match them by, a map of the pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.furniture import paragraph
from trimgeo.drawing.legend import match_mark
from trimgeo.drawing.lettering import ASCENT, DESCENT, width
from trimgeo.drawing.placement import Placement
from trimgeo.drawing.sheet import XY, Box, Item, Strokes, Text
from trimgeo.drawing.signs import LINES
from trimgeo.drawing.strokes import Path, dashed, paths_of
from trimgeo.model.plan import Plan

OVERLAP: Final = 14.0
"""Strip that neighbouring pages share: room for a match mark and for tape."""

MATCH: Final = 2.0
"""Half the diagonal of a match mark."""

MATCH_LABEL: Final = 2.2


@dataclass(frozen=True)
class Grid:
    """Pages over a laid board: ``corner`` is its lower left on page (0, 0) and the window's size is a page's.

    Pages are numbered along rows, the upper row first, as one reads.

    >>> pages = Grid(2, 2, (0.0, 0.0, 180.0, 200.0))
    >>> pages.count, pages.step(), pages.cell(1), pages.cell(4)
    (4, (166.0, 186.0), (0, 1), (1, 0))
    """

    columns: int
    rows: int
    window: Box

    @property
    def count(self) -> int:
        """Number of pages."""
        return self.columns * self.rows

    def step(self) -> XY:
        """From one page to the next, on paper."""
        return self.window[2] - self.window[0] - OVERLAP, self.window[3] - self.window[1] - OVERLAP

    def cell(self, page: int) -> tuple[int, int]:
        """Column, and row from the bottom, of a page from 1."""
        return (page - 1) % self.columns, self.rows - 1 - (page - 1) // self.columns

    def shift(self, page: int) -> XY:
        """How far the whole, centred on the grid, moves to show this page's part in the window."""
        column, row = self.cell(page)
        step = self.step()
        return (
            step[0] * ((self.columns - 1) / 2 - column),
            step[1] * ((self.rows - 1) / 2 - row),
        )


def grid(size: XY, window: Box) -> Grid:
    """Pages of a window that cover something of this size on paper.

    >>> one = grid((300.0, 100.0), (0.0, 0.0, 180.0, 200.0))
    >>> one.columns, one.rows, one.shift(1), one.shift(2)
    (2, 1, (83.0, 0.0), (-83.0, 0.0))
    """
    columns, rows = (
        max(1, ceil((length - OVERLAP) / (room - OVERLAP) - 1e-9))
        for length, room in zip(size, (window[2] - window[0], window[3] - window[1]), strict=True)
    )
    return Grid(columns, rows, window)


def match_marks(pages: Grid, page: int) -> tuple[tuple[Item, ...], tuple[Box, ...], tuple[BaseGeometry, ...]]:
    """Match marks and overlap lines of a page, the boxes that the marks take, and the lines.

    A mark has the same letters and, laid over its likeness, the same place on the board on both pages.

    >>> pages = Grid(2, 1, (0.0, 0.0, 180.0, 200.0))
    >>> left, right = (match_marks(pages, page)[0] for page in (1, 2))
    >>> [(item.at[0], item.text) for item in (*left, *right) if isinstance(item, Text)]
    [(173.0, '1–2a'), (173.0, '1–2b'), (7.0, '1–2a'), (7.0, '1–2b')]
    """
    items: list[Item] = []
    boxes: list[Box] = []
    for at, name in _marks_of(pages, page):
        items += match_mark(at, MATCH)
        base = at[1] + MATCH * 1.5 + 0.4 + DESCENT * MATCH_LABEL
        items.append(Text((at[0], base), name, MATCH_LABEL, "middle"))
        half = max(MATCH * 1.5, width(name, MATCH_LABEL) / 2)
        boxes.append((at[0] - half, at[1] - MATCH * 1.5, at[0] + half, base + MATCH_LABEL * ASCENT))
    line = LINES["overlap"]
    runs = _overlap_lines(pages, page)
    dashes = tuple(d for run in runs for d in dashed(run, *line.dashes))
    overlap = Strokes("overlap", dashes, line.colour, line.width)
    return (overlap, *items), tuple(boxes), tuple(shapely.LineString(run) for run in runs)


def _marks_of(pages: Grid, page: int) -> list[tuple[XY, str]]:
    """Places on the page, and names: the two pages that share the strip, and a letter."""
    column, row = pages.cell(page)
    left, bottom, right, top = pages.window
    found: list[tuple[XY, str]] = []
    # A quarter and three quarters along the strip stay clear of the strips across it.
    for n, letter in ((0.25, "a"), (0.75, "b")):
        across, along = bottom + n * (top - bottom), left + n * (right - left)
        if column + 1 < pages.columns:
            found.append(((right - OVERLAP / 2, across), f"{page}–{page + 1}{letter}"))
        if column > 0:
            found.append(((left + OVERLAP / 2, across), f"{page - 1}–{page}{letter}"))
        if row > 0:
            found.append(((along, bottom + OVERLAP / 2), f"{page}–{page + pages.columns}{letter}"))
        if row + 1 < pages.rows:
            found.append(((along, top - OVERLAP / 2), f"{page - pages.columns}–{page}{letter}"))
    return found


def _overlap_lines(pages: Grid, page: int) -> list[tuple[XY, XY]]:
    column, row = pages.cell(page)
    left, bottom, right, top = pages.window
    found = []
    if column + 1 < pages.columns:
        found.append(((right - OVERLAP, bottom), (right - OVERLAP, top)))
    if column > 0:
        found.append(((left + OVERLAP, bottom), (left + OVERLAP, top)))
    if row > 0:
        found.append(((left, bottom + OVERLAP), (right, bottom + OVERLAP)))
    if row + 1 < pages.rows:
        found.append(((left, top - OVERLAP), (right, top - OVERLAP)))
    return found


def page_map(plan: Plan, pages: Grid, whole: Placement, box: Box) -> tuple[Item, ...]:
    """The board and the numbered pages over it, reduced to fit ``box``, never enlarged; a note above.

    ``whole`` lays the board, true to scale, so that its middle is that of the grid.
    """
    window, step = pages.window, pages.step()
    spread = step[0] * (pages.columns - 1), step[1] * (pages.rows - 1)
    wide, high = window[2] - window[0] + spread[0], window[3] - window[1] + spread[1]
    factor = min((box[2] - box[0]) / wide, (box[3] - box[1] - 8.0) / high, 1.0)
    middle = (window[0] + window[2]) / 2, (window[1] + window[3]) / 2
    target = (box[0] + box[2]) / 2, box[1] + high * factor / 2

    def reduced(at: XY) -> XY:
        return tuple((v - m) * factor + t for v, m, t in zip(at, middle, target, strict=True))  # type: ignore[return-value]

    items: list[Item] = []
    shapes = whole.lay([plan.board.edge.polygon, plan.finished.polygon])
    for shape, kind in zip(shapes, ("board", "finished"), strict=True):
        paths = tuple(tuple(reduced(xy) for xy in path) for path in paths_of(shape))
        items.append(Strokes(f"map-{kind}", paths, LINES[kind].colour, LINES[kind].width))
    frames: list[Path] = []
    for page in range(1, pages.count + 1):
        dx, dy = pages.shift(page)
        frame = shapely.box(window[0] - dx, window[1] - dy, window[2] - dx, window[3] - dy)
        frames.append(tuple(reduced(xy) for xy in paths_of(frame)[0]))
    items.append(Strokes("map-page", tuple(frames), LINES["leader"].colour, 0.25))
    drawn = [path for item in items if isinstance(item, Strokes) for path in item.paths]
    for page, path in enumerate(frames, start=1):
        x, y = _free_place(path, drawn)
        items.append(Text((x, y - 1.8), str(page), 5.0, "middle"))
    note = "Map of the pages, reduced. Lay each match mark on its likeness and tape."
    return (*items, *paragraph((box[0], box[3]), (note,), 2.5))


def _free_place(frame: Path, drawn: Sequence[Path]) -> XY:
    """The place within a page's frame furthest from every line of the map; the lowest left of equals."""
    lines = shapely.multilinestrings([shapely.linestrings(path) for path in drawn])
    left, bottom, right, top = shapely.bounds(shapely.linestrings(frame))
    x, y = np.meshgrid(np.linspace(left, right, 23)[1:-1], np.linspace(bottom, top, 23)[1:-1])
    gaps = shapely.distance(shapely.points(x.ravel(), y.ravel()), lines).round(6)
    best = int(np.argmax(gaps))
    return float(x.ravel()[best]), float(y.ravel()[best])
