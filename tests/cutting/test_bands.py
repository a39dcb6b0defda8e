"""Kerf band and swept band: area formulas, and points tried one by one."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPoint, MultiPolygon, Polygon, box

from trimgeo.cutting.edges import new_edges
from trimgeo.cutting.lines import lines
from trimgeo.cutting.reach import overrun
from trimgeo.model.board import Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import Lines
from trimgeo.plane.rings import ring_points, turning_angles

BOARD = box(0, 0, 100, 60)
WHEEL = Cutter(kind="wheel", kerf=1.0, diameter=38.0, wander=0.3)
BIT = Cutter(kind="bit", kerf=2.0, wander=0.3)


def laid(finished: Polygon, board: Polygon, cutter: Cutter, sanding: float) -> Lines:
    part, edge = Ring(finished), Ring(board)
    return lines(part, edge, new_edges(part, edge), cutter, Finish(sanding=sanding), 1.6)


def test_a_straight_cut_turns_its_length_times_the_kerf_to_dust() -> None:
    along = laid(box(0, 0, 40, 60), BOARD, BIT, 0.5)
    assert isinstance(along.kerf_band, MultiPolygon)
    assert along.kerf_band.equals(box(40.5, 0, 42.5, 60))
    assert along.swept_band.equals(box(40, 0, 42.8, 60))


def test_wander_beyond_the_sanding_margin_reaches_into_the_part() -> None:
    along = laid(box(0, 0, 40, 60), BOARD, BIT, 0.1)
    assert along.swept_band.symmetric_difference(box(39.8, 0, 42.4, 60)).area < 1e-9


def test_wander_reaches_into_the_part_up_to_a_steep_edge() -> None:
    # by hand: the upper edge rises by 3 mm a mm to the right; what is kept lies right of the cut at x = 40
    board = Polygon([(0, 0), (60, 0), (60, 140), (20, 20), (0, 20)])
    part = Polygon([(40, 0), (60, 0), (60, 140), (40, 80)])
    along = laid(part, board, BIT.model_copy(update={"wander": 1.1}), 0.1)
    within = along.swept_band.intersection(part)
    assert within.symmetric_difference(Polygon([(40, 0), (41, 0), (41, 83), (40, 80)])).area < 1e-9


@given(st.integers(0, 2**32 - 1), st.floats(0.0, 3.0), st.floats(0.2, 4.0))
@settings(max_examples=40, deadline=None)
def test_the_kerf_around_a_convex_part_has_the_area_of_the_formula(
    seed: int, sanding: float, kerf: float
) -> None:
    hull = MultiPoint(np.random.default_rng(seed).uniform(0, 50, (12, 2))).convex_hull
    board = box(*hull.bounds).buffer(5000, join_style="mitre")
    bit = Cutter(kind="bit", kerf=kerf, wander=0.0)
    area = laid(hull, board, bit, sanding).kerf_band.area
    # FACTS: A + P·d + d²·Σ tan(θᵢ/2), at s + k less at s.
    half_turns = np.tan(np.radians(turning_angles(ring_points(hull))) / 2).sum()
    far = sanding + kerf
    assert area == pytest.approx(hull.length * kerf + (far**2 - sanding**2) * half_turns, rel=1e-6)


def test_the_kerf_runs_on_to_the_edge_over_its_whole_width() -> None:
    # The board's edge leans away from the cut: the far wall is longer than the near one.
    board = Polygon([(0, 0), (100, 0), (100, 80), (0, 30)])
    kerf = laid(Polygon([(0, 0), (40, 0), (40, 50), (0, 30)]), board, BIT, 0.5).kerf_band
    assert kerf.area == pytest.approx(2 * (50 + (40.5 + 42.5) / 2 * 0.5 - 20))
    (near, far) = (kerf.intersection(shapely.LineString([(x, 0), (x, 90)])).length for x in (40.51, 42.49))
    assert far - near == pytest.approx((42.49 - 40.51) / 2)


def test_a_wheel_sweeps_past_an_outside_corner_and_a_bit_does_not() -> None:
    part = box(0, 0, 40, 30)
    for cutter in (WHEEL, BIT):
        far = 0.5 + cutter.kerf
        band = laid(part, BOARD, cutter, 0.5).swept_band
        past = overrun(cutter, 1.6)
        assert band.bounds[2] == pytest.approx(40 + max(far + past, far + 0.3))
        assert band.bounds[3] == pytest.approx(30 + max(far + past, far + 0.3)) or band.bounds[3] == 60


def test_a_run_on_does_not_reach_another_arm_of_the_board() -> None:
    # Beyond the end of the cut at x = 40 there are 20 mm of air, then waste again.
    board = BOARD.difference(box(40, 20, 60, 60))
    along = laid(
        box(0, 0, 100, 60).intersection(box(0, 0, 40, 30).union(box(0, 0, 100, 15))), board, BIT, 0.5
    )
    assert along.kerf_band.intersection(box(60, 28, 100, 60)).is_empty
    assert along.swept_band.intersection(box(60, 28, 100, 60)).is_empty


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.2, 1.5]), st.sampled_from([WHEEL, BIT]))
@settings(max_examples=40, deadline=None)
def test_every_point_beside_a_cut_is_in_the_bands_it_belongs_to(
    shapes: ModuleType, seed: int, sanding: float, cutter: Cutter
) -> None:
    finished, board = shapes.random_case(seed)
    along = laid(finished, board, cutter, sanding)
    cuts = new_edges(Ring(finished), Ring(board))
    new = shapely.union_all([cut.line for cut in cuts])
    rng = np.random.default_rng(seed)
    for cut in cuts:
        start, end = np.array(cut.start), np.array(cut.end)
        d = (end - start) / np.hypot(*(end - start))
        right = np.array([d[1], -d[0]])
        feet = start + rng.uniform(0, cut.line.length, (40, 1)) * d
        height = rng.uniform(0, sanding + cutter.kerf + cutter.wander, 40)
        at = feet + height[:, None] * right
        sight = shapely.linestrings(np.stack([feet + 1e-6 * right, at], axis=1))
        on_board = ~shapely.intersects(sight, finished) & shapely.contains_xy(board, at[:, 0], at[:, 1])
        gap = shapely.distance(shapely.points(at), new)
        kerf, swept = (
            shapely.contains_xy(a, at[:, 0], at[:, 1]) for a in (along.kerf_band, along.swept_band)
        )
        dust = (
            on_board
            & (gap > sanding + 1e-6)
            & (height > sanding + 1e-6)
            & (height < sanding + cutter.kerf - 1e-6)
        )
        assert not np.any(dust & ~kerf)
        assert not np.any(kerf & (gap < sanding - 1e-6))
        assert not np.any(on_board & (height < sanding + cutter.kerf + cutter.wander - 1e-6) & ~swept)


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.2, 1.5]), st.sampled_from([WHEEL, BIT]))
@settings(max_examples=25, deadline=None)
def test_the_kerf_lies_on_the_waste_and_in_the_swept_band(
    shapes: ModuleType, seed: int, sanding: float, cutter: Cutter
) -> None:
    finished, board = shapes.random_case(seed)
    along = laid(finished, board, cutter, sanding)
    assert along.kerf_band.is_valid
    assert along.swept_band.is_valid
    assert along.kerf_band.intersection(finished).area < 1e-6
    assert along.kerf_band.difference(along.swept_band).area < 1e-5
    assert along.swept_band.difference(board).area < 1e-6
    if sanding >= cutter.wander:
        assert along.swept_band.intersection(finished).area < 1e-6
