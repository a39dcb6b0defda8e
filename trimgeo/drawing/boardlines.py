"""The lines of the board on a sheet: what no label may break, and what may end where a label stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.caselines import case_lines
from trimgeo.drawing.marks import WINDOW_GAP, Mark, stop_bars
from trimgeo.drawing.placement import Placement
from trimgeo.drawing.sheet import XY, Discs, Strokes
from trimgeo.drawing.signs import (
    CASE_HATCH,
    CASE_WALL,
    HATCH_WIDTH,
    KERF_HATCH,
    LINES,
    PALE,
    STATES,
    layers_hatch,
    state_strokes,
)
from trimgeo.drawing.strokes import dashed, dots, hatched, lines_of, paths_of
from trimgeo.model.plan import Plan

CROSS_HAIR: Final = 1.6
"""How far cross hairs pass the rim of their hole."""

CLAMP: Final = 4.0
"""Greatest radius of the sign for the clamp, about its foot: the free place round it may be larger."""

LARGE: Final = 150.0
"""Past this area, mm², a hatch is drawn sparser: planes stay a light ground for what lies on them."""

SPARSE: Final = 2.5

AIR: Final = 0.03
"""Least white between guide line and finished edge: where they lie close, both are drawn finer."""


@dataclass(frozen=True)
class Drawn:
    """Lines on the sheet, mm: a label never breaks the ``strong`` ones, and ends the ``faint`` ones.

    ``swept`` has the middles of the dots along the rim of the swept band: those under a label are left out.
    """

    strong: tuple[Strokes | Discs, ...]
    faint: tuple[Strokes, ...]
    swept: tuple[XY, ...]


def drawn(plan: Plan, marks: Sequence[Mark], at: Placement, pane: BaseGeometry) -> Drawn:
    """All lines of the board that lie in the pane, a rectangle of the sheet, in drawing order.

    ``at`` lays the board frame on the sheet.  Guide line and finished edge get finer where the sanding
    margin between them is less than their widths: both must show, and the white between them.
    """
    board, finished = at.lay([plan.board.edge.polygon, plan.finished.polygon])
    kerf, swept_band = at.lay([plan.lines.kerf_band, plan.lines.swept_band])
    guides = at.lay(plan.lines.guide)
    kerf_pane = shapely.intersection(kerf, pane)
    hatch = hatched([kerf_pane], KERF_HATCH.angles[0], KERF_HATCH.pitch)
    dashes = [path for guide in guides for path in _dashed_line(guide, "guide")]
    edges = shapely.union_all([board.boundary, finished.boundary])
    rim = shapely.difference(swept_band.boundary, edges.buffer(LINES["swept"].width))
    line, ink, thick = LINES["kerf"], KERF_HATCH, _widths(plan)
    strong = (
        Strokes("kerf-hatch", paths_of(hatch), ink.colour, ink.width),
        _strokes("kerf", shapely.intersection(kerf.boundary, pane), line.colour),
        _strokes("board", shapely.intersection(board.boundary, pane)),
        *_holes(plan, at, pane),
        *_outlines(marks, at, pane),
        *_states(plan, at, pane),
        _strokes("finished", shapely.intersection(finished.boundary, pane), width=thick["finished"]),
        _strokes("guide", shapely.intersection(_lines(dashes), pane), width=thick["guide"]),
        _strokes("stop", shapely.intersection(shapely.union_all(at.lay(stop_bars(plan))), pane)),
        _hits(marks, at, pane),
        *_support(plan, at, pane),
    )
    spots = dots(shapely.intersection(rim, pane), max(LINES["swept"].dashes))
    return Drawn(strong, (*_case(plan, at, pane), *_faint(marks, at, pane)), spots)


def _widths(plan: Plan) -> dict[str, float]:
    """Widths of guide line and finished edge, which lie the sanding margin apart."""
    sanding = plan.board.job.finish.sanding if plan.board.job.finish else 0.0
    guide, finished = LINES["guide"].width, LINES["finished"].width
    finer = min(1.0, max(0.4, (sanding - AIR) / ((guide + finished) / 2)))
    return {"guide": guide * finer, "finished": finished * finer}


def _strokes(
    kind: str, geometry: BaseGeometry, colour: str | None = None, width: float | None = None
) -> Strokes:
    line = LINES[kind]
    return Strokes(kind, paths_of(shapely.line_merge(geometry)), colour or line.colour, width or line.width)


def _lines(paths: Sequence[Sequence[XY]]) -> BaseGeometry:
    return shapely.multilinestrings(lines_of([path for path in paths if len(path) > 1]))


def _dashed_line(line: BaseGeometry, kind: str) -> list[tuple[XY, ...]]:
    ink, gap = LINES[kind].dashes or (1.0, 0.0)
    return [path for ring in paths_of(line) for path in dashed(ring, ink, gap)]


def _holes(plan: Plan, at: Placement, pane: BaseGeometry) -> list[Strokes]:
    rims = at.lay(
        [shapely.Point(hole.at).buffer(hole.diameter / 2, quad_segs=32) for hole in plan.board.holes]
    )
    hairs = [
        path
        for hole in plan.board.holes
        for path in _hairs(at.point(hole.at), hole.diameter / 2 + CROSS_HAIR)
    ]
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


def _support(plan: Plan, at: Placement, pane: BaseGeometry) -> list[Strokes]:
    """Relief cuts, start holes with their cross hairs, and the place for the clamp."""
    support = plan.holding.support if plan.cuts else None
    relief = support.relief if support is not None else ()
    dashes = [path for line in at.lay(relief) for path in _dashed_line(line, "relief")]
    discs = [(at.point(hole.at), hole.diameter / 2) for hole in plan.holding.start_holes]
    rims = [_circle(centre, radius) for centre, radius in discs]
    hairs = [path for centre, radius in discs for path in _hairs(centre, radius + CROSS_HAIR)]
    found = [
        _strokes("relief", shapely.intersection(_lines(dashes), pane)),
        _strokes("start", shapely.intersection(shapely.union_all(rims), pane)),
        _strokes("start", shapely.intersection(_lines(hairs), pane), width=LINES["hole"].width),
    ]
    if support is not None and support.clamp is not None:
        centre, radius = at.point(support.clamp[0]), min(support.clamp[1], CLAMP)
        foot = [*_dashed_line(_circle(centre, radius), "clamp"), *_hairs(centre, radius / 3)]
        found.append(_strokes("clamp", shapely.intersection(_lines(foot), pane)))
    return found


def _circle(centre: XY, radius: float) -> BaseGeometry:
    return shapely.boundary(shapely.Point(centre).buffer(radius, quad_segs=32))


def _hairs(centre: XY, reach: float) -> list[tuple[XY, XY]]:
    x, y = centre
    return [((x - reach, y), (x + reach, y)), ((x, y - reach), (x, y + reach))]


def _hits(marks: Sequence[Mark], at: Placement, pane: BaseGeometry) -> Strokes:
    """Parts that stay and that the cutter would run into."""
    shapes = at.lay([mark.shape for mark in marks if mark.hit])
    return _strokes("hit", shapely.intersection(shapely.union_all(shapely.boundary(shapes)), pane))


def _case(plan: Plan, at: Placement, pane: BaseGeometry) -> list[Strokes]:
    """Wall and posts of the case where it lies in the board frame, and the gap to them."""
    if plan.board.case is None:
        return []
    lines = case_lines(plan.board.case, CASE_WALL)
    # The line to cut comes first: over the kerf's hatch there is no other.
    kerf = plan.lines.kerf_band
    wall, solid, gap = at.lay([lines.wall, lines.solid - kerf, lines.gap - kerf])
    hatch = hatched([shapely.intersection(solid, pane)], CASE_HATCH.angles[0], CASE_HATCH.pitch)
    return [
        Strokes("case-hatch", paths_of(hatch), CASE_HATCH.colour, CASE_HATCH.width),
        _strokes("case-gap", shapely.intersection(_lines(_dashed_line(gap, "case-gap")), pane)),
        _strokes("case", shapely.intersection(wall, pane)),
    ]


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
            pitch = hatch.pitch * (SPARSE if area.area > LARGE else 1.0)
            by_hatch.setdefault((hatch.angles[0], pitch), []).append(area)
    hatches = [
        Strokes("keepout-hatch", paths_of(hatched(group, angle, pitch)), PALE, HATCH_WIDTH)
        for (angle, pitch), group in by_hatch.items()
    ]
    rims = shapely.boundary(at.lay([mark.shape for mark in shown]))
    inside = shapely.get_parts(shapely.intersection(rims, pane))
    outlines = [path for line in inside for path in paths_of(shapely.line_merge(line))]
    return (*hatches, Strokes("keepout", tuple(outlines), LINES["keepout"].colour, LINES["keepout"].width))
