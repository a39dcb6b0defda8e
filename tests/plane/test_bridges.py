"""Pieces joined by bridges: width and place, measured by shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from trimgeo.plane.bridges import NoBridgeError, bridged


def test_two_squares_are_joined_by_the_shortest_bridge_of_the_neck_s_width():
    # by hand: a gap of 4 mm, 1 mm wide, between two squares of 4 mm²
    two = shapely.union_all([shapely.box(0, 0, 2, 2), shapely.box(6, 0, 8, 2)])
    joined = bridged(two, shapely.box(-1, -1, 9, 3), 1.0)
    assert joined.area == pytest.approx(12.0)
    assert joined.covers(two)


def test_a_wall_between_two_pieces_is_gone_around():
    room = shapely.difference(shapely.box(0, 0, 20, 20), shapely.box(9, 0, 11, 14))
    two = shapely.union_all([shapely.box(2, 2, 5, 5), shapely.box(15, 2, 18, 5)])
    joined = bridged(two, room, 2.0)
    assert room.buffer(1e-9).covers(joined)
    assert joined.covers(two)
    # what is thinner than the neck vanishes when it shrinks by half of it: the pieces still hang together
    assert shapely.get_num_geometries(joined.buffer(-0.99)) == 1


def test_pieces_that_no_bridge_reaches_are_refused_with_the_place():
    room = shapely.difference(shapely.box(0, 0, 20, 20), shapely.box(9, 0, 11, 18.5))
    two = shapely.union_all([shapely.box(2, 2, 5, 5), shapely.box(15, 2, 18, 5)])
    with pytest.raises(NoBridgeError) as refused:
        bridged(two, room, 2.0)
    assert 5 <= refused.value.point[0] <= 15


@pytest.mark.parametrize("seed", range(10))
def test_random_pieces_become_one_without_leaving_the_room(seed):
    draw = np.random.RandomState(seed)
    room = shapely.box(0, 0, 60, 40).difference(shapely.box(25, 0, 30, 25))
    corners = draw.uniform(3, 35, (6, 2)) * (1.5, 1)
    pieces = shapely.union_all([shapely.box(x, y, x + 4, y + 3) for x, y in corners]).intersection(room)
    joined = bridged(pieces, room, 1.5)
    assert joined.geom_type == "Polygon"
    assert joined.is_valid
    assert room.buffer(1e-6).covers(joined)
    assert joined.buffer(1e-6).covers(pieces)


def test_a_bridge_through_a_throat_is_no_wider_than_the_throat():
    # a slot from above leaves 3 mm below it; the far piece is seen through the throat from every corner
    room = shapely.box(0, 0, 100, 50) - shapely.box(49, 3, 51, 50)
    two = shapely.union_all([shapely.box(9, 9, 31, 21), shapely.box(59, 9, 71, 21)])
    joined = bridged(two, room, 2.99)
    assert shapely.get_num_geometries(joined.buffer(-1.49)) == 1
    with pytest.raises(NoBridgeError):
        bridged(two, room, 3.05)


def test_bridges_go_over_the_least_gaps_however_wide_the_pieces_are():
    # gaps of 2, 2.4 and 2.6 mm; the two small pieces are as wide as the neck, the large one is wider
    large, small = shapely.box(0, 0, 30, 20), shapely.box(8, 22, 12, 26)
    other = shapely.box(14.6, 22.4, 18.6, 26.4)
    joined = bridged(shapely.union_all([large, small, other]), shapely.box(-5, -5, 35, 35), 4.0)
    # by hand: two bridges, 4 mm wide
    assert joined.area == pytest.approx(600 + 2 * 16 + 4 * (2 + 2.4), abs=0.01)
