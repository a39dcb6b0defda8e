"""Built outlines on random boards with a case, through `trimgeo.cutting.outline`, judged with shapely alone.

    python tests/bench/boards_cut.py [count] [first seed]

Each board has 3 to 40 keep-outs, in one piece or in islands, notches in its edge, and mostly a cavity that
may be open over the edge, at times with posts.  Printed are refusals, how often the fewest cuts found are the
bound, and every outline that is wrong: kept area outside, board or case left, self-crossing, wrong count.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field

import numpy as np
import shapely
import shapely.affinity
from shapely import Point, Polygon

from trimgeo.cutting.outline import Wish, building, built
from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Case, Keepout, Ring
from trimgeo.model.job import Placing
from trimgeo.model.plan import Choice

EXACT = Placing(print=0.0, taping=0.0, finish=0.0)
REQUIRED = 0.5


@dataclass
class Judged:
    """What came of one board."""

    seed: int
    pieces: int = 0
    posts: int = 0
    hull_fits: bool = False
    fewest: int = -1
    proved: int = -1
    seconds: float = 0.0
    first: float = 0.0
    refused: str = ""
    faults: list[str] = field(default_factory=list)


def board(seed: int) -> tuple[Polygon, list[Keepout], Case | None]:
    """Edge, keep-outs and case."""
    draw = np.random.RandomState(seed)
    edge = notched(draw, shapely.box(0, 0, draw.uniform(80, 160), draw.uniform(60, 120)))
    parts = islands(draw, edge)
    kept = shapely.union_all([part.spine for part in parts]).buffer(REQUIRED)
    if draw.uniform() < 0.15:
        return edge, parts, None
    cavity, gap = cavity_around(draw, kept), float(draw.choice([0.0, 0.3, 1.0]))
    posts = []
    for _ in range(int(draw.choice([0, 0, 1, 2, 3]))):
        at = np.array([draw.uniform(*ends) for ends in np.array(cavity.bounds).reshape(2, 2).T])
        post = Point(at).buffer(draw.uniform(1, 4))
        if cavity.covers(post) and post.distance(kept) > gap + 0.5:
            posts.append(Ring(post))
    return edge, parts, Case(Ring(cavity), tuple(posts), gap)


def notched(draw: np.random.RandomState, edge: Polygon) -> Polygon:
    """The board with notches, rectangular or slanting."""
    for _ in range(draw.randint(0, 4)):
        at = shapely.line_interpolate_point(edge.exterior, draw.uniform(), normalized=True)
        wide, high = draw.uniform(3, 20, 2)
        notch = shapely.affinity.rotate(
            shapely.box(at.x - wide, at.y - high, at.x + wide, at.y + high), draw.choice([0.0, 30.0, 45.0])
        )
        edge = max(shapely.get_parts(shapely.difference(edge, notch)), key=lambda each: each.area)
    return Polygon(edge.exterior)


def islands(draw: np.random.RandomState, edge: Polygon) -> list[Keepout]:
    """Keep-outs about one to four places."""
    low, high = np.array(edge.bounds).reshape(2, 2)
    found: list[Keepout] = []
    while len(found) < 2:
        for place in range(draw.randint(1, 5)):
            middle = draw.uniform(low + (high - low) * 0.2, low + (high - low) * 0.8)
            for n in range(draw.randint(1, 12)):
                at, size = middle + draw.normal(0, 5, 2), draw.uniform(1, 9, 2)
                part = shapely.box(*(at - size / 2), *(at + size / 2))
                if draw.uniform() < 0.3:
                    part = shapely.affinity.rotate(part, draw.uniform(0, 90))
                if edge.buffer(-REQUIRED - 0.1).covers(part):
                    found.append(Keepout(f"P{place}-{n}", "other", part, 0.0, (1,), None, REQUIRED, ""))
    return found


def cavity_around(draw: np.random.RandomState, kept: shapely.Geometry) -> Polygon:
    """A cavity around all that is kept, tight or wide, with bosses in its walls."""
    x, y, right, top = kept.bounds
    room = draw.uniform(1.5, 25, 4)
    cavity = shapely.box(x - room[0], y - room[1], right + room[2], top + room[3])
    if draw.uniform() < 0.5:
        snug = kept.buffer(draw.uniform(5, 14), join_style="mitre")
        cavity = shapely.intersection(cavity, shapely.union_all([snug, snug.convex_hull.buffer(-4)]))
    for _ in range(draw.randint(0, 5)):
        cavity = Polygon(max(shapely.get_parts(cavity), key=lambda each: each.area).exterior)
        at = shapely.line_interpolate_point(cavity.exterior, draw.uniform(), normalized=True)
        boss = at.buffer(draw.uniform(2, 10), quad_segs=draw.randint(1, 5))
        cavity = shapely.difference(cavity, shapely.difference(boss, kept.buffer(draw.uniform(1.2, 3))))
    return Polygon(max(shapely.get_parts(cavity), key=lambda each: each.area).exterior)


def judge(seed: int, most: int = 10) -> Judged:
    """Build outlines for one board and check each of them."""
    edge, parts, case = board(seed)
    result = Judged(seed, posts=len(case.posts) if case else 0)
    begun = time.process_time()
    try:
        plan = building(parts, edge, 0.3, 0.3, EXACT, Wish(case, kerf=1.0, slot=1.6))
        result.pieces, result.hull_fits = len(plan.base.pieces), plan.base.hull_fits
        found: list[Choice] = []
        for choice in built(plan, most):
            result.first = result.first or time.process_time() - begun
            found.append(choice)
        result.proved = plan.proving.proved
    except NoOutlineError as error:
        result.refused = str(error)
        return result
    result.seconds = time.process_time() - begun
    result.fewest = found[0].cuts
    for choice in found:
        result.faults += [f"{choice.cuts} cuts: {fault}" for fault in faults_of(choice, edge, parts, case)]
    areas = [each.area for each in found]
    result.faults += [] if areas == sorted(areas, reverse=True) else ["more cuts, more area"]
    result.faults += [] if result.fewest >= result.proved else ["below the bound"]
    return result


def faults_of(choice: Choice, edge: Polygon, parts: list[Keepout], case: Case | None) -> list[str]:
    """What is wrong with an outline."""
    outline = choice.finished
    ring = shapely.get_coordinates(outline.exterior)
    sides = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
    new = ~shapely.covers(edge.exterior.buffer(0.05), sides)
    kept = shapely.union_all([part.spine for part in parts])
    wrong = {
        "not simple": not outline.is_valid or not outline.exterior.is_ccw,
        "kept area outside": not outline.buffer(1e-6).covers(kept),
        "too near": bool(new.any()) and shapely.distance(sides[new], kept).min() < REQUIRED,
        "off the board": not edge.buffer(1e-6).covers(outline),
        f"has {new.sum()} cuts": int(new.sum()) != choice.cuts,
    }
    if case is not None:
        border = case.cavity.polygon.exterior
        wrong["leaves the case"] = not case.cavity.polygon.buffer(1e-6).covers(outline)
        wrong["gap to the wall"] = outline.exterior.distance(border) < case.gap - 1e-6
        wrong["gap to a post"] = any(outline.distance(post.polygon) < case.gap - 1e-6 for post in case.posts)
    return [fault for fault, is_so in wrong.items() if is_so]


def main() -> int:
    """Print a line for each board that is wrong, refused or not proved, and counts; 1 where any is wrong."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    results = []
    for seed in range(first, first + count):
        results.append(judge(seed))
        if results[-1].faults or results[-1].refused or results[-1].fewest != results[-1].proved:
            print(results[-1], flush=True)
    done = [each for each in results if not each.refused]
    for name, some in (
        (
            "one piece or hull fits, no posts",
            [e for e in done if (e.hull_fits or e.pieces == 1) and not e.posts],
        ),
        ("islands, no posts", [e for e in done if not (e.hull_fits or e.pieces == 1) and not e.posts]),
        ("posts", [e for e in done if e.posts]),
    ):
        exact = sum(e.fewest == e.proved for e in some)
        wrong = sum(bool(e.faults) for e in some)
        print(f"{name:34} {len(some):4} boards, fewest is the bound in {exact}, wrong {wrong}")
    print(f"refused {len(results) - len(done)} of {len(results)}")
    seconds = [e.seconds for e in done]
    print(f"processor seconds: median {np.median(seconds):.2f}, most {max(seconds):.2f}; first outline "
          f"{np.median([e.first for e in done]):.2f}, {max(e.first for e in done):.2f}")  # fmt: skip
    return int(any(each.faults for each in results))


if __name__ == "__main__":
    sys.exit(main())
