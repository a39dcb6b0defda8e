"""Cards printed at half or twice their size: a world and its model photograph alike (similar figures)."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import trimgeo
from trimgeo.scale.by_card import by_cards, card_area
from trimgeo.scale.source import open_source


def load(name):
    path = Path(__file__).parents[1] / "bench" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


PHOTOS = load("card_photos")


@pytest.fixture(scope="module")
def scene():
    return PHOTOS.simulated().random_scene(6, size=(1600, 1200), height=4.0, tilt=14.0)


@pytest.fixture(scope="module")
def folder(scene, tmp_path_factory):
    made = tmp_path_factory.mktemp("sizes")
    scene.save(made / "photo.jpg")
    return made


def prepared(scene, folder, times, more=""):
    """The view of a photo whose world is so many times as large as that of the scene."""
    bars, height = [round(times * bar, 3) for bar in scene.bars], times * scene.height_read()
    corners = times * np.array([[0, 0], [150, 0], [150, 95], [0, 95]])
    origin, along = scene.read_off(np.array([[0.0, 0.0], [150.0, 0.0]])).round(2).tolist()
    text = f'[job]\ntitle = "sizes"\n[board]\nthickness = 1.6\nedge = {corners.tolist()}\n'
    text += f'[[view]]\nname = "photo"\nimage = "photo.jpg"\nshows = "top"\n{more}\n'
    text += f'scale = {{ card = "{scene.sheet.paper}", height = {height}, bars = {bars} }}\n'
    text += f"place = {{ origin = {origin}, along = {along} }}\n"
    (folder / "job.toml").write_text(text)
    return trimgeo.prepare(trimgeo.load(folder / "job.toml"))


@pytest.mark.parametrize("times", [0.45, 2.4])
def test_a_card_printed_small_or_large_is_as_true_as_one_of_its_own_size(scene, folder, times):
    (own,), (view,) = (prepared(scene, folder, each).views for each in (1.0, times))
    misses = view.to_board.to_mm(scene.pixels_of(PHOTOS.PLACES)) - times * PHOTOS.PLACES
    largest = np.hypot(*misses.T).max()
    assert largest <= view.uncertainty <= 1.02 * max(times, 1.0) * own.uncertainty
    assert not any("of its size" in text for text in own.warnings)
    assert any(f"printed at {100 * times:.0f} % of its size" in text for text in view.warnings)


def test_a_length_on_the_board_takes_the_doubt_off_a_large_print(scene, folder):
    ends = scene.read_off(np.array([[5.0, 5.0], [145.0, 5.0]])).round(2).tolist()
    check = f"checks = [{{ from = {ends[0]}, to = {ends[1]}, length = 280.0 }}]"
    (view,) = prepared(scene, folder, 2.0, check).views
    assert not any("of its size" in text or "check" in text for text in view.warnings)


def test_a_board_is_looked_for_on_all_of_a_card_of_twice_the_size(scene, folder):
    prepared(scene, folder, 2.0)
    (table,) = trimgeo.load(folder / "job.toml").view
    found = by_cards([(open_source(folder / "photo.jpg", "photo", "photo.jpg"), table, "photo")])
    left, low, right, high = card_area(found["photo"], mirrored=False).bounds
    assert (right - left, high - low) == pytest.approx((2 * 210 + 30, 2 * 297 + 30), abs=1)  # A4: ISO 216


@pytest.mark.parametrize(("times", "found"), [(0.3, "at least 40"), (2.6, "at most 250")])
def test_bars_that_no_card_has_are_refused_with_what_is_possible(scene, folder, times, found):
    with pytest.raises(trimgeo.JobError, match=rf"scale, bars, x: found .*{found}"):
        prepared(scene, folder, times)
