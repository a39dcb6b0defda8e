"""Jobs without a solution, by construction, and twins that are barely solvable.

    python tests/bench/refusals.py [count]

Each refusal has to name the keep-out and the wall that meet, and by how much within 0.01 mm; each twin, in
which that is put right by 0.02 mm more than it lacks, has to be solved.  Every job is turned and shifted.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point, Polygon, box
from shapely.affinity import rotate, translate

from trimgeo.cutting.outline import Wish, building, fewest
from trimgeo.errors import NoOutlineError, quoted
from trimgeo.model.board import Case, Keepout, Ring
from trimgeo.model.job import Placing

EXACT = Placing(print=0.0, taping=0.0, finish=0.0)
REQUIRED = 0.5
SPARE = 0.02
NECK = 5.0


@dataclass(frozen=True)
class Task:
    """A job: edge, keep-outs by name, case; and what its refusal has to say (nothing for a twin)."""

    edge: Polygon
    parts: dict[str, Polygon]
    case: Case | None
    keepouts: tuple[str, ...] = ()
    walls: tuple[str, ...] = ()
    lacks: float = 0.0


def over_a_wall(draw: np.random.RandomState, over: float) -> Task:
    """A part whose clearance reaches over one straight wall of the cavity."""
    edge, gap = box(0, 0, 120, 90), float(draw.choice([0.0, 0.4]))
    cavity = [(20.0, 15.0), (100.0, 15.0), (100.0, 75.0), (60.0, 75.0), (60.0, 55.0), (20.0, 55.0)]
    side = int(draw.randint(0, 6))
    start, end = np.array(cavity[side]), np.array(cavity[(side + 1) % 6])
    along = (end - start) / np.hypot(*(end - start))
    inward = np.array([-along[1], along[0]])
    middle = start + (end - start) * draw.uniform(0.4, 0.6)
    half, deep = draw.uniform(1, 4), draw.uniform(2, 6)
    near = gap + REQUIRED - over  # from the wall to the part
    corners = [middle - half * along, middle + half * along]
    part = Polygon(
        [each + near * inward for each in corners] + [c + (near + deep) * inward for c in corners[::-1]]
    )
    other = box(70, 30, 80, 36)
    names = {"Q7 relay": part, "K1": other}
    case = Case(Ring(Polygon(cavity)), (), gap)
    return Task(edge, names, case, ("Q7 relay",), (f"side {side + 1} of the case's cavity",), over)


def over_a_post(draw: np.random.RandomState, over: float) -> Task:
    """A part whose clearance reaches over one of two posts."""
    edge, gap, radius = box(0, 0, 120, 90), float(draw.choice([0.0, 0.3])), draw.uniform(2.5, 4)
    posts = [Point(30, 30).buffer(radius, 64), Point(80, 60).buffer(radius, 64)]
    at = posts[1].centroid
    side = at.x + radius * np.cos(np.pi / 256) + gap + REQUIRED - over
    part = box(side, at.y - 6, side + 8, at.y + 7)
    case = Case(Ring(box(5, 5, 115, 85)), tuple(Ring(post) for post in posts), gap)
    return Task(edge, {"U3": part, "U4": box(50, 30, 55, 40)}, case, ("U3",), ("post 2 of the case",), over)


def beside_a_slot(draw: np.random.RandomState, over: float) -> Task:
    """Two parts with a slot of the board between them that leaves a neck too thin."""
    left = NECK - over
    edge = box(0, 0, 100, 60).difference(box(46, left, 46 + draw.uniform(2, 8), 61))
    parts = {"left": box(10, 20, 30, 40), "right": box(70, draw.uniform(20, 30), 90, 45)}
    ring = shapely.get_coordinates(shapely.orient_polygons(edge).exterior)
    sides = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
    pinch = [
        n + 1 for n, side in enumerate(sides) if side.distance(Point(50, left / 2)) < left / 2 + 1e-6 + 4
    ]
    walls = tuple(f"side {n} of the board edge" for n in pinch)
    return Task(Polygon(ring), parts, None, ("left", "right"), walls, over)


def through_a_channel(draw: np.random.RandomState, over: float) -> Task:
    """Two chambers of a case with a channel between them that its gap closes."""
    gap, thick = 0.8, draw.uniform(1, 5)
    wide = 2 * gap - min(over, 1.2) if over > 0 else 2 * gap + NECK + SPARE
    low = 45 - wide / 2
    cavity = shapely.union_all(
        [box(10, 10, 50, 80), box(50 + thick, 10, 110, 80), box(49, low, 55, low + wide)]
    )
    cavity = shapely.orient_polygons(cavity)
    parts = {"left": box(20, 40, 30, 50), "right": box(80, 40, 90, 50)}
    ring = shapely.get_coordinates(cavity.exterior)
    sides = shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1))
    near = [
        n + 1
        for n, side in enumerate(sides)
        if side.distance(Point(50 + thick / 2, 45)) < wide + 0.01 + thick
    ]
    walls = tuple(f"side {n} of the case's cavity" for n in near)
    apart = thick + 2 * np.sqrt(max(gap**2 - wide**2 / 4, 0.0))
    return Task(box(0, 0, 120, 90), parts, Case(Ring(cavity), (), gap), ("left", "right"), walls, apart)


def around_a_post(draw: np.random.RandomState, over: float) -> Task:
    """A post in a frame of parts that leaves it no way out; in the twin, a way."""
    gap, radius, room = 0.3, draw.uniform(1.5, 3), draw.uniform(1.5, 6)
    inner, at = radius + gap + REQUIRED + room, Point(60, 45)
    outer = inner + 3
    frame = box(60 - outer, 45 - outer, 60 + outer, 45 + outer).difference(
        box(60 - inner, 45 - inner, 60 + inner, 45 + inner)
    )
    way = 2 * REQUIRED + 0.1
    parts = {"frame": frame.difference(box(60, 45 - way / 2, 90, 45 + way / 2)) if over <= 0 else frame}
    case = Case(Ring(box(20, 5, 100, 85)), (Ring(at.buffer(radius, 64)),), gap)
    return Task(box(0, 0, 120, 90), parts, case, ("frame",), ("post 1 of the case",), np.nan)


KINDS: tuple[Callable[[np.random.RandomState, float], Task], ...] = (
    over_a_wall, over_a_wall, over_a_post, beside_a_slot, through_a_channel, over_a_wall, over_a_post,
    beside_a_slot, over_a_wall, around_a_post,
)  # fmt: skip


def pair(number: int) -> tuple[str, Task, Task]:
    """A kind, a job without a solution, and its twin."""
    kind = KINDS[number % len(KINDS)]
    over = float(np.exp(np.random.RandomState(number).uniform(np.log(0.05), np.log(3.0))))
    over = min(over, 1.9) if kind is over_a_post else over
    found = [moved(kind(np.random.RandomState(number), by), number) for by in (over, -SPARE)]
    return kind.__name__, found[0], found[1]


def moved(task: Task, number: int) -> Task:
    """The same job turned and shifted."""
    draw = np.random.RandomState(1000 + number)
    angle, by = draw.uniform(0, 360), draw.uniform(-200, 200, 2)

    def move(shape: Polygon) -> Polygon:
        return translate(rotate(shape, angle, origin=(0, 0)), *by)

    case = task.case
    if case is not None:
        posts = tuple(Ring(move(post.polygon)) for post in case.posts)
        case = Case(Ring(move(case.cavity.polygon)), posts, case.gap)
    parts = {name: move(part) for name, part in task.parts.items()}
    return Task(move(task.edge), parts, case, task.keepouts, task.walls, task.lacks)


def answer(task: Task) -> int | NoOutlineError:
    """The fewest cuts, or the refusal."""
    parts = [Keepout(name, "other", part, 0.0, (1,), None, REQUIRED, "") for name, part in task.parts.items()]
    try:
        return fewest(building(parts, task.edge, 0.2, 0.2, EXACT, Wish(task.case, neck=NECK))).cuts
    except NoOutlineError as error:
        return error


def fault(task: Task, said: int | NoOutlineError) -> str:
    """What is wrong with a refusal; nothing where it is right."""
    if isinstance(said, int):
        return f"solved with {said} cuts"
    text = str(said)
    if not all(quoted(name) in text for name in task.keepouts):
        return f"names other keep-outs: {text}"
    if not any(wall in text for wall in task.walls):
        return f"names another wall than {task.walls}: {text}"
    if said.meet is None or said.lacks is None:
        return "has no places"
    if abs(said.lacks - task.lacks) > 0.01:
        return f"is off by {said.lacks - task.lacks:.3f} mm of {task.lacks:.3f}: {text}"
    return ""


def main() -> int:
    """Print each fault and the counts; 1 where there is one."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    right: Counter[str] = Counter()
    solved: Counter[str] = Counter()
    every: Counter[str] = Counter()
    for number in range(count):
        kind, job, twin = pair(number)
        every[kind] += 1
        wrong = fault(job, answer(job))
        right[kind] += not wrong
        if wrong:
            print(f"{number} {kind}: {wrong}", flush=True)
        done = answer(twin)
        solved[kind] += isinstance(done, int)
        if not isinstance(done, int):
            print(f"{number} {kind}, twin: {done}", flush=True)
    for kind, number in every.items():
        print(f"{kind:20} {number:4} jobs, {right[kind]:4} refused rightly, {solved[kind]:4} twins solved")
    return int(sum(right.values()) < count or sum(solved.values()) < count)


if __name__ == "__main__":
    sys.exit(main())
