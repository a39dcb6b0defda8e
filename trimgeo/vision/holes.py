"""Drill holes of a true-scale picture: found at many brightness levels, then fitted to a tenth of a pixel.

A hole is a disc of one brightness in a ring or a surface of another; from aside its opening is what its near
and its far rim have in common, and the rest of it is wall.  Both rims are fitted together with the picture's
blur, because a level alone makes small holes too small.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.model.board import Picture
from trimgeo.vision.hole_candidates import Walls, candidates, walls_of
from trimgeo.vision.hole_colours import Shown, shown_by
from trimgeo.vision.hole_fit import Fit, Gain, Scene, best_of, fitted, learnt
from trimgeo.vision.hole_search import searched
from trimgeo.vision.hole_starts import starts

Floats = NDArray[np.float64]
Eye = tuple[float, float, float]

LEAST, GREATEST = 0.3, 6.5
"""Diameters, mm, of drill holes: the smallest via that a board of 1.6 mm has, an M6 clearance hole."""

_LEAST_PIXELS = 3.0
"""A disc fewer pixels across than this is one blurred speck."""
_WIDEST_RING = 1.3
"""Width, mm, of the copper around a hole that is looked for: pads of leads are wider only at large holes."""
_BLURRED = 15
"""Holes that are asked for the picture's blur."""
_UNSURE = 0.02
"""Standard deviation of a diameter, mm, from which on a hole is given with half the confidence."""
_UNMEASURED = 0.025
"""A diameter of a greater standard deviation, mm, is not given."""
_UNLIKE = 0.12
"""Pixels off the model by more than this share of the step at the rim show something else."""
_LESS = 0.25
"""A disc in another one is no hole where it stands out by less than this of the outer one."""
_ASIDE = 2.2
"""From aside centres are off by so many times what the noise of the pixels says (tests/bench/board_holes.py,
even seeds to 18)."""
_LEAST_SURE = 0.3
"""A hole of less confidence is not given."""
_MOST_WALL = 0.8
"""Share of its diameter that a hole's wall may hide."""


@dataclass(frozen=True)
class FoundHole:
    """A round hole of a picture, mm: ``at`` in the picture's frame, on the shown face.

    ``uncertainty`` is the standard uncertainty of ``at`` in one direction, of the finding itself.
    ``plated``: a ring of its own brightness lies around it; None where that cannot be told.
    ``confidence``, 0 to 1: what the pixels say, not how sure it is that a drill made it.
    """

    at: tuple[float, float]
    diameter: float
    uncertainty: float
    plated: bool | None
    confidence: float


def find_holes(
    picture: Picture,
    within: Polygon | None = None,
    eye: Eye | None = None,
    thickness: float = 0.0,
    background: tuple[float, float, float] | None = None,
) -> tuple[FoundHole, ...]:
    """The holes of the board in a picture of one of its faces, from left to right.

    ``within`` (mm) limits where centres may lie.  ``eye`` is the camera, mm: x, y and height above
    the shown face; with it and the board's ``thickness`` both rims of a hole are fitted, the far one seen
    nearer to the camera's foot by ``(eye_xy - p) t / (eye_z + t)`` (similar triangles).  ``background``
    (blue, green, red) is what shows through the holes, where it is known.  Raises what `Picture.pixels`
    raises.

    >>> import cv2
    >>> pixels = np.full((80, 80, 3), 60, np.uint8)
    >>> _ = cv2.circle(pixels, (40 * 16, 36 * 16), 6 * 16, (230, 230, 230), -1, cv2.LINE_AA, 4)
    >>> (hole,) = find_holes(Picture(10.0, (0.0, 79.0), (80, 80), lambda: pixels))
    >>> [round(float(v), 1) for v in hole.at], round(hole.diameter, 1)
    ([4.0, 4.3], 1.3)
    """
    pixels = np.asarray(picture.pixels, dtype=np.uint8)
    per_mm, walls = picture.pixels_per_mm, walls_of(picture, eye, thickness)
    scene = Scene(pixels, walls)
    spots = candidates(picture, pixels, within, walls, (LEAST, GREATEST))
    begun = [starts(scene, np.array([x, y]), r, _WIDEST_RING * per_mm) for x, y, r in spots]
    shown = shown_by([start for each in begun for start in each[:1]], background)
    begun = [[start for start in each if shown.through(start)] for each in begun]
    scene = _learnt(scene, [each[0] for each in begun if each], shown)
    if len(shown.openings) and shown.metal is not None:
        limits = (LEAST / 2 * per_mm, _WIDEST_RING * per_mm)
        colours = np.atleast_2d(np.median(shown.openings, axis=0))
        begun = searched(scene, spots, colours, shown.metal, limits)
        scene, colours = _learnt_again(scene, [start for each in begun for start in each], colours)
        begun = searched(scene, spots, colours, scene.metal, limits)
        fits = best_of(scene, begun)
        fits = [fit for fit in fits if fit.cover >= 0.75]
    else:
        fits = _first_of(begun, fitted(scene, [start for each in begun for start in each]))
    fits = [fit for fit in fits if fit.disc.radius >= _LEAST_PIXELS / 2 and _measured(fit, per_mm)]
    fits = _innermost(fits)
    found = [_hole(picture, fit, shown, walls) for fit in fits]
    kept = [h for h in found if 0.9 * LEAST <= h.diameter <= 1.05 * GREATEST and h.confidence >= _LEAST_SURE]
    if within is not None:
        kept = [hole for hole in kept if shapely.intersects_xy(within, *hole.at)]
    return tuple(sorted(kept, key=lambda hole: hole.at))


def _learnt(scene: Scene, begun: list[Fit], shown: Shown) -> Scene:
    """The scene with the picture's blurs of brightness and colour: medians over wide clear discs."""
    scene = replace(scene, metal=shown.metal)
    wide = [fit for fit in begun if fit.disc.radius > 5.0 and not fit.narrow and fit.cover > 0.95]
    tried = [fit for fit in fitted(scene, wide[:_BLURRED], free=True) if fit is not None]
    blurs = np.array([fit.disc.blurs for fit in tried if fit.disc.deviations[1] < 0.2]).reshape(-1, 2)
    if len(blurs) < 3:
        return scene
    grey, colour = np.median(blurs, axis=0)
    return replace(scene, blurs=(float(grey), float(max(grey, colour))))


def _learnt_again(scene: Scene, begun: list[Fit], openings: Floats) -> tuple[Scene, Floats]:
    """Blurs, noise, metal and openings from wide holes that were fitted with nothing believed of them."""
    wide = [
        s
        for s in begun
        if s.disc.radius > 4.5 and s.disc.rim is not None and s.disc.rim - s.disc.radius > 2.6
    ]
    bare = [s for s in begun if s.disc.radius > 6.5 and s.disc.rim is None]
    fits = [
        fit
        for fit in learnt(scene, wide[:60] + bare[:60])
        if fit.disc.deviations[1] < 0.4 and fit.disc.residual < 0.08 * _greatest_step(fit) and fit.cover > 0.9
    ]
    told = []
    for fit in fits:
        off = np.linalg.norm(openings - fit.inside, axis=1)
        near_metal = (
            fit.disc.rim is None or scene.metal is None or np.linalg.norm(fit.around - scene.metal) < 40
        )
        if off.min() < 40 and near_metal:
            told.append((fit, int(np.argmin(off))))
    if len(told) < 2:
        return scene, openings
    blurs = np.median([fit.disc.blurs for fit, _ in told], axis=0)
    noise = np.median([fit.spreads for fit, _ in told], axis=0)
    rings = [(fit.disc.rim - fit.disc.radius, fit.around) for fit, _ in told if fit.disc.rim is not None]
    metal = _of_widest(rings, scene.metal)
    openings = np.array(
        [
            _of_widest([(f.disc.radius, f.inside) for f, k in told if k == n], opening)
            for n, opening in enumerate(openings)
        ]
    )
    gain = _gain([fit for fit, _ in told], metal, [openings[k] for _, k in told])
    scene = replace(scene, blurs=(float(blurs[0]), float(blurs[1])), noise=noise, metal=metal, gain=gain)
    return scene, openings


def _of_widest(seen: list[tuple[float, Floats]], otherwise: Floats | None) -> Floats | None:
    """The median colour of the wider half: what is wide shows its colour unmixed."""
    if not seen:
        return otherwise
    least = np.median([width for width, _ in seen])
    return np.median([colour for width, colour in seen if width >= least], axis=0)


def _gain(fits: list[Fit], metal: Floats | None, openings: list[Floats]) -> Gain | None:
    """How brightness falls off over the picture: a plane through what openings and rings show of it."""
    rows, ratios = [], []
    for fit, opening in zip(fits, openings, strict=True):
        pairs = [(fit.inside, opening)] + (
            [(fit.around, metal)] if fit.disc.rim and metal is not None else []
        )
        for shown, usual in pairs:
            if usual.sum() > 150:
                rows.append(fit.disc.centre)
                ratios.append(shown.sum() / usual.sum())
    if len(rows) < 6:
        return None
    at = np.array(rows)
    middle = at.mean(axis=0)
    design, weights = np.column_stack([np.ones(len(at)), at - middle]), np.ones(len(at))
    for _ in range(5):
        plane = np.linalg.lstsq(design * weights[:, None], np.array(ratios) * weights, rcond=None)[0]
        off = np.abs(design @ plane - ratios)
        spread = max(1.4826 * float(np.median(off)), 0.005)
        weights = 1 / np.maximum(1.0, off / (2 * spread))
    return Gain(middle, plane[1:] / plane[0], spread * float(np.sqrt(len(at) / (len(at) - 3))))


def _greatest_step(fit: Fit) -> float:
    pairs = ((fit.inside, fit.around), (fit.around, fit.beyond))
    return max(float(np.linalg.norm(a - b)) for a, b in pairs)


def _first_of(begun: list[list[Fit]], fits: list[Fit | None]) -> list[Fit]:
    """Of each centre's starts the innermost that is firmly a hole: the next one is its pad."""
    firsts, at = [], 0
    for each in begun:
        made = [fit for fit in fits[at : at + len(each)] if fit is not None]
        at += len(each)
        firsts += ([fit for fit in made if fit.firm] or made)[:1]
    return firsts


def _measured(fit: Fit, per_mm: float) -> bool:
    disc = fit.disc
    return 2 * disc.deviations[1] / per_mm < _UNMEASURED and disc.residual < _UNLIKE * disc.contrast


def _innermost(fits: list[Fit]) -> list[Fit]:
    """Of discs in each other the innermost, as pads lie around holes; of one found twice the better fit."""
    kept: list[Fit] = []
    for fit in sorted(fits, key=lambda fit: (fit.disc.misfit / fit.disc.contrast, fit.disc.centre)):
        if not any(_off(fit, other) < 0.5 * fit.disc.radius and _same_size(fit, other) for other in kept):
            kept.append(fit)
    found: list[Fit] = []
    for fit in sorted(kept, key=lambda fit: (fit.disc.radius, fit.disc.centre)):
        around = [other for other in found if _off(fit, other) < max(fit.disc.radius, other.disc.radius)]
        faint = [other for other in around if other.disc.contrast < _LESS * fit.disc.contrast]
        if len(faint) == len(around):  # what little shows in it is no hole of its own
            found = [other for other in found if not any(other is each for each in faint)] + [fit]
    return found


def _off(a: Fit, b: Fit) -> float:
    return float(np.hypot(a.disc.centre[0] - b.disc.centre[0], a.disc.centre[1] - b.disc.centre[1]))


def _same_size(a: Fit, b: Fit) -> bool:
    return 0.75 < a.disc.radius / b.disc.radius < 1.33


def _hole(picture: Picture, fit: Fit, shown: Shown, walls: Walls) -> FoundHole:
    disc, per_mm = fit.disc, picture.pixels_per_mm
    at = (
        (disc.centre[0] - picture.origin[0]) / per_mm,
        (picture.origin[1] - disc.centre[1]) / per_mm,
    )
    wall = float(np.hypot(*walls.shift(np.array(disc.centre))))
    clean = 1 - min(1.0, 6 * disc.residual / disc.contrast)
    confidence = 0.9 * fit.cover**2 * (0.5 + 0.5 * clean)
    confidence /= 1 + (2 * disc.deviations[1] / per_mm / _UNSURE) ** 2
    if not shown.known:
        confidence *= 0.9
    if wall > _MOST_WALL * 2 * disc.radius:
        confidence *= 0.3  # too little of the rim is seen to tell the hole from its pad
    uncertainty = (_ASIDE if wall > 0 else 1.0) * float(np.hypot(disc.deviations[0], 0.02)) / per_mm
    # From aside the wall hides part of a narrow ring: that none is seen says nothing.
    plated = True if fit.ring is not None else (None if wall > 0 else False)
    return FoundHole(at, 2 * disc.radius / per_mm, uncertainty, plated, round(confidence, 3))
