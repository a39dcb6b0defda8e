"""A view registered on another one by points that both show: `scale.like` and `place.like`."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.errors import JobError, quoted
from trimgeo.model.board import FaceName
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.determined import names, refuse_undetermined
from trimgeo.scale.fit import density, fit_points, small_sample
from trimgeo.scale.limits import GREATEST_DENSITY, LEAST_APART, LEAST_AXIS, LEAST_DENSITY, MISFIT
from trimgeo.scale.registration import (
    Adjusted,
    Kind,
    Spots,
    adjusted,
    motion_on_entries,
    moved,
    rigid_start,
)
from trimgeo.tables import PIXEL_READING

Floats = NDArray[np.float64]

_DOUBTFUL = 3.0
"""Misses this many times what is expected are told: 1 in 400 by chance."""
_IMPOSSIBLE = 10.0
"""Misses this many times what is expected are a mistake and nothing else."""


@dataclass(frozen=True, eq=False)
class Registered:
    """A view registered on another one.

    ``to_board`` has in its covariance the other view's and this view's own; ``relative`` is the same map with
    what is uncertain between the two views alone, so that it says how far apart they may show one hole.
    ``spots`` are the points used, ``residuals`` map minus the other view's position, shape (n, 2), mm, None
    where the points leave none.  ``scaled`` is the view's own true-scale map before it was placed, None
    for a view that has no scale of its own.  ``note`` and ``warnings`` are for the report.
    """

    kind: Kind
    to_board: PlaneMap
    relative: PlaneMap
    spots: Spots
    residuals: Floats | None
    note: str
    warnings: tuple[str, ...] = ()
    scaled: PlaneMap | None = None


def scaled_like(
    pixels: Floats,
    there: Floats,
    other: PlaneMap,
    *,
    shows: FaceName | int,
    size: tuple[int, int],
    like: str,
    where: str,
    checked: bool = False,
) -> Registered:
    """The map of a picture without a scale of its own, from points that the view ``like`` shows too.

    ``pixels`` and ``there``, shape (n, 2), are the points' pixels in this and in the other picture, ``other``
    the other view's map, ``size`` (columns, rows) of this picture and ``where`` the list of points for
    messages; ``checked`` says that lengths are checked elsewhere.  Two points give a similarity, three an
    affine map, four or more a perspective map.

    The covariance has the reading of both pixels (`PIXEL_READING`), raised as in `fit.fit_points` where
    the residuals say so, and the other view's whole covariance, which all points share: to first order
    (GUM 5.2) dM = -(J'WJ)⁻¹ J'W d(miss) with d(miss) = -d(other's position).
    Raises `trimgeo.JobError` for points that cannot fix the map.

    >>> corners = np.array([[0.0, 0], [1000, 0], [1000, 800], [0, 800]])
    >>> other = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> words = {"like": "top", "where": "points"}
    >>> found = scaled_like(corners, corners / 2, other, shows="top", size=(1001, 801), **words)
    >>> found.to_board.to_mm([[500.0, 400.0]]).round(6), found.residuals is None
    (array([[ 25., -20.]]), True)
    """
    _refuse_one_spot(there, LEAST_APART, f"{where}, there")
    at = other.to_mm(there)
    refuse_undetermined(pixels, at, shows, where)
    try:
        start = fit_points(pixels, at, size, turned_over=shows == "bottom")
        spots = Spots.read(pixels, there, PIXEL_READING)
        found = adjusted(start.to_board, spots, other, start.kind)
    except np.linalg.LinAlgError as fault:
        raise _no_map(where) from fault
    _refuse_odd(found, where)
    relative = replace(found.to_board, covariance=found.by_reading() * _swell(found) ** 2)
    to_board = replace(relative, covariance=relative.covariance + shared(found, other))
    note, warnings = _told(found, start.kind, like, checked)
    misses = found.misses if found.free else None
    return Registered(start.kind, to_board, relative, spots, misses, note, warnings)


def placed_like(
    scaled: PlaneMap, pixels: Floats, there: Floats, other: PlaneMap, *, like: str, where: str
) -> Registered:
    """A map that is true to scale, turned and shifted so that points lie where the view ``like`` has them.

    ``scaled`` is the picture's own map in its face's handedness (a bottom view already mirrored into the
    board frame), so that the motion is a proper one.  Two points or more; the rest as in `scaled_like`.

    The covariance has the reading of all pixels, the own map's and the other view's covariance; the
    latter two move all points together (as in `place.placed`).  Where the points miss each other by more than
    these explain, all of it is raised to what the misses say.  Raises `trimgeo.JobError` for points at one
    spot, and where the misses are no reading error.

    >>> other = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> scaled = PlaneMap(np.diag([0.05, -0.05, 1.0]), np.zeros((9, 9)))
    >>> pixels, there = np.array([[0.0, 0], [1000, 0]]), np.array([[100.0, 0], [100, 500]])
    >>> placed = placed_like(scaled, pixels, there, other, like="top", where="points")
    >>> placed.to_board.to_mm([[1000.0, 0.0], [1000.0, -200.0]]).round(6)
    array([[ 10., -50.],
           [ 20., -50.]])
    """
    for spread, key in ((pixels, "pixel"), (there, "there")):
        _refuse_one_spot(spread, LEAST_AXIS, f"{where}, {key}")
    spots = Spots.read(pixels, there, PIXEL_READING)
    found, motion = rigid(scaled, spots, other)
    own = scaled_uncertainty(found, scaled, motion)
    ratio = excess(found, ((moved(scaled, motion), pixels), (other, there)))
    if ratio > _DOUBTFUL:
        told = _mistaken(scaled, spots, other, like)
        if ratio > _IMPOSSIBLE:
            raise JobError(
                where, told, "look for a mistyped or swapped pixel, and check the scale of both views"
            )
        warnings: tuple[str, ...] = (f"{told}: the uncertainty is widened",)
    else:
        warnings = ()
    covariance = (own + padded(shared(found, other), own)) * max(1.0, ratio) ** 2
    to_board = replace(moved(scaled, motion), covariance=covariance)
    lengths = np.hypot(*found.misses.T)
    note = f"placed by {len(pixels)} points shared with view {quoted(like)}"
    note += f"; residuals {_rms(lengths):.3f} mm rms, {lengths.max():.3f} mm at most"
    return Registered("rigid", to_board, to_board, spots, found.misses, note, warnings, scaled)


def rigid(scaled: PlaneMap, spots: Spots, other: PlaneMap) -> tuple[Adjusted, Floats]:
    """The turn and shift of a true-scale map that brings spots together, and its matrix, shape (3, 3)."""
    start = rigid_start(scaled.to_mm(spots.pixels), other.to_mm(spots.there))
    found = adjusted(moved(scaled, start), spots, other, "rigid")
    return found, np.asarray(found.to_board.matrix @ np.linalg.inv(scaled.matrix))


def shared(found: Adjusted, other: PlaneMap) -> Floats:
    """Covariance of the entries, shape (9, 9), by the other view's map, which moves all spots at once."""
    by_other = found.changes_by(-other.jacobian(found.spots.there))
    return np.asarray(by_other @ other.covariance @ by_other.T)


def scaled_uncertainty(found: Adjusted, scaled: PlaneMap, motion: Floats) -> Floats:
    """Covariance, shape (9 + q, 9 + q), of a map moved by spots: by reading them, and by its own."""
    carry = motion_on_entries(scaled, motion)
    carry[:9] += found.changes_by(found.to_board.jacobian(found.spots.pixels) @ carry)
    by_own = carry @ scaled.covariance @ carry.T
    return np.asarray(by_own + padded(found.by_reading(), by_own))


def padded(entries: Floats, like: Floats) -> Floats:
    """A covariance of the entries, shape (9, 9), with zeros for the parameters of a lens."""
    more = len(like) - 9
    return np.pad(entries, ((0, more), (0, more)))


def excess(found: Adjusted, maps: tuple[tuple[PlaneMap, Floats], ...] = ()) -> float:
    """Root of the misses' sum of squares over its expectation from reading and from uncertain maps.

    Each of ``maps`` stands with the pixels, shape (n, 2), that it maps.  With r = (I - H) e, H the hat matrix
    and C the covariance of e, E r'r = trace((I - H) C (I - H)').
    """
    expected = float(max(found.free, 1))
    for to_board, pixels in maps:
        by_map = found.white(to_board.jacobian(pixels))
        by_map = by_map - found.slope @ (found.inverse @ (found.slope.T @ by_map))
        expected += float(((by_map @ to_board.covariance) * by_map).sum())
    return float(np.sqrt((found.whitened**2).sum() / expected))


def _mistaken(scaled: PlaneMap, spots: Spots, other: PlaneMap, like: str) -> str:
    """What is the matter with points that miss: one point, or all lengths."""
    own, wanted = scaled.to_mm(spots.pixels), other.to_mm(spots.there)
    if len(own) == 2:
        lengths = [float(np.hypot(*np.diff(ends, axis=0)[0])) for ends in (own, wanted)]
        return (
            f"found points 1 and 2 {lengths[0]:.2f} mm apart in this picture and {lengths[1]:.2f} mm "
            f"in that of view {quoted(like)}"
        )
    without = [np.delete(np.arange(len(own)), n) for n in range(len(own))]
    left = [float((rigid(scaled, spots.chosen(rest), other)[0].whitened ** 2).sum()) for rest in without]
    worst = int(np.argmin(left))
    rest = spots.chosen(without[worst])
    others = rigid(scaled, rest, other)[0]
    miss = np.hypot(*(others.to_board.to_mm(spots.pixels[worst : worst + 1]) - wanted[worst])[0])
    spread = [np.sqrt(((at - at.mean(axis=0)) ** 2).sum()) for at in (own, wanted)]
    told = f"found point {worst + 1} {miss:.2f} mm from where the others put it"
    if left[worst] < _DOUBTFUL**2 * max(1, others.free) and len(own) > 3:
        return told
    return f"{told}; all lengths between them are {spread[0] / spread[1]:.3f} of those in view {quoted(like)}"


def _swell(found: Adjusted) -> float:
    """How many times too large the misses are for readings, raised for few of them: `small_sample`."""
    if not found.free:
        return 1.0
    spread = float(np.sqrt((found.whitened**2).sum() / found.free))
    return max(1.0, spread * small_sample(found.free))


def _told(found: Adjusted, kind: Kind, like: str, checked: bool) -> tuple[str, tuple[str, ...]]:
    """What a registration by points rests on, in words, and what a person must hear about it."""
    count = len(found.misses)
    note = f"{kind} map from {count} points shared with view {quoted(like)}"
    if not found.free:
        note += "; they leave no residual, so reading errors of half a pixel are assumed"
        unchecked_scale = f"nothing checks its scale from {count} points shared with view {quoted(like)}"
        return note, () if checked else (f"{unchecked_scale}: add `checks`, or give five points or more",)
    lengths = np.hypot(*found.misses.T)
    note += f"; residuals {_rms(lengths):.3f} mm rms, {lengths.max():.3f} mm at most"
    left_out = np.hypot(*np.linalg.solve(found.weights, found.left_out()[:, :, None])[:, :, 0].T)
    blame = (found.whitened * found.left_out()).sum(axis=1)
    unchecked = np.flatnonzero(np.isnan(left_out))
    if len(unchecked):
        note += (
            f"; no other checks {'point' if len(unchecked) == 1 else 'points'} {names(unchecked.tolist())}"
        )
    if len(unchecked) == count:
        return note, ()
    worst = int(np.nanargmax(blame))
    pixels = left_out[worst] * float(density(found.to_board, found.spots.pixels[worst : worst + 1])[0])
    if np.hypot(*found.left_out()[worst]) * PIXEL_READING <= MISFIT:
        return note, ()
    return note, (
        f"point {worst + 1} lies {pixels:.0f} pixels ({left_out[worst]:.2f} mm) from where the others put it"
        ": read it again in both pictures, unless a lens or a bent board is why",
    )


def _rms(lengths: Floats) -> float:
    return float(np.sqrt((lengths**2).mean()))


def _refuse_one_spot(points: Floats, distance: float, where: str) -> None:
    """Refuse two points that are one reading."""
    geometries = shapely.points(points)
    first, second = shapely.STRtree(geometries).query(geometries, predicate="dwithin", distance=distance)
    pairs = sorted((int(a), int(b)) for a, b in zip(first, second, strict=True) if a < b)
    if pairs:
        raise JobError(
            where,
            f"found points {names(pairs[0])} at one pixel (less than {distance:g} pixels apart)",
            "choose points far apart, near the corners of the board",
        )


def _refuse_odd(found: Adjusted, where: str) -> None:
    if not (np.isfinite(found.to_board.matrix).all() and np.isfinite(found.inverse).all()):
        raise _no_map(where)
    per_mm = float(np.median(density(found.to_board, found.spots.pixels)))
    if not LEAST_DENSITY <= per_mm <= GREATEST_DENSITY:
        raise JobError(
            where, f"found points that mean {per_mm:.3g} pixels per mm", "check each pixel in both pictures"
        )


def _no_map(where: str) -> JobError:
    return JobError(where, "found points that fix no map", "check each pixel in both pictures")
