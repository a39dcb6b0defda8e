"""Where a cutter's axle goes: as far along each cut as it must, and no further."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon

from trimgeo.cutting.reach import reach, run_out
from trimgeo.model.job import Cutter
from trimgeo.model.plan import Cut
from trimgeo.plane.rings import Floats, right_of, turns, unit

SMOOTH = 0.5
"""Degrees: at less two chords of a curve meet, and the cutter goes on."""


@dataclass(frozen=True, eq=False)
class Pass:
    """A straight pass of the axle from ``start`` to ``end``, mm, the kept board on its left.

    ``along`` is its direction, also where the axle stands on one spot; ``cut`` the number of its cut.
    """

    start: Floats
    end: Floats
    along: Floats
    cut: int


def passes(
    tool_centre: Sequence[LineString], cuts: Sequence[Cut], edge: Polygon, cutter: Cutter, thickness: float
) -> tuple[Pass, ...]:
    """The least that the axle must travel for every side of the tool's centre lines.

    Until the far face is parted as well: at the board's edge and at an outside corner the axle may stay a far
    face's half chord behind; before an inside corner a wheel stops as `trimgeo.cutting.corners` says.  A side
    too short for that is one plunge in its middle.  Raises as `trimgeo.cutting.reach.reach` does.

    >>> edge, cut = shapely.box(0, 0, 100, 60), Cut(1, LineString([(40, 0), (40, 60)]))
    >>> one, = passes([LineString([(41, -1), (41, 61)])], [cut], edge, Cutter(kind="bit", kerf=2.0), 1.6)
    >>> one.start.tolist(), one.end.tolist()  # the bit's far rim is at the board's edge
    ([41.0, 1.0], [41.0, 59.0])
    """
    border = shapely.MultiLineString([cut.line for cut in cuts])
    found = []
    for line in tool_centre:
        points = shapely.get_coordinates(line)
        steps = np.diff(points, axis=0)
        along, length = unit(steps), np.hypot(*steps.T)
        before, after = _taken(points, along, edge, cutter, thickness)
        low, high = before, length - after
        middle = np.clip((low + high) / 2, 0.0, length)
        low, high = np.where(low > high, middle, low), np.where(low > high, middle, high)
        sides = shapely.points((points[:-1] + points[1:]) / 2)
        beside = [int(np.argmin(shapely.distance(shapely.get_parts(border), side))) for side in sides]
        for n, cut in enumerate(beside):
            ends = points[n] + low[n] * along[n], points[n] + high[n] * along[n]
            found.append(Pass(*ends, along[n], cuts[cut].n))
    return tuple(found)


def _taken(
    points: Floats, along: Floats, edge: Polygon, cutter: Cutter, thickness: float
) -> tuple[Floats, Floats]:
    """How far behind the start, and before the end, of every side the axle may stay."""
    near, far = reach(cutter, thickness)
    closed = bool(np.all(points[0] == points[-1]))
    bends = turns(along, np.roll(along, -1, axis=0))
    at_joint = np.array([_at_corner(bend, near, far, cutter.kerf) for bend in bends])
    before, after = np.roll(at_joint, 1), at_joint.copy()
    if not closed:
        out = run_out(cutter, thickness) + far
        inside = shapely.contains_xy(edge, points[[0, -1], 0], points[[0, -1], 1])
        before[0], after[-1] = (near if stopped else out for stopped in inside)
    return before, after


def _at_corner(bend: float, near: float, far: float, kerf: float) -> float:
    """How far before a corner of the centre line, which turns by ``bend`` degrees, the axle may stay."""
    if abs(bend) < SMOOTH:
        return 0.0
    wall = kerf / 2 * math.tan(math.radians(abs(bend)) / 2)
    if bend > 0:
        return far - wall
    return near + kerf * max(0.0, 1 / math.tan(math.radians(bend))) - wall


def outward(one: Pass) -> Floats:
    """The unit direction across a pass, away from the kept board.

    >>> outward(Pass(np.zeros(2), np.array([0.0, 5.0]), np.array([0.0, 1.0]), 1)).tolist()
    [1.0, -0.0]
    """
    return right_of(one.along)
