"""The stated bound of a view's positions, and what caliper checks say about it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.model.board import LengthCheck
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.fit import density
from trimgeo.scale.limits import CALIPER
from trimgeo.tables import COVERAGE_FACTOR, COVERAGE_FACTOR_PLANE, PIXEL_READING

Floats = NDArray[np.float64]

_TRIALS = 4000
_SAMPLES = 16
_REACH_95 = 0.95


def bound(to_board: PlaneMap, pixels: Floats) -> float:
    """The 95 % bound, mm, of the greatest position error over places given as pixels, shape (n, 2).

    At the worst place alone that is `COVERAGE_FACTOR_PLANE` standard uncertainties; but any of
    the places may be the one that errs most, so it is at least the 95 % point of the largest error
    over all of them, from the map's covariance by 4000 draws (propagation of distributions,
    JCGM 101:2008; a frozen generator, so that the same job gives the same bytes).

    >>> exact = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> bound(exact, np.array([[0.0, 0.0], [100.0, 100.0]]))
    0.0
    """
    alone = COVERAGE_FACTOR_PLANE * float(to_board.standard_uncertainty(pixels).max())
    by_draw = to_board.jacobian(pixels) @ _root(to_board.covariance)
    draws = _draws(by_draw.shape[2])
    squares = (draws @ by_draw[:, 0].T) ** 2
    squares += (draws @ by_draw[:, 1].T) ** 2
    return max(alone, float(np.sqrt(np.quantile(squares.max(axis=1), _REACH_95))))


@cache
def _draws(columns: int) -> Floats:
    """Independent standard normal numbers, shape (trials, columns); the frozen generator never changes."""
    return np.random.RandomState(0).standard_normal((_TRIALS, columns))


def places(to_board: PlaneMap, shown: Polygon, area: Polygon | None) -> Floats:
    """Pixels, shape (n, 2), of places round an area: the part of it that the picture shows.

    ``shown`` is what the picture shows, ``area`` the board, both in mm; without a board the whole
    picture counts.

    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> shown, board = shapely.box(0, -30, 40, 0), shapely.box(10, -50, 30, -10)  # its lower part is cut off
    >>> round_it = places(scan, shown, board)
    >>> round_it.min(axis=0).round(6).tolist(), round_it.max(axis=0).round(6).tolist()
    ([100.0, 100.0], [300.0, 300.0])
    """
    part = shown if area is None else shown.intersection(area)
    outline = shapely.boundary(shapely.convex_hull(part))
    ends = shapely.get_coordinates(outline)[:_SAMPLES]
    spread = shapely.line_interpolate_point(outline, np.linspace(0, 1, _SAMPLES), normalized=True)
    return to_board.to_pixels(np.vstack([ends, shapely.get_coordinates(spread)]))


def compared(to_board: PlaneMap, ends: Floats, lengths: Floats) -> tuple[tuple[LengthCheck, ...], Floats]:
    """Lengths in the picture against caliper lengths, and each one's standard uncertainty, shape (n,), mm.

    ``ends`` are pixels, shape (n, 2, 2).  The uncertainty has the map's covariance (of the difference
    of both ends, which share it), the reading of two pixels and the caliper.

    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> checks, standard = compared(scan, np.array([[[100.0, 50.0], [600.0, 50.0]]]), np.array([50.2]))
    >>> round(checks[0].measured, 3), round(checks[0].error, 3), standard.round(3).tolist()
    (50.0, -0.2, [0.077])
    """
    first, second = ends[:, 0], ends[:, 1]
    way = to_board.to_mm(second) - to_board.to_mm(first)
    measured = np.hypot(*way.T)
    unit = way / measured[:, None]
    slope = np.einsum("ni,nik->nk", unit, to_board.jacobian(second) - to_board.jacobian(first))
    by_map = np.einsum("nk,kl,nl->n", slope, to_board.covariance, slope)
    by_reading = sum((PIXEL_READING / density(to_board, end)) ** 2 for end in (first, second))
    standard = np.sqrt(np.maximum(by_map, 0) + by_reading + CALIPER**2)
    checks = (LengthCheck(float(a), float(b)) for a, b in zip(lengths, measured, strict=True))
    return tuple(checks), np.asarray(standard)


def disagreeing(checks: tuple[LengthCheck, ...], standard: Floats) -> list[int]:
    """Which checks differ by more than their own 95 % bound, counted from 0.

    >>> disagreeing((LengthCheck(50.0, 50.1), LengthCheck(50.0, 49.8)), np.array([0.08, 0.08]))
    [1]
    """
    return [n for n, check in enumerate(checks) if abs(check.error) > COVERAGE_FACTOR * standard[n]]


def widened(to_board: PlaneMap, stretch: float, pivot: tuple[float, float]) -> PlaneMap:
    """The same map with an unknown stretch and shear about ``pivot`` (mm) added to its covariance.

    ``stretch`` is the standard uncertainty of each entry of the stretch, mm per mm, so that a
    position at distance d from the pivot becomes uncertain by stretch x d in every direction.

    >>> exact = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> widened(exact, 0.001, (0.0, 0.0)).standard_uncertainty([[1000.0, 0.0]]).round(6)  # 100 mm away
    array([0.1])
    """
    x, y = pivot
    covariance = to_board.covariance.copy()
    from_pivot = to_board.matrix[:2] - np.outer([x, y], to_board.matrix[2])
    for row in range(2):
        for axis in range(2):
            change = np.zeros((3, 3))
            change[row] = stretch * from_pivot[axis]
            covariance[:9, :9] += np.outer(change.ravel(), change.ravel())
    return replace(to_board, covariance=covariance)


def stretch_of(checks: tuple[LengthCheck, ...], chosen: list[int]) -> float:
    """Standard uncertainty of scale, mm per mm, that puts the worst of the chosen checks at its 95 % bound.

    >>> stretch_of((LengthCheck(50.0, 50.1), LengthCheck(99.0, 100.0)), [0, 1])
    0.005
    """
    return max(abs(checks[n].error) / checks[n].measured for n in chosen) / COVERAGE_FACTOR


def _root(covariance: Floats) -> Floats:
    """A with A A' = covariance, through correlations: the entries' sizes differ by many powers of ten."""
    each = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    safe = np.where(each > 0, each, 1.0)
    spread, axes = np.linalg.eigh(covariance / np.outer(safe, safe))
    return np.asarray(each[:, None] * axes * np.sqrt(np.maximum(spread, 0.0)))
