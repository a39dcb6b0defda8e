"""The board told from its ground: the ground's colours, a coarse mask, its contour between pixels."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.errors import JobError
from trimgeo.model.board import Picture, Pixels
from trimgeo.vision.edge_parts import parts_at_rim
from trimgeo.vision.ground_print import Bed, off_print, tones

Floats = NDArray[np.float64]

_COARSE = 5.0
"""Pixels per mm in which the board is told from its background."""
_LEAST_LEVEL, _LEAST_EVEN = 12.0, 6.0
"""Grey levels that noise, JPEG and light leave in the ground of a photo, and of a scan that was evened."""
_CUT, _CUT_EVEN = 18.0, 8.0
"""Grey levels off the ground by which the board is told in a photo and in a scan, its own contrast allowing:
what is nearer to the ground's colour than the mask, such as a part or print, belongs to the board."""
_PHOTO, _SCAN = (0.55, 1.08), (0.985, 1.015)
"""How dark and how bright the ground gets in shadow and light; on a scan that was evened there is neither."""
_MOSTLY = 80
"""Per cent of the border's changes that are its grain: squares of a chessboard change on fewer places."""
_BLURRED = 7
"""Coarse pixels about which two colours of the ground may be mixed by blur."""
_SAME = 2.5
"""A ground's colour this near, grey levels, to others, their shades and mixtures is none of its own."""
_STRIP = 9
"""Coarse pixels, half of them to each side, about a part in which a narrow strip is the board's."""
_DISC = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
_TIMES = 8.0
"""Times the middle of what a ground is off its colours that it is off them at most, with some to spare."""
LEAST_AREA = 100.0
"""A board smaller than this, mm², is a speck of something else."""


def unclear(where: str) -> JobError:
    """The refusal of a picture in which no board is found."""
    return JobError(
        where,
        "no board can be told from its background in this picture",
        "photograph it on a plain ground of another colour, or give the edge's corners as points",
    )


@dataclass(frozen=True)
class Ground:
    """The ground's colours, (k, 3), commonest first, its darkest and brightest shade, and its ``level``.

    ``level`` is by how many grey levels the ground is off its colours at most, ``grain`` by how many it
    changes over half a mm, as wood does.
    """

    colours: Floats
    shades: tuple[float, float]
    level: float
    grain: float


@dataclass(frozen=True, eq=False)
class Told:
    """The board told from its ``ground`` at a coarse ``scale``: (rows, columns), 1 on it.

    ``parts`` is 1 on those that are of the ground's colour.
    """

    mask: Pixels
    parts: Pixels
    scale: float
    ground: Ground


def evened(pixels: Pixels) -> Pixels:
    """A scan with its light evened out: a plane through the brightness of the picture's border.

    >>> slope = np.broadcast_to(np.linspace(190, 210, 200)[None, :, None], (150, 200, 3)).astype(np.uint8)
    >>> bool(np.ptp(evened(slope)) <= 2)
    True
    """
    rows, columns = pixels.shape[:2]
    band, step = max(3, round(0.03 * min(rows, columns))), max(1, min(rows, columns) // 500)
    y = np.concatenate([np.arange(0, band, step), np.arange(rows - band, rows, step)])
    x = np.concatenate([np.arange(0, band, step), np.arange(columns - band, columns, step)])
    across, down = np.arange(0, columns, step), np.arange(0, rows, step)
    at = np.vstack([_grid(y, across), _grid(down, x)])
    light = pixels[at[:, 0], at[:, 1]].astype(np.float64).sum(axis=1)
    terms = np.column_stack([np.ones(len(at)), at[:, 0] / rows - 0.5, at[:, 1] / columns - 0.5])
    whole, down_by, across_by = np.linalg.lstsq(terms, light, rcond=None)[0]
    if whole < 1.0:
        return pixels
    found = np.empty_like(pixels)
    along = across_by * (np.arange(columns) / columns - 0.5)
    for first in range(0, rows, 256):  # in pieces: a large scan would not fit as floats
        part = np.arange(first, min(first + 256, rows))
        plane = whole + down_by * (part / rows - 0.5)[:, None] + along
        gain = np.clip(whole / np.maximum(plane, 1.0), 0.5, 2.0).astype(np.float32)
        found[part] = np.clip(np.round(pixels[part] * gain[..., None]), 0, 255)
    return found


def _grid(rows: NDArray[np.int64], columns: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.stack(np.meshgrid(rows, columns, indexing="ij"), axis=-1).reshape(-1, 2)


def board_told(picture: Picture, pixels: Pixels, scanned: bool, where: str, bed: Bed | None = None) -> Told:
    """The board told from its ground; ``bed`` is what is printed on that."""
    scale = min(1.0, _COARSE / picture.pixels_per_mm)
    small = np.asarray(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
    small = np.asarray(cv2.medianBlur(small, 3), np.uint8)
    centres, shares = _ground_colours(small)
    floor, cut, shades = (_LEAST_EVEN, _CUT_EVEN, _SCAN) if scanned else (_LEAST_LEVEL, _CUT, _PHOTO)
    off = _off_plain_ground(small.astype(np.float32), centres, shades, floor)
    per_mm, tone = picture.pixels_per_mm * scale, None
    sheet, least = np.ones(off.shape, bool), _level(off, floor)
    if bed is not None:
        sheet = cv2.resize(bed.within, small.shape[1::-1], None, 0, 0, cv2.INTER_NEAREST) > 0
        off, least = _off_sheet(off_print(bed, small, per_mm), off, sheet, floor)
        ink = np.asarray(cv2.resize(bed.ink, small.shape[1::-1], None, 0, 0, cv2.INTER_AREA), np.uint8)
        tone = np.asarray(tones(bed, ink) / np.float32(255), np.float32)
    ground = Ground(centres[np.argsort(-shares, kind="stable")], shades, least, _grain(small, bed))
    closed = _off(off, sheet, cut, least, where)
    mask = _largest(closed, sheet, per_mm, where)
    parts = np.zeros_like(mask) if scanned else parts_at_rim(mask, small, tone, per_mm)
    if parts.any():
        strips = closed & cv2.dilate(parts, np.ones((_STRIP, _STRIP), np.uint8))
        whole = np.asarray(cv2.morphologyEx(mask | parts | strips, cv2.MORPH_CLOSE, _DISC), np.uint8)
        mask = _largest(whole, sheet, per_mm, where)
    return Told(mask, parts, scale, ground)


def _off_sheet(
    printed: NDArray[np.float32], plain: NDArray[np.float32], sheet: NDArray[np.bool_], floor: float
) -> tuple[NDArray[np.float32], float]:
    """Distance in colour from the printed sheet and, in its measure, from the table round it; the level.

    The table may have a grain or spots that are none of the board's: there it takes more.
    """
    off = np.where(sheet, printed, plain)
    if sheet.all():
        return off, _level(off, floor)
    inner = cv2.erode(sheet.astype(np.uint8), np.ones((5, 5), np.uint8), None, (-1, -1), 1, 0, 0.0) > 0
    # The board covers less than half of the sheet: the middle of what is there is ground.
    level = max(floor, _TIMES * float(np.median(printed[inner]))) if inner.any() else floor
    return np.where(sheet, off, off * np.float32(level / _level(plain, floor))), level


def _off(off: NDArray[np.float32], sheet: NDArray[np.bool_], cut: float, least: float, where: str) -> Pixels:
    """What is off the ground, as 1; raises where nothing on the sheet is."""
    board = off[sheet & (off > least)]
    if len(board) == 0:
        raise unclear(where)
    mask = (off > max(least, min(cut, 0.4 * float(np.median(board))))).astype(np.uint8)
    return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, _DISC), np.uint8)


def _largest(closed: Pixels, sheet: NDArray[np.bool_], per_mm: float, where: str) -> Pixels:
    """The area, as 1, off the ground that has most on the sheet; raises if none has, or the rim cuts it."""
    # A part of the ground's colour may leave a narrow strip of the board outside itself.
    mask = np.asarray(cv2.morphologyEx(_filled(closed), cv2.MORPH_OPEN, _DISC), np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    if count < 2:
        raise unclear(where)
    chosen = 1 + int(np.argmax(np.bincount(labels[sheet], minlength=count)[1:]))
    left, top, wide, tall, area = (int(v) for v in stats[chosen])
    if area / per_mm**2 < LEAST_AREA:
        raise unclear(where)
    if left <= 1 or top <= 1 or left + wide >= mask.shape[1] - 1 or top + tall >= mask.shape[0] - 1:
        raise JobError(
            where,
            "the board, or something of its colour, runs out of the picture",
            "photograph the whole board with ground around it, or give the edge's corners as points",
        )
    return np.asarray(labels == chosen, np.uint8)


def _filled(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The mask with what it surrounds."""
    _, labels = cv2.connectedComponents(1 - mask, connectivity=4)
    rim = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    outside = np.isin(labels, rim) & (mask == 0)
    return np.asarray(~outside, np.uint8)


def _off_plain_ground(
    small: NDArray[np.float32], centres: Floats, shades: tuple[float, float], floor: float
) -> NDArray[np.float32]:
    """Distance in colour from the ground, whose colours are mixed only where blur may mix two of them."""
    each = [off_shades(small, colour, shades) for colour in centres]
    off = np.min(each, axis=0)
    around = np.ones((_BLURRED, _BLURRED), np.uint8)
    near = [cv2.dilate((one < floor).astype(np.uint8), around) for one in each]
    for n, m in itertools.combinations(range(len(centres)), 2):
        mixed = np.where(near[n] & near[m], _off_way(small, centres[n], centres[m]), np.inf)
        off = np.minimum(off, mixed)
    return np.asarray(off, np.float32)


def _grain(small: Pixels, bed: Bed | None) -> float:
    """Grey levels by which most of the picture's border changes over half a mm; 0 where it is printed."""
    if bed is not None:
        return 0.0
    band, apart = max(8, round(0.03 * min(small.shape[:2]))), round(0.5 * _COARSE)
    changes = []
    for strip in (small[:band], small[-band:], small[:, :band], small[:, -band:]):
        shades = strip.astype(np.float32)
        changes += [
            np.linalg.norm(shades[apart:] - shades[:-apart], axis=2).ravel(),
            np.linalg.norm(shades[:, apart:] - shades[:, :-apart], axis=2).ravel(),
        ]
    return float(np.percentile(np.concatenate(changes), _MOSTLY))


def _level(off: NDArray[np.float32], floor: float) -> float:
    """What the ground itself is off its colours by, twice over, by the border, thin lines apart."""
    wide = cv2.morphologyEx(off, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    band = max(3, round(0.03 * min(off.shape)))
    border = np.concatenate(
        [part.ravel() for part in (wide[:band], wide[-band:], wide[:, :band], wide[:, -band:])]
    )
    return max(floor, 2 * float(np.percentile(border, 99)))


def _ground_colours(small: Pixels) -> tuple[Floats, Floats]:
    """Up to three colours of the picture's border and their shares."""
    band = max(3, round(0.03 * min(small.shape[:2])))
    strips = [small[:band], small[-band:], small[:, :band], small[:, -band:]]
    border = np.vstack([strip.reshape(-1, 3) for strip in strips]).astype(np.float32)[::3]
    cv2.setRNGSeed(0)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 1.0)
    _, label, centres = cv2.kmeans(border, 3, np.empty((0, 0), np.int32), stop, 2, cv2.KMEANS_PP_CENTERS)
    shares = np.bincount(label.ravel(), minlength=3) / len(border)
    order = [int(n) for n in np.argsort(-shares, kind="stable") if shares[n] > 0.05]
    kept: list[int] = []
    for n in order:
        if not kept or off_ground(centres[n].reshape(1, 1, 3), centres[kept], _PHOTO)[0, 0] > _SAME:
            kept.append(n)
    return centres[kept].astype(np.float64), shares[kept]


def off_ground(
    small: NDArray[np.float32], centres: Floats, shades: tuple[float, float]
) -> NDArray[np.float32]:
    """Distance in colour from the ground's colours, their shades, and what lies between two of them."""
    off = np.min([off_shades(small, colour, shades) for colour in centres], axis=0)
    for a, b in itertools.combinations(centres, 2):
        off = np.minimum(off, _off_way(small, a, b))
    return np.asarray(off, np.float32)


def off_shades(
    small: NDArray[np.float32], colour: Floats, shades: tuple[float, float]
) -> NDArray[np.float32]:
    """Distance in colour, (n, m), from the shades of one colour."""
    return _off_way(small, colour * shades[0], colour * shades[1])


def _off_way(small: NDArray[np.float32], a: Floats, b: Floats) -> NDArray[np.float32]:
    way, start = (b - a).astype(np.float32), a.astype(np.float32)
    share = np.clip((small - start) @ way / max(float(way @ way), 1.0), 0, 1)
    off = small - start - share[..., None] * way
    return np.asarray(np.sqrt((off * off).sum(axis=-1)), np.float32)


def coarse_ring(mask: NDArray[np.uint8], scale: float) -> Floats:
    """The mask's outer contour in pixels of the picture, (n, 2), smoothed, evenly spaced."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = max(contours, key=len)[:, 0, :].astype(np.float64)
    return np.asarray((ring + 0.5) / scale - 0.5)


def evenly(ring: Floats, step: float, per_mm: float) -> tuple[Floats, Floats]:
    """Points along a ring a step apart and their outward normals, both (n, 2), smoothed over half a mm."""
    closed = np.vstack([ring, ring[:1]])
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(16, int(at[-1] / step))
    even = np.arange(count) * at[-1] / count
    points = np.column_stack([np.interp(even, at, closed[:, 0]), np.interp(even, at, closed[:, 1])])
    width = max(1, round(0.35 * per_mm / step))
    smooth = np.mean([np.roll(points, k, axis=0) for k in range(-width, width + 1)], axis=0)
    along = np.roll(smooth, -1, axis=0) - np.roll(smooth, 1, axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    outward = np.column_stack([along[:, 1], -along[:, 0]])
    return points, outward if shapely.is_ccw(shapely.LinearRing(ring)) else -outward
