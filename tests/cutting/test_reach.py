"""Wheels and bits at inside corners: their solids, sampled and moved along the cut, as judge."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
import shapely

from trimgeo.cutting.corners import corners
from trimgeo.cutting.edges import chains, new_edges
from trimgeo.cutting.reach import overrun, reach, run_out
from trimgeo.model.board import Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import Corner

WHEEL = Cutter(kind="wheel", kerf=1.0, diameter=38.0, breakthrough=0.5)


def inside_corner(
    solids: ModuleType, waste: float, cutter: Cutter, sanding: float, thickness: float
) -> Corner:
    board, part = solids.wedge(waste)
    cuts = new_edges(Ring(part), Ring(board))
    found = corners(cuts, chains(cuts, Ring(part)), cutter, Finish(sanding=sanding), thickness, Ring(board))
    (corner,) = [one for one in found if one.inside]
    return corner


def test_the_near_face_is_cut_further_than_the_far_one_by_4_35_mm() -> None:
    # DESIGN: R = 19, t = 1.6, p = 0.5; here from the sampled rim of the disc and not from the formula.
    turn = np.linspace(0, 2 * np.pi, 2_000_001)
    depth, along = 19 * np.cos(turn) - (19 - 1.6 - 0.5), 19 * np.sin(turn)
    near, far = (along[np.abs(depth - d) < 2e-5].max() for d in (0.0, 1.6))
    assert near - far == pytest.approx(4.35, abs=0.005)
    found = reach(WHEEL, 1.6)
    assert (found.near, found.far) == (pytest.approx(near, abs=1e-3), pytest.approx(far, abs=1e-3))


@pytest.mark.parametrize("waste", [31, 45, 60, 75, 89, 90, 91, 120, 150, 169])
def test_a_wheel_stops_where_its_solid_touches_the_other_line(solids: ModuleType, waste: float) -> None:
    corner = inside_corner(solids, waste, WHEEL, 0.4, 1.6)
    points = solids.wheel_points(19.0, 1.6, 0.5, 1.0)
    stop = solids.furthest_axle(points, waste)
    assert corner.stop_short == pytest.approx(stop, abs=0.02)
    assert corner.left is not None
    left = solids.left_uncut(points, stop, 0.0), solids.left_uncut(points, stop, 1.6)
    assert corner.left == pytest.approx(left, abs=0.02)


@pytest.mark.parametrize(("waste", "diameter", "sanding"), [(35, 2, 0.3), (90, 3.2, 0.5), (165, 2.4, 0.2)])
def test_a_bit_leaves_the_corner_that_its_disc_cannot_reach(
    solids: ModuleType, waste: float, diameter: float, sanding: float
) -> None:
    bit = Cutter(kind="bit", kerf=float(diameter), diameter=float(diameter))
    corner = inside_corner(solids, waste, bit, sanding, 1.6)
    assert corner.fillet is not None
    # A circle of radius r in a corner of that angle stays r (1 / sin(θ/2) - 1) away from it (elementary).
    away = corner.fillet * (1 / np.sin(np.radians(waste) / 2) - 1)
    assert away == pytest.approx(solids.rounded_corner(waste, diameter / 2, sanding), abs=0.02)


def test_a_blade_stands_upright_and_leaves_nothing(solids: ModuleType) -> None:
    corner = inside_corner(solids, 70, Cutter(kind="blade", kerf=0.5), 0.3, 1.6)
    assert (corner.stop_short, corner.fillet, corner.left) == (None, None, None)
    assert shapely.Point(corner.at).distance(shapely.Point(0, 0)) < 1e-9


def test_a_blade_runs_on_a_few_teeth_at_an_outside_corner_as_at_the_edge() -> None:
    """2 mm, whatever the board's thickness (common practice)."""
    blade = Cutter(kind="blade", kerf=0.5)
    assert [overrun(blade, thickness) for thickness in (0.8, 1.6)] == [2.0, 2.0]
    assert run_out(blade, 1.6) == 2.0
