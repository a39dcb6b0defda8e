"""Outlines around several pieces made smaller where nothing but the pieces and a least width hold them back.

Simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983), always with the same numbers drawn: one or two
cuts at a time turn, move, or are pushed in.  Bridges that an outline was searched around are forgotten; in
their stead its bodies, which a disc of the neck's width fits into, have to hang together with all pieces.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.hulls import Floats

RELAXED: Final = 4e-5
"""mm: pieces and walls give way by so much, so that what touches is clear."""

TRIALS: Final = 400
"""Changes tried with each outline."""

WARMTH: Final = 0.003
"""Share of the area by which an outline may grow at first for a change to be taken now and then."""

WIDEST: Final = 3.0
"""mm: moves begin about so far."""

NARROWEST: Final = 0.002
"""mm: and end about so far."""

HALVINGS: Final = 14
"""Halvings, from `WIDEST` on, in which a cut is pushed in as far as it goes."""

REACHED: Final = 0.99
"""Share of a disc's radius that counts: `shapely` draws it with 32 sides."""


@dataclass(frozen=True, eq=False)
class Island:
    """What bounds an outline: it holds all ``pieces``, lies in ``allowed``, and is ``neck`` mm wide or more.

    Its cuts are ``shortest`` mm long or longer.
    """

    pieces: NDArray[Any]
    allowed: Polygon
    neck: float
    shortest: float = 0.0

    @cached_property
    def within(self) -> NDArray[Any]:
        """The pieces, a hair smaller."""
        smaller = shapely.buffer(self.pieces, -RELAXED, join_style="mitre")
        shapely.prepare(smaller)
        return np.asarray(smaller)

    @cached_property
    def all(self) -> Any:
        """The same as one shape."""
        whole = shapely.union_all(self.within)
        shapely.prepare(whole)
        return whole

    @cached_property
    def room(self) -> Polygon:
        """What is allowed, a hair larger."""
        room = shapely.buffer(self.allowed, RELAXED, join_style="mitre")
        shapely.prepare(room)
        return room

    @cached_property
    def points(self) -> tuple[Floats, Floats]:
        """A point in each piece, and one in each post."""
        posts = [Polygon(ring) for ring in self.allowed.interiors]
        return (
            shapely.get_coordinates(shapely.point_on_surface(self.pieces)),
            shapely.get_coordinates([shapely.point_on_surface(post) for post in posts]),
        )

    @cached_property
    def middles(self) -> NDArray[Any]:
        """A point in each piece."""
        return np.asarray(shapely.points(self.points[0]))

    @cached_property
    def touching(self) -> NDArray[np.bool_]:
        """Which pieces touch each other."""
        return np.asarray(shapely.dwithin(self.pieces[:, None], self.pieces, 1e-9))

    def bodies(self, outline: Polygon) -> NDArray[Any]:
        """Where the middle of a disc as wide as the neck may be in an outline."""
        return np.asarray(shapely.get_parts(shapely.buffer(outline, -self.neck / 2)))

    def holds(self, outline: Polygon, most: int) -> bool:
        """Whether an outline has at most so many bodies, and they and all pieces hang together."""
        bodies = self.bodies(outline)
        if len(bodies) > most:
            return False
        reach = self.neck / 2 * REACHED
        reached = shapely.dwithin(self.middles[:, None], bodies, reach)  # quicker than from the whole piece
        i, j = np.nonzero(~reached)
        reached[i, j] = shapely.dwithin(self.within[i], bodies[j], reach)
        if len(bodies) == 1:
            return bool(reached.all())
        both = np.block([[self.touching, reached], [reached.T, np.eye(len(bodies), dtype=bool)]])
        seen = both[0]
        while (more := both[seen].any(axis=0)).sum() > seen.sum():
            seen = more
        return bool(seen.all())


def tightened(outline: Polygon, free: NDArray[np.bool_], around: Island) -> Polygon:
    """An outline with as many cuts that is no larger; as it is where none is found.

    ``free`` are those of its sides that are not cut, shape (n,): they stay on their lines.

    >>> two = np.array([shapely.box(0, 0, 4, 10), shapely.box(20, 0, 24, 10)], dtype=object)
    >>> whole, around = shapely.box(-1, -1, 25, 10.5), Island(two, shapely.box(-9, -9, 33, 19), 5.0)
    >>> bool(240 <= tightened(whole, np.zeros(4, dtype=bool), around).area < 243)  # of 299
    True
    """
    corners = shapely.get_coordinates(shapely.orient_polygons(Polygon(outline.exterior)).exterior)[:-1]
    search = _Search(around, np.asarray(free), len(around.bodies(outline)))
    cuts = np.flatnonzero(~search.free)
    if not len(cuts) or not search.sound(corners):
        return outline
    return Polygon(search.annealed(corners, cuts))


def is_sound(around: Island, outline: Polygon) -> Callable[[Floats], bool]:
    """What tells whether corners, shape (n, 2), are those of an outline in as many bodies as a given one."""
    return _Search(around, np.ones(0, dtype=bool), len(around.bodies(outline))).sound


@dataclass(frozen=True, eq=False)
class _Search:
    """Annealing of one outline; side k runs from corner k to the next one."""

    around: Island
    free: NDArray[np.bool_]
    bodies: int

    def sound(self, corners: Floats, before: Floats | None = None) -> bool:
        """Whether an outline is what it has to be; it was, with the corners ``before``."""
        around = self.around
        following = np.concatenate([corners[1:], corners[:1]])
        sides = np.stack([corners, following], axis=1)
        if before is not None:
            fresh = (corners != before).any(axis=1)
            sides = sides[fresh | np.concatenate([fresh[1:], fresh[:1]])]
        lines = shapely.linestrings(sides)
        if shapely.intersects(around.all, lines).any() or not shapely.covers(around.room, lines).all():
            return False
        if around.shortest and len(self.free) == len(corners):
            cuts = (following - corners)[~self.free]
            if (np.hypot(*cuts.T) < around.shortest).any():
                return False
        outline = Polygon(corners)
        inner, posts = around.points
        return bool(
            outline.is_valid
            and shapely.contains_xy(outline, *inner.T).all()
            and not (len(posts) and shapely.contains_xy(outline, *posts.T).any())
            and around.holds(outline, self.bodies)
        )

    def annealed(self, corners: Floats, cuts: NDArray[np.intp]) -> Floats:
        """The smallest outline met."""
        draw = np.random.RandomState(0)
        area = least = area_of(corners)
        best = corners
        for number in range(TRIALS):
            share = number / TRIALS
            heat = WARMTH * least * (1 - share) ** 3
            size = WIDEST * (NARROWEST / WIDEST) ** (share * draw.uniform(0.3, 1.0))
            trial = self.changed(corners, cuts, size, draw)
            bar = area - heat * np.log(draw.uniform(1e-9, 1.0))
            if trial is None or not (fresh := area_of(trial)) < bar or not self.sound(trial, corners):
                continue
            corners, area = trial, fresh
            if area < least:
                best, least = corners, area
        for k in cuts.tolist():
            best = self.pushed(best, k)
        return best

    def changed(
        self, corners: Floats, cuts: NDArray[np.intp], size: float, draw: np.random.RandomState
    ) -> Floats | None:
        """One cut moved and turned by about ``size`` mm, at times another one with it, or a corner moved."""
        k, kind = int(cuts[draw.randint(len(cuts))]), draw.randint(4)
        by, pivot = size * draw.normal(size=2), draw.uniform()
        if kind == 0 and not self.free[k - 1]:
            trial = corners.copy()
            trial[k] += by
            return trial
        if kind == 1:
            by = np.array([by[0], by[0]])
        elif kind == 2:  # about a point of it
            by = np.array([-by[0] * pivot, by[0] * (1 - pivot)])
        first = moved(corners, k, by)
        if kind < 3 or first is None:
            return first
        other = int(cuts[draw.randint(len(cuts))])
        return moved(first, other, size * draw.normal(size=2)) if other != k else first

    def pushed(self, corners: Floats, k: int) -> Floats:
        """A cut moved in as far as it goes."""
        step = WIDEST
        for _ in range(HALVINGS):
            trial = moved(corners, k, np.array([-step, -step]))
            if trial is not None and area_of(trial) < area_of(corners) and self.sound(trial, corners):
                corners = trial
            step /= 2
        return corners


def moved(corners: Floats, k: int, by: Floats) -> Floats | None:
    """Corners where side k is moved to the right by so much at its start and its end, shape (2,), mm.

    The sides before and after it stay on their lines; None where it no longer meets these ahead.

    >>> moved(np.array([(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (0.0, 2.0)]), 0, np.array([1.0, 1.0])).tolist()
    [[0.0, -1.0], [4.0, -1.0], [4.0, 2.0], [0.0, 2.0]]
    """
    count = len(corners)
    (ax, ay), (px, py), (qx, qy), (bx, by_) = (corners[(k + j) % count].tolist() for j in (-1, 0, 1, 2))
    ux, uy = qx - px, qy - py
    length = (ux * ux + uy * uy) ** 0.5
    if length == 0.0:
        return None
    rx, ry = uy / length, -ux / length
    px1, py1, qx1, qy1 = px + rx * by[0], py + ry * by[0], qx + rx * by[1], qy + ry * by[1]
    vx, vy = qx1 - px1, qy1 - py1
    before = vx * (py - ay) - vy * (px - ax)
    after = vx * (by_ - qy) - vy * (bx - qx)
    if before == 0.0 or after == 0.0:
        return None
    s = (vx * (py1 - ay) - vy * (px1 - ax)) / before
    t = (vx * (py1 - qy) - vy * (px1 - qx)) / after
    x0, y0, x1, y1 = ax + s * (px - ax), ay + s * (py - ay), qx + t * (bx - qx), qy + t * (by_ - qy)
    if s <= 0 or t >= 1 or (x1 - x0) * vx + (y1 - y0) * vy <= 0:
        return None
    trial = corners.copy()
    trial[k], trial[(k + 1) % count] = (x0, y0), (x1, y1)
    return trial


def area_of(corners: Floats) -> float:
    """The area within corners, counter-clockwise, mm²."""
    x, y = corners.T
    x, y = x - x[0], y - y[0]
    return 0.5 * float(x[:-1].dot(y[1:]) - y[:-1].dot(x[1:]))
