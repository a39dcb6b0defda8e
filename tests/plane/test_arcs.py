"""Bulges, circles, flattened arcs and chains."""

from __future__ import annotations

from math import acos, atan, cos, degrees, hypot, pi, radians, sin, tan

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import Polygon

from trimgeo.plane.arcs import (
    bulge_circles,
    bulged,
    chain,
    circle_piece,
    ellipse_arc,
    flatten,
    reverse,
    whole_circle,
)
from trimgeo.tables import FLATTENING

coordinate = st.floats(-100, 100)


def area(vertices: np.ndarray) -> float:
    """Exact area of a closed piece: shoelace plus circular segments, r² (a - sin a) / 2 (elementary)."""
    total = 0.0
    for (x0, y0, b), (x1, y1, _) in zip(vertices, np.roll(vertices, -1, axis=0), strict=True):
        total += (x0 * y1 - x1 * y0) / 2
        if b:
            angle = 4 * atan(b)
            radius = hypot(x1 - x0, y1 - y0) / 2 / sin(abs(angle) / 2)
            total += radius**2 * (angle - sin(angle)) / 2
    return total


def test_the_handbook_segment_of_a_circle() -> None:
    # Machinery's Handbook, segments of circles, from memory: radius 1, chord 1 -> 60 deg, height 0.1340.
    bulge = tan(radians(60) / 4)
    (circle,) = bulge_circles(np.array([[0.0, 0.0]]), np.array([[1.0, 0.0]]), np.array([bulge]))
    assert circle[2] == pytest.approx(1.0)
    assert bulge * 0.5 == pytest.approx(0.1340, abs=5e-5)  # height is bulge times half the chord
    # A positive bulge runs counter-clockwise: from left to right its arc lies below the chord.
    assert circle[:2].tolist() == pytest.approx([0.5, cos(pi / 6)])


@given(coordinate, coordinate, coordinate, coordinate, st.floats(-3, 3))
def test_both_ends_of_a_side_lie_on_its_circle(
    x0: float, y0: float, x1: float, y1: float, bulge: float
) -> None:
    assume(hypot(x1 - x0, y1 - y0) > 0.01)
    assume(abs(bulge) > 0.01)
    ((x, y, r),) = bulge_circles(np.array([[x0, y0]]), np.array([[x1, y1]]), np.array([bulge]))
    assert hypot(x0 - x, y0 - y) == pytest.approx(r, rel=1e-9)
    assert hypot(x1 - x, y1 - y) == pytest.approx(r, rel=1e-9)


@given(st.floats(0.001, 1000), st.floats(5, 355))
def test_flattened_arcs_stay_within_the_tolerance_and_on_the_circle(radius: float, angle: float) -> None:
    arc = ellipse_arc((1, 2), (radius, 0), (0, radius), 0.3, radians(angle))
    points, _ = flatten(arc, closed=False)
    off = np.hypot(points[:, 0] - 1, points[:, 1] - 2) - radius
    assert np.abs(off).max() <= 1e-9
    middles = (points[1:] + points[:-1]) / 2
    rise = radius - np.hypot(middles[:, 0] - 1, middles[:, 1] - 2)
    assert rise.max() <= FLATTENING * (1 + 1e-9)


def test_flattening_uses_no_more_sides_than_the_tolerance_asks_for() -> None:
    points, _ = flatten(circle_piece(0, 0, 50.0), closed=True)
    fewest = 2 * pi / (2 * acos(1 - FLATTENING / 50))  # sagitta, elementary
    assert fewest <= len(points) <= fewest + 2


@given(st.floats(0.5, 50), st.floats(0.5, 50), st.floats(0, 2 * pi), st.floats(0.1, 2 * pi))
def test_chords_of_an_ellipse_stay_within_the_tolerance(
    a: float, b: float, turn: float, sweep: float
) -> None:
    assume(abs(a - b) > 1e-3)
    u, v = np.array([a * cos(turn), a * sin(turn)]), np.array([-b * sin(turn), b * cos(turn)])
    vertices = ellipse_arc((0, 0), u, v, turn, sweep)
    count = len(vertices) - 1
    t = turn + sweep * np.arange(count * 64 + 1) / (count * 64)
    curve = np.cos(t)[:, None] * u + np.sin(t)[:, None] * v
    share = np.arange(64)[None, :, None] / 64
    chords = (vertices[:-1, None, :2] * (1 - share) + vertices[1:, None, :2] * share).reshape(-1, 2)
    # Points at the same parameter are at least as far apart as curve and chord are.
    assert np.hypot(*(curve[:-1] - chords).T).max() <= FLATTENING * (1 + 1e-6)


def test_a_circle_in_a_mirrored_or_sheared_frame() -> None:
    mirrored = ellipse_arc((0, 0), (-2, 0), (0, 2), 0.0, pi / 2)
    assert (mirrored[:-1, 2] < 0).all()
    assert flatten(mirrored, closed=False)[1][0].tolist() == pytest.approx([0, 0, 2])
    assert (ellipse_arc((0, 0), (2, 0), (1, 2), 0.0, pi / 2)[:, 2] == 0).all()


@st.composite
def pieces(draw: st.DrawFn) -> np.ndarray:
    """Star-shaped closed pieces with arcs and straight sides, corners well apart."""
    n = draw(st.integers(3, 12))
    angles = (np.arange(n) + draw(st.floats(0, 1))) * 2 * pi / n
    radii = np.array(draw(st.lists(st.floats(5, 60), min_size=n, max_size=n)))
    bulges = draw(st.lists(st.sampled_from([0.0, 0.0, 0.2, -0.15, 0.41421356, 1.0]), min_size=n, max_size=n))
    return np.column_stack([radii * np.cos(angles), radii * np.sin(angles), bulges])


@given(pieces())
def test_flattened_rings_find_their_arcs_again(vertices: np.ndarray) -> None:
    points, circles = flatten(vertices, closed=True)
    found = bulged(points, True, circles)
    assert len(found) == len(vertices)
    shift = int(np.argmin(np.hypot(*(found[:, :2] - vertices[0, :2]).T)))
    assert np.allclose(np.roll(found, -shift, axis=0), vertices, atol=1e-6)
    again, _ = flatten(found, closed=True)
    shift = int(np.argmin(np.hypot(*(again - points[0]).T)))
    assert np.allclose(np.roll(again, -shift, axis=0), points, atol=1e-9)


@given(pieces())
def test_flattening_loses_no_more_area_than_the_tolerance_along_the_edge(vertices: np.ndarray) -> None:
    points, _ = flatten(vertices, closed=True)
    assert Polygon(points).length > 0
    signed = np.roll(points, 1, 0)[:, 0] @ points[:, 1] / 2 - np.roll(points, 1, 0)[:, 1] @ points[:, 0] / 2
    assert abs(signed - area(vertices)) <= FLATTENING * Polygon(points).length


@given(st.integers(0, 200))
def test_a_ring_that_starts_within_an_arc_gives_the_same_arcs(shift: int) -> None:
    slot = np.array([[0, 0, 0], [20, 0, 1.0], [20, 6, 0], [0, 6, 1.0]])
    points, circles = flatten(slot, closed=True)
    found = bulged(np.roll(points, -shift, axis=0), True, circles)
    assert sorted(found.round(6).tolist()) == sorted(slot.tolist())


def test_more_than_half_a_circle_becomes_two_arcs_and_a_whole_one_too() -> None:
    keyhole = np.array([[0.0, 0.0, tan(radians(300) / 4)], [1.0, 0.0, 0.0]])
    points, circles = flatten(keyhole, closed=True)
    found = bulged(points, True, circles)
    sweeps = degrees(4) * np.arctan(found[:, 2])
    assert sweeps.sum() == pytest.approx(300)
    assert np.abs(sweeps).max() <= 180
    points, circles = flatten(circle_piece(3, 4, 5), closed=True)
    found = bulged(points, True, circles)
    assert found[:, 2].tolist() == pytest.approx([1.0, 1.0])
    assert whole_circle(found) == pytest.approx(np.array([3, 4, 5]))


def test_a_straight_side_between_two_points_of_a_circle_stays_straight() -> None:
    points, circles = flatten(np.array([[0, 0, 1.0], [10, 0, 0.0]]), closed=True)
    found = bulged(points, True, circles)
    assert sorted(found[:, 2].tolist()) == pytest.approx([0.0, 1.0])


def test_lines_beside_an_arc_are_arcs_only_within_reach() -> None:
    ring, circles = flatten(circle_piece(0, 0, 10), closed=True)
    outer = ring * 1.05
    assert (bulged(outer, True, circles, reach=0.4)[:, 2] == 0).all()
    found = bulged(outer, True, circles, reach=0.6)
    assert whole_circle(found) == pytest.approx(np.array([0, 0, 10.5]))


def test_what_is_no_whole_circle() -> None:
    assert whole_circle(np.array([[0, 0, 1.0], [2, 0, 0.5]])) is None
    assert whole_circle(np.array([[0, 0, 0.0], [2, 0, 0.0], [1, 2, 0]])) is None
    assert whole_circle(np.array([[0, 0, 1.0], [2, 0, -1.0]])) is None


def test_nearly_straight_arcs_are_straight() -> None:
    points, circles = flatten(np.array([[0, 0, 1e-7], [10, 0, 0.0], [5, 5, 0.0]]), closed=True)
    assert len(points) == 3
    assert len(circles) == 0


@settings(max_examples=60)
@given(pieces(), st.randoms(use_true_random=False))
def test_sides_shuffled_and_turned_round_chain_to_the_same_area(vertices: np.ndarray, random: object) -> None:
    sides = []
    for start, end in zip(vertices, np.roll(vertices, -1, axis=0), strict=True):
        side = np.array([start, [*end[:2], 0.0]])
        sides.append(reverse(side) if random.random() < 0.5 else side)  # type: ignore[attr-defined]
    random.shuffle(sides)  # type: ignore[attr-defined]
    found = chain(sides, 0.01)
    assert len(found.loose) == len(found.forks) == 0
    ((first, ring),) = found.rings
    assert first == 0
    assert np.array_equal(ring[0], sides[0][0])
    assert abs(area(ring)) == pytest.approx(abs(area(vertices)))


def test_gaps_within_the_tolerance_are_closed_half_way() -> None:
    sides = [
        np.array([[0.0, 0, 0], [10, 0, 0]]),
        np.array([[10.008, 0, 0], [10, 10, 0]]),
        np.array([[10.0, 10, 0], [0, 0.004, 0]]),
    ]
    ((_, ring),) = chain(sides, 0.01).rings
    assert ring[:, :2].tolist() == [[0, 0.002], [10.004, 0], [10, 10]]


def test_a_gap_over_the_tolerance_leaves_two_loose_ends() -> None:
    sides = [np.array([[0.0, 0, 0], [10, 0, 0], [10, 10, 0]]), np.array([[10.0, 10, 0], [0, 0.011, 0]])]
    found = chain(sides, 0.01)
    assert found.rings == ()
    assert sorted(found.loose.tolist()) == [[0, 0], [0, 0.011]]


def test_a_line_drawn_twice_counts_once_and_a_branch_is_a_fork() -> None:
    triangle = [
        np.array([[*a, 0.0], [*b, 0.0]]) for a, b in [((0, 0), (9, 0)), ((9, 0), (0, 9)), ((0, 9), (0, 0))]
    ]
    assert len(chain([*triangle, reverse(triangle[1])], 0.01).rings) == 1
    branch = np.array([[9.0, 0, 0], [0, 0, 0.0]])
    branch = np.vstack([branch[:1], [[4.0, -4, 0]], branch[1:]])
    found = chain([*triangle, branch], 0.01)
    assert found.rings == ()
    assert sorted(found.forks.tolist()) == [[0, 0], [9, 0]]


def test_pieces_shorter_than_the_tolerance_do_not_disturb() -> None:
    speck = np.array([[9.0, 0.0, 0.0], [9.005, 0.0, 0.0]])
    sides = [np.array([[0.0, 0, 0], [9, 0, 0]]), speck, np.array([[9.005, 0, 0], [0, 9, 0], [0, 0, 0.0]])]
    assert len(chain(sides, 0.01).rings) == 1
    assert chain([speck], 0.01).rings == ()
