"""A map from pixels to the board frame that knows how far it may be wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PlaneMap:
    """Perspective map of the plane, pixel to mm, with the covariance of its entries.

    ``matrix`` is 3 x 3; a pixel (u, v) goes to (x, y) = (X/W, Y/W) with (X, Y, W) = matrix (u, v, 1).
    ``covariance`` is 9 x 9, of the entries in row order, in whatever gauge the matrix is in.
    ``size`` is (columns, rows) of the picture that the pixels belong to, where there is one.

    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)), (640, 480))
    >>> scan.to_mm([[10.0, 20.0]])
    array([[ 1., -2.]])
    >>> scan.outside([[10.0, 20.0], [640.0, 20.0]])
    array([False,  True])
    """

    matrix: Floats
    covariance: Floats
    size: tuple[int, int] | None = None

    def to_mm(self, pixels: ArrayLike) -> Floats:
        """Board positions, shape (n, 2), mm, of pixels, shape (n, 2)."""
        return _apply(self.matrix, pixels)

    def to_pixels(self, mm: ArrayLike) -> Floats:
        """Pixels, shape (n, 2), of board positions, shape (n, 2), mm.

        >>> PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9))).to_pixels([[1.0, -2.0]]).round(9)
        array([[10., 20.]])
        """
        return _apply(np.asarray(np.linalg.inv(self.matrix), dtype=np.float64), mm)

    def outside(self, pixels: ArrayLike) -> NDArray[np.bool_]:
        """Which pixels, shape (n, 2), lie off the picture: it reaches half a pixel past the outer centres."""
        uv = np.atleast_2d(np.asarray(pixels, dtype=np.float64))
        if self.size is None:
            return np.zeros(len(uv), dtype=np.bool_)
        return np.asarray(((uv < -0.5) | (uv > np.array(self.size) - 0.5)).any(axis=1))

    def slopes(self, pixels: ArrayLike) -> Floats:
        """d(x, y)/d(u, v) at pixels, shape (n, 2) to (n, 2, 2), mm per pixel.

        >>> tilted = PlaneMap(np.array([[0.1, 0, 0], [0, -0.1, 0], [0.001, 0, 1]]), np.zeros((9, 9)))
        >>> tilted.slopes([[0.0, 0.0], [1000.0, 0.0]])[:, 0, 0].round(9)  # a quarter as long there
        array([0.1  , 0.025])
        """
        XYW = _homogeneous(pixels) @ self.matrix.T
        xy, W = XYW[:, :2] / XYW[:, 2:], XYW[:, 2]
        rise = self.matrix[None, :2, :2] - xy[:, :, None] * self.matrix[None, 2:, :2]
        return np.asarray(rise / W[:, None, None])

    def jacobian(self, pixels: ArrayLike) -> Floats:
        """d(x, y)/d(entries of the matrix in row order) at pixels, shape (n, 2) to (n, 2, 9).

        With x = X/W as above: dx/dX = 1/W and dx/dW = -X/W², times (u, v, 1) for the entries of each row.
        """
        uv1 = _homogeneous(pixels)
        X, Y, W = (uv1 @ self.matrix.T).T
        jacobian = np.zeros((len(uv1), 2, 9))
        jacobian[:, 0, 0:3] = uv1 / W[:, None]
        jacobian[:, 1, 3:6] = uv1 / W[:, None]
        jacobian[:, 0, 6:9] = -uv1 * (X / W**2)[:, None]
        jacobian[:, 1, 6:9] = -uv1 * (Y / W**2)[:, None]
        return jacobian

    def position_covariance(self, pixels: ArrayLike) -> Floats:
        """Covariance of the board positions, shape (n, 2, 2), in mm².

        First-order propagation, JCGM 100:2008 (GUM) 5.2: J C J' with J = d(x, y)/d(entries).
        """
        jacobian = self.jacobian(pixels)
        return np.asarray(jacobian @ self.covariance @ jacobian.transpose(0, 2, 1))

    def standard_uncertainty(self, pixels: ArrayLike) -> Floats:
        """Standard uncertainty of the positions, shape (n,), mm, in the worst one direction.

        >>> covariance = np.diag([0, 0, 0.05**2, 0, 0, 0.02**2, 0, 0, 0])  # of the position of pixel (0, 0)
        >>> PlaneMap(np.diag([0.1, -0.1, 1.0]), covariance).standard_uncertainty([[300.0, 200.0]])
        array([0.05])
        """
        largest = np.linalg.eigvalsh(self.position_covariance(pixels))[:, -1]
        return np.asarray(np.sqrt(np.maximum(largest, 0.0)))


def _homogeneous(points: ArrayLike) -> Floats:
    xy = np.atleast_2d(np.asarray(points, dtype=np.float64))
    return np.column_stack([xy, np.ones(len(xy))])


def _apply(matrix: Floats, points: ArrayLike) -> Floats:
    mapped = _homogeneous(points) @ matrix.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])
