"""PNGs that carry their resolution, read back by Pillow and OpenCV."""

import io

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from PIL import Image

from trimgeo.drawing.png import encode_png


@given(
    arrays.arrays(np.uint8, st.tuples(st.integers(1, 40), st.integers(1, 40), st.just(3))),
    st.floats(0.001, 2000),
)
def test_the_pixels_come_back_in_opencv_and_in_pillow(pixels, per_mm):
    data = encode_png(pixels, per_mm)
    assert np.array_equal(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), pixels)
    with Image.open(io.BytesIO(data)) as image:
        assert np.array_equal(np.asarray(image)[:, :, ::-1], pixels)


def test_the_resolution_stands_in_the_file():
    with Image.open(io.BytesIO(encode_png(np.zeros((4, 5, 3), np.uint8), 11.811))) as image:
        assert image.size == (5, 4)
        assert image.info["dpi"] == pytest.approx((11.811 * 25.4, 11.811 * 25.4))


def test_a_picture_of_many_blocks_comes_back_whole_and_the_same_twice():
    pixels = np.random.default_rng(0).integers(0, 256, (1500, 1000, 3), dtype=np.uint8)
    data = encode_png(pixels, 10)
    assert np.array_equal(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), pixels)
    assert data == encode_png(np.asfortranarray(pixels), 10)


def test_a_drawn_picture_is_packed_about_as_well_as_opencv_packs_it():
    pixels = np.full((800, 800, 3), 240, np.uint8)
    for k in range(40):
        cv2.circle(pixels, (20 * k, 15 * k), 9, (30, 120, 60), 2)
    assert len(encode_png(pixels, 10)) < 2 * len(cv2.imencode(".png", pixels)[1])
