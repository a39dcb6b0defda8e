"""Built outlines hold what must live, stay on the board and are clear: judged by shapely alone."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box
from shapely.affinity import affine_transform, rotate

from trimgeo.cutting.edges import new_edges
from trimgeo.cutting.outline import choices, smallest
from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Keepout, Ring
from trimgeo.model.job import Placing

PLACING = Placing()
EXACT = Placing(print=0.0, taping=0.0, finish=0.0)


def keepout(name, spine, radius=0.0, required=0.5, **more):
    return Keepout(name, "other", spine, radius, (1,), None, required, "asked", **more)


def body(one, board):
    """The exact shape, on the board, with arcs far finer than the builder's."""
    shape = one.spine.buffer(one.radius, quad_segs=200) if one.radius else one.spine
    return shape if one.on_board else shape.intersection(board)


def new_sides(finished, board):
    corners = shapely.get_coordinates(finished)
    band = board.exterior.buffer(0.05)
    sides = [LineString(pair) for pair in pairwise(corners)]
    return [side for side in sides if not band.covers(side)]


def random_board(rng, kind):
    wide, high = rng.uniform(60, 150), rng.uniform(50, 120)
    board = box(0, 0, wide, high)
    if kind == "rounded":
        return board.buffer(-3).buffer(3, quad_segs=14)
    if kind == "notched":
        return board.difference(box(wide * 0.3, high - 6, wide * 0.4, high)).difference(box(-1, 5, 4, 9))
    if kind == "l-shaped":
        return rotate(board.difference(box(wide * 0.7, high * 0.7, wide, high)), rng.uniform(0, 360))
    return board


def random_keepouts(rng, board):
    low, high = np.array(board.bounds).reshape(2, 2)
    middle = (low + high) / 2 + (high - low) * rng.uniform(-0.25, 0.25, 2)
    spread = (high - low) * rng.uniform(0.05, 0.3, 2)
    found = []
    for n in range(rng.integers(3, 25)):
        at, kind = middle + spread * rng.uniform(-1, 1, 2), n % 3
        if kind == 0:
            spine, radius = Point(at), rng.uniform(0.2, 3)
        elif kind == 1:
            spine, radius = LineString(at + rng.normal(size=(3, 2)) * 4), rng.uniform(0.1, 0.5)
        else:
            spine, radius = box(*at, *(at + rng.uniform(1, 12, 2))), 0.0
        if not spine.buffer(radius).intersects(board):
            continue
        found.append(
            keepout(
                f"part {n}", spine, radius, float(rng.choice([0.0, 0.45, 0.5])),
                uncertainty=float(rng.choice([0.0, 0.05])), may_cut=n > 3 and n % 5 == 0,
                on_board=bool(board.covers(spine.buffer(radius * 1.01))),
            )
        )  # fmt: skip
    return found


@pytest.mark.parametrize("kind", ["rectangle", "rounded", "notched", "l-shaped"])
@pytest.mark.parametrize("seed", range(4))
def test_every_outline_holds_what_must_live_is_on_the_board_and_clear(kind, seed):
    rng = np.random.default_rng(seed)
    board = random_board(rng, kind)
    parts = random_keepouts(rng, board)
    wander, sanding = float(rng.choice([0.1, 0.3])), float(rng.choice([0.0, 0.2]))
    found = list(choices(parts, board, wander, sanding, PLACING, most=8))
    assert found[0].cuts == 0
    assert found[0].area == pytest.approx(board.area)
    for choice in found:
        outline = choice.finished
        assert outline.is_valid
        assert outline.exterior.is_ccw
        assert outline.difference(board.buffer(1e-9)).area < 1e-9
        assert choice.area == pytest.approx(outline.area)
        cuts = new_sides(outline, board)
        assert len(cuts) == len(new_edges(Ring(outline), Ring(board))) == choice.cuts
        assert sum(cut.length for cut in cuts) == pytest.approx(choice.cut_length)
        nominal = []
        for part in (part for part in parts if not part.may_cut):
            assert outline.buffer(1e-6).covers(body(part, board))
            if cuts:
                shape, less = (part.spine, part.radius) if part.on_board else (body(part, board), 0.0)
                nominal.append(min(cut.distance(shape) for cut in cuts) - less)
                own = 2 * np.sqrt(
                    PLACING.print**2 + PLACING.taping**2 + PLACING.finish**2 + part.uncertainty**2
                )
                assert nominal[-1] - max(0.0, wander - sanding) - own >= part.required
        if cuts:
            # the part of a circle that lies over the edge is known to 0.005 % only
            assert choice.clearance == pytest.approx(min(nominal), abs=3e-4)


@pytest.mark.parametrize("kind", ["rectangle", "notched"])
def test_more_cuts_never_leave_more_area(kind):
    rng = np.random.default_rng(11)
    board = random_board(rng, kind)
    found = list(choices(random_keepouts(rng, board), board, 0.3, 0.2, PLACING))
    assert len(found) > 3
    for fewer, more in pairwise(found):
        assert fewer.cuts < more.cuts <= 12
        assert fewer.area > more.area


def test_a_number_of_cuts_gives_the_choice_of_that_number():
    rng = np.random.default_rng(3)
    board = random_board(rng, "rectangle")
    parts = random_keepouts(rng, board)
    for choice in choices(parts, board, 0.3, 0.2, PLACING, most=5):
        assert smallest(parts, board, 0.3, 0.2, PLACING, choice.cuts, None).area == pytest.approx(choice.area)


def test_cuts_are_added_until_one_more_gains_less_than_asked():
    rng = np.random.default_rng(1)
    board = random_board(rng, "rectangle")
    parts = random_keepouts(rng, board)[:3]
    found = list(choices(parts, board, 0.3, 0.2, PLACING))
    for gain in (None, 5.0, 50.0, 1e6):
        chosen = smallest(parts, board, 0.3, 0.2, PLACING, None, gain)
        stop = next(
            (
                fewer
                for fewer, more in pairwise(found)
                if fewer.area - more.area < (0.01 * fewer.area if gain is None else gain)
            ),
            found[-1],
        )
        assert (chosen.cuts, chosen.area) == (stop.cuts, pytest.approx(stop.area))


def test_one_cut_beside_a_part_keeps_exactly_its_clearance():
    part = keepout("part", box(1, 1, 4, 3), required=0.5)
    one = smallest([part], box(0, 0, 100, 4), 0.3, 0.1, EXACT, 1, None)
    # 0.5 mm required and 0.2 mm that the cutter strays beyond the sanding margin
    assert one.area == pytest.approx(4 * (4 + 0.7), rel=1e-3)
    assert 0.7 <= one.clearance < 0.7 * 1.0025
    assert one.cut_length == pytest.approx(4)


def test_a_connector_over_the_edge_counts_only_where_it_is_on_the_board():
    plug = keepout("plug", box(-8, 4, 6, 16), on_board=False)
    one = smallest([plug], box(0, 0, 100, 20), 0.0, 0.0, EXACT, 1, None)
    assert one.area == pytest.approx(20 * 6.5, rel=1e-3)


def test_a_cut_within_the_edge_tolerance_is_left_to_the_board_edge():
    part = keepout("part", box(1, 1, 9, 9.48), required=0.5)
    found = list(choices([part], box(0, 0, 10, 10), 0.0, 0.0, EXACT))
    for choice in found:
        assert all(side.length > 0.05 for side in new_sides(choice.finished, box(0, 0, 10, 10)))
        assert choice.finished.bounds[3] == 10.0


def test_a_cut_across_a_slot_counts_once_a_piece():
    board = box(0, 0, 40, 40).difference(box(18, 12, 22, 41))
    parts = [keepout("left", box(2, 2, 16, 14)), keepout("right", box(24, 2, 38, 14))]
    found = {choice.cuts: choice for choice in choices(parts, board, 0.0, 0.0, EXACT, most=2)}
    assert found[2].area == pytest.approx(40 * 14.5 - 4 * 2.5, rel=1e-3)
    assert found[2].cut_length == pytest.approx(18 + 18)
    assert found[1].area > found[2].area


@pytest.mark.parametrize("mirror", [False, True])
def test_areas_do_not_depend_on_how_the_job_lies(mirror):
    rng = np.random.default_rng(8)
    board = box(0, 0, 90, 60).difference(box(70, 40, 91, 61))
    parts = [keepout(f"p{n}", box(*at, *(at + 5))) for n, at in enumerate(rng.uniform(12, 32, size=(8, 2)))]
    angle = 0.7
    x = -1.0 if mirror else 1.0
    matrix = [np.cos(angle) * x, -np.sin(angle), np.sin(angle) * x, np.cos(angle), 31.0, -77.0]
    moved = [keepout(part.name, affine_transform(part.spine, matrix)) for part in parts]
    before = list(choices(parts, board, 0.3, 0.1, PLACING, most=6))
    after = list(choices(moved, affine_transform(board, matrix), 0.3, 0.1, PLACING, most=6))
    assert [each.cuts for each in after] == [each.cuts for each in before]
    # arcs of kept areas begin at the x axis: their sides fall elsewhere on a turned part
    assert [each.area for each in after] == pytest.approx([each.area for each in before], rel=2e-4)


def test_nothing_to_keep_is_said_plainly():
    with pytest.raises(NoOutlineError, match="no keep-out that must stay lies on the board"):
        choices([keepout("plane", box(1, 1, 2, 2), may_cut=True)], box(0, 0, 9, 9), 0.3, 0.2, PLACING)


def test_a_slot_between_keep_outs_is_named_with_both_of_them():
    board = box(0, 0, 40, 40).difference(box(18, 4, 22, 41))  # 4 mm of board are left below the slot
    left, right = keepout("left relay", box(4, 20, 10, 30)), keepout("right relay", box(30, 20, 36, 30))
    names, place = '"left relay" and "right relay"', r"side \d of the board edge near \(20.00, 2.00\)"
    with pytest.raises(NoOutlineError, match=f"{names}.*at most 4.00 mm wide.*{place}"):
        choices([left, right], board, 0.3, 0.2, PLACING)
    assert smallest([left, right], board, 0.3, 0.2, PLACING, 0, None).cuts == 0


def test_the_same_job_gives_the_same_outline_to_the_last_bit():
    rng = np.random.default_rng(4)
    board = random_board(rng, "notched")
    parts = random_keepouts(rng, board)
    one, two = (list(choices(parts, board, 0.3, 0.2, PLACING, most=4)) for _ in range(2))
    assert [each.finished.wkb for each in one] == [each.finished.wkb for each in two]
