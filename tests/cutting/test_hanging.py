"""Parts over the edge of the board against the walls of its case: lengths that the drawing tells."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Point, affinity, box

import trimgeo
from trimgeo.cutting.fit import fit
from trimgeo.cutting.hanging import Hanging, hanging, hanging_sentences
from trimgeo.cutting.holder import Standing
from trimgeo.model.board import Case, Circle, Ring
from trimgeo.model.plan import Fit, Plan

BOARD = Ring(box(0, 0, 40, 20))


def tray(margin: float, gap: float = 0.3, *posts: Ring) -> Case:
    return Case(Ring(box(-margin, -margin, 40 + margin, 20 + margin)), posts, gap)


def found(case: Case, *parts: Standing) -> tuple[tuple[Hanging, ...], Fit]:
    pose = fit(BOARD, case, [])
    return hanging(BOARD, case, parts, pose), pose


def test_a_socket_over_the_edge_reaches_past_the_wall_by_what_it_stands_out_less_the_room() -> None:
    (one,), pose = found(tray(1.0), Standing("J1", 5.0, box(-3.5, 6, 8, 12)))
    assert (one.name, one.thing, one.clear) == ("J1", "wall", pytest.approx(-2.5))
    assert one.at == pytest.approx((-3.5, 9.0), abs=0.05)
    (said,) = hanging_sentences([one], 0.3, pose)
    assert "J1 by 2.5 mm at (-3.5, 9.0)" in said and "opening" in said


def test_a_round_part_counts_by_its_rim() -> None:
    (one,), _ = found(tray(1.0), Standing("C1", 5.0, Point(20, 19), 4.0))
    assert one.clear == pytest.approx(-2.0, abs=1e-3)
    assert one.at == pytest.approx((20.0, 23.0), abs=0.2)


def test_a_part_that_keeps_the_gap_or_stays_on_the_board_is_not_named() -> None:
    inside, short = Standing("C1", 5.0, box(0, 6, 8, 12)), Standing("J1", 5.0, box(-0.7, 6, 8, 12))
    assert found(tray(1.0, 0.3), inside, short)[0] == ()
    (one,), pose = found(tray(1.0, 0.4), inside, short)
    assert one.clear == pytest.approx(0.3) and one.name == "J1"
    (said,) = hanging_sentences([one], 0.4, pose)
    assert "nearer to the case than the gap of 0.40 mm: J1 has 0.30 mm to a wall" in said


def test_a_part_beside_the_board_is_none_of_it() -> None:
    assert found(tray(1.0), Standing("X1", 5.0, box(-9, 6, -2, 12)))[0] == ()


def test_a_post_that_a_part_hangs_over_is_told_with_how_far_it_stands_in_it() -> None:
    post = Ring(Point(20, 24).buffer(2, quad_segs=64), (Circle((20, 24), 2.0),))
    case = tray(8.0, 0.3, post)
    (one,), pose = found(case, Standing("J1", 5.0, box(15, 15, 25, 23)))
    # The post's points below y = 23: the deepest in it is on that line, 1 mm under its middle.
    assert (one.thing, one.clear) == ("post", pytest.approx(-1.0, abs=0.01))
    assert one.at == pytest.approx((20.0, 23.0), abs=0.1)
    assert "posts of the case: J1 by 1.0 mm" in hanging_sentences([one], 0.3, pose)[0]
    (swallowed,), _ = found(case, Standing("J1", 5.0, box(15, 15, 25, 27)))
    assert swallowed.clear == pytest.approx(-2.0, abs=0.02)


def test_where_the_board_only_fits_turned_its_parts_turn_with_it() -> None:
    case = Case(Ring(affinity.rotate(box(-1, -1, 41, 21), 90, origin=(0, 0))), (), 0.3)
    (one,), pose = found(case, Standing("J1", 5.0, box(-3.5, 6, 8, 12)))
    assert pose.as_placed < 0 and one.clear == pytest.approx(-2.5, abs=2e-3)
    turned = affinity.translate(affinity.rotate(Point(-3.5, 9), pose.angle, origin=(0, 0)), *pose.shift)
    assert Point(one.at).distance(turned) < 0.1
    assert hanging_sentences([one], 0.3, pose)[0].startswith("Where the board has the most room in its case")


@pytest.mark.parametrize("seed", range(5))
def test_no_point_of_a_part_is_further_past_a_crooked_wall(seed: int) -> None:
    rng = np.random.RandomState(seed)
    walls = shapely.Polygon(
        np.array([(-1, -1), (41, -1), (41, 21), (-1, 21)]) + rng.uniform(-0.4, 0.4, (4, 2))
    )
    x = rng.uniform(-7, -4)
    part = affinity.rotate(box(x, 5, x + 9, 5 + rng.uniform(2, 9)), rng.uniform(0, 40))
    (one,), _ = found(Case(Ring(walls), (), 0.2), Standing("J1", 5.0, part))
    left, low, right, high = part.bounds
    many = shapely.points(*np.meshgrid(np.arange(left, right, 0.03), np.arange(low, high, 0.03))).ravel()
    many = many[shapely.contains(part, many) & ~shapely.contains(walls, many)]
    assert one.clear == pytest.approx(-shapely.distance(walls, many).max(), abs=0.05)


JOB = """[job]
title = "Boxed"
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 60], [0, 60]]
[[keepout]]
name = "J1 socket"
kind = "component"
polygon = [[-3, 10], [10, 10], [10, 20], [-3, 20]]
[[keepout]]
name = "C1 tall"
kind = "component"
height = 11
polygon = [[50, 10], [60.5, 10], [60.5, 20], [50, 20]]
[[part]]
name = "J2 plug"
polygon = [[-4, 30], [6, 30], [6, 36], [-4, 36]]
[[lift]]
name = "J3 comes off"
polygon = [[-4, 45], [6, 45], [6, 50], [-4, 50]]
[cutter]
kind = "blade"
kerf = 1.0
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [60, 0], [60, 60], [0, 60]]
[case]
cavity = [[-1, -1], [61, -1], [61, 61], [-1, 61]]
gap = 0.5
lid = 10
"""


def planned(folder: Path, job: str = JOB) -> Plan:
    path = folder / "job.toml"
    path.write_text(job, encoding="utf-8")
    return trimgeo.plan(trimgeo.prepare(trimgeo.load(path)))


def test_a_plan_warns_of_all_that_hangs_over_and_stays(tmp_path: Path) -> None:
    (said,) = (text for text in planned(tmp_path).warnings if text.startswith("Over the edge"))
    assert "J1 socket by 2.0 mm at (-3.0, 15.0)" in said  # of unknown height: the wall stands at every one
    assert "J2 plug by 3.0 mm at (-4.0, 33.0)" in said
    assert "J3" not in said and "C1" not in said


def test_a_part_in_the_wall_does_not_make_the_outline_unfit(tmp_path: Path) -> None:
    low = planned(tmp_path, JOB.replace("lid = 10", "lid = 11"))
    assert low.holding.fit is not None and low.holding.fit.fits


def test_what_is_refitted_after_the_cut_counts_for_the_lid(tmp_path: Path) -> None:
    plan = planned(tmp_path)
    assert [lift.name for lift in plan.lift if "refit" in lift.reason or "move the line" in lift.reason] == [
        "C1 tall"
    ]
    assert plan.holding.fit is not None and not plan.holding.fit.fits
    assert plan.holding.fit.too_high == (("C1 tall", 1.0),)
