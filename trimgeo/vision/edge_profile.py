"""The face's edge across its normal: face, visible wall and ground as steps of known distance."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.model.board import Pixels
from trimgeo.vision.edge_ground import off_ground, off_shades
from trimgeo.vision.ground_print import Under

Floats = NDArray[np.float64]
Shades = NDArray[np.float32]
Eye = tuple[float, float, float]

_SAMPLE = 0.5
"""Distance of the samples along a profile, pixels."""
_BESIDE = 0.5
"""Length, mm, of face and of ground that a profile is judged by, beside its steps."""
_BLURS = (0.7, 1.0, 1.3, 1.6, 2.0, 2.5)
"""Standard deviations, pixels, of the blur that steps may have: camera and JPEG."""
_NEAR = 0.25
"""Length, mm, next to the edge on which the board must show: a code of the card may begin beyond it."""
_SHOWN = 9.0
"""Grey levels by which the board's side differs more from the ground than the ground's side does."""
_EVEN = 6.0
"""Grey levels by which the board's side may change towards the edge where it is of one colour."""
_SHADE = 0.1
"""Weight of a change along the ground's own colour, where the board has another hue: light and shadow."""
_HUE = 35.0
"""Grey levels across the ground's colour by which a board is of another hue."""
_SECTORS, _GAINS = 8, (0.3, 0.45, 0.6, 0.8, 1.0, 1.25)
"""Ways that walls face, and how bright those of one way may be against the rest."""
_WALL_SHOWS = 2.5
"""A wall narrower than this, pixels, has no colour of its own."""


@dataclass(frozen=True)
class Sight:
    """A true-scale picture and what its edge is told by.

    ``origin`` (column, row) of (0, 0) mm; ``grounds`` (k, 3) the ground's colours and ``shades`` how dark and
    bright they get; ``weigh`` (3, 3) takes colours to where light counts less; ``level`` is what the ground
    is off its colours by at most; ``blur`` the standard deviation of a step, mm;
    ``wall`` (8, 3) its colour in each of `_SECTORS`, None while unknown; ``under`` what is printed on the
    ground, if known; ``grain`` by how many grey levels the ground changes over half a mm;
    ``face`` (3,) the board's colour along its edge; ``parts`` (rows, columns) is 255 where what looks like
    ground may be the board's parts.
    """

    pixels: Pixels
    origin: Floats
    per_mm: float
    eye: Eye | None
    thickness: float
    grounds: Floats
    shades: tuple[float, float]
    weigh: Floats
    level: float
    blur: float
    wall: Floats | None = None
    under: Under | None = None
    grain: float = 0.0
    face: Floats | None = None
    parts: Pixels | None = None


def weighing(face: Floats, grounds: Floats) -> Floats:
    """Takes colours to where changes along the ground's hue count `_SHADE`, if the face is of another."""
    ground = grounds[int(np.argmax(grounds.sum(axis=1)))]
    way = ground / max(float(np.linalg.norm(ground)), 1e-9)
    across = face - way * float(face @ way)
    if np.linalg.norm(across) < _HUE:
        return np.eye(3)
    return np.eye(3) - (1 - _SHADE) * np.outer(way, way)


def wall_widths(sight: Sight, places: Floats, normals: Floats) -> Floats:
    """How far, mm, the wall stands out of the face: ``n . (eye - p) t / (eye_z + t)``, similar triangles."""
    if sight.eye is None:
        return np.zeros(len(places))
    toward = ((np.array(sight.eye[:2]) - places) * normals).sum(axis=1)
    return np.asarray(np.maximum(toward, 0.0) * sight.thickness / (sight.eye[2] + sight.thickness))


def sampled(sight: Sight, places: Floats, normals: Floats, along: Floats) -> Floats:
    """Colours, (n, m, 3), at distances ``along`` (m,), mm, from places, (n, 2), along their normals."""
    return _sampled(sight, sight.pixels, places, normals, along)


def _sampled(sight: Sight, pixels: Pixels, places: Floats, normals: Floats, along: Floats) -> Floats:
    flip = np.array([1.0, -1.0]) * sight.per_mm
    at, out = places * flip + sight.origin, normals * flip
    x = (at[:, :1] + out[:, :1] * along).astype(np.float32)
    y = (at[:, 1:] + out[:, 1:] * along).astype(np.float32)
    parts = [  # in pieces: cv2.remap's table of positions has a limited height
        cv2.remap(pixels, x[n : n + 20000], y[n : n + 20000], cv2.INTER_LINEAR, None, cv2.BORDER_REPLICATE)
        for n in range(0, len(x), 20000)
    ]
    return np.vstack(parts).astype(np.float64)


def off_sampled(sight: Sight, places: Floats, normals: Floats, along: Floats) -> Floats:
    """How far, grey levels, (n, m), the picture is off the printed ground; see `sampled`."""
    assert sight.under is not None
    return _sampled(sight, sight.under.off, places, normals, along)


def tones_at(sight: Sight, places: Floats, normals: Floats, along: Floats) -> Floats:
    """How bright the ground's print is against its paper, (n, m); 1 where none is known.  See `sampled`."""
    if sight.under is None:
        return np.ones((len(places), len(along)))
    return _sampled(sight, sight.under.tone, places, normals, along) / 255


def edge_offsets(sight: Sight, places: Floats, normals: Floats, reach: float) -> tuple[Floats, Floats]:
    """How far, mm, the face's edge lies from places along their normals, within ``reach``; NaN where unseen.

    The second array is the share of the profile's variation that the steps explain.
    """
    walls = wall_widths(sight, places, normals)
    step = _SAMPLE / sight.per_mm
    widths = np.round(walls / step).astype(int)
    offsets, shares = np.full(len(places), np.nan), np.zeros(len(places))
    by_part = _by_parts(sight, places, normals)
    for width in np.unique(widths):
        for part in (False, True):
            chosen = np.flatnonzero((widths == width) & (by_part == part))
            if len(chosen):
                looked = replace(sight, weigh=np.eye(3)) if part else replace(sight, parts=None)
                offsets[chosen], shares[chosen] = _of_one_width(
                    looked, places[chosen], normals[chosen], float(walls[chosen].mean()), reach
                )
    return offsets, shares


def _by_parts(sight: Sight, places: Floats, normals: Floats) -> NDArray[np.bool_]:
    """Where parts of the ground's colour are at the edge, (n,): light counts there as much as hue."""
    if sight.parts is None:
        return np.zeros(len(places), bool)
    return np.asarray(_sampled(sight, sight.parts, places, normals, np.array([-0.2]))[:, 0] > 127)


def _of_one_width(
    sight: Sight, places: Floats, normals: Floats, wall: float, reach: float
) -> tuple[Floats, Floats]:
    step = _SAMPLE / sight.per_mm
    tries = max(2, math.ceil(reach / step))
    beside = math.ceil(max(_BESIDE, 1.5 * sight.blur + _NEAR, 2 / sight.per_mm + 1.5 * sight.blur) / step)
    ahead = beside + math.ceil(wall / step)
    along: Floats = np.arange(-tries - beside, tries + ahead + 1, dtype=np.float64) * step
    colours = sampled(sight, places, normals, along).astype(np.float32)
    at: Floats = np.arange(-beside, ahead + 1, dtype=np.float64) * step
    seen = (colours @ sight.weigh).astype(np.float32)
    known = None if sight.wall is None else wall_at(sight.wall, normals) @ sight.weigh
    if sight.under is None:
        gain, variation = _explained(sight, seen, known, at, wall)
        shown = _is_shown(sight, colours, at, wall)
    else:
        tones = tones_at(sight, places, normals, along).astype(np.float32)
        gain, variation = _explained_on_print(sight, seen, tones, known, at, wall)
        off = off_sampled(sight, places, normals, along).astype(np.float32)
        shown = _is_off_print(sight, off, at, wall)
    if sight.parts is not None:
        shown |= _is_at_part(_sampled(sight, sight.parts, places, normals, along).astype(np.float32), at)
    gain = np.where(shown, gain, -np.inf)
    best = np.argmax(gain, axis=1)
    row = np.arange(len(places))
    inner = np.clip(best, 1, gain.shape[1] - 2)
    a, b, c = gain[row, inner - 1], gain[row, inner], gain[row, inner + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        bend = a - 2 * b + c
        shift = np.where(np.isfinite(bend) & (bend < 0), 0.5 * (a - c) / bend, 0.0)
    whole = (best > 0) & (best < gain.shape[1] - 1) & (gain[row, best] > 0)
    found = (inner - tries + np.clip(np.nan_to_num(shift), -1, 1)) * step
    share = gain[row, best] / np.maximum(variation[row, best], 1e-9)
    return np.where(whole, found, np.nan), np.where(whole, share, 0.0)


def _explained(
    sight: Sight, seen: Shades, known: Floats | None, at: Floats, wall: float
) -> tuple[Floats, Floats]:
    """What the steps explain of each window's variation, and that variation, (n, j), from (n, m, 3).

    ``known`` (n, 3) is the wall's colour at each place.
    """
    blur = sight.blur
    face, ground = 1 - rise(at / blur), rise((at - wall) / blur)
    slope = ground * np.maximum(at - wall, 0) / _BESIDE
    middle = 1 - face - ground
    if wall * sight.per_mm < _WALL_SHOWS:
        columns, known = [np.ones(len(at)), (ground + 1 - face) / 2, slope], None
    elif known is None:
        columns = [np.ones(len(at)), face, ground, slope]
    else:
        columns = [face, ground, slope]
    basis, _ = np.linalg.qr(np.column_stack(columns))
    ones = np.ones(len(at))
    squares = _windows(seen * seen, ones).sum(axis=2)
    sums = _windows(seen, ones)
    variation = squares - (sums * sums).sum(axis=2) / len(at)
    left = squares
    if known is not None:
        left = _without_wall(squares, _windows(seen, middle), known, float(middle @ middle))
    for n in range(basis.shape[1]):
        part = _windows(seen, basis[:, n])
        if known is not None:
            part = part - float(middle @ basis[:, n]) * known[:, None]
        left -= (part * part).sum(axis=2)
    return np.asarray(variation - left), np.asarray(variation)


def _explained_on_print(
    sight: Sight, seen: Shades, tones: Shades, known: Floats | None, at: Floats, wall: float
) -> tuple[Floats, Floats]:
    """`_explained` where the ground is printed: its step is as bright as its ``tones``, (n, m)."""
    blur = sight.blur
    face, ground = 1 - rise(at / blur), rise((at - wall) / blur)
    middle = 1 - face - ground
    narrow = wall * sight.per_mm < _WALL_SHOWS
    if narrow:
        face, ground, known = face + middle / 2, ground + middle / 2, None
    slope = ground * np.maximum(at - wall, 0) / _BESIDE
    kernels, powers = [face, ground, slope], [0, 1, 1]
    if not narrow and known is None:
        kernels, powers = [*kernels, middle], [*powers, 0]
    ones = np.ones(len(at))
    shaded = [np.ones_like(tones), tones, tones * tones]
    toned = [seen, seen * tones[..., None]]
    squares, sums = _windows(seen * seen, ones).sum(axis=2), _windows(seen, ones)
    variation = squares - (sums * sums).sum(axis=2) / len(at)
    left = squares
    if known is not None:
        left = _without_wall(squares, _windows(seen, middle), known, float(middle @ middle))
    count = len(kernels)
    normal = np.empty((*left.shape, count, count))
    right = np.empty((*left.shape, count, 3))
    for n, (kernel, power) in enumerate(zip(kernels, powers, strict=True)):
        right[..., n, :] = _windows(toned[power], kernel)
        if known is not None:
            beside = _windows(shaded[power], kernel * middle)
            right[..., n, :] -= beside[..., None] * known[:, None]
        for m in range(n, count):
            normal[..., n, m] = normal[..., m, n] = _windows(shaded[power + powers[m]], kernel * kernels[m])
    normal += 1e-4 * np.eye(count)
    left -= (np.linalg.solve(normal, right) * right).sum(axis=(2, 3))
    return np.asarray(variation - left), np.asarray(variation)


def _without_wall(squares: Floats, sums: Floats, known: Floats, weight: float) -> Floats:
    """Squares, (n, j), of what is left of windows without the wall's ``known`` colour, (n, 3)."""
    return np.asarray(
        squares + weight * (known * known).sum(axis=1)[:, None] - 2 * (sums * known[:, None]).sum(axis=2)
    )


def _is_off_print(sight: Sight, off: Shades, at: Floats, wall: float) -> NDArray[np.bool_]:
    """`_is_shown` where the ground is printed, from how far off that the picture is, (n, m)."""
    far, near = 1.5 * sight.blur, max(_NEAR, 2 / sight.per_mm)
    inner, outer = (at < -far) & (at > -far - near), at > wall + far
    inside, outside = _windows(off, inner / inner.sum()), _windows(off, outer / outer.sum())
    shown = min(_SHOWN, 0.75 * sight.level)
    return np.asarray((inside - outside > shown) & (outside < np.minimum(0.6 * inside, sight.level)))


def _is_at_part(parts: Shades, at: Floats) -> NDArray[np.bool_]:
    """Where the inner side is a part of the ground's colour, (n, j), from where such are, (n, m)."""
    inner = (at < 0) & (at > -_NEAR)
    return np.asarray(_windows(parts, inner / inner.sum()) > 127)


def _windows(seen: Shades, weights: Floats) -> Floats:
    """Sums, (n, j, 3), of (n, m, 3) colours in each window by the window's weights."""
    kernel = weights.astype(np.float32)[None]
    summed = cv2.filter2D(seen, -1, kernel, None, (0, 0), 0, cv2.BORDER_REPLICATE)
    return np.asarray(summed[:, : seen.shape[1] - len(weights) + 1], np.float64)


def _is_shown(sight: Sight, colours: Shades, at: Floats, wall: float) -> NDArray[np.bool_]:
    """Where the inner side is none of the ground's colours and the outer side is one, (n, j)."""
    far = 1.5 * sight.blur
    near = max(_NEAR, 2 / sight.per_mm)
    inner, outer = (at < -far) & (at > -far - near), at > wall + far
    within = _windows(colours, inner / inner.sum()).astype(np.float32)
    beyond = _windows(colours, outer / outer.sum()).astype(np.float32)
    inside = off_ground(within, sight.grounds, sight.shades)
    if len(sight.grounds) > 1:  # an even grey is no mixture of black and white squares
        first = inner & (at > at[inner].mean())
        change = np.linalg.norm(_windows(colours, first / first.sum()) - within, axis=2)
        plain = np.min([off_shades(within, colour, sight.shades) for colour in sight.grounds], axis=0)
        inside = np.where(change < _EVEN, plain, inside)
    outside = off_ground(beyond, sight.grounds, sight.shades)
    shown = min(_SHOWN, 0.75 * sight.level)
    return np.asarray((inside - outside > shown) & (outside < np.minimum(0.6 * inside, sight.level)))


def rise(x: Floats) -> Floats:
    """The normal distribution's integral, between entries of a table."""
    place = np.clip((x + 4.0) * 64, 0, 511.999)
    whole = place.astype(np.int64)
    return np.asarray(_TABLE[whole] + (place - whole) * (_TABLE[whole + 1] - _TABLE[whole]))


_TABLE = np.array([0.5 * (1 + math.erf(k / 64 / math.sqrt(2))) for k in range(-256, 257)])


def blur_of(sight: Sight, places: Floats, normals: Floats) -> float:
    """The blur, mm, that explains most of the steps where no wall shows; the sight's own if there are few."""
    chosen = np.flatnonzero(wall_widths(sight, places, normals) * sight.per_mm < 0.5)
    if len(chosen) < 20:
        return sight.blur
    chosen = chosen[:: max(1, len(chosen) // 200)]
    best, most = sight.blur, -np.inf
    for blur in _BLURS:
        tried = replace(sight, blur=blur / sight.per_mm)
        share = float(np.median(edge_offsets(tried, places[chosen], normals[chosen], 0.4)[1]))
        if share > most:
            best, most = tried.blur, share
    return best


def wall_at(wall: Floats, normals: Floats) -> Floats:
    """The wall's colour, (n, 3), where it faces the way of outward normals, (n, 2)."""
    return np.asarray(
        wall[np.round(np.arctan2(*normals.T[::-1]) * _SECTORS / (2 * np.pi)).astype(int) % _SECTORS]
    )


def wall_colours(sight: Sight, places: Floats, normals: Floats) -> Floats | None:
    """The wall's colour, (8, 3), by the way that it faces: a lamp from aside lights some sides more.

    It is the colour of all of the wall, as bright as explains most where there are places enough.
    """
    whole = _wall_colour(sight, places, normals)
    if whole is None:
        return None
    found = np.repeat(whole[None], _SECTORS, axis=0)
    walls = wall_widths(sight, places, normals)
    sector = np.round(np.arctan2(*normals.T[::-1]) * _SECTORS / (2 * np.pi)).astype(int) % _SECTORS
    plain = replace(sight, weigh=np.eye(3))
    for n in range(_SECTORS):
        chosen = np.flatnonzero((walls * sight.per_mm > _WALL_SHOWS) & (sector == n))
        if len(chosen) < 20:
            continue
        chosen = chosen[:: max(1, len(chosen) // 60)]
        shares = [
            edge_offsets(replace(plain, wall=gain * found), places[chosen], normals[chosen], 0.4)[1].mean()
            for gain in _GAINS
        ]
        best = int(np.argmax(shares))
        if shares[best] > shares[_GAINS.index(1.0)] + 0.01:
            found[n] = _GAINS[best] * whole
    return found


def _wall_colour(sight: Sight, places: Floats, normals: Floats) -> Floats | None:
    """The wall's colour where it shows, for edges within 0.3 mm of these places; None if it shows nowhere.

    A step taken for another gives a wall of a mixed colour that fits nearly as well: of the colours that
    the places give when shifted, the one that explains the most counts.
    """
    walls = wall_widths(sight, places, normals)
    chosen = np.flatnonzero(walls * sight.per_mm > _WALL_SHOWS)
    if len(chosen) < 20:
        return None
    chosen = chosen[np.argsort(walls[chosen], kind="stable")][-600:]
    chosen = np.sort(chosen)[:: max(1, len(chosen) // 100)]
    places, normals, walls = places[chosen], normals[chosen], walls[chosen]
    best, most = None, -np.inf
    plain = replace(sight, weigh=np.eye(3))  # the wall may be of the ground's own hue
    for shift in (-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3):
        colour = _between(sight, places + shift * normals, normals, walls)
        wall = np.repeat(colour[None], _SECTORS, axis=0)
        share = edge_offsets(replace(plain, wall=wall), places, normals, 0.4)[1]
        if share.mean() > most:
            best, most = colour, float(share.mean())
    return best


def _between(sight: Sight, places: Floats, normals: Floats, walls: Floats) -> Floats:
    """Median of the walls' colours, each fitted with face and ground by least squares."""
    blur = sight.blur
    found = []
    for n, wall in enumerate(walls):
        at = np.arange(-_BESIDE, wall + _BESIDE, _SAMPLE / sight.per_mm)
        face, ground = 1 - rise(at / blur), rise((at - wall) / blur)
        print_on = ground * tones_at(sight, places[[n]], normals[[n]], at)[0]
        columns = np.column_stack([face, 1 - face - ground, print_on, print_on * (at - wall)])
        colours = sampled(sight, places[[n]], normals[[n]], at)[0]
        found.append(np.linalg.lstsq(columns, colours, rcond=None)[0][1])
    return np.asarray(np.median(found, axis=0))
