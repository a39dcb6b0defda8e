"""Pads of the ground's shade that touch the board's rim: pockets of a measured edge that are none."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.vision.edge_measured import without_loops
from trimgeo.vision.edge_mouth_area import share_with_wall
from trimgeo.vision.edge_profile import Sight, sampled, tones_at, wall_widths

Floats = NDArray[np.float64]

_WIDEST = 3.6
"""Mouths up to this width, mm, are looked at: wider pads have room for the steps of `edge_parts`."""
_LEAST, _DEEP = 0.1, 0.3
"""Half the width, and the depth, mm, of a pocket at least: less is noise."""
_BULB = 0.8
"""A mouth narrower than this share of its pocket: no cutter makes that, but a drill may."""
_SLOT = 1.3
"""Times its width from which a depth is a slot's: no round pad with a strip outside it is so deep."""
_LONGEST = 12.0
"""Length, mm, of the edge of a pocket at most."""
_CLEAR, _FAR, _NEAR = 0.35, 2.5, 0.6
"""Rim, mm, next to a mouth that its blur has moved, how far the rim is looked at, and how much at least."""
_ROW, _ON_HULL = 9.0, 0.2
"""How far, mm, the rim is looked at beyond further pockets, and how near to the hull of it."""
_STRAIGHT = 0.07
"""Scatter, mm, of a straight rim."""
_ON_RIM = 0.12
"""Distance, mm, from the rim's line within which the measured edge is back on it."""
_STEP, _LOCAL = 8.0, 1.5
"""Grey levels that change at a mouth at least, and against what changes beside it."""
_SHARP = 2.2
"""Blurs over which a step goes from a fifth to four fifths: 1.7 by the normal distribution (tables)."""
_GAP, _INSIDE = 1.3, 0.15
"""Blurs beside a mouth that its step takes, and by how much, mm, the measured edge may lie inside the rim."""
_ROOM = 0.15
"""Length, mm, of a pocket apart from its rim at least."""
_TOLD = 0.3
"""Share of a mouth at least that must tell."""
_WALL_SEEN, _WALL_APART = 3.0, 15.0
"""Width, pixels, at which a wall's colour shows, and its distance, grey levels, from shades of the ground."""
_AROUND = 0.3
"""Length, mm, of pocket and of ground on both sides of a mouth."""
_EVEN = 0.1
"""By how much the print's brightness may change where steps are looked for."""
_PAD, _EITHER = 0.75, 0.3
"""Share of a mouth with a step from which there is a pad, and from which either may be."""
_NO_WALL, _WALL = 0.2, 0.5
"""Share of the wall that shows in a pocket up to which it may be a pad, and from which it is a notch."""
_ONE_PLACE = 0.3
"""Distance, mm, within which a pocket in doubt is a detour that was found to be none."""
_SPACE, _FINE = 0.15, 0.05
"""Distances, mm, of places along a mouth: of a ring, and where it is looked at."""
_BLURS, _BESIDE = 2.5, 0.25
"""Blurs, and mm, from the pocket's rim within which that is seen."""
_DEEPEST = 1.2
"""How deep, mm, a pocket is looked at."""


@dataclass(frozen=True)
class Pocket:
    """``first`` and ``last`` place of a ring in it, the ``way`` along the rim, (n, 2), and its sizes, mm."""

    first: int
    last: int
    way: Floats
    width: float
    mouth: float
    depth: float


def without_pads(sight: Sight, face: Floats) -> tuple[Floats, Floats, shapely.Geometry]:
    """The measured edge, (n, 2), led across the mouths of pads, what is in doubt, and the pads.

    In doubt is x, y and depth, (k, 3), mm.  Where a notch is, the ground runs on through its mouth and the
    board's side wall shows; a pad ends at the rim with a step, or leaves a strip of the board there.

    >>> pixels = np.full((300, 400, 3), 232, np.uint8)
    >>> pixels[50:250, 60:340] = (60, 110, 40)
    >>> _ = cv2.circle(pixels, (200, 55), 8, (200, 200, 200), -1)
    >>> pixels[:50] = 232
    >>> shades, grounds = (0.55, 1.08), np.full((1, 3), 232.0)
    >>> sight = Sight(pixels, np.zeros(2), 10.0, None, 1.6, grounds, shades, np.eye(3), 12.0, 0.1)
    >>> board = shapely.box(5.95, -24.95, 33.95, -4.95).difference(shapely.Point(20, -5.5).buffer(0.85))
    >>> ring = shapely.get_coordinates(shapely.segmentize(board.exterior, 0.1))[:-1]
    >>> edge, doubtful, pads = without_pads(sight, ring if board.exterior.is_ccw else ring[::-1])
    >>> bool(abs(Polygon(edge).area - 28 * 20) < 0.1), len(doubtful), bool(1.5 < pads.area < 3)
    (True, 0, True)
    """
    doubtful, closed = [], []
    for place in _hollows(without_loops(face)):
        pocket = _pocket_at(face, place)
        if pocket is None or pocket.depth > _SLOT * pocket.width:
            continue
        share, wall = _share_of_pad(sight, pocket, face), _wall_within(sight, face, pocket)
        if share >= _PAD and wall <= _NO_WALL:
            inner = face[np.arange(pocket.first, pocket.last + 1) % len(face)]
            closed.append(shapely.MultiPoint(np.vstack([inner, pocket.way])).convex_hull)
            face = _across(face, pocket)
        elif share >= _PAD or (wall < _WALL and (share >= _EITHER or pocket.mouth < _BULB * pocket.width)):
            x, y = pocket.way[len(pocket.way) // 2]
            doubtful.append((x, y, pocket.depth))
    return face, np.array(doubtful).reshape(-1, 3), shapely.union_all(closed)


def outside(closed: shapely.Geometry, either: Floats) -> Floats:
    """Those pockets in doubt, (k, 3), that are none of the detours found to be none."""
    if closed.is_empty:
        return either
    return np.asarray(either[shapely.distance(closed, shapely.points(either[:, :2])) > _ONE_PLACE])


def _hollows(board: Polygon) -> list[Polygon]:
    """What a disc as wide as the widest mouth cannot reach from outside."""
    disc = _WIDEST / 2
    filled = board.buffer(disc, quad_segs=16).buffer(-disc, quad_segs=16)
    hollow = filled.difference(board).buffer(-_LEAST).buffer(_LEAST)
    return [part for part in shapely.get_parts(hollow) if isinstance(part, Polygon) and not part.is_empty]


def _pocket_at(face: Floats, hollow: Polygon) -> Pocket | None:
    """The pocket of a ring round a hollow and its mouth; None where no rim goes on across it."""
    near = shapely.distance(hollow, shapely.points(face)) < 2 * _LEAST
    count = len(face)
    if not near.any() or near.sum() > 0.5 * count:
        return None
    step = float(np.median(np.hypot(*np.diff(face, axis=0).T)))
    begin, end = _run(near)
    if (end - begin) * step > _LONGEST:
        return None
    for lines in _rims(face, begin, end, step):
        found = _mouth(face, begin, end, step, lines)
        if found is not None:
            return found
    return None


def _run(flags: NDArray[np.bool_]) -> tuple[int, int]:
    """First and last of the shortest run, on a ring, of places that has all those flagged."""
    flagged = np.flatnonzero(flags)
    gaps = np.diff(np.append(flagged, flagged[0] + len(flags)))
    n = int(np.argmax(gaps))
    begin = int(flagged[(n + 1) % len(flagged)])
    return begin, begin + len(flags) - int(gaps[n])


def _rims(face: Floats, begin: int, end: int, step: float) -> list[Floats]:
    """Lines that the rim may follow across a mouth, each a place and a direction, (2, 2), best first.

    Both sides together, in long and in short, then each of them alone.
    """
    count, clear = len(face), round(_CLEAR / step)
    both, alone = [], []
    for reach in (_FAR, (_FAR + _NEAR) / 2, _NEAR + _CLEAR):
        far = round(reach / step)
        before = face[np.arange(begin - far, begin - clear) % count]
        after = face[np.arange(end + clear + 1, end + far + 1) % count]
        if min(len(before), len(after)) < 4:
            continue
        way = after[-1] - before[0]
        both += _straight(np.vstack([before, after]), way)
        alone += [line for side in (before, after) for line in _straight(side, side[-1] - side[0])]
    return both + alone + _past_others(face, begin, end, step)


def _past_others(face: Floats, begin: int, end: int, step: float) -> list[Floats]:
    """The line of the rim between further pockets beside one: on both sides enough of the edge lies on it."""
    far, count = round(_ROW / step), len(face)
    before = face[np.arange(begin - far, begin) % count]
    after = face[np.arange(end + 1, end + far + 1) % count]
    both = np.vstack([before, after])
    hull = shapely.get_coordinates(shapely.get_exterior_ring(shapely.MultiPoint(both).convex_hull))
    middle = (face[begin] + face[end % count]) / 2
    sides = [shapely.LineString(pair) for pair in itertools.pairwise(hull)]
    if not sides:
        return []
    nearest = sides[int(np.argmin(shapely.distance(sides, shapely.Point(middle))))]
    on = [side[shapely.distance(nearest, shapely.points(side)) < _ON_HULL] for side in (before, after)]
    if min(len(side) for side in on) * step < _NEAR:
        return []
    return _straight(np.vstack(on), on[1].mean(axis=0) - on[0].mean(axis=0))


def _straight(points: Floats, way: Floats) -> list[Floats]:
    """The line through points, of the way given, if they lie on one."""
    middle = points.mean(axis=0)
    _, sizes, axes = np.linalg.svd(points - middle, full_matrices=False)
    if sizes[1] / np.sqrt(len(points)) > _STRAIGHT:
        return []
    return [np.array([middle, axes[0] if axes[0] @ way > 0 else -axes[0]])]


def _mouth(face: Floats, begin: int, end: int, step: float, line: Floats) -> Pocket | None:
    """The pocket whose mouth lies along a line; None where the edge does not come back to that."""
    count, most = len(face), round(_FAR / step)
    across = np.array([line[1, 1], -line[1, 0]])
    off = (face[np.arange(begin - most, end + most + 1) % count] - line[0]) @ across
    first, last = _nearest_on(off[: most + 1][::-1]), _nearest_on(off[most + end - begin :])
    if first is None or last is None:
        return None
    first, last = begin - first, end + last
    inner = face[np.arange(first, last + 1) % count] - line[0]
    along, deep = inner @ line[1], -(inner @ across)
    if along[-1] <= along[0] or deep.max() < _DEEP or deep.max() < 2 * -deep.min():
        return None
    widths = _widths(along, deep)
    at = np.linspace(along[0], along[-1], max(2, 1 + round((along[-1] - along[0]) / _SPACE)))
    way = line[0] + at[:, None] * line[1]
    widest = int(np.argmax(widths))
    return Pocket(
        first, last, way, float(widths[widest]), float(widths[: widest + 1].min()), float(deep.max())
    )


def _nearest_on(off: Floats) -> int | None:
    """The first of places that lies on a line, from how far they are off it."""
    on = np.flatnonzero(np.abs(off) < _ON_RIM)
    return int(on[0]) if len(on) else None


def _widths(along: Floats, deep: Floats) -> Floats:
    """How wide a pocket is from its mouth down, (n,), its edge given along and below the rim."""
    area = Polygon(np.column_stack([along, deep])).buffer(0)
    left, right = float(along.min()) - 1, float(along.max()) + 1
    levels = np.linspace(min(_ON_RIM, 0.3 * deep.max()), 0.9 * deep.max(), 12)
    cuts = [area.intersection(shapely.LineString([(left, y), (right, y)])) for y in levels]
    return np.array([max((part.length for part in shapely.get_parts(cut)), default=0.0) for cut in cuts])


def _across(face: Floats, pocket: Pocket) -> Floats:
    """The ring with a mouth's way in place of its pocket."""
    kept = np.arange(pocket.last + 1, pocket.first + len(face)) % len(face)
    return np.vstack([pocket.way, face[kept]])


def _wall_within(sight: Sight, face: Floats, pocket: Pocket) -> float:
    """Share of the board's side wall that shows in a pocket."""
    places = face[np.arange(pocket.first, pocket.last + 1) % len(face)]
    along = np.gradient(places, axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    normals = np.column_stack([along[:, 1], -along[:, 0]])
    return share_with_wall(sight, places[1:-1], normals[1:-1])


def _share_of_pad(sight: Sight, pocket: Pocket, face: Floats) -> float:
    """Share of a mouth's middle across which the board goes on; `_EITHER` where that cannot be told."""
    edge = face[np.arange(pocket.first, pocket.last + 1) % len(face)]
    rim = _rim_and_wall(sight, edge)
    way = (pocket.way[-1] - pocket.way[0]) / np.hypot(*(pocket.way[-1] - pocket.way[0]))
    places = pocket.way[0] + np.arange(0, np.hypot(*(pocket.way[-1] - pocket.way[0])), _FINE)[:, None] * way
    away = shapely.distance(rim, shapely.points(places))
    places = places[away >= min(max(_BLURS * sight.blur, _BESIDE), 0.35 * pocket.mouth)]
    normals = np.broadcast_to([way[1], -way[0]], places.shape)
    if not len(places):
        return _EITHER
    goes_on = _wall_goes_on(sight, pocket, places, normals)
    if goes_on is not None:
        return goes_on
    shown, told = _steps(sight, places, normals, Polygon(edge).buffer(0), rim)
    return float(shown[told].mean()) if told.any() and told.mean() >= _TOLD else _EITHER


def _wall_goes_on(sight: Sight, pocket: Pocket, places: Floats, normals: Floats) -> float | None:
    """Share of a mouth in which the board's wall goes on that shows on both sides; None where none shows."""
    wall = float(wall_widths(sight, places, normals).mean())
    if wall < max(_WALL_SEEN / sight.per_mm, 2 * sight.blur):
        return None
    way = np.array([-normals[0, 1], normals[0, 0]])
    far = np.arange(_CLEAR, _FAR, _SPACE)[:, None] * way
    sides = np.vstack([pocket.way[0] - far, pocket.way[-1] + far])
    beside = np.broadcast_to(normals[0], sides.shape)
    at = np.array([wall / 2, wall + 2 * sight.blur + _AROUND])
    known, ground = np.median(sampled(sight, sides, beside, at), axis=0)
    if _off_both(known[None, None], np.zeros((1, 3)), ground[None])[0, 0] < _WALL_APART:
        return None  # it may as well be the ground in shadow
    seen = sampled(sight, places, normals, at)
    off = np.linalg.norm(seen[:, 0] - known, axis=1)
    return float((off < _off_both(seen[:, :1], 0 * seen[:, 1], seen[:, 1])[:, 0]).mean())


def _steps(
    sight: Sight, places: Floats, normals: Floats, pocket: shapely.Geometry, rim: shapely.Geometry
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Where colours change at places on a rim more than beside it, and where that tells, (n,).

    There is a step from pad to ground, as sharp as the rim is elsewhere, or what lies between is of
    neither's colour: a strip of the board, or its wall.
    """
    wall = float(wall_widths(sight, places, normals).mean())
    gap = _GAP * max(1 / sight.per_mm, sight.blur)
    beyond = wall + gap + _INSIDE
    at = np.arange(-gap - _DEEPEST, beyond + 2 * _AROUND, 0.5 / sight.per_mm)
    seen, tones = sampled(sight, places, normals, at), tones_at(sight, places, normals, at)
    spots = places[:, None] + at[:, None] * normals[:, None]
    clear = shapely.distance(rim, shapely.points(spots)) >= max(_BLURS * sight.blur, _BESIDE)
    clear &= shapely.contains_xy(pocket, spots[..., 0], spots[..., 1])
    inner, deeper = _first_of(clear & (at < -gap), 2 * _AROUND * sight.per_mm)
    outer = np.broadcast_to((at > beyond) & (at < beyond + _AROUND), inner.shape)
    farther = np.broadcast_to(at >= beyond + _AROUND, inner.shape)
    pad, below, ground, off = (_mean(seen, chosen) for chosen in (inner, deeper, outer, farther))
    rates = [np.linalg.norm(a - b, axis=1) for a, b in ((pad, below), (ground, off))]
    most = np.nan_to_num(np.array(rates)).max(axis=0) * (gap + beyond + _AROUND) / _AROUND
    there = (at > -gap) & (at < beyond)
    between = cv2.blur(seen, (max(1, round(0.1 * 2 * sight.per_mm)), 1))[:, there]
    least = _STEP + sight.grain
    step = np.linalg.norm(ground - pad, axis=1) > least + _LOCAL * most
    step &= _rises_within(between, at[there], pad, ground) < _SHARP * sight.blur + 0.05
    strip = _off_both(between, pad, ground).max(axis=1) > least
    told = (np.ptp(tones[:, at > -gap - _AROUND], axis=1) < _EVEN) & (
        inner.sum(axis=1) >= _ROOM * 2 * sight.per_mm
    )
    return step | strip, told


def _rises_within(seen: Floats, at: Floats, begin: Floats, end: Floats) -> Floats:
    """Length, mm, (n,), over which colours, (n, m, 3), go from a fifth to four fifths of a change."""
    way = end - begin
    share = ((seen - begin[:, None]) * way[:, None]).sum(axis=2)
    share = share / np.maximum((way * way).sum(axis=1), 1e-9)[:, None]
    step = float(at[1] - at[0])
    return np.asarray(((share > 0.2) & (share < 0.8)).sum(axis=1) * step)


def _off_both(seen: Floats, a: Floats, b: Floats) -> Floats:
    """How far, grey levels, (n, m), colours, (n, m, 3), are off two and what lies between, (n, 3) each."""
    way = b - a
    share = ((seen - a[:, None]) * way[:, None]).sum(axis=2) / np.maximum((way * way).sum(axis=1), 1e-9)[
        :, None
    ]
    off = seen - a[:, None] - np.clip(share, 0, 1)[..., None] * way[:, None]
    return np.asarray(np.nan_to_num(np.linalg.norm(off, axis=2)))


def _rim_and_wall(sight: Sight, edge: Floats) -> shapely.Geometry:
    """The edge of a pocket, (n, 2), and where its wall may show: similar triangles, see `wall_widths`."""
    if sight.eye is None:
        return shapely.LineString(edge)
    toward = (np.array(sight.eye[:2]) - edge) * sight.thickness / (sight.eye[2] + sight.thickness)
    return shapely.MultiLineString([edge + share * toward for share in np.linspace(0, 1, 6)])


def _first_of(chosen: NDArray[np.bool_], length: float) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Of the chosen of each row the last so many, nearest to the mouth, and as many before those."""
    counted = np.cumsum(chosen[:, ::-1], axis=1)[:, ::-1]
    return chosen & (counted <= length), chosen & (counted > length) & (counted <= 2 * length)


def _mean(seen: Floats, chosen: NDArray[np.bool_]) -> Floats:
    """Mean colour, (n, 3), of the chosen places of each row, (n, m); NaN for a row without."""
    counts = chosen.sum(axis=1)[:, None]
    sums = (seen * chosen[..., None]).sum(axis=1)
    return np.asarray(np.where(counts > 0, sums / np.maximum(counts, 1), np.nan))
