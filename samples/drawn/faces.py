"""The two scans: board, copper under the mask, pads, lettering, parts, and the scanner's lid."""

from __future__ import annotations

import numpy as np

from drawn.board import EDGE, HOLES, PARTS, TEST_PADS, TRACES, VIAS, Face, Part
from drawn.decor import BOTTOM, BOTTOM_LETTERS, CHIPS, CHIPS_BELOW, TOP, TOP_LETTERS, TOP_VIAS
from drawn.lettering import strokes
from drawn.look import LOOKS, WHITE
from drawn.pins import Pin, pins
from drawn.raster import (
    Box,
    Canvas,
    Disc,
    Floats,
    Matrix,
    Path,
    Poly,
    Rim,
    add,
    add_path,
    blend,
    cut,
    cut_path,
    paint,
    within,
)

LID = (231, 232, 229)
MASK = (24, 92, 58)
UNDER_MASK = (46, 124, 78)
SHADE = (96, 98, 98)
BARE = (176, 170, 112)
SOLDER = (190, 192, 188)


def face(which: Face, matrix: Matrix, size: tuple[int, int]) -> Canvas:
    """The clean drawing of a face, before the scanner's faults."""
    canvas = Canvas.blank(matrix, size, LID)
    away = Poly(EDGE).distance(canvas.x, canvas.y)
    for reach, depth in ((0.6, 0.30), (2.2, 0.22)):
        lower = round(reach / 2 * canvas.pixels_per_mm)
        blend(canvas, within(canvas, np.roll(away, lower, axis=0), soft=2 * reach), SHADE, depth)
    blend(canvas, within(canvas, away), BARE)
    blend(canvas, within(canvas, away + np.float32(0.18)), MASK)
    weave(canvas, away, 5.0)
    blend(canvas, _copper(canvas, which, away), UNDER_MASK, 0.85, relief=9.0)
    blend(canvas, _openings(canvas, which), SOLDER, relief=14.0)
    _joints(canvas, which)
    blend(canvas, _letters(canvas, which), WHITE, 0.92, relief=4.0)
    _drills(canvas)
    parts = [p for p in (*CHIPS, *CHIPS_BELOW, *PARTS) if p.face == which]
    for part in sorted(parts, key=lambda p: p.height):
        LOOKS[part.style](canvas, part)
    return canvas


def weave(canvas: Canvas, away: Floats, depth: float) -> None:
    """The glass cloth, barely visible; ``away`` is the distance to the board edge, negative inside."""
    u, v = canvas.x * np.float32(1 / 0.9), canvas.y * np.float32(1 / 0.7)
    wave = np.abs(u - np.round(u)) + np.abs(v - np.round(v))
    canvas.pixels[:] += ((wave - np.float32(0.5)) * np.float32(depth) * (away < 0))[..., None]


def _through() -> list[Pin]:
    return [pin for part in PARTS for pin in pins(part) if pin.drill]


def _pads(which: Face) -> list[Pin]:
    parts = [p for p in (*CHIPS, *CHIPS_BELOW, *PARTS) if p.face == which]
    return [pin for part in parts for pin in pins(part) if not pin.drill]


def _copper(canvas: Canvas, which: Face, away: Floats) -> Floats:
    """Copper of an outer layer: a pour around traces and pads, as the mask shows it."""
    copper, layer = canvas.mask(), 1 if which == "top" else 4
    lines = [(t.points, t.width) for t in TRACES if t.layer == layer] + (TOP if which == "top" else BOTTOM)
    if which == "bottom":
        copper = within(canvas, away + np.float32(1.0))
        for points, width in lines:
            cut_path(canvas, copper, points, width + 0.7)
        for pin in _through():
            cut(canvas, copper, Disc(pin.at, max(pin.size) + 0.9))
        for spot in TOP_VIAS + [via.at for via in VIAS]:
            cut(canvas, copper, Disc(spot, 1.5))
        for pad in _pads(which):
            cut(canvas, copper, Box(pad.at, (pad.size[0] + 0.6, pad.size[1] + 0.6)))
        for hole in HOLES:
            cut(canvas, copper, Disc(hole.at, hole.diameter + 2.4))
    for points, width in lines:
        add_path(canvas, copper, points, width)
    for spot in TOP_VIAS + [via.at for via in VIAS]:
        add(canvas, copper, Disc(spot, 0.9))
    return copper


def _openings(canvas: Canvas, which: Face) -> Floats:
    """Where the mask is open and solder shows."""
    open_ = canvas.mask()
    for pad in _pads(which):
        add(canvas, open_, Box(pad.at, pad.size, 0.1))
    for pin in _through():
        add(canvas, open_, Disc(pin.at, max(pin.size)))
    for spot in TEST_PADS:
        if spot.face == which:
            add(canvas, open_, Disc(spot.at, spot.diameter))
    for hole in HOLES:
        if hole.diameter > 3:
            add(canvas, open_, Rim(Disc(hole.at, hole.diameter + 1.5), 0.7))
    return open_


def _joints(canvas: Canvas, which: Face) -> None:
    """Solder cones where pins come through, on the bottom; on the top parts cover them."""
    if which == "top":
        return
    for pin in _through():
        d = max(pin.size)
        left = 1 if canvas.mirrored else -1
        paint(canvas, Disc(pin.at, 0.94 * d), (150, 153, 152), ramp=(left * 26.0 / d, 26.0 / d), soft=0.3)
        paint(canvas, Disc(pin.at, 0.42 * d), (172, 174, 172))
        paint(
            canvas,
            Disc((pin.at[0] + left * 0.16 * d, pin.at[1] + 0.18 * d), 0.24 * d),
            (234, 236, 234),
            0.9,
            soft=0.2,
        )


def _letters(canvas: Canvas, which: Face) -> Floats:
    silk = canvas.mask()
    for text, at, height, upright in TOP_LETTERS if which == "top" else BOTTOM_LETTERS:
        for line in strokes(text, at, height, canvas.mirrored, upright):
            add(canvas, silk, Path(line, 0.13 * height))
    for part in PARTS:
        if part.face == which:
            _frame(canvas, silk, part)
    for spot in TEST_PADS:
        if spot.face == which:
            for line in strokes(spot.net, (spot.at[0], spot.at[1] + 1.9), 1.1, canvas.mirrored):
                add(canvas, silk, Path(line, 0.15))
    return silk


def _frame(canvas: Canvas, silk: Floats, part: Part) -> None:
    """The printed frame around a part."""
    w, h = part.size
    shape = Disc(part.at, w + 0.9) if part.round else Box(part.at, (w + 0.8, h + 0.8), 0.2)
    add(canvas, silk, Rim(shape, 0.16))


def _drills(canvas: Canvas) -> None:
    """Holes: the lid through the large ones, dark in the vias."""
    for spot in TOP_VIAS + [via.at for via in VIAS]:
        paint(canvas, Disc(spot, 0.4), (16, 52, 36))
    for hole in HOLES:
        paint(canvas, Disc(hole.at, hole.diameter), (158, 160, 158))
        paint(canvas, Disc((hole.at[0], hole.at[1] - 0.05), hole.diameter - 0.14), (206, 208, 205), soft=0.15)
