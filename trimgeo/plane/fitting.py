"""The most room that a body can have in a room, over all shifts and turns, and where it then binds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Final, Literal, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, affinity

from trimgeo.plane.ceilings import ceilings, sticks_out
from trimgeo.plane.overlaps import near_and_over, overlap, overlaps
from trimgeo.plane.poses import (
    Boxes,
    Ground,
    all_poses,
    by_body,
    by_corners,
    by_sides,
    by_walls,
    ground,
    ground_of,
    looked_up,
    split,
)
from trimgeo.plane.rings import Floats
from trimgeo.plane.roomier import roomier
from trimgeo.plane.toolarge import quick_ceiling
from trimgeo.plane.touches import Area, Pose, placed, touches, touches_of

PROVED: Final = 0.005
"""mm: where the proof ends, no pose has so much more room than was found: a tenth of what can be measured."""

_COARSE: Final = 12
"""The first boxes of poses are the room's size divided by this."""

_FINE: Final = 150
"""Boxes smaller than the room's size divided by this are each proved by the pairs near them."""

_MOST_BOXES: Final = 60_000
_MOST_CEILINGS: Final = 6000
_TRIED: Final = 3
"""Boxes of each size from which the search climbs."""

_FIRST: Final = 5
"""Poses from which the search climbs first where nothing fits."""

_MOST_ROOMS: Final = 30
"""Widened rooms that are tried."""

_CHORD: Final = 0.003
"""mm by which a room that was widened all round may lie inside the truth at its corners."""

_NEAR: Final = 0.0065
"""mm: where a room that is less wide than is needed by no more was tried, the climbs are at an end."""

_LITTLE: Final = 0.0035
"""mm by which a room is less wide than the climbs say that it must be."""

_STRADDLES: Final = 0.02
"""mm by which a body sticks out further than climbs say, where it straddles a wall."""

_SLOPE: Final = 1.15
"""How much the gap grows for each mm by which a room is wider, before two rooms tell."""

_FAR: Final = 0.1
"""A body that lacks no more than the search's size by this is told how little it lacks as well as can be."""

_SHARE: Final = 0.01
"""A body that lacks more is told so to this share of what it lacks more: nobody files that much off."""

_WELL: Final = 3.0
"""Times that share by which it may lack less than was found, where a quick proof tells so much."""

_ROUGHLY: Final = 30
"""And the search climbs from boxes smaller than its size divided by this already."""

_BEAM: Final = 100
"""Boxes of each size that are split where poses are looked for at which the body sticks out least."""

_ROUGH: Final = 32
"""Points, a side, at which depths in a widened room are known: each is but little used."""

_CLOSE: Final = 1e-3
"""mm: a climb whose next step promises less ends; the best of all goes on.  Less is no reason to turn."""

_ALIKE: Final = 1e-6
"""mm: what rounding may take from a body that touches walls all round."""


@dataclass(frozen=True)
class Touch:
    """Where the body is nearest to the room's border: both points in the room's frame, and the gap, mm."""

    part: tuple[float, float]
    wall: tuple[float, float]
    gap: float
    corner: Literal["part", "wall"]


@dataclass(frozen=True)
class MostRoom:
    """The pose with the most room: a turn by ``angle`` degrees about (0, 0) and then a ``shift``, mm.

    ``room`` is the least distance from the border of the cavity and from posts, mm; where the body does not
    fit, minus the least by which it sticks out anywhere.  No pose has more than ``bound``, which is proved
    (0 or less: it fits nowhere); ``binds`` are the places that hold it.
    """

    room: float
    bound: float
    shift: tuple[float, float]
    angle: float
    binds: tuple[Touch, ...]


def most_room(part: Polygon, cavity: Area) -> MostRoom:
    """The most room that ``part`` can have in ``cavity`` (less its posts), over all shifts and turns.

    Every pose is in some box of poses; a box goes when a bound on the room of all its poses is no more than
    what was found (`trimgeo.plane.poses`, `trimgeo.plane.ceilings`), else it is split.  What is
    far too large is told so at once, and less closely how much it lacks (`trimgeo.plane.toolarge`).

    >>> found = most_room(shapely.box(0, 0, 4, 2), shapely.box(10, 0, 13, 9))
    >>> round(found.room, 6), abs(round(found.angle, 3)), found.bound < 0.51, len(found.binds) > 1
    (0.5, 90.0, True, True)
    """
    middle = shapely.get_coordinates(shapely.centroid(shapely.minimum_bounding_circle(part)))[0]
    base = ground(affinity.translate(part, *-middle), cavity)
    as_it_is = np.array([*middle, 0.0])
    quick, every = quick_ceiling(part, cavity), all_poses(base, base.size / _COARSE)
    nowhere = _Found(-np.inf, as_it_is, quick, every)
    found = nowhere if quick < -_ALIKE else _searched(base, as_it_is, every)
    if found.room < -_ALIKE:
        found = _least_overlap(base, as_it_is, found)
    else:
        better, poses = _fitting(base, found.pose[None], PROVED, found.room, enough=1e-8)
        if better[0] > found.room:
            found = found._replace(room=float(better[0]), pose=poses[0])
    return _told(base, found, middle)


def room_as_placed(part: Polygon, cavity: Area) -> float:
    """The room, mm, that ``part`` has where it lies; minus how far it sticks out where it does not fit.

    >>> room_as_placed(shapely.box(0, 0, 4, 2), shapely.box(-1, -1, 5, 2.5))
    0.5
    """
    if shapely.covers(cavity, part):
        return float(shapely.distance(shapely.boundary(cavity), part))
    return -overlap(ground(part, cavity), np.zeros(3))


def _fitting(
    base: Ground, poses: Floats, reach: float, wanted: float, enough: float = _CLOSE
) -> tuple[Floats, Floats]:
    """Poses near by that fit, and their rooms; minus infinity where none was found.

    A climb that does not promise the room that is ``wanted`` is given up.
    """
    look = partial(touches_of, base.body, base.room)
    gaps, poses = roomier(look, base.radius, poses, reach, enough, wanted)
    bodies = np.array([shapely.transform(base.body.area, partial(placed, pose=pose)) for pose in poses])
    fits = (gaps >= -_ALIKE) & shapely.covers(base.eased, bodies)
    return np.where(fits, np.minimum(gaps, shapely.distance(base.border, bodies)), -np.inf), poses


class _Found(NamedTuple):
    """The most room, its pose, what no pose exceeds, and the boxes of poses that are left to look at."""

    room: float
    pose: Pose
    bound: float
    left: Boxes


def _least_overlap(base: Ground, start: Pose, nowhere: _Found) -> _Found:
    """The pose at which a body that fits nowhere sticks out least.

    It sticks out by no more than ρ where it fits a room that is wider by ρ all round.  So rooms are tried
    that are wider by as much as the climbs in the rooms before say that it lacks (secants), until one is
    less wide by little: where a proof finds that the body fits nowhere in it, no pose is better by that
    little.  (GEOS widens by up to a hundredth too much where a border is nearly flat: there the body may
    fit a room that is less wide than it sticks out.)
    """
    tried = np.vstack([start, _promising(base)])
    less = max(PROVED, -max(overlaps(base, pose, closer=1).gap.min(initial=0.0) for pose in tried))
    bound, left = nowhere.bound, all_poses(base, base.size / _COARSE, less)
    best, low, top, slope, before = (np.inf, start), 0.0, np.inf, _SLOPE, (np.nan, np.nan)
    for n in range(_MOST_ROOMS):
        grain = _grain(base, less)
        wide, close = _widened(base, less, _CHORD * grain), _CLOSE * grain
        reach, most, enough = (base.size / 100, 1, close) if n else (base.size / _COARSE, 2, 10 * close)
        gap, tried = _nearly(wide, tried, reach, most, enough)
        if gap > -3 * PROVED * grain:
            there = overlap(base, tried[0])
            best = min(best, (there, tried[0]), key=_deep)
            # Where its corners are clear of walls, but not all of it is, the rest of it tells.
            if there > max(less, less - gap) + _STRADDLES * grain:
                gap, tried = less - there, best[1][None]
        top = min(top, best[0], less if gap >= 0 else np.inf)
        if best[0] + bound <= PROVED * (_WELL * grain if grain > 1 else 0.5):
            break  # that it lacks no less is proved already
        if gap < -PROVED * grain / 2 and top - less <= _NEAR * grain:
            found = _none_fits(base, wide, tried[0], less, left)
            if found.room < 0:
                bound = min(bound, _CHORD * grain - less) if found.bound <= 0 else bound
                break
            gap, tried, left = found.room, found.pose[None], found.left
            best = min(best, (overlap(base, tried[0]), tried[0]), key=_deep)
            top, low = min(top, best[0], less), 0.0
        slope = _between(before, (less, gap), slope)
        before, low = (less, gap), max(low, less) if gap < 0 else low
        less = _next(less - gap / slope if gap < less * slope / 2 else less / 2, low, top, grain)
        if less <= 0:
            break
    if np.isinf(best[0]):
        best = overlap(base, tried[0]), tried[0]
    return nowhere._replace(room=-best[0], pose=best[1], bound=bound)


def _grain(base: Ground, less: float) -> float:
    """How many times as coarsely as can be proved a lack is told: once, where it is no large share of all."""
    return max(1.0, _SHARE * (less - _FAR * base.size) / PROVED)


def _next(guess: float, low: float, top: float, grain: float) -> float:
    """By how much the next room is wider: a little less than the guess, which is where climbs may just fit.

    Where none did fit in so narrow a room, ``low``: half way to the ``top``, where one did, or a little less.
    """
    less = min(guess, top) - _LITTLE * grain
    if less > low or low >= top:
        return less
    return (low + top) / 2 if top - low > 4 * PROVED * grain else top - _LITTLE * grain


def _between(before: tuple[float, float], now: tuple[float, float], slope: float) -> float:
    """How much the gap grows for each mm by which a room is wider, by two rooms; ``slope`` if they are one.

    It grows by 1 along sides, and by more in corners.
    """
    wider, more = now[0] - before[0], now[1] - before[1]
    return min(max(more / wider, 1.0), 2.0) if abs(wider) > PROVED else slope


def _nearly(base: Ground, poses: Floats, reach: float, most: int, enough: float) -> tuple[float, Floats]:
    """The greatest least gap of poses near by, which may be negative, and the best of these poses."""
    gaps, poses = roomier(partial(touches_of, base.body, base.room), base.radius, poses, reach, enough)
    gaps[0] += 2 * _CLOSE  # as it is, if as good
    order = np.argsort(-gaps, kind="stable")[:most]
    return float(gaps[order[0]] - 2 * _CLOSE * (order[0] == 0)), poses[order]


def _promising(base: Ground) -> Floats:
    """Poses apart from each other near which the body may stick out least, by the depths of its corners."""
    boxes = all_poses(base, base.size / _COARSE)
    while True:
        boxes = by_corners(base, boxes)
        best = np.argsort(-boxes.most, kind="stable")[:_BEAM]
        boxes = boxes._replace(middle=boxes.middle[best], most=boxes.most[best])
        if boxes.half < base.size / _FINE:
            return _apart(by_sides(base, boxes, -np.inf), np.empty((0, 3)), base.radius, _FIRST)
        boxes = split(boxes)


def _none_fits(base: Ground, wide: Ground, known: Pose, by: float, boxes: Boxes) -> _Found:
    """A proof that the body fits nowhere in a room that is wider all round, or a pose at which it does.

    ``boxes`` hold all poses at which it may; what is left of them holds all at which it may in a room that is
    less wide.
    """
    far = by > _FAR * base.size
    while True:
        boxes = boxes._replace(most=np.full(len(boxes.most), np.inf))
        boxes = by_sides(base, by_body(base, boxes, -by), -by)
        boxes = by_walls(wide, boxes._replace(most=boxes.most + by), 0.0)
        last = 2 * boxes.half < base.size / _FINE or 8 * len(boxes.most) > _MOST_BOXES
        tried = _apart(boxes, known[None], base.radius, _TRIED)
        if len(tried) and (last or (far and 2 * boxes.half < base.size / _ROUGHLY)):
            rooms, poses = _fitting(wide, tried, 2 * boxes.half, 0.0)
            if rooms.max() >= 0:
                return _Found(float(rooms.max()), poses[int(np.argmax(rooms))], np.inf, boxes)
        if last:
            return _searched(wide, known, boxes, enough=0.0)
        boxes = split(boxes)


def _widened(base: Ground, by: float, chord: float) -> Ground:
    """A body and a room that is wider by so much all round, or less at its corners, but by the ``chord``."""
    quarter = int(np.ceil(np.pi / 4 * np.sqrt(by / (2 * chord))))
    return ground_of(base.body, shapely.buffer(base.room.area, by, quad_segs=quarter), _ROUGH)


def _deep(one: tuple[float, Pose]) -> float:
    return one[0]


def _searched(base: Ground, start: Pose, boxes: Boxes, enough: float = np.inf) -> _Found:
    """Boxes of poses split until none can hold more room than was found, or ``enough`` was."""
    wanted = enough if enough < np.inf else -np.inf  # a climb from the start goes on where no end is known
    rooms, poses = _fitting(base, start[None], boxes.half, wanted)
    looked = 0
    while rooms.max() <= enough:
        best = max(-PROVED, rooms.max())
        boxes = looked_up(base, boxes, best + PROVED)
        if 2 * boxes.half < base.size / _FINE and looked + len(boxes.most) <= _MOST_CEILINGS:
            looked += len(boxes.most)
            boxes = _proved(base, boxes, best + PROVED)
        tried = _apart(boxes, poses, base.radius, _TRIED)
        if len(tried):
            more, others = _fitting(base, tried, 2 * boxes.half, best + PROVED)
            rooms, poses = np.concatenate([rooms, more]), np.concatenate([poses, others])
        best = max(-PROVED, rooms.max())
        if rooms.max() > enough:
            break
        boxes = boxes.above(best + PROVED)
        if len(boxes.most) == 0 or 8 * len(boxes.most) > _MOST_BOXES or 2 * boxes.half < PROVED:
            break
        boxes = split(boxes)
    top = 0 if rooms[0] >= rooms.max() - 2 * _CLOSE else int(np.argmax(rooms))  # as it is, if as good
    bound = float(boxes.most.max(initial=max(-PROVED, rooms.max()) + PROVED))
    return _Found(float(rooms[top]), poses[top], bound, boxes)


def _proved(base: Ground, boxes: Boxes, wanted: float) -> Boxes:
    """The boxes that may have more room than ``wanted`` by what the near pairs prove of each."""
    half, turn = boxes.half, boxes.half_turn
    most = ceilings(base, boxes.middle, half, turn, wanted)
    boxes = boxes._replace(most=np.minimum(boxes.most, most)).above(wanted)
    out = np.array([sticks_out(base, middle, half, turn) for middle in boxes.middle], dtype=bool)
    return boxes._replace(middle=boxes.middle[~out], most=boxes.most[~out])


def _apart(boxes: Boxes, tops: Floats, radius: float, most: int) -> Floats:
    """The middles of the most promising boxes, apart from each other and from the tops that are known."""
    order = np.argsort(-boxes.most, kind="stable")[:2000]
    middles, chosen = boxes.middle[order], np.empty((0, 3))
    for _ in range(most):
        away = _far(middles[:, None], tops if len(chosen) == 0 else chosen[-1:], 4 * boxes.half, radius)
        middles = middles[away.all(axis=1)]
        if len(middles) == 0:
            break
        chosen = np.vstack([chosen, middles[:1]])
    return chosen


def _far(some: Floats, others: Floats, reach: float, radius: float) -> NDArray[np.bool_]:
    turn = np.abs((some[..., 2] - others[..., 2] + np.pi) % (2 * np.pi) - np.pi)
    apart = np.hypot(*np.moveaxis(some - others, -1, 0)[:2])
    return np.asarray((apart > reach) | (turn * radius > reach))


def _told(base: Ground, found: _Found, middle: Floats) -> MostRoom:
    """The answer in the frame of part and cavity."""
    room, pose = found.room, found.pose
    angle = (pose[2] + np.pi) % (2 * np.pi) - np.pi
    shift = placed(-middle[None], pose)[0]
    near = (
        touches(base.body, base.room, pose, np.inf)
        if room >= -_ALIKE
        else near_and_over(base, pose[None], np.array([np.inf]))[1]
    )
    near = near.take(near.gap <= room + 10 * PROVED)
    binds = tuple(
        Touch(
            (float(p[0]), float(p[1])), (float(w[0]), float(w[1])), float(gap), "part" if corner else "wall"
        )
        for p, w, gap, corner in zip(near.body, near.wall, near.gap, near.corner, strict=True)
    )
    return MostRoom(room, found.bound, (float(shift[0]), float(shift[1])), float(np.degrees(angle)), binds)
