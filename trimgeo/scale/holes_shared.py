"""A registration by points refined on the drill holes that both pictures show."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trimgeo.errors import quoted
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.determined import names
from trimgeo.scale.holes_matched import APART, UNMODELLED, Holes, matched
from trimgeo.scale.like import Registered, excess, padded, rigid, scaled_uncertainty, shared
from trimgeo.scale.registration import Adjusted, Spots, adjusted, moved, wandering, weights

Floats = NDArray[np.float64]

_LEAST = 4
"""Holes that refine a map; a chance match of so many within a few hundredths of a mm is rare."""
_TOGETHER = 0.025
"""Standard uncertainty, mm each way, by which all holes of one picture are off together: a layer is
registered to the drilling as a whole (half of what single holes may be off)."""
_LOOSE = 1.0
"""mm: how far a map from two or three points may be wrong where neither they nor the holes say: a view
that was taken for square and is tilted by a few degrees."""
_ROUNDS = 8
_MEDIAN = 1.1774
"""Median of the length of two independent standard normal numbers: sqrt(2 ln 2) (Rayleigh)."""
_STRAY = 4.0
"""Standard uncertainties beyond which a hole is taken out."""
_MISREAD = 5.0
"""Standard uncertainties of reading beyond which a point is taken out, and told."""
_AT_THE_RIM = 1.5
"""A misfit that moves neighbours together is larger at the rim than its rms over the holes: with this factor
the bound of 200 simulated views through unknown lenses held in 193, without it in 189."""
_COMMON = 0.2
"""Share of the misses that an unknown lens may move together though reading alone would explain them: the
bound of 100 simulated views through unknown lenses held in all, without it in 96."""
_BENT = 2.0
"""Misses of holes so many times what is expected say that no such map fits: a lens, a bent board."""


@dataclass(frozen=True, eq=False)
class Refined:
    """A registration on points and holes: ``count`` holes (0: not refined, the points' map is kept).

    ``residual_rms``, mm, is that of the holes; ``note`` and ``warnings`` replace those of the points.
    ``own`` and ``there``, shape (count, 2), are the holes' pixels in both pictures.
    """

    to_board: PlaneMap
    count: int
    residual_rms: float | None
    own: Floats
    there: Floats
    note: str
    warnings: tuple[str, ...]


def refined(points: Registered, own: Holes, other: PlaneMap, there: Holes, like: str) -> Refined:
    """The registration ``points`` on view ``like`` (map ``other``) refined on holes found in both pictures.

    Holes are matched without being listed (`holes_matched.matched`), then points and holes are adjusted
    together, each by its own reading: a perspective map for a view without a scale of its own, a turn and a
    shift for a placed one.  Holes and points that stray are taken out; points that do are told.

    Covariance as in `scaled_like` and `placed_like`, and besides: `_TOGETHER`; and where the holes miss by
    more than expected, the excess as an unknown change of the map, because a lens moves neighbours together.
    Refuses nothing: where holes do not settle it, the points' map is kept, and ``note`` says so.

    >>> from trimgeo.scale.like import scaled_like
    >>> other = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> corners, holes = np.array([[0.0, 0], [990, 5], [1000, 800], [0, 800]]), np.random.RandomState(0)
    >>> words = {"shows": "top", "size": (1001, 801), "like": "top", "where": "points"}
    >>> points = scaled_like(corners.round(), corners + [3, 1], other, **words)  # a little misread
    >>> pixels = holes.uniform(0, 800, (12, 2))
    >>> seen = Holes(pixels, np.full(12, 0.1), np.full(12, 1.0))
    >>> found = refined(points, seen, other, seen, "top")
    >>> found.count, round(float(found.to_board.to_mm([[400.0, 400.0]])[0, 0]), 2)
    (12, 40.0)
    """
    loose = wandering(points.to_board, own.pixels, "perspective", UNMODELLED) if len(own.pixels) > 1 else None
    unknown = _root(points.relative.covariance)
    unknown = unknown if loose is None else np.column_stack([unknown, loose])
    found = matched(points.to_board, unknown, own, other, there, _LEAST)
    if not len(found.own):
        fix = "read the points again in both pictures; it is not refined on holes"
        doubt = (f"{found.refusal}: {fix}",) if found.doubt else ()
        return _kept(points, found.refusal, doubt)
    ours, theirs = own.pixels[found.own], there.pixels[found.there]
    apart = np.full(len(ours), APART)
    holes = Spots(ours, theirs, own.sd[found.own], there.sd[found.there], apart)
    return _settled(points, holes, other, like)


def _kept(points: Registered, why: str, warnings: tuple[str, ...] = ()) -> Refined:
    note, none = f"{points.note}; not refined on holes: {why}", np.zeros((0, 2))
    return Refined(points.to_board, 0, None, none, none, note, (*points.warnings, *warnings))


def _settled(points: Registered, holes: Spots, other: PlaneMap, like: str) -> Refined:
    """Points and holes adjusted together, without those that stray."""
    spots, count = points.spots.joined(holes), len(points.spots.pixels)
    kept = np.ones(len(spots.pixels), dtype=np.bool_)
    for _ in range(_ROUNDS):
        found, motion = _fitted(points, spots.chosen(kept), other)
        misses = found.to_board.to_mm(spots.pixels) - other.to_mm(spots.there)
        whitened = np.hypot(*np.einsum("nij,nj->ni", weights(found.to_board, spots, other), misses).T)
        usual = max(1.0, float(np.median(whitened[count:])) / _MEDIAN)
        again = whitened < usual * np.where(np.arange(len(whitened)) < count, _MISREAD, _STRAY)
        if np.array_equal(again, kept):
            break
        kept = again
    chosen = np.flatnonzero(kept[count:]) + count
    if len(chosen) < _LEAST or not kept[count:].sum() > len(holes.pixels) / 2:
        return _kept(points, f"only {len(chosen)} of {len(holes.pixels)} holes agree on one map")
    to_board, ratio = _worth(points, found, motion, other)
    rms = float(np.sqrt((misses[chosen] ** 2).sum(axis=1).mean()))
    note = (
        f"{points.note}; refined on {len(chosen)} holes that both pictures show, residuals {rms:.3f} mm rms"
    )
    return Refined(
        to_board,
        len(chosen),
        rms,
        spots.pixels[chosen],
        spots.there[chosen],
        note,
        (
            *_told_strays(np.flatnonzero(~kept[:count]), misses),
            *_told_bend(ratio, rms, like, points.kind == "rigid"),
        ),
    )


def _told_strays(strays: NDArray[np.intp], misses: Floats) -> tuple[str, ...]:
    return tuple(
        f"point {names([int(n)])} lies {np.hypot(*misses[n]):.2f} mm from where the holes put it, and is "
        "left out: read it again in both pictures"
        for n in strays
    )


def _told_bend(ratio: float, rms: float, like: str, both_scaled: bool) -> tuple[str, ...]:
    if ratio <= _BENT:
        return ()
    cause = (
        "the scales of both views do not agree, or a board is bent: check the scale of both"
        if both_scaled
        else "a lens or a bent board is why: a scale of its own is better"
    )
    return (
        f"its holes miss those of view {quoted(like)} by {rms:.3f} mm rms, {ratio:.1f} times what is expected"
        f", and the uncertainty is widened; {cause}",
    )


def _fitted(points: Registered, spots: Spots, other: PlaneMap) -> tuple[Adjusted, Floats | None]:
    """The adjustment, and for a placed view the motion of its own map."""
    if points.scaled is None:
        return adjusted(points.to_board, spots, other, "perspective", _LOOSE), None
    return rigid(points.scaled, spots, other)


def _worth(
    points: Registered, found: Adjusted, motion: Floats | None, other: PlaneMap
) -> tuple[PlaneMap, float]:
    """The map with its whole covariance, and by how much the misses exceed what is expected."""
    if points.scaled is None or motion is None:
        covariance, ratio = found.by_reading(), excess(found)
    else:
        covariance = scaled_uncertainty(found, points.scaled, motion)
        own = moved(points.scaled, motion), found.spots.pixels
        ratio = excess(found, (own, (other, found.spots.there)))
    swell = max(1.0, ratio)
    pixels = found.spots.pixels
    beyond = np.sqrt((found.misses**2).sum() / max(found.free, 1) * _unlike(points, swell))
    covariance = covariance * swell**2 + padded(shared(found, other), covariance)
    together = wandering(found.to_board, pixels, "rigid", _TOGETHER)[:, 1:]  # the shifts, not the turn
    covariance += together @ together.T
    if beyond > 0:
        bent = wandering(found.to_board, pixels, "perspective", _AT_THE_RIM * float(beyond))
        covariance += bent @ bent.T
    return replace(found.to_board, covariance=covariance), ratio


def _unlike(points: Registered, swell: float) -> float:
    """The share of the squared misses that may move neighbours together: what exceeds the reading.

    Of a picture without a scale of its own at least `_COMMON` of the misses: its lens is unknown, and many
    spots must not make a bound narrow that a lens bends.
    """
    exceeds = 1 - swell**-2
    return exceeds if points.scaled is not None else max(exceeds, _COMMON**2)


def _root(covariance: Floats) -> Floats:
    """A with A A' = covariance, through correlations: the entries' sizes differ by many powers of ten."""
    each = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    safe = np.where(each > 0, each, 1.0)
    spread, axes = np.linalg.eigh(covariance / np.outer(safe, safe))
    return np.asarray(each[:, None] * axes * np.sqrt(np.maximum(spread, 0.0)))
