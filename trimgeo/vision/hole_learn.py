"""What all holes of a picture share, learnt from the clear ones: blurs, noise, metal, opening, light."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.model.board import Pixels
from trimgeo.vision.hole_colours import Shown, in_metal
from trimgeo.vision.hole_fit import LUMA, Fit, Gain, Scene, learnt

Floats = NDArray[np.float64]

_ASKED = 24
"""Holes in rings, and bare ones, that are asked for what all share."""
_CLEAR = 8.0
"""Radius, pixels, of a hole that shows both its opening and its blur well."""
_LIKE = 40.0
"""Grey levels by which what a hole shows may be off what most do."""
_UNEVEN = 0.06
"""Share by which brightness may stray about its plane: beyond, what was fitted is not one metal."""
_DIRECTIONS = 24


def scene_learnt(scene: Scene, begun: list[Fit], shown: Shown) -> tuple[Scene, Floats]:
    """The scene with blurs, noise, metal and light, and what openings show, (3,): what clear holes show.

    They are fitted with nothing believed of them; none that is clear leaves the scene as it was.
    """
    assert shown.opening is not None
    scene = replace(scene, metal=shown.metal)
    ringed = sorted((s for s in begun if s.disc.radius > 4 and _width(s) > 2.6), key=lambda s: -_width(s))
    bare = [s for s in begun if s.disc.radius > 4 and s.ring is None]
    bare.sort(key=lambda s: abs(s.disc.radius - _CLEAR))
    asked = (ringed if shown.metal is not None else [])[:_ASKED] + bare[:_ASKED]
    told = [fit for fit in learnt(scene, asked) if _tells(fit, shown.opening)]
    if not told:
        return scene, shown.opening
    sharp = [fit for fit in told if fit.disc.deviations[1] < 0.2] or told
    # A narrow ring that was not seen blurs a rim: the sharper ones tell more.
    grey, colour = np.quantile([fit.disc.blurs for fit in sharp], 0.3, axis=0)
    noise = np.median([fit.spreads for fit in told], axis=0)
    metals, openings = _metals(scene.pixels, [fit for fit in told if in_metal(fit)]), _openings(told)
    gain = _gain((metals, openings))
    metal, opening = metals.level(gain, shown.metal), openings.level(gain, shown.opening)
    assert opening is not None
    blurs = (float(grey), float(max(grey, colour)))
    return replace(scene, blurs=blurs, noise=noise, metal=metal, gain=gain), opening


def _tells(fit: Fit, opening: Floats) -> bool:
    """Whether a fit is clear and shows in its opening what most do."""
    steps = [np.linalg.norm(a - b) for a, b in ((fit.inside, fit.around), (fit.around, fit.beyond))]
    clear = fit.disc.deviations[1] < 0.4 and fit.disc.residual < 0.08 * max(steps) and fit.cover > 0.9
    alike = np.linalg.norm(fit.inside - opening) < _LIKE
    return bool(clear and alike)


def _width(fit: Fit) -> float:
    return 0.0 if fit.ring is None else fit.ring - fit.disc.radius


@dataclass(frozen=True)
class _Levels:
    """Colours, (n, 3), of what is so wide, (n,), pixels, at (n, 2), that its middle is little mixed."""

    at: Floats
    colours: Floats
    widths: Floats

    @property
    def wide(self) -> NDArray[np.bool_]:
        """Which are as wide as the wider third."""
        return np.asarray(self.widths >= np.quantile(self.widths, 0.67))

    def level(self, gain: Gain | None, otherwise: Floats | None) -> Floats | None:
        """The median colour of the wider third, in even light."""
        if not len(self.widths):
            return otherwise
        wide = self.wide
        light = np.ones(len(self.widths)) if gain is None else np.array([gain.at(each) for each in self.at])
        return np.asarray(np.median((self.colours / light[:, None])[wide], axis=0))


def _openings(told: list[Fit]) -> _Levels:
    return _Levels(
        np.array([fit.disc.centre for fit in told]),
        np.array([fit.inside for fit in told]),
        np.array([fit.disc.radius for fit in told]),
    )


def _metals(pixels: Pixels, ringed: list[Fit]) -> _Levels:
    """What rings show: where their outer rims were left out of the fits, that alone.

    Of a narrower ring a fit finds more colour than there is, as JPEG's blur of colour has shorter tails than
    a Gaussian, and the ring's middle shows less: half of each is near the truth (tests/bench/board_holes.py).
    """
    if not ringed:
        return _Levels(np.empty((0, 2)), np.empty((0, 3)), np.empty(0))
    at = np.array([fit.disc.centre for fit in ringed])
    fits = np.array([fit.around for fit in ringed])
    middle = np.array([fit.disc.radius + _width(fit) / 2 for fit in ringed])
    turn = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    x, y = (at[:, k, None] + np.outer(middle, f(turn)) for k, f in enumerate((np.cos, np.sin)))
    seen = cv2.remap(pixels, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    cores = np.median(seen, axis=1)
    narrow = np.array([fit.disc.rim is not None for fit in ringed])[:, None]
    return _Levels(at, np.where(narrow, (fits + cores) / 2, fits), np.array([_width(fit) for fit in ringed]))


def _gain(every: tuple[_Levels, ...]) -> Gain | None:
    """How brightness falls off over the picture: a plane through what openings and rings show of it."""
    rows, ratios = [], []
    for levels in every:
        usual = levels.level(None, None)
        if usual is not None and usual.sum() > 150:
            rows.append(levels.at)
            ratios.append(levels.colours @ LUMA / (usual @ LUMA))
    if sum(map(len, rows)) < 6:
        return None
    at, ratio = np.vstack(rows), np.concatenate(ratios)
    middle = at.mean(axis=0)
    design, weights = np.column_stack([np.ones(len(at)), at - middle]), np.ones(len(at))
    for _ in range(5):
        plane = np.linalg.lstsq(design * weights[:, None], ratio * weights, rcond=None)[0]
        off = np.abs(design @ plane - ratio)
        spread = max(1.4826 * float(np.median(off)), 0.005)
        weights = 1 / np.maximum(1.0, off / (2 * spread))
    if spread > _UNEVEN:
        return None
    return Gain(middle, plane[1:] / plane[0], spread * float(np.sqrt(len(at) / (len(at) - 3))))
