"""Random boards and cavities: notched boxes and stars, cavities made from them or for themselves, posts."""

import numpy as np
import shapely
from shapely import Point, Polygon, affinity, box


def pair(seed):
    """A board and a cavity less its posts; about a fifth of them do not fit."""
    rng = np.random.RandomState(seed)
    board = notched(rng) if seed % 4 < 2 else star(rng, rng.randint(5, 41), rng.uniform(10, 35), 40)
    cavity = _cavity(rng, board, (seed // 4) % 4)
    left, low, right, high = cavity.bounds
    posts, wanted = [], rng.randint(0, 5)
    for _ in range(60):
        at, radius = (rng.uniform(left, right), rng.uniform(low, high)), rng.uniform(1, 3.5)
        post = Point(at).buffer(radius, quad_segs=3)
        if len(posts) < wanted and (seed % 16 >= 12 or post.distance(board) > 0.1):
            posts.append(post)
    turn, shift = (rng.uniform(0, 360) if rng.rand() < 0.7 else 0.0), rng.uniform(-5, 5, 2)
    room = cavity.difference(shapely.union_all(posts)) if posts else cavity
    return board, largest(affinity.translate(affinity.rotate(room, turn, origin=(0, 0)), *shift))


def star(rng, corners, least, most):
    """A polygon with corners at random ways from its middle."""
    turn = (np.arange(corners) + rng.uniform(-0.35, 0.35, corners)) * 2 * np.pi / corners
    reach = rng.uniform(least, most, corners)
    return Polygon(np.column_stack([reach * np.cos(turn), reach * np.sin(turn)]))


def notched(rng):
    """A rectangle with up to three rectangular notches in its edge."""
    wide, high = rng.uniform(30, 90), rng.uniform(25, 70)
    board = box(0, 0, wide, high)
    for _ in range(rng.randint(0, 4)):
        a, b = rng.uniform(3, 0.4 * wide), rng.uniform(3, 0.4 * high)
        x, y = rng.uniform(0, wide - a), rng.uniform(0, high - b)
        notches = [
            box(x, -1, x + a, b),
            box(x, high - b, x + a, high + 1),
            box(-1, y, a, y + b),
            box(wide - a, y, wide + 1, y + b),
        ]
        rest = board.difference(notches[rng.randint(4)])
        board = rest if rest.geom_type == "Polygon" and not rest.interiors else board
    return board


def _cavity(rng, board, kind):
    if kind == 0:
        return Polygon(board.buffer(rng.uniform(0.2, 3), join_style="mitre").exterior)
    if kind == 1:
        return box(*board.bounds).buffer(rng.uniform(-0.5, 4), join_style="mitre")
    if kind == 2:
        corners = shapely.get_coordinates(board.buffer(rng.uniform(0.1, 2), join_style="mitre"))[:-1]
        return largest(Polygon(corners + rng.uniform(-0.8, 0.8, corners.shape)).buffer(0))
    return star(rng, rng.randint(6, 41), 38, rng.uniform(45, 70))


def largest(area):
    """The largest part of an area."""
    return max(shapely.get_parts(area), key=lambda part: part.area)
