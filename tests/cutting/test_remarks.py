"""What a person is told about a cut before it is made."""

from __future__ import annotations

import pytest
import shapely

from trimgeo.cutting.edges import new_edges
from trimgeo.cutting.remarks import (
    NECK,
    crossed_holes,
    odd_bit,
    odd_lengths,
    short_cuts,
    thin_waste,
    weak_places,
)
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


def weak(outline: shapely.Polygon, board: shapely.Polygon = BOARD.polygon) -> tuple[str, ...]:
    return weak_places(outline, new_edges(Ring(outline), Ring(board)), NECK)


def test_a_neck_between_a_cut_and_the_edge_is_told_with_its_width_place_and_walls() -> None:
    (warning,) = weak(BOARD.polygon - shapely.box(40, 3.5, 60, 60))
    assert "only 3.50 mm wide near (40.00, 1.75), between cut " in warning
    assert "and the board's own edge" in warning


def test_a_neck_between_two_cuts_names_both() -> None:
    waists = shapely.box(40, -1, 44, 28) | shapely.box(40, 32, 44, 61)
    (warning,) = weak(BOARD.polygon - waists)
    assert "only 4.00 mm wide" in warning and warning.count("cut ") == 2


def test_a_neck_that_the_board_had_before_is_told_as_well() -> None:
    board = BOARD.polygon - shapely.box(40, 4, 44, 60)
    (warning,) = weak(board - shapely.box(90, 0, 100, 60), board)
    assert "between two sides of the board's own edge" in warning


@pytest.mark.parametrize("wide", [5.0, 8.0])
def test_a_board_that_is_wide_enough_everywhere_is_not_warned_of(wide: float) -> None:
    assert weak(BOARD.polygon - shapely.box(40, wide, 60, 60)) == ()


def test_a_strip_that_a_cut_leaves_is_told_but_not_one_that_the_board_had() -> None:
    board = BOARD.polygon | shapely.box(100, 20, 110, 23)
    outline = board - shapely.box(0, 4, 12, 60)
    (warning,) = weak(outline, board)
    assert "a strip 4.00 mm wide and 12.0 mm long" in warning and "near (12.00, 2.00)" in warning


def test_a_sharp_tip_is_told_once_and_only_where_a_cut_makes_it() -> None:
    (warning,) = weak(shapely.Polygon([(0, 0), (100, 0), (0, 30)]))
    assert "a tip of 17 degrees at (100.00, 0.00)" in warning  # atan(30 / 100) = 16.7 degrees
    assert weak(shapely.Polygon([(0, 0), (60, 0), (0, 30)])) == ()
    board = shapely.Polygon([(0, 0), (100, 0), (0, 30)])
    assert weak(board - shapely.box(0, 0, 20, 30), board) == ()


def test_an_uncut_board_is_told_of_its_necks_alone() -> None:
    board = shapely.union_all([BOARD.polygon - shapely.box(40, 4, 44, 60), shapely.box(100, 20, 110, 23)])
    assert len(weak(board, board)) == 1


@pytest.mark.parametrize(("length", "told"), [(0.9, True), (1.0, False), (5.0, False)])
def test_a_cut_shorter_than_the_kerf_is_told(length: float, told: bool) -> None:
    outline = shapely.Polygon([(0, 0), (50, 0), (50, 60 - length), (49.9, 60), (0, 60)])
    cuts = new_edges(Ring(outline), BOARD)
    shortest = min(cuts, key=lambda cut: cut.length)
    assert [text.split()[1] for text in short_cuts(cuts, 1.0)] == ([str(shortest.n)] if told else [])


@pytest.mark.parametrize(
    ("thickness", "kerf", "wander", "told"),
    [
        (1.6, 1.0, 0.3, []),
        (0.063, 1.0, 0.3, ["the board is 0.063 mm thick: is that in inches?"]),
        (1.6, 19.5, 0.3, ["the kerf is 19.5 mm, more than half the wheel's diameter of 38 mm"]),
        (1.6, 1.0, 500.0, ["the cutter strays by 500 mm"]),
        (0.2, 19.0, 5.0, []),
    ],
)
def test_lengths_that_hardly_anybody_means_are_told(
    thickness: float, kerf: float, wander: float, told: list[str]
) -> None:
    found = odd_lengths(Cutter(kind="wheel", kerf=kerf, diameter=38.0, wander=wander), thickness)
    assert [text[: len(words)] for text, words in zip(found, told, strict=True)] == told
