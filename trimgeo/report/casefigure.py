"""A small drawing for the report: the finished board as it goes into its case with the most room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.caselines import case_lines
from trimgeo.drawing.marks import keepout_area
from trimgeo.drawing.signs import CASE_HATCH
from trimgeo.drawing.strokes import hatched, paths_of
from trimgeo.model.board import FaceName
from trimgeo.model.phrases import how
from trimgeo.model.plan import XY, Fit, Plan
from trimgeo.report.figure import Label

LETTER = 0.036
"""Size of a letter as a share of the picture's width."""

WALL = 0.02
"""Thickness of the wall, drawn, as a share of the picture's width."""

TOUCHING = 1e-6
"""mm: board and case that are nearer to each other than this have no direction from one to the other."""

LINES_IN_WALL = 2.0
"""Lines of hatch across the thickness of the wall."""


Floats = NDArray[np.float64]


@dataclass(frozen=True)
class CaseFigure:
    """What the page draws: SVG path data in mm with y down, labels, and the size of a letter.

    ``how`` says which pose is drawn.  ``closest`` are the places of the board at which it is closest to the
    case, each with its number and the line to the case; ``lacking`` says that the board does not fit there.
    ``high`` are outlines of parts that the case is too low for, ``keys`` what stands on them, ``told`` what
    the keys mean.
    """

    how: str
    view_box: str
    wall: str
    solid: str
    gap: str
    board: str
    parts: str
    holes: tuple[tuple[float, float, float], ...]
    closest: tuple[tuple[float, float], ...]
    ways: str
    numbers: tuple[Label, ...]
    lacking: bool
    high: str
    keys: tuple[Label, ...]
    told: tuple[str, ...]
    letter: float


@dataclass(frozen=True)
class _Standing:
    """What stands on the finished board, where it goes in the case."""

    name: str
    face: FaceName
    height: float
    area: BaseGeometry


def case_figure(plan: Plan) -> CaseFigure | None:
    """The board in its case in the pose of ``plan.holding.fit``; None for a job without a case."""
    fit, case = plan.holding.fit, plan.board.case
    if fit is None or case is None:
        return None
    finished = posed(plan.finished.polygon, fit)
    left, _, right, _ = shapely.union_all([case.cavity.polygon, finished]).bounds
    letter, wall = LETTER * (right - left), WALL * (right - left)
    numbers = _numbers(fit.binds, fit.spare + case.gap < 0, finished, letter, wall)
    lines = case_lines(case, wall)
    hatch = hatched([lines.solid], CASE_HATCH.angles[0], wall / LINES_IN_WALL)
    standing = _standing(plan, fit)
    lacks = dict(fit.too_high)
    high = [part for part in standing if part.name in lacks]
    holes = [affinity.translate(_turned(shapely.Point(h.at), fit), *fit.shift) for h in plan.board.holes]
    return CaseFigure(
        how=how(fit.shift, fit.angle),
        view_box=_view_box([lines.solid, finished], numbers, letter),
        wall=_path(lines.wall),
        solid=_path(hatch),
        gap=_path(lines.gap),
        board=_path(finished),
        parts=_path(shapely.GeometryCollection([part.area for part in standing if part.name not in lacks])),
        holes=tuple(
            (at.x, -at.y, hole.diameter / 2)
            for at, hole in zip(holes, plan.board.holes, strict=True)
            if finished.covers(at)
        ),
        closest=tuple((board[0], -board[1]) for board, _ in fit.binds),
        ways=_path(shapely.MultiLineString([pair for pair in fit.binds if pair[0] != pair[1]])),
        numbers=numbers,
        lacking=fit.spare < 0,
        high=_path(shapely.GeometryCollection([part.area for part in high])),
        keys=tuple(_on(part.area, chr(ord("A") + n)) for n, part in enumerate(high[:26])),
        told=tuple(
            f"{chr(ord('A') + n)}: {part.name}, {part.height:.1f} mm high on the {part.face} face, "
            f"{lacks[part.name]:.1f} mm too high for the {'lid' if part.face == 'top' else 'floor'}"
            for n, part in enumerate(high[:26])
        ),
        letter=letter,
    )


def _view_box(shapes: Sequence[BaseGeometry], numbers: Sequence[Label], letter: float) -> str:
    """What holds all that is drawn, y down, and half a letter more."""
    texts = [shapely.Point(each.x, -each.y).buffer((0.5 + 0.3 * len(each.text)) * letter) for each in numbers]
    left, bottom, right, top = shapely.union_all([*shapes, *texts]).buffer(letter / 2).bounds
    return f"{left:.3f} {-top:.3f} {right - left:.3f} {top - bottom:.3f}"


def posed(shape: BaseGeometry, fit: Fit) -> BaseGeometry:
    """A shape of the board frame in the pose of a fit: turned about (0, 0), then moved.

    >>> quarter = Fit(True, 1.0, 1.0, shift=(10.0, 0.0), angle=90.0, as_placed=0.0, binds=())
    >>> posed(shapely.Point(2, 0), quarter).wkt
    'POINT (10 2)'
    """
    return affinity.translate(_turned(shape, fit), *fit.shift)


def _turned(shape: BaseGeometry, fit: Fit) -> BaseGeometry:
    return affinity.rotate(shape, fit.angle, origin=(0.0, 0.0))


def _standing(plan: Plan, fit: Fit) -> list[_Standing]:
    """What of known height stands on the finished board when it goes into the case."""
    gone = {(lift.name, lift.face) for lift in plan.lift}
    every: list[tuple[str, FaceName, float | None, BaseGeometry]] = [
        (each.name, each.face or "top", each.height, keepout_area(each.spine, each.radius))
        for each in plan.board.keepouts
        if each.kind == "component"
    ]
    every += [(part.name, part.face, part.height, part.area) for part in plan.board.parts]
    return [
        _Standing(name, face, height, posed(area, fit))
        for name, face, height, area in every
        if height is not None and (name, face) not in gone and area.intersects(plan.finished.polygon)
    ]


def _numbers(
    binds: Sequence[tuple[XY, XY]], overlapping: bool, finished: BaseGeometry, letter: float, wall: float
) -> tuple[Label, ...]:
    """Numbers of the closest places, outside of the board; those side by side share one label."""
    groups: list[list[int]] = []
    for n, (board, _) in enumerate(binds):
        if groups and np.hypot(*np.subtract(binds[groups[-1][0]][0], board)) < 4.0 * letter:
            groups[-1].append(n)
        else:
            groups.append([n])
    middle = np.array(finished.centroid.coords[0])
    labels = []
    for group in groups:
        place = binds[group[0]]
        out = _outward(place, overlapping, middle)
        text = str(group[0] + 1) if len(group) == 1 else f"{group[0] + 1}–{group[-1] + 1}"
        apart = 0.0 if overlapping else float(np.hypot(*np.subtract(*place)))
        away = apart + wall + (1.0 + 0.3 * len(text)) * letter
        x, y = np.array(place[0]) + out * away
        labels.append(Label(text, float(x), -float(y)))
    return tuple(labels)


def _outward(place: tuple[XY, XY], overlapping: bool, middle: Floats) -> Floats:
    """The direction, of length 1, in which a place of the board looks at the case."""
    board, case = np.array(place[0]), np.array(place[1])
    way = board - case if overlapping else case - board
    if np.hypot(*way) < TOUCHING:
        way = board - middle
    return np.asarray(way / max(float(np.hypot(*way)), TOUCHING))


def _on(area: BaseGeometry, text: str) -> Label:
    middle = area.representative_point()
    return Label(text, middle.x, -middle.y)


def _path(geometry: BaseGeometry) -> str:
    """SVG path data of lines and rings, y down."""
    runs = (
        (path[:-1], "Z") if len(path) > 2 and path[0] == path[-1] else (path, "")
        for part in shapely.get_parts(geometry)
        for path in paths_of(part)
    )
    return "".join("M" + "L".join(f"{x:.3f} {-y:.3f}" for x, y in path) + end for path, end in runs)
