"""Relief cuts: where they may be, what they pass and what comes off for them, checked by distances."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from shapely import LineString, Point, Polygon, box

import trimgeo
from trimgeo.cutting.edges import chains, new_edges
from trimgeo.cutting.order import order_cuts
from trimgeo.cutting.relief import IN_HAND, Obstacle, relief_cuts
from trimgeo.model.board import Ring
from trimgeo.model.plan import Cut

BOARD = box(0, 0, 160, 90)
STRIP = box(0, 0, 160, 42)
"""A board on which the waste over a long part is too narrow to hold."""
PART = box(0, 0, 160, 20)


def ordered(part: Polygon, board: Polygon = BOARD) -> tuple[Cut, ...]:
    cuts = new_edges(Ring(part), Ring(board))
    return order_cuts(cuts, chains(cuts, Ring(part)), Ring(board))


def beside(standing: list[Obstacle], board: Polygon = STRIP) -> tuple[list[LineString], tuple[str, ...]]:
    found, said = relief_cuts(ordered(PART, board), PART, board, 1.5, standing)
    return [each.line for each in found], said


def test_relief_cuts_part_long_waste_and_stay_off_the_kept_board() -> None:
    part = Polygon([(0, 0), (160, 0), (160, 20), (40, 20), (40, 90), (0, 90)])
    found, said = relief_cuts(ordered(part), part, BOARD, 1.5)
    assert said == ()
    waste = BOARD.difference(part)
    lines = [each.line for each in found]
    for line in lines:
        assert line.length > 0 and part.distance(line) >= 1.5 - 1e-6
        assert BOARD.exterior.distance(Point(line.coords[0])) < 1e-6
        assert waste.covers(line)
    # Along each cut no stretch of more than 50 mm is left between two of them, and the ends.
    for cut in ordered(part):
        feet = [cut.line.project(Point(line.coords[1])) for line in lines if cut.line.distance(line) < 1.6]
        marks = sorted([0.0, *feet, cut.line.length])
        assert max(b - a for a, b in itertools.pairwise(marks)) <= 50 + 1e-6


def test_a_relief_cut_passes_parts_that_stand_in_the_waste() -> None:
    plain, _ = beside([])
    at = plain[0].coords[0][0]
    relay = box(at - 4, 25, at + 9, 38)
    moved, said = beside([Obstacle("relay", relay, may_go=True)])
    assert said == () and len(moved) == len(plain) > 0
    assert all(line.distance(relay) >= 1.5 - 1e-3 for line in moved)  # the rim of a buffer, in chords
    assert moved[0].coords[0][0] < at  # 4 mm to the left are nearer than 9 to the right


def test_a_relief_cut_is_slanted_where_every_square_one_meets_a_part() -> None:
    """Between two rows of parts, the lower one too wide to be passed square within 15 mm."""
    plain, _ = beside([])
    at = plain[0].coords[0][0]
    # Square lines pass left of -10 and right of +20 alone; there the upper row bars them up to 17 mm.
    rows = [box(at - 10, 24, at + 20, 30), box(at - 17, 34, at - 11, 40)]
    found, said = beside([Obstacle(f"row {n}", row, may_go=True) for n, row in enumerate(rows)])
    near = min(found, key=lambda line: abs(line.coords[1][0] - at))
    assert said == () and near.coords[0][0] != pytest.approx(near.coords[1][0])
    assert all(line.distance(row) >= 1.5 - 1e-3 for line in found for row in rows)
    assert all(PART.distance(line) >= 1.5 - 1e-6 and STRIP.difference(PART).covers(line) for line in found)


def test_what_a_relief_cut_cannot_pass_is_named_where_it_may_go() -> None:
    wall, sink = box(2, 24, 158, 30), box(20, 32, 62, 40)
    standing = [Obstacle("heat sink", sink, may_go=True), Obstacle("wall", wall, may_go=True)]
    found, said = relief_cuts(ordered(PART, STRIP), PART, STRIP, 1.5, standing)
    assert said == () and [each.through for each in found] == [(1,)] * 3  # the heat sink is passed


def test_no_relief_cut_runs_through_what_must_survive() -> None:
    wall = Obstacle("relay", box(2, 24, 158, 30), may_go=False)
    found, said = beside([wall])
    assert found == [] and len(said) == 3
    assert all("no relief cut passes relay, which must survive" in sentence for sentence in said)


def test_waste_that_falls_off_in_one_cut_and_is_wide_enough_to_hold_needs_none() -> None:
    wide, narrow = (box(0, 0, 160, 20 + IN_HAND + more) for more in (0.5, -0.5))
    assert beside([], wide) == ([], ()) and len(beside([], narrow)[0]) == 3


def test_wide_waste_that_two_cuts_part_needs_relief_all_the_same() -> None:
    part = Polygon([(0, 0), (160, 0), (160, 20), (40, 20), (40, 90), (0, 90)])
    assert len(relief_cuts(ordered(part), part, BOARD, 1.5)[0]) == 3


def test_a_narrow_strip_of_waste_needs_no_relief() -> None:
    part = box(0, 0, 160, 86)
    assert relief_cuts(ordered(part), part, BOARD, 1.5) == ((), ())


JOB = """
[job]
title = "Lamp"
revision = "A"
[board]
thickness = 1.6
layers = 2
edge = [[0, 0], [120, 0], [120, 42], [0, 42]]
[cutter]
kind = "bit"
kerf = 1.0
[finish]
sanding = 0.5
[outline]
points = [[0, 0], [120, 0], [120, 20], [0, 20]]
[[part]]
name = "K1 relay"
height = 15
polygon = [[1, 26], [119, 26], [119, 36], [1, 36]]
"""


def test_a_part_that_relief_cuts_run_through_is_lifted_and_no_window(tmp_path: Path) -> None:
    from trimgeo.drawing.marks import marks

    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path / "job.toml")))
    assert plan.holding.support is not None and len(plan.holding.support.relief) == 2
    (relay,) = plan.lift
    assert relay.name == "K1 relay" and relay.reason.startswith("the relief cut from (")
    assert not [mark for mark in marks(plan, "top") if mark.kind == "window"]
    assert not [warning for warning in plan.warnings if "K1" in warning]
