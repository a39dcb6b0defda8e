"""What is proved about the fewest cuts, against outlines found without it."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest
import shapely
from shapely import MultiPolygon

from trimgeo.cutting.outline import Wish, building, proof
from trimgeo.model.job import Placing

EXACT = Placing(print=0.0, taping=0.0, finish=0.0)
BENCH = Path(__file__).parent.parent / "bench"


def bench(name):
    spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


BOARDS = bench("boards_cut")


@pytest.mark.parametrize("seed", [0, 2, 6])
def test_around_several_pieces_the_fewest_found_is_proved_by_all_of_them_together(seed):
    edge, parts, case = BOARDS.board(seed)
    plan = building(parts, edge, 0.3, 0.3, EXACT, Wish(case))
    assert len(plan.base.pieces) > 1 and not plan.base.hull_fits
    bound = plan.proving
    assert bound.proved == min(each.few.count for each in plan.fields)  # each is an outline
    assert bound.around == "all that is kept"


def test_the_proof_shows_all_pieces_and_its_lines_lie_between_them():
    edge, parts, case = BOARDS.board(2)
    plan = building(parts, edge, 0.3, 0.3, EXACT, Wish(case))
    told = proof(plan)
    assert told.proved == told.fewest.cuts == 5
    assert isinstance(told.kept, MultiPolygon)
    room = told.allowed.difference(told.kept).buffer(1e-3)
    assert told.witnesses.length and room.covers(told.witnesses)
    assert told.allowed.buffer(1e-3).covers(shapely.union_all(plan.held.grown(0.0)))


def test_past_a_post_among_the_pieces_the_fewest_found_is_proved():
    edge, parts, case = BOARDS.board(8)
    plan = building(parts, edge, 0.3, 0.3, EXACT, Wish(case, slot=1.6))
    bound = plan.proving
    assert len(case.posts) == 1
    assert bound.proved == min(each.few.count for each in plan.fields) == 6  # five would do without the post
    assert bound.around == "all that is kept and past a post"
