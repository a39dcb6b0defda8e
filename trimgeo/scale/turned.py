"""A second scan of the same face, turned by 180 degrees on the glass: it shows the scanner's own bends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.carriage import CarriageLens
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.shot import opencv
from trimgeo.scale.turned_bends import Bends, bends
from trimgeo.scale.turned_facing import MOST_OFF, facing
from trimgeo.scale.turned_fitting import Turning
from trimgeo.scale.turned_pairs import LEAST_SHARE, Grey, Scans, coarsely, finely, levels
from trimgeo.scale.turned_refused import why_not_turned
from trimgeo.tables import COVERAGE_FACTOR_PLANE, MM_PER_INCH

Floats = NDArray[np.float64]

_FEW: Final = 60
"""Pairs below which a field of displacements rests on little."""
_LARGE: Final = 0.05
"""mm of what no displacement of the scanner explains, in the median, above which a person must hear of it."""
_SKEW: Final = 0.5
"""Degrees off a half turn below which x and y stretched unequally hide, as an even scale always does."""
_SHOWN: Final = 1e-4
"""mm: modes of the remaining uncertainty that reach less than this anywhere are dropped."""
_SHAPED: Final = 3
"""Modes from here on are bends; those before it, even scale and skew, hide."""


@dataclass(frozen=True, eq=False)
class TurnedFit:
    """The scanner's bends as a lens, and what is still unknown of them.

    The q parameters of ``lens`` are independent, each with a standard uncertainty of 1: even scale of x
    and of y, skew, and all bends that turning does not show are in them.  ``residuals``, shape (n, 2), mm,
    is what the pairs of patches that were believed leave.
    """

    lens: CarriageLens
    residuals: Floats
    note: str
    warnings: tuple[str, ...]


def turned_fit(
    scan: Grey, turned: Grey, dpi: tuple[float, float], where: str, label: str, against: str
) -> TurnedFit:
    """The bends of the scanner from two grey scans, uint8, shape (rows, columns), of the same face.

    ``dpi`` is the resolution of both, x and y; ``label`` names the second scan and ``against`` the first in
    sentences, ``where`` the place in the job file.  Patches are found again from coarse to fine
    (`turned_pairs`); what these show and what hides is derived in `turned_fitting`.

    Raises `trimgeo.JobError` where the two do not show the same face turned by 180 degrees.
    """
    cv2 = opencv(where)
    whole = Scans(scan, turned, MM_PER_INCH / np.array(dpi))
    width, height = np.array([scan.shape[1], scan.shape[0]]) * whole.pixel
    known = bends((float(width), float(height)))
    coarse, *finer = levels(cv2, whole)
    lies = facing(cv2, scan, turned, whole.pixel, 180 + np.arange(-MOST_OFF, MOST_OFF + 0.1))
    begun = coarsely(cv2, coarse, lies, known)
    if begun is None:
        raise why_not_turned(cv2, whole, coarse, where, label, against)
    fit, share = begun
    for level in finer:
        better = finely(cv2, level, fit, known)
        if better is None:
            raise why_not_turned(cv2, whole, coarse, where, label, against)
        fit = better
    rest = fit.residuals[fit.kept]
    return TurnedFit(_lens(fit, known, whole.pixel), rest, _note(fit, known), _warnings(fit, rest, share))


def turned_map(scaled: PlaneMap, fit: TurnedFit) -> PlaneMap:
    """The map of the first scan (`scale.dpi.scan_map`, before it is placed) with its bends taken out.

    The scanner's even scale is among the parameters of the lens, and so no longer in the matrix: counted
    once, its block of the covariance is zero.
    """
    q = len(fit.lens.modes)
    covariance = np.zeros((9 + q, 9 + q))
    covariance[range(9, 9 + q), range(9, 9 + q)] = 1.0
    return replace(scaled, covariance=covariance, lens=fit.lens)


def _lens(fit: Turning, known: Bends, pixel: Floats) -> CarriageLens:
    """In pixels; its parameters are the principal axes of the covariance, one standard deviation each."""
    spread, axes = np.linalg.eigh(fit.covariance)
    roots = np.tensordot((axes * np.sqrt(np.maximum(spread, 0.0))).T, known.modes, 1)[::-1]
    roots = roots[np.abs(roots).max(axis=(1, 2, 3)) > _SHOWN]
    per_mm = 1 / pixel
    start = (float(known.start[0] * per_mm[0] - 0.5), float(known.start[1] * per_mm[1] - 0.5))
    step = (float(known.step[0] * per_mm[0]), float(known.step[1] * per_mm[1]))
    field = np.tensordot(fit.weights, known.modes, 1) * per_mm[:, None, None]
    return CarriageLens(start, step, field, roots * per_mm[:, None, None])


def _note(fit: Turning, known: Bends) -> str:
    """What was found, taken out, and left, in words."""
    inside = known.modes[:, :, 1:-1, 1:-1]
    bend = float(np.hypot(*np.tensordot(fit.weights[_SHAPED:], inside[_SHAPED:], 1)).max())
    left = COVERAGE_FACTOR_PLANE * _largest_deviation(fit.covariance[_SHAPED:, _SHAPED:], inside[_SHAPED:])
    rest = fit.residuals[fit.kept]
    return (
        f"its second scan, turned by {np.degrees(fit.angle) % 360:.1f} degrees, shows the scanner's own "
        f"bends: {fit.kept.sum()} patches agree to {np.sqrt((rest**2).sum(axis=1).mean()):.3f} mm rms, up to "
        f"{bend:.2f} mm is taken out, {left:.2f} mm of what turning does not show is allowed for"
    )


def _warnings(fit: Turning, rest: Floats, share: float) -> tuple[str, ...]:
    """What a person must hear: an exact half turn, few patches, a disagreement no scanner explains."""
    told = []
    if abs(np.degrees(fit.angle) % 360 - 180) < _SKEW:
        told.append(
            "its second scan is turned by 180 degrees so exactly that x and y stretched unequally hide, "
            "which the uncertainty allows for: lay the face a few degrees askew for one of them"
        )
    if len(rest) < _FEW:
        told.append(
            f"only {len(rest)} patches of its two scans could be compared: the scanner's bends are known "
            "where these lie and guessed elsewhere"
        )
    elif share < 2 * LEAST_SHARE:
        told.append(
            f"only {100 * share:.0f} % of the patches of its first scan were found again in the turned one: "
            "clean the glass and lay the whole face inside both scans"
        )
    common = float(np.median(np.hypot(*rest.T)))
    if common > _LARGE:
        told.append(
            f"half the patches of its two scans disagree by more than {common:.2f} mm in a way that no "
            "scanner's bend explains: does the face lie flat on the glass both times, and did nothing move?"
        )
    return tuple(told)


def _largest_deviation(covariance: Floats, modes: Floats) -> float:
    """Standard uncertainty of a displacement in x or y, whichever is greater, where it is greatest."""
    variance = np.einsum("pcij,pq,qcij->cij", modes, covariance, modes, optimize=True)
    return float(np.sqrt(variance.max()))
