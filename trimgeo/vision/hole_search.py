"""Where the rim of a hole and of its ring lie, roughly: all sizes tried on the profile about each centre.

What holes show and what rings are made of is known from the clear ones (`hole_colours`): the profile of
a hole is then known but for two radii and what lies beyond, and the square sums of all pairs of
radii are four products of matrices.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.hole_fit import AXES, Disc, Fit, Scene
from trimgeo.vision.subpixel import blurred_discs

Floats = NDArray[np.float64]

_DIRECTIONS = 32
_FINE = 0.5
"""Pixels from one place of a profile to the next."""
_BEYOND = 4.0
"""Pixels outside of a ring or a bare rim that tell what lies there."""
_WIDTHS = (1.5, 2.1, 3.0, 4.2, 5.8, 8.0, 11.0, 15.0)
"""Pixels: widths of rings that are tried; a fit moves them."""
_WORSE = 2.0
"""A pair of radii whose profile is off by so many times more than the best one's is not fitted."""
_FAINT = 14.0
"""Grey levels by which a hole differs from what lies around it."""
_UNLIKE = 0.12
"""Share of the contrast by which a profile may be off for its centre to be one of a hole."""
_UNEVEN = 0.06
"""Share by which what holes show may be brighter or darker than the usual opening or the ground."""
_NEARER = 0.7
"""Share of the greatest step from an opening that the middle of the smallest hole keeps of it."""
_CHUNK = 256


def searched(
    scene: Scene, spots: Floats, opening: Floats, ground: Floats | None, limits: tuple[float, float]
) -> list[list[Fit]]:
    """For each spot (column, row, radius of its widest contour) up to three fits to begin with.

    ``opening`` is the colour (blue, green, red) that a hole shows, ``ground`` what lies beside the board;
    ``limits``, pixels, are the radius of the smallest hole and the width of the widest ring.
    """
    found: list[list[Fit]] = []
    order = np.argsort(spots[:, 2], kind="stable")
    for a in range(0, len(order), _CHUNK):
        which = order[a : a + _CHUNK]
        reach = float(spots[which, 2].max()) + limits[1] + _BEYOND + 1
        profiles = _profiles(scene, spots[which, :2], reach)
        openings = _openings(scene, spots[which, :2], profiles, opening, ground)
        likely = _open(profiles, openings)
        if not likely.any():
            continue
        found += _best(scene, spots[which[likely]], profiles[likely], openings[likely], limits)
    return _once(found)


def _once(found: list[list[Fit]]) -> list[list[Fit]]:
    """Of centres with the same starts next to each other only the one whose profile is the likeliest."""
    order = sorted((n for n, each in enumerate(found) if each), key=lambda n: (found[n][0].disc.misfit, n))
    kept: list[list[Fit]] = []
    at, sizes = np.zeros((len(order), 2)), np.zeros(len(order))
    for n in order:
        first = min(found[n], key=lambda fit: fit.disc.misfit).disc
        off = np.hypot(*(at[: len(kept)] - first.centre).T)
        radius = first.radius
        near = (off < 0.25 * radius + 0.5) & (np.abs(np.log(sizes[: len(kept)] / radius)) < 0.2)
        if near.any():
            continue
        at[len(kept)], sizes[len(kept)] = first.centre, radius
        kept.append(found[n])
    return kept


def _profiles(scene: Scene, at: Floats, reach: float) -> Floats:
    """Median colours, (n, places, 3), in channels of the fit, by the distance from each centre.

    Where walls are seen, only of the sector towards the camera's foot, where the opening meets the near rim.
    """
    shift = scene.walls.shift(at)
    aside = np.hypot(*shift.T) > 0.4
    turn = np.where(aside, np.arctan2(shift[:, 1], shift[:, 0]), 0.0)
    open_by = np.where(aside, np.pi / 4, np.pi * (1 - 1 / _DIRECTIONS))
    angles = turn[:, None] + np.linspace(-1, 1, _DIRECTIONS) * open_by[:, None]
    along = np.arange(0, reach, _FINE)
    x = (at[:, 0, None, None] + np.cos(angles)[..., None] * along).astype(np.float32)
    y = (at[:, 1, None, None] + np.sin(angles)[..., None] * along).astype(np.float32)
    flat = (len(at) * _DIRECTIONS, len(along))
    rows = [
        cv2.remap(scene.pixels, x.reshape(flat)[k : k + 8192], y.reshape(flat)[k : k + 8192],
                  cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for k in range(0, flat[0], 8192)
    ]  # fmt: skip
    polar = np.vstack(rows).reshape(len(at), _DIRECTIONS, len(along), 3)
    return np.asarray(np.median(polar, axis=1) @ AXES.T, dtype=np.float64)


def _open(profiles: Floats, openings: Floats) -> NDArray[np.bool_]:
    """Whether what is seen about each centre is nearer to an opening than what lies around."""
    off = np.linalg.norm(profiles @ np.linalg.inv(AXES).T - openings[:, None], axis=2)
    return np.asarray(off[:, :3].min(axis=1) < _NEARER * off.max(axis=1))


def _openings(scene: Scene, at: Floats, profiles: Floats, opening: Floats, ground: Floats | None) -> Floats:
    """What a hole at each centre would show, (n, 3): near the board's edge more light falls on the ground."""
    usual = np.tile(opening, (len(profiles), 1))
    if ground is None or scene.walls.share > 0:
        return usual
    light = np.ones(len(at)) if scene.gain is None else np.array([scene.gain.at(each) for each in at])
    middle = profiles[:, :3].mean(axis=1) @ np.linalg.inv(AXES).T / light[:, None]
    share = middle @ opening / (opening @ opening)
    most = float(ground @ opening / (opening @ opening))
    lit = (share > min(1.0, most) - _UNEVEN) & (share < max(1.0, most) + _UNEVEN)
    lit &= np.linalg.norm(middle - share[:, None] * opening, axis=1) < _FAINT
    if scene.metal is not None:  # the middle of a small hole is mixed with its ring, up to that alone
        way = scene.metal - opening
        mixed = np.clip((middle - opening) @ way / max(float(way @ way), 1e-9), 0.0, 1.1)
        lit &= np.linalg.norm(middle - opening - mixed[:, None] * way, axis=1) > _FAINT
    usual[lit] *= share[lit, None]
    return usual


def _pairs(least: float, most: float, widest: float, ringed: bool) -> Floats:
    """Radii of holes and of what lies around them, (n, 2), pixels; twice the same for a bare hole."""
    radii = [least]
    while radii[-1] < most + 2:
        radii.append(radii[-1] + max(0.3, 0.05 * radii[-1]))
    widths = [0.0, *(w for w in _WIDTHS if w <= widest)] if ringed else [0.0]
    return np.array([(r, r + w) for r in radii for w in widths])


def _best(
    scene: Scene, spots: Floats, profiles: Floats, openings: Floats, limits: tuple[float, float]
) -> list[list[Fit]]:
    pairs = _pairs(0.65 * limits[0], float(spots[:, 2].max()), limits[1], scene.metal is not None)
    sums, beyond = _square_sums(scene, pairs, profiles, openings)
    # Within a hole all is like its middle: what lies beyond a bare rim must not be.
    step = np.linalg.norm(beyond - openings[:, None], axis=2)
    fits = pairs[None, :, 0] <= spots[:, 2, None] + 2.0  # no hole is wider than what was seen of it
    most = np.where(fits, step, 0.0).max(axis=1, keepdims=True)
    sums[(step < np.maximum(_FAINT, 0.3 * most)) & (pairs[:, 0] == pairs[:, 1])] = np.inf
    sums[~fits] = np.inf
    widths = pairs[:, 1] - pairs[:, 0]
    rows = np.arange(len(spots))
    best = np.argmin(sums, axis=1)
    least = np.maximum(sums[rows, best], 4.0 + (0.03 * step[rows, best]) ** 2)
    begun: list[list[Fit]] = [[] for _ in rows]
    for kind in (widths == 0, (widths > 0) & (widths < 3.5), widths >= 3.5):
        if not kind.any():
            continue
        those = np.flatnonzero(kind)
        k = those[np.argmin(sums[:, those], axis=1)]
        beside = beyond[rows, k] if scene.metal is None or kind[0] else np.tile(scene.metal, (len(rows), 1))
        contrast = np.maximum(np.linalg.norm(openings - beside, axis=1), step[rows, k])
        off = sums[rows, k]
        good = (off <= _WORSE**2 * least) & (np.sqrt(off) <= _UNLIKE * contrast)
        good &= pairs[k, 0] > pairs[0, 0]  # smaller than any hole
        for row in np.flatnonzero(good).tolist():
            radius, rim = pairs[k[row]].tolist()
            at, ring = (float(spots[row, 0]), float(spots[row, 1])), rim if rim > radius else None
            disc = Disc(at, radius, ring, (1.0, 1.5), misfit=float(off[row]))
            begun[row].append(Fit(disc, openings[row], beside[row], beyond[row, k[row]], 1.0, ring))
    return begun


def _square_sums(scene: Scene, pairs: Floats, profiles: Floats, openings: Floats) -> tuple[Floats, Floats]:
    """Squares by which profiles are off each pair of radii, (n, pairs), and what lies beyond it."""
    places = np.arange(profiles.shape[1]) * _FINE
    use = (places[None] <= pairs[:, 1, None] + _BEYOND) * (places[None] + 1.0)
    use /= use.sum(axis=1, keepdims=True)
    sums = np.zeros((len(profiles), len(pairs)))
    beyond = np.zeros((*sums.shape, 3))
    blurs = (1.2, 2.0) if scene.blurs is None else scene.blurs
    along = np.tile(places, (len(pairs), 1))
    for c in range(3):
        if c < 2:
            blur = np.full((len(pairs), 1), float(np.hypot(blurs[c], 0.35)))
            inner, outer = (blurred_discs(along, pairs[:, k, None], blur)[0] for k in (0, 1))
            rest = 1 - outer
            weight = (use * rest**2).sum(axis=1)
        # The square sum about a model that is linear in what a hole shows: products of matrices.
        level, shown = (openings @ AXES[c])[:, None], profiles[..., c]
        metal = (
            np.zeros_like(inner) if scene.metal is None else float(scene.metal @ AXES[c]) * (outer - inner)
        )
        squares = (use * metal**2).sum(axis=1) + level**2 * (use * inner**2).sum(axis=1)
        squares = squares + 2 * level * (use * inner * metal).sum(axis=1)
        off = shown**2 @ use.T - 2 * (shown @ (use * metal).T + level * (shown @ (use * inner).T)) + squares
        pull = shown @ (use * rest).T - (use * rest * metal).sum(axis=1)
        pull = pull - level * (use * rest * inner).sum(axis=1)
        sums += np.maximum(off - pull**2 / weight, 0.0)
        beyond[..., c] = pull / weight
    return sums, beyond @ np.linalg.inv(AXES).T
