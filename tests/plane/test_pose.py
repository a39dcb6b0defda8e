"""The pose of a job's own: the same wherever the job lies."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon, affinity

from trimgeo.plane.pose import pose_of

SYMMETRIC = Polygon([(0, 0), (40, 0), (40, 30), (22, 30), (22, 4), (18, 4), (18, 30), (0, 30)])
"""Its own mirror image in x = 20: along x its third moment is none but for rounding."""


@pytest.mark.parametrize("seed", range(8))
def test_a_symmetric_shape_has_one_pose_wherever_it_is_shifted(seed: int) -> None:
    shift = np.random.RandomState(seed).uniform(-300, 300, 2)
    one, other = pose_of([SYMMETRIC]), pose_of([affinity.translate(SYMMETRIC, *shift)])
    assert np.allclose(one.axes, other.axes)


@pytest.mark.parametrize("seed", range(8))
def test_a_shape_that_is_not_symmetric_has_one_pose_however_it_is_moved(seed: int) -> None:
    draw = np.random.RandomState(seed)
    shape = Polygon([(0, 0), (40, 0), (40, 30), (22, 30), (21, 4), (18, 4), (18, 27), (0, 30)])
    moved = affinity.rotate(shape, draw.uniform(0, 360), origin=(0, 0))
    moved = affinity.scale(affinity.translate(moved, *draw.uniform(-300, 300, 2)), draw.choice([-1, 1]), 1)
    taken = [pose_of([each]).taken(shapely.get_coordinates(each)) for each in (shape, moved)]
    assert np.abs(taken[0] - taken[1]).max() < 2.1e-8
