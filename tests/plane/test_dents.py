"""Dents between pieces, against all pairs of lines through two corners, tried one by one with shapely."""

from __future__ import annotations

from itertools import combinations, permutations, product

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from trimgeo.plane.dents import dented, wedges


def three_boxes(seed):
    draw = np.random.RandomState(seed)
    low = np.array([(0.0, 0.0), (22.0, 3.0), (9.0, 20.0)]) + draw.uniform(0, 4, (3, 2))
    return [box(*at, *(at + draw.uniform(3, 7, 2))) for at in low]


def crossing(p, q, r, s):
    d, e = q - p, s - r
    across = d[0] * e[1] - d[1] * e[0]
    return None if abs(across) < 1e-9 else p + d * ((r - p)[0] * e[1] - (r - p)[1] * e[0]) / across


def smallest_by_trial(ring, pieces):
    corners = [shapely.get_coordinates(each)[:4] for each in pieces]
    lines = [
        np.array(pair)
        for one, other in combinations(corners, 2)
        for two in product(one, other)
        for pair in permutations(two)
    ]
    whole, least = shapely.union_all(pieces), np.inf
    for (p, q), (r, s) in permutations(lines, 2):
        tip = crossing(p, q, r, s)
        if tip is None or (q - p)[0] * (s - r)[1] - (q - p)[1] * (s - r)[0] >= 0:
            continue
        start, end = crossing(ring[0], ring[1], p, q), crossing(ring[2], ring[3 % len(ring)], r, s)
        if start is None or end is None:
            continue
        outline = Polygon([ring[0], start, tip, end, *ring[3:]])
        forward = [(tip - start) @ (q - p), (end - tip) @ (s - r)]
        forward += [
            (start - ring[0]) @ (ring[1] - ring[0]),
            (ring[3 % len(ring)] - end) @ (ring[3] - ring[2]),
        ]
        if min(forward) > 0 and outline.area < least and outline.is_valid:
            least = outline.area if outline.buffer(1e-6).covers(whole) else least
    return least


@pytest.mark.parametrize("seed", range(2))
def test_a_dent_leaves_no_more_than_any_two_lines_through_two_corners(seed):
    pieces = three_boxes(seed)
    whole = shapely.union_all(pieces)
    ring = shapely.get_coordinates(shapely.orient_polygons(shapely.envelope(whole)).exterior)[:-1]

    def sound(corners):
        outline = Polygon(corners)
        return outline.is_valid and outline.buffer(1e-6).covers(whole)

    found = dented(ring, np.arange(4) > 0, wedges(np.array(pieces, dtype=object)), sound, np.inf)
    assert [len(corners) for _, corners, _ in found] == [5]
    assert found[0][0] == pytest.approx(Polygon(found[0][1]).area)
    # by trial there are lines as well that cut into a piece beyond the tip, where no side runs
    assert found[0][0] < smallest_by_trial(np.roll(ring, 1, axis=0), pieces) * 1.01
