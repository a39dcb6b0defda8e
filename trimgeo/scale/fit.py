"""A plane map from points: least squares in pixels, and how far the map may be wrong."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.limits import CALIPER
from trimgeo.tables import PIXEL_READING

Floats = NDArray[np.float64]
Kind = Literal["similarity", "affine", "perspective"]

_STEPS = 60
_UNCHECKED = 1e-6
_ENTRIES = 8
"""Free entries of a perspective map: no other kind leaves residuals here."""
_TAIL = 0.05
_CHI_SQUARE_8 = 15.507
"""95 % point of chi-square with 8 degrees of freedom (published tables)."""


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted map.

    ``residuals`` are map minus measured position, shape (n, 2), mm, None where the points leave
    none.  ``left_out`` is how far each point lies from where the others alone would put it, shape
    (n,), mm, nan for a point that no other checks; ``left_out_pixels`` the same in pixels.
    ``blame``, shape (n,), is by how many squared pixels leaving each point out lessens the sum of squares: a
    misread point has the most, where the others' misses may be larger than its own.

    >>> pixels = np.array([[0.0, 0], [999, 0], [999, 799], [0, 799], [500, 400], [300, 600]])
    >>> at = pixels * [0.1, -0.1] + np.array([[0, 0]] * 5 + [[0.5, 0]])  # the last is 0.5 mm off
    >>> fit = fit_points(pixels, at, (1000, 800), turned_over=False)
    >>> int(fit.blame.argmax()), bool(fit.left_out[5] > np.hypot(*fit.residuals[5]))
    (5, True)
    """

    kind: Kind
    to_board: PlaneMap
    residuals: Floats | None
    left_out: Floats
    left_out_pixels: Floats
    blame: Floats


def kind_for(count: int) -> Kind:
    """Two points give a similarity, three an affine map, four or more a perspective map.

    >>> [kind_for(count) for count in (2, 3, 4, 9)]
    ['similarity', 'affine', 'perspective', 'perspective']
    """
    return "similarity" if count == 2 else "affine" if count == 3 else "perspective"


def fit_points(pixels: Floats, at: Floats, size: tuple[int, int], *, turned_over: bool) -> Fit:
    """The map from pixels, shape (n, 2), to positions ``at``, shape (n, 2), mm.

    The errors are of reading pixels, so the map is sought from the board to the picture: the one of
    least sum of squared pixel distances (Hartley and Zisserman, Multiple View Geometry, 2nd ed.,
    4.2.2: error in one image), by Gauss-Newton from a normalised linear start (4.4), then inverted.
    ``turned_over`` says that a picture of two points shows the bottom face.

    Covariance: s² (J'J)⁻¹ of the entries sought (GUM 5.2, H.3), carried through d(G⁻¹) = -G⁻¹ dG G⁻¹.
    s is at least what reading a pixel (`PIXEL_READING`) and measuring a position (`CALIPER`) make;
    with f = 2n - p degrees of freedom it is not below the residuals' own √(Σr²/f) either, raised by
    `small_sample`, because few residuals know s badly.

    >>> corners = np.array([[0.0, 0], [1000, 0], [1000, 800], [0, 800]])
    >>> fit = fit_points(corners, corners * [0.1, -0.1] + [0, 80], (1001, 801), turned_over=False)
    >>> fit.to_board.to_mm([[500.0, 400.0]]).round(6), fit.residuals is None
    (array([[50., 40.]]), True)
    """
    kind = kind_for(len(pixels))
    to_unit, unit_pixels = _normalised(pixels)
    at_unit, unit_at = _normalised(at)
    basis = _basis(kind, turned_over)
    start = _linear_start(unit_at, unit_pixels) if kind == "perspective" else np.zeros(basis.shape[1])
    found = _gauss_newton(basis, start, unit_at, unit_pixels)
    forward = _matrix(basis, found)
    slope = _slope(basis, forward, unit_at)
    _, triangle = np.linalg.qr(slope)
    scale = float(to_unit[0, 0])

    misses = (unit_pixels - PlaneMap(forward, np.zeros((9, 9))).to_mm(unit_at)) / scale
    backward = np.linalg.inv(forward)
    carried = np.kron(np.linalg.inv(at_unit), to_unit.T) @ -np.kron(backward, backward.T) @ basis
    carried = carried @ np.linalg.inv(triangle)
    matrix = np.linalg.inv(at_unit) @ backward @ to_unit
    gauge = float(matrix[2] @ [*pixels.mean(axis=0), 1.0])
    exact = PlaneMap(matrix / gauge, np.zeros((9, 9)), size)
    sigma = _sigma(misses, basis.shape[1], exact, pixels) * scale / gauge
    to_board = PlaneMap(exact.matrix, sigma**2 * carried @ carried.T, size)
    left_out = _left_out(slope, misses)
    left_mm = np.einsum("nij,nj->ni", to_board.slopes(pixels), left_out)
    free = misses.size > basis.shape[1]
    return Fit(
        kind,
        to_board,
        to_board.to_mm(pixels) - at if free else None,
        np.hypot(*left_mm.T),
        np.hypot(*left_out.T),
        (misses * left_out).sum(axis=1),
    )


def density(to_board: PlaneMap, pixels: Floats) -> Floats:
    """Pixels per mm at pixels, shape (n, 2) to (n,): the geometric mean of the two directions.

    >>> scan = PlaneMap(np.diag([0.1, -0.05, 1.0]), np.zeros((9, 9)))  # 10 in x, 20 in y
    >>> density(scan, np.array([[300.0, 200.0]])).round(3)
    array([14.142])
    """
    return np.asarray(1 / np.sqrt(np.abs(np.linalg.det(to_board.slopes(pixels)))))


def _normalised(points: Floats) -> tuple[Floats, Floats]:
    """Similarity to centroid 0 and mean square √2, and the points there (Hartley 1997)."""
    centre = points.mean(axis=0)
    scale = np.sqrt(2.0) / np.sqrt(((points - centre) ** 2).sum(axis=1).mean())
    to_unit = np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1.0]])
    return to_unit, (points - centre) * scale


def _basis(kind: Kind, turned_over: bool) -> Floats:
    """The entries of the matrix, in row order, as linear functions of its parameters: shape (9, p).

    The last entry is 1.  A similarity from the board (y up) to a picture (y down) is a reflection
    for a face seen from its own side in the board's frame, and a rotation for the bottom face.
    """
    if kind == "similarity":
        flip = 1.0 if turned_over else -1.0
        basis = np.zeros((9, 4))
        basis[[0, 4], 0] = 1.0, flip
        basis[[1, 3], 1] = -flip, 1.0
        basis[2, 2] = basis[5, 3] = 1.0
        return basis
    return np.eye(9)[:, : 6 if kind == "affine" else 8]


def _matrix(basis: Floats, parameters: Floats) -> Floats:
    entries = basis @ parameters
    entries[8] = 1.0
    return np.asarray(entries.reshape(3, 3))


def _linear_start(at: Floats, pixels: Floats) -> Floats:
    """Direct linear transformation: the singular vector of the least singular value."""
    x, y = at.T
    u, v = pixels.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    rows_u = np.column_stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u])
    rows_v = np.column_stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v])
    _, _, right = np.linalg.svd(np.vstack([rows_u, rows_v]))
    last = right[-1]
    if abs(last[8]) < np.finfo(float).eps:
        return np.array([1.0, 0, 0, 0, 1.0, 0, 0, 0])
    return np.asarray(last[:8] / last[8])


def _slope(basis: Floats, matrix: Floats, at: Floats) -> Floats:
    """d(pixels)/d(parameters), shape (2n, p)."""
    jacobian = PlaneMap(matrix, np.zeros((9, 9))).jacobian(at)
    return np.asarray(jacobian.reshape(-1, 9) @ basis)


def _gauss_newton(basis: Floats, start: Floats, at: Floats, pixels: Floats) -> Floats:
    """Parameters of least squared pixel distance; a step that does not help is halved."""

    def misses(parameters: Floats) -> Floats:
        mapped = PlaneMap(_matrix(basis, parameters), np.zeros((9, 9))).to_mm(at)
        return np.asarray((pixels - mapped).ravel())

    found, left = start, misses(start)
    for _ in range(_STEPS):
        step, *_ = np.linalg.lstsq(_slope(basis, _matrix(basis, found), at), left, rcond=None)
        if np.linalg.norm(step) <= 1e-13 * (1 + np.linalg.norm(found)):
            break
        part = 1.0
        while part > 1e-6 and not (misses(found + part * step) ** 2).sum() < (left**2).sum():
            part /= 2
        if part <= 1e-6:
            break
        found = found + part * step
        left = misses(found)
    return found


def _sigma(misses: Floats, parameters: int, to_board: PlaneMap, pixels: Floats) -> float:
    """Standard uncertainty of one pixel coordinate, in pixels: see `fit_points`."""
    per_mm = float(np.median(density(to_board, pixels)))
    floor = float(np.hypot(PIXEL_READING, CALIPER * per_mm))
    free = misses.size - parameters
    if free == 0:
        return floor
    spread = float(np.sqrt((misses**2).sum() / free))
    return max(floor, spread * small_sample(free))


def small_sample(free: int) -> float:
    """Factor that widens a standard uncertainty known from ``free`` (even) degrees of freedom only.

    √(8 F / χ²), the 95 % points of F(8, free) and of χ²(8): the ratio of the joint confidence regions
    of all eight entries without and with s known (Scheffé 1953), so that it serves the largest error
    over a board and not that at one place alone.  For even degrees of freedom m, f the tail of F is
    x^(f/2) Σ_{j < m/2} C(f/2 + j - 1, j) (1 - x)^j with x = f / (f + m F): Abramowitz and Stegun 26.6.4.

    >>> round(small_sample(2), 2), round(small_sample(1000), 2)
    (3.16, 1.0)
    """
    low, high = 0.0, 1.0
    for _ in range(60):
        x = (low + high) / 2
        terms = (math.comb(free // 2 + j - 1, j) * (1 - x) ** j for j in range(_ENTRIES // 2))
        if x ** (free / 2) * sum(terms) > _TAIL:
            high = x
        else:
            low = x
    return math.sqrt(free * (1 / low - 1) / _CHI_SQUARE_8)


def _left_out(slope: Floats, misses: Floats) -> Floats:
    """Miss of each point by the map from the others, shape (n, 2), pixels; nan where they leave it free.

    (I - H)⁻¹ r with H the point's block of the hat matrix: exact for a linear map, first order in the
    residuals for a perspective one (Belsley, Kuh and Welsch, Regression Diagnostics, 1980, 2.1).
    """
    rows, _ = np.linalg.qr(slope)
    blocks = rows.reshape(len(misses), 2, -1)
    remaining = np.eye(2) - blocks @ blocks.transpose(0, 2, 1)
    checked = np.linalg.eigvalsh(remaining)[:, 0] > _UNCHECKED
    left_out = np.full_like(misses, np.nan)
    left_out[checked] = np.linalg.solve(remaining[checked], misses[checked][:, :, None])[:, :, 0]
    return left_out
