"""The plan drawn on the true-scale picture of a face, with a legend below it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiLineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from trimgeo.drawing.canvas import Canvas
from trimgeo.drawing.caselines import case_lines
from trimgeo.drawing.lettering import written
from trimgeo.drawing.marks import keepout_area, relief_keys, stands, stop_bars
from trimgeo.drawing.signs import (
    CASE_HATCH,
    CASE_WALL,
    KERF_HATCH,
    LINES,
    NEUTRAL,
    PALE,
    layer_hatch,
    layers_hatch,
)
from trimgeo.drawing.strokes import dots, hatched
from trimgeo.model.board import Case, Keepout, Pixels, View
from trimgeo.model.plan import Lift, Plan, Row

Box = tuple[float, float, float, float]
XY = tuple[float, float]
EVERY = ("finished", "guide", "kerf", "swept", "keepout", "lift")
"""Kinds of line in the legend of every overlay."""
LONGEST = 56
"""Letters of a label: a longer one keeps its end, where the figures are."""
LEAST = 3
"""So many least clearances are dimensioned."""
APART = 25.0
"""Dimensions nearer to each other, mm as `trimgeo.drawing.canvas` takes them, would be hard to tell apart."""
LETTERS = 3.2
"""Size of a label, mm as `trimgeo.drawing.canvas` takes them."""


def overlay(plan: Plan, view: View) -> Pixels:
    """The picture of the view, shape (rows, columns, 3), with the plan and a legend drawn on it.

    Raises `trimgeo.JobError` where the picture cannot be decoded.
    """
    canvas = Canvas(view.picture)
    if plan.board.case is not None:
        _draw_case(canvas, plan.board.case)
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
    _draw_holding(canvas, plan, view)
    _draw_labels(canvas, plan, lifted, view)
    return _with_legend(canvas, view, _kinds(plan, view))


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


def _draw_case(canvas: Canvas, case: Case) -> None:
    """Wall, posts and gap where the case lies in the board frame."""
    lines = case_lines(case, canvas.mm(CASE_WALL))
    hatch = hatched([lines.solid], CASE_HATCH.angles[0], canvas.mm(CASE_HATCH.pitch))
    canvas.hatch(hatch, CASE_HATCH.colour, 2 * CASE_HATCH.width)
    canvas.line("case-gap", lines.gap)
    canvas.line("case", lines.wall, casing=True)


def _draw_holding(canvas: Canvas, plan: Plan, view: View) -> None:
    """Stop marks, relief cuts, start holes, and what the cutter would run into on this face."""
    for bar in stop_bars(plan):
        canvas.line("stop", bar, casing=True)
    for area in _hits(plan, view).values():
        canvas.line("hit", area, casing=True)
    if "relief" in _kinds(plan, view) and plan.holding.support is not None:
        for line in plan.holding.support.relief:
            canvas.line("relief", line, casing=True)
    for hole in plan.holding.start_holes:
        canvas.line("start", shapely.Point(hole.at).buffer(hole.diameter / 2), casing=True)
        canvas.line("hole", _hairs(hole.at, hole.diameter / 2 + canvas.mm(1.0)))


def _hairs(at: XY, reach: float) -> MultiLineString:
    x, y = at
    return MultiLineString([[(x - reach, y), (x + reach, y)], [(x, y - reach), (x, y + reach)]])


def _hits(plan: Plan, view: View) -> dict[str, BaseGeometry]:
    """What is in the way of wheel or hand-piece on the face that a view shows, by label."""
    heights = {hit.name: hit.height for hit in plan.holding.hits}
    cutter = plan.board.job.cutter
    if cutter is None or cutter.face != view.shows:
        return {}
    return {
        f"in the cutter's way: {name}, {heights[name]:.1f} mm high": area
        for name, _, area in stands(plan, cutter.face)
        if name in heights
    }


def _kinds(plan: Plan, view: View) -> tuple[str, ...]:
    """The kinds of line of the legend: those that every picture has, then those of this plan."""
    support, case = plan.holding.support, plan.board.case
    there = {
        "stop": bool(stop_bars(plan)),
        "hit": bool(_hits(plan, view)),
        "relief": bool(plan.cuts and support is not None and support.relief),
        "start": bool(plan.holding.start_holes),
        "case": case is not None,
        "case-gap": case is not None and case.gap > 0,
    }
    return (*EVERY, *(kind for kind, shown in there.items() if shown))


def _draw_labels(canvas: Canvas, plan: Plan, lifted: Sequence[Lift], view: View) -> None:
    """Signs of states and the dimension of the least clearances first, then labels where there is room."""
    taken = [_around(canvas, bead, 0.8) for guide in plan.lines.guide for bead in dots(guide, canvas.mm(1.5))]
    for row in plan.rows:
        if row.at is not None and not row.may_cut:
            canvas.state(row.state, row.at)
            taken.append(_around(canvas, row.at, 2.0))
    for text, at, area in _labels(canvas, plan, lifted, view):
        shown = written(text if len(text) <= LONGEST else text[: LONGEST - 14] + "… " + text[-12:])
        own = [] if area is None else [_covered(canvas, area)]
        box = _room(canvas, shown, at, [*taken, *own])
        canvas.label(shown, box, LETTERS)
        taken.append(box)


def _labels(
    canvas: Canvas, plan: Plan, lifted: Sequence[Lift], view: View
) -> list[tuple[str, XY, BaseGeometry | None]]:
    """Texts, where they belong, and what they must not hide; the dimensions are drawn."""
    labels: list[tuple[str, XY, BaseGeometry | None]] = []
    edges = shapely.MultiLineString([cut.line for cut in plan.cuts])
    for row in _told(canvas, plan):
        assert row.at is not None and row.nominal is not None
        canvas.line("stop", LineString(nearest_points(shapely.Point(row.at), edges)), casing=True)
        labels.append((f"{row.name} {row.nominal:.2f} mm", row.at, None))
    for cut in plan.cuts:
        middle = cut.line.interpolate(0.5, normalized=True)
        labels.append((f"cut {cut.n}: {cut.length:.1f} mm", (middle.x, middle.y), None))
    labels += [(f"lift {part.name}", part.at, None) for part in lifted]
    labels += [(text, _middle(area), area) for text, area in _hits(plan, view).items()]
    labels += [
        (f"drill {hole.diameter:g} mm, start of cut {hole.cut}", hole.at, None)
        for hole in plan.holding.start_holes
    ]
    support = plan.holding.support
    if "relief" in _kinds(plan, view) and support is not None:
        for key, line in zip(relief_keys(support), support.relief, strict=True):
            labels.append((key, _middle(line), line))
    return labels


def _covered(canvas: Canvas, area: BaseGeometry) -> Box:
    """The pixel box round an area."""
    left, bottom, right, top = area.bounds
    (x0, y0), (x1, y1) = canvas.at([(left, top), (right, bottom)])
    return float(x0), float(y0), float(x1), float(y1)


def _middle(area: BaseGeometry) -> XY:
    point = area.representative_point()
    return point.x, point.y


def _told(canvas: Canvas, plan: Plan) -> list[Row]:
    """The rows whose clearance is written on the picture, each dimensioned.

    The least, the least inner, and all that are not clear; then the next least up to `LEAST` in all, where
    they lie `APART` from what is told already.
    """
    least = [row for row in (plan.inner_minimum, plan.minimum) if row is not None]
    rows = least + [row for row in plan.rows if row.state != "clear"]
    told = {row.name: row for row in rows if row.at is not None and row.nominal is not None}
    clear = [row for row in plan.rows if row.at is not None and row.nominal is not None and not row.may_cut]
    for row in sorted(clear, key=lambda each: (each.nominal or 0.0, each.name)):
        places = [shapely.Point(each.at) for each in told.values()]
        if len(told) >= LEAST:
            break
        if all(place.distance(shapely.Point(row.at)) >= canvas.mm(APART) for place in places):
            told.setdefault(row.name, row)
    return list(told.values())


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
    bars = np.array(taken).reshape(-1, 4)
    box: Box = (0.0, 0.0, width, height)
    for dx, dy in _spiral(width, height, canvas.unit):
        left = min(max(column + dx - width / 2, 0.0), max(columns - width, 0.0))
        top = min(max(row + dy - height / 2, 0.0), max(rows - height, 0.0))
        box = (left, top, left + width, top + height)
        if not _overlaps(box, bars):
            return box
    return box


def _spiral(width: float, height: float, unit: float) -> Iterator[tuple[float, float]]:
    """Offsets to try, in order of their distance."""
    steps = range(-12, 13)
    places = [(i * (width / 4 + unit), j * (height / 2 + unit)) for i, j in product(steps, steps)]
    clear_of_the_place = [p for p in places if abs(p[0]) > width / 2 + unit or abs(p[1]) > height / 2 + unit]
    return iter(sorted(clear_of_the_place, key=lambda p: (p[0] ** 2 + p[1] ** 2, p)))


def _overlaps(box: Box, bars: NDArray[np.float64]) -> bool:
    """Whether a box meets any of others, shape (n, 4)."""
    left, top, right, bottom = bars.T
    return bool(((box[0] < right) & (left < box[2]) & (box[1] < bottom) & (top < box[3])).any())


def _with_legend(canvas: Canvas, view: View, kinds: Sequence[str]) -> Pixels:
    """The picture on top of a white strip with the signs' words."""
    entries = [LINES[kind] for kind in kinds]
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
    low, high = canvas.board([(left, row + half), (right, row - half)])
    if sign == "keepout":
        # As on the board: pale hatch and a line in a white casing, which would not show on white.
        canvas.ground((left - half, row - half, right + half, row + half), NEUTRAL)
        hatch = layer_hatch(1)
        area = shapely.box(*low, *high)
        canvas.hatch(hatched([area], hatch.angles[0], canvas.mm(3 * hatch.pitch)), PALE, hatch.width)
        canvas.line(sign, LineString(ends), casing=True)
        return
    if sign == "kerf":
        canvas.hatch(
            hatched([shapely.box(*low, *high)], KERF_HATCH.angles[0], canvas.mm(KERF_HATCH.pitch)),
            KERF_HATCH.colour,
            0.2,
        )
        return
    if sign == "start":
        ((x, y),) = canvas.board([((left + right) / 2, row)])
        canvas.line(sign, shapely.Point(x, y).buffer(canvas.mm(1.0)))
        canvas.line("hole", _hairs((x, y), canvas.mm(1.7)))
        return
    if sign == "case":
        solid = shapely.box(ends[0][0], ends[0][1], high[0], high[1])
        hatch = hatched([solid], CASE_HATCH.angles[0], canvas.mm(CASE_HATCH.pitch))
        canvas.hatch(hatch, CASE_HATCH.colour, 2 * CASE_HATCH.width)
    canvas.line(sign, LineString(ends))
