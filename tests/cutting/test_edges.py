"""New and existing edges, as CONTRACT words them."""

from __future__ import annotations

import math
from types import ModuleType

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, affinity, box
from shapely.ops import split

from trimgeo.cutting.edges import chains, kept_lengths, new_edges, split_at_edge
from trimgeo.model.board import Circle, Ring
from trimgeo.plane.rings import turning_angles

BOARD = Ring(box(0, 0, 100, 60))


def cut_lines(finished: Polygon, board: Ring = BOARD) -> list[list[tuple[float, float]]]:
    return [[(x, y) for x, y in np.round(cut.line.coords, 6)] for cut in new_edges(Ring(finished), board)]


def rounded(width: float, height: float, radius: float) -> Ring:
    """A board with rounded corners, flattened to 0.005 mm, its vertices on the arcs."""
    chords = math.ceil(math.pi / 2 / (2 * math.acos(1 - 0.005 / radius)))
    centres = [
        (width - radius, radius),
        (width - radius, height - radius),
        (radius, height - radius),
        (radius, radius),
    ]
    points = []
    for quarter, (x, y) in enumerate(centres):
        angle = (quarter - 1) * math.pi / 2 + np.linspace(0, math.pi / 2, chords + 1)
        points.append(np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)]))
    return Ring(Polygon(np.vstack(points)), tuple(Circle(centre, radius) for centre in centres))


def test_a_straight_cut_across_the_board_is_one_cut_that_runs_counter_clockwise() -> None:
    assert cut_lines(box(0, 0, 40, 60)) == [[(40, 0), (40, 60)]]


def test_the_board_itself_has_no_cuts() -> None:
    assert new_edges(BOARD, BOARD) == ()
    assert chains((), BOARD) == ()


def test_an_outline_within_the_tolerance_of_the_edge_is_not_cut() -> None:
    assert cut_lines(box(0.04, 0.04, 99.96, 59.96)) == []
    assert len(cut_lines(box(0.06, 0.06, 99.94, 59.94))) == 4


@pytest.mark.parametrize("degrees", [0.1, 0.3, 1.0, 5.0])
def test_a_side_that_leaves_the_edge_at_an_angle_is_new_from_its_start(degrees: float) -> None:
    rise = 100 * math.tan(math.radians(degrees))
    assert cut_lines(Polygon([(0, 0), (100, rise), (100, 60), (0, 60)])) == [[(0, 0), (100, round(rise, 6))]]


def test_collinear_sides_are_one_cut() -> None:
    assert cut_lines(Polygon([(0, 0), (40, 0), (40, 10), (40, 33), (40, 60), (0, 60)])) == [
        [(40, 0), (40, 60)]
    ]


def test_a_cut_across_a_notch_counts_once_a_piece() -> None:
    board = Ring(box(0, 0, 100, 60).difference(box(35, 20, 100, 30)))
    finished = box(0, 0, 40, 60).intersection(board.polygon)
    assert cut_lines(finished, board) == [[(40, 0), (40, 20)], [(40, 30), (40, 60)]]


def test_a_side_along_the_edge_and_on_across_the_base_of_a_tab_is_new_there_only() -> None:
    board = Ring(shapely.union(box(0, 0, 100, 60), box(30, 60, 45, 70)))
    assert cut_lines(box(0, 0, 100, 60), board) == [[(45, 60), (30, 60)]]


@pytest.mark.parametrize(
    ("apart", "lines"),
    [
        (0.6, [[(80, 60), (20, 60)]]),
        (1.2, [[(80, 60), (51.2, 60)], [(50, 60), (20, 60)]]),
    ],
)
def test_the_cutter_is_lifted_for_a_stretch_of_edge_of_over_a_millimetre_and_not_for_less(
    apart: float, lines: list[list[tuple[float, float]]]
) -> None:
    """Across the bases of two tabs: between them, as far as they are apart, the side lies on the edge."""
    tabs = box(20, 60, 50, 70), box(50 + apart, 60, 80, 70)
    assert cut_lines(box(0, 0, 100, 60), Ring(shapely.union_all([box(0, 0, 100, 60), *tabs]))) == lines


def test_a_tab_with_rounded_feet_is_cut_between_the_feet() -> None:
    angle = np.linspace(0, math.pi / 2, 9)
    left = np.column_stack([25 + 5 * np.sin(angle), 65 - 5 * np.cos(angle)])
    right = np.column_stack([50 - 5 * np.sin(angle), 65 - 5 * np.cos(angle)])[::-1]
    tab = np.vstack([[(100, 60)], right[::-1], [(45, 75), (30, 75)], left[::-1], [(0, 60), (0, 0), (100, 0)]])
    assert cut_lines(box(0, 0, 100, 60), Ring(Polygon(tab))) == [[(50, 60), (25, 60)]]


def test_arcs_of_the_board_are_followed_without_confetti() -> None:
    board = rounded(100, 60, 8)
    finished = board.polygon.intersection(box(0, 0, 50, 60))
    assert cut_lines(finished, board) == [[(50, 0), (50, 60)]]
    shifted = rounded(100.02, 60.02, 8.02)
    assert new_edges(board, Ring(affinity.translate(shifted.polygon, -0.01, -0.01))) == ()


def test_a_straight_side_that_leaves_an_arc_at_an_angle_is_one_cut() -> None:
    board = rounded(100, 60, 25)
    start, end = board.polygon.exterior.coords[5], (30.0, 60.0)
    side_of = shapely.LineString([start, end])
    finished = max(split(board.polygon, side_of).geoms, key=lambda part: part.area)
    (cut,) = new_edges(Ring(finished), board)
    assert {cut.start, cut.end} == {start, end}


def test_a_curve_read_as_an_arc_is_one_cut_with_its_circle() -> None:
    finished = rounded(70, 40, 10)
    moved = Ring(
        affinity.translate(finished.polygon, 10, 10),
        tuple(Circle((c.centre[0] + 10, c.centre[1] + 10), c.radius) for c in finished.circles),
    )
    cuts = new_edges(moved, BOARD)
    assert [cut.circle is not None for cut in cuts].count(True) == 4
    assert len(cuts) == 8
    assert sum(cut.length for cut in cuts) == pytest.approx(2 * (50 + 20) + 2 * math.pi * 10, rel=1e-4)
    for cut in cuts:
        if cut.circle:
            radii = np.hypot(*(np.array(cut.line.coords) - cut.circle.centre).T)
            assert radii == pytest.approx(10, abs=1e-9)


def test_an_arc_that_leaves_the_edge_as_its_tangent_is_cut_from_there() -> None:
    cuts = new_edges(rounded(100, 60, 10), BOARD)
    assert [len(cut.line.coords) > 2 and cut.circle is not None for cut in cuts] == [True] * 4
    starts = {tuple(np.round(cut.start, 6)) for cut in cuts}
    assert starts == {(90, 0), (100, 50), (10, 60), (0, 10)}


def test_a_whole_circle_is_one_closed_cut() -> None:
    circle = Circle((50.0, 30.0), 20.0)
    angle = np.linspace(0, 2 * np.pi, 140, endpoint=False)
    ring = Polygon(np.column_stack([50 + 20 * np.cos(angle), 30 + 20 * np.sin(angle)]))
    finished = Ring(ring, (circle,))
    (cut,) = new_edges(finished, BOARD)
    assert cut.circle == circle
    assert cut.start == cut.end
    (chain,) = chains((cut,), finished)
    assert chain.closed
    assert len(chain.points) == 140


@given(st.integers(0, 2**32 - 1), st.integers(0, 20), st.sampled_from([0.0, 17.0, 90.0, 211.0]))
@settings(max_examples=60, deadline=None)
def test_cuts_do_not_depend_on_the_start_or_turn_of_the_ring(
    shapes: ModuleType, seed: int, shift: int, degrees: float
) -> None:
    finished = np.array(shapes.random_part(seed, BOARD.polygon).exterior.coords)[:-1]
    first = new_edges(Ring(Polygon(finished)), BOARD)
    rolled = new_edges(Ring(Polygon(np.roll(finished, shift, axis=0)[::-1])), BOARD)
    assert [cut.line for cut in rolled] == [cut.line for cut in first]

    turned = Ring(affinity.rotate(BOARD.polygon, degrees, origin=(0, 0)))
    again = new_edges(Ring(affinity.rotate(Polygon(finished), degrees, origin=(0, 0))), turned)
    back = {
        tuple(np.round(affinity.rotate(Point(cut.start), -degrees, origin=(0, 0)).coords[0], 5))
        for cut in again
    }
    assert back == {tuple(np.round(cut.start, 5)) for cut in first}


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_what_is_not_cut_is_what_shapely_finds_on_the_board_edge(shapes: ModuleType, seed: int) -> None:
    finished = shapes.random_part(seed, BOARD.polygon)
    cuts = new_edges(Ring(finished), BOARD)
    on_edge = finished.exterior.intersection(BOARD.polygon.exterior.buffer(1e-6)).length
    # A side of less than the tolerance may lie on the edge without being parallel to it.
    assert sum(cut.length for cut in cuts) == pytest.approx(finished.exterior.length - on_edge, abs=0.3)
    assert kept_lengths(Ring(finished), BOARD).sum() == pytest.approx(on_edge, abs=0.3)


def test_chains_join_cuts_in_any_order_and_part_at_the_edge() -> None:
    # A corner of the outline touches the top edge of the board between two cuts.
    finished = Ring(Polygon([(0, 0), (100, 0), (100, 20), (60, 60), (0, 20)]))
    cuts = new_edges(finished, BOARD)
    (chain,) = chains(cuts[::-1], finished)
    assert [cuts[::-1][i].start for i in chain.cuts] == [(100, 20), (60, 60)]
    assert chain.joints == (1,)
    assert [part.points.tolist() for part in split_at_edge([chain], BOARD)] == [
        [[100, 20], [60, 60]],
        [[60, 60], [0, 20]],
    ]


def test_a_closed_chain_that_touches_the_edge_twice_becomes_two_open_ones() -> None:
    finished = Ring(Polygon([(50, 0), (80, 30), (50, 60), (20, 30)]))
    (chain,) = chains(new_edges(finished, BOARD), finished)
    assert chain.closed
    assert abs(turning_angles(chain.points)).sum() == pytest.approx(360)
    parts = split_at_edge([chain], BOARD)
    assert [part.points.tolist() for part in parts] == [
        [[50, 0], [80, 30], [50, 60]],
        [[50, 60], [20, 30], [50, 0]],
    ]
    assert sorted(i for part in parts for i in part.cuts) == [0, 1, 2, 3]
