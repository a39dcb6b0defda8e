"""An independent judge of clearances: plain numpy, every pair and triple tried, nothing pruned.

It shares no code with the package and no library of plane geometry.  A shape is a tuple: ("polygon",
corners), ("circle", centre, radius) or ("path", corners, radius).  A curve is ("side", a, b) with t
from 0 to 1 or ("arc", centre, radius) with t from 0 to 2 pi.  Points are arrays of shape (n, 2).
"""

from itertools import combinations, pairwise

import numpy as np

TOUCH = 1e-9


def sides_of(corners):
    """Sides, shape (n, 2, 2)."""
    return np.stack([corners, np.concatenate([corners[1:], corners[:1]])], axis=1)


def gap(points, sides):
    """Distances (n, m) of points from sides, by the foot of the perpendicular or an end."""
    x, y = np.atleast_2d(points).T[..., None]
    (ax, bx), (ay, by) = np.asarray(sides, float).transpose(2, 1, 0)
    length = np.hypot(bx - ax, by - ay)
    safe = np.where(length > 0, length, 1.0)
    ux, uy = (bx - ax) / safe, (by - ay) / safe
    along = (x - ax) * ux + (y - ay) * uy
    across = np.abs((x - ax) * uy - (y - ay) * ux)
    ends = np.where(along <= 0, np.hypot(x - ax, y - ay), np.hypot(x - bx, y - by))
    return np.where((along <= 0) | (along >= length), ends, across)


def in_polygon(points, corners):
    """Even-odd rule: how many sides a ray to the right crosses."""
    x, y = np.atleast_2d(points).T[..., None]
    (ax, bx), (ay, by) = sides_of(corners).transpose(2, 1, 0)
    spans = (ay > y) != (by > y)
    rise = np.where(by != ay, by - ay, 1.0)
    return (spans & (x < ax + (y - ay) * (bx - ax) / rise)).sum(axis=1) % 2 == 1


def spine_sides(shape):
    if shape[0] == "circle":
        return [(np.asarray(shape[1], float), np.asarray(shape[1], float))]
    return list(pairwise(np.asarray(shape[1], float)))


def in_shape(points, shape, slack):
    """In the shape grown by slack (negative: shrunk)."""
    if shape[0] == "polygon":
        sides = sides_of(shape[1])
        inside, near = in_polygon(points, shape[1]), gap(points, sides).min(axis=1)
        return inside | (near <= slack) if slack >= 0 else inside & (near > -slack)
    return gap(points, spine_sides(shape)).min(axis=1) <= shape[2] + slack


def curves_of(shape):
    if shape[0] == "polygon":
        return [("side", a, b) for a, b in sides_of(shape[1])]
    if shape[0] == "circle":
        return [("arc", np.asarray(shape[1], float), shape[2])]
    corners, r = np.asarray(shape[1], float), shape[2]
    curves = [("arc", corner, r) for corner in corners]
    for a, b in pairwise(corners):
        across = np.array([a[1] - b[1], b[0] - a[0]]) * r / np.linalg.norm(b - a)
        curves += [("side", a + across, b + across), ("side", a - across, b - across)]
    return curves


def point_on(curve, t):
    t = np.atleast_1d(t)
    if curve[0] == "side":
        return curve[1] + t[:, None] * (curve[2] - curve[1])
    return curve[1] + curve[2] * np.column_stack([np.cos(t), np.sin(t)])


def meetings(curve, other):
    """Values of t on ``curve`` where it meets ``other``."""
    if curve[0] == "side" and other[0] == "side":
        return _side_meets_side(curve, other)
    side, arc = (curve, other) if curve[0] == "side" else (other, curve)
    (ax, ay), (bx, by), (cx, cy), r = *(point.tolist() for point in (*side[1:], arc[1])), float(arc[2])
    dx, dy, ex, ey = bx - ax, by - ay, ax - cx, ay - cy
    square, half = dx * dx + dy * dy, dx * ex + dy * ey
    rest = half * half - square * (ex * ex + ey * ey - r * r)
    if rest < 0:
        return []
    both = [(-half + sign * np.sqrt(rest)) / square for sign in (-1, 1)]
    real = [z for z in both if -1e-9 <= z <= 1 + 1e-9]
    if curve[0] == "side":
        return real
    return [float(np.arctan2(ey + z * dy, ex + z * dx) % (2 * np.pi)) for z in real]


def _side_meets_side(curve, other):
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = (point.tolist() for point in (*curve[1:], *other[1:]))
    ux, uy, vx, vy = bx - ax, by - ay, dx - cx, dy - cy
    det = ux * vy - uy * vx
    if abs(det) < 1e-12 * np.hypot(ux, uy) * np.hypot(vx, vy):
        ends = [(x - ax) * ux + (y - ay) * uy for x, y in ((cx, cy), (dx, dy))]
        near = [gap(point, [curve[1:]])[0, 0] < 1e-9 for point in other[1:]]
        return [t / (ux * ux + uy * uy) for t, is_near in zip(ends, near, strict=True) if is_near]
    t = ((cx - ax) * vy - (cy - ay) * vx) / det
    s = ((cx - ax) * uy - (cy - ay) * ux) / det
    return [t] if -1e-9 <= s <= 1 + 1e-9 and -1e-9 <= t <= 1 + 1e-9 else []


def pieces_of(curve, others):
    """Intervals of t between all meetings; arcs are parted at odd places besides.

    So the middle of a piece is never the one point where a circle touches.
    """
    marks = [0.0, 1.0] if curve[0] == "side" else [0.0, 0.7, 2.9, 5.1, 2 * np.pi]
    last = marks[-1]
    marks = np.sort(np.clip(marks + [t for other in others for t in meetings(curve, other)], 0.0, last))
    return [(a, b) for a, b in pairwise(marks) if b - a > 1e-13]


def pieces_on_board(shape, board, finished):
    """(curve, low, high, outside) for the boundary of what the shape has on the board."""
    border = [("side", *side) for side in sides_of(board)]
    outline = [("side", *side) for side in sides_of(finished)]
    own = curves_of(shape)
    of_shape = [(curve, *span) for curve in own for span in pieces_of(curve, border + outline)]
    of_board = [(curve, *span) for curve in border for span in pieces_of(curve, own + outline)]
    on_shape, on_border = _middles(of_shape), _middles(of_board)
    whole = ("polygon", board)
    if not (in_shape(on_shape, whole, -TOUCH).any() or in_shape(on_border, shape, -TOUCH).any()):
        return []  # at most a touch from without
    inside = np.concatenate([in_shape(on_shape, whole, 1e-10), in_shape(on_border, shape, 1e-10)])
    middles = np.concatenate([on_shape, on_border])
    outside = ~in_polygon(middles, finished) & (gap(middles, sides_of(finished)).min(axis=1) > 1e-10)
    return [
        (*piece, bool(out))
        for piece, there, out in zip(of_shape + of_board, inside, outside, strict=True)
        if there
    ]


def _middles(pieces):
    return np.concatenate([point_on(curve, 0.5 * (low + high)) for curve, low, high in pieces])


def least_distance(piece, side):
    """From a piece to a side, in closed form."""
    curve, low, high, _ = piece
    ends = point_on(curve, np.array([low, high]))
    best = gap(ends, [side]).min()
    if curve[0] == "side":
        if meetings(("side", *ends), ("side", *side)):
            return 0.0
        return min(best, gap(np.array(side), [tuple(ends)]).min())
    centre, r = curve[1:]
    d = side[1] - side[0]
    foot = side[0] + np.clip(np.dot(centre - side[0], d) / np.dot(d, d), 0, 1) * d
    for point in (foot, *side):
        angle = np.arctan2(*(point - centre)[::-1]) % (2 * np.pi)
        if low <= angle <= high:
            best = min(best, abs(np.linalg.norm(point - centre) - r))
    return best


def greatest_distance(piece, finished):
    """From the outline along a piece: dense sampling, then each likely summit closed in on."""
    curve, low, high, _ = piece
    sides = sides_of(finished)
    count = 240
    t = np.linspace(low, high, count)
    value = gap(point_on(curve, t), sides).min(axis=1)
    speed = curve[2] if curve[0] == "arc" else np.linalg.norm(curve[2] - curve[1])
    step = (high - low) / (count - 1)
    summit = (value >= np.r_[-1, value[:-1]]) & (value >= np.r_[value[1:], -1])
    likely = np.flatnonzero(summit & (value + step * speed >= value.max()))
    likely = likely[np.argsort(-value[likely], kind="stable")][:40]
    centre, half = t[likely], step
    best = value.max()
    while half * speed > 1e-14:
        trial = np.clip(centre[:, None] + half * np.linspace(-1, 1, 21), low, high)
        value = gap(point_on(curve, trial.ravel()), sides).min(axis=1).reshape(trial.shape)
        centre = trial[np.arange(len(trial)), value.argmax(axis=1)]
        best, half = max(best, value.max()), half / 5
    return best


def equidistant_points(finished):
    """All points outside at the same distance from three sides (their lines) or corners."""
    area = 0.5 * sum(a[0] * b[1] - a[1] * b[0] for a, b in sides_of(finished))
    lines = []
    for a, b in sides_of(finished):
        out = np.array([b[1] - a[1], a[0] - b[0]]) / np.linalg.norm(b - a) * np.sign(area)
        lines.append((*out, -1.0, np.dot(out, a)))
    found = []
    for number in range(4):  # corners among the three
        rows = [[lines[i] for i in triple] for triple in combinations(range(len(lines)), 3 - number)]
        corners = list(combinations(finished, number))
        pairs = [(row, some) for row in rows for some in corners]
        if pairs:
            found.append(
                _solve([row + _between(some) for row, some in pairs], [some[:1] for _, some in pairs])
            )
    return np.concatenate(found)


def _between(corners):
    """Linear rows for: as far from each further corner as from the first."""
    return [
        (*(2 * (other - corners[0])), 0.0, np.dot(other, other) - np.dot(corners[0], corners[0]))
        for other in corners[1:]
    ]


def _solve(rows, corners):
    """Points (x, y) with a distance d > 0 that solve linear rows in (x, y, d), and |p - corner| = d."""
    rows, corners = np.array(rows), np.array(corners)
    matrix, right = rows[..., :3], rows[..., 3]
    if rows.shape[1] == 3:
        good = np.abs(np.linalg.det(matrix)) > 1e-10
        solution = np.linalg.solve(matrix[good], right[good][..., None])[..., 0]
        return solution[solution[:, 2] > 0, :2]
    way = np.cross(matrix[:, 0], matrix[:, 1])
    good = np.linalg.norm(way, axis=1) > 1e-10
    way, corner = way[good], np.pad(corners[good, 0], ((0, 0), (0, 1)))
    start = (np.linalg.pinv(matrix[good]) @ right[good][..., None])[..., 0]
    form = np.array([1.0, 1.0, -1.0])
    a, b, c = (
        (u * form * v).sum(axis=1) for u, v in ((way, way), (way, start - corner), (start - corner,) * 2)
    )
    with np.errstate(all="ignore"):
        root = np.sqrt(np.where(b * b - a * c > -1e-9, np.maximum(b * b - a * c, 0), np.nan))
        flat = np.abs(a) < 1e-12
        both = [np.where(flat, -c / (2 * b), (-b + sign * root) / a) for sign in (-1, 1)]
        solution = np.concatenate([start + t[:, None] * way for t in both])
    solution = solution[np.isfinite(solution).all(axis=1)]
    return solution[solution[:, 2] > 0, :2]


def is_convex(corners):
    way = np.roll(corners, -1, axis=0) - corners
    turn = way[:, 0] * np.roll(way, -1, axis=0)[:, 1] - way[:, 1] * np.roll(way, -1, axis=0)[:, 0]
    return (turn > 0).all() or (turn < 0).all()


def summits(board, finished):
    """Points of the waste that may be further from the outline than all around; once a job."""
    if is_convex(finished):
        return np.empty((0, 2))
    points = equidistant_points(finished)
    keep = in_shape(points, ("polygon", board), 1e-10) & ~in_polygon(points, finished)
    return points[keep]


def nominal(shape, board, finished, new_sides, tops):
    """The clearance, or None."""
    pieces = pieces_on_board(shape, board, finished)
    if not pieces or not new_sides:
        return None
    depth = max((greatest_distance(piece, finished) for piece in pieces if piece[3]), default=0.0)
    if len(tops):
        inside = tops[in_shape(tops, shape, 1e-10)]
        if len(inside):
            depth = max(depth, gap(inside, sides_of(finished)).min(axis=1).max())
    if depth > TOUCH:
        return -depth
    return min(least_distance(piece, side) for piece in pieces for side in new_sides)


def on_board(shape, board):
    """Whether the whole shape lies on the board."""
    border = [("side", *side) for side in sides_of(board)]
    pieces = [(curve, *span) for curve in curves_of(shape) for span in pieces_of(curve, border)]
    inside = in_shape(_middles(pieces), ("polygon", board), 1e-10).all()
    return bool(inside and not in_shape(board, shape, -1e-10).any())


def crossings(shape, new_sides):
    """Whether new sides run through the shape, and where its centre line or outline crosses them."""
    own, cut, ends = curves_of(shape), False, []
    for side in new_sides:
        curve = ("side", *side)
        parts = pieces_of(curve, own)
        for low, high in parts:
            middle = point_on(curve, 0.5 * (low + high))
            deep = bool(in_shape(middle, shape, -TOUCH)[0])
            cut |= deep
            long = (high - low) * np.linalg.norm(side[1] - side[0]) > 1e-3 or shape[0] == "polygon"
            if deep or (long and in_shape(middle, shape, TOUCH)[0]):  # else a circle only touches
                ends += list(point_on(curve, np.array([low, high])))
    if not cut:
        return False, np.empty((0, 2))
    if shape[0] == "path":
        centre = [("side", *side) for side in spine_sides(shape)]
        points = [point_on(c, t)[0] for c in centre for s in new_sides for t in meetings(c, ("side", *s))]
        if points:
            return True, np.array(points)
    ends = np.array(ends)
    outer = ends[~in_shape(ends, shape, -TOUCH)]
    return True, outer if len(outer) else ends
