"""Which of the fitted pieces are bodies: their rim shows all around, and inside it the board is not bare."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.vision.suggest_ground import Ground
from trimgeo.vision.suggest_pieces import Shape
from trimgeo.vision.suggest_rims import Rims, Singles, rims_of, sides_of
from trimgeo.vision.suggest_tops import swept_top

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
_SAME_TOP = 0.92
"""Overlap of the top that a whole outline would have with one that was found: a printed stripe makes less."""
_PAD, _HOLE, _DARK_HOLE = 2.6, 6.5, 3.6
"""Longest pad, widest disc of the colour around the board and widest dark disc that are no bodies, mm."""


def judged(ground: Ground, shapes: list[Shape]) -> list[Shape]:
    """Shapes whose rim shows, with what they are by their look, and their confidence."""
    wide = [s for s in _unlike(shapes) if sides_of(s)[1] >= _THINNEST * ground.per_mm]
    if not wide:
        return []
    rims = rims_of(wide)
    rim, covered = _shown(ground, rims)
    bright, printed = _bright(ground, rims), _printed(ground, rims)
    kept = []
    for n, shape in enumerate(wide):
        least = _RIM if shape.circle is None else _ROUND_RIM
        if rim[n] < least or covered[n] < least - _SLACK:
            continue
        long, short = rims.sides[n].tolist()
        fit = shape.fit if shape.circle is None else max(shape.fit, float(rim[n]))
        told = replace(
            shape,
            rim=float(rim[n]),
            confidence=fit * float(rim[n] * covered[n]) ** 0.5,
            kind=_kind(ground, shape, long, float(rim[n]), bool(bright[n] > 0.6)),
        )
        if told.kind != "component" or not _is_print_or_leads(
            ground, told, (long, short), bool(printed[n] > 0.6)
        ):
            kept.append(told)
    return kept


def _is_print_or_leads(ground: Ground, shape: Shape, sides: tuple[float, float], light: bool) -> bool:
    """Small pieces of no plain shape are letters; long thin bright ones printed lines or rows of leads."""
    long, short = sides
    plain = shape.circle is not None or len(shape.corners) == 4
    if not plain and long < _LETTER * ground.per_mm:
        return True
    if short < _LINE * ground.per_mm:
        return True
    return light and short <= _LEADS * ground.per_mm and long >= 2.2 * short


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


def _shown(ground: Ground, rims: Rims) -> tuple[Floats, Floats]:
    """Share of each rim across which colour steps, and where it still differs deeper inside and outside.

    The second tells a body from a printed frame, which has bare board on both of its sides.
    """
    reach = max(1.6, 0.17 * ground.per_mm)
    step = np.zeros(len(rims.places), np.float32)
    for shift in (-0.7, 0.7):
        step = np.maximum(
            step, _apart(rims.at(ground.lab, reach - shift), rims.at(ground.lab, -reach - shift))
        )
    deepest = rims.sides[:, 1] / 2.5
    deep = np.minimum(0.45 * ground.per_mm, deepest)
    outer = rims.at(ground.lab, -0.25 * ground.per_mm)
    covered = np.ones(len(rims.counts))
    for depth in (deep, np.minimum(2 * deep, deepest)):
        inner = depth[rims.owner]
        differs = _apart(rims.at(ground.lab, inner), outer) > _STEP
        covered = np.minimum(covered, rims.share(differs & ~(rims.at(ground.off, inner) < _BARE)))
    return rims.share(step > _STEP), covered


def _apart(a: Singles, b: Singles) -> Singles:
    """Distance of Lab colours, (n,)."""
    away = a - b
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", away, away)), dtype=np.float32)


def _bright(ground: Ground, rims: Rims) -> Floats:
    """Share of the ring just inside each rim that is as bright as tin, at the better of two depths."""
    bright = max(50.0, float(ground.colour[0]) + 12)
    light = np.ascontiguousarray(ground.lab[..., 0])
    shares = [
        rims.share(rims.at(light, np.minimum(depth, 0.3 * rims.sides[:, 1])[rims.owner]) > bright)
        for depth in (2.5, 4.5)
    ]
    return np.maximum(*shares)


def _printed(ground: Ground, rims: Rims) -> Floats:
    """Share of a quarter's depth of each shape that is lighter than the board."""
    light = rims.at(ground.lab, 0.25 * rims.sides[rims.owner, 1])[:, 0]
    return rims.share(light > ground.colour[0] + 12)


def _kind(
    ground: Ground, shape: Shape, long: float, rim: float, bright: bool
) -> Literal["component", "hole", "pad"]:
    """What a piece is by its size and colour: a hole, tinned or gilded copper, else a body."""
    if shape.circle is not None and long <= _HOLE * ground.per_mm and rim >= 0.85:
        ring = rims_of([shape])
        level = np.median(ring.at(ground.lab, min(4.5, 0.3 * long)), axis=0)
        disc = _at(ground.lab, np.array([shape.circle[:2]]))[0]
        through = np.linalg.norm(level - ground.beyond) < 12 and np.linalg.norm(disc - ground.beyond) < 12
        dark = level[0] < max(30.0, float(ground.colour[0]) - 8) and long <= _DARK_HOLE * ground.per_mm
        if through or dark:
            return "hole"
    # Bright pieces as small as this that are bodies are told by their caps.
    return "pad" if bright and long <= _PAD * ground.per_mm else "component"


def _at(image: NDArray[np.float32], places: Floats) -> NDArray[np.float32]:
    """Values of an image at places (column, row), the nearest pixel."""
    column = np.clip(np.round(places[:, 0]).astype(int), 0, image.shape[1] - 1)
    row = np.clip(np.round(places[:, 1]).astype(int), 0, image.shape[0] - 1)
    return np.asarray(image[row, column])


def longest(shape: Shape) -> float:
    """Longer side of the box around a shape, pixels."""
    return sides_of(shape)[0]


def chosen(ground: Ground, shapes: list[Shape], foot: Floats | None = None) -> list[Shape]:
    """Of shapes over each other those that are bodies: chips first, then by rim and size; no two overlap.

    ``foot`` is the working pixel straight below a camera, None for a scan.
    """
    if not shapes:
        return []
    polygons = [Polygon(shape.corners) for shape in shapes]
    score = np.array(
        [
            shape.confidence
            + 0.04 * np.log2(max(shape.area, 1.0) / ground.per_mm**2)
            + (1.0 if shape.told_by in ("caps", "pads") else 0.0)
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
    area = np.array([shape.area for shape in shapes])
    good = np.array([shape.confidence for shape in shapes])
    whole, inner = tree.query(polygons)
    alike = (
        (0.5 * area[whole] < area[inner])
        & (area[inner] < 0.97 * area[whole])
        & (good[inner] >= 0.8 * good[whole])
    )
    found: set[int] = set()
    for n, k in zip(whole[alike].tolist(), inner[alike].tolist(), strict=True):
        if n in found:
            continue
        way = shapes[n].corners.mean(axis=0) - foot
        way = way / max(float(np.hypot(*way)), 1e-9)
        outer, within = (shapes[n].corners - foot) @ way, (shapes[k].corners - foot) @ way
        leans = within.min() - outer.min() > 1.5 and abs(within.max() - outer.max()) < 1.5
        if (
            leans
            and outer.min() > 0
            and _alike(swept_top(polygons[n], 1 - float(outer.min() / within.min()), foot), polygons[k])
        ):
            found.add(n)
    return sorted(found)


def _alike(one: Polygon | None, two: Polygon) -> bool:
    return one is not None and bool(one.intersection(two).area > _SAME_TOP * one.union(two).area)
