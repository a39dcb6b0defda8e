import pytest
from shapely import LineString, Point, box

from trimgeo.cutting.lift import lift_list
from trimgeo.model.board import Keepout, Part

BOARD = box(0, 0, 60, 40)
BAND = box(30, 0, 32, 40)


def part(area, name="P", must_go=False, face="top"):
    return Part(name, area, face, 5.0, must_go)


def component(spine, radius=0.0, **changes):
    values = {"name": "K", "kind": "component", "layers": (1,), "net": None, "required": 0.5, "reason": ""}
    return Keepout(spine=spine, radius=radius, **(values | changes))


def reasons(*parts, keepouts=()):
    return [lift.reason for lift in lift_list(parts, keepouts, BAND, BOARD)]


@pytest.mark.parametrize(
    ("area", "reason"),
    [
        (box(25, 5, 31.2, 9), "stands in the swept band by 1.2 mm"),
        (box(31.5, 5, 40, 9), "stands in the swept band by 0.5 mm"),
        (box(30.5, 5, 31.5, 9), "stands wholly in the swept band"),
        (box(20, 5, 40, 9), "stands across the swept band"),
        (box(25, -5, 31.2, 9), "stands in the swept band by 1.2 mm"),  # over the board edge
    ],
)
def test_the_reason_says_how_far_a_part_stands_in_the_band(area, reason):
    assert reasons(part(area)) == [reason]


@pytest.mark.parametrize("area", [box(20, 5, 30, 9), box(32, 5, 40, 9), box(5, 5, 9, 9)])
def test_what_touches_or_stays_clear_is_not_lifted_unless_asked_for(area):
    assert reasons(part(area)) == []
    assert reasons(part(area, must_go=True)) == ["asked for in the job"]


def test_a_component_that_must_survive_is_lifted_and_refitted():
    kept = component(box(25, 5, 31.2, 9))
    assert reasons(keepouts=[kept]) == [
        "stands in the swept band by 1.2 mm; must survive: lift it and refit it after the cut"
    ]
    assert reasons(keepouts=[component(box(25, 5, 31.2, 9), may_cut=True)]) == [
        "stands in the swept band by 1.2 mm"
    ]


def test_a_round_component_is_exact_at_the_band():
    assert reasons(keepouts=[component(Point(27, 9), 3.0)]) == []
    assert len(reasons(keepouts=[component(Point(27, 9), 3.000001)])) == 1


@pytest.mark.parametrize("kind", ["trace", "via", "pad", "hole", "copper", "other"])
def test_what_lies_flat_is_not_lifted(kind):
    assert reasons(keepouts=[component(LineString([(20, 5), (40, 5)]), 0.5, kind=kind)]) == []


def test_the_list_is_by_face_then_name_whatever_the_order_of_the_job():
    some = [
        part(box(29, 5, 31, 9), "C2"),
        part(box(29, 15, 31, 19), "C1", face="bottom"),
        part(box(1, 1, 2, 2), "B9", must_go=True),
    ]
    keepouts = [component(box(29, 25, 31, 29), name="A1", face="bottom", height=3.0)]
    found = lift_list(some, keepouts, BAND, BOARD)
    assert [(lift.face, lift.name) for lift in found] == [
        ("top", "B9"),
        ("top", "C2"),
        ("bottom", "A1"),
        ("bottom", "C1"),
    ]
    assert found == lift_list(some[::-1], keepouts, BAND, BOARD)
    assert found[2].height == 3.0


def test_the_place_lies_on_the_part():
    angle = box(25, 5, 45, 25).difference(box(26, 6, 45, 25))
    x, y = lift_list([part(angle)], [], BAND, BOARD)[0].at
    assert angle.intersects(Point(x, y))


def test_a_component_whose_clearance_is_breached_is_not_told_to_be_refitted():
    survivor = component(box(25, 5, 31.2, 9))
    (kept,) = lift_list([], [survivor], BAND, BOARD)
    (hit,) = lift_list([], [survivor], BAND, BOARD, {"K"})
    assert kept.reason.endswith("lift it and refit it after the cut")
    assert hit.reason.endswith("the outline comes too near: move the line")
