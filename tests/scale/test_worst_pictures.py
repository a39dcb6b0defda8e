"""Fourteen of the worst pictures: refused in a sentence that says what to do, or answered within the bound.

The bench tests/bench/worst_pictures.py tries four hundred; truth comes from the renderer in tests/camera.
"""

import importlib.util
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def bench():
    path = TESTS / "bench" / "worst_pictures.py"
    spec = importlib.util.spec_from_file_location("worst_pictures_bench", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def row(bench):
    """What is made of one picture of a kind."""
    camera = bench.loaded(TESTS / "camera" / "camera.py")
    kinds = bench.loaded(Path(__file__).with_name("worst_scenes.py")).KINDS
    return lambda kind, seed: bench.tried(camera, kind, kinds[kind], seed)


@pytest.mark.parametrize(
    ("kind", "seed", "found"),
    [
        ("two cards", 1, "found two cards for A4"),
        ("wrong paper asked: letter", 2, 'found the card for A4 in "photo.jpg", not that for letter'),
        ("mirror image", 3, "found a mirror image of the card"),
        ("black", 0, "found no reference card"),
        ("1 x 4000 pixels", 0, "found no reference card"),
        ("animated GIF", 4, "which begins like no PNG, JPEG"),
        ("JPEG cut off near its end", 5, "which is cut off or damaged"),
        ("height negative", 6, "found -3; give a number of at least 0"),
    ],
)
def test_a_picture_that_gives_no_answer_is_refused_in_a_sentence(row, kind, seed, found):
    told = row(kind, seed)
    assert told["outcome"] == "refused", told
    assert found in told["told"][0]


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        ("covered: all but a third", 7),
        ("16-bit grey PNG", 8),
        ("video frame", 9),
        ("EXIF orientation 6 that lies", 10),
        ("JPEG of quality 5", 11),
        ("EXIF focal length 85 that lies", 12),
    ],
)
def test_a_bad_picture_that_still_shows_the_card_is_answered_within_its_bound(row, kind, seed):
    told = row(kind, seed)
    assert told["outcome"] == "right", told
    assert told["bound"] < 10  # mm: an answer, not a shrug
