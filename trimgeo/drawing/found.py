"""What was found in a picture, drawn on it as it was taken: the card's corners, edge, holes, drawn line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.canvas import Canvas
from trimgeo.model.board import Board, Picture, Pixels, View

LONGEST: Final = 2000
"""Pixels of the longer side: enough to see each corner, small enough to send on."""
MAGNIFIED: Final = 200
"""A residual of 0.05 pixels is drawn 10 pixels long."""
LETTERS: Final = 3.2

Floats = NDArray[np.float64]


def found(board: Board, view: View) -> Pixels:
    """The picture as taken, shape (rows, columns, 3), with what was found in it and a legend below.

    Raises `trimgeo.JobError` where the picture cannot be decoded.
    """
    assert view.shot is not None
    canvas = _canvas(view.shot.colour())
    told = [*_draw_card(canvas, view), *_draw_board(canvas, board, view)]
    rows, columns = canvas.pixels.shape[:2]
    line = round(2.0 * LETTERS * canvas.unit)
    strip = np.full((line * (len(told) + 1), columns, 3), 255, np.uint8)
    canvas.pixels = np.vstack([canvas.pixels, strip])
    lines = [f"{view.name}: as taken. Positions within {view.uncertainty:.2f} mm (95 %).", *told]
    for n, text in enumerate(lines):
        width, height = canvas.text_size(text, LETTERS)
        top = rows + n * line
        canvas.label(text, (0, top, width, top + height), LETTERS)
    return canvas.pixels


def _canvas(pixels: Pixels) -> Canvas:
    """A canvas on which "board mm" are the picture's own pixels, rows upwards."""
    share = min(1.0, LONGEST / max(pixels.shape[:2]))
    small = pixels
    if share < 1:
        small = np.asarray(cv2.resize(pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA))
    pale = (255 - (255 - small) // 5 * 3).astype(np.uint8)  # so that what is drawn stands out
    size = (pale.shape[1], pale.shape[0])
    return Canvas(Picture(share, (0.0, 0.0), size, lambda: pale))


def _up(pixels: Floats) -> Floats:
    return pixels * [1.0, -1.0]


def _draw_card(canvas: Canvas, view: View) -> Iterator[str]:
    if view.card is None:
        return
    seen = view.card
    for corner, miss in zip(_up(seen.corners), _up(seen.residuals), strict=True):
        canvas.line("finished", shapely.Point(corner).buffer(canvas.mm(0.7)))
        canvas.line("stop", LineString([corner, corner + MAGNIFIED * miss]))
    rms = float(np.sqrt((seen.residuals**2).sum(axis=1).mean()))
    yield (
        f"Rings: {len(seen.corners)} corners of the {seen.paper} card from {seen.markers} codes. "
        f"Thick strokes: what the fit leaves, drawn {MAGNIFIED} times as long ({rms:.3f} pixels rms)."
    )


def _draw_board(canvas: Canvas, board: Board, view: View) -> Iterator[str]:
    if view.placed:
        _line(canvas, view, "board", board.edge.polygon.exterior)
        found_here = ", found in it" if board.edge_view == view.name else ""
        yield f"Thin line: the board's edge{found_here}. Thick stroke: 10 mm along x from board point (0, 0)."
    if board.edge_view == view.name and board.found_holes:
        for hole in board.found_holes:
            _line(canvas, view, "hole", shapely.Point(hole.centre).buffer(hole.radius).exterior)
        yield f"Circles: {len(board.found_holes)} holes found in it."
    if board.drawn is not None and board.drawn.view == view.name and board.outline is not None:
        _line(canvas, view, "finished", board.outline.polygon.exterior)
        _line(canvas, view, "guide", board.drawn.strokes)
        yield f"Line: the outline. Dashes: where a pen {board.drawn.pen_width:.1f} mm wide drew it."
    if view.placed:  # last, for edge and outline may run along it
        _line(canvas, view, "stop", LineString([[0.0, 0.0], [10.0, 0.0]]))


def _line(canvas: Canvas, view: View, sign: str, geometry: BaseGeometry) -> None:
    """A line of the board, mm, bent and mirrored as the camera saw it."""
    fine = shapely.segmentize(geometry, 2.0)
    canvas.line(sign, shapely.transform(fine, lambda xy: _up(view.to_board.to_pixels(xy))), casing=True)
