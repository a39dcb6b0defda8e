"""Bounds on boxes of poses, against random poses in them and the distances that shapely finds."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon, affinity

from trimgeo.plane.poses import Boxes, by_sides, ground


def star(rng: np.random.RandomState, corners: int, low: float, high: float) -> Polygon:
    angles = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radii = rng.uniform(low, high, corners)
    return Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)])).buffer(0)


@pytest.mark.parametrize("seed", range(6))
def test_no_pose_of_a_box_sticks_out_less_than_its_sides_prove(seed: int) -> None:
    rng = np.random.RandomState(seed)
    room = max(shapely.get_parts(star(rng, 14, 20, 50)), key=shapely.area)
    body = max(shapely.get_parts(star(rng, 12, 20, 45)), key=shapely.area)
    known, half, half_turn = ground(body, room), 1.5, 0.05
    middle = rng.uniform(-1, 1, (60, 3)) * (15, 15, np.pi)
    bound, proved = Boxes(middle, half, half_turn, np.full(60, np.inf)), 0
    for k in range(60):
        most = by_sides(known, bound._replace(middle=middle[k : k + 1], most=np.full(1, np.inf)), -1e9).most[
            0
        ]
        proved += most < 0
        for x, y, turn in middle[k] + rng.uniform(-1, 1, (25, 3)) * (half, half, half_turn):
            there = affinity.translate(affinity.rotate(body, turn, origin=(0, 0), use_radians=True), x, y)
            corners = shapely.points(shapely.get_coordinates(there))
            assert -shapely.distance(room, corners).max() <= most + 1e-9
    assert proved > 20
