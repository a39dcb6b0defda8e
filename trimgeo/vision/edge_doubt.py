"""How far a found edge may be off: from what its pixels still say against it."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.vision.edge_joints import Joint
from trimgeo.vision.edge_measured import BLURS, CORNERS
from trimgeo.vision.edge_profile import Sight, edge_offsets

Floats = NDArray[np.float64]

_STEP = 0.1
"""Distance, mm, of the places at which the found edge is measured once more."""
_LONG = 0.9
"""Length, mm, over which the edge must lie off its piece to count: noise and print beside it are shorter."""
_AT_CORNER = 0.5
"""Distance, mm, from a vertex within which profiles across one side see the other."""
_ODD = 0.3
"""Measured edge further than this, mm, from the outline that is given is warned of."""
_UNSEEN, _BLIND = 2.5, 0.3
"""Where no edge shows for 2.5 mm along the outline it may lie off by 0.3 mm: profiles reach no further."""
_EXPLAINED = 0.5
"""Share of a profile's variation that its steps explain where it is measured."""


@dataclass(frozen=True)
class Doubt:
    """``off``: how far, mm, the worst place ``at`` (2,) may lie off; ``odd`` (k, 2): places to look at."""

    off: float
    at: Floats
    odd: Floats


def doubt_of(
    sight: Sight,
    vertices: Floats,
    outline: Floats,
    joints: list[Joint],
    ring: Floats,
    closed: shapely.Geometry,
) -> Doubt:
    """What the pixels say against an outline, (n, 2) points: beside its pieces, at its joints, off it.

    ``ring`` (m, 2) is the edge as it was measured place by place, ``closed`` the detours that were found to
    be none.
    """
    sharp = shapely.MultiPoint(vertices[:, :2])
    along, off = _offsets_along(sight, outline, sharp)
    beside = np.abs(np.nan_to_num(_smoothed(off)))
    beside = np.maximum(beside, _unseen(off, shapely.distance(closed, shapely.points(along)) < 0.5))
    edge = shapely.LinearRing(outline)
    points = shapely.points(ring)
    away = shapely.distance(edge, points)
    away[shapely.distance(sharp, points) < _AT_CORNER] = 0.0
    away[shapely.distance(closed, points) < 0.5] = 0.0
    away = _smoothed(away)
    apart = _apart(along, ring, sight.blur)
    apart[shapely.distance(closed, shapely.points(along)) < 0.5] = 0.0
    middles = np.array([joint.points.mean(axis=0) for joint in joints]).reshape(-1, 2)
    gaps = np.array([joint.gap for joint in joints])
    # No more is open than how far the measured edge lies off, and what is not judged next to a corner.
    open_ = np.maximum([joint.spread for joint in joints], 0.5 * gaps)
    corners = np.minimum(open_, _AT_CORNER + _most_within(ring, away, middles, open_))
    worst = [
        (float(each.max()), at[int(np.argmax(each))])
        for each, at in ((beside, along), (away, ring), (apart, along), (corners, middles))
        if len(each)
    ]
    off_most, at = max(worst, key=lambda each: each[0])
    odd = np.vstack(
        [
            along[_starts(beside > _ODD)],
            ring[_starts(away > _ODD)],
            along[_starts(apart > 0)],
            middles[gaps > 1.0],
        ]
    )
    return Doubt(off_most, at, odd)


def _most_within(ring: Floats, away: Floats, middles: Floats, reach: Floats) -> Floats:
    """The most that the measured edge lies off the outline within reach of places, (k,)."""
    far = np.hypot(*(ring[:, None] - middles).transpose(2, 0, 1))
    return np.asarray(
        np.where(far < reach + _LONG, np.nan_to_num(away)[:, None], 0.0).max(axis=0, initial=0.0)
    )


def _apart(along: Floats, ring: Floats, blur: float) -> Floats:
    """How far places on the outline lie from the measured edge, (n,); 0 where a corner's blur explains it."""
    far = np.asarray(shapely.distance(shapely.LinearRing(ring), shapely.points(along)))
    far = np.min([np.roll(far, k) for k in (-1, 0, 1)], axis=0)
    return np.where(far > CORNERS + BLURS * blur, far, 0.0)


def _offsets_along(sight: Sight, outline: Floats, sharp: shapely.Geometry) -> tuple[Floats, Floats]:
    """Places along the outline and how far the edge lies off each; NaN where it does not show."""
    closed = np.vstack([outline, outline[:1]])
    places, normals = [], []
    for begin, end in itertools.pairwise(closed):
        length = float(np.hypot(*(end - begin)))
        if length < 1e-6:
            continue
        way = (end - begin) / length
        at = begin + (np.arange(max(1, round(length / _STEP))) + 0.5)[:, None] * (end - begin) / max(
            1, round(length / _STEP)
        )
        places.append(at)
        normals.append(np.broadcast_to([way[1], -way[0]], at.shape))
    along, across = np.vstack(places), np.vstack(normals)
    offsets, shares = edge_offsets(sight, along, across, 0.5)
    near = shapely.distance(sharp, shapely.points(along)) < _AT_CORNER
    return along, np.where((shares > _EXPLAINED) & ~near, offsets, np.nan)


def _unseen(off: Floats, parts: NDArray[np.bool_]) -> Floats:
    """`_BLIND` where the edge shows nowhere for `_UNSEEN` and no part hides it: a piece may be wrong."""
    hidden = np.isnan(off) & ~parts
    count = round(_UNSEEN / _STEP)
    long = np.all([np.roll(hidden, -k) for k in range(count)], axis=0)
    return np.where(np.any([np.roll(long, k) for k in range(count)], axis=0), _BLIND, 0.0)


def _smoothed(values: Floats) -> Floats:
    """Medians over `_LONG`; NaN where fewer than half are known."""
    half = round(_LONG / _STEP / 2)
    around = np.array([np.roll(values, k) for k in range(-half, half + 1)])
    known = np.isfinite(around).mean(axis=0) >= 0.5
    middle = np.nanmedian(np.where(known, around, 0.0), axis=0)
    return np.where(known, middle, np.nan)


def _starts(flags: NDArray[np.bool_]) -> NDArray[np.int64]:
    return np.flatnonzero(flags & ~np.roll(flags, 1))
