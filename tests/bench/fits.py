"""Boards in cavities: ``python tests/bench/fits.py [PAIRS] [FIRST]``.

The most room of random pairs (tests/plane/random_pairs.py) against a fine search over shift and turn with
shapely alone (tests/plane/fine_search.py), which attains what it says and so is no more than the truth.
First the time for boards and cavities of 40 corners against a bare loop of 360 erosions of the same cavity.
Every miss is printed; the exit status tells of one.
"""

import importlib.util
import sys
import time
from pathlib import Path

import numpy as np
import shapely
import shapely.affinity

from trimgeo.plane.fitting import most_room

LIMIT = 0.02
"""mm between our room and the search's."""

MOST_RATIO = 10.0


def load(name):
    path = Path(__file__).parents[1] / "plane" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def judged(pairs, search, seed):
    """Our room, its bound, what shapely says of our pose, what the search found."""
    board, cavity = pairs.pair(seed)
    found = most_room(board, cavity)
    pose = np.array([[*found.shift, np.radians(found.angle)]])
    attained = search.rooms(shapely.get_coordinates(board)[:-1], cavity, pose, 0.01)[0]
    best = search.most_room(board, cavity)[0]
    if found.room > best + LIMIT:
        best = max(best, search.most_room(board, cavity, seed=1, kept=300)[0])  # it was short: look longer
    return found.room, found.bound, attained, best


def compare(count, first):
    pairs, search = load("random_pairs"), load("fine_search")
    rows, misses = [], 0
    for seed in range(first, first + count):
        room, bound, attained, best = judged(pairs, search, seed)
        rows.append((room, bound, attained, best))
        wrong = []
        if (room >= 0) != (attained >= -1e-6):
            wrong.append("does not fit where it is said to")
        if room >= 0 > best + LIMIT or room < best - LIMIT:
            wrong.append("less than the search found")
        if abs(room - attained) > LIMIT:
            wrong.append("not attained")
        if best > bound + 1e-6:
            wrong.append("over the bound")
        if room > best + LIMIT:
            print(f"pair {seed}: ours {room:.4f}, the search only {best:.4f}: the search is short")
        if wrong:
            misses += 1
            said = ", ".join(wrong)
            print(f"pair {seed}: ours {room:.4f}, attained {attained:.4f}, search {best:.4f}: {said}")
    room, bound, attained, best = np.array(rows).T
    fits, over = room >= 0, room - best
    print(f"{count} pairs, {fits.sum()} fit, {(~fits).sum()} do not, {misses} misses")
    print(f"fit: ours less the search's, least, median, most {np.quantile(over[fits], [0, 0.5, 1]).round(4)}")
    print(f"fit: proved to within 0.006 mm in {np.mean((bound - room)[fits] < 0.006):.1%}")
    if (~fits).any():
        print(f"no fit: the same {np.quantile(over[~fits], [0, 0.5, 1]).round(4)}")
        print(f"no fit: proved that none fits in {np.mean(bound[~fits] <= 1e-6):.1%}")
        print(f"no fit: proved to within 0.01 mm in {np.mean((bound - room)[~fits] < 0.01):.1%}")
    return misses


def timed(ours, bare, runs=5):
    """Median processor seconds of both, timed in turn, and our answer."""
    took = []
    for _ in range(runs):
        began = time.process_time()
        found = ours()
        between = time.process_time()
        bare()
        took.append((between - began, time.process_time() - between))
    return *np.median(took, axis=0), found


def speed_pairs(pairs):
    """Kind, board and cavity of 40 corners: tight, loose, much smaller, too large."""
    for seed in range(20):
        rng = np.random.RandomState(1000 + seed)
        if seed < 4:
            board = pairs.star(rng, 40, 25 + 3 * seed, 40)
            corners = shapely.get_coordinates(board.buffer(1.0, join_style="mitre"))[:-1]
            kind, cavity = "grown from it", shapely.Polygon(corners + rng.uniform(-0.4, 0.4, corners.shape))
        elif seed < 8:
            kind, board, cavity = (
                "another star",
                pairs.star(rng, 40, 24, 28),
                pairs.star(rng, 40, 28 + seed, 48),
            )
        else:
            size = (0.25, 0.5, 0.7, 1.05)[seed % 4]
            kind, cavity = f"a star of {size:g} the size", pairs.star(rng, 40, 30, 50)
            board = shapely.affinity.scale(pairs.star(rng, 40, 24, 40), size, size, origin=(0, 0))
        yield kind, board, shapely.affinity.rotate(cavity, 70, origin=(0, 0))


def speed():
    pairs, over = load("random_pairs"), 0
    print(f"{'40 corners in 40 corners':34} {'ours ms':>8} {'bare ms':>8} {'ratio':>6}  room, proved to")
    for kind, board, cavity in speed_pairs(pairs):
        ours, bare, found = timed(
            lambda b=board, c=cavity: most_room(b, c), lambda c=cavity: [c.buffer(-1.0) for _ in range(360)]
        )
        over += ours / bare > MOST_RATIO
        said = f"{1e3 * ours:8.0f} {1e3 * bare:8.0f} {ours / bare:6.1f}  {found.room:.3f}, {found.bound:.3f}"
        print(f"{kind:34} {said}{'  OVER' if ours / bare > MOST_RATIO else ''}", flush=True)
    return over


def main(count=200, first=0):
    over = speed()
    return 1 if compare(count, first) + over else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
