"""A height told wrong, seen by two photos of a board that lay still: the simulated camera is the truth."""

import importlib.util
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import trimgeo
from trimgeo.scale import read_views
from trimgeo.scale.agreeing import Lying, axis_of, height_doubted, listed
from trimgeo.scale.cardfit import fit_cards
from trimgeo.scale.registration import Spots


def load(name):
    path = Path(__file__).parents[1] / "bench" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


FITS, PHOTOS = load("card_fits"), load("card_photos")
CAMERA = FITS.simulated()
AXIS = np.array([[0.0, 0.0], [150.0, 0.0]])


def two_photos(seed, **drawn):
    scene = CAMERA.random_scene(seed, tilt=18.0, **drawn)
    return [scene, *CAMERA.more_views(scene, 1, tilt=4.0)]


def wrong(height, by):
    return tuple((p, mm + by) for p, mm in height) if isinstance(height, tuple) else height + by


def doubt(scenes, by=(0.0, 0.0), seen=None):
    """What two photos say whose heights are told wrong ``by`` mm; ``seen``: board places read off in both."""
    shots = [FITS.shot_of(scene, taken_by="one") for scene in scenes]
    shots = [
        replace(s, bars=shots[0].bars, height=wrong(s.height, e)) for s, e in zip(shots, by, strict=True)
    ]
    fits = fit_cards(shots, ["photo"] * 2)
    one, other = (
        Lying(str(n), fit.to_card, shot.height, fit.slopes, fit.bent)
        for n, (fit, shot) in enumerate(zip(fits, shots, strict=True))
    )
    at = AXIS if seen is None else seen
    read = [scene.read_off(at) for scene in scenes]
    common = axis_of(one, read[0], other, read[1]) if seen is None else listed(Spots.read(*read, 0.5))
    return height_doubted(one, other, common, fits[0].covariance)


def test_a_height_told_wrong_for_both_photos_is_found_within_its_bound():
    for seed, by in ((1, 1.5), (2, -1.5), (3, 1.5)):
        found = doubt(two_photos(seed, heights=(2.0, 9.0)), (by, by))
        assert found is not None and found.here == found.there
        assert abs(found.here + by) <= found.reach < 1.0


def test_heights_that_are_right_are_not_doubted():
    assert [doubt(two_photos(seed)) for seed in (1, 2, 3)] == [None] * 3


def test_a_height_told_wrong_for_one_photo_alone_is_found_in_that_one():
    found = doubt(two_photos(1, height=5.0), (0.0, 2.0))
    assert abs(found.here) <= found.reach and abs(found.there + 2.0) <= found.reach


def test_a_board_laid_anew_between_the_photos_says_nothing_of_its_height():
    for seed, by in ((3, 0.0), (4, 1.5)):
        first, second = two_photos(seed, heights=(2.0, 9.0))
        assert doubt([first, PHOTOS.moved(second, seed)], (by, by)) is None


def test_a_board_that_was_lifted_between_the_photos_and_said_to_is_not_doubted():
    first, second = two_photos(3, height=3.0)
    lifted = replace(second.body, at=second.body.at + np.array([0, 0, 4.0]))
    assert doubt([first, second.with_(body=lifted)]) is None


def test_one_of_three_heights_told_wrong_is_found_where_four_spots_are_shared():
    scenes = two_photos(2, crooked=4.0, heights=(15.0, 20.0))
    spots = np.array([[5.0, 5.0], [140.0, 10.0], [145.0, 90.0], [10.0, 85.0], [75.0, 50.0]])
    assert doubt(scenes, seen=spots) is None
    found = doubt(scenes, (1.5, 1.5), seen=spots)
    assert abs(found.here + 1.5) <= 1.5 * found.reach


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """Two photos as files, and their scenes."""
    folder = tmp_path_factory.mktemp("photos")
    scenes = two_photos(6, size=(2000, 1500), height=4.0)
    for n, scene in enumerate(scenes):
        scene.save(folder / f"{n}.jpg")
    return folder, scenes


def asked(by):
    return PHOTOS.options(["--views", "2", "--size", "2000", "1500", "--wrong-height", str(by)])


def says_lower(warnings):
    return any("agree only if" in text and "lower above the card than said" in text for text in warnings)


@pytest.mark.parametrize(("by", "told"), [(0.0, False), (1.5, True)])
def test_a_job_with_two_photos_warns_of_a_wrong_height_and_allows_for_it(photos, by, told):
    folder, scenes = photos
    for (to_board, stated, warnings), scene in zip(
        PHOTOS.prepared(scenes, folder, asked(by)), scenes, strict=True
    ):
        assert says_lower(warnings) == told
        misses = to_board.to_mm(scene.pixels_of(PHOTOS.PLACES)) - PHOTOS.PLACES
        assert np.hypot(*misses.T).max() <= stated


def test_spots_that_place_one_photo_on_the_other_tell_a_wrong_height(photos):
    folder, scenes = photos
    spots = np.array([[5.0, 5.0], [140.0, 10.0], [145.0, 90.0], [10.0, 85.0]])
    there, pixels = (scene.read_off(spots).round(2).tolist() for scene in scenes)
    pairs = [f"{{ pixel = {p}, there = {q} }}" for p, q in zip(pixels, there, strict=True)]
    for by in (0.0, 1.5):
        first, second = (PHOTOS.view_table(n, scene, asked(by)) for n, scene in enumerate(scenes))
        second = re.sub(
            r"place = .*", f'place = {{ like = "photo-0", points = [{", ".join(pairs)}] }}', second
        )
        edge = "edge = [[0, 0], [150, 0], [150, 95], [0, 95]]"
        head = f'[job]\ntitle = "like"\n[board]\nthickness = 1.6\n{edge}\n'
        (folder / "like.toml").write_text(head + first + second)
        views = read_views(trimgeo.load(folder / "like.toml"), None)
        assert [says_lower(view.warnings) for view in views] == [by > 0] * 2
