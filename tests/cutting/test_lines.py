"""Guide line and tool centre: DESIGN's words, its 4.35 mm, and invariants on random boards."""

from __future__ import annotations

import math
from types import ModuleType

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, affinity, box

from trimgeo.cutting.edges import new_edges
from trimgeo.cutting.lines import lines
from trimgeo.cutting.reach import overrun, reach, run_out
from trimgeo.errors import JobError
from trimgeo.model.board import Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import Lines

BOARD = box(0, 0, 100, 60)
WHEEL = Cutter(kind="wheel", kerf=1.0, diameter=38.0, breakthrough=0.5)
BIT = Cutter(kind="bit", kerf=2.0, diameter=2.0)
BLADE = Cutter(kind="blade", kerf=0.5)
MARGIN = Finish(sanding=0.5)


def laid(finished: Polygon, board: Polygon = BOARD, cutter: Cutter = BIT, margin: Finish = MARGIN) -> Lines:
    part, edge = Ring(finished), Ring(board)
    return lines(part, edge, new_edges(part, edge), cutter, margin, 1.6)


def corners(line: LineString) -> list[tuple[float, float]]:
    return [(x, y) for x, y in np.round(line.coords, 6) + 0.0]


def test_a_wheel_reaches_4_35_mm_further_on_the_near_face() -> None:
    # DESIGN, "Cutters": R = 19, t = 1.6, p = 0.5.
    near, far = reach(WHEEL, 1.6)
    assert near - far == pytest.approx(4.35, abs=0.005)
    assert overrun(WHEEL, 1.6) == near - far
    # The wheel's own circle: the axle stands R - t - p above the near face.
    assert math.hypot(near, 19 - 1.6 - 0.5) == pytest.approx(19)
    assert math.hypot(far, 19 - 0.5) == pytest.approx(19)


def test_each_cutter_runs_out_as_the_contract_says() -> None:
    assert run_out(WHEEL, 1.6) == pytest.approx(math.sqrt(19**2 - 16.9**2))
    assert run_out(BIT, 1.6) == 1.0
    assert run_out(Cutter(kind="bit", kerf=3.0), 1.6) == 1.5
    assert run_out(BLADE, 1.6) == 2.0


def test_a_wheel_without_a_diameter_is_refused_by_name() -> None:
    with pytest.raises(JobError, match=r"\[cutter\] diameter"):
        run_out(Cutter(kind="wheel", kerf=1.0), 1.6)


def test_a_wheel_too_small_for_the_board_is_refused() -> None:
    with pytest.raises(JobError, match=r"radius 2 mm cannot pass 0\.5 mm beyond a board of 1\.6 mm"):
        run_out(Cutter(kind="wheel", kerf=1.0, diameter=4.0), 1.6)


def test_the_tool_centre_is_half_a_kerf_outside_the_guide_line() -> None:
    along = laid(box(0, 0, 40, 60))
    assert [corners(line) for line in along.guide] == [[(40.5, -1), (40.5, 61)]]
    assert [corners(line) for line in along.tool_centre] == [[(41.5, -1), (41.5, 61)]]
    assert along.notes == ()


def test_an_oblique_line_passes_the_edge_by_the_run_out_measured_along_it() -> None:
    (guide,) = laid(Polygon([(0, 0), (40, 0), (70, 60), (0, 60)]), cutter=WHEEL).guide
    inside = guide.intersection(BOARD)
    assert guide.length - inside.length == pytest.approx(2 * run_out(WHEEL, 1.6))
    assert shapely.LineString([guide.coords[0], inside.coords[0]]).length == pytest.approx(
        run_out(WHEEL, 1.6)
    )


def test_lines_turn_corners_with_a_mitre() -> None:
    (guide,) = laid(Polygon([(0, 0), (80, 0), (80, 20), (40, 20), (40, 60), (0, 60)])).guide
    assert corners(guide) == [(80.5, -1), (80.5, 20.5), (40.5, 20.5), (40.5, 61)]


def test_a_whole_new_outline_has_a_closed_line_that_repeats_its_first_point() -> None:
    (guide,) = laid(box(20, 20, 60, 40)).guide
    assert guide.is_closed
    assert guide.equals(box(19.5, 19.5, 60.5, 40.5).exterior)


def test_a_mitre_tip_past_the_run_out_opens_the_line_there() -> None:
    # The tip of 11 degrees points at the right edge: its mitre ends 7 mm off the board.
    part = Polygon([(20, 20), (99, 30), (20, 40)])
    (guide,) = laid(part, margin=Finish(sanding=1.0)).guide
    assert not guide.is_closed
    for end in (guide.coords[0], guide.coords[-1]):
        assert end[0] > 100
    # 1 mm past the edge along the line, on both sides of the tip.
    assert guide.length - guide.intersection(BOARD).length == pytest.approx(2.0)
    blunt = laid(part, margin=Finish(sanding=0.05)).guide
    assert blunt[0].is_closed


def test_a_line_stops_where_it_would_enter_the_part_again() -> None:
    # An L-shaped board: the cut comes down to its inner corner, the other arm stands in the way.
    board = Polygon([(0, 0), (100, 0), (100, 50), (50, 50), (50, 100), (0, 100)])
    part = Polygon([(0, 0), (100, 0), (100, 50), (50, 50), (0, 90)])
    (guide,) = laid(part, board, WHEEL).guide
    assert guide.intersection(part.buffer(-1e-9)).length == 0
    x, y = guide.coords[0]
    assert y == pytest.approx(50)
    # The line runs 0.5 mm above the side from (50, 50) to (0, 90) and meets y = 50 there.
    assert x == pytest.approx(50 + 0.5 / math.sin(math.atan2(40, 50)))
    assert guide.coords[-1][0] < -5


def test_a_line_along_the_edge_of_an_arm_runs_out_beside_it() -> None:
    board = Polygon([(0, 0), (100, 0), (100, 50), (50, 50), (50, 100), (0, 100)])
    for sanding in (0.0, 0.5):
        (guide,) = laid(box(0, 0, 100, 50), board, margin=Finish(sanding=sanding)).guide
        assert corners(guide) == [(51, 50 + sanding), (-1, 50 + sanding)]


def test_a_corner_between_the_walls_of_the_kerf_stops_a_run_on() -> None:
    # Past the notch an overhanging tip of the part stands 1.2 mm high: the walls pass 0.5 and 1.5 mm high.
    board = Polygon([(0, 0), (60, 0), (60, 60), (40, 60), (40, 21.2), (44, 20), (32, 20), (32, 60), (0, 60)])
    part = Polygon([(0, 0), (60, 0), (60, 40), (40, 21.2), (44, 20), (32, 20), (0, 20)])
    guide = min(laid(part, board, WHEEL).guide, key=lambda line: line.bounds[0])
    # The far wall meets the tip's own sanding margin 0.3 mm above the tip, at right angles to its side.
    assert guide.bounds[2] == pytest.approx(40 - 0.3 * 18.8 / 20)
    assert 32 + run_out(WHEEL, 1.6) > 40


def test_two_cuts_on_both_sides_of_a_narrow_notch_have_one_line() -> None:
    board = BOARD.difference(box(35, 20, 100, 23))
    part = box(0, 0, 40, 60).intersection(board)
    assert len(laid(part, board, BIT).guide) == 2
    along = laid(part, board, WHEEL)
    assert len(along.guide) == len(along.tool_centre) == 1
    assert along.guide[0].length == pytest.approx(60 + 2 * run_out(WHEEL, 1.6))


def test_a_line_across_a_narrow_notch_is_not_said_to_lie_off_the_board() -> None:
    board = box(0, 0, 100, 60).difference(box(40, 0, 43, 20))
    along = laid(box(0, 10, 80, 60).intersection(board), board, WHEEL)
    assert (len(along.guide), len(along.tool_centre), along.notes) == (1, 1, ())


def test_cuts_that_meet_on_the_edge_run_out_straight() -> None:
    guide = laid(Polygon([(0, 0), (100, 0), (100, 20), (60, 60), (0, 20)]), cutter=WHEEL).guide
    assert len(guide) == 2
    for line in guide:
        assert len(line.coords) == 2
        assert line.length - line.intersection(BOARD).length == pytest.approx(2 * run_out(WHEEL, 1.6))


def test_an_offset_that_vanishes_is_said_with_its_cut() -> None:
    board = box(-20, -10, 10, 20)
    part = Polygon([(-20, -10), (10, -10), (10, 9.5), (0.5, 9.5), (0, 10), (0, 20), (-20, 20)])
    notes = laid(part, board, margin=Finish(sanding=2.0)).notes
    assert (
        notes[0] == "The guide line has no stretch of its own along cut 2: at 2 mm its neighbours meet first."
    )


def test_waste_narrower_than_the_margin_has_no_guide_line_and_says_so() -> None:
    along = laid(box(0, 0, 99.7, 60))
    assert along.guide == along.tool_centre == ()
    assert along.notes[0] == "The guide line along cut 1 lies off the board: take the rest off with abrasive."
    # Wider than the margin, narrower than half the kerf and the margin: the cutter's centre is in the air.
    along = laid(box(0, 0, 99, 60))
    assert [corners(line) for line in along.guide] == [[(99.5, -1), (99.5, 61)]]
    assert [corners(line) for line in along.tool_centre] == [[(100.5, -1), (100.5, 61)]]


def test_an_uncut_board_has_no_lines() -> None:
    along = laid(BOARD)
    assert (along.guide, along.tool_centre, along.notes) == ((), (), ())
    assert along.kerf_band.is_empty
    assert along.swept_band.is_empty


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.2, 1.5]), st.sampled_from([WHEEL, BIT, BLADE]))
@settings(max_examples=50, deadline=None)
def test_the_guide_line_never_enters_the_part_nor_its_sanding_margin(
    shapes: ModuleType, seed: int, sanding: float, cutter: Cutter
) -> None:
    finished, board = shapes.random_case(seed)
    new = shapely.union_all([cut.line for cut in new_edges(Ring(finished), Ring(board))])
    along = laid(finished, board, cutter, Finish(sanding=sanding))
    for line in along.guide:
        assert line.intersection(finished.buffer(-1e-6)).length < 1e-6
        assert line.distance(new) > sanding - 1e-6


@given(st.integers(0, 2**32 - 1), st.sampled_from([13.0, 90.0, 200.0]), st.booleans(), st.integers(0, 9))
@settings(max_examples=25, deadline=None)
def test_lines_and_bands_turn_mirror_and_start_with_the_job(
    shapes: ModuleType, seed: int, degrees: float, mirror: bool, start: int
) -> None:
    finished, board = shapes.random_case(seed)

    def moved(shape: shapely.Geometry) -> shapely.Geometry:
        shape = affinity.scale(shape, -1, 1, origin=(0, 0)) if mirror else shape
        return affinity.rotate(shape, degrees, origin=(0, 0))

    rolled = Polygon(np.roll(np.array(finished.exterior.coords)[:-1], start, axis=0))
    one, two = laid(finished, board, WHEEL), laid(moved(rolled), moved(board), WHEEL)
    for before, after in ((one.guide, two.guide), (one.tool_centre, two.tool_centre)):
        assert (
            moved(shapely.union_all(before)).hausdorff_distance(shapely.union_all(after)) < 1e-5 or not before
        )
    for area, again in ((one.kerf_band, two.kerf_band), (one.swept_band, two.swept_band)):
        assert moved(area).symmetric_difference(again).area < 1e-4
