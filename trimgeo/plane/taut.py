"""The shortest loop around what is kept, within what is allowed, and the eaves of it.

A taut band around the kept area bends left at its corners and right at corners of the border.  A stretch
from a kept corner to one of the border, or back, is an *eave*: the line through it touches one on each side.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from trimgeo.plane.annulus import Annulus, Point
from trimgeo.plane.sight import LEFT, RIGHT, turn_of

TURNS = 6
"""Turns of a shortest way, so that those in the middle lie on the loop."""


class Touch(NamedTuple):
    """A bend of the taut loop: the number of its corner, its point, and the side that it touches."""

    corner: int
    point: Point
    side: int


def taut_loop(room: Annulus) -> list[Touch]:
    """Bends of the shortest loop, from the lowest kept corner once around; the first is repeated at the end.

    The funnel algorithm (Lee and Preparata 1984) along the triangles of the ring.

    >>> import numpy as np, shapely
    >>> from trimgeo.plane.annulus import annulus
    >>> room = annulus(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 3, 3), np.zeros(4, dtype=bool))
    >>> [bend.side == LEFT for bend in taut_loop(room)]
    [True, True, True, True, True]
    """
    sides = [_ends(room, k) for k in range(len(room.ring))]
    points = room.points
    lowest = min(range(len(room.kept)), key=lambda k: (points[k][1], points[k][0]))
    count = len(sides)
    start = next(
        k for k in range(count) if sides[k][LEFT] == lowest and sides[(k + 1) % count][LEFT] != lowest
    )
    first = Touch(lowest, points[lowest], LEFT)
    bends, before = [first], (lowest, -1)
    chains: tuple[list[Touch], list[Touch]] = ([], [])
    for step in range(start + 1, start + count):
        here = sides[step % count]
        for side in (LEFT, RIGHT):
            if here[side] != before[side]:
                _pull(bends, chains, Touch(here[side], points[here[side]], side))
        before = here
    _pull(bends, chains, first)
    return bends if bends[-1] == first else bends + chains[LEFT]


def taut_unrolled(room: Annulus) -> list[Touch]:
    """The same of an unrolled room, whose left points are not one ring, from any bend of the loop on.

    The shortest way from a left corner to itself some turns on joins the loop within its first turn and
    leaves it in its last one: in each turn the loop bends left about some corner, which the way cannot pass
    on the loop's left, and two shortest ways have no more than one stretch in common.

    >>> import numpy as np, shapely
    >>> from trimgeo.plane.cover import around_islands
    >>> islands = [shapely.box(1, 1, 2, 2), shapely.box(7, 1, 8, 2)]
    >>> room = around_islands(islands, shapely.box(0, 0, 9, 3), np.zeros(4, dtype=bool))
    >>> len(taut_unrolled(room))
    5
    """
    sides = [_ends(room, k) for k in range(len(room.ring))]
    first = Touch(sides[0][LEFT], room.points[sides[0][LEFT]], LEFT)
    bends, before = [first], (first.corner, -1)
    chains: tuple[list[Touch], list[Touch]] = ([], [])
    for step in range(1, TURNS * len(sides) + 1):
        here = sides[step % len(sides)]
        for side in (LEFT, RIGHT):
            if here[side] != before[side]:
                _pull(bends, chains, Touch(here[side], room.points[here[side]], side))
        before = here
    for number, bend in enumerate(bends):
        again = [k for k, other in enumerate(bends) if other == bend and k > number]
        if len(again) >= TURNS - 3:
            return bends[again[0] : again[1] + 1]
    raise AssertionError("the shortest way does not close")


def _ends(room: Annulus, step: int) -> tuple[int, int]:
    """Left and right end of the side by which triangle ``step`` of the ring is left."""
    corners, leave = room.triangles[room.ring[step]], room.exits[step]
    return corners[(leave + 1) % 3], corners[leave]


def _pull(bends: list[Touch], chains: tuple[list[Touch], list[Touch]], new: Touch) -> None:
    """Add a corner to its chain of the funnel, pulled taut; where it crosses the other, the apex moves on."""
    own, other = chains[new.side], chains[1 - new.side]
    sign = 1.0 if new.side == LEFT else -1.0
    while own:
        before = own[-2].point if len(own) > 1 else bends[-1].point
        # the left chain bends to the left as seen from the apex on, the right chain to the right
        if sign * turn_of(before, own[-1].point, new.point) > 0:
            break
        own.pop()
    if not own:
        while other and sign * turn_of(bends[-1].point, other[0].point, new.point) < 0:
            bends.append(other.pop(0))
    if bends[-1].point != new.point:
        own.append(new)


def eaves(bends: list[Touch]) -> list[tuple[Touch, Touch]]:
    """Stretches of a taut loop from one side of the way to the other."""
    return [(one, other) for one, other in pairwise(bends) if one.side != other.side]
