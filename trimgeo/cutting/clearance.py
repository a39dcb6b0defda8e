"""How near keep-outs come to the new edges, and what that means once the uncertainty is taken off.

Of a keep-out only what lies on the board counts; one with nothing on the board has no clearance and
is clear.  Lengths are millimetres.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from trimgeo.model.board import Keepout
from trimgeo.model.job import Placing
from trimgeo.model.plan import Row, State
from trimgeo.model.planemap import PlaneMap
from trimgeo.plane.depth import deepest, waste_of
from trimgeo.plane.distances import Floats, nearest, nearest_on_board, pieces
from trimgeo.tables import COVERAGE_FACTOR

ROUNDING: Final = 1e-9
"""Less than this is rounding: a line built exactly at a limit keeps it, what touches is not outside."""

_COPPER: Final = frozenset({"trace", "via", "copper", "pad"})


def nominal_clearances(
    spines: NDArray[Any],
    radii: Floats,
    on_board: NDArray[np.bool_],
    finished: Polygon,
    new_edges: Sequence[LineString],
    edge: Polygon,
) -> tuple[Floats, Floats]:
    """Clearance of each spine grown by its radius, shape (n,), and the place of it, shape (n, 2).

    The distance to the nearest new edge; where any of it lies outside ``finished``, minus the greatest
    distance from the outline over all its outside part.  NaN where there is no new edge, or
    nothing on the board.  The place is the point nearest the new edges, or furthest outside.

    A shape on the board that does not touch a new edge is inside or outside as a whole, since an
    existing edge cannot be crossed on the board: one point tells, and only the rest is looked at in full.

    >>> board, kept = shapely.box(0, 0, 10, 5), shapely.box(0, 0, 6, 5)
    >>> discs = shapely.points([[3, 2], [6, 2]])
    >>> distance, place = nominal_clearances(discs, np.array([1.0, 1.0]), np.array([True, True]),
    ...                                      kept, [LineString([(6, 0), (6, 5)])], board)
    >>> distance.round(9).tolist(), place.round(9).tolist()
    ([2.0, -1.0], [[4.0, 2.0], [7.0, 2.0]])
    """
    lines = pieces(new_edges)
    if len(lines.owner) == 0 or len(spines) == 0:
        return np.full(len(spines), np.nan), np.full((len(spines), 2), np.nan)
    found = nearest(pieces(spines), len(spines), lines)
    distance = np.maximum(found.distance - radii, 0.0)
    share = radii / np.where(found.distance > radii, found.distance, np.inf)
    toward = found.on_line - found.on_shape
    place = np.where(distance[:, None] > 0, found.on_shape + share[:, None] * toward, found.on_line)
    shapely.prepare(finished)
    inside = shapely.contains_xy(finished, found.on_shape[:, 0], found.on_shape[:, 1])
    whole = on_board & (shapely.get_num_geometries(spines) == 1)
    rest = np.flatnonzero(~(whole & inside & (distance > ROUNDING)))
    if len(rest) == 0:
        return distance, place
    reaches = on_board[rest] | _reaches(edge, spines[rest], radii[rest])
    distance[rest[~reaches]] = place[rest[~reaches]] = np.nan
    rest = rest[reaches]
    depth, deep_place = _depths(spines[rest], radii[rest], finished, waste_of(edge, finished, new_edges))
    outside = depth > ROUNDING
    distance[rest[outside]] = -depth[outside]
    place[rest[outside]] = deep_place[outside]
    over = rest[~outside & ~on_board[rest]]
    if len(over):
        clipped = nearest_on_board(spines[over], radii[over], edge, lines)
        distance[over], place[over] = clipped.distance, clipped.on_shape
    return distance, place


def _reaches(edge: Polygon, spines: NDArray[Any], radii: Floats) -> NDArray[np.bool_]:
    """Which shapes reach over the board edge by more than rounding; less is nothing on the board."""
    inner = shapely.buffer(edge, -ROUNDING, join_style="mitre")
    shapely.prepare(inner)
    return np.asarray(shapely.dwithin(inner, spines, radii))


def _depths(
    spines: NDArray[Any], radii: Floats, finished: Polygon, waste: shapely.MultiPolygon
) -> tuple[Floats, Floats]:
    """Depth outside, 0 where nothing is in the waste, and the deepest place."""
    depth, place = np.zeros(len(spines)), np.full((len(spines), 2), np.nan)
    shapely.prepare(waste)
    some = np.flatnonzero(shapely.dwithin(waste, spines, radii + ROUNDING))
    if len(some):
        depth[some], place[some] = deepest(spines[some], radii[some], finished, waste)
    return depth, place


@dataclass(frozen=True, eq=False)
class LineOnBoard:
    """A line that is on the board already, seen in a view: nothing is printed and taped for it.

    ``finding`` is the standard uncertainty of finding it in the picture, mm.
    """

    view: str
    to_board: PlaneMap
    finding: float
    scale_known: bool = True


def rows(
    keepouts: Sequence[Keepout],
    finished: Polygon,
    new_edges: Sequence[LineString],
    edge: Polygon,
    wander: float,
    sanding: float,
    placing: Placing,
    seen: LineOnBoard | None = None,
) -> tuple[Row, ...]:
    """The clearance of every keep-out, in their order.

    ``uncertainty`` is 2 sqrt(print² + taping² + finish² + u²) (JCGM 100:2008, 5.1.2 and 6.2) with u that of
    the keep-out's position; ``worst`` takes it off, and how far the cutter strays past the sanding margin.
    Clear: worst keeps the required clearance; tight: only nominal does; breached: neither
    (ISO 14253-1).  Less than `ROUNDING` decides nothing, so that an outline built exactly at the
    limit is clear.  What may be cut is always clear, with its clearance all the same; so is what has
    none, for want of a new edge or of a part on the board.

    >>> part = Keepout("U1", "component", shapely.box(1, 1, 4, 4), 0.0, (1,), None, 0.5, "room to sand")
    >>> row, = rows([part], shapely.box(0, 0, 6, 5), [LineString([(6, 0), (6, 5)])], shapely.box(0, 0, 10, 5),
    ...             wander=0.3, sanding=0.5, placing=Placing())
    >>> row.nominal, round(row.uncertainty, 3), round(row.worst, 3), row.at, row.state
    (2.0, 0.412, 1.588, (4.0, 1.0), 'clear')
    """
    spines = np.empty(len(keepouts), dtype=object)
    spines[:] = [keepout.spine for keepout in keepouts]
    radii = np.array([keepout.radius for keepout in keepouts], dtype=np.float64)
    on_board = np.array([keepout.on_board for keepout in keepouts], dtype=bool)
    nominal, place = nominal_clearances(spines, radii, on_board, finished, new_edges, edge)
    own = np.array([keepout.uncertainty for keepout in keepouts], dtype=np.float64)
    squares = own**2 + placing.finish**2
    if seen is None:
        squares += placing.print**2 + placing.taping**2
    else:
        squares += _line_squares(keepouts, own, place, new_edges, seen) + seen.finding**2
    uncertainty = COVERAGE_FACTOR * np.sqrt(np.maximum(squares, 0.0))
    worst = nominal - max(0.0, wander - sanding) - uncertainty
    places = map(tuple, place.tolist())
    known = [keepout.scale_known and (seen is None or seen.scale_known) for keepout in keepouts]
    return tuple(map(_row, keepouts, nominal.tolist(), uncertainty.tolist(), worst.tolist(), places, known))


def _line_squares(
    keepouts: Sequence[Keepout],
    own: Floats,
    place: Floats,
    new_edges: Sequence[LineString],
    seen: LineOnBoard,
) -> Floats:
    """What a drawn line adds to the squared uncertainty of each keep-out, shape (n,), mm².

    A line and a keep-out seen in one view share its scale and pose: the variance of their difference stands
    for both, JCGM 100:2008 5.2.2 with J(place) - J(foot on the line); else the line's own is added.
    """
    added = np.zeros(len(keepouts))
    some = np.flatnonzero(~np.isnan(place[:, 0]))
    if not len(some) or not new_edges:
        return added
    lines = shapely.MultiLineString(list(new_edges))
    feet = shapely.get_coordinates(shapely.shortest_line(lines, shapely.points(place[some])))[::2]
    at_line, at_place = (seen.to_board.to_pixels(points) for points in (feet, place[some]))
    added[some] = seen.to_board.standard_uncertainty(at_line) ** 2
    same = np.array([keepouts[n].view == seen.view for n in some.tolist()])
    if same.any():
        change = seen.to_board.jacobian(at_place[same]) - seen.to_board.jacobian(at_line[same])
        spread = np.linalg.eigvalsh(change @ seen.to_board.covariance @ change.transpose(0, 2, 1))[:, -1]
        added[some[same]] = np.maximum(spread, 0.0) - own[some[same]] ** 2
    return added


def _row(
    keepout: Keepout, nominal: float, uncertainty: float, worst: float, at: tuple[float, float], known: bool
) -> Row:
    name, kind, layers, net = keepout.name, keepout.kind, keepout.layers, keepout.net
    required, may_cut = keepout.required, keepout.may_cut
    if nominal != nominal:
        return Row(name, kind, layers, net, None, uncertainty, None, required, None, "clear", may_cut)
    state: State = "clear" if may_cut else _state(nominal, worst, required)
    if state == "clear" and not (known or may_cut):
        state = "tight"  # nobody measured the card's bars: nothing is clear
    return Row(name, kind, layers, net, nominal, uncertainty, worst, required, at, state, may_cut)


def _state(nominal: float, worst: float, required: float) -> State:
    if nominal < required - ROUNDING:
        return "breached"
    return "clear" if worst >= required - ROUNDING else "tight"


def minima(rows: Iterable[Row], layers: int) -> tuple[Row | None, Row | None]:
    """The row of least nominal clearance, and the same over inner copper; ties by name.

    Inner copper is a trace, via, copper or pad on a layer other than 1 and ``layers``.  What may be cut
    is left out where it is cut or touched.  None where no row is left.

    >>> minima([], 4)
    (None, None)
    """
    counted = [(row.nominal, row.name, row) for row in rows if row.nominal is not None and not _is_cut(row)]
    inner = [entry for entry in counted if _is_inner(entry[2], layers)]
    least, least_inner = (min(some, key=lambda entry: entry[:2], default=None) for some in (counted, inner))
    return least and least[2], least_inner and least_inner[2]


def _is_cut(row: Row) -> bool:
    return row.may_cut and row.nominal is not None and row.nominal <= ROUNDING


def _is_inner(row: Row, layers: int) -> bool:
    return row.kind in _COPPER and any(layer not in (1, layers) for layer in row.layers)
