"""Registrations refined on holes that were not listed, against cameras of known pose."""

import importlib.util
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely import box

from trimgeo.model.board import Picture
from trimgeo.scale.holes_matched import Holes, matched
from trimgeo.scale.holes_shared import refined
from trimgeo.scale.like import scaled_like
from trimgeo.vision.holes import find_holes


def _by_path(name, path):
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


bench = _by_path("registrations", Path(__file__).parents[1] / "bench" / "registrations.py")
scenes = bench.scenes


def rows(kind, count=12):
    return np.array([bench.scene(seed, kind) for seed in range(count)], float).T


def pair(seed, count=60, **lists):
    """A registration by four points, and the lists of holes found in both pictures."""
    random = np.random.default_rng(seed)
    own, there = scenes.camera(random, 12), scenes.camera(random, 8)
    other = scenes.scaled_by_points(random, there)
    pixels, pixels_there = (
        scenes.seen(m, scenes.CORNERS[:4]) + random.normal(0, 0.5, (4, 2)) for m in (own, there)
    )
    words = {"shows": "top", "size": scenes.SIZE, "like": "top", "where": "points"}
    holes, diameters = scenes.drilled(random, count)
    found = [scenes.found(random, m, holes, diameters, **lists) for m in (own, there)]
    return scaled_like(pixels, pixels_there, other, **words), other, *found


def given(found):
    return Holes(found.pixels, found.sd, found.diameters)


@pytest.mark.parametrize("seed", range(4))
def test_holes_are_matched_with_the_right_ones_among_three_in_ten_that_are_none(seed):
    points, other, own, there = pair(seed)
    result = refined(points, given(own), other, given(there), "top")
    which, which_there = (
        found.which[[int(np.flatnonzero((found.pixels == p).all(axis=1))[0]) for p in pixels]]
        for found, pixels in ((own, result.own), (there, result.there))
    )
    common = np.intersect1d(own.which[own.which >= 0], there.which)
    assert len(which) == result.count >= 0.95 * len(common)
    assert (which == which_there).sum() >= len(which) - 2  # a false hole may lie where one is missing
    assert f"refined on {result.count} holes that both pictures show" in result.note
    assert result.residual_rms == pytest.approx(0.05, abs=0.02)  # 0.025 mm and 0.1 px, each way, in both


def test_the_order_of_the_lists_changes_nothing_and_the_same_lists_give_the_same_map():
    points, other, own, there = pair(5)
    first = refined(points, given(own), other, given(there), "top")
    again = refined(points, given(own), other, given(there), "top")
    turned = np.arange(len(own.pixels))[::-1]
    other_way = Holes(own.pixels[turned], own.sd[turned], own.diameters[turned])
    mixed = refined(points, other_way, other, given(there), "top")
    assert first.to_board.matrix.tobytes() == again.to_board.matrix.tobytes()
    assert mixed.count == first.count and np.allclose(mixed.to_board.matrix, first.to_board.matrix, atol=1e-9)


def test_holes_matched_with_false_ones_only_are_no_refinement():
    before, after, _, _, is_refined, warned, _ = rows("other board")
    assert not is_refined.any() and warned.all() and np.array_equal(after, before)


@pytest.mark.parametrize("kind", ["one pitch off", "headers, one pitch off"])
def test_points_read_one_pitch_off_are_told_and_not_made_firm_by_the_holes(kind):
    is_refined, warned = (rows(kind)[k] for k in (4, 5))
    assert not is_refined.any() and warned.all()


def test_one_point_read_one_pitch_off_is_set_right_by_the_holes_or_told():
    _, after, _, bound_after, is_refined, warned, _ = rows("one point off")
    assert warned.all() and is_refined.mean() > 0.7
    assert (after <= bound_after)[is_refined > 0].all()


def test_a_row_that_fits_one_pitch_off_as_well_is_refused():
    points, other, _, _ = pair(6)
    row = scenes.headers([[60, 40.0]])
    pixels = points.to_board.to_pixels(row)
    holes = Holes(pixels, np.full(40, 0.1), np.full(40, 1.0))
    there = Holes(other.to_pixels(row), np.full(40, 0.1), np.full(40, 1.0))
    known = np.zeros((9, 1))
    drift = np.zeros((9, 2))  # a shift that may be anything up to several mm
    drift[[0, 1, 2], 0] = 2.0 * points.to_board.matrix[2]
    drift[[3, 4, 5], 1] = 2.0 * points.to_board.matrix[2]
    assert len(matched(points.to_board, known, holes, other, there, 4).own) == 40
    refused = matched(points.to_board, drift, holes, other, there, 4)
    assert len(refused.own) == 0 and "fit in two ways" in refused.refusal


def test_holes_of_other_diameters_are_not_matched():
    points, other, own, there = pair(7)
    wide = Holes(there.pixels, there.sd, there.diameters + 2.0)
    assert refined(points, given(own), other, wide, "top").count == 0
    unknown = Holes(there.pixels, there.sd, np.full(len(there.sd), np.nan))
    assert refined(points, given(own), other, unknown, "top").count > 40


def test_without_holes_the_map_of_the_points_is_kept():
    points, other, own, _ = pair(8)
    nothing = Holes(np.zeros((0, 2)), np.zeros(0), np.zeros(0))
    result = refined(points, given(own), other, nothing, "top")
    assert result.count == 0 and result.to_board is points.to_board and "not refined on holes" in result.note
    assert refined(points, nothing, other, nothing, "top").to_board is points.to_board


def test_two_points_near_each_other_are_enough_where_there_are_holes():
    before, after, _, bound_after, is_refined, _, _ = rows("two near points")
    assert is_refined.all() and np.median(before) > 1.0 and np.median(after) < 0.2
    assert (after <= bound_after).sum() >= 11


def test_an_unknown_lens_widens_the_bound_enough():
    _, after, _, bound_after, is_refined, _, _ = rows("lens", 20)
    assert is_refined.all() and (after <= bound_after).sum() >= 19


def test_of_a_thousand_holes_nearly_all_that_both_show_are_used():
    points, other, own, there = pair(9, 1000)
    common = np.intersect1d(own.which[own.which >= 0], there.which)
    assert refined(points, given(own), other, given(there), "top").count >= 0.95 * len(common)


def drawn(at, diameters, ground, per_mm=12.0):
    """A true-scale picture of light holes in a dark board of 60 x 40 mm."""
    pixels = np.full((480, 720, 3), ground, np.uint8)
    for (x, y), diameter in zip(at, diameters, strict=True):
        middle = np.round(np.array([x * per_mm, 479 - y * per_mm]) * 256).astype(int)
        radius = round(diameter / 2 * per_mm * 256)
        cv2.circle(pixels, tuple(map(int, middle)), radius, (235, 235, 235), -1, cv2.LINE_AA, 8)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.8)
    return Picture(per_mm, (0.0, 479.0), (720, 480), lambda: pixels)


def test_holes_found_in_two_pictures_bring_them_together():
    random = np.random.default_rng(11)
    at = np.vstack([scenes.headers([[4, 8]]), random.uniform([4, 16], [56, 37], (12, 2))])
    sizes = np.where(np.arange(len(at)) < 40, 1.0, 0.8)
    own, there = scenes.camera(random, 6), scenes.camera(random, 6)
    other = scenes.scaled_by_points(random, there)
    corners = np.array([[4, 8], [52.26, 8], *at[-2:]])
    pixels, pixels_there = (scenes.seen(m, corners) + random.normal(0, 0.7, (4, 2)) for m in (own, there))
    words = {"shows": "top", "size": scenes.SIZE, "like": "top", "where": "points"}
    points = scaled_like(pixels, pixels_there, other, **words)
    lists = []
    for to_board, matrix, ground, dropped in ((points.to_board, own, 60, 5), (other, there, 90, 3)):
        shown = np.arange(len(at)) % 11 != dropped
        picture = drawn(to_board.to_mm(scenes.seen(matrix, at[shown])), sizes[shown], ground)
        found = find_holes(picture, box(1, 1, 59, 39))
        columns = ([getattr(hole, name) for hole in found] for name in ("at", "uncertainty", "diameter"))
        lists.append(Holes.seen(to_board, *map(np.array, columns)))
    result = refined(points, lists[0], other, lists[1], "top")
    places = scenes.seen(own, at)
    left = result.to_board.to_mm(places) - other.to_mm(scenes.seen(there, at))
    before = points.to_board.to_mm(places) - other.to_mm(scenes.seen(there, at))
    assert result.count >= 40
    assert np.sqrt((left**2).sum(axis=1).mean()) < 0.02 < np.sqrt((before**2).sum(axis=1).mean())
