"""Necks, fingers and slivers of known size, and necks against a fine raster of random parts."""

from __future__ import annotations

import time

import numpy as np
import pytest
import shapely
import shapely.affinity
from shapely import Polygon, box

from trimgeo.plane.necks import fingers, necks, slivers

TURNS = [0, 17, 90, 211.3]


def turned(part, angle):
    return shapely.affinity.rotate(part, angle, origin=(3, 2))


def dumbbell(wide, long=10):
    return shapely.union_all(
        [box(0, 0, 10, 10), box(9, 4, 11 + long, 4 + wide), box(10 + long, 0, 20 + long, 10)]
    )


@pytest.mark.parametrize("angle", TURNS)
@pytest.mark.parametrize(
    ("wide", "found"), [(0.4, True), (3.0, True), (4.9, True), (5.0, False), (5.1, False)]
)
def test_a_dumbbell_has_a_neck_as_wide_as_its_bar(wide, found, angle):
    part = turned(dumbbell(wide), angle)
    assert [neck.width for neck in necks(part, 5.0)] == pytest.approx([wide] if found else [])


@pytest.mark.parametrize("angle", TURNS)
def test_an_hourglass_has_its_neck_at_its_waist(angle):
    part = turned(Polygon([(0, 0), (20, 0), (11, 15), (20, 30), (0, 30), (9, 15)]), angle)
    (neck,) = necks(part, 5.0)
    assert neck.width == pytest.approx(2.0)
    assert neck.at == pytest.approx(turned(shapely.Point(10, 15), angle).coords[0])
    assert shapely.LineString(neck.ends).length == pytest.approx(neck.width)


@pytest.mark.parametrize("angle", TURNS)
def test_between_two_round_bites_the_neck_is_what_is_left(angle):
    bites = [shapely.Point(20, y).buffer(8, quad_segs=64) for y in (-1.5, 18.7)]
    part = turned(box(0, 0, 40, 17.2) - shapely.union_all(bites), angle)
    (neck,) = necks(part, 5.0)
    assert neck.width == pytest.approx(18.7 + 1.5 - 16, abs=1e-9)


@pytest.mark.parametrize("angle", TURNS)
def test_each_gap_of_a_comb_has_its_own_neck(angle):
    gaps = [1.0, 2.5, 4.0, 4.5, 6.0]
    back = [box(15 * k + 8, 0, 15 * k + 17, gap) for k, gap in enumerate(gaps)]
    comb = shapely.union_all([*back, *[box(15 * k, 0, 15 * k + 10, 14) for k in range(6)]])
    assert [neck.width for neck in necks(turned(comb, angle), 5.0)] == pytest.approx(gaps[:4])


def test_three_bodies_that_meet_in_thin_arms_have_three_necks():
    arm = box(-1.2, 0, 1.2, 15) | shapely.Point(0, 18).buffer(6)
    part = shapely.union_all([shapely.affinity.rotate(arm, angle, origin=(0, 0)) for angle in (0, 120, 240)])
    assert [neck.width for neck in necks(part, 5.0)] == pytest.approx([2.4] * 3)


def test_a_neck_beside_corners_and_slots_is_measured_across_the_part_and_not_across_the_slot():
    part = box(0, 0, 40, 20) - box(19.9, 4, 20.1, 30)
    (neck,) = necks(part, 5.0)
    assert neck.width == pytest.approx(4.0)
    assert neck.at[1] == pytest.approx(2.0)


@pytest.mark.parametrize(
    "part",
    [
        box(0, 0, 60, 40),
        box(0, 0, 60, 4),
        Polygon([(0, 0), (60, 0), (0, 35)]),
        box(0, 0, 60, 40) | box(60, 10, 70, 14),
        shapely.Point(0, 0).buffer(20, quad_segs=200),
        box(0, 0, 60, 40) - box(20, 12, 40, 60),
    ],
)
def test_a_part_without_two_bodies_has_no_neck(part):
    assert necks(part, 5.0) == ()


@pytest.mark.parametrize("seed", range(24))
def test_necks_of_random_parts_are_those_of_a_fine_raster(seed, rasters):
    part = rasters.random_part(seed)
    wrong, _ = rasters.faults(part, 5.0, necks(part, 5.0))
    assert wrong == []


def test_the_judge_sees_a_neck_that_is_missing_or_told_too_wide(rasters):
    part = dumbbell(3.0)
    assert rasters.faults(part, 5.0, necks(part, 5.0)) == ([], 1)
    assert rasters.faults(part, 5.0, ())[0]
    (neck,) = necks(dumbbell(3.2), 5.0)
    assert rasters.faults(part, 5.0, (neck,))[0]


def test_a_part_of_many_corners_takes_no_time():
    comb = shapely.union_all(
        [box(0, 0, 200, 3), *[shapely.Point(20 * k, 8).buffer(7, quad_segs=60) for k in range(10)]]
    )
    begun = time.process_time()
    found = necks(comb, 5.0)
    assert len(found) == 9
    assert time.process_time() - begun < 1.0


@pytest.mark.parametrize("angle", TURNS)
def test_teeth_of_a_comb_are_fingers_of_their_width_and_length(angle):
    teeth = [(2.0, 12.0), (4.0, 9.0), (3.0, 2.5), (4.8, 4.0), (5.5, 30.0)]
    comb = shapely.union_all(
        [
            box(0, 0, 100, 20),
            *[box(12 + 15 * k, 20, 12 + 15 * k + w, 20 + l) for k, (w, l) in enumerate(teeth)],
        ]
    )
    found = [(finger.width, finger.length) for finger in fingers(turned(comb, angle), 5.0)]
    assert np.array(found) == pytest.approx(np.array(teeth[:2]), abs=0.02)


def test_a_tooth_that_ends_in_a_thin_one_is_told_where_it_is_slenderest():
    part = shapely.union_all([box(0, 0, 30, 20), box(30, 5, 34, 9.5), box(33, 6, 46, 8)])
    (finger,) = fingers(part, 5.0)
    assert (finger.width, finger.length) == pytest.approx((2.0, 12.0), abs=0.02)


@pytest.mark.parametrize("angle", [25, 45, 60, 90, 120])
def test_an_ordinary_corner_is_no_finger_and_no_sliver(angle):
    half = 80 * np.tan(np.radians(angle / 2))
    part = Polygon([(0, 0), (80, -half), (80, half)])
    assert fingers(part, 5.0) == () and slivers(part) == ()
    cut = part - box(-1, -9, 2, 9)
    assert fingers(cut, 5.0) == ()


@pytest.mark.parametrize(("angle", "sharp"), [(5, True), (19.9, True), (20.1, False), (90, False)])
def test_tips_sharper_than_20_degrees_are_slivers(angle, sharp):
    half = 30 * np.tan(np.radians(angle / 2))
    found = slivers(turned(Polygon([(0, 0), (30, -half), (30, half)]), 40))
    assert [sliver.angle for sliver in found] == pytest.approx([angle] if sharp else [])
    if sharp:
        assert found[0].length == pytest.approx(30 / np.cos(np.radians(angle / 2)))


def test_a_sharp_barb_that_the_abrasive_takes_is_no_sliver():
    part = Polygon([(0, 0), (30, 0), (30, 20), (30.9, 20.1), (0, 20.2)])
    assert slivers(part) == ()
    assert len(slivers(part, least=0.5)) == 1


@pytest.mark.parametrize("seed", range(20))
def test_fingers_of_random_parts_are_thin_slender_and_hold_no_body(seed, rasters):
    part = rasters.random_part(seed)
    for finger in fingers(part, 5.0):
        assert finger.width < 5.0 and finger.length > finger.width
        assert finger.area.difference(part.buffer(1e-6)).is_empty
        assert finger.area.buffer(-2.51).is_empty
