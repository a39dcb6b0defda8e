"""Bridges that keep off the walls: around a post, and over a slot, with few cuts."""

import pytest
import shapely
from shapely import Point, Polygon, box

from trimgeo.cutting.outline import Wish, choices
from trimgeo.model.board import Case, Circle, Keepout, Ring
from trimgeo.model.job import Placing

BOARD = box(0, 0, 100, 80)
PARTS = [
    Keepout(name, "component", shape, 0.0, (1,), None, 0.5, "")
    for name, shape in (("A", box(20, 20, 40, 40)), ("B", box(60, 50, 70, 60)))
]
ROUND = Ring(Point(50, 45).buffer(2.5), (Circle((50.0, 45.0), 2.5),))
SLOTTED = Polygon([(10, 10), (49, 10), (49, 70), (51, 70), (51, 10), (90, 10), (90, 79), (10, 79)])


# by hand: a triangle's three sides and two for a notch to the post; four, and three for the slot's
@pytest.mark.parametrize(
    ("case", "by_hand"),
    [
        (Case(Ring(box(0, 0, 90, 70)), (ROUND,), gap=0.3), 5),
        (Case(Ring(SLOTTED), (), gap=0.3), 7),
    ],
)
def test_a_bridge_past_a_wall_takes_no_more_cuts_than_by_hand(case, by_hand):
    found = next(choices(PARTS, BOARD, 0.3, 0.3, Placing(), 12, Wish(case=case)))
    assert found.cuts <= by_hand
    assert all(found.finished.buffer(1e-6).covers(each.spine) for each in PARTS)
    walls = shapely.union_all([case.cavity.polygon.exterior, *(post.polygon for post in case.posts)])
    assert shapely.distance(found.finished, walls) > 0.3 - 1e-6
