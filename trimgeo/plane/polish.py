"""Outlines made smaller by turning their cuts a little, all of them together, in ever smaller steps.

Each cut may stay, turn either way about the corner that it touches (rolling on to the next corner where it
lies flush), or take the next line on either side that touches two corners.  The best choice for all cuts of
an outline is a cheapest cycle through their variants; all outlines are worked on at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.cutlines import CutLines, drawn, lengthened, stacked, turned_sides
from trimgeo.plane.hulls import Floats, Indices
from trimgeo.plane.joins import Border, Joins, goes_along, landings, meets

VARIANTS = 7
"""A line, itself turned both ways by a step and by part of it, and the fixed ones on both sides."""

SHARES = (0.5, 0.2, 0.75, 0.35, 0.1)
"""Parts of a step, by turns: of two cuts that meet on a wall, one has to turn so many times as far."""

WIDEST = np.radians(4.0)
"""First step."""

LEAST = 1e-8
"""Least step, radians."""

ROUNDS = 150
"""Passes at most."""

TRIED = 10
LEADING = 2
"""After so many passes only so many outlines with each number of lines go on."""

GAIN = 1e-7
"""Share of the area that is worth another pass with the same step."""

ROLLS = 8
"""Corners over which a line may roll in one step."""


@dataclass(frozen=True, eq=False)
class Outlines:
    """Several closed ways: ``lines`` of all one after the other, the first of each and its count, shape (n,).

    ``area`` is twice that of each, ``origin`` its number among those begun with, ``turns`` the full turns
    that are counted on from each line to the next one.
    """

    lines: CutLines
    first: Indices
    count: Indices
    area: Floats
    turns: Indices
    origin: Indices

    @property
    def after(self) -> Indices:
        """The number of the line that follows each line."""
        after = np.arange(len(self.lines)) + 1
        after[self.first + self.count - 1] = self.first
        return after

    def some(self, numbers: Indices) -> Outlines:
        """Some of the outlines."""
        count = self.count[numbers]
        rows = np.concatenate(
            [np.zeros(0, dtype=np.intp), *(self.first[k] + np.arange(self.count[k]) for k in numbers)]
        )
        first = (np.cumsum(count) - count).astype(np.intp)
        return Outlines(
            self.lines[rows], first, count, self.area[numbers], self.turns[rows], self.origin[numbers]
        )

    def way(self, number: int) -> tuple[CutLines, Indices]:
        """The lines of one outline and their turns."""
        own = slice(int(self.first[number]), int(self.first[number] + self.count[number]))
        return self.lines[own], self.turns[own]


def together(parts: list[Outlines]) -> Outlines:
    """All outlines of several sets."""
    count = np.concatenate([part.count for part in parts])
    return Outlines(
        stacked([part.lines for part in parts]),
        (np.cumsum(count) - count).astype(np.intp),
        count,
        *(np.concatenate([getattr(part, name) for part in parts]) for name in ("area", "turns", "origin")),
    )


def polished(
    room: Annulus,
    edge: Border,
    fixed: CutLines,
    ways: list[CutLines],
    inside_corners: bool,
    shortest: float = 0.0,
) -> Outlines:
    """Make the outlines along ``ways`` smaller; ``fixed`` are lines that touch two corners.

    The number of lines of each stays.  Some rounds on, of each number of lines only the best go on.
    A cut takes in ``shortest`` mm or more, as much behind what it touches as before it.
    """
    around = _turning(room, fixed)
    now = begun(edge, ways, inside_corners)
    step, done = np.full(len(now.first), WIDEST), []
    for number in range(ROUNDS):
        if number == TRIED:
            step = np.where(_is_leading(now), step, 0.0)
        busy = step >= LEAST
        if not busy.all():
            done.append(now.some(np.flatnonzero(~busy)))
            now, step = now.some(np.flatnonzero(busy)), step[busy]
        if not len(step):
            break
        share = SHARES[number % len(SHARES)]
        variants = _variants(around, now.lines, np.repeat(step, now.count), share)
        variants = lengthened(variants, shortest) if shortest else variants
        area, chosen = _best(edge, variants, now, inside_corners)
        gains = np.isfinite(now.area) & (area < now.area * (1 - GAIN))
        step = np.where(gains, step, step / 2)
        better = np.where(np.repeat(area < now.area, now.count), chosen, 0)
        rows = np.arange(len(now.lines)) * VARIANTS + better
        now = replace(now, lines=variants[rows], area=np.minimum(area, now.area))
    return together([*done, now])


def _is_leading(now: Outlines) -> NDArray[np.bool_]:
    """Whether each outline is among the `LEADING` smallest ones with its number of lines."""
    order = np.lexsort((now.area, now.count))
    count = now.count[order]
    rank = np.arange(len(order)) - np.searchsorted(count, count)
    leading = np.zeros(len(order), dtype=bool)
    leading[order[rank < LEADING]] = True
    return leading


def begun(edge: Border, ways: list[CutLines], inside_corners: bool) -> Outlines:
    """Closed ways with their areas, infinite where lines do not join."""
    count = np.array([len(way) for way in ways])
    first = np.concatenate([[0], np.cumsum(count[:-1])]).astype(np.intp)
    now = Outlines(
        stacked(ways),
        first,
        count,
        np.full(len(ways), np.inf),
        np.zeros(count.sum(), dtype=np.intp),
        np.arange(len(ways)),
    )
    here, after = np.arange(len(now.lines)), now.after
    found = [
        (np.where(join.inside & (not inside_corners), np.inf, join.area), join.turns)
        for join in _joins(edge, now.lines, here, after)
    ]
    areas, turns = (np.array(column) for column in zip(*found, strict=True))
    better = areas.argmin(axis=0)
    for begin, end in zip(first, first + count, strict=True):
        way = np.arange(begin, end)
        missing = 1 - int(turns[better[way], way].sum())
        if missing:  # once around is one full turn: one join is to be made the other way
            fits = turns[:, way] == turns[better[way], way] + missing
            least = np.where(np.isfinite(areas[better[way], way]), areas[better[way], way], 0.0)
            dearer = np.where(fits, areas[:, way] - least, np.inf)
            kind, place = np.unravel_index(int(dearer.argmin()), dearer.shape)
            better[way[place]] = kind
            areas[kind, way[place]] = areas[kind, way[place]] if fits[kind, place] else np.inf
    now = replace(now, turns=turns[better, here])
    return replace(now, area=np.add.reduceat(areas[better, here], first))


def _joins(edge: Border, lines: CutLines, i: Indices, j: Indices) -> list[Joins]:
    """Joins of lines where they cross, and along the border where any ends there."""
    found = [meets(lines, i, lines, j)]
    if (lines.end_side >= 0).any():
        ends = landings(edge, lines, lines.end_side)
        starts = landings(edge, lines, lines.start_side)
        found.append(goes_along(lines, ends, i, lines, starts, j))
    return found


@dataclass(frozen=True, eq=False)
class _Turning:
    """What lines turn among: directions and turns of the kept ring's sides, and the lines ``fixed``.

    ``touched`` are the corners that the fixed ones touch, first and last of each, ``order`` sorts them by
    corner, then by heading, and ``key`` rises with that.
    """

    room: Annulus
    sides: tuple[Floats, Floats]
    fixed: CutLines
    touched: Indices
    order: Indices
    key: Floats


def _turning(room: Annulus, fixed: CutLines) -> _Turning:
    touched = np.concatenate([fixed.place, fixed.last])
    headings = np.tile(fixed.heading, 2)
    order = np.lexsort((headings, touched))
    # headings stay well within this of each other, so that one number sorts by corner, then by heading
    key = touched[order] * 1e3 + headings[order]
    return _Turning(room, turned_sides(room.kept), fixed, touched, order, key)


def _variants(around: _Turning, lines: CutLines, step: Floats, share: float) -> CutLines:
    """`VARIANTS` rows for each line, the line itself first; ``share`` is the part of a step.

    A line that touches two corners turns right about the first of them and left about the last.
    """
    turns = (-1.0, -share, share, 1.0)
    headings = np.concatenate([lines.heading + turn * step for turn in turns])
    pivots = np.concatenate([lines.place, lines.place, lines.last, lines.last])
    fixed = around.fixed
    every = stacked([lines, _rolled(around, pivots, headings), fixed])
    rows = np.arange(len(lines))
    chosen = [rows + k * len(lines) for k in range(1 + len(turns))]
    for pivot, sense in ((lines.place, -1), (lines.last, 1)):
        near = _next_fixed(around, pivot, lines.heading, sense)
        good = (near >= 0) & (np.abs(fixed.heading[near] - lines.heading) <= 2 * step)
        chosen.append(np.where(good, (1 + len(turns)) * len(lines) + near, rows))
    return every[np.column_stack(chosen).ravel()]


def _next_fixed(around: _Turning, pivot: Indices, heading: Floats, sense: int) -> Indices:
    """For each line the next fixed one by heading that touches its pivot as well, -1 where there is none."""
    key, order, span = around.key, around.order, pivot * 1e3 + heading
    at = np.searchsorted(key, span + 1e-9) if sense > 0 else np.searchsorted(key, span - 1e-9) - 1
    inside = (at >= 0) & (at < len(key))
    near = order[np.minimum(np.maximum(at, 0), len(key) - 1)]
    return np.where(inside & (around.touched[near] == pivot), near % len(around.fixed), -1)


def _rolled(around: _Turning, place: Indices, heading: Floats) -> CutLines:
    """Lines with a heading (radians) at a kept corner, or at the next one that they roll on to."""
    angle, turn = around.sides
    count, place = len(angle), place.copy()
    middle = angle[place] - turn[place] / 2
    base = angle[place] + 2 * np.pi * np.rint((heading - middle) / (2 * np.pi))
    for _ in range(ROLLS):
        on = (heading > base) & (turn[(place + 1) % count] > 0)
        back = ~on & (heading < base - turn[place]) & (turn[place - 1] > 0)
        if not (on | back).any():
            break
        base = base + np.where(on, turn[(place + 1) % count], 0.0) - np.where(back, turn[place], 0.0)
        place = (place + on - back) % count
    along = np.column_stack([np.cos(heading), np.sin(heading)])
    return drawn(around.room, along, np.zeros(len(place)), heading, place, place)


def _best(
    edge: Border, variants: CutLines, now: Outlines, inside_corners: bool, each: int = VARIANTS
) -> tuple[Floats, Indices]:
    """The least area of each outline over the variants of its lines, and the variant of every line."""
    area = _joined(edge, variants, now, inside_corners, each)
    ways, longest = len(now.first), int(now.count.max())
    base = now.first[:, None] + np.minimum(np.arange(longest), now.count[:, None] - 1)
    stay = np.where(np.eye(each, dtype=bool), 0.0, np.inf)
    reach = np.broadcast_to(stay, (ways, each, each))  # [way, variant of the first line, variant here]
    came = []
    for k in range(longest - 1):
        onward = np.where((k < now.count - 1)[:, None, None], area[base[:, k]], stay)
        trial = reach[:, :, :, None] + onward[:, None]
        came.append(trial.argmin(axis=2))
        reach = trial.min(axis=2)
    closed = reach + np.swapaxes(area[now.first + now.count - 1], 1, 2)
    flat = closed.reshape(ways, -1)
    least = flat.argmin(axis=1)
    start, here = np.divmod(least, each)
    chosen = np.zeros((ways, longest), dtype=np.intp)
    rows = np.arange(ways)
    chosen[:, longest - 1] = here
    for k in range(longest - 2, -1, -1):
        here = came[k][rows, start, here]
        chosen[:, k] = here
    within = np.arange(longest) < now.count[:, None]
    return flat[rows, least], chosen[within]


def _joined(edge: Border, variants: CutLines, now: Outlines, inside_corners: bool, each: int) -> Floats:
    """Twice the area that the variants of a line and the next one give, shape (lines, each, each)."""
    number, spread = np.arange(len(now.lines)), np.arange(each)
    i = (number[:, None] * each + spread)[:, :, None]
    j = (now.after[:, None] * each + spread)[:, None, :]
    least = np.full((len(number), each, each), np.inf)
    for join in _joins(edge, variants, i, j):
        good = join.turns == now.turns[:, None, None]
        if not inside_corners:
            good &= ~join.inside
        least = np.where(good, np.minimum(join.area, least), least)
    return least
