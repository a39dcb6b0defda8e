"""The pictures of the inner layers: planes and traces in grey, as a lamp behind the board shows them."""

from __future__ import annotations

from drawn.board import EDGE, HOLES, PARTS, PLANES, TRACES, VIAS
from drawn.decor import INNER, TOP_VIAS
from drawn.faces import weave
from drawn.pins import pins
from drawn.raster import (
    Canvas,
    Disc,
    Floats,
    Grown,
    Matrix,
    Path,
    Poly,
    add,
    add_path,
    blend,
    cut,
    cut_path,
    paint,
    within,
)

LAMP = (236.0, 236.0, 236.0)
LAMINATE = (72.0, 72.0, 72.0)
COPPER = (182.0, 182.0, 182.0)
GAP = 0.35


def layer(number: int, matrix: Matrix, size: tuple[int, int]) -> Canvas:
    """The clean drawing of an inner layer, all three channels alike."""
    canvas = Canvas.blank(matrix, size, LAMP)
    away = Poly(EDGE).distance(canvas.x, canvas.y)
    blend(canvas, within(canvas, away), LAMINATE)
    weave(canvas, away, 12.0)
    blend(canvas, _copper(canvas, number), COPPER, 0.94, relief=5.0)
    for part in PARTS:
        for pin in pins(part):
            if pin.drill:
                paint(canvas, Disc(pin.at, pin.drill), (40.0, 40.0, 40.0))
    for spot in TOP_VIAS + [via.at for via in VIAS]:
        paint(canvas, Disc(spot, 0.4), (28.0, 28.0, 28.0))
    for hole in HOLES:
        paint(canvas, Disc(hole.at, hole.diameter), LAMP)
    return canvas


def _copper(canvas: Canvas, number: int) -> Floats:
    copper = canvas.mask()
    lines = [(t.points, t.width) for t in TRACES if t.layer == number] + INNER[number]
    planes = [plane for plane in PLANES if plane.layer == number]
    for plane in planes:
        cut(canvas, copper, Grown(Poly(plane.points), GAP))
        add(canvas, copper, Poly(plane.points))
    for points, width in lines:
        cut_path(canvas, copper, points, width + 2 * GAP)
    joined = {t.net for t in TRACES if t.layer == number}
    for plane in planes:
        if plane.net in joined:  # a trace of the plane's own net runs into it without a gap
            add(canvas, copper, Poly(plane.points))
    for hole in HOLES:
        cut(canvas, copper, Disc(hole.at, hole.diameter + 2.0))
    _barrels(canvas, copper, number)
    for points, width in lines:
        add_path(canvas, copper, points, width)
    return copper


def _barrels(canvas: Canvas, copper: Floats, number: int) -> None:
    """Plated holes: a gap around each, its pad, and spokes where it belongs to the plane."""
    through = [(pin.at, pin.drill + 0.8, n) for p in PARTS for n, pin in enumerate(pins(p)) if pin.drill]
    for at, pad, n in through:
        cut(canvas, copper, Disc(at, pad + 2 * GAP))
        if n == number - 2:
            reach = pad / 2 + 1.5 * GAP
            for u, v in ((reach, 0.0), (0.0, reach)):
                add(canvas, copper, Path(((at[0] - u, at[1] - v), (at[0] + u, at[1] + v)), 0.3))
        add(canvas, copper, Disc(at, pad))
    for spot in TOP_VIAS:
        cut(canvas, copper, Disc(spot, 0.9 + 2 * GAP))
        add(canvas, copper, Disc(spot, 0.8))
    for via in VIAS:
        cut(canvas, copper, Disc(via.at, via.diameter + 2 * GAP))
        add(canvas, copper, Disc(via.at, via.diameter))
