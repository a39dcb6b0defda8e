"""A scanner's displacements from one face scanned twice: least squares with what scanners are known to do.

What turning shows and what it hides.  Let e(p) be the correction of the scan at p, the same for the same
place on the glass.  A feature seen at p and, turned, at q obeys q + e(q) = R (p + e(p)) + t, whatever the
face is.  For a half turn R = -1 and q = t - p + small: e(p) + e(t - p) = t - p - q is measured, twice the
part of e that is even about t / 2, the middle of the turn.  The odd part takes itself off and hides: an
even scale, x and y apart, a skew, a cubic bend, a wave that is odd there.  So each part of e has a prior
(`turned_bends`): what is hidden keeps that as its uncertainty, what is shown has that of the patches, and
what lies between (a turn some degrees off 180, or about another middle, mixes odd and even) is in their
common covariance: a Bayesian linear model (Rasmussen and Williams 2006, 2.1).

How large is what hides?  The same carriage makes both halves: where bends of some length (a group: an
octave of one displacement) show larger than their prior, the prior of the group is widened to that size
(MacKay, Neural Computation 4, 1992: w'w over the number of well-determined weights, here with two more
of the size presumed, for a group has few), and that of the even scale or skew by the straight part that
the longest bends have at such a size.  A bend that is odd to the last about t / 2 shows nothing: there
the prior alone is the bound, 0.25 mm over 150 mm for scale and bends together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.scale.limits import SCANNER_SCALE
from trimgeo.scale.turned_bends import LOWEST, SKEW, STRAIGHT, Bends

Floats = NDArray[np.float64]

_ROUNDS: Final = 12
_BEND_ROUNDS: Final = 3
_TUKEY: Final = 4.685
"""Tukey's constant: 95 % as good as least squares where the noise is normal (Huber, Robust Statistics)."""
_PRESUMED: Final = 2.0
"""Weights of the size presumed that count beside those that a group shows."""
_BLOCK: Final = 30.0
"""mm: residuals that agree over such a block are no noise, and their mean counts for what it is."""
_LEAST_BLOCK: Final = 3
_MEDIAN_RAYLEIGH: Final = float(np.sqrt(2 * np.log(2)))
"""Median length of a plane vector with unit normal parts (Rayleigh)."""


@dataclass(frozen=True, eq=False)
class Pairs:
    """Positions of the same feature in both scans, ``first`` and ``second`` (n, 2), mm, and ``sd`` (n,), mm.

    ``modes_first`` and ``modes_second``, shape (n, 2, q), are what the modes add to the positions there.
    """

    first: Floats
    second: Floats
    sd: Floats
    modes_first: Floats
    modes_second: Floats

    def chosen(self, which: NDArray[np.bool_]) -> Pairs:
        """Only some of them."""
        return Pairs(
            self.first[which],
            self.second[which],
            self.sd[which],
            self.modes_first[which],
            self.modes_second[which],
        )


@dataclass(frozen=True, eq=False)
class Turning:
    """The second scan lies by R(angle) and ``shift`` (mm) to the first; ``weights`` (q,) of the modes.

    ``covariance`` (q, q) is that of the weights: with what the scans leave open it is as wide as what
    scanners are known to do.  ``residuals`` (n, 2), mm; ``kept`` (n,) the pairs that were believed.
    """

    angle: float
    shift: Floats
    weights: Floats
    covariance: Floats
    residuals: Floats
    kept: NDArray[np.bool_]

    def turn(self) -> Floats:
        """R, shape (2, 2)."""
        return _rotation(self.angle)


def start(angle: float, shift: tuple[float, float], modes: int) -> Turning:
    """A turning from a coarse look, degrees and mm, before any bend is known."""
    none = np.zeros(0, np.bool_)
    return Turning(np.radians(angle), np.array(shift), np.zeros(modes), np.eye(modes), np.zeros((0, 2)), none)


def posed(pairs: Pairs, begun: Turning, reach: float) -> Turning:
    """Only angle and shift, from pairs many of which may be false: those within ``reach`` mm count.

    Robust least squares (Tukey's weights) whose scale falls from ``reach`` to that of the residuals.
    """
    now, scale = begun, reach
    bare = replace(pairs, modes_first=0 * pairs.modes_first, modes_second=0 * pairs.modes_second)
    precision = np.ones(len(begun.weights))
    for _ in range(_ROUNDS):
        rest = _residuals(bare, now)
        length = np.hypot(*rest.T)
        weight = _tukey(length, scale)
        if (weight > 0).sum() < 4:
            break
        now = _solved(bare, now, weight / scale**2, precision)
        near = length[length < _TUKEY * scale]
        scale = max(0.7 * scale, min(scale, 2 * float(np.median(near))), 0.05)
    rest = _residuals(pairs, now)
    return replace(now, residuals=rest, kept=np.hypot(*rest.T) < _TUKEY * scale)


def fitted(pairs: Pairs, begun: Turning, known: Bends, floor: float) -> Turning:
    """Angle, shift and the weights of all modes, with their covariance (see above).

    ``floor`` (mm) is added to the uncertainty of each pair.  The noise is taken from the residuals, raised
    by how far they agree over blocks of 30 mm.
    """
    now, width = begun, np.ones(len(begun.weights))
    sd = np.hypot(pairs.sd, floor)
    common = 1.0
    for _ in range(_BEND_ROUNDS):
        for _ in range(_ROUNDS):
            ratio = np.hypot(*_residuals(pairs, now).T) / sd
            scale = max(1.0, float(np.median(ratio)) / _MEDIAN_RAYLEIGH)
            weight = _tukey(ratio, 1.5 * scale)
            before = now
            now = _solved(pairs, now, weight / (scale * sd) ** 2 / common, 1 / width**2)
            if np.abs(now.weights - before.weights).max(initial=0.0) < 1e-4:
                break
        rest = _residuals(pairs, now)
        kept = weight > 0
        common = _agreement(pairs.first[kept], rest[kept] / (scale * sd[kept])[:, None])
        width = _widths(now, known, width)
    now = _solved(pairs, now, weight / (scale * sd) ** 2 / common, 1 / width**2)
    return replace(now, residuals=_residuals(pairs, now), kept=kept)


def _residuals(pairs: Pairs, now: Turning) -> Floats:
    """What the pairs miss, in mm as scanned: in ideal mm a smaller scale would make every miss smaller.

    Least squares would then prefer too small a scale, which the scans themselves cannot show at all.
    """
    turn = now.turn()
    second = pairs.second + pairs.modes_second @ now.weights
    missed = second - (pairs.first + pairs.modes_first @ now.weights) @ turn.T - now.shift
    return np.asarray(missed / (1 + SCANNER_SCALE * now.weights[:2]))


def _solved(pairs: Pairs, now: Turning, weight: Floats, precision: Floats) -> Turning:
    """One Gauss-Newton step; linear but for the angle."""
    turn = now.turn()
    rest = _residuals(pairs, now)
    ideal = pairs.first + pairs.modes_first @ now.weights
    centre = (weight[:, None] * ideal).sum(axis=0) / weight.sum()
    q = len(now.weights)
    slope = np.empty((len(rest), 2, q + 3))
    slope[:, :, :q] = pairs.modes_second - turn @ pairs.modes_first
    slope[:, [0, 1], [0, 1]] -= SCANNER_SCALE * rest
    quarter = np.array([[0.0, -1.0], [1.0, 0.0]])
    slope[:, :, q] = -(ideal - centre) @ (quarter @ turn).T
    slope[:, :, q + 1 :] = -np.eye(2)
    flat, root = slope.reshape(-1, q + 3), np.repeat(weight, 2)
    normal = flat.T @ (flat * root[:, None])
    right = -flat.T @ (rest.ravel() * root)
    normal[range(q), range(q)] += precision
    right[:q] -= precision * now.weights
    # angle and shift have no prior: a tiny one keeps the matrix regular where only one place is seen
    normal[range(q, q + 3), range(q, q + 3)] += 1e-9
    step = np.linalg.solve(normal, right)
    covariance = np.linalg.inv(normal)[:q, :q]
    angle = now.angle + step[q]
    # the turn was about the centre: carry its shift over to a turn about the first pixel
    about = (turn - _rotation(angle)) @ centre
    return replace(
        now,
        angle=float(angle),
        shift=now.shift + step[q + 1 :] + about,
        weights=now.weights + step[:q],
        covariance=(covariance + covariance.T) / 2,
    )


def _tukey(length: Floats, scale: float) -> Floats:
    return np.asarray(np.maximum(1 - (length / (_TUKEY * scale)) ** 2, 0.0) ** 2)


def _agreement(at: Floats, rest: Floats) -> float:
    """By how much the mean of residuals over a block varies more than that of as many independent ones."""
    cell = np.floor(at / _BLOCK).astype(np.int64)
    _, member = np.unique(cell, axis=0, return_inverse=True)
    member = member.ravel()
    count = np.bincount(member)
    total = np.column_stack([np.bincount(member, weights=rest[:, k]) for k in (0, 1)])
    enough = count >= _LEAST_BLOCK
    if enough.sum() < 4:
        return 1.0
    return max(1.0, float((total[enough] ** 2 / count[enough, None]).mean() / (rest**2).mean()))


def _widths(now: Turning, known: Bends, width: Floats) -> Floats:
    """The standard deviation of each mode's prior: 1, or the size that its group turned out to have."""
    wider = np.ones_like(width)
    shown = np.maximum(1 - np.diag(now.covariance) / width**2, 0.0)
    excess = {}
    for number in sorted(set(known.group.tolist()) - {STRAIGHT}):
        of = known.group == number
        size = ((now.weights[of] ** 2).sum() + _PRESUMED) / (float(shown[of].sum()) + _PRESUMED)
        wider[of] = max(1.0, float(np.sqrt(size)))
        excess[number] = max(0.0, float(size) - 1.0)
    more = np.array([excess[number] for number in LOWEST]) * np.array(known.slopes) ** 2
    unit = np.array([SCANNER_SCALE, SCANNER_SCALE, SKEW])
    wider[:3] = np.sqrt(1 + np.array([more[0], more[1], more[2] + more[3]]) / unit**2)
    return wider


def _rotation(angle: float) -> Floats:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])
