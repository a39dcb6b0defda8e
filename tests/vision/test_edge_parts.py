"""Parts of the ground's colour at a board's rim: truth is the polygon that was drawn."""

import cv2
import numpy as np
import pytest
import shapely

from trimgeo.model.board import Picture
from trimgeo.vision.edge import find_outline
from trimgeo.vision.edge_measured import without_spikes
from trimgeo.vision.edge_parts import parts_at_rim

# between pixel centres, 10 pixels a mm, y up
BOARD = shapely.box(7.95, 8.95, 43.95, 28.95)
NOTCH = shapely.box(22.95, 24.95, 28.95, 29.95)
LIGHT = (200, 205, 205)


def shown(*areas, shade=None):
    """A green board on white paper; areas are (rows, columns, colour), in the order of painting."""
    pixels = np.full((380, 520, 3), 232, np.float32)
    if shade is not None:
        pixels *= shade[..., None]
    ground = pixels.copy()
    pixels[90:290, 80:440] = (62, 96, 30)
    for rows, columns, colour in areas:
        part = (slice(*rows), slice(*columns))
        pixels[part] = ground[part] if colour is None else colour
    pixels = cv2.GaussianBlur(pixels, (0, 0), 1.0) + np.random.RandomState(0).normal(0, 1.5, pixels.shape)
    whole = np.clip(np.round(pixels), 0, 255).astype(np.uint8)
    return Picture(10.0, (0.0, 379.0), (520, 380), lambda: whole)


def error(found, truth):
    dense = [shapely.segmentize(shape.exterior, 0.05) for shape in (found, truth)]
    return shapely.hausdorff_distance(*dense)


EYE = (26.0, 19.0, 1e6)  # far above the middle: no side wall is seen


@pytest.mark.parametrize(
    "areas, board",
    [
        ([((150, 210), (380, 440), LIGHT)], BOARD),
        # at the bottom of a notch, over its corner: no side of the part goes on as one of the board's
        ([((120, 160), (270, 340), LIGHT), ((90, 130), (230, 290), None)], BOARD - NOTCH),
    ],
)
def test_a_light_part_at_the_rim_is_no_notch_in_a_board_on_paper(areas, board):
    found, pieces, _ = find_outline(shown(*areas), 1.6, EYE, "edge")
    # 2.45 standard uncertainties in one direction hold 95 % in two (chi-square table)
    assert error(found.polygon, board) <= min(0.3, 2.45 * pieces.spread)


def test_a_small_light_part_at_a_shaded_rim_is_no_notch():
    """The shadow gets darker towards the board, the part beside it is lighter: no shadow does that."""
    board = np.zeros((380, 520), np.float32)
    board[90:290, 80:440] = 1
    cast = cv2.GaussianBlur(np.roll(board, 10, axis=0), (0, 0), 5.0)
    picture = shown(((272, 290), (200, 240), LIGHT), shade=1 - 0.4 * cast)
    found, pieces, _ = find_outline(picture, 1.6, EYE, "edge")
    assert error(found.polygon, BOARD) <= min(0.35, 2.45 * pieces.spread)


def coarse(*areas, shade=None):
    """Half the pixels of `shown`, and the board there without what looks like paper."""
    small = cv2.resize(shown(*areas, shade=shade).pixels, (260, 190), interpolation=cv2.INTER_AREA)
    return small, (small[..., 2] < 150).astype(np.uint8)


def test_a_light_part_at_the_rim_is_told_from_the_paper_by_its_step():
    small, mask = coarse(((150, 210), (380, 440), LIGHT))
    found = parts_at_rim(mask, small, None, 5.0)
    assert found[77:103, 192:218].all() and not found[:, 223:].any() and not found[mask > 0].any()


def test_what_a_sharp_shadow_darkens_is_no_part():
    shadow = tuple(0.65 * v for v in (232, 232, 232))
    small, mask = coarse(((90, 130), (230, 290), shadow))
    assert not parts_at_rim(mask, small, None, 5.0).any()


def test_a_lit_notch_is_no_part_though_a_shadow_crosses_it():
    shade = np.ones((380, 520), np.float32)
    shade[:112] = 0.65
    small, mask = coarse(((90, 130), (230, 290), None), shade=cv2.GaussianBlur(shade, (0, 0), 2.0))
    assert not parts_at_rim(mask, small, None, 5.0).any()


def test_an_even_area_where_print_should_be_is_a_part():
    tone = np.ones((190, 260), np.float32)
    tone[:, 200:] = 0.16  # ink on the right
    part = ((150, 210), (380, 440), LIGHT)
    small, mask = coarse(part)
    mask[75:105, 200:220] = 1  # no ink is seen there
    small[:, 222:] = 36
    found = parts_at_rim(mask, small, tone, 5.0)
    assert found[77:103, 192:199].all() and not found[:, 222:].any()


def test_a_spike_is_taken_away_and_a_tab_is_not():
    board = shapely.box(0, 0, 20, 10)
    tab = board | shapely.box(20, 4, 23, 5)
    spike = tab | shapely.Polygon([(0, 2), (-4, 2.03), (0, 2.06)])
    assert without_spikes(spike).symmetric_difference(tab).area < 0.01
    assert without_spikes(spike).bounds == pytest.approx((0, 0, 23, 10), abs=0.1)
