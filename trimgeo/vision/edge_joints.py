"""Where the pieces of an edge meet: at a corner, or through a fillet that touches both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.edge_corners import Bend, bend_between
from trimgeo.vision.edge_pieces import Piece, direction, meetings, nearest
from trimgeo.vision.edge_profile import Sight, edge_offsets

Floats = NDArray[np.float64]

_TANGENT = 0.15
"""A line passing an arc's circle at less than this, mm, touches it."""
_FAR = 0.7
"""A meeting further than this, mm, from what is missing between the ends is none."""
_SHORT = 6.0
"""A straight piece longer than this, mm, stands for itself."""


@dataclass(frozen=True)
class Joint:
    """Where one piece ends and the next begins, (2, 2), and the bulge of what lies between them.

    ``gap`` is what of it neither meeting nor fillet explains, ``spread`` how far the edge may lie off, mm.
    """

    points: Floats
    bulge: float
    gap: float
    spread: float


def joined(pieces: list[Piece], sight: Sight) -> tuple[Floats, list[Piece], list[Joint]]:
    """Vertices (x, y, bulge), shape (n, 3), counter-clockwise, the pieces used, and the joint after each.

    A piece that its neighbours' corner or fillet explains as well is left out; so is one that their
    meetings turn round.
    """
    kept = _with_short_sides(list(pieces), sight)
    own: set[int] = set()
    while len(kept) > 3:
        lost = next((n for n in _shortest_first(kept) if _is_bend(kept, n, sight, own)), None)
        if lost is None:
            break
        kept = kept[:lost] + kept[lost + 1 :]
    while True:
        joints = [_joint(a, b, sight) for a, b in zip(kept, [*kept[1:], *kept[:1]], strict=True)]
        back = [
            n
            for n, piece in enumerate(kept)
            if not piece.radius
            and float((joints[n].points[0] - joints[n - 1].points[1]) @ piece.along) < 0.02
        ]
        if not back or len(kept) < 4:
            break
        kept = kept[: back[0]] + kept[back[0] + 1 :]
    vertices: list[list[float]] = []
    for n, piece in enumerate(kept):
        begin, end = joints[n - 1].points[1], joints[n].points[0]
        vertices.append([*begin, bulge_of(piece, begin, end)])
        if np.hypot(*(joints[n].points[1] - end)) > 1e-6:
            vertices.append([*end, joints[n].bulge])
    return np.array(vertices), kept, joints


def _with_short_sides(pieces: list[Piece], sight: Sight) -> list[Piece]:
    """The pieces with the short straight side that lies between a line and an arc which it touches.

    A slot with a round end has such: where the slot is no deeper than a millimetre past its end the arc
    swallows it.
    """
    found: list[Piece] = []
    for a, b in zip(pieces, [*pieces[1:], *pieces[:1]], strict=True):
        found.append(a)
        if bool(a.radius) == bool(b.radius):
            continue
        line, arc, first = (b, a, True) if a.radius else (a, b, False)
        corner = [
            side for bend in (1, -1) if (side := _short_side(line, arc, bend, first, sight)) is not None
        ]
        found += corner[:1]
    return found


def _short_side(line: Piece, arc: Piece, bend: int, arc_first: bool, sight: Sight) -> Piece | None:
    """A side square to a line that touches an arc, if the edge runs along it; None if it does not."""
    way = bend * np.array([-line.along[1], line.along[0]])
    touch = arc.at - arc.radius * arc.turn * np.array([-way[1], way[0]])
    corner = line.at + line.along * float((touch - line.at) @ line.along)
    ends = np.array([touch, corner] if arc_first else [corner, touch])
    length = float((ends[1] - ends[0]) @ way)
    near = arc.ends[1] if arc_first else arc.ends[0]
    if not 0.3 < length < 3.0 or np.hypot(*(touch - near)) > 1.5:
        return None
    places = ends[0] + np.linspace(0.1, 0.9, 16)[:, None] * (ends[1] - ends[0])
    normals = np.broadcast_to([way[1], -way[0]], places.shape)
    offsets, shares = edge_offsets(sight, places, normals, 0.3)
    on = (np.abs(np.nan_to_num(offsets, nan=9.0)) < 0.07) & (shares > 0.5)
    if on.mean() < 0.7:
        return None
    side = Piece(ends.mean(axis=0), way, 0.0, 0, ends, float(np.median(np.abs(offsets[on]))))
    before, after = (arc, line) if arc_first else (line, arc)
    between = bend_between(sight, before, after, side, side.at)  # a fillet is no side
    return side if between is None or between.own or not between.radius else None


def _shortest_first(pieces: list[Piece]) -> list[int]:
    chords = [float(np.hypot(*(piece.ends[1] - piece.ends[0]))) for piece in pieces]
    return [int(n) for n in np.argsort(chords, kind="stable")]


def _is_bend(pieces: list[Piece], n: int, sight: Sight, own: set[int]) -> bool:
    """Whether a piece is no more than the corner or the fillet of its neighbours."""
    piece = pieces[n]
    before, after = pieces[n - 1], pieces[(n + 1) % len(pieces)]
    key = hash((id(before), id(piece), id(after)))
    if key in own:
        return False
    own.add(key)
    length = float(np.hypot(*(piece.ends[1] - piece.ends[0])))
    if length > _SHORT and not piece.radius:
        return False
    near = piece.ends.mean(axis=0)
    bend = bend_between(sight, before, after, piece, near)
    if bend is None or bend.own or (piece.radius and bend.turn != piece.turn and length > 1.5):
        return False
    return bool(np.hypot(*(bend.touch.mean(axis=0) - near)) < _FAR + 0.7 * length)


def _joint(a: Piece, b: Piece, sight: Sight) -> Joint:
    """Where a ends and b begins: where they meet, through a fillet where one shows, else across a gap."""
    near = (a.ends[1] + b.ends[0]) / 2
    gap = float(np.hypot(*(b.ends[0] - a.ends[1])))
    touch = _touch(a, b, near)
    if touch is not None:
        return Joint(np.array([touch, touch]), 0.0, 0.0, 0.0)
    bend = bend_between(sight, a, b, None, near)
    meet = min(meetings(a, b), key=lambda at: float(np.hypot(*(at - near))), default=None)
    if meet is not None and np.hypot(*(meet - near)) < _FAR + 0.6 * gap:
        return Joint(np.array([meet, meet]), 0.0, 0.0, 0.0) if bend is None else _joint_of(bend, a, b)
    points = np.array([nearest(a, a.ends[1]), nearest(b, b.ends[0])])
    return Joint(points, 0.0, float(np.hypot(*(points[1] - points[0]))), 0.0)


def _joint_of(bend: Bend, a: Piece, b: Piece) -> Joint:
    if not bend.radius:
        return Joint(bend.touch, 0.0, 0.0, bend.spread)
    u, v = direction(a, bend.touch[0]), direction(b, bend.touch[1])
    sweep = (bend.turn * float(np.arctan2(u[0] * v[1] - u[1] * v[0], u @ v))) % (2 * np.pi)
    return Joint(bend.touch, float(bend.turn * np.tan(sweep / 4)), 0.0, bend.spread)


def _touch(a: Piece, b: Piece, near: Floats) -> Floats | None:
    """Where a line touches an arc's circle by a place, if it does."""
    if bool(a.radius) == bool(b.radius):
        return None
    line, arc = (b, a) if a.radius else (a, b)
    foot = line.at + line.along * float((arc.at - line.at) @ line.along)
    slack = _TANGENT * min(1.0, arc.radius)
    off = abs(float(np.hypot(*(foot - arc.at))) - arc.radius)
    way = direction(arc, foot)
    if off < slack and float(way @ line.along) > 0 and np.hypot(*(foot - near)) < 0.6 + 0.4 * arc.radius:
        return np.asarray(foot)
    return None


def bulge_of(piece: Piece, begin: Floats, end: Floats) -> float:
    """Bulge of the side of a piece between two places on it."""
    if not piece.radius:
        return 0.0
    a, b = (np.arctan2(*(at - piece.at)[::-1]) for at in (begin, end))
    sweep = (piece.turn * (b - a)) % (2 * np.pi)
    return float(piece.turn * np.tan(sweep / 4)) if 1e-3 < sweep < 6.2 else 0.0
