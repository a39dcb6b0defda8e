"""Drill holes of a true-scale picture: found at many brightness levels, then fitted to a tenth of a pixel.

A hole is a disc of one brightness in a ring or a surface of another.  At some level it comes apart from
what surrounds it as one piece as round as a disc; its rim is then fitted with the picture's blur,
because a level alone makes small holes too small.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.model.board import Picture, Pixels
from trimgeo.vision.subpixel import Disc, fit_disc

Floats = NDArray[np.float64]
Eye = tuple[float, float, float]

LEAST, GREATEST = 0.3, 6.5
"""Diameters, mm, of drill holes: the smallest via that a board of 1.6 mm has, an M6 clearance hole."""

_LEVELS = 12
_LEAST_PIXELS = 3.0
"""A disc fewer pixels across than this is one blurred speck."""
_MOST_PER_MM = 14.0
"""The search needs no finer pixels: a hole of 0.3 mm has four of them."""
_WIDEST_RING = 1.3
"""Width, mm, of the copper around a hole that is looked for: pads of leads are wider only at large holes."""


_MOST_WALL = 0.25
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
    the shown face; with it and the board's ``thickness`` only the side of each rim is fitted where the
    hole's wall hides behind it: towards the camera's foot, because the far rim is seen nearer
    to the foot by ``(eye_xy - p) t / (eye_z + t)`` (similar triangles).  ``background`` (blue, green, red) is
    what shows through the holes, where it is known.  Raises what `Picture.pixels` raises.

    >>> pixels = np.full((80, 80, 3), 60, np.uint8)
    >>> _ = cv2.circle(pixels, (40 * 16, 36 * 16), 6 * 16, (230, 230, 230), -1, cv2.LINE_AA, 4)
    >>> (hole,) = find_holes(Picture(10.0, (0.0, 79.0), (80, 80), lambda: pixels))
    >>> [round(float(v), 1) for v in hole.at], round(hole.diameter, 1)
    ([4.0, 4.3], 1.3)
    """
    pixels = picture.pixels
    candidates = _candidates(picture, pixels, within)
    fits = [
        fit
        for at, radius in candidates
        for fit in [_fitted(picture, pixels, at, radius, eye, thickness, None)]
        if fit
    ]
    blur = _common_blur(fits)
    fits = _innermost(fits)
    if blur is not None:
        again = [
            _fitted(picture, pixels, np.array(f.disc.centre), f.disc.radius, eye, thickness, blur)
            for f in fits
        ]
        fits = [fit for fit in again if fit]
    fits = _innermost([fit for fit in fits if fit.disc.radius >= _LEAST_PIXELS / 2])
    found = [_hole(picture, fit, background, wall_seen(picture, fit.disc, eye, thickness)) for fit in fits]
    kept = [h for h in found if 0.9 * LEAST <= h.diameter <= 1.05 * GREATEST and h.confidence >= 0.25]
    if within is not None:
        kept = [hole for hole in kept if shapely.intersects_xy(within, *hole.at)]
    return tuple(sorted(kept, key=lambda hole: hole.at))


@dataclass(frozen=True)
class _Fit:
    disc: Disc
    inside: Floats
    around: Floats
    beyond: Floats
    cover: float


def _candidates(picture: Picture, pixels: Pixels, within: Polygon | None) -> list[tuple[Floats, float]]:
    """Centres (column, row) and radii, pixels, of round pieces, each once."""
    rows, columns = pixels.shape[:2]
    left, top, right, bottom = 0, 0, columns, rows
    if within is not None:
        x0, y0, x1, y1 = within.bounds
        margin = GREATEST
        per_mm, (ox, oy) = picture.pixels_per_mm, picture.origin
        left = max(0, int(ox + (x0 - margin) * per_mm))
        right = min(columns, int(ox + (x1 + margin) * per_mm) + 2)
        top = max(0, int(oy - (y1 + margin) * per_mm))
        bottom = min(rows, int(oy - (y0 - margin) * per_mm) + 2)
    if right - left < 5 or bottom - top < 5:
        return []
    part = pixels[top:bottom, left:right]
    scale = min(1.0, _MOST_PER_MM / picture.pixels_per_mm)
    if scale < 1.0:
        part = np.asarray(cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
    per_mm = picture.pixels_per_mm * scale
    limits = (max(_LEAST_PIXELS, 0.7 * LEAST * per_mm), 1.2 * GREATEST * per_mm)
    pieces = [_round_pieces(channel, limits) for channel in _channels(part)]
    rounds = _each_once(np.vstack(pieces))
    shift = np.array([left, top]) + 0.5 / scale - 0.5
    return [(row[:2] / scale + shift, float(row[2] / scale)) for row in rounds]


def _channels(part: Pixels) -> list[Pixels]:
    grey = cv2.GaussianBlur(cv2.cvtColor(part, cv2.COLOR_BGR2GRAY), (0, 0), 0.7)
    highest = cv2.max(cv2.max(part[..., 0], part[..., 1]), part[..., 2])
    lowest = cv2.min(cv2.min(part[..., 0], part[..., 1]), part[..., 2])
    colour = cv2.GaussianBlur(cv2.subtract(highest, lowest), (0, 0), 1.0)
    return [np.asarray(grey, np.uint8), np.asarray(colour, np.uint8)]


def _round_pieces(channel: Pixels, limits: tuple[float, float]) -> Floats:
    """Column, row and radius, (n, 3), of pieces as round as a disc at any of a few levels."""
    low, high = np.percentile(channel[::4, ::4], [1, 99])
    if high - low < 12:
        return np.empty((0, 3))
    found = []
    for level in np.linspace(low, high, _LEVELS + 2)[1:-1]:
        for kind in (cv2.THRESH_BINARY, cv2.THRESH_BINARY_INV):
            _, mask = cv2.threshold(channel, float(level), 1, kind)
            _, _, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=4, ltype=cv2.CV_32S)
            wide, tall, area = (stats[1:, k].astype(np.float64) for k in (2, 3, 4))
            across = np.sqrt(wide * tall)
            slack = 1.5 / np.maximum(across, 1)
            good = (across >= limits[0]) & (across <= limits[1])
            good &= np.abs(np.log(wide / tall)) < 0.22 + slack
            fill = area / (wide * tall)
            good &= (fill > np.pi / 4 - 0.1 - 0.3 * slack) & (fill < np.pi / 4 + 0.06 + slack * 0.5)
            found.append(np.column_stack([centres[1:][good], np.sqrt(area[good] / np.pi)]))
    return np.vstack(found)


def _each_once(rounds: Floats) -> Floats:
    """One for each crowd of pieces alike: its median.  Cells of a grid keep this quick."""
    if not len(rounds):
        return rounds
    left = np.ones(len(rounds), bool)
    tree = shapely.STRtree(shapely.points(rounds[:, :2]))
    order = np.argsort(-rounds[:, 2], kind="stable")
    kept = []
    for n in order.tolist():
        if not left[n]:
            continue
        radius = rounds[n, 2]
        near = tree.query(shapely.Point(rounds[n, :2]), predicate="dwithin", distance=0.35 * radius + 0.5)
        alike = near[left[near] & (np.abs(np.log(rounds[near, 2] / radius)) < 0.22)]
        left[alike] = False
        left[n] = False
        kept.append(np.median(rounds[alike], axis=0))
    return np.array(kept)


def _fitted(
    picture: Picture,
    pixels: Pixels,
    at: Floats,
    radius: float,
    eye: Eye | None,
    thickness: float,
    blur: float | None,
) -> _Fit | None:
    """The disc at a candidate with its colours, None where the pixels are no disc."""
    reach = radius + min(_WIDEST_RING * picture.pixels_per_mm, 1.2 * radius + 4) + 4
    patch, corner = _patch(pixels, at, reach)
    if patch is None:
        return None
    middle = at - corner
    row, column = np.mgrid[0 : patch.shape[0], 0 : patch.shape[1]]
    dx, dy = column - middle[0], row - middle[1]
    r = np.hypot(dx, dy)
    toward = _toward_foot(picture, at, radius, eye, thickness)
    seen = np.ones(r.shape, bool) if toward is None else (dx * toward[0] + dy * toward[1]) > -0.17 * r
    profile = _profile(patch, r, seen, reach)
    steps = _steps(profile, radius)
    if steps is None:
        return None
    rim_at, ring_at, axis = steps
    grey = patch @ axis
    last = (ring_at + 3.0) if ring_at is not None else rim_at + 2.6
    use = seen & (r <= last) & (r >= rim_at - 5.0)
    if use.sum() < 20:
        return None
    points = np.column_stack([column[use], row[use]]).astype(np.float64)
    guess = 1.0 if blur is None else blur
    start = Disc((float(middle[0]), float(middle[1])), rim_at, guess, ring_at, (), 0.0, (0.0, 0.0))
    disc = _told_disc(points, grey[use], start, blur)
    if disc is None:
        return None
    cover = _cover(grey, r, dx, dy, seen, disc, middle)
    k = profile.shape[0]
    inside = profile[: max(1, int(disc.radius - 1.0))].mean(axis=0)
    around = profile[min(k - 1, int(disc.radius + 1.5))]
    beyond = profile[min(k - 1, int((disc.rim or disc.radius) + 2.5))]
    centre = (disc.centre[0] + float(corner[0]), disc.centre[1] + float(corner[1]))
    return _Fit(replace(disc, centre=centre), inside, around, beyond, cover)


def _told_disc(points: Floats, grey: Floats, start: Disc, blur: float | None) -> Disc | None:
    """The disc fitted to pixels, shape (n, 2), and grey, shape (n,); None where it hardly stands out."""
    free = blur is None and start.radius > 5.0
    # Every k-th pixel: the first fit only has to tell discs from others and to show the blur.
    every = max(1, len(points) // (500 if blur is None else 3000))
    disc = fit_disc(
        points[::every], grey[::every], start, None if free else start.blur, 4 if blur is None else 8
    )
    if disc is None:
        return None
    contrast = abs(disc.levels[0] - disc.levels[1])
    return None if contrast < 10 or disc.residual > 0.2 * contrast else disc


def _patch(pixels: Pixels, at: Floats, reach: float) -> tuple[Floats | None, Floats]:
    low = np.maximum(np.floor(at - reach), 0).astype(int)
    high = np.minimum(np.ceil(at + reach) + 1, [pixels.shape[1], pixels.shape[0]]).astype(int)
    if (high - low < 5).any():
        return None, low.astype(np.float64)
    return pixels[low[1] : high[1], low[0] : high[0]].astype(np.float64), low.astype(np.float64)


def _toward_foot(
    picture: Picture, at: Floats, radius: float, eye: Eye | None, thickness: float
) -> Floats | None:
    """Direction in pixels to the camera's foot, None where a hole's wall is too narrow to be seen."""
    if eye is None or thickness <= 0:
        return None
    foot = np.array(
        [
            picture.origin[0] + eye[0] * picture.pixels_per_mm,
            picture.origin[1] - eye[1] * picture.pixels_per_mm,
        ]
    )
    way = foot - at
    distance = float(np.hypot(*way))
    wall = distance * thickness / (eye[2] + thickness)
    return None if wall < 0.4 else way / distance


def _profile(patch: Floats, r: Floats, seen: NDArray[np.bool_], reach: float) -> Floats:
    """Median colour, (k, 3), in rings one pixel wide: medians do not see a trace that leaves a pad."""
    ring = np.round(r).astype(int)
    most = int(reach)
    flat, colours = ring[seen], patch[seen]
    order = np.argsort(flat, kind="stable")
    flat, colours = flat[order], colours[order]
    ends = np.searchsorted(flat, np.arange(most + 2))
    rows: list[Floats] = []
    for k in range(most + 1):
        part = colours[ends[k] : ends[k + 1]]
        rows.append(np.median(part, axis=0) if len(part) else (rows[-1] if rows else np.zeros(3)))
    return np.array(rows)


def _steps(profile: Floats, radius: float) -> tuple[float, float | None, Floats] | None:
    """Radius of the rim, outer radius of a ring or None, and the colour axis (3,) across the rim."""
    change = np.linalg.norm(np.diff(profile, axis=0), axis=1)
    first, last = int(max(0, radius - 2.5)), int(min(len(change), radius + 3.5))
    if last - first < 2:
        return None
    k = first + int(np.argmax(change[first:last]))
    axis = profile[min(k + 2, len(profile) - 1)] - profile[max(k - 1, 0)]
    size = float(np.linalg.norm(axis))
    if size < 8:
        return None
    axis = axis / size
    along = np.diff(profile @ axis)
    return k + 0.5, _ring(along, k, size), axis


def _ring(along: Floats, k: int, size: float) -> float | None:
    """Outer radius of a ring: the first second step beyond the rim's own, with a valley between the two."""
    for n in range(k + 2, len(along) - 1):
        back = along[n] * along[k] < 0
        valley = back or np.abs(along[k + 1 : n]).min() < 0.5 * abs(along[n])
        peak = abs(along[n]) >= abs(along[n + 1]) and abs(along[n]) >= abs(along[n - 1]) - (
            size if back else 0
        )
        if valley and peak and abs(along[n]) > 0.12 * size:
            return n + 0.5
    return None


def _cover(
    grey: Floats, r: Floats, dx: Floats, dy: Floats, seen: NDArray[np.bool_], disc: Disc, middle: Floats
) -> float:
    """Share of the directions in which the step at the rim is there."""
    moved_x, moved_y = dx + middle[0] - disc.centre[0], dy + middle[1] - disc.centre[1]
    r = np.hypot(moved_x, moved_y)
    sector = ((np.arctan2(moved_y, moved_x) / (2 * np.pi) + 0.5) * 16).astype(int) % 16
    inner = seen & (r < disc.radius - 0.7) & (r > disc.radius - 3.2)
    if disc.radius < 2.5:
        inner = seen & (r < 1.5)
    edge = disc.radius + (1.8 if disc.rim is None else min(1.8, (disc.rim - disc.radius) * 0.6))
    outer = seen & (np.abs(r - edge) < 0.8)
    middle_level = (disc.levels[0] + disc.levels[1]) / 2
    sign = np.sign(disc.levels[1] - disc.levels[0])
    counts = np.bincount(sector[outer], minlength=16)
    sums = np.bincount(sector[outer], weights=grey[outer], minlength=16)
    there = counts > 0
    out_right = sign * (sums[there] / counts[there] - middle_level) > 0
    in_right = sign * (middle_level - grey[inner]) > 0
    return float(out_right.mean() * (in_right.mean() if in_right.size else 1.0)) if there.any() else 0.0


def _common_blur(fits: list[_Fit]) -> float | None:
    """The picture's one blur: the median over discs wide enough to show it."""
    blurs = [
        f.disc.blur for f in fits if f.disc.radius > 5.0 and f.disc.deviations[1] < 0.2 and f.cover > 0.8
    ]
    return float(np.median(blurs)) if len(blurs) >= 3 else None


def _innermost(fits: list[_Fit]) -> list[_Fit]:
    """Of discs in each other, or found twice, the innermost that is whole: pads lie around holes."""
    good = [fit for fit in fits if fit.cover >= 0.8]
    good.sort(key=lambda fit: (fit.disc.radius, fit.disc.centre))
    kept: list[_Fit] = []
    for fit in good:
        near = any(
            np.hypot(fit.disc.centre[0] - other.disc.centre[0], fit.disc.centre[1] - other.disc.centre[1])
            < max(fit.disc.radius, other.disc.radius)
            for other in kept
        )
        if not near:
            kept.append(fit)
    return kept


def wall_seen(picture: Picture, disc: Disc, eye: Eye | None, thickness: float) -> float:
    """How wide, mm, the wall of a hole is seen from the camera (similar triangles); 0 in a scan."""
    if eye is None:
        return 0.0
    x = (disc.centre[0] - picture.origin[0]) / picture.pixels_per_mm
    y = (picture.origin[1] - disc.centre[1]) / picture.pixels_per_mm
    return float(np.hypot(eye[0] - x, eye[1] - y)) * thickness / (eye[2] + thickness)


def _hole(
    picture: Picture, fit: _Fit, background: tuple[float, float, float] | None, wall: float
) -> FoundHole:
    disc, per_mm = fit.disc, picture.pixels_per_mm
    at = (
        (disc.centre[0] - picture.origin[0]) / per_mm,
        (picture.origin[1] - disc.centre[1]) / per_mm,
    )
    contrast = abs(disc.levels[0] - disc.levels[1])
    clean = 1 - min(1.0, 4 * disc.residual / contrast)
    confidence = 0.9 * fit.cover**2 * (0.5 + 0.5 * clean)
    if disc.rim is not None and float(np.linalg.norm(fit.inside - fit.beyond)) < 0.2 * contrast:
        confidence *= 0.4  # a printed ring or a letter: its inside is the surface again
    if background is not None and float(np.linalg.norm(fit.inside - np.array(background))) > 90:
        confidence *= 0.6
    if wall > _MOST_WALL * 2 * disc.radius / per_mm:
        confidence *= 0.3  # too little of the rim is seen to tell the hole from its pad
    # Half a rim is seen: in drawn boards centres were off by up to a third of the wall's width.
    uncertainty = float(np.hypot(np.hypot(disc.deviations[0], 0.02) / per_mm, 0.2 * wall))
    # From aside the wall hides part of a narrow ring: that none is seen says nothing.
    plated = True if disc.rim is not None else (None if wall > 0 else False)
    return FoundHole(at, 2 * disc.radius / per_mm, uncertainty, plated, round(confidence, 3))
