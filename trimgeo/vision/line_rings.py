"""The cheapest ring of strokes around what must stay: shortest paths that count how often they go round.

A path that closes around a point crosses any way from that point to the outside an odd number of times; so
the search runs over stroke ends and, for each of a few marked points, the parity of crossings so far
(homotopy by parity, elementary topology).
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.ops
from shapely import LineString, Polygon

from trimgeo.vision.line_ink import Floats
from trimgeo.vision.line_links import Landing, Link
from trimgeo.vision.line_strokes import Stroke

ALONG_EDGE = (0.05, 0.4)
"""What a mm of board edge costs, in two searches: cheap where one stroke parts the board, dear where a
second stroke goes the shorter way that the edge would go round."""
_SEEDS = 10  # longest strokes through which rings are sought
LEAST_SEED = 2.0  # mm


@dataclass(frozen=True, eq=False)
class Round:
    """A ring of strokes: ``points`` closed, mm; ``strokes`` on it; what its joints ``cost``, mm."""

    points: Floats
    strokes: tuple[int, ...]
    cost: float


@dataclass(frozen=True, eq=False)
class _Way:
    """A step from one end to the stroke that begins at another.

    ``cost`` is what its line costs to believe, ``edge`` the mm of board edge in it; bits of ``odd`` are set
    for the marks that it crosses an odd number of times.
    """

    to: int
    line: Floats
    cost: float
    edge: float
    odd: int


def crossings(line: Floats, marks: Floats) -> int:
    """Bit n is set where a line (k, 2) crosses the way from mark n to the right an odd number of times.

    >>> crossings(np.array([[2.0, -1.0], [2.0, 1.0]]), np.array([[0.0, 0.0], [3.0, 0.0]]))
    1
    """
    found = 0
    a, b = line[:-1], line[1:]
    for n, mark in enumerate(marks):
        passing = (a[:, 1] > mark[1]) != (b[:, 1] > mark[1])
        rise = np.where(passing, b[:, 1] - a[:, 1], 1.0)
        at = a[:, 0] + (mark[1] - a[:, 1]) / rise * (b[:, 0] - a[:, 0])
        found |= (int((passing & (at > mark[0])).sum()) & 1) << n
    return found


def rounds(
    strokes: Sequence[Stroke],
    links: Sequence[Link],
    landings: Sequence[Landing],
    edge: Polygon,
    marks: Floats,
    passable: Callable[[Floats], bool],
) -> list[Round]:
    """Rings around all ``marks`` (k, 2) through the longest strokes, each the cheapest through its stroke.

    ``passable`` says of a stretch of board edge whether a ring may use it.
    """
    ways = _ways(links, landings, edge, marks, passable)
    odd = [crossings(stroke.points, marks) for stroke in strokes]
    order = sorted(range(len(strokes)), key=lambda n: -strokes[n].length)
    found: list[Round] = []
    for seed, along in itertools.product(order[:_SEEDS], ALONG_EDGE if landings else ALONG_EDGE[:1]):
        if strokes[seed].length < LEAST_SEED:
            break
        path = _cheapest(seed, ways, odd, (1 << len(marks)) - 1, along)
        if path is not None:
            ring = _round(seed, path, strokes)
            if ring is not None and not any(ring.strokes == r.strokes for r in found):
                found.append(ring)
    return found


def _ways(
    links: Sequence[Link],
    landings: Sequence[Landing],
    edge: Polygon,
    marks: Floats,
    passable: Callable[[Floats], bool],
) -> dict[int, list[_Way]]:
    ways: dict[int, list[_Way]] = {}
    for link in links:
        odd = crossings(link.line, marks)
        ways.setdefault(link.a, []).append(_Way(link.b, link.line, link.cost, 0.0, odd))
        ways.setdefault(link.b, []).append(_Way(link.a, link.line[::-1], link.cost, 0.0, odd))
    rim = LineString(shapely.orient_polygons(edge).exterior)
    for a, b in itertools.permutations(landings, 2):
        if a.at == b.at:
            continue
        along = _along(rim, a.at, b.at)
        if not passable(along):
            continue
        line = np.vstack([a.line, along, b.line[::-1]])
        length = float(np.hypot(*np.diff(along, axis=0).T).sum())
        cost, odd = a.cost + b.cost, crossings(line, marks)
        ways.setdefault(a.end, []).append(_Way(b.end, line, cost, length, odd))
        ways.setdefault(b.end, []).append(_Way(a.end, line[::-1], cost, length, odd))
    return ways


def _along(rim: LineString, a: float, b: float) -> Floats:
    """The rim from ``a`` to ``b`` mm along it, the way it runs."""
    if a <= b:
        return np.asarray(shapely.get_coordinates(shapely.ops.substring(rim, a, b)))
    parts = [shapely.ops.substring(rim, a, rim.length), shapely.ops.substring(rim, 0, b)]
    return np.vstack([shapely.get_coordinates(part) for part in parts])


def _cheapest(
    seed: int, ways: dict[int, list[_Way]], odd: list[int], wanted: int, along: float
) -> list[_Way] | None:
    """Dijkstra from the last point of a stroke back to its first, around every mark."""
    start, goal = 2 * seed + 1, 2 * seed
    best: dict[tuple[int, int], float] = {(start, odd[seed]): 0.0}
    came: dict[tuple[int, int], tuple[tuple[int, int], _Way]] = {}
    queue = [(0.0, start, odd[seed])]
    done = set()
    while queue:
        cost, end, parity = heapq.heappop(queue)
        here = (end, parity)
        if here in done:
            continue
        done.add(here)
        for way in ways.get(end, []):
            if way.to == goal:
                if parity ^ way.odd != wanted:
                    continue
                there = (-1, wanted)
            elif way.to // 2 == seed:
                continue
            else:
                there = (way.to ^ 1, parity ^ way.odd ^ odd[way.to // 2])
            total = cost + way.cost + along * way.edge
            if total < best.get(there, np.inf):
                best[there], came[there] = total, (here, way)
                heapq.heappush(queue, (total, *there))
        if end == -1:
            break
    at = (-1, wanted)
    if at not in came:
        return None
    path = []
    while at != (start, odd[seed]):
        at, way = came[at]
        path.append(way)
    return path[::-1]


def _round(seed: int, path: list[_Way], strokes: Sequence[Stroke]) -> Round | None:
    """The ring of a path; None where it takes a stroke twice."""
    used = [seed, *(way.to // 2 for way in path[:-1])]
    if len(set(used)) < len(used):
        return None
    parts = [strokes[seed].points]
    for way in path:
        parts.append(way.line)
        if way.to // 2 != seed:
            points = strokes[way.to // 2].points
            parts.append(points if way.to % 2 == 0 else points[::-1])
    return Round(np.vstack(parts), tuple(sorted(used)), sum(way.cost for way in path))
