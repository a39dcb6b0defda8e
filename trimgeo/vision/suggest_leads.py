"""Bodies told by their leads: two rows that face each other, with something other than bare board between.

A black body on a black board hardly shows; its tinned leads do.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.vision.suggest_chips import is_metal, sampled
from trimgeo.vision.suggest_ground import Ground
from trimgeo.vision.suggest_pieces import Shape

Floats = NDArray[np.float64]

_WIDTHS, _LENGTHS, _PITCHES = (0.18, 0.9), (0.4, 3.0), (0.35, 2.8)
"""Least and greatest width, seen length and pitch of leads, mm (common data sheets, from memory)."""
_FEWEST = 3
_GAP = 2.3
"""Pitches between leads of one row at most: one of them may not have been seen."""
_BODY = (1.2, 45.0)
"""Least and greatest distance between the rows' inner ends, mm."""
_BEYOND = (0.1, 1.6)
"""Where beyond the outermost lead the body's end is looked for, mm."""
_FAINT = 1.5
"""Lab distance from the board around that a body has at least, averaged over its area."""


@dataclass(frozen=True, eq=False)
class _Leads:
    """Middles (n, 2), ways along (n, 2), lengths and widths (n,), working pixels."""

    middle: Floats
    way: Floats
    length: Floats
    width: Floats


@dataclass(frozen=True, eq=False)
class _Row:
    """A row of leads: ``way`` along each lead, ``across`` along the row, ``low``, ``high`` its ends along it.

    ``at`` is the row's place along ``way``; ``length`` and ``width`` are of one lead.
    """

    way: Floats
    across: Floats
    at: float
    low: float
    high: float
    pitch: float
    length: float
    width: float


@dataclass(frozen=True, eq=False)
class Leaded:
    """A body between two rows of leads, and the area of it and them, working pixels."""

    body: Shape
    whole: Polygon


def leaded(ground: Ground, shapes: list[Shape]) -> list[Leaded]:
    """Bodies between rows of leads that are among the shapes, which are pieces of any look."""
    rows = _rows(ground, _leads(ground, shapes))
    found = []
    for n, one in enumerate(rows):
        for two in rows[n + 1 :]:
            if _face_each_other(ground, one, two):
                body = _body(ground, one, two)
                if body is not None:
                    found.append(body)
    return found


def without_leads(shapes: list[Shape], found: list[Leaded]) -> list[Shape]:
    """The shapes but for those that are leads of, or lie on, a body that was told by its leads."""
    if not shapes or not found:
        return shapes
    wholes = [each.whole for each in found]
    polygons = [Polygon(shape.corners) for shape in shapes]
    one, two = shapely.STRtree(wholes).query(polygons)
    parts = {
        n
        for n, k in zip(one.tolist(), two.tolist(), strict=True)
        if shapes[n].area < 0.4 * found[k].body.area
        and polygons[n].is_valid
        and polygons[n].intersection(wholes[k]).area > 0.6 * polygons[n].area
    }
    return [shape for n, shape in enumerate(shapes) if n not in parts]


def _leads(ground: Ground, shapes: list[Shape]) -> _Leads:
    """Narrow rectangles of metal, those nearly alike once."""
    per_mm, boxes = ground.per_mm, []
    for shape in shapes:
        if shape.circle is None and len(shape.corners) == 4:
            (column, row), (wide, tall), turn = cv2.minAreaRect(shape.corners.astype(np.float32))
            length, width, turn = (wide, tall, turn) if wide >= tall else (tall, wide, turn + 90)
            fits = _WIDTHS[0] * per_mm <= width <= _WIDTHS[1] * per_mm and length >= 1.25 * width
            if fits and _LENGTHS[0] * per_mm <= length <= _LENGTHS[1] * per_mm:
                way = (np.cos(np.radians(turn)), np.sin(np.radians(turn)))
                boxes.append((column, row, *way, length, width))
    listed = np.array(boxes, dtype=np.float64).reshape(-1, 6)
    if len(listed):
        light = sampled(ground.lab, listed[:, :2])
        listed = listed[(light[:, 0] > max(50.0, float(ground.colour[0]) + 12)) & is_metal(light)]
        # The longest of those in one place: less of it has been opened away.
        listed = listed[np.lexsort((listed[:, 1], listed[:, 0], -listed[:, 4]))]
        listed = listed[_apart(listed[:, :2], 0.5 * _PITCHES[0] * per_mm)]
    return _Leads(listed[:, :2], listed[:, 2:4], listed[:, 4], listed[:, 5])


def _apart(places: Floats, least: float) -> list[int]:
    """Those that have no earlier one nearer than ``least`` among those kept."""
    tree = shapely.STRtree(shapely.points(places))
    one, two = tree.query(shapely.points(places), predicate="dwithin", distance=least)
    near: dict[int, list[int]] = {}
    for n, k in zip(one.tolist(), two.tolist(), strict=True):
        near.setdefault(n, []).append(k)
    kept: set[int] = set()
    for n in range(len(places)):
        if not any(k in kept for k in near.get(n, [])):
            kept.add(n)
    return sorted(kept)


def _rows(ground: Ground, leads: _Leads) -> list[_Row]:
    """Leads that lie side by side at one pitch."""
    if len(leads.length) < 2 * _FEWEST:
        return []
    points = shapely.points(leads.middle)
    one, two = shapely.STRtree(points).query(
        points, predicate="dwithin", distance=_PITCHES[1] * ground.per_mm
    )
    away = leads.middle[two] - leads.middle[one]
    along = np.abs(np.einsum("ij,ij->i", away, leads.way[one]))
    beside = np.hypot(away[:, 0], away[:, 1])
    parallel = np.abs(np.einsum("ij,ij->i", leads.way[one], leads.way[two])) > np.cos(np.radians(8))
    alike = (np.abs(np.log(leads.length[one] / leads.length[two])) < 0.5) & (
        np.abs(np.log(leads.width[one] / leads.width[two])) < 0.5
    )
    good = parallel & alike & (one != two) & (along < 0.25 * leads.length[one] + 1)
    good &= beside > np.maximum(_PITCHES[0] * ground.per_mm, 1.2 * leads.width[one])
    one, two, beside = one[good], two[good], beside[good]
    nearest = np.full(len(points), np.inf)
    np.minimum.at(nearest, one, beside)
    close = beside < _GAP * np.minimum(nearest[one], nearest[two])
    groups = _groups(len(points), one[close], two[close])
    return [_row(leads, group) for group in groups if len(group) >= _FEWEST]


def _groups(count: int, one: NDArray[np.int64], two: NDArray[np.int64]) -> list[list[int]]:
    """Numbers below ``count`` that pairs join, each group in order."""
    root = list(range(count))

    def top(n: int) -> int:
        while root[n] != n:
            root[n] = root[root[n]]
            n = root[n]
        return n

    for n, k in zip(one.tolist(), two.tolist(), strict=True):
        low, high = sorted((top(n), top(k)))
        root[high] = low
    groups: dict[int, list[int]] = {}
    for n in range(count):
        groups.setdefault(top(n), []).append(n)
    return list(groups.values())


def _row(leads: _Leads, group: list[int]) -> _Row:
    """The way of a row's leads is at right angles to the line through their middles."""
    middles = leads.middle[group]
    centred = middles - middles.mean(axis=0)
    across = np.linalg.svd(centred, full_matrices=False)[2][0]
    if across[np.argmax(np.abs(across))] < 0:
        across = -across
    way = np.array([-across[1], across[0]])
    places = np.sort(middles @ across)
    return _Row(
        way,
        across,
        float(np.median(middles @ way)),
        float(places[0]),
        float(places[-1]),
        float(np.median(np.diff(places))),
        float(np.median(leads.length[group])),
        float(np.median(leads.width[group])),
    )


def _face_each_other(ground: Ground, one: _Row, two: _Row) -> bool:
    if abs(float(one.way @ two.way)) < np.cos(np.radians(4)):
        return False
    pitch = min(one.pitch, two.pitch)
    between = abs(one.at - two.at) - (one.length + two.length) / 2
    return (
        max(one.pitch, two.pitch) < 1.2 * pitch
        and abs(one.low - two.low) < 1.6 * pitch
        and abs(one.high - two.high) < 1.6 * pitch
        and _BODY[0] * ground.per_mm < between < _BODY[1] * ground.per_mm
        and between < 4 * (max(one.high, two.high) - min(one.low, two.low) + 2 * pitch)
    )


def _body(ground: Ground, one: _Row, two: _Row) -> Leaded | None:
    """The rectangle between the inner ends of two rows, None where it looks like the board around it."""
    first, second = sorted((one, two), key=lambda row: row.at)
    near, far = first.at + first.length / 2, second.at - second.length / 2
    low, high = min(one.low, two.low), max(one.high, two.high)
    inner = _mean(ground, one, (near, far), np.linspace(low, high, 40))
    level = np.median(inner, axis=0)
    width = max(one.width, two.width) / 2
    ends, shown = [], []
    for sign, last in ((-1.0, low - width), (1.0, high + width)):
        end, step = _end(ground, one, (near, far), last, sign, level)
        ends.append(last + sign * (0.5 * one.pitch - width) if end is None else end)
        shown.append(step)
    if min(shown) < _FAINT:
        return None
    sides = np.array([(near, ends[0]), (far, ends[0]), (far, ends[1]), (near, ends[1])])
    corners = sides[:, :1] * one.way + sides[:, 1:] * one.across
    area = float((far - near) * (ends[1] - ends[0]))
    confidence = min(0.95, 0.8 + 0.02 * min(shown))
    reach = 1.1 * max(one.length, two.length)
    wide = np.array(
        [(near - reach, ends[0]), (far + reach, ends[0]), (far + reach, ends[1]), (near - reach, ends[1])]
    )
    whole = Polygon(wide[:, :1] * one.way + wide[:, 1:] * one.across)
    return Leaded(Shape(corners, None, 1.0, area, confidence, confidence, "component", "leads"), whole)


def _mean(ground: Ground, row: _Row, span: tuple[float, float], places: Floats) -> Floats:
    """Median Lab over the middle of a body's width at places along its rows, (n, 3)."""
    margin = 0.15 * (span[1] - span[0])
    wide = np.arange(span[0] + margin, span[1] - margin, 1.0)
    at = wide[None, :, None] * row.way + places[:, None, None] * row.across
    return np.asarray(np.median(sampled(ground.lab, at), axis=1), dtype=np.float64)


def _end(
    ground: Ground, row: _Row, span: tuple[float, float], last: float, sign: float, level: Floats
) -> tuple[float | None, float]:
    """Where a body ends beyond its last lead, None where that is not seen; its colour's step to the board.

    The first good step outwards: a printed frame may lie further out.
    """
    reach = np.arange(_BEYOND[0], _BEYOND[1] + 0.4, 0.5 / ground.per_mm) * ground.per_mm
    profile = _mean(ground, row, span, last + sign * reach)
    off = np.linalg.norm(profile - level, axis=1)
    step = float(np.median(off[-len(off) // 3 :]))
    passed = np.flatnonzero((off[:-2] > 0.5 * step) & (off[1:-1] > 0.5 * step) & (off[2:] > 0.5 * step))
    if step < _FAINT or not len(passed) or passed[0] == 0:
        return None, step
    return last + sign * float(reach[passed[0]] - 0.25), step
