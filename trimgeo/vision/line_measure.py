"""The middle of a pen stroke to a fraction of a pixel, and the straight and free stretches that follow it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from trimgeo.model.board import Picture
from trimgeo.vision.line_closing import resampled
from trimgeo.vision.line_corner import arm_of, meeting
from trimgeo.vision.line_ink import Floats, Floats32, to_pixels, weighed_lab

STEP = 0.2  # mm between the stations at which a stroke is measured
STRAIGHT = 0.05  # mm; a stretch that stays within this of one line was drawn along a straight edge
STREAKY = 0.02  # of the pen's width: so far a streaky stroke's middle strays from a straight edge
EASE = 7  # stations to either side whose scatter is evened out
SHARP = np.radians(45.0)  # a free hand wavers through smaller turns
LEAST_SPLIT = 6.0  # mm; shorter straight pieces between corners are a free hand's
CLEAN = 0.02  # mm; pieces of a bent side that stray more from their lines are a free hand's
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
    """A stretch between two corners: two points where ``straight``, else as many as the hand asks for.

    ``spread`` is the standard deviation of its middle where there is ink, ``hidden`` that in its gaps, mm.
    """

    points: Floats
    straight: bool
    spread: float
    hidden: float


def _normals(points: Floats, reach: int, closed: bool) -> Floats:
    padded = np.pad(points, ((reach, reach), (0, 0)), mode="wrap" if closed else "edge")
    along = padded[2 * reach :] - padded[: len(points)]
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])


def measure(picture: Picture, line: LineString, colour: Floats32, width: float, edge: Polygon) -> Measured:
    """The middle of a stroke from the half levels of its two edges; measured again, each from the last.

    Where the board ends, ``edge``, one edge of the stroke and the pen's width must do.
    """
    closed = line.is_closed
    points = resampled(line, STEP)
    points = points[:-1] if closed else points
    found = Measured(points, np.full(len(points), width), np.ones(len(points), bool), closed)
    for _ in range(4):
        normals = _normals(_evened(found, 5), 5, closed)
        found = _across(picture, _evened(found, 3), normals, colour, width, closed, edge)
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
    picture: Picture,
    points: Floats,
    normals: Floats,
    colour: Floats32,
    width: float,
    closed: bool,
    edge: Polygon,
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
    sides = [_half_level(profile, ink, rim & (t * sign > 0), t, sign, width) for sign in (-1, 1)]
    if not closed:
        sides = _off_board(sides, points, normals, width, edge)
    middle, wide = (sides[0] + sides[1]) / 2, sides[1] - sides[0]
    sound = np.isfinite(wide) & (np.linalg.norm(ink - colour, axis=1) < 28)
    usual = float(np.median(wide[sound])) if sound.sum() > 10 else width
    with np.errstate(invalid="ignore"):
        sound &= (np.abs(wide - usual) < 0.25 * usual + 0.05) & (np.abs(middle) < 0.5 * width + 0.4)
    shift = np.where(sound, middle, 0.0)
    return Measured(points + shift[:, None] * normals, np.where(sound, wide, usual), sound, closed)


def _off_board(
    sides: list[Floats], points: Floats, normals: Floats, width: float, edge: Polygon
) -> list[Floats]:
    """The two edges of a stroke, one that lies off the board put a pen's width from the other."""
    on = []
    for sign in (-1, 1):
        flank = points + sign * (0.5 * width + 0.15) * normals
        on.append(shapely.contains_xy(edge, flank[:, 0], flank[:, 1]))
    low = np.where(on[0], sides[0], np.where(on[1], sides[1] - width, np.nan))
    high = np.where(on[1], sides[1], np.where(on[0], sides[0] + width, np.nan))
    return [low, high]


def _half_level(
    profile: Floats32, ink: Floats32, rim: NDArray[np.bool_], t: Floats, sign: int, width: float
) -> Floats:
    """Where, going out from the middle to one side, half of the ink's difference to the ground is left."""
    ground = np.median(profile[:, rim], axis=1)
    step = ink - ground
    contrast = np.einsum("ij,ij->i", step, step)
    part = np.einsum("ikj,ij->ik", profile - ground[:, None], step) / np.maximum(contrast, 1e-6)[:, None]
    outward = np.flatnonzero(t * sign >= 0)[::sign]
    level, place = part[:, outward], np.abs(t[outward])
    inner, outer = level[:, :-1], level[:, 1:]
    falls = (inner >= 0.5) & (outer < 0.5)
    share = (inner - 0.5) / np.where(falls, inner - outer, 1)
    where = np.where(falls, place[:-1] + share * np.diff(place), np.inf)
    # Streaks in the ink and print beside it make falls of their own: the pen's width says which is the rim.
    k = np.argmin(np.abs(where - 0.5 * width), axis=1)
    good = falls.any(axis=1) & (contrast > 64)
    return np.where(good, sign * where[np.arange(len(level)), k], np.nan)


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
    for n in np.argsort(-turn, kind="stable").tolist():
        if turn[n] < SHARP:
            break
        here = _centred(points, n, width, found.closed)
        gaps = [abs(here - m) for m in corners]
        gaps = [min(g, len(points) - g) for g in gaps] if found.closed else gaps
        if all(g > 1.5 * reach for g in gaps):
            corners.append(here)
    return sorted(corners)


def _centred(points: Floats, station: int, width: float, closed: bool) -> int:
    """The station nearest to where the arms of a corner, seen from beyond its rounding, meet."""
    blind, count = round((0.6 * width + 0.4) / STEP), 12
    for _ in range(3):
        before = np.arange(station - blind - count, station - blind + 1)
        after = np.arange(station + blind + count, station + blind - 1, -1)
        if not closed and (before[0] < 0 or after[0] >= len(points)):
            return station
        arms = [arm_of(points[index % len(points)], False) for index in (before, after)]
        at = meeting(*arms)
        if at is None:
            return station
        near = np.arange(station - count, station + count + 1)
        near = near % len(points) if closed else near[(near >= 0) & (near < len(points))]
        station = int(near[np.argmin(np.hypot(*(points[near] - at).T))])
    return station


def stretch(points: Floats, pen: float, blind: int) -> list[Stretch]:
    """Points between two corners as one straight side, two or more with corners between, or a free one.

    ``blind`` stations to either side of a corner are left out: there the profile runs into the other arm.
    """
    fit = _line_of(points, pen)
    if fit is not None:
        return [fit]
    away = _from_chord(points)
    k = int(np.argmax(away))
    if min(k, len(points) - k) * STEP > LEAST_SPLIT and away[k] > 0.4:
        parts = [*stretch(points[: k - blind], pen, blind), *stretch(points[k + blind :], pen, blind)]
        if all(p.straight and p.spread < CLEAN + STREAKY * pen for p in parts):
            return parts
    even, spread, hidden = eased(points)
    return [Stretch(even, False, spread, hidden)]


def eased(points: Floats) -> tuple[Floats, float, float]:
    """Points (n, 2) along a free-hand stretch evened out, their scatter, and that where gaps are run over.

    A parabola through the neighbours of each point, the far and the stray ones weighed less (Cleveland 1979);
    over a gap the cubic that goes on from both its ends.
    """
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    reach = min(EASE, (len(points) - 1) // 2)
    if reach < 3:
        return points, 0.05, 0.05
    index = np.clip(np.arange(len(points)), reach, len(points) - 1 - reach)
    index = index[:, None] + np.arange(-reach, reach + 1)
    s = along[index] - along[:, None]
    base = np.clip(1 - (np.abs(s) / (np.abs(s).max(axis=1, keepdims=True) * 1.05)) ** 3, 0, 1) ** 3
    weight, even, way, spread = base, points, points, 0.0
    powers = np.stack([np.ones_like(s), s, s**2], axis=-1)
    for _ in range(3):
        gram = np.einsum("nk,nki,nkj->nij", weight, powers, powers) + 1e-9 * np.eye(3)
        right = np.einsum("nk,nki,nkc->nic", weight, powers, points[index])
        fit = np.linalg.solve(gram, right)
        even, way = fit[:, 0], fit[:, 1]
        off = np.hypot(*(points - even).T)
        spread = float(np.median(off)) / 1.1774  # the median of a Rayleigh distribution
        keep = np.clip(1 - (off / max(6 * spread, 0.03)) ** 2, 0, 1) ** 2
        weight = base * np.maximum(keep[index], 1e-3)
    return _over_gaps(even, way, along), spread, _hidden(even, way, along)


def _hidden(points: Floats, way: Floats, along: Floats) -> float:
    """How far, rms, the middle of a run-over gap may be off: what seen stretches as long show."""
    gap = float(np.diff(along).max())
    if gap < 3 * STEP:
        return 0.0
    count = round(gap / STEP)
    first = np.arange(0, len(points) - count)
    last = first + count
    seen = np.array(
        [np.diff(along[i : j + 1]).max() < 3 * STEP for i, j in zip(first, last, strict=True)], bool
    )
    first, last = first[seen[: len(first)]], last[seen[: len(last)]]
    if len(first) < 5:
        return gap / 8
    p, q, far = points[first], points[last], (along[last] - along[first])[:, None]
    u, v = (way[n] / np.maximum(np.hypot(*way[n].T), 1e-9)[:, None] for n in (first, last))
    middle = (p + q) / 2 + far / 8 * (u - v)
    off = middle - points[first + count // 2]
    return float(np.sqrt((off**2).sum(axis=1).mean()))


def _over_gaps(points: Floats, way: Floats, along: Floats) -> Floats:
    """Points with more in between where they lie far apart: Hermite's cubic."""
    parts: list[Floats] = []
    start = 0
    for n in np.flatnonzero(np.diff(along) > 3 * STEP).tolist():
        far = along[n + 1] - along[n]
        t = np.linspace(0, 1, round(far / STEP) + 1)[1:-1, None]
        p, q = points[n], points[n + 1]
        u, v = (far * w / max(float(np.hypot(*w)), 1e-9) for w in (way[n], way[n + 1]))
        bridge = (2 * t**3 - 3 * t**2 + 1) * p + (t**3 - 2 * t**2 + t) * u
        bridge = bridge + (3 * t**2 - 2 * t**3) * q + (t**3 - t**2) * v
        parts += [points[start : n + 1], bridge]
        start = n + 1
    return np.vstack([*parts, points[start:]])


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
    length = float(np.hypot(*(points[-1] - points[0])))
    half, most = np.quantile(np.abs(off), [0.5, 0.9])
    if half > 0.004 + 0.0012 * length or most > min(STRAIGHT + STREAKY * pen, 0.012 + 0.003 * length):
        return None
    along = (points - middle) @ axes[0]
    ends = middle + np.array([along[0], along[-1]])[:, None] * axes[0]
    return Stretch(ends, True, float(np.sqrt((off**2).mean())), 0.0)
