"""Time of the trade to 12 cuts, and its growth, against a library's triangulation called 100 times.

    python tests/bench/outline_speed.py

Kept stars of 20 to 500 corners in a walled room, boards of about 200 kept corners, convex kept shapes; the
bare work triangulates the same annulus (of convex shapes the hull) with
`shapely.constrained_delaunay_triangles`.
"""

from __future__ import annotations

import numpy as np
import shapely
from boards_built import board
from numpy.typing import NDArray
from shapely import Polygon
from timing import HEAD, in_turn, row

from trimgeo.plane.annulus import annulus
from trimgeo.plane.trade import smallest_for_each

RUNS = 3


def timed(
    name: str, kept: Polygon, allowed: Polygon, free: NDArray[np.bool_], shape: Polygon, most: float
) -> float:
    """Print a row for one job; seconds of the whole trade."""

    def trade() -> None:
        for _ in smallest_for_each(annulus(kept, allowed, free)):
            pass

    def first() -> None:
        next(smallest_for_each(annulus(kept, allowed, free)))

    def bare() -> None:
        for _ in range(100):
            shapely.constrained_delaunay_triangles(shape)

    ours, judge = in_turn(trade, bare, RUNS)
    print(row(name, ours, judge, most))
    print(f"{'  to the first outline':54} {in_turn(first, bare, RUNS)[0] * 1000:9.1f}", flush=True)
    return ours


def star(corners: int) -> Polygon:
    """A star whose corners lie between two circles."""
    draw = np.random.RandomState(corners)
    angle = np.sort(draw.uniform(0, 2 * np.pi, corners))
    radius = draw.uniform(20, 30, corners)
    return Polygon(radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def main() -> None:
    """Print the table."""
    print(HEAD)
    room, walls = shapely.box(-33, -32, 34, 35), np.zeros(4, dtype=bool)
    sizes, times = (20, 50, 100, 200, 500), []
    for corners in sizes:
        kept = star(corners)
        most = 40.0 if corners == 200 else np.inf
        shape = Polygon(room.exterior, [kept.exterior])
        times.append(timed(f"star of {corners} corners", kept, room, walls, shape, most))
    growth = np.polyfit(np.log(sizes), np.log(times), 1)[0]
    steepest = np.max(np.diff(np.log(times)) / np.diff(np.log(sizes)))
    print(f"growth exponent {growth:.2f}, between neighbours at most {steepest:.2f} (1.4 wanted)")
    for seed in [seed for seed in range(60) if 180 <= len(board(seed)[0].exterior.coords) <= 240][:4]:
        kept, allowed, free = board(seed)
        shape = Polygon(allowed.exterior, [kept.exterior])
        timed(f"board {seed} of {len(kept.exterior.coords) - 1} corners", kept, allowed, free, shape, 40.0)
    for corners in (50, 100, 200):
        angle = np.sort(np.random.RandomState(corners).uniform(0, 2 * np.pi, corners))
        hull = Polygon(np.column_stack([30 * np.cos(angle), 20 * np.sin(angle)]))
        most = 30.0 if corners == 200 else np.inf
        timed(f"convex of {corners} corners", hull, shapely.box(-300, -300, 300, 310), walls, hull, most)


if __name__ == "__main__":
    main()
