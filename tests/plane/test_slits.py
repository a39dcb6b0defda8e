"""The bound for islands and a post against outlines found without it, and by hand."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import box

from trimgeo.plane.cover import around_islands
from trimgeo.plane.islands import least_links
from trimgeo.plane.slits import least_beside

BENCH = Path(__file__).parents[1] / "bench"


def bench(name):
    spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


bench("island_bounds")  # which the next one imports
POSTS = bench("post_bounds")
WALLED = np.zeros(4, dtype=bool)


@pytest.mark.parametrize("seed", range(6))
def test_however_islands_are_joined_past_a_post_no_outline_has_fewer_cuts(seed):
    got = POSTS.judged(seed)
    assert got is None or got[1] >= got[0]


def test_some_outlines_around_a_post_are_proved_to_be_the_best():
    found = [POSTS.judged(seed) for seed in (0, 1, 3, 4)]
    assert any(got is not None and got[2] and got[0] == got[1] for got in found)


def test_between_two_islands_and_a_wall_the_outline_leads_around_the_post_with_four_more_cuts():
    """The letter U has eight sides; around all three, as if the post could be held, four would do."""
    islands, post, room = [box(1, 1, 3, 3), box(7, 1, 9, 3)], box(4, 1, 6, 3), box(0, 0, 10, 4)
    letter = shapely.Polygon(
        [(0.5, 0.5), (9.5, 0.5), (9.5, 3.5), (6.5, 3.5), (6.5, 0.8), (3.5, 0.8), (3.5, 3.5), (0.5, 3.5)]
    )
    assert letter.covers(shapely.union_all(islands)) and letter.disjoint(post) and room.covers(letter)
    assert least_beside(islands, post, room, WALLED, 4, 9).links == len(letter.exterior.coords) - 1


def test_a_post_beside_what_is_kept_takes_no_cut_more():
    islands, room = [box(1, 1, 3, 3), box(7, 7, 9, 9)], box(0, 0, 10, 10) - box(-1, 5, 5, 11)
    least = least_links(around_islands(islands, room, np.zeros(6, dtype=bool)))
    assert (
        least_beside(islands, box(9.5, 0.1, 9.9, 0.5), room, np.zeros(6, dtype=bool), least.links, 7) is None
    )
