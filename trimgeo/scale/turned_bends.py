"""What a flatbed scanner may do to a picture, before anything was measured.

A carriage that does not run evenly displaces rows or columns as they pass; a sensor's optics displace
along it; rails bow.  Each is a random function of one coordinate, smooth over some centimetres, with
the size that scanners have; a few low products of both coordinates stand for what is left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.scale.limits import SCANNER_SCALE

Floats = NDArray[np.float64]

NODE: Final = 8.0
"""mm between nodes of the field: bends shorter than 20 mm are not described, and belong to the noise."""
ALONG: Final = 0.06
"""mm, standard deviation of a displacement along its own direction, the even scale taken off: half of
what 0.25 mm over 150 mm (ISPRS Congress XVIII) leaves for bends at 95 %.  Halves that differ by 0.6 %
(a user's measurement) make 0.09 mm: where the scans show more than this, more is taken for granted."""
ACROSS: Final = 0.03
"""mm, the same across it: a bowed rail or sensor, smaller than along (our judgement)."""
PRODUCT: Final = 0.015
"""mm, each low product of both coordinates at the rim (our judgement)."""
SKEW: Final = SCANNER_SCALE / 2
"""Standard uncertainty of the angle, radian, between sensor and rail, beyond a right one (our judgement)."""
_ALONG_REACH: Final = 60.0
_ACROSS_REACH: Final = 80.0
"""mm over which a displacement forgets itself: a belt or a rail is even over some centimetres."""
_NEGLIGIBLE: Final = 1e-5
"""Share of the variance that a dropped mode may have."""

STRAIGHT: Final = 0
"""Group of the first three modes: even scale of x, even scale of y, skew."""
LOWEST: Final = (10, 20, 30, 40)
"""Groups of the longest bends of x along x, y along y, x along y and y along x; those of 11, 12, ... are an
octave shorter each, for a belt's ripple says nothing of a long bow.  50 are products of both coordinates."""


@dataclass(frozen=True, eq=False)
class Bends:
    """Modes of one standard deviation each, ``modes`` (q, 2, rows, columns) of nodes, mm.

    Nodes lie ``step`` mm apart from ``start`` (both x, y from the picture's corner, y down); ``group``,
    shape (q,), says which belong together (`STRAIGHT`, `LOWEST`).  ``slopes`` are the standard deviations,
    mm per mm, of the straight parts that were taken off the four groups of one coordinate.
    """

    start: tuple[float, float]
    step: tuple[float, float]
    modes: Floats
    group: NDArray[np.int64]
    slopes: tuple[float, float, float, float]


def bends(size: tuple[float, float]) -> Bends:
    """The modes for a picture of a size in mm, width and height.

    Displacements along one coordinate are Gaussian processes of Matern's covariance 3/2 (Rasmussen and
    Williams, Gaussian Processes for Machine Learning, 2006, 4.2), less their straight part over the picture,
    which the even scale stands for; their modes are the eigenvectors.

    >>> found = bends((60.0, 40.0))
    >>> bool((found.modes[0, 1] == 0).all()), sorted(set(found.group.tolist()))
    (True, [0, 10, 11, 12, 20, 21, 30, 31, 40, 41, 42, 50])
    """
    counts = [int(np.ceil(length / NODE)) + 3 for length in size]
    step = [length / (count - 3) for length, count in zip(size, counts, strict=True)]
    x, y = (np.asarray(s * (np.arange(count) - 1.0)) for s, count in zip(step, counts, strict=True))
    middle_x, middle_y = x - size[0] / 2, y - size[1] / 2
    one_x, one_y = np.ones_like(x), np.ones_like(y)
    modes: list[tuple[int, int, Floats]] = [
        (STRAIGHT, 0, np.outer(one_y, SCANNER_SCALE * middle_x)),
        (STRAIGHT, 1, np.outer(SCANNER_SCALE * middle_y, one_x)),
        (STRAIGHT, 0, np.outer(SKEW * middle_y, one_x)),
    ]
    x_along_x, slope_xx = _functions(x, size[0], ALONG, _ALONG_REACH)
    y_along_y, slope_yy = _functions(y, size[1], ALONG, _ALONG_REACH)
    x_along_y, slope_xy = _functions(y, size[1], ACROSS, _ACROSS_REACH)
    y_along_x, slope_yx = _functions(x, size[0], ACROSS, _ACROSS_REACH)
    modes += [(10 + _octave(n), 0, np.outer(one_y, f)) for n, f in enumerate(x_along_x)]
    modes += [(20 + _octave(n), 1, np.outer(f, one_x)) for n, f in enumerate(y_along_y)]
    modes += [(30 + _octave(n), 0, np.outer(f, one_x)) for n, f in enumerate(x_along_y)]
    modes += [(40 + _octave(n), 1, np.outer(one_y, f)) for n, f in enumerate(y_along_x)]
    p, r = middle_x / (size[0] / 2), middle_y / (size[1] / 2)
    for along_x, along_y in ((p, r), (1.5 * p**2 - 0.5, r), (p, 1.5 * r**2 - 0.5)):
        modes += [(50, component, PRODUCT * np.outer(along_y, along_x)) for component in (0, 1)]
    placed = np.zeros((len(modes), 2, len(y), len(x)))
    for n, (_, component, values) in enumerate(modes):
        placed[n, component] = values
    group = np.array([each for each, *_ in modes])
    start = (-step[0], -step[1])
    return Bends(start, (step[0], step[1]), placed, group, (slope_xx, slope_yy, slope_xy, slope_yx))


def _octave(n: int) -> int:
    """Octave of the n-th mode, which has about n + 2 half waves."""
    return int(np.log2(n + 2)) - 1


def _functions(at: Floats, length: float, size: float, reach: float) -> tuple[Floats, float]:
    """Modes, shape (m, nodes), of one displacement along one coordinate, and its slope's deviation."""
    apart = np.sqrt(3.0) * np.abs(at[:, None] - at[None]) / reach
    covariance = size**2 * (1 + apart) * np.exp(-apart)
    inside = (at >= 0) & (at <= length)
    straight = np.column_stack([np.ones_like(at), at - length / 2])
    fit = np.zeros((2, len(at)))
    fit[:, inside] = np.linalg.pinv(straight[inside])
    bent = np.eye(len(at)) - straight @ fit
    values, vectors = np.linalg.eigh(bent @ covariance @ bent.T)
    kept = values > _NEGLIGIBLE * values[-1]
    slope = float(np.sqrt((fit @ covariance @ fit.T)[1, 1]))
    return np.asarray((vectors[:, kept] * np.sqrt(values[kept])).T[::-1]), slope
