"""Which of the fitted pieces are bodies: their rim shows all around, and inside it the board is not bare."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import cv2
import numpy as np
import shapely
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
_THINNEST = 0.4
"""Least width, mm, of what is no stroke of a print."""
_LETTER, _LINE, _LEADS = 3.2, 0.6, 2.0
"""Longest letter, widest printed line and deepest row of leads, mm, that are told from bodies."""
_PAD, _HOLE, _DARK_HOLE = 2.6, 6.5, 3.6
"""Longest pad, widest disc of the colour around the board and widest dark disc that are no bodies, mm."""


def judged(ground: Ground, shapes: list[Shape]) -> list[Shape]:
    """Shapes whose rim shows, with what they are by their look, and their confidence."""
    kept = []
    for shape in _unlike(shapes):
        if _sides(shape)[1] < _THINNEST * ground.per_mm:
            continue
        rim, covered = _rim(ground, shape)
        least = _RIM if shape.circle is None else _ROUND_RIM
        if rim >= least and covered >= least - _SLACK:
            fit = shape.fit if shape.circle is None else max(shape.fit, rim)
            confidence = fit * (rim * covered) ** 0.5
            told = replace(shape, rim=rim, confidence=confidence, kind=_kind(ground, shape, rim))
            if told.kind != "component" or not _is_print_or_leads(ground, told):
                kept.append(told)
    return kept


def _is_print_or_leads(ground: Ground, shape: Shape) -> bool:
    """Small pieces of no plain shape are letters; long thin bright ones printed lines or rows of leads."""
    long, short = _sides(shape)
    plain = shape.circle is not None or len(shape.corners) == 4
    if not plain and long < _LETTER * ground.per_mm:
        return True
    if short < _LINE * ground.per_mm:
        return True
    if short > _LEADS * ground.per_mm or long < 2.2 * short:
        return False
    places, normals = _along(shape.corners)
    light = _at(ground.lab, places - normals * 0.25 * short)[:, 0]
    return bool(np.mean(light > ground.colour[0] + 12) > 0.6)


def _unlike(shapes: list[Shape]) -> list[Shape]:
    """One of shapes that agree within a pixel, the best filled."""
    best: dict[tuple[int, ...], Shape] = {}
    for shape in shapes:
        low, high = shape.corners.min(axis=0), shape.corners.max(axis=0)
        at = (
            *np.round(low).astype(int).tolist(),
            *np.round(high).astype(int).tolist(),
            shape.circle is None,
            len(shape.corners) > 4,
        )
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
    return np.asarray(image[row, column])


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
    """What a piece is by its size and colour: a hole, tinned or gilded copper, else a body."""
    long, short = _sides(shape)
    places, normals = _along(shape.corners)
    rings = [_at(ground.lab, places - normals * min(depth, 0.3 * short)) for depth in (2.5, 4.5)]
    if shape.circle is not None and long <= _HOLE * ground.per_mm and rim >= 0.85:
        level, disc = np.median(rings[1], axis=0), _at(ground.lab, np.array([shape.circle[:2]]))[0]
        through = np.linalg.norm(level - ground.beyond) < 12 and np.linalg.norm(disc - ground.beyond) < 12
        dark = level[0] < max(30.0, float(ground.colour[0]) - 8) and long <= _DARK_HOLE * ground.per_mm
        if through or dark:
            return "hole"
    if long > _PAD * ground.per_mm:
        return "component"
    bright = max(50.0, float(ground.colour[0]) + 12)
    # Bright pieces as small as this that are bodies are told by their caps.
    return "pad" if max(float(np.mean(ring[:, 0] > bright)) for ring in rings) > 0.6 else "component"


def _sides(shape: Shape) -> tuple[float, float]:
    """Longer and shorter side of the box around a shape, pixels."""
    if shape.circle is not None:
        return 2 * shape.circle[2], 2 * shape.circle[2]
    _, (wide, tall), _ = cv2.minAreaRect(shape.corners.astype(np.float32))
    return max(wide, tall), min(wide, tall)


def longest(shape: Shape) -> float:
    """Longer side of the box around a shape, pixels."""
    return _sides(shape)[0]


def chosen(ground: Ground, shapes: list[Shape], foot: Floats | None = None) -> list[Shape]:
    """Of shapes over each other those that are bodies: chips first, then by rim and size; no two overlap.

    ``foot`` is the working pixel straight below a camera, None for a scan.
    """
    polygons = [Polygon(shape.corners) for shape in shapes]
    score = np.array(
        [
            shape.confidence
            + 0.04 * np.log2(max(shape.area, 1.0) / ground.per_mm**2)
            + (1.0 if shape.chip else 0.0)
            for shape in shapes
        ]
    )
    tree = shapely.STRtree(polygons)
    if foot is not None:
        for n in _with_walls(shapes, polygons, tree, foot):
            score[n] -= 0.5
    order = sorted(range(len(shapes)), key=lambda n: (-score[n], tuple(shapes[n].corners[0])))
    taken = np.zeros(len(shapes), bool)
    for n in order:
        if not polygons[n].is_valid:
            continue
        near = tree.query(polygons[n])
        if not any(_overlap(polygons[k], polygons[n]) for k in near[taken[near]].tolist()):
            taken[n] = True
    return [shapes[n] for n in order if taken[n]]


def _overlap(a: Polygon, b: Polygon) -> bool:
    return bool(a.intersection(b).area >= 0.1 * min(a.area, b.area))


def _with_walls(
    shapes: list[Shape], polygons: list[Polygon], tree: shapely.STRtree, foot: Floats
) -> list[int]:
    """Shapes that hold a top together with its visible walls.

    Walls show on the side towards the camera, and the top's far side is the whole's far side: so another
    good shape lies in this one, a little smaller, and shifted away from the camera's foot.
    """
    found = []
    middles = np.array([shape.corners.mean(axis=0) for shape in shapes]).reshape(-1, 2)
    for n, shape in enumerate(shapes):
        way = middles[n] - foot
        way = way / max(float(np.hypot(*way)), 1e-9)
        for k in tree.query(polygons[n]).tolist():
            inner = shapes[k]
            if (
                not 0.5 * shape.area < inner.area < 0.97 * shape.area
                or inner.confidence < 0.8 * shape.confidence
            ):
                continue
            near, far = (np.diff([np.sort(s.corners @ way)[e] for s in (shape, inner)])[0] for e in (0, -1))
            if (
                near > 1.5
                and abs(far) < 1.5
                and polygons[n].intersection(polygons[k]).area > 0.95 * inner.area
            ):
                found.append(n)
                break
    return found
