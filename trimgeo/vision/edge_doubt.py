"""How far a found edge may be off: from what its pixels still say against it."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.vision.edge_joints import Joint
from trimgeo.vision.edge_measured import BLURS, CORNERS
from trimgeo.vision.edge_profile import Sight, edge_offsets, off_sampled, sampled, tones_at, wall_widths

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
_SIDE, _NEAR, _ONE_WAY, _JUMP = 2.0, 3.0, 0.998, 0.8
"""Straight sides longer than this, mm, this near to each other and of one way (cosine) are one; if it jumps
by less than this, mm, that is none of the board's."""
_STEPLESS, _PRINT, _HIDDEN = 12.0, 0.4, 1.0
"""Grey levels that are no step, by what share of the paper print changes there, and the length, mm, along
which it does though no step shows."""
_PRINTED, _BARE = 16.0, 1.5
"""Grey levels off the known print up to which it is seen, and the length, mm, along which it is seen on both
sides of an outline."""
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
    along, across, off = _offsets_along(sight, outline, sharp)
    beside = np.abs(np.nan_to_num(_smoothed(off)))
    beside = np.maximum(beside, _unseen(off, shapely.distance(closed, shapely.points(along)) < 0.5))
    beside[_follows_print(sight, along, across)] = np.inf
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
    worst += jogs(vertices)
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


def jogs(vertices: Floats) -> list[tuple[float, Floats]]:
    """By how much an outline's straight sides jump, and where: one of both may follow a part or a shadow.

    ``vertices`` (x, y, bulge), (n, 3).  Nobody saws a side that goes on a few tenths of a mm beside itself.

    >>> side = np.array([[0, 0, 0], [10, 0, 0], [10.3, 0.4, 0], [20, 0.4, 0], [20, 9, 0], [0, 9, 0.0]])
    >>> [(round(off, 2), at.tolist()) for off, at in jogs(side)]
    [(0.4, [10.3, 0.4])]
    """
    ways = np.roll(vertices[:, :2], -1, axis=0) - vertices[:, :2]
    lengths = np.hypot(*ways.T)
    long = np.flatnonzero((vertices[:, 2] == 0) & (lengths > _SIDE))
    found = []
    for n, m in zip(long, np.roll(long, -1), strict=True):
        u, v = ways[n] / lengths[n], ways[m] / lengths[m]
        between = vertices[m, :2] - vertices[n, :2] - ways[n]
        jump = max(abs(float(w[0] * between[1] - w[1] * between[0])) for w in (u, v))
        if float(u @ v) > _ONE_WAY and np.hypot(*between) < _NEAR and jump < _JUMP:
            found.append((jump, vertices[m, :2]))
    return found


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


def _offsets_along(sight: Sight, outline: Floats, sharp: shapely.Geometry) -> tuple[Floats, Floats, Floats]:
    """Places along the outline, normals, and how far the edge lies off each; NaN where it does not show."""
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
    return along, across, np.where((shares > _EXPLAINED) & ~near, offsets, np.nan)


def _follows_print(sight: Sight, along: Floats, across: Floats) -> NDArray[np.bool_]:
    """Where the outline goes along an edge of the known print, (n,): a hidden one, or the print's own.

    What hides it is the board's, on both sides; how far it goes on nobody can tell where it is of the
    print's colour. Where the print is seen on both sides, no board is.
    """
    if sight.under is None:
        return np.zeros(len(along), bool)
    wall = wall_widths(sight, along, across)[:, None]
    beside = np.array([0.3, 0.4, 0.5])

    def sides(look: Callable[[Sight, Floats, Floats, Floats], Floats]) -> tuple[Floats, Floats]:
        inner = look(sight, along, across, -beside).mean(axis=1)
        return inner, look(sight, along + across * wall, across, beside).mean(axis=1)

    (colour, beyond), (tone, other) = sides(sampled), sides(tones_at)
    printed = np.abs(tone - other) > _PRINT
    hidden = printed & (np.linalg.norm(colour - beyond, axis=1) < _STEPLESS)
    bare = printed & (np.maximum(*sides(off_sampled)) < _PRINTED)
    return _for_long(hidden, _HIDDEN) | _for_long(bare, _BARE)


def _for_long(flags: NDArray[np.bool_], length: float) -> NDArray[np.bool_]:
    """Those places on the outline, (n,), that are flagged along with all others over ``length`` mm."""
    count = round(length / _STEP)
    long = np.all([np.roll(flags, -k) for k in range(count)], axis=0)
    return np.asarray(np.any([np.roll(long, k) for k in range(count)], axis=0))


def _unseen(off: Floats, parts: NDArray[np.bool_]) -> Floats:
    """`_BLIND` where the edge shows nowhere for `_UNSEEN` and no part hides it: a piece may be wrong."""
    return np.where(_for_long(np.isnan(off) & ~parts, _UNSEEN), _BLIND, 0.0)


def _smoothed(values: Floats) -> Floats:
    """Medians over `_LONG`; NaN where fewer than half are known."""
    half = round(_LONG / _STEP / 2)
    around = np.array([np.roll(values, k) for k in range(-half, half + 1)])
    known = np.isfinite(around).mean(axis=0) >= 0.5
    middle = np.nanmedian(np.where(known, around, 0.0), axis=0)
    return np.where(known, middle, np.nan)


def _starts(flags: NDArray[np.bool_]) -> NDArray[np.int64]:
    return np.flatnonzero(flags & ~np.roll(flags, 1))
