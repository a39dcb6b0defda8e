"""The bound for several islands against outlines that are found without it: none may have fewer cuts.

    python tests/bench/island_bounds.py [count] [first seed]

Two judges.  *Joined*: islands in rooms with slots are joined by random trees as thin as a line, through the
triangles between them; the fewest cuts around each such shape are an outline.  *Grid*: on small boards whose
corners lie on a grid, closed ways from grid point to grid point are searched link by link for all starts at
once; how a way runs among the islands is told by the rays from them that it crosses, a word that is
shortened where a letter meets its inverse.
"""

from __future__ import annotations

import heapq
import sys
from collections import Counter, defaultdict
from itertools import pairwise, product

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely import LineString, Polygon

from trimgeo.plane.annulus import NoRoomError, annulus
from trimgeo.plane.cover import around_islands
from trimgeo.plane.fewest import fewest_in
from trimgeo.plane.islands import least_links

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Word = tuple[int, ...]

JOININGS = 10
LINE = 0.01
LONGER = 3


def slotted(draw: np.random.RandomState) -> tuple[list[Polygon], Polygon, Bools]:
    """Islands, whose hull is not allowed, in a room with slots from its walls; which sides are free."""
    while True:
        room = shapely.box(0, 0, 100, 80)
        for _ in range(draw.randint(1, 6)):
            wide, at, deep = draw.uniform(1.5, 8), draw.uniform(10, 90), draw.uniform(20, 72)
            slot = shapely.box(at - wide / 2, -1, at + wide / 2, deep)
            slot = shapely.affinity.rotate(slot, draw.uniform(-12, 12), origin=(at, 0))
            turned = (
                [1, 0, 0, 1, 0, 0],
                [1, 0, 0, -1, 0, 80],
                [0, 1.25, 0.8, 0, 0, 0],
                [0, -1.25, 0.8, 0, 100, 0],
            )
            room = shapely.difference(room, shapely.affinity.affine_transform(slot, turned[draw.randint(4)]))
        if not isinstance(room, Polygon) or room.interiors:
            continue
        inner, parts, wanted = room.buffer(-0.5, join_style="mitre"), [], draw.randint(2, 7)
        for _ in range(200):
            middle, size = draw.uniform((5, 5), (95, 75)), draw.uniform(3, 18, 2)
            part = shapely.affinity.rotate(
                shapely.box(*(middle - size / 2), *(middle + size / 2)),
                draw.choice([0.0, draw.uniform(0, 90)]),
            )
            if draw.uniform() < 0.3:
                part = part.difference(shapely.affinity.translate(part, *draw.uniform(-6, 6, 2)))
            if isinstance(part, Polygon) and part.area > 1 and inner.covers(part) and len(parts) < wanted:
                parts.append(Polygon(part.exterior))
        islands = [Polygon(each.exterior) for each in shapely.get_parts(shapely.union_all(parts))]
        if _apart(islands) and not room.covers(shapely.union_all(islands).convex_hull):
            sides = len(room.exterior.coords) - 1
            return islands, room, draw.uniform(size=sides) < draw.choice([0.0, 0.0, 0.15, 0.4])


def on_grid(draw: np.random.RandomState) -> tuple[list[Polygon], Polygon, Bools]:
    """The same with all corners on a grid of millimetres."""
    while True:
        wide, high = draw.randint(7, 12), draw.randint(6, 10)
        room = shapely.box(0, 0, wide, high)
        for _ in range(draw.randint(1, 4)):
            x, y = draw.randint(1, wide - 1), draw.randint(1, high - 1)
            slot = ((x, -1, x + 1, y), (x, y, x + 1, high + 1), (-1, y, x, y + 1), (x, y, wide + 1, y + 1))
            room = shapely.difference(room, shapely.box(*slot[draw.randint(4)]))
        if not isinstance(room, Polygon) or room.interiors:
            continue
        islands = []
        for _ in range(40):
            low, size = draw.randint((0, 0), (wide, high)), draw.randint(1, 4, 2)
            part = shapely.box(*low, *(low + size))
            if draw.uniform() < 0.4:
                part = Polygon([low, low + size * (1, 0), low + size * (0, 1)])
            if len(islands) < 3 and room.covers(part) and all(part.disjoint(each) for each in islands):
                islands.append(part)
        if len(islands) > 1 and not room.covers(shapely.union_all(islands).convex_hull):
            sides = len(room.exterior.coords) - 1
            return islands, room, draw.uniform(size=sides) < draw.choice([0.0, 0.3])


def _apart(islands: list[Polygon]) -> bool:
    pairs = [(a, b) for k, a in enumerate(islands) for b in islands[:k]]
    return len(islands) > 1 and all(a.disjoint(b) for a, b in pairs)


def joined(islands: list[Polygon], room: Polygon, draw: np.random.RandomState) -> Polygon | None:
    """All islands and a random tree of lines between them, as thick as `LINE`; None where that fails."""
    points, ways, landing = _crossings(islands, room, draw)
    inside, tree, lines = {int(draw.randint(len(islands)))}, set[int](), []
    while len(inside) < len(islands):
        starts = [k for k, island in landing.items() if island in inside] + sorted(tree)
        path = _nearest(
            ways, starts, {k for k, island in landing.items() if island not in inside}, set(landing)
        )
        if path is None:
            return None
        inside.add(landing[path[0]])
        tree |= set(path)
        lines.append(LineString([points[k] for k in (path if len(path) > 1 else path * 2)]))
    shape = shapely.union_all([*islands, shapely.buffer(shapely.union_all(lines), LINE, join_style="mitre")])
    parts = shapely.get_parts(shapely.intersection(shape, room.buffer(-1e-4)))
    whole = Polygon(max(parts, key=shapely.area).exterior)
    return whole if whole.buffer(3e-4).covers(shapely.union_all(islands)) else None


def _crossings(
    islands: list[Polygon], room: Polygon, draw: np.random.RandomState
) -> tuple[list[Floats], dict[int, list[tuple[int, float]]], dict[int, int]]:
    """Points on the sides of triangles between islands, ways between them, and which lie on an island."""
    triangles = shapely.get_parts(
        shapely.constrained_delaunay_triangles(shapely.difference(room, shapely.union_all(islands)))
    )
    sides: dict[tuple[tuple[float, ...], ...], list[int]] = defaultdict(list)
    for number, corners in enumerate(shapely.get_coordinates(triangles).reshape(-1, 4, 2).round(9).tolist()):
        for one, other in pairwise(corners):
            sides[tuple(sorted((tuple(one), tuple(other))))].append(number)
    points: list[Floats] = []
    landing: dict[int, int] = {}
    beside: dict[int, list[int]] = defaultdict(list)
    for (one, other), near in sorted(sides.items()):
        share = draw.uniform(0.15, 0.85)
        point = share * np.array(one) + (1 - share) * np.array(other)
        apart = shapely.distance(islands, shapely.Point(point))
        if len(near) == 1 and apart.min() > 1e-7:
            continue
        if len(near) == 1:
            landing[len(points)] = int(apart.argmin())
        for triangle in near:
            beside[triangle].append(len(points))
        points.append(point)
    ways: dict[int, list[tuple[int, float]]] = defaultdict(list)
    chance = draw.choice([0.0, 1.0, 3.0])
    for around in beside.values():
        for one, other in product(around, around):
            if one < other:
                length = float(np.hypot(*(points[one] - points[other])) * np.exp(chance * draw.normal()))
                ways[one].append((other, length))
                ways[other].append((one, length))
    return points, ways, landing


def _nearest(
    ways: dict[int, list[tuple[int, float]]], starts: list[int], ends: set[int], landings: set[int]
) -> list[int] | None:
    """The shortest path from any start to any end, end first (Dijkstra)."""
    reach = dict.fromkeys(starts, 0.0)
    came: dict[int, int] = {}
    heap = [(0.0, k) for k in starts]
    while heap:
        length, here = heapq.heappop(heap)
        if length > reach[here] or (here in landings and here not in ends and length > 0):
            continue
        if here in ends:
            path = [here]
            while path[-1] in came:
                path.append(came[path[-1]])
            return path
        for onward, step in ways[here]:
            if length + step < reach.get(onward, np.inf):
                reach[onward], came[onward] = length + step, here
                heapq.heappush(heap, (length + step, onward))
    return None


def fewest_joined(islands: list[Polygon], room: Polygon, free: Bools, draw: np.random.RandomState) -> int:
    """The fewest cuts of an outline around random joinings of the islands."""
    found = [99]
    for _ in range(JOININGS):
        shape = joined(islands, room, draw)
        if shape is not None:
            try:
                found.append(fewest_in(annulus(shape, room, free)).count)
            except (NoRoomError, ValueError):  # too thin for an outline to be settled: no judge
                continue
    return min(found)


def fewest_on_grid(islands: list[Polygon], room: Polygon, free: Bools, most: int) -> int:
    """The fewest links, up to ``most``, of a closed way by grid points that leads around all islands.

    Steps along free sides of the room cost none.  An outline that has one can begin there; then it gets to
    every other one as the border leads there, for nothing of the islands lies between it and the border.
    """
    x, y, right, top = map(int, room.bounds)
    points = np.array([(a, b) for a in range(x, right + 1) for b in range(y, top + 1)], dtype=float)
    points = points[shapely.covers(room, shapely.points(points))]
    eyes = np.array([_eye(each) for each in islands])
    links = _links(points, islands, room, eyes)
    goal = tuple(1 + k for k in np.argsort(eyes[:, 1]).tolist())
    border, after = _border(points, room, free)
    start = {(): np.eye(len(points), dtype=bool)}
    best = _first(start, links, {goal[k:] + goal[:k] for k in range(len(goal))}, None, most)
    for place in np.flatnonzero(after).tolist():
        round_ = [*border[place:], *border[: place + 1]]
        words = [()]
        for one, other in pairwise(round_):
            words.append(_reduced(words[-1] + _crossed(points[one], points[other], eyes)))
        ways = (round_, words, [*after[place:], *after[:place]])
        begin = {(): np.arange(len(points)) == round_[0]}
        best = min(best, _first({k: v[None] for k, v in begin.items()}, links, {words[-1]}, ways, best))
    return best


Ways = tuple[list[int], list[Word], list[bool]]


def _first(
    reached: dict[Word, Bools], links: dict[Word, Bools], goals: set[Word], ways: Ways | None, most: int
) -> int:
    """The number of links with which a goal is reached; with ``ways`` along free sides, from one point."""
    longest = len(next(iter(goals))) + LONGER
    reached = _along(reached, ways)
    for count in range(1, most):
        reached = _along(_carried(reached, links, longest), ways)
        for word, ends in reached.items():
            closed = np.diag(ends).any() if ways is None else ends[0, ways[0][0]]
            if closed and (_cyclic(word) if ways is None else word) in goals:
                return count
    return most


def _along(reached: dict[Word, Bools], ways: Ways | None) -> dict[Word, Bools]:
    """As well what free sides lead to, once around the border."""
    for k, is_free in enumerate(ways[2] if ways else ()):
        assert ways is not None
        here, there, word, onward = *ways[0][k : k + 2], *ways[1][k : k + 2]
        if is_free and word in reached and reached[word][0, here]:
            ends = reached.setdefault(onward, np.zeros_like(reached[word]))
            ends[0, there] = True
    return reached


def _border(points: Floats, room: Polygon, free: Bools) -> tuple[list[int], list[bool]]:
    """Grid points along the border, counter-clockwise, and whether the side after each is free."""
    number = {(x, y): k for k, (x, y) in enumerate(points.tolist())}
    corners = shapely.get_coordinates(room.exterior)
    sides = list(zip(corners, corners[1:], free.tolist(), strict=False))
    if not room.exterior.is_ccw:
        sides = [(end, start, is_free) for start, end, is_free in reversed(sides)]
    border, after = [], []
    for start, end, is_free in sides:
        steps = round(float(np.abs(end - start).max()))
        for k in range(steps):
            x, y = start + (end - start) * k / steps
            border.append(number[round(float(x)), round(float(y))])
            after.append(bool(is_free))
    return border, after


def _eye(island: Polygon) -> Floats:
    """A point in an island, on the height of no grid point and of no other island's."""
    point = shapely.get_coordinates(shapely.point_on_surface(island))[0]
    return np.asarray(point + np.array([0.0, 1e-3 * np.sqrt(2.0) * (1 + 0.37 * point[0] + 0.11 * point[1])]))


def _links(points: Floats, islands: list[Polygon], room: Polygon, eyes: Floats) -> dict[Word, Bools]:
    """For each word which point leads to which by one link."""
    count = len(points)
    pairs = [np.repeat(points, count, axis=0), np.tile(points, (count, 1))]
    lines = shapely.linestrings(np.stack(pairs, axis=1))
    core = shapely.union_all([each.buffer(-1e-6) for each in islands])
    good = shapely.covers(room.buffer(1e-9), lines) & ~shapely.intersects(core, lines)
    links: dict[Word, Bools] = {}
    for k in np.flatnonzero(good).tolist():
        word = _crossed(pairs[0][k], pairs[1][k], eyes)
        links.setdefault(word, np.zeros((count, count), dtype=bool))[divmod(k, count)] = True
    return links


def _crossed(start: Floats, end: Floats, eyes: Floats) -> Word:
    """Rays to the right of each eye that a link crosses, in order: from 1 up, negative where downwards."""
    found = []
    for number, (x, y) in enumerate(eyes, start=1):
        if (start[1] < y) != (end[1] < y):
            share = (y - start[1]) / (end[1] - start[1])
            if start[0] + share * (end[0] - start[0]) > x:
                found.append((share, number if start[1] < y else -number))
    return tuple(letter for _, letter in sorted(found))


def _reduced(word: Word) -> Word:
    kept: list[int] = []
    for letter in word:
        if kept and kept[-1] == -letter:
            kept.pop()
        else:
            kept.append(letter)
    return tuple(kept)


def _cyclic(word: Word) -> Word:
    while len(word) > 1 and word[0] == -word[-1]:
        word = word[1:-1]
    return word


def _carried(reached: dict[Word, Bools], links: dict[Word, Bools], longest: int) -> dict[Word, Bools]:
    """Where one link more leads."""
    found: dict[Word, Bools] = {}
    for (word, ends), (more, step) in product(reached.items(), links.items()):
        onward = _reduced(word + more)
        if len(onward) <= longest:
            there = (ends.astype(np.float32) @ step.astype(np.float32)) > 0
            if there.any():
                found[onward] = found[onward] | there if onward in found else there
    return found


def judged(kind: str, seed: int) -> tuple[int, int] | None:
    """The bound on one board and the fewest cuts that a judge found; None where there is no bound."""
    draw = np.random.RandomState(seed)
    islands, room, free = on_grid(draw) if kind == "grid" else slotted(draw)
    least = least_links(around_islands(islands, room, free))
    if least is None:
        return None
    if kind == "grid":
        return least.links, fewest_on_grid(islands, room, free, least.links + 3)
    return least.links, fewest_joined(islands, room, free, draw)


def main() -> int:
    """Print how near judges come to the bound, and every one that goes below it: 1 where any does."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    wrong = 0
    for kind in ("joined", "grid"):
        over: Counter[str] = Counter()
        for seed in range(first, first + count):
            got = judged(kind, seed)
            if got is None:
                over["no bound"] += 1
                continue
            bound, found = got
            over["the bound" if found == bound else "one more" if found == bound + 1 else "more"] += 1
            if found < bound:
                wrong += 1
                print(f"{kind} {seed}: bound {bound}, found {found}", flush=True)
        print(
            f"{kind:10} {', '.join(f'{name} {number}' for name, number in sorted(over.items()))}", flush=True
        )
    print(f"bounds refuted: {wrong}")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
