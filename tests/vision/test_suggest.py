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
    """Done-when 10 on three of its boards; tests/bench/suggestions.py takes all."""
    shares = [best(*looked_at(seed)) for seed in (0, 1, 8)]
    found = np.concatenate([share.max(axis=1) >= 0.8 for share in shares])
    false = np.concatenate([share.max(axis=0) < 0.8 for share in shares])
    assert len(found) == 72
    assert found.mean() >= 0.8 and false.mean() <= 0.1


def test_a_scan_shows_no_leaning():
    _, found = looked_at(0)
    assert {each.traced for each in found} == {None}


def test_a_bare_board_with_traces_has_no_bodies():
    pixels = np.full((400, 500, 3), (62, 96, 30), np.uint8)
    for row in range(30, 380, 25):
        pixels[row : row + 4, 20:480] = (80, 118, 44)
    bare = Picture(10.0, (0.0, 399.0), (500, 400), lambda: pixels)
    assert suggest(bare, shapely.box(0, 0, 50, 40), None, "top") == ()


def test_pads_and_holes_are_told_from_bodies():
    _board, found = looked_at(0)
    kinds = {each.kind for each in found}
    assert "pad" in kinds
    bodies = shapely.union_all([each.shape for each in found if each.kind == "component"])
    assert not any(bodies.contains(shapely.Point(each.centre)) for each in found if each.kind != "component")


def test_the_same_picture_gives_the_same_answer():
    board, found = looked_at(0)
    again = suggest(picture_of(board), board.edge, board.eye, "top")
    assert again == found


def test_a_board_off_the_picture_gives_nothing():
    board, _ = looked_at(0)
    assert suggest(picture_of(board), shapely.box(900, 900, 950, 950), None, "top") == ()
