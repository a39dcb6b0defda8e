"""What is handed on of pictures: the finished outline inside a drawn guide line, the holes of the board."""

from types import SimpleNamespace

import cv2
import numpy as np
import pytest
import shapely

from trimgeo.model.board import Picture
from trimgeo.seen import holes_seen, inside_of_guide

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


def test_holes_are_looked_for_on_the_board_alone():
    pixels = np.full((200, 400, 3), 60, np.uint8)
    for column in (100, 300):  # the second one lies 10 mm off the board: a dot of the card's print
        cv2.circle(pixels, (column * 16, 100 * 16), 8 * 16, (230, 230, 230), -1, cv2.LINE_AA, 4)
    picture = Picture(10.0, (0.0, 199.0), (400, 200), lambda: pixels)
    view = SimpleNamespace(picture=picture, to_board=SimpleNamespace(eye=None), uncertainty=0.3)
    assert len(holes_seen(1.6, view, None)) == 2
    (hole,) = holes_seen(1.6, view, shapely.box(0, 0, 20, 20))
    assert hole[:2] == pytest.approx([10.0, 9.9], abs=0.02)
