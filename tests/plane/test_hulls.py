"""Hulls and their support lines, against shapely and plain maxima."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from trimgeo.plane.hulls import convex_hull, side_angles, supports

points = st.lists(
    st.tuples(st.floats(-100, 100), st.floats(-100, 100)), min_size=3, max_size=30
).filter(lambda found: shapely.MultiPoint(found).convex_hull.area > 1.0)  # fmt: skip


@given(points)
def test_a_hull_holds_its_points_and_turns_left_everywhere(found):
    corners = convex_hull(shapely.MultiPoint(found))
    outside = shapely.distance(shapely.Polygon(corners), shapely.points(found))
    assert outside.max() <= 2e-9
    assert np.all(np.diff(side_angles(corners)) >= 0)


def test_a_line_of_points_has_no_hull():
    with pytest.raises(ValueError, match="no area"):
        convex_hull(shapely.MultiPoint([(0, 0), (1, 1), (2, 2)]))


@given(points, st.floats(0, 6.28))
def test_a_support_line_has_every_corner_on_its_left_and_touches_one(found, angle):
    corners = convex_hull(shapely.MultiPoint(found))
    line = supports(corners, np.array([angle]))
    reach = corners @ np.array([np.cos(angle), np.sin(angle)])
    assert line.offset[0] == pytest.approx(reach.max(), abs=1e-9)
    assert reach[line.back[0] % len(corners)] == pytest.approx(reach.max(), abs=1e-9)
    assert reach[line.front[0] % len(corners)] == pytest.approx(reach.max(), abs=1e-9)


def test_a_line_flush_with_a_side_touches_both_its_ends():
    corners = convex_hull(shapely.Point(3, 4).buffer(5, quad_segs=5))
    lines = supports(corners, side_angles(corners))
    assert lines.front.tolist() == (lines.back + 1).tolist() == list(range(1, 21))


def test_lines_move_outwards_by_what_is_asked():
    corners = convex_hull(shapely.box(0, 0, 2, 1))
    angles = np.array([0.0, 1.0])
    assert supports(corners, angles, 0.25).offset - supports(corners, angles).offset == pytest.approx(0.25)
