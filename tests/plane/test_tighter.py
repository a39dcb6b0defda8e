"""Outlines drawn tighter around islands: what an outline has to be, by shapely's erosion alone."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from trimgeo.plane.tighter import Island, tightened

TWO = [box(0, 0, 10, 20), box(30, 0, 40, 20)]
ROOM = box(-5, -5, 45, 25)
NECK = 5.0


def drawn_tighter(corners, free=(), islands=TWO):
    sides = np.isin(np.arange(len(corners)), free)
    return tightened(Polygon(corners), sides, Island(np.array(islands, dtype=object), ROOM, NECK))


def test_a_strip_between_two_blocks_comes_nearer_to_the_neck_but_no_thinner():
    loose = [(0, 0), (40, 0), (40, 20), (30, 20), (29, 11), (11, 11), (10, 20), (0, 20)]
    tight = drawn_tighter(loose)
    # by hand: two blocks of 200 mm² and a strip of 20 mm by 5 mm
    assert 500 - 0.1 <= tight.area < (500 + Polygon(loose).area) / 2
    assert len(tight.exterior.coords) == len(loose) + 1
    assert tight.buffer(1e-3).covers(shapely.union_all(TWO))
    assert isinstance(tight.buffer(0.01 - NECK / 2), Polygon)


@pytest.mark.parametrize("neck_below", [4.0, 5.5])
def test_an_outline_falls_into_no_more_bodies_than_before(neck_below):
    corners = [(0, 0), (40, 0), (40, 20), (30, 20), (29, neck_below), (11, neck_below), (10, 20), (0, 20)]
    before = len(shapely.get_parts(Polygon(corners).buffer(-NECK / 2)))
    tight = drawn_tighter(corners)
    assert len(shapely.get_parts(tight.buffer(0.01 - NECK / 2))) <= before
    assert tight.area <= Polygon(corners).area


def test_free_sides_stay_on_their_lines():
    tight = drawn_tighter([(-5, -5), (45, -5), (42, 20), (30, 21), (20, 9), (10, 21), (-5, 22)], free=[0, 6])
    x, y = shapely.get_coordinates(tight.exterior).T
    assert np.sum(np.abs(y + 5) < 1e-9) == 3 and np.sum(np.abs(x + 5) < 1e-9) == 3  # the first one twice
    assert tight.area < 1000
