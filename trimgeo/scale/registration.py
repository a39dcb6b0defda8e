"""Registers a picture on another view's: least squares over spots that both show, and what it is worth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.planemap import PlaneMap

Floats = NDArray[np.float64]
Kind = Literal["similarity", "affine", "perspective", "rigid"]

_STEPS = 30
_SETTLED = 1e-12
_UNCHECKED = 1e-6


@dataclass(frozen=True, eq=False)
class Spots:
    """Spots that two pictures show, each with the standard uncertainty of one coordinate.

    ``pixels`` and ``there`` are the pixels in this and in the other picture, shape (n, 2); ``sd`` and
    ``sd_there`` say how well they are read, shape (n,), pixels; ``apart``, shape (n,), mm, how far the
    spots themselves lie apart (a hole that is drilled slanting, a pad that is not centred on it).

    >>> spots = Spots.read(np.array([[0.0, 0.0]]), np.array([[5.0, 5.0]]), 0.5)
    >>> spots.sd.tolist(), spots.apart.tolist()
    ([0.5], [0.0])
    """

    pixels: Floats
    there: Floats
    sd: Floats
    sd_there: Floats
    apart: Floats

    @staticmethod
    def read(pixels: Floats, there: Floats, sd: float) -> Spots:
        """Spots whose pixels are all read equally well in both pictures, and that are one spot each."""
        each = np.full(len(pixels), sd)
        return Spots(np.asarray(pixels, float), np.asarray(there, float), each, each, np.zeros(len(pixels)))

    def chosen(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Spots:
        """Some of them."""
        return Spots(*(each[which] for each in self._columns()))

    def joined(self, more: Spots) -> Spots:
        """These, then more."""
        pairs = zip(self._columns(), more._columns(), strict=True)
        return Spots(*(np.concatenate(pair) for pair in pairs))

    def _columns(self) -> tuple[Floats, ...]:
        return self.pixels, self.there, self.sd, self.sd_there, self.apart


@dataclass(frozen=True, eq=False)
class Adjusted:
    """A map moved so that spots meet: see `adjusted`.

    ``misses`` are map minus the other view's position, shape (n, 2), mm, and ``whitened`` the same in
    standard uncertainties of reading.  ``ways``, shape (9, p), are the changes of the matrix that were
    free; ``slope``, shape (2n, p), what they do to the misses, whitened; ``inverse``, shape (p, p), the
    covariance of the free changes by reading alone; ``weights``, shape (n, 2, 2), take misses to whitened.
    """

    to_board: PlaneMap
    spots: Spots
    misses: Floats
    whitened: Floats
    ways: Floats
    slope: Floats
    inverse: Floats
    weights: Floats

    @property
    def free(self) -> int:
        """Degrees of freedom."""
        return int(self.whitened.size - self.ways.shape[1])

    def by_reading(self) -> Floats:
        """Covariance of the entries by reading alone, shape (9, 9)."""
        return np.asarray(self.ways @ self.inverse @ self.ways.T)

    def changes_by(self, by: Floats) -> Floats:
        """d(entries)/d(input), shape (9, k), of inputs that move the misses by ``by``, shape (n, 2, k).

        The normal equations to first order (GUM 5.2): dp = -(J'WJ)⁻¹ J'W d(miss).
        """
        return np.asarray(-self.ways @ self.inverse @ self.slope.T @ self.white(by))

    def white(self, by: Floats) -> Floats:
        """What moves the misses, shape (n, 2, k), in standard uncertainties of reading, shape (2n, k)."""
        return np.asarray((self.weights @ by).reshape(len(self.slope), -1))

    def left_out(self) -> Floats:
        """Whitened miss of each spot by the map from the others, shape (n, 2); nan where nothing checks it.

        (I - H)⁻¹ r with H the spot's block of the hat matrix (Belsley, Kuh and Welsch 1980, 2.1).
        """
        rows = self.slope.reshape(len(self.misses), 2, -1)
        remaining = np.eye(2) - rows @ self.inverse @ rows.transpose(0, 2, 1)
        found = np.full_like(self.misses, np.nan)
        checked = np.linalg.eigvalsh(remaining)[:, 0] > _UNCHECKED
        found[checked] = np.linalg.solve(remaining[checked], self.whitened[checked][:, :, None])[:, :, 0]
        return found


def adjusted(start: PlaneMap, spots: Spots, other: PlaneMap, kind: Kind, loose: float = np.inf) -> Adjusted:
    """``start`` changed so that its spots lie where ``other`` says: least squares weighted by reading.

    For a similarity, affine or perspective ``kind`` the matrix M becomes M (I + D), D of that kind in
    pixels (4, 6 or 8 free entries); for a ``rigid`` motion T M, with a turn and a shift T of the board
    plane (3).  Weights are the inverse covariances of the misses by reading either picture and by
    ``apart``.  ``loose``, mm, is how far the start may be wrong at the rim of the spots: a weak tie to
    it, for spots that leave something open.  Gauss-Newton from a start near the answer; raises
    `numpy.linalg.LinAlgError` where the spots fix no map.

    >>> other = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> start = PlaneMap(np.array([[0.05, 0, 1], [0, -0.05, 0], [0, 0, 1]]), np.zeros((9, 9)))
    >>> pixels = np.array([[0.0, 0.0], [1000.0, 0.0], [0.0, 800.0]])
    >>> found = adjusted(start, Spots.read(pixels, pixels / 2 + [100, 0], 0.5), other, "rigid")
    >>> found.to_board.to_mm([[1000.0, 800.0]]).round(6), found.free
    (array([[ 60., -40.]]), 3)
    """
    here, settled = start, False
    wanted = other.to_mm(spots.there)
    ties = _ties(wanted, kind, loose)
    since = np.zeros(len(ties))
    for _ in range(_STEPS):
        ways, whitening = _ways(here, spots, kind), weights(here, spots, other)
        misses = here.to_mm(spots.pixels) - wanted
        whitened = np.einsum("nij,nj->ni", whitening, misses)
        slope = (whitening @ (here.jacobian(spots.pixels)[:, :, :9] @ ways)).reshape(whitened.size, -1)
        inverse = np.asarray(np.linalg.inv(slope.T @ slope + np.diag(ties)), dtype=np.float64)
        if not np.isfinite(inverse).all():
            raise np.linalg.LinAlgError("spots that fix no map")
        if settled:
            break
        step = -inverse @ (slope.T @ whitened.ravel() + ties * since)
        since = since + step
        here = replace(here, matrix=_changed(here, ways, step, spots, kind))
        settled = bool(np.abs(step).max() < _SETTLED)
    return Adjusted(here, spots, misses, whitened, ways, slope, inverse, whitening)


def rigid_start(at: Floats, wanted: Floats) -> Floats:
    """The turn and shift, shape (3, 3), that takes positions ``at`` nearest to ``wanted``, both (n, 2).

    Least squares in closed form: the angle of Σ conj(a) w about the centroids (Umeyama 1991 without
    scale, in the plane).

    >>> rigid_start(np.array([[0.0, 0], [2, 0]]), np.array([[5.0, 0], [5, 2]])).round(9)
    array([[ 0., -1.,  5.],
           [ 1.,  0.,  0.],
           [ 0.,  0.,  1.]])
    """
    a, w = at - at.mean(axis=0), wanted - wanted.mean(axis=0)
    return _turn(float(np.arctan2((a[:, 0] * w[:, 1] - a[:, 1] * w[:, 0]).sum(), (a * w).sum())), at, wanted)


def moved(to_board: PlaneMap, motion: Floats) -> PlaneMap:
    """A map followed by a rigid motion of the board plane: covariance and camera go along.

    >>> quarter = np.array([[0.0, -1, 5], [1, 0, 0], [0, 0, 1]])
    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.eye(9), eye=(1.0, 2.0, 300.0))
    >>> moved(scan, quarter).eye, moved(scan, quarter).to_mm([[10.0, 20.0]]).tolist()
    ((3.0, 1.0, 300.0), [[7.0, 1.0]])
    """
    carry = motion_on_entries(to_board, motion)
    eye = None
    if to_board.eye is not None:
        x, y, _ = (float(value) for value in motion @ [*to_board.eye[:2], 1.0])
        eye = (x, y, to_board.eye[2])
    covariance = carry @ to_board.covariance @ carry.T
    return replace(to_board, matrix=motion @ to_board.matrix, covariance=covariance, eye=eye)


def motion_on_entries(to_board: PlaneMap, motion: Floats) -> Floats:
    """d(entries and lens of the moved map)/d(those of the map), shape (9 + q, 9 + q)."""
    carry = np.eye(len(to_board.covariance))
    carry[:9, :9] = np.kron(motion, np.eye(3))
    return carry


def wandering(to_board: PlaneMap, pixels: Floats, kind: Kind, by: float) -> Floats:
    """Changes of a map's entries and lens, shape (9 + q, p), that move its pixels by about ``by`` mm each.

    Times its transpose it is the covariance of an unknown change of that kind: ``by``, mm, is the standard
    uncertainty of a shift, and of what the other changes do at the rim of ``pixels``, shape (n, 2).

    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> ways = wandering(scan, np.array([[0.0, 0], [100, 0], [100, 100], [0, 100]]), "affine", 0.5)
    >>> PlaneMap(scan.matrix, ways @ ways.T).standard_uncertainty([[50.0, 50.0]]).round(6)
    array([0.5])
    """
    each = Spots.read(pixels, pixels, 1.0)
    ways = _ways(to_board, each, kind) / np.sqrt(_ties(to_board.to_mm(pixels), kind, by))
    return np.pad(ways, ((0, len(to_board.covariance) - 9), (0, 0)))


def _turn(angle: float, at: Floats, wanted: Floats) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    return np.vstack([np.column_stack([turn, wanted.mean(axis=0) - turn @ at.mean(axis=0)]), [0, 0, 1.0]])


def _generators(kind: Kind) -> Floats:
    """Free changes of the unit frame, shape (p, 3, 3)."""
    if kind in ("similarity", "rigid"):
        grow, turn = np.diag([1.0, 1.0, 0.0]), np.array([[0, -1.0, 0], [1, 0, 0], [0, 0, 0]])
        right, up = np.zeros((2, 3, 3))
        right[0, 2] = up[1, 2] = 1.0
        return np.array([turn, right, up] if kind == "rigid" else [grow, turn, right, up])
    return np.eye(9).reshape(9, 3, 3)[: 6 if kind == "affine" else 8]


def _ways(here: PlaneMap, spots: Spots, kind: Kind) -> Floats:
    """d(entries)/d(free changes), shape (9, p): of M D, or of T M for a rigid motion."""
    if kind == "rigid":
        back = np.eye(3)
        back[:2, 2] = here.to_mm(spots.pixels).mean(axis=0)
        changes = back @ _generators(kind) @ np.linalg.inv(back) @ here.matrix
    else:
        to_unit = _unit(spots.pixels)
        changes = here.matrix @ np.linalg.inv(to_unit) @ _generators(kind) @ to_unit
    return np.asarray(changes.reshape(-1, 9).T)


def _changed(here: PlaneMap, ways: Floats, step: Floats, spots: Spots, kind: Kind) -> Floats:
    if kind != "rigid":
        return np.asarray(here.matrix + (ways @ step).reshape(3, 3))
    at = here.to_mm(spots.pixels)
    return np.asarray(_turn(float(step[0]), at, at + step[1:]) @ here.matrix)


def _unit(pixels: Floats) -> Floats:
    """Similarity to centroid 0 and mean square √2 (Hartley 1997), shape (3, 3)."""
    centre = pixels.mean(axis=0)
    scale = np.sqrt(2.0 / ((pixels - centre) ** 2).sum(axis=1).mean())
    return np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1.0]])


def weights(here: PlaneMap, spots: Spots, other: PlaneMap) -> Floats:
    """Whitening of each miss, shape (n, 2, 2): L⁻¹ with L L' its covariance by reading."""
    own, there = here.slopes(spots.pixels), other.slopes(spots.there)
    covariance = own @ own.transpose(0, 2, 1) * spots.sd[:, None, None] ** 2
    covariance += there @ there.transpose(0, 2, 1) * spots.sd_there[:, None, None] ** 2
    covariance += np.eye(2) * spots.apart[:, None, None] ** 2
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))


def _ties(at: Floats, kind: Kind, loose: float) -> Floats:
    """Information of each free change by the tie to the start: a unit of it moves a spot by the spread."""
    spread = float(np.sqrt(((at - at.mean(axis=0)) ** 2).sum(axis=1).mean() / 2))
    count = len(_generators(kind))
    lengths = np.array([spread, 1.0, 1.0]) if kind == "rigid" else np.full(count, spread)
    return np.asarray((lengths / loose) ** 2)
