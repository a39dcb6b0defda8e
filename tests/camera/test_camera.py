"""The simulated camera is itself judged: by OpenCV's projection and drawing, and by centroids."""

import importlib.util
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
from PIL import Image, ImageOps

from trimgeo.model.card import CARDS, RING

SMALL = (1000, 750)


@pytest.fixture(scope="module")
def camera():
    spec = importlib.util.spec_from_file_location("camera_of_tests", Path(__file__).with_name("camera.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def plain(scene, **changes):
    """The same scene in even light, without noise."""
    light = replace(scene.light, gradient=(0, 0), vignette=0.0, shadow=None, glare=None, cast=(0.0, 0.0))
    return replace(scene, light=light, electrons=1e9, **changes)


def light_of(picture):
    """Linear light of a picture's green, by the inverse of the sRGB curve (IEC 61966-2-1)."""
    c = picture[:, :, 1] / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize("seed", range(6))
def test_board_positions_are_seen_where_opencv_projects_them(camera, seed):
    scene = camera.random_scene(seed, crooked=3.0, heights=(15, 40))
    held = replace(scene.camera, skew=0.0)  # OpenCV's lens has no skew
    at = np.random.default_rng(seed).uniform([0, 0], [150, 95], (200, 2))
    world = scene.body.world(at)
    (k1, k2, k3), (p1, p2) = held.radial, held.tangential
    matrix = np.array(
        [[held.focal, 0, held.centre[0]], [0, held.focal * (1 + held.aspect), held.centre[1]], [0, 0, 1]]
    )
    turn = cv2.Rodrigues(held.turn)[0]
    theirs = cv2.projectPoints(world, turn, -held.turn @ held.eye, matrix, np.array([k1, k2, p1, p2, k3]))[
        0
    ].reshape(-1, 2)
    assert np.abs(held.pixels(world) - theirs).max() < 1e-6


@pytest.mark.parametrize("seed", range(6))
def test_rays_back_from_true_pixels_meet_the_board_within_a_micrometre(camera, seed):
    scene = camera.random_scene(seed, bottom=bool(seed % 2))
    at = np.random.default_rng(seed).uniform([0, 0], [150, 95], (500, 2))
    assert np.abs(camera.board_positions(scene, scene.pixels_of(at)) - at).max() < 1e-6  # mm


@pytest.mark.parametrize("paper", CARDS)
def test_the_card_is_drawn_as_opencv_draws_its_boards(camera, paper):
    card, side = CARDS[paper], 100
    codes = np.arange(card.first_id, card.first_id + card.columns * card.rows // 2)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    board = cv2.aruco.CharucoBoard((card.columns, card.rows), 10.0, 7.0, dictionary, codes)
    theirs = board.generateImage((card.columns * side, card.rows * side))
    per_mm = side / card.square
    high = card.origin[1] + card.rows * card.square
    boxes = camera.black_boxes(paper)
    rings = np.stack(
        [(boxes[..., 0] - card.origin[0]) * per_mm - 0.5, (high - boxes[..., 1]) * per_mm - 0.5], axis=-1
    )
    ours = 255 * (1 - camera.covered([*rings], (0, 0, *theirs.shape[::-1])))
    drawn = np.ones((card.rows, card.columns), bool)
    drawn[RING:-RING, RING:-RING] = False
    assert np.abs(ours - theirs)[np.kron(drawn, np.ones((side, side), bool))].max() < 0.01


def test_a_slanting_polygon_covers_its_own_area_and_centroid(camera):
    ring = np.array([[10.3, 5.1], [30.7, 8.9], [25.2, 40.4], [12.8, 33.3]])
    share = camera.covered([ring], (0, 0, 50, 50)).astype(float)
    truth = shapely.Polygon(ring)  # GEOS is the judge
    rows, columns = np.mgrid[:50, :50]
    assert share.sum() == pytest.approx(truth.area, rel=1e-6)
    centre = np.array([(share * columns).sum(), (share * rows).sum()]) / share.sum()
    assert np.allclose(centre, truth.centroid.coords[0], atol=1e-4)


@pytest.mark.parametrize("blur", [0.7, 2.0])
def test_dots_are_rendered_where_they_are(camera, blur):
    at = np.stack(np.meshgrid(np.arange(15, 140, 20.0), np.arange(12, 90, 20.0)), axis=-1).reshape(-1, 2)
    dots = [camera.Paint(shapely.Point(p).buffer(3.0, quad_segs=32), (255, 255, 255)) for p in at]
    scene = plain(
        camera.random_scene(
            3, size=SMALL, paint=dots, traces=False, colour=(5, 5, 5), blur=blur, light="even", heights=(2, 3)
        )
    )
    picture = light_of(scene.render())
    for dot in dots:
        ring = scene.pixels_of(shapely.get_coordinates(dot.area)[:-1])
        truth = np.array(shapely.Polygon(ring).centroid.coords[0])
        left, top = np.round(truth).astype(int) - 22
        part = picture[top : top + 45, left : left + 45]
        weight = part - np.median(np.concatenate([part[0], part[-1]]))
        weight[weight < 0.01] = 0
        rows, columns = np.mgrid[:45, :45]
        found = np.array([(weight * columns).sum(), (weight * rows).sum()]) / weight.sum() + [left, top]
        assert np.abs(found - truth).max() < 0.02


def test_a_rolled_sheet_keeps_its_lengths_and_rises_by_its_sagitta(camera):
    bend = camera.Bend(curl=2.0, along=0.0)
    line = np.column_stack([np.linspace(0, 210, 20001), np.full(20001, 148.5)])
    places = bend.world(line, (210, 297))
    assert np.linalg.norm(np.diff(places, axis=0), axis=1).sum() == pytest.approx(210, abs=1e-4)
    assert np.ptp(places[:, 2]) == pytest.approx(2.0, rel=1e-3)


@pytest.mark.parametrize("seed", range(20))
def test_a_flat_card_lies_between_planes_a_tenth_of_a_millimetre_apart(camera, seed):
    scene = camera.random_scene(seed)
    places = scene.sheet.world(CARDS["A4"].corners(CARDS["A4"].corner_ids))
    base = np.column_stack([places[:, :2], np.ones(len(places))])
    off = places[:, 2] - base @ np.linalg.lstsq(base, places[:, 2], rcond=None)[0]
    assert np.ptp(off) <= 0.1
    assert scene.hidden <= 1 / 3


def test_a_thick_board_shows_the_wall_below_its_face_on_the_side_of_the_camera(camera):
    scene = plain(
        camera.random_scene(4, size=SMALL, traces=False, tilt=25, thickness=10, light="even", height=12.0)
    )
    face = shapely.Polygon(scene.pixels_of(scene.body.rings[0]))
    wall = scene.silhouette.difference(face.buffer(1.5)).buffer(-1.5)
    assert wall.area > 300  # pixels
    inside = shapely.contains_xy(wall, *np.meshgrid(np.arange(SMALL[0]), np.arange(SMALL[1])))
    thin = replace(scene, body=replace(scene.body, thickness=0.01))
    changed = np.abs(scene.render().astype(int) - thin.render().astype(int)).max(axis=2) > 2
    assert changed[inside].mean() > 0.95
    outside = shapely.contains_xy(
        scene.silhouette.buffer(5), *np.meshgrid(np.arange(SMALL[0]), np.arange(SMALL[1]))
    )
    assert not changed[~outside].any()


def test_the_same_seed_gives_the_same_picture_and_an_override_leaves_the_rest(camera):
    first, again = (camera.random_scene(5, size=SMALL) for _ in range(2))
    assert (first.render() == again.render()).all()
    curled = camera.random_scene(5, size=SMALL, curl=1.0)
    assert curled.camera.radial == first.camera.radial and curled.bars == first.bars


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_a_photo_taken_on_its_side_is_stored_so_that_viewers_turn_it_back(camera, tmp_path, orientation):
    scene = camera.random_scene(6, size=(400, 300))
    picture = scene.render()
    path = scene.save(tmp_path / "photo.png", picture, orientation=orientation)
    with Image.open(path) as stored:  # Pillow is the judge
        shown = np.asarray(ImageOps.exif_transpose(stored))[:, :, ::-1]
    assert (shown == picture).all()


def test_a_mirrored_picture_is_seen_mirrored(camera):
    scene = camera.random_scene(7, size=(400, 300))
    mirrored = replace(scene, mirrored=True)
    assert (mirrored.render()[:, ::-1] == scene.render()).all()
    at = scene.card_pixels([[20.0, 30.0]])[0]
    assert np.allclose(mirrored.card_pixels([[20.0, 30.0]])[0], [399 - at[0], at[1]])


def test_further_photos_show_the_same_things_by_the_same_lens_from_elsewhere(camera):
    scene = camera.random_scene(8, size=SMALL)
    for other in camera.more_views(scene, 2):
        assert other.bars == scene.bars and other.height_read() == scene.height_read()
        assert other.camera.radial == scene.camera.radial
        assert other.body is scene.body and other.sheet is scene.sheet
        assert np.linalg.norm(other.camera.eye - scene.camera.eye) > 1
        assert abs(other.camera.focal / scene.camera.focal - 1) <= 0.01
