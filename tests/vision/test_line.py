"""Drawn lines on boards from `drawn_boards`, a renderer that shares no code with the package."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
from shapely import box

from trimgeo.errors import JobError
from trimgeo.model.board import Picture
from trimgeo.vision.line import find_line

NAME = "drawn_boards"
spec = importlib.util.spec_from_file_location(NAME, Path(__file__).with_name(f"{NAME}.py"))
boards = importlib.util.module_from_spec(spec)
sys.modules[NAME] = boards
spec.loader.exec_module(boards)

WHERE = "job.toml, [outline]"
EDGE = box(0, 0, 70, 50)


def plain_board(strokes, width=1.0, edge=EDGE, density=10.0):
    """A green board with red strokes and nothing else: drawn by cv2 through the renderer's canvas."""
    origin = (5 * density, (edge.bounds[3] + 5) * density)
    size = (int((edge.bounds[2] + 10) * density), int((edge.bounds[3] + 10) * density))
    canvas = boards.Canvas(size, density, origin, (205, 208, 210))
    canvas.area(edge, boards.BOARDS["green"])
    for stroke in strokes:
        canvas.area(shapely.LineString(stroke).buffer(width / 2).intersection(edge), boards.INKS["red"])
    pixels = cv2.resize(canvas.pixels, size, interpolation=cv2.INTER_AREA)
    return Picture(density, origin, size, lambda: pixels)


def farthest(found, corners):
    at = shapely.MultiPoint(shapely.get_coordinates(found.ring.exterior))
    return max(at.distance(shapely.Point(c)) for c in corners)


SQUARE = [(10, 10), (55, 12), (52, 42), (12, 38), (10, 10)]


def test_the_corners_of_a_closed_line_lie_where_it_was_drawn():
    found = find_line(plain_board([SQUARE]), EDGE, [box(20, 20, 30, 30)], None, "middle", WHERE)
    assert farthest(found, SQUARE) < 0.05
    assert found.pen_width == pytest.approx(1.0, abs=0.08)
    assert len(found.ring.exterior.coords) == 5 and all(found.straight)


def test_the_inner_edge_lies_half_a_pen_inside():
    found = find_line(plain_board([SQUARE]), EDGE, [box(20, 20, 30, 30)], None, "inside", WHERE)
    wanted = shapely.Polygon(SQUARE).buffer(-0.5, join_style="mitre")
    assert found.ring.hausdorff_distance(wanted) < 0.12


@pytest.mark.parametrize(
    ("keep", "wanted"), [(box(5, 5, 15, 15), box(0, 0, 40, 50)), (box(50, 5, 60, 15), box(40, 0, 70, 50))]
)
def test_a_stroke_from_edge_to_edge_closes_on_the_side_of_the_keep_outs(keep, wanted):
    found = find_line(plain_board([[(40, -2), (40, 52)]]), EDGE, [keep], None, "middle", WHERE)
    assert found.ring.symmetric_difference(wanted).area < 2.0


def test_a_board_without_a_line_is_refused_and_asks_for_rough_corners():
    with pytest.raises(JobError, match=r"no drawn line.*`near"):
        find_line(plain_board([]), EDGE, [box(5, 5, 15, 15)], None, "middle", WHERE)


def test_keep_outs_on_both_sides_are_refused():
    keep = [box(5, 5, 15, 15), box(50, 5, 60, 15)]
    with pytest.raises(JobError, match="near"):
        find_line(plain_board([[(40, -2), (40, 52)]]), EDGE, keep, None, "middle", WHERE)


def test_two_lines_one_around_the_other_are_refused():
    outer = [(4, 4), (64, 4), (64, 46), (4, 46), (4, 4)]
    with pytest.raises(JobError, match="near"):
        find_line(plain_board([SQUARE, outer]), EDGE, [box(20, 20, 30, 30)], None, "middle", WHERE)


def test_a_line_with_half_of_a_side_missing_is_not_closed_by_guessing():
    with pytest.raises(JobError, match="near"):
        find_line(plain_board([[(30, 11), *SQUARE[1:]]]), EDGE, [box(20, 20, 30, 30)], None, "middle", WHERE)


def test_rough_corners_find_the_line_on_a_busy_board():
    scene = boards.drawn_board(2)
    picture = Picture(scene.pixels_per_mm, scene.origin, scene.pixels.shape[1::-1], lambda: scene.pixels)
    found = find_line(picture, scene.edge, scene.keep, scene.near, "middle", WHERE)
    assert farthest(found, scene.corners) < 0.2


def test_a_line_across_a_busy_board_is_found_alone():
    scene = boards.drawn_board(5)
    picture = Picture(scene.pixels_per_mm, scene.origin, scene.pixels.shape[1::-1], lambda: scene.pixels)
    found = find_line(picture, scene.edge, scene.keep, None, "middle", WHERE)
    assert farthest(found, scene.corners) < 0.2


def test_rough_corners_that_enclose_nothing_are_refused():
    with pytest.raises(JobError, match="enclose no area"):
        find_line(plain_board([SQUARE]), EDGE, [], np.array([[1.0, 1.0], [5.0, 5.0]]), "middle", WHERE)


def test_a_free_hand_is_followed_and_its_corner_found_alone():
    scene = boards.drawn_board(23)
    picture = Picture(scene.pixels_per_mm, scene.origin, scene.pixels.shape[1::-1], lambda: scene.pixels)
    found = find_line(picture, scene.edge, scene.keep, None, "middle", WHERE)
    assert farthest(found, scene.corners) < 0.2
    path = np.concatenate(
        [shapely.line_interpolate_point(line, np.arange(0, line.length, 0.2)) for line in scene.free.geoms]
    )
    assert shapely.distance(path, found.ring.exterior).max() < 0.2


def test_what_a_gap_hides_of_a_wavering_line_is_stated():
    x = np.arange(-2, 72.1, 0.1)
    wave = np.column_stack([x, 25 + 0.6 * np.sin(2 * np.pi * x / 15)])
    whole, gapped = [wave], [wave[x < 31], wave[x > 37]]
    seen, hidden = (
        find_line(plain_board(strokes), EDGE, [box(5, 5, 15, 15)], None, "middle", WHERE)
        for strokes in (whole, gapped)
    )
    assert seen.uncertainty < 0.05 < hidden.uncertainty
    in_gap = shapely.points(wave[(x > 31) & (x < 37)])
    assert shapely.distance(in_gap, hidden.ring.exterior).max() < 2.45 * hidden.uncertainty
    assert shapely.distance(shapely.points(wave[(x > 2) & (x < 68)]), seen.ring.exterior).max() < 0.05
