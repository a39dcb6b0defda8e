"""What bends a picture before the perspective map sees it: a camera's lens, a scanner's carriage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_STEPS = 25


class Lens(Protocol):
    """From pixels as taken to ideal pixels, where straight lines are straight, and back.

    Every argument and result has shape (n, 2) unless it says otherwise; q is the number of uncertain
    parameters, which may be 0.
    """

    def ideal(self, pixels: Floats) -> Floats:
        """Ideal pixels of pixels as taken."""
        ...

    def raw(self, ideal: Floats) -> Floats:
        """Pixels as taken of ideal pixels."""
        ...

    def slopes(self, pixels: Floats) -> Floats:
        """d(ideal)/d(pixel as taken), shape (n, 2, 2)."""
        ...

    def jacobian(self, pixels: Floats) -> Floats:
        """d(ideal)/d(parameters) at pixels as taken, shape (n, 2, q)."""
        ...


@dataclass(frozen=True)
class RadialLens:
    """A lens with two radial terms: taken = centre + e (1 + k1 s + k2 s²) with s = |e|²/focal².

    e = ideal - centre; ``centre`` is the principal point and ``focal`` the focal length, both in pixels
    (Brown 1966; Hartley and Zisserman, Multiple View Geometry, 2nd ed., 7.4).  Its parameters, in the
    order of `jacobian`: centre column, centre row, focal, k1, k2.

    >>> lens = RadialLens((500.0, 400.0), 1000.0, 0.1, 0.0)
    >>> lens.raw(np.array([[900.0, 700.0]]))  # s = 0.25: 2.5 % further from the centre
    array([[910. , 707.5]])
    >>> lens.ideal(np.array([[910.0, 707.5]])).round(9)
    array([[900., 700.]])
    """

    centre: tuple[float, float]
    focal: float
    k1: float
    k2: float

    def ideal(self, pixels: Floats) -> Floats:
        """Ideal pixels: Newton's method on the distance from the centre, from the distance as taken."""
        offset = (pixels - np.array(self.centre)) / self.focal
        taken = np.hypot(offset[:, 0], offset[:, 1])
        found = taken.copy()
        for _ in range(_STEPS):
            square = found**2
            miss = found * (1 + square * (self.k1 + square * self.k2)) - taken
            rise = 1 + square * (3 * self.k1 + 5 * self.k2 * square)
            step = miss / np.maximum(rise, 0.1)
            found = found - step
            if np.abs(step).max(initial=0.0) < 1e-14:
                break
        share = np.divide(found, taken, out=np.ones_like(taken), where=taken > 0)
        return np.asarray(np.array(self.centre) + self.focal * offset * share[:, None])

    def raw(self, ideal: Floats) -> Floats:
        """Pixels as taken, in closed form."""
        e = ideal - np.array(self.centre)
        return np.asarray(np.array(self.centre) + e * self._gain(self._square(e))[:, None])

    def slopes(self, pixels: Floats) -> Floats:
        """d(ideal)/d(pixel as taken): the inverse of d(taken)/d(ideal)."""
        return np.asarray(np.linalg.inv(self._taken_slopes(self.ideal(pixels))))

    def jacobian(self, pixels: Floats) -> Floats:
        """d(ideal)/d(centre, focal, k1, k2) by the implicit function theorem: -(dT/dI)⁻¹ dT/dp."""
        ideal = self.ideal(pixels)
        e = ideal - np.array(self.centre)
        s = self._square(e)
        slopes = self._taken_slopes(ideal)
        by = np.empty((len(e), 2, 5))
        by[:, :, :2] = np.eye(2) - slopes
        by[:, :, 2] = e * (-2 * s * self._gain_slope(s) / self.focal)[:, None]
        by[:, :, 3] = e * s[:, None]
        by[:, :, 4] = e * (s**2)[:, None]
        return np.asarray(-np.linalg.solve(slopes, by))

    def _square(self, e: Floats) -> Floats:
        return np.asarray((e**2).sum(axis=1) / self.focal**2)

    def _gain(self, s: Floats) -> Floats:
        return np.asarray(1 + s * (self.k1 + s * self.k2))

    def _gain_slope(self, s: Floats) -> Floats:
        return np.asarray(self.k1 + 2 * self.k2 * s)

    def _taken_slopes(self, ideal: Floats) -> Floats:
        e = ideal - np.array(self.centre)
        s = self._square(e)
        outer = e[:, :, None] * e[:, None, :] * (2 * self._gain_slope(s) / self.focal**2)[:, None, None]
        return np.asarray(self._gain(s)[:, None, None] * np.eye(2) + outer)
