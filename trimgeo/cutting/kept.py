"""What an outline must hold: keep-outs grown by all that could bring a cut nearer than required."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Keepout
from trimgeo.model.job import Placing
from trimgeo.plane.hulls import Floats
from trimgeo.plane.moving import moved
from trimgeo.plane.pose import pose_of
from trimgeo.tables import COVERAGE_FACTOR

ARC_SEGMENTS: Final = 24
"""Sides a quarter circle of a kept area: they stand outside the arc, by 0.12 % of its radius at most."""

COARSEST_SIDE: Final = 1.5
"""An arc is given a whole number of sides, to the nearest one: its sides may be this much coarser."""

BODY_SEGMENTS: Final = 128
"""The same for the part of a keep-out that lies on the board, where clearance is measured: 0.005 %."""

NEEDLESS: Final = 1e-9
"""mm: a corner that stands out by less is none."""

MARGIN: Final = 1e-7
"""Added to every kept area (mm), so that no rounding makes a built outline anything but clear."""


@dataclass(frozen=True, eq=False)
class Kept:
    """All that an outline must hold.

    ``bodies`` are shapes on the board, less their ``radius``; a new cut that comes nearer to one than its
    ``allowance`` is not clear.  ``edge`` is the board's, counter-clockwise, without holes; all mm.
    ``axes`` are its principal ones: sides that stand for an arc lie alike however the job is turned.
    """

    keepouts: tuple[Keepout, ...]
    bodies: NDArray[Any]
    radius: Floats
    allowance: Floats
    edge: Polygon
    axes: Floats

    def grown(self, margin: float) -> NDArray[Any]:
        """Each keep-out grown by its allowance and ``margin``, as far as it lies on the board."""
        shapes = grown(self.bodies, self.radius + self.allowance + margin, ARC_SEGMENTS, self.axes)
        out = ~shapely.covers(self.edge, shapes)
        shapes[out] = shapely.intersection(shapes[out], self.edge)
        return shapes


def kept(keepouts: Sequence[Keepout], edge: Polygon, wander: float, sanding: float, placing: Placing) -> Kept:
    """All keep-outs that may not be cut and lie on the board.

    Raises `trimgeo.NoOutlineError` where there is none.

    >>> part = Keepout("part", "other", shapely.box(1, 1, 2, 2), 0.0, (1,), None, 0.5, "")
    >>> exactly = Placing(print=0.0, taping=0.0, finish=0.0)
    >>> kept([part], shapely.box(0, 0, 9, 4), 0.3, 0.1, exactly).allowance.tolist()
    [0.7]
    """
    edge = shapely.orient_polygons(Polygon(edge.exterior))
    shapely.prepare(edge)
    axes = pose_of([edge]).axes
    must = [keepout for keepout in keepouts if not keepout.may_cut]
    bodies = np.array([keepout.spine for keepout in must], dtype=object)
    radius = np.array([keepout.radius for keepout in must], dtype=np.float64)
    over = np.array([not keepout.on_board for keepout in must], dtype=bool)
    bodies[over] = shapely.intersection(grown(bodies[over], radius[over], BODY_SEGMENTS, axes), edge)
    radius[over] = 0.0
    there = ~shapely.is_empty(bodies)
    if not there.any():
        raise NoOutlineError(
            "no outline can be built: no keep-out that must stay lies on the board; "
            "add a [[keepout]] without may_cut, or give the points of [outline]"
        )
    must = [keepout for keepout, here in zip(must, there, strict=True) if here]
    allowance = _allowances(must, wander, sanding, placing)
    return Kept(tuple(must), bodies[there], radius[there], allowance, edge, axes)


def grown(spines: NDArray[Any], distance: Floats | float, segments: int, axes: Floats) -> NDArray[Any]:
    """Shapes grown by ``distance``; sides that stand for an arc are outside it: radius / cos(half angle).

    Arcs begin on ``axes``, unit vectors as rows; corners that stand out by less than `NEEDLESS` leave
    no trace.
    """
    around = distance / np.cos(COARSEST_SIDE * np.pi / (4 * segments))
    turned = shapely.transform(spines, lambda xy: xy @ axes.T)
    turned = shapely.normalize(turned)  # begun at a corner for sure
    shapes = np.asarray(shapely.buffer(shapely.simplify(turned, NEEDLESS), around, quad_segs=segments))
    return moved(shapes, lambda xy: xy @ axes)


def _allowances(keepouts: Sequence[Keepout], wander: float, sanding: float, placing: Placing) -> Floats:
    """Least nominal clearance of each keep-out that is still clear (JCGM 100, ISO 14253-1)."""
    required = np.array([keepout.required for keepout in keepouts])
    own = np.array([keepout.uncertainty for keepout in keepouts])
    placed = COVERAGE_FACTOR * np.sqrt(placing.print**2 + placing.taping**2 + placing.finish**2 + own**2)
    return np.asarray(required + max(0.0, wander - sanding) + placed)
