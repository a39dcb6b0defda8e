"""The photo of samples/phone: what the tool finds against what the script drew."""

import importlib.util
from pathlib import Path

import numpy as np
import shapely

import trimgeo

SCRIPT = Path(__file__).parents[2] / "samples" / "draw_phone.py"


def test_the_feet_of_leaning_parts_are_where_the_script_put_them():
    spec = importlib.util.spec_from_file_location("draw_phone", SCRIPT)
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    board = trimgeo.prepare(trimgeo.load(SCRIPT.parent / "phone"))
    bound = board.views[0].uncertainty
    assert bound < 0.4
    for keepout in board.keepouts:
        truth = shapely.box(*script.BODIES[keepout.name][0])
        assert shapely.hausdorff_distance(keepout.spine, truth) < bound, keepout.name
    assert {keepout.name for keepout in board.keepouts} == set(script.STAYS)


def test_every_clearance_of_the_phone_sample_is_within_its_bound_of_the_truth():
    spec = importlib.util.spec_from_file_location("draw_phone", SCRIPT)
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(SCRIPT.parent / "phone")))
    edges = shapely.MultiLineString([cut.line for cut in plan.cuts])
    for row in plan.rows:
        truth = shapely.box(*script.BODIES[row.name][0]).distance(edges)
        assert abs(row.nominal - truth) < plan.board.views[0].uncertainty
    assert np.all([row.state == "clear" for row in plan.rows])
