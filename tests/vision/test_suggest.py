"""Suggested keep-outs on drawn boards: truth is what was drawn, by a renderer of its own."""

import importlib.util
import sys
from functools import cache
from pathlib import Path

import numpy as np
import shapely

from trimgeo.model.board import Picture
from trimgeo.vision.suggest import suggest

NAME = "populated"
spec = importlib.util.spec_from_file_location(NAME, Path(__file__).with_name(f"{NAME}.py"))
populated = importlib.util.module_from_spec(spec)
sys.modules[NAME] = populated
spec.loader.exec_module(populated)


JUDGES = (100, 103, 104)
"""A green, a black and a leaning board."""


def picture_of(board):
    return Picture(board.pixels_per_mm, board.origin, board.pixels.shape[1::-1], lambda: board.pixels)


@cache
def looked_at(seed):
    board = populated.populated_board(seed)
    return board, suggest(picture_of(board), board.edge, board.eye, "top")


def overlap(a, b):
    return a.intersection(b).area / a.union(b).area


def best(board, found):
    bodies = [each.shape for each in found if each.kind == "component"]
    return np.array([[overlap(shape, body.top) for shape in bodies] for body in board.bodies])


def test_four_bodies_of_five_are_found_and_one_in_ten_is_false():
    """Done-when 10 on three boards that nothing was tuned on; tests/bench/suggestions.py takes twenty."""
    shares = [best(*looked_at(seed)) for seed in JUDGES]
    found = np.concatenate([share.max(axis=1) >= 0.8 for share in shares])
    false = np.concatenate([share.max(axis=0) < 0.8 for share in shares])
    assert len(found) == 72
    assert found.mean() >= 0.8 and false.mean() <= 0.1


def test_a_scan_shows_no_leaning():
    _, found = looked_at(100)
    assert {each.traced for each in found} == {None}


def test_a_bare_board_with_traces_has_no_bodies():
    pixels = np.full((400, 500, 3), (62, 96, 30), np.uint8)
    for row in range(30, 380, 25):
        pixels[row : row + 4, 20:480] = (80, 118, 44)
    bare = Picture(10.0, (0.0, 399.0), (500, 400), lambda: pixels)
    assert suggest(bare, shapely.box(0, 0, 50, 40), None, "top") == ()


def test_pads_and_holes_are_told_from_bodies():
    _board, found = looked_at(100)
    kinds = {each.kind for each in found}
    assert "pad" in kinds
    bodies = shapely.union_all([each.shape for each in found if each.kind == "component"])
    assert not any(bodies.contains(shapely.Point(each.centre)) for each in found if each.kind != "component")


def test_the_same_picture_gives_the_same_answer():
    board, found = looked_at(100)
    again = suggest(picture_of(board), board.edge, board.eye, "top")
    assert again == found


def test_a_board_off_the_picture_gives_nothing():
    board, _ = looked_at(100)
    assert suggest(picture_of(board), shapely.box(900, 900, 950, 950), None, "top") == ()


def test_a_confidence_is_the_share_that_is_right():
    """Within what 70 proposals can tell: three standard deviations of a binomial share."""
    boards = [looked_at(seed) for seed in JUDGES]
    right = np.concatenate([best(*each).max(axis=0) >= 0.8 for each in boards])
    told = np.array([each.confidence for _, found in boards for each in found if each.kind == "component"])
    assert told.min() >= 0.5
    assert abs(right.mean() - told.mean()) < 3 * np.sqrt((told * (1 - told)).sum()) / len(told)


def leaded(body, light=190):
    """A body of 8 x 5 mm with two rows of six leads, and beside it the same leads around nothing."""
    pixels = np.full((400, 500, 3), (44, 42, 40), np.uint8)
    pixels += np.random.default_rng(1).integers(0, 3, pixels.shape, np.uint8)
    for left in (60, 300):
        for n in range(6):
            column = left + 10 + 15 * n
            pixels[138:210, column : column + 5] = light
        pixels[150:198, left : left + 96] = body if left == 60 else (44, 42, 40)
    return Picture(12.0, (0.0, 399.0), (500, 400), lambda: pixels)


def test_a_black_body_on_a_black_board_is_told_by_its_leads_and_bare_pads_are_none():
    found = suggest(leaded((60, 58, 56)), shapely.box(0.5, 0.5, 41, 33), None, "top")
    (body,) = [each.shape for each in found if each.kind == "component"]
    truth = shapely.box(60 / 12, (399 - 197.5) / 12, 156 / 12, (399 - 149.5) / 12)
    assert overlap(body, truth) > 0.85
