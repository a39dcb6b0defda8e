"""Rings as arrays, judged by shapely and by elementary geometry."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box
from shapely.ops import substring

from trimgeo.plane.rings import (
    border_of,
    counter_clockwise,
    first_inside,
    line_inside,
    part_of_line,
    right_of,
    ring_points,
    side_vectors,
    signed_area,
    simplified,
    straightened,
    turning_angles,
    unit,
)

SEEDS = st.integers(0, 2**32 - 1)


def star(rng: np.random.Generator, corners: int) -> np.ndarray:
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radius = rng.uniform(5, 40, corners)
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def simple_star(seed: int, most: int = 20) -> np.ndarray:
    rng = np.random.default_rng(seed)
    while True:
        ring = star(rng, int(rng.integers(3, most)))
        if Polygon(ring).is_valid and Polygon(ring).area > 1:
            return ring


@given(SEEDS)
@settings(max_examples=50, deadline=None)
def test_a_ring_has_the_area_of_its_polygon_and_turns_once(seed: int) -> None:
    ring = simple_star(seed)
    assert abs(signed_area(ring)) == pytest.approx(Polygon(ring).area, rel=1e-12)
    assert signed_area(counter_clockwise(ring[::-1])) > 0
    assert turning_angles(counter_clockwise(ring)).sum() == pytest.approx(360.0)


@given(SEEDS)
@settings(max_examples=50, deadline=None)
def test_points_on_its_sides_and_repeats_leave_a_ring_wherever_it_starts(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ring = counter_clockwise(simple_star(seed))
    share = rng.uniform(0, 1, (len(ring), 1))
    filled = np.stack([ring, ring, ring + share * side_vectors(ring)], axis=1).reshape(-1, 2)
    back = simplified(np.roll(filled, int(rng.integers(len(filled))), axis=0))
    corners = {tuple(p) for p in ring[np.abs(turning_angles(ring)) > 1e-3]}
    assert corners <= {tuple(p) for p in back}
    assert len(back) <= len(ring)
    assert Polygon(back).symmetric_difference(Polygon(ring)).area < 1e-4


def test_a_finely_flattened_circle_keeps_its_shape() -> None:
    angle = np.linspace(0, 2 * np.pi, 2_000, endpoint=False)
    ring = 0.06 * np.column_stack([np.cos(angle), np.sin(angle)])
    # Every point is within 3e-7 mm of its neighbours' chord; dropping all of those would leave nothing.
    kept = simplified(ring)
    assert 3 < len(kept) < len(ring)
    assert shapely.hausdorff_distance(shapely.LinearRing(kept), shapely.LinearRing(ring)) < 2e-4
    assert shapely.distance(shapely.LinearRing(kept), shapely.points(ring)).max() < 1.1e-6


def test_an_open_line_loses_only_the_points_on_its_sides() -> None:
    assert straightened([(0, 0), (1, 1), (3, 3), (3, 0)]).tolist() == [[0, 0], [3, 3], [3, 0]]


def test_the_outside_is_on_the_right_of_every_side() -> None:
    ring = ring_points(box(0, 0, 3, 2))
    middles = ring + side_vectors(ring) / 2 + 0.1 * right_of(unit(side_vectors(ring)))
    assert not shapely.contains_xy(box(0, 0, 3, 2), middles[:, 0], middles[:, 1]).any()


@given(SEEDS)
@settings(max_examples=100, deadline=None)
def test_a_line_is_inside_for_as_long_as_shapely_says(seed: int) -> None:
    rng = np.random.default_rng(seed)
    area, line = Polygon(simple_star(seed)), rng.uniform(-40, 40, (int(rng.integers(2, 7)), 2))
    spans = line_inside(line, border_of(area))
    assert np.diff(spans, axis=1).sum() == pytest.approx(LineString(line).intersection(area).length, abs=1e-7)
    for low, high in spans:
        assert area.buffer(1e-6).contains(LineString(part_of_line(line, low, high)))


def test_a_line_along_the_border_is_outside_where_the_area_is_on_its_left() -> None:
    square = border_of(box(0, 0, 2, 2))
    assert line_inside([(-1, 0), (3, 0)], square).tolist() == []
    assert line_inside([(3, 0), (-1, 0)], square).tolist() == [[1.0, 3.0]]


@given(SEEDS, st.floats(0, 1), st.floats(0, 1))
@settings(max_examples=60, deadline=None)
def test_the_part_of_a_line_is_shapelys_substring(seed: int, one: float, two: float) -> None:
    line = LineString(np.random.default_rng(seed).uniform(-40, 40, (5, 2)))
    low, high = sorted((one * line.length, two * line.length))
    if high - low < 1e-3:
        return
    part = LineString(part_of_line(shapely.get_coordinates(line), low, high))
    assert part.hausdorff_distance(substring(line, low, high)) < 2e-6


@given(SEEDS)
@settings(max_examples=60, deadline=None)
def test_a_ray_enters_an_area_at_its_nearest_point_there(seed: int) -> None:
    rng = np.random.default_rng(seed)
    area = Polygon(simple_star(seed))
    start, step = rng.uniform(40, 60, 2), rng.uniform(-150, 0, 2)
    found = first_inside(start[None], step[None], right_of(step)[None], border_of(area))[0]
    met = LineString([start, start + step]).intersection(area)
    expected = Point(start).distance(met) if met.length > 1e-6 else np.inf
    assert found == pytest.approx(expected, abs=1e-6)
