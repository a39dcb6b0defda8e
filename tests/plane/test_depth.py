import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, box

import trimgeo.plane.depth
from trimgeo.plane.depth import deepest, peaks, waste_of


def depth(spine, radius, kept, board):
    waste = shapely.multipolygons(list(shapely.get_parts(board.difference(kept))))
    found, place = deepest(np.array([spine], dtype=object), np.array([radius]), kept, waste)
    return float(found[0]), Point(place[0])


def sampled(area, kept):
    """Greatest distance over a grid of points: never too great, and too small by at most the grid."""
    x0, y0, x1, y1 = area.bounds
    x, y = (grid.ravel() for grid in np.meshgrid(np.linspace(x0, x1, 200), np.linspace(y0, y1, 200)))
    inside = shapely.contains_xy(area, x, y)
    return shapely.distance(shapely.points(x[inside], y[inside]), kept).max(), np.hypot(
        x1 - x0, y1 - y0
    ) / 200


@pytest.mark.parametrize("seed", range(12))
def test_depth_is_never_under_that_of_a_grid_nor_over_it_by_more_than_the_grid(seed):
    rng = np.random.default_rng(seed)
    board = box(0, 0, 60, 40)
    angle = np.arange(9) * 2 * np.pi / 9
    reach = rng.uniform(5, 19, 9)
    kept = Polygon(np.column_stack([30 + reach * np.cos(angle), 20 + reach * np.sin(angle)]))
    spine, radius = Point(rng.uniform((10, 5), (50, 35))), rng.uniform(3, 12)
    outside = spine.buffer(radius).intersection(board).difference(kept)
    least, grid = sampled(outside, kept) if outside.area else (0.0, 0.0)
    found, place = depth(spine, radius, kept, board)
    assert least - 1e-9 <= found <= least + 2 * grid
    assert found == 0 or kept.distance(place) == pytest.approx(found, abs=1e-10)
    assert found == 0 or spine.distance(place) <= radius + 1e-9
    assert found == 0 or board.distance(place) <= 1e-9


def test_a_wide_corridor_takes_little_more_work_than_a_corner(monkeypatch):
    board = box(0, 0, 1000, 30)
    kept = board.difference(box(1, 10, 1000, 20))
    looked, look = [], trimgeo.plane.depth._look

    def counted(cells, *rest):
        looked.append(len(cells.owner))
        return look(cells, *rest)

    monkeypatch.setattr(trimgeo.plane.depth, "_look", counted)
    found, _ = depth(box(0, 0, 1000, 30), 0.0, kept, board)
    assert found == pytest.approx(5.0, abs=1e-9)
    # Halving 1000 mm down to the search's 1e-11 mm would look at 10^14 cells.
    assert 0 < sum(looked) < 100


def test_the_middle_of_a_round_pocket_is_its_peak():
    ring = Point(0, 0).buffer(20, quad_segs=16).difference(Point(0, 0).buffer(12, quad_segs=16))
    kept = ring.difference(box(0, -3, 30, 3))
    board = box(-25, -25, 25, 25)
    found, place = depth(Point(0, 0), 8.0, kept, board)
    chord = 12 * np.cos(np.pi / 64)  # a circle through the chords of a regular polygon
    assert found == pytest.approx(chord, abs=1e-9)
    assert place.distance(Point(0, 0)) < 1e-6


def test_a_convex_outline_has_no_peaks():
    board, kept = box(0, 0, 10, 10), box(2, 2, 6, 7)
    assert len(peaks(kept, MultiPolygon([board.difference(kept)]), 0.0)) == 0


def test_three_corners_are_equally_far_from_the_centre_of_their_circle():
    # circumcentre of a right triangle: the middle of its longest side
    kept = Polygon([(0, 0), (30, 0), (30, 40), (24, 38), (26, 2), (2, 2), (3, 39), (0, 40)])
    waste = MultiPolygon([box(0, 0, 30, 40).difference(kept)])
    sides = [LineString(side) for side in zip(kept.exterior.coords, kept.exterior.coords[1:], strict=False)]
    for peak in shapely.points(peaks(kept, waste, 0.1)):
        apart = np.sort(shapely.distance(sides, peak))
        assert apart[2] - apart[0] < 1e-9


def test_waste_keeps_narrow_wedges_beside_a_new_edge():
    board = box(0, 0, 60, 40)
    kept = Polygon([(0, 0), (60, 0), (60, 39.98), (0, 40)])
    waste = waste_of(board, kept, [LineString([(60, 39.98), (0, 40)])])
    assert waste.area == pytest.approx(0.5 * 60 * 0.02)
    assert waste_of(board, kept, [LineString([(60, 0), (60, 0.001)])]).is_empty


def test_nothing_outside_has_no_depth():
    found, place = deepest(
        np.array([Point(1, 1)], dtype=object),
        np.array([0.5]),
        box(0, 0, 5, 5),
        MultiPolygon([box(5, 0, 9, 5)]),
    )
    assert found.tolist() == [0.0]
    assert np.isnan(place).all()
