"""Smallest outlines against programs and libraries that share no code with them."""

from __future__ import annotations

import importlib.util
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapely.affinity
from scipy.optimize import minimize

from trimgeo.plane.hulls import convex_hull, side_angles, supports
from trimgeo.plane.kgon import smallest_outlines
from trimgeo.plane.tracks import surroundings

_spec = importlib.util.spec_from_file_location(
    "random_outlines", Path(__file__).parents[1] / "bench" / "random_outlines.py"
)
judges = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(judges)

SQUARE = np.array([(1.0, -1.0), (1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0)])


@pytest.mark.parametrize("seed", [0, 1, 2, 7, 8, 10, 18, 30, 33])
def test_no_judge_knows_a_smaller_outline_around_a_random_hull(seed):
    _, ratios, _ = judges.judged(seed)
    for (judge, cuts), ratio in ratios.items():
        assert ratio <= judges.limit(judge), (judge, cuts)


def clipped(ring, normals, offsets):
    """Corners of a convex ring within half planes (Sutherland and Hodgman 1974)."""
    for normal, offset in zip(normals, offsets, strict=True):
        beyond = ring @ normal - offset
        after, there = np.roll(beyond, -1), np.roll(ring, -1, axis=0)
        kept = []
        for k in range(len(ring)):
            if beyond[k] <= 0:
                kept.append(ring[k])
            if (beyond[k] > 0) != (after[k] > 0):
                kept.append(ring[k] + (there[k] - ring[k]) * beyond[k] / (beyond[k] - after[k]))
        ring = np.array(kept)
    return ring


def area_left(ring, hull, angles):
    normals = np.column_stack([np.cos(angles), np.sin(angles)])
    x, y = clipped(ring, normals, (normals @ hull.T).max(axis=1)).T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def smallest_by_trying(ring, hull, cuts, steps):
    """All combinations of flush lines and evenly turned ones, the best few then moved freely downhill."""
    angles = np.concatenate([side_angles(hull), np.linspace(0, 2 * np.pi, steps, endpoint=False)])
    tried = sorted(
        ((area_left(ring, hull, np.array(each)), each) for each in combinations(angles, cuts)),
        key=lambda found: found[0],
    )
    downhill = [
        minimize(
            lambda free: area_left(ring, hull, free), each, method="Nelder-Mead",
            options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 400},
        ).fun
        for _, each in tried[:4]
    ]  # fmt: skip
    return min(tried[0][0], *downhill)


def tiny_hull(rng):
    return convex_hull(shapely.MultiPoint(rng.normal(size=(rng.integers(3, 7), 2)) * 2))


@pytest.mark.parametrize("seed", range(5))
def test_with_board_edges_in_reach_no_combination_of_lines_leaves_less(seed):
    rng = np.random.default_rng(seed)
    hull = tiny_hull(rng)
    low = hull.min(axis=0) - rng.choice([0.0, 0.3, 1.0, 3.0], 2) * rng.random(2)
    high = hull.max(axis=0) + rng.choice([0.0, 0.3, 1.0, 5.0], 2) * rng.random(2)
    board = np.array([(high[0], low[1]), high, (low[0], high[1]), low])
    found = smallest_outlines(surroundings(hull, board), 3, 1e-6)
    for cuts, steps in ((1, 240), (2, 24), (3, 6)):
        ours = found[min(cuts, len(found)) - 1]
        assert area_left(board, hull, ours.angles) == pytest.approx(ours.area, rel=1e-9)
        assert ours.area <= smallest_by_trying(board, hull, cuts, steps) * (1 + 1e-8)


def cut_once(board, hull, angle):
    """Area that one line leaves around the hull, by shapely; infinite where it cuts several pieces."""
    normal = np.array([np.cos(angle), np.sin(angle)])
    foot, along = normal * (hull @ normal).max(), np.array([-normal[1], normal[0]]) * 1e3
    half = shapely.Polygon(
        [foot - along, foot + along, foot + along - 1e3 * normal, foot - along - 1e3 * normal]
    )
    middle = shapely.Point(hull.mean(axis=0))
    left = min(shapely.get_parts(board.intersection(half)), key=lambda part: part.distance(middle))
    middles = shapely.line_interpolate_point(
        [shapely.LineString(side) for side in pairwise(left.exterior.coords)], 0.5, normalized=True
    )
    on_line = shapely.distance(shapely.LineString([foot - along, foot + along]), middles) < 1e-9
    return left.area if on_line.sum() <= 1 else np.inf


@pytest.mark.parametrize("seed", range(6))
def test_on_a_notched_board_no_single_cut_of_many_leaves_less(seed):
    rng = np.random.default_rng(seed)
    board = shapely.box(0, 0, 100, 70)
    for x in rng.uniform(0, 90, 3):
        board = board.difference(shapely.box(x, 70 - rng.uniform(5, 25), x + rng.uniform(2, 12), 71))
    board = shapely.affinity.rotate(board, rng.uniform(0, 360))
    at = np.array(shapely.affinity.scale(board, 0.6, 0.6).representative_point().coords[0])
    hull = convex_hull(shapely.MultiPoint(at + rng.normal(size=(8, 2)) * 4).intersection(board.buffer(-1)))
    assert board.covers(shapely.Polygon(hull))
    ring = shapely.get_coordinates(shapely.orient_polygons(board))[:-1]
    (one, *_) = smallest_outlines(surroundings(hull, ring), 1, 0.05)
    tried = np.concatenate([side_angles(hull), rng.uniform(0, 2 * np.pi, 300)])
    assert one.area <= min(cut_once(board, hull, angle) for angle in tried) * (1 + 1e-6)


@pytest.mark.parametrize("seed", range(2))
def test_out_of_reach_of_the_board_no_combination_of_lines_around_a_tiny_hull_leaves_less(seed):
    hull = tiny_hull(np.random.default_rng(100 + seed))
    board = judges.square_around(hull, 30)
    found = smallest_outlines(surroundings(hull, board), 4, 0.0)
    for cuts, steps in ((3, 14), (4, 3)):
        best = smallest_by_trying(board, hull, cuts, steps)
        assert found[min(cuts, len(found)) - 1].area <= best * (1 + 1e-8)


def test_a_square_in_a_wide_board_takes_one_side_a_strip_a_triangle_and_itself():
    found = smallest_outlines(surroundings(SQUARE, SQUARE * 4), 6, 0.05)
    # the smallest triangle around a square has twice its area
    assert [each.area for each in found] == pytest.approx([8 * 5, 8 * 2, 2 * 4, 2 * 2])


def test_a_cut_along_the_board_edge_is_never_made():
    found = smallest_outlines(surroundings(SQUARE, SQUARE * np.array([1.0, 3.0])), 4, 0.05)
    assert [each.area for each in found] == pytest.approx([2 * 4, 2 * 2])


def test_a_cut_goes_on_from_the_corner_where_a_notch_has_been_followed():
    board = np.array([(0, 0), (40, 0), (40, 20), (20, 20), (20, 40), (0, 40)], dtype=float)
    hull = convex_hull(shapely.box(2, 2, 20, 38))  # its right side lies along the notch's
    (one, *_) = smallest_outlines(surroundings(hull, board), 2, 0.05)
    assert one.area == pytest.approx(20 * 40)
    assert one.angles.tolist() == [0.0]


def test_where_the_hull_fills_the_board_there_is_nothing_to_cut():
    assert smallest_outlines(surroundings(SQUARE, SQUARE), 4, 0.05) == []


@pytest.mark.parametrize("seed", range(6))
def test_all_cuts_but_one_are_flush_and_that_one_touches_with_its_middle(seed):
    """DePano 1987; Aggarwal, Chang and Yap 1985."""
    hull = judges.random_hull(4 * seed)
    around = surroundings(hull, judges.square_around(hull))
    for found in smallest_outlines(around, 8, 0.0)[2:]:
        lines = supports(around.hull, found.angles)
        turned = np.flatnonzero(lines.front == lines.back)
        assert len(turned) <= 1
        corners = clipped(around.ring, lines.normal, lines.offset)
        for cut in turned:
            on = corners[np.abs(corners @ lines.normal[cut] - lines.offset[cut]) < 1e-9 * np.ptp(around.ring)]
            touched = around.hull[lines.front[cut] % len(hull)]
            assert on.mean(axis=0) == pytest.approx(touched, abs=1e-4 * np.ptp(on, axis=0).max())


@pytest.mark.parametrize("seed", range(4))
def test_each_further_cut_takes_off_no_more_than_the_one_before(seed):
    hull = judges.random_hull(seed)
    found = smallest_outlines(surroundings(hull, judges.square_around(hull, 0.7)), 9, 0.0)
    gains = -np.diff([each.area for each in found])
    assert np.all(gains > 0)
    assert np.all(np.diff(gains) <= 1e-9 * found[0].area)


@pytest.mark.parametrize("seed", range(3))
def test_areas_do_not_depend_on_how_the_board_lies(seed):
    rng = np.random.default_rng(seed)
    hull = judges.random_hull(seed + 20)
    ring = judges.square_around(hull, 1.1)
    ring[1] += 0.1 * (ring[2] - ring[1])  # no two sides parallel: ties would be broken either way
    ring[0] += 0.2 * (ring[3] - ring[0])
    before = [each.area for each in smallest_outlines(surroundings(hull, ring), 6, 0.0)]
    turn = rng.uniform(0, 2 * np.pi)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    for mirror in (np.eye(2), np.diag([-1.0, 1.0])):
        moved = matrix @ mirror
        shift = rng.uniform(-300, 300, 2)
        other = convex_hull(shapely.MultiPoint(hull @ moved.T + shift))
        around = (ring @ moved.T + shift)[:: int(np.linalg.det(moved).round())]
        after = [each.area for each in smallest_outlines(surroundings(other, around), 6, 0.0)]
        assert after == pytest.approx(before, rel=1e-8)


def test_thinning_out_a_thousand_corners_costs_next_to_nothing():
    hull = convex_hull(shapely.Point(0, 0).buffer(30, quad_segs=250))
    found = smallest_outlines(surroundings(hull, judges.square_around(hull)), 8, 0.0)
    # the smallest k-gon around a circle is the regular one: k r² tan(π / k)
    for cuts in range(3, 9):
        assert found[cuts - 1].area == pytest.approx(cuts * 900 * np.tan(np.pi / cuts), rel=2e-4)
