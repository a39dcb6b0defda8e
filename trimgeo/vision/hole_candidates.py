"""Where a picture may show a hole: contours at many levels as round as a disc, or as a hole from aside.

The opening of a hole seen from aside is what its near and its far rim have in common: a lens between two
equal arcs.  How far the two stand apart is known from the camera: a lens is looked for as well as a disc.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.model.board import Picture, Pixels

Floats = NDArray[np.float64]
Eye = tuple[float, float, float]

_PER_MM = 8.0
"""Pixels per mm in which holes are looked for: one of 0.6 mm has five of them."""
_LEVELS = 12
_RARE_LEVELS = 3
"""Beyond the levels of all but one pixel in a hundred: a plain board's few holes are all that is there."""
_SEEN = 12.0
"""Grey levels by which a hole differs from what is round it."""
_LEAST_PIXELS = 2.5
"""A piece fewer pixels across than this has no shape."""


@dataclass(frozen=True)
class Walls:
    """How far, pixels, far rims of holes are seen from the near ones: towards ``foot``, ``share`` of the way.

    ``share`` is t / (h + t) for a board of thickness t under a camera at height h (similar triangles).
    """

    foot: tuple[float, float]
    share: float

    def shift(self, at: Floats) -> Floats:
        """From the near rim's centre to the far one's, (n, 2), for centres at (n, 2) or (2,), pixels."""
        return (np.asarray(self.foot) - at) * self.share


def walls_of(picture: Picture, eye: Eye | None, thickness: float) -> Walls:
    """Where the walls of holes are seen; no wall is in a scan.

    >>> picture = Picture(10.0, (0.0, 99.0), (100, 100), lambda: np.zeros((100, 100, 3), np.uint8))
    >>> walls_of(picture, (5.0, 4.0, 318.4), 1.6)
    Walls(foot=(50.0, 59.0), share=0.005)
    """
    if eye is None or thickness <= 0:
        return Walls((0.0, 0.0), 0.0)
    per_mm, (x, y) = picture.pixels_per_mm, picture.origin
    return Walls((x + eye[0] * per_mm, y - eye[1] * per_mm), thickness / (eye[2] + thickness))


def candidates(
    picture: Picture, pixels: Pixels, within: Polygon | None, walls: Walls, limits: tuple[float, float]
) -> Floats:
    """Centres (column, row) and radii, (n, 3), pixels, of what may be a hole or its pad, each centre once.

    ``limits`` are the diameters, mm, that are looked for.
    """
    rows, columns = pixels.shape[:2]
    left, top, right, bottom = 0, 0, columns, rows
    if within is not None:
        x0, y0, x1, y1 = within.bounds
        per_mm, (ox, oy) = picture.pixels_per_mm, picture.origin
        left = max(0, int(ox + (x0 - limits[1]) * per_mm))
        right = min(columns, int(ox + (x1 + limits[1]) * per_mm) + 2)
        top = max(0, int(oy - (y1 + limits[1]) * per_mm))
        bottom = min(rows, int(oy - (y0 - limits[1]) * per_mm) + 2)
    if right - left < 5 or bottom - top < 5:
        return np.empty((0, 3))
    part = pixels[top:bottom, left:right]
    scale = min(1.0, _PER_MM / picture.pixels_per_mm)
    if scale < 1.0:
        part = np.asarray(cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
    per_mm = picture.pixels_per_mm * scale
    across = (max(_LEAST_PIXELS, 0.7 * limits[0] * per_mm), 1.2 * limits[1] * per_mm)
    shift = np.array([left, top]) + 0.5 / scale - 0.5
    foot = (np.array(walls.foot) - shift) * scale
    small = Walls((float(foot[0]), float(foot[1])), walls.share)
    found = np.vstack([_round_pieces(channel, across, small) for channel in _channels(part)])
    # A disc may be a hole with its wall or its opening alone: seen from aside both centres are kept.
    found = _each_once(found, 0.3 if walls.share == 0 else 0.04)
    return np.column_stack([found[:, :2] / scale + shift, found[:, 2] / scale])


def _channels(part: Pixels) -> list[Pixels]:
    grey = cv2.GaussianBlur(cv2.cvtColor(part, cv2.COLOR_BGR2GRAY), (0, 0), 0.6)
    highest = cv2.max(cv2.max(part[..., 0], part[..., 1]), part[..., 2])
    lowest = cv2.min(cv2.min(part[..., 0], part[..., 1]), part[..., 2])
    colour = cv2.GaussianBlur(cv2.subtract(highest, lowest), (0, 0), 1.0)
    return [np.asarray(grey, np.uint8), np.asarray(colour, np.uint8)]


def _round_pieces(channel: Pixels, across: tuple[float, float], walls: Walls) -> Floats:
    """Column, row and radius, (n, 3), of contours at any level like a disc, or like a hole from aside."""
    found = [np.empty((0, 3))]
    for level in _levels(channel):
        _, mask = cv2.threshold(channel, float(level), 1, cv2.THRESH_BINARY)
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        # Along a circle in steps of one or root two there are 0.9 pixels for each of its perimeter.
        rings = [ring for ring in contours if 1.7 * across[0] < len(ring) < 3.6 * across[1] + 8]
        if rings:
            found.append(_holes_like(rings, across, walls))
    return np.vstack(found)


def _levels(channel: Pixels) -> Floats:
    """Grey levels at which pieces are looked for: between those that are common, and beyond."""
    least, low, high, most = np.percentile(channel[::2, ::2], [0, 1, 99, 100])
    common = np.linspace(low, high, _LEVELS + 2)[1:-1] if high - low >= _SEEN else np.empty(0)
    rare = [
        np.linspace(a, b, _RARE_LEVELS + 2)[1:-1]
        for a, b in ((least, low), (high, most))
        if b - a >= _SEEN + high - low
    ]
    return np.concatenate([common, *rare])


def _holes_like(rings: list[NDArray[np.int32]], across: tuple[float, float], walls: Walls) -> Floats:
    """Column, row and radius of those contours that are discs or lenses between two rims."""
    count = np.array([len(ring) for ring in rings])
    starts = np.cumsum(count) - count
    points = np.vstack([ring[:, 0, :] for ring in rings]).astype(np.float64)
    x, y = points.T
    after = np.arange(len(points)) + 1
    after[starts + count - 1] = starts
    twice = np.add.reduceat(x * y[after] - x[after] * y, starts)
    # Contours run through the middles of pixels: a piece's own inside its border, a gap's outside (Pick).
    sign = np.where(twice > 0, -1.0, 1.0)
    area = np.abs(twice) / 2 + sign * count / 2 + 1
    middle = np.column_stack([np.add.reduceat(v, starts) for v in (x, y)]) / count[:, None]
    good = area > 0.5 * across[0] ** 2
    found = []
    for each in (walls, Walls((0.0, 0.0), 0.0)) if walls.share > 0 else (walls,):
        shift = each.shift(middle)
        wall = np.hypot(*shift.T)
        along = np.where(wall[:, None] > 1e-9, shift / np.maximum(wall, 1e-9)[:, None], (1.0, 0.0))
        u = np.repeat(along, count, axis=0)
        lengths = []
        for place in (x * u[:, 0] + y * u[:, 1], y * u[:, 0] - x * u[:, 1]):
            lengths.append(np.maximum.reduceat(place, starts) - np.minimum.reduceat(place, starts) + sign)
        radius = (lengths[0] + wall) / 2
        half = np.minimum(wall / 2 / np.maximum(radius, 1e-9), 1.0)
        wide = 2 * radius * np.sqrt(1 - half**2)
        lens = 2 * radius**2 * (np.arccos(half) - half * np.sqrt(1 - half**2))
        slack = 1.2 / np.maximum(np.minimum(lengths[0], lengths[1]), 1)
        fits = good & (2 * radius >= across[0]) & (2 * radius <= across[1]) & (lengths[0] > 1) & (lens > 1)
        fits &= np.abs(np.log(np.maximum(lengths[1], 0.1) / np.maximum(wide, 0.1))) < 0.18 + slack
        fits &= np.abs(np.log(area / np.maximum(lens, 0.1))) < 0.13 + 1.3 * slack
        found.append(np.column_stack([middle - shift / 2, radius])[fits])
    return np.vstack(found)


def _each_once(rounds: Floats, apart: float) -> Floats:
    """One for each crowd of pieces about one centre, holes and their pads alike: its median.

    Centres are one that lie no further from each other than ``apart`` of the smaller radius and 0.7 pixels.
    """
    if not len(rounds):
        return rounds
    order = np.argsort(-rounds[:, 2], kind="stable")
    rounds = rounds[order]
    points = shapely.points(rounds[:, :2])
    near = shapely.STRtree(points).query(points, "dwithin", apart * rounds[:, 2] + 0.7)
    off = np.hypot(*(rounds[near[0], :2] - rounds[near[1], :2]).T)
    near = near[:, off < apart * rounds[near[1], 2] + 0.7]
    ends = np.searchsorted(near[0], np.arange(len(rounds) + 1))
    crowd = np.full(len(rounds), -1)
    for n, (a, b) in enumerate(itertools.pairwise(ends.tolist())):
        if crowd[n] < 0:
            alike = near[1, a:b]
            crowd[alike[crowd[alike] < 0]] = n
    firsts, count = np.unique(crowd, return_counts=True)
    starts = np.cumsum(count) - count
    middle = []
    for place in rounds[:, :2].T:
        ranked = place[np.lexsort((place, crowd))]
        middle.append((ranked[starts + (count - 1) // 2] + ranked[starts + count // 2]) / 2)
    return np.column_stack([*middle, rounds[firsts, 2]])  # the first of a crowd is its widest
