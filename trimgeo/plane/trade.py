"""The smallest outline for each number of cuts, from the fewest on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.cutlines import CutLines, bitangents, headed, stacked, tangents
from trimgeo.plane.fewest import JUDGED, fewest_in
from trimgeo.plane.hulls import Floats, Indices
from trimgeo.plane.joins import Border, border, goes_along, landings, meets
from trimgeo.plane.polish import polished
from trimgeo.plane.rounds import Steps, cheapest_rounds

TURN_STEP = np.radians(6.0)
"""Lines turn about each kept corner by this in the first search."""

NEAREST = 2000
"""Pairs of corners looked at for lines that touch both, of each kind."""

SPARE = 3
"""Outlines of each number of cuts that are made smaller: the best of the search by steps need not stay the best."""

MOST_LINES = 500
"""Lines of the first search: of more, those that are free for longest."""

WORTH = 1e-9
"""Share of the area that one more cut takes off at the least, to count."""

SAME = 1e-9
"""Lines through one corner whose directions differ by less (radians) are one."""


@dataclass(frozen=True, eq=False)
class Smallest:
    """An outline, its area in mm², and its number of cuts."""

    cuts: int
    area: float
    outline: Polygon


def smallest_for_each(room: Annulus, most: int = 12, inside_corners: bool = True) -> Iterator[Smallest]:
    """Smallest outlines found with each number of cuts from the fewest to ``most``, fewest first.

    A number of cuts that makes the outline no smaller is left out.  With ``inside_corners`` False there
    are none but on the free border; then it may be that nothing is found.

    >>> from trimgeo.plane.annulus import annulus
    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 9, 4), np.array([True] * 4))
    >>> [(each.cuts, round(each.area, 3)) for each in smallest_for_each(room, 4)]
    [(0, 36.0), (1, 10.0), (2, 6.25), (3, 5.0), (4, 4.0)]
    """
    few = fewest_in(room)
    given = Smallest(few.count, float(few.outline.area), few.outline)
    if few.count == 0:
        yield given
    search = _Search(room, border(room), fixed_lines(room), inside_corners)
    lines = _thinned(room, _distinct(stacked([tangents(room, TURN_STEP), search.fixed])))
    quick = few.count if few.count else 1
    _, found = _found(search, lines, quick)
    if few.count and inside_corners and (quick not in found or given.area < found[quick].area):
        found[quick] = given
    best = given.area if few.count == 0 else np.inf
    if quick in found:
        best = found[quick].area
        yield found[quick]
    if most <= quick:
        return
    refined, found = _found(search, lines, most)
    if len(refined):
        again = _distinct(stacked([refined, _thinned(room, search.fixed)]))
        for cuts, each in _found(search, again, most)[1].items():
            if cuts not in found or each.area < found[cuts].area:
                found[cuts] = each
    for cuts in range(quick + 1, most + 1):
        if cuts in found and found[cuts].area < best * (1 - WORTH):
            best = found[cuts].area
            yield found[cuts]


@dataclass(frozen=True, eq=False)
class _Search:
    """What all searches of one annulus share."""

    room: Annulus
    edge: Border
    fixed: CutLines
    inside_corners: bool


def fixed_lines(room: Annulus) -> CutLines:
    """Lines that touch two corners: flush with sides of the kept ring, and bitangents."""
    flush = tangents(room, np.inf)
    return stacked([flush[flush.front > 0], bitangents(room, NEAREST)])


def _found(search: _Search, lines: CutLines, most: int) -> tuple[CutLines, dict[int, Smallest]]:
    """Search among ``lines`` and make what is found smaller: all lines then, and the best of each number of cuts.

    Where the best ways of a number of cuts cross themselves, the search is repeated without the steps onto either
    of the two sides that cross.
    """
    steps = steps_between(lines, search.edge, len(search.room.kept), search.inside_corners)
    kept, best, tangled = _tried(search, lines, steps, range(1, most + 1))
    wanted = [cuts for cuts in range(1, most + 1) if cuts not in best]
    for one in range(2 if tangled and wanted else 0):
        barred = {pair[one] for pair in tangled}
        allowed = [k for k, pair in enumerate(zip(steps.source, steps.target, strict=True)) if pair not in barred]
        more, others, _ = _tried(search, lines, steps[np.array(allowed)], wanted)
        kept = stacked([kept, more])
        for cuts, each in others.items():
            if cuts not in best or each.area < best[cuts].area:
                best[cuts] = each
    return kept, best


Step = tuple[int, int]


def _tried(
    search: _Search, lines: CutLines, steps: Steps, wanted: Sequence[int]
) -> tuple[CutLines, dict[int, Smallest], list[tuple[Step, Step]]]:
    """One search: lines made finer, the best of each number of cuts, and pairs of steps that lead to a crossing."""
    rounds = cheapest_rounds(steps, lines.place, max(wanted), SPARE)
    numbers = [np.array(each.lines) for cuts in wanted for each in rounds[cuts - 1]]
    if not numbers:
        return lines[:0], {}, []
    ways = [lines[number] for number in numbers]
    outlines = polished(search.room, search.edge, search.fixed, ways, search.inside_corners)
    best: dict[int, Smallest] = {}
    tangled: list[tuple[Step, Step]] = []
    for number in np.argsort(outlines.area, kind="stable").tolist():
        way, turns = outlines.way(number)
        if len(way) in best or not np.isfinite(outlines.area[number]):
            continue
        outline = outlined(way, turns, search.edge)
        if is_sound(search.room, outline):
            best[len(way)] = Smallest(len(way), float(outline.area), outline)
        else:
            tangled += _crossing_steps(numbers[number], way, turns, search.edge)
    kept = outlines.lines
    heading = headed(search.room.kept, kept.place, kept.along)
    return replace(kept, heading=heading), best, tangled


def _crossing_steps(
    numbers: Indices, way: CutLines, turns: Indices, edge: Border
) -> list[tuple[Step, Step]]:
    """The steps onto each two lines of a way whose cuts cross."""
    cuts = cuts_along(way, turns, edge)
    crossing = np.triu(shapely.crosses(cuts[:, None], cuts[None]), 1)
    onto = [(int(numbers[k - 1]), int(numbers[k])) for k in range(len(numbers))]
    return [(onto[i], onto[j]) for i, j in zip(*np.nonzero(crossing), strict=True)]


def _thinned(room: Annulus, lines: CutLines) -> CutLines:
    """At most `MOST_LINES`: across each side of the triangles those that are free for longest."""
    if len(lines) <= MOST_LINES:
        return lines
    lines = lines[np.argsort(lines.start - lines.end, kind="stable")]
    corners = np.array(room.triangles)
    ends = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2).reshape(-1, 2)
    ends = ends[(np.array(room.neighbours).ravel() >= 0) & (ends[:, 0] < ends[:, 1])]
    points = np.array(room.points)
    x, y = lines.along[:, :1], lines.along[:, 1:]
    ox, oy = points[:, 0] - lines.anchor[:, :1], points[:, 1] - lines.anchor[:, 1:]
    beside, ahead = x * oy - y * ox, x * ox + y * oy
    one, other = beside[:, ends[:, 0]], beside[:, ends[:, 1]]
    with np.errstate(divide="ignore", invalid="ignore"):
        at = (ahead[:, ends[:, 0]] * other - ahead[:, ends[:, 1]] * one) / (other - one)
    across = ((one > 0) != (other > 0)) & (at >= lines.start[:, None]) & (at <= lines.end[:, None])
    rank = np.where(across, np.cumsum(across, axis=0), len(lines)).min(axis=1)
    return lines[np.sort(np.argsort(rank, kind="stable")[:MOST_LINES])]


def _distinct(lines: CutLines) -> CutLines:
    """Each line once."""
    lines = lines[np.lexsort((lines.heading, lines.place))]
    same = (np.diff(lines.place) == 0) & (np.diff(lines.heading) < SAME)
    return lines[np.flatnonzero(np.append(True, ~same))]


def steps_between(lines: CutLines, edge: Border, corners: int, inside_corners: bool) -> Steps:
    """All joins between lines that may follow each other.

    An outline touches the ``corners`` of what is kept in their order, so the full turns by which the heading is counted
    on are those by which the corners' numbers are.
    """
    every = np.arange(len(lines))
    i, j = every[:, None], every[None]
    gap = np.mod(lines.place[j] - lines.last[i], corners)
    turned = (lines.place[i] + np.mod(lines.last[i] - lines.place[i], corners) + gap - lines.place[j]) // corners
    straight = meets(lines, i, lines, j)
    ends, starts = landings(edge, lines, lines.end_side), landings(edge, lines, lines.start_side)
    parts = [straight]
    if (ends.stretch >= 0).any():
        parts.append(goes_along(lines, ends, i, lines, starts, j))
    found = []
    for join in parts:
        usable = np.isfinite(join.area)
        usable &= (join.turns == turned) | ((gap == 0) & (join.turns == turned + 1))
        if not inside_corners:
            usable &= ~join.inside
        source, target = np.nonzero(usable)
        found.append((source, target, join.area[usable], join.turns[usable]))
    return Steps(*(np.concatenate(column) for column in zip(*found, strict=True)))


def outlined(lines: CutLines, turns: Indices, edge: Border) -> Polygon:
    """The outline along lines that follow each other once around, as it comes."""
    return Polygon(np.concatenate([np.array(corner) for corner in _corners(lines, turns, edge)]))


def cuts_along(lines: CutLines, turns: Indices, edge: Border) -> NDArray[Any]:
    """The cut on each of the lines that follow each other once around."""
    corners = _corners(lines, turns, edge)
    ends = [(corners[k - 1][-1], corners[k][0]) for k in range(len(corners))]
    return np.asarray(shapely.linestrings(np.array(ends)))


def _corners(lines: CutLines, turns: Indices, edge: Border) -> list[list[Floats]]:
    """For each line where it meets the next one: a corner, or those of the border between."""
    here = np.arange(len(lines))
    there = np.roll(here, -1)
    ends, starts = landings(edge, lines, lines.end_side), landings(edge, lines, lines.start_side)
    straight = meets(lines, here, lines, there)
    along = goes_along(lines, ends, here, lines, starts, there)
    by_border = np.where(along.turns == turns, along.area, np.inf) < np.where(
        straight.turns == turns, straight.area, np.inf
    )
    corners: list[list[Floats]] = []
    for k, n in zip(here.tolist(), there.tolist(), strict=True):
        if by_border[k]:
            first, last = int(lines.end_side[k]), int(lines.start_side[n])
            sides = int(edge.place[last] - edge.place[first])
            passed = [edge.ring[(first + step + 1) % len(edge.ring)] for step in range(sides)]
            corners.append([ends.point[k], *passed, starts.point[n]])
        else:
            corners.append([crossing(lines, k, n)])
    return corners


def crossing(lines: CutLines, k: int, n: int) -> Floats:
    """Where two lines cross."""
    a, b = lines.along[k], lines.along[n]
    off = lines.anchor[n] - lines.anchor[k]
    at = (off[0] * b[1] - off[1] * b[0]) / (a[0] * b[1] - a[1] * b[0])
    return np.asarray(lines.anchor[k] + at * a)


def is_sound(room: Annulus, outline: Polygon) -> bool:
    """Whether an outline is simple, holds what is kept and lies in what is allowed."""
    if not outline.is_valid:
        return False
    kept, allowed = Polygon(room.kept), Polygon(room.allowed)
    return bool(
        shapely.covers(shapely.buffer(outline, JUDGED, join_style="mitre"), kept)
        and shapely.covers(shapely.buffer(allowed, JUDGED, join_style="mitre"), outline)
    )
