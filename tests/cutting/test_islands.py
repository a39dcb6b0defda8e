"""Outlines around several islands, against outlines written down here; shapely says that these will do."""

from __future__ import annotations

import pytest
import shapely
from shapely import Point, Polygon, box

from trimgeo.cutting.outline import Wish, building, built
from trimgeo.model.board import Case, Keepout, Ring
from trimgeo.model.job import Placing

EXACT = Placing(print=0.0, taping=0.0, finish=0.0)
CLEARANCE, GAP, NECK = 0.5, 0.5, 5.0
CAVITY = box(4, 4, 95, 75)
FEET = [box(20, 60, 80, 72), box(30, 15, 36, 22), box(58, 15, 64, 22)]
ROUND = [box(12, 12, 32, 32), Point(60, 20).buffer(4), box(50, 45, 60, 66), Point(84, 60).buffer(3)]


def offered(islands, most):
    parts = [
        Keepout(f"{k}", "other", shape, 0.0, (1,), None, CLEARANCE, "") for k, shape in enumerate(islands)
    ]
    wish = Wish(Case(Ring(CAVITY), (), GAP), neck=NECK)
    return list(built(building(parts, box(0, 0, 100, 80), 0.3, 0.3, EXACT, wish), most))


def will_do(outline, islands):
    """Whether all islands are held and clear, the wall is, and one body as wide as the neck reaches them."""
    body = outline.buffer(0.01 - NECK / 2)
    return (
        outline.is_valid
        and outline.buffer(1e-6).covers(shapely.union_all(islands).buffer(CLEARANCE - 1e-3))
        and CAVITY.buffer(1e-6 - GAP).covers(outline)
        and isinstance(body, Polygon)
        and max(island.distance(body) for island in islands) < NECK / 2 + CLEARANCE
    )


@pytest.mark.parametrize(
    ("islands", "by_hand"),
    [
        # the feet are nearer to each other than to the plate: a bridge between them shuts the way in below
        (FEET, [(94, 14), (31, 32), (27.5, 59), (80.6, 59), (80.6, 73), (16.6, 73), (29, 14)]),
        # and where bridges lead from middle to middle, no cut can lead from island to island
        (ROUND, [(11.4, 8.5), (62.9, 15.7), (89.9, 62.9), (45.6, 68.3), (52.1, 27.9), (11.4, 37.4)]),
    ],
    ids=["feet", "round"],
)  # fmt: skip
def test_an_outline_around_islands_is_no_larger_than_one_written_down(islands, by_hand):
    assert will_do(Polygon(by_hand), islands)
    found = offered(islands, len(by_hand))
    assert found[-1].cuts == len(by_hand)
    assert found[-1].area < Polygon(by_hand).area
    assert all(will_do(each.finished, islands) for each in found)


def test_a_number_of_cuts_has_the_same_outline_whatever_number_is_asked_for():
    five, six = (offered(FEET, most) for most in (5, 6))
    assert [each.area for each in six[:-1]] == [each.area for each in five]
