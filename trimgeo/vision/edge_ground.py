"""The board told from its ground: the ground's colours, a coarse mask, its contour between pixels."""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.errors import JobError
from trimgeo.model.board import Picture, Pixels

Floats = NDArray[np.float64]

_COARSE = 5.0
"""Pixels per mm in which the board is told from its background."""
_STEP = 0.15
"""Distance, mm, of the places where the edge is measured."""
_REACH = 0.9
"""How far, mm, to both sides of the coarse edge it is looked for."""
_SHOWN = 14.0
"""Grey levels by which the board differs from the ground where its edge shows."""
_LEAST_LEVEL = 12.0
"""Grey levels that noise and JPEG leave in an even ground."""
_SAME = 2.5
"""A ground's colour this near, grey levels, to others, their shades and mixtures is none of its own."""
LEAST_AREA = 100.0
"""A board smaller than this, mm², is a speck of something else."""


def unclear(where: str) -> JobError:
    """The refusal of a picture in which no board is found."""
    return JobError(
        where,
        "no board can be told from its background in this picture",
        "photograph it on a plain ground of another colour, or give the edge's corners as points",
    )


def board_mask(
    picture: Picture, pixels: Pixels, where: str
) -> tuple[NDArray[np.uint8], float, Floats, float]:
    """The board as 1 at a coarse scale, that scale, the ground's colours, commonest first, and `_level`."""
    scale = min(1.0, _COARSE / picture.pixels_per_mm)
    small = np.asarray(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
    small = np.asarray(cv2.medianBlur(small, 3), np.uint8)
    centres, shares = _ground_colours(small)
    off = off_ground(small.astype(np.float32), centres)
    least = _level(off)
    board = off[off > least]
    if len(board) == 0:
        raise unclear(where)
    mask = (off > max(least, 0.4 * float(np.median(board)))).astype(np.uint8)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, disc)
    mask = np.asarray(cv2.morphologyEx(closed, cv2.MORPH_OPEN, disc), np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    if count < 2:
        raise unclear(where)
    chosen = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    left, top, wide, tall, area = (int(v) for v in stats[chosen])
    if area / (picture.pixels_per_mm * scale) ** 2 < LEAST_AREA:
        raise unclear(where)
    if left <= 1 or top <= 1 or left + wide >= mask.shape[1] - 1 or top + tall >= mask.shape[0] - 1:
        raise JobError(
            where,
            "the board, or something of its colour, runs out of the picture",
            "photograph the whole board with ground around it, or give the edge's corners as points",
        )
    return (labels == chosen).astype(np.uint8), scale, centres[np.argsort(-shares, kind="stable")], least


def _level(off: NDArray[np.float32]) -> float:
    """What the ground itself is off its colours by, twice over: from the picture's border."""
    band = max(3, round(0.03 * min(off.shape)))
    border = np.concatenate(
        [part.ravel() for part in (off[:band], off[-band:], off[:, :band], off[:, -band:])]
    )
    return max(_LEAST_LEVEL, 2 * float(np.percentile(border, 99)))


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
        if not kept or off_ground(centres[n].reshape(1, 1, 3), centres[kept])[0, 0] > _SAME:
            kept.append(n)
    return centres[kept].astype(np.float64), shares[kept]


def off_ground(small: NDArray[np.float32], centres: Floats) -> NDArray[np.float32]:
    """Distance in colour from the ground's colours, their shades, and what lies between two of them."""
    ends = [(colour * 0.55, colour * 1.08) for colour in centres]
    ends += [(a, b) for n, a in enumerate(centres) for b in centres[n + 1 :]]
    nearest = np.full(small.shape[:2], np.inf, np.float32)
    for a, b in ends:
        way = (b - a).astype(np.float32)
        start = a.astype(np.float32)
        share = np.clip((small - start) @ way / max(float(way @ way), 1.0), 0, 1)
        off = small - start - share[..., None] * way
        nearest = np.minimum(nearest, np.sqrt((off * off).sum(axis=2)))
    return nearest


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
