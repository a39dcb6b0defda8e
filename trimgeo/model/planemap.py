"""A map from pixels to the board frame that knows how far it may be wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trimgeo.model.lens import Lens

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PlaneMap:
    """Map of a picture onto the plane of the shown face, pixel to mm, and how well it is known.

    ``lens``, where there is one, takes a pixel to where a straight-seeing camera would have put it;
    ``matrix`` is 3 x 3 and takes that (u, v) to (x, y) = (X/W, Y/W) with (X, Y, W) = matrix (u, v, 1).
    ``covariance`` is (9 + q) x (9 + q): the entries in row order, in whatever gauge the matrix is in,
    then the q parameters of the lens.  ``size`` is (columns, rows) of the picture that the pixels
    belong to, where there is one.  ``eye`` is where the camera stood, (x, y, height above the shown
    face), mm, where that is known: it says how standing things lean.

    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)), (640, 480))
    >>> scan.to_mm([[10.0, 20.0]])
    array([[ 1., -2.]])
    >>> scan.outside([[10.0, 20.0], [640.0, 20.0]])
    array([False,  True])
    """

    matrix: Floats
    covariance: Floats
    size: tuple[int, int] | None = None
    lens: Lens | None = None
    eye: tuple[float, float, float] | None = None

    def to_mm(self, pixels: ArrayLike) -> Floats:
        """Board positions, shape (n, 2), mm, of pixels, shape (n, 2)."""
        return _apply(self.matrix, self._ideal(pixels))

    def to_pixels(self, mm: ArrayLike) -> Floats:
        """Pixels, shape (n, 2), of board positions, shape (n, 2), mm.

        >>> PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9))).to_pixels([[1.0, -2.0]]).round(9)
        array([[10., 20.]])
        """
        ideal = _apply(np.asarray(np.linalg.inv(self.matrix), dtype=np.float64), mm)
        return ideal if self.lens is None else self.lens.raw(ideal)

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
        slopes = self._matrix_slopes(self._ideal(pixels))
        return slopes if self.lens is None else np.asarray(slopes @ self.lens.slopes(_pairs(pixels)))

    def jacobian(self, pixels: ArrayLike) -> Floats:
        """d(x, y)/d(what the covariance is of) at pixels, shape (n, 2) to (n, 2, 9 + q).

        With x = X/W as above: dx/dX = 1/W and dx/dW = -X/W², times (u, v, 1) for the entries of each
        row; for the parameters of the lens by the chain rule.
        """
        ideal = self._ideal(pixels)
        uv1 = _homogeneous(ideal)
        X, Y, W = (uv1 @ self.matrix.T).T
        jacobian = np.zeros((len(uv1), 2, len(self.covariance)))
        jacobian[:, 0, 0:3] = uv1 / W[:, None]
        jacobian[:, 1, 3:6] = uv1 / W[:, None]
        jacobian[:, 0, 6:9] = -uv1 * (X / W**2)[:, None]
        jacobian[:, 1, 6:9] = -uv1 * (Y / W**2)[:, None]
        if self.lens is not None:
            jacobian[:, :, 9:] = self._matrix_slopes(ideal) @ self.lens.jacobian(_pairs(pixels))
        return jacobian

    def _ideal(self, pixels: ArrayLike) -> Floats:
        return _pairs(pixels) if self.lens is None else self.lens.ideal(_pairs(pixels))

    def _matrix_slopes(self, ideal: Floats) -> Floats:
        XYW = _homogeneous(ideal) @ self.matrix.T
        xy, W = XYW[:, :2] / XYW[:, 2:], XYW[:, 2]
        rise = self.matrix[None, :2, :2] - xy[:, :, None] * self.matrix[None, 2:, :2]
        return np.asarray(rise / W[:, None, None])

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


def _pairs(points: ArrayLike) -> Floats:
    return np.atleast_2d(np.asarray(points, dtype=np.float64))


def _homogeneous(points: ArrayLike) -> Floats:
    xy = _pairs(points)
    return np.column_stack([xy, np.ones(len(xy))])


def _apply(matrix: Floats, points: ArrayLike) -> Floats:
    mapped = _homogeneous(points) @ matrix.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])
