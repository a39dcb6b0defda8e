"""A long search by chance on boards whose own edge is free: the judge of `long_outlines`, for free borders.

    python tests/bench/long_boards.py [boards] [first seed] [seconds for each outline]

Simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983) over the straight cuts of an outline, each by
direction and distance.  Two cuts that follow each other meet in a corner, or the outline goes on along free
border between them; changing one for the other is a step as well.  Starts: the outline found, and three
times that with one cut less, one of its cuts split in two: how near these come says how far to trust it.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from boards_built import board
from long_outlines import crossings
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import annulus
from trimgeo.plane.trade import smallest_for_each

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class State:
    """Cuts as lines (direction, distance to the right), shape (n, 2), and a point of each, shape (n, 2).

    ``along[k]`` says that free border leads from cut k to the next; ``area`` is what is enclosed, mm².
    """

    lines: Floats
    points: Floats
    along: NDArray[np.bool_]
    area: float = np.inf


def unit(angle: Floats) -> Floats:
    return np.column_stack([np.cos(angle), np.sin(angle)])


def to_right(angle: Floats) -> Floats:
    return np.column_stack([np.sin(angle), -np.cos(angle)])


class Search:
    """Annealing on one board."""

    def __init__(self, kept: Polygon, allowed: Polygon, free: NDArray[np.bool_], seed: int) -> None:
        ring, free = shapely.get_coordinates(allowed.exterior)[:-1], np.asarray(free)
        if not allowed.exterior.is_ccw:
            ring, free = ring[::-1], np.roll(free[::-1], -1)
        self.ring, self.free = ring, free
        self.onward = np.roll(ring, -1, axis=0)
        rings = [
            shapely.get_coordinates(kept.buffer(-4e-5, join_style="mitre").exterior),
            shapely.get_coordinates(allowed.buffer(4e-5, join_style="mitre").exterior),
        ]
        self.walls = np.concatenate([np.stack([each[:-1], each[1:]], axis=1) for each in rings])
        self.inside = shapely.get_coordinates(shapely.point_on_surface(kept))[0]
        self.draw = np.random.RandomState(seed)

    def hit(self, point: Floats, along: Floats) -> tuple[int, Floats] | None:
        """The first side of the border met from a point within, and where; None from outside."""
        side = self.onward - self.ring
        across = along[0] * side[:, 1] - along[1] * side[:, 0]
        gap = self.ring - point
        with np.errstate(divide="ignore", invalid="ignore"):
            ahead = (gap[:, 0] * side[:, 1] - gap[:, 1] * side[:, 0]) / across
            share = (gap[:, 0] * along[1] - gap[:, 1] * along[0]) / across
        met = (ahead > 1e-9) & (share >= 0) & (share < 1)
        if met.sum() % 2 == 0:
            return None
        first = int(np.argmin(np.where(met, ahead, np.inf)))
        return first, point + ahead[first] * along

    def walk(self, leave: tuple[int, Floats], land: tuple[int, Floats]) -> list[Floats] | None:
        """Corners of the border between two of its points, counter-clockwise; None where it is not free."""
        (here, start), (there, end) = leave, land
        sides = (there - here) % len(self.ring)
        if sides == 0 and (end - start) @ (self.onward[here] - self.ring[here]) < 0:
            return None
        if not all(self.free[(here + k) % len(self.ring)] for k in range(sides + 1)):
            return None
        return [self.ring[(here + k + 1) % len(self.ring)] for k in range(sides)]

    def corners(self, state: State) -> tuple[Floats, Floats] | None:
        """The cuts, shape (n, 2, 2), and all corners of the outline; None where it makes none."""
        angle, distance = state.lines.T
        ahead, right = unit(angle), to_right(angle)
        feet = state.points + (distance - np.sum(state.points * right, axis=1))[:, None] * right
        count = len(angle)
        starts: list[Floats] = [feet[0]] * count
        ends: list[Floats] = [feet[0]] * count
        between: list[list[Floats]] = [[]] * count
        for k in range(count):
            after = (k + 1) % count
            if state.along[k]:
                leave, land = self.hit(feet[k], ahead[k]), self.hit(feet[after], -ahead[after])
                way = None if leave is None or land is None else self.walk(leave, land)
                if leave is None or land is None or way is None:
                    return None
                ends[k], starts[after], between[k] = leave[1], land[1], way
                continue
            sine = right[k, 0] * right[after, 1] - right[k, 1] * right[after, 0]
            if abs(sine) < 1e-9:
                return None
            x = (distance[k] * right[after, 1] - distance[after] * right[k, 1]) / sine
            y = (right[k, 0] * distance[after] - right[after, 0] * distance[k]) / sine
            ends[k] = starts[after] = np.array([x, y])
        cuts = np.stack([np.array(starts), np.array(ends)], axis=1)
        if np.any(np.sum((cuts[:, 1] - cuts[:, 0]) * ahead, axis=1) < 0):
            return None
        every = [point for k in range(count) for point in (starts[k], ends[k], *between[k])]
        return cuts, np.array(every)

    def judged(self, state: State) -> State | None:
        """The state with its area, where its outline crosses nothing and goes around once."""
        found = self.corners(state)
        if found is None:
            return None
        cuts, corners = found
        if crossings(cuts, self.walls) or crossings(cuts, cuts):
            return None
        x, y = (corners - self.inside).T
        u, v = np.roll(x, -1), np.roll(y, -1)
        if abs(np.arctan2(x * v - y * u, x * u + y * v).sum() - 2 * np.pi) > 1:
            return None
        return replace(state, points=cuts.mean(axis=1), area=0.5 * float(np.sum(x * v - u * y)))

    def step(self, state: State, size: float) -> State | None:
        """A state beside this one: a cut turned, moved or pushed in, or a joint of the other kind."""
        k, kind = self.draw.randint(len(state.lines)), self.draw.randint(8)
        lines, along = state.lines.copy(), state.along
        if kind == 0:
            along = along.copy()
            along[k] = not along[k]
        elif kind < 3:
            lines[k, 1] -= 5 * size * self.draw.uniform(-0.5, 1)
        else:
            found = self.corners(state)
            assert found is not None
            one, other = found[0][k]
            pivot = one + self.draw.uniform() * (other - one)
            lines[k, 0] += 0.3 * size * self.draw.normal()
            lines[k, 1] = float(to_right(lines[k : k + 1, 0])[0] @ pivot)
        fresh = replace(state, lines=lines, along=along)
        return self.pushed(fresh, k) if kind in (0, 6, 7) else self.judged(fresh)

    def pushed(self, state: State, k: int) -> State | None:
        """Cut k moved in as far as it goes, by halving."""
        best, low, high = self.judged(state), 0.0, 5.0
        for _ in range(14):
            lines = state.lines.copy()
            lines[k, 1] -= (low + high) / 2
            trial = self.judged(replace(state, lines=lines))
            if trial is None:
                high = (low + high) / 2
            else:
                best, low = trial, (low + high) / 2
        return best

    def annealed(self, state: State | None, seconds: float) -> float:
        """The least area met from a state on."""
        best = np.inf if state is None else state.area
        begun = time.perf_counter()
        while state is not None and (share := (time.perf_counter() - begun) / seconds) < 1:
            heat = 0.003 * best * (1 - share) ** 3
            there = self.step(state, 10 ** self.draw.uniform(-5 * share - 0.5, 0.2))
            if there is None:
                continue
            if there.area < state.area or self.draw.uniform() < np.exp((state.area - there.area) / heat):
                state, best = there, min(best, there.area)
        return best

    def begun(self, outline: Polygon) -> State:
        """The state of an outline: its sides that are not on free border."""
        corners = shapely.get_coordinates(shapely.orient_polygons(outline).exterior)
        sides = np.array(list(pairwise(corners)))
        border = shapely.linestrings(np.stack([self.ring, self.onward], axis=1))[self.free]
        on = shapely.covers(shapely.union_all(shapely.buffer(border, 2e-4)), shapely.linestrings(sides))
        number = np.flatnonzero(~on)
        cuts, onward = sides[number], np.roll(number, -1)
        along = (onward - number) % len(sides) != 1
        if len(number) == 1:
            along[:] = True
        step = cuts[:, 1] - cuts[:, 0]
        angle = np.arctan2(step[:, 1], step[:, 0])
        distance = np.sum(cuts[:, 0] * to_right(angle), axis=1)
        return State(np.column_stack([angle, distance]), cuts.mean(axis=1), along)

    def split(self, state: State) -> State:
        """One more cut: a cut in two, turned a hair outwards about a point of it."""
        k = self.draw.randint(len(state.lines))
        found = self.corners(state)
        if found is None:
            return state
        one, other = found[0][k]
        pivot = one + self.draw.uniform(0.2, 0.8) * (other - one)
        angle = state.lines[k, 0] + np.array([-1e-7, 1e-7])
        pair = np.column_stack([angle, to_right(angle) @ pivot])
        halves = np.array([(one + pivot) / 2, (pivot + other) / 2])
        return State(
            np.insert(np.delete(state.lines, k, axis=0), k, pair, axis=0),
            np.insert(np.delete(state.points, k, axis=0), k, halves, axis=0),
            np.insert(state.along, k, False),
        )


def main() -> None:
    """Print for each outline the trade's area, the long search's, and the excess of the trade's."""
    given = [float(word) for word in sys.argv[1:]]
    count, seed, seconds = (int(given[0]) if given else 20), (int(given[1]) if given[1:] else 0), 20.0
    if given[2:]:
        seconds = given[2]
    excess: list[float] = []
    for number in range(seed, seed + count):
        kept, allowed, free = board(number)
        found = [each for each in smallest_for_each(annulus(kept, allowed, free)) if each.cuts]
        by_cuts = {each.cuts: each for each in found}
        search = Search(kept, allowed, free, number)
        for each in found:
            own = search.judged(search.begun(each.outline))
            if own is None or abs(own.area / each.area - 1) > 1e-5:
                print(f"board {number} cuts {each.cuts}: the search cannot start from this outline")
            fewer, starts = by_cuts.get(each.cuts - 1), [own]
            for _ in range(3 if fewer is not None else 0):
                starts.append(search.judged(search.split(search.begun(fewer.outline))))
            areas = [search.annealed(start, seconds / len(starts)) for start in starts]
            best, apart = min(areas), min(areas[1:], default=np.inf)
            excess.append((each.area / best - 1) * 100)
            print(
                f"board {number} cuts {each.cuts}: {each.area:.3f} long {best:.3f} excess {excess[-1]:.3f} %"
                f" (from one cut less {100 * (apart / each.area - 1):+.3f} %)",
                flush=True,
            )
    got = np.array(excess)
    print(f"outlines {len(got)}: within 0.5 %: {np.mean(got <= 0.5) * 100:.1f} %, worst {got.max():.2f} %")


if __name__ == "__main__":
    main()
