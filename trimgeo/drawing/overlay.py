"""The plan drawn on the true-scale picture of a face, with a legend below it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

import cv2
import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.ops import nearest_points

from trimgeo.drawing.canvas import Canvas
from trimgeo.drawing.lettering import written
from trimgeo.drawing.marks import keepout_area
from trimgeo.drawing.signs import KERF_HATCH, LINES, PALE, layers_hatch
from trimgeo.drawing.strokes import dots, hatched
from trimgeo.model.board import Keepout, Pixels, View
from trimgeo.model.plan import Lift, Plan, Row

Box = tuple[float, float, float, float]
LETTERS = 3.2
"""Size of a label, mm as `trimgeo.drawing.canvas` takes them."""


def overlay(plan: Plan, view: View) -> Pixels:
    """The picture of the view, shape (rows, columns, 3), with the plan and a legend drawn on it.

    Raises `trimgeo.JobError` where the picture cannot be decoded.
    """
    canvas = Canvas(view.picture)
    for keepout in plan.board.keepouts:
        _draw_keepout(canvas, keepout)
    lifted = [each for each in plan.lift if each.face == view.shows]
    gone = {(each.name, each.face) for each in lifted}
    for part in plan.board.parts:
        if (part.name, part.face) in gone:
            canvas.line("lift", part.area, casing=True)
    canvas.line("board", plan.board.edge.polygon)
    canvas.hatch(
        hatched([plan.lines.kerf_band], KERF_HATCH.angles[0], canvas.mm(KERF_HATCH.pitch)), "#FFFFFF", 0.2
    )
    canvas.line("swept", shapely.boundary(plan.lines.swept_band))
    canvas.line("finished", plan.finished.polygon, casing=True)
    for guide in plan.lines.guide:
        canvas.line("guide", guide, casing=True)
    _draw_labels(canvas, plan, lifted)
    return _with_legend(canvas, view)


def encode_small_jpeg(pixels: Pixels, longest: int = 1600) -> bytes:
    """The picture for the page: at most ``longest`` pixels a side, JPEG of quality 85.

    ``pixels`` has shape (rows, columns, 3), blue-green-red; a small picture keeps its size.

    >>> jpeg = encode_small_jpeg(np.zeros((300, 4000, 3), np.uint8))
    >>> cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR).shape
    (120, 1600, 3)
    """
    scale = longest / max(pixels.shape[:2])
    if scale < 1:
        pixels = np.asarray(
            cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8
        )
    return bytes(cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 85])[1])


def _draw_keepout(canvas: Canvas, keepout: Keepout) -> None:
    area = keepout_area(keepout.spine, keepout.radius)
    hatch = layers_hatch(keepout.layers)
    if hatch is not None:
        canvas.hatch(hatched([area], hatch.angles[0], canvas.mm(3 * hatch.pitch)), PALE, hatch.width)
    canvas.line("keepout", area, casing=True)


def _draw_labels(canvas: Canvas, plan: Plan, lifted: Sequence[Lift]) -> None:
    """Signs of states and the dimension of the least clearances first, then labels where there is room."""
    taken = [_around(canvas, bead, 0.8) for guide in plan.lines.guide for bead in dots(guide, canvas.mm(1.5))]
    for row in plan.rows:
        if row.at is not None and not row.may_cut:
            canvas.state(row.state, row.at)
            taken.append(_around(canvas, row.at, 2.0))
    labels = []
    edges = shapely.MultiLineString([cut.line for cut in plan.cuts])
    for row in _told(plan):
        assert row.at is not None and row.nominal is not None
        canvas.line("stop", LineString(nearest_points(shapely.Point(row.at), edges)), casing=True)
        labels.append((f"{row.name} {row.nominal:.2f} mm", row.at))
    for cut in plan.cuts:
        middle = cut.line.interpolate(0.5, normalized=True)
        labels.append((f"cut {cut.n}: {cut.length:.1f} mm", (middle.x, middle.y)))
    labels += [(f"lift {part.name}", part.at) for part in lifted]
    for text, at in labels:
        shown = written(text if len(text) <= 40 else text[:24] + "… " + text[-12:])
        box = _room(canvas, shown, at, taken)
        canvas.label(shown, box, LETTERS)
        taken.append(box)


def _told(plan: Plan) -> list[Row]:
    """The rows whose clearance is written on the picture: the least, the least inner, and all not clear."""
    least = [row for row in (plan.inner_minimum, plan.minimum) if row is not None]
    rows = least + [row for row in plan.rows if row.state != "clear"]
    unique = {row.name: row for row in rows if row.at is not None and row.nominal is not None}
    return list(unique.values())


def _around(canvas: Canvas, at: tuple[float, float], size: float) -> Box:
    column, row = canvas.at(at)[0]
    half = size * canvas.unit
    return column - half, row - half, column + half, row + half


def _room(canvas: Canvas, text: str, at: tuple[float, float], taken: list[Box]) -> Box:
    """The nearest box round a place that is on the picture and covers no other box.

    A picture that is full takes the label at the last place tried, on top: it is never dropped.
    """
    width, height = canvas.text_size(text, LETTERS)
    column, row = canvas.at(at)[0]
    rows, columns = canvas.pixels.shape[:2]
    box: Box = (0.0, 0.0, width, height)
    for dx, dy in _spiral(width, height, canvas.unit):
        left = min(max(column + dx - width / 2, 0.0), max(columns - width, 0.0))
        top = min(max(row + dy - height / 2, 0.0), max(rows - height, 0.0))
        box = (left, top, left + width, top + height)
        if not any(_overlap(box, other) for other in taken):
            return box
    return box


def _spiral(width: float, height: float, unit: float) -> Iterator[tuple[float, float]]:
    """Offsets to try, in order of their distance."""
    steps = range(-12, 13)
    places = [(i * (width / 4 + unit), j * (height / 2 + unit)) for i, j in product(steps, steps)]
    clear_of_the_place = [p for p in places if abs(p[0]) > width / 2 + unit or abs(p[1]) > height / 2 + unit]
    return iter(sorted(clear_of_the_place, key=lambda p: (p[0] ** 2 + p[1] ** 2, p)))


def _overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _with_legend(canvas: Canvas, view: View) -> Pixels:
    """The picture on top of a white strip with the signs' words."""
    entries = [LINES[kind] for kind in ("finished", "guide", "kerf", "swept", "keepout", "lift")]
    rows, columns = canvas.pixels.shape[:2]
    line = round(2.0 * LETTERS * canvas.unit)
    strip = np.full((line * (1 + (len(entries) + 1) // 2), columns, 3), 255, np.uint8)
    canvas.pixels = np.vstack([canvas.pixels, strip])
    seen = "seen through the board from the top face" if view.shows == "bottom" else "looking at the top face"
    _write(
        canvas, f"{view.name}: {seen}, x right, y up. Ring: clear. Triangle: tight. Cross: breached.", 0, rows
    )
    for n, look in enumerate(entries):
        left, top = (n % 2) * columns / 2, rows + (1 + n // 2) * line
        _sample(canvas, look.name, left, top + line / 2)
        _write(canvas, look.words, left + 22 * canvas.unit, top)
    return canvas.pixels


def _write(canvas: Canvas, text: str, left: float, top: float) -> None:
    width, height = canvas.text_size(text, LETTERS)
    canvas.label(text, (left, top, left + width, top + height), LETTERS)


def _sample(canvas: Canvas, sign: str, start: float, row: float) -> None:
    """A short stretch of a line's look in the legend."""
    left, right = start + canvas.unit * 2, start + canvas.unit * 20
    half = canvas.unit * 1.2
    ends = canvas.board([(left, row), (right, row)])
    if sign == "kerf":
        low, high = canvas.board([(left, row + half), (right, row - half)])
        area = Polygon([low, (high[0], low[1]), high, (low[0], high[1])])
        canvas.hatch(
            hatched([area], KERF_HATCH.angles[0], canvas.mm(KERF_HATCH.pitch)), KERF_HATCH.colour, 0.2
        )
        return
    canvas.line(sign, LineString(ends))
