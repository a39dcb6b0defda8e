"""The even scale of a scan whose bends are known, from lengths known by caliper on the shown face."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.carriage import CarriageLens
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.bound import compared, disagreeing
from trimgeo.scale.fit import density
from trimgeo.scale.limits import CALIPER
from trimgeo.tables import COVERAGE_FACTOR, PIXEL_READING

Floats = NDArray[np.float64]


def with_lengths(to_board: PlaneMap, ends: Floats, lengths: Floats) -> PlaneMap:
    """The map of a turned scan with lengths (k,), mm, between pixels ``ends`` (k, 2, 2) added to its fit.

    Each is a reading with the caliper's uncertainty and that of two pixels; the parameters of the lens
    move by C H' (H C H' + R)⁻¹ times what is left of it, and C becomes C - C H' (H C H' + R)⁻¹ H C (update
    of a Gaussian; Gelb, Applied Optimal Estimation, 4.2, from memory).  Where a length disagrees by more than
    can be explained, none is used: it is told of, and the bound widened, like any check.
    """
    lens = to_board.lens
    assert isinstance(lens, CarriageLens)
    checks, standard = compared(to_board, ends, lengths)
    if not checks or disagreeing(checks, standard):
        return to_board
    slope, measured = _slopes(to_board, ends)
    reading = sum((PIXEL_READING / density(to_board, end)) ** 2 for end in (ends[:, 0], ends[:, 1]))
    spread = slope @ to_board.covariance
    gain = np.linalg.solve(spread @ slope.T + np.diag(CALIPER**2 + reading), spread).T
    moved = gain @ (lengths - measured)
    covariance = to_board.covariance - gain @ spread
    return replace(to_board, lens=lens.changed(moved[9:]), covariance=(covariance + covariance.T) / 2)


def even_scale(to_board: PlaneMap) -> float:
    """The 95 % bound, mm per mm, of lengths right across the picture, in the worse of x and y."""
    assert to_board.size is not None
    right, low = to_board.size[0] - 1.0, to_board.size[1] - 1.0
    ends = np.array([[[0, low / 2], [right, low / 2]], [[right / 2, 0], [right / 2, low]]])
    slope, measured = _slopes(to_board, ends)
    variance = np.einsum("nk,kl,nl->n", slope, to_board.covariance, slope)
    return COVERAGE_FACTOR * float((np.sqrt(np.maximum(variance, 0.0)) / measured).max())


def _slopes(to_board: PlaneMap, ends: Floats) -> tuple[Floats, Floats]:
    """d(length)/d(what the covariance is of), shape (k, 9 + q), and the lengths, shape (k,), mm."""
    first, second = ends[:, 0], ends[:, 1]
    way = to_board.to_mm(second) - to_board.to_mm(first)
    measured = np.hypot(*way.T)
    change = to_board.jacobian(second) - to_board.jacobian(first)
    return np.einsum("ni,nik->nk", way / measured[:, None], change), measured
