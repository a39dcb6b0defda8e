"""How far a card is bent: judged by evidence, and by fits without each of its sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trimgeo.scale.adjustment import Adjusted, Sheet, Sight, adjusted
from trimgeo.scale.bend import TERMS, evidence, shapes
from trimgeo.scale.camera import CAMERA, TURN
from trimgeo.scale.limits import CARD_FLAT, FAR_OFF

Floats = NDArray[np.float64]

MULTIPLES = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
"""How many times a flat card's bends are tried: up to a curl of more than a millimetre."""

_LOOSE = 8.0
_ASKED = 3.0
"""Log of the odds (20 to 1) that must speak for a bent card."""

LIES_ON_BEND = 0.3
"""Standard uncertainty of where a board lies on a bent card, as a share of the bend: it may touch its highest
places, or press it down; evenly between lowest and highest would be 1/√12."""

_LEFT = 20
"""A fit without a side needs so many corners."""


def bend_asked_for(sheets: Sequence[Sheet], sights: Sequence[Sight]) -> Adjusted:
    """An adjustment with each sheet's bends allowed as far as the corners ask for.

    First all bends are let loose; there the log evidence of each multiple of a flat card's prior is
    compared to that of the flat card (type II maximum likelihood: MacKay 1992, Bayesian interpolation).
    """
    loose = adjusted([_times(sheet, _LOOSE) for sheet in sheets], sights)
    allowed = []
    for number, sheet in enumerate(sheets):
        multiple = _most_likely(loose, sheet, number)
        allowed.append(_times(sheet, multiple))
    return replace(loose, sheets=tuple(allowed))


def asked_for(sheet: Sheet) -> bool:
    """Whether a sheet was let bend further than a flat one."""
    return bool(sheet.bend_known[0] > 1.5 * CARD_FLAT)


def bend_reach(fit: Adjusted, v: int) -> float:
    """Height, mm, between the highest and the lowest corner by the bend alone."""
    sight = fit.sights[v]
    heights = shapes(sight.at, fit.sheets[sight.sheet].half) @ fit.bend(v)
    plane = np.column_stack([sight.at, np.ones(len(heights))])
    off = heights - plane @ np.linalg.lstsq(plane, heights, rcond=None)[0]
    return float(np.ptp(off))


def without_sides(fit: Adjusted) -> list[Floats]:
    """Covariance, shape (p, p), for each sight, of what leaving out a side of its card moves.

    Where a card is bent: the bend is a model, and how the fit shifts when each of the four sides
    in turn takes no part shows how far another bend could move it; and where on the bend the board lies
    is not known (`LIES_ON_BEND`).  The same where corners lie so far off that no model explains them
    (`FAR_OFF`): a crease, a picture taken row by row.  Half the sum of the squared shifts is added: four
    sides, each shift common to a direction.
    """
    nothing = np.zeros((fit.layout.count, fit.layout.count))
    extra = [nothing for _ in fit.sights]
    for v, sight in enumerate(fit.sights):
        sheet = fit.sheets[sight.sheet]
        if not asked_for(sheet) and fit.spread[v] <= FAR_OFF:
            continue
        shifts = [_shift(fit, v, kept) for kept in _sides(sight, sheet) if kept.sum() >= _LEFT]
        heights = np.zeros(fit.layout.count)
        if asked_for(sheet):
            heights[fit.layout.columns[v][fit.layout.seen :]] = LIES_ON_BEND * bend_reach(fit, v)
        extra[v] = sum((np.outer(s, s) for s in shifts), nothing) / 2 + np.outer(heights, heights)
    return extra


def _sides(sight: Sight, sheet: Sheet) -> list[NDArray[np.bool_]]:
    u = sight.at / sheet.half
    reach = 0.5
    return [sign * u[:, axis] < reach for axis in (0, 1) for sign in (1, -1)]


def _shift(fit: Adjusted, v: int, kept: NDArray[np.bool_]) -> Floats:
    sight = fit.sights[v]
    sights = list(fit.sights)
    sights[v] = replace(sight, at=sight.at[kept], pixels=sight.pixels[kept], sigma=sight.sigma[kept])
    other = adjusted(fit.sheets, sights, fit)
    shift = other.state.values - fit.state.values
    for w, columns in enumerate(fit.layout.columns):
        turned = other.state.turns[w] @ fit.state.turns[w].T
        shift[columns[TURN]] = [
            (turned[2, 1] - turned[1, 2]) / 2,
            (turned[0, 2] - turned[2, 0]) / 2,
            (turned[1, 0] - turned[0, 1]) / 2,
        ]
    return np.asarray(shift)


def _times(sheet: Sheet, multiple: float) -> Sheet:
    return replace(sheet, bend_known=sheet.bend_known * multiple)


def _most_likely(loose: Adjusted, sheet: Sheet, number: int) -> float:
    v = next(v for v, sight in enumerate(loose.sights) if sight.sheet == number)
    columns = loose.layout.columns[v][CAMERA + 2 : CAMERA + 2 + TERMS]
    off = loose.state.values - loose.expected
    likely = []
    for multiple in MULTIPLES:
        prior = loose.prior.copy()
        prior[columns] = 1 / (sheet.bend_known * multiple) ** 2
        likely.append(evidence(loose.information, loose.pull, prior, off))
    best = int(np.argmax(likely))
    return MULTIPLES[best] if likely[best] > likely[0] + _ASKED else 1.0
