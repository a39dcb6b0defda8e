"""Pads of the ground's shade at a board's rim, notches of their size: truth is the polygon that was drawn."""

import numpy as np
import pytest
import shapely

from trimgeo.errors import JobError
from trimgeo.model.board import Picture
from trimgeo.vision.edge import find_outline

BOARD = shapely.box(0, 0, 30, 20)
EYE = (45.0, 30.0, 300.0)  # the walls of the upper and of the right side show
TIN = (196, 196, 196)


def disc(x, y, radius):
    return shapely.Point(x, y).buffer(radius, quad_segs=64)


def found(boards, board=BOARD, marks=(), eye=EYE, background="paper"):
    """The outline, the bound stated, mm, and the doubtful places, of a board on paper with marks on it."""
    scene = boards.Scene(
        board, per_mm=10.0, margin=6, eye=eye, marks=[(area, TIN) for area in marks], background=background
    )
    pixels, origin = boards.picture_of(scene)
    seen = Picture(scene.per_mm, origin, (pixels.shape[1], pixels.shape[0]), lambda: pixels)
    ring, pieces, _ = find_outline(seen, 1.6, eye, "edge")
    # 2.45 standard uncertainties in one direction hold 95 % in two (chi-square table)
    return ring.polygon, 2.45 * pieces.spread, pieces.odd


def error(outline, truth):
    dense = [shapely.segmentize(shape.exterior, 0.05) for shape in (outline, truth)]
    return shapely.hausdorff_distance(*dense)


@pytest.mark.parametrize(
    "marks",
    [
        [disc(12, 0.3, 0.85)],  # cut by the rim: a step where the paper begins
        [disc(0.3, 9, 0.85)],
        [disc(12, 0.95, 0.85)],  # a thin strip of the board outside it
        [disc(12, 19.6, 0.85)],  # the wall below the rim shows
        [disc(8 + 2.54 * n, 0.6, 0.76) for n in range(5)],  # little of the rim between them
    ],
)
def test_the_rim_is_led_across_pads_of_the_papers_shade(boards, marks):
    outline, bound, _ = found(boards, marks=marks)
    assert error(outline, BOARD) <= min(0.3, bound)


@pytest.mark.parametrize(
    "notch",
    [
        disc(12, 0, 1.2),
        disc(12, 20, 1.2),  # its wall shows
        disc(0, 9, 1.2),
        shapely.box(10.8, -1, 13.2, 2.2) | disc(12, 2.2, 1.2),
    ],
)
def test_a_round_notch_and_a_slot_of_a_pads_size_stay(boards, notch):
    truth = BOARD - notch
    outline, bound, _ = found(boards, truth)
    assert error(outline, truth) <= min(0.5, bound)
    assert outline.intersection(notch).area < 0.25 * notch.intersection(BOARD).area


@pytest.mark.parametrize("at", [(12, 0.35), (0.35, 9)])
def test_a_hole_that_breaks_through_the_rim_is_never_closed_unsaid(boards, at):
    """Its mouth is narrower than it is, as a pad's: right, or named with a bound that holds, or refused."""
    truth = BOARD - disc(*at, 0.9)
    try:
        outline, bound, odd = found(boards, truth)
    except JobError as fault:
        assert "either a notch" in str(fault)
        return
    assert error(outline, truth) <= bound
    assert error(outline, truth) < 0.3 or (np.hypot(*(odd - at).T) < 2.5).any()


def test_a_pad_on_a_scanners_lid_is_no_notch(boards):
    outline, bound, _ = found(boards, marks=[disc(12, 0.3, 0.85)], eye=None, background="light lid")
    assert error(outline, BOARD) <= min(0.3, bound)
