"""Copper from pictures: drawn_layers.py draws layers whose areas are known, apart from the package."""

import importlib.util
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, box

from trimgeo.errors import JobError
from trimgeo.model.planemap import PlaneMap
from trimgeo.tables import Required
from trimgeo.vision.copper import copper_polygons
from trimgeo.vision.copper_board import board_copper, keepouts
from trimgeo.vision.nets import CopperArea

_spec = importlib.util.spec_from_file_location("drawn_layers", Path(__file__).with_name("drawn_layers.py"))
drawn = importlib.util.module_from_spec(_spec)
sys.modules["drawn_layers"] = drawn
_spec.loader.exec_module(drawn)

FULLY_KNOWN = np.zeros((9, 9))


@pytest.fixture(scope="module")
def layers():
    return drawn.layer_set(np.random.RandomState(2), layers=2, size=(20.0, 16.0))


def plane_of(size, dpi):
    """A plane with foreign vias standing free in it: large, and with holes."""
    vias = [
        drawn.Via(f"V{n}", (2.0 + 2.2 * (n % 8), 2.0 + 2.2 * (n // 8)), "VCC" if n % 2 else "GND", 0.4)
        for n in range(40)
    ]
    copper, _, _ = drawn._plane(np.random.RandomState(0), vias, size, 2)
    return drawn.to_pixels(copper, dpi, size[1])


def test_the_renderer_draws_the_area_that_shapely_computes(layers):
    truth = drawn.to_pixels(layers.copper[1], 600, 16.0)
    cover = drawn.coverage(truth, drawn.picture_size(layers.size, 600))
    assert cover.sum() == pytest.approx(truth.area, rel=1e-9)


@pytest.mark.parametrize("dpi", [600, 1200])
@pytest.mark.parametrize("copper_is", ["light", "dark"])
def test_boundaries_lie_where_they_were_drawn_to_a_part_of_a_pixel(layers, dpi, copper_is):
    random = np.random.RandomState(dpi)
    truth = drawn.to_pixels(layers.copper[1], dpi, 16.0)
    cover = drawn.coverage(truth, drawn.picture_size(layers.size, dpi))
    grey = drawn.photographed(cover, random, copper_is=copper_is, blur=1.2, noise=5.0, unlike=0.3, dust=15)
    found = copper_polygons(grey, None, copper_is, 12.0)
    result = drawn.judged(found.polygons, truth)
    # Issue 3, done when 7.
    assert abs(result.grown) <= 0.3
    assert np.percentile(result.within, 95) <= 0.75 and np.percentile(result.missed, 95) <= 0.75
    assert len(found.polygons) == len(shapely.get_parts(truth))
    assert all(each.is_valid for each in found.polygons)


@pytest.mark.parametrize("unlike", [0.0, 0.2, 0.4])
def test_uneven_light_hollows_no_plane_out_and_leaves_its_holes(unlike):
    truth = plane_of((22.0, 16.0), 600)
    cover = drawn.coverage(truth, drawn.picture_size((22.0, 16.0), 600))
    grey = drawn.photographed(cover, np.random.RandomState(7), unlike=unlike)
    found = copper_polygons(grey, None, "light", 8.0)
    assert len(found.polygons) == len(shapely.get_parts(truth))
    holes = sum(len(each.interiors) for each in found.polygons)
    assert holes == sum(len(each.interiors) for each in shapely.get_parts(truth))
    assert abs(drawn.judged(found.polygons, truth).grown) <= 0.3


def test_a_plane_that_fills_most_cells_of_the_picture_is_not_split():
    cover = drawn.coverage(box(40, 40, 1160, 860).difference(Point(900, 300).buffer(12)), (1200, 900))
    grey = drawn.photographed(cover, np.random.RandomState(1), unlike=0.35)
    (plane,) = copper_polygons(grey, None, "light", 8.0).polygons
    assert len(plane.interiors) == 1
    assert plane.area == pytest.approx(cover.sum(), rel=2e-3)


def test_specks_below_the_size_are_dropped_and_counted():
    picture = np.full((300, 300), 60, np.uint8)
    cv2.rectangle(picture, (50, 50), (199, 199), 180, -1)
    for n in range(5):
        cv2.rectangle(picture, (20 + 40 * n, 250), (23 + 40 * n, 253), 180, -1)
    cv2.rectangle(picture, (100, 100), (103, 103), 60, -1)  # a speck in the copper is filled
    found = copper_polygons(picture, 120, "light", 40.0)
    assert (len(found.polygons), len(found.polygons[0].interiors), found.specks) == (1, 0, 6)
    assert len(copper_polygons(picture, 120, "light", 4.0).polygons) == 6


def test_a_scratch_across_a_trace_does_not_cut_it_nor_join_two():
    cover = np.zeros((400, 400))
    cover[100:120], cover[140:160] = 1, 1
    for light in (True, False):
        # 0.04 mm wide at 1200 dpi.
        scratch = drawn.coverage(LineString([(150, 50), (220, 350)]).buffer(0.95), (400, 400))
        clean = np.maximum(cover, scratch) if light else cover * (1 - scratch)
        grey = drawn.photographed(clean, np.random.RandomState(6), blur=0.5)
        assert len(copper_polygons(grey, None, "light", 8.0).polygons) != 2  # the scratch does harm
        assert len(copper_polygons(grey, None, "light", 8.0, scratch=3.6).polygons) == 2


def test_the_finest_copper_is_no_scratch():
    """Lines of 0.1 mm, finest of common boards, at 1200 dpi, at any angle."""
    k = 1200 / 25.4
    for degrees in range(0, 180, 15):
        line = shapely.affinity.rotate(box(100, 200 - 0.05 * k, 300, 200 + 0.05 * k), degrees)
        grey = drawn.photographed(drawn.coverage(line, (400, 400)), np.random.RandomState(3), blur=1.0)
        (found,) = copper_polygons(grey, 130, "light", 20.0, scratch=0.075 * k).polygons
        assert found.length == pytest.approx(line.length, rel=0.05)


@pytest.mark.parametrize(
    "picture",
    [
        np.zeros((300, 300), np.uint8),
        np.full((300, 300), 255, np.uint8),
        np.random.RandomState(0).normal(128, 20, (300, 300)).clip(0, 255).astype(np.uint8),
        np.tile(np.linspace(0, 255, 300).astype(np.uint8), (300, 1)),
        np.zeros((1, 1), np.uint8),
    ],
    ids=["black", "white", "noise", "ramp", "one pixel"],
)
def test_a_picture_without_two_greys_is_refused(picture):
    with pytest.raises(JobError, match=r"layer 2: .*two greys.*give `level`"):
        copper_polygons(picture, None, "light", 4.0, where="layer 2")


def test_light_beside_the_board_and_along_its_edge_is_no_copper():
    picture = np.full((400, 600), 70, np.uint8)
    picture[:], picture[50:350, 50:550] = 190, 70  # a lamp behind the board, its edge 0.3 px inside
    picture[100:200, 100:300] = 190
    scan = PlaneMap(np.array([[0.05, 0, -2.5], [0, -0.05, 17.5], [0, 0, 1]]), FULLY_KNOWN, (600, 400))
    found = board_copper(
        picture, scan, box(0, 0, 25, 15), level=None, copper_is="light", speck=0.02, where="layer 2"
    )
    assert [np.round(each.bounds, 1).tolist() for each in found.polygons] == [[2.5, 7.5, 12.5, 12.5]]


def test_a_keepout_has_the_uncertainty_of_map_and_boundary_together():
    covariance = np.zeros((9, 9))
    covariance[2, 2] = 0.05**2
    scan = PlaneMap(np.diag([0.04, -0.04, 1.0]), covariance)
    area = CopperArea(3, 4, None, MultiPolygon([box(0, 0, 5, 5), box(7, 0, 9, 9)]), False)
    (made,) = keepouts([area], lambda layer: Required(0.45, f"layer {layer}"), {3: scan})
    assert (made.name, made.layers, made.may_cut, made.reason) == ("3:4", (3,), False, "layer 3")
    # Root sum of squares, JCGM 100:2008 5.1.2: 0.05 mm and three tenths of 0.04 mm.
    assert made.uncertainty == pytest.approx((0.05**2 + 0.012**2) ** 0.5)


def test_the_same_picture_gives_the_same_polygons(layers):
    truth = drawn.to_pixels(layers.copper[2], 600, 16.0)
    cover = drawn.coverage(truth, drawn.picture_size(layers.size, 600))
    grey = drawn.photographed(cover, np.random.RandomState(4), unlike=0.2)
    one, two = (shapely.to_wkb(copper_polygons(grey, None, "light", 8.0).polygons) for _ in range(2))
    assert one.tolist() == two.tolist()
