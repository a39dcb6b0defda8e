"""The bound for islands and a post against outlines that are found without it: none may have fewer cuts.

    python tests/bench/post_bounds.py [count] [first seed]

Islands in a room are joined by random trees as thin as a line, on either side of the post, as in
`island_bounds`; from the post slits are cut to the border; the fewest cuts around such a shape in such a room
are an outline.  The search for the bound is told that one cut more is known than was found, so that it is
not kept from going too far.
"""

from __future__ import annotations

import sys
from collections import Counter

import numpy as np
import shapely
import shapely.affinity
from island_bounds import Bools, joined
from shapely import Polygon

from trimgeo.cutting.posts import HAIRLINE, openings
from trimgeo.plane.annulus import NoRoomError, annulus
from trimgeo.plane.cover import around_islands
from trimgeo.plane.fewest import fewest_cuts, fewest_in
from trimgeo.plane.islands import least_links
from trimgeo.plane.slits import least_beside

JOININGS = 8
NONE = 99


def drawn(draw: np.random.RandomState) -> tuple[list[Polygon], Polygon, Polygon, Bools]:
    """Islands, a post between them, a room with notches, and which of its sides are free."""
    while True:
        wide, high = draw.uniform(30, 60, 2)
        room = shapely.box(0, 0, wide, high)
        for _ in range(draw.randint(0, 3)):
            at, size = draw.uniform((0, 0), (wide, high)), draw.uniform(2, 10, 2)
            notch = shapely.affinity.rotate(shapely.box(*(at - size), *(at + size)), draw.choice([0, 0, 30]))
            room = shapely.difference(room, notch)
        if not isinstance(room, Polygon) or room.interiors:
            continue
        islands: list[Polygon] = []
        wanted = draw.randint(2, 5)
        for _ in range(100):
            middle, size = draw.uniform((0, 0), (wide, high)), draw.uniform(3, 14, 2)
            part = shapely.box(*(middle - size / 2), *(middle + size / 2))
            part = shapely.affinity.rotate(part, draw.choice([0, draw.uniform(0, 90)]))
            apart = all(part.distance(each) > 0.8 for each in islands)
            if room.buffer(-0.4).covers(part) and apart and len(islands) < wanted:
                islands.append(part)
        kept = shapely.union_all(islands)
        for _ in range(50):
            at = shapely.Point(draw.uniform((0, 0), (wide, high)))
            post = Polygon(at.buffer(draw.uniform(0.5, 3), quad_segs=draw.randint(1, 4)).exterior)
            if (
                room.buffer(-0.2).covers(post)
                and post.distance(kept) > 0.3
                and post.intersects(kept.convex_hull)
            ):
                sides = len(room.exterior.coords) - 1
                return islands, post, room, draw.uniform(size=sides) < draw.choice([0, 0, 0.2, 0.5])


def fewest_opened(
    islands: list[Polygon], post: Polygon, room: Polygon, free: Bools, draw: np.random.RandomState
) -> int:
    """The fewest cuts around random joinings of the islands, in the room cut open from the post."""
    corners = shapely.get_coordinates(room.exterior)
    border = shapely.union_all(shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))[free])
    allowed, found = room.difference(post), [NONE]
    for _ in range(JOININGS):
        shape = joined(islands, allowed, draw)
        for slit in openings(allowed, shape, HAIRLINE)[0] if shape is not None else ():
            parts = shapely.get_parts(shapely.difference(allowed, slit))
            part = parts[int(np.argmin(shapely.distance(parts, shapely.point_on_surface(shape))))]
            ring = shapely.get_coordinates(part.exterior)
            sides = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
            flags = np.asarray(shapely.covers(shapely.buffer(border, 1e-6), sides))
            try:
                found += [] if part.interiors else [fewest_in(annulus(shape, part, flags)).count]
            except (NoRoomError, ValueError):  # too thin for an outline to be settled: no judge
                continue
    return min(found)


def judged(seed: int) -> tuple[int, int, bool] | None:
    """The bound, the fewest cuts found, and whether the post raised the bound; None where none was found."""
    draw = np.random.RandomState(seed)
    islands, post, room, free = drawn(draw)
    alone = least_links(around_islands(islands, room, free))
    hull = shapely.convex_hull(shapely.multipolygons(islands))
    least = alone.links if alone else fewest_cuts(hull, room, free).proved if room.covers(hull) else 0
    found = fewest_opened(islands, post, room, free, draw)
    if found == NONE:
        return None
    beside = least_beside(islands, post, room, free, least, found + 1)
    return (beside.links if beside else least), found, beside is not None


def main() -> int:
    """Print how near the outlines come to the bound, and every one that goes below it: 1 where any does."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    over: Counter[str] = Counter()
    wrong = raised = 0
    for seed in range(first, first + count):
        got = judged(seed)
        if got is None:
            over["no outline"] += 1
            continue
        bound, found, more = got
        raised += more
        over["the bound" if found == bound else "one more" if found == bound + 1 else "more"] += 1
        if found < bound:
            wrong += 1
            print(f"{seed}: bound {bound}, found {found}", flush=True)
    print(
        ", ".join(f"{name} {number}" for name, number in sorted(over.items())),
        f"; raised by the post {raised}",
    )
    print(f"bounds refuted: {wrong}")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
