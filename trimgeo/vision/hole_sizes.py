"""Holes of one drill: where a hole's own diameter is unsure, sure ones of its kind that agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trimgeo.vision.hole_fit import Fit

_SURE = 0.009
"""Standard deviation, mm, of a diameter that tells the size of a drill."""
_SURER = 0.6
"""Share of a hole's own deviation that those which tell its size must keep below."""
_AGREE = 2.5
"""Standard deviations within which two diameters may be of one drill."""
_ONE_DRILL = 0.02
"""Range of diameters, mm, that are of one drill: drills differ by 0.05 mm (common practice, from memory)."""
_WEAR = 0.003
"""Standard deviation, mm, of the holes that one drill makes, about: nothing is told better than this."""


def shared_sizes(fits: Sequence[Fit], per_mm: float) -> list[Fit]:
    """The fits, an unsure radius being the weighted mean with the sure ones of the same kind that agree.

    A board is drilled with few sizes.  Plating narrows a hole, so that those with a ring and those without
    one tell nothing of each other; where the sure ones that agree are of two sizes, nothing is told.

    >>> import numpy as np
    >>> from trimgeo.vision.hole_fit import Disc
    >>> def fit(radius, deviation):
    ...     disc = Disc((0.0, 0.0), radius, None, (1.0, 1.0), deviations=(0.02, deviation))
    ...     return Fit(disc, np.zeros(3), np.zeros(3), np.zeros(3), 1.0, None)
    >>> sure, unsure, other = shared_sizes([fit(6.0, 0.01), fit(6.1, 0.1), fit(6.6, 0.1)], 12.0)
    >>> round(sure.disc.radius, 2), round(unsure.disc.radius, 2), round(other.disc.radius, 2)
    (6.0, 6.0, 6.6)
    """
    if not fits:
        return []
    sizes = np.array([2 * fit.disc.radius / per_mm for fit in fits])
    off = np.array([2 * fit.disc.deviations[1] / per_mm for fit in fits])
    ringed = np.array([fit.ring is not None for fit in fits])
    told = []
    for n, fit in enumerate(fits):
        sure = (off < np.minimum(_SURE, _SURER * off[n])) & (ringed == ringed[n])
        agree = np.flatnonzero(sure & (np.abs(sizes - sizes[n]) < _AGREE * np.hypot(off, off[n])))
        if not len(agree) or np.ptp(sizes[agree]) > _ONE_DRILL:
            told.append(fit)
            continue
        those = np.append(agree, n)
        weights = off[those] ** -2
        size = float(weights @ sizes[those] / weights.sum())
        deviation = float(np.hypot(weights.sum() ** -0.5, _WEAR))
        deviations = (fit.disc.deviations[0], min(fit.disc.deviations[1], deviation * per_mm / 2))
        told.append(replace(fit, disc=replace(fit.disc, radius=size * per_mm / 2, deviations=deviations)))
    return told
