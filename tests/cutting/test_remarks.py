"""What a person is told about a cut before it is made."""

from __future__ import annotations

import pytest
import shapely

from trimgeo.cutting.edges import new_edges
from trimgeo.cutting.remarks import crossed_holes, odd_bit, thin_waste
from trimgeo.model.board import Hole, Ring
from trimgeo.model.job import Cutter

BOARD = Ring(shapely.box(0, 0, 100, 60))


@pytest.mark.parametrize(("right", "warned"), [(98.4, False), (98.6, True), (99.5, True), (50.0, False)])
def test_a_strip_narrower_than_margin_and_kerf_is_warned_of(right: float, warned: bool) -> None:
    cuts = new_edges(Ring(shapely.box(0, 0, right, 60)), BOARD)
    assert bool(thin_waste(cuts, BOARD.polygon, 1.5)) == warned


def test_a_cut_that_thins_out_at_one_end_only_is_not_warned_of() -> None:
    outline = shapely.Polygon([(0, 0), (100, 0), (90, 60), (0, 60)])
    assert thin_waste(new_edges(Ring(outline), BOARD), BOARD.polygon, 1.5) == ()


def test_only_holes_that_a_new_edge_runs_through_are_named() -> None:
    cuts = new_edges(Ring(shapely.box(0, 0, 50, 60)), BOARD)
    holes = [Hole("through", (51.0, 30.0), 3.2, True), Hole("beside", (52.0, 30.0), 3.2, True)]
    (warning,) = crossed_holes(holes, [cut.line for cut in cuts])
    assert "through" in warning


@pytest.mark.parametrize(
    ("kind", "diameter", "warned"), [("bit", 2.0, True), ("bit", 1.0, False), ("wheel", 38.0, False)]
)
def test_a_bit_cuts_as_wide_as_it_is(kind: str, diameter: float, warned: bool) -> None:
    assert bool(odd_bit(Cutter(kind=kind, kerf=1.0, diameter=diameter))) == warned


def test_a_cut_beside_which_only_a_quarter_has_room_for_the_kerf_is_warned_of() -> None:
    # The kerf's outer wall, 1.5 mm out, comes onto the board where x is under about 98.5: the last 26 %.
    outline = shapely.Polygon([(0, 0), (99.9, 0), (98, 60), (0, 60)])
    (warning,) = thin_waste(new_edges(Ring(outline), BOARD), BOARD.polygon, 1.5)
    assert warning.startswith("cut 1 takes off a strip")
