"""The case, start holes, relief cuts and what is in the cutter's way, on sheets and overlays."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon

import trimgeo
from trimgeo.drawing.overlay import overlay
from trimgeo.drawing.pdf import to_pdf
from trimgeo.drawing.sheet import Sheet
from trimgeo.drawing.template import template_sheets
from trimgeo.model.board import FaceName, Picture, View
from trimgeo.model.plan import Plan
from trimgeo.model.planemap import PlaneMap

JOB = """
[job]
title = "Test"
[board]
thickness = 1.6
edge = [[0, 0], [150, 0], [150, 95], [0, 95]]
[[keepout]]
name = "U2 socket"
kind = "component"
height = 5
polygon = [[30, 25], [45, 25], [45, 35], [30, 35]]
[[part]]
name = "tall can"
height = 25
polygon = [[100, 62], [108, 62], [108, 70], [100, 70]]
[finish]
sanding = 0.3
"""
BLADE = """[cutter]
kind = "blade"
kerf = 1.0
[outline]
points = [[15, 15], [95, 15], [95, 70], [15, 70]]
"""
WHEEL = """[cutter]
kind = "wheel"
kerf = 1.0
diameter = 38
holder = { radius = 12, reach = 6 }
[outline]
points = [[0, 0], [95, 0], [95, 48], [0, 48]]
"""
CASE = """[case]
cavity = [[10, 10], [110, 10], [110, 80], [10, 80]]
gap = 2
holes = [{ at = [60, 40], diameter = 8 }]
"""


@cache
def planned(text: str) -> Plan:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text(JOB + text, encoding="utf-8")
        return trimgeo.plan(trimgeo.prepare(trimgeo.load(path)))


@cache
def sheets(text: str) -> tuple[Sheet, ...]:
    return template_sheets(planned(text), "A4")


def words(sheet: Sheet) -> str:
    return " ".join(text.text for text in sheet.texts())


def corner(sheet: Sheet, hand: Any) -> np.ndarray:
    """Where the lower left corner of the board edge lies on the top sheet."""
    found: np.ndarray = np.asarray([xy for path in hand.paths(sheet, "board") for xy in path])
    return np.asarray(found.min(axis=0))


def test_walls_posts_and_gap_lie_where_the_job_says(hand: Any) -> None:
    sheet = sheets(BLADE + CASE)[0]
    zero = corner(sheet, hand)
    walls = [LineString(np.asarray(path) - zero) for path in hand.paths(sheet, "case")]
    border, post = shapely.box(10, 10, 110, 80).exterior, Point(60, 40).buffer(4, quad_segs=64).exterior
    assert all(wall.within(shapely.union(border, post).buffer(0.01)) for wall in walls)
    assert sum(wall.length for wall in walls) > 0.75 * (border.length + post.length)  # labels may break it
    kept = Polygon(border).buffer(-2) - Polygon(post).buffer(2, quad_segs=64)
    for path in hand.paths(sheet, "case-gap"):
        assert LineString(np.asarray(path) - zero).distance(kept.boundary) < 0.02


def test_the_mirrored_sheet_has_the_mirrored_case(hand: Any) -> None:
    top, bottom = sheets(BLADE + CASE)
    found = []
    for sheet, way in ((top, 1), (bottom, -1)):
        edge = np.asarray([xy for path in hand.paths(sheet, "board") for xy in path])
        wall = np.asarray([xy for path in hand.paths(sheet, "case") for xy in path])
        x = edge[:, 0].min() if way == 1 else edge[:, 0].max()
        found.append((float((way * (wall[:, 0] - x)).min()), float((way * (wall[:, 0] - x)).max())))
    assert found[0] == pytest.approx((10, 110)) and found[1] == pytest.approx((10, 110))


def test_the_hatch_of_the_case_is_solid_alone_and_crosses_the_kerfs(hand: Any) -> None:
    sheet = sheets(BLADE + CASE)[0]
    zero = corner(sheet, hand)
    inside = shapely.box(10.01, 10.01, 109.99, 79.99) - Point(60, 40).buffer(4.01, quad_segs=64)
    strokes = [np.asarray(path) - zero for path in hand.paths(sheet, "case-hatch")]
    assert strokes
    for stroke in strokes:
        assert LineString(stroke).disjoint(inside)
        across = stroke[-1] - stroke[0]
        assert across[0] * across[1] < 0  # downwards to the right; the kerf's hatch goes upwards


def test_the_sheet_says_what_each_sign_means_and_only_of_those_that_are_there() -> None:
    with_case = words(sheets(BLADE + CASE)[0])
    for said in ("wall or post of the case", "gap to the case", "start hole: drill it in the waste"):
        assert said in with_case
    assert "place for the clamp" in with_case and "relief cut: before all others" in with_case
    without = words(sheets(WHEEL)[0])
    assert "the case" not in without and "start hole" not in without


def test_a_start_hole_is_a_circle_with_cross_hairs_in_the_waste_and_has_its_label(hand: Any) -> None:
    plan = planned(BLADE)
    sheet = sheets(BLADE)[0]
    (hole,) = plan.holding.start_holes
    at = np.asarray(hole.at) + corner(sheet, hand)
    shapes = [np.asarray(path) - at for path in hand.paths(sheet, "start")]
    rims = [shape for shape in shapes if len(shape) > 2]
    hairs = np.vstack([shape for shape in shapes if len(shape) == 2])
    assert np.hypot(*np.vstack(rims).T) == pytest.approx(1.0, abs=1e-3)  # 2 mm, as no diameter is given
    assert np.hypot(*hairs.T).max() > 1.3 and (hairs.min(axis=1) < 0).any()
    assert np.abs(hairs).min(axis=1).max() < 1e-9  # upright or level through the middle
    assert hairs.min(axis=0) == pytest.approx(-hairs.max(axis=0))
    assert re_joined("drill 2 mm, start of cut 1") in re_joined(words(sheet))


def re_joined(text: str) -> str:
    return "".join(text.split())


def test_what_is_in_the_cutters_way_is_framed_and_its_height_said(hand: Any) -> None:
    plan = planned(WHEEL)
    assert {hit.name for hit in plan.holding.hits} == {"U2 socket", "tall can"}
    top, bottom = sheets(WHEEL)
    frames = [np.asarray(path) - corner(top, hand) for path in hand.paths(top, "hit") if len(path) > 2]
    bounds = sorted(tuple(np.round([*f.min(axis=0), *f.max(axis=0)], 6)) for f in frames)
    assert bounds == [(30, 25, 45, 35), (100, 62, 108, 70)]
    assert "in the way of wheel or hand-piece" in words(top)
    assert "tall can, 25 mm high" in words(top) and "U2 socket [1], 5 mm high" in words(top)
    assert not hand.paths(bottom, "hit")


def test_labels_keep_off_the_case_and_the_new_signs(hand: Any) -> None:
    from trimgeo.drawing.lettering import text_box

    for text in (BLADE + CASE, WHEEL + CASE):
        for sheet in sheets(text):
            boxes = shapely.union_all([shapely.box(*text_box(one)) for one in sheet.texts()])
            for kind in ("case", "case-hatch", "case-gap", "start", "relief", "clamp", "hit"):
                lines = shapely.MultiLineString(list(hand.paths(sheet, kind)))
                assert lines.intersection(boxes).length < 1e-9, kind


def test_on_paper_wall_and_gap_are_blue_and_the_wall_is_dark_enough_in_grey(hand: Any) -> None:
    """PDFium draws the page: the wall is the Okabe-Ito blue #0072B2, whose grey is a third of white."""
    both = sheets(BLADE + CASE)
    dpi = 300.0
    page = hand.rendered(to_pdf(both, "t"), 0, dpi).astype(int)
    x, y = corner(both[0], hand) + np.array([110.0, 78.0])
    row, column = round((both[0].height - y) * dpi / 25.4), round(x * dpi / 25.4)
    patch = page[row - 2 : row + 3, column - 4 : column + 5].mean(axis=0)
    assert patch.min(axis=0) == pytest.approx([0, 0x72, 0xB2], abs=40)
    assert patch.mean(axis=1).min() < 130


def drawn(plan: Plan, shows: FaceName) -> np.ndarray:
    """The overlay, 10 pixels per mm: board point (x, y) is column 200 + 10 x, row 1150 - 10 y."""
    blank = np.full((1350, 1900, 3), 128, np.uint8)
    picture = Picture(10.0, (200.0, 1150.0), (1900, 1350), lambda: blank)
    to_board = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    return overlay(plan, View("scan", shows, "dpi", to_board, picture, None, None, 0.1)).astype(int)


def test_the_picture_shows_the_wall_on_both_faces_and_the_hit_on_one() -> None:
    for shows in ("top", "bottom"):
        pixels = drawn(planned(WHEEL + CASE), shows)
        column, rows = 200 + 1100, slice(1150 - 600, 1150 - 500)  # the wall at x = 110, y from 50 to 60
        wall = pixels[rows, column - 3 : column + 4]
        assert ((wall[..., 0] - wall[..., 2]) > 60).any(axis=1).mean() > 0.9
        framed = pixels[1150 - 690 : 1150 - 630, 200 + 1080 - 4 : 200 + 1080 + 5]  # the can's side at x = 108
        reddish = ((framed[..., 2] - framed[..., 0]) > 100).any(axis=1).mean()
        assert (reddish > 0.6) if shows == "top" else (reddish == 0)


def test_stop_marks_of_an_inside_corner_are_on_the_picture_too() -> None:
    corner = WHEEL.replace(
        "[[0, 0], [95, 0], [95, 48], [0, 48]]", "[[0, 0], [95, 0], [95, 40], [60, 40], [60, 80], [0, 80]]"
    )
    plan = planned(corner)
    (stop,) = [each.stop_short for each in plan.corners if each.inside]
    assert stop is not None
    pixels = drawn(plan, "top")
    # The guide line's corner is 0.3 mm outside (60, 40); a bar stands across either of its lines.
    for column, row in ((200 + 603 + 10 * stop, 1150 - 403 - 15), (200 + 603 + 15, 1150 - 403 - 10 * stop)):
        patch = pixels[round(row) - 1 : round(row) + 2, round(column) - 1 : round(column) + 2]
        assert patch.mean() < 60
