"""How one cut goes on into the next: where they meet, or by a free stretch of the border between them.

The area of an outline is a sum over its sides (shoelace formula).  Along a line it grows with the length, so
it separates into what each pair of neighbours gives: the first line up to their meeting, the second from
there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.cutlines import CutLines, turned_sides
from trimgeo.plane.hops import stretches
from trimgeo.plane.hulls import Floats, Indices
from trimgeo.plane.tracks import cross

WITHIN = 1e-9
"""Places on a line (mm) are compared to within rounding."""

FULL = 2 * np.pi


@dataclass(frozen=True, eq=False)
class Border:
    """The free stretches of the allowed ring: of each side its stretch (-1: none), and sums along it.

    ``swept`` is twice the area swept from the stretch's start to the side's, ``place`` counts the sides from
    there, and ``heading`` is the side's direction counted on along the stretch, radians.
    ``once`` is twice the ring's area where all of it is one stretch without an end, else 0.
    """

    ring: Floats
    stretch: Indices
    place: Indices
    swept: Floats
    heading: Floats
    once: float


def border(room: Annulus) -> Border:
    """Prepare the free stretches of an annulus.

    >>> import shapely
    >>> from trimgeo.plane.annulus import annulus
    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 3, 3), np.array([True, True, False, False]))
    >>> sorted(border(room).place.tolist())
    [0, 0, 0, 1]
    """
    ring = room.allowed
    count = len(ring)
    angle, turn = turned_sides(ring)
    sweep = cross(ring, np.roll(ring, -1, axis=0))
    stretch, place = np.full(count, -1), np.zeros(count, dtype=np.intp)
    swept, heading = np.zeros(count), angle.copy()
    whole = bool(room.free.all())
    for number, run in enumerate([list(range(count))] if whole else stretches(room)):
        stretch[run], place[run] = number, np.arange(len(run))
        swept[run] = np.concatenate([[0.0], np.cumsum(sweep[run[:-1]])])
        heading[run] = angle[run[0]] + np.concatenate([[0.0], np.cumsum(turn[run[1:]])])
    return Border(ring, stretch, place, swept, heading, float(sweep.sum()) if whole else 0.0)


@dataclass(frozen=True, eq=False)
class Landings:
    """Where lines start from or end on free sides, shape (m,): stretch (-1: none), place along it, and so on.

    ``at`` is the position on the line, ``point`` the point, shape (m, 2), ``swept`` twice the area along
    the stretch up to there, ``heading`` that of the side.
    """

    stretch: Indices
    place: Floats
    at: Floats
    point: Floats
    swept: Floats
    heading: Floats
    once: float


def landings(edge: Border, lines: CutLines, side: Indices) -> Landings:
    """Where ``lines`` meet the free sides ``side`` (-1: none) of the border as given."""
    start = edge.ring[side]
    chord = edge.ring[(side + 1) % len(edge.ring)] - start
    with np.errstate(divide="ignore", invalid="ignore"):
        share = cross(lines.anchor - start, lines.along) / cross(chord, lines.along)
    share = np.minimum(np.maximum(np.where(np.isnan(share), 0.0, share), 0.0), 1.0)
    point = start + share[:, None] * chord
    at = np.sum((point - lines.anchor) * lines.along, axis=1)
    return Landings(
        np.where(side >= 0, edge.stretch[side], -1),
        edge.place[side] + share,
        at,
        point,
        edge.swept[side] + cross(start, point),
        edge.heading[side],
        edge.once,
    )


@dataclass(frozen=True, eq=False)
class Joins:
    """What pairs of lines give, broadcast shape: twice the area, infinite where they do not join.

    ``turns`` counts the full turns by which the heading of the second is to be counted on; ``inside`` is
    whether the join is an inside corner off the border, ``by_border`` whether it goes along the border.
    """

    area: Floats
    turns: Indices
    inside: NDArray[np.bool_]
    by_border: NDArray[np.bool_]


def meets(a: CutLines, i: Indices, b: CutLines, j: Indices) -> Joins:
    """Joins of lines ``a[i]`` with ``b[j]`` where they cross; the indices broadcast."""
    off = b.anchor[j] - a.anchor[i]
    ox, oy = off[..., 0], off[..., 1]
    ax, ay = a.along[i, 0], a.along[i, 1]
    bx, by = b.along[j, 0], b.along[j, 1]
    sine = ax * by - ay * bx
    usable = np.abs(sine) > 1e-9
    sine = np.where(usable, sine, 1.0)
    at_a, at_b = (ox * by - oy * bx) / sine, (ox * ay - oy * ax) / sine
    usable &= (at_a >= a.front[i] - WITHIN) & (at_a <= a.end[i] + WITHIN)
    usable &= (at_b <= WITHIN) & (at_b >= b.start[j] - WITHIN)
    area = np.where(usable, a.lever[i] * at_a - b.lever[j] * at_b, np.inf)
    turn = np.arctan2(sine, ax * bx + ay * by)
    turns = np.rint((turn - b.heading[j] + a.heading[i]) / FULL).astype(np.intp)
    return Joins(area, turns, turn < 0, np.zeros_like(usable))


def goes_along(a: CutLines, ends: Landings, i: Indices, b: CutLines, starts: Landings, j: Indices) -> Joins:
    """Joins of lines ``a[i]`` with ``b[j]`` along a free stretch, on which one ends and the other starts."""
    same = (ends.stretch[i] >= 0) & (ends.stretch[i] == starts.stretch[j])
    over = starts.place[j] < ends.place[i] - WITHIN  # past the end of the stretch, if it has one
    same &= ~over | (ends.once > 0)
    area = a.lever[i] * ends.at[i] - b.lever[j] * starts.at[j]
    area = area + starts.swept[j] - ends.swept[i] + over * ends.once
    onto = _wrapped(ends.heading[i] - a.heading[i])
    off = _wrapped(b.heading[j] - starts.heading[j])
    turn = onto + (starts.heading[j] - ends.heading[i]) + off + over * FULL
    turns = np.rint((turn - b.heading[j] + a.heading[i]) / FULL).astype(np.intp)
    return Joins(np.where(same, area, np.inf), turns, np.zeros_like(same), same)


def _wrapped(angle: Floats) -> Floats:
    return np.asarray(np.mod(angle + np.pi, FULL) - np.pi)


def chosen(one: Joins, other: Joins, turns: Indices | int) -> Joins:
    """Of two ways to join, with just so many ``turns``, the one that leaves the least area."""
    first = np.where(one.turns == turns, one.area, np.inf)
    second = np.where(other.turns == turns, other.area, np.inf)
    border_better = second < first
    return Joins(
        np.minimum(first, second),
        np.broadcast_to(turns, first.shape),
        np.where(border_better, other.inside, one.inside),
        border_better,
    )
