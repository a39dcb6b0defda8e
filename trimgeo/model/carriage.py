"""What bends a scan: a smooth field of displacements, from a carriage that does not run evenly."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_STEPS = 30


@dataclass(frozen=True, eq=False)
class CarriageLens:
    """ideal = taken + field(taken), the field a cubic B-spline on a grid of nodes.

    ``start`` is the (column, row) of the first node and ``step`` the pixels between nodes.  ``field``,
    shape (2, rows of nodes, columns of nodes), has the weights of the splines, pixels; ``modes``, shape
    (q, 2, rows, columns), what one unit of each uncertain parameter adds to them.  Beyond the outer nodes
    but one the field stays as it is there.  (Uniform cubic B-splines: de Boor, A Practical Guide to
    Splines, 1978: weights that lie on a straight line give that line.)

    >>> across = np.tile([-1.0, 0.0, 1.0, 2.0, 3.0], (5, 1))  # 1 pixel more every 100 columns
    >>> lens = CarriageLens(
    ...     (-100.0, -100.0), (100.0, 100.0), np.stack([across, 0 * across]), np.zeros((0, 2, 5, 5))
    ... )
    >>> lens.ideal(np.array([[50.0, 70.0]])).round(9)
    array([[50.5, 70. ]])
    >>> lens.raw(np.array([[50.5, 70.0]])).round(9)
    array([[50., 70.]])
    """

    start: tuple[float, float]
    step: tuple[float, float]
    field: Floats
    modes: Floats

    def ideal(self, pixels: Floats) -> Floats:
        """Ideal pixels of pixels as taken."""
        return np.asarray(pixels + self._summed(self.field[None], pixels)[:, :, 0])

    def raw(self, ideal: Floats) -> Floats:
        """Pixels as taken: taken = ideal - field(taken), again and again, for the field is nearly flat."""
        taken = ideal.astype(np.float64)
        for _ in range(_STEPS):
            better = ideal - self._summed(self.field[None], taken)[:, :, 0]
            change = float(np.abs(better - taken).max(initial=0.0))
            taken = better
            if change < 1e-11:
                break
        return taken

    def slopes(self, pixels: Floats) -> Floats:
        """d(ideal)/d(pixel as taken), shape (n, 2, 2)."""
        across = self._summed(self.field[None], pixels, by=0)[:, :, 0] / self.step[0]
        down = self._summed(self.field[None], pixels, by=1)[:, :, 0] / self.step[1]
        at, held = self._at(pixels, self.field.shape[:0:-1])
        across[at[:, 0] != held[:, 0]], down[at[:, 1] != held[:, 1]] = 0.0, 0.0
        return np.asarray(np.eye(2) + np.stack([across, down], axis=2))

    def jacobian(self, pixels: Floats) -> Floats:
        """d(ideal)/d(parameters), shape (n, 2, q): the modes themselves."""
        return self._summed(self.modes, pixels)

    def changed(self, by: Floats) -> CarriageLens:
        """The lens with its parameters changed by so much, shape (q,)."""
        return replace(self, field=self.field + np.tensordot(by, self.modes, 1))

    def _summed(self, weights: Floats, pixels: Floats, by: int | None = None) -> Floats:
        """Splines of weights (m, 2, rows, columns) at pixels (n, 2), shape (n, 2, m), or their slope."""
        first, share = self._cells(pixels, weights.shape[:1:-1])
        across = _slopes(share[:, 0]) if by == 0 else _values(share[:, 0])
        down = _slopes(share[:, 1]) if by == 1 else _values(share[:, 1])
        spread = np.ascontiguousarray(weights.transpose(2, 3, 1, 0))
        total = np.zeros((len(pixels), 2, len(weights)))
        for i in range(4):
            for j in range(4):
                taken = spread[first[:, 1] + i, first[:, 0] + j]
                total += (down[:, i] * across[:, j])[:, None, None] * taken
        return total

    def _cells(self, pixels: Floats, nodes: tuple[int, ...]) -> tuple[NDArray[np.int64], Floats]:
        """The first of four nodes each way, and how far past the second of them, shapes (n, 2)."""
        _, at = self._at(pixels, nodes)
        cell = np.minimum(np.floor(at), np.array(nodes) - 3.0)
        return cell.astype(np.int64) - 1, at - cell

    def _at(self, pixels: Floats, nodes: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Pixels in steps from the first node, and the same held between the outer nodes but one."""
        at = (pixels - np.array(self.start)) / np.array(self.step)
        return at, np.asarray(np.clip(at, 1.0, np.array(nodes) - 2.0))


def _values(s: Floats) -> Floats:
    """The four cubic B-splines over a cell, shape (n, 4)."""
    t = 1 - s
    return np.stack([t**3, 3 * s**3 - 6 * s**2 + 4, 3 * t**3 - 6 * t**2 + 4, s**3], axis=1) / 6


def _slopes(s: Floats) -> Floats:
    """Their derivatives."""
    t = 1 - s
    return np.stack([-(t**2), 3 * s**2 - 4 * s, 4 * t - 3 * t**2, s**2], axis=1) / 2
