"""Small chips with a metal cap at each end, measured along and across.

Solder makes what shows of them longer than they are, so the length follows from the middle between the caps.
"""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.vision.suggest_ground import Ground
from trimgeo.vision.suggest_pieces import Shape

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

_MIDDLE = 0.66
"""Share of a chip's length between its caps: 3.2 mm with caps of 0.5 mm, 1.6 mm with 0.3 mm (common data
sheets, from memory)."""
_BARE = 0.5
"""Confidence of a chip whose middle has the board's own colour: it may be no more than its pads."""
_LONGEST, _NARROWEST, _WIDEST = 8.0, 0.45, 5.0
"""Greatest length and least and greatest width of such chips, mm."""


def chips(ground: Ground, shapes: list[Shape]) -> list[Shape]:
    """Chips whose middle, all of which, or whose two caps are among the shapes."""
    found = []
    done: set[tuple[int, ...]] = set()
    plain = [shape.corners for shape in shapes if shape.circle is None]
    for corners in plain + _pairs(ground, plain):
        middle, (wide, tall), turn = cv2.minAreaRect(corners.astype(np.float32))
        if max(wide, tall) > _LONGEST * ground.per_mm:
            continue
        way = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
        across = np.array([-way[1], way[0]])
        for along, beside, width in ((way, across, tall), (across, way, wide)):
            key = (
                *np.round(middle).astype(int).tolist(),
                round(float(np.arctan2(*along)) * 20),
                round(width),
            )
            if key in done or not _NARROWEST <= width / ground.per_mm <= _WIDEST:
                continue
            done.add(key)
            chip = _chip(ground, np.array(middle, dtype=np.float64), along, beside, float(width))
            if chip is not None:
                found.append(chip)
    return [chip for chip in found if chip.confidence > _BARE] + _alone(
        ground, [chip for chip in found if chip.confidence == _BARE], shapes
    )


def _alone(ground: Ground, bare: list[Shape], shapes: list[Shape]) -> list[Shape]:
    """Those of the chips without a middle of their own that stand alone: leads come in rows."""
    large = [s for s in shapes if s.kind == "component" and s.area > 9 * ground.per_mm**2]
    bodies = shapely.STRtree([shapely.Polygon(s.corners) for s in large])
    middles = np.array([chip.corners.mean(axis=0) for chip in bare]).reshape(-1, 2)
    kept = []
    for chip, middle in zip(bare, middles, strict=True):
        apart = np.hypot(*(middles - middle).T)
        length = float(np.hypot(*(chip.corners[1] - chip.corners[0])))
        row = bool(((apart > 0.4 * length) & (apart < 1.5 * length)).any())
        outline = shapely.Polygon(chip.corners)
        if not row and not len(bodies.query(outline, predicate="dwithin", distance=0.9 * ground.per_mm)):
            kept.append(chip)
    return kept


def _pairs(ground: Ground, plain: list[Floats]) -> list[Floats]:
    """Corners, (8, 2), of bright pieces two by two that face each other as the caps of a chip do.

    Where the middle of a chip has the board's own colour, only its caps come apart from it.
    """
    caps = []
    for corners in plain:
        middle, sides, turn = cv2.minAreaRect(corners.astype(np.float32))
        (long, short), along = (sides, turn) if sides[0] >= sides[1] else (sides[::-1], turn + 90)
        light = float(sampled(ground.lab, np.array([middle], dtype=np.float64))[0, 0])
        if (
            0.5 <= long / ground.per_mm <= _WIDEST
            and long < 6 * short
            and light > max(50, ground.colour[0] + 12)
        ):
            caps.append((middle, long, short, np.radians(along), corners))
    caps = list({(round(c[0][0]), round(c[0][1])): c for c in caps}.values())
    tree = shapely.STRtree([shapely.Point(c[0]) for c in caps])
    found = []
    for n, (middle, long, short, turn, corners) in enumerate(caps):
        near = tree.query(shapely.Point(middle), predicate="dwithin", distance=2.2 * long + short)
        for k in sorted(near[near > n].tolist()):
            other, length, thin, _, more = caps[k]
            way = np.subtract(other, middle)
            apart = float(np.hypot(*way))
            facing = abs(float(way @ (np.cos(turn), np.sin(turn)))) < 0.12 * long + 1
            alike = abs(length - long) < 0.2 * long and abs(thin - short) < 0.3 * short + 1
            if facing and alike and apart > 0.6 * long and apart > 1.6 * short:
                found.append(np.vstack([corners, more]))
    return found


def _chip(ground: Ground, middle: Floats, along: Floats, beside: Floats, width: float) -> Shape | None:
    reach = 0.5 * _LONGEST * ground.per_mm
    at = np.arange(-reach, reach + 0.25, 0.5)
    sides = np.array([-0.34, -0.27, -0.2, 0.2, 0.27, 0.34]) * width
    profile = _profile(ground, middle, along, beside, at, sides)
    core = np.median(profile[np.abs(at) < max(1.0, 0.15 * width)], axis=0)
    # Of the board's own colour: such a chip, or only its pads.
    bare = bool(np.linalg.norm(core - ground.colour) < 8)
    first, second = (_cap(profile[at * sign >= 0][::sign], core) for sign in (1, -1))
    if first is None or second is None:
        return None
    (near_a, metal_a, cap), (near_b, metal_b, _) = first, second
    between = near_a + near_b
    if (
        not 0.3 < metal_a / metal_b < 3.3
        or min(metal_a, metal_b) < 0.12 * between
        or not 0.25 < between / width < 3
    ):
        return None
    growth = between * (1 / _MIDDLE - 1) / 2
    centre = middle + along * (near_a - near_b) / 2
    inner = [s * (between / 2 + min(growth, metal_a, metal_b) * 0.6) for s in (-1, 1)]
    span = _span(ground, centre, along, beside, np.array(inner), cap, width)
    if span is None or not 0.75 < (span[1] - span[0]) / width < 1.3:
        return None
    centre = centre + beside * (span[0] + span[1]) / 2
    across, length = span[1] - span[0], between + 2 * min(growth, metal_a, metal_b)
    if not 0.9 < length / across < 3.5:
        return None
    half, other = along * length / 2, beside * across / 2
    corners = np.array(
        [centre - half - other, centre + half - other, centre + half + other, centre - half + other]
    )
    even = min(metal_a, metal_b) / max(metal_a, metal_b)
    same = 1 - abs(across / width - 1)
    confidence = _BARE if bare else float(0.6 + 0.2 * even + 0.2 * same)
    return Shape(corners, None, same, length * across, 1.0, confidence, "component", True)


def _profile(
    ground: Ground, middle: Floats, along: Floats, beside: Floats, at: Floats, sides: Floats
) -> Singles:
    """Median Lab over a few lines side by side, (n, 3), at distances from the middle."""
    places = middle + at[:, None, None] * along + sides[None, :, None] * beside
    return np.asarray(np.median(sampled(ground.lab, places), axis=1), dtype=np.float32)


def sampled(image: Singles, places: Floats) -> Singles:
    """Values between pixels at places (..., 2), column and row; bilinear."""
    flat = places.reshape(1, -1, 2).astype(np.float32)
    told = [
        cv2.remap(image, flat[:, n : n + 30_000], None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for n in range(0, flat.shape[1], 30_000)
    ]
    values = np.concatenate(told, axis=1)[0]
    return np.asarray(values.reshape(*places.shape[:-1], *image.shape[2:]), dtype=np.float32)


def _cap(profile: Singles, core: Floats) -> tuple[float, float, Singles] | None:
    """Going outwards in half pixels: where metal begins, how far it reaches, its colour; None for none."""
    away = np.linalg.norm(profile - core, axis=1)
    metal = (away > 16) & (profile[:, 0] > max(48.0, float(core[0]) + 8)) & is_metal(profile)
    begun = np.flatnonzero(metal[:-2] & metal[1:-1] & metal[2:])
    if not len(begun):
        return None
    first = int(begun[0])
    cap = profile[min(first + 3, len(profile) - 1)]
    share = (profile - core) @ (cap - core) / float((cap - core) @ (cap - core))
    inside = np.flatnonzero(share[: first + 3] < 0.5)
    if not len(inside):
        return None
    k = int(inside[-1])
    near = k + (0.5 - float(share[k])) / max(float(share[k + 1] - share[k]), 1e-3)
    light = (profile[:, 0] > 0.5 * (cap[0] + core[0])) & (np.linalg.norm(profile - cap, axis=1) < 25)
    after = np.flatnonzero(~light[first + 2 :])
    last = first + 2 + (int(after[0]) if len(after) else len(light))
    return near / 2, (last - near) / 2, cap


def is_metal(colours: Singles) -> NDArray[np.bool_]:
    """Which Lab colours, (n, 3), may be tin: hardly any chroma."""
    return np.asarray(np.hypot(colours[:, 1], colours[:, 2]) < 15)


def _span(
    ground: Ground,
    centre: Floats,
    along: Floats,
    beside: Floats,
    caps: Floats,
    cap: Singles,
    width: float,
) -> tuple[float, float] | None:
    """From where to where the caps reach across, pixels from the centre: halfway between metal and board."""
    at = np.arange(0, 0.9 * width, 0.5)
    found = []
    level = ground.colour
    for sign in (-1.0, 1.0):
        profile = _profile(ground, centre, sign * beside, along, at, caps)
        share = (profile - level) @ (cap - level) / float((cap - level) @ (cap - level))
        beyond = np.flatnonzero(share < 0.5)
        if not len(beyond) or beyond[0] == 0:
            return None
        k = int(beyond[0])
        part = (float(share[k - 1]) - 0.5) / max(float(share[k - 1] - share[k]), 1e-3)
        found.append(0.5 * (k - 1 + part))
    return -found[0], found[1]
