"""Random boards, outlines and keep-outs as plain arrays, with which sides of the outline are new."""

import numpy as np


def random_job(seed, keepouts=8):
    """(board, finished, new sides, shapes): corners counter-clockwise."""
    rng = np.random.default_rng(seed)
    style = STYLES[seed % len(STYLES)]
    board, finished, new = style(rng)
    shapes = [_shape(rng, board, finished, new) for _ in range(keepouts)]
    if rng.random() < 0.5:
        angle, shift = rng.uniform(0, 2 * np.pi), rng.uniform(-50, 50, 2)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        board, finished = board @ turn.T + shift, finished @ turn.T + shift
        shapes = [(kind, np.asarray(points) @ turn.T + shift, *rest) for kind, points, *rest in shapes]
    following = np.roll(finished, -1, axis=0)
    return board, finished, [(finished[n], following[n]) for n in np.flatnonzero(new)], shapes


def _grid(rng, values, spread):
    """Round numbers now and then, so that parallels, corridors and touches come up."""
    moved = np.asarray(values, float) + rng.uniform(-spread, spread, np.shape(values))
    return np.round(moved * 2) / 2 if rng.random() < 0.5 else moved


def _halved(corners, new, point, normal):
    """Corners on the side of the line away from ``normal``, for a convex outline."""
    kept, flags = [], []
    height = (corners - point) @ normal
    for n in range(len(corners)):
        m = (n + 1) % len(corners)
        if height[n] <= 0:
            kept.append(corners[n])
            flags.append(new[n])
        if height[n] * height[m] < 0:
            share = height[n] / (height[n] - height[m])
            kept.append(corners[n] + share * (corners[m] - corners[n]))
            flags.append(new[n] if height[n] > 0 else True)
    return np.array(kept), np.array(flags)


def convex_cut(rng):
    angle = np.sort(rng.uniform(0, 2 * np.pi, 7))
    if rng.random() < 0.5 or np.diff(np.r_[angle, angle[0] + 2 * np.pi]).max() > 2.5:
        board = np.array([[0, 0], [60, 0], [60, 40], [0, 40]], float)
    else:
        board = np.column_stack([30 + 32 * np.cos(angle), 20 + 24 * np.sin(angle)])
    finished, new = board, np.zeros(len(board), dtype=bool)
    middle = board.mean(axis=0)
    for _ in range(rng.integers(1, 4)):
        turn = rng.choice([0, 90, 180, 270]) if rng.random() < 0.3 else rng.uniform(0, 360)
        normal = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
        trial = _halved(finished, new, middle + rng.uniform(6, 18) * normal, normal)
        finished, new = trial
    return board, finished, new


def notched(rng):
    board = np.array([[0, 0], [60, 0], [60, 40], [0, 40]], float)
    if rng.random() < 0.5:
        a, b, c, d = (_grid(rng, value, 5) for value in (20, 32, 22, 28))
        corners = [[0, 0], [60, 0], [60, a], [b, c], [d, 40], [0, 40]]
        new = [0, 0, 1, 1, 0, 0]
    else:
        x1, x2, x3, x4 = _grid(rng, [46, 42, 20, 14], 4)
        y2, y3 = _grid(rng, [16, 16], 6)
        corners = [[0, 0], [60, 0], [60, 40], [x1, 40], [x2, y2], [x3, y3], [x4, 40], [0, 40]]
        new = [0, 0, 0, 1, 1, 1, 0, 0]
    return board, np.array(corners, float), np.array(new, dtype=bool)


def narrow_pocket(rng):
    board = np.array([[0, 0], [60, 0], [60, 40], [0, 40]], float)
    x1, x2, x3, x4 = _grid(rng, [34, 48, 12, 26], 3)
    low, high = _grid(rng, [10, 26], 4)
    corners = [[0, 0], [60, 0], [60, 40], [x1, 40], [x1, high], [x2, high], [x2, low]]
    corners += [[x3, low], [x3, high], [x4, high], [x4, 40], [0, 40]]
    return board, np.array(corners, float), np.array([0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 0, 0], dtype=bool)


def star_inside(rng):
    count = rng.integers(5, 9)
    angle = 2 * np.pi * (np.arange(count) + rng.uniform(-0.3, 0.3, count)) / count
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    outer = rng.uniform(24, 34, count)
    inner = outer * rng.uniform(0.3, 0.75, count)
    scale = 1.0 if rng.random() < 0.7 else outer.min() / outer
    outer = outer * scale
    board = np.array([30.0, 20.0]) + ring * outer[:, None]
    finished = np.array([30.0, 20.0]) + ring * (inner * 0.8)[:, None]
    return board, finished, np.ones(count, dtype=bool)


def from_u_shape(rng):
    board = np.array([[0, 0], [60, 0], [60, 40], [42, 40], [42, 15], [18, 15], [18, 40], [0, 40]], float)
    which = rng.integers(3)
    if which == 0:
        left, right = _grid(rng, [28, 28], 8)
        corners = [[0, 0], [60, 0], [60, right], [42, right], [42, 15], [18, 15], [18, left], [0, left]]
        return board, np.array(corners, float), np.array([0, 0, 1, 0, 0, 0, 1, 0], dtype=bool)
    if which == 1:
        x, y = _grid(rng, [30, 30], 8)
        corners = [[0, 0], [x, 0], [x, 15], [18, 15], [18, 40], [0, 40]]
        return board, np.array(corners, float), np.array([0, 1, 0, 0, 0, 0], dtype=bool)
    y, slope = _grid(rng, [8, 8], 5)
    corners = [[0, 0], [60, 0], [60, y], [0, slope]]
    return board, np.array(corners, float), np.array([0, 0, 1, 0], dtype=bool)


def uncut(rng):
    board, _, _ = from_u_shape(rng)
    return board, board, np.zeros(len(board), dtype=bool)


STYLES = [convex_cut, notched, narrow_pocket, star_inside, from_u_shape] * 4 + [uncut]


def _shape(rng, board, finished, new):
    low, high = board.min(axis=0), board.max(axis=0)
    at = rng.uniform(low - 0.1 * (high - low), high + 0.1 * (high - low))
    size = np.exp(rng.uniform(np.log(0.3), np.log(25.0)))
    if rng.random() < 0.2:
        at, size = np.round(at), max(np.round(size), 1.0)
    if new.any() and rng.random() < 0.2:
        return _touching(rng, finished, new, size)
    kind = rng.integers(5)
    if kind == 0:
        return ("circle", at, size)
    if kind == 1:
        points = at + np.cumsum(rng.uniform(-size, size, (rng.integers(2, 5), 2)), axis=0)
        return ("path", points, 0.15 * size + 0.05)
    if kind == 2:
        return (
            "polygon",
            at + 0.5 * size * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * rng.uniform(0.2, 1, 2),
        )
    count = rng.integers(3, 13)
    angle = 2 * np.pi * (np.arange(count) + rng.uniform(-0.35, 0.35, count)) / count
    radius = size * (rng.uniform(0.3, 1.0, count) if kind == 3 else np.ones(count))
    return ("polygon", at + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def _touching(rng, finished, new, size):
    """A shape that touches a new side from within, from outside, or stands with an end on it."""
    n = rng.choice(np.flatnonzero(new))
    a, b = finished[n], finished[(n + 1) % len(finished)]
    way = (b - a) / np.linalg.norm(b - a)
    inward = np.array([-way[1], way[0]]) * rng.choice([1.0, 1.0, -1.0])
    at = a + rng.uniform(0.2, 0.8) * (b - a)
    if rng.random() < 0.4:
        return ("circle", at + size * inward, size)
    if rng.random() < 0.5:
        return ("path", np.array([at, at + size * inward, at + size * inward + size * way]), 0.1 * size)
    return ("polygon", np.array([at, at + size * way, at + size * (way + inward), at + size * inward]))
