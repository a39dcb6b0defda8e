"""A sheet with one picture of the board, a title and a legend above it and its reason in words below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from trimgeo.drawing.furniture import paragraph
from trimgeo.drawing.legend import legend
from trimgeo.drawing.lettering import ASCENT, LEADING, wrapped
from trimgeo.drawing.panel import extent, job_line
from trimgeo.drawing.sheet import Box, Item, Text
from trimgeo.model.board import Board

WIDTH: Final = 240.0
"""Of the sheet: on a screen a letter of it is as large as one of the report's."""

MARGIN: Final = 8.0
TITLE: Final = 4.6
WORDS: Final = 2.8
"""Font size of the reason."""

AIR: Final = 8.0
"""Round the board: room for numbers."""

TALLEST: Final = 180.0
"""Of the board, whatever its shape."""


@dataclass(frozen=True)
class Captioned:
    """Where the board goes on a sheet of this height, and all that stands around it."""

    height: float
    window: Box
    items: tuple[Item, ...]


def captioned(
    board: Board,
    title: str,
    kinds: frozenset[str],
    reason: Sequence[str],
    beside: float = 0.0,
    least: float = 0.0,
) -> Captioned:
    """Lay out a sheet; ``kinds`` are the signs of its legend, ``reason`` its paragraphs.

    ``beside`` is the width to be left free at the right, and ``least`` the least height of the window, mm.
    """
    left, bottom, right, top = extent(board)
    across = WIDTH - 2 * (MARGIN + AIR) - beside
    high = max(least, min(TALLEST, across * (top - bottom) / (right - left)))
    lines = [line for text in reason for line in wrapped(text, WORDS, WIDTH - 2 * MARGIN)]
    foot = MARGIN + WORDS * LEADING * len(lines)
    room = (MARGIN, 0.0, WIDTH - MARGIN, 0.0)
    head = (TITLE + WORDS) * LEADING + 2.0
    height = foot + high + 2 * AIR + legend(kinds, (), 0, room)[1] + head + MARGIN
    signs, _ = legend(kinds, (), 0, (MARGIN, 0.0, WIDTH - MARGIN, height - MARGIN - head))
    top_line = height - MARGIN
    items = (
        Text((MARGIN, top_line - TITLE * ASCENT), title, TITLE),
        Text((MARGIN, top_line - TITLE * LEADING - WORDS * ASCENT), job_line(board), WORDS),
        *signs,
        *paragraph((MARGIN, foot), lines, WORDS),
    )
    return Captioned(height, (MARGIN + AIR, foot + AIR, MARGIN + AIR + across, foot + AIR + high), items)
