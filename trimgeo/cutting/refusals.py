"""Why no outline can be built: which keep-out meets which wall, where, by how much, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.cutting.kept import Kept
from trimgeo.errors import NoOutlineError, quoted
from trimgeo.model.board import Case
from trimgeo.model.phrases import lacking
from trimgeo.model.plan import XY
from trimgeo.plane.fitting import most_room
from trimgeo.plane.hulls import Floats
from trimgeo.plane.toolarge import quick_ceiling

ROUNDING: Final = 1e-6
"""mm: a board that has so much less room than the gap still has it."""

_SPACING: Final = 0.1
"""mm between samples of a border, before the deepest one is looked at closer."""

_CLOSER: Final = 50


@dataclass(frozen=True)
class Depth:
    """How far something sticks out of a room: its point that lies furthest out, and the nearest wall, mm."""

    point: XY
    wall: XY
    mm: float


def depth(out: BaseGeometry, room: BaseGeometry) -> Depth:
    """The depth of ``out``, which lies outside ``room``.

    >>> depth(shapely.box(0, 0, 2, 1), shapely.box(0, 0, 1.5, 9))
    Depth(point=(2.0, 0.0), wall=(1.5, 0.0), mm=0.5)
    """
    at = shapely.get_coordinates(out)[:1]
    for spacing in (_SPACING, _SPACING / _CLOSER):
        border = shapely.boundary(out)
        if spacing < _SPACING:
            border = shapely.intersection(border, shapely.buffer(shapely.Point(at[0]), 2 * _SPACING))
        points = shapely.get_coordinates(shapely.segmentize(border, spacing))
        points = np.vstack([at, points])
        apart = shapely.distance(shapely.points(points), room)
        at = points[[int(np.argmax(apart > apart.max() - 1e-12))]]
    wall = shapely.get_coordinates(shapely.shortest_line(shapely.Point(at[0]), room))[-1]
    return Depth(_xy(at[0]), _xy(wall), float(np.hypot(*(wall - at[0]))))


def over_wall(held: Kept, case: Case, shapes: NDArray[Any], room: BaseGeometry) -> NoOutlineError:
    """A keep-out reaches over a wall of the case: the one that reaches furthest."""
    outside = shapely.difference(shapes, room)
    reached = {int(k): depth(outside[k], room) for k in np.flatnonzero(~shapely.is_empty(outside))}
    worst = max(reached, key=lambda k: reached[k].mm)
    found = reached[worst]
    return NoOutlineError(
        f"no outline can be built: {_grown_name(held, worst)} reaches {lacking(found.mm)} over "
        f"{wall_name(held, case, found.wall)} near {_at(found.point)}; "
        f"{_more_room(held, case, shapes)}, or let it be cut",
        (found.point, found.wall),
        found.mm,
        (held.keepouts[worst].name,),
    )


def between(
    held: Kept,
    case: Case | None,
    shapes: NDArray[Any],
    pieces: tuple[Polygon, Polygon],
    parts: tuple[Polygon, Polygon],
) -> NoOutlineError:
    """A wall comes between two pieces of what is kept, so that they lie in two parts of what is allowed."""
    ends = shapely.get_coordinates(shapely.shortest_line(*parts))
    apart = float(np.hypot(*(ends[1] - ends[0])))
    middle = ends.mean(axis=0)
    pair = _pair(held, shapes, pieces, middle)
    names = _both(pair)
    return NoOutlineError(
        f"no outline can be built: {wall_name(held, case, middle)}, near {_at(middle)}, comes between "
        f"{names}, where {apart:.2f} mm part what is allowed; let one of them be cut, or change that wall",
        (_xy(ends[0]), _xy(ends[1])),
        apart,
        pair,
    )


def post_within(held: Kept, case: Case | None, shapes: NDArray[Any], post: Polygon) -> NoOutlineError:
    """A post stands where what is kept leaves it no way out."""
    whole = shapely.union_all(shapes)
    nearest = int(np.argmin(shapely.distance(shapes, shapely.centroid(post))))
    filled = shapely.union_all([Polygon(each.exterior) for each in shapely.get_parts(whole)])
    corners = shapely.points(shapely.get_coordinates(post))
    deep = shapely.distance(corners, filled.boundary)
    inmost = shapely.get_coordinates(corners[int(deep.argmax())])[0]
    mm = float(deep.max())
    wall = shapely.get_coordinates(shapely.shortest_line(shapely.Point(inmost), filled.boundary))[1]
    more = f"; {_more_room(held, case, shapes)}, or let what is around it be cut" if case else ""
    return NoOutlineError(
        f"no outline can be built: {wall_name(held, case, inmost)} stands within what is kept, "
        f"{_grown_name(held, nearest)} next to it, {mm:.2f} mm deep near {_at(inmost)}{more}",
        (_xy(wall), _xy(inmost)),
        mm,
        (held.keepouts[nearest].name,),
    )


def too_narrow(
    held: Kept,
    case: Case | None,
    shapes: NDArray[Any],
    pieces: tuple[Polygon, Polygon],
    pinch: tuple[Floats, float, float],
) -> NoOutlineError:
    """Two pieces cannot be joined by a neck: ``pinch`` is where, the widest that passes, the asked one."""
    middle, widest, neck = pinch
    pair = _pair(held, shapes, pieces, middle)
    names = _both(pair)
    wall = wall_point(held, case, middle)
    return NoOutlineError(
        f"no outline can be built: between {names} what is allowed is at most {widest:.2f} mm wide, "
        f"{neck - widest:.2f} mm less than a neck that holds, at {wall_name(held, case, wall)} near "
        f"{_at(middle)}; give a smaller `neck`, let one of them be cut, or give the points of [outline]",
        (_xy(middle), _xy(wall)),
        neck - widest,
        pair,
    )


def too_few(asked: int, fewest: int) -> NoOutlineError:
    """The job asks for fewer cuts than any outline was found with."""
    return NoOutlineError(
        f"no outline with at most {asked} new cuts was found that fits the case: the fewest found are "
        f"{fewest}; ask for {fewest} or more"
    )


def not_found(inside_corners: bool, most: int) -> NoOutlineError:
    """No outline that is truly clear was found."""
    if inside_corners:
        return NoOutlineError(
            f"no outline with at most {most} new cuts was found that is clear of all that must live; "
            "give the points of [outline]"
        )
    return NoOutlineError(
        f"no outline without inside corners was found with at most {most} new cuts; "
        "take out `allow_inside_corners`, or give the points of [outline]"
    )


def wall_name(held: Kept, case: Case | None, at: XY | Floats) -> str:
    """The wall that is nearest to a point on the border of what is allowed, in words.

    Sides are numbered from 1, side n from corner n to the next one.
    """
    return _walls(held, case, at)[0]


def wall_point(held: Kept, case: Case | None, at: XY | Floats) -> Floats:
    """The point of the nearest wall."""
    return _walls(held, case, at)[1]


def _walls(held: Kept, case: Case | None, at: XY | Floats) -> tuple[str, Floats]:
    point = shapely.Point(at)
    rings = [(held.edge, "side {} of the board edge", 0.0)]
    if case is not None:
        rings.append((case.cavity.polygon, "side {} of the case's cavity (less its gap)", case.gap))
        rings += [
            (post.polygon, f"post {n} of the case (and its gap)", case.gap)
            for n, post in enumerate(case.posts, 1)
        ]
    found = []
    for shape, words, gap in rings:
        corners = shapely.get_coordinates(shape.exterior)
        sides = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
        apart = shapely.distance(sides, point)
        n = int(apart.argmin())
        foot = shapely.get_coordinates(shapely.shortest_line(sides[n], point))[0]
        found.append((abs(float(apart[n]) - gap), words.format(n + 1), foot))
    _, words, foot = min(found, key=lambda each: each[0])
    return words, foot


def _more_room(held: Kept, case: Case, shapes: NDArray[Any]) -> str:
    """What would make room: a shift and turn of the board in its case, or more of a case."""
    whole = shapely.union_all(shapes)
    hull, most = shapely.convex_hull(whole), quick_ceiling(whole, case.room)
    if most < case.gap - ROUNDING:
        return (
            "no shift or turn of the board makes room, that is proved: make the case larger, by at least "
            f"{lacking(case.gap - most)} all round"
        )
    found = most_room(hull, case.room)
    if found.room >= case.gap - ROUNDING and shapely.covers(shapely.buffer(held.edge, ROUNDING), hull):
        x, y = found.shift
        angle = round(found.angle, 2) + 0.0  # no minus before a zero
        return (
            f"the board would have room turned by {angle:.2f}° about (0, 0) and moved by "
            f"({x:.2f}, {y:.2f}) mm: give the case in that place"
        )
    if found.bound < case.gap and shapely.equals(whole, hull):
        return "no shift or turn of the board makes room, that is proved: make the case larger"
    return "make the case larger there"


def _pair(
    held: Kept, shapes: NDArray[Any], pieces: tuple[Polygon, Polygon], middle: Floats
) -> tuple[str, str]:
    """The keep-outs of two pieces that are nearest to a place, by name, in the order of the job."""
    nearest = []
    for piece in pieces:
        own = np.flatnonzero(shapely.intersects(shapes, piece))
        nearest.append(int(own[shapely.distance(shapes[own], shapely.Point(middle)).argmin()]))
    one, other = (held.keepouts[k].name for k in sorted(nearest))
    return one, other


def _both(pair: tuple[str, str]) -> str:
    one, other = pair
    return f"parts of {quoted(one)}" if one == other else f"{quoted(one)} and {quoted(other)}"


def _grown_name(held: Kept, k: int) -> str:
    """A keep-out, and what it is grown by."""
    return f"{quoted(held.keepouts[k].name)} (with {held.allowance[k]:.2f} mm around it)"


def _at(point: XY | Floats) -> str:
    return f"({point[0]:.2f}, {point[1]:.2f})"


def _xy(point: Floats) -> XY:
    return float(point[0]), float(point[1])
