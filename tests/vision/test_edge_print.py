"""Boards on ground with a known print: truth is what was drawn, by renderers of their own."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely

from trimgeo.errors import JobError
from trimgeo.model.board import CardLying, Picture
from trimgeo.model.card import CARDS
from trimgeo.vision.edge import find_outline
from trimgeo.vision.ground_card import print_of
from trimgeo.vision.ground_print import Print, print_shares

NOTCHED = shapely.Polygon([(0, 0), (40, 0), (40, 26), (24, 26), (24, 21), (16, 21), (16, 26), (0, 26)])


def loaded(name, *folders):
    """A helper of the tests, by path."""
    path = Path(__file__).parents[1].joinpath(*folders)
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def camera():
    """The simulated camera, whose card is drawn from the numbers of its layout alone."""
    return loaded("camera_of_edges", "camera", "camera.py")


@pytest.fixture(scope="module")
def bench():
    """Boards drawn by chance."""
    return loaded("bench_of_edges", "bench", "board_edges.py")


def area(boxes):
    return shapely.union_all(shapely.polygons(boxes))


def error(found, truth):
    dense = [shapely.segmentize(shape.exterior, 0.05) for shape in (found, truth)]
    return shapely.hausdorff_distance(*dense)


def on_squares(boards, seed, **how):
    """A board on black and white squares: its picture, and what is printed there."""
    scene = boards.Scene(
        board=NOTCHED,
        background="card",
        margin=9,
        traces=5,
        eye=(60.0, -30.0, 320.0),
        seed=seed,
        **how,
    )
    pixels, origin = boards.picture_of(scene)
    rows, columns = pixels.shape[:2]
    corners = np.array([[0, 0], [columns - 1, 0], [columns - 1, rows - 1], [0, rows - 1]])
    rim = (corners - origin) * (1 / scene.per_mm, -1 / scene.per_mm)
    seen = Picture(scene.per_mm, origin, (columns, rows), lambda: pixels)
    return scene, seen, Print(boards.printed_black(scene, (rows, columns), origin), rim, rim)


@pytest.mark.parametrize("seed, mask", [(1, "green"), (2, "blue"), (3, "red")])
def test_squares_of_a_known_print_are_neither_parts_nor_notches(boards, seed, mask):
    scene, seen, printed = on_squares(boards, seed, mask=mask, shadow=1.2)
    found, pieces, _ = find_outline(seen, 1.6, scene.eye, "edge", printed)
    # 2.45 standard uncertainties in one direction hold 95 % in two (chi-square table)
    assert error(found.polygon, NOTCHED) <= min(0.25, 2.45 * pieces.spread)


def test_a_grey_part_at_the_edge_is_no_notch_along_a_printed_line(boards):
    """Its grey is a mixture of ink and paper, as every printed line's blur is."""
    scene, seen, printed = on_squares(boards, 1, mask="green")
    column, row = np.round(np.array([20.0, 0.0]) * (scene.per_mm, -scene.per_mm) + seen.origin).astype(int)
    pixels = seen.pixels.copy()
    pixels[row - 40 : row - 1, column - 60 : column + 60] = (70, 66, 64)
    grey = Picture(seen.pixels_per_mm, seen.origin, seen.size, lambda: pixels)
    found, _, _ = find_outline(grey, 1.6, scene.eye, "edge", printed)
    assert error(found.polygon, NOTCHED) <= 0.3


def test_glare_on_the_card_is_no_board(boards):
    """Glare adds light to paper and ink alike: paper gets whiter, ink grey."""
    scene, seen, printed = on_squares(boards, 2, mask="blue")
    rows, columns = np.indices(seen.pixels.shape[:2])
    off = np.hypot(columns - seen.origin[0] - 52 * scene.per_mm, rows - seen.origin[1] + 26 * scene.per_mm)
    glare = 0.3 * np.exp(-0.5 * (off / (20 * scene.per_mm)) ** 2)
    # grey levels to light and back by the tone curve of sRGB, IEC 61966-2-1
    c = seen.pixels / 255
    light = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4) + glare[..., None]
    c = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    pixels = np.clip(np.round(255 * c), 0, 255).astype(np.uint8)
    glared = Picture(seen.pixels_per_mm, seen.origin, seen.size, lambda: pixels)
    found, pieces, _ = find_outline(glared, 1.6, scene.eye, "edge", printed)
    assert error(found.polygon, NOTCHED) <= min(0.3, 2.45 * pieces.spread)


@pytest.mark.parametrize("left", [1.0, 25.0])
def test_a_black_part_over_ink_and_paper_at_the_rim_is_never_taken_for_a_notch(boards, left):
    """Where ink lies below it nobody can tell it from the ground: refused, or right within the bound."""
    scene, seen, printed = on_squares(boards, 1, mask="green")
    corners = np.array([[left, 26.0], [left + 9.0, 19.0]]) * (scene.per_mm, -scene.per_mm) + seen.origin
    (first, top), (last, low) = np.round(corners).astype(int)
    pixels = seen.pixels.copy()
    pixels[top + 2 : low, first:last] = (38, 38, 40)
    black = Picture(seen.pixels_per_mm, seen.origin, seen.size, lambda: pixels)
    try:
        found, pieces, _ = find_outline(black, 1.6, scene.eye, "edge", printed)
    except JobError:
        return
    assert error(found.polygon, NOTCHED) <= 2.45 * pieces.spread


@pytest.mark.parametrize("paper", CARDS)
def test_the_cards_print_follows_from_its_corners_as_it_lies(camera, paper):
    card = CARDS[paper]
    turn = np.array([[0.8, -0.6], [0.6, 0.8]])
    seen = card.corner_ids[::3]
    found = print_of(CardLying(paper, seen, card.corners(seen) @ turn.T + (30.0, -7.0)))
    truth = area(camera.black_boxes(paper) @ turn.T + (30.0, -7.0))
    known = shapely.Polygon(found.known)  # words and bars stand outside it
    assert area(found.black).symmetric_difference(truth & known).area < 1e-5 * truth.area
    assert known.area > 0.6 * shapely.Polygon(found.sheet).area


def test_the_print_of_a_bent_card_lies_where_its_corners_do(camera):
    card = CARDS["A4"]
    sheet = camera.Sheet("A4", bend=camera.Bend(curl=1.0, along=30.0, bulge=0.5))
    eye = np.array([160.0, 40.0, 330.0])

    def seen(places):
        """Where the eye sees the bent sheet on a plane 1.6 mm above it: similar triangles."""
        world = sheet.world(places)
        return eye[:2] + (world[:, :2] - eye[:2]) * ((eye[2] - 1.6) / (eye[2] - world[:, 2]))[:, None]

    ids = card.corner_ids
    found = print_of(CardLying("A4", ids[::2], seen(card.corners(ids[::2])))).black
    flat = print_of(CardLying("A4", ids, card.corners(ids))).black
    off = np.hypot(*(found.reshape(-1, 2) - seen(flat.reshape(-1, 2))).T)
    assert off.max() < 0.05


def test_a_line_of_print_covers_as_much_of_its_pixels_as_it_does():
    corners = np.array([[[10.25, 4.5], [14.75, 4.5], [14.75, 30.5], [10.25, 30.5]]])
    drawn = print_shares((30, 40), corners, 0.0)
    # from -0.5: pixels 11 to 14 are whole, 10 and 15 a quarter
    assert np.abs(drawn[15, 9:17] / 255 - [0, 0.25, 1, 1, 1, 1, 0.25, 0]).max() <= 0.26
    assert abs(drawn.sum() / 255 - 4.5 * 26) < 0.06 * 4.5 * 26


@pytest.mark.parametrize("low, refused", [(-3.0, False), (-0.1, True)])
def test_an_edge_along_the_rim_of_the_paper_is_refused(boards, low, refused):
    """Where a board reaches over the card, the paper's own edge can pass for the board's."""
    scene, seen, printed = on_squares(boards, 2, mask="blue")
    paper = np.array([[-5.0, low], [45.0, low], [45.0, 31.0], [-5.0, 31.0]])
    printed = Print(printed.black, printed.known, paper)
    if refused:
        with pytest.raises(JobError, match="runs along the rim of the reference card's paper; lay the whole"):
            find_outline(seen, 1.6, scene.eye, "edge", printed)
    else:
        found, _, _ = find_outline(seen, 1.6, scene.eye, "edge", printed)
        assert error(found.polygon, NOTCHED) <= 0.3


@pytest.mark.parametrize("seed", [931, 951])
def test_an_outline_with_the_known_print_on_both_sides_is_refused(boards, bench, seed):
    """A notch whose wall lies along a black square: the square's rim was taken for the board's, 4 mm off."""
    scene = bench.scene(boards, seed)
    pixels, origin = boards.picture_of(scene)
    seen = Picture(scene.per_mm, origin, (pixels.shape[1], pixels.shape[0]), lambda: pixels)
    printed = bench.printed(boards, scene, pixels, origin)
    try:
        found, pieces, _ = find_outline(seen, scene.thickness, scene.eye, "edge", printed)
    except JobError as fault:
        assert "unclear" in str(fault)
    else:
        assert error(found.polygon, scene.board) <= 2.45 * pieces.spread
