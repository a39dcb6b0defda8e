"""Holes of drawn boards: truth is the circle that was drawn, by a renderer without package code."""

import numpy as np
import pytest
import shapely

from trimgeo.model.board import Picture
from trimgeo.vision.holes import find_holes

HOLES = [(6, 6, 3.2, 0.0), (34, 6, 3.2, 0.8), (8, 20, 1.0, 0.4), (14, 20, 0.8, 0.4), (20, 20, 2.0, 0.4)]


def picture(boards, **how):
    how.setdefault("board", shapely.box(0, 0, 40, 26))
    scene = boards.Scene(holes=HOLES, parts=4, traces=6, margin=4, **how)
    pixels, origin = boards.picture_of(scene)
    return scene, Picture(scene.per_mm, origin, (pixels.shape[1], pixels.shape[0]), lambda: pixels)


def worst(found):
    """Greatest error of centre and of diameter, mm; every drawn hole must be among the found."""
    errors = []
    for x, y, diameter, _ in HOLES:
        near = min(found, key=lambda hole: np.hypot(hole.at[0] - x, hole.at[1] - y))
        errors.append((np.hypot(near.at[0] - x, near.at[1] - y), abs(near.diameter - diameter)))
    return np.max(errors, axis=0)


@pytest.mark.parametrize(
    "mask, background", [("green", "paper"), ("white", "dark lid"), ("blue", "light lid")]
)
def test_holes_are_found_within_three_hundredths_at_twelve_pixels_per_mm(boards, mask, background):
    scene, seen = picture(boards, mask=mask, background=background)
    centre, diameter = worst(find_holes(seen, scene.board))
    assert centre <= 0.03
    assert diameter <= 0.03


def test_a_ring_of_copper_is_told_from_a_bare_hole(boards):
    scene, seen = picture(boards)
    found = find_holes(seen, scene.board)
    plated = {hole.at: hole.plated for hole in found}
    for x, y, _, ring in HOLES:
        at = min(plated, key=lambda at: np.hypot(at[0] - x, at[1] - y))
        assert plated[at] == (ring > 0)


def answered_and_right(scene, found):
    """How many holes are answered, and how many of them are within 0.03 mm of one that was drawn."""
    right = 0
    for hole in found:
        x, y, diameter, _ = min(scene.holes, key=lambda h: np.hypot(hole.at[0] - h[0], hole.at[1] - h[1]))
        right += np.hypot(hole.at[0] - x, hole.at[1] - y) <= 0.03 and abs(hole.diameter - diameter) <= 0.03
    return len(found), right


def crowded(boards, **how):
    """A board of 40 x 26 mm with 40 holes of all sizes, most of them in rings, on a scanner's lid."""
    board = shapely.box(0, 0, 40, 26)
    holes = boards.random_holes(board, np.random.default_rng(4), 40)
    scene = boards.Scene(board, holes, parts=12, traces=20, margin=4, background="light lid", **how)
    pixels, origin = boards.picture_of(scene)
    lid = tuple(np.median(pixels[:12].reshape(-1, 3), axis=0))
    return scene, Picture(scene.per_mm, origin, (pixels.shape[1], pixels.shape[0]), lambda: pixels), lid


def test_pads_of_the_lids_own_grey_are_not_taken_for_their_holes(boards):
    scene, seen, lid = crowded(boards, gloom=0.92, blur=1.25, noise=3.2, quality=75, seed=22)  # tin on grey
    metal = seen.pixels[tuple(np.round(ring_pixel(scene, seen)).astype(int))]
    assert np.abs(metal.astype(float) - 0.92 * np.array(lid)).max() < 20
    answered, right = answered_and_right(scene, find_holes(seen, scene.board.buffer(-0.3), None, 1.6, lid))
    assert answered == right


def ring_pixel(scene, seen):
    """Row and column of the middle of the widest ring."""
    x, y, diameter, ring = max(scene.holes, key=lambda hole: hole[3])
    return seen.origin[1] - y * scene.per_mm, seen.origin[0] + (x + (diameter + ring) / 2) * scene.per_mm


@pytest.mark.parametrize("mask, gloom, seed", [("purple", 0.7, 0), ("green", 0.6, 30), ("red", 0.7, 24)])
def test_crowded_holes_that_are_answered_are_right_and_most_are(boards, mask, gloom, seed):
    scene, seen, lid = crowded(boards, mask=mask, gloom=gloom, blur=1.3, seed=seed)
    answered, right = answered_and_right(scene, find_holes(seen, scene.board.buffer(-0.3), None, 1.6, lid))
    assert right >= answered - 1
    assert right >= 0.65 * len(scene.holes)


@pytest.mark.parametrize("mask, gloom, quality, seed", [("blue", 0.68, 94, 5), ("red", 0.85, 80, 3)])
def test_what_is_answered_of_metal_little_brighter_than_openings_is_right(boards, mask, gloom, quality, seed):
    scene, seen, lid = crowded(
        boards, mask=mask, gloom=gloom, blur=1.4, noise=3.7, quality=quality, seed=seed
    )
    answered, right = answered_and_right(scene, find_holes(seen, scene.board.buffer(-0.3), None, 1.6, lid))
    assert right == answered
    assert answered >= 8
