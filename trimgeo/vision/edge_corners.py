"""What lies between two pieces of an edge: a corner, a fillet, or a piece of its own; by the pixels there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.edge_pieces import Piece, direction, meetings, nearest, outward
from trimgeo.vision.edge_profile import Sight, rise, tones_at, wall_at

Floats = NDArray[np.float64]

_RADII = np.concatenate([[0.0, 0.1, 0.2, 0.3], np.geomspace(0.4, 25.0, 21)])
"""Radii, mm, of fillets that are tried; 0 is a corner."""
_FILLET, _OWN = 1.15, 1.1
"""By how much better, in squares, a fillet must explain the pixels than a corner, a piece than either."""
_UNSURE = 1.04
"""Radii that leave up to so much more unexplained than the best are possible as well."""
_DEPTHS = (0.33, 0.67, 1.0)
"""Shares of the thickness at which the wall's cross sections are laid."""


@dataclass(frozen=True)
class Bend:
    """How two pieces meet: radius 0 at a corner; ``touch`` (2, 2) where the fillet touches them.

    ``spread`` is how far, mm, the edge would lie off with another radius that is as likely; ``own`` says that
    the piece between them is one of its own.
    """

    radius: float
    turn: int
    touch: Floats
    spread: float
    own: bool


def bend_between(sight: Sight, a: Piece, b: Piece, middle: Piece | None, near: Floats) -> Bend | None:
    """How a runs into b by a place; None where the two do not meet there at an angle.

    Each way is drawn as face, wall and ground with the picture's blur, their colours by least squares; the
    way that leaves the least unexplained counts, the simpler one where there is little between them.
    """
    meets = meetings(a, b)
    if not meets:
        return None
    meet = min(meets, key=lambda at: float(np.hypot(*(at - near))))
    u, v = direction(a, meet), direction(b, meet)
    turned = float(np.arctan2(u[0] * v[1] - u[1] * v[0], u @ v))
    ahead = float((meet - a.ends[0]) @ u), float((b.ends[1] - meet) @ v)
    if not 0.3 < abs(turned) < 2.7 or (min(ahead) < 0.2 and not (a.radius and b.radius)):
        return None
    turn = 1 if turned > 0 else -1
    ways = _ways(a, b, turn, turned, meet, ahead)
    reach = max(
        1.0, *(np.hypot(*(end - meet)) for end in ([*middle.ends] if middle else [a.ends[1], b.ends[0]]))
    )
    places, colours = _pixels_about(sight, meet, min(float(reach), 6.0) + 0.4)
    own = None if middle is None else _left(sight, places, colours, [a, middle, b], turn)
    left = np.array([_left(sight, places, colours, [a, b], turn, way) for way in ways])
    best = int(np.argmin(left * np.where([way[0] > 0 for way in ways], _FILLET, 1.0)))
    if own is not None and own * _OWN < left[best]:
        return Bend(0.0, turn, np.array([meet, meet]), 0.0, own=True)
    ways, left, best = _finer(sight, a, b, turn, meet, places, colours, ways, left, best)
    height = 1 / np.cos(turned / 2) - 1
    likely = [way[0] for way, each in zip(ways, left, strict=True) if each < _UNSURE * left[best]]
    spread = height * max(abs(radius - ways[best][0]) for radius in likely)
    return Bend(ways[best][0], turn, ways[best][2], min(spread, height * 2.0), own=False)


Way = tuple[float, Floats, Floats]


def _ways(
    a: Piece, b: Piece, turn: int, turned: float, meet: Floats, ahead: tuple[float, float]
) -> list[Way]:
    """Radius, centre and touching points of the fillets that have room."""
    most = (min(ahead) + 0.3) / np.tan(abs(turned) / 2)
    found: list[Way] = [(0.0, meet, np.array([meet, meet]))]
    for radius in _RADII[1:]:
        if radius > most and not (a.radius or b.radius):
            break
        made = fillet_between(a, b, float(radius), turn, meet)
        if made is None or max(np.hypot(*(made[0] - meet)), np.hypot(*(made[2] - meet))) > 6.0:
            break
        found.append((float(radius), made[1], np.array([made[0], made[2]])))
    return found


def _finer(
    sight: Sight,
    a: Piece,
    b: Piece,
    turn: int,
    meet: Floats,
    places: Floats,
    colours: Floats,
    ways: list[Way],
    left: Floats,
    best: int,
) -> tuple[list[Way], Floats, int]:
    """The ways with finer radii about the best fillet."""
    radius = ways[best][0]
    if not radius:
        return ways, left, best
    found, rest = list(ways), list(left)
    for factor in (0.85, 0.9, 0.95, 1.05, 1.1, 1.15):
        made = fillet_between(a, b, radius * factor, turn, meet)
        if made is not None:
            found.append((radius * factor, made[1], np.array([made[0], made[2]])))
            rest.append(_left(sight, places, colours, [a, b], turn, found[-1]))
    return found, np.array(rest), int(np.argmin(np.where([way[0] > 0 for way in found], rest, np.inf)))


def fillet_between(
    a: Piece, b: Piece, radius: float, turn: int, near: Floats
) -> tuple[Floats, Floats, Floats] | None:
    """Where a fillet touches a, its centre, and where it touches b; None where none of the radius fits.

    Its centre lies where both pieces meet when moved to the side of the bend by the radius.

    >>> x = Piece(np.zeros(2), np.array([1.0, 0.0]), 0.0, 0, np.zeros((2, 2)), 0.0)
    >>> y = Piece(np.array([10.0, 0.0]), np.array([0.0, 1.0]), 0.0, 0, np.zeros((2, 2)), 0.0)
    >>> [each.tolist() for each in fillet_between(x, y, 2.0, 1, np.array([9.0, 1.0]))]
    [[8.0, 0.0], [8.0, 2.0], [10.0, 2.0]]
    """
    meets = meetings(_moved(a, turn * radius), _moved(b, turn * radius))
    if not meets:
        return None
    centre = min(meets, key=lambda at: float(np.hypot(*(at - near))))
    return nearest(a, centre), centre, nearest(b, centre)


def _moved(piece: Piece, left: float) -> Piece | None:
    """The piece moved to its left."""
    if not piece.radius:
        across = np.array([-piece.along[1], piece.along[0]])
        return Piece(piece.at + left * across, piece.along, 0.0, 0, piece.ends, piece.spread)
    radius = piece.radius - piece.turn * left
    return Piece(piece.at, piece.along, radius, piece.turn, piece.ends, 0.0) if radius > 0 else None


def _pixels_about(sight: Sight, at: Floats, reach: float) -> tuple[Floats, Floats]:
    """Places, (n, 2), mm, and weighed colours, (n, 3), of the pixels within ``reach`` of a place."""
    column, row = at * (sight.per_mm, -sight.per_mm) + sight.origin
    half = int(reach * sight.per_mm)
    step = max(1, half // 20)
    rows, columns = sight.pixels.shape[:2]
    x = np.arange(max(0, int(column) - half), min(columns, int(column) + half + 1), step)
    y = np.arange(max(0, int(row) - half), min(rows, int(row) + half + 1), step)
    x, y = (each.ravel() for each in np.meshgrid(x, y))
    places = (np.column_stack([x, y]) - sight.origin) * (1 / sight.per_mm, -1 / sight.per_mm)
    inside = np.hypot(*(places - at).T) < reach
    return places[inside], sight.pixels[y[inside], x[inside]].astype(np.float64) @ sight.weigh


def _left(
    sight: Sight, places: Floats, colours: Floats, pieces: list[Piece], turn: int, way: Way | None = None
) -> float:
    """Mean square that face, wall and ground leave of the colours, if the edge runs along the pieces."""
    face = _face(sight, places, pieces, turn, way)
    shown = face
    if sight.eye is not None:
        foot = np.array(sight.eye[:2])
        for share in _DEPTHS:
            size = sight.eye[2] / (sight.eye[2] + share * sight.thickness)
            shown = np.maximum(shown, _face(sight, foot + (places - foot) / size, pieces, turn, way))
    ground = ((1 - shown) * tones_at(sight, places, np.zeros_like(places), np.zeros(1))[:, 0])[:, None]
    columns = np.column_stack([face, ground, ground * (places - places.mean(axis=0))])
    known = None if sight.wall is None else _one_wall(sight.wall, places, pieces)
    if sight.eye is not None and known is not None:
        colours = colours - np.outer(shown - face, known @ sight.weigh)
    elif sight.eye is not None:
        columns = np.column_stack([columns, shown - face])
    normal = columns.T @ columns + 1e-6 * np.eye(columns.shape[1])
    left = colours - columns @ np.linalg.solve(normal, columns.T @ colours)
    square = np.minimum((left * left).sum(axis=1), 60.0**2)
    return float(square.mean()) + 0.5


def _one_wall(wall: Floats, places: Floats, pieces: list[Piece]) -> Floats | None:
    """The wall's colour, (3,), on all of these pieces; None where it differs from one to the next."""
    middle = places.mean(axis=0)
    ways = np.array([direction(piece, nearest(piece, middle)) for piece in pieces])
    colours = wall_at(wall, np.column_stack([ways[:, 1], -ways[:, 0]]))
    return None if np.ptp(colours, axis=0).max() > 1.0 else np.asarray(colours[0])


def _face(sight: Sight, places: Floats, pieces: list[Piece], turn: int, way: Way | None) -> Floats:
    """Share of the face at places, blurred: to the left of all pieces, of any of them at an inside corner."""
    off = [_off(piece, places) for piece in pieces]
    shares = np.array([rise(-each / sight.blur) for each in off])
    # Blurred exactly at right angles, where the two blurs are apart.
    share = shares.prod(axis=0) if turn > 0 else 1 - (1 - shares).prod(axis=0)
    if way is None or not way[0]:
        return np.asarray(share)
    radius, centre, touch = way
    before = (places - touch[0]) @ direction(pieces[0], touch[0]) < 0
    after = (places - touch[1]) @ direction(pieces[-1], touch[1]) > 0
    round_ = rise(-turn * (np.hypot(*(places - centre).T) - radius) / sight.blur)
    return np.where(before | after, share, round_)


def _off(piece: Piece, places: Floats) -> Floats:
    """How far places lie to the right of a piece's line or circle, mm."""
    if piece.radius:
        return np.asarray(piece.turn * (np.hypot(*(places - piece.at).T) - piece.radius))
    return np.asarray((places - piece.at) @ outward(piece))
