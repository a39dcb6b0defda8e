"""The judge of fits: a search over shift and turn with shapely alone, coarse everywhere and then finer.

A pose is (x, y, turn): the part turned by radians about (0, 0), then moved.  What it finds is attained, so no
more than the truth.
"""

import numpy as np
import shapely

TURNS = 90
SHIFTS = 14
KEPT = 60


def moved(xy, poses):
    """Points, shape (n, 2), at m poses, shape (m, n, 2)."""
    x, y, turn = np.asarray(poses, dtype=float).T[..., None]
    sine, cosine = np.sin(turn), np.cos(turn)
    return np.stack([cosine * xy[:, 0] - sine * xy[:, 1] + x, sine * xy[:, 0] + cosine * xy[:, 1] + y], -1)


def rooms(xy, cavity, poses, spacing=0.05):
    """The room at each pose, mm: the distance from the border, or minus how far the part sticks out.

    What sticks out is looked at ``spacing`` mm apart along the part's border, and in the middle of posts.
    """
    parts = shapely.polygons(moved(xy, poses))
    shapely.prepare(cavity)
    fits = shapely.contains_properly(cavity, parts)
    found = np.empty(len(parts))
    found[fits] = shapely.distance(shapely.boundary(cavity), parts[fits])
    found[~fits] = -_stuck_out(xy, cavity, np.asarray(poses)[~fits], parts[~fits], spacing)
    return found


def _stuck_out(xy, cavity, poses, parts, spacing):
    along = shapely.get_coordinates(shapely.segmentize(shapely.Polygon(xy), spacing))[:-1]
    deep = np.zeros(len(poses))
    block = max(1, 200_000 // len(along))
    for low in range(0, len(poses), block):
        points = moved(along, poses[low : low + block])
        pose, which = np.nonzero(~shapely.contains_xy(cavity, points[..., 0], points[..., 1]))
        apart = shapely.distance(cavity, shapely.points(points[pose, which]))
        np.maximum.at(deep, low + pose, apart)
    for post in [shapely.Polygon(hole) for part in shapely.get_parts(cavity) for hole in part.interiors]:
        middle = shapely.get_point(shapely.maximum_inscribed_circle(post, tolerance=1e-3), 0)
        held = shapely.contains(parts, middle)
        deep[held] = np.maximum(deep[held], shapely.distance(cavity, middle))
    return deep


def most_room(part, cavity, seed=0, kept=KEPT):
    """The most room found, and its pose; ``kept`` poses of the coarse search are followed."""
    xy = shapely.get_coordinates(part)[:-1]
    middle = shapely.get_coordinates(shapely.minimum_bounding_circle(part).centroid)[0]
    about = xy - middle
    x0, y0, x1, y1 = cavity.bounds
    turns = np.linspace(-np.pi, np.pi, TURNS + 1)[:-1]
    axes = [np.linspace(x0, x1, SHIFTS), np.linspace(y0, y1, SHIFTS), turns]
    poses = _least_outside(about, cavity, np.stack(np.meshgrid(*axes, indexing="ij"), -1).reshape(-1, 3))
    found = rooms(about, cavity, poses, spacing=5.0)
    step = np.array([(x1 - x0) / SHIFTS, (y1 - y0) / SHIFTS, 2 * np.pi / TURNS])
    rng = np.random.default_rng(seed)
    poses, found = _best(poses, found, kept)
    spacing = 5.0
    while step[2] > 1e-6:
        if spacing != max(0.4, 50 * step[2]):
            spacing = max(0.4, 50 * step[2])
            found = rooms(about, cavity, poses, spacing)
        for _ in range(2 if len(poses) > kept // 5 else 4):
            tried = poses[:, None] + step * rng.uniform(-1, 1, (len(poses), 16, 3))
            rated = rooms(about, cavity, tried.reshape(-1, 3), spacing).reshape(len(poses), -1)
            pick = rated.argmax(axis=1)
            better = rated[np.arange(len(poses)), pick] > found
            poses[better], found[better] = tried[better, pick[better]], rated[better, pick[better]]
        step = step * 0.8
        if step[2] < 0.01:
            poses, found = _best(poses, found, kept // 5)
    top = int(np.argmax(found))
    back = moved(middle[None], poses[top : top + 1] * (0, 0, 1))[0, 0]
    last = rooms(about, cavity, poses[top : top + 1], 0.01)[0]
    return float(last), poses[top] - (*back, 0)


def _best(poses, found, count):
    best = np.argsort(-found, kind="stable")[:count]
    return poses[best], found[best]


def _least_outside(about, cavity, poses):
    """The poses of which fewest corners lie outside: a quick look before the slow one."""
    points = moved(about, poses)
    outside = ~shapely.contains_xy(cavity, points[..., 0], points[..., 1])
    return poses[np.argsort(outside.sum(axis=1), kind="stable")[:2500]]
