"""The same job turned, mirrored, shifted, in another order and with needless corners: the same outlines?

    python tests/bench/outlines_moved.py [jobs] [first seed] [most cuts]

Each job is a board with notches, kept parts in several pieces and, every other time, a case whose cavity
is open over the board's edge.  Printed: jobs whose fewest cuts differ, and the largest difference of an area.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely
import shapely.affinity
from boards_built import cavity_around, notched
from shapely import Polygon

from trimgeo.cutting.outline import Wish, choices
from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Case, Keepout, Ring
from trimgeo.model.job import Placing

WANTED = 1e-6
PLACING = Placing(print=0.0, taping=0.0, finish=0.0)

Job = tuple[list[Keepout], Polygon, Polygon | None]


def drawn(seed: int) -> Job:
    """Kept parts, the board's edge and a cavity or None."""
    draw = np.random.RandomState(seed)
    edge = notched(draw, shapely.box(0, 0, draw.uniform(80, 160), draw.uniform(60, 120)))
    x, y, right, top = edge.bounds
    middle = np.array([(x + right) / 2, (y + top) / 2])
    parts: list[Keepout] = []
    for k in range(draw.randint(3, 12)):
        at = middle + draw.uniform(-0.5, 0.5, 2) * (right - x, top - y) * draw.uniform(0.2, 0.6)
        size = draw.uniform(1, 12, 2)
        shape = shapely.affinity.rotate(shapely.box(*(at - size / 2), *(at + size / 2)), draw.uniform(0, 90))
        spine, radius = (shape, 0.0) if k % 3 else (shapely.Point(at), float(size[0] / 2))
        if shapely.covers(edge, shapely.buffer(spine, radius * 1.01 + 0.8)):
            parts.append(Keepout(f"part {k}", "other", spine, radius, (1,), None, 0.5, ""))
    if not parts:
        return drawn(seed + 100_000)
    if seed % 2:
        return parts, edge, None
    hull = shapely.convex_hull(shapely.union_all([each.spine.buffer(each.radius + 1) for each in parts]))
    return parts, edge, cavity_around(draw, shapely.intersection(hull, edge))


def moved(job: Job, change: Callable[..., shapely.Geometry]) -> Job:
    parts, edge, cavity = job
    return (
        [replace(each, spine=change(each.spine)) for each in parts],
        change(edge),
        None if cavity is None else change(cavity),
    )


def with_needless_corners(shape: shapely.Geometry, draw: np.random.RandomState) -> shapely.Geometry:
    if shape.geom_type != "Polygon":
        return shape
    corners = shapely.get_coordinates(shape.exterior)
    points = []
    for start, end in pairwise(corners):
        points.append(start)
        if draw.uniform() < 0.4:
            points.append(start + draw.uniform(0.2, 0.8) * (end - start))
    by = draw.randint(len(points))
    return Polygon(np.roll(points, by, axis=0))


def twins(job: Job, seed: int) -> Iterator[tuple[str, Job]]:
    draw = np.random.RandomState(seed)
    angle = draw.uniform(0, 360)
    yield "turned", moved(job, lambda shape: shapely.affinity.rotate(shape, angle, origin=(7, 7)))
    yield "mirrored", moved(job, lambda shape: shapely.affinity.scale(shape, -1, 1, origin=(0, 0)))
    yield "shifted", moved(job, lambda shape: shapely.affinity.translate(shape, 1234.5, -777.7))
    yield "in another order", (job[0][::-1], *job[1:])
    yield "with needless corners", moved(job, lambda shape: with_needless_corners(shape, draw))


def areas(job: Job, most: int) -> dict[int, float]:
    parts, edge, cavity = job
    case = None if cavity is None else Case(Ring(shapely.orient_polygons(cavity)), (), gap=0.0)
    try:
        found = choices(parts, edge, 0.3, 0.3, PLACING, most, Wish(case=case))
        return {each.cuts: each.area for each in found}
    except NoOutlineError:
        return {}


def main() -> int:
    """Print a row for each difference, then the worst."""
    given = [int(word) for word in sys.argv[1:]]
    count, first, most = (*given, *(400, 0, 6)[len(given) :])
    unlike, worst, refused = 0, 0.0, 0
    for seed in range(first, first + count):
        job = drawn(seed)
        before = areas(job, most)
        refused += not before
        for name, other in twins(job, seed):
            after = areas(other, most)
            if before.keys() != after.keys():
                print(f"job {seed} {name}: cuts {sorted(before)} and {sorted(after)}", flush=True)
                unlike += min(before, default=-1) != min(after, default=-1)
                continue
            apart = max((abs(after[cuts] / before[cuts] - 1) for cuts in before), default=0.0)
            worst = max(worst, apart)
            if apart > WANTED:
                print(f"job {seed} {name}: areas differ by {apart:.1e}", flush=True)
    print(f"{count} jobs ({refused} without an outline): other fewest {unlike}, areas within {worst:.1e}")
    return int(unlike > 0 or worst > WANTED)


if __name__ == "__main__":
    sys.exit(main())
