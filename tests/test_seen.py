"""What is handed on of pictures: the finished outline inside a drawn guide line."""

import numpy as np
import pytest
import shapely

from trimgeo.seen import inside_of_guide

BOARD = shapely.box(0, 0, 100, 80)


def test_new_sides_move_in_by_the_sanding_margin_and_existing_ones_stay():
    found = inside_of_guide(shapely.box(0, 0, 50.3, 40.3), BOARD, 0.3)
    assert shapely.symmetric_difference(found, shapely.box(0, 0, 50, 40)).area < 1e-9


def test_an_inside_corner_stays_sharp():
    guide = shapely.Polygon([(0, 0), (60, 0), (60, 30), (30, 30), (30, 80), (0, 80)])
    found = inside_of_guide(guide, BOARD, 0.5)
    expected = shapely.Polygon([(0, 0), (59.5, 0), (59.5, 29.5), (29.5, 29.5), (29.5, 80), (0, 80)])
    assert shapely.symmetric_difference(found, expected).area < 1e-9


@pytest.mark.parametrize("angle", [45.0, 70.0, 110.0, 120.0])
def test_a_cut_that_meets_the_board_edge_aslant_leaves_no_sliver(angle):
    way = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    top = np.array([50.0, 0.0]) + way * 80 / way[1]
    guide = shapely.Polygon([(0, 0), (50, 0), top, (0, 80)])
    aside = 0.4 / way[1]
    expected = shapely.Polygon([(0, 0), (50 - aside, 0), top - [aside, 0], (0, 80)])
    found = inside_of_guide(guide.intersection(BOARD), BOARD, 0.4)
    assert shapely.symmetric_difference(found, expected.intersection(BOARD)).area < 1e-6
