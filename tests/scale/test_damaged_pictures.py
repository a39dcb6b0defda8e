"""Damaged pictures: one sentence or a picture of the stated size; never a traceback, nothing on stderr."""

import io
import os
import struct
import tempfile
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from trimgeo.errors import JobError
from trimgeo.scale import read_views

NOISE = np.random.default_rng(1).integers(0, 256, (48, 64, 3), dtype=np.uint8)


def saved(form, **save):
    out = io.BytesIO()
    Image.fromarray(NOISE).save(out, form, **save)
    return out.getvalue()


SOUND = [
    saved("PNG", dpi=(254, 254)),
    saved("JPEG"),
    saved("JPEG", progressive=True),
    saved("TIFF"),
    saved("TIFF", compression="tiff_lzw"),
    saved("TIFF", compression="tiff_adobe_deflate"),
    saved("TIFF", compression="jpeg"),
    saved("WEBP"),
    saved("WEBP", lossless=True),
    saved("BMP"),
]


def outcome(scenes, data):
    """The sentence, or the size of the picture; stderr is watched at the level of the process."""
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryFile() as heard:
        Path(folder, "front.png").write_bytes(data)
        kept = os.dup(2)
        os.dup2(heard.fileno(), 2)
        try:
            (view,) = read_views(scenes.job(folder, image="front.png", scale=scenes.dpi(254.0)), None)
            answer = view.picture.pixels.shape[:2] == view.picture.size[::-1]
        except JobError as error:
            answer = str(error)
        finally:
            os.dup2(kept, 2)
            os.close(kept)
        heard.seek(0)
        assert heard.read() == b""
    return answer


def judged(answer):
    assert answer is True or (answer.endswith(".") and answer.startswith("job.toml") and "\n" not in answer)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(SOUND), st.floats(0, 1))
def test_a_picture_that_was_cut_off_is_refused_or_shown(scenes, data, part):
    judged(outcome(scenes, data[: int(part * len(data))]))


@settings(max_examples=120, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from(SOUND),
    st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=6),
    st.booleans(),
)
def test_a_picture_with_wrong_bytes_is_refused_or_shown(scenes, data, changes, in_header):
    changed = bytearray(data)
    for place, value in changes:
        changed[int(place * (min(len(data), 200) if in_header else len(data)))] = value
    judged(outcome(scenes, bytes(changed)))


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.binary(max_size=300),
    st.sampled_from([b"", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"II*\0", b"RIFF", b"BM"]),
)
def test_bytes_that_only_begin_like_a_picture_are_refused(scenes, data, beginning):
    judged(outcome(scenes, beginning + data))


def chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def lying_png(columns, rows, data=b"\0" * 100):
    header = struct.pack(">IIBBBBB", columns, rows, 8, 2, 0, 0, 0)
    packed = chunk(b"IDAT", zlib.compress(data))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + packed + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("size", "words"),
    [
        ((100_000, 100_000), "more than 400 megapixels"),
        ((2**31 - 1, 2**31 - 1), "more than 400 megapixels"),
        ((0, 5), "image"),
        ((2000, 2000), "cut off or damaged"),
        ((19_000, 20_000), "cut off or damaged"),
    ],
)
def test_a_picture_that_lies_about_its_size_is_refused(scenes, size, words):
    assert words in outcome(scenes, lying_png(*size))


def test_one_wrong_byte_in_a_png_is_found_by_its_checksum(scenes):
    whole = SOUND[0]
    middle = whole.index(b"IDAT") + 2000
    damaged = whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :]
    assert "cut off or damaged" in outcome(scenes, damaged)


def test_half_a_jpeg_is_refused_and_not_filled_with_grey(scenes):
    assert "cut off or damaged" in outcome(scenes, SOUND[1][: len(SOUND[1]) // 2])


def test_a_photo_with_damaged_exif_is_shown_unturned(scenes):
    assert outcome(scenes, saved("JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\xff broken")) is True
