"""The bound around several islands against searches that share no code with it."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from trimgeo.plane.annulus import NoRoomError
from trimgeo.plane.cover import around_islands
from trimgeo.plane.fewest import fewest_cuts
from trimgeo.plane.islands import least_links

BENCH = Path(__file__).parents[1] / "bench"


def bench(name):
    spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


BOUNDS = bench("island_bounds")
bench("boards_built"), bench("long_outlines")  # which the next one imports
ROOMS = bench("slotted_rooms")


def walled(shape):
    return np.zeros(len(shape.exterior.coords) - 1, dtype=bool)


@pytest.mark.parametrize("seed", range(12))
def test_on_a_grid_no_way_around_all_islands_has_fewer_cuts_and_one_has_as_many(seed):
    bound, found = BOUNDS.judged("grid", seed)
    assert found == bound


@pytest.mark.parametrize("seed", range(6))
def test_however_islands_are_joined_no_outline_has_fewer_cuts(seed):
    bound, found = BOUNDS.judged("joined", seed)
    assert found >= bound


@pytest.mark.parametrize("seed", [0, 3, 7, 10, 13, 16, 19, 20])  # whose hull is not allowed
def test_around_one_island_it_is_the_bound_of_the_annulus(seed):
    kept, room = ROOMS.slotted(seed)
    free = np.random.RandomState(seed).uniform(size=len(walled(room))) < (seed % 3) / 4
    least = least_links(around_islands([kept], room, free))
    alone = fewest_cuts(kept, room, free)
    assert least.links == alone.proved == alone.count


def test_an_island_more_never_takes_cuts_off():
    islands, room, free = BOUNDS.slotted(np.random.RandomState(9))
    assert len(islands) > 2
    links = [
        least.links
        for count in range(1, len(islands) + 1)
        if (least := least_links(around_islands(islands[:count], room, free))) is not None
    ]
    assert links == sorted(links)


def test_two_islands_in_the_arms_of_an_angle_need_six_cuts():
    """Six walls do; that five do not was counted by hand, no straight cut passing two ends of an arm."""
    angle = box(0, 0, 10, 10) - box(-1, 5, 5, 11)
    islands = [box(1, 1, 3, 3), box(7, 7, 9, 9)]
    assert least_links(around_islands(islands, angle, walled(angle))).links == 6
    # an outline as long as the walls
    outline = Polygon([(0, 0), (10, 0), (10, 10), (5, 10), (5, 5), (0, 5)])
    assert outline.covers(shapely.union_all(islands)) and angle.covers(outline)


def test_the_windows_lie_in_the_room():
    islands, room, free = BOUNDS.slotted(np.random.RandomState(3))
    least = least_links(around_islands(islands, room, free))
    lines = shapely.linestrings(least.witnesses)
    assert len(lines)
    assert shapely.covers(room.buffer(1e-3) - shapely.union_all(islands).buffer(-1e-3), lines).all()


def test_a_cut_may_begin_where_a_free_part_ends_in_any_direction_into_the_room():
    """Four cuts do by hand, one from the corner at (5, 5) under the first island: five were once "proved"."""
    room = Polygon(
        [(0, 0), (3, 0), (3, 1), (4, 1), (4, 0), (7, 0), (7, 8), (6, 8), (6, 5), (5, 5), (5, 8), (0, 8)]
    )
    free = np.zeros(12, dtype=bool)
    free[[4, 9]] = True  # from (4, 0) to (7, 0), and from (5, 5) to (5, 8)
    islands = [box(3, 3, 6, 4), box(3, 6, 5, 8), Polygon([(0, 4), (1, 4), (0, 6)])]
    by_hand = Polygon([(5, 5), (5, 8), (0, 8), (0, 0), (7, 3)])  # its first side is free
    assert room.covers(by_hand) and by_hand.covers(shapely.union_all(islands))
    assert least_links(around_islands(islands, room, free)).links == 4
    inside = by_hand.buffer(-0.1).union(shapely.union_all(islands))
    found = fewest_cuts(Polygon(inside.exterior), room, free)
    assert found.proved == found.count == 4


def test_an_island_over_the_border_is_refused_with_how_far():
    with pytest.raises(NoRoomError) as caught:
        around_islands([box(1, 1, 2, 2), box(3, 3, 5.5, 4)], box(0, 0, 5, 5), walled(box(0, 0, 5, 5)))
    assert caught.value.overlap == pytest.approx(0.5)
