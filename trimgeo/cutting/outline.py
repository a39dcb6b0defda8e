"""Building the finished outline: the smallest one around all that must live, for each number of cuts.

The outline is the board within straight lines that each have all kept areas on one side: cuts make
outside corners only, and where it runs along the board's own edge, notches and all, nothing is cut.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.errors import NoOutlineError, quoted
from trimgeo.model.board import Keepout
from trimgeo.model.job import Placing
from trimgeo.model.plan import Choice
from trimgeo.plane.hulls import Floats, convex_hull, supports
from trimgeo.plane.kgon import smallest_outlines
from trimgeo.plane.tracks import CLEAR_OF_EDGE, Surroundings, surroundings
from trimgeo.tables import COVERAGE_FACTOR, EDGE_TOLERANCE

ARC_SEGMENTS = 24
"""Sides a quarter circle of a kept area: they stand outside the arc, by 0.12 % of its radius at most."""

COARSEST_SIDE = 1.5
"""An arc is given a whole number of sides, to the nearest one: its sides may be this much coarser."""

BODY_SEGMENTS = 128
"""The same for the part of a keep-out that lies on the board, where clearance is measured: 0.005 %."""

MARGIN = 1e-7
"""Added to every kept area (mm), so that no rounding makes a built outline anything but clear."""

SAME_POINT = 5e-8
"""Corners this near to each other (mm) are one; less than `MARGIN`, so that nothing is lost by it."""

WORTH_A_CUT = 1e-6
"""Share of the area that one more cut takes off at the least, to be listed as a choice at all."""

GAIN = 0.01
"""Share of the area that one more cut must take off, where the job names no gain."""

MOST_CUTS = 64
"""As many cuts as a job can ask for."""


@dataclass(frozen=True, eq=False)
class _Kept:
    """All that an outline must hold: shapes on the board, less their ``radius``, and what surrounds them."""

    keepouts: tuple[Keepout, ...]
    bodies: NDArray[Any]
    radius: Floats
    edge: Polygon
    hull: Floats
    around: Surroundings


def choices(
    keepouts: Sequence[Keepout],
    edge: Polygon,
    wander: float,
    sanding: float,
    placing: Placing,
    most: int = 12,
) -> Iterator[Choice]:
    """Smallest outlines with 0, 1, … at most ``most`` new cuts, fewest cuts first.

    Every outline holds each keep-out that may not be cut, grown by its required clearance, by what
    the cutter strays beyond the sanding margin and by its placing uncertainty: it is "clear".  A
    number of cuts that makes the outline no smaller is left out.  ``edge`` has no holes; all mm.
    Raises `trimgeo.NoOutlineError` where nothing is to be kept, or where the board edge comes
    between keep-outs.

    >>> part = Keepout("part", "other", shapely.box(1, 1, 2, 2), 0.0, (1,), None, 0.5, "")
    >>> exactly = Placing(print=0.0, taping=0.0, finish=0.0)
    >>> found = choices([part], shapely.box(0, 0, 9, 4), 0.3, 0.3, exactly, most=5)
    >>> [(each.cuts, round(each.area, 2)) for each in found]
    [(0, 36.0), (1, 10.0), (2, 6.25), (3, 5.0), (4, 4.0), (5, 3.96)]
    """
    return iter(_trade(_kept(keepouts, edge, wander, sanding, placing), most))


def smallest(
    keepouts: Sequence[Keepout],
    edge: Polygon,
    wander: float,
    sanding: float,
    placing: Placing,
    cuts: int | None,
    gain: float | None,
) -> Choice:
    """Smallest outline with at most ``cuts`` new cuts.

    ``cuts`` None adds cuts until one more gains less than ``gain`` mm² (None: 1 % of the area).
    Everything else as in `choices`.

    >>> part = Keepout("part", "other", shapely.box(1, 1, 2, 2), 0.0, (1,), None, 0.5, "")
    >>> exactly, board = Placing(print=0.0, taping=0.0, finish=0.0), shapely.box(0, 0, 9, 4)
    >>> found = smallest([part], board, 0.3, 0.3, exactly, cuts=None, gain=3.0)  # a third cut gains 1.25 mm²
    >>> found.cuts, round(found.area, 2)
    (2, 6.25)
    """
    kept = _kept(keepouts, edge, wander, sanding, placing, whole=cuts == 0)
    if cuts is not None:
        return _trade(kept, cuts)[-1]
    for most in (12, MOST_CUTS):
        trade = _trade(kept, most)
        for choice, more in pairwise(trade):
            enough = GAIN * choice.area if gain is None else gain
            if choice.area - more.area < enough * (more.cuts - choice.cuts):
                return choice
        if trade[-1].cuts < most:
            break
    return trade[-1]


def _kept(
    keepouts: Sequence[Keepout],
    edge: Polygon,
    wander: float,
    sanding: float,
    placing: Placing,
    whole: bool = False,
) -> _Kept:
    """What must be held; ``whole`` where the board stays uncut, so that nothing can come between."""
    edge = shapely.orient_polygons(Polygon(edge.exterior))
    shapely.prepare(edge)
    must = [keepout for keepout in keepouts if not keepout.may_cut]
    spines = np.array([keepout.spine for keepout in must], dtype=object)
    radius = np.array([keepout.radius for keepout in must], dtype=np.float64)
    over = np.array([not keepout.on_board for keepout in must], dtype=bool)
    spines[over] = shapely.intersection(_grown(spines[over], radius[over], BODY_SEGMENTS), edge)
    radius[over] = 0.0
    there = ~shapely.is_empty(spines)
    if not there.any():
        raise NoOutlineError(
            "no outline can be built: no keep-out that must stay lies on the board; "
            "add a [[keepout]] without may_cut, or give the points of [outline]"
        )
    must = [keepout for keepout, here in zip(must, there, strict=True) if here]
    spines, radius = spines[there], radius[there]
    grown = _grown(spines, radius + _allowances(must, wander, sanding, placing), ARC_SEGMENTS)
    out = ~shapely.covers(edge, grown)
    grown[out] = shapely.intersection(grown[out], edge)
    hull = convex_hull(shapely.multipoints(shapely.get_coordinates(grown)))
    if not whole:
        _refuse_split(must, spines, edge, hull)
    ring = shapely.get_coordinates(edge)[:-1]
    return _Kept(tuple(must), spines, radius, edge, hull, surroundings(hull, ring))


def _allowances(keepouts: Sequence[Keepout], wander: float, sanding: float, placing: Placing) -> Floats:
    """Least nominal clearance of each keep-out that is still clear (JCGM 100, ISO 14253-1)."""
    required = np.array([keepout.required for keepout in keepouts])
    own = np.array([keepout.uncertainty for keepout in keepouts])
    placed = COVERAGE_FACTOR * np.sqrt(placing.print**2 + placing.taping**2 + placing.finish**2 + own**2)
    return np.asarray(required + max(0.0, wander - sanding) + placed + MARGIN)


def _grown(spines: NDArray[Any], distance: Floats, segments: int) -> NDArray[Any]:
    """Shapes grown by ``distance``; sides that stand for an arc are outside it: radius / cos(half angle)."""
    around = distance / np.cos(COARSEST_SIDE * np.pi / (4 * segments))
    return np.asarray(shapely.buffer(spines, around, quad_segs=segments))


def _refuse_split(keepouts: Sequence[Keepout], bodies: NDArray[Any], edge: Polygon, hull: Floats) -> None:
    """Raise where cuts around all keep-outs might leave them in two pieces of the board."""
    pieces = shapely.get_parts(shapely.intersection(edge, shapely.buffer(Polygon(hull), MARGIN)))
    pieces = pieces[shapely.get_type_id(pieces) == 3]
    if len(pieces) < 2:
        return
    near = shapely.distance(bodies[:, None], pieces[None])
    home = near.argmin(axis=1)
    split = shapely.get_num_geometries(bodies) > 1
    for k in map(int, np.flatnonzero(split)):
        held = np.unique(shapely.distance(shapely.get_parts(bodies[k])[:, None], pieces[None]).argmin(axis=1))
        if len(held) > 1:
            raise _in_the_way(keepouts[k], keepouts[k], pieces[held[0]], pieces[held[1]], edge)
    other = np.flatnonzero(home != home[0])
    if len(other):
        k = int(other[0])
        raise _in_the_way(keepouts[0], keepouts[k], pieces[home[0]], pieces[home[k]], edge)


def _in_the_way(one: Keepout, other: Keepout, here: Polygon, there: Polygon, edge: Polygon) -> NoOutlineError:
    """Name the keep-outs and the side of the board edge between them."""
    middle = shapely.line_interpolate_point(shapely.shortest_line(here, there), 0.5, normalized=True)
    corners = shapely.get_coordinates(edge)
    sides = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    side = int(np.argmin(shapely.distance(sides, middle))) + 1
    pair = (
        f"{quoted(one.name)} and {quoted(other.name)}" if one is not other else f"parts of {quoted(one.name)}"
    )
    return NoOutlineError(
        f"no outline of straight outside cuts can be built: side {side} of the board edge, "
        f"near ({middle.x:.2f}, {middle.y:.2f}), comes between {pair}; "
        "give the points of [outline], or let one of them be cut"
    )


def _trade(kept: _Kept, most: int) -> list[Choice]:
    """Choices with 0 to ``most`` cuts, each smaller than the one before."""
    trade = [_choice(kept, kept.edge)]
    # one more than asked: a cut may turn out to lie on the board edge, and then it is none
    searched = smallest_outlines(kept.around, most + 1, EDGE_TOLERANCE) if most else []
    built = [_choice(kept, _outline(kept, each.angles)) for each in searched]
    for choice in sorted(built, key=lambda each: (each.cuts, each.area)):
        if 0 < choice.cuts <= most and choice.area < trade[-1].area * (1 - WORTH_A_CUT):
            if choice.cuts == trade[-1].cuts:
                continue
            trade.append(choice)
    return trade


def _outline(kept: _Kept, angles: Floats) -> Polygon:
    """The part of the board within support lines at ``angles``, less lines that follow the board edge."""
    while True:
        lines = supports(kept.hull, angles, CLEAR_OF_EDGE)
        outline = _tidy(_within(kept, lines.normal, lines.offset), kept.edge)
        start, end = _sides(outline)
        new = _is_new(outline, kept.edge)
        on_line = (
            np.maximum(
                np.abs(start @ lines.normal.T - lines.offset), np.abs(end @ lines.normal.T - lines.offset)
            )
            < 2 * SAME_POINT
        )
        useful = (on_line & new[:, None]).any(axis=0)
        if useful.all():
            return outline
        angles = angles[useful]


def _within(kept: _Kept, normal: Floats, offset: Floats) -> Polygon:
    """The piece of the board that holds what is kept, left of every line."""
    size = 4 * float(np.hypot(*np.ptp(np.vstack([kept.around.ring, kept.hull - kept.hull[0]]), axis=0)))
    middle = kept.hull.mean(axis=0)
    region = kept.edge
    for across, distance in zip(normal, offset, strict=True):
        along = np.array([-across[1], across[0]])
        foot = middle + across * (distance - across @ middle)
        far = foot - across * size
        half = Polygon([far - along * size, foot - along * size, foot + along * size, far + along * size])
        region = shapely.intersection(region, half)
    pieces = shapely.get_parts(region)
    pieces = pieces[shapely.get_type_id(pieces) == 3]
    body = shapely.get_parts(kept.bodies[0])[0]
    return Polygon(pieces[int(np.argmin(shapely.distance(pieces, shapely.point_on_surface(body))))])


def _tidy(outline: Polygon, edge: Polygon) -> Polygon:
    """Counter-clockwise, with the board's own corners exactly, none doubled and none collinear."""
    corners = shapely.get_coordinates(shapely.orient_polygons(outline))[:-1]
    own = shapely.get_coordinates(edge)[:-1]
    apart = np.hypot(*(corners[:, None] - own[None]).transpose(2, 0, 1))
    near = apart.argmin(axis=1)
    corners = np.where((apart.min(axis=1) < SAME_POINT)[:, None], own[near], corners)
    corners = corners[np.hypot(*(corners - np.roll(corners, 1, axis=0)).T) > SAME_POINT]
    before, after = np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0)
    chord, arm = after - before, corners - before
    stands_out = np.abs(chord[:, 0] * arm[:, 1] - chord[:, 1] * arm[:, 0]) / np.hypot(*chord.T)
    return Polygon(corners[stands_out > CLEAR_OF_EDGE / 10])


def _sides(outline: Polygon) -> tuple[Floats, Floats]:
    corners = shapely.get_coordinates(outline)
    return corners[:-1], corners[1:]


def _is_new(outline: Polygon, edge: Polygon) -> NDArray[np.bool_]:
    """Whether each side is a new cut: somewhere further from the board edge than the edge tolerance."""
    start, end = _sides(outline)
    band = shapely.buffer(edge.exterior, EDGE_TOLERANCE)
    return ~np.asarray(shapely.covers(band, shapely.linestrings(np.stack([start, end], axis=1))))


def _choice(kept: _Kept, outline: Polygon) -> Choice:
    """The outline with its counts and its least clearance to new edges."""
    start, end = _sides(outline)
    new = _is_new(outline, kept.edge)
    cuts = shapely.multilinestrings(shapely.linestrings(np.stack([start[new], end[new]], axis=1)))
    clearance = float(np.min(shapely.distance(kept.bodies, cuts) - kept.radius)) if new.any() else None
    return Choice(
        cuts=int(new.sum()),
        finished=outline,
        area=float(outline.area),
        cut_length=float(cuts.length),
        inside_corners=0,
        clearance=clearance,
    )
