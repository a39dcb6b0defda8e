"""Holes as a blurred picture shows them, in pixels: the profile of a disc.

The blur is taken as Gaussian: lens, focus, pixel aperture and resampling together come near one
(central limit theorem, elementary).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)


def normal_below(z: Floats) -> Floats:
    """The share of a normal distribution below ``z`` (any shape), to 1e-7: Abramowitz and Stegun 7.1.26.

    >>> normal_below(np.array([-1.0, 0.0, 1.959964])).round(4).tolist()
    [0.1587, 0.5, 0.975]
    """
    x = np.abs(z) / np.sqrt(2)
    t = 1 / (1 + 0.3275911 * x)
    series = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    upper = 1 - 0.5 * series * np.exp(-x * x)
    return np.asarray(np.where(z >= 0, upper, 1 - upper), dtype=np.float64)


def blurred_disc(r: Floats, radius: float, blur: float) -> Floats:
    """Brightness, 0 to 1, at distance ``r`` from the centre of a disc that is 1, blurred; pixels.

    The disc is cut into chords along one axis: each is a blurred interval, and the chords are
    summed with the blur's weight across them (Fubini).  A small disc's half level lies well
    inside its rim, which is why a threshold alone shrinks small holes.

    >>> blurred_disc(np.array([0.0, 5.0, 9.0]), 5.0, 1.0).round(3).tolist()
    [1.0, 0.46, 0.0]
    """
    if radius > 4 * blur:  # a gently bent edge: the half level moves in by blur²/2R (expansion in blur/R)
        return np.asarray(normal_below((radius - r) / blur - blur / (2 * radius)), dtype=np.float64)
    return _chords(r, radius, blur)


def _chords(r: Floats, radius: float, blur: float) -> Floats:
    half = min(radius, 5 * blur)
    # Nodes crowd at the ends (sine), where a chord of a small disc shrinks as a square root.
    angle = _NODES * np.pi / 2
    across = half * np.sin(angle)
    weight = _WEIGHTS * np.pi / 2 * half * np.cos(angle)
    weight = weight * np.exp(-0.5 * (across / blur) ** 2) / (blur * np.sqrt(2 * np.pi))
    chord = np.sqrt(np.maximum(radius**2 - across**2, 0.0))
    ends = normal_below((chord - r[..., None]) / blur) - normal_below((-chord - r[..., None]) / blur)
    return np.asarray(ends @ weight)


_WIDE = 4.0
"""Blurs: a disc of a greater radius has a gently bent edge."""
_FINE = 0.05
"""Blurs from one place of the small discs' table to the next."""


@cache
def _small_discs() -> Floats:
    """Discs of radii 0.4 to `_WIDE` blurs at 0 to `_WIDE` + 5 blurs, and both slopes, (3, n, m)."""
    radii, places = np.arange(0.4, _WIDE + 2 * _FINE, _FINE), np.arange(0.0, _WIDE + 5.0, _FINE)
    value = np.array([_chords(places, float(radius), 1.0) for radius in radii])
    by_radius, by_place = np.gradient(value, _FINE)
    return np.array([value, by_place, by_radius])


def blurred_discs(r: Floats, radius: Floats, blur: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """As `blurred_disc`, and its slopes with ``r``, ``radius`` and ``blur``; for (n, S), (n, 1) and (n, 1).

    >>> value, by_r, _, _ = blurred_discs(np.array([[9.5]]), np.array([[10.0]]), np.array([[1.0]]))
    >>> value.round(3).tolist(), by_r.round(3).tolist()
    ([[0.674]], [[-0.361]])
    """
    u, rho = r / blur, radius / blur
    z = rho - u - 0.5 / rho
    bell = np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    value, by_u, by_rho = normal_below(z), -bell, bell * (1 + 0.5 / rho**2)
    small = rho[:, 0] <= _WIDE
    if small.any():
        value[small], by_u[small], by_rho[small] = _looked_up(u[small], rho[small])
    return value, by_u / blur, by_rho / blur, -(u * by_u + rho * by_rho) / blur


def _looked_up(u: Floats, rho: Floats) -> Floats:
    table = _small_discs()
    a = np.clip((rho - 0.4) / _FINE, 0, table.shape[1] - 1.001)
    b = np.clip(u / _FINE, 0, table.shape[2] - 1.001)
    i, j = a.astype(np.intp), b.astype(np.intp)
    s, t = a - i, b - j
    # The radius is one for each row: the table is interpolated for it once.
    rows = table[:, i[:, 0]] * (1 - s) + table[:, i[:, 0] + 1] * s
    below, above = np.take_along_axis(rows, j[None], axis=2), np.take_along_axis(rows, j[None] + 1, axis=2)
    return np.asarray(below + (above - below) * t)
