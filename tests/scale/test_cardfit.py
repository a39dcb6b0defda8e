"""One fit of lens, pose and card: the simulated camera of tests/camera is the truth, its corners given a
Gaussian error."""

import importlib.util
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
from scipy.optimize import least_squares

from trimgeo.errors import JobError
from trimgeo.model.card import CARDS
from trimgeo.scale import bound
from trimgeo.scale.camera import CAMERA, Camera, rotation
from trimgeo.scale.cardfit import fit_cards
from trimgeo.scale.place import placed


def load(name, path):
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


HERE = Path(__file__).parent
BENCH = load("card_fits", HERE.parent / "bench" / "card_fits.py")
CAMERA_OF_TESTS = BENCH.simulated()
SIDES = ("left", "right", "upper", "lower")


def judged(seeds, drawn=None, photos=1, **read):
    """Rows of shape error, largest error, bound and warnings."""
    rows = []
    for seed in seeds:
        scene = CAMERA_OF_TESTS.random_scene(seed, **(drawn or {}))
        scenes = [scene, *CAMERA_OF_TESTS.more_views(scene, photos - 1)]
        shots = [BENCH.shot_of(s, taken_by="one" if photos > 1 else None, **read) for s in scenes]
        shots = [replace(s, bars=shots[0].bars) for s in shots]
        fit = fit_cards(shots, ["photo"] * photos)[0]
        rows.append((*BENCH.judged(fit, scene), fit.warnings))
    return rows


def test_a_flat_card_gives_the_board_within_hundredths_and_the_bound_covers_it():
    # Issue's own line: rms 0.05 mm at the 95th percentile, 95 % of bounds hold, 0.30 mm in the median.
    rows = judged(range(12))
    errors, largest, bounds = (np.array([row[k] for row in rows]) for k in range(3))
    assert np.sort(errors)[-2] <= 0.05
    assert (largest <= bounds).sum() >= 11
    assert np.median(bounds) <= 0.30
    assert not any("curled" in text for row in rows for text in row[3])


def test_a_curl_or_bulge_of_a_millimetre_is_named_and_covered():
    for drawn in ({"curl": 1.0}, {"bulge": 1.0}):
        rows = judged(range(5), drawn)
        assert all(largest <= stated for _, largest, stated, _ in rows)
        assert all(any("curled" in text for text in row[3]) for row in rows)


def test_two_photos_of_a_bulged_card_are_true_to_0_15_mm():
    assert max(row[0] for row in judged(range(3), {"bulge": 1.0}, photos=2)) <= 0.15


def test_a_crooked_board_is_measured_in_its_own_plane():
    rows = judged(range(5), {"crooked": 5.0, "heights": (20.0, 45.0)})
    assert all(largest <= stated for _, largest, stated, _ in rows)
    assert np.median([row[0] for row in rows]) <= 0.06


def test_a_shrunk_print_is_as_true_as_a_whole_one_once_its_bars_are_measured():
    rows = judged(range(4), {"print_scale": (0.97, 0.972)})
    assert max(row[0] for row in rows) <= 0.05
    assert all(largest <= stated for _, largest, stated, _ in rows)


def test_a_print_that_nobody_measured_has_a_bound_of_six_percent_and_says_so():
    rows = judged(range(3), {"print_scale": (0.97, 0.972)}, bars=False)
    for _, largest, stated, warnings in rows:
        assert largest <= stated and stated > 0.05 * np.hypot(150, 95)
        assert any("scale is unknown" in text for text in warnings)


A4, LETTER = (210.0, 297.0), (215.9, 279.4)  # ISO 216; ANSI/ASME Y14.1


def fitted(page, paper, margin=0.0):
    """The share of its size to which "fit to page" prints a page between margins on a paper."""
    return min((side - 2 * margin) / own for own, side in zip(page, paper, strict=True))


@pytest.mark.parametrize(
    ("share", "percent"),
    [
        (fitted(A4, A4, 3.0), 97.1),
        (fitted(A4, A4, 4.2), 96.0),
        (fitted(A4, A4, 5.0), 95.2),
        (fitted(A4, A4, 6.35), 94.0),
        (fitted(A4, LETTER), 94.1),
        (fitted(LETTER, A4), 97.3),
        (LETTER[0] / A4[0], 102.8),  # filled in width: measured on a spooler that was told not to scale
    ],
)
def test_a_print_fitted_to_the_page_that_nobody_measured_lies_within_its_bound(share, percent):
    """Arithmetic of "fit to page"; over the 177 mm from corner to corner of the board it is up to 11 mm."""
    assert round(100 * share, 1) == percent
    ((_, largest, stated, warnings),) = judged([1], {"print_scale": (share, share)}, bars=False)
    assert largest == pytest.approx(abs(1 / share - 1) * np.hypot(150, 95), abs=0.6)  # read to 0.5 px
    assert largest <= stated
    assert any("scale is unknown" in text for text in warnings)


@pytest.mark.parametrize(("focal", "away", "off"), [(32.0, 300.0, 0.7), (54.0, 500.0, 0.4)])
def test_a_face_above_the_card_is_taken_for_larger_where_nobody_tells_its_height(focal, away, off):
    """Similar triangles: 130 mm that are 1.6 mm nearer to a camera 300 or 500 mm away are seen longer."""
    scene = CAMERA_OF_TESTS.random_scene(2, height=1.6, focal_35=focal, tilt=8.0)
    at = scene.pixels_of(np.array([[10.0, 50.0], [140.0, 50.0]]))
    shot = BENCH.shot_of(scene)
    (told,), (untold,) = (fit_cards([replace(shot, height=height)], ["photo"]) for height in (1.6, 0.0))
    right, wrong = (np.hypot(*np.diff(fit.to_card.to_mm(at), axis=0)[0]) for fit in (told, untold))
    high = scene.camera.eye[2]
    assert high == pytest.approx(away, abs=5)
    assert right == pytest.approx(130.0, abs=0.05)
    assert wrong - right == pytest.approx(130 * 1.6 / (high - 1.6), abs=0.01)
    assert wrong - right == pytest.approx(off, abs=0.03)


def test_lengths_on_the_board_stand_for_bars_that_nobody_measured():
    rows = judged(range(4), {"print_scale": (0.97, 0.972)}, bars=False, checks=True)
    assert all(largest <= stated < 1.0 for _, largest, stated, _ in rows)


def test_a_view_from_straight_above_has_a_wide_bound_and_is_advised_to_tilt():
    scene = CAMERA_OF_TESTS.random_scene(1, tilt=0.3, height=8.0)
    above = fit_cards([BENCH.shot_of(scene, focal=False)], ["photo"])[0]
    assert any("tilted by about ten degrees" in text for text in above.warnings)
    tilted = CAMERA_OF_TESTS.random_scene(1, tilt=20.0, height=8.0)
    stated = [BENCH.judged(above, scene)[2]]
    stated.append(BENCH.judged(fit_cards([BENCH.shot_of(tilted, focal=False)], ["photo"])[0], tilted)[2])
    assert stated[0] > 2 * stated[1]


def test_a_told_focal_length_that_the_picture_does_not_show_is_said_to_rest_on_the_file():
    scene = CAMERA_OF_TESTS.random_scene(1, tilt=0.3, height=8.0)
    (fit,) = fit_cards([BENCH.shot_of(scene)], ["photo"])
    told = round(scene.strata["focal"])
    assert any(f"nothing in the picture confirms the focal length of {told} mm" in t for t in fit.warnings)
    tilted = CAMERA_OF_TESTS.random_scene(1, tilt=20.0, height=8.0)
    (fit,) = fit_cards([BENCH.shot_of(tilted)], ["photo"])
    assert not any("focal length" in text for text in fit.warnings)


def test_photos_without_a_maker_share_no_lens():
    scene = CAMERA_OF_TESTS.random_scene(2)
    scenes = [scene, *CAMERA_OF_TESTS.more_views(scene, 1)]
    apart = fit_cards([replace(BENCH.shot_of(s), bars=scene.bars) for s in scenes], ["a", "b"])
    assert apart[0].to_card.lens.k1 != apart[1].to_card.lens.k1
    told = [BENCH.shot_of(s, taken_by="one") for s in scenes]
    shared = fit_cards([replace(s, bars=scene.bars) for s in told], ["a", "b"])
    assert shared[0].to_card.lens.k1 == shared[1].to_card.lens.k1
    assert shared[0].focal_px != shared[1].focal_px
    assert "the lens" in shared[0].note


def ratio_of_lengths(fit, other, scene):
    """Lengths across the board by one fit over those by another."""
    ends = scene.pixels_of(np.array([[0.0, 0.0], [150.0, 95.0]]))
    one, two = (np.hypot(*np.diff(each.to_card.to_mm(ends), axis=0)[0]) for each in (fit, other))
    return one / two


def test_bars_measured_again_for_each_photo_count_as_their_mean():
    scene = CAMERA_OF_TESTS.random_scene(2)
    shots = [BENCH.shot_of(s) for s in [scene, *CAMERA_OF_TESTS.more_views(scene, 2)]]
    read = [(100.03, 99.98), (99.99, 100.01), (99.98, 100.04)]  # mean 100.00 and 100.01, in each direction
    again = fit_cards([replace(s, bars=b) for s, b in zip(shots, read, strict=True)], ["photo"] * 3)
    (alone,) = fit_cards([replace(shots[0], bars=read[0])], ["photo"])
    (mean,) = fit_cards([replace(shots[0], bars=(100.0, 100.01))], ["photo"])
    assert ratio_of_lengths(again[0], mean, scene) == pytest.approx(1.0, abs=3e-5)
    assert BENCH.judged(again[0], scene)[2] < 0.95 * BENCH.judged(alone, scene)[2]


def test_bars_that_differ_by_more_than_a_caliper_are_those_of_two_prints():
    scene = CAMERA_OF_TESTS.random_scene(2)
    shots = [BENCH.shot_of(s) for s in [scene, *CAMERA_OF_TESTS.more_views(scene, 1)]]
    apart = fit_cards(
        [replace(shots[0], bars=(100.0, 100.0)), replace(shots[1], bars=(99.7, 99.7))], ["a", "b"]
    )
    (alone,) = fit_cards([replace(shots[0], bars=(100.0, 100.0))], ["photo"])
    assert ratio_of_lengths(apart[0], alone, scene) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("times", [0.4, 2.0, 14.0])
def test_a_file_that_lies_about_the_focal_length_is_not_believed(times):
    scene = CAMERA_OF_TESTS.random_scene(5, tilt=24.0)
    shot = replace(BENCH.shot_of(scene), focal_35mm=times * scene.strata["focal"])
    (fit,) = fit_cards([shot], ["photo"])
    assert any("zoomed or cropped" in text for text in fit.warnings)
    _, largest, stated = BENCH.judged(fit, scene)
    assert largest <= stated


HALVES = [({"seed": 7, "tilt": 18.0}, side, told) for side in SIDES for told in (True, False)]
HALVES += [({"seed": 4}, "right", True), ({"seed": 4}, "right", False)]  # fits to nothing as a whole picture


@pytest.mark.parametrize(("drawn", "side", "told"), HALVES)
def test_half_of_a_picture_is_fitted_as_the_half_that_it_is(drawn, side, told):
    scene = CAMERA_OF_TESTS.random_scene(**drawn)
    shot = BENCH.shot_of(scene)
    axis = 0 if side in ("left", "right") else 1
    half = shot.size[axis] // 2
    first = 0 if side in ("left", "upper") else half
    kept = (shot.pixels[:, axis] > first) & (shot.pixels[:, axis] < first + half)
    off = np.array([first, 0.0] if axis == 0 else [0.0, first])
    cut = replace(
        shot,
        ids=shot.ids[kept],
        pixels=shot.pixels[kept] - off,
        sigma=shot.sigma[kept],
        size=(half, shot.size[1]) if axis == 0 else (shot.size[0], half),
        focal_35mm=shot.focal_35mm if told else None,
    )
    (fit,) = fit_cards([cut], ["photo"])
    # What is cut away along the tilt passes for another tilt or focal length; across it, for nothing.
    assert axis == 1 or not told or any("cropped" in text for text in fit.warnings)
    ends = scene.read_off(np.array([[0.0, 0.0], [150.0, 0.0]])) - off
    to_board = placed(fit.to_card, *(tuple(end) for end in ends))
    rim = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(BENCH.EDGE), 10.0))
    seen = [at for at in rim if first < scene.pixels_of(at[None])[0, axis] < first + half]
    pixels = scene.pixels_of(np.array(seen)) - off
    assert np.hypot(*(to_board.to_mm(pixels) - seen).T).max() < bound.bound(to_board, pixels)


def test_a_picture_taken_row_by_row_in_a_tremor_has_a_bound_that_covers_it_and_says_why():
    # Rows shifted by a sine of 2 pixels: nothing that a camera or a bent card does.
    def shaken(pixels):
        return pixels + np.column_stack([2 * np.sin(2 * np.pi * pixels[:, 1] / 300), 0 * pixels[:, 0]])

    for seed in (1, 2, 5):
        scene = CAMERA_OF_TESTS.random_scene(seed)
        shot = BENCH.shot_of(scene)
        (fit,) = fit_cards([replace(shot, pixels=shaken(shot.pixels))], ["photo"])
        ends, rim = scene.read_off(np.array([[0.0, 0.0], [150.0, 0.0]])), scene.pixels_of(BENCH.EDGE)
        to_board = placed(fit.to_card, *map(tuple, shaken(ends)))
        largest = np.hypot(*(to_board.to_mm(shaken(rim)) - BENCH.EDGE).T).max()
        assert 0.2 < largest <= bound.bound(to_board, shaken(rim))
        assert any("moved during the exposure" in text for text in fit.warnings)


def test_five_percent_of_wild_corners_change_nothing():
    scene = CAMERA_OF_TESTS.random_scene(4)
    shot = BENCH.shot_of(scene)
    wild = shot.pixels.copy()
    wild[::20] += np.random.RandomState(1).uniform(-60, 60, wild[::20].shape)
    clean, dirty = (fit_cards([s], ["photo"])[0] for s in (shot, replace(shot, pixels=wild)))
    at = scene.pixels_of(BENCH.EDGE)
    moved = dirty.to_card.to_mm(at) - clean.to_card.to_mm(at)
    assert np.abs(moved).max() < 0.05
    assert dirty.corners < clean.corners


def test_a_third_of_the_border_widens_the_bound_and_it_still_covers():
    for seed in range(4):
        scene = CAMERA_OF_TESTS.random_scene(seed)
        shot = BENCH.shot_of(scene)
        at = CARDS["A4"].corners(shot.ids)
        near = np.argsort(at @ [1.0, 0.6])[: len(at) // 3]
        part = replace(shot, ids=shot.ids[near], pixels=shot.pixels[near], sigma=shot.sigma[near])
        whole, third = (BENCH.judged(fit_cards([s], ["photo"])[0], scene) for s in (shot, part))
        assert third[1] <= third[2]
        assert third[2] > whole[2]


def test_corners_that_determine_nothing_are_refused():
    shot = BENCH.shot_of(CAMERA_OF_TESTS.random_scene(0))
    few = replace(shot, ids=shot.ids[:9], pixels=shot.pixels[:9], sigma=shot.sigma[:9])
    with pytest.raises(JobError, match="found 9 corners"):
        fit_cards([few], ["photo"])
    row = CARDS["A4"].corners(shot.ids)[:, 1]
    line = row == row.max()
    with pytest.raises(JobError, match="along one line"):
        fit_cards(
            [replace(shot, ids=shot.ids[line], pixels=shot.pixels[line], sigma=shot.sigma[line])], ["photo"]
        )


def test_a_camera_sees_places_where_opencv_projects_them():
    lens = fit_cards([BENCH.shot_of(CAMERA_OF_TESTS.random_scene(7))], ["photo"])[0].to_card.lens
    vector, shift = np.array([2.9, 0.2, -0.3]), np.array([5.0, -8.0, 350.0])
    places = np.random.RandomState(0).uniform(-100, 100, (40, 3)) * [1, 1, 0.1]
    ours = Camera(lens, 0.0, 0.0, rotation(vector), shift).seen(places)
    matrix = np.array([[lens.focal, 0, lens.centre[0]], [0, lens.focal, lens.centre[1]], [0, 0, 1]])
    terms = np.array([lens.k1, lens.k2, lens.p1, lens.p2, lens.k3])
    theirs, _ = cv2.projectPoints(places, vector, shift, matrix, terms)
    assert np.abs(ours - theirs[:, 0]).max() < 1e-6


def test_the_slopes_of_a_camera_are_its_differences():
    lens = fit_cards([BENCH.shot_of(CAMERA_OF_TESTS.random_scene(7))], ["photo"])[0].to_card.lens
    camera = Camera(lens, 1e-4, -1e-4, rotation(np.array([2.9, 0.2, -0.3])), np.array([5.0, -8.0, 350.0]))
    places = np.random.RandomState(0).uniform(-100, 100, (20, 3)) * [1, 1, 0.1]
    by_camera, by_place = camera.slopes(places)
    for k in range(CAMERA):
        step = 1e-5 * np.eye(CAMERA)[k]
        numeric = (camera.moved(step).seen(places) - camera.moved(-step).seen(places)) / 2e-5
        assert np.abs(numeric - by_camera[:, :, k]).max() < 1e-5 * (1 + np.abs(by_camera[:, :, k]).max())
    for k in range(3):
        step = 1e-4 * np.eye(3)[k]
        numeric = (camera.seen(places + step) - camera.seen(places - step)) / 2e-4
        assert np.abs(numeric - by_place[:, :, k]).max() < 1e-5 * (1 + np.abs(by_place[:, :, k]).max())


def test_the_fit_is_no_worse_than_an_independent_least_squares_of_its_corners():
    # scipy's own minimiser over focal, centre, k1, k2 and pose, without priors, on a card that is truly flat.
    scene = CAMERA_OF_TESTS.random_scene(6, flat=0.0, beyond=0.0, tilt=20.0, height=0.0)
    shot = replace(BENCH.shot_of(scene), bars=(100.0, 100.0))
    (fit,) = fit_cards([shot], ["photo"])
    at = np.column_stack([CARDS["A4"].corners(shot.ids), np.zeros(len(shot.ids))])

    def misses(p):
        matrix = np.array([[p[0], 0, p[1]], [0, p[0], p[2]], [0, 0, 1]])
        seen, _ = cv2.projectPoints(at, p[5:8], p[8:11], matrix, np.array([p[3], p[4], 0, 0]))
        return ((seen[:, 0] - shot.pixels) / shot.sigma[:, None]).ravel()

    turn = scene.camera.turn
    start = [
        scene.camera.focal, *scene.camera.centre, *scene.camera.radial[:2],
        *cv2.Rodrigues(turn)[0].ravel(), *(-turn @ scene.camera.eye),
    ]  # fmt: skip
    theirs = least_squares(misses, start, x_scale="jac")
    ours = (fit.residuals / shot.sigma[:, None]).ravel()
    assert (ours**2).sum() < (theirs.fun**2).sum() * 1.02
    assert abs(fit.focal_px / theirs.x[0] - 1) < 0.02


def test_the_same_corners_give_the_same_bytes():
    shot = BENCH.shot_of(CAMERA_OF_TESTS.random_scene(3))
    first, second = (fit_cards([shot], ["photo"])[0].to_card for _ in range(2))
    assert first.covariance.tobytes() == second.covariance.tobytes()
