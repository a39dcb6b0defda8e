"""Which of the fitted pieces are bodies: their rim shows all around, and inside it the board is not bare."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.vision.suggest_ground import Ground
from trimgeo.vision.suggest_pieces import Shape

Floats = NDArray[np.float64]

_STEP = 11.0
"""Lab distance across a rim that shows."""
_BARE = 9.0
"""Lab distance from the board's colour below which a pixel may be bare board."""
_RIM, _ROUND_RIM, _SLACK = 0.82, 0.66, 0.1
"""Least share of the rim that shows, the same of circles; deeper inside a little less is enough."""
_PAD, _HOLE = 2.6, 3.6
"""Longest pad and widest dark disc that are not taken for a body, mm."""
_MIDDLE = 0.66
"""Share of a chip's length between its metal caps: 3.2 mm with caps of 0.5 mm, 1.6 mm with 0.3 mm
(common data sheets, from memory)."""


def judged(ground: Ground, shapes: list[Shape]) -> list[Shape]:
    """Shapes whose rim shows, with what they are by their look, and their confidence."""
    kept = []
    for shape in _unlike(shapes):
        rim, covered = _rim(ground, shape)
        least = _RIM if shape.circle is None else _ROUND_RIM
        if rim >= least and covered >= least - _SLACK:
            confidence = shape.fit * (rim * covered) ** 0.5
            kept.append(replace(shape, rim=rim, confidence=confidence, kind=_kind(ground, shape, rim)))
    return kept


def _unlike(shapes: list[Shape]) -> list[Shape]:
    """One of shapes that agree within a pixel, the best filled."""
    best: dict[tuple[int, ...], Shape] = {}
    for shape in shapes:
        low, high = shape.corners.min(axis=0), shape.corners.max(axis=0)
        at = (*np.round(low).astype(int).tolist(), *np.round(high).astype(int).tolist(), shape.circle is None)
        if at not in best or shape.fit > best[at].fit:
            best[at] = shape
    return list(best.values())


def _along(corners: Floats) -> tuple[Floats, Floats]:
    """Places about a pixel apart along a ring and its outward normals, both (n, 2)."""
    ring = np.vstack([corners, corners[:1]])
    way = np.diff(ring, axis=0)
    length = np.hypot(way[:, 0], way[:, 1])
    keep = length > 1e-6
    start, way, length = ring[:-1][keep], way[keep], length[keep]
    counts = np.maximum(1, np.round(length)).astype(int)
    side = np.repeat(np.arange(len(start)), counts)
    share = (np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts) + 0.5) / counts[side]
    places = start[side] + share[:, None] * way[side]
    normals = np.column_stack([way[side, 1], -way[side, 0]]) / length[side, None]
    turned = float(np.sum(start[:, 0] * np.roll(start[:, 1], -1) - np.roll(start[:, 0], -1) * start[:, 1]))
    return places, normals if turned > 0 else -normals


def _at(image: NDArray[np.float32], places: Floats) -> NDArray[np.float32]:
    """Values of an image at places (column, row), the nearest pixel."""
    column = np.clip(np.round(places[:, 0]).astype(int), 0, image.shape[1] - 1)
    row = np.clip(np.round(places[:, 1]).astype(int), 0, image.shape[0] - 1)
    return image[row, column]


def _rim(ground: Ground, shape: Shape) -> tuple[float, float]:
    """Share of the rim across which colour steps, and where it still differs deeper inside and outside.

    The second tells a body from a printed frame, which has bare board on both of its sides.
    """
    places, normals = _along(shape.corners)
    reach = max(1.6, 0.17 * ground.per_mm)
    step = np.zeros(len(places), np.float32)
    for shift in (-0.7, 0.7):
        inner = _at(ground.lab, places + normals * (shift - reach))
        outer = _at(ground.lab, places + normals * (shift + reach))
        step = np.maximum(step, np.linalg.norm(inner - outer, axis=1))
    deep = min(0.45 * ground.per_mm, _sides(shape)[1] / 2.5)
    far = places + normals * 0.25 * ground.per_mm
    differs = np.linalg.norm(_at(ground.lab, places - normals * deep) - _at(ground.lab, far), axis=1) > _STEP
    bare = _at(ground.off, places - normals * deep) < _BARE
    return float(np.mean(step > _STEP)), float(np.mean(differs & ~bare))


def _kind(ground: Ground, shape: Shape, rim: float) -> Literal["component", "hole", "pad"]:
    """What a piece is by its size and colour: tinned or gilded copper, a dark round hole, else a body."""
    long, short = _sides(shape)
    if long > _PAD * ground.per_mm:
        return "component"
    places, normals = _along(shape.corners)
    colours = _at(ground.lab, places - normals * min(2.5, 0.25 * short))
    light = colours[:, 0] > max(50.0, float(ground.colour[0]) + 12)
    if np.mean(light) > 0.6:  # bright pieces as small as this that are bodies are told by their caps
        return "pad"
    if shape.circle is None or long > _HOLE * ground.per_mm or rim < 0.85:
        return "component"
    dark = float(np.median(colours[:, 0])) < max(30.0, float(ground.colour[0]) - 8)
    return "hole" if dark else "component"


def _metal(colours: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Which Lab colours, (n, 3), may be tin or gold: hardly any chroma, or a strong yellow."""
    grey = np.hypot(colours[:, 1], colours[:, 2]) < 14
    return np.asarray(grey | ((colours[:, 2] > 32) & (np.abs(colours[:, 1]) < 14)))


def _sides(shape: Shape) -> tuple[float, float]:
    """Longer and shorter side of the box around a shape, pixels."""
    if shape.circle is not None:
        return 2 * shape.circle[2], 2 * shape.circle[2]
    _, (wide, tall), _ = cv2.minAreaRect(shape.corners.astype(np.float32))
    return max(wide, tall), min(wide, tall)


def chips(ground: Ground, shapes: list[Shape]) -> list[Shape]:
    """Small chips with a metal cap at each end, which solder makes longer than they are.

    The middle between the caps shows; the body's length follows from its.
    """
    found = []
    for shape in shapes:
        if shape.circle is not None or len(shape.corners) != 4 or _sides(shape)[0] > 8 * ground.per_mm:
            continue
        for axis in (0, 1):
            corners = np.roll(shape.corners, -axis, axis=0)
            way, across = corners[1] - corners[0], corners[2] - corners[1]
            length, width = float(np.hypot(*way)), float(np.hypot(*across))
            if not (0.5 * ground.per_mm <= width <= 4.5 * ground.per_mm and 1.15 < length / width < 4.5):
                continue
            ends = _middle(ground, corners[0], way, across)
            if ends is None:
                continue
            half = min((ends[1] - ends[0]) / _MIDDLE, 1.0) / 2
            low, high = sum(ends) / 2 - half, sum(ends) / 2 + half
            put = np.array(
                [corners[0] + at * way + t * across for at, t in ((low, 0), (high, 0), (high, 1), (low, 1))]
            )
            confidence = min(1.0, 0.4 + 0.6 * shape.confidence)
            area = (high - low) * length * width
            found.append(Shape(put, None, shape.fit, area, shape.rim, confidence, "component", True))
    return found


def _middle(ground: Ground, corner: Floats, way: Floats, across: Floats) -> tuple[float, float] | None:
    """Where the middle of a capped chip begins and ends, shares of ``way``; None where there are no caps."""
    steps = max(12, round(2 * float(np.hypot(*way))))
    at = (np.arange(steps) + 0.5) / steps
    rows = [
        _at(ground.lab, corner + at[:, None] * way + t * across) for t in (0.2, 0.28, 0.36, 0.64, 0.72, 0.8)
    ]
    profile = np.median(np.stack(rows), axis=0)
    cap = np.median(profile[(np.abs(at - 0.5) > 0.36) & (np.abs(at - 0.5) < 0.44)], axis=0)
    core = np.median(profile[np.abs(at - 0.5) < 0.12], axis=0)
    apart = float(np.linalg.norm(cap - core))
    if apart < 16 or cap[0] < 50 or not _metal(cap[None])[0] or cap[0] < core[0] + 8:
        return None
    along = (profile - core) @ (cap - core) / apart**2
    is_core = along < 0.5
    middle = steps // 2
    if not is_core[middle]:
        return None
    outside = np.flatnonzero(~is_core)
    before, after = outside[outside < middle], outside[outside > middle]
    if not len(before) or not len(after):
        return None
    first, last = (before[-1] + 1) / steps, after[0] / steps
    ends_metal = _metal(profile[[int(0.08 * steps), int(0.92 * steps)]].astype(np.float32)).all()
    even = abs((first + last) / 2 - 0.5) < 0.12
    return (first, last) if ends_metal and even and 0.2 < last - first < 0.8 else None


def longest(shape: Shape) -> float:
    """Longer side of the box around a shape, pixels."""
    return _sides(shape)[0]


def chosen(ground: Ground, shapes: list[Shape]) -> list[Shape]:
    """Of shapes over each other those that are bodies: chips first, then by rim and size; no two overlap."""
    polygons = [Polygon(shape.corners) for shape in shapes]
    score = [
        shape.confidence
        + 0.04 * np.log2(max(shape.area, 1.0) / ground.per_mm**2)
        + (1.0 if shape.chip else 0.0)
        for shape in shapes
    ]
    order = sorted(range(len(shapes)), key=lambda n: (-score[n], tuple(shapes[n].corners[0])))
    kept: list[int] = []
    for n in order:
        if not polygons[n].is_valid:
            continue
        tree = [k for k in kept if polygons[k].intersects(polygons[n])]
        if all(
            polygons[k].intersection(polygons[n]).area < 0.1 * min(polygons[k].area, polygons[n].area)
            for k in tree
        ):
            kept.append(n)
    return [shapes[n] for n in kept]
