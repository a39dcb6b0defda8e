"""Relief cuts: where long waste is parted first, so that no long piece hangs on at the end of a cut."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.model.plan import Cut
from trimgeo.plane.rings import Floats, right_of, unit

LONGEST_WASTE: Final = 50.0
"""Waste that hangs on along more than this, mm, tears when the last of it is cut (common practice)."""

LEAST_RELIEF: Final = 4.0
"""Waste narrower than this, mm, bends instead of tearing: it needs no relief cut (common practice)."""

IN_HAND: Final = 25.0
"""Waste from this width, mm, is held by hand or clamped until it falls off (common practice)."""

MOST_ASIDE: Final = 15.0
"""How far, mm, a relief cut is moved along its cut to pass a part: further, the waste hangs on unevenly."""

SLANTS: Final = (0.0, 15.0, -15.0, 30.0, -30.0, 45.0, -45.0)
"""Degrees off the square, in the order of trial: a slanted cut is as good, only longer."""

_HAIR: Final = 1e-6
"""mm beside a cut: on the waste for sure."""


@dataclass(frozen=True, eq=False)
class Obstacle:
    """What stands on the board while the waste is parted: whether it ``may_go``, and its ``area``."""

    name: str
    area: BaseGeometry
    may_go: bool


@dataclass(frozen=True)
class Relief:
    """A relief cut, from the board's edge inward, and the numbers of the obstacles that it runs through."""

    line: LineString
    through: tuple[int, ...]


def relief_cuts(
    cuts: Sequence[Cut],
    finished: Polygon,
    board: Polygon,
    beyond: float,
    standing: Sequence[Obstacle] = (),
) -> tuple[tuple[Relief, ...], tuple[str, ...]]:
    """Straight cuts in the waste, made before all others, that leave no long piece to tear off.

    Along every straight cut beside which waste hangs on over more than `LONGEST_WASTE`, at equal steps:
    from the board's edge to ``beyond`` mm before the finished edge (the kerf and the wander), as far as only
    waste is there and it is wider than `LEAST_RELIEF`.  Waste that falls off in this one cut and is wide
    enough to hold (`IN_HAND`) needs none.  Each is moved aside, by at most `MOST_ASIDE`, and then slanted, to
    pass what is ``standing``; where nothing passes, it runs through the fewest, and only through what may
    go.  Where even that does not help there is none, and a sentence says so.

    >>> cut = Cut(1, LineString([(120, 20), (0, 20)]))
    >>> part, board = shapely.box(0, 0, 120, 20), shapely.box(0, 0, 120, 44)
    >>> coil = Obstacle("coil", shapely.box(35, 30, 41, 40), may_go=True)
    >>> [each.line.coords[:] for each in relief_cuts([cut], part, board, 2.0, [coil])[0]]
    [[(80.0, 44.0), (80.0, 22.0)], [(44.0, 44.0), (44.0, 22.0)]]
    """
    waste = shapely.difference(board, finished)
    around = [shapely.buffer(each.area, beyond) for each in standing]
    found, said = [], []
    for cut in cuts:
        if cut.circle is not None:
            continue
        pieces = int(np.ceil(cut.length / LONGEST_WASTE))
        places = [float(share * cut.length) for share in np.arange(1, pieces) / pieces]
        if _in_hand(cut, cuts, places, waste):
            continue
        for place in places:
            lines = _lines(cut, place, waste, finished, board, beyond)
            tried = _trials(lines, standing, around)
            if not tried:
                continue
            best = min(tried, key=lambda each: len(each.through))  # the first of the best
            if all(standing[n].may_go for n in best.through):
                found.append(best)
            else:
                said.append(_barred(cut, [standing[n].name for n in best.through]))
    return tuple(found), tuple(said)


def _in_hand(cut: Cut, cuts: Sequence[Cut], places: Sequence[float], waste: BaseGeometry) -> bool:
    """Whether the waste beside a cut falls off in this cut alone and is wide enough to hold all along."""
    out = right_of(unit(np.asarray(cut.end) - np.asarray(cut.start)))
    for place in places:
        foot = np.asarray(cut.line.interpolate(place).coords[0])
        pieces = [one for one in shapely.get_parts(waste) if one.distance(Point(foot + _HAIR * out)) < _HAIR]
        for piece in pieces:
            others = [each for each in cuts if each is not cut and _borders(piece, each)]
            beside = _beside(foot, out, piece, IN_HAND + 1.0)
            if others or beside is None or beside.length < IN_HAND:
                return False
    return True


def _borders(piece: BaseGeometry, cut: Cut) -> bool:
    return float(piece.distance(cut.line.interpolate(0.5, normalized=True))) < 1e-3


def _trials(
    lines: Iterable[LineString], standing: Sequence[Obstacle], around: Sequence[BaseGeometry]
) -> list[Relief]:
    """The relief cuts to choose from, the first best: a free one alone, else those through what may go."""
    tried: list[Relief] = []
    for line in lines:
        met = tuple(n for n, area in enumerate(around) if shapely.intersects(line, area))
        tried.append(Relief(line, met))
        if not met:
            return [tried[-1]]
    return [each for each in tried if all(standing[n].may_go for n in each.through)] or tried


def _lines(
    cut: Cut, place: float, waste: BaseGeometry, finished: Polygon, board: Polygon, beyond: float
) -> Iterator[LineString]:
    """Lines that part the waste near a ``place``, mm from the start of a cut: square ones, then slanted."""
    steps = sorted(np.arange(-MOST_ASIDE, MOST_ASIDE + 1.0), key=lambda each: (abs(each), -each))
    for slant in SLANTS:
        for aside in steps:
            if 0.0 < place + aside < cut.length:
                line = _line(cut, place + aside, slant, waste, board, beyond)
                if line is not None and (slant == 0.0 or finished.distance(line) > beyond - _HAIR):
                    yield line


def _line(
    cut: Cut, place: float, slant: float, waste: BaseGeometry, board: Polygon, beyond: float
) -> LineString | None:
    """From the board's edge towards a place of a cut; None where no such cut helps."""
    start, end = np.asarray(cut.start), np.asarray(cut.end)
    along = unit(end - start)
    turn = np.radians(slant)
    out = np.cos(turn) * right_of(along) + np.sin(turn) * along
    foot = start + place * along
    x0, y0, x1, y1 = board.bounds
    beside = _beside(foot, out, waste, float(np.hypot(x1 - x0, y1 - y0)))
    short = beyond / float(np.cos(turn))
    if beside is None or beside.length < short + LEAST_RELIEF:
        return None
    outer = foot + (beside.length + _HAIR) * out
    return LineString([outer, foot + short * out]) if _on(board, outer) else None


def _beside(foot: Floats, out: Floats, waste: BaseGeometry, far: float) -> LineString | None:
    """The stretch of waste from beside a foot outward, at most ``far`` mm; None where there is none."""
    run = shapely.intersection(LineString([foot + _HAIR * out, foot + far * out]), waste)
    near = [part for part in shapely.get_parts(run) if part.distance(Point(foot)) < 1e-3]
    return near[0] if near else None


def _barred(cut: Cut, names: Sequence[str]) -> str:
    return (
        f"Beside cut {cut.n} the waste is long, and no relief cut passes {', '.join(names)}, which must "
        "survive: hold the waste along its whole length until it is off."
    )


def _on(board: Polygon, point: Floats) -> bool:
    """Whether a point lies on the board's edge: a line that ends on the kept board again reaches no edge."""
    return float(shapely.distance(board.exterior, Point(point))) < 1e-3
