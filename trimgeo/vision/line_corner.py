"""A corner of a pen stroke: two arms fitted to the ink itself, right up to where they meet.

Beside a corner the profile across one arm runs into the other, so the middle cannot be read off it.  Instead
the stroke is drawn as a pen of known width with a round tip along two curves that meet, and what is drawn is
fitted to what is seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.model.board import Picture
from trimgeo.vision.line_ink import Floats, to_pixels, weighed_lab

_NODES = np.linspace(0, 1, 9)  # along an arm
_TRIED = np.array([0.0, -0.25, 0.25, -0.5, 0.5])  # of the pen's width
_OVERSHOT = np.array([0.0, 0.6, 1.2])  # mm
_STARTS = 3
_ROUNDS = 12
_FINEST = 1000  # places in a window at which ink is compared
_FELT = 0.15  # of the ink's contrast; larger misfits count no more than in proportion
_NOISE = 0.06  # of the ink's contrast; what ink usually strays from its model
_TURNED = 0.25  # rad; how far a free arm may well turn between its last sure place and the corner
_PAST = 0.8  # mm; how far a pen may well run past a corner along a straight edge, half of it free
_STREAK = 0.35  # mm; over which streaks and grain of ink are alike, so pixels do not count for themselves


@dataclass(frozen=True, eq=False)
class Arm:
    """One arm of a corner: ``at`` (2,) mm, where it is last known for sure, and ``way`` on, a unit vector.

    ``back`` (k, 2) is where it came from; a ``straight`` arm keeps to its line.
    """

    back: Floats
    at: Floats
    way: Floats
    straight: bool


@dataclass(frozen=True, eq=False)
class Corner:
    """A corner ``at`` (2,), mm, each arm's ``curves`` from its anchor to it, the ``deviation`` of ``at``."""

    at: Floats
    curves: tuple[Floats, Floats]
    deviation: float


@dataclass(frozen=True, eq=False)
class _Window:
    """Places (n, 2), how much ink was seen at each (0 to 1), the pen's width, the blur of its edge; mm."""

    places: Floats
    seen: Floats
    pen: float
    blur: float
    step: float


@dataclass(frozen=True, eq=False)
class _End:
    """Where a descent ended: its state, misfits, their weights and slopes, and what is left of them."""

    state: Floats
    error: Floats
    weight: Floats
    jacobian: Floats
    cost: float


def arm_of(points: Floats, straight: bool, degree: int = 2) -> Arm:
    """The arm at the last of ``points`` (n, 2), from a polynomial of ``degree`` through the last 3 mm.

    >>> arm_of(np.column_stack([np.arange(0, 4, 0.2), np.zeros(20)]), True).way.round(6).tolist()
    [1.0, 0.0]
    """
    if straight:
        way = points[-1] - points[0]
        way = way / np.hypot(*way)
        return Arm(points[-1] - np.array([[2.0], [1.0]]) * way, points[-1], way, True)
    back = np.hypot(*(points - points[-1]).T)
    near = points[back < 3.0][-25:]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(near, axis=0).T))])
    fits = [np.polyfit(along - along[-1], near[:, k], degree if len(near) > 6 else 1) for k in (0, 1)]
    way = np.array([fit[-2] for fit in fits])
    at = np.array([fit[-1] for fit in fits])
    return Arm(near[back[back < 3.0][-25:] > 0.3][::4], at, way / max(float(np.hypot(*way)), 1e-9), False)


def meeting(a: Arm, b: Arm) -> Floats | None:
    """Where two arms run on straight meet; None where they are nearly in line or meet far off.

    >>> east, north = (arm_of(np.array(p), True) for p in ([[-9.0, 0], [0, 0]], [[2.0, -9], [2, -1]]))
    >>> meeting(east, north).tolist()
    [2.0, 0.0]
    """
    across = a.way[0] * b.way[1] - a.way[1] * b.way[0]
    if abs(across) < 0.14:
        return None
    between = b.at - a.at
    s = (between[0] * b.way[1] - between[1] * b.way[0]) / across
    point = a.at + s * a.way
    far = float(np.hypot(*between))
    near = max(np.hypot(*(point - a.at)), np.hypot(*(point - b.at))) < 2 * far + 2
    return np.asarray(point) if near else None


def fitted_corner(picture: Picture, a: Arm, b: Arm, pen: float) -> Corner | None:
    """The corner of two arms of a stroke ``pen`` mm wide; None where the ink does not show it.

    Gauss-Newton with damping (Levenberg 1944) over the corner's place, the direction of each free arm at it
    and how far each arm runs past it; ink that fits neither arm weighs less (Huber's weights).
    """
    start = meeting(a, b)
    if start is None:
        return None
    state = _start(a, b, start)
    window = _window(picture, a, b, state, pen)
    if window is None:
        return None
    ends = [_descended(first, a, b, window) for first in _likely_starts(state, a, b, window)]
    return _judged(min(ends, key=lambda end: end.cost), start, a, b, window)


def _descended(state: Floats, a: Arm, b: Arm, window: _Window) -> _End:
    """The state of least misfit that a first one leads down to."""
    damping, error = 1e-2, _error(state, a, b, window)
    weight = _weights(error)
    jacobian = _jacobian(state, error, a, b, window)
    for _ in range(_ROUNDS):
        normal = jacobian.T @ (weight[:, None] * jacobian)
        damped = normal + damping * np.diag(np.diag(normal) + 1e-6)
        change = np.clip(-np.linalg.solve(damped, jacobian.T @ (weight * error)), -0.4, 0.4)
        after = _error(state + change, a, b, window)
        if weight @ after**2 >= weight @ error**2:
            damping *= 8
            continue
        state, error, damping = state + change, after, damping / 3
        weight, jacobian = _weights(error), _jacobian(state, error, a, b, window)
        if np.abs(change).max() < 1e-3:
            break
    felt = np.minimum(np.abs(error), _FELT)
    cost = float((felt * (np.abs(error) - felt / 2)).sum())
    return _End(state, error, weight, jacobian, cost)


def _jacobian(state: Floats, error: Floats, a: Arm, b: Arm, window: _Window) -> Floats:
    steps = 1e-3 * np.eye(len(state))
    return np.column_stack([(_error(state + step, a, b, window) - error) / 1e-3 for step in steps])


def _judged(end: _End, start: Floats, a: Arm, b: Arm, window: _Window) -> Corner | None:
    """The corner of the last state with its deviation; None where it ran away or is not what is seen."""
    state, error, weight, jacobian = end.state, end.error, end.weight, end.jacobian
    at, curves, _ = _drawn(state, a, b)
    seen = slice(len(window.places))  # what is usual of arms follows, and counts as knowledge (Bayes)
    scatter = float(np.sqrt(weight[seen] @ error[seen] ** 2 / weight[seen].sum()))
    if np.hypot(*(at - start)) > window.pen + 1.0 or weight.mean() < 0.7 or scatter > 0.2:
        return None
    alike = max(1.0, (_STREAK / window.step) ** 2)
    normal = jacobian.T @ (weight[:, None] * jacobian)
    spread = np.linalg.pinv(normal, hermitian=True) * scatter**2 * alike
    moved = np.column_stack([(_drawn(state + d, a, b)[0] - at) / 1e-3 for d in 1e-3 * np.eye(len(state))])
    return Corner(at, curves, float(np.sqrt(np.linalg.eigvalsh(moved @ spread @ moved.T)[-1])))


def _start(a: Arm, b: Arm, corner: Floats) -> Floats:
    """The first state: the corner (along a straight arm if any), turns of free arms, overshoots."""
    if a.straight or b.straight:
        arm = a if a.straight else b
        place = [float((corner - arm.at) @ arm.way)]
    else:
        place = [float(corner[0]), float(corner[1])]
    turns = [0.0 for arm in (a, b) if not arm.straight]
    return np.array([*place, *turns, 0.0, 0.0])


def _likely_starts(state: Floats, a: Arm, b: Arm, window: _Window) -> list[Floats]:
    """The likeliest of places about where the arms, run on straight, would meet."""
    places = len(state) - 2 - (not a.straight) - (not b.straight)
    grid = [*[_TRIED * window.pen] * places, *[_OVERSHOT if arm.straight else [0.0] for arm in (a, b)]]
    offsets = np.stack(np.meshgrid(*grid), axis=-1).reshape(-1, places + 2)
    turns = np.zeros(len(state) - places - 2)
    tried = [state + np.concatenate([off[:places], turns, off[places:]]) for off in offsets]
    cost = [float(np.minimum(np.abs(_error(each, a, b, window)), 0.5).sum()) for each in tried]
    return [tried[n] for n in np.argsort(cost, kind="stable")[:_STARTS]]


def _drawn(state: Floats, a: Arm, b: Arm) -> tuple[Floats, tuple[Floats, Floats], tuple[Floats, Floats]]:
    """The corner, the curves from both anchors to it, and the same as the pen's way, with its overshoot."""
    if a.straight or b.straight:
        arm = a if a.straight else b
        at, rest = arm.at + state[0] * arm.way, list(state[1:])
    else:
        at, rest = state[:2], list(state[2:])
    past = rest[-2:]
    curves, ways = [], []
    for arm, over in ((a, past[0]), (b, past[1])):
        reach = float(np.hypot(*(at - arm.at)))
        end = arm.way
        if not arm.straight:
            turn = rest.pop(0)
            chord = (at - arm.at) / max(reach, 1e-9)
            end = np.cos(turn) * chord + np.sin(turn) * np.array([-chord[1], chord[0]])
        curve = _bezier(arm.at, arm.at + arm.way * reach / 3, at - end * reach / 3, at)
        curves.append(curve)
        ways.append(np.vstack([arm.back, curve[:-1], at + over * end]))
    return at, (curves[0], curves[1]), (ways[0], ways[1])


def _bezier(p: Floats, q: Floats, r: Floats, s: Floats) -> Floats:
    t = _NODES[:, None]
    return np.asarray((1 - t) ** 3 * p + 3 * t * (1 - t) ** 2 * q + 3 * t**2 * (1 - t) * r + t**3 * s)


def _error(state: Floats, a: Arm, b: Arm, window: _Window) -> Floats:
    """How much more ink is drawn than seen at each place of a window."""
    _, _, ways = _drawn(state, a, b)
    away = np.minimum(*(_distance(window.places, way) for way in ways))
    misfit = _ink(0.5 * window.pen - away, window.blur) - window.seen
    free = [arm for arm in (a, b) if not arm.straight]
    usual = np.array([_TURNED] * len(free) + [_PAST if arm.straight else _PAST / 2 for arm in (a, b)])
    return np.concatenate([misfit, _NOISE * max(1.0, _STREAK / window.step) * state[-len(usual) :] / usual])


def _ink(depth: Floats, blur: float) -> Floats:
    """The share of ink at ``depth`` mm inside a straight edge that is blurred (logistic for normal)."""
    return np.asarray(1 / (1 + np.exp(np.clip(-1.702 * depth / blur, -40, 40))))


def _distance(points: Floats, line: Floats) -> Floats:
    """The distance of points (n, 2) to a line (k, 2)."""
    a, way = line[:-1], np.diff(line, axis=0)
    square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-12)
    off = points[:, None] - a
    share = np.clip(np.einsum("nij,ij->ni", off, way) / square, 0, 1)
    rest = off - share[..., None] * way
    return np.asarray(np.sqrt(np.einsum("nij,nij->ni", rest, rest).min(axis=1)))


def _weights(error: Floats) -> Floats:
    """Huber's weights: a missing corner must still be felt, print that crosses the stroke not much."""
    return np.asarray(np.minimum(1.0, _FELT / np.maximum(np.abs(error), 1e-9)))


def _window(picture: Picture, a: Arm, b: Arm, state: Floats, pen: float) -> _Window | None:
    """The ink about a corner, its colour and the ground's taken from the arms themselves."""
    at, _, ways = _drawn(state, a, b)
    reach = 0.5 * pen + 0.8
    low = np.minimum.reduce([at, a.at, b.at]) - reach
    high = np.maximum.reduce([at, a.at, b.at]) + reach
    step = max(1 / picture.pixels_per_mm, float(np.sqrt(np.prod(high - low) / _FINEST)))
    x, y = np.meshgrid(np.arange(low[0], high[0], step), np.arange(low[1], high[1], step))
    places = np.column_stack([x.ravel(), y.ravel()])
    away = np.minimum(*(_distance(places, way) for way in ways))
    tip = np.hypot(*(places - at).T) < 0.5 * pen + 1.6
    places, away = places[(away < reach) | tip], away[(away < reach) | tip]
    colours = _colours(picture, places)
    inside, outside = away < 0.25 * pen, away > 0.5 * pen + 0.35
    if inside.sum() < 8 or outside.sum() < 8:
        return None
    ink, ground = np.median(colours[inside], axis=0), np.median(colours[outside], axis=0)
    axis = ink - ground
    if np.hypot(np.hypot(axis[0], axis[1]), axis[2]) < 8:
        return None
    seen = np.clip((colours - ground) @ axis / (axis @ axis), -0.3, 1.3)
    return _Window(places, seen, pen, 0.8 / picture.pixels_per_mm + 0.01, step)


def _colours(picture: Picture, places: Floats) -> NDArray[np.float64]:
    at = to_pixels(places, picture.origin, picture.pixels_per_mm).astype(np.float32)
    seen = cv2.remap(picture.pixels, at[None, :, 0], at[None, :, 1], cv2.INTER_LINEAR)
    return np.asarray(weighed_lab(seen)[0], dtype=np.float64)
