"""The picture of the finished board in its case."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Polygon

import trimgeo
from trimgeo.model.plan import Plan
from trimgeo.report.casefigure import case_figure
from trimgeo.report.page import report_page

JOB = """[job]
title = "Boxed"
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 60], [0, 60]]
[[keepout]]
name = "U1 tall"
kind = "component"
height = 9
polygon = [[10, 10], [20, 10], [20, 20], [10, 20]]
[[keepout]]
name = "U2 flat"
kind = "component"
height = 2
polygon = [[30, 10], [35, 10], [35, 20], [30, 20]]
[cutter]
kind = "blade"
kerf = 1.0
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [60, 0], [60, 40], [0, 40]]
[case]
gap = 0.5
lid = 8
"""
ROOMY = "cavity = [[10, 5], [72, 5], [72, 47], [10, 47]]"  # 62 x 42 about 60 x 40: 1 mm all round
NARROW = "cavity = [[0, 0], [58, 0], [58, 50], [0, 50]]"


def planned(folder: Path, cavity: str) -> Plan:
    path = folder / "job.toml"
    path.write_text(JOB + cavity, encoding="utf-8")
    return trimgeo.plan(trimgeo.prepare(trimgeo.load(path)))


def shape(data: str) -> Polygon:
    """The polygon of SVG path data with y down, read apart from what wrote it."""
    points = [tuple(map(float, pair.split())) for pair in data.strip("MZ").split("L")]
    return Polygon([(x, -y) for x, y in points])


def test_the_board_is_drawn_where_it_has_the_most_room(tmp_path: Path) -> None:
    figure = case_figure(planned(tmp_path, ROOMY))
    assert figure is not None
    # A 60 x 40 board in a 62 x 42 cavity from (10, 5): from (11, 6) to (71, 46), however it is turned.
    assert shape(figure.board).bounds == pytest.approx((11, 6, 71, 46), abs=0.01)
    assert shape(figure.wall).bounds == pytest.approx((10, 5, 72, 47), abs=1e-3)
    assert shape(figure.gap).bounds == pytest.approx((10.5, 5.5, 71.5, 46.5), abs=1e-3)


def test_the_closest_places_lie_on_the_drawn_board_and_have_numbers(tmp_path: Path) -> None:
    plan = planned(tmp_path, ROOMY)
    figure = case_figure(plan)
    assert figure is not None and plan.holding.fit is not None and not figure.lacking
    rim = shape(figure.board).exterior
    assert len(figure.closest) == len(plan.holding.fit.binds) >= 3
    assert all(rim.distance(shapely.Point(x, -y)) < 0.01 for x, y in figure.closest)
    told = [
        n
        for label in figure.numbers
        for low, _, high in [label.text.partition("–")]
        for n in range(int(low), int(high or low) + 1)
    ]
    assert told == list(range(1, len(figure.closest) + 1))
    assert all(not shape(figure.board).contains(shapely.Point(each.x, -each.y)) for each in figure.numbers)


def test_numbers_do_not_stand_on_each_other_and_all_is_in_view(tmp_path: Path) -> None:
    for cavity in (ROOMY, NARROW):
        figure = case_figure(planned(tmp_path, cavity))
        assert figure is not None
        left, top, width, height = map(float, figure.view_box.split())
        view = shapely.box(left, top, left + width, top + height)
        boxes = [
            shapely.box(*(np.array([x, y, x, y]) + np.array([-w, -h, w, h]) * figure.letter))
            for x, y, w, h in ((each.x, each.y, 0.35 * len(each.text), 0.6) for each in figure.numbers)
        ]
        assert all(view.contains(box) for box in boxes)
        assert shapely.union_all(boxes).area == pytest.approx(sum(box.area for box in boxes))


def test_a_part_that_the_lid_does_not_clear_is_marked_with_its_height(tmp_path: Path) -> None:
    plan = planned(tmp_path, ROOMY)
    figure = case_figure(plan)
    assert figure is not None
    assert figure.told == ("A: U1 tall, 9.0 mm high on the top face, 1.0 mm too high for the lid",)
    (key,) = figure.keys
    assert shape(figure.high).contains(shapely.Point(key.x, -key.y)) and key.text == "A"
    page = report_page(plan, {}, {})
    assert (
        "A: U1 tall, 9.0 mm high on the top face" in page and 'aria-label="the finished board in its' in page
    )


def test_a_board_that_does_not_fit_is_shown_with_crosses_where_it_is_too_near(tmp_path: Path) -> None:
    plan = planned(tmp_path, NARROW)
    assert plan.holding.fit is not None and not plan.holding.fit.fits
    page = report_page(plan, {}, {})
    crosses = re.findall(r'<path class="closest" d="M[^"]*"', page)
    assert len(crosses) == len(plan.holding.fit.binds) >= 2
    # 60 mm between walls 58 mm apart: 1 mm over at either side, and the gap of 0.5 mm besides.
    assert "1.50 mm nearer to it than the gap asks for" in page and "where it is too near" in page


def test_a_job_without_a_case_has_no_such_picture(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(JOB.partition("[case]")[0], encoding="utf-8")
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(path)))
    assert case_figure(plan) is None and "The case" not in report_page(plan, {}, {})
