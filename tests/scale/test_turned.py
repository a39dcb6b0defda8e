"""A second scan, turned on the glass, against scanners whose error is known (`scanned_faces`)."""

import importlib.util
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import trimgeo
from trimgeo.errors import JobError
from trimgeo.model.capture import DpiScale
from trimgeo.scale import read_views

GLASS = (90.0, 110.0)
FACE = (82.0, 100.0)
DPI = 150.0
MIDDLE = np.array(GLASS) / 2


def _loaded(name):
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


scanner = _loaded("scanned_faces")
FLAT = scanner.Lay(0.4, (45.2, 54.7))
OVER = scanner.Lay(182.1, (46.5, 53.0))


def halves(g):
    """The halves of the glass unequal by 0.6 %: a user's measurement."""
    return np.column_stack([0.003 * np.abs(g[:, 0] - MIDDLE[0] - 4), 0 * g[:, 1]])


def odd(g):
    """A bend that is odd about the middle of the glass, and hides from an exact half turn."""
    u = (g[:, 0] - MIDDLE[0]) / 45
    return np.column_stack([0.12 * (u**3 - 0.6 * u), 0 * g[:, 1]])


def stretched(g):
    return 0.001 * (g - MIDDLE)


def exact(g):
    return 0 * g


@pytest.fixture(scope="session")
def face():
    return scanner.blurred(scanner.drawn_face(FACE, 1), DPI)


@pytest.fixture(scope="session")
def other_face():
    return scanner.blurred(scanner.drawn_face(FACE, 2), DPI)


def scan(face, lay, error, seed, light=0.0):
    return scanner.scanned(face, GLASS, DPI, lay, error, seed, light)


@pytest.fixture(scope="session")
def upright(face):
    """The face as it lies, by a scanner without error."""
    return scan(face, FLAT, exact, 1)


@pytest.fixture(scope="session")
def bent_twice(face):
    """Both scans by the scanner with unequal halves."""
    return scan(face, FLAT, halves, 1), scan(face, OVER, halves, 2, light=0.2)


def grid():
    x, y = np.meshgrid(np.linspace(3, FACE[0] - 3, 15), np.linspace(3, FACE[1] - 3, 17))
    return np.column_stack([x.ravel(), y.ravel()])


def seen(scenes, folder, first, second, lay=FLAT, error=exact, turned="turned.png", **view):
    """The view, placed by the true pixels of the face's lower corners, and where the grid was taken."""
    Image.fromarray(first).save(folder / "scan.png")
    if second is not None:
        Image.fromarray(second).save(folder / "turned.png")
    ends = np.array([[3, FACE[1] - 3], [FACE[0] - 3, FACE[1] - 3]])
    place = scenes.place(*scanner.pixels(lay.on_glass(ends, FACE), error, DPI))
    scale = DpiScale(dpi=DPI, turned=turned)
    (read,) = read_views(scenes.job(folder, image="scan.png", scale=scale, place=place, **view), None)
    taken = scanner.pixels(lay.on_glass(grid(), FACE), error, DPI)
    return read, read.to_board.to_mm(taken), (grid() - ends[0]) * [1, -1]


@pytest.fixture(scope="session")
def straightened(scenes, tmp_path_factory, bent_twice):
    """The view of these scans, where it puts the grid, and where that is."""
    return seen(scenes, tmp_path_factory.mktemp("turned"), *bent_twice, error=halves)


def test_unequal_halves_of_a_scanner_are_taken_out(scenes, tmp_path, bent_twice, straightened):
    _, before, true = seen(scenes, tmp_path, *bent_twice, error=halves, turned=None)
    view, after, _ = straightened
    assert scanner.shape_error(before, true) > 0.02
    assert scanner.shape_error(after, true) < 0.008
    assert np.hypot(*(after - true).T).max() < view.uncertainty
    assert view.residual_rms < 0.06  # a third of a pixel
    assert view.warnings == ()


def test_a_bend_along_the_carriage_is_found_in_y_as_well(scenes, tmp_path, face):
    def error(g):
        return np.column_stack([0 * g[:, 0], 0.08 * np.cos((g[:, 1] - MIDDLE[1]) / 20)])

    first, second = scan(face, FLAT, error, 1), scan(face, OVER, error, 2)
    _, after, true = seen(scenes, tmp_path, first, second, error=error)
    assert scanner.affine_error(after, true) < 0.008


def test_a_bottom_face_is_mirrored_and_not_bent_the_other_way(scenes, tmp_path, bent_twice):
    Image.fromarray(bent_twice[0]).save(tmp_path / "scan.png")
    Image.fromarray(bent_twice[1]).save(tmp_path / "turned.png")
    scale = DpiScale(dpi=DPI, turned="turned.png")
    place = scenes.place((100, 600), (100 - 50, 600))
    (view,) = read_views(
        scenes.job(tmp_path, image="scan.png", scale=scale, place=place, shows="bottom"), None
    )
    taken = scanner.pixels(FLAT.on_glass(grid(), FACE), halves, DPI)
    assert scanner.shape_error(view.to_board.to_mm(taken) * [-1, 1], grid() * [1, -1]) < 0.008


def test_a_straight_scanner_stays_straight(scenes, tmp_path, face, upright):
    _, after, true = seen(scenes, tmp_path, upright, scan(face, OVER, exact, 2))
    assert scanner.rigid_error(after, true) < 0.01


@pytest.fixture(scope="session")
def stretched_twice(face):
    """Both scans by a scanner whose scale is off by 0.1 %."""
    return scan(face, FLAT, stretched, 1), scan(face, OVER, stretched, 2)


def test_an_even_error_of_scale_hides_and_is_in_the_bound(scenes, tmp_path, stretched_twice):
    view, after, true = seen(scenes, tmp_path, *stretched_twice, error=stretched)
    worst = np.hypot(*(after - true).T).max()
    assert worst > 0.08  # 0.1 % of 76 and 94 mm: no half turn shows it
    assert worst < view.uncertainty
    assert "an even error of scale hides from turning" in view.note


def lengths_on_it(scenes, lay, error, off=0.0):
    """Two lengths across the face as `checks`, their pixels true and their lengths off by so much."""
    ends = np.array([[[3, 50], [79, 50]], [[41, 5], [41, 95]]], dtype=float)
    seen_at = scanner.pixels(lay.on_glass(ends.reshape(-1, 2), FACE), error, DPI).reshape(2, 2, 2)
    true = np.hypot(*(ends[:, 1] - ends[:, 0]).T) + off
    return tuple(scenes.check(*both, length) for both, length in zip(seen_at, true, strict=True))


def test_lengths_by_caliper_show_the_even_scale_that_hides_from_turning(scenes, tmp_path, stretched_twice):
    bare, before, true = seen(scenes, tmp_path, *stretched_twice, error=stretched)
    checks = lengths_on_it(scenes, FLAT, stretched)
    view, after, _ = seen(scenes, tmp_path, *stretched_twice, error=stretched, checks=checks)
    assert scanner.rigid_error(after, true) < 0.85 * scanner.rigid_error(before, true)  # two pixels are read
    assert np.hypot(*(after - true).T).max() < view.uncertainty < bare.uncertainty
    assert "of it is left by the lengths in `checks`" in view.note


def test_a_length_that_no_scanner_explains_is_not_used_but_told(scenes, tmp_path, stretched_twice):
    bare, before, _ = seen(scenes, tmp_path, *stretched_twice, error=stretched)
    checks = lengths_on_it(scenes, FLAT, stretched, off=1.5)
    view, after, _ = seen(scenes, tmp_path, *stretched_twice, error=stretched, checks=checks)
    assert np.allclose(before, after)
    assert view.uncertainty > 2 * bare.uncertainty
    assert any("the uncertainty is widened" in text for text in view.warnings)


def test_a_bend_that_hides_from_an_exact_half_turn_is_in_the_bound(scenes, tmp_path, face):
    lay = scanner.Lay(0.0, tuple(MIDDLE))
    first = scan(face, lay, odd, 1)
    second = scan(face, scanner.Lay(180.0, tuple(MIDDLE)), odd, 2)
    view, after, true = seen(scenes, tmp_path, first, second, lay=lay, error=odd)
    assert scanner.affine_error(after, true) > 0.01
    assert np.hypot(*(after - true).T).max() < view.uncertainty
    assert any("lay the face a few degrees askew" in text for text in view.warnings)


def test_the_scale_of_a_scanner_is_counted_once(scenes, tmp_path, face, upright):
    alone, _, _ = seen(scenes, tmp_path, upright, None, turned=None)
    both, _, _ = seen(scenes, tmp_path, upright, scan(face, OVER, exact, 2))
    assert both.uncertainty < 1.5 * alone.uncertainty  # twice would be 0.25 mm over 150 mm and as much again


def test_the_note_says_what_was_done_and_what_is_left(straightened):
    view = straightened[0]
    for words in ("turned by 181.7 degrees", "patches agree to 0.0", "mm is taken out", "is allowed for"):
        assert words in view.note


def test_the_picture_at_true_scale_is_straightened_by_the_same_bends(face, straightened):
    view = straightened[0]
    drawn = cv2.cvtColor(view.picture.pixels, cv2.COLOR_BGR2GRAY).astype(np.float32)
    per_mm, origin = view.picture.pixels_per_mm, view.picture.origin
    row, column = np.mgrid[: drawn.shape[0], : drawn.shape[1]]
    x, y = (column - origin[0]) / per_mm, (origin[1] - row) / per_mm
    way = np.stack([x + 3, FACE[1] - 3 - y], axis=-1) * scanner.PER_MM - 0.5
    truth = cv2.remap(face, way.astype(np.float32), None, cv2.INTER_LINEAR).astype(np.float32)
    for top in (110, 260, 400):  # judge: OpenCV's own registration of windows (ECC)
        for left in (60, 200, 330):
            window = np.s_[top : top + 96, left : left + 96]
            still = np.eye(2, 3, dtype=np.float32)
            ends = (cv2.TERM_CRITERIA_COUNT, 50, 0)
            _, moved = cv2.findTransformECC(
                truth[window], drawn[window], still, cv2.MOTION_TRANSLATION, ends, None, 5
            )
            on_face = np.array([[x[top + 48, left + 48] + 3, FACE[1] - 3 - y[top + 48, left + 48]]])
            taken = scanner.pixels(FLAT.on_glass(on_face, FACE), halves, DPI)
            off = view.to_board.to_mm(taken)[0] - [x[top + 48, left + 48], y[top + 48, left + 48]]
            assert np.hypot(*(moved[:, 2] - off * per_mm * [1, -1])) < 0.1  # pixels; it was bent by 0.6


def test_the_same_scans_give_the_same_map(scenes, tmp_path, bent_twice, straightened):
    one, at, _ = straightened
    two, again, _ = seen(scenes, tmp_path, *bent_twice, error=halves)
    assert (at == again).all() and one.uncertainty == two.uncertainty and one.note == two.note


def test_a_face_that_moved_between_is_warned_about(scenes, tmp_path, face, upright):
    """Its left half slid by 0.6 mm: two boards on one glass, which no carriage explains."""
    second = scan(face, OVER, exact, 2)
    shifted = scan(face, scanner.Lay(182.1, (46.5, 53.6)), exact, 3)
    second[:, : second.shape[1] // 2] = shifted[:, : second.shape[1] // 2]
    try:
        view, after, true = seen(scenes, tmp_path, upright, second)
    except JobError:
        return
    told = any("disagree by" in text or "were found again" in text for text in view.warnings)
    assert told or np.hypot(*(after - true).T).max() < view.uncertainty


def refused(scenes, folder, first, second, **more):
    with pytest.raises(JobError) as caught:
        seen(scenes, folder, first, second, **more)
    assert 'job.toml, [[view]] "front", scale.turned: found ' in str(caught.value)
    return str(caught.value)


def test_a_second_scan_that_lies_the_same_way_up_is_refused(scenes, tmp_path, face, upright):
    told = refused(scenes, tmp_path, upright, scan(face, scanner.Lay(1.0, (44.0, 56.0)), exact, 2))
    assert '"turned.png", which lies the same way up as "scan.png"; scan the same face again' in told


def test_one_file_twice_is_refused(scenes, tmp_path, upright):
    told = refused(scenes, tmp_path, upright, None, turned="scan.png")
    assert '"scan.png", the very file of `image`' in told
    told = refused(scenes, tmp_path, upright, upright)  # a copy of it
    assert "lies the same way up" in told


@pytest.mark.parametrize(("angle", "words"), [(91, "about 91 degrees"), (200, "about 160 degrees")])
def test_a_second_scan_turned_by_another_angle_is_refused(scenes, tmp_path, face, upright, angle, words):
    told = refused(scenes, tmp_path, upright, scan(face, scanner.Lay(angle, (45, 55)), exact, 2))
    assert f"turned by {words} against" in told or f"turned by {words[:6]}" in told


def test_a_mirror_image_is_refused_with_that_word(scenes, tmp_path, face, upright):
    told = refused(scenes, tmp_path, upright, scan(face[:, ::-1], OVER, exact, 2))
    assert "a mirror image of" in told


def test_another_face_is_refused(scenes, tmp_path, other_face, upright):
    told = refused(scenes, tmp_path, upright, scan(other_face, OVER, exact, 2))
    assert "does not show the same face" in told


def test_scans_that_show_nothing_are_refused(scenes, tmp_path, upright):
    blank = np.full_like(upright, 235)
    assert '"turned.png" shows too little' in refused(scenes, tmp_path, upright, blank)
    assert '"scan.png" shows too little' in refused(scenes, tmp_path, blank, upright)


def test_another_size_is_refused_with_both_sizes(scenes, tmp_path, face, upright):
    told = refused(scenes, tmp_path, upright, scan(face, OVER, exact, 2)[:-3])
    assert "531 x 646 pixels" in told and "531 x 649" in told


def test_a_missing_and_a_cut_off_second_scan_are_refused(scenes, tmp_path, upright):
    assert 'found no file "gone.png"' in refused(scenes, tmp_path, upright, None, turned="gone.png")
    Image.fromarray(upright).save(tmp_path / "whole.png")
    (tmp_path / "cut.png").write_bytes((tmp_path / "whole.png").read_bytes()[:20000])
    assert "cut off or damaged" in refused(scenes, tmp_path, upright, None, turned="cut.png")


def test_a_job_file_names_the_second_scan_beside_it(tmp_path, bent_twice):
    (tmp_path / "scans").mkdir()
    for name, picture in zip(("scans/a.png", "b.png"), bent_twice, strict=True):
        Image.fromarray(picture).save(tmp_path / name)
    (tmp_path / "job.toml").write_text(
        '[job]\ntitle = "t"\n[board]\nthickness = 1.6\nedge = [[0, 0], [70, 0], [70, 80], [0, 80]]\n'
        '[[view]]\nname = "top"\nimage = "scans/a.png"\nshows = "top"\n'
        f'scale = {{ dpi = {DPI}, turned = "b.png" }}\nplace = {{ origin = [40, 600], along = [450, 600] }}\n'
    )
    (view,) = trimgeo.prepare(trimgeo.load(tmp_path)).views
    assert view.method == "dpi" and "mm is taken out" in view.note
