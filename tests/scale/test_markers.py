"""Corners of the card in pictures whose truth is known: OpenCV draws the card and the perspective."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from trimgeo.errors import JobError
from trimgeo.model.card import CARDS, RING
from trimgeo.scale.markers import find_corners

DENSITY = 20
SIZE = (2000, 1500)
FINER = 3


def drawn(paper: str) -> np.ndarray:
    """The sheet as OpenCV's own board draws it, DENSITY pixels a mm, its middle wiped."""
    card = CARDS[paper]
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    ids = card.first_id + np.arange(card.columns * card.rows // 2)
    board = cv2.aruco.CharucoBoard((card.columns, card.rows), card.square, 0.7 * card.square, dictionary, ids)
    wide, high = (round(n * card.square * DENSITY) for n in (card.columns, card.rows))
    squares = board.generateImage((wide, high), marginSize=0)
    ring = round(RING * card.square * DENSITY)
    squares[ring : high - ring, ring : wide - ring] = 255
    sheet = np.full([round(side * DENSITY) for side in card.size[::-1]], 255, np.uint8)
    x, y = (round(side * DENSITY) for side in card.origin)
    sheet[y : y + high, x : x + wide] = squares
    return sheet


def photographed(
    paper: str = "A4", turned: float = 70.0, tilt: float = 15.0, focal: float = 1500.0
) -> tuple[np.ndarray, np.ndarray]:
    """A picture by a camera without lens errors, and the homography from mm to its pixels."""
    card, (columns, rows) = CARDS[paper], SIZE
    a, b = np.radians([turned, tilt])
    spin = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    lean = np.array([[1, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
    rotation = lean @ spin @ np.diag([1.0, -1.0, -1.0])
    middle = rotation @ [card.size[0] / 2, card.size[1] / 2, 0]
    away = np.array([0, 0, 1.35 * card.size[1]])
    camera = np.array([[focal, 0, (columns - 1) / 2], [0, focal, (rows - 1) / 2], [0, 0, 1]])
    plane = camera @ np.column_stack([rotation[:, 0], rotation[:, 1], away - middle])
    from_sheet = np.array(
        [[1 / DENSITY, 0, 0.5 / DENSITY], [0, -1 / DENSITY, card.size[1] - 0.5 / DENSITY], [0, 0, 1]]
    )
    finer = np.array([[FINER, 0, (FINER - 1) / 2], [0, FINER, (FINER - 1) / 2], [0, 0, 1]])
    large = cv2.warpPerspective(
        drawn(paper), finer @ plane @ from_sheet, (columns * FINER, rows * FINER), borderValue=120
    )
    return cv2.resize(large, SIZE, interpolation=cv2.INTER_AREA), plane


def taken(picture: np.ndarray, blur: float = 0.8, noise: float = 2.0, quality: int = 0) -> np.ndarray:
    soft = 25 + picture.astype(np.float32) * (190 / 255)
    soft = cv2.GaussianBlur(soft, (0, 0), blur)
    soft += np.random.RandomState(0).standard_normal(soft.shape).astype(np.float32) * noise
    grey = np.clip(np.round(soft), 0, 255).astype(np.uint8)
    if quality:
        grey = cv2.imdecode(cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 0)
    return grey


def projected(plane: np.ndarray, mm: np.ndarray) -> np.ndarray:
    image = np.column_stack([mm, np.ones(len(mm))]) @ plane.T
    return image[:, :2] / image[:, 2:]


@pytest.fixture(scope="module")
def seen() -> tuple[np.ndarray, np.ndarray]:
    return photographed()


@pytest.mark.parametrize(
    ("how", "rms"),
    [({}, 0.015), ({"noise": 6.0}, 0.03), ({"quality": 60}, 0.03), ({"blur": 1.3}, 0.03)],
    ids=["clean", "noise", "jpeg", "blur"],
)
def test_corners_are_found_to_hundredths_of_a_pixel_and_their_uncertainty_is_honest(
    seen: tuple[np.ndarray, np.ndarray], how: dict[str, float], rms: float
) -> None:
    picture, plane = seen
    found = find_corners(taken(picture, **how), "A4", "view", "a.png")
    error = found.pixels - projected(plane, CARDS["A4"].corners(found.ids))
    assert len(found.ids) >= 150 and found.markers >= 100
    assert np.sqrt((error**2).mean()) < rms
    assert 0.4 < np.sqrt(((error / found.sigma[:, None]) ** 2).mean()) < 1.5


@pytest.mark.parametrize("turned", [3, 37, 160, 250])
def test_the_card_is_found_however_it_is_turned(turned: float) -> None:
    picture, plane = photographed("letter", turned)
    found = find_corners(taken(picture), "letter", "view", "a.png")
    error = found.pixels - projected(plane, CARDS["letter"].corners(found.ids))
    assert len(found.ids) >= 120 and np.abs(error).max() < 0.1


def test_strong_light_from_one_side_hides_no_corner(seen: tuple[np.ndarray, np.ndarray]) -> None:
    picture, plane = seen
    shade = np.linspace(0.15, 1, SIZE[0], dtype=np.float32)
    found = find_corners(taken((picture * shade).astype(np.uint8)), "A4", "view", "a.png")
    error = found.pixels - projected(plane, CARDS["A4"].corners(found.ids))
    assert len(found.ids) >= 140 and np.abs(error).max() < 0.25


@pytest.mark.parametrize(
    "cover",
    [
        [(0, 0), (105, 0), (105, 297), (0, 297)],
        [(10, 60), (190, 10), (205, 200), (30, 240)],
        [(24.3, 0), (164.2, 0), (164.2, 253), (24.3, 253)],
        [(0, 0), (210, 0), (210, 262), (0, 262)],
    ],
    ids=["half", "slanted", "beside corners", "all but one side"],
)
def test_a_cover_hides_corners_and_moves_none(
    seen: tuple[np.ndarray, np.ndarray], cover: list[tuple[float, float]]
) -> None:
    picture, plane = seen
    place = np.round(projected(plane, np.array(cover, float))).astype(np.int32)
    found = find_corners(taken(cv2.fillPoly(picture.copy(), [place], 60)), "A4", "view", "a.png")
    truth = projected(plane, CARDS["A4"].corners(found.ids))
    inside = [cv2.pointPolygonTest(place, (float(x), float(y)), True) > 1 for x, y in truth]
    assert len(found.ids) >= 30 and not any(inside)
    assert (np.abs(found.pixels - truth) < 5 * found.sigma[:, None] + 0.02).all()


def test_what_cannot_be_used_is_named(seen: tuple[np.ndarray, np.ndarray]) -> None:
    picture, plane = seen
    grey = taken(picture)
    nearly = np.round(projected(plane, np.array([(0, 0), (210, 0), (210, 255), (30, 297), (0, 297)], float)))
    covered = cv2.fillPoly(picture.copy(), [nearly.astype(np.int32)], 60)
    for bad, paper, words in (
        (np.ascontiguousarray(grey[:, ::-1]), "A4", "mirror image"),
        (grey, "A3", "the card for A4 in"),
        (np.hstack([grey, np.rot90(grey, 2)]), "A4", "two cards"),
        (np.full((300, 400), 255, np.uint8), "A4", "no reference card"),
        (np.zeros((1, 1), np.uint8), "A4", "no reference card"),
        (taken(covered), "A4", "corners in"),
    ):
        with pytest.raises(JobError, match=words):
            find_corners(bad, paper, "view", "a.png")


def test_a_soft_picture_is_said_to_be_soft(seen: tuple[np.ndarray, np.ndarray]) -> None:
    found = find_corners(taken(seen[0], blur=2.2), "A4", "view", "a.png")
    assert found.blur == pytest.approx(2.2, abs=0.3) and "soft" in found.warnings[0]
    assert find_corners(taken(seen[0]), "A4", "view", "a.png").warnings == ()
