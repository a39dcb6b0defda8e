"""Boards far too large for their cavities: ``python tests/bench/too_large.py [PAIRS] [FIRST]``.

Boards of random pairs (tests/plane/random_pairs.py: convex and not, with posts) made larger: the processor
seconds for the answer, and how much of what a board is said to lack is proved.  A search over shift and turn
with shapely alone (rooms by tests/plane/fine_search.py; from our own pose and from others) must not find that
it lacks less.
Every miss is printed; the exit status tells of one.
"""

import sys
import time

import numpy as np
import shapely
from fits import load
from shapely import affinity

from trimgeo.plane.fitting import most_room

LARGER = (1.3, 2, 5, 10, 30)
MOST_SECONDS = 2.0
WELL = 0.1
"""A lack is proved well where no more than this share of it is not proved."""


def searched(search, board, cavity, found, rng):
    """The most room, minus the lack, that bare searches find, looked at closely in the end."""
    middle = shapely.get_coordinates(shapely.minimum_bounding_circle(board).centroid)[0]
    xy = shapely.get_coordinates(board)[:-1] - middle
    size, turn = np.hypot(*np.ptp(xy, axis=0)), np.radians(found.angle)
    back = search.moved(middle[None], np.array([[0, 0, turn]]))[0, 0]
    ours = np.array([*(found.shift + back), turn])
    x, y = shapely.get_coordinates(cavity.centroid)[0]
    shifts = rng.uniform(-0.25, 0.25, (300, 2)) * (size + cavity.length / 4) + (x, y)
    tried = np.vstack([ours, np.column_stack([shifts, rng.uniform(-np.pi, np.pi, 300)])])
    rated = search.rooms(xy, cavity, tried, size / 15)
    poses = [ours, *tried[np.argsort(-rated)[:3]]]
    for reach in (0.1, 0.05, 0.02, 0.01, 0.003, 0.001):
        spacing = max(reach * size / 4, size / 200)
        for n, pose in enumerate(poses):
            tried = np.vstack([pose, pose + rng.uniform(-1, 1, (40, 3)) * reach * (size, size, 3.0)])
            poses[n] = tried[int(np.argmax(search.rooms(xy, cavity, tried, spacing)))]
    return search.rooms(xy, cavity, np.array(poses), size / 2000).max()


def row(pairs, search, seed, larger):
    board, cavity = pairs.pair(seed)
    board = affinity.scale(board, larger, larger, origin=(0, 0))
    began = time.process_time()
    found = most_room(board, cavity)
    took = time.process_time() - began
    best = searched(search, board, cavity, found, np.random.RandomState(seed))
    wrong = []
    if best > found.bound + 1e-6:
        wrong.append("lacks less than is proved")
    if found.room > found.bound + 1e-9:
        wrong.append("more room than its bound")
    if took > MOST_SECONDS:
        wrong.append(f"{took:.1f} s")
    if wrong:
        said = f"ours {found.room:.4f}, bound {found.bound:.4f}, search {best:.4f}: {', '.join(wrong)}"
        print(f"pair {seed}, {larger:g} times: {said}", flush=True)
    return took, found.room, found.bound, best, bool(wrong)


def main(count=12, first=0):
    pairs, search, missed = load("random_pairs"), load("fine_search"), 0
    print(
        f"{'larger':>6} {'median s':>8} {'most s':>7} {'proved, least and median share':>31} well over search"
    )
    for larger in LARGER:
        rows = np.array([row(pairs, search, seed, larger) for seed in range(first, first + count)])
        took, room, bound, best, wrong = rows.T
        missed += int(wrong.sum())
        out = room < 0
        share = (bound / room)[out]
        told = f"{share.min():.3f} {np.median(share):.3f}"
        over = ((best - room) / -room)[out].max()
        well = f"{np.mean(share > 1 - WELL):5.1%} {over:12.2%}"
        print(f"{larger:6g} {np.median(took):8.2f} {took.max():7.2f} {told:>31} {well}", flush=True)
    print(f"{missed} misses")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
