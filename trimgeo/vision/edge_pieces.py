"""A measured silhouette to the outline of the shown face: lines and arcs as wholes, and where they meet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.vision.edge_lines import NOISE, middle_of_a_side, places_of

Floats = NDArray[np.float64]
Measure = Callable[[Floats, Floats], Floats]
ToFace = Callable[[Floats, Floats], Floats]

_LEAST_LINE = 0.9
"""A straight stretch shorter than this, mm, is not fitted as one: blur and wall make such at corners."""
_LEAST_RADIUS, _MOST_RADIUS, _LEAST_SWEEP = 0.6, 20.0, 0.5
"""Arcs that are told from a blurred corner and from a line: radii in mm, sweep in radians."""
_CORNER = 0.45
"""Length, mm, next to a corner that its blur has moved."""
_TANGENT = 0.15
"""A line passing an arc's circle at less than this, mm, touches it."""
_FAR = 0.5
"""A meeting of line and arc further than this, mm, from their measured ends is none: a fillet lies there."""


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


@dataclass(frozen=True)
class Pieces:
    """Vertices (x, y, bulge), shape (n, 3), counter-clockwise; ``spread`` of the points, mm.

    ``odd`` are the places, (k, 2), of stretches that no line and no arc explains.
    """

    vertices: Floats
    spread: float
    odd: Floats


def fitted_pieces(points: Floats, measure: Measure, to_face: ToFace) -> Pieces:
    """Lines and arcs through measured points, (n, 2), mm, counter-clockwise and closed.

    ``measure(places, normals)`` finds the edge again near places whose normal is known now (NaN where it
    does not); ``to_face(points, normals)`` takes off the wall.  Each piece is moved as a whole.

    >>> around = shapely.LinearRing([(0, 0), (20, 0), (20, 10), (0, 10)])
    >>> dense = shapely.get_coordinates(shapely.segmentize(around, 0.1))[:-1]
    >>> same = fitted_pieces(dense, lambda places, _: places, lambda places, _: places)
    >>> sorted(same.vertices.round(2).tolist())
    [[0.0, 0.0, 0.0], [0.0, 10.0, 0.0], [20.0, 0.0, 0.0], [20.0, 10.0, 0.0]]
    """
    rough = _split(points)
    pieces = [_on_face(_again(piece, measure), to_face) for piece in rough]
    vertices: list[list[float]] = []
    odd: list[Floats] = []
    starts: list[list[Floats]] = []
    for n, piece in enumerate(pieces):
        after = pieces[(n + 1) % len(pieces)]
        joint = _joint(piece, after)
        starts.append(joint)
        if np.hypot(*(after.ends[0] - piece.ends[1])) > 2.0:
            odd.append((after.ends[0] + piece.ends[1]) / 2)
    for n, piece in enumerate(pieces):
        begin, end = starts[n - 1][-1], starts[n][0]
        vertices.append([*begin, _bulge(piece, begin, end)])
        if len(starts[n]) == 2 and np.hypot(*(starts[n][1] - end)) > 1e-6:
            vertices.append([*end, 0.0])
    return Pieces(np.array(vertices), _spread_of(pieces), np.array(odd).reshape(-1, 2))


def _spread_of(pieces: list[Piece]) -> float:
    """The scatter that nine tenths of the outline keep."""
    if not pieces:
        return float("inf")
    lengths = [float(np.hypot(*(piece.ends[1] - piece.ends[0]))) for piece in pieces]
    order = np.argsort([piece.spread for piece in pieces], kind="stable")
    share = np.cumsum(np.array(lengths)[order]) / max(sum(lengths), 1e-9)
    return pieces[int(order[int(np.argmax(share >= 0.9))])].spread


def _split(points: Floats) -> list[Piece]:
    points = np.roll(points, -middle_of_a_side(points), axis=0)
    closed = np.vstack([points, points[:1]])
    simple = shapely.get_coordinates(shapely.simplify(shapely.LineString(closed), NOISE))
    where = places_of(closed, simple)
    found: list[Piece] = []
    n = 0
    while n < len(where) - 1:
        arc, last = _longest_arc(closed, where, n)
        if arc is not None:
            found.append(arc)
            n = last
            continue
        line = line_through(closed[where[n] : where[n + 1] + 1])
        if line is not None:
            found.append(line)
        n += 1
    return _joined(found)


def _longest_arc(points: Floats, where: list[int], n: int) -> tuple[Piece | None, int]:
    """The arc over most chords from chord n on, and the number of the chord after it."""
    best: tuple[Piece | None, int] = (None, n)
    for last in range(n + 2, min(n + 40, len(where) - 1) + 1):
        part = points[where[n] : where[last] + 1]
        if len(part) < 6:
            continue
        arc = arc_through(part)
        if arc is None:
            if last > n + 3:
                break
            continue
        chords = np.hypot(*np.diff(points[where[n : last + 1]], axis=0).T)
        if chords.max() > 1.6 * np.sqrt(8 * arc.radius * NOISE):
            continue  # a straight stretch with its rounded end
        best = (arc, last)
    return best


def _joined(found: list[Piece]) -> list[Piece]:
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
    if abs(sweep) < _LEAST_SWEEP or abs(sweep) * radius < 0.8:
        return None
    spread = 1.4826 * float(np.median(off)) + 1e-3
    return Piece(centre + mean, np.zeros(2), radius, 1 if sweep > 0 else -1, points[[0, -1]], spread)


def _again(piece: Piece, measure: Measure) -> Piece:
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
        found = measure(places, np.broadcast_to(_outward(piece), places.shape))
        found = found[np.isfinite(found).all(axis=1)]
        # The corners' share is left out already: ends are put back for the fit's own trimming.
        better = line_through(np.vstack([piece.ends[:1], found, piece.ends[1:]])) if len(found) > 4 else None
    if better is None or (piece.radius and abs(better.radius - piece.radius) > 0.3 * piece.radius):
        return piece
    return Piece(better.at, better.along, better.radius, piece.turn, piece.ends, better.spread)


def _outward(piece: Piece) -> Floats:
    return np.array([piece.along[1], -piece.along[0]])


def _on_face(piece: Piece, to_face: ToFace) -> Piece:
    """The piece without the wall that stands out of the face below it."""
    if not piece.radius:
        normal = _outward(piece)[None]
        at = to_face(piece.at[None], normal)[0]
        ends = to_face(piece.ends, np.repeat(normal, 2, axis=0))
        return Piece(at, piece.along, 0.0, 0, ends, piece.spread)
    begin, end = (np.arctan2(*(at - piece.at)[::-1]) for at in piece.ends)
    sweep = piece.turn * ((piece.turn * (end - begin)) % (2 * np.pi))
    angles = begin + sweep * np.linspace(0, 1, 60)
    out = np.column_stack([np.cos(angles), np.sin(angles)])
    points = to_face(piece.at + piece.radius * out, piece.turn * out)
    moved = arc_through(points)
    if moved is None:
        return piece
    return Piece(moved.at, moved.along, moved.radius, piece.turn, points[[0, -1]], piece.spread)


def _joint(a: Piece, b: Piece) -> list[Floats]:
    """Where a ends and b begins: one point where they meet, else two."""
    near = (a.ends[1] + b.ends[0]) / 2
    gap = float(np.hypot(*(b.ends[0] - a.ends[1])))
    if not a.radius and not b.radius:
        cross = float(a.along[0] * b.along[1] - a.along[1] * b.along[0])
        if abs(cross) > 0.05:
            way = b.at - a.at
            meet = a.at + a.along * float(way[0] * b.along[1] - way[1] * b.along[0]) / cross
            if np.hypot(*(meet - near)) < 1.0 + gap:
                return [meet]
    elif a.radius and b.radius:
        return [near] if gap < 0.3 else [_nearest(a, near), _nearest(b, near)]
    else:
        line, arc = (b, a) if a.radius else (a, b)
        meet, touches = _touch(line, arc, near)
        if touches or np.hypot(*(meet - near)) < _FAR:
            return [meet]
    return [_nearest(a, a.ends[1]), _nearest(b, b.ends[0])]


def _touch(line: Piece, arc: Piece, near: Floats) -> tuple[Floats, bool]:
    """Where a line meets an arc's circle by a place, and whether it touches it there."""
    foot = line.at + line.along * float((arc.at - line.at) @ line.along)
    off = float(np.hypot(*(foot - arc.at)))
    half = float(np.sqrt(max(arc.radius**2 - off**2, 0.0)))
    slack = _TANGENT * min(1.0, arc.radius)
    if abs(off - arc.radius) < slack and np.hypot(*(foot - near)) < 0.6 + 0.4 * arc.radius:
        return np.asarray(foot), True
    both = [foot - half * line.along, foot + half * line.along]
    return np.asarray(min(both, key=lambda at: float(np.hypot(*(at - near))))), False


def _nearest(piece: Piece, point: Floats) -> Floats:
    if piece.radius:
        way = point - piece.at
        return np.asarray(piece.at + way * (piece.radius / max(float(np.hypot(*way)), 1e-9)))
    return np.asarray(piece.at + piece.along * float((point - piece.at) @ piece.along))


def _bulge(piece: Piece, begin: Floats, end: Floats) -> float:
    if not piece.radius:
        return 0.0
    a, b = (np.arctan2(*(at - piece.at)[::-1]) for at in (begin, end))
    sweep = (piece.turn * (b - a)) % (2 * np.pi)
    return float(piece.turn * np.tan(sweep / 4)) if 1e-3 < sweep < 6.2 else 0.0
