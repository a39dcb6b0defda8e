"""Solids moved along cuts, point by point: what wheels and bits really take, without a formula for it.

The guide line's inside corner is at the origin, the cut runs along +x and is made towards the corner, the
other side's guide line goes off at the angle of the waste, which lies between the two.  Depth is measured
from the face that the cutter stands on.
"""

import numpy as np
from shapely import LineString, Point, Polygon, unary_union


def wheel_points(radius, thickness, beyond, kerf, many=240):
    """Points of the wheel within the board, axle at (0, ·): along, across, depth; shape (n, 3)."""
    down = np.linspace(0, thickness, many)
    centre = -(radius - thickness - beyond)  # depth of the axle: above the face
    across = np.linspace(0, kerf, 80)
    turn = np.linspace(0, 2 * np.pi, 20_001)
    rim_depth, rim_along = centre + radius * np.cos(turn), radius * np.sin(turn)
    ahead = rim_along > 0
    order = np.argsort(rim_depth[ahead])
    front = np.interp(down, rim_depth[ahead][order], rim_along[ahead][order])
    points = [(along, y, z) for along, z in zip(front, down, strict=True) for y in across]
    return np.array(points)


def furthest_axle(points, waste):
    """How near to the corner the axle comes, mm before it, when no point of the wheel may cross the other
    line.

    Found by moving all points along the cut until one of them is over it.
    """
    angle = np.radians(waste)
    low, high = -200.0, 200.0
    for _ in range(60):
        axle = (low + high) / 2
        over = (axle - points[:, 0]) * np.sin(angle) - points[:, 1] * np.cos(angle) < 0
        low, high = (axle, high) if over.any() else (low, axle)
    return high


def left_uncut(points, stop, depth):
    """How much of the cut before the corner the stopped wheel leaves along its near wall, at a depth."""
    near = (np.abs(points[:, 1]) < 1e-6) & (np.abs(points[:, 2] - depth) < 1e-6)
    return stop - float(points[near, 0].max())


def rounded_corner(waste, radius, sanding):
    """How far the finished edge stays from its corner, along the middle of the waste, with a bit of that
    radius.

    A bit's disc is put down all along both sides of its centre line; then everything within ``sanding`` of
    what it took is sanded off.
    """
    angle = np.radians(waste)
    out = np.array([np.cos(angle), np.sin(angle)])
    along = np.linspace(0, 6 * radius, 400)
    corner = np.array([1 / np.tan(angle / 2), 1.0]) * radius
    centres = np.vstack([corner + along[:, None] * (1, 0), corner + along[:, None] * out])
    taken = unary_union([Point(c).buffer(radius, quad_segs=128) for c in centres])
    taken = taken.buffer(sanding, quad_segs=128)
    finished = np.array([-sanding / np.tan(angle / 2), -sanding])
    middle = np.array([np.cos(angle / 2), np.sin(angle / 2)])
    ray = LineString([finished, finished + 30 * (radius + sanding) * middle])
    return float(Point(finished).distance(ray.intersection(taken)))


def wedge(waste, size=120.0):
    """A board and a part that fills it but for a wedge of ``waste`` degrees; its corner is at (0, 0).

    The wedge opens to the right, from the +x direction on counter-clockwise.
    """
    angle = np.radians(waste)
    board = Polygon([(-size, -size), (size, -size), (size, size), (-size, size)])
    far = (
        3 * size * np.array([[1, 0], [np.cos(angle / 2), np.sin(angle / 2)], [np.cos(angle), np.sin(angle)]])
    )
    return board, board.difference(Polygon([(0, 0), *(far * (1, 1))]))
