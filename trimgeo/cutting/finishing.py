"""From the corners that a search found to a choice: on the board's own corners, counted, and truly clear."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from shapely import MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.cutting.edges import new_edges
from trimgeo.cutting.kept import MARGIN, Kept
from trimgeo.model.board import Ring
from trimgeo.model.plan import Choice, Cut
from trimgeo.plane.hulls import Floats
from trimgeo.tables import EDGE_TOLERANCE

SAME_POINT: Final = 5e-8
"""Corners this near to each other (mm) are one; less than `MARGIN`, so that nothing is lost by it."""

ON_EDGE: Final = 1e-6
"""A corner this near to the board's edge (mm) lies on it."""

STANDS_OUT: Final = 1e-9
"""A corner that stands out by less (mm) is none."""

LEAST_AREA: Final = 0.01
"""mm²: an outline around less is no board."""

BEYOND: Final = 1e-9
"""mm by which a built outline may pass the board's edge or the walls: rounding."""


def choice(outline: Polygon, held: Kept, room: BaseGeometry | None, kerf: float = 0.0) -> Choice | None:
    """The outline as a choice, or None where it is not truly clear.

    It is clear where it is simple, lies on the board and in ``room`` (None: no case), holds every keep-out
    and keeps its new cuts clear of each by the allowance.  A cut shorter than ``kerf`` is noted.

    >>> from trimgeo.cutting.kept import kept
    >>> from trimgeo.model.board import Keepout
    >>> from trimgeo.model.job import Placing
    >>> part = Keepout("part", "other", shapely.box(1, 1, 2, 2), 0.0, (1,), None, 0.5, "")
    >>> held = kept([part], shapely.box(0, 0, 9, 4), 0.0, 0.0, Placing(print=0.0, taping=0.0, finish=0.0))
    >>> choice(shapely.box(0, 0, 2.5, 4), held, None).clearance
    0.5
    >>> choice(shapely.box(0, 0, 2.4, 4), held, None)
    """
    if outline.area < LEAST_AREA:
        return None
    outline = tidy(outline, held.edge)
    if not outline.is_valid or not lies_in(outline, held.edge):
        return None
    if room is not None and not lies_in(outline, room):
        return None
    cuts = new_edges(Ring(outline), Ring(held.edge))
    lines = MultiLineString([cut.line for cut in cuts])
    clearance = shapely.distance(held.bodies, lines) - held.radius
    if cuts and (clearance < held.allowance).any():
        return None
    if not shapely.covers(shapely.buffer(outline, ON_EDGE), held.bodies).all():
        return None
    return Choice(
        cuts=len(cuts),
        finished=outline,
        area=float(outline.area),
        cut_length=float(lines.length),
        inside_corners=inside_corners(outline, cuts, held.edge),
        clearance=float(clearance.min()) if cuts else None,
        notes=_short(cuts, kerf),
    )


def _short(cuts: tuple[Cut, ...], kerf: float) -> tuple[str, ...]:
    shortest = min((cut.line for cut in cuts), key=lambda line: line.length, default=None)
    if shortest is None or shortest.length >= kerf:
        return ()
    (x, y), *_ = shortest.coords
    return (
        f"its cut at ({x:.2f}, {y:.2f}) is {shortest.length:.2f} mm long, shorter than the kerf of "
        f"{kerf:.2f} mm is wide",
    )


def lies_in(outline: Polygon, room: BaseGeometry) -> bool:
    """Whether an outline lies in a room, but for rounding."""
    return bool(
        shapely.covers(room, outline)
        or shapely.covers(shapely.buffer(room, BEYOND, join_style="mitre"), outline)
    )


def inside_corners(outline: Polygon, cuts: tuple[Cut, ...], edge: Polygon) -> int:
    """How many reflex corners lie between two new cuts: at the board's own edge a cut runs out into air.

    >>> board, ell = shapely.box(0, 0, 9, 9), Polygon([(0, 0), (5, 0), (5, 2), (2, 2), (2, 5), (0, 5)])
    >>> inside_corners(ell, new_edges(Ring(ell), Ring(board)), board)
    1
    """
    corners = shapely.get_coordinates(outline)[:-1]
    before, after = corners - np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0) - corners
    reflex = corners[before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] < 0]
    starts, ends = {cut.start for cut in cuts}, {cut.end for cut in cuts}
    joints = [corner for corner in map(tuple, reflex.tolist()) if corner in starts and corner in ends]
    apart = shapely.distance(shapely.points(np.array(joints).reshape(-1, 2)), edge.exterior)
    return int(np.sum(apart > EDGE_TOLERANCE))


def tidy(outline: Polygon, edge: Polygon) -> Polygon:
    """Counter-clockwise, with the board's own corners exactly, none doubled and none collinear.

    Corners that all but lie on the board's edge are put on it.
    """
    corners = shapely.get_coordinates(shapely.orient_polygons(Polygon(outline.exterior)))[:-1]
    corners = _on_edge(corners, edge)
    corners = corners[np.hypot(*(corners - np.roll(corners, 1, axis=0)).T) > SAME_POINT]
    before, after = np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0)
    chord, arm = after - before, corners - before
    stands_out = np.abs(chord[:, 0] * arm[:, 1] - chord[:, 1] * arm[:, 0]) / np.hypot(*chord.T)
    return Polygon(corners[stands_out > STANDS_OUT])


def _on_edge(corners: Floats, edge: Polygon) -> Floats:
    """Corners near to the board's edge moved onto it, those near to its corners onto these."""
    own = shapely.get_coordinates(edge)[:-1]
    apart = np.hypot(*(corners[:, None] - own[None]).transpose(2, 0, 1))
    at_corner = apart.min(axis=1) < 2 * MARGIN
    points = shapely.points(corners)
    beside = ~at_corner & (shapely.distance(points, edge.exterior) < ON_EDGE)
    moved = corners.copy()
    moved[at_corner] = own[apart.argmin(axis=1)[at_corner]]
    if beside.any():
        feet = shapely.shortest_line(edge.exterior, points[beside])
        moved[beside] = shapely.get_coordinates(feet)[::2]
    return moved
