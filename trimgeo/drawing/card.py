"""The reference card as a sheet: squares and markers round an open middle, two bars, how to photograph."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.drawing.cardpng import to_png
from trimgeo.drawing.lettering import ASCENT, LEADING, width, written
from trimgeo.drawing.pdf import to_pdf
from trimgeo.drawing.sheet import XY, Filled, Item, Sheet, Strokes, Text
from trimgeo.drawing.signs import INK, LINES
from trimgeo.drawing.svg import to_svg
from trimgeo.errors import JobError, quoted
from trimgeo.model.card import CARDS, DICTIONARY, MARKER_SHARE, RING, Card
from trimgeo.tables import BAR

_WHITE: Final = "#FFFFFF"
_SMALL: Final = 2.1
_LARGE: Final = 2.75
"""Font size of the words at the top: capitals 2 mm high are read at arm's length."""
_TALLEST: Final = 0.76
"""Height above the base line of the tallest small letters, in font sizes."""
_TICK: Final = 1.5
_EDGE: Final = 6.5
"""Left free all round: most printers reach to within 5 to 6.5 mm of the edge (common practice)."""
_CELLS: Final = 7
"""Cells along a marker's side: five of the code and the black border on either side."""


def card_file(paper: str, name: str) -> bytes:
    """The card for one paper, in the format that ``name`` ends in: .pdf, .svg or .png.

    Raises `trimgeo.JobError` for any other ending, and where OpenCV, which knows the codes, is missing.
    """
    suffix = name[name.rfind(".") :].lower() if "." in name else ""
    if suffix not in (".pdf", ".svg", ".png"):
        raise JobError("--out", f"found {quoted(name)}", "name a file that ends in .pdf, .svg or .png")
    sheet = card_sheet(CARDS[paper])
    if suffix == ".pdf":
        return to_pdf([sheet], f"Reference card, {paper}")
    return to_svg(sheet) if suffix == ".svg" else to_png(sheet)


def card_sheet(card: Card) -> Sheet:
    """One sheet with the whole card, true to scale; nothing stands in its open middle.

    >>> sheet = card_sheet(CARDS["A4"])
    >>> sheet.name, sheet.width, sheet.height, sheet.items[0].ring[0]  # the square at the top left
    ('card-A4', 210.0, 297.0, (15.0, 273.5))
    """
    items = (*_squares(card), *_markers(card), *_bars(card), *_words(card))
    return Sheet(f"card-{card.paper}", *card.size, items)


def _squares(card: Card) -> Iterator[Item]:
    """The black squares: those whose column and row, from the top left, are odd or even together."""
    left, low = card.origin
    for row in range(card.rows):
        for column in range(card.columns):
            beside = min(column, card.columns - 1 - column) < RING
            above = min(row, card.rows - 1 - row) < RING
            if (column + row) % 2 == 0 and (beside or above):
                x, y = left + column * card.square, low + (card.rows - 1 - row) * card.square
                yield Filled("square", _box(x, y, x + card.square, y + card.square), INK)


def _markers(card: Card) -> Iterator[Item]:
    """Each marker: a black square, what is white in it, and what is black within the white.

    Cells are joined into whole areas first, so that no viewer draws seams between them.
    """
    for code, (cells, corner) in _codes(card).items():
        cell = MARKER_SHARE * card.square / _CELLS
        x0, y1 = corner
        yield Filled(f"marker-{code}", _box(x0, y1 - _CELLS * cell, x0 + _CELLS * cell, y1), INK)
        white = shapely.union_all([shapely.box(c, r, c + 1, r + 1) for r, c in np.argwhere(cells)])
        for area in shapely.get_parts(white):
            yield Filled("light", _placed(area.exterior, corner, cell), _WHITE)
            for hole in area.interiors:
                yield Filled("dark", _placed(hole, corner, cell), INK)


def _codes(card: Card) -> dict[int, tuple[np.ndarray, XY]]:
    """For each code its cells, shape (7, 7), True where white, and the marker's upper left corner."""
    try:
        from cv2 import aruco
    except ImportError as fault:
        raise JobError(
            "card", "the card's codes need OpenCV, which cannot be loaded", "install opencv-python"
        ) from fault
    dictionary = aruco.getPredefinedDictionary(getattr(aruco, DICTIONARY))
    corners = card.markers(card.marker_ids)[:, 0]
    return {
        int(code): (dictionary.generateImageMarker(int(code), _CELLS) > 0, (float(x), float(y)))
        for code, (x, y) in zip(card.marker_ids, corners, strict=True)
    }


def _placed(ring: shapely.LinearRing, corner: XY, cell: float) -> tuple[XY, ...]:
    """A ring in cells, columns right and rows down, as it lies on the sheet; corners only."""
    simple = Polygon(ring).simplify(0).exterior.coords[:-1]
    return tuple((corner[0] + c * cell, corner[1] - r * cell) for c, r in simple)


def _box(left: float, low: float, right: float, high: float) -> tuple[XY, ...]:
    return (left, low), (right, low), (right, high), (left, high)


def _bars(card: Card) -> list[Item]:
    """A bar of 100 mm along the foot, one along the left side, ends on thin ticks, and what they are for."""
    left, low = card.origin
    y, x = low - 4.2, left - 4.2
    bar, thin = LINES["bar"], LINES["thin"]
    ends_x = ((left, y), (left + BAR, y))
    ends_y = ((x, low), (x, low + BAR))
    ticks_x = tuple(((end[0], y - _TICK), (end[0], y + _TICK)) for end in ends_x)
    ticks_y = tuple(((x - _TICK, end[1]), (x + _TICK, end[1])) for end in ends_y)
    right = left + card.columns * card.square
    return [
        Strokes("bar-x", (ends_x,), bar.colour, bar.width),
        Strokes("bar-y", (ends_y,), bar.colour, bar.width),
        Strokes("tick-x", ticks_x, thin.colour, thin.width),
        Strokes("tick-y", ticks_y, thin.colour, thin.width),
        Text((left + BAR / 2, y - 0.7 - ASCENT * _SMALL), f"x {BAR:g} mm", _SMALL, "middle"),
        Text((x - 0.9, low + BAR / 2), f"y {BAR:g} mm", _SMALL, "middle", 90),
        *_fitted((right, y - 0.8), "end", right - left - BAR - 5, _MEASURE),
    ]


_MEASURE: Final = "Measure both bars with a caliper: bars = [x, y], in mm."
_HOW: Final = (
    "Flat: glue it to a plate.  Tilted: camera ten degrees askew.  Sharp: bright light, a still hand.  "
    "Whole: all of card and board."
)


def _words(card: Card) -> list[Item]:
    """What the card is, what it takes and how it is photographed, in the margin above it."""
    left, low = card.origin
    right, high = left + card.columns * card.square, low + card.rows * card.square
    x0, y0, x1, y1 = card.middle
    about = (
        f"Reference card {card.paper} · print at 100 %, not fitted to the page · boards up to "
        f"{x1 - x0:g} × {y1 - y0:g} mm; larger: leave a third of the border free"
    )
    y = card.size[1] - _EDGE - _TALLEST * _LARGE
    return [
        *_fitted((left, y), "start", right - left, about, _LARGE),
        *_fitted((left, max(y - LEADING * _LARGE, high + 2.0)), "start", right - left, _HOW, _LARGE),
    ]


def _fitted(at: XY, anchor: str, room: float, text: str, most: float = _SMALL) -> list[Item]:
    """A line of text, smaller where it would not fit its room."""
    line = written(text)
    size = min(most, most * room / width(line, most))
    return [Text(at, line, size, "end" if anchor == "end" else "start")]
