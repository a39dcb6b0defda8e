"""Set-out: the two loci are drawn again here and must cross in the corner."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, affinity, box

from trimgeo.cutting.edges import new_edges
from trimgeo.cutting.lines import lines
from trimgeo.cutting.setout import set_out
from trimgeo.model.board import Hole, Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import SetOut

BOARD = box(0, 0, 100, 60)
BIT = Cutter(kind="bit", kerf=2.0)


def placed(finished: Polygon, board: Polygon = BOARD, holes: tuple[Hole, ...] = ()) -> tuple[SetOut, ...]:
    part, edge = Ring(finished), Ring(board)
    cuts = new_edges(part, edge)
    guide = lines(part, edge, cuts, BIT, Finish(sanding=0.5), 1.6).guide
    return set_out(part, guide, edge, holes, cuts)


def locus(corner: SetOut, index: int, board: Polygon, holes: tuple[Hole, ...]) -> tuple[float, float]:
    """How far the corner is from what a pencil draws at that distance, and which way that runs, degrees.

    The pencil draws a line beside a side of the board, or a circle around a hole.
    """
    distance, at = corner.distances[index], np.array(corner.at)
    if distance.edge is not None:
        ring = board.exterior.coords
        a, b = np.array(ring[distance.edge - 1]), np.array(ring[distance.edge])
        d = (b - a) / np.hypot(*(b - a))
        inward = np.array([-d[1], d[0]]) * (1 if board.exterior.is_ccw else -1)
        drawn = LineString([a - 200 * d + distance.mm * inward, b + 200 * d + distance.mm * inward])
        return drawn.distance(Point(at)), math.degrees(math.atan2(d[1], d[0]))
    (hole,) = [hole for hole in holes if hole.name == distance.hole]
    off = at - hole.at
    passing = math.degrees(math.atan2(off[1], off[0])) + 90
    return abs(math.hypot(*off) - hole.diameter / 2 - distance.mm), passing


def crossing(corner: SetOut, board: Polygon, holes: tuple[Hole, ...]) -> tuple[float, float]:
    """How far from the corner the two loci are, and at which angle they cross, degrees."""
    (gap, one), (other_gap, two) = (locus(corner, i, board, holes) for i in (0, 1))
    return max(gap, other_gap), min(abs(one - two) % 180, 180 - abs(one - two) % 180)


def test_a_corner_on_the_edge_is_marked_along_it() -> None:
    first, second, *rest = placed(box(0, 0, 40, 60))
    guide = [corner for corner in rest if corner.line == "guide"]
    assert (first.at, first.line, first.n) == ((40, 0), "finished", 1)
    # Sides of the box as shapely gives it: 1 right, 2 top, 3 left, 4 bottom; the right one is cut off.
    assert [(d.edge, d.mm) for d in first.distances] == [(4, 0), (3, 40)]
    assert [(d.edge, d.mm) for d in second.distances] == [(2, 0), (3, 40)]
    assert [(corner.at, corner.line) for corner in guide] == [
        (pytest.approx((40.5, 0)), "guide"),
        (pytest.approx((40.5, 60)), "guide"),
    ]


def test_every_corner_of_new_edges_and_guide_is_there_once_and_numbered() -> None:
    part = Polygon([(0, 0), (80, 0), (80, 20), (40, 20), (40, 60), (0, 60)])
    corners = placed(part)
    assert [corner.n for corner in corners] == list(range(1, 11))
    assert {corner.at for corner in corners if corner.line == "finished"} == {
        (80, 0),
        (80, 20),
        (40, 20),
        (40, 60),
        (0, 60),
        (0, 0),
    }
    assert {corner.at for corner in corners[:4]} == {(80, 0), (80, 20), (40, 20), (40, 60)}
    marked = {tuple(np.round(corner.at, 9)) for corner in corners if corner.line == "guide"}
    assert marked == {(80.5, 0), (80.5, 20.5), (40.5, 20.5), (40.5, 60)}


def test_a_side_that_is_cut_off_is_not_measured_from() -> None:
    for corner in placed(box(0, 0, 40, 60)):
        assert all(distance.edge != 1 for distance in corner.distances)


def test_a_hole_helps_where_only_one_side_is_kept() -> None:
    # Only the bottom edge is kept; the hole stands beside the corner at (70, 30).
    hole = Hole("H1", (40.0, 30.0), 3.0, True)
    part = Polygon([(10, 0), (90, 0), (70, 30), (30, 40)])
    corner = next(c for c in placed(part, holes=(hole,)) if c.at == (70, 30))
    assert {(d.edge, d.hole) for d in corner.distances} == {(4, None), (None, "H1")}
    assert {round(d.mm, 9) for d in corner.distances} == {30.0, 28.5}


def test_a_hole_that_is_cut_away_is_not_measured_from() -> None:
    hole = Hole("gone", (95.0, 30.0), 3.0, True)
    assert all(
        d.hole is None for corner in placed(box(0, 0, 40, 60), holes=(hole,)) for d in corner.distances
    )


def test_where_no_edge_is_kept_corners_are_set_out_from_the_uncut_board() -> None:
    corners = placed(box(20, 20, 60, 40))
    first = next(c for c in corners if c.at == (60, 20))
    # Sides of the box as shapely gives it: 1 right, 2 top, 3 left, 4 bottom.
    assert [(d.edge, d.mm) for d in first.distances] == [(4, 20), (1, 40)]
    assert all(len(corner.distances) == 2 for corner in corners)


def test_where_one_edge_is_kept_the_other_distance_is_from_what_is_cut_off() -> None:
    part = Polygon([(10, 0), (90, 0), (70, 25), (30, 40)])
    (corner,) = (c for c in placed(part) if c.at == (70, 25))
    assert [(d.edge, d.mm) for d in corner.distances] == [(4, 25), (1, 30)]


def test_nothing_to_measure_from_gives_no_distance() -> None:
    # A round board has no straight side of 5 mm for the caliper's jaw.
    assert all(corner.distances == () for corner in placed(box(-5, -5, 5, 5), Point(0, 0).buffer(20, 32)))


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 31.0, 90.0]))
@settings(max_examples=60, deadline=None)
def test_the_two_loci_cross_in_the_corner(seed: int, degrees: float) -> None:
    rng = np.random.default_rng(seed)
    board = affinity.rotate(Polygon([(0, 0), (100, 0), (110, 40), (70, 60), (0, 55)]), degrees, origin=(0, 0))
    rim = board.exterior
    holes = tuple(
        Hole(f"H{i}", rim.interpolate(at).coords[0], 3.0, True) for i, at in enumerate(rng.uniform(0, 300, 4))
    )
    centre = np.array(board.centroid.coords[0])
    holes = tuple(Hole(h.name, tuple(centre + 0.6 * (np.array(h.at) - centre)), 3.0, True) for h in holes)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 6))
    radius = rng.uniform(20, 70, 6)
    star = Polygon(centre + np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    part = star.intersection(board) if star.is_valid else board
    if part.geom_type != "Polygon" or part.area < 200:
        return
    for corner in placed(part, board, holes):
        if len(corner.distances) == 2:
            gap, crossed = crossing(corner, board, holes)
            assert gap < 1e-6
            assert crossed > 14.9
            assert corner.distances[0].mm <= corner.distances[1].mm


def test_the_squarest_pair_is_taken_before_the_shortest() -> None:
    # The slanting side is nearer than the bottom, but left and bottom cross at a right angle.
    board = Polygon([(0, 0), (100, 0), (100, 60), (40, 60), (0, 50)])
    part = Polygon([(0, 0), (60, 0), (30, 40), (30, 57.5), (0, 50)])
    corner = next(c for c in placed(part, board) if c.at == (30, 40))
    assert [(d.edge, d.mm) for d in corner.distances] == [(5, pytest.approx(30)), (1, pytest.approx(40))]
