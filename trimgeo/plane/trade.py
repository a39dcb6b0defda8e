"""The smallest outline for each number of cuts, from the fewest on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.choice import MOST_LINES, distinct, fixed_lines, thinned
from trimgeo.plane.cutlines import (
    CutLines,
    drawn,
    headed,
    lengthened,
    stacked,
    tangents,
    tangents_at,
    turned_sides,
)
from trimgeo.plane.fewest import JUDGED, Fewest, fewest_in, free_sides
from trimgeo.plane.hulls import Indices, convex_hull, supports
from trimgeo.plane.joins import Border, border
from trimgeo.plane.kgon import smallest_outlines
from trimgeo.plane.polish import begun, polished
from trimgeo.plane.rounds import Steps, cheapest_rounds
from trimgeo.plane.tracks import cross, surroundings
from trimgeo.plane.ways import cuts_along, is_sound, outlined, steps_between

TURN_STEPS = np.radians([3.0, 4.0, 6.0])
"""Lines turn about each kept corner by the first of these that makes no more lines than one search takes."""

SPARE = 8
"""Outlines of each number of cuts that are made smaller: the first need not stay the best."""

LEAST_DEPTH = 1e-3
"""A cut around a convex kept area takes off a strip of the allowed one that is deeper than this, mm."""

BAND = 4
"""So many numbers of cuts are searched together."""

AGAIN = 1
"""Searches among the lines found, after the first one."""

WORTH = 1e-9
"""Share of the area that one more cut takes off at the least, to count."""


@dataclass(frozen=True, eq=False)
class Smallest:
    """An outline, its area in mm², and its number of cuts; ``short`` where one of them is too short."""

    cuts: int
    area: float
    outline: Polygon
    short: bool = False


def smallest_for_each(
    room: Annulus,
    most: int = 12,
    inside_corners: bool = True,
    shortest: float = 0.0,
    few: Fewest | None = None,
) -> Iterator[Smallest]:
    """Smallest outlines found with each number of cuts from the fewest to ``most``, fewest first.

    A number of cuts that makes the outline no smaller is left out.  With ``inside_corners`` False there
    are none but on the free border; then it may be that nothing is found.  An outline with a cut shorter than
    ``shortest`` mm comes only where no other one with so many cuts was found.  ``few`` is what `fewest_in`
    says of the room, where that is known already.

    >>> from trimgeo.plane.annulus import annulus
    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 9, 4), np.array([True] * 4))
    >>> [(each.cuts, round(each.area, 3)) for each in smallest_for_each(room, 4)]
    [(0, 36.0), (1, 8.0), (2, 4.0), (3, 2.0), (4, 1.0)]
    """
    few = few or fewest_in(room)
    given = Smallest(few.count, float(few.outline.area), few.outline, _has_short(room, few.outline, shortest))
    best = np.inf
    if few.count == 0:
        best = given.area
        yield given
    search = _Search(room, border(room), inside_corners, shortest)
    first = max(few.count, 1)
    last = max(most, first)
    found = _convex(search, _band(last)[-1]) if _is_convex(room) else {}
    refined, searched = search.fixed[:0], range(0)
    for cuts in range(first, last + 1):
        if cuts not in searched:
            searched = range(max(_band(cuts)[0], first), _band(cuts)[-1] + 1)
            if any(each not in found for each in searched):
                refined, others = _searched(search, searched, refined)
                _keep_smaller(found, others)
            if inside_corners and few.count in searched:
                _keep_smaller(found, {few.count: given})
        if cuts in found and found[cuts].area < best * (1 - WORTH):
            best = found[cuts].area
            yield found[cuts]


def _band(cuts: int) -> range:
    """Numbers of cuts that are searched together, whatever number is asked for: each finds the same again."""
    begin = (cuts - 1) // BAND * BAND
    return range(begin + 1, begin + BAND + 1)


@dataclass(frozen=True, eq=False)
class _Search:
    """What all searches of one annulus share."""

    room: Annulus
    edge: Border
    inside_corners: bool
    shortest: float

    @cached_property
    def fixed(self) -> CutLines:
        """Lines that do not turn."""
        return fixed_lines(self.room)

    @cached_property
    def lines(self) -> CutLines:
        """The lines of the first search: in a room with few corners they lie closer to each other."""
        few = [step for step in TURN_STEPS if tangents_at(self.room, step) + len(self.fixed) <= MOST_LINES]
        step = few[0] if few else TURN_STEPS[-1]
        return thinned(self.room, distinct(stacked([tangents(self.room, step), self.fixed])))

    @cached_property
    def steps(self) -> Steps:
        """The steps between them."""
        return self.joined(self.lines)

    def joined(self, lines: CutLines) -> Steps:
        """The steps between some lines."""
        return steps_between(lines, self.edge, len(self.room.kept), self.inside_corners)


def _searched(
    search: _Search, wanted: Sequence[int], known: CutLines
) -> tuple[CutLines, dict[int, Smallest]]:
    """Search among the first lines, then among those that came out of it and ``known`` ones.

    Back come all that came out, and the best of each number of cuts that is ``wanted``.
    """
    fixed, lines = thinned(search.room, search.fixed), search.lines
    found: dict[int, Smallest] = {}
    for number in range(1 + AGAIN):
        if not len(lines):
            break
        steps = search.steps if number == 0 else search.joined(lines)
        refined, others = _found(search, lines, steps, wanted)
        _keep_smaller(found, others)
        known = distinct(stacked([known, refined]))
        lines = distinct(stacked([known, fixed]))
    short = sorted(cuts for cuts, each in found.items() if each.short)
    if short:
        _keep_smaller(found, _long_enough(search, lines, short))
    return known, found


def _long_enough(search: _Search, lines: CutLines, wanted: Sequence[int]) -> dict[int, Smallest]:
    """Search among ``lines`` for outlines all of whose cuts are as long as asked for."""
    lines = lengthened(lines, search.shortest)
    return _tried(search, lines, search.joined(lines), wanted, search.shortest)[1]


def _found(
    search: _Search, lines: CutLines, steps: Steps, wanted: Sequence[int]
) -> tuple[CutLines, dict[int, Smallest]]:
    """Search among ``lines``, made smaller: all lines then, and the best of each number of cuts.

    Where the best ways of a number of cuts cross themselves, the search is repeated without the steps onto
    either of the two sides that cross.
    """
    kept, best, tangled = _tried(search, lines, steps, wanted)
    lost = [cuts for cuts in wanted if cuts not in best]
    for one in range(2 if tangled and lost else 0):
        barred = {pair[one] for pair in tangled}
        allowed = [
            k for k, pair in enumerate(zip(steps.source, steps.target, strict=True)) if pair not in barred
        ]
        more, others, _ = _tried(search, lines, steps[np.array(allowed)], lost)
        kept = stacked([kept, more])
        _keep_smaller(best, others)
    return kept, best


def _keep_smaller(best: dict[int, Smallest], others: dict[int, Smallest]) -> None:
    for cuts, each in others.items():
        if cuts not in best or (each.short, each.area) < (best[cuts].short, best[cuts].area):
            best[cuts] = each


Step = tuple[int, int]


def _tried(
    search: _Search, lines: CutLines, steps: Steps, wanted: Sequence[int], shortest: float = 0.0
) -> tuple[CutLines, dict[int, Smallest], list[tuple[Step, Step]]]:
    """One search: its lines, the best of each number of cuts, and pairs of steps that lead to a crossing."""
    room = search.room
    rounds = cheapest_rounds(_from_kept(room, lines, steps), lines.place, max(wanted), SPARE)
    numbers = [np.array(each.lines) for cuts in wanted for each in rounds[cuts - 1]]
    if not numbers:
        return lines[:0], {}, []
    ways = [lines[number] for number in numbers]
    outlines = polished(room, search.edge, search.fixed, ways, search.inside_corners, shortest)
    best: dict[int, Smallest] = {}
    tangled: list[tuple[Step, Step]] = []
    for number in np.argsort(outlines.area, kind="stable").tolist():
        way, turns = outlines.way(number)
        known = best.get(len(way))
        if (known is not None and not known.short) or not np.isfinite(outlines.area[number]):
            continue
        outline = outlined(way, turns, search.edge)
        if is_sound(room, outline):
            short = bool((shapely.length(cuts_along(way, turns, search.edge)) < search.shortest).any())
            if known is None or not short:
                best[len(way)] = Smallest(len(way), float(outline.area), room.pose.placed(outline), short)
        else:
            tangled += _crossing_steps(numbers[outlines.origin[number]], way, turns, search.edge)
    kept = outlines.lines
    heading = headed(room.kept, kept.place, kept.along)
    return replace(kept, heading=heading), best, tangled


def _from_kept(room: Annulus, lines: CutLines, steps: Steps) -> Steps:
    """The same steps with areas counted from the kept ring on, and not from the origin."""
    sweep = cross(room.kept, np.roll(room.kept, -1, axis=0))
    swept = np.concatenate([[0.0], np.cumsum(sweep)])
    start, end = swept[lines.place[steps.source]], swept[lines.place[steps.target]]
    return replace(steps, area=steps.area - (end - start) - swept[-1] * steps.turns)


def _crossing_steps(numbers: Indices, way: CutLines, turns: Indices, edge: Border) -> list[tuple[Step, Step]]:
    """The steps onto each two lines of a way whose cuts cross."""
    cuts = cuts_along(way, turns, edge)
    crossing = np.triu(shapely.crosses(cuts[:, None], cuts[None]), 1)
    onto = [(int(numbers[k - 1]), int(numbers[k])) for k in range(len(numbers))]
    return [(onto[i], onto[j]) for i, j in zip(*np.nonzero(crossing), strict=True)]


def _is_convex(room: Annulus) -> bool:
    return bool((turned_sides(room.kept)[1] >= 0).all())


def _convex(search: _Search, most: int) -> dict[int, Smallest]:
    """Smallest outlines around a convex kept area, where they are clear of walls: exact."""
    room = search.room
    hull = convex_hull(Polygon(room.kept))
    number = {(x, y): k for k, (x, y) in enumerate(room.kept.tolist())}
    corners = np.array([number[x, y] for x, y in hull.tolist()])
    best: dict[int, Smallest] = {}
    for each in smallest_outlines(surroundings(hull, room.allowed), most, LEAST_DEPTH):
        touching = supports(hull, each.angles)
        place, last = corners[touching.back % len(hull)], corners[touching.front % len(hull)]
        front = np.hypot(*(room.kept[last] - room.kept[place]).T)
        way = drawn(room, touching.along, front, headed(room.kept, place, touching.along), place, last)
        outlines = begun(search.edge, [way], search.inside_corners)
        if np.isfinite(outlines.area[0]):
            outline = outlined(*outlines.way(0), search.edge)
            if is_sound(room, outline):
                placed = room.pose.placed(outline)
                short = _has_short(room, placed, search.shortest)
                best[len(way)] = Smallest(len(way), float(outline.area), placed, short)
    return best


def _has_short(room: Annulus, outline: Polygon, shortest: float) -> bool:
    """Whether an outline, as placed, has a cut shorter than that."""
    if shortest <= 0:
        return False
    corners = room.pose.taken(shapely.get_coordinates(outline)[:-1])
    length = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    return bool((length[free_sides(corners, room.allowed, room.free, JUDGED) < 0] < shortest).any())
