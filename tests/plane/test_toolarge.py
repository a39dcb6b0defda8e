"""Boards far too large for their cavities: an answer at once, and amounts that are true."""

from __future__ import annotations

import time
from types import ModuleType

import numpy as np
import pytest
import shapely
from shapely import Point, affinity, box

from trimgeo.plane.fitting import most_room
from trimgeo.plane.toolarge import quick_ceiling


@pytest.mark.parametrize("side", [10.0, 2.4, 0.05])
def test_a_square_in_a_far_smaller_square_lacks_half_the_difference_of_their_diagonals(side: float) -> None:
    # Elementary: concentric and parallel, its corners are that far from the other's; and the diagonal of what
    # is that much wider all round is no longer.
    began = time.process_time()
    found = most_room(box(0, 0, 30, 30), box(0, 0, side, side))
    lacks = (30 - side) / 2**0.5
    assert time.process_time() - began < 5.0  # minutes, before; a tenth of a second now
    assert -lacks <= found.bound <= -0.999 * lacks
    assert 0.97 * found.bound >= found.room >= 1.03 * found.bound


@pytest.mark.parametrize(("seed", "larger"), [(1, 2.0), (12, 2.0), (29, 5.0), (30, 10.0), (63, 30.0)])
def test_a_board_far_too_large_is_told_at_once_to_lack_what_it_does(
    pairs: ModuleType, search: ModuleType, seed: int, larger: float
) -> None:
    board, cavity = pairs.pair(seed)
    board = affinity.scale(board, larger, larger, origin=(0, 0))
    began = time.process_time()
    found = most_room(board, cavity)
    assert time.process_time() - began < 5.0
    assert found.room <= found.bound <= 0.9 * found.room
    xy, pose = shapely.get_coordinates(board)[:-1], np.array([[*found.shift, np.radians(found.angle)]])
    assert found.room == pytest.approx(search.rooms(xy, cavity, pose, 0.1)[0], abs=0.05)


@pytest.mark.parametrize("seed", range(12))
def test_no_pose_has_more_room_than_the_quick_ceiling(
    pairs: ModuleType, search: ModuleType, seed: int
) -> None:
    """The rooms at poses by chance are measured with shapely alone."""
    board, cavity = pairs.pair(seed)
    board = affinity.scale(board, *[(0.7, 0.7), (1.0, 1.0), (2.0, 2.0)][seed % 3], origin=(0, 0))
    rng, xy = np.random.RandomState(seed), shapely.get_coordinates(board)[:-1]
    centred = xy - shapely.get_coordinates(board.centroid)[0]
    poses = np.column_stack([rng.uniform(-2, 2, (200, 2)), rng.uniform(-np.pi, np.pi, 200)])
    poses[:, :2] += shapely.get_coordinates(cavity.centroid)[0]
    assert search.rooms(centred, cavity, poses, 1.0).max() <= quick_ceiling(board, cavity)


def test_areas_and_circles_tell_where_hulls_are_alike() -> None:
    star, disc = box(-1, -20, 1, 20).union(box(-20, -1, 20, 1)), Point(0, 0).buffer(19.9)
    # The cross has the hull of a square of this diagonal, but wherever the disc lies, it lacks much.
    found = most_room(disc, star)
    assert quick_ceiling(disc, star) < -3
    assert found.room <= found.bound <= quick_ceiling(disc, star)
