"""Depths on a grid: shapely's distances as judge."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
import shapely

from trimgeo.plane.field import field


@pytest.mark.parametrize("seed", [2, 3, 15])
def test_depths_lie_between_what_the_grid_says(pairs: ModuleType, seed: int) -> None:
    _, room = pairs.pair(seed)
    depths = field(room, margin=9.0, points=96)
    x0, y0, x1, y1 = room.bounds
    x, y = np.random.RandomState(seed).uniform((x0 - 8, y0 - 8), (x1 + 8, y1 + 8), (4000, 2)).T
    true = shapely.distance(shapely.boundary(room), shapely.points(x, y))
    true = np.where(shapely.contains_xy(room, x, y), true, -true)
    assert np.all(true <= depths.most(x, y))
    assert np.all(true >= depths.least(x, y))
    assert np.all(depths.most(x, y) - depths.least(x, y) <= 2 * depths.slack + 1e-4)


def test_at_its_points_a_field_is_exact_but_for_single_precision() -> None:
    room = shapely.box(0, 0, 300, 200).difference(shapely.Point(170, 90).buffer(20))
    depths = field(room, margin=30.0, points=128)
    columns, rows = depths.depths.shape
    along, up = (
        depths.corner[0] + depths.step * np.arange(columns),
        depths.corner[1] + depths.step * np.arange(rows),
    )
    x, y = np.meshgrid(along, up, indexing="ij")
    true = shapely.distance(shapely.boundary(room), shapely.points(x, y))
    true = np.where(shapely.contains_xy(room, x, y), true, -true)
    assert np.abs(true - depths.depths).max() < 1e-4
    assert depths.slack > depths.step / 2**0.5 + 1e-4


def test_beyond_its_grid_a_field_claims_no_less_depth_than_there_is() -> None:
    room = shapely.box(0, 0, 10, 6)
    depths = field(room, margin=1.0, points=64)
    x, y = np.array([[-7.0, 30.0, 5.0], [3.0, -9.0, 40.0]])
    assert np.all(depths.least(x, y) == -np.inf)
    assert np.all(depths.most(x, y) >= -shapely.distance(room, shapely.points(x, y)))
