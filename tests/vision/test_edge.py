"""The board's edge in drawn pictures: truth is the polygon that was drawn, by a renderer of its own."""

import cv2
import numpy as np
import pytest
import shapely
import shapely.affinity

from trimgeo.errors import JobError
from trimgeo.model.board import Picture
from trimgeo.vision import edge
from trimgeo.vision.edge import find_edge, find_outline

NOTCHED = shapely.Polygon([(0, 0), (40, 0), (40, 26), (24, 26), (24, 21), (16, 21), (16, 26), (0, 26)])


def picture(boards, **how):
    scene = boards.Scene(**{"board": NOTCHED, "traces": 5, "margin": 6, **how})
    pixels, origin = boards.picture_of(scene)
    return Picture(scene.per_mm, origin, (pixels.shape[1], pixels.shape[0]), lambda: pixels)


def error(found, truth):
    dense = [shapely.segmentize(shape.exterior, 0.05) for shape in (found, truth)]
    return shapely.hausdorff_distance(*dense)


@pytest.mark.parametrize(
    "mask, ground", [("green", "light lid"), ("blue", "dark lid"), ("white", "dark lid")]
)
def test_a_scanned_board_with_a_notch_is_found_within_a_tenth_of_a_millimetre(boards, mask, ground):
    found, _, _ = find_outline(picture(boards, mask=mask, background=ground), 1.6, None, "edge")
    assert error(found.polygon, NOTCHED) <= 0.1


def test_the_sides_are_those_of_the_shown_face_and_not_of_the_wall_below_it(boards):
    eye = (90.0, -40.0, 300.0)
    size = eye[2] / (eye[2] + 1.6)  # similar triangles: the far face is seen smaller about the camera's foot
    far = shapely.affinity.scale(NOTCHED, size, size, origin=eye[:2])
    found, _, _ = find_outline(picture(boards, eye=eye), 1.6, eye, "edge")
    assert error(found.polygon, NOTCHED) <= 0.1
    assert error(found.polygon.union(far), NOTCHED) > 0.3  # the wall stands out by as much


def test_a_rounded_corner_is_an_arc_of_its_radius(boards):
    rounded = shapely.box(0, 0, 40, 26).buffer(-4, quad_segs=128).buffer(4, quad_segs=128)
    found, _, _ = find_outline(picture(boards, board=rounded, background="dark lid"), 1.6, None, "edge")
    assert len(found.circles) == 4
    assert all(abs(circle.radius - 4) <= 0.15 for circle in found.circles)
    assert error(found.polygon, rounded) <= 0.1


@pytest.mark.parametrize("ground, mask", [("light lid", "green"), ("table", "red")])
def test_the_stated_uncertainty_covers_the_worst_place(boards, ground, mask):
    found, pieces, _ = find_outline(picture(boards, background=ground, mask=mask), 1.6, None, "edge")
    # 2.45 standard uncertainties in one direction hold 95 % in two (chi-square table)
    assert error(found.polygon, NOTCHED) <= 2.45 * pieces.spread <= 0.5


@pytest.mark.parametrize("part", [(200, 205, 205), (70, 66, 64)])
def test_a_part_beside_a_notch_is_none_though_it_is_nearly_of_the_grounds_colour(part):
    """On the scanner's lid a light part, on black and white squares a grey one that is neither."""
    light = part[0] > 100
    pixels = np.full((380, 520, 3), 214 if light else 36, np.float32)
    if not light:
        squares = np.add.outer(np.arange(380) // 100, np.arange(520) // 100) % 2 == 0
        pixels[squares] = 232
    ground = pixels.copy()
    pixels[90:290, 80:440] = (62, 96, 30)
    pixels[110:150, 270:330] = part
    pixels[90:130, 230:290] = ground[90:130, 230:290]
    pixels = cv2.GaussianBlur(pixels, (0, 0), 1.0) + np.random.RandomState(0).normal(0, 1.5, pixels.shape)
    shown = np.clip(np.round(pixels), 0, 255).astype(np.uint8)
    seen = Picture(10.0, (0.0, 379.0), (520, 380), lambda: shown)
    # photographed from far above its middle: no side wall is seen
    eye = None if light else (26.0, 19.0, 1e6)
    found, pieces, _ = find_outline(seen, 1.6, eye, "edge")
    board = shapely.box(7.95, 8.95, 43.95, 28.95).difference(  # between pixel centres, as drawn
        shapely.box(22.95, 24.95, 28.95, 29.95)
    )
    assert error(found.polygon, board) <= min(0.1, 2.45 * pieces.spread)


def test_a_picture_of_plain_paper_is_refused_with_what_to_do():
    paper = Picture(10.0, (0.0, 299.0), (300, 300), lambda: np.full((300, 300, 3), 230, np.uint8))
    with pytest.raises(JobError, match="no board can be told from its background"):
        find_edge(paper, 1.6, where="view front")


def test_a_board_that_runs_out_of_the_picture_is_refused():
    pixels = np.full((300, 400, 3), 235, np.uint8)
    pixels[50:250, 160:] = (60, 110, 40)
    cut = Picture(10.0, (0.0, 299.0), (400, 300), lambda: pixels)
    with pytest.raises(JobError, match="view front: "):
        find_edge(cut, 1.6, where="view front")


def test_an_outline_that_is_doubtful_all_around_is_refused():
    few = np.zeros((edge.MOST_ODD, 2))
    edge._refuse_many(few, "here")
    with pytest.raises(
        JobError, match=r"here: the board's edge is unclear at 31 places of the picture; photo"
    ):
        edge._refuse_many(np.zeros((edge.MOST_ODD + 1, 2)), "here")
