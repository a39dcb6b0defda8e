"""The middle of a pen stroke to a fraction of a pixel, and the straight and free stretches that follow it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from trimgeo.model.board import Picture
from trimgeo.vision.line_closing import resampled
from trimgeo.vision.line_ink import Floats, Floats32, to_pixels, weighed_lab

STEP = 0.2  # mm between the stations at which a stroke is measured
STRAIGHT = 0.09  # mm; a stretch that stays within this of one line was drawn along a straight edge
STREAKY = 0.1  # of the pen's width: so far a streaky stroke's middle strays from a straight edge
LEAST_SIDE = 4.0  # mm


@dataclass(frozen=True, eq=False)
class Measured:
    """Stations along a stroke: ``points`` (n, 2) of its middle, mm, ``width`` mm, and which are ``sound``."""

    points: Floats
    width: Floats
    sound: NDArray[np.bool_]
    closed: bool


@dataclass(frozen=True, eq=False)
class Stretch:
    """A stretch between two corners: two points where ``straight``, else as many as the hand asks for."""

    points: Floats
    straight: bool
    spread: float


def _normals(points: Floats, reach: int, closed: bool) -> Floats:
    padded = np.pad(points, ((reach, reach), (0, 0)), mode="wrap" if closed else "edge")
    along = padded[2 * reach :] - padded[: len(points)]
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])


def measure(picture: Picture, line: LineString, colour: Floats32, width: float, closed: bool) -> Measured:
    """The middle of a stroke from the half levels of its two edges; measured twice, each from the last."""
    points = resampled(line, STEP)
    points = points[:-1] if closed else points
    found = Measured(points, np.full(len(points), width), np.ones(len(points), bool), closed)
    for _ in range(2):
        normals = _normals(_evened(found, 5), 5, closed)
        found = _across(picture, _evened(found, 3), normals, colour, width, closed)
        if found.sound.sum() > 20:
            width = float(np.median(found.width[found.sound]))
    return found


def _evened(found: Measured, reach: int) -> Floats:
    """Sound points averaged along the stroke, the others put in between."""
    index = np.arange(len(found.points))
    if found.sound.sum() < 2:
        return found.points
    filled = np.column_stack([np.interp(index, index[found.sound], c[found.sound]) for c in found.points.T])
    filled[~found.sound & (index < index[found.sound][0])] = found.points[
        ~found.sound & (index < index[found.sound][0])
    ]
    filled[~found.sound & (index > index[found.sound][-1])] = found.points[
        ~found.sound & (index > index[found.sound][-1])
    ]
    around = ((reach, reach), (0, 0))
    padded = (
        np.pad(filled, around, mode="wrap")
        if found.closed
        else np.pad(filled, around, mode="reflect", reflect_type="odd")
    )
    return np.asarray(sum(padded[n : n + len(filled)] for n in range(2 * reach + 1)) / (2 * reach + 1))


def _across(
    picture: Picture, points: Floats, normals: Floats, colour: Floats32, width: float, closed: bool
) -> Measured:
    """Profiles across the stroke at each station; an edge is where ink has half given way to the ground."""
    half = 0.5 * width + max(0.7, 0.5 * width)
    t = np.linspace(-half, half, 2 * int(np.ceil(half * min(2.0 * picture.pixels_per_mm, 30))) + 1)
    places = points[:, None] + t[:, None] * normals[:, None]
    at = to_pixels(places.reshape(-1, 2), picture.origin, picture.pixels_per_mm).astype(np.float32)
    at = at.reshape(len(points), len(t), 2)
    profile = np.empty((len(points), len(t), 3), np.float32)
    for first in range(0, len(points), 8000):  # remap takes at most 32767 rows
        block = slice(first, first + 8000)
        seen = cv2.remap(picture.pixels, at[block, :, 0], at[block, :, 1], cv2.INTER_LINEAR)
        profile[block] = weighed_lab(seen)
    profile = cv2.blur(profile, (1, 3))
    core = np.abs(t) < max(0.2 * width, 0.08)
    ink = np.median(profile[:, core], axis=1)
    rim = np.abs(t) > 0.5 * width + 0.3
    sides = [_half_level(profile, ink, rim & (t * sign > 0), t, sign) for sign in (-1, 1)]
    middle, wide = (sides[0] + sides[1]) / 2, sides[1] - sides[0]
    sound = np.isfinite(wide) & (np.linalg.norm(ink - colour, axis=1) < 28)
    usual = float(np.median(wide[sound])) if sound.sum() > 10 else width
    with np.errstate(invalid="ignore"):
        sound &= (np.abs(wide - usual) < 0.25 * usual + 0.05) & (np.abs(middle) < 0.5 * width + 0.4)
    shift = np.where(sound, middle, 0.0)
    return Measured(points + shift[:, None] * normals, np.where(sound, wide, usual), sound, closed)


def _half_level(profile: Floats32, ink: Floats32, rim: NDArray[np.bool_], t: Floats, sign: int) -> Floats:
    """Where, going out from the middle to one side, half of the ink's difference to the ground is left."""
    ground = np.median(profile[:, rim], axis=1)
    step = ink - ground
    contrast = np.einsum("ij,ij->i", step, step)
    part = np.einsum("ikj,ij->ik", profile - ground[:, None], step) / np.maximum(contrast, 1e-6)[:, None]
    outward = np.flatnonzero(t * sign >= 0)[::sign]
    level = part[:, outward]
    below = level < 0.5
    k = np.argmax(below, axis=1)
    rows = np.arange(len(level))
    inner, outer = level[rows, np.maximum(k - 1, 0)], level[rows, k]
    share = (inner - 0.5) / np.where(np.abs(inner - outer) < 1e-6, 1, inner - outer)
    place = np.abs(t[outward])
    where = place[np.maximum(k - 1, 0)] + share * (place[k] - place[np.maximum(k - 1, 0)])
    good = below.any(axis=1) & (k > 0) & (contrast > 64)
    return np.where(good, sign * where, np.nan)


def corner_stations(found: Measured, width: float) -> list[int]:
    """Stations at which the stroke turns sharply: corners a person meant."""
    reach = max(3, round((1.5 + 0.8 * width) / STEP))
    points = _evened(found, 2)
    around = ((reach, reach), (0, 0))
    padded = np.pad(points, around, mode="wrap") if found.closed else np.pad(points, around, mode="edge")
    before, after = points - padded[: len(points)], padded[2 * reach :] - points
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.abs(np.arctan2(cross, np.einsum("ij,ij->i", before, after)))
    if not found.closed:
        turn[:reach] = turn[-reach:] = 0
    corners: list[int] = []
    for n in np.argsort(-turn, kind="stable"):
        if turn[n] < np.radians(26):
            break
        gaps = [abs(n - m) for m in corners]
        gaps = [min(g, len(points) - g) for g in gaps] if found.closed else gaps
        if all(g > 1.5 * reach for g in gaps):
            corners.append(int(n))
    return sorted(corners)


def stretch(points: Floats, pen: float) -> list[Stretch]:
    """Points between two corners as one straight side, two or more with corners between, or a free one."""
    fit = _line_of(points, pen)
    if fit is not None:
        return [fit]
    away = _from_chord(points)
    k = int(np.argmax(away))
    if min(k, len(points) - k) * STEP > 6 and away[k] > 0.4:
        parts = [*stretch(points[: k - 4], pen), *stretch(points[k + 4 :], pen)]
        if all(p.straight for p in parts):
            return parts
    even = _evened(Measured(points, points[:, 0], np.ones(len(points), bool), False), min(3, len(points) - 1))
    spread = float(np.median(np.abs(points - even))) if len(points) > 8 else 0.05
    thin = shapely.get_coordinates(LineString(even).simplify(0.04))
    return [Stretch(thin, False, spread)]


def _from_chord(points: Floats) -> Floats:
    chord = points[-1] - points[0]
    away = points - points[0]
    return np.asarray(np.abs(chord[0] * away[:, 1] - chord[1] * away[:, 0]) / max(np.hypot(*chord), 1e-9))


def _line_of(points: Floats, pen: float) -> Stretch | None:
    """One straight side through the points, outliers left out; None where the points are not straight.

    ``pen`` mm: the middle of a wide stroke is known less well, because its ink is streaky.
    """
    if np.hypot(*(points[-1] - points[0])) < LEAST_SIDE:
        return None
    use = np.ones(len(points), bool)
    for _ in range(4):
        middle = points[use].mean(axis=0)
        _, _, axes = np.linalg.svd(points[use] - middle, full_matrices=False)
        off = (points - middle) @ np.array([-axes[0][1], axes[0][0]])
        spread = 1.4826 * float(np.median(np.abs(off[use])))
        use = np.abs(off) < max(3 * spread, 0.06)
        if use.sum() < 0.6 * len(points) or use.sum() < 8:
            return None
    if len(off) > 30:  # single bad stations do not count, a wobble does
        off = np.median(np.lib.stride_tricks.sliding_window_view(off, 9), axis=1)
    if np.quantile(np.abs(off), 0.97) > max(STRAIGHT, STREAKY * pen):
        return None
    along = (points - middle) @ axes[0]
    ends = middle + np.array([along[0], along[-1]])[:, None] * axes[0]
    return Stretch(ends, True, spread)
