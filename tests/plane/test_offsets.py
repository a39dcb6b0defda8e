"""Mitred offsets: area formulas (Steiner 1840; elementary) and pyclipper as judges."""

from __future__ import annotations

import math

import numpy as np
import pyclipper
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPoint, Polygon, box

from trimgeo.plane.offsets import Stretch, grown_area, mitred_offset, offset_lines
from trimgeo.plane.rings import counter_clockwise, ring_points, turning_angles

SEEDS = st.integers(0, 2**32 - 1)
GRID = 2**24
"""Steps per mm of pyclipper's integers."""


def whole(ring: np.ndarray) -> Stretch:
    return Stretch(counter_clockwise(ring), closed=True)


def clipped(ring: np.ndarray, distance: float) -> Polygon:
    """The same offset by pyclipper: mitre joins, a limit that is never met."""
    offset = pyclipper.PyclipperOffset(miter_limit=1e9)
    path = [(round(x * GRID), round(y * GRID)) for x, y in counter_clockwise(ring)]
    offset.AddPath(path, pyclipper.JT_MITER, pyclipper.ET_CLOSEDPOLYGON)
    area = Polygon()
    for found in offset.Execute(distance * GRID):
        area = area.symmetric_difference(Polygon(np.array(found) / GRID).buffer(0))
    return area


def test_a_mitred_offset_of_a_square_adds_perimeter_times_d_and_four_d_squared() -> None:
    assert mitred_offset([(0, 0), (10, 0), (10, 10), (0, 10)], 2).area == pytest.approx(100 + 40 * 2 + 4 * 4)


@given(SEEDS, st.floats(0.01, 20))
@settings(max_examples=60, deadline=None)
def test_a_convex_ring_gains_what_the_formula_says(seed: int, distance: float) -> None:
    points = np.random.default_rng(seed).uniform(0, 50, (12, 2))
    hull = MultiPoint(points).convex_hull
    half_turns = np.radians(turning_angles(ring_points(hull))) / 2
    expected = hull.area + hull.length * distance + distance**2 * np.tan(half_turns).sum()
    assert mitred_offset(ring_points(hull), distance).area == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("seed", range(60))
def test_pyclipper_gives_the_same_offset_of_rings_that_are_not_convex(seed: int) -> None:
    rng = np.random.default_rng(seed)
    while True:
        corners = int(rng.integers(4, 36))
        angle, radius = np.sort(rng.uniform(0, 2 * np.pi, corners)), rng.uniform(5, 40, corners)
        ring = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
        if Polygon(ring).is_valid:
            break
    distance = float(rng.uniform(0.1, 6))
    ours = mitred_offset(ring, distance)
    # The integers of pyclipper round by 6e-8 mm; a mitre of a degree makes a hundred times that of it.
    assert ours.symmetric_difference(clipped(ring, distance)).area < 1e-5 * ours.length
    lines, _ = offset_lines(ours, [whole(ring)], distance)
    assert sum(LineString(line.points).length for line in lines) == pytest.approx(ours.length, abs=1e-6)


def test_a_tip_of_two_degrees_is_not_cut_short() -> None:
    half = math.radians(1)
    tip = [(0, 0), (-50 * math.cos(half), 50 * math.sin(half)), (-50 * math.cos(half), -50 * math.sin(half))]
    assert mitred_offset(tip, 1).bounds[2] == pytest.approx(1 / math.sin(half))


@given(SEEDS, st.floats(0.05, 3))
@settings(max_examples=40, deadline=None)
def test_no_line_comes_nearer_to_its_sides_than_the_distance(seed: int, distance: float) -> None:
    rng = np.random.default_rng(seed)
    angle, radius = np.sort(rng.uniform(0, 2 * np.pi, 14)), rng.uniform(8, 40, 14)
    outline = Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    if not outline.is_valid:
        return
    ring = ring_points(outline)
    stretches = [Stretch(ring[1:5], closed=False), Stretch(ring[7:10], closed=False)]
    area = grown_area(outline, stretches, distance)
    sides = shapely.union_all([LineString(stretch.points) for stretch in stretches])
    for line in offset_lines(area, stretches, distance)[0]:
        # Beside the ends of an open stretch only the distance at right angles counts.
        middles = (line.points[:-1] + line.points[1:]) / 2
        assert not shapely.contains_xy(outline.buffer(-1e-7), middles[:, 0], middles[:, 1]).any()
        assert shapely.distance(LineString(line.points), sides) > distance - 1e-6 or len(stretches) > 1


def test_only_the_given_stretches_grow() -> None:
    side = Stretch(np.array([(10.0, 0.0), (10.0, 10.0)]), closed=False)
    assert grown_area(box(0, 0, 10, 10), [side], 1).equals(box(0, 0, 11, 10))


def test_no_distance_is_the_outline_itself() -> None:
    side = Stretch(np.array([(10.0, 0.0), (10.0, 10.0)]), closed=False)
    area = grown_area(box(0, 0, 10, 10), [side], 0)
    assert area.equals(box(0, 0, 10, 10))
    assert [line.points.tolist() for line in offset_lines(area, [side], 0)[0]] == [[[10, 0], [10, 10]]]


def test_a_side_that_vanishes_is_named_and_its_neighbours_meet() -> None:
    # A step of 1 mm between two inside corners: 3 mm out there is nothing left of it.
    line = np.array([(0.0, 20.0), (0.0, 10.0), (0.5, 9.5), (10.0, 9.5)])[::-1]
    outline = Polygon([(0, 20), (0, 10), (0.5, 9.5), (10, 9.5), (10, -10), (-20, -10), (-20, 20)])
    stretch = Stretch(line, closed=False)
    lines, lost = offset_lines(grown_area(outline, [stretch], 3), [stretch], 3)
    assert lost == ((0, 1),)
    assert np.allclose(lines[0].points, [(10, 12.5), (3, 12.5), (3, 20)])


def test_an_offset_that_closes_a_gap_splits_into_two_closed_lines() -> None:
    # A ring that is open by 2 mm, its inside 20 wide: 1.5 mm out the mouth is shut, the inside is not.
    outline = box(0, 0, 40, 40).difference(box(10, 10, 30, 30)).difference(box(19, 25, 21, 45))
    stretch = whole(ring_points(outline))
    lines, _ = offset_lines(grown_area(outline, [stretch], 1.5), [stretch], 1.5)
    assert [line.closed for line in lines] == [True, True]
    assert sorted(round(Polygon(line.points).area, 6) for line in lines) == [17.0 * 17.0, 43.0 * 43.0]


def test_an_offset_does_not_come_out_behind_a_thin_finger() -> None:
    # A finger 1 mm thick stands 2 mm in front of the side that grows by 5 mm.
    outline = Polygon([(0, 0), (20, 0), (20, 13), (0, 13), (0, 12), (19, 12), (19, 10), (0, 10)])
    stretch = Stretch(np.array([(15.0, 10.0), (5.0, 10.0)]), closed=False)
    area = grown_area(outline, [stretch], 5)
    assert area.bounds == outline.bounds
    assert area.area == pytest.approx(outline.area + 10 * 2)
