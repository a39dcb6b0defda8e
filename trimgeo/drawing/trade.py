"""The trade of cuts against size as a picture: for each number of cuts the outline in a small frame."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import wrap
from typing import Final

import shapely

from trimgeo.drawing.captioned import MARGIN, TITLE, WIDTH
from trimgeo.drawing.furniture import SMALL, paragraph, rule
from trimgeo.drawing.legend import legend
from trimgeo.drawing.lettering import ASCENT, DESCENT, LEADING, width
from trimgeo.drawing.panel import extent, fitted, ground, job_line, outline_area, outline_items
from trimgeo.drawing.sheet import XY, Box, Filled, Item, Sheet, Strokes, Text
from trimgeo.drawing.signs import INK
from trimgeo.model.board import Board
from trimgeo.model.plan import Choice, Trade

COLUMNS: Final = 4
GUTTER: Final = 4.0
PAD: Final = 2.0
"""Between a frame and what stands in it."""

TALLEST: Final = 80.0
"""Of a board in its frame, whatever its shape."""

COUNT: Final = 3.6
"""Font size of a number of cuts."""

NOTE: Final = 44
"""Letters in a line of a note."""

FRAME: Final = 0.12
CHOSEN_FRAME: Final = 1.0


@dataclass(frozen=True)
class _Frame:
    """One frame: where it stands, and how much of it below the board the text takes."""

    box: Box
    text: float


def trade_sheet(board: Board, trade: Trade, chosen: Choice) -> Sheet:
    """All choices of a trade side by side, the ``chosen`` one marked by a thick frame and by its word.

    Each frame shows the outline over the board edge and what is kept, with its number of cuts, area, cut
    length, inside corners and least clearance; it is not true to scale.
    """
    columns = min(COLUMNS, len(trade.choices))
    bounds = extent(board)
    across = (WIDTH - 2 * MARGIN - GUTTER * (COLUMNS - 1)) / COLUMNS
    lines = max(len(_facts(choice)) for choice in trade.choices)
    text = COUNT * LEADING + SMALL * LEADING * lines + PAD
    pictured = (across - 2 * PAD) * (bounds[3] - bounds[1]) / (bounds[2] - bounds[0])
    high = min(pictured, TALLEST) + text + 2 * PAD
    rows = -(-len(trade.choices) // columns)
    kinds = frozenset({"cut", "board", "kept", *(("case",) if board.case is not None else ())})
    _, sign_height = legend(kinds, (), 0, (MARGIN, 0.0, WIDTH - MARGIN, 0.0))
    words = (TITLE + 2 * SMALL) * LEADING + 1.0
    head = words + sign_height + 2.0
    height = 2 * MARGIN + head + rows * (high + GUTTER) - GUTTER
    signs, _ = legend(kinds, (), 0, (MARGIN, 0.0, WIDTH - MARGIN, height - MARGIN - words))
    items = [*_head(board, trade, height), *signs]
    for n, choice in enumerate(trade.choices):
        left = MARGIN + n % columns * (across + GUTTER)
        top = height - MARGIN - head - n // columns * (high + GUTTER)
        one = _Frame((left, top - high, left + across, top), text)
        items += _panel(board, choice, one, choice.cuts == chosen.cuts)
    return Sheet("trade", WIDTH, height, tuple(items))


def _head(board: Board, trade: Trade, height: float) -> list[Item]:
    top = height - MARGIN
    proved = f"; proved: none has fewer than {trade.proved}" if trade.proved else ""
    found = f"Fewest new cuts found: {trade.fewest}{proved}. " if trade.fewest else ""
    return [
        Text((MARGIN, top - TITLE * ASCENT), "Cuts against size", TITLE),
        Text((MARGIN, top - TITLE * LEADING - SMALL * ASCENT), job_line(board), SMALL),
        Text(
            (MARGIN, top - (TITLE + SMALL) * LEADING - SMALL * ASCENT),
            f"{found}For each number of cuts the smallest outline found. Not true to scale.",
            SMALL,
        ),
    ]


def _panel(board: Board, choice: Choice, one: _Frame, chosen: bool) -> list[Item]:
    left, bottom, right, top = one.box
    at = fitted(extent(board), (left + PAD, bottom + one.text + PAD, right - PAD, top - PAD))
    items = [
        *outline_area(at, choice.finished),
        *ground(board, at, shapely.box(*one.box)),
        *outline_items(board, at, choice.finished),
        rule((left, bottom + one.text), (right, bottom + one.text)),
    ]
    ring = ((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom))
    items.append(
        Strokes("chosen" if chosen else "frame", (ring,), INK, CHOSEN_FRAME if chosen else FRAME, closed=True)
    )
    y = bottom + one.text - COUNT * ASCENT - PAD / 4
    count = _counted(choice.cuts, "cut")
    items.append(Text((left + PAD, y), count, COUNT))
    if chosen:
        items += _flag("chosen", (left + PAD + width(count, COUNT) + 2.0, y))
    return [*items, *paragraph((left + PAD, y - COUNT * DESCENT), _facts(choice), SMALL)]


def _flag(word: str, at: XY) -> list[Item]:
    """A word in white on black."""
    x, y = at
    size = COUNT * 0.85
    low, high, right = y - DESCENT * size, y + ASCENT * size * 0.9, x + width(word, size) + 1.6
    box = ((x, low), (right, low), (right, high), (x, high), (x, low))
    return [Filled("chosen", box, INK), Text((x + 0.8, y), word, size, colour="#FFFFFF")]


def _facts(choice: Choice) -> list[str]:
    clearance = "no new edge" if choice.clearance is None else f"least clearance {choice.clearance:.2f} mm"
    found = [
        f"{choice.area / 100:.2f} cm², {choice.cut_length:.1f} mm to cut",
        f"{_counted(choice.inside_corners, 'inside corner')}, {clearance}",
    ]
    if choice.fits is not None:
        found.append(f"{'fits' if choice.fits else 'does not fit'} the case")
    return [*found, *(line for note in choice.notes for line in wrap(note, NOTE))]


def _counted(count: int, thing: str) -> str:
    return f"{count or 'no'} {thing}{'' if count == 1 else 's'}"
