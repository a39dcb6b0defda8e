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
_WORSE = 2.5
"""A pair of radii whose profile is off by so many times more than the best one's is not fitted."""
_FAINT = 14.0
"""Grey levels by which a hole differs from what lies around it."""
_UNLIKE = 0.12
"""Share of the contrast by which a profile may be off for its centre to be one of a hole."""
_CHUNK = 256


def searched(
    scene: Scene, spots: Floats, openings: Floats, metal: Floats | None, limits: tuple[float, float]
) -> list[list[Fit]]:
    """For each spot (column, row, radius of its widest contour) up to three fits to begin with.

    ``openings`` (n, 3) are the colours (blue, green, red) that a hole may show, ``metal`` that of the rings;
    ``limits``, pixels, are the radius of the smallest hole and the width of the widest ring.
    """
    found: list[list[Fit]] = [[] for _ in range(len(spots))]
    order = np.argsort(spots[:, 2], kind="stable")
    for a in range(0, len(order), _CHUNK):
        which = order[a : a + _CHUNK]
        reach = float(spots[which, 2].max()) + limits[1] + _BEYOND + 1
        profiles = _profiles(scene, spots[which, :2], reach)
        for row, begun in enumerate(_best(scene, spots[which], profiles, openings, metal, limits)):
            found[which[row]] = begun
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


def _pairs(least: float, most: float, widest: float, ringed: bool) -> Floats:
    """Radii of holes and of what lies around them, (n, 2), pixels; twice the same for a bare hole."""
    radii = [least]
    while radii[-1] < most + 2:
        radii.append(radii[-1] + max(0.3, 0.05 * radii[-1]))
    widths = [0.0, *(w for w in _WIDTHS if w <= widest)] if ringed else [0.0]
    return np.array([(r, r + w) for r in radii for w in widths])


def _best(
    scene: Scene,
    spots: Floats,
    profiles: Floats,
    openings: Floats,
    metal: Floats | None,
    limits: tuple[float, float],
) -> list[list[Fit]]:
    pairs = _pairs(0.65 * limits[0], float(spots[:, 2].max()), limits[1], metal is not None)
    places = np.arange(profiles.shape[1]) * _FINE
    use = (places[None] <= pairs[:, 1, None] + _BEYOND) * (places[None] + 1.0)
    use /= use.sum(axis=1, keepdims=True)
    sums = np.full((len(openings), len(spots), len(pairs)), 0.0)
    beyond = np.zeros((len(openings), len(spots), len(pairs), 3))
    blurs = (1.2, 2.0) if scene.blurs is None else scene.blurs
    for c in range(3):
        blur = np.full((len(pairs), 1), float(np.hypot(blurs[min(c, 1)], 0.35)))
        inner = blurred_discs(np.tile(places, (len(pairs), 1)), pairs[:, :1], blur)[0]
        outer = blurred_discs(np.tile(places, (len(pairs), 1)), pairs[:, 1:], blur)[0]
        rest = 1 - outer
        squares, weight = profiles[..., c] ** 2 @ use.T, (use * rest**2).sum(axis=1)
        for n, opening in enumerate(openings @ AXES.T):
            model = opening[c] * inner
            if metal is not None:
                model = model + float(metal @ AXES[c]) * (outer - inner)
            off = squares - 2 * profiles[..., c] @ (use * model).T + (use * model**2).sum(axis=1)
            pull = profiles[..., c] @ (use * rest).T - (use * rest * model).sum(axis=1)
            sums[n] += np.maximum(off - pull**2 / weight, 0.0)
            beyond[n, ..., c] = pull / weight
    # Within a hole all is like its middle: what lies beyond a bare rim must not be.
    step = np.linalg.norm((beyond @ np.linalg.inv(AXES).T) - openings[:, None, None], axis=3)
    most = np.where(pairs[None, :, 0] <= spots[:, 2, None] + 2.0, step, 0.0).max(axis=2, keepdims=True)
    sums[(step < np.maximum(_FAINT, 0.3 * most)) & (pairs[:, 0] == pairs[:, 1])] = np.inf
    # A hole may not be wider than what was seen of it, nor its ring than rings are.
    sums[:, pairs[None, :, 0] > spots[:, 2, None] + 2.0] = np.inf
    return [
        _begun(spots[row], pairs, sums[:, row], beyond[:, row], openings, metal) for row in range(len(spots))
    ]


def _begun(
    spot: Floats, pairs: Floats, sums: Floats, beyond: Floats, openings: Floats, metal: Floats | None
) -> list[Fit]:
    """The best bare hole, the best in a narrow and the best in a wide ring."""
    widths = pairs[:, 1] - pairs[:, 0]
    n, k = np.unravel_index(int(np.argmin(sums)), sums.shape)
    step = float(np.linalg.norm(AXES @ openings[n] - beyond[n, k]))
    least = max(float(sums[n, k]), 4.0 + (0.03 * step) ** 2)
    kinds = (widths == 0, (widths > 0) & (widths < 3.5), widths >= 3.5)
    begun = []
    for kind in kinds:
        if not kind.any():
            continue
        masked = np.where(kind, sums, np.inf)
        n, k = np.unravel_index(int(np.argmin(masked)), masked.shape)
        opening, around = openings[n], np.linalg.inv(AXES) @ beyond[n, k]
        beside = around if widths[k] == 0 or metal is None else metal
        contrast = float(max(np.linalg.norm(opening - beside), np.linalg.norm(opening - around)))
        if masked[n, k] > _WORSE**2 * least or np.sqrt(masked[n, k]) > _UNLIKE * contrast:
            continue
        radius, rim = pairs[k].tolist()
        if radius <= pairs[0, 0]:  # smaller than any hole
            continue
        disc = Disc(
            (float(spot[0]), float(spot[1])),
            radius,
            rim if rim > radius else None,
            (1.0, 1.5),
            misfit=float(masked[n, k]),
        )
        begun.append(Fit(disc, opening, beside, around, 1.0, disc.rim))
    return begun
