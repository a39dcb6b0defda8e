"""Drill holes of a true-scale picture: found at many brightness levels, then fitted to a tenth of a pixel.

A hole is a disc of one brightness in a ring or a surface of another; from aside its opening is what its near
and its far rim have in common, and the rest of it is wall.  Both rims are fitted together with the picture's
blur, because a level alone makes small holes too small.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.model.board import Picture
from trimgeo.vision.hole_candidates import Walls, candidates, walls_of
from trimgeo.vision.hole_colours import Shown, shown_by
from trimgeo.vision.hole_doubt import pads_likely
from trimgeo.vision.hole_fit import LUMA, NARROW_WALL, Fit, Lit, Scene, best_of
from trimgeo.vision.hole_learn import scene_learnt
from trimgeo.vision.hole_search import searched
from trimgeo.vision.hole_sizes import shared_sizes
from trimgeo.vision.hole_starts import starts

Floats = NDArray[np.float64]
Eye = tuple[float, float, float]

LEAST, GREATEST = 0.3, 6.5
"""Diameters, mm, of drill holes: the smallest via that a board of 1.6 mm has, an M6 clearance hole."""

_LEAST_PIXELS = 3.0
"""A disc fewer pixels across than this is one blurred speck."""
_WIDEST_RING = 1.3
"""Width, mm, of the copper around a hole that is looked for: pads of leads are wider only at large holes."""
_UNSURE = 0.04
"""Standard deviation of a diameter, mm, from which on a hole is given with half the confidence."""
_UNMEASURED = 0.016
"""A diameter of a greater standard deviation, mm, is not given (tests/bench/board_holes.py, seeds 200 to 295:
of those up to it 99.5 % are within 0.03 mm, of those up to 0.022 mm 86 %)."""
_DOUBTFUL = 0.02
"""Nor one that is less sure than this by itself and agrees with others: its centre is off as well."""
_UNLIKE = 0.12
"""Pixels off the model by more than this share of the step at the rim show something else."""
_LESS = 0.25
"""A disc in another one is no hole where it stands out by less than this of the outer one."""
_ASKED = 400
"""Spots, twice as many at most, that are asked for what all holes of a picture share."""
_CLOSE = 36.0
"""Grey levels of metal and opening apart below which neither rims nor narrow rings are seen well enough."""
_SAME_SIZE = 0.285
"""Two discs are one hole found twice where the logarithm of their sizes' ratio is less."""
_ASIDE = 2.1
"""From aside, where the wall's light and colour change around the hole, it is off by so many times more than
in a scan (tests/bench/board_holes.py, odd seeds 201 to 295)."""
_LEAST_SURE = 0.3
"""A hole of less confidence is not given."""
_PATCHY = 0.02
"""Share by which what clear holes show strays about a plane, where it is one ground: up to 0.016
(tests/bench/board_holes.py, seeds 200 to 289, rings of metal telling what it is)."""
_LIT = 2.5
"""Light falls under a board's edge so far, mm: somewhat further than the board lies above its ground."""
_MOST_WALL = 0.6
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
    some = spots[:: max(1, len(spots) // _ASKED)]
    begun = [starts(scene, np.array([x, y]), r, _WIDEST_RING * per_mm) for x, y, r in some]
    shown = shown_by([start for each in begun for start in each[:1]], background)
    if shown.opening is None:
        return ()
    clear = [[start for start in each if shown.through(start)] for each in begun]
    scene, opening = scene_learnt(scene, [each[0] for each in clear if each], shown)
    if scene.metal is not None and np.linalg.norm(scene.metal - opening) < _CLOSE:
        return ()
    if not shown.sure and scene.gain is not None and scene.gain.spread > _PATCHY:
        return ()  # discs of many shades are pads with holes in them
    if background is not None and within is not None:
        scene = replace(scene, lit=_lit(picture, within, opening, background))
    limits = (LEAST / 2 * per_mm, _WIDEST_RING * per_mm)
    ground = None if background is None else np.array(background)
    fits = best_of(scene, searched(scene, spots, opening, ground, limits))
    fits = _measurable(fits, walls, per_mm)
    if not shown.sure and background is not None and within is not None:
        fits = [] if pads_likely(picture, pixels, within, opening, fits) else fits
    found = [_hole(picture, fit, shown, walls) for fit in fits]
    kept = [h for h in found if 0.9 * LEAST <= h.diameter <= 1.05 * GREATEST and h.confidence >= _LEAST_SURE]
    if within is not None:
        kept = [hole for hole in kept if shapely.intersects_xy(within, *hole.at)]
    return tuple(sorted(kept, key=lambda hole: hole.at))


def _measurable(fits: list[Fit], walls: Walls, per_mm: float) -> list[Fit]:
    """The fits whose diameters are sure enough, by themselves or by others of one drill, each hole once."""
    fits = [_from_aside(fit, walls) for fit in fits if fit.cover >= 0.75]
    fits = [fit for fit in fits if fit.disc.radius >= _LEAST_PIXELS / 2 and _measured(fit, per_mm, _DOUBTFUL)]
    return _innermost([fit for fit in shared_sizes(fits, per_mm) if _measured(fit, per_mm, _UNMEASURED)])


def _lit(picture: Picture, within: Polygon, opening: Floats, ground: tuple[float, float, float]) -> Lit:
    """Where the ground under the board is lit from beside, and by how much."""
    per_mm, (x, y) = picture.pixels_per_mm, picture.origin
    edge = shapely.affinity.affine_transform(within.boundary, [per_mm, 0, 0, -per_mm, x, y])
    usual = max(1.0, float(opening @ LUMA))
    return Lit(edge, _LIT * per_mm, abs(float(np.array(ground) @ LUMA) / usual - 1))


def _from_aside(fit: Fit, walls: Walls) -> Fit:
    """The fit with deviations as they are where its wall is seen."""
    if np.hypot(*walls.shift(np.array(fit.disc.centre))) < NARROW_WALL:
        return fit
    centre, radius = fit.disc.deviations
    return replace(fit, disc=replace(fit.disc, deviations=(_ASIDE * centre, _ASIDE * radius)))


def _measured(fit: Fit, per_mm: float, most: float) -> bool:
    disc = fit.disc
    seen = disc.contrast > _CLOSE and disc.residual < _UNLIKE * disc.contrast
    return seen and 2 * disc.deviations[1] / per_mm < most


def _innermost(fits: list[Fit]) -> list[Fit]:
    """Of discs in each other the innermost, as pads lie around holes; of one found twice the better fit."""
    if not fits:
        return fits
    at, radii = np.array([fit.disc.centre for fit in fits]), np.array([fit.disc.radius for fit in fits])
    near = shapely.STRtree(shapely.points(at))
    kept, found = np.zeros(len(fits), bool), np.zeros(len(fits), bool)
    misfits = [fit.disc.misfit / fit.disc.contrast for fit in fits]
    for n in sorted(range(len(fits)), key=lambda n: (misfits[n], fits[n].disc.centre)):
        others = near.query(shapely.Point(at[n]), predicate="dwithin", distance=0.5 * radii[n])
        same = np.abs(np.log(radii[others] / radii[n])) < _SAME_SIZE
        kept[n] = not (kept[others] & same).any()
    for n in sorted(np.flatnonzero(kept).tolist(), key=lambda n: (radii[n], fits[n].disc.centre)):
        # All that were found are smaller.
        others = near.query(shapely.Point(at[n]), predicate="dwithin", distance=radii[n])
        around = [k for k in others.tolist() if found[k]]
        faint = [k for k in around if fits[k].disc.contrast < _LESS * fits[n].disc.contrast]
        if len(faint) == len(around):  # what little shows in it is no hole of its own
            found[faint] = False
            found[n] = True
    return [fit for fit, each in zip(fits, found, strict=True) if each]


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
    if not shown.sure:
        confidence *= 0.9
    if wall > _MOST_WALL * 2 * disc.radius:
        confidence *= 0.3  # too little of the rim is seen to tell the hole from its pad
    uncertainty = float(np.hypot(disc.deviations[0], 0.02)) / per_mm
    # From aside the wall hides part of a narrow ring: that none is seen says nothing.
    plated = True if fit.ring is not None else (None if wall > 0 else False)
    return FoundHole(at, 2 * disc.radius / per_mm, uncertainty, plated, round(confidence, 3))
