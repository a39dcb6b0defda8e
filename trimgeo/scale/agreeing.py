"""A height that is told wrong, seen by two photos of a board that lay still on its card.

Every eye sees a face that lies higher than was said shifted away from itself: two eyes, two shifts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.errors import quoted
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.face import Height
from trimgeo.scale.registration import Spots
from trimgeo.tables import COVERAGE_FACTOR, PIXEL_READING

Floats = NDArray[np.float64]

LEAST_TOLD: Final = 0.5
"""Heights off by less than this, mm, are not told: five standard uncertainties of reading one."""

_SURE: Final = 3.0
"""Standard uncertainties from which on a height is doubted: 3 in 1000 by chance (Gaussian)."""

_SETTLED: Final = 8
"""Coordinates of spots from which on they settle a face told by three heights: four spots."""

_MOVED: Final = 2.326
"""Standard normal quantile of 99 %: what two photos of a board that lay still miss each other by at most."""


@dataclass(frozen=True, eq=False)
class Lying:
    """A photo of a board on its card.

    ``to_card`` takes pixels to mm of the shown face, in the frame of the card and not yet placed;
    ``height`` is what was said of that face.  ``slopes`` (9 + q, p) are d(what the map's covariance is
    of)/d(parameters), with those of its height left out, and ``bent`` (p, p) what the bend of its card adds
    to their covariance.

    >>> scan = PlaneMap(np.eye(3), np.zeros((9, 9)), eye=(0.0, 0.0, 300.0))
    >>> photo = Lying("a", scan, 1.6, np.zeros((9, 1)), np.zeros((1, 1)))
    >>> photo.plane.tolist(), photo.lever(np.array([[30.0, 0.0]])).tolist()
    ([1.6, 0.0, 0.0], [[-0.1, 0.0]])
    """

    name: str
    to_card: PlaneMap
    height: Height
    slopes: Floats
    bent: Floats

    @property
    def plane(self) -> Floats:
        """The height that was said, mm, as (constant, slope in x, slope in y) of the face."""
        if not isinstance(self.height, tuple):
            return np.array([self.height, 0.0, 0.0])
        at = self.to_card.to_mm([pixel for pixel, _ in self.height])
        return np.linalg.solve(_plane_at(at), np.array([mm for _, mm in self.height]))

    def lever(self, at: Floats) -> Floats:
        """Mm by which what is seen at ``at``, shape (n, 2), moves for each mm that the face is higher."""
        assert self.to_card.eye is not None
        *below, above = self.to_card.eye
        return np.asarray((np.array(below) - at) / above)


@dataclass(frozen=True, eq=False)
class Common:
    """Spots of the board in two photos.

    Of those ``across`` only what lies across the way from the first one counts.

    >>> one = np.array([[10.0, 20.0], [500.0, 20.0]])
    >>> Common(Spots.read(one, one, 0.5), np.array([False, True])).across.tolist()
    [False, True]
    """

    spots: Spots
    across: NDArray[np.bool_]


@dataclass(frozen=True)
class Doubt:
    """By how much, mm, the shown face lies higher than was said of photo ``here``, and of photo ``there``.

    ``reach`` is the 95 % bound of either.
    """

    here: float
    there: float
    reach: float


def axis_of(here: Lying, ends: Floats, there: Lying, ends_there: Floats) -> Common:
    """The board's origin and its x axis in two photos.

    ``ends``, shape (2, 2), are the pixels of the origin and of a place on the axis.  The axis may be given at
    different places: that of the photo where it is longer is taken nearer.
    """
    told = [(one.to_card, *one.to_card.to_mm(pair)) for one, pair in ((here, ends), (there, ends_there))]
    shortest = min(float(np.hypot(*(far - origin))) for _, origin, far in told)
    pixels = [
        to_card.to_pixels([origin, origin + (far - origin) * shortest / np.hypot(*(far - origin))])
        for to_card, origin, far in told
    ]
    return Common(Spots.read(pixels[0], pixels[1], PIXEL_READING), np.array([False, True]))


def listed(spots: Spots) -> Common:
    """Spots that both photos show, all of them known in both directions."""
    return Common(spots, np.zeros(len(spots.pixels), dtype=np.bool_))


def height_doubted(here: Lying, there: Lying, common: Common, covariance: Floats) -> Doubt | None:
    """What two photos say against the height of the shown face, or None where they agree, or cannot tell.

    A face that lies x higher than was said is seen moved by (p - e)/z x, with e the eye's foot and z
    its distance; so for a board that lay still the spots of two photos miss each other by the difference of
    both (similar triangles), which is fitted by least squares with the covariance of both maps and of
    reading, ``covariance`` (p, p) being that of the parameters of their common adjustment (GUM 5.2;
    Aitken's estimator).  Where that leaves misses beyond chance the board was moved between the photos; then
    only the spots' distances speak, after the best turn and shift.  x is one number, and where both photos
    were told three heights and the spots settle it, a plane.

    >>> from dataclasses import replace
    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> def photo(x):  # straight down from 300 mm above the face as it was told
    ...     return Lying("photo", replace(scan, eye=(x, 0.0, 300.0)), 1.6, np.zeros((9, 1)), np.zeros((1, 1)))
    >>> at = np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 80.0]])
    >>> here, there = (scan.to_pixels((300 * at - [2 * x, 0]) / (300 - 2)) for x in (0, 200))  # 2 mm higher
    >>> found = height_doubted(photo(0.0), photo(200.0), listed(Spots.read(here, there, 0.5)), np.eye(1))
    >>> round(found.here, 2), round(found.there, 2), round(found.reach, 2)
    (2.0, 2.0, 0.12)
    """
    system = _system(here, there, common, covariance)
    if _as_said(here, there, system):
        return None
    settled = (
        len(system.gap) >= _SETTLED and isinstance(here.height, tuple) and isinstance(there.height, tuple)
    )
    ways = 3 if settled else 1
    still = _fitted(system, system.by_plane[:, :ways])
    if still is None or still.misfit > _most(still.free):
        ways = 1
        still = _fitted(system, np.column_stack([system.by_plane[:, :1], system.by_motion]))
        if still is None or still.misfit > _most(still.free):
            return None
    return _doubt(here, there, system, still.found[:ways], still.covariance[:ways, :ways])


def told(doubt: float, reach: float, other: str) -> str:
    """The warning for a photo whose face lies ``doubt`` mm higher than was said, by the photo ``other``.

    >>> told(-1.5, 0.42, "photo-2")[:79]
    'it and view "photo-2" agree only if the shown face lies 1.5 mm (± 0.4 mm) lower'
    """
    return (
        f"it and view {quoted(other)} agree only if the shown face lies {abs(doubt):.1f} mm "
        f"(± {reach:.1f} mm) {'higher' if doubt > 0 else 'lower'} above the card than said: measure `height` "
        "again, and look whether `place` names the same spot in both; the uncertainty is widened"
    )


@dataclass(frozen=True, eq=False)
class _System:
    """Misses of m coordinates of spots, whitened.

    ``gap`` (m,), and ``as_said`` (m,) with each photo's own height left as it was told; what a higher face
    does to them, constant and slopes of its plane: ``by_plane`` (m, 3); what a turn and a shift of the board
    do: ``by_motion`` (m, 3); ``at`` (n, 2) is where the spots lie, mm, ``middle`` (2,) their middle.
    """

    gap: Floats
    as_said: Floats
    by_plane: Floats
    by_motion: Floats
    at: Floats
    middle: Floats


@dataclass(frozen=True, eq=False)
class _Fitted:
    """Unknowns and their covariance, the sum of squares that is left, and its degrees of freedom."""

    found: Floats
    covariance: Floats
    misfit: float
    free: int


def _system(here: Lying, there: Lying, common: Common, covariance: Floats) -> _System:
    """The equations of `height_doubted`: gap = (lever there - lever here) x."""
    spots, count = common.spots, 2 * len(common.spots.pixels)
    at, wanted = here.to_card.to_mm(spots.pixels), there.to_card.to_mm(spots.there)
    apart = there.lever(wanted)
    said = _plane_at(at) @ (here.plane - there.plane)
    middle = at.mean(axis=0)
    x, y = (at - middle).T
    motion = np.stack(
        [np.column_stack([-y, x]), np.ones((len(at), 1)) * [1, 0], np.ones((len(at), 1)) * [0, 1]], 2
    )
    lifts = (apart - here.lever(at))[:, :, None] * _plane_at(at - middle)[:, None, :]
    rows = _rows(at, common.across)
    white = np.linalg.inv(np.linalg.cholesky(rows @ _spread(here, there, spots, covariance) @ rows.T)) @ rows
    gap, as_said, by_plane, by_motion = (
        white @ values.reshape(count, -1)
        for values in (at - wanted - apart * said[:, None], at - wanted, lifts, motion)
    )
    return _System(gap[:, 0], as_said[:, 0], by_plane, by_motion, at, middle)


def _spread(here: Lying, there: Lying, spots: Spots, covariance: Floats) -> Floats:
    """Covariance, shape (2 n, 2 n), of how far spots of two photos lie apart."""
    count = 2 * len(spots.pixels)
    total, each, by = np.zeros((count, count)), np.zeros((len(spots.pixels), 2, 2)), []
    for photo, pixels, sd in ((here, spots.pixels, spots.sd), (there, spots.there, spots.sd_there)):
        by.append(photo.to_card.jacobian(pixels).reshape(count, -1) @ photo.slopes)
        total += by[-1] @ photo.bent @ by[-1].T
        slopes = photo.to_card.slopes(pixels)
        each += slopes @ slopes.transpose(0, 2, 1) * sd[:, None, None] ** 2
    total += (by[0] - by[1]) @ covariance @ (by[0] - by[1]).T
    each += np.eye(2) * spots.apart[:, None, None] ** 2
    for n, own in enumerate(each):
        total[2 * n : 2 * n + 2, 2 * n : 2 * n + 2] += own
    return total


def _as_said(here: Lying, there: Lying, system: _System) -> bool:
    """Whether a board that was said to lie at different heights was just lifted, and lies where both say."""
    lifted = float(np.abs(_plane_at(system.at) @ (here.plane - there.plane)).max())
    return lifted > LEAST_TOLD and float((system.as_said**2).sum()) <= _most(len(system.gap))


def _rows(at: Floats, across: NDArray[np.bool_]) -> Floats:
    """Which coordinates count, shape (m, 2 n): both of a spot, or that across the way to it."""
    rows = []
    for n, only_across in enumerate(across):
        x, y = (at[n] - at[0]) / max(float(np.hypot(*(at[n] - at[0]))), 1e-9)
        for way in [(-y, x)] if only_across else [(1.0, 0.0), (0.0, 1.0)]:
            row = np.zeros(2 * len(at))
            row[2 * n : 2 * n + 2] = way
            rows.append(row)
    return np.array(rows)


def _fitted(system: _System, by: Floats) -> _Fitted | None:
    """Least squares of whitened misses; None where nothing checks it, or something is left open."""
    free = len(system.gap) - by.shape[1]
    if free < 1 or np.linalg.matrix_rank(by) < by.shape[1]:
        return None
    covariance = np.asarray(np.linalg.inv(by.T @ by), dtype=np.float64)
    found = covariance @ by.T @ system.gap
    return _Fitted(found, covariance, float(((system.gap - by @ found) ** 2).sum()), free)


def _doubt(here: Lying, there: Lying, system: _System, found: Floats, covariance: Floats) -> Doubt | None:
    """The height of one place, or of the spot where it is most in doubt."""
    plane = _plane_at(system.at - system.middle)[:, : len(found)]
    lifts = plane @ found
    spread = np.sqrt(np.einsum("nk,kl,nl->n", plane, covariance, plane))
    worst = int(np.argmax(np.abs(lifts) / spread))
    lift, sd = float(lifts[worst]), float(spread[worst])
    at = system.at[worst : worst + 1]
    other = lift + float((_plane_at(at) @ (here.plane - there.plane))[0])
    if max(abs(lift), abs(other)) < max(LEAST_TOLD, _SURE * sd):
        return None
    return Doubt(lift, other, COVERAGE_FACTOR * sd)


def _plane_at(at: Floats) -> Floats:
    return np.column_stack([np.ones(len(at)), at])


def _most(free: int) -> float:
    """99 % point of chi-square (Wilson and Hilferty 1931).

    >>> round(_most(2), 1), round(_most(20), 1)  # 9.2 and 37.6 in published tables
    (9.2, 37.6)
    """
    share = 2 / (9 * free)
    return float(free * (1 - share + _MOVED * np.sqrt(share)) ** 3)
