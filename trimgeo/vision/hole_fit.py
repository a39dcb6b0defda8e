"""One hole measured: steps around its middle tell its rim and its ring, a fit places them between pixels."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.model.board import Pixels
from trimgeo.vision.hole_candidates import Walls
from trimgeo.vision.subpixel import Channel, Disc, Far, fit_disc

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
_BAND = 4.5
"""Pixels to both sides of a rim that are fitted."""
_WIDE = 6.0
"""A ring wider than this, pixels, is left out of the fit: its outer rim says nothing about the hole."""
_LUMA = np.array([0.114, 0.587, 0.299])
"""Of blue, green and red (ITU-R BT.601), as JPEG keeps it finer than colour."""
_LEAST_COLOUR = 15.0
"""Change of colour, grey levels, that is worth a channel of its own."""
_FIRM = 0.1
"""Standard deviation of a radius, pixels, that is well determined."""
_AGREE = 0.06
"""Share of the step at a rim by which pixels may be off the model."""
_NARROW_STARTS = ((0.9, 0.9), (2.0, 0.1))
"""Pixels that a narrow ring reaches to both sides of a rim that was fitted without it."""
_NARROW_RING = 4.2
"""Pixels: in a ring narrower than this blur leaves nothing of its own brightness."""
_NARROW_WALL, _WIDE_WALL = 0.4, 3.0
"""Pixels: a wall narrower is not seen; one wider shows that the light comes from one side."""


@dataclass(frozen=True)
class Fit:
    """A hole fitted: its ``disc``, and the colours in its opening, around it and beyond its ring.

    ``cover``: share of the directions in which its rim is seen; ``ring``: the outer radius of a ring, wide
    or not.  ``axes``: what of a colour each channel of the fit is, (channels, 3): brightness, perhaps colour.
    """

    disc: Disc
    inside: Floats
    around: Floats
    beyond: Floats
    cover: float
    ring: float | None
    axes: Floats

    @property
    def firm(self) -> bool:
        """Whether the pixels agree with the model and leave its radius little room."""
        disc = self.disc
        return disc.deviations[1] < _FIRM and disc.residual < _AGREE * disc.contrast

    @property
    def narrow(self) -> bool:
        """Whether the ring is one that the blur leaves no level of its own."""
        return self.ring is not None and self.ring - self.disc.radius < _NARROW_RING


@dataclass(frozen=True)
class Scene:
    """What all holes of a picture share: its ``pixels``, and where their ``walls`` are seen.

    ``blurs`` of brightness and colour and the ``metal`` of the rings (blue, green, red) are None if unknown.
    """

    pixels: Pixels
    walls: Walls
    blurs: tuple[float, float] | None = None
    metal: Floats | None = None


def starts(scene: Scene, at: Floats, radius: float, widest_ring: float) -> list[Fit]:
    """Up to three holes that may lie about ``at`` (column, row), not fitted yet: steps in most directions.

    ``radius`` is the hole's own or its pad's, and ``widest_ring`` in pixels too.
    """
    shift = scene.walls.shift(at)
    reach = radius + min(widest_ring, 1.2 * radius + 4) + 4
    polar = _polar(scene.pixels, at, reach, shift if np.hypot(*shift) > _NARROW_WALL else None)
    steps, profile = _steps(polar), np.median(polar, axis=0)
    begun = []
    for n in [n for n, (_, share) in enumerate(steps) if share >= _WHOLE]:
        outer = [r for r, share in steps[n + 1 :] if share >= 0.6 and r - steps[n][0] <= widest_ring]
        begun.append(
            _start(at, steps[n], outer[0] if outer else None, profile, _wall(scene, at, steps[n][0]))
        )
    size = [float(np.linalg.norm(start.around - start.inside)) for start in begun]
    # Around the middle all directions see the same few pixels: what they show may be noise.
    kept = [start for start, each in zip(begun, size, strict=True) if each > max(_FAINT, 0.12 * max(size))]
    opened = [(start, replace(start, inside=_opening(scene, start))) for start in kept]
    # In a pad its middle differs from its rim's inner side: there is a hole in it.
    return [new for old, new in opened if _alike(old, new)][:3]


def _alike(near_rim: Fit, at_middle: Fit) -> bool:
    off = float(np.linalg.norm(near_rim.inside - at_middle.inside))
    return off < max(_FAINT, 0.3 * float(np.linalg.norm(near_rim.around - near_rim.inside)))


def fitted(scene: Scene, start: Fit) -> Fit | None:
    """A hole fitted from its start; None where the pixels are none.

    Blur, width and level of a narrow ring cannot be told from each other, but every ring is of one
    metal: where that is known, a rim without a ring is tried with a narrow one too.
    """
    plain = _fit_once(scene, start, (start.disc.radius, start.disc.rim))
    if scene.metal is None or start.ring is not None:
        return plain
    radius = start.disc.radius if plain is None else plain.disc.radius
    # A rim that is none lies in the middle of a narrow ring, or at its outer side.
    tried = [_fit_once(scene, start, (max(1.0, radius - a), radius + b)) for a, b in _NARROW_STARTS]
    fits = [each for each in tried if each is not None]
    ringed = min(fits, key=lambda each: each.disc.misfit) if fits else None
    if ringed is None or ringed.disc.rim is None or ringed.disc.rim - ringed.disc.radius < 1.2:
        return plain
    if plain is None or (ringed.disc.misfit < 0.75 * plain.disc.misfit and ringed.disc.deviations[1] < _FIRM):
        return ringed
    if ringed.disc.misfit > 0.95 * plain.disc.misfit:
        return plain
    apart = abs(ringed.disc.radius - plain.disc.radius) / 2  # either may be true
    return replace(plain, disc=replace(plain.disc, deviations=(plain.disc.deviations[0], apart)))


def _opening(scene: Scene, fit: Fit) -> Floats:
    """The colour in the middle of what is seen through a hole."""
    middle = np.array(fit.disc.centre) + scene.walls.shift(np.array(fit.disc.centre)) / 2
    spot = cv2.getRectSubPix(scene.pixels, (3, 3), (float(middle[0]), float(middle[1])))
    return np.asarray(spot.mean(axis=(0, 1)), dtype=np.float64)


def _wall(scene: Scene, at: Floats, radius: float) -> Floats | None:
    """The colour of a hole's wall where it is widest, (3,); None where none is seen."""
    shift = scene.walls.shift(at)
    wall = float(np.hypot(*shift))
    if wall < _WIDE_WALL:
        return None
    x, y = at - shift / wall * (radius - min(wall / 2, radius))
    return np.asarray(cv2.getRectSubPix(scene.pixels, (1, 1), (float(x), float(y))), np.float64).reshape(3)


def _start(
    at: Floats, step: tuple[float, float], ring: float | None, profile: Floats, wall: Floats | None
) -> Fit:
    """What a fit begins with: a step at a radius, seen in a share of directions, perhaps a ring around it."""
    radius, cover = step
    inside = _at(profile, max(0.0, radius - 2.0))
    around = _at(profile, min(radius + 3.0, (radius + ring) / 2) if ring else radius + 1.7)
    beyond = _at(profile, ring + 2.0) if ring else around
    shown = ring if ring is not None and ring - radius < _WIDE else None
    disc = Disc((float(at[0]), float(at[1])), radius, shown, (1.0, 1.5))
    axes = [_LUMA]
    reach = profile[int(max(0.0, radius - 2) / _FINE) : int(((shown or radius) + 3) / _FINE)]
    colours = _colour(reach if wall is None else np.vstack([reach, wall])) - _colour(inside)
    size = np.linalg.norm(colours, axis=1)
    if len(size) and size.max() > _LEAST_COLOUR:
        way = colours[int(np.argmax(size))] / size.max()
        axes.append(way - way.sum() * _LUMA)
    return Fit(disc, inside, around, beyond, cover, ring, np.array(axes))


def _fit_once(scene: Scene, fit: Fit, radii: tuple[float, float | None]) -> Fit | None:
    """A fit of radius and ring ``radii`` begun at ``fit``."""
    at = np.array(fit.disc.centre)
    shift = scene.walls.shift(at)
    outermost = radii[0] + _BAND if radii[1] is None else radii[1] + 3.0
    if radii[1] is None and fit.ring is not None:
        outermost = min(outermost, fit.ring - 1.5)
    points, colours = _band(scene.pixels, at, radii[0], outermost, shift)
    if len(colours) < 20:
        return None
    wall = float(np.hypot(*shift))
    far = Far(scene.walls.foot, 1 - scene.walls.share, wall > _WIDE_WALL) if wall > _NARROW_WALL else None
    free = scene.blurs is None and radii[0] > 5.0
    guesses = (1.0, 1.8) if scene.blurs is None else scene.blurs
    metal = scene.metal if radii[1] is not None and radii[1] - radii[0] < _NARROW_RING else None
    channels = [
        Channel(
            colours @ axis,
            None if free else guess,
            None if metal is None else float(metal @ axis),
        )
        for axis, guess in zip(fit.axes, guesses, strict=False)
    ]
    start = replace(fit.disc, radius=radii[0], rim=radii[1], blurs=guesses[: len(channels)])
    disc = fit_disc(points, channels, start, far)
    if disc is None or disc.contrast < 10 or disc.residual > 0.2 * disc.contrast:
        return None
    return replace(fit, disc=disc, ring=disc.rim if disc.rim is not None else fit.ring)


def _colour(pixels: Floats) -> Floats:
    """Colours without their brightness, same shape."""
    return np.asarray(pixels - (pixels @ _LUMA)[..., None])


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
    parts = ((polar @ _LUMA)[..., None], _colour(polar))
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


def _band(
    pixels: Pixels, at: Floats, radius: float, outermost: float, shift: Floats
) -> tuple[Floats, Floats]:
    """Positions, (n, 2), and colours, (n, 3), of the pixels about both rims of a hole."""
    low = np.maximum(np.floor(at - outermost - 1), 0).astype(int)
    high = np.minimum(np.ceil(at + outermost + 1) + 1, [pixels.shape[1], pixels.shape[0]]).astype(int)
    if (high - low < 3).any():
        return np.empty((0, 2)), np.empty((0, 3))
    patch = pixels[low[1] : high[1], low[0] : high[0]]
    x, y = np.arange(low[0], high[0])[None, :] - at[0], np.arange(low[1], high[1])[:, None] - at[1]
    r = np.hypot(x, y)
    far = np.hypot(x - shift[0], y - shift[1])
    use = (r <= outermost) & ((r >= radius - _BAND) | (np.abs(far - radius) < _BAND))
    row, column = np.nonzero(use)
    every = max(1, len(row) // 500)
    row, column = row[::every], column[::every]
    points = np.column_stack([column + low[0], row + low[1]]).astype(np.float64)
    return points, patch[row, column].astype(np.float64)
