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

    @np.errstate(over="ignore", invalid="ignore")  # no ideal pixel is where the lens folds: steps run off
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


@dataclass(frozen=True)
class BrownLens:
    """A camera's lens with three radial and two decentring terms.

    Source: Brown 1971, Close-range camera calibration.

    With (x, y) = (ideal - centre) / focal and s = x² + y² a point is taken at centre + focal (x', y'):
    x' = x g + 2 p1 x y + p2 (s + 2 x²), y' = y g + p1 (s + 2 y²) + 2 p2 x y, g = 1 + k1 s + k2 s² + k3 s³.
    Its parameters, in the order of `jacobian`: centre column, centre row, focal, k1, k2, k3, p1, p2.

    >>> lens = BrownLens((500.0, 400.0), 1000.0, 0.1, 0.0, 0.0, 0.001, 0.0)
    >>> lens.raw(np.array([[900.0, 700.0]])).round(9)
    array([[910.24, 707.93]])
    >>> lens.ideal(np.array([[910.24, 707.93]])).round(9)
    array([[900., 700.]])
    """

    centre: tuple[float, float]
    focal: float
    k1: float
    k2: float
    k3: float
    p1: float
    p2: float

    @np.errstate(over="ignore", invalid="ignore")  # as in `RadialLens.ideal`
    def ideal(self, pixels: Floats) -> Floats:
        """Ideal pixels: a radial start, then Newton's method in both directions."""
        found = RadialLens(self.centre, self.focal, self.k1, self.k2).ideal(pixels)
        for _ in range(_STEPS):
            miss = self.raw(found) - pixels
            slopes = self.raw_slopes(found)
            turn = np.linalg.det(slopes)
            safe = np.where(np.abs(turn)[:, None, None] > 0.01, slopes, np.eye(2))
            step = np.linalg.solve(safe, miss[:, :, None])[:, :, 0]
            reach = np.maximum(np.hypot(step[:, 0], step[:, 1]) / (0.3 * self.focal), 1.0)
            found = found - step / reach[:, None]
            if np.abs(step).max(initial=0.0) < 1e-11 * self.focal:
                break
        return np.asarray(found)

    def raw(self, ideal: Floats) -> Floats:
        """Pixels as taken, in closed form."""
        x, y = ((ideal - np.array(self.centre)) / self.focal).T
        s = x**2 + y**2
        gain = self._gain(s)
        taken = np.empty((len(x), 2))
        taken[:, 0] = x * gain + 2 * self.p1 * x * y + self.p2 * (s + 2 * x**2)
        taken[:, 1] = y * gain + self.p1 * (s + 2 * y**2) + 2 * self.p2 * x * y
        return np.asarray(np.array(self.centre) + self.focal * taken)

    def slopes(self, pixels: Floats) -> Floats:
        """d(ideal)/d(pixel as taken): the inverse of d(taken)/d(ideal)."""
        return np.asarray(np.linalg.inv(self.raw_slopes(self.ideal(pixels))))

    def jacobian(self, pixels: Floats) -> Floats:
        """d(ideal)/d(parameters) by the implicit function theorem: -(dT/dI)⁻¹ dT/dp."""
        ideal = self.ideal(pixels)
        return np.asarray(-np.linalg.solve(self.raw_slopes(ideal), self.raw_jacobian(ideal)))

    def raw_slopes(self, ideal: Floats) -> Floats:
        """d(taken)/d(ideal) at ideal pixels, shape (n, 2) to (n, 2, 2)."""
        x, y = ((ideal - np.array(self.centre)) / self.focal).T
        s = x**2 + y**2
        gain, rise = self._gain(s), 2 * (self.k1 + s * (2 * self.k2 + 3 * s * self.k3))
        slopes = np.empty((len(x), 2, 2))
        slopes[:, 0, 0] = gain + rise * x**2 + 2 * self.p1 * y + 6 * self.p2 * x
        slopes[:, 0, 1] = slopes[:, 1, 0] = rise * x * y + 2 * self.p1 * x + 2 * self.p2 * y
        slopes[:, 1, 1] = gain + rise * y**2 + 6 * self.p1 * y + 2 * self.p2 * x
        return slopes

    def raw_jacobian(self, ideal: Floats) -> Floats:
        """d(taken)/d(parameters) at ideal pixels held still, shape (n, 2, 8)."""
        at = (ideal - np.array(self.centre)) / self.focal
        x, y = at.T
        s = x**2 + y**2
        slopes = self.raw_slopes(ideal)
        by = np.empty((len(at), 2, 8))
        by[:, :, :2] = np.eye(2) - slopes
        by[:, :, 2] = (self.raw(ideal) - np.array(self.centre)) / self.focal - (slopes @ at[:, :, None])[
            :, :, 0
        ]
        for power in (1, 2, 3):
            by[:, :, 2 + power] = self.focal * at * (s**power)[:, None]
        by[:, :, 6] = self.focal * np.column_stack([2 * x * y, s + 2 * y**2])
        by[:, :, 7] = self.focal * np.column_stack([s + 2 * x**2, 2 * x * y])
        return by

    def _gain(self, s: Floats) -> Floats:
        return np.asarray(1 + s * (self.k1 + s * (self.k2 + s * self.k3)))
