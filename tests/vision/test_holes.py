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
