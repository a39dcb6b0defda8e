"""Chessboard corners to hundredths of a pixel: a soft saddle fitted to the grey levels round each.

The model of a corner is the printed card seen through a Gaussian blur: two crossing edges and the nearest
corners of the two markers beside it, under light that changes linearly, through a curve of grey levels of
second order.  It is the same seen upside down, and so is the window: what the model leaves out (tone
curves, ink that spreads) moves both sides alike and the centre not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.card import MARKER_SHARE

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Grey = NDArray[np.uint8]

REACH: Final = 0.17
"""Radius of the window / side of a square: past the marker's border (0.15 along each side) would lie cells
of its code, which differ from one side to the other."""

_LEAST_REACH: Final = 4.0
"""Pixels: a smaller window has fewer grey levels than the model has unknowns."""
_ROUNDS: Final = 12
_STILL: Final = 0.02
"""A step shorter than this (pixels) is the last: steps shrink at least fivefold."""
_SHAPE: Final = 5
_LIGHT: Final = 7


@dataclass(frozen=True)
class Guesses:
    """Where corners are about to be: ``centres`` (n, 2) pixels, ``along`` and ``across`` (n, 2).

    ``along`` is the edge of the square to one side of the corner as a vector in pixels, ``across`` that to
    the next side, so turned that the quadrant between them is white and bears a marker.
    """

    centres: Floats
    along: Floats
    across: Floats


@dataclass(frozen=True)
class Saddles:
    """Fitted corners: ``centres`` (n, 2) and ``sigma`` (n,) pixels, standard uncertainty of a coordinate.

    ``blur`` (n,): standard deviation of the edges' spread, pixels; ``contrast`` (n,): white less black, and
    ``residual`` (n,): rms of what the model leaves, grey levels; ``still`` (n,): it came to rest.
    """

    centres: Floats
    sigma: Floats
    blur: Floats
    contrast: Floats
    residual: Floats
    still: NDArray[np.bool_]


def fit_saddles(grey: Grey, guesses: Guesses) -> Saddles:
    """Fit each corner: Gauss-Newton steps on all at once, the light solved for at every step.

    ``grey`` has shape (rows, columns).  Windows that reach past the picture must be left out before.
    """
    reach = np.maximum(REACH * _sides(guesses), _LEAST_REACH)
    start = np.round(guesses.centres).astype(np.intp)
    radius = int(np.ceil(reach.max())) + 1
    grid = np.arange(-radius, radius + 1)
    rows = np.clip(start[:, 1, None] + grid, 0, grey.shape[0] - 1)
    columns = np.clip(start[:, 0, None] + grid, 0, grey.shape[1] - 1)
    levels = grey[rows[:, :, None], columns[:, None, :]].reshape(len(start), -1).astype(np.float32)
    y, x = (axis.ravel().astype(np.float32) for axis in np.meshgrid(grid, grid, indexing="ij"))
    fit = _Fit(levels, x, y, guesses, reach, start)
    return fit.run()


def _sides(guesses: Guesses) -> Floats:
    """The side of a square as it looks, pixels: root of its area."""
    along, across = guesses.along, guesses.across
    return np.asarray(np.sqrt(np.abs(along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0])))


class _Fit:
    """The state of the steps: ``shape`` (n, 5) is centre, directions of the two edges' normals, log blur."""

    def __init__(
        self,
        levels: Singles,
        x: Singles,
        y: Singles,
        guesses: Guesses,
        reach: Floats,
        start: NDArray[np.intp],
    ) -> None:
        self.levels, self.x, self.y, self.reach, self.start = levels, x, y, reach, start
        along, across = guesses.along, guesses.across
        # The normal of the edge that runs along `across`, on the side of `along`; and the other way round.
        first = _normal(across, along)
        second = _normal(along, across)
        gap = (1 - MARKER_SHARE) / 2
        self.gaps = gap * np.stack([(first * along).sum(1), (second * across).sum(1)])
        self.shape = np.column_stack(
            [
                guesses.centres - start,
                np.arctan2(first[:, 1], first[:, 0]),
                np.arctan2(second[:, 1], second[:, 0]),
                np.log(np.maximum(1.2, 0.02 * _sides(guesses))),
            ]
        )
        self.begun = self.shape.copy()

    def run(self) -> Saddles:
        step = np.full(len(self.shape), np.inf)
        for _ in range(_ROUNDS):
            live = step > _STILL
            if not live.any():
                break
            move = self._solve(live)[0]
            step[live] = np.hypot(move[:, 0], move[:, 1])
            self.shape[live] += move
        every = np.ones(len(self.shape), bool)
        _move, light, normal, residual, kept = self._solve(every)
        return self._answer(light, normal, residual, kept, step <= _STILL)

    def _solve(self, live: NDArray[np.bool_]) -> tuple[Floats, Floats, Floats, Singles, Singles]:
        """One step for the live corners: move (m, 5), light (m, 7), normal matrix, residual, window."""
        shape, reach = self.shape[live], self.reach[live][:, None]
        x = (self.x - shape[:, :1]).astype(np.float32)
        y = (self.y - shape[:, 1:2]).astype(np.float32)
        kept = (x * x + y * y <= reach.astype(np.float32) ** 2).astype(np.float32)
        tone, slopes = _tone(x, y, shape, self.gaps[:, live])
        xs, ys = x / reach.astype(np.float32), y / reach.astype(np.float32)
        basis = np.stack([np.ones_like(x), xs, ys, tone, xs * tone, ys * tone, tone * (1 - tone)], axis=1)
        basis *= kept[:, None]
        levels = self.levels[live] * kept
        gram = (basis @ basis.transpose(0, 2, 1)).astype(np.float64)
        right = np.einsum("nip,np->ni", basis, levels).astype(np.float64)
        light = np.linalg.solve(gram + 1e-3 * np.eye(_LIGHT), right[:, :, None])[:, :, 0]
        small = light.astype(np.float32)[:, :, None]
        residual = levels - (small * basis).sum(1)
        gain = (small[:, 3] + small[:, 4] * xs + small[:, 5] * ys + small[:, 6] * (1 - 2 * tone)) * kept
        full = np.concatenate([slopes * gain[:, None], basis], axis=1)
        normal = (full @ full.transpose(0, 2, 1)).astype(np.float64)
        normal += np.eye(_SHAPE + _LIGHT) * 1e-3
        right = np.einsum("nip,np->ni", full, residual).astype(np.float64)
        move = np.linalg.solve(normal, right[:, :, None])[:, :_SHAPE, 0]
        return self._limited(move), light, normal, residual, kept

    def _limited(self, move: Floats) -> Floats:
        """Steps no longer than the first guess can be trusted."""
        far = np.hypot(move[:, 0], move[:, 1])[:, None]
        move[:, :2] *= np.minimum(1.0, 2.0 / np.maximum(far, 1e-9))
        move[:, 2:4] = np.clip(move[:, 2:4], -0.15, 0.15)
        move[:, 4] = np.clip(move[:, 4], -0.5, 0.5)
        return move

    def _answer(
        self, light: Floats, normal: Floats, residual: Singles, kept: Singles, still: NDArray[np.bool_]
    ) -> Saddles:
        count = kept.sum(1).astype(np.float64)
        variance = (residual**2).sum(1) / np.maximum(count - _SHAPE - _LIGHT, 1)
        inverse = np.linalg.inv(normal)
        spread = (inverse[:, 0, 0] + inverse[:, 1, 1]) / 2
        return Saddles(
            self.start + self.shape[:, :2],
            np.sqrt(variance * spread * _alike(residual, kept, len(self.levels))),
            np.exp(self.shape[:, 4]),
            light[:, 3],
            np.sqrt((residual**2).sum(1) / np.maximum(count, 1)).astype(np.float64),
            still,
        )


def _normal(edge: Floats, side: Floats) -> Floats:
    """Unit vectors at right angles to ``edge``, on the side that ``side`` points to."""
    normal = np.column_stack([-edge[:, 1], edge[:, 0]]) / np.hypot(edge[:, 0], edge[:, 1])[:, None]
    return np.asarray(normal * np.sign((normal * side).sum(1))[:, None])


def _tone(x: Singles, y: Singles, shape: Floats, gaps: Floats) -> tuple[Singles, Singles]:
    """White share of the model, 0 to 1, shape (m, p), and its slopes by the five shape values, (m, 5, p)."""
    cos1, sin1, cos2, sin2 = (
        value.astype(np.float32)[:, None]
        for value in (np.cos(shape[:, 2]), np.sin(shape[:, 2]), np.cos(shape[:, 3]), np.sin(shape[:, 3]))
    )
    blur = np.exp(shape[:, 4]).astype(np.float32)[:, None]
    u = np.asarray((cos1 * x + sin1 * y) / blur, np.float32)
    v = np.asarray((cos2 * x + sin2 * y) / blur, np.float32)
    p, q = (np.asarray(gap[:, None], np.float32) / blur for gap in gaps)
    phi_u, phi_v = _phi(u), _phi(v)
    up, vp, um, vm = _phi(u - p), _phi(v - q), _phi(-u - p), _phi(-v - q)
    tone = phi_u * phi_v + (1 - phi_u) * (1 - phi_v) - up * vp - um * vm
    by_u = _bell(u) * (2 * phi_v - 1) - _bell(u - p) * vp + _bell(-u - p) * vm
    by_v = _bell(v) * (2 * phi_u - 1) - _bell(v - q) * up + _bell(-v - q) * um
    # by log blur: every length / blur shrinks with it
    by_blur = (
        -u * _bell(u) * (2 * phi_v - 1)
        - v * _bell(v) * (2 * phi_u - 1)
        + (u - p) * _bell(u - p) * vp
        + (v - q) * _bell(v - q) * up
        + (-u - p) * _bell(-u - p) * vm
        + (-v - q) * _bell(-v - q) * um
    )
    by_u, by_v = by_u / blur, by_v / blur
    slopes = np.stack(
        [
            -(by_u * cos1 + by_v * cos2),
            -(by_u * sin1 + by_v * sin2),
            by_u * (cos1 * y - sin1 * x),
            by_v * (cos2 * y - sin2 * x),
            by_blur,
        ],
        axis=1,
    )
    return tone, slopes


def _bell(z: NDArray[Any]) -> Singles:
    """The normal density."""
    return np.asarray(np.exp(-0.5 * z * z) * np.float32(1 / np.sqrt(2 * np.pi)))


def _phi(z: NDArray[Any]) -> Singles:
    """The normal distribution to 1e-7 (Abramowitz and Stegun, 1964, 26.2.17)."""
    size = np.abs(z)
    t = 1 / (1 + np.float32(0.2316419) * size)
    series = np.zeros_like(t)
    for factor in (1.330274429, -1.821255978, 1.781477937, -0.356563782, 0.319381530):
        series = (series + np.float32(factor)) * t
    tail = _bell(size) * series
    return np.asarray(np.where(z > 0, 1 - tail, tail))


def _alike(residual: Singles, kept: Singles, count: int) -> float:
    """How many times the variance of a sum exceeds that of independent noise: neighbours err alike.

    The sum of the residuals' autocorrelation over lags of up to two pixels, over all windows together.
    """
    side = round(np.sqrt(residual.shape[1]))
    windows = (residual * kept).reshape(count, side, side)
    total = float((windows**2).sum())
    if total == 0:
        return 1.0
    alike = 0.0
    for down in range(-2, 3):
        for right in range(-2, 3):
            a = windows[:, max(down, 0) : side + min(down, 0), max(right, 0) : side + min(right, 0)]
            b = windows[:, max(-down, 0) : side + min(-down, 0), max(-right, 0) : side + min(-right, 0)]
            alike += float((a * b).sum()) / total
    return max(1.0, alike)
