"""Smallest outlines around random hulls, against judges that share no code with them.

    python tests/bench/random_outlines.py [hulls]

prints, for each number of cuts, the worst ratio of our area to that of three upper bounds: the smallest
polygon with all sides along hull sides (Aggarwal, Chang and Yap 1985; exact, by a program of its
own below), OpenCV's smallest rectangle (4) and triangle (3); then times by number of corners.
A ratio over 1 is a failure, and the exit status says so.
"""

from __future__ import annotations

import sys
import time

import cv2
import numpy as np
import shapely

from trimgeo.plane.hulls import convex_hull
from trimgeo.plane.kgon import smallest_outlines
from trimgeo.plane.tracks import surroundings

MOST = 12
FAR = 50.0
"""The ring stands this many times the hull's size away: out of reach for three cuts and more."""

ROUNDING = 1e-9


def random_hull(seed: int):
    """A hull of 3 to about 200 corners, shape (n, 2): scattered points, ovals, thin ones, grown discs."""
    rng = np.random.default_rng(seed)
    kind, count = seed % 4, int(3 * 70 ** rng.random())
    around = np.sort(rng.uniform(0, 2 * np.pi, count))
    if kind == 0:
        points = rng.normal(size=(count + 3, 2)) * (30, 20)
    elif kind == 1:
        points = np.column_stack([60 * np.cos(around), 35 * np.sin(around)])
    elif kind == 2:
        points = np.column_stack([60 * np.cos(around), 3 * np.sin(around)])
    else:
        centres = rng.uniform(0, 60, size=(5, 2))
        points = shapely.get_coordinates(shapely.MultiPoint(centres).buffer(rng.uniform(2, 20), quad_segs=16))
    return convex_hull(shapely.MultiPoint(np.vstack([points, rng.normal(size=(3, 2))])))


def square_around(hull, times: float = FAR):
    """Corners of a square, counter-clockwise, far around the hull."""
    middle, half = hull.mean(axis=0), times * np.ptp(hull, axis=0).max()
    return middle + half * np.array([(1, -1), (1, 1), (-1, 1), (-1, -1)])


def smallest_flush(hull, most: int):
    """Least area of a polygon with 3, 4, … ``most`` sides, each along a side of the hull: exact.

    What sides i and j leave between them is the polygon from the end of side i over the corner of both
    lines to the start of side j and back along the hull; k steps once around, from every side in turn.
    """
    n = len(hull)
    ends = np.roll(hull, -1, axis=0)
    direction = (ends - hull) / np.hypot(*(ends - hull).T)[:, None]
    step = np.full((n, 2 * n), np.inf)
    for i in range(n):
        for turn in range(1, n):
            j = (i + turn) % n
            sine = direction[i, 0] * direction[j, 1] - direction[i, 1] * direction[j, 0]
            if sine <= 1e-12:
                continue
            gap = hull[j] - ends[i]
            along = (gap[0] * direction[j, 1] - gap[1] * direction[j, 0]) / sine
            if along < -1e-9:
                continue
            corner = ends[i] + along * direction[i]
            chain = np.array([hull[(i + 1 + s) % n] for s in range(turn)])
            loop = np.vstack([ends[i], corner, chain[::-1]])
            x, y = (loop - ends[i]).T
            step[i, i + turn] = 0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))
    whole = shapely.Polygon(hull).area
    best = np.full(most + 1, np.inf)
    for start in range(n):
        order = (start + np.arange(n)) % n
        table = np.full((n, n + 1), np.inf)
        for a, i in enumerate(order):
            table[a, a + 1 :] = step[i, i + 1 : i + n + 1 - a]
        reach = np.full(n, np.inf)
        reach[0] = 0.0
        for sides in range(1, most + 1):
            moved = (reach[:, None] + table).min(axis=0)
            best[sides] = min(best[sides], whole + moved[n])
            reach = moved[:n]
    return np.minimum.accumulate(best)[3:]


def judged(seed: int):
    """Ratios of our areas to the judges', by judge and number of cuts, and our seconds."""
    hull = random_hull(seed)
    around = surroundings(hull, square_around(hull))
    began = time.process_time()
    found = smallest_outlines(around, MOST, 0.0)
    seconds = time.process_time() - began
    areas = [found[min(k, len(found)) - 1].area for k in range(3, MOST + 1)]
    flush = smallest_flush(hull, MOST)
    ratios = {("flush sides", k): areas[k - 3] / flush[k - 3] for k in range(3, MOST + 1)}
    # OpenCV works in single precision: about a millionth of the coordinates, which are brought near 0
    single = (hull - hull.mean(axis=0)).astype(np.float32)
    ratios["smallest rectangle", 4] = areas[1] / float(np.prod(cv2.minAreaRect(single)[1]))
    ratios["smallest triangle", 3] = areas[0] / cv2.minEnclosingTriangle(single.reshape(-1, 1, 2))[0]
    return len(hull), ratios, seconds


def limit(judge: str) -> float:
    """How far over 1 a ratio may be by the rounding of the judge."""
    return 1 + (ROUNDING if judge == "flush sides" else 5e-6)


def main(hulls: int) -> int:
    """Print the table; 1 where one ratio is over its limit."""
    worst: dict[tuple[str, int], list[float]] = {}
    times: dict[int, list[float]] = {}
    for seed in range(hulls):
        corners, ratios, seconds = judged(seed)
        for key, ratio in ratios.items():
            worst.setdefault(key, []).append(ratio)
        times.setdefault(int(np.log2(corners)), []).append(seconds)
    print(f"{'judge':20} {'cuts':>4} {'hulls':>6} {'median':>10} {'worst':>14} {'over':>5}")
    failed = 0
    for (judge, cuts), ratios in sorted(worst.items()):
        over = sum(ratio > limit(judge) for ratio in ratios)
        failed += over
        print(f"{judge:20} {cuts:4} {len(ratios):6} {np.median(ratios):10.6f} {max(ratios):14.11f} {over:5}")
    print(f"\n{'corners':>10} {'hulls':>6} {'median s':>9} {'most s':>7}   (processor, 1 to {MOST} cuts)")
    for power, seconds in sorted(times.items()):
        span = f"{2**power}–{2 ** (power + 1) - 1}"
        print(f"{span:>10} {len(seconds):6} {np.median(seconds):9.3f} {max(seconds):7.3f}")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 300))
