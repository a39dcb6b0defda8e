"""What a fit of the card tells a person: what it rests on, and why it may be wrong."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trimgeo.scale.adjustment import Adjusted
from trimgeo.scale.bending import asked_for, bend_reach
from trimgeo.scale.camera import CAMERA, FOCAL
from trimgeo.scale.limits import CARD_BEND_SHOWN, FAR_OFF, FOCAL_OPEN, LEAST_UNEQUAL

Floats = NDArray[np.float64]

_LET_GO = 0.25
_MANY = 0.05
_UNEQUAL = 3.0


def tilt(fit: Adjusted, v: int) -> float:
    """Degrees between the camera's axis and straight down on the card."""
    return float(np.degrees(np.arccos(np.clip(-fit.camera(v).turn[2, 2], -1, 1))))


def told_note(fit: Adjusted, v: int) -> str:
    """What the fit rests on, in words."""
    misses = fit.misses[v]
    used = fit.weights[v] > _LET_GO
    rms = float(np.sqrt((misses[used] ** 2).sum(axis=1).mean()))
    lens = fit.camera(v).lens
    share = _sd(fit, v, FOCAL)
    return (
        f"lens and pose from {int(used.sum())} corners of the card, which fit to {rms:.2f} pixels; "
        f"focal length {lens.focal:.0f} pixels, known to {100 * share:.1f} %; tilt {tilt(fit, v):.0f} degrees"
    )


def told_causes(
    fit: Adjusted, v: int, *, focal: float | None, measured: bool, doubted: bool
) -> tuple[str, ...]:
    """Warnings, each with its likely cause and what to do; ``focal`` is what its file tells (35 mm film)."""
    found = [*_told_scale(fit, v, measured), *_told_bend(fit, v), *_told_misses(fit, v)]
    if doubted and focal is None:
        found.append(
            "its perspective is not that of a whole picture: it was cropped, and that is allowed for"
        )
    elif doubted:
        found.append(
            "the focal length that its file tells does not fit its perspective: the picture was zoomed or "
            "cropped, and its own corners are used instead"
        )
    if _sd(fit, v, FOCAL) > FOCAL_OPEN and focal is not None and not doubted:
        found.append(
            f"nothing in the picture confirms the focal length of {focal:g} mm (35 mm equivalent) that its "
            "file tells, and the uncertainty rests on it: take a photo tilted by about ten degrees, or check "
            "a length"
        )
    elif _sd(fit, v, FOCAL) > FOCAL_OPEN:
        found.append(
            f"its focal length is known to {100 * _sd(fit, v, FOCAL):.0f} % only, and the uncertainty "
            "is as wide as that asks for: take a photo tilted by about ten degrees"
        )
    return tuple(found)


def _told_scale(fit: Adjusted, v: int, measured: bool) -> list[str]:
    if not measured:
        return [
            "its scale is unknown, because printers shrink: nothing is clear until the card's two "
            "100 mm bars are measured by caliper and given as `bars`"
        ]
    sheet = fit.sheets[fit.sights[v].sheet]
    own = fit.layout.columns[v][CAMERA + 1]
    off = float(fit.state.values[own] - sheet.scale[1])
    before = float(sheet.scale_known[1])
    learnt = max(before**2 - _sd(fit, v, CAMERA + 1) ** 2, 1e-12)
    if abs(off) > max(_UNEQUAL * np.sqrt(learnt), LEAST_UNEQUAL):
        return [
            f"the card's x and y are stretched unequally by {200 * abs(off):.2f} % more than its bars say: "
            "measure both bars again (x is along its text)"
        ]
    return []


def _told_bend(fit: Adjusted, v: int) -> list[str]:
    sight = fit.sights[v]
    if not asked_for(fit.sheets[sight.sheet]) or bend_reach(fit, v) < CARD_BEND_SHOWN:
        return []
    return [
        f"the card is curled or bulged by about {bend_reach(fit, v):.1f} mm: press it flat, glue it "
        "on a plate, or add a second photo; the bend is allowed for and the uncertainty widened"
    ]


def _told_misses(fit: Adjusted, v: int) -> list[str]:
    found = []
    if fit.spread[v] > FAR_OFF:
        found.append(
            f"its corners lie {fit.spread[v]:.1f} times as far off as they were read: the camera or "
            "the card moved during the exposure, or the card is creased; the uncertainty is widened"
        )
    let_go = float((fit.weights[v] < _LET_GO).mean())
    if let_go > _MANY:
        found.append(
            f"{100 * let_go:.0f} % of its corners fit to nothing: look for a crease, a glare or "
            "a second card in the picture"
        )
    return found


def _sd(fit: Adjusted, v: int, k: int) -> float:
    column = fit.layout.columns[v][k]
    return float(np.sqrt(fit.covariance[column, column]))
