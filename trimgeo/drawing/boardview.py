"""The board on a sheet, at true scale: what is drawn, what bars labels, and the labels themselves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.labels import Place, Wish, place, room
from trimgeo.drawing.lettering import ASCENT, DESCENT, width
from trimgeo.drawing.marks import WINDOW_GAP, Mark, stops
from trimgeo.drawing.placement import Placement
from trimgeo.drawing.sheet import XY, Box, Discs, Item, Strokes, Text
from trimgeo.drawing.signs import KERF_HATCH, LINES, STATES, layers_hatch, state_strokes
from trimgeo.drawing.strokes import dashed, dots, hatched, paths_of
from trimgeo.model.plan import Plan

LABEL: Final = 2.2
"""Font size of names."""

CUT_LABEL: Final = 2.8
"""Font size of cut numbers and lengths."""

RING: Final = 2.2
"""Radius of the ring round a cut number."""

NAME_ROOM: Final = 34.0
"""A name wider than this goes into the list and leaves its key on the drawing."""

ORDER: Final = ("cut", "stop", "hole", "lift", "window", "keepout")
"""Who gets a place first."""

CROSS_HAIR: Final = 1.6
"""How far cross hairs pass the rim of their hole."""


@dataclass(frozen=True)
class View:
    """The board in a window of a sheet: items, keys that stand for names, and names without a place."""

    items: tuple[Item, ...]
    keyed: tuple[str, ...]
    unplaced: tuple[str, ...]
    kinds: frozenset[str]


@dataclass(frozen=True)
class _Drawn:
    """Lines on the sheet by kind: ``strong`` ones are never broken by a label."""

    strong: tuple[Strokes | Discs, ...]
    faint: tuple[Strokes, ...]
    swept: tuple[XY, ...]


def board_view(
    plan: Plan, marks: Sequence[Mark], at: Placement, window: Box, taken: Sequence[Box] = ()
) -> View:
    """Draw what of the board lies in ``window``; labels also keep off the ``taken`` boxes."""
    pane = shapely.box(*window)
    drawn = _drawn(plan, marks, at, pane)
    bars = [shapely.linestrings(path) for one in drawn.strong for path in _outline(one)]
    light = [shapely.linestrings(path) for one in drawn.faint if one.kind == "keepout" for path in one.paths]
    if drawn.swept:
        light.append(shapely.multipoints(drawn.swept))
    space = room(window, taken, bars, light)
    visible, wishes = _wishes(marks, at, pane)
    places = place(space, wishes)
    put = [(mark, one) for mark, one in zip(visible, places, strict=True) if one is not None]
    boxes = shapely.union_all([shapely.box(*one.box) for _, one in put])
    broken = [_broken(one, boxes) for one in drawn.faint]
    dotted = [xy for xy, covered in zip(drawn.swept, _inside(boxes, drawn.swept), strict=True) if not covered]
    swept = LINES["swept"]
    items: list[Item] = [
        *broken,
        Discs("swept", tuple(dotted), swept.width / 2, swept.colour, None),
        *drawn.strong,
        *_pointers([one for _, one in put]),
        *(item for mark, one in put for item in _label(mark, one)),
    ]
    return View(
        tuple(item for item in items if not _is_empty(item)),
        keyed=tuple(mark.key for mark, one in put if _says_key(mark, one) and not mark.listed),
        unplaced=tuple(mark.key for mark, one in zip(visible, places, strict=True) if one is None),
        kinds=frozenset(_kind(item) for item in items if not _is_empty(item)),
    )


def _kind(item: Item) -> str:
    return "text" if isinstance(item, Text) else item.kind


def _is_empty(item: Item) -> bool:
    return (isinstance(item, Strokes) and not item.paths) or (isinstance(item, Discs) and not item.centres)


# Lines ------------------------------------------------------------------------------------


def _drawn(plan: Plan, marks: Sequence[Mark], at: Placement, pane: BaseGeometry) -> _Drawn:
    board, finished = at.lay([plan.board.edge.polygon, plan.finished.polygon])
    kerf, swept_band = at.lay([plan.lines.kerf_band, plan.lines.swept_band])
    guides = at.lay(plan.lines.guide)
    kerf_pane = shapely.intersection(kerf, pane)
    hatch = hatched([kerf_pane], KERF_HATCH.angles[0], KERF_HATCH.pitch)
    dashes = [path for guide in guides for path in _dashed_line(guide, "guide")]
    edges = shapely.union_all([board.boundary, finished.boundary])
    rim = shapely.difference(swept_band.boundary, edges.buffer(LINES["swept"].width))
    line, ink = LINES["kerf"], KERF_HATCH
    strong = (
        Strokes("kerf-hatch", paths_of(hatch), ink.colour, ink.width),
        _strokes("kerf", shapely.intersection(kerf.boundary, pane), line.colour),
        _strokes("board", shapely.intersection(board.boundary, pane)),
        *_holes(plan, at, pane),
        *_outlines(marks, at, pane),
        _strokes("finished", shapely.intersection(finished.boundary, pane)),
        _strokes("guide", shapely.intersection(_lines(dashes), pane)),
        *_stop_bars(plan, at, pane),
        *_states(plan, at, pane),
    )
    spots = dots(shapely.intersection(rim, pane), max(LINES["swept"].dashes))
    return _Drawn(strong, _faint(marks, at, pane), spots)


def _strokes(kind: str, geometry: BaseGeometry, colour: str | None = None) -> Strokes:
    line = LINES[kind]
    return Strokes(kind, paths_of(shapely.line_merge(geometry)), colour or line.colour, line.width)


def _lines(paths: Sequence[Sequence[XY]]) -> BaseGeometry:
    return shapely.MultiLineString([path for path in paths if len(path) > 1])


def _dashed_line(line: BaseGeometry, kind: str) -> list[tuple[XY, ...]]:
    ink, gap = LINES[kind].dashes or (1.0, 0.0)
    return [path for ring in paths_of(line) for path in dashed(ring, ink, gap)]


def _holes(plan: Plan, at: Placement, pane: BaseGeometry) -> list[Strokes]:
    rims = at.lay(
        [shapely.Point(hole.at).buffer(hole.diameter / 2, quad_segs=32) for hole in plan.board.holes]
    )
    hairs = []
    for hole in plan.board.holes:
        x, y = at.point(hole.at)
        reach = hole.diameter / 2 + CROSS_HAIR
        hairs += [((x - reach, y), (x + reach, y)), ((x, y - reach), (x, y + reach))]
    lines = shapely.union_all([shapely.boundary(rim) for rim in rims]) if len(rims) else shapely.LineString()
    return [
        _strokes("hole", shapely.intersection(lines, pane)),
        Strokes(
            "cross-hair",
            paths_of(shapely.intersection(_lines(hairs), pane)),
            LINES["hole"].colour,
            0.1,
        ),
    ]


def _outlines(marks: Sequence[Mark], at: Placement, pane: BaseGeometry) -> list[Strokes]:
    """Dashed outlines: windows, a little larger than their parts, and parts to lift."""
    found = []
    for kind, gap in (("window", WINDOW_GAP), ("lift", 0.0)):
        shapes = [m.shape.buffer(gap, join_style="mitre") for m in marks if m.kind == kind]
        dashes = [path for shape in at.lay(shapes) for path in _dashed_line(shape, kind)]
        found.append(_strokes(kind, shapely.intersection(_lines(dashes), pane)))
    return found


def _stop_bars(plan: Plan, at: Placement, pane: BaseGeometry) -> list[Strokes]:
    """A bar across the kerf where the axle stops, with a foot on its far end."""
    kerf = plan.board.job.cutter.kerf if plan.board.job.cutter else 0.0
    bars = []
    for stop in (stop for corner in plan.corners for stop in stops(plan, corner)):
        if stop.at is None:
            continue
        (x, y), (ax, ay) = stop.at, stop.across
        ex, ey = x + ax * (kerf + 2.0), y + ay * (kerf + 2.0)
        bars.append(tuple(at.point(xy) for xy in ((x, y), (ex, ey))))
        bars.append(tuple(at.point(xy) for xy in ((ex - ay, ey + ax), (ex + ay, ey - ax))))
    return [_strokes("stop", shapely.intersection(_lines(bars), pane))]


def _states(plan: Plan, at: Placement, pane: BaseGeometry) -> list[Strokes | Discs]:
    """Signs where a keep-out is tight or breached, and at the least clearance of all."""
    found: list[Strokes | Discs] = []
    for row in plan.rows:
        if row.at is None or row.may_cut or (row.state == "clear" and row != plan.minimum):
            continue
        x, y = at.point(row.at)
        sign = STATES[row.state]
        half = sign.size / 2
        if not shapely.contains_xy(pane, x, y):
            continue
        if sign.shape == "ring":
            found.append(Discs("clear", ((x, y),), half, sign.colour, sign.width))
        else:
            paths = tuple(
                tuple((x + half * dx, y + half * dy) for dx, dy in path) for path in state_strokes(row.state)
            )
            found.append(Strokes(row.state, paths, sign.colour, sign.width))
    return found


def _faint(marks: Sequence[Mark], at: Placement, pane: BaseGeometry) -> tuple[Strokes, ...]:
    """Keep-outs: hatch by layer, and outline."""
    shown = [mark for mark in marks if mark.layers and mark.kind in ("keepout", "window")]
    areas = shapely.intersection(at.lay([mark.shape for mark in shown]), pane)
    by_hatch: dict[tuple[float, float], list[BaseGeometry]] = {}
    for mark, area in zip(shown, areas, strict=True):
        hatch = layers_hatch(mark.layers)
        if hatch is not None:
            by_hatch.setdefault((hatch.angles[0], hatch.pitch), []).append(area)
    ink = layers_hatch((1,))
    hatches = [
        Strokes("keepout-hatch", paths_of(hatched(group, angle, pitch)), ink.colour, ink.width)
        for (angle, pitch), group in by_hatch.items()
        if ink is not None
    ]
    rims = shapely.boundary(at.lay([mark.shape for mark in shown]))
    inside = shapely.get_parts(shapely.intersection(rims, pane))
    outlines = [path for line in inside for path in paths_of(shapely.line_merge(line))]
    return (*hatches, Strokes("keepout", tuple(outlines), LINES["keepout"].colour, LINES["keepout"].width))


def _outline(item: Strokes | Discs) -> tuple[tuple[XY, ...], ...]:
    if isinstance(item, Strokes):
        return item.paths
    circles = [shapely.Point(centre).buffer(item.radius) for centre in item.centres]
    return tuple(path for circle in circles for path in paths_of(circle))


def _broken(item: Strokes, boxes: BaseGeometry) -> Strokes:
    """Faint lines end where a label stands."""
    if not item.paths or boxes.is_empty:
        return item
    rest = shapely.difference(shapely.multilinestrings([shapely.linestrings(p) for p in item.paths]), boxes)
    return Strokes(item.kind, paths_of(rest), item.colour, item.width)


def _inside(boxes: BaseGeometry, points: Sequence[XY]) -> NDArray[Any]:
    if not points:
        return np.zeros(0, dtype=bool)
    xy = np.asarray(points)
    return np.asarray(shapely.contains_xy(boxes, xy[:, 0], xy[:, 1]))


# Labels -----------------------------------------------------------------------------------


def _wishes(marks: Sequence[Mark], at: Placement, pane: BaseGeometry) -> tuple[list[Mark], list[Wish]]:
    """The marks that show in the pane, in the order of their claims, and what their labels need."""
    shapes = shapely.intersection(at.lay([mark.shape for mark in marks]), pane)
    shown = [
        (ORDER.index(mark.kind), -float(shape.area), n)
        for n, (mark, shape) in enumerate(zip(marks, shapes, strict=True))
        if not shape.is_empty
    ]
    visible = [n for _, _, n in sorted(shown)]
    wishes = []
    for n in visible:
        home = marks[n].home
        anchor = _middle(shapes[n]) if home is None else _held(at.point(home), pane)
        wishes.append(Wish(anchor, tuple(_size(marks[n], form) for form in _forms(marks[n]))))
    return [marks[n] for n in visible], wishes


def _held(point: XY, pane: BaseGeometry) -> XY:
    left, bottom, right, top = pane.bounds
    return min(max(point[0], left), right), min(max(point[1], bottom), top)


def _middle(shape: BaseGeometry) -> XY:
    """A point in the middle of what shows: of the longest line, else inside the area."""
    parts = shapely.get_parts(shape)
    if shape.area == 0.0:
        longest = max(parts, key=lambda part: part.length)
        middle = longest.interpolate(0.5, normalized=True) if longest.length else longest
    else:
        largest = max(parts, key=lambda part: part.area)
        middle = largest.centroid if largest.contains(largest.centroid) else largest.representative_point()
    return float(middle.x), float(middle.y)


def _forms(mark: Mark) -> tuple[str, ...]:
    """Wordings, longest first; the last is the key alone."""
    if mark.kind == "cut":
        return mark.name, ""
    full = mark.name if mark.kind in ("keepout", "hole") else f"{mark.key} {mark.name}"
    return (full, mark.key) if width(full, LABEL) <= _longest(mark) else (mark.key,)


def _longest(mark: Mark) -> float:
    return 2.2 * NAME_ROOM if mark.kind == "stop" else NAME_ROOM


def _says_key(mark: Mark, one: Place) -> bool:
    return one.form == len(_forms(mark)) - 1


def _size(mark: Mark, form: str) -> tuple[float, float]:
    if mark.kind == "cut":
        text = 1.0 + width(form, CUT_LABEL) if form else 0.0
        return 2 * _ring(mark) + text + 0.4, 2 * _ring(mark) + 0.4
    return width(form, LABEL) + 0.5, LABEL * (ASCENT + DESCENT)


def _ring(mark: Mark) -> float:
    return max(RING, width(mark.key, CUT_LABEL) / 2 + 0.7)


def _label(mark: Mark, one: Place) -> list[Item]:
    left, bottom, right, top = one.box
    form = _forms(mark)[one.form]
    middle = (bottom + top) / 2
    if mark.kind != "cut":
        base = middle - LABEL * (ASCENT - DESCENT) / 2
        return [Text(((left + right) / 2, base), form, LABEL, "middle")]
    radius, base = _ring(mark), middle - CUT_LABEL * 0.36
    slack = (right - left - _size(mark, form)[0]) / 2
    x = left + slack + 0.2 + radius
    items: list[Item] = [
        Discs("cut-number", ((x, middle),), radius, LINES["finished"].colour, 0.25),
        Text((x, base), mark.key, CUT_LABEL, "middle"),
    ]
    return [*items, Text((x + radius + 1.0, base), form, CUT_LABEL)] if form else items


def _pointers(places: Sequence[Place]) -> list[Item]:
    lines = tuple(one.pointer for one in places if one.pointer is not None)
    leader = LINES["leader"]
    ends = tuple(line[1] for line in lines)
    return [
        Strokes("leader", lines, leader.colour, leader.width),
        Discs("leader-end", ends, 0.3, leader.colour, None),
    ]
