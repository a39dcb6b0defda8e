"""Outlines within a case: judged by shapely on random boards, by construction where there is none."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Polygon, box
from shapely.affinity import affine_transform

from trimgeo.cutting.corners import corners
from trimgeo.cutting.edges import chains, new_edges
from trimgeo.cutting.outline import Wish, building, built, choices, fewest, proof, smallest
from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Case, Keepout, Ring
from trimgeo.model.job import Cutter, Finish, Placing
from trimgeo.plane import trade

EXACT = Placing(print=0.0, taping=0.0, finish=0.0)
BENCH = Path(__file__).parent.parent / "bench"


def bench(name):
    spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


BOARDS, REFUSALS = bench("boards_cut"), bench("refusals")
bench("boards_built")  # which the next one draws with
MOVED = bench("outlines_moved")


def part(name, shape):
    return Keepout(name, "other", shape, 0.0, (1,), None, 0.5, "asked")


def built_in(parts, edge, most, **wish):
    return list(choices(parts, edge, 0.3, 0.3, EXACT, most, Wish(**wish)))


@pytest.mark.parametrize("seed", [0, 5, 8])
def test_outlines_in_a_case_hold_what_must_live_and_keep_the_gap(seed):
    found = BOARDS.judge(seed, most=5)
    assert not found.refused
    assert not found.faults
    assert found.fewest >= found.proved


@pytest.mark.parametrize("number", [0, 1, 2, 3, 4, 9])
def test_a_refusal_names_what_meets_and_its_twin_is_solved(number):
    _, job, twin = REFUSALS.pair(number)
    assert REFUSALS.fault(job, REFUSALS.answer(job)) == ""
    assert isinstance(REFUSALS.answer(twin), int)


def test_a_square_that_nearly_fills_its_cavity_needs_four_cuts_and_three_where_there_is_room():
    edge, parts = box(0, 0, 100, 100), [part("U1", box(45, 45, 55, 55))]
    tight = built_in(parts, edge, 4, case=Case(Ring(box(44, 44, 56, 56)), (), 0.3))
    wide = built_in(parts, edge, 4, case=Case(Ring(box(20, 20, 80, 80)), (), 0.3))
    assert tight[0].cuts == 4
    assert wide[0].cuts == 3
    # no triangle around a square is less than twice its area; here its corners are round
    assert 11**2 < tight[0].area < 11.01**2
    assert 1.9 * 11**2 < wide[0].area < 2 * 11**2


def test_where_the_cavity_is_open_over_the_edge_nothing_is_cut_there():
    edge, parts = box(0, 0, 100, 60), [part("U1", box(5, 5, 30, 50))]
    found = built_in(parts, edge, 3, case=Case(Ring(box(-10, -10, 50, 80)), (), 0.3))
    assert [each.cuts for each in found][:1] == [1]
    assert found[0].area == pytest.approx(60 * 30.5, rel=1e-4)


def test_an_outline_leads_around_a_post_that_stands_before_what_is_kept():
    edge, post = box(0, 0, 100, 80), shapely.Point(40, 20).buffer(4)
    parts = [part("a", box(20, 30, 60, 50)), part("b", box(22, 12, 30, 32))]
    found = built_in(parts, edge, 7, case=Case(Ring(box(5, 5, 80, 75)), (Ring(post),), 0.3))
    for choice in found:
        assert choice.finished.distance(post) >= 0.3 - 1e-6


def test_around_a_deep_slot_more_cuts_are_offered_and_none_loses_to_an_outline_by_hand():
    cavity = box(0, 0, 100, 80) - box(49, -1, 51, 70)
    parts = [part("A", box(20, 20, 40, 40)), part("B", box(60, 50, 70, 60))]
    found = built_in(parts, box(0, 0, 100, 80), 12, case=Case(Ring(cavity), (), 0.5), kerf=1.0)
    below = [(19.4, 19.4), (40.6, 19.4), (48.3, 70.6), (51.7, 70.6), (59.4, 49.4), (70.6, 49.4)]
    above = [(70.6, 60.6), (55, 76), (45, 76), (35.5, 40.6), (19.4, 40.6)]
    by_hand = Polygon([*below, *above])
    assert cavity.buffer(-0.5).covers(by_hand)
    assert all(by_hand.covers(each.spine.buffer(0.5)) for each in parts)
    assert [each.cuts for each in found] == list(range(7, 13))
    assert min(each.area for each in found if each.cuts <= 11) < by_hand.area
    assert all(not each.notes for each in found[1:])
    assert all(cavity.buffer(-0.4999).covers(each.finished) for each in found)


def test_without_inside_corners_there_are_none_and_the_cutter_agrees_on_the_others():
    edge, parts, case = BOARDS.board(12)
    wheel, margin, board = Cutter(kind="bit", kerf=1.0), Finish(sanding=0.0), Ring(edge)
    bent = built_in(parts, edge, 8, case=case)
    straight = built_in(parts, edge, 8, case=case, inside_corners=False)
    assert any(each.inside_corners for each in bent)
    assert not any(each.inside_corners for each in straight)
    for choice in (*bent, *straight):
        ring = Ring(choice.finished)
        cuts = new_edges(ring, board)
        told = corners(cuts, chains(cuts, ring), wheel, margin, 1.6, board)
        reflex = [
            each for each in told if each.inside and edge.exterior.distance(shapely.Point(each.at)) > 0.05
        ]
        assert choice.inside_corners == len(reflex)


def test_the_first_choice_comes_before_more_cuts_are_searched(monkeypatch):
    searched, search = [], trade.cheapest_rounds

    def noted(steps, places, most, spare):
        searched.append(most)
        return search(steps, places, most, spare)

    monkeypatch.setattr(trade, "cheapest_rounds", noted)
    edge, parts, case = BOARDS.board(3)
    found = choices(parts, edge, 0.3, 0.3, EXACT, 9, Wish(case))
    first = next(found)
    assert max(searched, default=0) <= 4 * np.ceil(max(first.cuts, 1) / 4)  # four numbers at once
    assert next(found).cuts > first.cuts
    assert list(found) and max(searched) == 12


def test_no_cut_is_shorter_than_the_kerf_unless_the_fewest_need_one():
    edge, parts, case = BOARDS.board(12)
    for choice in built_in(parts, edge, 8, case=case, kerf=4.0)[1:]:
        assert min(cut.line.length for cut in new_edges(Ring(choice.finished), Ring(edge))) >= 4.0


def test_fewer_cuts_than_any_outline_has_are_refused_with_the_number_that_it_takes():
    edge, parts = box(0, 0, 100, 100), [part("U1", box(45, 45, 55, 55))]
    case = Case(Ring(box(44, 44, 56, 56)), (), 0.3)
    with pytest.raises(NoOutlineError, match=r"at most 3 new cuts.*the fewest found are 4"):
        smallest(parts, edge, 0.3, 0.3, EXACT, 3, None, Wish(case))


def test_the_proof_is_no_more_than_the_fewest_and_its_lines_lie_in_the_room():
    edge, parts, case = BOARDS.board(5)
    plan = building(parts, edge, 0.3, 0.3, EXACT, Wish(case))
    told = proof(plan)
    assert told.proved == told.fewest.cuts == fewest(plan).cuts
    room = told.allowed.difference(told.kept).buffer(1e-3)
    assert not shapely.is_empty(told.witnesses)
    assert room.covers(told.witnesses)


def moved(edge, parts, case, matrix):
    def move(shape):
        return affine_transform(shape, matrix)

    posts = tuple(Ring(move(post.polygon)) for post in case.posts)
    others = [part(each.name, move(each.spine)) for each in reversed(parts)]
    ring = shapely.segmentize(move(edge).exterior, 25.0)  # points more on each side
    return Polygon(ring), others, Case(Ring(move(case.cavity.polygon)), posts, case.gap)


@pytest.mark.parametrize(("seed", "mirror"), [(5, True), (8, False), (14, True)])
def test_a_turned_shifted_mirrored_and_reordered_job_has_the_same_outlines(seed, mirror):
    edge, parts, case = BOARDS.board(seed)
    across, angle = -1.0 if mirror else 1.0, 0.7
    matrix = [np.cos(angle) * across, -np.sin(angle), np.sin(angle) * across, np.cos(angle), 31.0, -77.0]
    before = list(built(building(parts, edge, 0.3, 0.3, EXACT, Wish(case)), 6))
    other_edge, others, other_case = moved(edge, parts, case, matrix)
    after = list(built(building(others, other_edge, 0.3, 0.3, EXACT, Wish(other_case)), 6))
    assert [each.cuts for each in after] == [each.cuts for each in before]
    assert [each.area for each in after] == pytest.approx([each.area for each in before], rel=1e-6)


def test_needless_corners_of_what_is_kept_change_no_outline():
    job = MOVED.drawn(68)
    other = dict(MOVED.twins(job, 68))["with needless corners"]
    assert MOVED.areas(other, 6) == pytest.approx(MOVED.areas(job, 6), rel=1e-6)


@pytest.mark.parametrize(("seed", "twin"), [(312, "mirrored"), (346, "shifted")])
def test_bridges_between_pieces_do_not_depend_on_how_the_job_lies(seed, twin):
    job = MOVED.drawn(seed)
    lies = building(*job[:2], 0.3, 0.3, EXACT).base.laid
    other = building(*dict(MOVED.twins(job, seed))[twin][:2], 0.3, 0.3, EXACT).base.laid
    assert shapely.equals_exact(lies.pieces, other.pieces, 1.1e-8).all()
    assert MOVED.areas(dict(MOVED.twins(job, seed))[twin], 6) == pytest.approx(MOVED.areas(job, 6), rel=1e-6)


def on_grid(outline, step=0.5):
    at = shapely.get_coordinates(outline) / step
    return np.abs(at - np.round(at)).max() < 1e-6


def test_where_there_is_no_case_every_choice_is_rounded_to_the_grid():
    found = built_in([part("U", shapely.box(10, 10, 40, 40))], shapely.box(0, 0, 100, 70), 6, round=0.5)
    assert [each.cuts for each in found][:5] == [0, 1, 2, 3, 4]
    assert all(on_grid(each.finished) for each in found)


def test_ends_of_cuts_are_counted_from_the_board_s_own_corner_where_a_wall_shortens_its_side():
    board, wall = shapely.box(0, 0, 100, 70), shapely.box(-1, -1, 61.37, 80)
    case = Case(Ring(wall), (), 0.0)
    found = built_in([part("U", shapely.box(10, 40, 30, 69))], board, 4, case=case, round=0.5)
    ends = [at for each in found for at in shapely.get_coordinates(each.finished) if 1 < at[0] < 61]
    assert len(ends) > 4
    assert all(on_grid(shapely.Point(at)) for at in ends)


def test_corners_are_rounded_to_the_grid_where_the_job_asks_for_it():
    edge, parts, case = BOARDS.board(3)
    exact = built_in(parts, edge, 6, case=case)
    rounded = built_in(parts, edge, 6, case=case, round=0.5)
    halves = [shapely.get_coordinates(each.finished) / 0.5 for each in rounded]
    assert rounded[0].cuts == exact[0].cuts
    assert any(np.abs(each - np.round(each)).max() < 1e-6 for each in halves)
    for each in rounded:
        assert not BOARDS.faults_of(each, edge, parts, case)
