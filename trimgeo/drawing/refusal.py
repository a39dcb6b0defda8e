"""Why there is no outline at all: which keep-out meets which wall, and by how much, as a picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.captioned import AIR, MARGIN, WIDTH, WORDS, captioned
from trimgeo.drawing.caselines import case_lines
from trimgeo.drawing.lettering import ASCENT, DESCENT, width
from trimgeo.drawing.panel import extent, fill, fitted, ground, strokes
from trimgeo.drawing.placement import Placement, centred
from trimgeo.drawing.sheet import XY, Box, Discs, Filled, Item, Sheet, Strokes, Text
from trimgeo.drawing.signs import GROWN_FILL, LINES
from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Board

LENS: Final = 84.0
"""Side of the square in which a place is shown larger."""

AROUND_PLACE: Final = 4.0
"""Side of what that square shows, in lengths of the line that it is about."""

ENOUGH: Final = 0.4
"""Of the board's longer side: what is larger is seen well enough without a lens."""

LEAST_SHOWN: Final = 6.0
"""mm of the board that the square shows at the least: so that a person sees where it is."""


def refusal_sheet(board: Board, grown: Sequence[BaseGeometry], refused: NoOutlineError) -> Sheet:
    """The place of a refusal: on the board, and larger beside it.

    ``grown`` are the keep-outs with what is kept clear around them, in the board frame.  A refusal that is
    about no place is told in words alone, below the board.
    """
    kinds = {"board", "kept", "grown"} | ({"case", "case-gap"} if board.case is not None else set())
    kinds |= {"lacks"} if refused.meet is not None else set()
    lens = refused.meet is not None and _worth_a_lens(board, refused.meet)
    beside, least = (LENS + AIR, LENS) if lens else (0.0, 0.0)
    laid = captioned(board, "No outline", frozenset(kinds), [_sentence(refused)], beside, least)
    at = fitted(extent(board), laid.window)
    pane = shapely.box(MARGIN, laid.window[1] - AIR, WIDTH - MARGIN, laid.window[3] + AIR)
    items = _scene(board, grown, at, pane)
    if refused.meet is not None and lens:
        top = laid.window[3]
        items += _place(
            board, grown, refused, refused.meet, at, (WIDTH - MARGIN - LENS, top - LENS, WIDTH - MARGIN, top)
        )
    elif refused.meet is not None:
        items += _measured(at.point(refused.meet[0]), at.point(refused.meet[1]), refused.lacks, laid.window)
    return Sheet("refusal", WIDTH, laid.height, (*items, *laid.items))


def _worth_a_lens(board: Board, meet: tuple[XY, XY]) -> bool:
    """Whether the place is so small that a person has to see it larger."""
    left, bottom, right, top = extent(board)
    return _shown(meet) < ENOUGH * max(right - left, top - bottom)


def _shown(meet: tuple[XY, XY]) -> float:
    """How much of the board the lens shows from side to side, mm."""
    (x, y), (u, v) = meet
    return max(AROUND_PLACE * float(np.hypot(u - x, v - y)), LEAST_SHOWN)


def _sentence(refused: NoOutlineError) -> str:
    text = str(refused)
    return f"{text[:1].upper()}{text[1:]}."


def _scene(board: Board, grown: Sequence[BaseGeometry], at: Placement, pane: BaseGeometry) -> list[Item]:
    """The board with what is kept and the case, as far as it lies in a pane."""
    around = fill("grown", list(shapely.intersection(at.lay(grown), pane)), GROWN_FILL)
    if board.case is None:
        return [*around, *ground(board, at, pane)]
    gap = shapely.intersection(at.lay([case_lines(board.case, 0.0).gap])[0], pane)
    return [*around, *ground(board, at, pane), strokes("case-gap", shapely.line_merge(gap))]


def _place(
    board: Board,
    grown: Sequence[BaseGeometry],
    refused: NoOutlineError,
    meet: tuple[XY, XY],
    whole: Placement,
    lens: Box,
) -> list[Item]:
    """The place where keep-out and wall meet, framed on the board and shown larger."""
    (x, y), (u, v) = meet
    half = _shown(meet) / 2
    bounds = ((x + u) / 2 - half, (y + v) / 2 - half, (x + u) / 2 + half, (y + v) / 2 + half)
    scale = LENS / (2 * half)
    near = centred(bounds, (scale, scale), lens)
    corners = shapely.get_coordinates(whole.lay([shapely.box(*bounds)])[0].envelope)
    small = (*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist())
    return [
        _frame(small),
        strokes("leader", shapely.LineString([(small[2], small[3]), (lens[0], lens[3])])),
        strokes("leader", shapely.LineString([(small[2], small[1]), (lens[0], lens[1])])),
        Filled("paper", _ring(lens), "#FFFFFF"),
        *_scene(board, grown, near, shapely.box(*lens)),
        *_measured(near.point(meet[0]), near.point(meet[1]), refused.lacks, lens),
        _frame(lens),
        Text((lens[0], lens[1] - WORDS * ASCENT - 0.6), f"{scale:.1f} times as large as the board", WORDS),
    ]


def _measured(one: XY, other: XY, lacks: float | None, lens: Box) -> list[Item]:
    """The line between keep-out and wall: a disc at the keep-out, a ring at the wall, and its length."""
    line = LINES["lacks"]
    items: list[Item] = [
        strokes("lacks", shapely.LineString([one, other])),
        Discs("lacks", (one,), 1.0, line.colour, None),
        Discs("lacks", (other,), 1.4, line.colour, line.width),
    ]
    if lacks is None:
        return items
    text = f"{lacks:.2f} mm"
    wide, high = width(text, WORDS) + 1.2, WORDS * (ASCENT + DESCENT)
    x, y = _beside(one, other, wide, high, lens)
    box = (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)
    return [
        *items,
        Filled("paper", _ring(box), "#FFFFFF"),
        Text((x, box[1] + WORDS * DESCENT), text, WORDS, "middle"),
    ]


def _beside(one: XY, other: XY, wide: float, high: float, lens: Box) -> XY:
    """The middle of a label beside a line, inside of the lens."""
    along = np.subtract(other, one)
    along = along / max(float(np.hypot(*along)), 1e-9)
    across = np.array([-along[1], along[0]])
    reach = 2.5 + abs(across[0]) * wide / 2 + abs(across[1]) * high / 2
    x, y = (np.array(one) + np.array(other)) / 2 + across * reach
    return (
        float(np.clip(x, lens[0] + wide / 2 + 1, lens[2] - wide / 2 - 1)),
        float(np.clip(y, lens[1] + high / 2 + 1, lens[3] - high / 2 - 1)),
    )


def _frame(box: Box) -> Strokes:
    return Strokes("frame", (_ring(box),), LINES["thin"].colour, 0.3, closed=True)


def _ring(box: Box) -> tuple[XY, ...]:
    left, bottom, right, top = box
    return (left, bottom), (right, bottom), (right, top), (left, top), (left, bottom)
