"""Lines and arcs, each fitted as a whole, through a measured edge."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.edge_lines import NOISE

Floats = NDArray[np.float64]
Measure = Callable[[Floats, Floats], Floats]

_LEAST_LINE = 0.9
"""A straight stretch shorter than this, mm, is not fitted as one: blur and wall make such at corners."""
_LEAST_RADIUS, _MOST_RADIUS, _LEAST_SWEEP = 0.6, 20.0, 0.5
"""Arcs that are told from a blurred corner and from a line: radii in mm, sweep in radians."""
_LEAST_RISE = 0.13
"""Height, mm, of an arc above its chord at least."""
_SHORT, _SQUARE = 3.0, 0.12
"""Lines shorter than this, mm, are taken for square where that moves their ends by less than this, mm."""
_TURNED = 0.35
"""How far, mm, a line that is measured again may leave its ends: no measurement reaches further."""
_CORNER = 0.45
"""Length, mm, next to a corner that its blur has moved."""


@dataclass(frozen=True)
class Piece:
    """A straight stretch (``along`` its unit direction, ``radius`` 0) or an arc about ``at``, mm.

    ``turn`` is 1 for an arc bent to the left, -1 to the right; ``ends`` (2, 2) the measured ends and
    ``spread`` the scatter of the points about it, mm.
    """

    at: Floats
    along: Floats
    radius: float
    turn: int
    ends: Floats
    spread: float


def in_one_line(found: list[Piece]) -> list[Piece]:
    """Straight stretches in a row that run on in one line, as one."""
    kept: list[Piece] = []
    for piece in [*found[1:], found[0]] if found else []:
        if kept and not piece.radius and not kept[-1].radius:
            before = kept[-1]
            whole = np.array([before.ends[0], piece.ends[1]])
            way = whole[1] - whole[0]
            length = float(np.hypot(*way))
            across = np.array([-way[1], way[0]]) / max(length, 1e-9)
            off = np.abs((np.vstack([before.ends, piece.ends, [before.at], [piece.at]]) - whole[0]) @ across)
            if before.along @ piece.along > np.cos(0.05) and off.max() < 1.5 * NOISE:
                kept[-1] = Piece(whole.mean(axis=0), way / length, 0.0, 0, whole, before.spread)
                continue
        kept.append(piece)
    return kept


def line_through(points: Floats) -> Piece | None:
    """A robust line, its corners left out; None for a short stretch.  Tukey's biweight (textbook)."""
    ends = points[[0, -1]]
    length = float(np.hypot(*(ends[1] - ends[0])))
    if length < _LEAST_LINE:
        return None
    along = (points - ends[0]) @ (ends[1] - ends[0]) / length
    trim = min(_CORNER, 0.3 * length)
    inner = points[(along > trim) & (along < length - trim)]
    if len(inner) < 3:
        return None
    weights = np.ones(len(inner))
    for _ in range(8):
        middle = np.average(inner, axis=0, weights=weights)
        off = inner - middle
        _, _, axes = np.linalg.svd(off * np.sqrt(weights)[:, None], full_matrices=False)
        across = off @ np.array([-axes[0, 1], axes[0, 0]])
        spread = 1.4826 * float(np.median(np.abs(across))) + 1e-3
        weights = np.maximum(1 - (across / (4.7 * spread)) ** 2, 0.0) ** 2 + 1e-9
    way = axes[0] if axes[0] @ (ends[1] - ends[0]) > 0 else -axes[0]
    return Piece(middle, way, 0.0, 0, middle + way * ((ends - middle) @ way)[:, None], spread)


def arc_through(points: Floats) -> Piece | None:
    """A circle through points in a row, None where they lie on none of a fillet's size.

    The linear least squares of x² + y² = 2 a x + 2 b y + c (Kåsa 1976), refined by distances.
    """
    mean = points.mean(axis=0)
    p = points - mean
    columns = np.column_stack([2 * p, np.ones(len(p))])
    a, b, c = np.linalg.lstsq(columns, (p * p).sum(axis=1), rcond=None)[0]
    centre, radius = np.array([a, b]), float(np.sqrt(max(c + a * a + b * b, 0.0)))
    for _ in range(4):
        way = p - centre
        r = np.maximum(np.hypot(*way.T), 1e-9)
        off = r - radius
        weights = np.sqrt(1 / (1 + (off / 0.05) ** 2))
        slopes = np.column_stack([-way / r[:, None], -np.ones(len(p))]) * weights[:, None]
        step = np.linalg.lstsq(slopes, off * weights, rcond=None)[0]
        centre, radius = centre - step[:2], radius - float(step[2])
    off = np.abs(np.hypot(*(p - centre).T) - radius)
    if not _LEAST_RADIUS <= radius <= _MOST_RADIUS or np.percentile(off, 95) > NOISE:
        return None
    angle = np.unwrap(np.arctan2(*(p - centre).T[::-1]))
    sweep = float(angle[-1] - angle[0])
    if abs(sweep) < _LEAST_SWEEP or radius * (1 - np.cos(min(abs(sweep), np.pi) / 2)) < _LEAST_RISE:
        return None
    spread = 1.4826 * float(np.median(off)) + 1e-3
    return Piece(centre + mean, np.zeros(2), radius, 1 if sweep > 0 else -1, points[[0, -1]], spread)


def measured_again(piece: Piece, measure: Measure) -> Piece:
    """The piece through the edge as it is measured along the piece's own normals."""
    if piece.radius:
        begin, end = (np.arctan2(*(at - piece.at)[::-1]) for at in piece.ends)
        sweep = piece.turn * ((piece.turn * (end - begin)) % (2 * np.pi))
        angles = begin + sweep * np.linspace(0.08, 0.92, max(12, int(abs(sweep) * piece.radius / 0.06)))
        out = np.column_stack([np.cos(angles), np.sin(angles)])
        found = measure(piece.at + piece.radius * out, piece.turn * out)
        found = found[np.isfinite(found).all(axis=1)]
        better = arc_through(found) if len(found) > 8 else None
    else:
        length = float((piece.ends[1] - piece.ends[0]) @ piece.along)
        trim = min(_CORNER, 0.25 * length)
        way = np.linspace(trim, length - trim, max(8, int(length / 0.06)))
        places = piece.ends[0] + way[:, None] * piece.along
        found = measure(places, np.broadcast_to(outward(piece), places.shape))
        found = found[np.isfinite(found).all(axis=1)]
        # The corners' share is left out already: ends are put back for the fit's own trimming.
        better = line_through(np.vstack([piece.ends[:1], found, piece.ends[1:]])) if len(found) > 4 else None
    if better is None or (piece.radius and abs(better.radius - piece.radius) > 0.3 * piece.radius):
        return piece
    if not piece.radius and np.abs((piece.ends - better.at) @ outward(better)).max() > _TURNED:
        return piece  # a short line through two edges in turn
    return Piece(better.at, better.along, better.radius, piece.turn, piece.ends, better.spread)


def squared(pieces: list[Piece]) -> list[Piece]:
    """Short lines turned to a multiple of 45 degrees from the longest, if that moves their ends by little.

    Blur and corners tilt a line of a millimetre or two by more than anyone saws it.
    """
    lines = [piece for piece in pieces if not piece.radius]
    if not lines:
        return pieces
    way = max((piece.ends[1] - piece.ends[0] for piece in lines), key=lambda each: float(np.hypot(*each)))
    main = float(np.arctan2(*way[::-1]))
    turned = []
    for piece in pieces:
        length = float(np.hypot(*(piece.ends[1] - piece.ends[0])))
        angle = float(np.arctan2(*piece.along[::-1]))
        right = main + round((angle - main) / (np.pi / 4)) * np.pi / 4
        if not piece.radius and length < _SHORT and abs(angle - right) * length / 2 < _SQUARE:
            piece = replace(piece, along=np.array([np.cos(right), np.sin(right)]))
        turned.append(piece)
    return turned


def outward(piece: Piece) -> Floats:
    """Unit normal to the right of a straight piece, (2,)."""
    return np.array([piece.along[1], -piece.along[0]])


def direction(piece: Piece, at: Floats) -> Floats:
    """Unit direction of a piece at a place on it, (2,)."""
    if not piece.radius:
        return piece.along
    way = (at - piece.at) / max(float(np.hypot(*(at - piece.at))), 1e-9)
    return piece.turn * np.array([-way[1], way[0]])


def meetings(a: Piece | None, b: Piece | None) -> list[Floats]:
    """Where two lines or circles cross."""
    if a is None or b is None:
        return []
    if a.radius and b.radius:
        way = b.at - a.at
        apart = float(np.hypot(*way))
        if apart < 1e-9:
            return []
        along = (apart**2 + a.radius**2 - b.radius**2) / (2 * apart)
        square = a.radius**2 - along**2
        foot, across = a.at + way / apart * along, np.array([-way[1], way[0]]) / apart
    elif not a.radius and not b.radius:
        cross = float(a.along[0] * b.along[1] - a.along[1] * b.along[0])
        if abs(cross) < 0.05:
            return []
        way = b.at - a.at
        return [a.at + a.along * float(way[0] * b.along[1] - way[1] * b.along[0]) / cross]
    else:
        line, arc = (b, a) if a.radius else (a, b)
        foot = line.at + line.along * float((arc.at - line.at) @ line.along)
        square = arc.radius**2 - float(((foot - arc.at) ** 2).sum())
        across = line.along
    if square < 0:
        return []
    return [foot - np.sqrt(square) * across, foot + np.sqrt(square) * across]


def nearest(piece: Piece, point: Floats) -> Floats:
    """The place of a line or a circle nearest to a point."""
    if piece.radius:
        way = point - piece.at
        return np.asarray(piece.at + way * (piece.radius / max(float(np.hypot(*way)), 1e-9)))
    return np.asarray(piece.at + piece.along * float((point - piece.at) @ piece.along))
