"""Strokes out of a mask of ink: thinned to their middle, traced, joined over gaps and at corners."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.line_ink import Floats, Ground, Ink, Mask, to_board

_RING = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))  # neighbours in turn


@dataclass(frozen=True, eq=False)
class Stroke:
    """The middle of one stroke as found: ``points`` (n, 2), mm."""

    points: Floats
    length: float


def thinned(mask: Mask) -> Mask:
    """A mask thinned to lines one pixel wide (Zhang and Suen 1984), 255 on them.

    >>> bar = np.zeros((9, 20), np.uint8)
    >>> bar[3:6, 2:18] = 255
    >>> int((thinned(bar) > 0).sum(axis=0).max())
    1
    """
    image = np.pad((mask > 0).astype(np.uint8), 1)
    changed = True
    while changed:
        changed = False
        for first in (True, False):
            gone = _removable(image, first)
            if gone[0].size:
                image[gone] = 0
                changed = True
    return np.ascontiguousarray(image[1:-1, 1:-1] * np.uint8(255))


def _removable(image: Mask, first: bool) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rim pixels whose removal neither breaks nor shortens a line, of one of the two half steps."""
    rows, columns = np.nonzero(image)
    around = [image[rows + dy, columns + dx] for dy, dx in _RING]
    count = np.sum(around, axis=0, dtype=np.int64)
    turns = np.sum([(around[n] == 0) & (around[(n + 1) % 8] == 1) for n in range(8)], axis=0)
    n, e, s, w = around[0], around[2], around[4], around[6]
    rim = ((n & e & s) == 0) & ((e & s & w) == 0) if first else ((n & e & w) == 0) & ((n & s & w) == 0)
    gone = (count >= 2) & (count <= 6) & (turns == 1) & rim
    return rows[gone], columns[gone]


def traced(place: Ground, ink: Ink) -> list[Stroke]:
    """The strokes of an ink: thinned, of about the pen's width, longer than they are wide."""
    line = thinned(_without_thin(ink.mask, 0.6 * ink.width * place.pixels_per_mm))
    pixel = 1 / place.pixels_per_mm
    depth = 2 * ink.depth - pixel
    line[(depth < 0.45 * ink.width - 0.5 * pixel) | (depth > 1.8 * ink.width + 0.15)] = 0
    line = thinned(_pruned(line, round(max(1.2 * ink.width, 0.8) * place.pixels_per_mm)))
    found = []
    for walk in _walks(*np.nonzero(_unbranched(line))):
        points = to_board(np.asarray(walk, dtype=float), place.origin, place.pixels_per_mm)
        length = float(np.hypot(*np.diff(points, axis=0).T).sum())
        if length >= max(ink.width, 1.2):
            found.append(Stroke(_smoothed(points), length))
    return found


def _without_thin(mask: Mask, width: float) -> Mask:
    """A mask without what is thinner than ``width`` pixels: print that touches a wider stroke."""
    size = 2 * int((width - 1) / 2) + 1 if width >= 1 else 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc), dtype=np.uint8) if size > 1 else mask


def _unbranched(line: Mask) -> Mask:
    """A thinned line less the places where it branches: three ways or more lead off (crossing number)."""
    image = np.pad((line > 0).astype(np.uint8), 1)
    rows, columns = np.nonzero(image)
    around = [image[rows + dy, columns + dx] for dy, dx in _RING]
    turns = np.sum([(around[n] == 0) & (around[(n + 1) % 8] == 1) for n in range(8)], axis=0)
    branches = np.zeros_like(line)
    branches[rows[turns > 2] - 1, columns[turns > 2] - 1] = 255
    return np.where(cv2.dilate(branches, np.ones((3, 3), np.uint8)) > 0, 0, line).astype(np.uint8)


def _pruned(line: Mask, most: int) -> Mask:
    """A thinned line without its spurs: side branches of at most ``most`` pixels that end free."""
    whole = line.copy()
    branches = cv2.dilate(line - _unbranched(line), np.ones((3, 3), np.uint8))
    for walk in _walks(*np.nonzero(_unbranched(line))):
        hang = [bool(branches[row, column]) for column, row in (walk[0], walk[-1])]
        if len(walk) <= most and hang[0] != hang[1]:
            whole[[row for _, row in walk], [column for column, _ in walk]] = 0
    return whole


def _walks(rows: NDArray[np.int64], columns: NDArray[np.int64]) -> list[list[tuple[int, int]]]:
    """Pixels of lines without branches in the order in which they follow each other: (column, row)."""
    left = dict.fromkeys(zip(columns.tolist(), rows.tolist(), strict=True), True)
    beside = [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1)]

    def onward(at: tuple[int, int]) -> tuple[int, int] | None:
        for dx, dy in beside:
            following = (at[0] + dx, at[1] + dy)
            if left.get(following):
                return following
        return None

    walks = []
    for start in list(left):
        if not left[start]:
            continue
        left[start] = False
        both = []
        for _ in range(2):
            way, at = [], start
            while (following := onward(at)) is not None:
                left[following] = False
                way.append(following)
                at = following
            both.append(way)
        walks.append([*reversed(both[1]), start, *both[0]])
    return walks


def _smoothed(points: Floats) -> Floats:
    """Points averaged with their neighbours two steps either way: takes out the staircase of pixels."""
    if len(points) < 7:
        return points
    padded = np.vstack([points[:1].repeat(2, 0), points, points[-1:].repeat(2, 0)])
    mean = np.mean([padded[n : n + len(points)] for n in range(5)], axis=0)
    mean[:2], mean[-2:] = points[:2], points[-2:]
    return np.asarray(mean)
