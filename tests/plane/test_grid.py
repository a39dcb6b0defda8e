"""Corners put on a grid: judged by shapely alone; on tiny outlines every choice of grid points is tried."""

from __future__ import annotations

import importlib.util
from itertools import product
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapely.affinity
from shapely import MultiPolygon, Polygon, box

from trimgeo.plane.annulus import annulus
from trimgeo.plane.grid import rounded_to
from trimgeo.plane.trade import smallest_for_each

_spec = importlib.util.spec_from_file_location(
    "boards_built", Path(__file__).parents[1] / "bench" / "boards_built.py"
)
boards = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(boards)


def walls(shape):
    return np.zeros(len(shape.exterior.coords) - 1, dtype=bool)


def corners_of(outline):
    return shapely.get_coordinates(outline.exterior)[:-1]


@pytest.mark.parametrize("seed", [3, 9, 51, 207])
@pytest.mark.parametrize("step", [0.1, 0.5, 2.0])
def test_on_a_random_board_the_rounded_outline_is_sound(seed, step, rounding):
    kept, allowed, free = boards.board(seed)
    for each in list(smallest_for_each(annulus(kept, allowed, free), 8))[::3]:
        rounded = rounded_to(each.outline, kept, allowed, free, step)
        assert rounding.faults(each.outline, rounded, kept, allowed, free, step) == []


@pytest.mark.parametrize("seed", range(6))
def test_no_choice_of_the_grid_points_around_each_corner_is_cheaper(seed):
    """Tried one by one, with shapely: the four points of the grid's cell and the corner itself."""
    draw = np.random.RandomState(seed)
    angle = np.sort(
        (np.arange(3 + seed % 3) + draw.uniform(0.1, 0.9, 3 + seed % 3)) * 2 * np.pi / (3 + seed % 3)
    )
    outline = Polygon(
        draw.uniform(5, 9, len(angle))[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    )
    kept, allowed = outline.buffer(-draw.uniform(0, 0.6)), box(-9.3, -9.3, 9.3, 9.3)
    step = 1.0
    at = corners_of(outline)
    sides = np.hypot(*(np.roll(at, -1, axis=0) - at).T)
    price = step * (sides + np.roll(sides, 1)) / 2
    cells = [
        [tuple(corner), *product(*((np.floor(value), np.ceil(value)) for value in corner))] for corner in at
    ]
    best = outline.area + price.sum()
    for choice in product(range(5), repeat=len(at)):
        trial = Polygon([cell[k] for cell, k in zip(cells, choice, strict=True)])
        x, y = (np.roll(corners_of(trial), -1, axis=0) - corners_of(trial)).T
        turns_in = np.any(np.roll(x, 1) * y - np.roll(y, 1) * x < 0)
        if trial.is_valid and not turns_in and trial.covers(kept) and allowed.covers(trial):
            best = min(best, trial.area + price[np.array(choice) == 0].sum())
    rounded = rounded_to(outline, kept, allowed, walls(allowed), step)
    off = [np.hypot(*(corners_of(rounded) - corner).T).min() < 1e-9 for corner in at]
    assert rounded.covers(kept)
    assert rounded.area + price[off].sum() <= best + 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_the_result_does_not_depend_on_where_the_ring_starts_or_which_way_it_runs(seed):
    kept, allowed, free = boards.board(9)
    outline = list(smallest_for_each(annulus(kept, allowed, free), 6))[-1].outline
    ring = np.roll(corners_of(outline), seed, axis=0)[:: 1 if seed % 2 else -1]
    one, other = (rounded_to(shape, kept, allowed, free, 0.5) for shape in (outline, Polygon(ring)))
    assert one.exterior.coords[:] == other.exterior.coords[:]


BOARD = box(0, 0, 40, 30)
ALL_FREE = np.ones(4, dtype=bool)


def test_an_end_on_the_boards_edge_slides_along_it_and_the_boards_corners_stay():
    # the sides of `box` begin at its lower right corner and run counter-clockwise
    turned = shapely.affinity.rotate(BOARD, 17, origin=(0, 0))
    outline = shapely.affinity.rotate(Polygon([(0, 0), (21.3, 0), (19.2, 30), (0, 30)]), 17, origin=(0, 0))
    kept = shapely.affinity.rotate(box(2, 2, 18.9, 28), 17, origin=(0, 0))
    rounded = rounded_to(outline, kept, turned, ALL_FREE, 0.5)
    back = corners_of(shapely.affinity.rotate(rounded, -17, origin=(0, 0)))
    low, high = (back[np.abs(back[:, 1] - y) < 1e-9] for y in (0, 30))
    assert sorted(np.round(low[:, 0], 9)) == [0, 19.5] or sorted(np.round(low[:, 0], 9)) == [0, 20]
    assert np.allclose(np.round(high[:, 0] * 2), high[:, 0] * 2, atol=1e-9)
    assert len(back) == 4 and rounded.covers(kept)


def test_an_outline_on_the_grid_stays_as_it_is():
    outline = Polygon([(0, 0), (21.5, 0), (21.5, 12.5), (19.5, 30), (0, 30)])
    rounded = rounded_to(outline, outline, BOARD, ALL_FREE, 0.5)
    assert rounded.symmetric_difference(outline).area < 1e-9


def test_a_board_that_is_not_cut_is_given_back():
    outline = Polygon([(0.3, 0.3), (9.7, 0.3), (9.7, 4.1)])
    rounded = rounded_to(outline, outline.buffer(-0.2), outline, np.ones(3, dtype=bool), 1.0)
    assert rounded.equals(outline)


def test_in_a_corridor_without_grid_points_the_corners_keep_their_places():
    kept, allowed = box(1.2, 1.2, 8.7, 5.7), box(1.1, 1.1, 8.8, 5.8)
    outline = box(1.15, 1.15, 8.75, 5.75)
    assert rounded_to(outline, kept, allowed, walls(allowed), 0.5).equals(outline)


def test_a_corner_whose_rounding_costs_more_than_its_price_keeps_its_place():
    # A tip whose cuts cannot turn: only points beyond it serve, and they are far where it is sharp.
    tip = Polygon([(0.3, 0.2), (30.3, 0.2), (30.3, 2.2)])
    rounded = rounded_to(tip, tip, tip.buffer(20), walls(tip.buffer(20)), 1.0)
    assert rounded.area - tip.area <= tip.length
    assert rounded.covers(tip)


@pytest.mark.parametrize(
    ("x", "y", "degrees"),
    [(0.176, 0.332, 5.4), (0.73, 0.469, 177.1), *((0.37, 0.71, degrees) for degrees in range(3, 360, 48))],
)
def test_in_a_tip_of_28_degrees_a_grid_point_is_found_however_it_lies(x, y, degrees):
    """No side may turn in, so it lies beyond the tip, between the sides run on: up to 3 steps away."""
    half = np.radians(14)
    tip = Polygon([(0, 0), (-60 * np.cos(half), -60 * np.sin(half)), (-60 * np.cos(half), 60 * np.sin(half))])
    tip = shapely.affinity.translate(shapely.affinity.rotate(tip, degrees, origin=(0, 0)), x, y)
    wide = tip.buffer(20)
    rounded = rounded_to(tip, tip, wide, walls(wide), 1.0)
    at = corners_of(rounded)
    assert rounded.covers(tip)
    assert len(at) == 3 and np.allclose(at, np.round(at), atol=1e-9)


def test_rounding_never_takes_more_than_the_cuts_moved_out_by_a_step():
    """A square on its tip, each tip 1.45 mm short of the first grid point between its sides run on."""
    half = 60.05
    square = Polygon([(0.5, 0.5 - half), (0.5 + half, 0.5), (0.5, 0.5 + half), (0.5 - half, 0.5)])
    allowed = square.buffer(9)
    rounded = rounded_to(square, square, allowed, walls(allowed), 1.0)
    assert 2 * (half + 1.45) ** 2 - square.area > square.length  # all four tips on the grid would be too much
    assert rounded.area - square.area <= square.length
    assert rounded.covers(square)


def test_no_island_between_the_old_side_and_the_new_one_is_passed_over():
    outline = Polygon([(0.4, 0.4), (10.4, 0.4), (10.4, 9.6), (0.4, 9.6)])
    for x in np.linspace(0.45, 10.3, 12):
        for y in (0.41, 9.55):
            islands = MultiPolygon([box(2, 2, 8, 8), box(x, y, x + 0.04, y + 0.04)])
            rounded = rounded_to(outline, islands, BOARD.buffer(9), walls(BOARD.buffer(9)), 1.0)
            assert rounded.covers(islands)


def test_a_slot_in_the_outline_does_not_close_upon_itself():
    slot = 0.3
    outline = box(0.4, 0.4, 20.4, 20.4) - box(10.2, 5.3, 10.2 + slot, 30)
    rounded = rounded_to(outline, outline.buffer(-0.001), box(-5, -5, 30, 30), np.zeros(4, dtype=bool), 1.0)
    assert rounded.is_valid and not rounded.interiors
    assert rounded.covers(outline.buffer(-0.001))


@pytest.mark.parametrize("x", [10.1, 10.4, 10.6])
def test_walls_of_a_slot_that_each_round_over_the_other_do_not_cross(x):
    left, right = [(x - 2, 8), (x - 0.15, 15.3), (x - 3, 20.4)], [(x + 3, 20.4), (x + 0.15, 15.3), (x + 2, 8)]
    outline = Polygon([(0.4, 0.4), (20.4, 0.4), (20.4, 20.4), *right, *left, (0.4, 20.4)])
    kept = outline.buffer(-0.001, join_style="mitre")
    rounded = rounded_to(outline, kept, box(-5, -5, 30, 30), np.zeros(4, dtype=bool), 1.0)
    assert rounded.is_valid and not rounded.interiors
    assert rounded.covers(kept)


def test_corners_that_come_to_one_point_are_one_and_save_a_cut():
    outline = Polygon([(0, 0), (20.3, 0), (20.4, 14.9), (20.3, 15.02), (0, 15.1)])
    rounded = rounded_to(outline, outline, BOARD, ALL_FREE, 1.0)
    assert len(corners_of(rounded)) == 4
    assert rounded.covers(outline)


def chamfered(x, across):
    """An L whose inside corner is cut off: rounding outwards makes that cut shorter."""
    corner = [(x + across, 8.2), (x, 8.2 + across)]
    return Polygon([(0, 0), (25.3, 0), (25.3, 8.2), *corner, (x, 20.3), (0, 20.3)])


def test_no_cut_comes_out_shorter_than_asked_unless_it_was_shorter():
    kerf, shortened = 1.2, 0
    for x in np.linspace(10, 11, 12):
        for across in (0.9, 0.5):
            outline = chamfered(x, across)
            least = min(kerf, across * np.sqrt(2))
            kept = outline.buffer(-0.001, join_style="mitre")
            for shortest in (0.0, kerf):
                at = corners_of(rounded_to(outline, kept, BOARD, ALL_FREE, 0.5, shortest=shortest))
                short = np.hypot(*(np.roll(at, -1, axis=0) - at).T).min() < least - 1e-6
                assert not (short and shortest)
                shortened += bool(short)
    assert shortened > 0  # where nothing was asked


@pytest.mark.parametrize("allow", [0.0, 2e-5])
def test_an_outline_is_rounded_as_exactly_as_it_was_built(allow):
    """Outlines of fewest cuts may pass over what is kept by 0.02 µm; exact ones stay exact."""
    outline = box(0.4, 0.4, 10.4, 9.6)
    kept = outline.buffer(allow, join_style="mitre")
    rounded = rounded_to(outline, kept, BOARD.buffer(9), walls(BOARD.buffer(9)), 0.5)
    out = kept.difference(rounded)
    reach = shapely.distance(shapely.points(shapely.get_coordinates(out)), rounded).max() if out.area else 0.0
    assert reach <= max(2 * allow, 1e-8)
    assert set(corners_of(rounded).ravel() * 2 % 1) == {0.0}
