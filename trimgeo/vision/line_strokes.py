"""Strokes out of a mask of ink: thinned to their middle, traced, joined over gaps and at corners."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon

from trimgeo.vision.line_ink import Floats, Ground, Ink, Mask, to_board

GAP = 12.0  # mm; a longer gap is bridged only where a person has said roughly where the line runs
CORNER = 3.5  # mm; how far two strokes may be run on to meet at a corner
TO_EDGE = 2.5  # mm; how far a stroke may be run on to meet the board edge


@dataclass(frozen=True, eq=False)
class Stroke:
    """The middle of one stroke as found: ``points`` (n, 2), mm."""

    points: Floats
    length: float


@dataclass(frozen=True, eq=False)
class Strokes:
    """Strokes and what joins them: ``joints`` (LineString, mm) bridge gaps, corners and ways to the edge."""

    strokes: tuple[Stroke, ...]
    joints: tuple[LineString, ...]


@dataclass(frozen=True, eq=False)
class _End:
    """One end of a stroke: where it is and which way it points on, a unit vector."""

    stroke: int
    at: Floats
    onward: Floats


def thinned(mask: Mask) -> Mask:
    """A mask thinned to lines one pixel wide (Zhang and Suen 1984), 255 on them.

    >>> bar = np.zeros((9, 20), np.uint8)
    >>> bar[3:6, 2:18] = 255
    >>> int((thinned(bar) > 0).sum(axis=0).max())
    1
    """
    image = np.pad((mask > 0).astype(np.uint8), 1)
    changed = True
    while changed:
        changed = False
        for first in (True, False):
            gone = _removable(image, first)
            if gone[0].size:
                image[gone] = 0
                changed = True
    return np.ascontiguousarray(image[1:-1, 1:-1] * np.uint8(255))


def _removable(image: Mask, first: bool) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rim pixels whose removal neither breaks nor shortens a line, of one of the two half steps."""
    rows, columns = np.nonzero(image)
    ring = [(-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1)]
    around = [image[rows + dy, columns + dx] for dy, dx in ring]
    count = np.sum(around, axis=0, dtype=np.int64)
    turns = np.sum([(around[n] == 0) & (around[(n + 1) % 8] == 1) for n in range(8)], axis=0)
    n, e, s, w = around[0], around[2], around[4], around[6]
    rim = ((n & e & s) == 0) & ((e & s & w) == 0) if first else ((n & e & w) == 0) & ((n & s & w) == 0)
    gone = (count >= 2) & (count <= 6) & (turns == 1) & rim
    return rows[gone], columns[gone]


def traced(place: Ground, ink: Ink) -> list[Stroke]:
    """The strokes of an ink: thinned, of about the pen's width, longer than they are wide."""
    line = thinned(ink.mask)
    depth = 2 * ink.depth - 1 / place.pixels_per_mm
    line[(depth < 0.45 * ink.width) | (depth > 1.8 * ink.width + 0.15)] = 0
    links = cv2.filter2D((line > 0).astype(np.uint8), cv2.CV_8U, np.ones((3, 3), np.uint8), borderType=0)
    line[(line > 0) & (links > 3)] = 0
    rows, columns = np.nonzero(line)
    found = []
    for walk in _walks(rows, columns):
        points = to_board(np.asarray(walk, dtype=float), place.origin, place.pixels_per_mm)
        length = float(np.hypot(*np.diff(points, axis=0).T).sum())
        if length >= max(1.2 * ink.width, 1.2):
            found.append(Stroke(_smoothed(points), length))
    return found


def _walks(rows: NDArray[np.int64], columns: NDArray[np.int64]) -> list[list[tuple[int, int]]]:
    """Pixels of lines without branches in the order in which they follow each other: (column, row)."""
    left = dict.fromkeys(zip(columns.tolist(), rows.tolist(), strict=True), True)
    beside = [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1)]

    def onward(at: tuple[int, int]) -> tuple[int, int] | None:
        for dx, dy in beside:
            following = (at[0] + dx, at[1] + dy)
            if left.get(following):
                return following
        return None

    walks = []
    for start in list(left):
        if not left[start]:
            continue
        left[start] = False
        both = []
        for _ in range(2):
            way, at = [], start
            while (following := onward(at)) is not None:
                left[following] = False
                way.append(following)
                at = following
            both.append(way)
        walks.append([*reversed(both[1]), start, *both[0]])
    return walks


def _smoothed(points: Floats) -> Floats:
    """Points averaged with their neighbours two steps either way: takes out the staircase of pixels."""
    if len(points) < 7:
        return points
    padded = np.vstack([points[:1].repeat(2, 0), points, points[-1:].repeat(2, 0)])
    mean = np.mean([padded[n : n + len(points)] for n in range(5)], axis=0)
    mean[:2], mean[-2:] = points[:2], points[-2:]
    return np.asarray(mean)


def _ends(strokes: list[Stroke], width: float) -> list[_End]:
    ends = []
    for n, stroke in enumerate(strokes):
        for points in (stroke.points[::-1], stroke.points):
            ends.append(_End(n, points[-1], _onward(points, width)))
    return ends


def _onward(points: Floats, width: float) -> Floats:
    """The direction at the end of a stroke, its very end (rounded by thinning) left out."""
    back = np.hypot(*(points - points[-1]).T)
    use = (back >= min(0.6 * width, back.max() / 3)) & (back <= max(4.0, 3 * width))
    near = points[use] if use.sum() >= 3 else points
    middle = near.mean(axis=0)
    _, _, axes = np.linalg.svd(near - middle)
    way = axes[0]
    return np.asarray(way if way @ (points[-1] - points[0]) > 0 or way @ (near[-1] - near[0]) > 0 else -way)


def joined(strokes: list[Stroke], width: float, edge: Polygon, most_gap: float = GAP) -> Strokes:
    """Strokes with their joints: for each end the one that asks for the least guessing, if any."""
    ends = _ends(strokes, width)
    offers: list[tuple[float, int, int, LineString]] = []
    for i, end in enumerate(ends):
        way = _to_edge(end, edge, width)
        if way is not None:
            offers.append((way.length, i, -1, way))
        for j in range(i + 1, len(ends)):
            if float(np.abs(ends[j].at - end.at).max()) > most_gap:
                continue
            if (
                ends[j].stroke == end.stroke and strokes[end.stroke].length < 30
            ):  # no stroke closes on itself so soon
                continue
            offer = _bridge(end, ends[j], width, most_gap)
            if offer is not None:
                offers.append((offer[0], i, j, offer[1]))
    offers.sort(key=lambda o: o[:3])
    used: set[int] = set()
    joints = []
    for _, i, j, line in offers:
        if i not in used and j not in used:
            used |= {i, j} - {-1}
            joints.append(line)
    return Strokes(tuple(strokes), tuple(joints))


def _to_edge(end: _End, edge: Polygon, width: float) -> LineString | None:
    reach = TO_EDGE + 0.5 * width
    if edge.exterior.distance(Point(end.at)) > reach:
        return None
    ray = LineString([end.at, end.at + reach * 1.5 * end.onward])
    hit = ray.intersection(edge.exterior)
    if hit.is_empty:
        return None
    far = max(Point(end.at).distance(g) for g in getattr(hit, "geoms", [hit]))
    return LineString([end.at, end.at + (far + 0.2) * end.onward])


def _bridge(a: _End, b: _End, width: float, most_gap: float) -> tuple[float, LineString] | None:
    """The joint of two ends and how much guessing it asks for, mm; None where nothing speaks for one."""
    between = b.at - a.at
    gap = float(np.hypot(*between))
    if gap < 1e-9:
        return 0.0, LineString([a.at, b.at])
    turn = float(np.arctan2(abs(_cross(a.onward, -b.onward)), -float(a.onward @ b.onward)))
    aside = max(abs(_cross(a.onward, between)), abs(_cross(b.onward, between)))
    ahead = a.onward @ between > -0.3 * width and -(b.onward @ between) > -0.3 * width
    if ahead and turn < np.radians(35) and aside < 0.3 + 0.15 * gap + 0.1 * width and gap <= most_gap:
        return gap + 3 * aside, LineString([a.at, b.at])
    if gap < 0.8 * width + 0.6 and (ahead or gap < 0.6):
        return gap + 2 * aside + 0.5, LineString([a.at, b.at])
    if np.radians(12) < turn:
        meeting = _meeting(a, b)
        if meeting is not None:
            point, s, t = meeting
            reach = CORNER + 0.8 * width
            if -1.5 * width - 0.5 < s < reach and -1.5 * width - 0.5 < t < reach:
                return abs(s) + abs(t) + 1.0, LineString([a.at, point, b.at])
    return None


def _cross(u: Floats, v: Floats) -> float:
    return float(u[0] * v[1] - u[1] * v[0])


def _meeting(a: _End, b: _End) -> tuple[Floats, float, float] | None:
    """Where the two ends, run on, meet, and how far each has to be run on."""
    across = _cross(a.onward, b.onward)
    if abs(across) < 0.1:
        return None
    s = _cross(b.at - a.at, b.onward) / across
    t = _cross(b.at - a.at, a.onward) / across
    return a.at + s * a.onward, s, t


def merged(found: Strokes) -> list[Stroke]:
    """Strokes with their joints as longer strokes, whose ends show better where they lead."""
    lines = [LineString(s.points) for s in found.strokes] + list(found.joints)
    whole = shapely.line_merge(shapely.MultiLineString(lines))
    points = [shapely.get_coordinates(line) for line in getattr(whole, "geoms", [whole])]
    return [Stroke(p, float(np.hypot(*np.diff(p, axis=0).T).sum())) for p in points]
