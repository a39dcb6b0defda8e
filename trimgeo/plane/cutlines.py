"""Straight cuts that an outline may take: directed lines that touch what is kept, on their left.

Each runs through its anchor and is free between the two places where the relaxed annulus ends.  Its
*heading* is its direction as seen from the kept ring, counted on through the turns of the ring, so that
from cut to cut it changes by what the outline turns there: once around by 360 degrees, for outlines that do
not curl.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from itertools import combinations
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.hulls import Floats, Indices
from trimgeo.plane.tracks import cross

AT_ONCE = 1 << 19
"""Lines times sides looked at together: bounds the memory to some tens of megabytes."""

CHORD_ENDS = 7
"""Places of a run of reflex corners from which lines lead across it, at most."""

TANGENT = 1e-9
"""Sine of the angle by which a line may pass into a corner that it touches: rounding."""


@dataclass(frozen=True, eq=False)
class CutLines:
    """Directed lines, one a row; lengths mm, angles radians.

    ``anchor`` and ``along`` (unit vectors) have shape (m, 2), all else (m,).  A cut on the line takes in
    the anchor and what lies up to ``front`` before it.  The line is free from ``start`` (at most 0) to
    ``end``, from the anchor. ``start_side`` and ``end_side`` are the free sides of the allowed ring where
    it ends there, -1 elsewhere. ``place`` and ``last`` are the first and last kept corner that it touches,
    by their numbers in the ring.
    """

    anchor: Floats
    along: Floats
    front: Floats
    heading: Floats
    place: Indices
    last: Indices
    start: Floats
    end: Floats
    start_side: Indices
    end_side: Indices

    def __len__(self) -> int:
        return len(self.anchor)

    def __getitem__(self, rows: NDArray[np.intp] | NDArray[np.bool_] | slice) -> CutLines:
        return CutLines(*(column[rows] for column in _columns(self)))

    @cached_property
    def lever(self) -> Floats:
        """Twice the area swept about the origin by 1 mm of each line."""
        return cross(self.anchor, self.along)


def stacked(parts: list[CutLines]) -> CutLines:
    """All lines of several sets."""
    return CutLines(*map(np.concatenate, zip(*map(_columns, parts), strict=True)))


_columns = attrgetter(*(field.name for field in fields(CutLines)))


def lengthened(lines: CutLines, shortest: float) -> CutLines:
    """The lines whose cuts take in ``shortest`` mm or more, as much behind what they touch as before it.

    Where a line is not free for so long, no cut on it joins another one.
    """
    more = np.maximum(shortest - lines.front, 0.0) / 2
    return replace(
        lines,
        anchor=lines.anchor - more[:, None] * lines.along,
        front=lines.front + 2 * more,
        start=lines.start + more,
        end=lines.end + more,
    )


def drawn(
    room: Annulus,
    along: Floats,
    front: Floats,
    heading: Floats,
    place: Indices,
    last: Indices,
    anchor: Floats | None = None,
) -> CutLines:
    """Lines with the stretches on which they are free; the ``anchor`` of each is at its ``place`` if None.

    >>> import shapely
    >>> from trimgeo.plane.annulus import annulus
    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> place, side = np.array([0]), room.kept[1:2] - room.kept[:1]  # of 1 mm, as long as the room is wide
    >>> one = drawn(room, side, np.ones(1), np.zeros(1), place, place + 1)
    >>> one.start.round(3).tolist(), one.end.round(3).tolist()
    ([-1.0], [2.0])
    """
    anchor = room.kept[place] if anchor is None else anchor
    rows = max(AT_ONCE // len(room.points), 1)
    start, end = np.full(len(anchor), -np.inf), np.full(len(anchor), np.inf)
    start_side, end_side = (np.full(len(anchor), -1, dtype=np.intp) for _ in range(2))
    for begin in range(0, len(anchor), rows):
        some = slice(begin, begin + rows)
        line, side, at = _crossed(room, anchor[some], along[some])
        line += begin
        ways = ((np.minimum, at >= 0, end, end_side), (np.maximum, at < 0, start, start_side))
        for nearer, found, far, own in ways:
            nearer.at(far, line[found], at[found])
            hit = np.flatnonzero(found & (at == far[line]))[::-1]  # of several sides the one that comes first
            own[line[hit]] = np.where(room.free_relaxed[side[hit]], side[hit] - len(room.kept), -1)
    return CutLines(anchor, along, front, heading, place, last, start, end, start_side, end_side)


def _crossed(room: Annulus, anchor: Floats, along: Floats) -> tuple[Indices, Indices, Floats]:
    """Lines and the sides of both relaxed rings that they cross, and where on the line, mm from its anchor.

    Side k runs from the annulus' point k to the next one along its ring.
    """
    ring, onto = room.relaxed, room.onto
    (x, y), (ax, ay) = along.T, anchor.T
    beyond = x[:, None] * (ring[:, 1] - ay[:, None]) - y[:, None] * (ring[:, 0] - ax[:, None])
    left = beyond > 0
    line, side = np.divmod(np.flatnonzero(left != left[:, onto]), len(ring))  # few of all pairs
    to = onto[side]
    x, y, ax, ay = x[line], y[line], ax[line], ay[line]
    forward = x * (ring[side, 0] - ax) + y * (ring[side, 1] - ay)
    onward = x * (ring[to, 0] - ax) + y * (ring[to, 1] - ay)
    first = beyond[line, side]
    return line, side, forward + (onward - forward) * (first / (first - beyond[line, to]))


def turned_sides(ring: Floats) -> tuple[Floats, Floats]:
    """Direction of each side of a ring, counted on through its turns, and the turn at each corner; radians.

    >>> angle, turn = turned_sides(np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]))
    >>> np.degrees(angle).tolist(), np.degrees(turn).tolist()
    ([0.0, 90.0, 180.0, 270.0], [90.0, 90.0, 90.0, 90.0])
    """
    side = np.roll(ring, -1, axis=0) - ring
    before = np.roll(side, 1, axis=0)
    turn = np.arctan2(cross(before, side), np.sum(before * side, axis=1))
    angle = np.arctan2(side[0, 1], side[0, 0]) + np.concatenate([[0.0], np.cumsum(turn[1:])])
    return angle, turn


def tangents(room: Annulus, step: float) -> CutLines:
    """Lines flush with sides of the kept ring, and turned about its corners by at most ``step`` radians.

    >>> import shapely
    >>> from trimgeo.plane.annulus import annulus
    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> len(tangents(room, np.radians(30)))
    12
    """
    ring = room.kept
    angle, turn = turned_sides(ring)
    count = len(ring)
    convex = turn > TANGENT
    flush = np.flatnonzero(convex & np.roll(convex, -1))
    length = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
    corner, heading = [flush], [angle[flush]]
    for k, spread in enumerate(_spread(turn, step).tolist()):
        corner.append(np.full(spread, k))
        heading.append(angle[k] - turn[k] * (1 - np.arange(1, spread + 1) / (spread + 1)))
    at, headings = np.concatenate(corner), np.concatenate(heading)
    front = np.concatenate([length[flush], np.zeros(len(at) - len(flush))])
    along = np.column_stack([np.cos(headings), np.sin(headings)])
    last = np.concatenate([(flush + 1) % count, at[len(flush) :]])
    return drawn(room, along, front, headings, at, last)


def tangents_at(room: Annulus, step: float) -> int:
    """How many lines `tangents` has, found without them."""
    turn = turned_sides(room.kept)[1]
    convex = turn > TANGENT
    return int(np.count_nonzero(convex & np.roll(convex, -1)) + _spread(turn, step).sum())


def _spread(turn: Floats, step: float) -> Indices:
    """How many lines turn about each corner, between those flush with its sides; one where none is flush."""
    convex = turn > TANGENT
    between = np.ceil(turn / step).astype(np.intp) - 1
    alone = convex & ~np.roll(convex, 1) & ~np.roll(convex, -1)
    return np.where(convex, np.maximum(between, alone), 0)


def flush_with_notches(room: Annulus) -> CutLines:
    """Lines flush with the sides of the kept ring that end in a reflex corner, or in two.

    A cut along a side between two reflex corners, as at the bottom of a pocket, takes in no corner: it has
    its anchor at the middle of the side.

    >>> from trimgeo.plane.annulus import annulus
    >>> import shapely
    >>> ell = shapely.Polygon([(1, 1), (9, 1), (9, 2), (3, 2), (3, 7), (1, 7)])
    >>> found = flush_with_notches(annulus(ell, shapely.box(0, 0, 10, 8), np.zeros(4, dtype=bool)))
    >>> (found.end - found.start).round(3).tolist()
    [7.0, 6.0]
    """
    ring = room.kept
    angle, turn = turned_sides(ring)
    begins = turn > TANGENT
    ends = np.roll(begins, -1)
    sides = np.flatnonzero(~(begins & ends))
    at = np.where(ends[sides], (sides + 1) % len(ring), sides)
    turned_on = np.where(ends[sides] & (at == 0), turn.sum(), 0.0)  # headings begin anew at corner 0
    heading = angle[sides] - turned_on
    along = np.column_stack([np.cos(heading), np.sin(heading)])
    middle = (ring[sides] + ring[(sides + 1) % len(ring)]) / 2
    anchor = np.where((begins | ends)[sides, None], ring[at], middle)
    return drawn(room, along, np.zeros(len(sides)), heading, at, at, anchor)


def chords(room: Annulus) -> CutLines:
    """Lines across reflex corners of the kept ring that follow each other, as in a rounded pocket.

    Each leads from a corner, or the middle of a side between two, to another one, of `CHORD_ENDS` in a run
    at most; it has its anchor at its middle.

    >>> from trimgeo.plane.annulus import annulus
    >>> import shapely
    >>> bay = shapely.Polygon([(1, 1), (9, 1), (9, 7), (7, 7), (6, 3), (5, 3), (3, 7), (1, 7)])
    >>> len(chords(annulus(bay, shapely.box(0, 0, 10, 8), np.zeros(4, dtype=bool))))
    0
    >>> bay = shapely.Polygon([(1, 1), (9, 1), (9, 7), (7, 7), (6, 4), (5, 3), (4, 4), (3, 7), (1, 7)])
    >>> len(chords(annulus(bay, shapely.box(0, 0, 10, 8), np.zeros(4, dtype=bool))))
    4
    """
    ring = room.kept
    reflex = turned_sides(ring)[1] < -TANGENT
    found: list[tuple[int, int, Floats, Floats]] = []
    for begin in np.flatnonzero(reflex & ~np.roll(reflex, 1)).tolist():
        count = int(np.argmin(np.roll(reflex, -begin)))
        run = (begin + np.arange(count)) % len(ring)
        places = np.unique(np.linspace(0, 2 * count - 2, CHORD_ENDS).round().astype(int))
        points = (ring[run[places // 2]] + ring[run[(places + 1) // 2]]) / 2
        for (k, one), (n, other) in combinations(zip(places.tolist(), points, strict=True), 2):
            if n - k > 2 or (n - k == 2 and k % 2):  # no line flush with a side
                found.append((int(run[k // 2]), int(run[n // 2]), one, other))
    if not found:
        return drawn(room, ring[:0], *np.zeros((2, 0)), *np.zeros((2, 0), dtype=np.intp))
    place, last = (np.array([each[end] for each in found]) for end in (0, 1))
    start, stop = (np.array([each[end] for each in found]) for end in (2, 3))
    along = (stop - start) / np.hypot(*(stop - start).T)[:, None]
    heading = headed(ring, place, along)
    return drawn(room, along, np.zeros(len(place)), heading, place, last, (start + stop) / 2)


def bitangents(room: Annulus, most: int) -> CutLines:
    """Lines that touch two corners of the kept ring, or one of it and one of the allowed ring.

    At most the ``most`` pairs of each kind that lie nearest to each other are looked at.
    """
    kept, allowed = room.kept, room.allowed
    ends = np.flatnonzero(turned_sides(kept)[1] > TANGENT)
    walls = np.arange(len(allowed))
    outward = turned_sides(allowed)[1] >= -TANGENT  # in such a corner cuts meet; the others are passed
    found = []
    for ring, corners, sense in ((kept, ends, 1.0), (allowed, walls, 1.0), (allowed, walls, -1.0)):
        way = ring[corners][None] - kept[ends][:, None]
        apart = np.hypot(way[..., 0], way[..., 1])
        along = sense * way / np.maximum(apart, 1e-12)[..., None]
        good = _touches(kept, ends, along) & (apart > 1e-6)
        if ring is kept:
            good &= _touches(ring, corners, np.swapaxes(along, 0, 1)).T
        else:
            good &= _touches(ring, corners, np.swapaxes(along, 0, 1), -1.0).T | outward
        one, other = np.nonzero(good)
        chosen = np.argsort(apart[one, other], kind="stable")[:most]
        one, other = one[chosen], other[chosen]
        reach, place, ways = apart[one, other], ends[one], along[one, other]
        front, last = (reach, ends[other]) if ring is kept else (np.zeros(len(one)), place)
        lines = drawn(room, ways, front, headed(kept, place, ways), place, last)
        found.append(lines[(lines.end if sense > 0 else -lines.start) >= reach])
    return stacked(found)


def _touches(ring: Floats, corners: Indices, along: Floats, sense: float = 1.0) -> NDArray[np.bool_]:
    """Whether directions, shape (corners, k, 2), pass each corner with its ring on one side."""
    before = ring[corners] - ring[corners - 1]
    after = ring[(corners + 1) % len(ring)] - ring[corners]
    one = sense * cross(before[:, None], along) >= -TANGENT * np.hypot(*before.T)[:, None]
    other = sense * cross(along, after[:, None]) >= -TANGENT * np.hypot(*after.T)[:, None]
    return np.asarray(one & other)


def headed(kept: Floats, corner: Indices, along: Floats) -> Floats:
    """Heading of lines through corners of the kept ring, radians: nearest to the sides there."""
    angle, turn = turned_sides(kept)
    before = angle[corner] - turn[corner]
    direction = np.arctan2(along[:, 1], along[:, 0])
    off = np.mod(direction - before - turn[corner] / 2 + np.pi, 2 * np.pi) - np.pi
    return np.asarray(before + turn[corner] / 2 + off)
