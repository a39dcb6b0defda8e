"""Which hole of one picture is which of another: followed from pair to pair, and refused where two ways fit.

Neither list is complete, and each has holes that are none.  A map known about right says where each
hole of this picture should lie among those of the other, and how far that may be wrong.  One pair that is
believed shrinks what is unknown everywhere else, so that the next pairs are looked for in a smaller
circle (one-point sample consensus guided by a filter: Civera, Grasa, Davison and Montiel 2010).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.model.planemap import PlaneMap

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

APART = 0.035
"""Standard uncertainty, mm each way, of one hole in two pictures: drilled through all layers, they agree
to about 0.05 mm."""
UNMODELLED = 0.1
"""Standard uncertainty, mm, that a map from a few points has beside its readings: a bent lens or board."""

_REACH = 3.0
"""Standard uncertainties within which a hole is looked for."""
_CLOSE = 3.5
"""Standard uncertainties within which two holes are one: 2 in 1000 are missed (Rayleigh)."""
_STARTS = 60
"""Pairs that are believed first, in turn."""
_ROUNDS = 10
_RIVAL = 0.8
"""Another way to match that has this share of the best one's holes leaves the choice open."""
_CELL = 0.2
"""mm: cells in which shifts between the two lists are counted."""
_ANOTHER = 0.8
"""mm: a shift nearer than this to what was found is the same one, turned or stretched a little."""
_MANY = 16
"""Holes in both lists from which on it is odd that they do not agree."""
_FAR = 6.0
"""mm: shifts looked at, two pitches of 2.54 mm and a little."""
_SHIFTS = 6
_LEAST_SHARE = 0.25
"""Share of the shorter list that must be matched: below it most of either list would be wrong."""


@dataclass(frozen=True, eq=False)
class Holes:
    """Holes found in a picture.

    ``pixels``, shape (m, 2); ``sd``, shape (m,), the standard uncertainty of one coordinate, pixels;
    ``diameters``, shape (m,), mm, nan where not known.
    """

    pixels: Floats
    sd: Floats
    diameters: Floats

    @staticmethod
    def seen(to_board: PlaneMap, at: Floats, sd: Floats, diameters: Floats) -> Holes:
        """Holes found in a true-scale picture: ``at`` and ``sd`` in mm, under the map it was drawn with.

        >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
        >>> holes = Holes.seen(scan, np.array([[2.0, -3.0]]), np.array([0.01]), np.array([1.0]))
        >>> holes.pixels.round(6).tolist(), holes.sd.round(6).tolist()
        ([[20.0, 30.0]], [0.1])
        """
        pixels = to_board.to_pixels(np.asarray(at, float).reshape(-1, 2))
        return Holes(
            pixels, np.asarray(sd, float) / _mm_per_pixel(to_board, pixels), np.asarray(diameters, float)
        )


@dataclass(frozen=True, eq=False)
class Matched:
    """Pairs of holes by their numbers in both lists, or why there are none: ``refusal``.

    ``doubt`` says that the refusal is a reason to distrust the points.
    """

    own: Indices
    there: Indices
    refusal: str = ""
    doubt: bool = False


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Holes that may be one.

    Their numbers; how far apart, shape (k, 2), mm; what the unknowns, of unit variance, do to that, shape
    (k, 2, z); how well it is known otherwise, shape (k,), mm.
    """

    own: Indices
    there: Indices
    gap: Floats
    by: Floats
    noise: Floats


def matched(
    to_board: PlaneMap, unknown: Floats, own: Holes, other: PlaneMap, there: Holes, least: int
) -> Matched:
    """The holes of one picture that are those of the other, under a map that is about right.

    ``unknown``, shape (9 + q, z), has the map's covariance as ``unknown @ unknown.T``.  Refused are fewer
    than ``least`` pairs or no more than chance gives, two ways that fit about equally well, and a fit that a
    shift beyond the map's uncertainty would better.

    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> pixels = np.array([[10.0, 20], [500, 60], [70, 400], [450, 380], [200, 250]])
    >>> holes, nudged = (Holes(p, np.full(5, 0.1), np.full(5, np.nan)) for p in (pixels, pixels + 0.5))
    >>> matched(scan, np.zeros((9, 1)), holes, scan, nudged, 4).own.tolist()
    [0, 1, 2, 3, 4]
    """
    if min(len(own.pixels), len(there.pixels)) < least:
        return _refused(f"{len(own.pixels)} and {len(there.pixels)} holes are too few to compare")
    at, wanted = to_board.to_mm(own.pixels), other.to_mm(there.pixels)
    noise = np.hypot(own.sd * _mm_per_pixel(to_board, own.pixels), APART)
    noise_there = there.sd * _mm_per_pixel(other, there.pixels)
    fewest = np.linalg.qr(unknown.T)[1].T  # the same covariance from as few unknowns as can be
    by = to_board.jacobian(own.pixels) @ fewest
    everything = _Everything(at, wanted, noise, noise_there, by, own.diameters, there.diameters)
    pairs = _near(everything, np.zeros(2))
    ways = _ways(pairs)
    best = max(ways, key=len)  # the first of equals: that nearest to the start
    shown = min(_overlapping(at, wanted), _overlapping(wanted, at))
    enough = max(least, _LEAST_SHARE * shown, 4 + 3 * _by_chance(everything, pairs))
    for shift in _shifts(everything, pairs, best):
        count = len(_follow(_near(everything, shift), None))
        if count > max(len(best), enough):
            x, y = (float(v) for v in shift)
            told = (
                f"moved by {x:.1f}, {y:.1f} mm its holes lie better on the other view's: {count} of {len(at)}"
            )
            return _refused(f"{told} instead of {len(best)}", doubt=True)
    if len(best) < enough:
        told = f"only {len(best)} of its {len(at)} holes lie on those of the other view"
        return _refused(told, doubt=shown >= _MANY)
    rivals = [way for way in ways if len(np.intersect1d(way, best)) < len(way) / 2]
    rival = max(map(len, rivals), default=0)
    if rival >= _RIVAL * len(best):
        return _refused(f"its holes fit in two ways, by {len(best)} and by {rival}, like a row one pitch off")
    return Matched(pairs.own[best], pairs.there[best])


@dataclass(frozen=True, eq=False)
class _Everything:
    """Both lists in mm: positions, their noise, what the unknowns do to this picture's, diameters."""

    at: Floats
    wanted: Floats
    noise: Floats
    noise_there: Floats
    by: Floats
    diameters: Floats
    diameters_there: Floats


def _refused(why: str, doubt: bool = False) -> Matched:
    none = np.zeros(0, dtype=np.intp)
    return Matched(none, none, why, doubt)


def _mm_per_pixel(to_board: PlaneMap, pixels: Floats) -> Floats:
    return np.asarray(np.sqrt(np.abs(np.linalg.det(to_board.slopes(pixels)))))


def _near(all_: _Everything, shift: Floats) -> _Pairs:
    """Pairs within what is unknown, this picture's holes moved by ``shift``, mm, of about one diameter."""
    spread = np.sqrt((all_.by**2).sum(axis=(1, 2)) / 2 + all_.noise**2)
    points, tree = shapely.points(all_.at + shift), shapely.STRtree(shapely.points(all_.wanted))
    own, there = tree.query(points, predicate="dwithin", distance=_REACH * spread + _CLOSE * all_.noise)
    ours, theirs = all_.diameters[own], all_.diameters_there[there]
    alike = ~(np.abs(ours - theirs) > 0.3 + 0.15 * np.fmax(ours, theirs))  # true where one is not known
    own, there = own[alike], there[alike]
    order = np.lexsort((there, own))
    own, there = own[order], there[order]
    gap = all_.wanted[there] - all_.at[own] - shift
    return _Pairs(own, there, gap, all_.by[own], np.hypot(all_.noise[own], all_.noise_there[there]))


def _starts(pairs: _Pairs) -> list[int]:
    """Pairs to believe first: those of holes with the fewest candidates, spread over the list."""
    if not len(pairs.own):
        return []
    rivals = np.bincount(pairs.own)[pairs.own]
    order = np.argsort(rivals, kind="stable")
    clear = order[: max(_STARTS, int((rivals == 1).sum()))]
    return [int(n) for n in clear[np.unique(np.linspace(0, len(clear) - 1, _STARTS).astype(int))]]


def _ways(pairs: _Pairs) -> list[Indices]:
    """Sets of pairs that hold together, from the map as it is and from each start that is in none so far."""
    ways = [_follow(pairs, None)]
    seen = np.zeros(len(pairs.own), dtype=np.bool_)
    for first in _starts(pairs):
        seen[ways[-1]] = True
        if not seen[first]:
            ways.append(_follow(pairs, first))
            seen[first] = True
    return ways


def _follow(pairs: _Pairs, first: int | None) -> Indices:
    """Pairs that hold together when ``first`` is believed (None: the map as it is), in rising order."""
    if not len(pairs.own):
        return np.zeros(0, dtype=np.intp)
    chosen = np.zeros(0, dtype=np.intp) if first is None else np.array([first])
    for _ in range(_ROUNDS):
        found, left = _solved(pairs, chosen)
        miss = np.hypot(*(pairs.gap - pairs.by @ found).T)
        unsure = ((pairs.by @ left) ** 2).sum(axis=(1, 2)) / 2
        again = _mutual(pairs, miss, miss < _CLOSE * np.sqrt(pairs.noise**2 + unsure))
        if np.array_equal(again, chosen):
            break
        chosen = again
    return chosen


def _solved(pairs: _Pairs, chosen: Indices) -> tuple[Floats, Floats]:
    """The unknowns, shape (z,), from pairs, and a root of their covariance, shape (z, z)."""
    count = pairs.by.shape[2]
    slope = (pairs.by[chosen] / pairs.noise[chosen, None, None]).reshape(-1, count)
    gap = (pairs.gap[chosen] / pairs.noise[chosen, None]).ravel()
    covariance = np.linalg.inv(np.eye(count) + slope.T @ slope)
    return covariance @ slope.T @ gap, np.asarray(np.linalg.cholesky(covariance))


def _mutual(pairs: _Pairs, miss: Floats, close: NDArray[np.bool_]) -> Indices:
    """Pairs of which each is the other's nearest."""
    order = np.flatnonzero(close)
    order = order[np.argsort(miss[order], kind="stable")][::-1]  # the nearest is written last
    nearest_of_own, nearest_of_there = (
        np.full(int(numbers.max()) + 1, -1) for numbers in (pairs.own, pairs.there)
    )
    nearest_of_own[pairs.own[order]] = order
    nearest_of_there[pairs.there[order]] = order
    both = (nearest_of_own[pairs.own] == nearest_of_there[pairs.there]) & close
    return np.flatnonzero(both & (nearest_of_own[pairs.own] == np.arange(len(miss))))


def _overlapping(points: Floats, others: Floats) -> int:
    """How many points lie within the bounding box of others."""
    low, high = others.min(axis=0) - UNMODELLED, others.max(axis=0) + UNMODELLED
    return int(((points >= low) & (points <= high)).all(axis=1).sum())


def _by_chance(all_: _Everything, pairs: _Pairs) -> float:
    """Pairs that lie close by chance: the other list's density round each hole times what counts as close."""
    tree = shapely.STRtree(shapely.points(all_.wanted))
    own, _ = tree.query(shapely.points(all_.at), predicate="dwithin", distance=_FAR)
    around = np.bincount(own, minlength=len(all_.at)) / (np.pi * _FAR**2)
    noise = float(np.median(pairs.noise)) if len(pairs.noise) else 0.0
    return float(around.sum() * np.pi * (_CLOSE * noise) ** 2)


def _shifts(all_: _Everything, pairs: _Pairs, best: Indices) -> list[Floats]:
    """Shifts, mm, that bring many holes together, other than the best pairs have: peaks of differences."""
    tree = shapely.STRtree(shapely.points(all_.wanted))
    own, there = tree.query(shapely.points(all_.at), predicate="dwithin", distance=_FAR)
    gap = all_.wanted[there] - all_.at[own]
    known = pairs.gap[best].mean(axis=0) if len(best) else np.zeros(2)
    gap = gap[np.hypot(*(gap - known).T) > _ANOTHER]
    edges = np.arange(-_FAR - _CELL / 2, _FAR + _CELL, _CELL)
    counts, _, _ = np.histogram2d(gap[:, 0], gap[:, 1], bins=[edges, edges])
    padded = np.pad(counts, 1)
    reach = range(3)
    blurred = np.zeros_like(counts)
    for i in reach:
        for j in reach:
            blurred += padded[i : i + len(counts), j : j + len(counts)]
    found = []
    for _ in range(_SHIFTS):
        row, column = np.unravel_index(int(np.argmax(blurred)), blurred.shape)
        if blurred[row, column] < 3:
            break
        found.append(np.array([edges[row], edges[column]]) + _CELL / 2)
        blurred[max(0, row - 2) : row + 3, max(0, column - 2) : column + 3] = 0
    return found
