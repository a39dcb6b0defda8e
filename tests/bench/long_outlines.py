"""A long search by chance for smaller outlines, to judge the trade: another method with far more time.

    python tests/bench/long_outlines.py [boards] [first seed] [seconds for each outline]

Simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983) over the straight lines of closed outlines, each
by direction and distance, on boards whose border costs everywhere.  Each change is tried by itself: a line
turns about a point of its side, moves, or is pushed in until it touches; it is taken where all sides stay
in the annulus. Starts: the outline found with so many cuts, that with one less and a side split in two, and
the fewest split.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import shapely
from boards_built import board
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import annulus
from trimgeo.plane.trade import smallest_for_each

Floats = NDArray[np.float64]


def crossings(sides: Floats, walls: Floats) -> bool:
    """Whether any of the sides, shape (s, 2, 2), crosses a wall, shape (w, 2, 2)."""
    ax, ay, bx, by = (sides[:, [end], axis] for end in (0, 1) for axis in (0, 1))
    cx, cy, dx, dy = walls[:, 0, 0], walls[:, 0, 1], walls[:, 1, 0], walls[:, 1, 1]
    ux, uy, vx, vy = bx - ax, by - ay, dx - cx, dy - cy
    one = (ux * (cy - ay) - uy * (cx - ax)) * (ux * (dy - ay) - uy * (dx - ax)) < 0
    other = (vx * (ay - cy) - vy * (ax - cx)) * (vx * (by - cy) - vy * (bx - cx)) < 0
    return bool(np.any(one & other))


def corners_of(lines: Floats) -> Floats:
    """Where each line meets the next one: lines by direction and distance to the right, shape (n, 2)."""
    angle, distance = lines.T
    x, y = np.sin(angle), -np.cos(angle)
    u, v, far = np.roll(x, -1), np.roll(y, -1), np.roll(distance, -1)
    determinant = x * v - y * u
    return np.column_stack([distance * v - y * far, x * far - distance * u]) / determinant[:, None]


def area_of(corners: Floats) -> float:
    x, y = corners.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


class Search:
    """Annealing in one annulus."""

    def __init__(self, kept: Polygon, allowed: Polygon, seed: int) -> None:
        rings = [
            shapely.get_coordinates(kept.buffer(-4e-5, join_style="mitre").exterior),
            shapely.get_coordinates(allowed.buffer(4e-5, join_style="mitre").exterior),
        ]
        self.walls = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
        self.inside = shapely.get_coordinates(shapely.point_on_surface(kept))[0]
        self.draw = np.random.RandomState(seed)

    def sound(self, lines: Floats, changed: int | None = None) -> Floats | None:
        """Corners, where all sides run forward, cross nothing and go around; one line has changed."""
        corners = corners_of(lines)
        if not np.isfinite(corners).all():
            return None
        along = np.column_stack([np.cos(lines[:, 0]), np.sin(lines[:, 0])])
        if np.any(np.sum((corners - np.roll(corners, 1, axis=0)) * along, axis=1) < 0):
            return None
        own = np.stack([np.roll(corners, 1, axis=0), corners], axis=1)
        fresh = own if changed is None else own[[changed - 1, changed, (changed + 1) % len(own)]]
        if crossings(fresh, self.walls) or crossings(fresh, own):
            return None
        x, y = (corners - self.inside).T
        u, v = np.roll(x, -1), np.roll(y, -1)
        turn = np.arctan2(x * v - y * u, x * u + y * v).sum()
        return corners if abs(turn - 2 * np.pi) < 1 else None

    def annealed(self, lines: Floats, seconds: float) -> float:
        """The least area met from ``lines`` on."""
        corners = self.sound(lines)
        if corners is None:
            return np.inf
        area = best = area_of(corners)
        begun = time.perf_counter()
        while (share := (time.perf_counter() - begun) / seconds) < 1:
            heat = 0.003 * best * (1 - share) ** 3
            size = 10 ** self.draw.uniform(-5 * share - 0.5, 0.2)
            trial = lines.copy()
            k = self.draw.randint(len(lines))
            pivot = corners[k - 1] + self.draw.uniform() * (corners[k] - corners[k - 1])
            kind = self.draw.randint(3)
            if kind == 0:
                trial[k, 1] -= 5 * size * self.draw.uniform(-0.5, 1)
            else:
                trial[k, 0] += 0.3 * size * self.draw.normal()
                trial[k, 1] = pivot @ (np.sin(trial[k, 0]), -np.cos(trial[k, 0]))
            if kind == 2:
                trial = self.pushed(trial, k)
            there = self.sound(trial, k)
            if there is None:
                continue
            fresh = area_of(there)
            if fresh < area or self.draw.uniform() < np.exp((area - fresh) / max(heat, 1e-12)):
                lines, corners, area = trial, there, fresh
                best = min(best, area)
        return best

    def pushed(self, lines: Floats, k: int) -> Floats:
        """Line k moved in as far as it goes, by halving."""
        low, high = 0.0, 5.0
        for _ in range(12):
            middle = (low + high) / 2
            trial = lines.copy()
            trial[k, 1] -= middle
            if self.sound(trial, k) is not None:
                low = middle
            else:
                high = middle
        trial = lines.copy()
        trial[k, 1] -= low
        return trial


def lines_of(outline: Polygon) -> Floats:
    corners = shapely.get_coordinates(shapely.orient_polygons(outline).exterior)[:-1]
    side = corners - np.roll(corners, 1, axis=0)
    angle = np.arctan2(side[:, 1], side[:, 0])
    return np.column_stack(
        [angle, np.sum(corners * np.column_stack([np.sin(angle), -np.cos(angle)]), axis=1)]
    )


def split(lines: Floats, draw: np.random.RandomState, corners: Floats) -> Floats:
    """One more line: a side in two, turned a hair outwards about a point of it."""
    k = draw.randint(len(lines))
    point = corners[k - 1] + draw.uniform(0.2, 0.8) * (corners[k] - corners[k - 1])
    angles = lines[k, 0] + np.array([-1e-7, 1e-7])
    pair = np.column_stack([angles, np.column_stack([np.sin(angles), -np.cos(angles)]) @ point])
    return np.insert(np.delete(lines, k, axis=0), k, pair, axis=0)


def main() -> None:
    """Print for each outline the trade's area, the long search's, and the excess of the trade's."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    seconds = float(sys.argv[3]) if len(sys.argv) > 3 else 20.0
    excess: list[float] = []
    seed = first
    while count:
        kept, allowed, _ = board(seed)
        room = annulus(kept, allowed, np.zeros(len(allowed.exterior.coords) - 1, dtype=bool))
        found = list(smallest_for_each(room))
        by_cuts = {each.cuts: each for each in found}
        search = Search(kept, allowed, seed)
        for each in found:
            starts = [lines_of(each.outline)]
            fewer = by_cuts.get(each.cuts - 1)
            for _ in range(3 if fewer is not None else 0):
                lines = lines_of(fewer.outline)
                starts.append(split(lines, search.draw, corners_of(lines)))
            best = min(search.annealed(start, seconds / len(starts)) for start in starts)
            excess.append((each.area / best - 1) * 100)
            print(
                f"board {seed} cuts {each.cuts}: {each.area:.3f} long {best:.3f} excess {excess[-1]:.3f} %",
                flush=True,
            )
        seed, count = seed + 1, count - 1
    got = np.array(excess)
    print(f"outlines {len(got)}: within 0.5 %: {np.mean(got <= 0.5) * 100:.1f} %, worst {got.max():.2f} %")


if __name__ == "__main__":
    main()
