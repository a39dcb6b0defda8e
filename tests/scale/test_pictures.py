"""Pictures of every format and turning, odd names, and what cannot be opened."""

import os
import subprocess
import sys

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from trimgeo.errors import JobError
from trimgeo.scale import read_views
from trimgeo.scale.rectify import picture, stored_from_shown
from trimgeo.scale.source import open_source


def drawn(columns=60, rows=40):
    """Smooth and different in each corner and channel, red-green-blue."""
    u, v = np.meshgrid(np.linspace(0, 1, columns), np.linspace(0, 1, rows))
    return np.stack([255 * u, 255 * v, 255 * u * (1 - v)], axis=2).astype(np.uint8)


def read(scenes, folder, name, place=True, **view):
    columns, rows = view.pop("size", (60, 40))
    if place:
        view["place"] = scenes.place((0, rows - 1), (columns - 1, rows - 1))
    (seen,) = read_views(scenes.job(folder, image=name, scale=scenes.dpi(254.0), **view), None)
    return seen


def rgb(view):
    return view.picture.pixels[:, :, ::-1]


def test_a_straight_scan_comes_out_pixel_for_pixel(scenes, tmp_path):
    Image.fromarray(drawn()).save(tmp_path / "scan.png")
    view = read(scenes, tmp_path, "scan.png")
    assert view.picture.pixels_per_mm == 10.0 and view.picture.size == (60, 40)
    assert np.array_equal(rgb(view), drawn())


FORMATS = {
    "scan.png": {},
    "scan.jpg": {"quality": 98, "subsampling": 0},
    "progressive.jpg": {"quality": 98, "subsampling": 0, "progressive": True},
    "scan.tif": {},
    "lzw.tif": {"compression": "tiff_lzw"},
    "deflate.tif": {"compression": "tiff_adobe_deflate"},
    "scan.webp": {"lossless": True},
    "scan.bmp": {},
}


@pytest.mark.parametrize("name", FORMATS)
@pytest.mark.parametrize("mode", ["RGB", "L", "P", "CMYK", "RGBA", "1"])
def test_every_format_and_kind_of_colour_is_shown_as_pillow_shows_it(scenes, tmp_path, name, mode):
    image = Image.fromarray(drawn()).convert(mode)
    try:
        image.save(tmp_path / name, **FORMATS[name])
    except (OSError, KeyError, ValueError):
        assert (name.split(".")[1], mode) in {
            *(("jpg", m) for m in ("P", "RGBA")),
            *((form, "CMYK") for form in ("png", "webp", "bmp")),
        }
        return
    with Image.open(tmp_path / name) as again:
        judge = np.asarray(again.convert("RGB"), int)
    assert np.abs(rgb(read(scenes, tmp_path, name)).astype(int) - judge).max() <= 1


@pytest.mark.parametrize("name", ["deep.png", "deep.tif"])
def test_sixteen_bit_grey_becomes_eight_bits(scenes, tmp_path, name):
    deep = np.linspace(0, 65535, 2400).reshape(40, 60).astype(np.uint16)
    Image.fromarray(deep).save(tmp_path / name)
    assert np.array_equal(rgb(read(scenes, tmp_path, name))[:, :, 1], deep >> 8)


def test_sixteen_bit_colour_becomes_eight_bits(scenes, tmp_path):
    deep = drawn().astype(np.uint16) * 257
    cv2.imwrite(str(tmp_path / "deep.png"), deep[:, :, ::-1])  # writer that is not Pillow
    assert np.array_equal(rgb(read(scenes, tmp_path, "deep.png")), drawn())


def test_what_is_transparent_is_white(scenes, tmp_path):
    pixels = np.dstack([drawn(), np.zeros((40, 60), np.uint8)])
    pixels[10:20, 10:20, 3] = 255
    Image.fromarray(pixels).save(tmp_path / "copper.png")
    seen = rgb(read(scenes, tmp_path, "copper.png"))
    assert (seen[:9] == 255).all() and np.array_equal(seen[10:20, 10:20], drawn()[10:20, 10:20])


@pytest.mark.parametrize("name", ["moving.png", "moving.webp", "pages.tif"])
def test_of_several_frames_the_first_counts(scenes, tmp_path, name):
    frames = [Image.fromarray(drawn()), Image.new("RGB", (60, 40), "black")]
    frames[0].save(
        tmp_path / name,
        save_all=True,
        append_images=frames[1:],
        **({"lossless": True} if "webp" in name else {}),
    )
    assert np.array_equal(rgb(read(scenes, tmp_path, name)), drawn())


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("name", ["turned.jpg", "turned.png", "turned.tif", "turned.webp"])
def test_a_turned_picture_is_measured_as_a_viewer_shows_it(scenes, tmp_path, name, orientation):
    save = {"turned.jpg": {"quality": 98, "subsampling": 0}, "turned.webp": {"lossless": True}}.get(name, {})
    exif = Image.Exif()
    exif[274] = orientation
    Image.fromarray(drawn()).save(tmp_path / name, exif=exif, **save)
    with Image.open(tmp_path / name) as image:
        judge = np.asarray(ImageOps.exif_transpose(image).convert("RGB"), int)
    view = read(scenes, tmp_path, name, size=judge.shape[1::-1])
    assert view.to_board.size == judge.shape[1::-1] == view.picture.size
    assert np.abs(rgb(view).astype(int) - judge).max() <= 1
    column, row = (stored_from_shown(orientation, (60, 40)) @ [5, 7, 1])[:2].astype(int)
    assert np.abs(judge[7, 5] - drawn()[row, column]).max() <= 4


ODD = [
    "two words.png",
    "größe Ω 板.png",
    "50%.png",
    "a#b?.png",
    "%41.png",
    "-x.png",
    "it's.png",
    "..png",
]


@pytest.mark.parametrize("name", ODD)
def test_paths_with_odd_characters_are_opened(scenes, tmp_path, name):
    folder = tmp_path / "größe #1 50%"
    folder.mkdir()
    Image.fromarray(drawn()).save(folder / name, "PNG")
    assert np.array_equal(rgb(read(scenes, folder, name)), drawn())


def test_what_is_no_picture_is_refused_in_one_sentence(scenes, tmp_path):
    (tmp_path / "empty.png").touch()
    (tmp_path / "folder.png").mkdir()
    (tmp_path / "text.png").write_text("not a picture", "utf-8")
    os.mkfifo(tmp_path / "pipe.png")
    (tmp_path / "loop.png").symlink_to("loop.png")
    words = {
        "empty.png": "which is empty",
        "folder.png": "which is a folder",
        "text.png": "begins like no PNG",
        "pipe.png": "which is no plain file",
        "/dev/zero": "which is no plain file",
        "missing.png": 'found no file "missing.png"',
        "loop.png": "cannot be opened",
        "x" * 300 + ".png": "cannot be opened",
        "text.png/inside.png": "cannot be opened",
    }
    for name, expected in words.items():
        with pytest.raises(JobError) as refused:
            read(scenes, tmp_path, name)
        assert expected in str(refused.value) and '"front", image' in str(refused.value)
        assert "\n" not in str(refused.value) and str(tmp_path) not in str(refused.value)


def test_a_name_that_no_file_can_have_is_refused(tmp_path):
    with pytest.raises(JobError, match="cannot be opened"):
        open_source(tmp_path / "nul\0.png", "view", "nul.png")


def test_a_picture_over_four_hundred_megapixels_is_refused_by_its_header(scenes, tmp_path):
    Image.new("1", (20001, 20000)).save(tmp_path / "huge.png")
    with pytest.raises(JobError, match="20001 x 20000 pixels, more than 400 megapixels"):
        read(scenes, tmp_path, "huge.png", place=False)


def test_a_bottom_view_is_mirrored_into_the_frame_of_the_top_face(scenes, tmp_path):
    Image.fromarray(drawn()).save(tmp_path / "back.png")
    view = read(scenes, tmp_path, "back.png", place=False, shows="bottom")
    assert np.array_equal(rgb(view), drawn()[:, ::-1])


def test_a_mark_lies_where_the_true_scale_picture_says(scenes, tmp_path):
    """A disc drawn through a known camera is found at its board position, by its centroid."""
    camera = scenes.camera(12, 33, focal=900, size=(1000, 800))
    at = np.array([[5, 5], [95, 5], [95, 75], [5, 75.0]])
    columns, rows = np.meshgrid(np.arange(1000), np.arange(800))
    back = np.linalg.inv(camera)
    mm = scenes.seen(back, np.column_stack([columns.ravel(), rows.ravel()])).reshape(800, 1000, 2)
    grey = np.where(np.hypot(mm[:, :, 0] - 62, mm[:, :, 1] - 31) < 6, 0, 255).astype(np.uint8)
    Image.fromarray(grey).save(tmp_path / "photo.png")
    scale = scenes.points(scenes.seen(camera, at), at)
    (view,) = read_views(scenes.job(tmp_path, image="photo.png", scale=scale), None)
    dark = 255.0 - view.picture.pixels[:, :, 0]
    row, column = (np.average(grid, weights=dark) for grid in np.indices(dark.shape))
    x = (column - view.picture.origin[0]) / view.picture.pixels_per_mm
    y = (view.picture.origin[1] - row) / view.picture.pixels_per_mm
    assert (x, y) == pytest.approx((62, 31), abs=0.05)
    area = (dark / 255).sum() / view.picture.pixels_per_mm**2
    assert area == pytest.approx(np.pi * 36, rel=0.02)


def test_the_picture_shows_the_board_and_ten_millimetres_round_it(scenes, tmp_path):
    from shapely import box

    scenes.blank(tmp_path / "scan.png", (2000, 1500))
    job = scenes.job(
        tmp_path, image="scan.png", scale=scenes.dpi(254.0), place=scenes.place((500, 1200), (900, 1200))
    )
    (view,) = read_views(job, box(0, 0, 100, 80))
    (columns, rows), (ox, oy) = view.picture.size, view.picture.origin
    assert (-ox / 10, (columns - 1 - ox) / 10) == pytest.approx((-10, 110), abs=0.11)
    assert ((oy - rows + 1) / 10, oy / 10) == pytest.approx((-10, 90), abs=0.11)


def test_no_picture_has_more_pixels_than_its_source_can_fill(scenes, tmp_path):
    scenes.blank(tmp_path / "scan.png", (2000, 400))
    turned = scenes.place((100, 390), (500, 10))  # the frame of a turned strip is mostly empty
    (view,) = read_views(scenes.job(tmp_path, image="scan.png", scale=scenes.dpi(254.0), place=turned), None)
    assert np.prod(view.picture.size) <= 2.1 * 2000 * 400
    assert view.picture.pixels_per_mm <= 10


def test_tiles_join_without_a_seam(scenes, tmp_path, monkeypatch):
    Image.fromarray(drawn(300, 200)).save(tmp_path / "scan.png")
    view = read(scenes, tmp_path, "scan.png", size=(290, 180))
    source = open_source(tmp_path / "scan.png", "", "scan.png")
    skew = scenes.place((20, 180), (280, 160))
    (view,) = read_views(scenes.job(tmp_path, image="scan.png", scale=scenes.dpi(254.0), place=skew), None)
    whole = view.picture.pixels
    monkeypatch.setattr("trimgeo.scale.rectify._TILE", 37)
    tiled = picture(source, view.to_board, None).pixels
    assert np.abs(whole.astype(int) - tiled).max() <= 1


def test_a_scan_longer_than_opencv_takes_in_one_piece_is_drawn(scenes, tmp_path):
    scenes.blank(tmp_path / "strip.png", (40000, 20), "L")
    view = read(scenes, tmp_path, "strip.png", size=(40000, 20))
    assert view.picture.pixels.shape == (20, 40000, 3)


def test_the_same_picture_gives_the_same_bytes(scenes, tmp_path):
    Image.fromarray(drawn()).save(tmp_path / "scan.png")
    first, second = (read(scenes, tmp_path, "scan.png") for _ in range(2))
    assert first.picture.pixels.tobytes() == second.picture.pixels.tobytes()
    assert first.uncertainty == second.uncertainty


@pytest.mark.parametrize(
    ("fault", "fix"),
    [
        ("ImportError('libGL.so.1: cannot open shared object file')", "libgl1 and libglib2.0-0"),
        (
            "ModuleNotFoundError('No module named cv2', name='cv2')",
            "install the Python package opencv-python",
        ),
    ],
)
def test_without_opencv_only_pixels_are_refused(scenes, tmp_path, fault, fix):
    Image.fromarray(drawn()).save(tmp_path / "scan.png")
    program = f"""
import sys, importlib.abc
class Broken(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name == "cv2":
            raise {fault}
sys.meta_path.insert(0, Broken())
from pathlib import Path
from trimgeo.errors import JobError
from trimgeo.model.capture import DpiScale, ViewTable
from trimgeo.model.job import About, BoardTable, Job
from trimgeo.scale import read_views
view = ViewTable(name="front", image="scan.png", shows="top", scale=DpiScale(dpi=254.0))
board = BoardTable(thickness=1.6, edge=((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)))
(view,) = read_views(Job(job=About(title="t"), board=board, view=(view,), folder=Path(sys.argv[1])), None)
print(view.to_board.to_mm([[0, 0]]).round(3).tolist())
try:
    view.picture.pixels
except JobError as error:
    print(error)
"""
    ran = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0 and ran.stderr == ""
    assert "[[0.05, 3.95]]" in ran.stdout and "needs OpenCV" in ran.stdout and fix in ran.stdout
