"""Outlines around what is kept and thin itself: judged by shapely's erosion, which knows no necks."""

from __future__ import annotations

import pytest
import shapely
from shapely import LineString, Polygon, box

from trimgeo.cutting.outline import Wish, building, built
from trimgeo.model.board import Case, Keepout, Ring
from trimgeo.model.job import Placing

EXACT = Placing(print=0.0, taping=0.0, finish=0.0)
BOARD = box(0, 0, 110, 70)
ROOMY = box(12, 12, 95, 60)


def two_parts_and_a_trace():
    spines = {
        "A": box(20, 20, 40, 40),
        "B": box(70, 25, 85, 38),
        "trace": LineString([(38, 30), (52, 33), (72, 30)]),
    }
    return [
        Keepout(name, "other", spine, 0.3 * (name == "trace"), (1,), None, 0.5, "")
        for name, spine in spines.items()
    ]


def offered(cavity, most=10):
    case = Case(Ring(cavity), (), 0.5)
    return list(built(building(two_parts_and_a_trace(), BOARD, 0.3, 0.3, EXACT, Wish(case, kerf=1.0)), most))


def widest_disc_that_passes(outline):
    """mm, up to 5: the widest disc that gets from each place where it fits to all others."""
    inside = [width for width in range(1, 51) if isinstance(outline.buffer(0.005 - width / 20), Polygon)]
    return max(inside) / 10


@pytest.mark.parametrize(
    "cavity",
    [ROOMY, ROOMY - box(54, 38, 56, 61), ROOMY - box(54, 38, 56, 61) - box(47, 11, 49, 26)],
    ids=["open", "a wall above", "walls above and below"],
)
def test_a_trace_between_two_parts_is_as_wide_as_the_neck_in_every_outline_offered(cavity):
    found = offered(cavity)
    assert len(found) > 3
    assert any(each.inside_corners > 1 for each in found)
    assert [widest_disc_that_passes(each.finished) for each in found] == [5.0] * len(found)
    assert not any(each.notes for each in found)


def test_where_walls_leave_a_trace_no_room_to_be_wider_outlines_are_offered_as_thin_as_it_is():
    cavity = ROOMY - box(54, 34.5, 56, 61) - box(54, 11, 56, 30)
    found = offered(cavity)
    gap = cavity.buffer(-0.4999)
    assert len(found) > 3
    assert all(gap.covers(each.finished) for each in found)
    assert max(widest_disc_that_passes(each.finished) for each in found) < 3.6  # 4.5 less a gap on both sides
    assert shapely.area([each.finished for each in found]).tolist() == sorted(
        (each.area for each in found), reverse=True
    )
