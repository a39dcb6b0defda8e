"""Edges and discs as a blurred picture shows them, in pixels: profiles, and the fit of one disc.

The blur is taken as Gaussian: lens, focus, pixel aperture and resampling together come near one
(central limit theorem, elementary).
"""

from __future__ import annotations

from dataclasses import dataclass

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
    half = min(radius, 5 * blur)
    # Nodes crowd at the ends (sine), where a chord of a small disc shrinks as a square root.
    angle = _NODES * np.pi / 2
    across = half * np.sin(angle)
    weight = _WEIGHTS * np.pi / 2 * half * np.cos(angle)
    weight = weight * np.exp(-0.5 * (across / blur) ** 2) / (blur * np.sqrt(2 * np.pi))
    chord = np.sqrt(np.maximum(radius**2 - across**2, 0.0))
    ends = normal_below((chord - r[..., None]) / blur) - normal_below((-chord - r[..., None]) / blur)
    return np.asarray(ends @ weight)


@dataclass(frozen=True)
class Disc:
    """A blurred disc fitted to pixels: ``centre`` (column, row), ``radius``, ``blur`` in pixels.

    ``rim`` is the outer radius of the ring around it, None without one; ``levels`` are inside, ring
    (or surroundings) and, with a ring, surroundings.  ``residual`` is the robust standard deviation of
    the pixels about the model and ``deviations`` those of centre (one direction) and radius.
    """

    centre: tuple[float, float]
    radius: float
    blur: float
    rim: float | None
    levels: tuple[float, ...]
    residual: float
    deviations: tuple[float, float]


def fit_disc(points: Floats, values: Floats, start: Disc, blur: float | None, rounds: int = 8) -> Disc | None:
    """Fit a blurred disc, with a ring where ``start`` has one, to pixels around a hole.

    ``points`` (n, 2) are pixel positions and ``values`` (n,) their brightness; ``blur`` in pixels, None
    to fit it as well.  Gauss-Newton with damping; levels are linear and solved within; pixels off
    the model weigh less (Tukey's biweight at 4.7 robust standard deviations: textbook).
    None where the fit runs away.
    """
    shape = _shape_of(start, blur)
    weights = np.ones(len(values))
    model = _Model(points, values, start.blur if blur is None else blur, start.rim is not None, blur is None)
    first = shape.copy()
    limit = max(1.5, 0.4 * start.radius)
    damping = 1e-3
    cost, residual, levels = model.solve(shape, weights)
    for turn in range(rounds):
        slopes = model.slopes(shape, weights)
        root = np.sqrt(weights)[:, None]
        normal = (root * slopes).T @ (root * slopes)
        push = slopes.T @ (weights * residual)
        step = np.linalg.lstsq(normal + damping * np.diag(np.diag(normal) + 1e-12), push, rcond=None)[0]
        trial = shape - np.clip(step, -1.0, 1.0)
        if not model.sound(trial) or np.abs(trial - first)[:3].max() > limit:
            damping *= 10
            if damping > 1e3:
                return None
            continue
        new_cost, new_residual, new_levels = model.solve(trial, weights)
        if new_cost > cost and turn > 1:
            damping *= 10
        else:
            shape, residual, levels = trial, new_residual, new_levels
            damping = max(damping / 10, 1e-6)
        spread = 1.4826 * float(np.median(np.abs(residual))) + 1e-6
        weights = np.maximum(1 - (residual / (4.7 * spread)) ** 2, 0.0) ** 2
        cost, residual, levels = model.solve(shape, weights)
    return model.disc(shape, weights, residual, levels)


class _Model:
    """The pixels of one fit; a shape is (column, row, radius[, rim][, blur])."""

    def __init__(self, points: Floats, values: Floats, blur: float, ring: bool, free: bool) -> None:
        self.points, self.values, self.blur, self.ring, self.free = points, values, blur, ring, free

    def blur_of(self, shape: Floats) -> float:
        return float(shape[-1]) if self.free else self.blur

    def sound(self, shape: Floats) -> bool:
        blur = self.blur_of(shape)
        return bool(
            np.isfinite(shape).all()
            and shape[2] > 0.7
            and 0.3 < blur < 4.0
            and (not self.ring or shape[3] > shape[2] + 0.5)
        )

    def columns(self, shape: Floats) -> Floats:
        """Brightness of each pixel, (n, 2 or 3), for each level at 1 and the others at 0."""
        r = np.hypot(self.points[:, 0] - shape[0], self.points[:, 1] - shape[1])
        blur = self.blur_of(shape)
        inner = _near_rim(r, float(shape[2]), blur)
        if not self.ring:
            return np.column_stack([inner, 1 - inner])
        outer = _near_rim(r, float(shape[3]), blur)
        return np.column_stack([inner, outer - inner, 1 - outer])

    def solve(self, shape: Floats, weights: Floats) -> tuple[float, Floats, Floats]:
        columns = self.columns(shape)
        normal = (columns * weights[:, None]).T @ columns + 1e-9 * np.eye(columns.shape[1])
        right = (columns * weights[:, None]).T @ self.values
        levels = np.asarray(np.linalg.solve(normal, right), dtype=np.float64)
        residual = columns @ levels - self.values
        return float((weights * residual**2).sum()), residual, levels

    def slopes(self, shape: Floats, weights: Floats) -> Floats:
        """Change of the residuals, (n, k), with the shape: central differences, levels solved anew."""
        found = []
        for k in range(len(shape)):
            move = np.zeros(len(shape))
            move[k] = 0.02
            up, down = (self.solve(shape + sign * move, weights)[1] for sign in (1, -1))
            found.append((up - down) / 0.04)
        return np.column_stack(found)

    def disc(self, shape: Floats, weights: Floats, residual: Floats, levels: Floats) -> Disc:
        spread = 1.4826 * float(np.median(np.abs(residual))) + 1e-6
        slopes = self.slopes(shape, weights)
        normal = (slopes * weights[:, None]).T @ slopes + 1e-9 * np.eye(len(shape))
        # Neighbouring pixels share their noise after resampling: about four pixels for one.
        spreads = 2 * spread * np.sqrt(np.maximum(np.diag(np.linalg.inv(normal)), 0.0))
        return Disc(
            (float(shape[0]), float(shape[1])),
            float(shape[2]),
            self.blur_of(shape),
            float(shape[3]) if self.ring else None,
            tuple(float(level) for level in levels),
            spread,
            (float(spreads[:2].max()), float(spreads[2])),
        )


def _near_rim(r: Floats, radius: float, blur: float) -> Floats:
    """`blurred_disc` by a table of points near the rim: further off it is 1 or 0."""
    grid = np.arange(max(0.0, radius - 5 * blur), radius + 5 * blur, 0.3 * blur)
    return np.interp(r, grid, blurred_disc(grid, radius, blur))


def _shape_of(start: Disc, blur: float | None) -> Floats:
    shape = [*start.centre, start.radius]
    if start.rim is not None:
        shape.append(start.rim)
    if blur is None:
        shape.append(start.blur)
    return np.array(shape, dtype=np.float64)
