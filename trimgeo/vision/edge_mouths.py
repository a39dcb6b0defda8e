"""Detours of a measured edge that are none: parts of the ground's colour, and noise between lines."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.vision.edge_ground import off_shades
from trimgeo.vision.edge_mouth_area import is_plain, share_with_wall
from trimgeo.vision.edge_pieces import Piece, direction, meetings, outward
from trimgeo.vision.edge_profile import Sight, edge_offsets, sampled, tones_at, wall_widths

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

_ONE_LINE, _ONE_WAY = 0.15, 0.03
"""Lines this near to each other, mm, and this parallel, radians, are sides of one notch."""
_FLAT = 0.3
"""A detour that leaves the straight way by less than this, mm, is noise."""
_LEVEL = 0.1
"""Distance, mm, from a straight way within which the edge lies on it."""
_LEAST_SIDE = 1.2
"""Length, mm, of a line that a detour is judged by."""
_MOST, _MOST_TURNED = 24, 9
"""Pieces in a detour at most: from one line to itself, and round a corner."""
_CLOSED, _OPEN = 0.6, 0.25
"""Share of the straight way on which a step shows, where there is a part, and where there is a notch."""
_TURNED = 0.75
"""The same where the way turns a corner: sides of a part may be taken for such a way."""
_APART = 0.6
"""Distance, mm, from a detour's own edge at which that does not show."""
_LONGEST = 40.0
"""Length, mm, of one side of a straight way at most."""
_SQUARES = 2.0
"""Ground is of squares where its brightest places are so many times as bright as its darkest."""
_TOLD, _ROUND, _UNTOLD = 0.5, 0.3, 0.3
"""Share of a way that must tell; else a detour is real with an edge all round it, and in doubt without."""
_ALIKE = 40.0
"""Grey levels off the board's colour up to which what stands out of it is of the board."""
_RIM, _FINEST, _LEAST_PRINT = 0.25, 10.0, 0.1
"""Distance, mm, from its rim at which a detour's area is looked at, in at most so many pixels per mm, and the
area, mm², of paper and of ink that shows the ground in it."""
_STEPLESS = 0.4
"""Share of a detour without a step in the picture from which it is none."""
_STEP = 5.0
"""Grey levels, by which colours on both sides of a part's edge differ at least."""


def without_detours(pieces: list[Piece], sight: Sight) -> tuple[list[Piece], Floats, shapely.Geometry]:
    """The pieces without false detours, such as may be parts or notches, and the false.

    Detours in doubt come as x, y and depth, (k, 3), mm.  Where a notch is real the ground runs on across
    the line that joins its two sides; under a part of the ground's colour the board's edge shows there.
    """
    kept, doubtful, closed = list(pieces), [], []
    judged: set[tuple[int, int]] = set()
    alive = list(pieces)  # a piece that is gone must not lend its id to another
    count, n = 1, 0
    while count <= _MOST:
        size = len(kept)
        if size < count + 3 or n >= size:
            count, n = count + 1, 0
            continue
        inner = [(n + 1 + k) % size for k in range(count)]
        a, b = kept[n], kept[(n + 1 + count) % size]
        n += 1
        if (id(a), id(b)) in judged:
            continue
        judged.add((id(a), id(b)))
        if count > _MOST_TURNED and not same_carrier(a, b):
            continue
        share = _share(a, b, [kept[k] for k in inner], sight)
        if share > (_CLOSED if same_carrier(a, b) else _TURNED):
            places = [place for k in inner for place in (*kept[k].ends, middle_of(kept[k]))]
            if _doubtful(a, b, [kept[k] for k in inner])[2] > _FLAT:  # less may be the edge's own noise
                closed.append(shapely.MultiPoint([a.ends[1], *places, b.ends[0]]).convex_hull)
            kept = _closed(kept, a, b, inner)
            alive += kept
            count, n = 1, 0
        elif share > _OPEN and same_carrier(a, b):
            doubtful.append((a, b, [kept[k] for k in inner]))
    left = {id(piece) for piece in kept}
    places = [_doubtful(*each) for each in doubtful if id(each[0]) in left and id(each[1]) in left]
    return kept, np.array(places).reshape(-1, 3), shapely.union_all(closed)


def _doubtful(a: Piece, b: Piece, between: list[Piece]) -> tuple[float, float, float]:
    """Where a detour begins and how far it leaves the straight way."""
    mouth = shapely.LineString([a.ends[1], b.ends[0]])
    ways = [way[0] for piece in between if (way := _along(piece, *piece.ends)) is not None]
    places = np.vstack([*ways, *(piece.ends for piece in between)])
    x, y = (a.ends[1] + b.ends[0]) / 2
    return float(x), float(y), float(shapely.distance(mouth, shapely.points(places)).max())


def _share(a: Piece, b: Piece, between: list[Piece], sight: Sight) -> float:
    """Share of the straight way from a to b on which the board's edge shows; 0 where there is no such way."""
    way = _straight_way(a, b)
    if way is None or len(way[0]) < 2:
        return 0.0
    detour = [place for piece in between for place in (piece.ends[0], middle_of(piece), piece.ends[1])]
    off = shapely.distance(shapely.LineString(way[0]), shapely.points(np.array(detour))).max()
    if off < _FLAT:
        return 1.0 if off < _LEVEL else float(_edge_on(sight, *way).mean())
    straight = same_carrier(a, b)
    if _share_with_wall(sight, between) > 0.5 or (not straight and _bent_one_way([a, *between, b])):
        return 0.0
    area = _area_between(sight, way[0], _followed(between))
    if _is_tab(sight, area) or _shows_print(sight, area):
        return 0.0
    if sight.under is not None and straight and _share_without_step(sight, between) > _STEPLESS:
        return 1.0
    # Near the detour its own edge is seen: that much of the way says nothing.
    clear = min(_APART, 0.02 * len(way[0])) if straight else _APART
    sides = shapely.LineString([a.ends[1], *detour, b.ends[0]])
    apart = shapely.distance(sides, shapely.points(way[0])) > clear
    if apart.sum() < (5 if straight else 10) or apart.mean() < (0.1 if straight else 0.3):
        return 0.0
    places, normals = way[0][apart], way[1][apart]
    steps, told = _steps(sight, places, normals)
    # Squares of a card end in steps as well; on a scan that was evened no part is of the ground's colour.
    if sight.eye is None or (not straight and _on_squares(sight)):
        steps &= _board_within(sight, places, normals)
    shown = _edge_on(sight, places, normals) | steps
    told |= shown
    if told.sum() >= 5 and told.mean() >= _TOLD:
        share = float(shown[told].mean())
    else:
        share = 0.0 if _share_without_step(sight, between) < _ROUND else _UNTOLD
    # Ground has no steps of its own: what has some may be a part, cut off by a notch.
    plain = _on_squares(sight) or is_plain(sight, way[0], _followed(between))
    return share if plain else max(share, _UNTOLD)


def _followed(pieces: list[Piece]) -> Floats:
    """Places along pieces, (n, 2), near enough for their arcs."""
    ways = [(piece, _along(piece, *piece.ends)) for piece in pieces]
    return np.vstack([piece.ends if way is None or len(way[0]) < 2 else way[0] for piece, way in ways])


def _on_squares(sight: Sight) -> bool:
    """Whether the ground has dark and bright places whose print is not known."""
    bright = sight.grounds.sum(axis=1)
    return sight.under is None and bool(bright.max() > _SQUARES * bright.min())


def _area_between(sight: Sight, way: Floats, detour: Floats) -> tuple[Rows, Rows, float]:
    """Rows and columns of pixels between a way and a detour from it, and what each stands for, mm²."""
    between = shapely.Polygon(np.vstack([way, detour[::-1]])).buffer(0).buffer(-_RIM)
    step = 1 / min(sight.per_mm, _FINEST)
    if between.is_empty:
        return np.zeros(0, np.int64), np.zeros(0, np.int64), step * step
    left, low, right, high = between.bounds
    x, y = (each.ravel() for each in np.meshgrid(np.arange(left, right, step), np.arange(low, high, step)))
    inside = shapely.contains_xy(between, x, y)
    column, row = np.round(np.column_stack([x, y])[inside] * (sight.per_mm, -sight.per_mm) + sight.origin).T
    rows, columns = sight.pixels.shape[:2]
    return np.clip(row, 0, rows - 1).astype(int), np.clip(column, 0, columns - 1).astype(int), step * step


def _is_tab(sight: Sight, area: tuple[Rows, Rows, float]) -> bool:
    """Whether what lies between a way and a detour is of the board's own colour, so that it is no ground."""
    row, column, each = area
    if sight.face is None or len(row) * each < _LEAST_PRINT:
        return False
    seen = sight.pixels[row, column].astype(np.float32)
    off = np.min([off_shades(seen, colour, sight.shades) for colour in sight.grounds], axis=0)
    if sight.under is not None:
        off = sight.under.off[row, column].astype(np.float32)
    alike = np.linalg.norm(seen - sight.face, axis=1) < _ALIKE
    return bool((off > sight.level).mean() > 0.9 and alike.mean() > 0.5)


def _shows_print(sight: Sight, area: tuple[Rows, Rows, float]) -> bool:
    """Whether what lies between a way and a detour shows both paper and ink where the ground has them."""
    row, column, each = area
    if sight.under is None or len(row) * each < _LEAST_PRINT:
        return False
    ink, agrees = sight.under.ink[row, column], sight.under.off[row, column] < sight.level
    areas = [float((agrees & chosen).sum()) * each for chosen in (ink < 25, ink > 230)]
    return bool(min(areas) > _LEAST_PRINT and agrees.mean() > 0.7)


def _bent_one_way(pieces: list[Piece]) -> bool:
    """Whether pieces turn to one side only, as at a rounded or cut corner: round a part they do not."""
    turns = [piece.turn for piece in pieces[1:-1] if piece.radius]
    for before, after in itertools.pairwise(pieces):
        u, v = direction(before, before.ends[1]), direction(after, after.ends[0])
        cross = float(u[0] * v[1] - u[1] * v[0])
        if abs(cross) > 0.2:
            turns.append(1 if cross > 0 else -1)
    return len(set(turns)) == 1


def _closed(pieces: list[Piece], a: Piece, b: Piece, inner: list[int]) -> list[Piece]:
    kept = [piece for n, piece in enumerate(pieces) if n not in inner]
    if not same_carrier(a, b):
        near = (a.ends[1] + b.ends[0]) / 2
        meet = min(meetings(a, b), key=lambda at: float(np.hypot(*(at - near))))
        longer = {id(a): replace(a, ends=np.array([a.ends[0], meet]))}
        longer[id(b)] = replace(b, ends=np.array([meet, b.ends[1]]))
        return [longer.get(id(piece), piece) for piece in kept]
    ends = np.array([a.ends[0], b.ends[1]])
    if a.radius:
        larger = max((a, b), key=_length)
        whole = Piece(larger.at, larger.along, larger.radius, a.turn, ends, larger.spread)
        return [whole if piece is a else piece for piece in kept if piece is not b]
    both = [(float(np.hypot(*(side.ends[1] - side.ends[0]))), side) for side in (a, b)]
    at = (both[0][0] * a.at + both[1][0] * b.at) / (both[0][0] + both[1][0])
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    whole = Piece(at, along, 0.0, 0, ends, max(a.spread, b.spread))
    return [whole if piece is a else piece for piece in kept if piece is not b]


def _straight_way(a: Piece, b: Piece) -> tuple[Floats, Floats] | None:
    """Places along both pieces from a's end to b's beginning, and their normals, (k, 2); None if none."""
    if a is b:
        return None
    near = (a.ends[1] + b.ends[0]) / 2
    if same_carrier(a, b):
        return _along(a, a.ends[1], b.ends[0])
    if min(_length(a), _length(b)) < _LEAST_SIDE:
        return None
    meets = meetings(a, b)
    if not meets:
        return None
    meet = min(meets, key=lambda at: float(np.hypot(*(at - near))))
    u, v = direction(a, meet), direction(b, meet)
    if abs(float(u[0] * v[1] - u[1] * v[0])) < 0.3:
        return None
    first, second = _along(a, a.ends[1], meet), _along(b, meet, b.ends[0])
    if first is None or second is None:
        return None
    return np.vstack([first[0], second[0]]), np.vstack([first[1], second[1]])


def same_carrier(a: Piece, b: Piece) -> bool:
    """Whether two pieces lie on one line or one circle."""
    if a.radius and b.radius:
        near = np.hypot(*(a.at - b.at)) + abs(a.radius - b.radius) < 2 * _ONE_LINE
        return bool(near and a.turn == b.turn)
    if a.radius or b.radius or min(_length(a), _length(b)) < _LEAST_SIDE:
        return False
    cross = float(a.along[0] * b.along[1] - a.along[1] * b.along[0])
    off = min(abs(float((b.ends[0] - a.at) @ outward(a))), abs(float((a.ends[1] - b.at) @ outward(b))))
    slack = _ONE_WAY + 0.15 / min(_length(a), _length(b))
    return bool(a.along @ b.along > 0.9 and abs(cross) < slack and off < _ONE_LINE)


def _length(piece: Piece) -> float:
    if not piece.radius:
        return float((piece.ends[1] - piece.ends[0]) @ piece.along)
    begin, end = (np.arctan2(*(at - piece.at)[::-1]) for at in piece.ends)
    return float(piece.radius * ((piece.turn * (end - begin)) % (2 * np.pi)))


def _along(piece: Piece, begin: Floats, end: Floats) -> tuple[Floats, Floats] | None:
    """Places a tenth of a mm apart along a piece's line or circle, and outward normals; None if backwards."""
    if not piece.radius:
        length = float((end - begin) @ piece.along)
        if not -0.5 < length < _LONGEST:
            return None
        from_line = float((begin - piece.at) @ piece.along) + np.arange(0.0, max(length, 0.0), 0.1)
        places = piece.at + from_line[:, None] * piece.along
        return places, np.broadcast_to(outward(piece), places.shape)
    a, b = (np.arctan2(*(at - piece.at)[::-1]) for at in (begin, end))
    sweep = (piece.turn * (b - a)) % (2 * np.pi)
    if sweep > 2 * np.pi - 0.5 / piece.radius:
        sweep = 0.0
    if sweep > 2.5 or sweep * piece.radius > _LONGEST:
        return None
    angles = a + piece.turn * np.arange(0.0, sweep, 0.1 / piece.radius)
    out = np.column_stack([np.cos(angles), np.sin(angles)])
    return piece.at + piece.radius * out, piece.turn * out


def middle_of(piece: Piece) -> Floats:
    """The middle of a piece, on it."""
    if not piece.radius:
        return np.asarray(piece.ends.mean(axis=0))
    begin, end = (np.arctan2(*(at - piece.at)[::-1]) for at in piece.ends)
    angle = begin + piece.turn * ((piece.turn * (end - begin)) % (2 * np.pi)) / 2
    return np.asarray(piece.at + piece.radius * np.array([np.cos(angle), np.sin(angle)]))


def _edge_on(sight: Sight, places: Floats, normals: Floats) -> NDArray[np.bool_]:
    """Where the board's edge is measured on the way itself, (n,)."""
    offsets, shares = edge_offsets(sight, places, normals, 0.25)
    return np.asarray((np.abs(np.nan_to_num(offsets, nan=9.0)) < _LEVEL) & (shares > 0.5))


def _share_with_wall(sight: Sight, pieces: list[Piece]) -> float:
    """Share of a detour's visible wall that has the wall's colour, not the ground's; 0 if unseen."""
    ways = [way for piece in pieces if (way := _along(piece, *piece.ends)) is not None and len(way[0]) > 4]
    if not ways:
        return 0.0
    places, normals = np.vstack([way[0][1:-1] for way in ways]), np.vstack([way[1][1:-1] for way in ways])
    return share_with_wall(sight, places, normals)


def _share_without_step(sight: Sight, pieces: list[Piece]) -> float:
    """Share of a detour's length across which the picture does not change.

    Such a detour follows the print: a part agrees with one side of a printed line, not with the other.
    """
    ways = [way for piece in pieces if (way := _along(piece, *piece.ends)) is not None and len(way[0]) > 4]
    if not ways:
        return 0.0
    places, normals = np.vstack([way[0] for way in ways]), np.vstack([way[1] for way in ways])
    beside = np.array([0.3, 0.4, 0.5])
    seen = sampled(sight, places, normals, np.concatenate([-beside, beside]))
    change = np.linalg.norm(seen[:, :3].mean(axis=1) - seen[:, 3:].mean(axis=1), axis=1)
    return float((change < 2 * _STEP).mean())


def _board_within(sight: Sight, places: Floats, normals: Floats) -> NDArray[np.bool_]:
    """Where none of the ground's colours shows on the inner side, (n,)."""
    within = sampled(sight, places, normals, np.array([-0.45, -0.35, -0.25])).mean(axis=1)
    off = [off_shades(within.astype(np.float32), colour, sight.shades) for colour in sight.grounds]
    return np.asarray(np.min(off, axis=0) > sight.level)


def _steps(sight: Sight, places: Floats, normals: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where colours change across places on a line more than beside it, and where that tells, (n,)."""
    walls = wall_widths(sight, places, normals)
    wall = float(walls.mean())
    pixel = 1 / sight.per_mm
    gap = 1.3 * max(pixel, sight.blur)
    far = 2 * gap + 0.25  # beside the whole of a step
    at = np.arange(-far - 0.65, wall + far + 0.65, 0.5 * pixel)
    seen = sampled(sight, places, normals, at)
    tones = tones_at(sight, places, normals, at)
    width = min(7, 2 * ((len(places) - 1) // 2) + 1)
    seen = np.mean([np.roll(seen, k, axis=0) for k in range(-(width // 2), width // 2 + 1)], axis=0)

    def change(low: float, high: float, shift: float) -> Floats:
        inner = seen[:, (at > low + shift - 0.25) & (at < low + shift)].mean(axis=1)
        outer = seen[:, (at > high + shift) & (at < high + shift + 0.25)].mean(axis=1)
        return np.asarray(outer - inner)

    def beyond(here: Floats, shift: float) -> Floats:
        """How much of the same change there is beside the way: of the opposite, no more than the grain."""
        beside = change(-gap, gap, shift)
        alike = (here * beside).sum(axis=1) > 0
        size = np.linalg.norm(beside, axis=1)
        return np.asarray(np.where(alike, size, np.minimum(size, sight.grain)))

    # Where the print changes beside the way, or there is little light to see by, steps say nothing.
    near = (at > -gap - 0.3) & (at < wall + gap + 0.3)
    even = np.ptp(tones[:, near], axis=1) < 0.1
    spans = [(-gap, wall + gap)] + ([(-gap, gap)] if wall > 4 * pixel else [])
    shown = np.zeros(len(places), bool)
    for low, high in spans:
        here = change(low, high, 0.0)
        beside = np.maximum(beyond(here, -far), beyond(here, wall + far))
        shown |= np.linalg.norm(here, axis=1) > max(_STEP, sight.grain) + 1.5 * beside
    return shown & even, even
