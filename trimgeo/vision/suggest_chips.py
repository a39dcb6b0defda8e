"""Small chips with a metal cap at each end, measured along and across.

Solder makes what shows of them longer than they are, so the length follows from the seam between cap and
solder, and where none shows, from the middle between the caps.
"""

from __future__ import annotations

from dataclasses import dataclass

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
_MIDDLES = (0.76, 0.54)
"""Greatest and least such share, between which the seam is looked for."""
_SEAM = 2.0
"""Lightness by which solder, which slopes, is darker than a cap, which is flat, where their seam shows."""
_BARE = 0.5
"""Confidence of a chip whose middle has the board's own colour: it may be no more than its pads."""
_LONGEST, _NARROWEST, _WIDEST = 8.0, 0.45, 5.0
"""Greatest length and least and greatest width of such chips, mm."""


@dataclass(frozen=True, eq=False)
class _Axes:
    """Places where a chip may lie: its middle, the way along it and across, (n, 2) each, and width, (n,)."""

    middle: Floats
    along: Floats
    beside: Floats
    width: Floats


@dataclass(frozen=True, eq=False)
class _Caps:
    """Caps in one direction from the middles, pixels: where metal begins and how long it is, its colour."""

    near: Floats
    metal: Floats
    colour: Singles


def chips(ground: Ground, shapes: list[Shape]) -> list[Shape]:
    """Chips whose middle, all of which, or whose two caps are among the shapes."""
    plain = [shape.corners for shape in shapes if shape.circle is None]
    axes = _axes(ground, plain + _pairs(ground, plain))
    if not len(axes.width):
        return []
    found = _measured(ground, axes)
    capped = [chip for chip in found if chip.told_by == "caps"]
    return capped + _alone(ground, [chip for chip in found if chip.told_by == "pads"], shapes)


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


def _axes(ground: Ground, candidates: list[Floats]) -> _Axes:
    """Both axes of each candidate's box that may be a chip's, those nearly alike once."""
    rows = []
    for corners in candidates:
        (column, row), (wide, tall), turn = cv2.minAreaRect(corners.astype(np.float32))
        if max(wide, tall) <= _LONGEST * ground.per_mm:
            way = (np.cos(np.radians(turn)), np.sin(np.radians(turn)))
            rows += [(column, row, *way, tall), (column, row, -way[1], way[0], wide)]
    axes = np.array(rows, dtype=np.float64).reshape(-1, 5)
    axes = axes[(axes[:, 4] >= _NARROWEST * ground.per_mm) & (axes[:, 4] <= _WIDEST * ground.per_mm)]
    turned = np.degrees(np.arctan2(axes[:, 3], axes[:, 2])) % 180.0
    alike = np.rint(np.column_stack([axes[:, :2] / 1.5, (turned / 4.0) % 45, axes[:, 4] / 1.5]))
    _, first = np.unique(alike, axis=0, return_index=True)
    axes = axes[np.sort(first)]
    return _Axes(axes[:, :2], axes[:, 2:4], np.column_stack([-axes[:, 3], axes[:, 2]]), axes[:, 4])


def _measured(ground: Ground, axes: _Axes) -> list[Shape]:
    reach = 0.5 * _LONGEST * ground.per_mm
    half = np.arange(0.0, reach + 0.25, 0.5)
    sides = np.array([-0.34, -0.2, 0.2, 0.34])
    lines = axes.middle[:, None] + (axes.width[:, None] * sides)[..., None] * axes.beside[:, None]
    both = [_profiles(ground, lines, sign * axes.along, half) for sign in (1.0, -1.0)]
    near_middle = half[None, :] < np.maximum(1.0, 0.15 * axes.width)[:, None]
    # The same for all would let a wide middle reach the caps of a short chip.
    centre = np.concatenate([both[1][:, ::-1], both[0][:, 1:]], axis=1)
    within = np.concatenate([near_middle[:, ::-1], near_middle[:, 1:]], axis=1)
    core = np.nanmedian(np.where(within[..., None], centre, np.nan)[:, within.any(axis=0)], axis=1)
    caps = [_caps(profile, core.astype(np.float32)) for profile in both]
    found = []
    between = caps[0].near + caps[1].near
    ratio = caps[0].metal / caps[1].metal
    least = np.minimum(caps[0].metal, caps[1].metal)
    with np.errstate(invalid="ignore"):
        good = (ratio > 0.3) & (ratio < 3.3) & (least >= 0.12 * between)
        good &= (between >= 0.25 * axes.width) & (between <= 3 * axes.width)
    for n in np.flatnonzero(good).tolist():
        chip = _chip(ground, axes, n, core[n], caps, [profile[n] for profile in both])
        if chip is not None:
            found.append(chip)
    return found


def _chip(
    ground: Ground, axes: _Axes, n: int, core: Floats, caps: list[_Caps], both: list[Singles]
) -> Shape | None:
    along, beside, width = axes.along[n], axes.beside[n], float(axes.width[n])
    near_a, near_b = float(caps[0].near[n]), float(caps[1].near[n])
    between = near_a + near_b
    metals = float(caps[0].metal[n]), float(caps[1].metal[n])
    growth = min(_growth(both, (near_a, near_b), between), *metals)
    centre = axes.middle[n] + along * (near_a - near_b) / 2
    # Of the board's own colour: such a chip, or only its pads.
    bare = bool(np.linalg.norm(core - ground.colour) < 8)
    inner = np.array([s * (between / 2 + growth * 0.6) for s in (-1, 1)])
    span = _span(ground, centre, along, beside, inner, caps[0].colour[n], width)
    if span is None or not 0.75 < (span[1] - span[0]) / width < 1.3:
        return None
    if not bare:
        body = _span(
            ground, centre, along, beside, between * np.array([-0.35, -0.27, 0.27, 0.35]), core, width
        )
        if body is not None and 0.8 < (body[1] - body[0]) / (span[1] - span[0]) < 1.03:
            span = body
    centre = centre + beside * (span[0] + span[1]) / 2
    across, length = span[1] - span[0], between + 2 * growth
    if not 0.9 < length / across < 3.5:
        return None
    half, other = along * length / 2, beside * across / 2
    corners = np.array(
        [centre - half - other, centre + half - other, centre + half + other, centre - half + other]
    )
    even = min(metals) / max(metals)
    same = 1 - abs(across / width - 1)
    confidence = _BARE if bare else float(0.6 + 0.2 * even + 0.2 * same)
    return Shape(
        corners, None, same, length * across, 1.0, confidence, "component", "pads" if bare else "caps"
    )


def _growth(both: list[Singles], near: tuple[float, float], between: float) -> float:
    """How far a chip reaches under its metal at either end: to the seam that both ends show, if any."""
    least, usual, most = (between * (1 / share - 1) / 2 for share in (_MIDDLES[0], _MIDDLE, _MIDDLES[1]))
    ends = []
    for profile, first in zip(both, near, strict=True):
        light = np.asarray(profile[:, 0], dtype=np.float64)[int(2 * first) :]
        top = int(np.argmax(light[: int(2 * most) + 2])) if len(light) else 0
        fallen = np.flatnonzero(light[top:] < light[top] - _SEAM) if len(light) else np.array([], int)
        if not len(fallen):
            return usual
        k = top + int(fallen[0])
        part = (light[k - 1] - light[top] + _SEAM) / max(light[k - 1] - light[k], 1e-6)
        ends.append(0.5 * (k - 1 + part + int(2 * first)) - first)
    seam = sum(ends) / 2
    return seam if least < seam < most and abs(ends[0] - ends[1]) < 0.2 * seam + 0.5 else usual


def _profiles(ground: Ground, lines: Floats, ways: Floats, at: Floats) -> Singles:
    """Lab at distances along each way, (n, len(at), 3): the mean of the middle two of four lines.

    ``lines`` is (n, 4, 2), where they begin; ``ways`` is (n, 2).
    """
    places = lines[:, :, None] + at[None, None, :, None] * ways[:, None, None]
    values = sampled(ground.lab, places)
    return np.asarray((values.sum(axis=1) - values.max(axis=1) - values.min(axis=1)) / 2, dtype=np.float32)


def _caps(profiles: Singles, core: Singles) -> _Caps:
    """Going outwards in half pixels: where metal begins, how far it reaches, its colour; nan for none."""
    count, last = profiles.shape[0], profiles.shape[1] - 1
    each = np.arange(count)
    away = np.linalg.norm(profiles - core[:, None], axis=2)
    metal = (away > 16) & (profiles[..., 0] > np.maximum(48.0, core[:, 0] + 8)[:, None]) & is_metal(profiles)
    begun = metal[:, :-2] & metal[:, 1:-1] & metal[:, 2:]
    first = np.argmax(begun, axis=1)
    cap = profiles[each, np.minimum(first + 3, last)]
    towards = cap - core
    share = np.einsum("nij,nj->ni", profiles - core[:, None], towards)
    share = share / np.maximum((towards**2).sum(axis=1), 1e-6)[:, None]
    step = np.arange(last + 1)[None]
    inside = (share < 0.5) & (step < first[:, None] + 3)
    k = last - np.argmax(inside[:, ::-1], axis=1)
    known = begun.any(axis=1) & inside.any(axis=1) & (k < last)
    k = np.minimum(k, last - 1)
    rise = np.maximum(share[each, k + 1] - share[each, k], 1e-3)
    near = k + (0.5 - share[each, k]) / rise
    light = profiles[..., 0] > 0.5 * (cap[:, 0] + core[:, 0])[:, None]
    ended = ~(light & (np.linalg.norm(profiles - cap[:, None], axis=2) < 25)) & (step >= first[:, None] + 2)
    end = np.where(ended.any(axis=1), np.argmax(ended, axis=1), last + 1)
    return _Caps(np.where(known, near / 2, np.nan), np.where(known, (end - near) / 2, np.nan), cap)


def sampled(image: Singles, places: Floats) -> Singles:
    """Values between pixels at places (..., 2), column and row; bilinear."""
    flat = places.reshape(1, -1, 2).astype(np.float32)
    told = [
        cv2.remap(image, flat[:, n : n + 30_000], None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for n in range(0, flat.shape[1], 30_000)
    ]
    values = np.concatenate(told, axis=1)[0]
    return np.asarray(values.reshape(*places.shape[:-1], *image.shape[2:]), dtype=np.float32)


def is_metal(colours: Singles) -> NDArray[np.bool_]:
    """Which Lab colours, (..., 3), may be tin: hardly any chroma."""
    return np.asarray(np.hypot(colours[..., 1], colours[..., 2]) < 15)


def _span(
    ground: Ground,
    centre: Floats,
    along: Floats,
    beside: Floats,
    beyond: Floats,
    colour: Singles | Floats,
    width: float,
) -> tuple[float, float] | None:
    """From where to where a chip reaches across, pixels from its centre: halfway to the board's colour.

    ``beyond`` are the distances from the centre, along the chip, at which it is looked at.
    """
    at = np.arange(0, 0.9 * width, 0.5)
    found = []
    level = ground.colour
    for sign in (-1.0, 1.0):
        places = centre + at[:, None, None] * sign * beside + beyond[None, :, None] * along
        profile = np.median(sampled(ground.lab, places), axis=1)
        share = (profile - level) @ (colour - level) / float((colour - level) @ (colour - level))
        off = np.flatnonzero(share < 0.5)
        if not len(off) or off[0] == 0:
            return None
        k = int(off[0])
        part = (float(share[k - 1]) - 0.5) / max(float(share[k - 1] - share[k]), 1e-3)
        found.append(0.5 * (k - 1 + part))
    return -found[0], found[1]
