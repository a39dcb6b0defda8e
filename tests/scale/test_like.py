"""Views registered on others, against scikit-image, scipy and cameras of known pose."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize
from skimage.transform import ProjectiveTransform

from trimgeo.errors import JobError
from trimgeo.model.lens import RadialLens
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.bound import bound
from trimgeo.scale.dpi import scan_map
from trimgeo.scale.like import placed_like, scaled_like
from trimgeo.scale.place import placed

NONE = np.zeros((9, 9))
WORDS = {"like": "top", "where": "points"}


def _by_path(name, path):
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


scenes = _by_path("registered", Path(__file__).with_name("registered.py"))
bench = _by_path("registrations", Path(__file__).parents[1] / "bench" / "registrations.py")


def exact(matrix, covariance=NONE):
    return PlaneMap(np.linalg.inv(matrix), covariance, scenes.SIZE)


def registered(pixels, there, other, shows="top"):
    return scaled_like(
        np.array(pixels, float), np.array(there, float), other, shows=shows, size=scenes.SIZE, **WORDS
    )


def two_cameras(seed, mirrored=False):
    random = np.random.default_rng(seed)
    return random, scenes.camera(random, 15, mirrored), scenes.camera(random, 10)


@pytest.mark.parametrize("mirrored", [False, True])
def test_four_points_give_the_map_that_scikit_image_gives(mirrored):
    _, own, there = two_cameras(1, mirrored)
    pixels, pixels_there = (scenes.seen(m, scenes.CORNERS[:4]).round() for m in (own, there))
    other = exact(there)
    judge = ProjectiveTransform.from_estimate(pixels, other.to_mm(pixels_there))
    found = registered(pixels, pixels_there, other, "bottom" if mirrored else "top")
    everywhere = np.random.default_rng(0).uniform(0, 3000, (50, 2))
    assert found.kind == "perspective" and found.residuals is None
    assert np.allclose(found.to_board.to_mm(everywhere), judge(everywhere), atol=1e-7)


def test_more_points_are_weighted_by_how_well_both_pictures_show_them():
    random, own, there = two_cameras(2)
    at = random.uniform([5, 5], [145, 90], (12, 2))
    pixels, pixels_there = (scenes.seen(m, at) + random.normal(0, 1, at.shape) for m in (own, there))
    other = exact(there)
    found = registered(pixels, pixels_there, other)

    def whitened(entries):  # judge: scipy, weights from the slopes of the map that was found
        wanted = other.to_mm(pixels_there)
        left = PlaneMap(np.append(entries, 1).reshape(3, 3), NONE).to_mm(pixels) - wanted
        slopes = found.to_board.slopes(pixels), other.slopes(pixels_there)
        spread = sum(0.25 * s @ s.transpose(0, 2, 1) for s in slopes)
        return np.linalg.solve(np.linalg.cholesky(spread), left[:, :, None]).ravel()

    start = (found.to_board.matrix / found.to_board.matrix[2, 2]).ravel()[:8]
    judge = optimize.least_squares(
        whitened, start * 1.001, x_scale=np.abs(start), xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=500
    )
    assert np.sum(whitened(start) ** 2) == pytest.approx(2 * judge.cost, rel=1e-5)


@pytest.mark.parametrize(("count", "kind"), [(2, "similarity"), (3, "affine")])
@pytest.mark.parametrize("shows", ["top", "bottom", 2])
def test_two_points_keep_the_face_and_three_fix_it(count, kind, shows):
    random = np.random.default_rng(4)
    own, there = scenes.scanner(random, 12.0, shows == "bottom"), scenes.scanner(random, 20.0)
    pixels, pixels_there = (scenes.seen(m, scenes.CORNERS[[0, 2, 3][:count]]) for m in (own, there))
    found = registered(pixels, pixels_there, exact(there), shows)
    everywhere = scenes.seen(own, scenes.GRID)
    assert found.kind == kind
    assert np.allclose(found.to_board.to_mm(everywhere), scenes.GRID, atol=1e-9)


def test_a_view_is_registered_on_one_that_is_seen_through_a_lens():
    _, own, there = two_cameras(5)
    lens = RadialLens((2010.0, 1490.0), 3000.0, 0.1, -0.05)
    other = PlaneMap(np.linalg.inv(there), np.zeros((14, 14)), scenes.SIZE, lens)
    pixels, pixels_there = scenes.seen(own, scenes.CORNERS), lens.raw(scenes.seen(there, scenes.CORNERS))
    found = registered(pixels, pixels_there, other)
    assert np.allclose(found.to_board.to_mm(scenes.seen(own, scenes.GRID)), scenes.GRID, atol=1e-6)


def test_the_covariance_is_the_scatter_of_readings_and_of_the_other_map():
    random, own, there = two_cameras(6)
    at, where = scenes.CORNERS, scenes.seen(own, scenes.GRID[[0, 6, 17, 34]])
    pixels, pixels_there, exactly = scenes.seen(own, at), scenes.seen(there, at), exact(there)
    fitted = scenes.scaled_by_points(random, there)
    other = PlaneMap(exactly.matrix / exactly.matrix[2, 2], fitted.covariance / fitted.matrix[2, 2] ** 2)
    stated = registered(pixels, pixels_there, other).to_board.position_covariance(where)
    drawn = []
    for _ in range(200):
        shaken = random.multivariate_normal(other.matrix.ravel(), other.covariance).reshape(3, 3)
        read = (each + random.normal(0, 0.5, at.shape) for each in (pixels, pixels_there))
        drawn.append(registered(*read, PlaneMap(shaken, NONE)).to_board.to_mm(where))
    scatter = [np.cov(np.array(drawn)[:, k].T) for k in range(len(where))]
    # 200 draws know a standard deviation to 5 % at most, so three of those
    assert np.sqrt([np.trace(each) for each in stated]) == pytest.approx(
        np.sqrt([np.trace(each) for each in scatter]), rel=0.15
    )


def test_a_placed_view_lies_where_scipy_puts_it_and_keeps_its_scale():
    random, _, there = two_cameras(7)
    own = scenes.scanner(random)
    pixels, pixels_there = (
        scenes.seen(m, scenes.CORNERS) + random.normal(0, 0.5, (6, 2)) for m in (own, there)
    )
    scaled, other = scan_map((600, 600), "top", scenes.SIZE), exact(there)
    found = placed_like(scaled, pixels, pixels_there, other, **WORDS)

    def whitened(motion):  # judge: scipy, on the angle and the shift
        c, s = np.cos(motion[0]), np.sin(motion[0])
        left = scaled.to_mm(pixels) @ np.array([[c, s], [-s, c]]) + motion[1:] - other.to_mm(pixels_there)
        slopes = found.to_board.slopes(pixels), other.slopes(pixels_there)
        spread = sum(0.25 * each @ each.transpose(0, 2, 1) for each in slopes)
        return np.linalg.solve(np.linalg.cholesky(spread), left[:, :, None]).ravel()

    judge = optimize.least_squares(whitened, [0, 0, 0], x_scale=[0.01, 1, 1], xtol=1e-14, ftol=1e-14)
    c, s = np.cos(judge.x[0]), np.sin(judge.x[0])
    expected = scaled.to_mm(scenes.seen(own, scenes.GRID)) @ np.array([[c, s], [-s, c]]) + judge.x[1:]
    assert np.allclose(found.to_board.to_mm(scenes.seen(own, scenes.GRID)), expected, atol=1e-5)
    slope = found.to_board.slopes([[0.0, 0.0]])[0]
    assert np.allclose(slope @ slope.T, np.eye(2) * (25.4 / 600) ** 2)


def test_a_bottom_scan_is_laid_on_a_top_photograph_by_a_proper_motion():
    random, _, there = two_cameras(8)
    own = scenes.scanner(random, mirrored=True)
    pixels, pixels_there = (scenes.seen(m, scenes.CORNERS[[0, 2]]) for m in (own, there))
    scaled = scan_map((600, 600), "bottom", scenes.SIZE)
    found = placed_like(scaled, pixels, pixels_there, exact(there), **WORDS)
    assert np.allclose(found.to_board.to_mm(scenes.seen(own, scenes.GRID)), scenes.GRID, atol=0.001)


def test_the_covariance_of_a_placed_view_is_the_scatter_of_all_that_it_rests_on():
    random, _, there = two_cameras(9)
    own, exactly = scenes.scanner(random), exact(there)
    at, where = scenes.CORNERS[[0, 2]], scenes.seen(own, scenes.GRID[[0, 6, 17, 34]])
    pixels, pixels_there = scenes.seen(own, at), scenes.seen(there, at)
    fitted = scenes.scaled_by_points(random, there)
    other = PlaneMap(exactly.matrix / exactly.matrix[2, 2], fitted.covariance / fitted.matrix[2, 2] ** 2)
    scaled = scan_map((600, 600), "top", scenes.SIZE)
    stated = placed_like(scaled, pixels, pixels_there, other, **WORDS).to_board.position_covariance(where)
    drawn = []
    for _ in range(200):
        maps = (
            PlaneMap(random.multivariate_normal(m.matrix.ravel(), m.covariance).reshape(3, 3), NONE)
            for m in (scaled, other)
        )
        read = (each + random.normal(0, 0.5, at.shape) for each in (pixels, pixels_there))
        first, second = maps
        try:
            drawn.append(placed_like(first, *read, second, **WORDS).to_board.to_mm(where))
        except JobError:  # maps without a covariance explain no difference of scale
            continue
    scatter = [np.cov(np.array(drawn)[:, k].T) for k in range(len(where))]
    assert len(drawn) > 190
    assert np.sqrt([np.trace(each) for each in stated]) == pytest.approx(
        np.sqrt([np.trace(each) for each in scatter]), rel=0.15
    )


def test_two_pixels_on_the_axis_place_a_view_like_origin_and_along():
    scaled = scan_map((300, 300), "top", (3000, 2000))
    pixels = np.array([[300.0, 1700.0], [2400.0, 1650.0]])
    judge = placed(scaled, tuple(pixels[0]), tuple(pixels[1]))
    found = placed_like(scaled, pixels, pixels, judge, **WORDS)
    assert np.allclose(found.to_board.to_mm([[999.0, 20.0]]), judge.to_mm([[999.0, 20.0]]), atol=1e-9)


def test_the_camera_moves_with_a_placed_view():
    _, _, there = two_cameras(10)
    scaled = PlaneMap(np.diag([0.1, -0.1, 1.0]), NONE, (1000, 800), eye=(50.0, -40.0, 300.0))
    pixels = np.array([[0.0, 0.0], [999.0, 0.0]])
    wanted = np.array([[10.0, 20.0], [10.0, 119.9]])  # a quarter turn to the left
    found = placed_like(scaled, pixels, scenes.seen(there, wanted), exact(there), **WORDS)
    assert found.to_board.eye == pytest.approx((50.0, 70.0, 300.0), abs=1e-6)


def refusal(*arguments, call=registered, **more):
    with pytest.raises(JobError) as caught:
        call(*arguments, **more)
    return str(caught.value)


SCAN = PlaneMap(np.diag([0.1, -0.1, 1.0]), NONE)


def test_points_that_fix_no_map_are_refused_by_number():
    line = [[0, 0], [500, 1], [1000, 0]]
    assert refusal(line, line, SCAN).startswith("points: found points 1, 2 and 3 on one line;")
    same = [[0, 0], [500, 1], [500, 300], [501, 1]]
    good = [[0, 0], [500, 1], [500, 300], [0, 300]]
    assert "points, there: found points 2 and 4 at one pixel" in refusal(good, same, SCAN)
    assert "points: found points 2 and 4 at one pixel" in refusal(same, good, SCAN)
    assert "mirrored against what a picture of the bottom face shows" in refusal(good, good, SCAN, "bottom")
    near = [[0, 0], [3, 0]]
    assert "at one pixel (less than 5 pixels apart)" in refusal(
        SCAN, np.array(near, float), np.array(good[:2], float), SCAN, call=placed_like, **WORDS
    )


def test_points_of_which_one_was_mistaken_are_told_by_number():
    pixels = np.array([[0, 0], [1000, 0], [1000, 800], [0, 800], [500, 400], [300, 600]], float)
    there = pixels.copy()
    there[4] += [30, 0]
    (warning,) = registered(pixels, there, SCAN).warnings
    assert warning.startswith("point 5 lies ")
    assert "found point 5 3.00 mm from where the others put it" in refusal(
        SCAN, pixels, there, SCAN, call=placed_like, **WORDS
    )
    sentence = refusal(SCAN, pixels[:2], there[:2] * 1.05, SCAN, call=placed_like, **WORDS)
    assert 'points 1 and 2 100.00 mm apart in this picture and 105.00 mm in that of view "top"' in sentence


def test_scales_that_disagree_a_little_widen_the_bound_and_are_told():
    pixels = np.array([[0.0, 0.0], [1000.0, 0.0]])
    there = pixels + np.array([[0, 0], [4, 0]])
    found = placed_like(SCAN, pixels, there, SCAN, **WORDS)
    assert "the uncertainty is widened" in found.warnings[0]
    agreed = placed_like(SCAN, pixels, pixels, SCAN, **WORDS)
    assert bound(found.to_board, pixels) > 3 * bound(agreed.to_board, pixels)


@pytest.mark.parametrize("kind", ["plain", "placed"])
def test_the_bound_of_a_registration_holds_and_holes_lessen_it(kind):
    rows = np.array([bench.scene(seed, kind) for seed in range(20)], float)
    before, after, bound_before, bound_after, is_refined, warned, _ = rows.T
    assert is_refined.all() and not warned.any()
    assert (before <= bound_before).sum() >= 19 and (after <= bound_after).sum() >= 19  # 95 %
    assert np.median(after) < 0.9 * np.median(before) and np.median(bound_after) < np.median(bound_before)
