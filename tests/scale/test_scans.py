"""Scale by dpi, placing, and caliper checks."""

import numpy as np
import pytest
from PIL import Image

from trimgeo.errors import JobError
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale import read_views
from trimgeo.scale.place import placed

INCH = 25.4


def read(scenes, tmp_path, **view):
    if "image" not in view:
        view["image"] = scenes.blank(tmp_path / "front.png")
    view.setdefault("scale", scenes.dpi(254.0))
    (seen,) = read_views(scenes.job(tmp_path, **view), None)
    return seen


def test_a_straight_scan_has_y_up_from_its_origin(scenes, tmp_path):
    view = read(scenes, tmp_path, place=scenes.place((50, 250), (350, 250)))
    assert np.allclose(view.to_board.to_mm([[50, 250], [150, 50]]), [[0, 0], [10, 20]])


def test_the_x_axis_of_a_bottom_view_runs_to_the_viewers_left(scenes, tmp_path):
    view = read(scenes, tmp_path, shows="bottom", place=scenes.place((350, 250), (50, 250)))
    assert np.allclose(view.to_board.to_mm([[350, 250], [250, 50]]), [[0, 0], [10, 20]])
    assert view.warnings == ()


def test_a_bottom_view_placed_to_the_right_is_warned_about(scenes, tmp_path):
    view = read(scenes, tmp_path, shows="bottom", place=scenes.place((50, 50), (350, 50)))
    assert any("standing on its head" in text for text in view.warnings)
    assert np.allclose(view.to_board.to_mm([[50, 50], [150, 250]]), [[0, 0], [10, 20]])


def test_a_skew_scan_is_turned_straight(scenes, tmp_path):
    turn = np.radians(3.0)
    along = np.array([50, 250]) + 300 * np.array([np.cos(turn), -np.sin(turn)])
    view = read(scenes, tmp_path, place=scenes.place((50, 250), along))
    up = np.array([50, 250]) + 100 * np.array([-np.sin(turn), -np.cos(turn)])
    assert np.allclose(view.to_board.to_mm([along, up]), [[30, 0], [0, 10]])


def test_x_and_y_may_differ(scenes, tmp_path):
    view = read(scenes, tmp_path, scale=scenes.dpi((508.0, 254.0)), place=scenes.place((0, 299), (399, 299)))
    assert np.allclose(view.to_board.to_mm([[200, 199]]), [[10, 10]])
    assert view.picture.pixels_per_mm == pytest.approx(10.0)  # the thinner direction: nothing is invented


@pytest.mark.parametrize(
    ("shows", "pixel"), [("top", (-0.5, 299.5)), ("bottom", (399.5, 299.5)), (2, (-0.5, 299.5))]
)
def test_without_a_place_the_lower_left_corner_is_the_origin_and_a_warning_says_so(
    scenes, tmp_path, shows, pixel
):
    view = read(scenes, tmp_path, shows=shows)
    assert np.allclose(view.to_board.to_mm([pixel]), [[0, 0]])
    assert (view.to_board.to_mm([[0, 0], [399, 0], [0, 299], [399, 299]]) > 0).all()
    assert any("no `place`" in text for text in view.warnings)


def test_placing_carries_the_covariance_that_differences_give(scenes):
    covariance = np.diag([1e-8, 1e-9, 1e-4, 1e-9, 1e-8, 2e-4, 1e-16, 1e-16, 0])
    start = np.array([[0.1, 0.002, 3], [0.001, -0.1, 40], [1e-6, -2e-6, 1]])
    pixels = np.array([30.0, 260, 380, 240])
    inputs = np.concatenate([start.ravel(), pixels])
    where = np.array([[200.0, 100]])

    def position(values):
        scaled = PlaneMap(values[:9].reshape(3, 3), np.zeros((9, 9)))
        return placed(scaled, tuple(values[9:11]), tuple(values[11:])).to_mm(where)[0]

    steps = np.concatenate([np.abs(start.ravel()) * 1e-5, np.full(4, 1e-4)])  # judge: central differences
    slope = np.array(
        [(position(inputs + d) - position(inputs - d)) / (2 * d.sum()) for d in np.diag(steps)]
    ).T
    full = np.zeros((13, 13))
    full[:9, :9], full[9:, 9:] = covariance, 0.25 * np.eye(4)
    ours = placed(PlaneMap(start, covariance), tuple(pixels[:2]), tuple(pixels[2:])).position_covariance(
        where
    )[0]
    assert np.allclose(ours, slope @ full @ slope.T, rtol=1e-5)


def test_a_scanner_unsure_of_its_scale_is_allowed_for(scenes, tmp_path):
    # ISPRS Congress XVIII: 0.25 mm systematic over 150 x 220 mm
    name = scenes.blank(tmp_path / "large.png", (1772, 1772))
    view = read(
        scenes, tmp_path, image=name, scale=scenes.dpi(300.0), place=scenes.place((0, 1771), (1771, 1771))
    )
    over_the_side = 2 * view.to_board.standard_uncertainty([[1771, 1771]])[0]
    assert 0.25 <= over_the_side <= 0.30
    assert "0.25 mm" in view.note and "nothing was checked" in view.note


SAVED = {
    "png": {"dpi": (300, 300)},
    "jpg": {"dpi": (300, 300)},
    "tif": {"dpi": (300, 300)},
    "bmp": {"dpi": (300, 300)},
}


@pytest.mark.parametrize("ending", SAVED)
def test_the_resolution_is_taken_from_the_file_and_said(scenes, tmp_path, ending):
    name = scenes.blank(tmp_path / f"scan.{ending}", **SAVED[ending])
    view = read(scenes, tmp_path, image=name, scale=scenes.dpi(), place=scenes.place((0, 299), (399, 299)))
    assert view.to_board.to_mm([[300, 299]])[0, 0] == pytest.approx(INCH, rel=1e-4)
    assert "300 dpi, read from the file" in view.note


def test_resolution_in_centimetres_and_by_exif_is_understood(scenes, tmp_path):
    exif = Image.Exif()
    exif[282], exif[283], exif[296] = 100.0, 200.0, 3
    name = scenes.blank(tmp_path / "scan.webp", exif=exif)
    view = read(scenes, tmp_path, image=name, scale=scenes.dpi(), place=scenes.place((0, 299), (399, 299)))
    assert np.allclose(view.to_board.to_mm([[100, 99]]), [[10, 10]])


def test_the_resolution_turns_with_the_picture(scenes, tmp_path):
    exif = Image.Exif()
    exif[274] = 6
    name = scenes.blank(tmp_path / "scan.jpg", exif=exif, dpi=(508, 254))
    view = read(scenes, tmp_path, image=name, scale=scenes.dpi(), place=scenes.place((0, 399), (299, 399)))
    assert np.allclose(view.to_board.to_mm([[100, 199]]), [[10, 10]])


@pytest.mark.parametrize(
    ("save", "asked", "words"),
    [
        ({}, "file", 'found no resolution in "front.png"'),
        ({"dpi": (72, 72)}, "file", "which programs write where they know none"),
        ({"dpi": (96, 96)}, "file", "dpi = 96 if it is true"),
        ({"dpi": (1, 1)}, "file", "dpi, which no scanner makes"),
        ({}, 1.0, "found 1 dpi, which no scanner makes"),
        ({}, 60000.0, "found 60000 dpi, which no scanner makes"),
        ({}, (300.0, 2.0), "found 2 dpi, which no scanner makes"),
    ],
)
def test_a_resolution_that_says_nothing_is_refused_with_the_fix(scenes, tmp_path, save, asked, words):
    name = scenes.blank(tmp_path / "front.png", **save)
    with pytest.raises(JobError, match=r'"front", scale\.dpi') as refused:
        read(scenes, tmp_path, image=name, scale=scenes.dpi(asked))
    assert words in str(refused.value)


def test_a_camera_does_not_know_the_scale_of_a_board(scenes, tmp_path):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[37386] = 4.2  # focal length
    name = scenes.blank(tmp_path / "photo.jpg", exif=exif, dpi=(300, 300))
    with pytest.raises(JobError, match="resolution of a camera"):
        read(scenes, tmp_path, image=name, scale=scenes.dpi())
    view = read(scenes, tmp_path, image=name, scale=scenes.dpi(300.0))
    assert any("comes from a camera" in text for text in view.warnings)


PLACE = ((0, 299), (399, 299))


def test_checks_that_agree_change_nothing(scenes, tmp_path):
    plain = read(scenes, tmp_path, place=scenes.place(*PLACE))
    agreed = read(
        scenes, tmp_path, place=scenes.place(*PLACE), checks=(scenes.check((10, 10), (310, 10), 30.05),)
    )
    assert agreed.checks[0].measured == pytest.approx(30.0)
    assert agreed.checks[0].error == pytest.approx(-0.05)
    assert agreed.uncertainty == plain.uncertainty and agreed.warnings == ()


def test_a_check_that_disagrees_widens_the_bound_until_it_is_explained(scenes, tmp_path):
    place = scenes.place(*PLACE)
    wrong = scenes.check((0, 299), (300, 299), 31.0)
    view = read(scenes, tmp_path, place=place, checks=(scenes.check((0, 10), (200, 10), 20.0), wrong))
    assert any("check 2 of 31 mm measures 30.00 mm" in text and "-1.00 mm" in text for text in view.warnings)
    assert 2 * view.to_board.standard_uncertainty([[300, 299]])[0] >= 1.0  # origin to the end of that check
    assert 1.0 < view.uncertainty < 4.0


@pytest.mark.parametrize(
    ("lengths", "words"),
    [
        (
            (34.0,),
            "checks 1: found a length of 34 mm where the picture shows 30.00 mm, 12 % off; correct `dpi`",
        ),
        (
            (60.0, 40.0),
            "checks 1: found a length of 60 mm where the picture shows 30.00 mm, 50 % off; all its",
        ),
        (
            (30.0, 27.0),
            "checks 2: found a length of 27 mm where the picture shows 20.00 mm, 26 % off; others",
        ),
    ],
)
def test_a_check_a_tenth_off_is_refused_with_its_likely_cause(scenes, tmp_path, lengths, words):
    checks = [scenes.check((10, 10), (310 - 100 * n, 10), mm) for n, mm in enumerate(lengths)]
    with pytest.raises(JobError) as refused:
        read(scenes, tmp_path, place=scenes.place(*PLACE), checks=tuple(checks))
    assert words in str(refused.value) and '"front"' in str(refused.value)


def test_a_check_less_than_a_tenth_off_widens_the_bound(scenes, tmp_path):
    view = read(
        scenes, tmp_path, place=scenes.place(*PLACE), checks=(scenes.check((10, 10), (310, 10), 33.0),)
    )
    assert view.uncertainty > 2.0 and view.doubt.startswith("check 1 of 33 mm measures 30.00 mm")


@pytest.mark.parametrize(
    ("view", "words"),
    [
        ({"checks": ((10, 10), (400, 10), 30.0)}, "checks 1, to: found pixel [400, 10], off the picture"),
        ({"checks": ((10, 10), (10, 10), 30.0)}, "checks 1: found both ends at one pixel"),
        ({"place": ((10, 300), (300, 200))}, "place.origin: found pixel [10, 300], off the picture"),
        ({"place": ((10, 200), (12, 200))}, "found `along` only 2.0 pixels from `origin`"),
    ],
)
def test_pixels_that_cannot_be_used_are_refused_by_name(scenes, tmp_path, view, words):
    given = {key: (scenes.check(*v),) if key == "checks" else scenes.place(*v) for key, v in view.items()}
    with pytest.raises(JobError) as refused:
        read(scenes, tmp_path, **given)
    assert words in str(refused.value)


def test_points_in_a_frame_of_their_own_are_placed_by_origin_and_along(scenes, tmp_path):
    scale = scenes.points([[100, 100], [200, 100]], [[0, 0], [10, 0]])
    view = read(scenes, tmp_path, scale=scale, place=scenes.place((50, 250), (50, 150)))
    assert np.allclose(view.to_board.to_mm([[50, 250], [50, 150], [20, 250]]), [[0, 0], [10, 0], [0, 3]])
