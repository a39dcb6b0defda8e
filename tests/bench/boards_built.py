"""Built outlines on random boards: the count against the proved bound, and the validity of each outline.

    python tests/bench/boards_built.py [count] [first seed]

Each board has 20 to 200 corners of kept parts, notches and cut-outs in its edge, and a cavity that may be
open over the edge of the board.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import annulus
from trimgeo.plane.fewest import fewest_in
from trimgeo.plane.trade import Smallest, smallest_for_each


def board(seed: int) -> tuple[Polygon, Polygon, NDArray[np.bool_]]:
    """What is kept (one piece), what is allowed, and which sides of the latter are free."""
    draw = np.random.RandomState(seed)
    while True:
        edge = notched(draw, shapely.box(0, 0, draw.uniform(80, 160), draw.uniform(60, 120)))
        x, y, right, top = edge.bounds
        parts = []
        middle = np.array([(x + right) / 2, (y + top) / 2])
        count = draw.randint(20, 201)
        spread = draw.uniform(0.3, 0.8)
        for _ in range(count):
            at = middle + draw.uniform(-0.5, 0.5, 2) * (right - x, top - y) * spread
            size = draw.uniform(1, 4, 2) + draw.uniform(0, 40, 2) / np.sqrt(count)
            part = shapely.box(*(at - size / 2), *(at + size / 2))
            if draw.uniform() < 0.3:
                part = shapely.affinity.rotate(part, draw.uniform(0, 90))
            parts.append(part)
        kept = shapely.unary_union(parts).buffer(3, join_style="mitre").buffer(-2.5, join_style="mitre")
        kept = Polygon(max(shapely.get_parts(kept), key=lambda each: each.area).exterior)
        kept = shapely.intersection(kept, edge)
        cavity = cavity_around(draw, kept)
        allowed = shapely.intersection(edge, cavity)
        pieces = [p for p in shapely.get_parts(allowed) if shapely.covers(p, kept)]
        if kept.geom_type != "Polygon" or not pieces or pieces[0].geom_type != "Polygon":
            continue
        allowed = Polygon(pieces[0].exterior)
        return Polygon(kept.exterior), allowed, free_flags(allowed, edge)


def free_flags(allowed: Polygon, edge: Polygon) -> NDArray[np.bool_]:
    """Which sides of ``allowed`` lie on the board's own edge."""
    ring = shapely.get_coordinates(allowed.exterior)
    sides = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
    return np.asarray(shapely.covers(shapely.buffer(edge.exterior, 1e-7), sides))


def notched(draw: np.random.RandomState, edge: Polygon) -> Polygon:
    """The board with rectangular or slanting notches and a rounded corner or two."""
    for _ in range(draw.randint(0, 5)):
        at = shapely.line_interpolate_point(edge.exterior, draw.uniform(), normalized=True)
        wide, high = draw.uniform(3, 20, 2)
        notch = shapely.box(at.x - wide, at.y - high, at.x + wide, at.y + high)
        if draw.uniform() < 0.4:
            notch = shapely.affinity.rotate(notch, draw.uniform(0, 90))
        edge = max(shapely.get_parts(shapely.difference(edge, notch)), key=lambda each: each.area)
    if draw.uniform() < 0.3:
        rounded = edge.buffer(-2).buffer(2, quad_segs=4)
        edge = max(shapely.get_parts(rounded), key=lambda each: each.area)
    return Polygon(edge.exterior)


def cavity_around(draw: np.random.RandomState, kept: Polygon) -> Polygon:
    """A cavity that holds the kept part with some room, posts in its walls, at times over the edge."""
    x, y, right, top = kept.bounds
    room = draw.uniform(0.5, 25, 4)
    cavity = shapely.box(x - room[0], y - room[1], right + room[2], top + room[3])
    if draw.uniform() < 0.4:
        cavity = shapely.intersection(cavity, kept.buffer(draw.uniform(2, 12), join_style="mitre"))
    for _ in range(draw.randint(0, 6)):
        at = shapely.line_interpolate_point(cavity.exterior, draw.uniform(), normalized=True)
        post = at.buffer(draw.uniform(2, 10), quad_segs=draw.randint(1, 5))
        rest = shapely.difference(cavity, shapely.difference(post, kept.buffer(draw.uniform(0.2, 2))))
        cavity = max(shapely.get_parts(rest), key=lambda each: shapely.intersection(each, kept).area)
    return Polygon(cavity.exterior)


def judge(seed: int) -> dict[str, object]:
    """Build outlines for one board and check them with shapely alone."""
    kept, allowed, free = board(seed)
    room = annulus(kept, allowed, free)
    begun = time.perf_counter()
    few = fewest_in(room)
    found = list(smallest_for_each(room))
    took = time.perf_counter() - begun
    ring = shapely.get_coordinates(allowed.exterior)
    own = shapely.buffer(
        shapely.union_all(shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1)[free])), 1e-4
    )
    faults = [
        f"{each.cuts} cuts: {fault}"
        for each in (Smallest(few.count, few.outline.area, few.outline), *found)
        for fault in faults_of(each, kept, allowed, own)
    ]
    faults += [] if found and found[0].cuts == few.count else ["the trade does not begin with the fewest"]
    areas = [each.area for each in found]
    faults += [] if areas == sorted(areas, reverse=True) else ["more cuts, more area"]
    return {
        "seed": seed,
        "kept": len(room.kept),
        "allowed": len(room.allowed),
        "count": few.count,
        "proved": few.proved,
        "seconds": took,
        "areas": {each.cuts: each.area for each in found},
        "faults": faults,
    }


def faults_of(each: Smallest, kept: Polygon, allowed: Polygon, own: Polygon) -> list[str]:
    """What is wrong: not simple, not around the kept part or within the allowed one, other cuts."""
    outline, wide = each.outline, Polygon(allowed.exterior).buffer(1e-4, join_style="mitre")
    ring = shapely.get_coordinates(outline.exterior)
    sides = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
    cuts = int(np.sum(~shapely.covers(own, sides)))
    return [
        fault
        for fault, wrong in (
            ("not simple", not outline.is_valid),
            ("kept part outside", not outline.buffer(1e-4, join_style="mitre").covers(kept)),
            ("leaves what is allowed", not wide.covers(outline)),
            (f"has {cuts}", cuts != each.cuts),
        )
        if wrong
    ]


def main() -> None:
    """Print a line for each board that has a fault or is not proved, and the counts."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    proved = faulty = 0
    seconds: list[float] = []
    for seed in range(first, first + count):
        result = judge(seed)
        proved += result["count"] == result["proved"]
        faulty += bool(result["faults"])
        seconds.append(float(str(result["seconds"])))
        if result["faults"] or result["count"] != result["proved"]:
            print({key: value for key, value in result.items() if key != "areas"}, flush=True)
    print(f"boards {count}  fewest proved {proved}  with a fault {faulty}")
    print(f"seconds: median {np.median(seconds):.2f}  most {np.max(seconds):.2f}")


if __name__ == "__main__":
    main()
