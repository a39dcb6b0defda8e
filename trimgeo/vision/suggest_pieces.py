"""Pieces of a picture that come apart at some level of colour, fitted with rectangles, circles and hulls."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.suggest_ground import Ground, Mask, Single

Floats = NDArray[np.float64]

_KINDS_OF_COLOUR = 8
_LEVELS = (9.0, 14.0, 20.0, 28.0, 38.0, 50.0)
"""Lab distances from bare board at which pieces are cut out."""
_RECTANGLE, _CIRCLE, _HULL = 0.86, 0.6, 0.92
"""Least share of the box that a piece fills, of a rim that follows a circle, and of the hull it fills."""
_PLAINER = 0.97
"""A hull fits any piece a little better than the box or circle that it really is."""
_CUT = 0.9
"""The same of a piece that follows a circle for the most part: a can less the dark stripe printed on it."""


@dataclass(frozen=True, eq=False)
class Shape:
    """A fitted piece in working pixels: ``corners`` (n, 2); ``circle`` is column, row, radius.

    ``fit`` is how well the piece fills it, ``rim`` the share of its rim that shows, both 0 to 1.
    ``told_by`` is what it is known by: its rim, or a chip's caps, or what may be no more than a chip's pads,
    or rows of leads.
    """

    corners: Floats
    circle: tuple[float, float, float] | None
    fit: float
    area: float
    rim: float = 0.0
    confidence: float = 0.0
    kind: Literal["component", "hole", "pad"] = "component"
    told_by: Literal["rim", "caps", "pads", "leads"] = "rim"


def pieces(ground: Ground, sizes: tuple[float, float]) -> list[Shape]:
    """Fitted pieces whose longer side lies between ``sizes``, pixels; many of them nearly alike."""
    found: list[Shape] = []
    seen: set[tuple[float, ...]] = set()
    for mask in _masks(ground):
        contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            x, y, across, down = cv2.boundingRect(contour)
            # The same piece again at another level; what is this small has no side long enough.
            key = (x, y, across, down, len(contour), cv2.contourArea(contour))
            if key in seen or float(np.hypot(across, down)) + 1 < sizes[0]:
                continue
            seen.add(key)
            _, (wide, tall), _ = cv2.minAreaRect(contour)
            long, short = max(wide, tall) + 1, min(wide, tall) + 1
            if sizes[0] <= long <= sizes[1] and short >= 0.5 * sizes[0]:
                found += _fitted(contour)
    return found


def _masks(ground: Ground) -> Iterator[Mask]:
    """Where the board is not bare, at a few levels, and each kind of colour; each opened twice."""
    radii = [round(share * ground.per_mm) for share in (0.2, 0.45)]
    discs = [
        cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1)) for r in sorted(set(radii)) if r
    ]
    for mask in _plain_masks(ground):
        mask = cv2.bitwise_and(mask, ground.inside)
        yield mask
        for disc in discs:
            yield np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc), dtype=np.uint8)
        closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, discs[-1]) if discs else mask
        for disc in discs[-1:]:
            yield np.asarray(cv2.morphologyEx(closed, cv2.MORPH_OPEN, disc), dtype=np.uint8)


def _plain_masks(ground: Ground) -> Iterator[Mask]:
    for level in _LEVELS:
        yield ((ground.off > level) * 255).astype(np.uint8)
    labels, centres = _kinds(ground)
    bare = int(np.argmin(np.linalg.norm(centres - ground.colour, axis=1)))
    for n in range(len(centres)):
        if n != bare:
            yield ((labels == n) * 255).astype(np.uint8)
    order = np.argsort(centres[:, 0], kind="stable")
    for k in range(1, len(order)):
        level = (centres[order[k - 1], 0] + centres[order[k], 0]) / 2
        light = ((ground.lab[..., 0] > level) * 255).astype(np.uint8)
        yield light
        yield np.asarray(cv2.bitwise_not(light), dtype=np.uint8)


def _kinds(ground: Ground) -> tuple[NDArray[np.int64], Single]:
    """Each pixel's kind of colour, and the kinds' colours in Lab, (k, 3)."""
    colours = ground.lab[(ground.inside > 0) & (ground.off > _LEVELS[0])]
    colours = np.ascontiguousarray(colours[:: max(1, len(colours) // 20_000)])
    if len(colours) < 10 * _KINDS_OF_COLOUR:
        return np.zeros(ground.off.shape, np.int64), ground.colour[None]
    cv2.setRNGSeed(0)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    start = np.empty((0,), np.int32)
    _, _, centres = cv2.kmeans(colours, _KINDS_OF_COLOUR, start, criteria, 2, cv2.KMEANS_PP_CENTERS)
    kinds = np.vstack([centres, ground.colour[None]]).astype(np.float32)
    nearest = np.full(ground.off.shape, np.inf, np.float32)
    labels = np.zeros(ground.off.shape, np.int64)
    for n, kind in enumerate(kinds):
        away = ((ground.lab - kind) ** 2).sum(axis=2)
        closer = away < nearest
        nearest[closer], labels[closer] = away[closer], n
    return labels, kinds


def _fitted(contour: NDArray[np.int32]) -> list[Shape]:
    """Every shape that fits a piece: its box, its circle, its hull.

    Centres of pixels lie half a pixel inside the piece's rim, so that all are grown by it.
    """
    points = contour[:, 0, :].astype(np.float32)
    if len(points) < 8:
        return []
    area = float(cv2.contourArea(contour)) + 0.5 * len(points)
    found = []
    middle, (wide, tall), turn = cv2.minAreaRect(contour)
    box_area = (wide + 1) * (tall + 1)
    if area / box_area >= _RECTANGLE:
        corners = np.asarray(cv2.boxPoints((middle, (wide + 1, tall + 1), turn)), dtype=np.float64)
        found.append(Shape(corners, None, area / box_area, box_area))
    (column, row), radius = cv2.minEnclosingCircle(contour)
    away = np.hypot(points[:, 0] - column, points[:, 1] - row)
    near = away > radius - max(1.2, 0.05 * radius)
    turns = np.floor(np.arctan2(points[near, 1] - row, points[near, 0] - column) * 8).astype(np.intp)
    around = int(np.count_nonzero(np.bincount(turns + 26)))
    cut = around / 51 >= _CIRCLE and area / (np.pi * (radius + 0.5) ** 2) > 0.6
    if cut:
        circle = (float(column), float(row), float(radius) + 0.5)
        found.append(Shape(_round(circle), circle, min(1.0, around / 51), np.pi * circle[2] ** 2))
    hull = cv2.convexHull(contour)
    whole = float(cv2.contourArea(hull)) + 0.5 * float(cv2.arcLength(hull, True)) + 1
    if area / whole >= _HULL and area / box_area > 0.7:
        near_hull = cv2.approxPolyDP(hull, 0.6, True)[:, 0, :].astype(np.float64)
        if len(near_hull) > 4:
            fit = (_CUT if cut else _PLAINER) * area / whole
            found.append(Shape(near_hull, None, fit, whole))
    return found


def _round(circle: tuple[float, float, float]) -> Floats:
    turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    return np.column_stack([circle[0] + circle[2] * np.cos(turn), circle[1] + circle[2] * np.sin(turn)])
