"""Features of one face found in both of its scans, the second turned: from coarse to fine."""

from __future__ import annotations

from dataclasses import dataclass
from types import ModuleType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.carriage import CarriageLens
from trimgeo.scale.turned_bends import Bends
from trimgeo.scale.turned_facing import Facing
from trimgeo.scale.turned_fitting import Pairs, Turning, fitted, posed, start
from trimgeo.scale.turned_patches import Matches, refined, searched, shrunk, textured

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

LEAST: Final = 12
"""Pairs without which two pictures do not show the same face."""
LEAST_SHARE: Final = 0.25
"""Share of the patches that must be found again: of two different boards hardly any is."""
_COARSE: Final = 0.25
"""mm a pixel where patches are first looked for: 100 dpi."""
_FINE: Final = 0.0424
"""mm a pixel where they are measured at the finest: 600 dpi; finer scans only show more grain."""
_LOOKED_FOR: Final = 500
_MEASURED: Final = 1400
"""Patches at most: enough to tell how the second scan lies, and to know the bends to a few micrometres."""
_REACH: Final = 10
_COARSE_HALF: Final = 12
_PATCH: Final = 1.0
"""mm, half the side of a patch that is measured, as far as that is 12 to 26 pixels."""
_LEAST_SCORE: Final = 0.6
_FLOOR: Final = 0.02
"""Pixels added to the uncertainty of each match: what no patch is better than (tests/scale)."""


@dataclass(frozen=True, eq=False)
class Scans:
    """Both scans at one reduction: ``pixel`` is the size of a pixel in mm, x and y."""

    first: Grey
    second: Grey
    pixel: Floats

    def mm(self, pixels: Floats) -> Floats:
        """From the picture's corner, y down."""
        return np.asarray((pixels + 0.5) * self.pixel)

    def pixels(self, mm: Floats) -> Floats:
        """The other way."""
        return np.asarray(mm / self.pixel - 0.5)


def levels(cv2: ModuleType, scans: Scans) -> list[Scans]:
    """The scans from coarse to fine, two levels or more, each at most three times finer.

    >>> import cv2
    >>> blank = np.zeros((90, 60), np.uint8)
    >>> [level.first.shape for level in levels(cv2, Scans(blank, blank, np.array([0.0423, 0.0423])))]
    [(18, 12), (90, 60)]
    """
    largest = float(scans.pixel.max())
    fine = max(1, int(_FINE / largest))
    factors = [max(fine, int(_COARSE / largest))]
    while factors[-1] > fine:
        factors.append(max(fine, factors[-1] // 3))
    if len(factors) == 1:
        factors *= 2
    return [
        Scans(shrunk(cv2, scans.first, each), shrunk(cv2, scans.second, each), each * scans.pixel)
        for each in factors
    ]


def coarsely(cv2: ModuleType, scans: Scans, lies: Facing, known: Bends) -> tuple[Turning, float] | None:
    """How the second scan lies, and the share of patches that say so; None where they do not agree."""
    begun = start(lies.angle, lies.shift, len(known.group))
    at, guess, linear = _guessed(_places(cv2, scans.first, _COARSE_HALF, _LOOKED_FOR), begun, known, scans)
    matches = searched(cv2, scans.first, scans.second, at, guess, linear, _COARSE_HALF, _REACH)
    good = matches.score > _LEAST_SCORE
    if good.sum() < LEAST:
        return None
    pairs = _pairs(matches.chosen(good), scans, known)
    found = posed(pairs, begun, 1.0)
    share = float(found.kept.sum()) / len(at)
    if found.kept.sum() < LEAST or share < LEAST_SHARE:
        return None
    return fitted(pairs.chosen(found.kept), found, known, 0.5 * float(scans.pixel.max())), share


def finely(cv2: ModuleType, scans: Scans, fit: Turning, known: Bends) -> Turning | None:
    """The fit on patches measured where the fit so far puts them; None where hardly any is found."""
    half = int(np.clip(round(_PATCH / scans.pixel.max()), 12, 26))
    at, guess, linear = _guessed(_places(cv2, scans.first, half, _MEASURED), fit, known, scans)
    matches = refined(cv2, scans.first, scans.second, at, guess, linear, half)
    pairs = _pairs(matches.chosen(matches.score > _LEAST_SCORE), scans, known)
    if len(pairs.first) < LEAST:
        return None
    return fitted(pairs, fit, known, _FLOOR * float(scans.pixel.min()))


def agree(cv2: ModuleType, scans: Scans, lies: Facing) -> bool:
    """Whether patches are found where a coarse look puts them: outlines alone look alike too easily."""
    at = _places(cv2, scans.first, _COARSE_HALF, _LOOKED_FOR)
    step = lies.turn()
    guess = scans.pixels(scans.mm(at) @ step.T + lies.shift)
    found = searched(
        cv2, scans.first, scans.second, at, guess, _linear(step, scans, len(at)), _COARSE_HALF, _REACH
    )
    good = found.score > _LEAST_SCORE
    return bool(good.sum() >= LEAST and good.mean() > LEAST_SHARE)


def features(cv2: ModuleType, picture: Grey) -> int:
    """How many patches of a coarse picture show enough to be found again."""
    return len(_places(cv2, picture, _COARSE_HALF, _LOOKED_FOR))


def _places(cv2: ModuleType, picture: Grey, half: int, most: int) -> Floats:
    rows, columns = picture.shape
    cell = max(float(np.sqrt(rows * columns / most)), 0.7 * half)
    return textured(cv2, picture, half, cell, half + 4).astype(np.float64)


def _guessed(at: Floats, fit: Turning, known: Bends, scans: Scans) -> tuple[Floats, Floats, Floats]:
    """Places of the first scan that the fit puts on the second, where, and the map of steps there."""
    first = scans.mm(at)
    ideal = (first + _modes(known, first) @ fit.weights) @ fit.turn().T + fit.shift
    second = ideal
    for _ in range(3):
        second = ideal - _modes(known, second) @ fit.weights
    guess = scans.pixels(second)
    rows, columns = scans.second.shape
    inside = ((guess > 0) & (guess < [columns - 1, rows - 1])).all(axis=1)
    return at[inside], guess[inside], _linear(fit.turn(), scans, int(inside.sum()))


def _linear(step: Floats, scans: Scans, count: int) -> Floats:
    """Steps in pixels of the second scan from steps in pixels of the first, shape (count, 2, 2)."""
    return np.broadcast_to(step * scans.pixel[None, :] / scans.pixel[:, None], (count, 2, 2))


def _pairs(matches: Matches, scans: Scans, known: Bends) -> Pairs:
    first, second = scans.mm(matches.at), scans.mm(matches.to)
    sd = matches.sd * float(scans.pixel.max())
    return Pairs(first, second, sd, _modes(known, first), _modes(known, second))


def _modes(known: Bends, mm: Floats) -> Floats:
    nothing = np.zeros((2, *known.modes.shape[2:]))
    return CarriageLens(known.start, known.step, nothing, known.modes).jacobian(mm)
