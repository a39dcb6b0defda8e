"""Caliper checks of a view: compared, and its map doubted where they disagree."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from trimgeo.errors import JobError
from trimgeo.model.board import LengthCheck
from trimgeo.model.capture import DpiScale, ViewTable
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale import bound
from trimgeo.scale.limits import LEAST_APART
from trimgeo.scale.scaled import Floats, Scaled, refuse_outside
from trimgeo.scale.source import Source
from trimgeo.tables import COVERAGE_FACTOR

MOST_OFF: Final = 0.1
"""Part of a length by which nobody errs with a caliper and two pixels: the scale, the length or a pixel is
wrong.
"""

ALIKE: Final = 0.02
"""Checks whose ratios to the picture differ by less, as natural logarithm, are off by one scale."""


def check_ends(source: Source, table: ViewTable, where: str) -> tuple[Floats, Floats]:
    """Pixels of both ends, shape (n, 2, 2), and lengths, shape (n,), mm, of a view's checks.

    Raises `trimgeo.JobError` for an end off the picture, and for two ends at one pixel.
    """
    ends = np.array([[check.from_, check.to] for check in table.checks], dtype=np.float64).reshape(-1, 2, 2)
    for n, (first, second) in enumerate(ends, start=1):
        for key, pixel in (("from", first), ("to", second)):
            refuse_outside(source, pixel, f"{where}, checks {n}, {key}")
        if np.hypot(*(second - first)) < LEAST_APART:
            raise JobError(f"{where}, checks {n}", "found both ends at one pixel", "choose ends far apart")
    return ends, np.array([check.length for check in table.checks], dtype=np.float64)


def checked(
    scaled: Scaled, source: Source, table: ViewTable, where: str
) -> tuple[tuple[LengthCheck, ...], PlaneMap, tuple[str, ...]]:
    """The checks compared; where one disagrees, the map with that much doubt added, and a warning.

    Raises `trimgeo.JobError` where one disagrees by more than `MOST_OFF`: that is no error of measuring, and
    a bound as wide says nothing.
    """
    if not table.checks:
        return (), scaled.to_board, ()
    ends, lengths = check_ends(source, table, where)
    checks, standard = bound.compared(scaled.to_board, ends, lengths)
    bad = bound.disagreeing(checks, standard)
    if not bad:
        return checks, scaled.to_board, ()
    far = [n for n in bad if abs(checks[n].error) > MOST_OFF * checks[n].length]
    if far:
        raise _far_off(checks, far, table, where)
    to_board = bound.widened(scaled.to_board, bound.stretch_of(checks, bad), scaled.pivot)
    told = tuple(
        f"check {n + 1} of {checks[n].length:g} mm measures {checks[n].measured:.2f} mm in the picture, off "
        f"by {checks[n].error:+.2f} mm where {COVERAGE_FACTOR * standard[n]:.2f} mm can be explained: "
        "the uncertainty is widened"
        for n in bad
    )
    return checks, to_board, told


def _far_off(checks: Sequence[LengthCheck], far: Sequence[int], table: ViewTable, where: str) -> JobError:
    """The check that is furthest off, and the likely cause: all off alike say that it is the scale."""
    ratios = np.array([check.measured / check.length for check in checks])
    n = max(far, key=lambda k: abs(float(np.log(ratios[k]))))
    check = checks[n]
    scale = "`dpi`" if isinstance(table.scale, DpiScale) else "`scale`"
    ends = "its pixels `from` and `to`"
    if len(checks) > 1 and np.ptp(np.log(ratios)) < ALIKE:
        fix = f"all its checks are off alike, so {scale} is likely wrong: correct it"
    elif len(checks) > len(far):
        fix = f"others agree, so its `length` or one of {ends} is likely wrong: correct it"
    else:
        fix = f"correct {scale}, the `length`, or {ends}, whichever is wrong"
    return JobError(
        f"{where}, checks {n + 1}",
        f"found a length of {check.length:g} mm where the picture shows {check.measured:.2f} mm, "
        f"{100 * abs(check.error) / check.length:.0f} % off",
        fix,
    )
