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


def judged(ground: Ground, shapes: list[Shape]) -> list[Shape]:
    """Shapes whose rim shows, with what they are by their look, and their confidence."""
    kept = []
    for shape in _unlike(shapes):
        rim, covered = _rim(ground, shape)
        least = _RIM if shape.circle is None else _ROUND_RIM
        if rim >= least and covered >= least - _SLACK:
            fit = shape.fit if shape.circle is None else max(shape.fit, rim)
            confidence = fit * (rim * covered) ** 0.5
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
    outer, covered = _at(ground.lab, far), 1.0
    for depth in (deep, min(2 * deep, _sides(shape)[1] / 2.5)):
        differs = np.linalg.norm(_at(ground.lab, places - normals * depth) - outer, axis=1) > _STEP
        bare = _at(ground.off, places - normals * depth) < _BARE
        covered = min(covered, float(np.mean(differs & ~bare)))
    return float(np.mean(step > _STEP)), covered


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


def _sides(shape: Shape) -> tuple[float, float]:
    """Longer and shorter side of the box around a shape, pixels."""
    if shape.circle is not None:
        return 2 * shape.circle[2], 2 * shape.circle[2]
    _, (wide, tall), _ = cv2.minAreaRect(shape.corners.astype(np.float32))
    return max(wide, tall), min(wide, tall)


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
