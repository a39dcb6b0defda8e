"""What all holes of a picture share, learnt from the clear ones: blurs, noise, metal, opening, light."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.model.board import Pixels
from trimgeo.vision.hole_colours import Shown, in_metal
from trimgeo.vision.hole_fit import AXES, LUMA, Fit, Gain, Scene, learnt
from trimgeo.vision.subpixel import blurred_disc

Floats = NDArray[np.float64]

_ASKED = 24
"""Holes in rings, and bare ones, that are asked for what all share."""
_CLEAR = 8.0
"""Radius, pixels, of a hole that shows both its opening and its blur well."""
_LIKE = 40.0
"""Grey levels by which what a hole shows may be off what most do."""
_UNEVEN = 0.06
"""Share by which brightness may stray about its plane: beyond, what was fitted is not one metal."""
_PURE = 0.02
"""Share of its surroundings in a ring's middle that still shows the metal as it is."""
_MOST_MIXED = 0.5
_PURE_OFF, _MIXED_OFF, _OFF_BY = 2.0, 8.0, 20.0
"""Grey levels by which a level of pure middles is off, the most by which one is, and for each share mixed."""
_OF_COLOUR = 1.15
"""Colour that JPEG keeps of 2 x 2 pixels is blurred by the square root of 1 pixel² more than brightness (the
mean of two, and a triangle over four pixels, variances 0.25 and 0.75), and hardly by more: what a fit finds
more is JPEG's coarse steps."""
_SHARP, _UNLIKE = 0.02, 3.0
"""A radius' deviation, pixels, and grey levels off the model: where a hole begins to say less of the blur."""
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
    # A narrow ring that was not seen blurs a rim: the sharper ones tell more.
    seen = np.array([fit.disc.blurs for fit in told])
    grey, colour = (_quantile(each, _sharpness(told), 0.4) for each in seen.T)
    noise = np.median([fit.spreads for fit in told], axis=0)
    blurs = (grey, max(grey, min(colour, _OF_COLOUR * float(np.hypot(grey, 1.0)))))
    metals = _metals(scene.pixels, [fit for fit in told if in_metal(fit)], blurs, shown.metal)
    openings = _openings(told, blurs[1])
    gain = _gain((metals, openings))
    metal, opening = metals.level(gain, shown.metal), openings.level(gain, shown.opening)
    assert opening is not None
    spreads = (openings.spread, metals.spread)
    return replace(scene, blurs=blurs, noise=noise, metal=metal, gain=gain, spreads=spreads), opening


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
    """Colours, (n, 3), of what lies at (n, 2), pixels; ``mixed``, (n,): what is beside them, by share."""

    at: Floats
    colours: Floats
    mixed: Floats

    @property
    def weights(self) -> Floats:
        """How much each says of what is not mixed: a few that are pure say more than many that are not."""
        return np.asarray((_PURE + self.mixed) ** -2)

    @property
    def spread(self) -> float:
        """Grey levels by which the level may be off: what is taken out of a mixed middle is not quite it."""
        if not len(self.at):
            return _MIXED_OFF
        return min(_MIXED_OFF, _PURE_OFF + _OFF_BY * float(np.average(self.mixed, weights=self.weights)))

    def level(self, gain: Gain | None, otherwise: Floats | None) -> Floats | None:
        """The weighted median of brightness and of colour, in even light."""
        if not len(self.at):
            return otherwise
        light = np.ones(len(self.at)) if gain is None else np.array([gain.at(each) for each in self.at])
        every = (self.colours / light[:, None]) @ AXES.T
        return np.array([_quantile(each, self.weights, 0.5) for each in every.T]) @ np.linalg.inv(AXES).T


def _quantile(values: Floats, weights: Floats, share: float) -> float:
    """The value below which a share of the weight lies, between the two that are nearest."""
    order = np.argsort(values, kind="stable")
    heavy = weights[order] / weights.sum()
    return float(np.interp(share, np.cumsum(heavy) - heavy / 2, values[order]))


def _sharpness(told: list[Fit]) -> Floats:
    """How much each hole says of the blur: those whose radius is sure, and that are like their model."""
    off, residual = np.array([(fit.disc.deviations[1], fit.disc.residual) for fit in told]).T
    return np.asarray(1 / ((_SHARP**2 + off**2) * (1 + (residual / _UNLIKE) ** 2)))


def _openings(told: list[Fit], blur: float) -> _Levels:
    return _Levels(
        np.array([fit.disc.centre for fit in told]),
        np.array([fit.inside for fit in told]),
        np.array([1 - float(blurred_disc(np.zeros(1), fit.disc.radius, blur)[0]) for fit in told]),
    )


def _metals(pixels: Pixels, ringed: list[Fit], blurs: tuple[float, float], usual: Floats | None) -> _Levels:
    """What the middles of rings show, without what blur mixes into them of the opening and of what is beyond.

    JPEG's blur of colour is no Gaussian: little is taken out of a wide ring, which says more.
    """
    if not ringed or usual is None:
        return _Levels(np.empty((0, 2)), np.empty((0, 3)), np.empty(0))
    at = np.array([fit.disc.centre for fit in ringed])
    middle = np.array([fit.disc.radius + _width(fit) / 2 for fit in ringed])
    turn = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    x, y = (at[:, k, None] + np.outer(middle, f(turn)) for k, f in enumerate((np.cos, np.sin)))
    seen = cv2.remap(pixels, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    cores = np.median(seen, axis=1) @ AXES.T
    mixed = np.zeros(len(ringed))
    for n, fit in enumerate(ringed):
        for channel in range(3):
            blur, r = blurs[min(channel, 1)], middle[n : n + 1]
            opening = float(blurred_disc(r, fit.disc.radius, blur)[0])
            beyond = 1 - float(blurred_disc(r, fit.disc.radius + _width(fit), blur)[0])
            mixed[n] = opening + beyond
            other = (opening * fit.inside + beyond * fit.beyond) @ AXES[channel]
            cores[n, channel] = (cores[n, channel] - other) / max(1 - mixed[n], 0.2)
    colours = cores @ np.linalg.inv(AXES).T
    # A pad's blurred rim is no ring: it is mixed, or of another colour than the rings of the board.
    metal = (mixed < _MOST_MIXED) & (np.linalg.norm(colours - usual, axis=1) < 2 * _LIKE)
    return _Levels(at[metal], colours[metal], mixed[metal])


def _gain(every: tuple[_Levels, ...]) -> Gain | None:
    """How brightness falls off over the picture: planes of one slope through what openings and rings show."""
    rows, ratios, pure, kinds = [], [], [], []
    for kind, levels in enumerate(every):
        usual = levels.level(None, None)
        if usual is not None and usual.sum() > 150:
            rows.append(levels.at)
            ratios.append(levels.colours @ LUMA / (usual @ LUMA))
            kinds.append(np.arange(len(every)) == np.full((len(levels.at), 1), kind))
            pure.append(np.minimum(1.0, 2 * _PURE / (_PURE + levels.mixed)))
    if sum(map(len, rows)) < 6:
        return None
    at, ratio = np.vstack(rows), np.concatenate(ratios)
    middle = at.mean(axis=0)
    design, clear = np.column_stack([*np.vstack(kinds).T, at - middle]), np.concatenate(pure)
    weights = clear
    for _ in range(5):
        plane = np.linalg.lstsq(design * weights[:, None], ratio * weights, rcond=None)[0]
        off = np.abs(design @ plane - ratio)
        spread = max(1.4826 * _quantile(off, clear, 0.5), 0.005)
        weights = clear / np.maximum(1.0, off / (2 * spread))
    if spread > _UNEVEN:
        return None
    return Gain(middle, plane[-2:] / plane[:-2].max(), spread * float(np.sqrt(len(at) / (len(at) - 3))))
