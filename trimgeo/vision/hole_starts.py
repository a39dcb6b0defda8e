"""Where a hole may lie about a centre: steps of brightness or colour that most directions see."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.model.board import Pixels
from trimgeo.vision.hole_fit import LUMA, NARROW_WALL, Disc, Fit, Scene

Floats = NDArray[np.float64]

_DIRECTIONS = 32
_FINE = 0.5
"""Pixels from one place of a profile to the next."""
_LEAST_STEPS = (5.0, 3.0)
"""Change of brightness and of colour, grey levels a pixel, that are steps: less is noise."""
_FAINT = 14.0
"""Grey levels by which a hole differs from what lies around it."""
_WHOLE = 0.8
"""Share of the directions in which a hole's rim must be seen."""
_WIDE = 6.0
"""A ring wider than this, pixels, is left out of the fit: its outer rim says nothing about the hole."""


def starts(scene: Scene, at: Floats, radius: float, widest_ring: float) -> list[Fit]:
    """Up to three holes that may lie about ``at`` (column, row), not fitted yet: steps in most directions.

    ``radius`` is the hole's own or its pad's, and ``widest_ring`` in pixels too.
    """
    shift = scene.walls.shift(at)
    reach = radius + min(widest_ring, 1.2 * radius + 4) + 4
    polar = _polar(scene.pixels, at, reach, shift if np.hypot(*shift) > NARROW_WALL else None)
    steps, profile = _steps(polar), np.median(polar, axis=0)
    begun = []
    for n in [n for n, (_, share) in enumerate(steps) if share >= _WHOLE]:
        outer = [r for r, share in steps[n + 1 :] if share >= 0.6 and r - steps[n][0] <= widest_ring]
        begun.append(_start(at, steps[n], outer[0] if outer else None, profile))
    size = [float(np.linalg.norm(start.around - start.inside)) for start in begun]
    # Around the middle all directions see the same few pixels: what they show may be noise.
    kept = [start for start, each in zip(begun, size, strict=True) if each > max(_FAINT, 0.12 * max(size))]
    opened = [(start, replace(start, inside=_opening(scene, start))) for start in kept]
    # In a pad its middle differs from its rim's inner side: there is a hole in it.
    return [new for old, new in opened if _alike(old, new)][:3]


def _alike(near_rim: Fit, at_middle: Fit) -> bool:
    off = float(np.linalg.norm(near_rim.inside - at_middle.inside))
    return off < max(_FAINT, 0.3 * float(np.linalg.norm(near_rim.around - near_rim.inside)))


def _opening(scene: Scene, fit: Fit) -> Floats:
    """The colour in the middle of what is seen through a hole."""
    middle = np.array(fit.disc.centre) + scene.walls.shift(np.array(fit.disc.centre)) / 2
    spot = cv2.getRectSubPix(scene.pixels, (3, 3), (float(middle[0]), float(middle[1])))
    return np.asarray(spot.mean(axis=(0, 1)), dtype=np.float64)


def _start(at: Floats, step: tuple[float, float], ring: float | None, profile: Floats) -> Fit:
    """What a fit begins with: a step at a radius, seen in a share of directions, perhaps a ring around it."""
    radius, cover = step
    inside = _at(profile, max(0.0, radius - 2.0))
    around = _at(profile, min(radius + 3.0, (radius + ring) / 2) if ring else radius + 1.7)
    beyond = _at(profile, ring + 2.0) if ring else around
    shown = ring if ring is not None and ring - radius < _WIDE else None
    disc = Disc((float(at[0]), float(at[1])), radius, shown, (1.0, 1.5))
    return Fit(disc, inside, around, beyond, cover, ring)


def _colour(pixels: Floats) -> Floats:
    """Colours without their brightness, same shape."""
    return np.asarray(pixels - (pixels @ LUMA)[..., None])


def _polar(pixels: Pixels, at: Floats, reach: float, toward: Floats | None) -> Floats:
    """Colours by direction and distance, (directions, places, 3); where a wall is, opposite to it."""
    angles = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
    if toward is not None:
        angles = np.arctan2(toward[1], toward[0]) + np.linspace(-1, 1, _DIRECTIONS) * np.pi / 4
    along = np.arange(0, reach, _FINE)
    x = (at[0] + np.cos(angles)[:, None] * along).astype(np.float32)
    y = (at[1] + np.sin(angles)[:, None] * along).astype(np.float32)
    polar = cv2.remap(pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(polar, dtype=np.float64)


def _steps(polar: Floats) -> list[tuple[float, float]]:
    """Radii at which brightness or colour changes, from within, and in what share of directions."""
    parts = ((polar @ LUMA)[..., None], _colour(polar))
    found: list[tuple[float, float]] = []
    for part, least in zip(parts, _LEAST_STEPS, strict=True):
        for radius, share in _steps_of(part, least):
            if all(abs(radius - other) > 1.6 for other, kept in found if kept >= 0.6):
                found.append((radius, share))
    return sorted(found)


def _steps_of(polar: Floats, least: float) -> list[tuple[float, float]]:
    middle = np.median(polar, axis=0)
    change = (middle[2:] - middle[:-2]) / (2 * _FINE)
    size = np.linalg.norm(change, axis=1)
    if len(size) < 5:
        return []
    most = max(least, 0.12 * float(size.max()))
    peaks = np.flatnonzero((size[1:-1] > size[:-2]) & (size[1:-1] >= size[2:]) & (size[1:-1] > most)) + 1
    found = []
    for k in peaks.tolist():
        axis = change[k] / size[k]
        low, high = max(0, k - 3), min(len(size), k + 4)
        each = (polar[:, low + 2 : high + 2] - polar[:, low:high]) @ axis / (2 * _FINE)
        share = float((each.max(axis=1) > 0.4 * size[k]).mean())
        a, b, c = size[k - 1], size[k], size[k + 1]
        bend = a - 2 * b + c
        found.append(((k + 1 + (0.5 * (a - c) / bend if bend < 0 else 0.0)) * _FINE, share))
    return found


def _at(profile: Floats, radius: float) -> Floats:
    return np.asarray(profile[min(len(profile) - 1, max(0, round(radius / _FINE)))])
