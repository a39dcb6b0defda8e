"""Clearances against bare vectorised distances, as a table: ``python tests/bench/bench_clearance.py``.

Both sides are timed in turn in the same run, on arrays built outside both; medians of 9.
"""

import math
import statistics
import sys
import time

import numpy as np
import shapely

from trimgeo.cutting.clearance import nominal_clearances, rows
from trimgeo.model.board import Keepout
from trimgeo.model.job import Placing

ROUNDS = 9
MOST_TIMES_BARE = 1.5
MOST_EXPONENT = 1.15


def scene(count):
    """A 12-cornered outline within a board, and keep-outs of 12 corners that lie in it."""
    rng = np.random.default_rng(count)
    board = shapely.box(0, 0, 200, 200)
    angle = 2 * np.pi * np.arange(12) / 12
    finished = shapely.Polygon(np.column_stack([100 + 90 * np.cos(angle), 100 + 90 * np.sin(angle)]))
    corners = shapely.get_coordinates(finished.exterior)
    cuts = list(shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1)))
    way = rng.uniform(0, 2 * np.pi, count)
    at = 100 + (80 * np.sqrt(rng.uniform(0, 1, count)) * np.stack([np.cos(way), np.sin(way)])).T
    turn = np.sort(rng.uniform(0, 2 * np.pi, (count, 12)), axis=1)
    reach = rng.uniform(0.5, 2.0, (count, 12, 1))
    spines = shapely.polygons(at[:, None] + reach * np.stack([np.cos(turn), np.sin(turn)], axis=-1))
    return board, finished, cuts, spines


def timed(*calls):
    """Medians, s, of calls made in turn."""
    times = [[] for _ in calls]
    for _ in range(ROUNDS):
        for call, own in zip(calls, times, strict=True):
            started = time.perf_counter()
            call()
            own.append(time.perf_counter() - started)
    return [statistics.median(own) for own in times]


def measure(count):
    """Seconds of bare distances, of clearances and of whole rows."""
    board, finished, cuts, spines = scene(count)
    radii, on_board = np.zeros(count), np.ones(count, dtype=bool)
    outline = finished.exterior
    keepouts = [
        Keepout(str(n), "component", spine, 0.0, (1,), None, 0.5, "") for n, spine in enumerate(spines)
    ]
    return timed(
        lambda: shapely.distance(spines, outline),
        lambda: nominal_clearances(spines, radii, on_board, finished, cuts, board),
        lambda: rows(keepouts, finished, cuts, board, 0.3, 0.5, Placing()),
    )


def main():
    counts = (1250, 2500, 5000, 10000, 20000, 40000)
    figures = {count: measure(count) for count in counts}
    print("keep-outs   bare distance   clearances   ratio   with rows   ratio")
    for count, (bare, clear, whole) in figures.items():
        print(
            f"{count:9d}   {bare * 1e3:10.1f} ms   {clear * 1e3:7.1f} ms   {clear / bare:5.2f}"
            f"   {whole * 1e3:6.1f} ms   {whole / bare:5.2f}"
        )
    ratio = figures[10000][1] / figures[10000][0]
    exponent = math.log(figures[40000][1] / figures[1250][1]) / math.log(40000 / 1250)
    print(f"ratio at 10000: {ratio:.2f} (at most {MOST_TIMES_BARE})")
    print(f"exponent of growth from 1250 to 40000: {exponent:.3f} (at most {MOST_EXPONENT})")
    return 0 if ratio <= MOST_TIMES_BARE and exponent <= MOST_EXPONENT else 1


if __name__ == "__main__":
    sys.exit(main())
