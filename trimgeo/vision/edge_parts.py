"""Parts of the ground's colour at the board's rim: told from the ground by the sharp step between them."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.model.board import Pixels

Shades = NDArray[np.float32]
Mask = NDArray[np.bool_]
Labels = NDArray[np.int32]

_FINE, _WIDE = 1.0, 3.0
"""Standard deviations, coarse pixels, of the smoothings whose difference keeps steps and loses shadows."""
_STEP, _TIMES = 2.0, 1.5
"""Change from which it is a step, grey levels a pixel (one of some 11 levels as a photo blurs it), and
against what 99 per cent of the ground's places change by."""
_AWAY = 10
"""Coarse pixels off the board where ground is looked at."""
_LEAST, _SEED = 1.0, 0.2
"""Area, mm², of a part at least, and of the place in it that is apart from all steps."""
_BOARD, _HULL = 0.5, 0.9
"""Share of a part's rim that the board surrounds at least, and of its area within the board's hull."""
_SHOWN = 0.6
"""Share of its rim off the board on which a part's step shows, apart from print's edges."""
_DARK, _LIT = 0.8, 0.95
"""What is darker than this share of the lit ground near it may be its shadow, and what is brighter may be
ground that is lit where a shadow crosses a notch."""
_NEAR = 15.0
"""How far off, mm, ground tells how bright it is when lit."""
_AROUND = 2
"""Coarse pixels about the print's edges that say nothing."""
_EVEN = 0.1
"""By how much the print's brightness may change where steps are looked for."""
_ALIKE = 16.0
"""Grey levels by which a part's colour may change."""
_OFF = 0.25
"""Share of an even area that is none of the printed ground, from which all of it is the board's."""


@dataclass(frozen=True, eq=False)
class Area:
    """A coarse picture round a board, each (rows, columns).

    ``mask`` is 1 on the board, ``seen`` the colours, as bright as on blank paper, ``raw`` as they are,
    ``tone`` how bright the ground's print is against its paper and ``known`` 1 apart from the print's edges.
    """

    mask: Pixels
    seen: Shades
    raw: Shades
    tone: Shades
    known: Pixels


def parts_at_rim(mask: Pixels, small: Pixels, tone: Shades | None, per_mm: float) -> Pixels:
    """Where parts of the ground's colour lie at the rim of a board's ``mask``, (rows, columns), 1 there.

    ``small`` is the picture at the mask's scale, ``tone`` how bright the ground's print is against its paper.

    >>> small = np.full((120, 160, 3), 230, np.uint8)
    >>> small[30:90, 30:130] = (60, 110, 40)
    >>> small[50:70, 110:130] = 205
    >>> mask = (small[..., 0] == 60).astype(np.uint8)
    >>> found = parts_at_rim(mask, small, None, 5.0)
    >>> bool(found[55:65, 115:126].all()), int(found[:, 132:].sum())
    (True, 0)
    """
    raw = small.astype(np.float32)
    known = np.ones(mask.shape, np.uint8)
    seen = raw
    if tone is not None:
        around = _square(2 * _AROUND + 1)
        known = (cv2.dilate(tone, around) - cv2.erode(tone, around) < _EVEN).astype(np.uint8)
        seen = raw / tone[..., None]
    area = Area(mask, seen, raw, np.ones(mask.shape, np.float32) if tone is None else tone, known)
    found = _across_print(area, per_mm) if tone is not None else np.zeros_like(mask)
    return found | _behind_steps(area, per_mm)


def _behind_steps(area: Area, per_mm: float) -> Pixels:
    """What looks like ground, but is cut off from it by a step, (rows, columns)."""
    mask, known = area.mask, area.known
    plain = (cv2.dilate(mask, _square(3)) == 0) & (known > 0)
    steps = _steps(area.seen, plain) * area.tone
    step = ((steps > _least(steps, area)) & (mask == 0) & (known > 0)).astype(np.uint8)
    near = cv2.dilate(step, _square(2 * _AROUND + 3))
    labels, areas, whole = _basins((mask | step | (near & (1 - known))) == 0, area.seen, 5)
    found = np.zeros_like(mask)
    if len(areas) < 3:
        return found
    outer = 1 + int(np.argmax(areas[1:]))
    light = np.where(plain, area.seen.mean(axis=2), 0)
    shown, hull = near & cv2.dilate(known, _square(3)), _hull(mask)
    for n in np.flatnonzero(areas > _SEED * per_mm**2):
        part = _of_colour(area.mask, area.seen, area.tone, whole == n, labels == n)
        if n in (0, outer) or not _at_rim(part, mask, hull, per_mm):
            continue
        beside = _rim(part) & (mask == 0)
        bright = float(np.median(area.seen[part > 0].mean(axis=1))) / _light(light, part, per_mm)
        if _DARK < bright < _LIT and shown[beside].sum() >= _SHOWN * beside.sum():
            found |= part
    return found


def _light(ground: Shades, part: Pixels, per_mm: float) -> float:
    """How bright lit ground is round a part, from the ground's brightness, (rows, columns), 0 elsewhere."""
    reach = round(_NEAR * per_mm)
    (top, left), (low, right) = np.argwhere(part).min(axis=0), np.argwhere(part).max(axis=0)
    near = ground[max(top - reach, 0) : low + reach, max(left - reach, 0) : right + reach]
    return float(np.percentile(near[near > 0], 90)) if near.any() else 0.1


def _across_print(area: Area, per_mm: float) -> Pixels:
    """What looks like ground, but goes on evenly where other print should be, (rows, columns)."""
    steps = _steps(area.raw, np.ones(area.mask.shape, bool))
    labels, areas, whole = _basins(steps < _least(steps, area), area.raw, 3)
    ground = np.bincount(whole.ravel(), ((area.mask == 0) & (area.known > 0)).ravel(), len(areas))
    off = np.bincount(whole.ravel(), area.mask.ravel(), len(areas))
    found, hull, even = np.zeros_like(area.mask), _hull(area.mask), np.ones_like(area.tone)
    for n in np.flatnonzero((ground > _SEED * per_mm**2) & (off > _OFF * (ground + off))):
        part = _of_colour(area.mask, area.raw, even, whole == n, labels == n)
        if n and _at_rim(part, area.mask, hull, per_mm):
            found |= part
    return found


def _least(steps: Shades, area: Area) -> float:
    """The change that is a step, from what plain ground changes by."""
    other = area.mask | (1 - area.known)
    ground = steps[cv2.dilate(other, _square(2 * _AWAY + 1)) == 0]
    return max(_STEP, _TIMES * float(np.percentile(ground, 99)) if len(ground) else 0.0)


def _basins(even: Mask, seen: Shades, width: int) -> tuple[Labels, NDArray[np.int64], Labels]:
    """Even areas wider than some pixels by number, how many pixels they have, and whose each pixel is."""
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))
    narrow = cv2.erode(even.astype(np.uint8), disc, None, (-1, -1), 1, cv2.BORDER_CONSTANT, (1.0,))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(narrow, connectivity=4)
    whole = cv2.watershed(np.clip(seen, 0, 255).astype(np.uint8), labels.copy())
    whole = np.maximum(whole, 0)
    whole = np.where(whole > 0, whole, cv2.dilate(whole.astype(np.float32), _square(3)))
    return labels, np.asarray(stats[:, cv2.CC_STAT_AREA], np.int64), np.asarray(whole, np.int32)


def _of_colour(mask: Pixels, seen: Shades, weight: Shades, basin: Mask, even: Mask) -> Pixels:
    """Pixels off the board in a basin that are of its even area's colour, or between that and the board."""
    chosen = basin & (mask == 0)
    found = np.zeros(chosen.shape, np.uint8)
    off = (seen[chosen] - np.median(seen[even], axis=0)) * weight[chosen][:, None]
    found[chosen] = np.sqrt((off * off).mean(axis=1)) < _ALIKE
    found = cv2.morphologyEx(found, cv2.MORPH_OPEN, _square(3))
    mixed = _square(5)
    found |= cv2.dilate(found, mixed) & cv2.dilate(mask, mixed) & chosen
    return np.asarray(found, np.uint8)


def _steps(seen: Shades, counts: Mask) -> Shades:
    """How much, grey levels a pixel, colours change by steps, (rows, columns): soft shadows apart.

    Only pixels that count are looked at; the rest takes the colours round it.
    """
    weight = counts.astype(np.float32)

    def smooth(width: float) -> Shades:
        whole = np.maximum(cv2.GaussianBlur(weight, (0, 0), width), np.float32(1e-3))
        return np.asarray(cv2.GaussianBlur(seen * weight[..., None], (0, 0), width) / whole[..., None])

    sharp = smooth(_FINE) - smooth(_WIDE)
    across, down = (cv2.Sobel(sharp, cv2.CV_32F, dx, 1 - dx, None, 3, 1 / 8) for dx in (1, 0))
    return np.asarray(np.sqrt((across * across + down * down).mean(axis=2)), np.float32)


def _hull(mask: Pixels) -> Pixels:
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    found = np.zeros_like(mask)
    cv2.fillConvexPoly(found, cv2.convexHull(np.vstack(contours)), 1)
    return found


def _at_rim(part: Pixels, mask: Pixels, hull: Pixels, per_mm: float) -> bool:
    """Whether an area is large enough, and where a part may be: the board round it, and in its hull."""
    count = int(part.sum())
    if count < _LEAST * per_mm**2:
        return False
    return bool(mask[_rim(part)].mean() >= _BOARD and (part & hull).sum() >= _HULL * count)


def _rim(part: Pixels) -> Mask:
    """The pixels round an area."""
    return np.asarray((cv2.dilate(part, _square(3)) > 0) & (part == 0))


def _square(width: int) -> Pixels:
    return np.ones((width, width), np.uint8)
